//! How the results of a workout are spread among those ranked, for whoever may see its places.

use super::{Desk, own};
use crate::actions::Failure;
use crate::actions::score::count;
use crate::rules::order::Key;
use crate::rules::scheme::Scheme;
use crate::rules::spread::{Band, Measure, bin_of, spread};
use crate::rules::workout::Prescription;
use crate::standings::{Cut, PlaceRow};
use std::collections::HashMap;

/// How the results are spread. No names: only counts, and the figures of whom the reader asks for.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Spread {
    /// In the order of the places.
    pub bands: Vec<Band>,
    /// How many are placed.
    pub of: u32,
    /// The figures that half of them did or bettered; `None`: nobody is placed.
    pub median: Option<String>,
    /// Places that are shared.
    pub ties: Ties,
    /// Whom the reader asks for.
    pub mark: Option<Marked>,
}

/// How places are shared.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Ties {
    /// Places that more than one has.
    pub places: u32,
    /// Who has such a place.
    pub athletes: u32,
    /// The place that most share (of several the best), and how many.
    pub largest: Option<(u32, u32)>,
}

/// Where somebody is among the results.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Marked {
    /// Whose.
    pub bib: u32,
    /// The place and the figures; `None`: no place.
    pub placed: Option<(u32, String)>,
    /// Index of the band and of the bin in it.
    pub at: Option<(usize, usize)>,
}

/// The ties of keys that are sorted.
fn ties(keys: &[Key]) -> Ties {
    let (mut ties, mut before) = (Ties::default(), 0);
    for equals in keys.chunk_by(|a, b| a == b) {
        let n = count(equals.len());
        if n > 1 {
            ties.places += 1;
            ties.athletes += n;
            if ties.largest.is_none_or(|(_, most)| n > most) {
                ties.largest = Some((count(before + 1), n));
            }
        }
        before += equals.len();
    }
    ties
}

/// What the first rounds of a scheme come to: with equal sums of a repeating block that is the same
/// or a ladder, all rounds are equal.
fn rounds(scheme: Option<&Scheme>) -> Option<[Option<u64>; 4]> {
    scheme.map(|s| [0, 1, 2, 3].map(|n| s.through(n)))
}

impl Desk {
    /// How the results of a workout are spread in a division, and where `mark` is among them.
    ///
    /// # Errors
    /// Not found, as for its places.
    pub fn spread(&self, division: &str, workout: &str, mark: Option<u32>) -> Result<Spread, Failure> {
        let index = self.published(workout)?;
        let query = self.query(division);
        let keys = self.view.keys(&query, index).ok_or_else(|| self.no_division(division))?;
        let prescriptions = self.prescriptions(division, workout);
        let measure = |level: u8| {
            let (p, rounds) = prescriptions.get(&level)?;
            Some(Measure { task: &p.task, unit: own::unit(Some(p)), rounds: *rounds })
        };
        let bands = spread(keys.iter().copied(), measure);
        let one = |cut| self.view.places(&query, index, cut).and_then(|page| page.rows.into_iter().next());
        let text = |row: &PlaceRow| {
            let score = row.score.as_ref()?;
            Some(self.figures(index, &row.athlete.division, score.level, &score.text))
        };
        let median = (!keys.is_empty()).then(|| one(Cut::Rows { from: keys.len().div_ceil(2), limit: 1 }));
        let marked = |bib| {
            let row = one(Cut::Holding { bib, limit: 1 })?;
            let key = row.score.as_ref().and_then(|s| s.key).filter(|_| row.place.is_some());
            let at = key.and_then(|key| {
                let task = &prescriptions.get(&key.level())?.0.task;
                bands.iter().enumerate().find_map(|(n, band)| Some((n, bin_of(band, key, task)?)))
            });
            Some(Marked { bib, placed: row.place.zip(text(&row)), at })
        };
        Ok(Spread {
            of: count(keys.len()),
            median: median.flatten().as_ref().and_then(text),
            ties: ties(&keys),
            mark: mark.and_then(marked),
            bands,
        })
    }

    /// For each level what its results are measured by, and whether all of a division's parts
    /// count the same rounds.
    fn prescriptions(&self, division: &str, workout: &str) -> HashMap<u8, (&Prescription, bool)> {
        let c = &self.reader.competition;
        let Some(d) = c.division(division) else { return HashMap::new() };
        let own = [d.slug.clone()];
        let parts = if d.combines.is_empty() { own.as_slice() } else { d.combines.as_slice() };
        let mut found: HashMap<u8, (&Prescription, bool)> = HashMap::new();
        for (level, _) in (0_u8..).zip(&c.levels) {
            for p in parts.iter().filter_map(|part| c.prescription(workout, part, level)) {
                let (first, same) = found.entry(level).or_insert((p, true));
                *same &= rounds(first.task.scheme.as_ref()) == rounds(p.task.scheme.as_ref());
            }
        }
        found
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_largest_tie_is_the_first_of_the_most_shared() {
        let keys = [1, 2, 2, 3, 4, 4, 5, 5, 5].map(Key);
        assert_eq!(ties(&keys), Ties { places: 3, athletes: 7, largest: Some((7, 3)) });
        assert_eq!(ties(&[Key(1), Key(1), Key(2), Key(2)]).largest, Some((1, 2)));
        assert_eq!(ties(&[Key(1)]), Ties::default());
    }
}
