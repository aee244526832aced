//! One state of a competition, and the questions it answers: pages of standings and of places.
//! What is asked about one entry is in the file beside.

use super::base::{Base, Who};
use super::block::Record;
use super::cache::Cache;
use super::field::Field;
use super::listing::{Placing, Ranked};
use super::pool::{Pool, Standings};
use super::query::{
    Cut, DivisionCount, Mask, Memory, NextPlace, NextStanding, PlacesPage, Query, Scope, ScoreView, StandingsPage,
    WorkoutCell,
};
use super::{Leaf, Mark};
use crate::rules::competition::Competition;
use std::sync::Arc;

/// One state of a competition: nothing in it changes. Workouts are named by their index in the
/// competition file.
pub struct View {
    pub(super) field: Field,
    pub(super) cache: Arc<Cache>,
}

impl View {
    /// The log position of this state.
    #[must_use]
    pub fn seq(&self) -> u64 {
        self.field.seq
    }

    /// How far, and of which log, this state goes.
    #[must_use]
    pub fn mark(&self) -> Mark {
        Mark { epoch: self.cache.epoch, seq: self.field.seq }
    }

    /// The competition file that this state was worked out by.
    #[must_use]
    pub fn definition(&self) -> &Arc<Competition> {
        &self.field.definition
    }

    /// The record that applied that competition file: its log position and its leaf.
    #[must_use]
    pub fn defined(&self) -> (u64, Leaf) {
        (self.field.defined, self.field.defined_by)
    }

    /// The log position of the last change that can alter what is shown of a division: equal
    /// versions, equal pages. `None`: no such division.
    #[must_use]
    pub fn version(&self, division: &str) -> Option<u64> {
        Some(self.field.version(&self.field.parts(division)?))
    }

    /// The leaf of a record of this log, if it was told.
    #[must_use]
    pub fn leaf(&self, seq: u64) -> Option<Leaf> {
        self.cache.leaf(seq)
    }

    /// Remembers the leaf of a record, read from the log.
    pub fn note_leaf(&self, seq: u64, leaf: Leaf) {
        self.cache.note_leaf(seq, leaf);
    }

    /// Overall standings; `None`: no such division.
    #[must_use]
    pub fn standings(&self, query: &Query, cut: Cut) -> Option<StandingsPage> {
        Some(self.ranking(query)?.page(self, cut))
    }

    /// The same, to be read page by page in one state.
    #[must_use]
    pub fn ranking(&self, query: &Query) -> Option<Ranked> {
        Ranked::of(self, query)
    }

    /// Places in one workout (the query's mask is not looked at: the caller knows that the
    /// reader may see this workout); `None`: no such division or workout.
    #[must_use]
    pub fn places(&self, query: &Query, workout: usize, cut: Cut) -> Option<PlacesPage> {
        Some(self.placing(query, workout)?.page(self, cut))
    }

    /// The same, to be read page by page in one state.
    #[must_use]
    pub fn placing(&self, query: &Query, workout: usize) -> Option<Placing> {
        Placing::of(self, query, workout)
    }

    /// How much there is of each division, in file order.
    #[must_use]
    pub fn counts(&self) -> Vec<DivisionCount> {
        let workouts = 0..self.field.definition.workouts.len();
        let count = |slug: &str| {
            let pool = self.pool(slug, &Scope::default())?;
            Some(DivisionCount {
                division: slug.to_owned(),
                entries: pool.len(),
                guests: pool.len() - pool.base.ranked,
                placed: workouts.clone().map(|workout| pool.places().placed(workout)).collect(),
                scores: workouts.clone().map(|workout| pool.scores(workout)).collect(),
            })
        };
        self.field.definition.divisions.iter().filter_map(|division| count(&division.slug)).collect()
    }

    /// The memory that it takes to know and rank all entries. Divisions that nobody has asked for are
    /// ranked for that.
    #[must_use]
    pub fn memory(&self) -> Memory {
        let plain = self.field.definition.divisions.iter().filter(|division| division.combines.is_empty());
        let pools = plain.filter_map(|division| self.pool(&division.slug, &Scope::default()));
        let ranked = pools.map(|pool| pool.base.bytes_with(Mask::ALL)).sum();
        let (entries, known) = self.field.size();
        Memory { entries, known, ranked, names: self.cache.names.size().1 }
    }

    /// Those ranked against each other; `None`: no such division.
    pub(super) fn pool(&self, division: &str, scope: &Scope) -> Option<Arc<Pool>> {
        let parts = self.field.parts(division)?;
        // Anybody can ask for a scope that nobody is in; it takes no room in the cache.
        if !self.field.knows(scope) {
            let nobody = Base::gather(&self.field, &Who::new(&self.field, &parts, scope));
            return Some(Arc::new(Pool::of(Arc::new(nobody))));
        }
        Some(self.cache.pool(self, division, scope, &parts))
    }

    /// The score of somebody in a workout.
    pub(super) fn score(&self, record: Record<'_>, workout: usize) -> Option<ScoreView> {
        let slug = &self.field.definition.workouts.get(workout)?.slug;
        record.score(self.field.column(slug)?)
    }

    /// What a row shows for each workout of the mask; `row`: where it is ranked.
    pub(super) fn cells(&self, row: Option<(&Standings, u32)>, record: Record<'_>, mask: Mask) -> Vec<WorkoutCell> {
        let worth = row.map(|(overall, row)| overall.results(row)).unwrap_or_default();
        let workouts = (0..self.field.definition.workouts.len()).filter(|workout| mask.has(*workout));
        let cell = |workout| {
            let worth = worth.iter().find(|(n, ..)| *n == workout).map(|(_, cell, counted)| (cell, *counted));
            WorkoutCell {
                workout,
                place: worth.map(|(cell, _)| cell.place),
                points: worth.map(|(cell, _)| cell.points),
                placed: worth.is_some_and(|(cell, _)| cell.placed),
                counted: worth.is_some_and(|(_, counted)| counted),
                score: self.score(record, workout),
            }
        };
        workouts.map(cell).collect()
    }

    /// The next better place than this one.
    pub(super) fn next_place(&self, pool: &Pool, workout: usize, place: u32) -> Option<NextPlace> {
        let at = |index| pool.list(workout, index..index + 1).first().copied();
        let places = pool.places();
        let better = places.place(workout, at((place as usize).checked_sub(2)?)?)?;
        let row = at(better as usize - 1)?;
        let (bib, key) = (pool.bib(row), places.key(workout, row)?);
        let score = self.score(self.field.record(bib)?, workout)?;
        Some(NextPlace { place: better, bib, key, text: score.text, level: score.level })
    }
}

/// A better standing than another, the row that has it, and its points.
pub(super) fn next_standing(pool: &Pool, (standing, row, points): (u32, u32, u64)) -> NextStanding {
    NextStanding { standing, bib: pool.bib(row), points }
}
