//! Reading standings: a page of the overall, of one workout, and where one entry stands. The
//! board works them out; names and what the reader may see are joined here.

use super::Failure;
use super::views::{EntryStandingView, PlacesView, ScopeView, StandingsView};
use crate::app::App;
use crate::rules::access::Actor;
use crate::rules::place::Running;
use jiff::Timestamp;

/// Which part of which standings is asked for.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct StandingsQuery {
    /// Among whom.
    pub scope: ScopeView,
    /// With or without running workouts; `None`: as the competition says.
    pub running: Option<Running>,
    /// As of this log position.
    pub as_of: Option<u64>,
    /// This state or a newer one: waits up to two seconds.
    pub at_least: Option<u64>,
    /// Number of the first row, from 1.
    pub from: Option<u32>,
    /// How many rows; `None`: all of them.
    pub limit: Option<u32>,
    /// The page that holds this bib (instead of `from`).
    pub bib: Option<u32>,
}

/// What a page depends on: equal stamps, equal pages.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct Stamp {
    /// Log position of the division's last change.
    pub seq: u64,
    /// The last window boundary that has passed, microseconds.
    pub boundary: i64,
    /// Which workouts the reader sees and which hidden names: equal views, equal numbers.
    pub view: u64,
}

/// What a page of this division would depend on for this reader, without making it.
pub async fn stamp(
    app: &App,
    actor: &Actor,
    now: Timestamp,
    competition: &str,
    division: &str,
    query: &StandingsQuery,
) -> Result<Stamp, Failure> {
    let _ = (app, actor, now, competition, division, query);
    todo!()
}

/// The overall result of a division.
pub async fn standings(
    app: &App,
    actor: &Actor,
    now: Timestamp,
    competition: &str,
    division: &str,
    query: &StandingsQuery,
) -> Result<StandingsView, Failure> {
    let _ = (app, actor, now, competition, division, query);
    todo!()
}

/// The places of one workout in a division.
pub async fn places(
    app: &App,
    actor: &Actor,
    now: Timestamp,
    competition: &str,
    division: &str,
    workout: &str,
    query: &StandingsQuery,
) -> Result<PlacesView, Failure> {
    let _ = (app, actor, now, competition, division, workout, query);
    todo!()
}

/// Where one entry stands in every workout and scope, with the gap to the next place.
pub async fn entry_standing(
    app: &App,
    actor: &Actor,
    now: Timestamp,
    competition: &str,
    bib: u32,
    at_least: Option<u64>,
) -> Result<EntryStandingView, Failure> {
    let _ = (app, actor, now, competition, bib, at_least);
    todo!()
}
