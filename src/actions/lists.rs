//! Reading gyms, entries and judges.

use super::Failure;
use super::views::{EntryView, GymView, JudgeView};
use crate::app::App;
use crate::rules::access::Actor;
use jiff::Timestamp;

/// Which entries or judges are asked for.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Find {
    /// Of this gym.
    pub gym: Option<String>,
    /// Part of a shown name, or a bib or code.
    pub q: Option<String>,
}

/// Gyms, by slug.
pub async fn gyms(
    app: &App,
    actor: &Actor,
    now: Timestamp,
    competition: &str,
    find: &Find,
) -> Result<Vec<GymView>, Failure> {
    let _ = (app, actor, now, competition, find);
    todo!()
}

/// Entries, by bib.
pub async fn entries(
    app: &App,
    actor: &Actor,
    now: Timestamp,
    competition: &str,
    find: &Find,
) -> Result<Vec<EntryView>, Failure> {
    let _ = (app, actor, now, competition, find);
    todo!()
}

/// One entry.
pub async fn entry(
    app: &App,
    actor: &Actor,
    now: Timestamp,
    competition: &str,
    bib: u32,
) -> Result<EntryView, Failure> {
    let _ = (app, actor, now, competition, bib);
    todo!()
}

/// Judges, by code.
pub async fn judges(
    app: &App,
    actor: &Actor,
    now: Timestamp,
    competition: &str,
    find: &Find,
) -> Result<Vec<JudgeView>, Failure> {
    let _ = (app, actor, now, competition, find);
    todo!()
}
