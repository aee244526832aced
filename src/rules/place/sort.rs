//! Rows in the order of an integer each, by counting its digits.

/// Bits of a digit: as many counters as stay close to the processor.
const DIGIT: u32 = 8;

/// Integers of rows, each packed into one word with what is decided by next and the row's number.
pub(super) struct Packed {
    words: Words,
    layout: Layout,
}

enum Words {
    Short(Vec<u64>),
    Long(Vec<u128>),
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

impl Packed {
    /// One integer a row (`u64::MAX`: leave the row out), and, where there are any, a second one.
    pub(super) fn new(firsts: &[u64], seconds: &[u32], rows: usize) -> Self {
        let there = || firsts.iter().copied().filter(|first| *first != u64::MAX);
        let (mut any, mut all) = (0, u64::MAX);
        there().for_each(|first| (any, all) = (any | first, all & first));
        let differ = if any == 0 && all == u64::MAX { 0 } else { any & !all };
        let layout = Layout {
            stretches: stretches(differ),
            common: all & any,
            first_bits: differ.count_ones(),
            second_bits: 32 - seconds.iter().max().map_or(32, |most| most.leading_zeros()),
            row_bits: 64 - rows.leading_zeros(),
        };
        let second = |row: usize| seconds.get(row).copied().unwrap_or(0);
        let of = firsts.iter().enumerate().filter(|(_, first)| **first != u64::MAX);
        let words = if layout.bits() <= 64 {
            Words::Short(of.map(|(row, first)| layout.short(*first, second(row), row)).collect())
        } else {
            Words::Long(of.map(|(row, first)| layout.long(*first, second(row), row)).collect())
        };
        Self { words, layout }
    }

    /// Says the rows in order: those that are equal in both integers at once, in ascending order.
    pub(super) fn in_order(self, shared: bool, mut say: impl FnMut(u64, &mut [u32])) {
        let mut equals = Vec::new();
        let Self { words, layout } = self;
        let row_bits = layout.row_bits;
        match words {
            Words::Short(words) => {
                let sorted = sorted(words, layout.first_bits, layout.bits() - layout.first_bits, shared);
                for equal in sorted.chunk_by(|a, b| a >> row_bits == b >> row_bits) {
                    equals.clear();
                    equals.extend(equal.iter().map(|word| low(*word) & low((1 << row_bits) - 1)));
                    say(layout.first(u128::from(equal[0])), &mut equals);
                }
            }
            Words::Long(mut words) => {
                words.sort_unstable();
                for equal in words.chunk_by(|a, b| a >> row_bits == b >> row_bits) {
                    equals.clear();
                    equals.extend(equal.iter().map(|word| low_of_long(*word) & low((1 << row_bits) - 1)));
                    say(layout.first(equal[0]), &mut equals);
                }
            }
        }
    }
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

    /// The integer that a word was packed from.
    fn first(&self, word: u128) -> u64 {
        let mut squeezed = u64::try_from(word >> (self.second_bits + self.row_bits)).unwrap_or(u64::MAX);
        let mut out = self.common;
        for (from, long) in &self.stretches {
            out |= (squeezed & ones(*long)) << from;
            squeezed = squeezed.checked_shr(*long).unwrap_or(0);
        }
        out
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

/// Words in order, whose rows were in order: by the digits of their upper bits, then each run of
/// equal upper bits by what is below.
fn sorted(words: Vec<u64>, upper_bits: u32, lower_bits: u32, shared: bool) -> Vec<u64> {
    if !shared || upper_bits == 0 {
        return by_digits(words, upper_bits, lower_bits);
    }
    // The half of them that is below a bound, and the rest, each by a thread of its own.
    let mut sample: Vec<u64> = words.iter().step_by(words.len().div_ceil(1024).max(1)).copied().collect();
    sample.sort_unstable();
    let bound = sample.get(sample.len() / 2).map_or(0, |word| word >> lower_bits);
    let half = |below: bool| {
        let own = words.iter().copied().filter(|word| (word >> lower_bits < bound) == below);
        by_digits(own.collect(), upper_bits, lower_bits)
    };
    std::thread::scope(|scope| {
        let rest = scope.spawn(|| half(false));
        let mut below = half(true);
        below.extend(rest.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic)));
        below
    })
}

fn by_digits(mut words: Vec<u64>, upper_bits: u32, lower_bits: u32) -> Vec<u64> {
    let mut other = vec![0; words.len()];
    let mut at = lower_bits;
    while at < lower_bits + upper_bits {
        let bits = DIGIT.min(lower_bits + upper_bits - at);
        pass(&words, &mut other, at, ones(bits));
        std::mem::swap(&mut words, &mut other);
        at += bits;
    }
    for equal in words.chunk_by_mut(|a, b| a.checked_shr(lower_bits) == b.checked_shr(lower_bits)) {
        if equal.len() > 1 {
            equal.sort_unstable();
        }
    }
    words
}

#[expect(clippy::cast_possible_truncation, reason = "a digit is of eight bits")]
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
            let mut got = Vec::new();
            Packed::new(&firsts, &seconds, rows.len()).in_order(shared, |first, equal| {
                got.extend(equal.iter().map(|row| (first, seconds[*row as usize], *row)));
            });
            prop_assert_eq!(got, expected);
        }
    }
}
