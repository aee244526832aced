//! Work to be counted by `tests/bench/instructions.sh` under an emulator: the same done so many times.
//!
//! `instructions rebuild TIMES` puts 100,000 rows × 5 in order that many times, one key changed each time;
//! `instructions page TIMES DATABASE PATH` renders that many pages of standings that nothing has kept: PATH and
//! a row after it to begin with.

use axum::body::Body;
use http_body_util::BodyExt;
use std::hint::black_box;
use tallywright::actions::open::open;
use tallywright::app::{Clock, Keys};
use tallywright::config::Config;
use tallywright::rules::order::Key;
use tallywright::rules::place::{Column, Counting, Overall, OverallRules};
use tower::ServiceExt;

const ROWS: usize = 100_000;
const WORKOUTS: usize = 5;

fn main() {
    let args: Vec<String> = std::env::args().skip(1).filter(|arg| arg != "--bench").collect();
    let args: Vec<&str> = args.iter().map(String::as_str).collect();
    let times = |n: &str| n.parse().expect("how many times");
    match *args {
        ["rebuild", n] => rebuild(times(n)),
        ["page", n, database, path] => pages(times(n), database, path),
        // What `cargo test --benches` asks for.
        _ => rebuild(1),
    }
}

fn rebuild(times: usize) {
    let mut random = 1_u64;
    let mut draw = |n: u64| {
        random ^= random << 13;
        random ^= random >> 7;
        random ^= random << 17;
        i64::try_from(random % n).expect("less than n")
    };
    // Who is strong is so in every workout, and some are missing.
    let strengths: Vec<i64> = (0..ROWS).map(|_| draw(4000)).collect();
    let mut columns: Vec<Column> = (0..WORKOUTS)
        .map(|_| {
            let keys: Vec<Option<Key>> =
                strengths.iter().map(|strength| (draw(100) >= 8).then(|| Key(strength + draw(1500)))).collect();
            Column::of(&keys)
        })
        .collect();
    let asked: Vec<Counting> = (0..WORKOUTS).map(|column| Counting { column, weight: 1 }).collect();
    let rules = OverallRules::default();
    for n in 0..times {
        let row = u32::try_from(n * 997 % ROWS).expect("a row");
        columns[0] = columns[0].changed(&[(row, Some(Key(draw(5500))))]);
        black_box(Overall::of(&rules, &columns, &asked));
    }
}

#[tokio::main(flavor = "current_thread")]
async fn pages(times: usize, database: &str, path: &str) {
    let config = Config { database: database.to_owned(), ..Config::default() };
    let service = open(config, Clock::System, Keys::seeded(1)).await.expect("the sample's database");
    let router = tallywright::web::router(service.app.clone());
    for n in 0..times {
        let asked = http::Request::get(format!("{path}?from={}", 2 + n)).header("accept-encoding", "gzip");
        let answer = router.clone().oneshot(asked.body(Body::empty()).expect("a request")).await.expect("an answer");
        assert_eq!(answer.status(), 200);
        black_box(answer.into_body().collect().await.expect("a page"));
    }
}
