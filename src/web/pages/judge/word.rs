//! `POST /judge/{c}/{w}/attestation`: a judge's own word, signed in, for what they counted.
//!
//! What is ticked is attested on exactly the figures that the page showed. Sent again, as where the answer was
//! lost, it is the same word: nothing is said to have gone wrong.

use super::{Dated, GivenView, Link, View, here, html, place, say, view, words};
use crate::actions::judging::{self, Credential, Share, Waits, Work};
use crate::app::App;
use crate::rules::life::How;
use crate::rules::workout::Workout;
use crate::web::extract::Path;
use crate::web::pages::form::Fields;
use crate::web::pages::history::figures;
use crate::web::pages::shell::{encoded, own_zone};
use crate::web::pages::vouching::{self, Ticked, ticked};
use crate::web::problem::Answer;
use crate::web::session::{Caller, Form};
use crate::words::put;
use axum::extract::State;
use axum::response::IntoResponse;
use http::StatusCode;

/// What waits for a judge's word in a workout: a form.
pub(super) struct WordView {
    /// Of its ids: which credential, and the workout.
    pub(super) id: String,
    pub(super) action: String,
    /// By which code the word is given.
    pub(super) judge: String,
    pub(super) title: String,
    /// What was done in the own lanes.
    pub(super) mine: Vec<WaitsView>,
    /// What else was done in the judge's gym.
    pub(super) others: Vec<WaitsView>,
    pub(super) others_title: String,
    /// There are more of those.
    pub(super) more: bool,
    /// The statement was ticked.
    pub(super) stated: bool,
}

/// A result that waits.
pub(super) struct WaitsView {
    pub(super) id: String,
    pub(super) name: String,
    pub(super) bib: u32,
    /// What it is called in the names of fields.
    pub(super) key: String,
    /// What a tick is worth: the state that is shown here.
    pub(super) value: String,
    pub(super) ticked: bool,
    pub(super) text: String,
    /// The level where it is not the own one, which attempt where it is not the first; empty: nothing.
    pub(super) about: String,
    pub(super) state: &'static str,
    /// Heat and lane; empty: not of the own lanes.
    pub(super) place: String,
    pub(super) done: Dated,
}

impl WordView {
    /// Whether any of the others is ticked, so that they are not folded away.
    pub(super) fn shows_others(&self) -> bool {
        self.others.iter().any(|one| one.ticked)
    }

    /// `None`: nothing waits.
    pub(super) fn new(work: &Work, (nth, one): (usize, &Credential), x: &Workout, share: &Share) -> Option<Self> {
        let (w, c) = (words(), &work.reader.competition);
        let waits = |waits: &Waits| WaitsView::new(work, (nth, one), x, waits);
        let (mine, others): (Vec<&Waits>, Vec<&Waits>) = share.waiting.iter().partition(|one| one.lane.is_some());
        if mine.is_empty() && others.is_empty() {
            return None;
        }
        Some(Self {
            id: format!("{nth}-{}", x.slug),
            action: format!("{}/{}/attestation", here(&c.slug), encoded(&x.slug)),
            judge: one.judge.code.clone(),
            title: match mine.len() {
                0 => w.judging_waiting_rest.to_owned(),
                n => put(w.judging_waiting, &[("n", &n)]),
            },
            mine: mine.into_iter().map(waits).collect(),
            others_title: put(w.judging_others, &[("n", &others.len())]),
            others: others.into_iter().map(waits).collect(),
            more: share.more,
            stated: false,
        })
    }
}

impl WaitsView {
    fn new(work: &Work, (nth, one): (usize, &Credential), x: &Workout, waits: &Waits) -> Self {
        let (w, c) = (words(), &work.reader.competition);
        let attempt = Some(waits.attempt).filter(|n| *n > 1).map(|n| put(w.attempt_n, &[("n", &n)]));
        let about: Vec<String> = attempt.into_iter().chain(waits.level.clone()).collect();
        let own = waits.lane.as_ref().map_or_else(|| own_zone(&one.zone), |lane| own_zone(&lane.gym.time_zone));
        Self {
            id: format!("{nth}-{}-{}-{}", x.slug, waits.bib, waits.attempt),
            name: waits.name.clone(),
            bib: waits.bib,
            key: vouching::key(waits.bib, waits.attempt),
            value: waits.tag.to_string(),
            ticked: false,
            text: figures(&waits.text, &waits.written),
            about: about.join(" · "),
            state: say::state(waits.state, waits.refused),
            place: waits.lane.as_ref().map_or(String::new(), |lane| place(one, lane)),
            done: Dated::at_place(w.judging_done_at, waits.performed_at, &c.time_zone, own.as_ref()),
        }
    }
}

/// `POST /judge/{c}/{w}/attestation`.
pub async fn post_attestation(
    State(app): State<App>,
    caller: Caller,
    Path((slug, workout)): Path<(String, String)>,
    Form(fields): Form<Fields>,
) -> Answer {
    let (w, code) = (words(), fields.get("judge"));
    judging::may(&app, &caller.actor, caller.received, &slug, (&workout, code)).await?;
    let mut faults = Vec::new();
    if ticked(&fields).is_empty() {
        faults.push(("v", w.judging_tick_none));
    }
    if !fields.ticked("statement") {
        faults.push(("vs", w.judging_needs_statement));
    }
    if !faults.is_empty() {
        let work = judging::work(&app, &caller.actor, caller.received, &slug).await?;
        let mut page = view(&caller, &work);
        let kept = keep(&mut page, (&work, &workout), &fields);
        page.troubles = faults.into_iter().map(|(field, text)| Link::new(kept.href(field), text)).collect();
        for one in &kept.gone {
            let text = vouching::left(&app, &caller, &slug, one, &fields, w.desk_words.vouch_gone).await;
            page.troubles.push(Link::new(kept.href("w"), text));
        }
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, html(&page)?).into_response());
    }
    let given = vouching::give(&app, &caller, (&slug, &workout), (code, How::SignedIn), &fields).await;
    if given.is_whole() {
        return Ok(given.lead(&app, &caller, &here(&slug), ""));
    }
    // How it is now, with what is stored since.
    let work = judging::work(&app, &caller.actor, caller.received, &slug).await?;
    let mut page = view(&caller, &work);
    keep(&mut page, (&work, &workout), &fields);
    page.given = Some(GivenView::new(given.done, given.lines_left(w.judging_left)));
    Ok((StatusCode::CONFLICT, html(&page)?).into_response())
}

/// What is left of a form that was sent.
struct Kept {
    id: String,
    /// Something still waits in it.
    there: bool,
    /// Bibs that were ticked and wait no more.
    gone: Vec<Ticked>,
}

impl Kept {
    /// A field of the form; where there is none any more, the workout.
    fn href(&self, field: &str) -> String {
        format!("#{}-{}", if self.there { field } else { "w" }, self.id)
    }
}

/// Puts back the ticks of a form, each on the very figures that it was put to: others are to be looked at first.
fn keep(page: &mut View, (work, workout): (&Work, &str), fields: &Fields) -> Kept {
    let nth = work.credentials.iter().position(|one| one.judge.code == fields.get("judge")).unwrap_or_default();
    let mut kept = Kept { id: format!("{nth}-{workout}"), there: false, gone: Vec::new() };
    let ticked = ticked(fields);
    let forms = page.credentials.iter_mut().flat_map(|one| &mut one.workouts).filter_map(|x| x.word.as_mut());
    let mut waiting = Vec::new();
    for form in forms.filter(|form| form.id == kept.id) {
        (kept.there, form.stated) = (true, fields.ticked("statement"));
        for one in form.mine.iter_mut().chain(&mut form.others) {
            one.ticked = ticked.iter().any(|sent| sent.key() == one.key && sent.tag.to_string() == one.value);
            waiting.push(one.key.clone());
        }
    }
    kept.gone = ticked.into_iter().filter(|sent| !waiting.contains(&sent.key())).collect();
    kept
}

/// A form with `n` rows of each kind, to be hard on the page.
#[cfg(test)]
pub(super) fn sample(n: u32, id: &str) -> Option<WordView> {
    use crate::web::pages::samples;
    let waits = |bib: u32, lane: bool| WaitsView {
        id: format!("{id}-{bib}-1"),
        name: samples::HOSTILE.to_owned(),
        bib,
        key: bib.to_string(),
        value: "88-0a0b0c0d0e0f".to_owned(),
        ticked: bib == 1,
        text: samples::HOSTILE.to_owned(),
        about: samples::BIDI.to_owned(),
        state: say::state("entered", false),
        place: if lane { samples::HOSTILE.to_owned() } else { String::new() },
        done: Dated { at: Some(samples::when()), ..Dated::plain(samples::BIDI) },
    };
    (n > 0).then(|| WordView {
        id: id.to_owned(),
        action: "/judge/s/w1/attestation".to_owned(),
        judge: samples::HOSTILE.to_owned(),
        title: put(words().judging_waiting, &[("n", &n)]),
        mine: (0..n).map(|bib| waits(bib, true)).collect(),
        others_title: put(words().judging_others, &[("n", &n)]),
        others: (n..2 * n).map(|bib| waits(bib, false)).collect(),
        more: true,
        stated: n > 1,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn who_is_ticked_among_the_others_is_not_folded_away() {
        let form = |n| sample(n, "0-w1").expect("a form");
        assert!(form(1).shows_others(), "bib 1 is the first of the others");
        assert!(!form(2).shows_others(), "bib 1 is in a lane of their own");
    }
}
