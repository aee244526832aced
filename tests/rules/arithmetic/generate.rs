//! Random schemes, tasks and performances, within what a competition file may say.

use proptest::prelude::*;
use tallywright::rules::quantity::{Grams, Millis, Rounding, TimeStep};
use tallywright::rules::scheme::{Block, Counts, Repeat, Scheme, Station};
use tallywright::rules::workout::{CountUnit, Format, IntervalMeasure, Intervals, LoadStep, Scored, Task, Tiebreak};

/// A station that counts `n` reps.
pub fn reps(movement: &str, n: u64) -> Station {
    Station { movement: movement.into(), counts: Some(Counts::Reps(n)) }
}

/// A block of work without title.
pub fn work(stations: Vec<Station>, repeat: Repeat) -> Block {
    Block::Work { title: None, stations, repeat, by: None }
}

/// Rounds of 20 + 14 + 10 without end.
pub fn rounds_of_44() -> Scheme {
    let stations = vec![reps("swing", 20), reps("step-over", 14), reps("squat", 10)];
    Scheme::new(vec![work(stations, Repeat::Endless)], true).unwrap()
}

fn movements(n: usize) -> Vec<Station> {
    (0..n).map(|i| Station { movement: format!("movement {i}"), counts: None }).collect()
}

fn counted(row: &[u64]) -> Vec<Station> {
    row.iter().enumerate().map(|(i, n)| reps(&format!("movement {i}"), *n)).collect()
}

/// Counts of which at least one is not 0.
fn row(n: std::ops::Range<usize>, most: u64) -> impl Strategy<Value = Vec<u64>> {
    prop::collection::vec(0..=most, n).prop_filter("a round counts", |row| row.iter().any(|c| *c > 0))
}

fn ladder(most: u64) -> impl Strategy<Value = Block> {
    (1..5_usize).prop_flat_map(move |n| {
        (prop::collection::vec(0..=most, n), prop::collection::vec(-5..=5_i64, n), 1..9_u64, any::<bool>()).prop_map(
            move |(mut start, mut step, rounds, one_step)| {
                if one_step {
                    step.truncate(1);
                }
                // Lift the start so that no count falls below 0 and every round counts.
                for (i, s) in start.iter_mut().enumerate() {
                    let change = step[i % step.len()];
                    *s += change.min(0).unsigned_abs() * rounds;
                }
                start[0] += 1;
                work(movements(n), Repeat::Ladder { start, step, rounds: Some(rounds) })
            },
        )
    })
}

/// A block with an end.
fn block(most: u64) -> impl Strategy<Value = Block> {
    prop_oneof![
        3 => (row(1..5, most), 1..7_u64).prop_map(|(row, rounds)| work(counted(&row), Repeat::Rounds(rounds))),
        2 => (1..5_usize).prop_flat_map(move |n| prop::collection::vec(row(n..n + 1, most), 1..6)
            .prop_map(move |rows| work(movements(n), Repeat::List(rows)))),
        2 => ladder(most),
        1 => (1..600_u64).prop_map(|s| Block::Rest(Millis(s * 1000))),
    ]
}

/// A last block without end.
fn endless(most: u64) -> impl Strategy<Value = Block> {
    prop_oneof![
        row(1..5, most).prop_map(|row| work(counted(&row), Repeat::Endless)),
        (row(1..5, most), 0..6_i64).prop_map(|(start, step)| {
            work(movements(start.len()), Repeat::Ladder { start, step: vec![step], rounds: None })
        }),
        row(1..5, most).prop_flat_map(|start| {
            prop::collection::vec(0..6_i64, start.len()).prop_map(move |step| {
                work(movements(start.len()), Repeat::Ladder { start: start.clone(), step, rounds: None })
            })
        }),
    ]
}

/// Any scheme with an end, counts up to `most`.
pub fn finite_scheme(most: u64) -> impl Strategy<Value = Scheme> {
    prop::collection::vec(block(most), 1..5)
        .prop_filter("some work", |blocks| blocks.iter().any(|b| matches!(b, Block::Work { .. })))
        .prop_map(|blocks| Scheme::new(blocks, false).unwrap())
}

/// Any scheme without end, counts up to `most`.
pub fn endless_scheme(most: u64) -> impl Strategy<Value = Scheme> {
    (prop::collection::vec(block(most), 0..3), endless(most)).prop_map(|(mut blocks, last)| {
        blocks.push(last);
        Scheme::new(blocks, true).unwrap()
    })
}

/// Any scheme.
pub fn scheme(most: u64) -> impl Strategy<Value = Scheme> {
    prop_oneof![finite_scheme(most), endless_scheme(most)]
}

fn tiebreak(format: Format, end: Option<u64>) -> BoxedStrategy<Tiebreak> {
    match format {
        Format::Amrap | Format::ForTime => {
            let below = end.unwrap_or(1000);
            let at = prop::collection::btree_set(1..below.max(2), 1..5)
                .prop_map(|set| Tiebreak::At(set.into_iter().collect()));
            let plain = prop_oneof![Just(Tiebreak::None), Just(Tiebreak::EachRound), Just(Tiebreak::EachStation)];
            if below > 1 { prop_oneof![plain, at].boxed() } else { plain.boxed() }
        }
        Format::MaxLoad | Format::MaxCount => prop_oneof![Just(Tiebreak::None), Just(Tiebreak::Time)].boxed(),
        Format::Intervals => Just(Tiebreak::None).boxed(),
    }
}

fn intervals() -> impl Strategy<Value = Intervals> {
    let counts = prop_oneof![Just(Scored::Sum), Just(Scored::Least), Just(Scored::Best)]
        .prop_map(|scored| (IntervalMeasure::Count, scored));
    let times = prop_oneof![Just(Scored::Sum), Just(Scored::Slowest), Just(Scored::Fastest)]
        .prop_map(|scored| (IntervalMeasure::Time, scored));
    (1..6_u32, prop_oneof![counts, times]).prop_map(|(n, (measure, scored))| Intervals { n, measure, scored })
}

/// Any task of a format.
pub fn task(format: Format) -> impl Strategy<Value = Task> {
    let scheme = match format {
        Format::Amrap => endless_scheme(40).prop_map(Some).boxed(),
        Format::ForTime => finite_scheme(40).prop_map(Some).boxed(),
        _ => Just(None).boxed(),
    };
    let settings = (
        (60..12_000_u64, any::<bool>(), any::<bool>(), any::<bool>()),
        (prop_oneof![Just(TimeStep::Second), Just(TimeStep::Tenth), Just(TimeStep::Hundredth)], any::<bool>()),
        (1..4_usize, prop::option::of(intervals().prop_map(Some)), 0..3_u8),
    );
    (scheme, settings, intervals()).prop_flat_map(move |(scheme, settings, intervals)| {
        let ((cap, for_finishers, all_required, stepped), (time_step, up), (lifts, _, unit)) = settings;
        let end = scheme.as_ref().and_then(Scheme::end);
        tiebreak(format, end).prop_map(move |tiebreak| Task {
            scheme: scheme.clone(),
            cap: (!matches!(format, Format::MaxLoad | Format::Intervals)).then_some(Millis(cap * 1000)),
            tiebreak,
            tiebreak_for_finishers: for_finishers,
            time_step,
            time_rounding: if up { Rounding::Up } else { Rounding::Down },
            lifts: (0..lifts).map(|i| format!("lift {i}")).collect(),
            all_required,
            load_step: if stepped {
                LoadStep { kg: Some(Grams(500)), lb_hundredths: Some(100) }
            } else {
                LoadStep::default()
            },
            intervals: (format == Format::Intervals).then_some(intervals),
            unit: [CountUnit::Reps, CountUnit::Calories, CountUnit::Metres][usize::from(unit)],
            ..Task::of(format)
        })
    })
}

/// Any task.
pub fn any_task() -> impl Strategy<Value = Task> {
    prop_oneof![
        Just(Format::Amrap),
        Just(Format::ForTime),
        Just(Format::MaxLoad),
        Just(Format::MaxCount),
        Just(Format::Intervals)
    ]
    .prop_flat_map(task)
}

fn clock(most: u64) -> impl Strategy<Value = String> {
    (0..=most.max(1), prop::option::of(0..1000_u64)).prop_map(|(seconds, decimals)| {
        let millis = Millis(seconds * 1000 + decimals.unwrap_or(0));
        millis.exact()
    })
}

fn load() -> impl Strategy<Value = String> {
    prop_oneof![
        4 => (0..30_000_u64, any::<bool>()).prop_map(|(h, kg)| {
            format!("{}.{:02} {}", h / 100, h % 100, if kg { "kg" } else { "lb" })
        }),
        1 => Just("x".to_owned()),
    ]
}

fn main_figure(task: &Task) -> BoxedStrategy<String> {
    let cap = task.cap.map_or(600, |c| c.0 / 1000);
    match task.format {
        Format::Amrap => {
            prop_oneof![(0..90_u64, 0..60_u64).prop_map(|(r, p)| format!("{r}+{p}")), (0..4000_u64).prop_map(|n| format!("{n} reps"))]
                .boxed()
        }
        Format::ForTime => {
            let end = task.scheme.as_ref().and_then(Scheme::end).unwrap_or(1);
            prop_oneof![
                clock(cap),
                (0..=end).prop_map(|n| format!("{n} reps")),
                (0..=end).prop_map(|n| format!("cap+{n}")),
                (0..10_u64, 0..60_u64).prop_map(|(r, p)| format!("{r}+{p}"))
            ]
            .boxed()
        }
        Format::MaxLoad => {
            prop_oneof![9 => prop::collection::vec(load(), task.lifts.len()).prop_map(|l| l.join(" + ")), 1 => Just("no lift".to_owned())]
                .boxed()
        }
        Format::MaxCount => (0..5000_u64).prop_map(|n| n.to_string()).boxed(),
        Format::Intervals => {
            let intervals = task.intervals.unwrap();
            let item = match intervals.measure {
                IntervalMeasure::Count => (0..300_u64).prop_map(|n| n.to_string()).boxed(),
                IntervalMeasure::Time => clock(9000).boxed(),
            };
            prop::collection::vec(item, intervals.n as usize).prop_map(|items| items.join("/")).boxed()
        }
    }
}

/// A line that may well be a performance of the task.
pub fn line(task: &Task) -> impl Strategy<Value = String> + use<> {
    let cap = task.cap.map_or(600, |c| c.0 / 1000);
    let tiebreak = if matches!(task.tiebreak, Tiebreak::None) {
        Just(None).boxed()
    } else {
        prop::option::weighted(0.7, clock(cap)).boxed()
    };
    (main_figure(task), tiebreak).prop_map(|(main, tiebreak)| match tiebreak {
        Some(tiebreak) => format!("{main} tb {tiebreak}"),
        None => main,
    })
}

/// A task, and lines that may be performances of it.
pub fn task_and_lines(n: usize) -> impl Strategy<Value = (Task, Vec<String>)> {
    any_task().prop_flat_map(move |task| {
        let lines = prop::collection::vec(line(&task), n);
        (Just(task), lines)
    })
}
