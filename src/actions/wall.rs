//! What a gym's screen shows: results of its entries as anybody may see them, whoever is signed in
//! on the screen. What it does not show: hidden names, results before their publication, and who
//! starts in a heat that has not begun.

use super::Failure;
use super::reader::Reader;
use super::standings::{Desk, StandingsQuery};
use super::views::{GymView, PlaceRow, ScopeView, StandingRow};
use crate::app::App;
use crate::rules::access::{Actor, Grant, Role};
use crate::rules::heats::Place;
use crate::rules::window::{self, Window};
use crate::rules::workout::Workout;
use crate::words::Sentence;
use jiff::Timestamp;
use std::collections::HashMap;

/// Rows of a division at most.
const MOST: u32 = 100;

/// What is shown.
#[derive(Clone, Debug)]
pub enum Shown {
    /// A workout's places: for each division its title and rows, and how many more there are.
    Workout(Vec<(String, Vec<PlaceRow>, u32)>),
    /// The workout's results are not published yet.
    Hidden,
    /// The overall.
    Overall(Vec<(String, Vec<StandingRow>, u32)>),
}

/// A gym's screen.
#[derive(Clone, Debug)]
pub struct Wall {
    /// What anybody may see.
    pub reader: Reader,
    /// The gym.
    pub gym: GymView,
    /// Slugs of the workouts that have begun, the newest first.
    pub workouts: Vec<String>,
    /// The one that is shown; `None`: the overall.
    pub workout: Option<String>,
    /// The times that hold for it at this gym.
    pub window: Option<Window>,
    /// Its results, or the overall.
    pub shown: Shown,
    /// Places in the heat that is on the floor, with names: from its start to when the next may start,
    /// and while the workout is open there.
    pub heat: Vec<(Place, String)>,
    /// In which heat each one started.
    pub heats: HashMap<u32, u32>,
}

/// Somebody who may see the competition and nothing more of it than anybody.
fn spectator(competition: &str) -> Actor {
    let grant =
        Grant { role: Role::Athlete, competition: Some(competition.to_owned()), gym: None, bib: None, judge: None };
    Actor { grants: vec![grant], ..Actor::nobody() }
}

/// Reads a gym's screen. `asked`: a workout's slug, `overall`, or empty for the newest workout.
///
/// # Errors
/// Not found: the competition, the gym, the workout.
pub async fn read(
    app: &App,
    actor: &Actor,
    now: Timestamp,
    competition: &str,
    gym: &str,
    asked: &str,
) -> Result<Wall, Failure> {
    // Whoever may not see the competition does not see the screen; the others see what all see.
    Reader::find(app, actor, now, competition).await?;
    let public = spectator(competition);
    let reader = Reader::find(app, &public, now, competition).await?;
    let find = super::lists::Find { gym: Some(gym.to_owned()), q: None };
    let gyms = super::lists::gyms(app, &public, now, competition, &find).await?;
    let Some(gym) = gyms.into_iter().find(|g| g.slug == gym) else {
        return Err(Failure::not_found(Sentence::new("no_gym").with("gym", super::reader::shown(gym))));
    };
    let mut begun: Vec<&Workout> = reader.workouts().filter(|x| x.window.opens <= now).collect();
    begun.sort_by_key(|x| std::cmp::Reverse(x.window.opens));
    let workouts: Vec<String> = begun.iter().map(|x| x.slug.clone()).collect();
    let workout = match asked {
        "overall" => None,
        "" => begun.first().copied(),
        slug => Some(reader.workout(slug)?),
    };
    let query = StandingsQuery {
        scope: ScopeView { gym: Some(gym.slug.clone()), ..ScopeView::default() },
        limit: Some(MOST),
        ..StandingsQuery::default()
    };
    let desk = Desk::open(app, &public, now, competition, &query).await?;
    let shown = match workout {
        Some(x) if !reader.sees_scores(x, None) => Shown::Hidden,
        Some(x) => Shown::Workout(places(app, &reader, &desk, &query, &x.slug).await?),
        None => Shown::Overall(standings(app, &reader, &desk, &query).await?),
    };
    let window = match workout {
        Some(x) => {
            let extensions = app.store.list_extensions(reader.id).await?;
            Some(window::for_entry(x, &extensions, Some(&gym.slug), &gym.region))
        }
        None => None,
    };
    let begun = match workout {
        Some(x) => app.store.list_begun_heats(reader.id, &gym.slug, &x.slug, now).await?,
        None => None,
    };
    let places = begun.iter().flat_map(|plan| &plan.places);
    let heats = places.clone().map(|p| (p.bib, p.heat)).collect();
    let open = window.as_ref().is_some_and(|window| window.opens <= now && !window.closed(now));
    let on_floor = begun.as_ref().filter(|_| open).and_then(|plan| plan.on_floor(now));
    let lanes: Vec<Place> = places.filter(|p| Some(p.heat) == on_floor).cloned().collect();
    let bibs: Vec<u32> = lanes.iter().map(|p| p.bib).collect();
    let shown_names = reader.names(app, &bibs).await?;
    let with_name = |p: Place| {
        let name = shown_names.get(&p.bib).cloned().unwrap_or_default();
        (p, name)
    };
    let workout = workout.map(|x| x.slug.clone());
    Ok(Wall { gym, workouts, workout, window, shown, heat: lanes.into_iter().map(with_name).collect(), heats, reader })
}

/// The divisions that the gym has somebody in, with those of it that have a place.
async fn places(
    app: &App,
    reader: &Reader,
    desk: &Desk,
    query: &StandingsQuery,
    workout: &str,
) -> Result<Vec<(String, Vec<PlaceRow>, u32)>, Failure> {
    let mut found = Vec::new();
    for d in reader.competition.divisions.iter().filter(|d| d.combines.is_empty()) {
        let page = desk.places(app, &d.slug, workout, query).await?;
        let rows: Vec<PlaceRow> = page.rows.into_iter().filter(|r| r.place.is_some()).collect();
        let more = page.of.saturating_sub(super::score::count(rows.len()));
        if !rows.is_empty() {
            found.push((d.title.clone(), rows, more));
        }
    }
    Ok(found)
}

/// The same, overall.
async fn standings(
    app: &App,
    reader: &Reader,
    desk: &Desk,
    query: &StandingsQuery,
) -> Result<Vec<(String, Vec<StandingRow>, u32)>, Failure> {
    let mut found = Vec::new();
    for d in reader.competition.divisions.iter().filter(|d| d.combines.is_empty()) {
        let page = desk.standings(app, &d.slug, query).await?;
        let rows: Vec<StandingRow> = page.rows.into_iter().filter(|r| r.standing.is_some()).collect();
        let more = page.of.saturating_sub(super::score::count(rows.len()));
        if !rows.is_empty() {
            found.push((d.title.clone(), rows, more));
        }
    }
    Ok(found)
}
