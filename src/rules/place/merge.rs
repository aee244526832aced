//! A sorted list, some of which has gone, and some of which has come.

use std::ops::Range;

/// A sorted list without some of its items, and with others.
pub struct Merged<'a, T, F> {
    len: usize,
    item: F,
    gone: &'a [T],
    come: &'a [T],
}

impl<'a, T: Ord + Copy, F: Fn(usize) -> T> Merged<'a, T, F> {
    /// The list of `len` items; those that have gone (they are in it) and those that have come (they
    /// are not, or have gone), both in order.
    pub fn new(len: usize, item: F, gone: &'a [T], come: &'a [T]) -> Self {
        Self { len, item, gone, come }
    }

    /// How many there are.
    #[must_use]
    pub fn count(&self) -> usize {
        self.len + self.come.len() - self.gone.len()
    }

    /// The index that an item has, or would have.
    #[must_use]
    pub fn index(&self, item: T) -> usize {
        let before = partition_point(self.len, |at| (self.item)(at) < item);
        before - self.gone.partition_point(|gone| *gone < item) + self.come.partition_point(|come| *come < item)
    }

    /// The items at these indices, as far as there are any.
    #[must_use]
    pub fn list(&self, range: Range<usize>) -> Vec<T> {
        let range = range.start..range.end.min(self.count());
        if range.is_empty() {
            return Vec::new();
        }
        let gone_before = |at: usize| match at {
            at if at == self.len => self.gone.len(),
            at => self.gone.partition_point(|gone| *gone < (self.item)(at)),
        };
        let index = |at: usize| at - gone_before(at) + self.come.partition_point(|come| *come < (self.item)(at));
        let mut at = partition_point(self.len, |at| index(at) < range.start);
        let mut come = range.start - (at - gone_before(at)).min(range.start);
        let mut out = Vec::with_capacity(range.len());
        while out.len() < range.len() {
            let next = (at < self.len).then(|| (self.item)(at));
            match (next, self.come.get(come)) {
                (Some(item), _) if self.gone.binary_search(&item).is_ok() => at += 1,
                (Some(item), Some(new)) if *new < item => {
                    out.push(*new);
                    come += 1;
                }
                (Some(item), _) => {
                    out.push(item);
                    at += 1;
                }
                (None, Some(new)) => {
                    out.push(*new);
                    come += 1;
                }
                (None, None) => break,
            }
        }
        out
    }
}

/// [`slice::partition_point`] of numbers below `len`.
fn partition_point(len: usize, holds: impl Fn(usize) -> bool) -> usize {
    let (mut low, mut high) = (0, len);
    while low < high {
        let middle = usize::midpoint(low, high);
        if holds(middle) { low = middle + 1 } else { high = middle }
    }
    low
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use std::collections::BTreeSet;

    proptest! {
        #[test]
        fn a_merged_list_is_the_list_itself(
            before in prop::collection::btree_set(0_u32..40, 0..20), gone in prop::collection::btree_set(0_u32..40, 0..20),
            come in prop::collection::btree_set(0_u32..40, 0..20), from in 0_usize..30, limit in 0_usize..30,
        ) {
            let list: Vec<u32> = before.iter().copied().collect();
            let gone: Vec<u32> = gone.intersection(&before).copied().collect();
            let kept: BTreeSet<u32> = before.iter().copied().filter(|n| !gone.contains(n)).collect();
            let come: Vec<u32> = come.difference(&kept).copied().collect();
            let expected: Vec<u32> = kept.iter().copied().chain(come.iter().copied()).collect::<BTreeSet<_>>().into_iter().collect();
            let merged = Merged::new(list.len(), |at| list[at], &gone, &come);
            prop_assert_eq!(merged.count(), expected.len());
            let cut: Vec<u32> = expected.iter().copied().skip(from).take(limit).collect();
            prop_assert_eq!(merged.list(from..from + limit), cut);
            for (at, item) in expected.iter().enumerate() {
                prop_assert_eq!(merged.index(*item), at);
            }
        }
    }
}
