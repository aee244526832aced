//! Rows in the order of an integer each, by counting its digits.

use std::ops::Range;

/// Bits of a digit: as many counters as stay close to the processor.
const DIGIT: u32 = 10;

/// Integers of rows, to be packed into one word each with what is decided by next and the row's number.
pub(super) struct Packed<'a> {
    firsts: &'a [u64],
    seconds: &'a [u32],
    layout: Layout,
}

/// How a word is packed, from the top: the bits of the integer that differ between rows, a second
/// integer, the row's number.
#[derive(Clone, Debug)]
struct Layout {
    /// Stretches of bits that differ: where each begins in the integer, and how long it is; from
    /// below.
    stretches: Vec<(u32, u32)>,
    /// What all have in common.
    common: u64,
    first_bits: u32,
    second_bits: u32,
    row_bits: u32,
}

impl<'a> Packed<'a> {
    /// One integer a row (`u64::MAX`: leave the row out), and, where there are any, a second one.
    pub(super) fn new(firsts: &'a [u64], seconds: &'a [u32]) -> Self {
        let there = || firsts.iter().copied().filter(|first| *first != u64::MAX);
        let (mut any, mut all) = (0, u64::MAX);
        there().for_each(|first| (any, all) = (any | first, all & first));
        let differ = if any == 0 && all == u64::MAX { 0 } else { any & !all };
        let layout = Layout {
            stretches: stretches(differ),
            common: all & any,
            first_bits: differ.count_ones(),
            second_bits: 32 - seconds.iter().max().map_or(32, |most| most.leading_zeros()),
            row_bits: 64 - firsts.len().leading_zeros(),
        };
        Self { firsts, seconds, layout }
    }

    /// Says the rows in order, those that are equal in both integers at once and in ascending order, to one
    /// list after the other; begun for so many rows each. Where it is `shared`, there are two, made at the same time.
    pub(super) fn in_order<P: Send>(
        &self,
        shared: bool,
        begin: impl Fn(usize) -> P + Sync,
        say: impl Fn(&mut P, u64, &mut [u32]) + Sync,
    ) -> Vec<P> {
        let Self { layout, .. } = self;
        let said = |words: Vec<u64>| {
            let words = layout.by_digits(words);
            let mut part = begin(words.len());
            self.say(&words, |first, rows| say(&mut part, first, rows));
            part
        };
        if layout.bits() > 64 {
            let mut words: Vec<u128> = self.there(0..self.firsts.len(), |f, s, row| layout.long(f, s, row)).collect();
            words.sort_unstable();
            let (mut part, mut equals) = (begin(words.len()), Vec::new());
            for equal in words.chunk_by(|a, b| a >> layout.row_bits == b >> layout.row_bits) {
                equals.clear();
                equals.extend(equal.iter().map(|word| low_of_long(*word) & low(ones(layout.row_bits))));
                say(&mut part, layout.first(equal[0]), &mut equals);
            }
            vec![part]
        } else if shared && layout.first_bits > 0 {
            let rows = self.firsts.len();
            let bound = self.middle();
            let ((mut below, mut above), others) =
                both(|| self.parted(0..rows / 2, bound), || self.parted(rows / 2..rows, bound));
            let (below, above) = both(
                || {
                    below.extend_from_slice(&others.0);
                    said(below)
                },
                || {
                    above.extend_from_slice(&others.1);
                    said(above)
                },
            );
            vec![below, above]
        } else {
            vec![said(self.there(0..self.firsts.len(), |f, s, row| layout.short(f, s, row)).collect())]
        }
    }

    /// About as many words are below this as are not.
    fn middle(&self) -> u64 {
        let step = self.firsts.len().div_ceil(1024).max(1);
        let sampled = self.firsts.iter().step_by(step).filter(|first| **first != u64::MAX);
        let mut sample: Vec<u64> = sampled.map(|first| self.layout.squeezed(*first)).collect();
        sample.sort_unstable();
        sample.get(sample.len() / 2).copied().unwrap_or(0)
    }

    /// The words of some rows below a bound, and the others.
    fn parted(&self, rows: Range<usize>, bound: u64) -> (Vec<u64>, Vec<u64>) {
        let layout = &self.layout;
        let (all, room) = (rows.len(), rows.len() + rows.len() / 8);
        let (mut below, mut above) = (Vec::with_capacity(room), Vec::with_capacity(room));
        for word in self.there(rows, |f, s, row| layout.short(f, s, row)) {
            if word >> layout.lower_bits() < bound { below.push(word) } else { above.push(word) }
        }
        debug_assert!(below.len() + above.len() <= all, "each once");
        (below, above)
    }

    /// The words of these rows, but for those that are left out.
    fn there<W>(&self, rows: Range<usize>, pack: impl Fn(u64, u32, usize) -> W) -> impl Iterator<Item = W> {
        let firsts = self.firsts[rows.clone()].iter();
        let of = firsts.zip(rows).filter(|(first, _)| **first != u64::MAX);
        of.map(move |(first, row)| pack(*first, self.seconds.get(row).copied().unwrap_or(0), row))
    }

    /// Says words that are in order.
    fn say(&self, words: &[u64], mut say: impl FnMut(u64, &mut [u32])) {
        let (layout, row_bits) = (&self.layout, self.layout.row_bits);
        let row = |word: u64| low(word) & low(ones(row_bits));
        let (mut equals, mut last, mut first) = (Vec::new(), None, 0);
        for equal in words.chunk_by(|a, b| a >> row_bits == b >> row_bits) {
            let upper = equal[0].checked_shr(layout.lower_bits()).unwrap_or(0);
            if last != Some(upper) {
                (last, first) = (Some(upper), layout.unsqueezed(upper));
            }
            if let [one] = equal {
                say(first, &mut [row(*one)]);
            } else {
                equals.clear();
                equals.extend(equal.iter().map(|word| row(*word)));
                say(first, &mut equals);
            }
        }
    }
}

/// Two pieces of work at the same time, the second by a thread of its own.
fn both<A: Send, B: Send>(one: impl FnOnce() -> A, other: impl FnOnce() -> B + Send) -> (A, B) {
    std::thread::scope(|scope| {
        let other = scope.spawn(other);
        let one = one();
        (one, other.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic)))
    })
}

impl Layout {
    fn bits(&self) -> u32 {
        self.first_bits + self.second_bits + self.row_bits
    }

    /// The bits of an integer that differ between rows.
    fn squeezed(&self, first: u64) -> u64 {
        let (mut out, mut at) = (0, 0);
        for (from, long) in &self.stretches {
            out |= (first >> from & ones(*long)) << at;
            at += long;
        }
        out
    }

    fn short(&self, first: u64, second: u32, row: usize) -> u64 {
        let first = if self.first_bits == 0 { 0 } else { self.squeezed(first) << (self.second_bits + self.row_bits) };
        first | u64::from(second) << self.row_bits | row as u64
    }

    fn long(&self, first: u64, second: u32, row: usize) -> u128 {
        u128::from(self.squeezed(first)) << (self.second_bits + self.row_bits)
            | u128::from(second) << self.row_bits
            | row as u128
    }

    /// The bits below those of the integer.
    fn lower_bits(&self) -> u32 {
        self.second_bits + self.row_bits
    }

    /// The integer that a word was packed from.
    fn first(&self, word: u128) -> u64 {
        self.unsqueezed(u64::try_from(word >> self.lower_bits()).unwrap_or(u64::MAX))
    }

    /// Back from [`Self::squeezed`].
    fn unsqueezed(&self, mut squeezed: u64) -> u64 {
        let mut out = self.common;
        for (from, long) in &self.stretches {
            out |= (squeezed & ones(*long)) << from;
            squeezed = squeezed.checked_shr(*long).unwrap_or(0);
        }
        out
    }

    /// Words in order: by the digits of as many upper bits as tell most of them apart, then each run of
    /// those that are equal in them by what is below.
    fn by_digits(&self, mut words: Vec<u64>) -> Vec<u64> {
        let end = self.bits();
        let enough = (u64::BITS - (words.len() as u64).leading_zeros()).div_ceil(DIGIT) * DIGIT;
        let from = self.lower_bits().max(end.saturating_sub(enough));
        let mut other = vec![0; words.len()];
        let mut at = from;
        while at < end {
            let bits = DIGIT.min(end - at);
            pass(&words, &mut other, at, ones(bits));
            std::mem::swap(&mut words, &mut other);
            at += bits;
        }
        for equal in words.chunk_by_mut(|a, b| a.checked_shr(from) == b.checked_shr(from)) {
            if equal.len() > 1 {
                equal.sort_unstable();
            }
        }
        words
    }
}

fn ones(bits: u32) -> u64 {
    1_u64.checked_shl(bits).map_or(u64::MAX, |beyond| beyond - 1)
}

fn stretches(mut mask: u64) -> Vec<(u32, u32)> {
    let mut out = Vec::new();
    let mut at = 0;
    while mask != 0 {
        let zeros = mask.trailing_zeros();
        mask >>= zeros;
        let ones = mask.trailing_ones();
        mask = mask.checked_shr(ones).unwrap_or(0);
        out.push((at + zeros, ones));
        at += zeros + ones;
    }
    out
}

#[expect(clippy::cast_possible_truncation, reason = "the low bits are what is asked for")]
const fn low(word: u64) -> u32 {
    word as u32
}

#[expect(clippy::cast_possible_truncation, reason = "the low bits are what is asked for")]
const fn low_of_long(word: u128) -> u32 {
    word as u32
}

#[expect(clippy::cast_possible_truncation, reason = "a digit is of few bits")]
const fn digit(word: u64, at: u32, mask: u64) -> usize {
    (word >> at & mask) as usize
}

/// Puts words in the order of one digit, equals as they stood.
fn pass(from: &[u64], to: &mut [u64], at: u32, mask: u64) {
    let mut next = [0_u32; 1 << DIGIT];
    for word in from {
        next[digit(*word, at, mask)] += 1;
    }
    let mut sum = 0;
    for count in &mut next {
        (*count, sum) = (sum, sum + *count);
    }
    for word in from {
        let at = &mut next[digit(*word, at, mask)];
        to[*at as usize] = *word;
        *at += 1;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn rows_come_in_the_order_of_their_integers(
            rows in prop::collection::vec((prop_oneof![0_u64..40, any::<u64>(), (0_u64..9).prop_map(|n| n << 48 | n), Just(u64::MAX)], 0_u32..4), 0..200),
            shared in any::<bool>(),
        ) {
            let firsts: Vec<u64> = rows.iter().map(|(first, _)| *first).collect();
            let seconds: Vec<u32> = rows.iter().map(|(_, second)| *second).collect();
            let mut expected: Vec<(u64, u32, u32)> =
                (0..).zip(&rows).filter(|(_, r)| r.0 != u64::MAX).map(|(n, r)| (r.0, r.1, n)).collect();
            expected.sort_unstable();
            let got = Packed::new(&firsts, &seconds).in_order(shared, Vec::with_capacity, |got, first, equal| {
                got.extend(equal.iter().map(|row| (first, seconds[*row as usize], *row)));
            });
            prop_assert_eq!(got.concat(), expected);
        }
    }
}
