//! The board: one score taken in, a page, an own place, everybody ranked anew; 2,400 athletes in eight
//! divisions × 4 workouts, and 100,000 and 1,000,000 in one division × 5.

#[path = "../rules/board/sample.rs"]
mod sample;

use criterion::{Criterion, criterion_group, criterion_main};
use std::hint::black_box;
use std::sync::Arc;
use std::time::Instant;
use tallywright::rules::life::State;
use tallywright::rules::order::Key;
use tallywright::rules::people::EntryState;
use tallywright::rules::place::{Column, Counting, Overall, OverallRules};
use tallywright::rules::placement::{Change, Placement};
use tallywright::standings::{Board, Cut, InForce, Mask, Query, Scope};

const DIVISIONS: [&str; 8] = ["d0", "d1", "d2", "d3", "d4", "d5", "d6", "d7"];
const WORKOUTS: [&str; 5] = ["w0", "w1", "w2", "w3", "w4"];

/// A field with a board that knows it.
struct Field {
    board: Board,
    entries: u32,
    seq: u64,
    random: u64,
}

impl Field {
    fn new(entries: u32, divisions: usize, workouts: usize) -> Self {
        let slugs: Vec<_> = WORKOUTS[..workouts].iter().map(|slug| (*slug, 1)).collect();
        let none: &[&str] = &[];
        let names: Vec<_> = DIVISIONS[..divisions].iter().map(|slug| (*slug, none)).collect();
        let definition = sample::competition(OverallRules::default(), &slugs, &names);
        let mut field = Self { board: Board::default(), entries, seq: 0, random: 1 };
        let mut rows = Vec::new();
        for bib in 1..=entries {
            let n = usize::try_from(bib).unwrap();
            rows.push(field.row(
                bib,
                Change::Entry {
                    division: DIVISIONS[n % divisions].into(),
                    gym: Some(format!("gym{}", n % (n / 100 + 20))),
                    country: ["PT", "PT", "PT", "ES", "ES", "FR", "FR", "IT", "DE", "SE"][n / divisions % 10].into(),
                    region: String::new(),
                    state: EntryState::Active,
                },
            ));
            // A strong athlete is strong in every workout, and one in ten results is missing.
            let strength = field.draw(4000);
            for workout in &WORKOUTS[..workouts] {
                if field.draw(10) > 0 {
                    let key = i64::try_from(strength + field.draw(1500)).unwrap();
                    rows.push(field.score(bib, workout, key));
                }
            }
        }
        let definition = InForce { at: 0, leaf: [0; 32], competition: Arc::new(definition) };
        field.board.load(1, definition, field.seq, rows);
        field
    }

    /// The next of a repeatable sequence of numbers below `n` (xorshift).
    fn draw(&mut self, n: u64) -> u64 {
        self.random ^= self.random << 13;
        self.random ^= self.random >> 7;
        self.random ^= self.random << 17;
        self.random % n
    }

    fn row(&mut self, bib: u32, change: Change) -> Placement {
        self.seq += 1;
        Placement { seq: self.seq, bib, change }
    }

    fn score(&mut self, bib: u32, workout: &str, key: i64) -> Placement {
        self.row(
            bib,
            Change::Score {
                workout: workout.into(),
                attempt: 1,
                key: Some(Key(key)),
                level: 0,
                state: State::Attested,
                text: key.to_string(),
            },
        )
    }

    /// One score more, somewhere.
    fn write(&mut self) {
        let bib = u32::try_from(self.draw(u64::from(self.entries))).unwrap() + 1;
        let key = i64::try_from(self.draw(5500)).unwrap();
        let row = self.score(bib, "w0", key);
        self.board.follow(1, row.seq, None, &[row]);
    }
}

fn query(division: &str) -> Query {
    Query { division: division.into(), scope: Scope::default(), mask: Mask::ALL }
}

fn board(c: &mut Criterion) {
    for (entries, divisions, workouts) in [(2_400, 8, 4), (100_000, 1, 5), (1_000_000, 1, 5)] {
        let mut field = Field::new(entries, divisions, workouts);
        let mut group = c.benchmark_group(format!("{entries} athletes x {workouts}"));
        if entries > 10_000 {
            group.sample_size(20);
        }
        let middle = Cut::Rows { from: usize::try_from(entries).unwrap() / divisions / 2, limit: 50 };
        let memory = field.board.view(1).unwrap().memory();
        let bytes = (memory.known + memory.ranked) / memory.entries;
        println!("{entries} athletes x {workouts}: {bytes} bytes an athlete");
        let asked = query("d0");
        let country = Query { scope: Scope { country: Some("PT".into()), ..Scope::default() }, ..asked.clone() };
        let start = Instant::now();
        let of = field.board.standings(1, &country, middle).unwrap().of;
        println!("{entries} athletes x {workouts}: a country of {of} asked for first in {:?}", start.elapsed());

        group.bench_function("score in, a page of every division", |b| {
            b.iter(|| {
                field.write();
                let view = field.board.view(1).unwrap();
                for division in &DIVISIONS[..divisions] {
                    black_box(view.standings(&query(division), middle));
                }
            });
        });
        group.bench_function("score in, own place", |b| {
            b.iter(|| {
                field.write();
                black_box(field.board.entry(1, 8, Mask::ALL));
            });
        });
        let mut gym = 0;
        group.bench_function("a gym asked for first", |b| {
            b.iter(|| {
                gym += 1;
                let scope = Scope { gym: Some(format!("gym{}", gym % (entries / 100 + 20))), ..Scope::default() };
                black_box(field.board.standings(1, &Query { scope, ..asked.clone() }, Cut::Rows { from: 1, limit: 50 }))
            });
        });
        group.bench_function("what a ruling would move", |b| {
            b.iter(|| black_box(field.board.moved_by(1, &asked, 0, 8, None)));
        });
        group.bench_function("score in, nobody reads", |b| b.iter(|| field.write()));
        group.bench_function("page of 50", |b| b.iter(|| black_box(field.board.standings(1, &asked, middle))));
        group.bench_function("places of 50", |b| b.iter(|| black_box(field.board.places(1, &asked, 0, middle))));
        group.bench_function("own place", |b| b.iter(|| black_box(field.board.entry(1, 8, Mask::ALL))));
        group.bench_function("would be", |b| b.iter(|| black_box(field.board.would_be(1, "d0", 0, Key(2500), 8))));
        group.finish();
    }
}

/// The engine alone: a column in which one key changed, and all rows put in order.
fn ranking(c: &mut Criterion) {
    let mut field = Field::new(1, 1, 1);
    for rows in [100_000_usize, 1_000_000] {
        let mut columns = Vec::new();
        let strengths: Vec<u64> = (0..rows).map(|_| field.draw(4000)).collect();
        for _ in 0..5 {
            let key = |strength: &u64| {
                let missing = field.draw(100) < 8;
                (!missing).then(|| Key(i64::try_from(strength + field.draw(1500)).unwrap()))
            };
            columns.push(Column::of(&strengths.iter().map(key).collect::<Vec<_>>()));
        }
        let asked: Vec<Counting> = (0..5).map(|column| Counting { column, weight: 1 }).collect();
        let rules = OverallRules::default();
        let mut group = c.benchmark_group(format!("{rows} rows x 5"));
        group.sample_size(20);
        group.bench_function("everybody ranked anew", |b| {
            b.iter(|| black_box(Overall::of(&rules, &columns, &asked)));
        });
        group.bench_function("a column with another key", |b| {
            b.iter(|| black_box(columns[0].changed(&[(77, Some(Key(1234)))])));
        });
        group.finish();
    }
}

criterion_group!(benches, ranking, board);
criterion_main!(benches);
