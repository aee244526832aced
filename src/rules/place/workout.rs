//! The place in one workout.

use crate::rules::order::Key;

/// Places of one workout.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Ranking {
    /// The place of each row; `None`: no placed score.
    pub places: Vec<Option<u32>>,
    /// The rows that have one, best first, equals in the order they were given. The first of
    /// those with place p stands at index p − 1.
    pub order: Vec<usize>,
}

impl Ranking {
    /// How many others' places change when one row's key goes from `from` to `to` (`None`: no
    /// place): those with a key above the better and up to the worse of the two. `keys`: those that
    /// were ranked, that row's own `from` among them.
    ///
    /// ```
    /// use tallywright::rules::order::Key;
    /// use tallywright::rules::place::ranking;
    /// let keys = [Some(Key(70)), Some(Key(50)), None, Some(Key(70)), Some(Key(90))];
    /// let places = ranking(&keys);
    /// assert_eq!(places.shifted(&keys, Some(Key(50)), None), 3, "all behind the first move up");
    /// assert_eq!(places.shifted(&keys, Some(Key(70)), None), 1, "who shares it keeps the place");
    /// assert_eq!(places.shifted(&keys, None, Some(Key(60))), 3);
    /// assert_eq!(places.shifted(&keys, Some(Key(90)), Some(Key(60))), 2);
    /// assert_eq!(places.shifted(&keys, Some(Key(50)), Some(Key(70))), 2);
    /// ```
    #[must_use]
    pub fn shifted(&self, keys: &[Option<Key>], from: Option<Key>, to: Option<Key>) -> u32 {
        let up_to = |key: Option<Key>| match key {
            None => self.order.len(),
            Some(key) => self.order.partition_point(|row| keys.get(*row).copied().flatten() <= Some(key)),
        };
        let worse_than_own = |to: Key| from.is_none_or(|from| to < from);
        match (from, to) {
            (_, Some(to)) if worse_than_own(to) => {
                // The own key is the last of those passed, where there is one.
                count((up_to(from) - up_to(Some(to))).saturating_sub(usize::from(from.is_some())))
            }
            (None, None) => 0,
            _ => count(up_to(to) - up_to(from)),
        }
    }
}

fn count(n: usize) -> u32 {
    u32::try_from(n).unwrap_or(u32::MAX)
}

/// Ranks the rows that have a key: place = 1 + the number of smaller keys ("1224", standard
/// competition ranking: SQL `rank()`, scipy `rankdata(method="min")`).
#[must_use]
pub fn ranking(keys: &[Option<Key>]) -> Ranking {
    let mut sorted: Vec<(Key, usize)> =
        keys.iter().enumerate().filter_map(|(row, key)| key.map(|key| (key, row))).collect();
    sorted.sort_unstable();
    let mut places = vec![None; keys.len()];
    let mut place = 1;
    for equals in sorted.chunk_by(|a, b| a.0 == b.0) {
        for (_, row) in equals {
            places[*row] = Some(place);
        }
        place += u32::try_from(equals.len()).unwrap_or(u32::MAX);
    }
    Ranking { places, order: sorted.into_iter().map(|(_, row)| row).collect() }
}

/// The places alone, one a row; `None` in is `None` out.
///
/// ```
/// use tallywright::rules::order::Key;
/// use tallywright::rules::place::places;
/// let keys = [Some(Key(70)), Some(Key(50)), None, Some(Key(70)), Some(Key(90))];
/// assert_eq!(places(&keys), [Some(2), Some(1), None, Some(2), Some(4)]);
/// ```
#[must_use]
pub fn places(keys: &[Option<Key>]) -> Vec<Option<u32>> {
    ranking(keys).places
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
