//! The process ends or stands still: killed, told to stop, paused; and answers that are lost. On a
//! file and on a server alike.

use crate::field::{Field, SLUG, WORKOUTS};
use crate::load::Load;
use crate::proxy::Proxy;
use crate::server::Server;
use crate::service::{Service, free};
use crate::{Draw, check, pause, times, until};
use std::collections::BTreeMap;
use std::fmt::Write;

const CLIENTS: u32 = 64;

async fn kill_again_and_again(field: Field, kills: u64) {
    let mut draw = Draw(5);
    let mut service = Service::start(&field, free());
    let at = service.at;
    let load = Load::start(at, &field.token, CLIENTS);
    for _ in 0..kills {
        load.goes_on().await;
        check::board(&field, at);
        pause(draw.between(0, 500)).await;
        service.kill();
        let (made, in_flight) = load.so_far();
        check::stored(&field, &made, &in_flight);
        service = Service::start(&field, at);
    }
    load.goes_on().await;
    let done = load.finish().await;
    check::whole(&field, at, &done);
    println!("{kills} kills, {} changes, {} sent again", done.changes(), done.again);
    assert!(done.again > 0);
}

async fn tell_to_stop(field: Field, often: u64) {
    let mut service = Service::start(&field, free());
    let at = service.at;
    let load = Load::start(at, &field.token, CLIENTS);
    for _ in 0..often {
        load.goes_on().await;
        assert_eq!(service.stop().code(), Some(0));
        // What was answered last is read by then; whatever is stored was acknowledged.
        pause(500).await;
        check::stored(&field, &load.so_far().0, &BTreeMap::new());
        service = Service::start(&field, at);
    }
    let done = load.finish().await;
    check::whole(&field, at, &done);
}

async fn stand_still(field: Field, often: u64) {
    let service = Service::start(&field, free());
    let load = Load::start(service.at, &field.token, CLIENTS);
    for _ in 0..often {
        load.goes_on().await;
        service.signal("STOP");
        // Longer than a server lets a transaction wait.
        pause(1_800).await;
        assert!(!load.so_far().1.is_empty(), "changes are on their way");
        service.signal("CONT");
        load.goes_on().await;
        check::board(&field, service.at);
    }
    let done = load.finish().await;
    check::whole(&field, service.at, &done);
}

async fn lose_answers(field: Field, millis: u64) {
    let service = Service::start(&field, free());
    let proxy = Proxy::start(service.at, 11).await;
    let load = Load::start(proxy.at, &field.token, CLIENTS);
    pause(millis).await;
    until("connections are cut", async || proxy.cut() > 20).await;
    proxy.heal();
    let done = load.finish().await;
    check::whole(&field, service.at, &done);
    println!("{} connections cut, {} changes, {} sent again", proxy.cut(), done.changes(), done.again);
    assert!(done.again > 0);
}

async fn import_beside(field: Field) {
    let service = Service::start(&field, free());
    // The clients leave these alone: half of the bibs are nobody's.
    let load = Load::start_for(service.at, &field.token, CLIENTS, |bib| bib <= 128);
    let mut rows = "bib,performance,judge\n".to_owned();
    for bib in 129..=256 {
        writeln!(rows, "{bib},{},J-{}", bib * 2, if bib % 4 < 2 { 1 } else { 2 }).expect("a text grows");
    }
    field.write("w1.csv", &rows);
    field.write("w2.csv", &rows);
    for workout in WORKOUTS {
        pause(300).await;
        let file = format!("{workout}.csv");
        let said = field.done(&["scores", "import", &file, "--competition", SLUG, "--workout", workout]);
        assert!(said.starts_with("128 taken, 0 unchanged, 0 refused"), "{said}");
    }
    let mut done = load.finish().await;
    for bib in 129..=256 {
        for workout in WORKOUTS {
            done.made.insert((bib, workout), vec![u64::from(bib) * 2]);
        }
    }
    // The service looks at the log every 200 ms for what others wrote.
    pause(1_000).await;
    check::whole(&field, service.at, &done);
}

#[tokio::test(flavor = "multi_thread")]
async fn killed_again_and_again_it_loses_and_repeats_nothing() {
    kill_again_and_again(Field::new(), times(6, 100)).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn killed_again_and_again_on_a_server_it_loses_and_repeats_nothing() {
    let Some(server) = Server::shared() else { return };
    kill_again_and_again(Field::on(&server).await, times(5, 50)).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn told_to_stop_it_ends_well_and_leaves_nobody_without_an_answer() {
    tell_to_stop(Field::new(), times(3, 20)).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn told_to_stop_on_a_server_it_ends_well_and_leaves_nobody_without_an_answer() {
    let Some(server) = Server::shared() else { return };
    tell_to_stop(Field::on(&server).await, times(2, 20)).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn paused_in_the_middle_it_goes_on_where_it_was() {
    stand_still(Field::new(), times(2, 20)).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn paused_in_the_middle_on_a_server_it_goes_on_where_it_was() {
    let Some(server) = Server::shared() else { return };
    stand_still(Field::on(&server).await, times(2, 20)).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn answers_that_are_lost_on_the_way_are_given_again_and_nothing_is_stored_twice() {
    lose_answers(Field::new(), times(4_000, 30_000)).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn answers_that_are_lost_on_the_way_from_a_server_are_given_again_and_nothing_is_stored_twice() {
    let Some(server) = Server::shared() else { return };
    lose_answers(Field::on(&server).await, times(3_000, 30_000)).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_command_that_imports_beside_it_loses_nothing_and_takes_nothing_away() {
    import_beside(Field::new()).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_command_that_imports_beside_it_on_a_server_loses_nothing_and_takes_nothing_away() {
    let Some(server) = Server::shared() else { return };
    import_beside(Field::on(&server).await).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_copy_that_is_made_under_load_is_of_one_moment_and_serves() {
    let mut field = Field::new();
    let service = Service::start(&field, free());
    let load = Load::start(service.at, &field.token, CLIENTS);
    let mut copies = Vec::new();
    for n in 0..times(2, 10) {
        load.goes_on().await;
        let (before, _) = load.so_far();
        let during = load.changes();
        tokio::task::block_in_place(|| field.done(&["backup", &format!("copy-{n}.db")]));
        assert!(load.changes() > during, "changes were stored meanwhile");
        copies.push(before);
    }
    let done = load.finish().await;
    drop(service);
    for (n, before) in copies.iter().enumerate() {
        field.url = format!("sqlite://restored-{n}.db");
        field.done(&["restore", &format!("copy-{n}.db")]);
        check::a_moment(&field, before, &done);
        let service = Service::start(&field, free());
        let (head, body) = check::raw(service.at, "/readyz");
        assert!(check::is_ok(&head), "{head}{body}");
    }
}

/// As README.md says it is done.
#[tokio::test(flavor = "multi_thread")]
async fn a_dump_of_a_server_that_is_made_under_load_is_of_one_moment_and_serves() {
    let Some(server) = Server::shared() else { return };
    let mut field = Field::on(&server).await;
    let service = Service::start(&field, free());
    let load = Load::start(service.at, &field.token, CLIENTS);
    let mut copies = Vec::new();
    for n in 0..times(1, 5) {
        let (file, from) = (format!("--file=copy-{n}.dump"), format!("--dbname={}", field.url));
        // One that is made so quickly that nothing was stored meanwhile is made again.
        let mut tries = 0..20;
        loop {
            assert!(tries.next().is_some(), "changes are stored meanwhile");
            load.goes_on().await;
            let (before, _) = load.so_far();
            let during = load.changes();
            tokio::task::block_in_place(|| field.tool(&["pg_dump", "--format=custom", &file, &from]));
            if load.changes() > during {
                copies.push(before);
                break;
            }
        }
    }
    let done = load.finish().await;
    drop(service);
    for (n, before) in copies.iter().enumerate() {
        field.url = server.database().await;
        let (file, to) = (format!("copy-{n}.dump"), format!("--dbname={}", field.url));
        field.tool(&["pg_restore", "--exit-on-error", "--no-owner", &to, &file]);
        check::a_moment(&field, before, &done);
        let service = Service::start(&field, free());
        let (head, body) = check::raw(service.at, "/readyz");
        assert!(check::is_ok(&head), "{head}{body}");
    }
}
