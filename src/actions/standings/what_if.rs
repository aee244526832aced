//! What another result would change: places and standings worked out again by the board, without
//! storing anything. For whoever may see the places it tells of.

use super::own::scope;
use super::{Desk, StandingsQuery};
use crate::actions::Failure;
use crate::actions::reader::Reader;
use crate::actions::score::{WAIT, find_entry, remarks};
use crate::actions::views::{RemarkView, ScopeView};
use crate::app::App;
use crate::rules::access::Actor;
use crate::rules::fault::{Fault, Warning};
use crate::rules::order;
use crate::rules::performance::{self, Around, RawPerformance};
use crate::rules::workout::Workout;
use crate::standings::{Spot, WhatIf};
use crate::words::Sentence;
use jiff::Timestamp;
use std::sync::Arc;

/// Another result.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Other {
    /// Workout slug.
    pub workout: String,
    /// Level slug; empty: the division's own.
    pub level: String,
    /// In writing.
    pub performance: String,
}

/// What it would change.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Changed {
    /// Workout slug.
    pub workout: String,
    /// The figures as readers see them.
    pub text: String,
    /// What would be asked or remarked on if it were sent.
    pub remarks: Vec<RemarkView>,
    /// Whether the workout counts in the overall that is shown.
    pub counts: bool,
    /// Everywhere the entry is ranked.
    pub rankings: Vec<Ranking>,
}

/// One ranking, now and then.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Ranking {
    /// Division slug.
    pub division: String,
    /// Among whom.
    pub scope: ScopeView,
    /// As stored.
    pub now: Spot,
    /// With the other result.
    pub then: Spot,
}

/// The workouts that a reader may try results in: those that have begun and whose places the reader
/// may see, with a prescription for the division.
pub fn offered<'a>(reader: &'a Reader, division: &'a str) -> impl Iterator<Item = &'a Workout> {
    let done_by = move |x: &Workout| x.prescriptions.iter().any(|p| p.divisions.iter().any(|d| d == division));
    reader.workouts().filter(move |x| x.window.opens <= reader.now && reader.sees_scores(x, None) && done_by(x))
}

/// Works out what would be if `other` were the score of `bib` that counts.
///
/// # Errors
/// Not found: the entry. Faults of the result, by field. Busy: others are before, for too long.
pub async fn what_if(
    app: &App,
    actor: &Actor,
    now: Timestamp,
    competition: &str,
    bib: u32,
    other: &Other,
) -> Result<Changed, Failure> {
    let desk = Desk::open(app, actor, now, competition, &StandingsQuery::default()).await?;
    let reader = &desk.reader;
    let entry = find_entry(app, reader, bib).await?.entry;
    let Some(x) = offered(reader, &entry.division).find(|x| x.slug == other.workout) else {
        return Err(Failure::fault("/workout", Sentence::new("what_if_workout")));
    };
    let c = &reader.competition;
    let own = c.division(&entry.division).map_or(0, |d| d.level);
    let level = match other.level.as_str() {
        "" => Some(own),
        slug => (0..).zip(&c.levels).find(|(_, l)| l.slug == slug).map(|(n, _)| n),
    };
    let Some((level, p)) = level.and_then(|l| Some((l, c.prescription(&x.slug, &entry.division, l)?))) else {
        return Err(Failure::fault("/level", Sentence::new("what_if_level")));
    };
    let raw = RawPerformance::Text(other.performance.clone());
    let checked = performance::check(&p.task, &raw, &Around::default()).map_err(Failure::faults)?;
    let key = order::key(&p.task, level, &checked.value).map_err(|fault: Fault| Failure::faults(vec![fault]))?;
    let asked = checked.questions.into_iter().map(|q| Warning { pointer: q.pointer, sentence: q.sentence });
    let said: Vec<Warning> = asked.chain(checked.warnings).collect();
    let (index, mask, view) = (reader.index(x), desk.mask, Arc::clone(&desk.view));
    let _turn = app.board.turn(WAIT).await.ok_or(Failure::Busy)?;
    let found = tokio::task::spawn_blocking(move || view.what_if(bib, index, key, mask)).await;
    let found = found.map_err(|error| Failure::Broken(error.into()))?;
    Ok(Changed {
        workout: x.slug.clone(),
        text: checked.value.shown(&p.task),
        remarks: remarks(&said),
        counts: mask.has(index),
        rankings: found.into_iter().map(ranking).collect(),
    })
}

fn ranking(found: WhatIf) -> Ranking {
    Ranking { scope: scope(&found.scope), division: found.division, now: found.now, then: found.then }
}
