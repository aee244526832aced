//! The keys of one workout as a column: each different key once, best first, and for each row which
//! of them it has. A place is then a count and a running sum, not a sort of everybody.

use super::number;
use crate::rules::order::Key;
use std::sync::Arc;

/// So many keys that nobody had are put in by comparing every rank with them.
const FEW: usize = 4;

/// One workout of those who are ranked against each other. *Rows* are numbered from 0. A clone shares all.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Column {
    /// The different keys, best first.
    keys: Arc<Vec<Key>>,
    /// Of each row: the index of its key; the number of keys where there is no placed score.
    ranks: Arc<Vec<u32>>,
    /// The place of each of `keys`, and at the end the one after the last.
    places: Arc<Vec<u32>>,
}

impl Column {
    /// The column of these rows; `None`: no placed score.
    #[must_use]
    pub fn of(rows: &[Option<Key>]) -> Self {
        let mut keys: Vec<Key> = rows.iter().flatten().copied().collect();
        keys.sort_unstable();
        keys.dedup();
        let missing = number(keys.len());
        let rank = |key: &Key| number(keys.partition_point(|k| k < key));
        let ranks = rows.iter().map(|key| key.as_ref().map_or(missing, rank)).collect();
        Self::counted(keys.into(), ranks)
    }

    /// The same rows but for some, whose keys are these now. Rows in ascending order.
    #[must_use]
    pub fn changed(&self, cells: &[(u32, Option<Key>)]) -> Self {
        let other: Vec<_> = cells.iter().copied().filter(|(row, key)| self.key(*row) != *key).collect();
        if other.is_empty() {
            return self.clone();
        }
        let fresh = self.fresh(&other);
        let keys = self.with(&fresh);
        let mut ranks = self.ranks.to_vec();
        self.renumber(&mut ranks, &fresh);
        let mut places = merged(&self.places, fresh.iter().map(|(at, _)| (*at, self.place_at(*at))));
        let (missing, mut moved) = (number(keys.len()), vec![0_i32; places.len() + 1]);
        for (row, key) in &other {
            let rank = key.map_or(missing, |key| number(keys.partition_point(|k| *k < key)));
            let before = std::mem::replace(&mut ranks[*row as usize], rank);
            // Who is behind a key that went moves up, who is behind one that came moves down.
            if before != missing {
                moved[before as usize + 1] -= 1;
            }
            if rank != missing {
                moved[rank as usize + 1] += 1;
            }
        }
        let mut sum = 0;
        for (place, moved) in places.iter_mut().zip(&moved) {
            sum += moved;
            *place = place.saturating_add_signed(sum);
        }
        Self { keys, ranks: ranks.into(), places: places.into() }.tidied()
    }

    /// Other rows: for each which one it was here (`None`: it was not, and has no placed score), but
    /// for some, whose keys are these.
    #[must_use]
    pub fn rearranged(&self, from: &[Option<u32>], cells: &[(u32, Option<Key>)]) -> Self {
        let fresh = self.fresh(cells);
        let (keys, missing) = (self.with(&fresh), self.missing());
        let mut ranks =
            from.iter().map(|row| row.map_or(missing, |row| self.ranks[row as usize])).collect::<Vec<u32>>();
        self.renumber(&mut ranks, &fresh);
        let missing = number(keys.len());
        for (row, key) in cells {
            ranks[*row as usize] = key.map_or(missing, |key| number(keys.partition_point(|k| *k < key)));
        }
        Self::counted(keys, ranks).tidied()
    }

    /// The keys of these cells that nobody has yet, in order, each with the rank it comes before.
    fn fresh(&self, cells: &[(u32, Option<Key>)]) -> Vec<(u32, Key)> {
        let mut keys: Vec<Key> = cells.iter().filter_map(|(_, key)| *key).collect();
        keys.sort_unstable();
        keys.dedup();
        let before = |key: Key| self.keys.binary_search(&key).err().map(|rank| (number(rank), key));
        keys.into_iter().filter_map(before).collect()
    }

    /// The keys and these.
    fn with(&self, fresh: &[(u32, Key)]) -> Arc<Vec<Key>> {
        if fresh.is_empty() { Arc::clone(&self.keys) } else { merged(&self.keys, fresh.iter().copied()).into() }
    }

    /// Ranks as they are with some more keys. Of a few it is told by comparing, a whole word of them at a
    /// time; of many by a list.
    fn renumber(&self, ranks: &mut [u32], fresh: &[(u32, Key)]) {
        if fresh.len() <= FEW {
            // The last first: one that moved for it is behind those before, too.
            for (at, _) in fresh.iter().rev() {
                for rank in ranks.iter_mut() {
                    *rank += u32::from(*rank >= *at);
                }
            }
            return;
        }
        let mut to: Vec<u32> = Vec::with_capacity(self.places.len());
        for (n, (at, _)) in (0..).zip(fresh) {
            let from = number(to.len());
            to.extend((from..*at).map(|rank| rank + n));
        }
        to.extend((number(to.len())..=self.missing()).map(|rank| rank + number(fresh.len())));
        for rank in ranks {
            *rank = to[*rank as usize];
        }
    }

    /// Some of the rows, in ascending order.
    #[must_use]
    pub fn subset(&self, rows: &[u32]) -> Self {
        if rows.len() < self.keys.len() / 8 {
            return Self::of(&rows.iter().map(|row| self.key(*row)).collect::<Vec<_>>());
        }
        let ranks = rows.iter().map(|row| self.ranks[*row as usize]).collect();
        Self::counted(Arc::clone(&self.keys), ranks).without_unused()
    }

    fn counted(keys: Arc<Vec<Key>>, ranks: Vec<u32>) -> Self {
        let mut places = vec![0u32; keys.len() + 1];
        for rank in &ranks {
            places[*rank as usize] += 1;
        }
        let mut next = 1;
        for place in &mut places {
            (*place, next) = (next, next + *place);
        }
        Self { keys, ranks: ranks.into(), places: places.into() }
    }

    /// Without the keys that nobody has any more, once there are many of those.
    fn tidied(self) -> Self {
        let used = self.places.windows(2).filter(|pair| pair[0] != pair[1]).count();
        if self.keys.len() > used + used / 4 + 1024 { self.without_unused() } else { self }
    }

    fn without_unused(self) -> Self {
        let (mut keys, mut places, mut to) = (Vec::new(), Vec::new(), Vec::with_capacity(self.places.len()));
        for (rank, key) in self.keys.iter().enumerate() {
            to.push(number(keys.len()));
            if self.places[rank] != self.places[rank + 1] {
                keys.push(*key);
                places.push(self.places[rank]);
            }
        }
        to.push(number(keys.len()));
        places.push(self.after_last());
        let ranks: Vec<u32> = self.ranks.iter().map(|rank| to[*rank as usize]).collect();
        Self { keys: keys.into(), ranks: ranks.into(), places: places.into() }
    }

    /// How many rows there are.
    #[must_use]
    pub fn rows(&self) -> usize {
        self.ranks.len()
    }

    /// How many of them have a place.
    #[must_use]
    pub fn placed(&self) -> usize {
        self.after_last() as usize - 1
    }

    /// The place after the last.
    #[must_use]
    pub fn after_last(&self) -> u32 {
        self.places[self.keys.len()]
    }

    /// The key of a row; `None`: no placed score.
    #[must_use]
    pub fn key(&self, row: u32) -> Option<Key> {
        self.keys.get(self.rank(row) as usize).copied()
    }

    /// The place of a row: 1 + the number of better keys ("1224", standard competition ranking: SQL
    /// `rank()`, scipy `rankdata(method="min")`); `None`: no placed score.
    #[must_use]
    pub fn place(&self, row: u32) -> Option<u32> {
        Some(self.rank(row)).filter(|rank| *rank != self.missing()).map(|rank| self.place_at(rank))
    }

    /// The index of a row's key among the different ones; [`Self::missing`]: it has none.
    pub(super) fn rank(&self, row: u32) -> u32 {
        self.ranks[row as usize]
    }

    /// Those of all rows.
    pub(super) fn ranks(&self) -> &[u32] {
        &self.ranks
    }

    /// The rank of a row without a placed score.
    pub(super) fn missing(&self) -> u32 {
        number(self.keys.len())
    }

    /// The place of a rank; of the missing one that after the last.
    pub(super) fn place_at(&self, rank: u32) -> u32 {
        self.places[rank as usize]
    }

    /// Those of all ranks.
    pub(super) fn places(&self) -> &[u32] {
        &self.places
    }

    /// How many rows have the key of a rank.
    pub(super) fn shared_at(&self, rank: u32) -> u32 {
        self.places[rank as usize + 1] - self.places[rank as usize]
    }

    /// Twice the rank of a key and one more; of a key between two ranks twice that of the worse one:
    /// halves compare as keys do, but for different keys in one gap.
    pub(super) fn half(&self, key: Key) -> u32 {
        match self.keys.binary_search(&key) {
            Ok(rank) => 2 * number(rank) + 1,
            Err(rank) => 2 * number(rank),
        }
    }

    /// The rows with a place, best first, equals in ascending order. The first of those with place p
    /// stands at index p − 1.
    #[must_use]
    pub fn order(&self) -> Vec<u32> {
        let mut next: Vec<u32> = self.places.iter().map(|place| place - 1).collect();
        let mut order = vec![0; self.placed()];
        for (row, rank) in (0..).zip(self.ranks.iter()) {
            if *rank != self.missing() {
                let at = &mut next[*rank as usize];
                order[*at as usize] = row;
                *at += 1;
            }
        }
        order
    }

    /// The bytes it takes.
    #[must_use]
    pub fn bytes(&self) -> usize {
        self.keys.capacity() * 8 + (self.ranks.capacity() + self.places.capacity()) * 4
    }
}

/// A list and some more, each before where something stands in it.
fn merged<T: Copy>(all: &[T], more: impl ExactSizeIterator<Item = (u32, T)>) -> Vec<T> {
    let (mut out, mut from) = (Vec::with_capacity(all.len() + more.len()), 0);
    for (at, one) in more {
        out.extend_from_slice(&all[from..at as usize]);
        out.push(one);
        from = at as usize;
    }
    out.extend_from_slice(&all[from..]);
    out
}
