//! The process ends or stands still: killed, told to stop, paused; and answers that are lost. On a
//! file and on a server alike.

use crate::field::Field;
use crate::load::Load;
use crate::mixed::Mixed;
use crate::proxy::Proxy;
use crate::server::Server;
use crate::service::{Service, free};
use crate::{Draw, check, pause, times, until};
use std::collections::BTreeMap;

const CLIENTS: u32 = 64;

async fn kill_again_and_again(field: Field, kills: u64) {
    let mut draw = Draw(5);
    let mut service = Service::start(&field, free());
    let at = service.at;
    let load = Load::start(at, &field.token, CLIENTS);
    let mixed = Mixed::start(&field, &[at]).await;
    for _ in 0..kills {
        load.goes_on().await;
        check::shown(&field, &[at]);
        pause(draw.between(0, 500)).await;
        service.kill();
        let (made, in_flight) = load.so_far();
        check::stored(&field, &made, &in_flight);
        service = Service::start(&field, at);
    }
    load.goes_on().await;
    let done = load.finish().await;
    let did = mixed.finish(&field, &[at]).await;
    check::whole(&field, at, &done);
    println!("{kills} kills, {} changes, {} sent again, {did:?}", done.changes(), done.again);
    assert!(done.again > 0 && did.is_all(), "{did:?}");
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
        // What was answered before is read by then.
        pause(200).await;
        let (before, in_flight) = load.so_far();
        // Longer than a server lets a transaction wait.
        pause(1_800).await;
        assert_eq!(load.so_far(), (before, in_flight.clone()), "it stands still");
        service.signal("CONT");
        until("what was on its way is acknowledged", async || {
            let (made, _) = load.so_far();
            in_flight.iter().all(|(score, reps)| made.get(score).is_some_and(|all| all.contains(reps)))
        })
        .await;
        check::meanwhile(&field, &[service.at], &load);
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
