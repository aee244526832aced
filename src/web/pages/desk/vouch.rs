//! `POST /desk/{c}/{gym}/{w}/attestation`: a judge's word for many results, by one statement.
//!
//! Each is attested by itself, on exactly the figures that the page showed: what somebody changed
//! meanwhile is left out and said.

use super::saved::Saved;
use super::{Desk, View, judges, remembered};
use crate::actions::language;
use crate::actions::{Request, ScorePath, attest, lists};
use crate::app::App;
use crate::rules::ledger::Precondition;
use crate::rules::life::{Attest, How};
use crate::rules::tag::Tag;
use crate::web::extract::Path;
use crate::web::once::{self, Shown};
use crate::web::pages::form::Fields;
use crate::web::pages::html;
use crate::web::pages::shell::{Link, words};
use crate::web::problem::{Answer, Problem};
use crate::web::session::{Caller, Form};
use crate::words::put;
use axum::extract::State;
use axum::response::IntoResponse;
use http::StatusCode;

/// What is shown once: for how many the word was given.
const VOUCHED: &str = "vouched";

/// What the desk shows once.
pub(super) fn said_once(shown: &Shown) -> Option<Saved> {
    shown.told.parse().ok().filter(|_| shown.done == VOUCHED).map(Saved::vouched)
}

/// `POST /desk/{c}/{gym}/{w}/attestation`.
pub async fn post_attestation(
    State(app): State<App>,
    caller: Caller,
    Path((slug, gym, workout)): Path<(String, String, String)>,
    Form(fields): Form<Fields>,
) -> Answer {
    let desk = Desk::open(&app, &caller, &slug, &gym).await?;
    desk.reader.workout(&workout)?;
    let w = words().desk_words;
    let mut troubles = Vec::new();
    let at = |field: &str, text: String| Link::new(format!("#{field}-{workout}"), text);
    let judge = judges::meant(&desk.judges, fields.get("judge")).unwrap_or_else(|trouble| {
        troubles.push(at("vj", trouble));
        String::new()
    });
    if judge.is_empty() && troubles.is_empty() {
        troubles.push(at("vj", w.vouch_needs_judge.to_owned()));
    }
    if !fields.ticked("statement") {
        troubles.push(at("vs", w.vouch_needs_statement.to_owned()));
    }
    let ticked = ticked(&fields);
    if ticked.is_empty() {
        troubles.push(at("v", w.vouch_none.to_owned()));
    }
    if !troubles.is_empty() {
        let mut page = desk.page(&app, &caller, &at_desk(&fields), None, troubles).await?;
        let gone = keep(&mut page, &workout, &fields, &ticked);
        for bib in gone {
            let text = left(&app, &caller, &slug, bib, &fields, w.vouch_gone).await;
            page.troubles.push(Link::new(format!("#r-{workout}-{bib}"), text));
        }
        if let Some(form) = page.workouts.iter_mut().find(|x| x.slug == workout) {
            form.stated = fields.ticked("statement");
        }
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, html(&page)?).into_response());
    }
    let how = match fields.get("how") {
        "signed_in" => How::SignedIn,
        "video" => How::Video,
        _ => How::PaperSheet,
    };
    let (mut done, mut lines) = (0_u32, Vec::new());
    for (bib, etag) in ticked.clone() {
        let path = ScorePath { competition: slug.clone(), workout: workout.clone(), bib };
        let request = Request::at(caller.received).having_seen(Precondition::Match(vec![etag]));
        let sheet = fields.find(&format!("s-{bib}"));
        let sent = Attest { judge: judge.clone(), how, sheet, attempt: None };
        match attest::attest(&app, &caller.actor, &path, request, sent).await {
            Ok(_) => done += 1,
            Err(failure) => {
                lines.push(left(&app, &caller, &slug, bib, &fields, &why(&failure.into())).await);
            }
        }
    }
    if lines.is_empty() {
        // The desk goes on with its own judge: who has seen these sheets has not seen the next ones.
        let desk_judge = judges::meant(&desk.judges, fields.get("desk_judge")).unwrap_or_default();
        let (how, workout) = (fields.get("desk_how"), fields.get("desk_workout"));
        let tail = remembered(&[("judge", &desk_judge), ("how", how), ("workout", workout)]);
        let shown = Shown { done: VOUCHED.to_owned(), told: done.to_string(), ..Shown::default() };
        return Ok(once::lead_with(&app, &caller, &desk.base, &tail, "#saved", shown));
    }
    // What was stored is asked for afresh, so that the page says how it is now.
    let desk = Desk::open(&app, &caller, &slug, &gym).await?;
    lines.insert(0, put(w.vouch_left, &[("n", &lines.len())]));
    let saved = Saved { lines, ..Saved::vouched(done) };
    let mut page = desk.page(&app, &caller, &at_desk(&fields), Some(saved), Vec::new()).await?;
    keep(&mut page, &workout, &fields, &ticked);
    Ok((StatusCode::CONFLICT, html(&page)?).into_response())
}

/// The judge of the desk, whoever's word this is, and the workout whose fields it showed.
fn at_desk(fields: &Fields) -> Fields {
    Fields(
        [("judge", "desk_judge"), ("how", "desk_how"), ("workout", "desk_workout")]
            .map(|(at, own)| (at.to_owned(), fields.get(own).to_owned()))
            .into(),
    )
}

/// Puts back what was typed and ticked in the rows that still wait for a judge. A tick stays on the very
/// figures that it was put to: others are to be looked at first. Bibs that were ticked and wait no more.
fn keep(page: &mut View, workout: &str, fields: &Fields, ticked: &[(u32, Tag)]) -> Vec<u32> {
    let form = page.workouts.iter_mut().find(|x| x.slug == workout);
    let awaiting = form.map_or(&mut [][..], |form| {
        fields.get("judge").clone_into(&mut form.vouched_by);
        fields.get("how").clone_into(&mut form.vouched_how);
        form.awaiting.as_mut_slice()
    });
    for line in awaiting.iter_mut() {
        line.ticked = ticked.iter().any(|(bib, etag)| *bib == line.bib && etag.to_string() == line.etag);
        if let Some(sheet) = fields.find(&format!("s-{}", line.bib)) {
            line.sheet = sheet;
        }
    }
    ticked.iter().map(|(bib, _)| *bib).filter(|bib| awaiting.iter().all(|line| line.bib != *bib)).collect()
}

/// Of whom nothing was stored, why, and the number of the sheet that was typed.
async fn left(app: &App, caller: &Caller, slug: &str, bib: u32, fields: &Fields, why: &str) -> String {
    let w = words().desk_words;
    let entry = lists::entry(app, &caller.actor, caller.received, slug, bib).await;
    let name = entry.map_or(String::new(), |e| e.name);
    let said = put(w.vouch_one, &[("name", &name), ("bib", &bib), ("why", &why)]);
    match fields.find(&format!("s-{bib}")) {
        Some(sheet) => format!("{said} {}", put(w.vouch_sheet, &[("sheet", &sheet)])),
        None => said,
    }
}

/// Bibs with the state of the score that was on the page: fields `a-1042`.
fn ticked(fields: &Fields) -> Vec<(u32, Tag)> {
    let both = fields.0.iter().filter_map(|(name, etag)| Some((name.strip_prefix("a-")?, etag)));
    both.filter_map(|(bib, etag)| Some((bib.parse().ok()?, etag.parse().ok()?))).collect()
}

/// A problem in words, with all that is to be mended.
fn why(problem: &Problem) -> String {
    let errors: Vec<String> = problem.errors.iter().map(|e| language::say(&e.sentence)).collect();
    if errors.is_empty() { language::say(&problem.sentence) } else { errors.join(" ") }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_bibs_with_a_state_are_ticked() {
        let pair = |n: &str, v: &str| (n.to_owned(), v.to_owned());
        let fields =
            Fields(vec![pair("a-1042", "88-0a0b0c0d0e0f"), pair("a-x", "1"), pair("a-7", ""), pair("judge", "J-1")]);
        assert_eq!(ticked(&fields), [(1042, "88-0a0b0c0d0e0f".parse().unwrap())]);
    }
}
