//! Finding somebody by name among 100,000 entries (`TALLYWRIGHT_BENCH_ENTRIES`: among another number), on
//! the engine that `TALLYWRIGHT_TEST_DATABASE` names.

#[path = "../store/support.rs"]
#[expect(dead_code, reason = "shared with the tests, which use all of it")]
mod support;

use criterion::Criterion;
use support::Place;
use tallywright::store::names::NameFilter;

fn main() {
    // `cargo test --benches` asks for a short run.
    let short = std::env::args().any(|a| a == "--test");
    let asked = std::env::var("TALLYWRIGHT_BENCH_ENTRIES").ok().and_then(|n| n.parse().ok());
    let entries: u32 = if short { 200 } else { asked.unwrap_or(100_000) };
    let runtime = tokio::runtime::Runtime::new().unwrap();
    let (place, id) = runtime.block_on(async {
        let place = Place::with_entries(entries).await;
        let id = place.id().await;
        (place, id)
    });
    let divisions = ["women".to_owned()];
    let find = |q: &'static str| {
        let filter = NameFilter { q, divisions: &divisions, gym: None, limit: 21 };
        let found = runtime.block_on(place.store.find_by_name(id, &filter)).unwrap();
        assert!(!found.is_empty(), "{q}");
        found.len()
    };
    let mut criterion = Criterion::default().configure_from_args();
    let mut group = criterion.benchmark_group(format!("names_{entries}"));
    // Whom everybody's name begins like; some; one.
    group.bench_function("everybody", |b| b.iter(|| find("PERS")));
    group.bench_function("some", |b| b.iter(|| find("person 1")));
    group.bench_function("one", |b| b.iter(|| find("101")));
    group.finish();
    criterion.final_summary();
    runtime.block_on(place.store.close());
}
