//! What was changed of a workout after it was published, and why: read from the log.
//!
//! Files are read and compared once, as they come: what a reader's form of the list makes of each is
//! kept ([`Kept`]), and the next who asks reads only the files that have come since.

use super::Failure;
use super::apply::difference;
use super::reader::Reader;
use super::views::{ChangeView, ChangesView};
use crate::app::App;
use crate::rules::competition::{Competition, Difference, RawCompetition, compile, differences, mark_published};
use crate::rules::event::{Event, NoteRef};
use crate::rules::tag::Tag;
use crate::rules::workout::Workout;
use jiff::Timestamp;
use std::any::Any;
use std::cell::OnceCell;
use std::collections::HashMap;
use std::sync::{Arc, Mutex, PoisonError};

/// Files that are read at a time.
const PAGE: u32 = 100;
/// Lists that are kept: a workout's in each form that is asked for. They are small, and made anew
/// where there are more.
const KEPT: usize = 256;
/// The order of the workouts, of which some may not be announced.
const ORDER: &str = "competition.workouts";

/// One applied file that changed something of a published workout.
#[derive(Clone, Debug)]
pub struct Changed {
    /// The file before.
    pub before: Arc<Competition>,
    /// The file from then on.
    pub after: Arc<Competition>,
    /// What changed of the workout.
    pub own: Vec<Difference>,
    /// What changed for all workouts.
    pub all: Vec<Difference>,
}

/// One applied file, and what it changed as somebody says it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Told<T> {
    /// When it was applied.
    pub at: Timestamp,
    /// At which position of the log.
    pub seq: u64,
    /// Why; `None`: nobody was asked then.
    pub reason: Option<String>,
    /// What it changed.
    pub what: T,
}

/// The lists that were made, each with how far it has read.
#[derive(Default)]
pub struct Kept(Mutex<HashMap<Of, Arc<tokio::sync::Mutex<Made>>>>);

/// Of which workout of which competition, in which form.
type Of = (i64, String, String);

#[derive(Default)]
struct Made {
    /// The file in force when it was last asked for.
    in_force: Option<Tag>,
    /// Position and leaf of the last file that was looked at.
    last: Option<(u64, [u8; 32])>,
    /// An `Arc<Vec<Line<T>>>`, the oldest first.
    lines: Option<Arc<dyn Any + Send + Sync>>,
}

/// What one file changed, with the note that says why.
#[derive(Clone)]
struct Line<T> {
    at: Timestamp,
    seq: u64,
    reason: Option<u64>,
    what: T,
}

/// A file of the log.
struct Applied {
    seq: u64,
    leaf: [u8; 32],
    at: Timestamp,
    raw: RawCompetition,
    reason: Option<NoteRef>,
    compiled: OnceCell<Option<Arc<Competition>>>,
}

impl Kept {
    fn list(&self, of: Of) -> Arc<tokio::sync::Mutex<Made>> {
        let mut kept = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if kept.len() >= KEPT && !kept.contains_key(&of) {
            kept.clear();
        }
        Arc::clone(kept.entry(of).or_default())
    }
}

/// The changes of a workout since it was published, newest first, each as `say` says it. `form` names
/// all that `say` goes by besides the change itself, its type among it: who asks for the same form gets
/// what was made for those before.
///
/// # Errors
/// The store fails.
pub async fn of_workout<T: Clone + Send + Sync + 'static>(
    app: &App,
    reader: &Reader,
    workout: &Workout,
    form: &str,
    say: impl Fn(&Changed) -> T,
) -> Result<Vec<Told<T>>, Failure> {
    let list = app.changes.list((reader.id, workout.slug.clone(), form.to_owned()));
    // One at a time: what the first makes the others find.
    let lines = made(app, reader, workout, &mut *list.lock().await, say).await?;
    let ids: Vec<u64> = lines.iter().filter_map(|line| line.reason).collect();
    let reasons = if ids.is_empty() { HashMap::new() } else { app.store.list_public_notes(reader.id, &ids).await? };
    let told = |line: &Line<T>| Told {
        at: line.at,
        seq: line.seq,
        reason: line.reason.and_then(|id| reasons.get(&id).cloned()),
        what: line.what.clone(),
    };
    Ok(lines.iter().rev().map(told).collect())
}

/// The changes for programs: by the keys of the file.
///
/// # Errors
/// As [`Reader::workout`], and the store fails.
pub async fn by_key(app: &App, reader: &Reader, workout: &str) -> Result<ChangesView, Failure> {
    let workout = reader.workout(workout)?;
    let say = |changed: &Changed| changed.own.iter().chain(&changed.all).map(difference).collect();
    let told = of_workout(app, reader, workout, "by key", say).await?;
    let items = told.into_iter().map(|t| ChangeView { at: t.at, log_seq: t.seq, reason: t.reason, changes: t.what });
    Ok(ChangesView { items: items.collect() })
}

/// The list with what has come since it was last asked for.
async fn made<T: Clone + Send + Sync + 'static>(
    app: &App,
    reader: &Reader,
    workout: &Workout,
    made: &mut Made,
    say: impl Fn(&Changed) -> T,
) -> Result<Arc<Vec<Line<T>>>, Failure> {
    let known = made.lines.clone().and_then(|lines| lines.downcast::<Vec<Line<T>>>().ok());
    if let (Some(known), true) = (&known, made.in_force == Some(reader.definition_tag)) {
        return Ok(Arc::clone(known));
    }
    // The last file that was looked at comes again: those after it are compared with it. A database
    // that was put back may have another one there.
    let after = made.last.map_or(0, |(seq, _)| seq.saturating_sub(1));
    let mut files = files(app, reader, after).await?;
    let goes_on = made.last.is_some() && made.last == files.first().map(|f| (f.seq, f.leaf));
    let mut lines = match known {
        Some(known) if goes_on => known.to_vec(),
        _ if after == 0 => Vec::new(),
        _ => {
            files = self::files(app, reader, 0).await?;
            Vec::new()
        }
    };
    for pair in files.windows(2) {
        let [before, after] = pair else { continue };
        let Some(changed) = change(before, after, &workout.slug) else { continue };
        let reason = after.reason.as_ref().map(|note| note.id);
        lines.push(Line { at: after.at, seq: after.seq, reason, what: say(&changed) });
    }
    let lines = Arc::new(lines);
    *made = Made {
        in_force: Some(reader.definition_tag),
        last: files.last().map(|f| (f.seq, f.leaf)),
        lines: Some(lines.clone()),
    };
    Ok(lines)
}

/// The files that were applied after position `after`, oldest first.
async fn files(app: &App, reader: &Reader, mut after: u64) -> Result<Vec<Applied>, Failure> {
    let mut found = Vec::new();
    loop {
        let page = app.store.list_history(reader.id, "competition", after, PAGE).await?;
        let full = page.len() >= PAGE as usize;
        after = page.last().map_or(after, |r| r.seq);
        for stored in page {
            let record = stored.record()?;
            if let Event::Applied { definition, reason, .. } = record.event {
                let (seq, leaf, at) = (stored.seq, stored.leaf, record.at);
                found.push(Applied { seq, leaf, at, raw: *definition, reason, compiled: OnceCell::new() });
            }
        }
        if !full {
            return Ok(found);
        }
    }
}

impl Applied {
    fn compiled(&self) -> Option<Arc<Competition>> {
        self.compiled.get_or_init(|| compile(&self.raw).ok().map(|read| Arc::new(read.value))).clone()
    }
}

/// What one file changed of a workout that was published when it came; `None`: nothing.
fn change(before: &Applied, after: &Applied, slug: &str) -> Option<Changed> {
    let (a, b) = (&before.raw, &after.raw);
    let own = |raw: &'_ RawCompetition| raw.workout.iter().find(|w| w.slug == slug).cloned();
    if a.competition == b.competition && a.division == b.division && own(a) == own(b) {
        return None;
    }
    let (old, new) = (before.compiled()?, after.compiled()?);
    if !old.workout(slug)?.window.announced(after.at) {
        return None;
    }
    new.workout(slug)?;
    let mut found = differences(Some((a, &old)), (b, &new));
    mark_published(&mut found, &old, after.at);
    let its = format!("workout.{slug}.");
    let of_workout = |d: &Difference| d.key.starts_with(&its);
    let (own, rest): (Vec<_>, Vec<_>) = found.into_iter().filter(|d| d.published).partition(of_workout);
    let all: Vec<_> = rest.into_iter().filter(|d| !d.key.starts_with("workout.") && d.key != ORDER).collect();
    if own.is_empty() && all.is_empty() {
        return None;
    }
    Some(Changed { before: old, after: new, own, all })
}
