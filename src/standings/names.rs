//! The names that everybody may see, so that who reads standings asks the database for none.
//!
//! What is not here is read there, and told to this memory. A change to an entry takes its name out
//! again before anybody is shown a state with that change in it; it is read anew aside. Names that are
//! hidden from most are not here: only that they are.

use std::collections::{BTreeSet, HashMap};
use std::sync::{Mutex, MutexGuard, PoisonError, RwLock, RwLockReadGuard, RwLockWriteGuard};

/// Bibs that differ only in their last bits are kept together.
const BITS: u32 = 6;
const SIDE: usize = 1 << BITS;

/// Names of one competition.
#[derive(Debug, Default)]
pub struct Names {
    table: RwLock<Table>,
    /// Blocks that somebody in is not known of.
    missing: Mutex<BTreeSet<u32>>,
}

#[derive(Debug, Default)]
struct Table {
    /// Counts what was forgotten.
    forgotten: u64,
    blocks: HashMap<u32, Block>,
}

/// When it was looked: what is read after that and told later is passed over where it was forgotten
/// meanwhile, as it may be from before the change.
#[derive(Clone, Copy, Debug)]
pub struct Moment(u64);

/// What is known of a name.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Known {
    /// Everybody may see it.
    Shown(String),
    /// Hidden, or erased.
    Hidden,
}

/// Some neighbouring bibs.
#[derive(Debug, Default)]
struct Block {
    /// When somebody of them was forgotten last.
    forgotten: u64,
    /// Where each one's name ends in `text`, if it is known of.
    ends: Box<[u16]>,
    known: u64,
    shown: u64,
    text: Box<str>,
}

impl Block {
    fn find(&self, at: usize) -> Option<Known> {
        if self.known & bit(at) == 0 {
            return None;
        }
        Some(if self.shown & bit(at) == 0 { Known::Hidden } else { Known::Shown(self.name(at).to_owned()) })
    }

    fn name(&self, at: usize) -> &str {
        let end = |at: usize| self.ends.get(at).copied().map_or(0, usize::from);
        let begin = at.checked_sub(1).map_or(0, end);
        self.text.get(begin..end(at)).unwrap_or_default()
    }

    /// The same with other names for some.
    fn with(&self, names: &[(usize, Option<&str>)]) -> Self {
        let mut next = Self { forgotten: self.forgotten, known: self.known, shown: self.shown, ..Self::default() };
        let mut of: [&str; SIDE] = std::array::from_fn(|at| self.name(at));
        for (at, name) in names {
            of[*at] = name.unwrap_or_default();
            next.known |= bit(*at);
            next.shown = if name.is_some() { next.shown | bit(*at) } else { next.shown & !bit(*at) };
        }
        next.write(&of);
        next
    }

    /// The same without these.
    fn without(&self, gone: u64, forgotten: u64) -> Self {
        let mut next = Self { forgotten, known: self.known & !gone, shown: self.shown & !gone, ..Self::default() };
        next.write(&std::array::from_fn(|at| if gone & bit(at) == 0 { self.name(at) } else { "" }));
        next
    }

    /// Names that would not fit are not known of: they are read where they are asked for.
    fn write(&mut self, names: &[&str; SIDE]) {
        let (mut text, mut ends) = (String::new(), [0; SIDE]);
        for (at, name) in names.iter().enumerate() {
            if u16::try_from(text.len() + name.len()).is_ok() {
                text.push_str(name);
            } else {
                self.known &= !bit(at);
                self.shown &= !bit(at);
            }
            ends[at] = u16::try_from(text.len()).unwrap_or(u16::MAX);
        }
        self.ends = if text.is_empty() { Box::default() } else { ends.into() };
        self.text = text.into();
    }

    fn bytes(&self) -> usize {
        size_of::<(u32, Self)>() + self.ends.len() * size_of::<u16>() + self.text.len()
    }
}

impl Names {
    /// Nothing is known of those in these blocks ([`Self::block`]).
    pub(super) fn missing(blocks: impl IntoIterator<Item = u32>) -> Self {
        Self { missing: Mutex::new(blocks.into_iter().collect()), ..Self::default() }
    }

    /// What is known of these bibs, and when that was.
    #[must_use]
    pub fn find(&self, bibs: &[u32]) -> (HashMap<u32, Known>, Moment) {
        let table = self.read();
        let known = |bib: &u32| Some((*bib, table.blocks.get(&block(*bib))?.find(place(*bib))?));
        (bibs.iter().filter_map(known).collect(), Moment(table.forgotten))
    }

    /// Learns names that were read after that moment; `None`: hidden, or erased. What is passed over is still
    /// missing.
    pub fn learn<'a>(&self, moment: Moment, names: impl IntoIterator<Item = (u32, Option<&'a str>)>) {
        let mut by_block: HashMap<u32, Vec<(usize, Option<&str>)>> = HashMap::new();
        for (bib, name) in names {
            by_block.entry(block(bib)).or_default().push((place(bib), name));
        }
        let mut passed_over = Vec::new();
        let mut table = self.write();
        for (block, names) in by_block {
            let known = table.blocks.entry(block).or_default();
            if known.forgotten <= moment.0 {
                *known = known.with(&names);
            } else {
                passed_over.push(block);
            }
        }
        drop(table);
        self.missing_blocks().extend(passed_over);
    }

    /// How often somebody has been forgotten.
    #[must_use]
    pub fn forgotten(&self) -> u64 {
        self.read().forgotten
    }

    /// Forgets these bibs: what is read of them before this is not learnt after it.
    pub fn forget(&self, bibs: impl IntoIterator<Item = u32>) {
        let mut by_block: HashMap<u32, u64> = HashMap::new();
        for bib in bibs {
            *by_block.entry(block(bib)).or_default() |= bit(place(bib));
        }
        if by_block.is_empty() {
            return;
        }
        let mut table = self.write();
        table.forgotten += 1;
        let forgotten = table.forgotten;
        for (block, gone) in &by_block {
            let known = table.blocks.entry(*block).or_default();
            *known = known.without(*gone, forgotten);
        }
        drop(table);
        self.missing_blocks().extend(by_block.into_keys());
    }

    /// Bibs to be read next, from the first to the last, some of whom are not known of; and when that was.
    #[must_use]
    pub fn next_missing(&self, blocks: usize) -> Option<((u32, u32), Moment)> {
        let moment = Moment(self.read().forgotten);
        let mut missing = self.missing_blocks();
        let first = missing.pop_first()?;
        let mut last = first;
        while ((last - first) as usize) + 1 < blocks && last.checked_add(1).is_some_and(|next| missing.remove(&next)) {
            last += 1;
        }
        Some(((first << BITS, (last << BITS) | ((1 << BITS) - 1)), moment))
    }

    /// These could not be read: they are still missing.
    pub fn still_missing(&self, (first, last): (u32, u32)) {
        self.missing_blocks().extend(block(first)..=block(last));
    }

    /// How many are known of, and the bytes they take.
    #[must_use]
    pub fn size(&self) -> (usize, usize) {
        let table = self.read();
        let blocks = table.blocks.values().map(|block| (block.known.count_ones() as usize, block.bytes()));
        blocks.fold((0, 0), |(known, bytes), (n, more)| (known + n, bytes + more))
    }

    fn read(&self) -> RwLockReadGuard<'_, Table> {
        self.table.read().unwrap_or_else(PoisonError::into_inner)
    }

    fn write(&self) -> RwLockWriteGuard<'_, Table> {
        self.table.write().unwrap_or_else(PoisonError::into_inner)
    }

    fn missing_blocks(&self) -> MutexGuard<'_, BTreeSet<u32>> {
        self.missing.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// The block of a bib.
pub(super) fn block(bib: u32) -> u32 {
    bib >> BITS
}

fn place(bib: u32) -> usize {
    bib as usize % SIDE
}

fn bit(at: usize) -> u64 {
    1 << at
}

#[cfg(test)]
mod tests {
    use super::*;

    fn known(names: &Names, bib: u32) -> Option<Known> {
        names.find(&[bib]).0.remove(&bib)
    }

    fn shown(name: &str) -> Known {
        Known::Shown(name.to_owned())
    }

    fn now(names: &Names) -> Moment {
        names.find(&[]).1
    }

    #[test]
    fn names_are_kept_by_bib_and_hidden_ones_only_as_hidden() {
        let names = Names::default();
        assert_eq!(known(&names, 7), None);
        names.learn(now(&names), [(7, Some("Inês Duarte")), (8, None), (1_000_000, Some("李小龙"))]);
        names.learn(now(&names), [(0, Some("Aiko")), (63, Some("Zoë")), (64, Some("Ana"))]);
        assert_eq!(known(&names, 7), Some(shown("Inês Duarte")));
        assert_eq!(known(&names, 8), Some(Known::Hidden));
        assert_eq!(known(&names, 1_000_000), Some(shown("李小龙")));
        assert_eq!(
            (known(&names, 0), known(&names, 63), known(&names, 64)),
            (Some(shown("Aiko")), Some(shown("Zoë")), Some(shown("Ana")))
        );
        assert_eq!(known(&names, 9), None);
        names.learn(now(&names), [(7, None), (8, Some("Bo"))]);
        assert_eq!((known(&names, 7), known(&names, 8)), (Some(Known::Hidden), Some(shown("Bo"))));
        assert_eq!(known(&names, 63), Some(shown("Zoë")));
    }

    #[test]
    fn what_was_read_before_a_change_is_not_learnt_after_it() {
        let names = Names::default();
        let before = now(&names);
        names.forget([7]);
        names.learn(before, [(7, Some("Before")), (8, Some("Beside")), (70, Some("Elsewhere"))]);
        assert_eq!((known(&names, 7), known(&names, 8)), (None, None), "as neighbours they are read again");
        assert_eq!(known(&names, 70), Some(shown("Elsewhere")));
        names.learn(now(&names), [(7, Some("After")), (8, Some("Beside"))]);
        names.forget([7]);
        assert_eq!((known(&names, 7), known(&names, 8)), (None, Some(shown("Beside"))));
    }

    /// Who reads ahead may have taken what the change had named as missing, for a moment before it.
    #[test]
    fn what_was_passed_over_is_read_again() {
        let names = Names::missing([0]);
        let before = now(&names);
        names.forget([7]);
        assert_eq!(names.next_missing(1).map(|(bibs, _)| bibs), Some((0, 63)));
        names.learn(before, [(7, Some("Before")), (8, Some("Beside"))]);
        let (bibs, moment) = names.next_missing(1).expect("it is still missing");
        assert_eq!(bibs, (0, 63));
        names.learn(moment, [(7, Some("After")), (8, Some("Beside"))]);
        assert_eq!((known(&names, 7), names.next_missing(1).is_none()), (Some(shown("After")), true));
    }

    #[test]
    fn what_is_missing_is_named_in_runs_and_again_after_a_change() {
        let names = Names::missing([0, 1, 2, 5]);
        let runs = || std::iter::from_fn(|| Some(names.next_missing(2)?.0)).collect::<Vec<_>>();
        assert_eq!(runs(), [(0, 127), (128, 191), (320, 383)]);
        assert_eq!(runs(), []);
        names.forget([130, 131]);
        names.still_missing((0, 127));
        assert_eq!(runs(), [(0, 127), (128, 191)]);
        names.forget([u32::MAX]);
        assert_eq!(runs(), [(u32::MAX - 63, u32::MAX)]);
    }

    #[test]
    fn names_beyond_the_room_of_a_block_are_asked_for_each_time() {
        let (names, long) = (Names::default(), "x".repeat(2_000));
        names.learn(now(&names), (0..64).map(|bib| (bib, Some(&*long))));
        assert_eq!(known(&names, 0), Some(shown(&long)));
        assert_eq!(known(&names, 31), Some(shown(&long)));
        assert_eq!(known(&names, 63), None);
    }
}
