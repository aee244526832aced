//! The place in one workout.

use crate::rules::order::Key;

/// 1 + the number of scores with a smaller key among those ranked, for each score that has a
/// key ("1224", standard competition ranking: SQL `rank()`, scipy `rankdata(method="min")`).
///
/// One element a row, in any order; `None` in is `None` out.
///
/// ```
/// use tallywright::rules::order::Key;
/// use tallywright::rules::place::places;
/// let keys = [Some(Key(70)), Some(Key(50)), None, Some(Key(70)), Some(Key(90))];
/// assert_eq!(places(&keys), [Some(2), Some(1), None, Some(2), Some(4)]);
/// ```
#[must_use]
pub fn places(keys: &[Option<Key>]) -> Vec<Option<u32>> {
    let mut placed: Vec<(Key, usize)> =
        keys.iter().enumerate().filter_map(|(row, key)| key.map(|key| (key, row))).collect();
    placed.sort_unstable();
    let mut out = vec![None; keys.len()];
    let mut place = 0;
    let mut before = None;
    for (passed, (key, row)) in (0u32..).zip(placed) {
        if before != Some(key) {
            place = passed + 1;
            before = Some(key);
        }
        out[row] = Some(place);
    }
    out
}

/// The level a key was made at: its index in the competition's levels, from the key's top bits.
#[must_use]
pub fn level_of(key: Key) -> u8 {
    const BELOW_LEVEL: u32 = 1 + 32 + 27;
    u8::try_from((key.0 >> BELOW_LEVEL) & 0b111).unwrap_or(u8::MAX)
}
