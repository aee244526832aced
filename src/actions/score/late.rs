//! What came late and waits for the organiser's word: scores, corrections, attestations.

use super::find_entry;
use super::show::Show;
use crate::actions::reader::Reader;
use crate::actions::views::{ScoreView, WaitingView};
use crate::actions::{Failure, signed_in};
use crate::app::App;
use crate::rules::access::{Act, Actor, permit};
use crate::rules::event::Extension;
use crate::rules::ledger;
use crate::rules::life::Attempt;
use jiff::Timestamp;
use std::collections::{BTreeMap, HashMap};
use std::sync::Arc;

/// Rows that are read at a time.
const PAGE: u32 = 1_000;

/// Something of a score that came late.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Late {
    /// Whose name, as the reader sees it.
    pub name: String,
    /// The entry's division.
    pub division: String,
    /// The attempt that waits; [`ScoreView::waiting`] and [`ScoreView::waiting_attestation`] say
    /// what of it, where it is not the whole score.
    pub score: ScoreView,
    /// The organiser has refused it; it may still be let in.
    pub refused: bool,
    /// When what waits was received.
    pub received_at: Timestamp,
}

/// All that waits, undecided first, oldest first; for the organiser and the referees.
pub async fn late(app: &App, actor: &Actor, now: Timestamp, competition: &str) -> Result<Vec<Late>, Failure> {
    signed_in(actor)?;
    let reader = Reader::find(app, actor, now, competition).await?;
    let permit = permit(actor, Act::ReadDesk { competition: &reader.slug, gym: None })?;
    let extensions: Arc<[Extension]> = app.store.list_extensions(reader.id).await?.into();
    let mut waiting = Vec::new();
    // Nothing is late before a window has closed.
    for workout in reader.workouts().filter(|w| w.window.closed(now)) {
        let mut of_bib: BTreeMap<u32, Vec<Attempt>> = BTreeMap::new();
        let mut after = (0, 0);
        loop {
            let page = app.store.list_waiting(&permit, reader.id, &workout.slug, after, PAGE).await?;
            let full = page.len() >= PAGE as usize;
            for attempt in page {
                after = (attempt.score.bib, attempt.score.attempt);
                of_bib.entry(attempt.score.bib).or_default().push(attempt);
            }
            if !full {
                break;
            }
        }
        let bibs: Vec<u32> = of_bib.keys().copied().collect();
        let entries = app.store.list_named(reader.id, &bibs).await?;
        let names = reader.names(app, &bibs).await?;
        for (bib, attempts) in of_bib {
            let Some(attempt) = ledger::awaiting(&attempts) else { continue };
            let entry = match entries.get(&bib) {
                Some(known) => known.entry.clone(),
                None => find_entry(app, &reader, bib).await?.entry,
            };
            let notes = Arc::new(HashMap::new());
            let score = Show::with(&reader, workout, &entry, notes, Arc::clone(&extensions), reader.seq).score(attempt);
            waiting.push(Late {
                name: names.get(&bib).cloned().unwrap_or_default(),
                division: entry.division,
                refused: score.refused || correction(&score).is_some_and(|w| w.refused),
                received_at: received(&score),
                score,
            });
        }
    }
    waiting.sort_by_key(|l| (l.refused, l.received_at, l.score.bib));
    Ok(waiting)
}

/// The correction that is to be decided on, where it is one: of a refused one with a late
/// attestation beside it, the attestation is.
#[must_use]
pub fn correction(score: &ScoreView) -> Option<&WaitingView> {
    score.waiting.as_ref().filter(|w| !w.refused || score.waiting_attestation.is_none())
}

/// When what waits was received.
fn received(score: &ScoreView) -> Timestamp {
    let correction = correction(score).map(|w| w.received_at);
    correction.or(score.waiting_attestation.as_ref().map(|a| a.at)).unwrap_or(score.received_at)
}
