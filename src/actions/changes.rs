//! What was changed of a workout after it was published, and why: read from the log.

use super::Failure;
use super::reader::Reader;
use crate::app::App;
use crate::rules::competition::{Competition, Difference, RawCompetition, compile, differences, mark_published};
use crate::rules::event::{Event, NoteRef};
use crate::rules::workout::Workout;
use jiff::Timestamp;
use std::sync::Arc;

/// Files that are read at a time.
const PAGE: u32 = 100;
/// The order of the workouts, of which some may not be announced.
const ORDER: &str = "competition.workouts";

/// One applied file that changed something of a published workout.
#[derive(Clone, Debug)]
pub struct Changed {
    /// When it was applied.
    pub at: Timestamp,
    /// Why; `None`: nobody was asked then.
    pub reason: Option<String>,
    /// The file before.
    pub before: Arc<Competition>,
    /// The file from then on.
    pub after: Arc<Competition>,
    /// What changed of the workout.
    pub own: Vec<Difference>,
    /// What changed for all workouts.
    pub all: Vec<Difference>,
}

/// A file of the log.
struct Applied {
    at: Timestamp,
    raw: RawCompetition,
    reason: Option<NoteRef>,
}

/// The changes of a workout since it was published, newest first.
///
/// # Errors
/// The store fails.
pub async fn of_workout(app: &App, reader: &Reader, workout: &Workout) -> Result<Vec<Changed>, Failure> {
    let mut found = Vec::new();
    let mut reasons = Vec::new();
    for pair in files(app, reader).await?.windows(2) {
        let [before, after] = pair else { continue };
        let Some(changed) = change(before, after, &workout.slug) else { continue };
        reasons.push(after.reason.as_ref().map(|note| note.id));
        found.push(changed);
    }
    let ids: Vec<u64> = reasons.iter().flatten().copied().collect();
    if !ids.is_empty() {
        let texts = app.store.list_public_notes(reader.id, &ids).await?;
        for (changed, id) in found.iter_mut().zip(reasons) {
            changed.reason = id.and_then(|id| texts.get(&id).cloned());
        }
    }
    found.reverse();
    Ok(found)
}

/// All files that were ever applied, oldest first.
async fn files(app: &App, reader: &Reader) -> Result<Vec<Applied>, Failure> {
    let mut found = Vec::new();
    let mut after = 0;
    loop {
        let page = app.store.list_history(reader.id, "competition", after, PAGE).await?;
        let full = page.len() >= PAGE as usize;
        after = page.last().map_or(after, |r| r.seq);
        for stored in page {
            let record = stored.record()?;
            if let Event::Applied { definition, reason, .. } = record.event {
                found.push(Applied { at: record.at, raw: *definition, reason });
            }
        }
        if !full {
            return Ok(found);
        }
    }
}

/// What one file changed of a workout that was published when it came; `None`: nothing.
fn change(before: &Applied, after: &Applied, slug: &str) -> Option<Changed> {
    let same = |a: &RawCompetition, b: &RawCompetition| {
        let workout = |raw: &RawCompetition| raw.workout.iter().find(|w| w.slug == slug).cloned();
        a.competition == b.competition && a.division == b.division && workout(a) == workout(b)
    };
    if same(&before.raw, &after.raw) {
        return None;
    }
    let (old, new) = (compile(&before.raw).ok()?.value, compile(&after.raw).ok()?.value);
    if !old.workout(slug)?.window.announced(after.at) {
        return None;
    }
    new.workout(slug)?;
    let mut found = differences(Some((&before.raw, &old)), (&after.raw, &new));
    mark_published(&mut found, &old, after.at);
    let its = format!("workout.{slug}.");
    let of_workout = |d: &Difference| d.key.starts_with(&its);
    let (own, rest): (Vec<_>, Vec<_>) = found.into_iter().filter(|d| d.published).partition(of_workout);
    let all: Vec<_> = rest.into_iter().filter(|d| !d.key.starts_with("workout.") && d.key != ORDER).collect();
    if own.is_empty() && all.is_empty() {
        return None;
    }
    Some(Changed { at: after.at, reason: None, before: Arc::new(old), after: Arc::new(new), own, all })
}
