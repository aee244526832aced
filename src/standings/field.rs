//! What the placements add up to: who is entered where, and everybody's score in each workout.
//!
//! Kept in blocks of neighbouring bibs behind `Arc`s: a clone is a snapshot and costs one
//! counter a block; a change after that copies one block. Nothing is ranked here.

use super::InForce;
use super::query::{Athlete, Scope, ScoreView};
use crate::rules::competition::Competition;
use crate::rules::people::EntryState;
use crate::rules::placement::{Change, Placement};
use std::collections::{BTreeMap, HashMap};
use std::sync::Arc;

/// Bibs that differ only in their last bits share a block.
const BLOCK_BITS: u32 = 6;

/// All that is known of one competition at a log position.
#[derive(Clone)]
pub(super) struct Field {
    pub(super) definition: Arc<Competition>,
    pub(super) seq: u64,
    /// Log position of the last change of the definition.
    defined: u64,
    /// Log position of the last change to anybody of a plain division.
    changed: HashMap<Name, u64>,
    names: Arc<Names>,
    blocks: BTreeMap<u32, Arc<Vec<Record>>>,
}

/// One bib.
#[derive(Clone)]
pub(super) struct Record {
    pub(super) bib: u32,
    /// `None` until the entry's own row has come.
    facts: Option<Facts>,
    scores: Vec<(Name, ScoreView)>,
}

/// Where an entry belongs.
#[derive(Clone, Copy)]
pub(super) struct Facts {
    pub(super) division: Name,
    pub(super) gym: Option<Name>,
    pub(super) region: Name,
    pub(super) country: Name,
    pub(super) state: EntryState,
}

impl Record {
    /// Where it belongs; `None` where it is not there, or was removed.
    pub(super) fn present(&self) -> Option<Facts> {
        self.facts.filter(|facts| facts.state != EntryState::Removed)
    }

    /// The score in a workout.
    pub(super) fn score(&self, workout: Name) -> Option<&ScoreView> {
        self.scores.iter().find(|(name, _)| *name == workout).map(|(_, score)| score)
    }
}

/// A slug, region or country, as a number within one competition.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub(super) struct Name(u32);

/// Numbers for texts.
#[derive(Clone, Default)]
struct Names {
    numbers: HashMap<Arc<str>, Name>,
    texts: Vec<Arc<str>>,
}

impl Field {
    /// The state at `seq`, from all rows up to there, or of each score only the newest: what changed
    /// when comes out the same as for one who has followed all along.
    pub(super) fn load(definition: InForce, seq: u64, placements: impl IntoIterator<Item = Placement>) -> Self {
        let (changed, names, blocks) = (HashMap::new(), Arc::default(), BTreeMap::new());
        let InForce { at: defined, competition: definition } = definition;
        let mut field = Self { definition, seq: 0, defined, changed, names, blocks };
        let rows: Vec<Placement> = placements.into_iter().collect();
        field.follow(seq, None, &rows);
        field
    }

    /// Takes in the rows after the known position, up to `seq`, in log order.
    pub(super) fn follow(&mut self, seq: u64, definition: Option<InForce>, placements: &[Placement]) {
        if seq <= self.seq {
            return;
        }
        if let Some(InForce { at, competition }) = definition {
            self.definition = competition;
            self.defined = at;
        }
        let mut rows: Vec<&Placement> = placements.iter().filter(|row| row.seq > self.seq && row.seq <= seq).collect();
        rows.sort_by_key(|row| row.seq);
        self.seq = seq;
        for row in rows {
            self.take(row);
        }
    }

    fn take(&mut self, row: &Placement) {
        match &row.change {
            Change::Entry { division, gym, country, region, state } => {
                let facts = Facts {
                    division: self.name(division),
                    gym: gym.as_deref().map(|gym| self.name(gym)),
                    region: self.name(region),
                    country: self.name(country),
                    state: *state,
                };
                let before = self.record_mut(row.bib).facts.replace(facts);
                self.touch(before, row.seq);
                self.touch(Some(facts), row.seq);
            }
            Change::Score { workout, attempt, key, level, state, text } => {
                let workout = self.name(workout);
                let score = ScoreView {
                    attempt: *attempt,
                    text: text.as_str().into(),
                    state: *state,
                    level: *level,
                    key: *key,
                };
                let record = self.record_mut(row.bib);
                match record.scores.iter_mut().find(|(name, _)| *name == workout) {
                    Some((_, known)) => *known = score,
                    None => record.scores.push((workout, score)),
                }
                let facts = record.facts;
                self.touch(facts, row.seq);
            }
        }
    }

    /// At its own position, not where the rows that came along end: that differs from service to
    /// service, and readers go from one to the other.
    fn touch(&mut self, facts: Option<Facts>, seq: u64) {
        if let Some(facts) = facts {
            self.changed.insert(facts.division, seq);
        }
    }

    fn name(&mut self, text: &str) -> Name {
        if let Some(name) = self.names.numbers.get(text) {
            return *name;
        }
        let names = Arc::make_mut(&mut self.names);
        let name = Name(u32::try_from(names.texts.len()).unwrap_or(u32::MAX));
        let text: Arc<str> = text.into();
        names.texts.push(Arc::clone(&text));
        names.numbers.insert(text, name);
        name
    }

    fn record_mut(&mut self, bib: u32) -> &mut Record {
        let block = Arc::make_mut(self.blocks.entry(bib >> BLOCK_BITS).or_default());
        let at = match block.binary_search_by_key(&bib, |record| record.bib) {
            Ok(at) => at,
            Err(at) => {
                block.insert(at, Record { bib, facts: None, scores: Vec::new() });
                at
            }
        };
        &mut block[at]
    }

    /// The number of a text, if anything of that name has been seen.
    pub(super) fn find(&self, text: &str) -> Option<Name> {
        self.names.numbers.get(text).copied()
    }

    /// Whether all that a scope names has been seen.
    pub(super) fn knows(&self, scope: &Scope) -> bool {
        let given = [&scope.gym, &scope.region, &scope.country];
        given.into_iter().flatten().all(|text| self.find(text).is_some())
    }

    fn text(&self, name: Name) -> Arc<str> {
        let at = usize::try_from(name.0).unwrap_or(usize::MAX);
        self.names.texts.get(at).map_or_else(|| "".into(), Arc::clone)
    }

    /// Everybody, by bib.
    pub(super) fn records(&self) -> impl Iterator<Item = &Record> {
        self.blocks.values().flat_map(|block| block.iter())
    }

    /// One bib.
    pub(super) fn record(&self, bib: u32) -> Option<&Record> {
        let block = self.blocks.get(&(bib >> BLOCK_BITS))?;
        let at = block.binary_search_by_key(&bib, |record| record.bib).ok()?;
        block.get(at)
    }

    /// The plain divisions that a division ranks: itself, or those it combines. Those nobody
    /// was ever in are left out.
    pub(super) fn parts(&self, division: &str) -> Option<Vec<Name>> {
        let division = self.definition.division(division)?;
        if division.combines.is_empty() {
            return Some(self.find(&division.slug).into_iter().collect());
        }
        Some(division.combines.iter().filter_map(|slug| self.find(slug)).collect())
    }

    /// Log position of the last change that can alter a ranking of these plain divisions.
    pub(super) fn version(&self, parts: &[Name]) -> u64 {
        parts.iter().filter_map(|part| self.changed.get(part)).copied().fold(self.defined, u64::max)
    }

    /// What is public of an entry that is there.
    pub(super) fn athlete(&self, record: &Record) -> Option<Athlete> {
        let facts = record.present()?;
        Some(Athlete {
            bib: record.bib,
            division: self.text(facts.division),
            gym: facts.gym.map(|gym| self.text(gym)),
            country: self.text(facts.country),
            region: self.text(facts.region),
            state: facts.state,
        })
    }
}
