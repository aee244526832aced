//! Our half of `tests/bench/peers/run.sh`: ranks the field in a file and says how long it took, and the sum over
//! all standings that the others have to come to as well. Without a file it makes a small one, for
//! `cargo test --benches`.
//!
//! The file: workouts × athletes numbers of 32 bits, little end first; the smaller the better, -1 missing.

use serde_json::json;
use std::hint::black_box;
use std::time::Instant;
use tallywright::rules::order::Key;
use tallywright::rules::place::{Column, Counting, Overall, OverallRules};

const WORKOUTS: usize = 5;
/// A median of so many.
const TIMES: usize = 21;

fn main() {
    let file = std::env::args().skip(1).find(|argument| !argument.starts_with("--"));
    let keys = match &file {
        Some(file) => read(&std::fs::read(file).expect("the field")),
        None => (3..8).map(|step| (0..200).map(|n| Some(Key(n * step % 71))).collect()).collect(),
    };
    let rows = keys[0].len();
    let rules = OverallRules::default();
    let asked: Vec<Counting> = (0..WORKOUTS).map(|column| Counting { column, weight: 1 }).collect();

    let columns: Vec<Column> = keys.iter().map(|keys| Column::of(keys)).collect();
    let ranked = |columns: &[Column]| Overall::of(&rules, columns, &asked).standings(rows);
    // As those do beside which it stands: all places are worked out, and one sum of them is read.
    let read = |columns: &[Column]| {
        let overall = Overall::of(&rules, columns, &asked);
        black_box(overall.listed().map(|(_, standing)| u64::from(standing.unwrap_or(0))).sum::<u64>());
    };
    let say = |what: &str, sum: u64, ms: f64| {
        println!("{}", json!({ "what": what, "athletes": rows, "workouts": WORKOUTS, "ms": ms, "sum": sum }));
    };
    let from_scores = median(|| {
        let columns: Vec<Column> = keys.iter().map(|keys| Column::of(keys)).collect();
        read(&columns);
    });
    say("ours, from nothing but the scores", sum(&ranked(&columns)), from_scores);
    say("ours, everybody ranked anew", sum(&ranked(&columns)), median(|| read(&columns)));
    // One score changed: its column is made anew too.
    let (row, best) = (u32::try_from(rows / 2).unwrap(), Some(Key(-1)));
    let with = |column: Column| [&[column], &columns[1..]].concat();
    let mut changed = keys[0].clone();
    changed[rows / 2] = best;
    let afresh = sum(&ranked(&with(Column::of(&changed))));
    assert_eq!(sum(&ranked(&with(columns[0].changed(&[(row, best)])))), afresh);
    let after_one = median(|| read(&with(columns[0].changed(&[(row, best)]))));
    say("ours, one score changed and everybody ranked anew", afresh, after_one);
}

fn read(bytes: &[u8]) -> Vec<Vec<Option<Key>>> {
    let numbers: Vec<i32> = bytes.chunks_exact(4).map(|b| i32::from_le_bytes(b.try_into().unwrap())).collect();
    let key = |number: &i32| (*number >= 0).then(|| Key(i64::from(*number)));
    numbers.chunks_exact(numbers.len() / WORKOUTS).map(|column| column.iter().map(key).collect()).collect()
}

/// Every standing times a number of its row's own.
fn sum(standings: &[Option<u32>]) -> u64 {
    let weight = |row: usize| ((row as u64 * 2_654_435_761) & 0xFFFF_FFFF) % 1_000_003;
    standings.iter().enumerate().map(|(row, standing)| u64::from(standing.unwrap_or(0)) * weight(row)).sum()
}

fn median(mut work: impl FnMut()) -> f64 {
    let mut times: Vec<f64> = (0..TIMES)
        .map(|_| {
            let begun = Instant::now();
            work();
            begun.elapsed().as_secs_f64() * 1e3
        })
        .collect();
    times.sort_by(f64::total_cmp);
    (times[TIMES / 2] * 1e3).round() / 1e3
}
