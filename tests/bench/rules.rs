//! The arithmetic of a score: `split` near 10 reps and near 2^24 (as quick), `check` and `key`.
//!
//! `cargo bench --bench rules`.

use criterion::{Criterion, criterion_group, criterion_main};
use std::hint::black_box;
use tallywright::rules::order::key;
use tallywright::rules::performance::{Around, RawPerformance, check};
use tallywright::rules::quantity::Millis;
use tallywright::rules::scheme::{Block, Counts, Repeat, Scheme, Station};
use tallywright::rules::workout::{Format, Task, Tiebreak};

/// Few reps, and many.
const TOTALS: [(&str, u64); 2] = [("near 10", 10), ("near 2^24", (1 << 24) + 10)];

fn stations() -> Vec<Station> {
    [20, 14, 10]
        .into_iter()
        .enumerate()
        .map(|(i, n)| Station { movement: format!("movement {i}"), counts: Some(Counts::Reps(n)) })
        .collect()
}

fn scheme(repeat: Repeat, endless: bool) -> Scheme {
    let block = Block::Work { title: None, stations: stations(), repeat, by: None };
    Scheme::new(vec![block], endless).expect("a scheme that holds together")
}

fn split(c: &mut Criterion) {
    let ladder = Repeat::Ladder { start: vec![20, 14, 10], step: vec![2, 0, 1], rounds: None };
    let schemes = [
        ("rounds", scheme(Repeat::Rounds(1 << 19), false)),
        ("repeat", scheme(Repeat::Endless, true)),
        ("ladder", scheme(ladder, true)),
    ];
    for (name, scheme) in &schemes {
        for (near, total) in TOTALS {
            c.bench_function(&format!("split/{name} {near}"), |b| {
                b.iter(|| black_box(scheme).split(black_box(total)));
            });
        }
    }
}

fn score(c: &mut Criterion) {
    let task = Task {
        scheme: Some(scheme(Repeat::Endless, true)),
        cap: Some(Millis(720_000)),
        tiebreak: Tiebreak::EachRound,
        ..Task::of(Format::Amrap)
    };
    let raw = RawPerformance::Text("6+14 tb 11:24".to_owned());
    let done = check(&task, &raw, &Around::default()).expect("a performance of this task").value;
    c.bench_function("key", |b| b.iter(|| key(black_box(&task), 0, black_box(&done))));
    c.bench_function("check", |b| {
        b.iter(|| check(black_box(&task), black_box(&raw), &Around::default()));
    });
    c.bench_function("text", |b| b.iter(|| black_box(&done).text(black_box(&task))));
}

criterion_group!(benches, split, score);
criterion_main!(benches);
