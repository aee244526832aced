//! What the placements add up to: who is entered where, and everybody's score in each workout.
//!
//! Kept in [blocks](Block) of neighbouring bibs, and those in pages, behind `Arc`s: a clone is a
//! snapshot and costs one counter a page; a change after that copies one page and one block. Nothing
//! is ranked here.

use super::block::{Block, Facts, Name, NewScore, Record};
use super::query::{Athlete, Scope};
use super::{InForce, Leaf};
use crate::rules::competition::Competition;
use crate::rules::placement::{Change, Placement};
use std::collections::{BTreeMap, HashMap};
use std::sync::Arc;

/// Bibs that differ only in their last bits share a block, and blocks a page.
const BITS: u32 = 6;
const SIDE: usize = 1 << BITS;

/// All that is known of one competition at a log position.
#[derive(Clone)]
pub(super) struct Field {
    pub(super) definition: Arc<Competition>,
    pub(super) seq: u64,
    /// Log position of the last change of the definition, and the leaf of the record there.
    pub(super) defined: u64,
    pub(super) defined_by: Leaf,
    /// Log position of the last change to anybody of a plain division.
    changed: HashMap<Name, u64>,
    names: Arc<Names>,
    /// The workouts that there are scores of, in the order in which they came: columns of the blocks.
    workouts: Arc<Vec<Name>>,
    pages: BTreeMap<u32, Arc<Page>>,
}

#[derive(Clone)]
struct Page([Option<Arc<Block>>; SIDE]);

impl Default for Page {
    fn default() -> Self {
        Self([const { None }; SIDE])
    }
}

/// Something that can alter a ranking: of whom, and in which plain division.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Touch {
    pub(super) seq: u64,
    pub(super) bib: u32,
    pub(super) division: Name,
}

/// Numbers for texts.
#[derive(Clone, Default)]
struct Names {
    numbers: HashMap<Arc<str>, Name>,
    texts: Vec<Arc<str>>,
}

impl Field {
    /// A competition without anybody, which is to be loaded up to `seq`.
    pub(super) fn new(definition: InForce, seq: u64) -> Self {
        let (changed, names, workouts, pages) = (HashMap::new(), Arc::default(), Arc::default(), BTreeMap::new());
        let InForce { at: defined, leaf: defined_by, competition: definition } = definition;
        Self { definition, seq, defined, defined_by, changed, names, workouts, pages }
    }

    /// The state at `seq`, from all rows up to there, or of each score only the newest: what changed
    /// when comes out the same as for one who has followed all along.
    pub(super) fn load(definition: InForce, seq: u64, placements: impl IntoIterator<Item = Placement>) -> Self {
        let mut field = Self::new(definition, seq);
        let mut rows: Vec<Placement> = placements.into_iter().collect();
        rows.sort_by_key(|row| row.seq);
        for row in &rows {
            field.take_in(row);
        }
        field
    }

    /// Takes in one row of those that are loaded.
    pub(super) fn take_in(&mut self, row: &Placement) {
        if row.seq <= self.seq {
            self.take(row, &mut |_| ());
        }
    }

    /// Takes in the rows after the known position, up to `seq`, in log order, and says what they
    /// touch.
    pub(super) fn follow(&mut self, seq: u64, definition: Option<InForce>, placements: &[Placement]) -> Vec<Touch> {
        let mut touched = Vec::new();
        if seq <= self.seq {
            return touched;
        }
        if let Some(InForce { at, leaf, competition }) = definition {
            self.definition = competition;
            (self.defined, self.defined_by) = (at, leaf);
        }
        let mut rows: Vec<&Placement> = placements.iter().filter(|row| row.seq > self.seq && row.seq <= seq).collect();
        rows.sort_by_key(|row| row.seq);
        self.seq = seq;
        for row in rows {
            self.take(row, &mut |touch| touched.push(touch));
        }
        touched
    }

    fn take(&mut self, row: &Placement, touch: &mut impl FnMut(Touch)) {
        // At its own position, not where the rows that came along end: that differs from service to
        // service, and readers go from one to the other.
        let (seq, bib) = (row.seq, row.bib);
        let mut touch = |facts: Option<Facts>, changed: &mut HashMap<Name, u64>| {
            if let Some(Facts { division, .. }) = facts {
                changed.insert(division, seq);
                touch(Touch { seq, bib, division });
            }
        };
        match &row.change {
            Change::Entry { division, gym, country, region, state } => {
                let facts = Facts {
                    division: self.name(division),
                    gym: gym.as_deref().map(|gym| self.name(gym)),
                    region: self.name(region),
                    country: self.name(country),
                    state: *state,
                };
                let before = self.block_mut(bib).enter(bib, facts);
                touch(before.filter(|before| before.division != facts.division), &mut self.changed);
                touch(Some(facts), &mut self.changed);
            }
            Change::Score { workout, attempt, key, level, state, text } => {
                let score = NewScore { attempt: *attempt, key: *key, state: *state, level: *level, text };
                let workout = self.workout(workout);
                let block = self.block_mut(bib);
                block.put(bib, workout, &score);
                let facts = block.record(bib).and_then(|record| record.facts());
                touch(facts, &mut self.changed);
            }
        }
    }

    fn name(&mut self, text: &str) -> Name {
        if let Some(name) = self.names.numbers.get(text) {
            return *name;
        }
        let names = Arc::make_mut(&mut self.names);
        let text: Arc<str> = text.into();
        names.texts.push(Arc::clone(&text));
        let name = Name::new(names.texts.len() - 1).expect("fewer than 2^24 names: of divisions, gyms, regions");
        names.numbers.insert(text, name);
        name
    }

    /// The column of a workout.
    fn workout(&mut self, slug: &str) -> usize {
        let name = self.name(slug);
        self.workouts.iter().position(|known| *known == name).unwrap_or_else(|| {
            Arc::make_mut(&mut self.workouts).push(name);
            self.workouts.len() - 1
        })
    }

    fn block_mut(&mut self, bib: u32) -> &mut Block {
        let page = Arc::make_mut(self.pages.entry(bib >> (2 * BITS)).or_default());
        Arc::make_mut(page.0[block_of(bib)].get_or_insert_default())
    }

    /// The number of a text, if anything of that name has been seen.
    pub(super) fn find(&self, text: &str) -> Option<Name> {
        self.names.numbers.get(text).copied()
    }

    /// The columns of the definition's workouts, in file order; `None`: there is no score yet.
    pub(super) fn columns(&self) -> Vec<Option<usize>> {
        self.definition.workouts.iter().map(|workout| self.column(&workout.slug)).collect()
    }

    /// The column of a workout that there is a score of.
    pub(super) fn column(&self, slug: &str) -> Option<usize> {
        let name = self.find(slug)?;
        self.workouts.iter().position(|known| *known == name)
    }

    /// Whether all that a scope names has been seen.
    pub(super) fn knows(&self, scope: &Scope) -> bool {
        let given = [&scope.gym, &scope.region, &scope.country];
        given.into_iter().flatten().all(|text| self.find(text).is_some())
    }

    fn text(&self, name: Name) -> Arc<str> {
        let at = name.number();
        self.names.texts.get(at).map_or_else(|| "".into(), Arc::clone)
    }

    /// Everybody, by bib.
    pub(super) fn records(&self) -> impl Iterator<Item = Record<'_>> {
        self.blocks().flat_map(Block::records)
    }

    fn blocks(&self) -> impl Iterator<Item = &Block> {
        self.pages.values().flat_map(|page| page.0.iter().flatten()).map(|block| &**block)
    }

    /// The [blocks](super::names::block) of names that anybody is in.
    pub(super) fn name_blocks(&self) -> impl Iterator<Item = u32> {
        self.blocks().filter_map(|block| Some(super::names::block(block.records().next()?.bib)))
    }

    /// One bib.
    pub(super) fn record(&self, bib: u32) -> Option<Record<'_>> {
        self.pages.get(&(bib >> (2 * BITS)))?.0[block_of(bib)].as_ref()?.record(bib)
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
    pub(super) fn athlete(&self, record: Record<'_>) -> Option<Athlete> {
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

    /// How many bibs there are, and the bytes they take.
    pub(super) fn size(&self) -> (usize, usize) {
        let blocks = self.blocks().map(|block| (block.records().count(), block.bytes()));
        let (bibs, bytes) = blocks.fold((0, 0), |(bibs, bytes), (n, more)| (bibs + n, bytes + more));
        (bibs, bytes + self.pages.len() * size_of::<Page>())
    }
}

/// The index of a bib's block in its page.
fn block_of(bib: u32) -> usize {
    (bib >> BITS) as usize % SIDE
}
