//! `POST /desk/{c}/{gym}/{w}/attestation`: a judge's word for many results, by one statement.

use super::saved::Saved;
use super::{Desk, View, judges, remembered};
use crate::app::App;
use crate::rules::life::How;
use crate::web::extract::Path;
use crate::web::once::Shown;
use crate::web::pages::form::Fields;
use crate::web::pages::html;
use crate::web::pages::shell::{Link, words};
use crate::web::pages::vouching::{self, Ticked, ticked};
use crate::web::problem::Answer;
use crate::web::session::{Caller, Form};
use axum::extract::State;
use axum::response::IntoResponse;
use http::StatusCode;

/// What the desk shows once.
pub(super) fn said_once(shown: &Shown) -> Option<Saved> {
    vouching::said_once(shown).map(|(n, lines)| Saved::vouched(n, lines))
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
        for one in gone {
            let text = vouching::left(&app, &caller, &slug, &one, &fields, w.vouch_gone).await;
            page.troubles.push(Link::new(format!("#r-{workout}-{}", one.bib), text));
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
    let given = vouching::give(&app, &caller, (&slug, &workout), (&judge, how), &fields).await;
    if given.is_whole() {
        // The desk goes on with its own judge: who has seen these sheets has not seen the next ones.
        let desk_judge = judges::meant(&desk.judges, fields.get("desk_judge")).unwrap_or_default();
        let (how, workout) = (fields.get("desk_how"), fields.get("desk_workout"));
        let tail = remembered(&[("judge", &desk_judge), ("how", how), ("workout", workout)]);
        return Ok(given.lead(&app, &caller, &desk.base, &tail));
    }
    // What was stored is asked for afresh, so that the page says how it is now.
    let desk = Desk::open(&app, &caller, &slug, &gym).await?;
    let is_same = given.stopped.is_some();
    let saved = Saved::vouched(given.done, given.lines_left(w.vouch_left));
    let mut page = desk.page(&app, &caller, &at_desk(&fields), Some(saved), Vec::new()).await?;
    keep(&mut page, &workout, &fields, &ticked);
    // To be sent once more as it was.
    if let Some(form) = page.workouts.iter_mut().find(|x| x.slug == workout).filter(|_| is_same) {
        form.stated = true;
    }
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
fn keep(page: &mut View, workout: &str, fields: &Fields, ticked: &[Ticked]) -> Vec<Ticked> {
    let form = page.workouts.iter_mut().find(|x| x.slug == workout);
    let awaiting = form.map_or(&mut [][..], |form| {
        fields.get("judge").clone_into(&mut form.vouched_by);
        fields.get("how").clone_into(&mut form.vouched_how);
        form.awaiting.as_mut_slice()
    });
    for line in awaiting.iter_mut() {
        line.ticked = ticked.iter().any(|one| one.key() == line.key && one.tag.to_string() == line.etag);
        if let Some(sheet) = fields.find(&format!("s-{}", line.key)) {
            line.sheet = sheet;
        }
    }
    ticked.iter().filter(|one| awaiting.iter().all(|line| line.key != one.key())).cloned().collect()
}
