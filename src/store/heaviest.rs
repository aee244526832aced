//! The heaviest loads stored, kept true from change to change of a group: what a kilogram figure
//! that may be pounds is compared with. What it does not do: ask (see [`crate::rules::performance`]).

use super::save::grams_of;
use crate::rules::ledger::Ledger;
use crate::rules::life::Attempt;
use crate::rules::quantity::Grams;
use std::collections::BTreeMap;

/// From how many stored loads on the heaviest says something (design: ten or more).
const ENOUGH_LOADS: usize = 10;

/// Workout, division, level.
type At = (String, String, u8);

/// (workout, division, level) → the heaviest loads stored there.
#[derive(Default)]
pub(crate) struct Loads(BTreeMap<At, Known>);

/// The heaviest loads of one workout, division and level.
#[derive(Default)]
pub(crate) struct Known {
    /// There are at least [`ENOUGH_LOADS`] in the table.
    enough: bool,
    /// (bib, attempt) → load: the heaviest of the table, and what a group adds.
    top: BTreeMap<(u32, u32), Grams>,
    /// How often each load is among them.
    sizes: BTreeMap<Grams, u32>,
}

impl Known {
    /// Adds a stored load; `score`: bib and attempt.
    pub(crate) fn add(&mut self, score: (u32, u32), grams: Grams) {
        self.put(score, grams);
        self.enough |= self.top.len() >= ENOUGH_LOADS;
    }

    fn put(&mut self, score: (u32, u32), grams: Grams) {
        self.remove(score);
        self.top.insert(score, grams);
        *self.sizes.entry(grams).or_default() += 1;
    }

    /// Whether it was there.
    fn remove(&mut self, score: (u32, u32)) -> bool {
        let Some(grams) = self.top.remove(&score) else { return false };
        if let Some(often) = self.sizes.get_mut(&grams) {
            *often -= 1;
            if *often == 0 {
                self.sizes.remove(&grams);
            }
        }
        true
    }

    /// Puts the heaviest where the rules look.
    fn tell(&self, at: &At, ledger: &mut Ledger) {
        let said = self.enough || self.top.len() >= ENOUGH_LOADS;
        match self.sizes.last_key_value().filter(|_| said) {
            Some((heaviest, _)) => ledger.around.heaviest.insert(at.clone(), *heaviest),
            None => ledger.around.heaviest.remove(at),
        };
    }
}

impl Loads {
    /// Takes in what the table has.
    pub(crate) fn put_stored(&mut self, at: At, known: Known) {
        self.0.insert(at, known);
    }

    /// Takes in a score as it is now.
    pub(crate) fn put(&mut self, ledger: &mut Ledger, attempt: &Attempt) {
        let score = (attempt.score.bib, attempt.score.attempt);
        let Some(division) = ledger.entries.get(&score.0).map(|e| e.division.clone()) else { return };
        let Some(grams) = grams_of(ledger, &division, attempt) else { return };
        for (at, known) in self.0.iter_mut().filter(|((workout, ..), _)| *workout == attempt.score.workout) {
            if known.remove(score) {
                known.tell(at, ledger);
            }
        }
        let at = (attempt.score.workout.clone(), division, attempt.stored.level);
        let known = self.0.entry(at.clone()).or_default();
        known.put(score, grams);
        known.tell(&at, ledger);
    }

    /// Puts it where the rules look.
    pub(crate) fn tell(&self, ledger: &mut Ledger) {
        ledger.around.heaviest.clear();
        for (at, known) in &self.0 {
            known.tell(at, ledger);
        }
    }
}
