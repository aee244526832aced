//! Standings the slow way, straight from section 5 of the rules: no columns, no sorting of
//! keys, no snapshot. Everybody is compared with everybody.

use std::cmp::Ordering;
use std::collections::BTreeMap;
use std::sync::Arc;
use tallywright::rules::competition::Competition;
use tallywright::rules::order::Key;
use tallywright::rules::people::EntryState;
use tallywright::rules::place::{LevelRule, Missing, Points, Ties};
use tallywright::rules::placement::{Change, Placement};
use tallywright::standings::{Query, Scope};

/// All that is known, by bib.
#[derive(Clone)]
pub struct Oracle {
    pub definition: Arc<Competition>,
    known: BTreeMap<u32, Known>,
}

#[derive(Clone, Default)]
struct Known {
    /// Division, gym, region, country, state.
    entry: Option<(String, Option<String>, String, String, EntryState)>,
    /// Key (if placed) and text by workout.
    scores: BTreeMap<String, (Option<Key>, String)>,
}

/// One expected row.
#[derive(Debug, PartialEq, Eq)]
pub struct Row {
    pub bib: u32,
    pub standing: Option<u32>,
    pub points: Option<u64>,
    pub unscoped: Option<u32>,
    pub cells: Vec<Cell>,
}

/// One workout of an expected row.
#[derive(Debug, PartialEq, Eq)]
pub struct Cell {
    pub workout: usize,
    pub place: Option<u32>,
    pub points: Option<u64>,
    pub placed: bool,
    pub counted: bool,
    pub text: Option<String>,
}

/// One result in a workout that counts.
#[derive(Clone)]
struct Result {
    workout: usize,
    place: u32,
    points: u64,
    key: Option<Key>,
    counted: bool,
}

impl Oracle {
    pub fn new(definition: Arc<Competition>) -> Self {
        Self { definition, known: BTreeMap::new() }
    }

    pub fn take(&mut self, row: &Placement) {
        let known = self.known.entry(row.bib).or_default();
        match &row.change {
            Change::Entry { division, gym, country, region, state } => {
                known.entry = Some((division.clone(), gym.clone(), region.clone(), country.clone(), *state));
            }
            Change::Score { workout, key, text, .. } => {
                known.scores.insert(workout.clone(), (*key, text.clone()));
            }
        }
    }

    /// Bibs that are there in a division and scope; guests, or all others.
    fn entries(&self, division: &str, scope: &Scope, guests: bool) -> Vec<u32> {
        let division = self.definition.division(division).unwrap();
        let fits = |entry: &(String, Option<String>, String, String, EntryState)| {
            let (own, gym, region, country, state) = entry;
            let there =
                if division.combines.is_empty() { *own == division.slug } else { division.combines.contains(own) };
            there
                && *state != EntryState::Removed
                && (*state == EntryState::Guest) == guests
                && scope.gym.as_ref().is_none_or(|g| gym.as_ref() == Some(g))
                && scope.region.as_ref().is_none_or(|r| r == region)
                && scope.country.as_ref().is_none_or(|c| c == country)
        };
        self.known.iter().filter(|(_, k)| k.entry.as_ref().is_some_and(fits)).map(|(bib, _)| *bib).collect()
    }

    fn key(&self, bib: u32, workout: usize) -> Option<Key> {
        self.known[&bib].scores.get(&self.definition.workouts[workout].slug)?.0
    }

    /// Place in one workout.
    pub fn place(&self, division: &str, scope: &Scope, workout: usize, bib: u32) -> Option<u32> {
        let key = self.key(bib, workout)?;
        let ranked = self.entries(division, scope, false);
        if !ranked.contains(&bib) {
            return None;
        }
        let better = ranked.iter().filter(|other| self.key(**other, workout).is_some_and(|other| other < key)).count();
        Some(u32::try_from(better).unwrap() + 1)
    }

    /// All results of one entry.
    fn results(&self, query: &Query, bib: u32) -> Vec<Result> {
        let rules = &self.definition.overall;
        let ranked = self.entries(&query.division, &query.scope, false);
        let mut out = Vec::new();
        for (workout, definition) in self.definition.workouts.iter().enumerate() {
            let placed = ranked.iter().filter(|bib| self.key(**bib, workout).is_some()).count();
            if !query.mask.has(workout) || placed == 0 {
                continue;
            }
            let own = self.place(&query.division, &query.scope, workout, bib);
            let place = own.unwrap_or(u32::try_from(placed).unwrap() + 1);
            let points = match &rules.points {
                Points::Places => place,
                Points::Table { .. } if own.is_none() => 0,
                Points::Table { table, past_end_last } => {
                    let at = usize::try_from(place).unwrap() - 1;
                    let last = if *past_end_last { *table.last().unwrap() } else { 0 };
                    if at < table.len() { table[at] } else { last }
                }
            };
            let points = u64::from(points) * u64::from(definition.weight);
            let key = own.and_then(|_| self.key(bib, workout));
            out.push(Result { workout, place, points, key, counted: true });
        }
        let drop = usize::try_from(rules.drop_worst).unwrap();
        if out.len() > drop {
            for _ in 0..drop {
                let worst = out.iter().filter(|r| r.counted).map(|r| r.points);
                let worst = if matches!(rules.points, Points::Places) { worst.max() } else { worst.min() };
                out.iter_mut().find(|r| r.counted && Some(r.points) == worst).unwrap().counted = false;
            }
        }
        out
    }

    fn placed(results: &[Result]) -> usize {
        results.iter().filter(|r| r.key.is_some()).count()
    }

    /// W − k.
    fn needed(results: &[Result]) -> usize {
        results.iter().filter(|r| r.counted).count()
    }

    fn points(results: &[Result]) -> u64 {
        results.iter().filter(|r| r.counted).map(|r| r.points).sum()
    }

    fn has_standing(&self, results: &[Result]) -> bool {
        let placed = Self::placed(results);
        placed > 0 && (self.definition.overall.missing != Missing::Unplaced || placed >= Self::needed(results))
    }

    fn compare_points(&self, a: u64, b: u64) -> Ordering {
        if matches!(self.definition.overall.points, Points::Places) { a.cmp(&b) } else { b.cmp(&a) }
    }

    fn compare(&self, a: &[Result], b: &[Result]) -> Ordering {
        let rules = &self.definition.overall;
        if rules.level_rule == LevelRule::Lowest {
            let lowest = |results: &[Result]| {
                results.iter().filter(|r| r.counted).filter_map(|r| r.key).map(|k| k.0 >> 60).max().unwrap_or(99)
            };
            let by_level = lowest(a).cmp(&lowest(b));
            if by_level.is_ne() {
                return by_level;
            }
        }
        if rules.missing == Missing::BelowComplete {
            let m = |results: &[Result]| Self::placed(results).min(Self::needed(results));
            let by_m = m(b).cmp(&m(a));
            if by_m.is_ne() {
                return by_m;
            }
        }
        let by_points = self.compare_points(Self::points(a), Self::points(b));
        if by_points.is_ne() || rules.ties == Ties::Shared {
            return by_points;
        }
        let sorted = |results: &[Result]| {
            let mut places: Vec<u32> = results.iter().filter(|r| r.counted).map(|r| r.place).collect();
            places.sort_unstable();
            places
        };
        let countback = sorted(a).cmp(&sorted(b));
        if countback.is_ne() || !rules.last_workout {
            return countback;
        }
        for (a, b) in a.iter().zip(b).rev() {
            if a.place != b.place {
                return a.place.cmp(&b.place);
            }
        }
        Ordering::Equal
    }

    fn standing(&self, query: &Query, bib: u32) -> Option<u32> {
        let ranked = self.entries(&query.division, &query.scope, false);
        let own = self.results(query, bib);
        if !ranked.contains(&bib) || !self.has_standing(&own) {
            return None;
        }
        let better = ranked
            .iter()
            .map(|other| self.results(query, *other))
            .filter(|other| self.has_standing(other) && self.compare(other, &own).is_lt());
        Some(u32::try_from(better.count()).unwrap() + 1)
    }

    /// All rows, in order.
    pub fn rows(&self, query: &Query) -> Vec<Row> {
        let mut ranked: Vec<(Option<u32>, Vec<Result>, u32)> = self
            .entries(&query.division, &query.scope, false)
            .into_iter()
            .map(|bib| (self.standing(query, bib), self.results(query, bib), bib))
            .collect();
        ranked.sort_by(|a, b| match (a.0, b.0) {
            (Some(x), Some(y)) => x.cmp(&y).then(a.2.cmp(&b.2)),
            (Some(_), None) => Ordering::Less,
            (None, Some(_)) => Ordering::Greater,
            (None, None) => {
                let over = |results: &[Result]| results.iter().filter(|r| r.key.is_some()).map(|r| r.points).sum();
                Self::placed(&b.1)
                    .cmp(&Self::placed(&a.1))
                    .then(self.compare_points(over(&a.1), over(&b.1)))
                    .then(a.2.cmp(&b.2))
            }
        });
        let guests = self.entries(&query.division, &query.scope, true);
        let ranked = ranked.into_iter().map(|(standing, results, bib)| self.row(query, bib, standing, &results));
        ranked.chain(guests.into_iter().map(|bib| self.row(query, bib, None, &[]))).collect()
    }

    fn row(&self, query: &Query, bib: u32, standing: Option<u32>, results: &[Result]) -> Row {
        let workouts = (0..self.definition.workouts.len()).filter(|n| query.mask.has(*n));
        let cells = workouts.map(|n| {
            let result = results.iter().find(|r| r.workout == n);
            let text = self.known[&bib].scores.get(&self.definition.workouts[n].slug).map(|(_, text)| text.clone());
            Cell {
                workout: n,
                place: result.map(|r| r.place),
                points: result.map(|r| r.points),
                placed: result.is_some_and(|r| r.key.is_some()),
                counted: result.is_some_and(|r| r.counted),
                text,
            }
        });
        let whole = Query { scope: Scope::default(), ..query.clone() };
        Row {
            bib,
            standing,
            points: standing.map(|_| Self::points(results)),
            unscoped: self.standing(&whole, bib),
            cells: cells.collect(),
        }
    }
}
