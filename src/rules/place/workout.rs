//! The place in one workout.

use super::column::Column;
use crate::rules::order::Key;

/// The places of keys, one a row; `None` in is `None` out: see [`Column::place`].
///
/// ```
/// use tallywright::rules::order::Key;
/// use tallywright::rules::place::places;
/// let keys = [Some(Key(70)), Some(Key(50)), None, Some(Key(70)), Some(Key(90))];
/// assert_eq!(places(&keys), [Some(2), Some(1), None, Some(2), Some(4)]);
/// ```
#[must_use]
pub fn places(keys: &[Option<Key>]) -> Vec<Option<u32>> {
    let column = Column::of(keys);
    (0..).zip(keys).map(|(row, _)| column.place(row)).collect()
}

/// The percentile of a place among `of` placed results, in tenths of a percent, cut down: the share
/// of them that are not better, the result itself among them. The first has 100.0, and nobody else:
/// it is not rounded up.
///
/// Of the conventions of the percentile rank this is the "weak" one, the percentage of scores at or
/// below a score (`scipy.stats.percentileofscore(kind="weak")`, read), with "below" turned into "not
/// better": with place = 1 + better, the results that are not better are `of − place + 1`. `None`:
/// no such place.
///
/// ```
/// use tallywright::rules::place::percentile;
/// assert_eq!(percentile(1, 311), Some(1000));
/// assert_eq!(percentile(12, 311), Some(964));
/// assert_eq!(percentile(4, 4), Some(250));
/// assert_eq!(percentile(5, 4), None);
/// ```
#[must_use]
pub fn percentile(place: u32, of: u32) -> Option<u32> {
    let better = place.checked_sub(1)?;
    let not_better = of.checked_sub(better).filter(|n| *n > 0)?;
    u32::try_from(u64::from(not_better) * 1000 / u64::from(of)).ok()
}

/// The level a key was made at: its index in the competition's levels, from the key's top bits.
#[must_use]
pub fn level_of(key: Key) -> u8 {
    const BELOW_LEVEL: u32 = 1 + 32 + 27;
    u8::try_from((key.0 >> BELOW_LEVEL) & 0b111).unwrap_or(u8::MAX)
}
