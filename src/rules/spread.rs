//! How the results of a workout are spread: keys gathered into bins along the workout's own scale.
//!
//! [`spread`] puts every key into exactly one bin. Bins stand in the order of the places, best
//! first, in bands of what can be compared on one scale: a level, and in it the finished, then
//! those at the cap; a lift that was not made stands apart from the loads. A bin is whole rounds
//! where rounds are counted, else an even step of reps, time or load. What it does not do: know
//! whose keys they are, or draw.

use super::order::Key;
use super::quantity::{Load, LoadUnit, Millis};
use super::scheme::Scheme;
use super::workout::{Format, Task};

/// The most bins of the only band.
pub const MOST_BINS: u64 = 20;
/// The most bins of each of two bands.
const MOST_OF_TWO: u64 = 14;
/// The most bins of each of more bands.
const MOST_OF_MORE: u64 = 8;

/// By what the results of a level are measured.
#[derive(Clone, Copy, Debug)]
pub struct Measure<'a> {
    /// What they were validated against.
    pub task: &'a Task,
    /// The unit loads are said in.
    pub unit: LoadUnit,
    /// Whether rounds mean the same to all of them (else reps are counted).
    pub rounds: bool,
}

/// What a band holds of its level, in the order of the places.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Kind {
    /// All but what stands apart.
    Done,
    /// A `for_time` that was not finished.
    Capped,
    /// A `max_load` without a good lift.
    NoLift,
}

/// Results on one scale.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Band {
    /// Index in the competition's levels.
    pub level: u8,
    /// Which results of the level.
    pub kind: Kind,
    /// Best first, empty ones between others included.
    pub bins: Vec<Bin>,
}

/// Results that lie close together.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Bin {
    /// Which.
    pub span: Span,
    /// The same in what a key ranks by ([`Key::amount`]), least and most.
    pub amounts: (u64, u64),
    /// How many.
    pub count: u32,
    /// Their first and last place; `None`: nobody.
    pub places: Option<(u32, u32)>,
}

/// What a bin reaches over, both ends in it but where it says otherwise.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Span {
    /// Whole rounds.
    Rounds(u64, u64),
    /// Less than what comes before the rounds.
    BeforeRounds,
    /// Reps, or what a `max_count` or intervals count.
    Count(u64, u64),
    /// Times, on the workout's step.
    Time(Millis, Millis),
    /// Loads from the first to less than the second.
    Load(Load, Load),
    /// Nothing was lifted.
    NoLift,
}

/// The bins of these keys, in any order; `measure` says by what those of a level are measured
/// (`None`: it is not a level of this workout any more; they are counted as they are ranked).
///
/// ```
/// use tallywright::rules::order::key;
/// use tallywright::rules::performance::{Around, RawPerformance, check};
/// use tallywright::rules::quantity::LoadUnit;
/// use tallywright::rules::spread::{Measure, Span, spread};
/// use tallywright::rules::workout::{CountUnit, Format, Task};
///
/// let task = Task { unit: CountUnit::Metres, ..Task::of(Format::MaxCount) };
/// let metres = |n: u64| {
///     let done = check(&task, &RawPerformance::Text(format!("{n} m")), &Around::default()).unwrap().value;
///     key(&task, 0, &done).unwrap()
/// };
/// let measure = |_| Some(Measure { task: &task, unit: LoadUnit::Kg, rounds: true });
/// let bands = spread([1010, 1250, 1260].map(metres), measure);
/// let bins: Vec<_> = bands[0].bins.iter().map(|b| (b.span, b.count)).collect();
/// assert_eq!(bins[0], (Span::Count(1260, 1279), 1));
/// assert_eq!((bins.len(), bins[1], bins[13]), (14, (Span::Count(1240, 1259), 1), (Span::Count(1000, 1019), 1)));
/// ```
pub fn spread<'a>(keys: impl IntoIterator<Item = Key>, measure: impl Fn(u8) -> Option<Measure<'a>>) -> Vec<Band> {
    let mut keys: Vec<Key> = keys.into_iter().collect();
    keys.sort_unstable();
    let kind = |key: &Key| match measure(key.level()) {
        _ if key.capped() => Kind::Capped,
        Some(m) if m.task.format == Format::MaxLoad && key.amount(m.task) == 0 => Kind::NoLift,
        _ => Kind::Done,
    };
    let groups: Vec<&[Key]> = keys.chunk_by(|a, b| (a.level(), kind(a)) == (b.level(), kind(b))).collect();
    let most = match groups.len() {
        0 | 1 => MOST_BINS,
        2 => MOST_OF_TWO,
        _ => MOST_OF_MORE,
    };
    let mut before = 0;
    let mut bands = Vec::new();
    for group in groups {
        let Some(first) = group.first() else { continue };
        let (level, kind) = (first.level(), kind(first));
        bands.push(Band { level, kind, bins: bins(group, kind, measure(level), most, before) });
        before += group.len();
    }
    bands
}

/// The bin that a key of this band lies in.
#[must_use]
pub fn bin_of(band: &Band, key: Key, task: &Task) -> Option<usize> {
    let amount = key.amount(task);
    let fits = |bin: &Bin| (bin.amounts.0..=bin.amounts.1).contains(&amount);
    let here = band.level == key.level() && (band.kind == Kind::Capped) == key.capped();
    band.bins.iter().position(fits).filter(|_| here)
}

/// The bins of a band: sorted keys, best first, `before` of which are better than all of these.
fn bins(keys: &[Key], kind: Kind, measure: Option<Measure<'_>>, most: u64, before: usize) -> Vec<Bin> {
    let bare = Task::of(Format::MaxCount);
    let measure = measure.unwrap_or(Measure { task: &bare, unit: LoadUnit::Kg, rounds: false });
    let amount = |key: &Key| key.amount(measure.task);
    let (Some(first), Some(last)) = (keys.first().map(amount), keys.last().map(amount)) else { return Vec::new() };
    let ruler = Ruler::fitting(&measure, kind, first.min(last), first.max(last), most);
    let (from, to) = (ruler.index(first.min(last)), ruler.index(first.max(last)));
    let bin = |n| Bin { span: ruler.span(n, &measure), amounts: ruler.range(n), count: 0, places: None };
    let mut bins: Vec<Bin> = (from..=to).map(bin).collect();
    let mut place = before;
    for equals in keys.chunk_by(|a, b| a == b) {
        let at = equals.first().map_or(from, |key| ruler.index(amount(key)));
        let Some(bin) = usize::try_from(at - from).ok().and_then(|at| bins.get_mut(at)) else { continue };
        let here = number(place + 1);
        bin.count += number(equals.len());
        bin.places = Some((bin.places.map_or(here, |(first, _)| first), here));
        place += equals.len();
    }
    if first > last {
        bins.reverse();
    }
    bins
}

/// A count of entries: no division has 2^32.
fn number(n: usize) -> u32 {
    u32::try_from(n).unwrap_or(u32::MAX)
}

/// A scale with marks on it.
enum Ruler<'a> {
    /// So many rounds.
    Rounds { scheme: &'a Scheme, per: u64 },
    /// So many of what a key ranks by.
    Even { width: u64, timed: bool },
    /// So many hundredths of a unit of load.
    Load { unit: LoadUnit, width: u64 },
    /// All in one.
    One,
}

/// 1, 2, 5, 10, 20, 50, …
fn round_numbers() -> impl Iterator<Item = u64> {
    (0..18).flat_map(|power| [1, 2, 5].map(|n| n * 10_u64.pow(power)))
}

/// Widths of bins of times, in milliseconds: what people count minutes in.
fn spans_of_time() -> impl Iterator<Item = u64> {
    const SHORT: [u64; 20] = [
        10, 20, 50, 100, 200, 500, 1_000, 2_000, 5_000, 10_000, 15_000, 20_000, 30_000, 60_000, 120_000, 300_000,
        600_000, 900_000, 1_200_000, 1_800_000,
    ];
    SHORT.into_iter().chain(round_numbers().map(|hours| hours.saturating_mul(3_600_000)))
}

impl<'a> Ruler<'a> {
    /// The finest one on which everything from `least` to `greatest` takes at most so many bins.
    fn fitting(measure: &Measure<'a>, kind: Kind, least: u64, greatest: u64, most: u64) -> Self {
        let fits = |ruler: &Self| ruler.index(greatest) - ruler.index(least) < most;
        let task = measure.task;
        let rounds = task.scheme.as_ref().filter(|scheme| {
            let counted = scheme.round_size(0).is_some_and(|size| size > 1);
            measure.rounds && task.format == Format::Amrap && counted
        });
        let found = if kind == Kind::NoLift {
            None
        } else if let Some(scheme) = rounds {
            round_numbers().map(|per| Self::Rounds { scheme, per }).find(fits)
        } else if task.format == Format::MaxLoad {
            // From half a kilogram, or a pound, on.
            let finest = if measure.unit == LoadUnit::Kg { 50 } else { 100 };
            let widths = round_numbers().filter(|width| *width >= finest);
            widths.take_while(|width| *width < 1 << 40).map(|width| Self::Load { unit: measure.unit, width }).find(fits)
        } else if task.less_is_better() && kind == Kind::Done {
            let step = task.time_step.millis();
            let widths = spans_of_time().filter(|width| width.is_multiple_of(step));
            widths.map(|width| Self::Even { width: width / step, timed: true }).find(fits)
        } else {
            round_numbers().map(|width| Self::Even { width, timed: false }).find(fits)
        };
        found.unwrap_or(Self::One)
    }

    /// The number of the bin of an amount.
    fn index(&self, amount: u64) -> u64 {
        match self {
            Self::Rounds { scheme, per } => {
                let rounds = scheme.split(amount).and_then(|at| at.rounds);
                rounds.map_or(0, |rounds| 1 + rounds / per)
            }
            Self::Even { width, .. } => amount / width,
            Self::Load { unit, width } => {
                // Near it first: the edges are rounded to the gram one by one.
                let mut at = amount / Load { unit: *unit, hundredths: *width }.grams().0.max(1);
                while Self::edge(*unit, *width, at) > amount {
                    at -= 1;
                }
                while Self::edge(*unit, *width, at + 1) <= amount {
                    at += 1;
                }
                at
            }
            Self::One => 0,
        }
    }

    /// Where bin `at` of loads begins, in grams.
    fn edge(unit: LoadUnit, width: u64, at: u64) -> u64 {
        Load { unit, hundredths: width * at }.grams().0
    }

    /// The least and the greatest amount of a bin.
    fn range(&self, at: u64) -> (u64, u64) {
        match self {
            Self::Rounds { scheme, per } => {
                let from = |n: u64| n.checked_mul(*per).and_then(|rounds| scheme.through(rounds));
                match at.checked_sub(1) {
                    None => (0, scheme.through(0).unwrap_or(0).saturating_sub(1)),
                    Some(n) => (from(n).unwrap_or(0), from(n + 1).map_or(scheme.most(), |next| next - 1)),
                }
            }
            Self::Even { width, .. } => (at * width, at * width + (width - 1)),
            Self::Load { unit, width } => (Self::edge(*unit, *width, at), Self::edge(*unit, *width, at + 1) - 1),
            Self::One => (0, u64::MAX),
        }
    }

    /// What a bin reaches over.
    fn span(&self, at: u64, measure: &Measure<'_>) -> Span {
        let (from, to) = self.range(at);
        match self {
            Self::Rounds { .. } if at == 0 => Span::BeforeRounds,
            Self::Rounds { per, .. } => Span::Rounds((at - 1) * per, at * per - 1),
            Self::Even { timed: true, .. } => {
                let step = measure.task.time_step.millis();
                Span::Time(Millis(from.saturating_mul(step)), Millis(to.saturating_mul(step)))
            }
            Self::Even { .. } => Span::Count(from, to),
            Self::Load { unit, width } => {
                let load = |at: u64| Load { unit: *unit, hundredths: width * at };
                Span::Load(load(at), load(at + 1))
            }
            Self::One => Span::NoLift,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::order::key;
    use super::super::performance::{Around, RawPerformance, check};
    use super::super::scheme::{Block, Counts, Repeat, Station};
    use super::super::workout::{IntervalMeasure, Intervals, Scored, Tiebreak};
    use super::*;
    use proptest::prelude::*;

    fn work(reps: u64, repeat: Repeat) -> Block {
        let station = Station { movement: "swing".into(), counts: Some(Counts::Reps(reps)) };
        Block::Work { title: None, stations: vec![station], repeat, by: None }
    }

    /// A buy-in of 10, then rounds of 40.
    fn amrap() -> Task {
        let blocks = vec![work(10, Repeat::Rounds(1)), work(40, Repeat::Endless)];
        let scheme = Scheme::new(blocks, true).unwrap();
        Task {
            scheme: Some(scheme),
            cap: Some(Millis(720_000)),
            tiebreak: Tiebreak::EachRound,
            ..Task::of(Format::Amrap)
        }
    }

    /// 100 reps in at most 9:00.
    fn for_time() -> Task {
        let scheme = Scheme::new(vec![work(50, Repeat::Rounds(2))], false).unwrap();
        Task { scheme: Some(scheme), cap: Some(Millis(540_000)), ..Task::of(Format::ForTime) }
    }

    fn keyed(task: &Task, level: u8, text: &str) -> Key {
        let around = Around { confirm_all: true, ..Around::default() };
        let done = check(task, &RawPerformance::Text(text.to_owned()), &around).expect("fits the task");
        key(task, level, &done.value).expect("fits the key")
    }

    fn spread_of(task: &Task, keys: &[Key], unit: LoadUnit) -> Vec<Band> {
        spread(keys.iter().copied(), |_| Some(Measure { task, unit, rounds: true }))
    }

    fn counts(band: &Band) -> Vec<(Span, u32)> {
        band.bins.iter().map(|b| (b.span, b.count)).collect()
    }

    #[test]
    fn nobody_gives_no_bins_and_one_gives_one() {
        assert!(spread_of(&amrap(), &[], LoadUnit::Kg).is_empty());
        let one = spread_of(&amrap(), &[keyed(&amrap(), 0, "3+7")], LoadUnit::Kg);
        assert_eq!(counts(&one[0]), [(Span::Rounds(3, 3), 1)]);
        assert_eq!(one[0].bins[0].places, Some((1, 1)));
        assert_eq!(one[0].bins[0].amounts, (130, 169));
    }

    #[test]
    fn an_amrap_is_binned_by_whole_rounds_and_the_buy_in_stands_last() {
        let task = amrap();
        let keys = ["3+39", "4+0", "4 rds + 12", "8 reps", "0"].map(|t| keyed(&task, 0, t));
        let bands = spread_of(&task, &keys, LoadUnit::Kg);
        assert_eq!(
            counts(&bands[0]),
            [
                (Span::Rounds(4, 4), 2),
                (Span::Rounds(3, 3), 1),
                (Span::Rounds(2, 2), 0),
                (Span::Rounds(1, 1), 0),
                (Span::Rounds(0, 0), 0),
                (Span::BeforeRounds, 2),
            ]
        );
        assert_eq!(bands[0].bins.last().unwrap().places, Some((4, 5)));
    }

    #[test]
    fn many_rounds_are_taken_together() {
        let task = amrap();
        let keys = [keyed(&task, 0, "1+0"), keyed(&task, 0, "48+0")];
        let bands = spread_of(&task, &keys, LoadUnit::Kg);
        assert_eq!(bands[0].bins[0].span, Span::Rounds(45, 49));
        assert_eq!(bands[0].bins.len(), 10);
    }

    #[test]
    fn who_did_not_finish_stands_apart_from_the_times() {
        let task = for_time();
        let keys = ["5:01", "5:04", "9:00", "99 reps", "cap+40"].map(|t| keyed(&task, 0, t));
        let bands = spread_of(&task, &keys, LoadUnit::Kg);
        let kinds: Vec<Kind> = bands.iter().map(|b| b.kind).collect();
        assert_eq!(kinds, [Kind::Done, Kind::Capped]);
        assert_eq!(bands[0].bins[0].span, Span::Time(Millis(300_000), Millis(319_000)));
        assert_eq!((bands[0].bins[0].count, bands[0].bins.len()), (2, 13));
        assert_eq!((bands[1].bins[0].span, bands[1].bins[0].count), (Span::Count(95, 99), 1));
        assert_eq!(bands[1].bins.last().unwrap().places, Some((5, 5)));
    }

    #[test]
    fn tenths_of_a_second_have_bins_on_their_own_step() {
        let task = Task {
            time_step: crate::rules::quantity::TimeStep::Tenth,
            intervals: Some(Intervals { n: 1, measure: IntervalMeasure::Time, scored: Scored::Sum }),
            ..Task::of(Format::Intervals)
        };
        let keys = ["1:00.1", "1:00.9"].map(|t| keyed(&task, 0, t));
        let bands = spread_of(&task, &keys, LoadUnit::Kg);
        assert_eq!(bands[0].bins[0].span, Span::Time(Millis(60_100), Millis(60_100)));
        assert_eq!(bands[0].bins.len(), 9);
    }

    #[test]
    fn loads_are_binned_in_the_unit_they_are_said_in_and_no_lift_stands_apart() {
        let task = Task::of(Format::MaxLoad);
        let keys = ["225 lb", "102.5 kg", "224 lb", "no lift"].map(|t| keyed(&task, 0, t));
        let pounds = spread_of(&task, &keys, LoadUnit::Lb);
        let lb = |n: u64| Load { unit: LoadUnit::Lb, hundredths: n * 100 };
        // 102.5 kg are 225.97 lb.
        assert_eq!(counts(&pounds[0]), [(Span::Load(lb(225), lb(226)), 2), (Span::Load(lb(224), lb(225)), 1)]);
        assert_eq!((pounds[1].kind, pounds[1].bins[0].places), (Kind::NoLift, Some((4, 4))));
        let kilograms = spread_of(&task, &keys, LoadUnit::Kg);
        assert_eq!(kilograms[0].bins.len(), 3, "in steps of half a kilogram: {:?}", counts(&kilograms[0]));
    }

    #[test]
    fn a_lower_level_is_a_band_of_its_own_below() {
        let task = amrap();
        let keys = [keyed(&task, 1, "9+0"), keyed(&task, 0, "2+0")];
        let bands = spread_of(&task, &keys, LoadUnit::Kg);
        assert_eq!(bands.iter().map(|b| b.level).collect::<Vec<_>>(), [0, 1]);
        assert_eq!(bands[1].bins[0].places, Some((2, 2)));
        assert_eq!(bin_of(&bands[0], keys[0], &task), None);
        assert_eq!(bin_of(&bands[1], keys[0], &task), Some(0));
    }

    #[test]
    fn ties_share_a_place_inside_a_bin() {
        let task = amrap();
        let keys = ["4+2", "4+2", "4+1"].map(|t| keyed(&task, 0, t));
        assert_eq!(spread_of(&task, &keys, LoadUnit::Kg)[0].bins[0].places, Some((1, 3)));
    }

    fn any_result() -> impl Strategy<Value = (u8, String)> {
        let seconds = 1..540_u64;
        let text = prop_oneof![
            seconds.prop_map(|s| format!("{}:{:02}", s / 60, s % 60)),
            (0..100_u64).prop_map(|n| format!("{n} reps")),
        ];
        (0..2_u8, text)
    }

    proptest! {
        #[test]
        fn every_result_is_in_exactly_one_bin(results in prop::collection::vec(any_result(), 0..200)) {
            let task = for_time();
            let keys: Vec<Key> = results.iter().map(|(level, text)| keyed(&task, *level, text)).collect();
            let bands = spread_of(&task, &keys, LoadUnit::Kg);
            let all: u32 = bands.iter().flat_map(|b| &b.bins).map(|b| b.count).sum();
            prop_assert_eq!(all as usize, keys.len());
            for key in &keys {
                let within = bands.iter().filter(|band| bin_of(band, *key, &task).is_some()).count();
                prop_assert_eq!(within, 1);
            }
            for band in &bands {
                prop_assert!(band.bins.len() as u64 <= MOST_BINS);
                prop_assert!(band.bins.first().is_some_and(|b| b.count > 0) && band.bins.last().is_some_and(|b| b.count > 0));
                let mut amounts: Vec<(u64, u64)> = band.bins.iter().map(|b| b.amounts).collect();
                amounts.sort_unstable();
                for pair in amounts.windows(2) {
                    prop_assert_eq!(pair[0].1 + 1, pair[1].0, "bins touch and do not overlap");
                }
            }
        }

    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(8))]
        #[test]
        fn ten_thousand_loads_in_pounds_and_kilograms(grams in prop::collection::vec(1..400_000_u64, 1..10_000), lb in any::<bool>()) {
            let task = Task::of(Format::MaxLoad);
            let unit = if lb { LoadUnit::Lb } else { LoadUnit::Kg };
            // Keys of any weight: more is better, so the figure is turned round.
            let keys: Vec<Key> = grams.iter().map(|g| {
                let load = Load { unit: LoadUnit::Kg, hundredths: g.div_ceil(10) };
                keyed(&task, 0, &load.text())
            }).collect();
            let bands = spread_of(&task, &keys, unit);
            let all: u32 = bands.iter().flat_map(|b| &b.bins).map(|b| b.count).sum();
            prop_assert_eq!(all as usize, keys.len());
            prop_assert!(bands[0].bins.len() as u64 <= MOST_BINS);
        }
    }
}
