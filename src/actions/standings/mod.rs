//! Reading standings: a page of the overall, of one workout, and where one entry stands. The
//! board works them out; names and what the reader may see are joined here.

mod in_parts;
mod own;
mod past;
mod spread;
mod what_if;

pub use in_parts::{InParts, PlacesOf};
pub use own::{entry_in, entry_standing};
pub use spread::{Marked, Spread, Ties};
pub use what_if::{Changed, Other, Ranking, offered, what_if};

use super::Failure;
use super::reader::{Reader, shown};
use super::score::WAIT;
use super::views::{PlaceRow, PlacesView, ScopeView, StandingRow, StandingsView, WorkoutCell, names};
use crate::app::App;
use crate::rules::access::Actor;
use crate::rules::performance;
use crate::rules::place::Running;
use crate::rules::workout::Workout;
use crate::standings::{self, Cut, Mask, Placing, Query, Ranked, Scope, View};
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
    /// Log position of the last change that can alter what is shown of the division.
    pub version: u64,
    /// Leaf hash of the record there: a database that was put back to an earlier state goes on with
    /// other records at the same positions.
    pub leaf: Option<[u8; 32]>,
    /// The last window boundary that has passed, microseconds.
    pub boundary: i64,
    /// Which workouts the reader counts: bit n is the nth of the file.
    pub mask: u32,
    /// Whether everybody gets the same page: nobody's hidden names are in it.
    pub common: bool,
}

/// Standings in one state, as one reader sees them.
pub struct Desk {
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
    /// Finds the state that is asked for.
    ///
    /// # Errors
    /// Not found; a state that is not there, or not there yet.
    pub async fn open(
        app: &App,
        actor: &Actor,
        now: Timestamp,
        competition: &str,
        query: &StandingsQuery,
    ) -> Result<Self, Failure> {
        let mut reader = Reader::current(app, actor, now, competition).await?;
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

    /// Who reads, and the competition as of the state.
    #[must_use]
    pub fn reader(&self) -> &Reader {
        &self.reader
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

    /// What a page of a division depends on, without making it.
    ///
    /// # Errors
    /// Not found.
    pub async fn stamp(&self, app: &App, division: &str) -> Result<Stamp, Failure> {
        let version = self.version(division)?;
        let mut leaf = self.view.leaf(version);
        if leaf.is_none() {
            leaf = app.store.find_leaf(self.reader.id, version).await?;
            if let Some(leaf) = leaf {
                self.view.note_leaf(version, leaf);
            }
        }
        Ok(Stamp {
            version,
            leaf,
            boundary: self.reader.boundary(),
            mask: self.mask.0,
            common: self.reader.in_common(),
        })
    }

    /// The log position that a page of a division names: of its last change, so that changes
    /// elsewhere neither void what readers keep nor send them back to the first page.
    fn version(&self, division: &str) -> Result<u64, Failure> {
        self.view.version(division).ok_or_else(|| self.no_division(division))
    }

    /// Whether somebody is listed among those that are asked for.
    #[must_use]
    pub fn lists(&self, division: &str, bib: u32) -> bool {
        self.view.lists(&self.query(division), bib)
    }

    /// The place in the file of a workout whose scores this reader may see in this scope.
    ///
    /// # Errors
    /// Not found, also before its announcement or publication.
    pub fn published(&self, workout: &str) -> Result<usize, Failure> {
        let what = self.reader.workout(workout)?;
        if !self.reader.sees_scores(what, self.scope.gym.as_deref()) {
            return Err(Failure::not_found(Sentence::new("not_published").with("workout", &what.title)));
        }
        Ok(self.reader.index(what))
    }

    /// The places of a workout whose scores this reader may not see yet: nobody's. `None`: they may be seen.
    ///
    /// # Errors
    /// Not found: the division.
    pub fn unpublished(&self, division: &str, workout: &Workout) -> Result<Option<PlacesView>, Failure> {
        let log_seq = self.version(division)?;
        let hidden = !self.reader.sees_scores(workout, self.scope.gym.as_deref());
        Ok(hidden.then(|| PlacesView {
            division: division.to_owned(),
            workout: workout.slug.clone(),
            scope: self.scope(),
            log_seq,
            of: 0,
            entries: 0,
            from: 1,
            rows: Vec::new(),
        }))
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
        && !reaches(app, reader.id, seq).await?
    {
        return Err(Failure::Behind);
    }
    let Some(seq) = query.as_of else {
        let view = app.board.view(reader.id).ok_or(Failure::Behind)?;
        // Workouts are named by their place in the file: of the board's state, not of the store's.
        reader.competition = Arc::clone(view.definition());
        return Ok(view);
    };
    past::state(app, reader, seq).await
}

/// Waits until the board knows a log position, of the log that is there now: not of one that is gone, by a
/// failover say. Not for a position that is not there, which would only keep others out.
async fn reaches(app: &App, competition: i64, seq: u64) -> Result<bool, Failure> {
    let there = app.store.find_head(competition).await?.is_some_and(|head| head.seq >= seq);
    Ok(there && app.logs.at_least_now(competition, seq, WAIT).await)
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
            let code = if query.scope == ScopeView::default() { "not_in_division" } else { "not_in_scope" };
            Err(Failure::not_found(Sentence::new(code).with("bib", bib).with("division", shown(division))))
        }
        _ => Ok(()),
    }
}

impl Desk {
    /// The overall result of a division.
    ///
    /// # Errors
    /// Not found: the division, or the bib that a page is asked for by.
    pub async fn standings(&self, app: &App, division: &str, query: &StandingsQuery) -> Result<StandingsView, Failure> {
        let page = self.ranking(division)?.page(&self.view, cut(query));
        listed(query, page.from, division)?;
        self.standings_page(app, division, page).await
    }

    fn ranking(&self, division: &str) -> Result<Ranked, Failure> {
        self.view.ranking(&self.query(division)).ok_or_else(|| self.no_division(division))
    }

    async fn standings_page(
        &self,
        app: &App,
        division: &str,
        page: standings::StandingsPage,
    ) -> Result<StandingsView, Failure> {
        let log_seq = self.version(division)?;
        let bibs: Vec<u32> = page.rows.iter().map(|r| r.athlete.bib).collect();
        let mut shown_names = self.reader.names(app, &bibs).await?;
        let rows = page.rows.into_iter().map(|row| StandingRow {
            standing: row.standing,
            bib: row.athlete.bib,
            name: shown_names.remove(&row.athlete.bib).unwrap_or_default(),
            gym: row.athlete.gym.as_deref().map(str::to_owned),
            country: row.athlete.country.to_string(),
            region: Arc::clone(&row.athlete.region),
            entry_state: names::entry_state(row.athlete.state),
            points: row.points,
            unscoped_standing: row.unscoped_standing.filter(|_| !self.more),
            next: own::points_gap(row.next, row.points),
            workouts: row.workouts.into_iter().map(|cell| workout_cell(self, &row.athlete.division, cell)).collect(),
        });
        Ok(StandingsView {
            division: division.to_owned(),
            scope: self.scope(),
            running: names::running(self.running),
            log_seq,
            of: super::score::count(page.of),
            entries: super::score::count(page.entries),
            from: super::score::count(page.from),
            rows: rows.collect(),
        })
    }

    /// The places of one workout in a division.
    ///
    /// # Errors
    /// Not found: the division, the workout (also before its announcement or publication), or
    /// the bib that a page is asked for by.
    pub async fn places(
        &self,
        app: &App,
        division: &str,
        workout: &str,
        query: &StandingsQuery,
    ) -> Result<PlacesView, Failure> {
        let index = self.published(workout)?;
        let page = self.placing(division, index)?.page(&self.view, cut(query));
        listed(query, page.from, division)?;
        self.places_page(app, division, (workout, index), page).await
    }

    /// How many have a place in a workout of a division, within the scope; none: they are not to be seen.
    #[must_use]
    pub fn placed(&self, division: &str, workout: &str) -> u32 {
        let none = Cut::Rows { from: 1, limit: 0 };
        let placing = self.published(workout).and_then(|index| self.placing(division, index));
        placing.map_or(0, |placing| super::score::count(placing.page(&self.view, none).of))
    }

    fn placing(&self, division: &str, workout: usize) -> Result<Placing, Failure> {
        self.view.placing(&self.query(division), workout).ok_or_else(|| self.no_division(division))
    }

    /// `index`: of the workout in the file.
    async fn places_page(
        &self,
        app: &App,
        division: &str,
        (workout, index): (&str, usize),
        page: standings::PlacesPage,
    ) -> Result<PlacesView, Failure> {
        let more = !self.reader.competition.workouts.get(index).is_some_and(|w| self.reader.sees_scores(w, None));
        let log_seq = self.version(division)?;
        let bibs: Vec<u32> = page.rows.iter().map(|r| r.athlete.bib).collect();
        let mut shown_names = self.reader.names(app, &bibs).await?;
        let rows = page.rows.into_iter().map(|row| {
            let own = &row.athlete.division;
            let score = row.score.as_ref();
            PlaceRow {
                place: row.place,
                shared: row.shared,
                bib: row.athlete.bib,
                name: shown_names.remove(&row.athlete.bib).unwrap_or_default(),
                gym: row.athlete.gym.as_deref().map(str::to_owned),
                country: row.athlete.country.to_string(),
                region: Arc::clone(&row.athlete.region),
                entry_state: names::entry_state(row.athlete.state),
                text: score.filter(|s| s.key.is_some()).map(|s| self.figures(index, own, s.level, &s.text)),
                state: score.map(|s| s.state.as_str()),
                level: score.and_then(|s| self.level(s.level)),
                unscoped_place: row.unscoped_place.filter(|_| !more),
                next: own::gap(self, own, index, score, row.next.as_ref()),
            }
        });
        Ok(PlacesView {
            division: division.to_owned(),
            workout: workout.to_owned(),
            scope: self.scope(),
            log_seq,
            of: super::score::count(page.of),
            entries: super::score::count(page.entries),
            from: super::score::count(page.from),
            rows: rows.collect(),
        })
    }
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
