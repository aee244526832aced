//! `POST /desk/{c}/{gym}/{w}/attestation`: a judge's word for many results, by one statement.
//!
//! Each is attested by itself, on exactly the figures that the page showed: what somebody changed
//! meanwhile is left out and said.

use super::saved::Saved;
use super::{Desk, judges};
use crate::actions::language;
use crate::actions::{Request, ScorePath, attest, lists};
use crate::app::App;
use crate::rules::ledger::Precondition;
use crate::rules::life::{Attest, How};
use crate::rules::tag::Tag;
use crate::web::extract::Path;
use crate::web::pages::form::Fields;
use crate::web::pages::html;
use crate::web::pages::shell::{Link, words};
use crate::web::problem::{Answer, Problem};
use crate::web::session::{Caller, Form};
use crate::words::put;
use axum::extract::State;
use axum::response::IntoResponse;
use http::StatusCode;

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
        let mut page = desk.page(&app, &caller, &fields, None, troubles).await?;
        if let Some(form) = page.workouts.iter_mut().find(|x| x.slug == workout) {
            form.stated = fields.ticked("statement");
            for line in &mut form.awaiting {
                line.ticked = ticked.iter().any(|(bib, _)| *bib == line.bib);
                fields.get(&format!("s-{}", line.bib)).clone_into(&mut line.sheet);
            }
        }
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, html(&page)?).into_response());
    }
    let how = match fields.get("how") {
        "signed_in" => How::SignedIn,
        "video" => How::Video,
        _ => How::PaperSheet,
    };
    let (mut done, mut left) = (0_u32, Vec::new());
    for (bib, etag) in ticked {
        let path = ScorePath { competition: slug.clone(), workout: workout.clone(), bib };
        let request = Request::at(caller.received).having_seen(Precondition::Match(vec![etag]));
        let sheet = fields.find(&format!("s-{bib}"));
        let sent = Attest { judge: judge.clone(), how, sheet, attempt: None };
        match attest::attest(&app, &caller.actor, &path, request, sent).await {
            Ok(_) => done += 1,
            Err(failure) => {
                let entry = lists::entry(&app, &caller.actor, caller.received, &slug, bib).await;
                let name = entry.map_or(String::new(), |e| e.name);
                let why = why(&failure.into());
                left.push(put(w.vouch_one, &[("name", &name), ("bib", &bib), ("why", &why)]));
            }
        }
    }
    // What was stored is asked for afresh, so that the page says how it is now.
    let desk = Desk::open(&app, &caller, &slug, &gym).await?;
    let status = if left.is_empty() { StatusCode::OK } else { StatusCode::CONFLICT };
    let mut lines = Vec::new();
    if !left.is_empty() {
        lines.push(put(w.vouch_left, &[("n", &left.len())]));
    }
    lines.extend(left);
    let saved = Saved { title: put(w.vouched, &[("n", &done)]), lines, next: None };
    let kept = Fields(vec![("judge".to_owned(), judge), ("how".to_owned(), fields.get("how").to_owned())]);
    let page = desk.page(&app, &caller, &kept, Some(saved), Vec::new()).await?;
    Ok((status, html(&page)?).into_response())
}

/// Bibs with the state of the score that was on the page: fields `a-1042`.
fn ticked(fields: &Fields) -> Vec<(u32, Tag)> {
    let both = fields.0.iter().filter_map(|(name, etag)| Some((name.strip_prefix("a-")?, etag)));
    both.filter_map(|(bib, etag)| Some((bib.parse().ok()?, etag.parse().ok()?))).collect()
}

/// A problem in words, with all that is to be mended.
fn why(problem: &Problem) -> String {
    let errors: Vec<String> = problem.errors.iter().map(|e| e.sentence.say(language::reader())).collect();
    if errors.is_empty() { problem.sentence.say(language::reader()) } else { errors.join(" ") }
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
