//! What waits for a referee, in the order of consequence: how near the deadline is, then how many
//! places and standings of others would move if the doubt were right.

use super::reader::Reader;
use super::score::{Show, notes};
use super::views::ScoreView;
use super::{Failure, signed_in};
use crate::app::App;
use crate::rules::access::{Act, Actor, Permit, permit};
use crate::rules::event::{Event, Extension};
use crate::rules::life::Attempt;
use crate::rules::order::Key;
use crate::rules::people::Entry;
use crate::rules::queue::{Deadline, Doubt, Turn, otherwise};
use crate::rules::window;
use crate::rules::workout::Workout;
use crate::standings::{Mask, Moved, Query, Scope, View};
use jiff::Timestamp;
use std::cmp::Reverse;
use std::collections::HashMap;
use std::sync::Arc;

/// Rows that are read at a time.
const PAGE: u32 = 1_000;
/// Records of one score that are read at most.
const MOST: u32 = 10_000;
/// For so many the standings are worked out anew, those first that move most in their workout; the
/// rest stands behind them by that alone, and their standings once they come up.
const EXACT: usize = 400;
/// Standings worked out before others get their turn on the processor.
const AT_ONCE: usize = 8;

/// Which rows are wanted; `None`: all.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Wanted {
    /// Gym slug of the entry.
    pub gym: Option<String>,
    /// Division slug of the entry.
    pub division: Option<String>,
    /// Workout slug.
    pub workout: Option<String>,
    /// Why it waits.
    pub doubt: Option<Doubt>,
}

/// One score that waits.
#[derive(Clone, Debug, PartialEq)]
pub struct Doubted {
    /// The name, as the reader sees it.
    pub name: String,
    /// Division of its entry.
    pub division: String,
    /// Gym of its entry.
    pub gym: Option<String>,
    /// The score.
    pub score: ScoreView,
    /// Why it waits.
    pub doubt: Doubt,
    /// What comes next for it.
    pub deadline: Deadline,
    /// Its place now and how many have one, or the place that it would have; `None`: none.
    pub place: Option<(u32, usize)>,
    /// Others that would move if the doubt were right; `None`: it is not ranked (a guest).
    pub moved: Option<Moved>,
}

/// What waits, the most pressing first; for referees and the organiser.
///
/// # Errors
/// 401, 403; 404 for a competition that is not there for this reader.
pub async fn queue(
    app: &App,
    actor: &Actor,
    now: Timestamp,
    competition: &str,
    wanted: &Wanted,
) -> Result<Vec<Doubted>, Failure> {
    signed_in(actor)?;
    let reader = Reader::find(app, actor, now, competition).await?;
    let permit = permit(actor, Act::ReadDesk { competition: &reader.slug, gym: None })?;
    let extensions: Arc<[Extension]> = app.store.list_extensions(reader.id).await?.into();
    let view = app.board.view(reader.id);
    let mut found = Vec::new();
    let of = |w: &&Workout| wanted.workout.as_ref().is_none_or(|slug| *slug == w.slug);
    for workout in reader.workouts().filter(of) {
        let rows = read(app, &reader, &permit, workout, wanted).await?;
        found.extend(show(app, &reader, &permit, workout, &extensions, view.as_deref(), rows).await?);
    }
    found.sort_by_key(|w| w.turn(now));
    if let Some(view) = &view {
        for (n, waiting) in found.iter_mut().take(EXACT).enumerate() {
            waiting.work_out(view, reader.mask(None, true));
            if n % AT_ONCE == AT_ONCE - 1 {
                tokio::task::yield_now().await;
            }
        }
        let exact = found.len().min(EXACT);
        found[..exact].sort_by_key(|w| w.turn(now));
    }
    Ok(found.into_iter().map(|w| w.doubted).collect())
}

/// A row with what its places are worked out from.
struct Waiting {
    doubted: Doubted,
    query: Query,
    workout: usize,
    /// The key if the doubt were right.
    then: Option<Key>,
}

impl Waiting {
    fn turn(&self, now: Timestamp) -> Turn {
        let moves = self.doubted.moved.map_or(0, |m| u64::from(m.places) + u64::from(m.standings));
        Turn {
            press: self.doubted.deadline.press(now),
            moves: Reverse(moves),
            workout: self.workout,
            bib: self.doubted.score.bib,
            attempt: self.doubted.score.attempt,
        }
    }

    /// Places and standings, exactly.
    fn work_out(&mut self, view: &View, mask: Mask) {
        let query = Query { mask, ..self.query.clone() };
        self.doubted.moved = view.moved_by(&query, self.workout, self.doubted.score.bib, self.then);
    }
}

/// An attempt that waits, with its entry's division and gym.
struct Row {
    attempt: Attempt,
    doubt: Doubt,
    division: String,
    gym: Option<String>,
}

async fn read(
    app: &App,
    reader: &Reader,
    permit: &Permit,
    workout: &Workout,
    wanted: &Wanted,
) -> Result<Vec<Row>, Failure> {
    let (mut rows, mut after) = (Vec::new(), (0, 0));
    loop {
        let page = app.store.list_doubted(permit, reader.id, &workout.slug, after, PAGE).await?;
        let full = page.len() >= PAGE as usize;
        for listed in page {
            after = (listed.attempt.score.bib, listed.attempt.score.attempt);
            let Some(doubt) = Doubt::of(&listed.attempt) else { continue };
            let fits = wanted.doubt.is_none_or(|d| d == doubt)
                && wanted.division.as_ref().is_none_or(|d| *d == listed.division)
                && wanted.gym.as_ref().is_none_or(|g| Some(g) == listed.entry_gym.as_ref());
            if fits {
                rows.push(Row { attempt: listed.attempt, doubt, division: listed.division, gym: listed.entry_gym });
            }
        }
        if !full {
            return Ok(rows);
        }
    }
}

async fn show(
    app: &App,
    reader: &Reader,
    permit: &Permit,
    workout: &Workout,
    extensions: &Arc<[Extension]>,
    view: Option<&View>,
    rows: Vec<Row>,
) -> Result<Vec<Waiting>, Failure> {
    let bibs: Vec<u32> = rows.iter().map(|r| r.attempt.score.bib).collect();
    let names = reader.names(app, &bibs).await?;
    let all = app.store.list_attempts_of_many(reader.id, &workout.slug, &bibs).await?;
    let entries = app.store.list_named(reader.id, &bibs).await?;
    let ids: Vec<u64> = rows.iter().filter_map(|r| Some(r.attempt.flag.as_ref()?.note.as_ref()?.id)).collect();
    let notes = Arc::new(notes(app, reader, Some(permit), &ids).await?);
    let index = reader.index(workout);
    let mut waiting = Vec::new();
    for row in rows {
        let bib = row.attempt.score.bib;
        let Some(entry) = entries.get(&bib).map(|named| &named.entry) else { continue };
        let attempts = all.get(&bib).map_or(&[][..], Vec::as_slice);
        let earlier = match row.doubt {
            Doubt::Raised => earlier(app, reader, &row.attempt).await?,
            _ => None,
        };
        let then = otherwise(row.doubt, workout.attempts, attempts, row.attempt.score.attempt, earlier);
        let query = Query { division: row.division.clone(), scope: Scope::default(), mask: Mask::NONE };
        let window = window::for_entry(workout, extensions, entry.gym.as_deref(), &entry.region);
        let score = Show::with(reader, workout, entry, Arc::clone(&notes), Arc::clone(extensions), reader.seq)
            .score(&row.attempt);
        let moved = view.and_then(|v| v.places_moved_by(&query, index, bib, then));
        waiting.push(Waiting {
            doubted: Doubted {
                name: names.get(&bib).cloned().unwrap_or_default(),
                place: view.and_then(|v| place(v, &query, index, entry, then)),
                division: row.division,
                gym: row.gym,
                score,
                doubt: row.doubt,
                deadline: Deadline::next(&window, reader.now),
                moved: moved.map(|places| Moved { places, ..Moved::default() }),
            },
            query,
            workout: index,
            then,
        });
    }
    Ok(waiting)
}

/// The place now, or the place with `then`.
fn place(view: &View, query: &Query, index: usize, entry: &Entry, then: Option<Key>) -> Option<(u32, usize)> {
    let (now, of) = view.place_of(query, index, entry.bib)?;
    match now {
        Some(place) => Some((place, of)),
        None => Some((view.would_be(&query.division, index, then?, entry.bib)?, of + 1)),
    }
}

/// The key of the figures before the ones that hold: the revision before.
async fn earlier(app: &App, reader: &Reader, attempt: &Attempt) -> Result<Option<Key>, Failure> {
    let subject = format!("score/{}/{}", attempt.score.workout, attempt.score.bib);
    let mut versions: HashMap<u32, Key> = HashMap::new();
    for stored in app.store.list_history(reader.id, &subject, 0, MOST).await? {
        if let Event::Submitted { score, version, stored, .. } = stored.record()?.event
            && score.attempt == attempt.score.attempt
        {
            versions.insert(version, stored.key);
        }
    }
    Ok((1..attempt.version).rev().find_map(|version| versions.get(&version).copied()))
}
