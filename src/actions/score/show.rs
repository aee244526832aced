//! A stored attempt in the form of an answer, as one reader sees it.

use crate::actions::Failure;
use crate::actions::language;
use crate::actions::reader::Reader;
use crate::actions::views::{
    AppealView, AttestationView, FlagView, PerformanceView, RemarkView, RulingView, ScoreView, WaitingView, names,
};
use crate::app::App;
use crate::rules::access::Permit;
use crate::rules::event::{Extension, NoteRef};
use crate::rules::fault::Warning;
use crate::rules::life::{Attempt, Attestation, Stored};
use crate::rules::people::Entry;
use crate::rules::performance::{self, Around, RawPerformance};
use crate::rules::window;
use crate::rules::workout::Workout;
use std::collections::HashMap;
use std::sync::Arc;

/// What is needed to show the attempts of one entry in one workout to one reader.
pub struct Show<'a> {
    reader: &'a Reader,
    workout: &'a Workout,
    entry: &'a Entry,
    notes: Arc<HashMap<u64, String>>,
    extensions: Arc<[Extension]>,
    seq: u64,
}

/// The notes of an attempt: those that everybody may read, and all.
fn note_ids(attempt: &Attempt) -> impl Iterator<Item = u64> {
    let refs: [Option<&NoteRef>; 4] = [
        attempt.details.video.as_ref(),
        attempt.flag.as_ref().and_then(|f| f.note.as_ref()),
        attempt.ruling.as_ref().map(|r| &r.reason),
        attempt.appeal.as_ref().map(|a| &a.reason),
    ];
    refs.into_iter().flatten().map(|n| n.id).collect::<Vec<_>>().into_iter()
}

/// Notes by number, as far as the holder of `permit` (or everybody) may read them.
pub async fn notes(
    app: &App,
    reader: &Reader,
    permit: Option<&Permit>,
    ids: &[u64],
) -> Result<HashMap<u64, String>, Failure> {
    if ids.is_empty() {
        return Ok(HashMap::new());
    }
    Ok(match permit {
        Some(permit) => app.store.list_notes(permit, reader.id, ids).await?,
        None => app.store.list_public_notes(reader.id, ids).await?,
    })
}

/// Notes about attempts of one entry, each with the gym it was performed in: staff of a gym that
/// an entry visited read those about that attempt, not those about the others.
pub async fn notes_by_gym<'g>(
    app: &App,
    reader: &Reader,
    entry: &Entry,
    attempts: impl Iterator<Item = (Option<&'g str>, Vec<u64>)>,
) -> Result<HashMap<u64, String>, Failure> {
    let (mut inside, mut outside, mut permit) = (Vec::new(), Vec::new(), None);
    for (at, ids) in attempts {
        match reader.inside(entry, at) {
            Some(given) => {
                permit = Some(given);
                inside.extend(ids);
            }
            None => outside.extend(ids),
        }
    }
    let mut found = notes(app, reader, permit.as_ref(), &inside).await?;
    found.extend(notes(app, reader, None, &outside).await?);
    Ok(found)
}

impl<'a> Show<'a> {
    /// Reads what stands apart from the attempts: notes and extensions of windows.
    pub async fn load(
        app: &App,
        reader: &'a Reader,
        workout: &'a Workout,
        entry: &'a Entry,
        attempts: &[&Attempt],
        seq: u64,
    ) -> Result<Self, Failure> {
        let ids = attempts.iter().map(|a| (a.stored.gym.as_deref(), note_ids(a).collect()));
        let notes = notes_by_gym(app, reader, entry, ids).await?;
        let late = attempts.iter().any(|a| a.stored.received_at >= workout.window.closes);
        let extensions = if late { app.store.list_extensions(reader.id).await? } else { Vec::new() };
        Ok(Self { reader, workout, entry, notes: Arc::new(notes), extensions: extensions.into(), seq })
    }

    /// The same with notes and extensions that were read for many at once.
    pub fn with(
        reader: &'a Reader,
        workout: &'a Workout,
        entry: &'a Entry,
        notes: Arc<HashMap<u64, String>>,
        extensions: Arc<[Extension]>,
        seq: u64,
    ) -> Self {
        Self { reader, workout, entry, notes, extensions, seq }
    }

    fn note(&self, note: Option<&NoteRef>) -> Option<String> {
        note.and_then(|n| self.notes.get(&n.id)).cloned()
    }

    /// One attempt.
    pub fn score(&self, attempt: &Attempt) -> ScoreView {
        let stored = &attempt.stored;
        let window = window::for_entry(self.workout, &self.extensions, self.entry.gym.as_deref(), &self.entry.region);
        let late = window.late_by(stored.received_at).as_millis();
        ScoreView {
            competition: self.reader.slug.clone(),
            workout: attempt.score.workout.clone(),
            bib: attempt.score.bib,
            attempt: attempt.score.attempt,
            version: attempt.version,
            etag: attempt.tag().to_string(),
            changed_at: attempt.etag,
            state: attempt.state.as_str(),
            level: level(self.reader, stored.level),
            performance: self.performance(stored),
            performed_at: stored.performed_at,
            gym: stored.gym.clone(),
            received_at: stored.received_at,
            late_by_ms: u64::try_from(late).ok().filter(|ms| *ms > 0),
            no_reps: attempt.details.no_reps,
            sheet: attempt.details.sheet.clone(),
            video: self.note(attempt.details.video.as_ref()),
            attestation: attempt.attestation.as_ref().map(attestation),
            waiting_attestation: attempt.waiting_attestation.as_ref().map(attestation),
            waiting: attempt.waiting.as_ref().map(|w| WaitingView {
                performance: self.performance(&w.stored),
                received_at: w.stored.received_at,
                refused: w.refused,
            }),
            refused: attempt.refused,
            locked: attempt.locked,
            stale: attempt.stale,
            upward: attempt.upward,
            flag: attempt.flag.as_ref().map(|f| FlagView {
                reason: names::reason(f.reason),
                note: self.note(f.note.as_ref()),
                at: f.at,
            }),
            ruling: attempt.ruling.as_ref().map(|r| RulingView {
                kind: names::kind(r.kind),
                reason: self.note(Some(&r.reason)),
                at: r.at,
                before: self.performance(&r.before),
                on_appeal: r.on_appeal,
            }),
            appeal: attempt.appeal.as_ref().map(|a| AppealView {
                reason: self.note(Some(&a.reason)),
                at: a.at,
                decided: a.decided,
            }),
            warnings: Vec::new(),
            places: None,
            log_seq: self.seq,
        }
    }

    fn performance(&self, stored: &Stored) -> PerformanceView {
        performance(self.reader, self.workout, &self.entry.division, stored)
    }
}

/// Stored figures as numbers and in writing, read by the one reader of written performances.
pub fn performance(reader: &Reader, workout: &Workout, division: &str, stored: &Stored) -> PerformanceView {
    let raw = RawPerformance::Text(stored.text.clone());
    let around = Around { confirm_all: true, ..Around::default() };
    let task = reader
        .competition
        .prescription(&workout.slug, division, stored.level)
        .map_or(&workout.task, |prescription| &prescription.task);
    match performance::check(task, &raw, &around) {
        Ok(checked) => checked.value.view(task, &stored.written),
        // Figures of a prescription that is no more: only as they were written.
        Err(_) => PerformanceView {
            format: task.format,
            total_reps: None,
            rounds: None,
            reps: None,
            finished: None,
            time_ms: None,
            grams: None,
            loads: None,
            count: None,
            unit: None,
            intervals: None,
            combined: None,
            tiebreak_ms: None,
            text: stored.text.clone(),
            written: stored.written.clone(),
        },
    }
}

/// Who vouches.
pub fn attestation(attestation: &Attestation) -> AttestationView {
    AttestationView { judge: attestation.judge.clone(), how: names::how(attestation.how), at: attestation.at }
}

/// A level's slug.
pub fn level(reader: &Reader, level: u8) -> String {
    reader.competition.levels.get(usize::from(level)).map_or_else(String::new, |l| l.slug.clone())
}

/// Warnings, said.
#[must_use]
pub fn remarks(warnings: &[Warning]) -> Vec<RemarkView> {
    warnings
        .iter()
        .map(|w| RemarkView {
            pointer: w.pointer.clone(),
            code: w.sentence.code.to_string(),
            message: language::say(&w.sentence),
        })
        .collect()
}
