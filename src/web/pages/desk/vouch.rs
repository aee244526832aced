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

/// What an attempt is called in the names of fields: `1042` the first, `1042-2` the second.
pub(super) fn key(bib: u32, attempt: u32) -> String {
    if attempt > 1 { format!("{bib}-{attempt}") } else { bib.to_string() }
}

/// A result that was ticked, with the state of the attempt that was on the page.
#[derive(Clone, Debug, PartialEq, Eq)]
struct Tick {
    bib: u32,
    attempt: u32,
    etag: Tag,
}

impl Tick {
    /// Of a field `a-1042` or `a-1042-2`.
    fn of(name: &str, etag: &str) -> Option<Self> {
        let (bib, attempt) = name.split_once('-').unwrap_or((name, "1"));
        Some(Self { bib: bib.parse().ok()?, attempt: attempt.parse().ok()?, etag: etag.parse().ok()? })
    }

    fn key(&self) -> String {
        key(self.bib, self.attempt)
    }

    /// The number of the sheet that was typed for it.
    fn sheet(&self, fields: &Fields) -> Option<String> {
        fields.find(&format!("s-{}", self.key()))
    }
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
        for tick in gone {
            let text = left(&app, &caller, &slug, &tick, &fields, w.vouch_gone).await;
            page.troubles.push(Link::new(format!("#r-{workout}-{}", tick.bib), text));
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
    for tick in &ticked {
        let path = ScorePath { competition: slug.clone(), workout: workout.clone(), bib: tick.bib };
        let request = Request::at(caller.received).having_seen(Precondition::Match(vec![tick.etag]));
        let sent = Attest { judge: judge.clone(), how, sheet: tick.sheet(&fields), attempt: Some(tick.attempt) };
        match attest::attest(&app, &caller.actor, &path, request, sent).await {
            Ok(_) => done += 1,
            Err(failure) => {
                lines.push(left(&app, &caller, &slug, tick, &fields, &why(&failure.into())).await);
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
/// figures that it was put to: others are to be looked at first. What was ticked and waits no more.
fn keep(page: &mut View, workout: &str, fields: &Fields, ticked: &[Tick]) -> Vec<Tick> {
    let form = page.workouts.iter_mut().find(|x| x.slug == workout);
    let awaiting = form.map_or(&mut [][..], |form| {
        fields.get("judge").clone_into(&mut form.vouched_by);
        fields.get("how").clone_into(&mut form.vouched_how);
        form.awaiting.as_mut_slice()
    });
    for line in awaiting.iter_mut() {
        line.ticked = ticked.iter().any(|tick| tick.key() == line.key && tick.etag.to_string() == line.etag);
        if let Some(sheet) = fields.find(&format!("s-{}", line.key)) {
            line.sheet = sheet;
        }
    }
    ticked.iter().filter(|tick| awaiting.iter().all(|line| line.key != tick.key())).cloned().collect()
}

/// Of whom nothing was stored, why, and the number of the sheet that was typed.
async fn left(app: &App, caller: &Caller, slug: &str, tick: &Tick, fields: &Fields, why: &str) -> String {
    let w = words().desk_words;
    let entry = lists::entry(app, &caller.actor, caller.received, slug, tick.bib).await;
    let name = entry.map_or(String::new(), |e| e.name);
    let bib = match tick.attempt {
        1 => tick.bib.to_string(),
        n => format!("{}, {}", tick.bib, put(words().attempt_n, &[("n", &n)])),
    };
    let said = put(w.vouch_one, &[("name", &name), ("bib", &bib), ("why", &why)]);
    match tick.sheet(fields) {
        Some(sheet) => format!("{said} {}", put(w.vouch_sheet, &[("sheet", &sheet)])),
        None => said,
    }
}

/// What was ticked.
fn ticked(fields: &Fields) -> Vec<Tick> {
    fields.0.iter().filter_map(|(name, etag)| Tick::of(name.strip_prefix("a-")?, etag)).collect()
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
    fn only_attempts_with_a_state_are_ticked() {
        let state = "88-0a0b0c0d0e0f";
        let pair = |(n, v): (&str, &str)| (n.to_owned(), v.to_owned());
        let fields =
            [("a-1042", state), ("a-1042-2", state), ("a-x", "1"), ("a-1042-x", state), ("a-7", ""), ("judge", "J-1")];
        let tick = |attempt| Tick { bib: 1042, attempt, etag: state.parse().unwrap() };
        let ticked = ticked(&Fields(fields.map(pair).into()));
        assert_eq!(ticked, [tick(1), tick(2)]);
        assert_eq!(ticked.iter().map(Tick::key).collect::<Vec<_>>(), ["1042", "1042-2"]);
    }
}
