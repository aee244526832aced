//! A seeded sequence of numbers, so that the demo's field is the same every time.
//!
//! `SplitMix64` (Steele, Lea and Flood, 2014): good enough to make people up, never for secrets.

/// A repeatable sequence.
#[derive(Clone, Debug)]
pub(super) struct Seeded(u64);

impl Seeded {
    /// A sequence of its own for `number`, so that one person's luck does not move another's.
    pub(super) fn of(seed: u64, number: u64) -> Self {
        let mut mixed = Self(seed ^ number.wrapping_mul(0x9E37_79B9_7F4A_7C15));
        Self(mixed.next())
    }

    /// 64 bits.
    pub(super) fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    /// A number from 0 to `n` − 1 (0 for `n` = 0).
    pub(super) fn below(&mut self, n: u64) -> u64 {
        if n == 0 { 0 } else { self.next() % n }
    }

    /// A number from `from` to `to`, both included.
    pub(super) fn within(&mut self, from: i64, to: i64) -> i64 {
        let width = u64::try_from(to - from + 1).unwrap_or(1);
        from + i64::try_from(self.below(width)).unwrap_or(0)
    }

    /// Bell-shaped around 0, standard deviation close to `deviation`: the sum of twelve even
    /// draws has variance 1 in units of their width.
    pub(super) fn bell(&mut self, deviation: i64) -> i64 {
        let sum: i64 = (0..12).map(|_| self.within(0, 1000)).sum();
        (sum - 6000) * deviation / 1000
    }

    /// True `permille` times in 1,000.
    pub(super) fn chance(&mut self, permille: u64) -> bool {
        self.below(1000) < permille
    }

    /// One of `list`.
    pub(super) fn pick<'a, T>(&mut self, list: &'a [T]) -> &'a T {
        let index = usize::try_from(self.below(list.len() as u64)).unwrap_or(0);
        &list[index]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_same_seed_gives_the_same_numbers() {
        let draw = |seed| (0..5).map(|_| Seeded::of(seed, 1).next()).collect::<Vec<_>>();
        assert_eq!(draw(7), draw(7));
        assert_ne!(draw(7), draw(8));
    }

    #[test]
    fn a_bell_is_centred_and_as_wide_as_asked() {
        let mut seeded = Seeded::of(1, 1);
        let drawn: Vec<i64> = (0..20_000).map(|_| seeded.bell(100)).collect();
        let mean = drawn.iter().sum::<i64>() / 20_000;
        let variance = drawn.iter().map(|d| d * d).sum::<i64>() / 20_000;
        assert!(mean.abs() <= 3, "{mean}");
        assert!((9_000..11_000).contains(&variance), "{variance}");
    }
}
