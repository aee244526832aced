//! Reading standings: a page of the overall, of one workout, and where one entry stands. The
//! board works them out; names and what the reader may see are joined here.

mod own;

pub use own::entry_standing;

use super::Failure;
use super::reader::{Reader, shown};
use super::score::WAIT;
use super::views::{PlaceRow, PlacesView, ScopeView, StandingRow, StandingsView, WorkoutCell, names};
use crate::app::App;
use crate::rules::access::Actor;
use crate::rules::performance;
use crate::rules::place::Running;
use crate::standings::{self, Board, Cut, Mask, Query, Scope, View};
use crate::words::Sentence;
use jiff::Timestamp;
use std::sync::Arc;

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
    /// Log position of the state shown.
    pub seq: u64,
    /// The last window boundary that has passed, microseconds.
    pub boundary: i64,
    /// Which workouts the reader counts: bit n is the nth of the file.
    pub mask: u32,
    /// Whether everybody gets the same page: nobody's hidden names are in it.
    pub common: bool,
}

/// Standings in one state, as one reader sees them.
struct Desk {
    reader: Reader,
    view: Arc<View>,
    /// The workouts that count.
    mask: Mask,
    /// Whether the reader sees more in this scope than in the whole division.
    more: bool,
    running: Running,
    scope: Scope,
}

impl Desk {
    async fn open(
        app: &App,
        actor: &Actor,
        now: Timestamp,
        competition: &str,
        query: &StandingsQuery,
    ) -> Result<Self, Failure> {
        let mut reader = Reader::find(app, actor, now, competition).await?;
        let view = state(app, &mut reader, query).await?;
        let running = query.running.unwrap_or(reader.competition.overall.running);
        let scope = Scope {
            gym: query.scope.gym.clone(),
            region: query.scope.region.clone(),
            country: query.scope.country.as_deref().map(str::to_uppercase),
        };
        let with = running == Running::With;
        let mask = reader.mask(scope.gym.as_deref(), with);
        let more = mask != reader.mask(None, with);
        Ok(Self { reader, view, mask, more, running, scope })
    }

    fn query(&self, division: &str) -> Query {
        Query { division: division.to_owned(), scope: self.scope.clone(), mask: self.mask }
    }

    /// Stored figures as readers see them: times rounded to the workout's step. Only what has a
    /// fraction can differ.
    fn figures(&self, workout: usize, division: &str, level: u8, text: &str) -> String {
        let competition = &self.reader.competition;
        let prescription = competition
            .workouts
            .get(workout)
            .filter(|_| text.contains('.'))
            .and_then(|w| competition.prescription(&w.slug, division, level));
        prescription.map_or_else(|| text.to_owned(), |p| performance::shown(&p.task, text))
    }

    fn scope(&self) -> ScopeView {
        ScopeView {
            gym: self.scope.gym.clone(),
            region: self.scope.region.clone(),
            country: self.scope.country.clone(),
        }
    }

    fn stamp(&self) -> Stamp {
        Stamp {
            seq: self.view.seq(),
            boundary: self.reader.boundary(),
            mask: self.mask.0,
            common: self.reader.actor.grants.is_empty() && !self.reader.actor.operator,
        }
    }

    fn no_division(&self, division: &str) -> Failure {
        let all = self.reader.competition.divisions.iter().map(|d| d.slug.as_str()).collect::<Vec<_>>().join(", ");
        Failure::not_found(Sentence::new("no_division").with("division", shown(division)).with("known", all))
    }

    fn level(&self, level: u8) -> Option<String> {
        self.reader.competition.levels.get(usize::from(level)).map(|l| l.slug.clone())
    }

    fn workout(&self, index: usize) -> String {
        self.reader.competition.workouts.get(index).map_or_else(String::new, |w| w.slug.clone())
    }
}

/// The state of the board that is asked for; the reader's competition becomes the one of then.
async fn state(app: &App, reader: &mut Reader, query: &StandingsQuery) -> Result<Arc<View>, Failure> {
    if let Some(seq) = query.at_least
        && !app.board.at_least(reader.id, seq, WAIT).await
    {
        return Err(Failure::Behind);
    }
    let Some(seq) = query.as_of else {
        let view = app.board.view(reader.id).ok_or(Failure::Behind)?;
        // Workouts are named by their place in the file: of the board's state, not of the store's.
        reader.competition = Arc::clone(view.definition());
        return Ok(view);
    };
    let known = app.store.find_head(reader.id).await?.map_or(0, |head| head.seq);
    let then = if seq <= known { app.store.definition_at(reader.id, seq).await? } else { None };
    let then = then
        .ok_or_else(|| Failure::fault("/as_of", Sentence::new("as_of_outside").with("seq", seq).with("last", known)))?;
    let placements = app.store.placements_at(reader.id, seq).await?;
    let competition = reader.in_the_past(&then.competition);
    let view = Board::as_of(then.competition, placements, seq);
    reader.competition = competition;
    Ok(Arc::new(view))
}

fn cut(query: &StandingsQuery) -> Cut {
    let limit = query.limit.map_or(usize::MAX, |n| n as usize);
    match query.bib {
        Some(bib) => Cut::Holding { bib, limit },
        None => Cut::Rows { from: query.from.unwrap_or(1) as usize, limit },
    }
}

/// The row asked for by bib is not there.
fn listed(query: &StandingsQuery, from: usize, division: &str) -> Result<(), Failure> {
    match query.bib {
        Some(bib) if from == 0 => {
            let sentence = Sentence::new("not_in_division").with("bib", bib).with("division", shown(division));
            Err(Failure::not_found(sentence))
        }
        _ => Ok(()),
    }
}

/// What a page of standings would depend on for this reader, without making it.
pub async fn stamp(
    app: &App,
    actor: &Actor,
    now: Timestamp,
    competition: &str,
    division: &str,
    query: &StandingsQuery,
) -> Result<Stamp, Failure> {
    let desk = Desk::open(app, actor, now, competition, query).await?;
    if desk.reader.competition.division(division).is_none() {
        return Err(desk.no_division(division));
    }
    Ok(desk.stamp())
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
    let desk = Desk::open(app, actor, now, competition, query).await?;
    let page = desk.view.standings(&desk.query(division), cut(query)).ok_or_else(|| desk.no_division(division))?;
    listed(query, page.from, division)?;
    let bibs: Vec<u32> = page.rows.iter().map(|r| r.athlete.bib).collect();
    let mut shown_names = desk.reader.names(app, &bibs).await?;
    let rows = page.rows.into_iter().map(|row| StandingRow {
        standing: row.standing,
        bib: row.athlete.bib,
        name: shown_names.remove(&row.athlete.bib).unwrap_or_default(),
        gym: row.athlete.gym.as_deref().map(str::to_owned),
        country: row.athlete.country.to_string(),
        points: row.points,
        unscoped_standing: row.unscoped_standing.filter(|_| !desk.more),
        workouts: row.workouts.into_iter().map(|cell| workout_cell(&desk, &row.athlete.division, cell)).collect(),
    });
    Ok(StandingsView {
        division: division.to_owned(),
        scope: desk.scope(),
        running: names::running(desk.running),
        log_seq: page.seq,
        of: super::score::count(page.of),
        entries: super::score::count(page.entries),
        from: super::score::count(page.from),
        rows: rows.collect(),
    })
}

fn workout_cell(desk: &Desk, division: &str, cell: standings::WorkoutCell) -> WorkoutCell {
    WorkoutCell {
        workout: desk.workout(cell.workout),
        place: cell.place,
        points: cell.points,
        text: cell
            .score
            .as_ref()
            .filter(|_| cell.placed)
            .map(|s| desk.figures(cell.workout, division, s.level, &s.text)),
        state: cell.score.map(|s| s.state.as_str()),
        counted: cell.counted,
    }
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
    let desk = Desk::open(app, actor, now, competition, query).await?;
    let what = desk.reader.workout(workout)?;
    if !desk.reader.sees_scores(what, desk.scope.gym.as_deref()) {
        return Err(Failure::not_found(Sentence::new("not_published").with("workout", &what.title)));
    }
    let index = desk.reader.index(what);
    let more = !desk.reader.sees_scores(what, None);
    let page = desk.view.places(&desk.query(division), index, cut(query)).ok_or_else(|| desk.no_division(division))?;
    listed(query, page.from, division)?;
    let bibs: Vec<u32> = page.rows.iter().map(|r| r.athlete.bib).collect();
    let mut shown_names = desk.reader.names(app, &bibs).await?;
    let rows = page.rows.into_iter().map(|row| PlaceRow {
        place: row.place,
        bib: row.athlete.bib,
        name: shown_names.remove(&row.athlete.bib).unwrap_or_default(),
        gym: row.athlete.gym.as_deref().map(str::to_owned),
        country: row.athlete.country.to_string(),
        text: row
            .score
            .as_ref()
            .filter(|s| s.key.is_some())
            .map(|s| desk.figures(index, &row.athlete.division, s.level, &s.text)),
        state: row.score.as_ref().map(|s| s.state.as_str()),
        level: row.score.as_ref().and_then(|s| desk.level(s.level)),
        unscoped_place: row.unscoped_place.filter(|_| !more),
    });
    Ok(PlacesView {
        division: division.to_owned(),
        workout: workout.to_owned(),
        scope: desk.scope(),
        log_seq: page.seq,
        of: super::score::count(page.of),
        entries: super::score::count(page.entries),
        from: super::score::count(page.from),
        rows: rows.collect(),
    })
}
