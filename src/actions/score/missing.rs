//! Who is missing: entries that could still take part in a workout and have neither a score nor
//! a statement.

use crate::actions::reader::Reader;
use crate::actions::{Failure, signed_in};
use crate::app::App;
use crate::rules::access::{Act, Actor, permit};
use crate::rules::event::Extension;
use crate::rules::people::Entry;
use crate::rules::window::{self, Window};
use jiff::Timestamp;
use std::collections::HashMap;

/// Rows that are read at a time.
const PAGE: u32 = 1_000;

/// Who is missing in a workout.
#[derive(Clone, Debug)]
pub struct Missing {
    /// By bib.
    pub entries: Vec<Entry>,
    extensions: Vec<Extension>,
    reader: Reader,
    workout: String,
}

impl Missing {
    /// The window that holds for a gym: the workout's, or a later one it was given.
    #[must_use]
    pub fn window(&self, gym: Option<&str>, region: &str) -> Option<Window> {
        let workout = self.reader.competition.workout(&self.workout)?;
        Some(window::for_entry(workout, &self.extensions, gym, region))
    }
}

/// Who is missing in a workout, of one gym or of all: for its staff, referees, the organiser.
pub async fn missing(
    app: &App,
    actor: &Actor,
    now: Timestamp,
    competition: &str,
    workout: &str,
    gym: Option<&str>,
) -> Result<Missing, Failure> {
    signed_in(actor)?;
    let reader = Reader::find(app, actor, now, competition).await?;
    let workout = reader.workout(workout)?.slug.clone();
    let permit = permit(actor, Act::ReadDesk { competition: &reader.slug, gym })?;
    let extensions = app.store.list_extensions(reader.id).await?;
    let mut entries: Vec<Entry> = Vec::new();
    loop {
        let after = entries.last().map_or(0, |e| e.bib);
        let page = app.store.list_missing(&permit, reader.id, &workout, gym, after, PAGE).await?;
        let full = page.len() >= PAGE as usize;
        entries.extend(page);
        if !full {
            return Ok(Missing { entries, extensions, reader, workout });
        }
    }
}

/// How far a workout is, as counted now.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Progress {
    /// Scores with a place.
    pub placed: u64,
    /// Scores that a judge has not vouched for yet.
    pub awaiting: u64,
    /// Scores that came late and have not been let in.
    pub late: u64,
    /// Entries of which nothing is known yet.
    pub missing: u64,
    /// Entries that take part.
    pub entries: u64,
}

/// How far each opened workout is, by slug; for the organiser and the referees.
pub async fn progress(
    app: &App,
    actor: &Actor,
    now: Timestamp,
    competition: &str,
) -> Result<HashMap<String, Progress>, Failure> {
    signed_in(actor)?;
    let reader = Reader::find(app, actor, now, competition).await?;
    permit(actor, Act::ReadDesk { competition: &reader.slug, gym: None })?;
    let counts = app.store.count_scores(reader.id).await?;
    let mut found = HashMap::new();
    for workout in reader.workouts().filter(|w| w.window.opens <= now) {
        let (missing, entries) = app.store.count_missing(reader.id, &workout.slug).await?;
        let mut progress = Progress { missing, entries, ..Progress::default() };
        for (_, state, n) in counts.iter().filter(|(w, ..)| *w == workout.slug) {
            match state.as_str() {
                "attested" | "flagged" | "amended" => progress.placed += n,
                "entered" => progress.awaiting += n,
                "late" => progress.late += n,
                _ => {}
            }
        }
        found.insert(workout.slug.clone(), progress);
    }
    Ok(found)
}

/// The names of these entries as the reader of the list sees them.
pub async fn names_of(app: &App, missing: &Missing, bibs: &[u32]) -> Result<HashMap<u32, String>, Failure> {
    missing.reader.names(app, bibs).await
}
