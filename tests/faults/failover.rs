//! A server is lost, and its synchronous standby takes over. The services have one address, which
//! leads to the server in charge: the network of the tests is led over, as a proxy or an address that
//! moves would be.

use crate::field::Field;
use crate::load::Load;
use crate::server::{End, Server};
use crate::service::{Service, free};
use crate::wire::Wire;
use crate::{check, pause, times, until};
use serde_json::Value;
use std::net::SocketAddr;

const CLIENTS: u32 = 32;

/// Commits of this server wait for that standby from now on.
async fn wait_for(server: &Server, standby: &str) {
    server.obey(&format!("ALTER SYSTEM SET synchronous_standby_names = '{standby}'")).await;
    server.obey("SELECT pg_reload_conf()").await;
    until("the standby follows", async || {
        server.number("SELECT COUNT(*) FROM pg_stat_replication WHERE sync_state = 'sync'").await == 1
    })
    .await;
}

fn readiness(at: SocketAddr) -> Value {
    let (_, body) = tokio::task::block_in_place(|| check::raw(at, "/readyz"));
    serde_json::from_str(&body).expect("what it stands on")
}

#[tokio::test(flavor = "multi_thread")]
async fn a_standby_that_takes_over_has_every_change_that_was_acknowledged() {
    let Some(mut server) = Server::start() else { return };
    let mut field = Field::on(&server).await;
    let wire = Wire::to(&server).await;
    field.url = wire.url(&field.url);
    let mut service = Service::start(&field, free());
    let load = Load::start(service.at, &field.token, CLIENTS);
    for n in 0..times(1, 8) {
        let name = format!("standby_{n}");
        let standby = server.standby(&name);
        assert_eq!(readiness(service.at)["waits_for_standby"], false);
        wait_for(&server, &name).await;
        until("it says so", async || readiness(service.at)["waits_for_standby"] == true).await;
        load.goes_on().await;
        server.end(End::Killed);
        pause(300).await;
        assert!(service.runs(), "it stays up");
        standby.promote();
        wire.lead_to(&standby);
        load.goes_on().await;
        server = standby;
    }
    let done = load.finish().await;
    check::whole(&field, service.at, &done);
    println!("{} changes, {} sent again", done.changes(), done.again);
    assert!(done.again > 0);
}

#[tokio::test(flavor = "multi_thread")]
async fn nothing_is_acknowledged_that_only_a_server_without_its_standby_has() {
    let Some(server) = Server::start() else { return };
    let mut field = Field::on(&server).await;
    let wire = Wire::to(&server).await;
    field.url = wire.url(&field.url);
    let standby = server.standby("other");
    wait_for(&server, "other").await;
    let service = Service::start(&field, free());
    let load = Load::start(service.at, &field.token, CLIENTS);
    load.goes_on().await;
    standby.end(End::Killed);
    pause(200).await;
    let before = load.changes();
    // Whoever waits for the standby is sent away: on this server, what they did is there to be read.
    for _ in 0..times(3, 20) {
        pause(700).await;
        server.obey("SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE wait_event = 'SyncRep'").await;
    }
    assert_eq!(load.changes(), before, "nobody is told that it is stored");
    standby.start_again();
    load.goes_on().await;
    // And once more, up to the loss of the server.
    standby.end(End::Killed);
    pause(700).await;
    server.obey("SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE wait_event = 'SyncRep'").await;
    pause(1_500).await;
    server.end(End::Killed);
    standby.start_again();
    standby.promote();
    wire.lead_to(&standby);
    load.goes_on().await;
    let done = load.finish().await;
    check::whole(&field, service.at, &done);
    println!("{} changes, {} sent again", done.changes(), done.again);
}
