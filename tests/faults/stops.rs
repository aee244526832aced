//! The process ends or stands still: killed, told to stop, paused; and answers that are lost.

use crate::field::{Field, SLUG};
use crate::load::Load;
use crate::proxy::Proxy;
use crate::service::{Service, free};
use crate::{Draw, check, long};
use std::fmt::Write;
use std::time::Duration;

const CLIENTS: u32 = 64;

async fn pause(millis: u64) {
    tokio::time::sleep(Duration::from_millis(millis)).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn killed_again_and_again_it_loses_and_repeats_nothing() {
    let (kills, mut draw) = (if long() { 100 } else { 6 }, Draw(5));
    let field = Field::new();
    let mut service = Service::start(&field, free());
    let at = service.at;
    let load = Load::start(at, &field.token, CLIENTS);
    for _ in 0..kills {
        pause(draw.between(150, 1_000)).await;
        service.kill();
        let (made, in_flight) = load.so_far();
        check::stored(&field, &made, &in_flight);
        service = Service::start(&field, at);
    }
    pause(500).await;
    let done = load.finish().await;
    check::whole(&field, at, &done);
    println!("{kills} kills, {} changes, {} sent again", done.changes(), done.again);
    assert!(done.changes() > 10 * kills && done.again > 0);
}

#[tokio::test(flavor = "multi_thread")]
async fn told_to_stop_it_ends_well_and_leaves_nobody_without_an_answer() {
    let field = Field::new();
    let mut service = Service::start(&field, free());
    let at = service.at;
    let load = Load::start(at, &field.token, CLIENTS);
    for _ in 0..if long() { 20 } else { 3 } {
        pause(600).await;
        assert_eq!(service.stop().code(), Some(0));
        let (made, in_flight) = load.so_far();
        check::stored(&field, &made, &in_flight);
        service = Service::start(&field, at);
    }
    let done = load.finish().await;
    check::whole(&field, at, &done);
}

#[tokio::test(flavor = "multi_thread")]
async fn paused_in_the_middle_it_goes_on_where_it_was() {
    let field = Field::new();
    let service = Service::start(&field, free());
    let load = Load::start(service.at, &field.token, CLIENTS);
    for _ in 0..if long() { 20 } else { 3 } {
        pause(300).await;
        service.signal("STOP");
        pause(700).await;
        service.signal("CONT");
    }
    let done = load.finish().await;
    check::whole(&field, service.at, &done);
}

#[tokio::test(flavor = "multi_thread")]
async fn answers_that_are_lost_on_the_way_are_given_again_and_nothing_is_stored_twice() {
    let field = Field::new();
    let service = Service::start(&field, free());
    let proxy = Proxy::start(service.at, 11).await;
    let load = Load::start(proxy.at, &field.token, CLIENTS);
    pause(if long() { 30_000 } else { 4_000 }).await;
    proxy.heal();
    let done = load.finish().await;
    check::whole(&field, service.at, &done);
    println!("{} connections cut, {} changes, {} sent again", proxy.cut(), done.changes(), done.again);
    assert!(proxy.cut() > 10 && done.again > 10);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_command_that_imports_beside_it_loses_nothing_and_takes_nothing_away() {
    let field = Field::new();
    let service = Service::start(&field, free());
    // The clients leave these alone: half of the bibs are nobody's.
    let load = Load::start_with(service.at, &field.token, CLIENTS, |bib| bib <= 128);
    let mut rows = "bib,performance,judge\n".to_owned();
    for bib in 129..=256 {
        writeln!(rows, "{bib},{},J-{}", bib * 2, if bib % 4 < 2 { 1 } else { 2 }).expect("a text grows");
    }
    field.write("w1.csv", &rows);
    field.write("w2.csv", &rows);
    for workout in ["w1", "w2"] {
        pause(300).await;
        let file = format!("{workout}.csv");
        let said = field.done(&["scores", "import", &file, "--competition", SLUG, "--workout", workout]);
        assert!(said.starts_with("128 taken, 0 unchanged, 0 refused"), "{said}");
    }
    let mut done = load.finish().await;
    for bib in 129..=256 {
        for workout in crate::field::WORKOUTS {
            done.made.insert((bib, workout), vec![u64::from(bib) * 2]);
        }
    }
    // The service looks at the log every 200 ms for what others wrote.
    pause(1_000).await;
    check::whole(&field, service.at, &done);
}
