//! Those ranked against each other, their keys by column, and what follows from them: places
//! and standings, worked out when first asked for and kept.

use super::field::{Field, Name};
use super::query::{Mask, Scope};
use crate::rules::competition::Competition;
use crate::rules::order::Key;
use crate::rules::people::EntryState;
use crate::rules::place::{self, Matrix, Ranking, Source, Standing};
use std::collections::HashMap;
use std::sync::{Arc, Mutex, OnceLock, PoisonError};

/// How many sets of workouts a pool keeps standings for. Readers see few different ones.
const MASKS_KEPT: usize = 8;

/// The entries of a division within a scope.
pub(super) struct Pool {
    definition: Arc<Competition>,
    /// Ranked ones by bib, then guests by bib. A *row* is an index here.
    pub(super) bibs: Vec<u32>,
    /// How many are ranked.
    pub(super) ranked: usize,
    /// For each row, the workouts it has a score in, whatever its state.
    pub(super) scored: Vec<Mask>,
    columns: Vec<Column>,
    overall: Mutex<HashMap<Mask, Arc<OnceLock<Arc<Overall>>>>>,
}

/// One workout: the keys of the ranked rows, and their places once asked for.
struct Column {
    weight: u32,
    keys: Vec<Option<Key>>,
    ranking: OnceLock<Ranking>,
    listed: OnceLock<Listed>,
}

/// Rows in the order in which they are listed.
pub(super) struct Listed {
    /// All rows.
    pub(super) order: Vec<usize>,
    /// Index of each row in `order`.
    pub(super) position: Vec<usize>,
}

impl Listed {
    fn new(order: Vec<usize>) -> Self {
        let mut position = vec![0; order.len()];
        for (at, row) in order.iter().enumerate() {
            position[*row] = at;
        }
        Self { order, position }
    }
}

/// The overall result for a set of workouts.
pub(super) struct Overall {
    matrix: Matrix,
    /// Workouts that count, in file order: the columns of the matrix.
    counting: Vec<usize>,
    /// One for each ranked row.
    pub(super) standings: Vec<Standing>,
    /// By standing; guests last.
    pub(super) listed: Listed,
    /// How many have a standing.
    pub(super) of: usize,
}

impl Pool {
    /// Gathers the entries of these plain divisions that fit the scope.
    pub(super) fn gather(field: &Field, parts: &[Name], scope: &Scope) -> Self {
        let definition = Arc::clone(&field.definition);
        let names: Vec<Option<Name>> = definition.workouts.iter().map(|w| field.find(&w.slug)).collect();
        let columns = definition.workouts.iter().map(|w| Column::new(w.weight));
        let mut pool = Self {
            columns: columns.collect(),
            definition,
            bibs: Vec::new(),
            ranked: 0,
            scored: Vec::new(),
            overall: Mutex::default(),
        };
        let Some(within) = Within::of(field, scope) else { return pool };
        let mut guests = Vec::new();
        for record in field.records() {
            let Some(facts) = record.present() else { continue };
            if !parts.contains(&facts.division) || !within.fits(facts.gym, facts.region, facts.country) {
                continue;
            }
            let own = names.iter().map(|name| name.and_then(|name| record.score(name)));
            let scored = own.clone().enumerate().filter_map(|(n, score)| score.map(|_| n)).collect();
            if facts.state == EntryState::Guest {
                guests.push((record.bib, scored));
                continue;
            }
            pool.bibs.push(record.bib);
            pool.scored.push(scored);
            for (column, score) in pool.columns.iter_mut().zip(own) {
                column.keys.push(score.and_then(|score| score.key));
            }
        }
        pool.ranked = pool.bibs.len();
        for (bib, scored) in guests {
            pool.bibs.push(bib);
            pool.scored.push(scored);
        }
        pool
    }

    /// The row of a bib, ranked or guest.
    pub(super) fn row(&self, bib: u32) -> Option<usize> {
        self.ranked_row(bib).or_else(|| {
            let guest = self.bibs.get(self.ranked..)?.binary_search(&bib).ok()?;
            Some(self.ranked + guest)
        })
    }

    /// The row of a bib that is ranked.
    pub(super) fn ranked_row(&self, bib: u32) -> Option<usize> {
        self.bibs.get(..self.ranked)?.binary_search(&bib).ok()
    }

    /// The keys of a workout, one a ranked row.
    pub(super) fn keys(&self, workout: usize) -> Option<&[Option<Key>]> {
        self.columns.get(workout).map(|column| column.keys.as_slice())
    }

    /// The places of a workout.
    pub(super) fn ranking(&self, workout: usize) -> Option<&Ranking> {
        self.columns.get(workout).map(Column::ranking)
    }

    /// Rows of a workout: by place; then those with a score that has no place, those without
    /// one, and guests; equals by bib.
    pub(super) fn listed(&self, workout: usize) -> Option<&Listed> {
        let column = self.columns.get(workout)?;
        Some(column.listed.get_or_init(|| {
            let ranking = column.ranking();
            let scored = |row: &usize| self.scored.get(*row).is_some_and(|scored| scored.has(workout));
            let unplaced = (0..self.ranked).filter(|row| ranking.places.get(*row).copied().flatten().is_none());
            let (with, without): (Vec<usize>, Vec<usize>) = unplaced.partition(scored);
            let guests = self.ranked..self.bibs.len();
            Listed::new(ranking.order.iter().copied().chain(with).chain(without).chain(guests).collect())
        }))
    }

    /// The standings that count the workouts of a mask.
    pub(super) fn overall(&self, mask: Mask) -> Arc<Overall> {
        let slot = {
            let mut kept = self.overall.lock().unwrap_or_else(PoisonError::into_inner);
            if kept.len() >= MASKS_KEPT && !kept.contains_key(&mask) {
                kept.clear();
            }
            Arc::clone(kept.entry(mask).or_default())
        };
        Arc::clone(slot.get_or_init(|| Arc::new(self.work_out(mask, None))))
    }

    /// The standings if one workout had these keys.
    pub(super) fn overall_with(&self, mask: Mask, workout: usize, keys: &[Option<Key>], ranking: &Ranking) -> Overall {
        self.work_out(mask, Some((workout, keys, ranking)))
    }

    fn work_out(&self, mask: Mask, other: Option<(usize, &[Option<Key>], &Ranking)>) -> Overall {
        let rules = &self.definition.overall;
        let asked: Vec<usize> = (0..self.columns.len()).filter(|n| mask.has(*n)).collect();
        let source = |n: &usize| {
            let column = &self.columns[*n];
            let (keys, ranking) = match other {
                Some((workout, keys, ranking)) if workout == *n => (keys, ranking),
                _ => (column.keys.as_slice(), column.ranking()),
            };
            Source { weight: column.weight, keys, places: &ranking.places }
        };
        let sources: Vec<Source<'_>> = asked.iter().map(source).collect();
        let (matrix, counting) = place::matrix(rules, self.ranked, &sources);
        let mut standings = place::overall(rules, &matrix);
        standings.resize(self.ranked, Standing::default());
        let mut order = place::listing(rules, &standings);
        order.extend(self.ranked..self.bibs.len());
        let of = standings.iter().filter(|s| s.standing.is_some()).count();
        let counting = counting.into_iter().map(|n| asked[n]).collect();
        Overall { matrix, counting, standings, listed: Listed::new(order), of }
    }
}

impl Column {
    fn new(weight: u32) -> Self {
        Self { weight, keys: Vec::new(), ranking: OnceLock::new(), listed: OnceLock::new() }
    }

    fn ranking(&self) -> &Ranking {
        self.ranking.get_or_init(|| place::ranking(&self.keys))
    }
}

impl Overall {
    /// What a ranked row has in a workout that counts, and whether it is in the sum.
    pub(super) fn cell(&self, row: usize, workout: usize) -> Option<(place::Cell, bool)> {
        let column = self.counting.binary_search(&workout).ok()?;
        let cell = self.matrix.row(row).get(column)?;
        let standing = self.standings.get(row)?;
        Some((*cell, Mask(standing.counted).has(column)))
    }
}

/// A scope as numbers.
struct Within {
    gym: Option<Name>,
    region: Option<Name>,
    country: Option<Name>,
}

impl Within {
    /// `None`: something is asked for that nobody has.
    fn of(field: &Field, scope: &Scope) -> Option<Self> {
        let find = |text: &Option<String>| match text {
            None => Some(None),
            Some(text) => field.find(text).map(Some),
        };
        Some(Self { gym: find(&scope.gym)?, region: find(&scope.region)?, country: find(&scope.country)? })
    }

    fn fits(&self, gym: Option<Name>, region: Name, country: Name) -> bool {
        self.gym.is_none_or(|g| gym == Some(g))
            && self.region.is_none_or(|r| region == r)
            && self.country.is_none_or(|c| country == c)
    }
}
