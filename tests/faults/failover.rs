//! A server is lost, and its synchronous standby takes over. The services have one address, which
//! leads to the server in charge: the network of the tests is led over, as a proxy or an address that
//! moves would be.

use crate::field::{Field, SLUG};
use crate::load::{self, Load};
use crate::mixed::Mixed;
use crate::server::{End, Server};
use crate::service::{Service, free};
use crate::wire::Wire;
use crate::{check, pause, times, until};
use http::{Request, StatusCode};
use serde_json::{Value, json};
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

/// A file of which no row can be read: nothing comes of it but the answer that is kept.
async fn import(field: &Field, at: SocketAddr) -> Option<(StatusCode, Value)> {
    let request = Request::post(format!("http://{at}/api/v1/competitions/{SLUG}/workouts/w1/scores"))
        .header("authorization", format!("Bearer {}", field.token))
        .header("content-type", "text/csv")
        .header("idempotency-key", "\"a-file\"");
    let rows = "bib,performance\nnobody,12\n".into();
    load::send(&load::http(), request.body(rows).expect("a request")).await
}

/// Gives somebody a role, or finds that they have it.
async fn role(field: &Field, at: SocketAddr) -> Option<(StatusCode, Value)> {
    let roles = json!([{ "role": "referee", "competition": SLUG }]);
    let request = Request::post(format!("http://{at}/api/v1/accounts"))
        .header("authorization", format!("Bearer {}", field.token))
        .header("content-type", "application/json");
    let body = json!({ "email": "bela@example.org", "roles": roles }).to_string();
    load::send(&load::http(), request.body(body.into()).expect("a request")).await
}

/// Sends away whoever waits for the standby: on this server, what they did is there to be read.
async fn send_away(server: &Server) {
    server.obey("SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE wait_event = 'SyncRep'").await;
}

/// Waits for something that may wait for the standby, and is sent away then.
async fn sent_away<T>(server: &Server, something: impl Future<Output = T>) -> T {
    let send_them_away = async {
        loop {
            pause(500).await;
            send_away(server).await;
        }
    };
    tokio::select! {
        done = something => done,
        () = send_them_away => unreachable!("it goes on"),
    }
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
    let mut services = [(); 2].map(|()| Service::start(&field, free()));
    let at = services.each_ref().map(|service| service.at);
    let load = Load::start_round(&at, &field.token, CLIENTS);
    let mixed = Mixed::start(&field, &at).await;
    for n in 0..times(1, 8) {
        let name = format!("standby_{n}");
        let standby = server.standby(&name);
        assert_eq!(readiness(at[0])["waits_for_standby"], false);
        wait_for(&server, &name).await;
        until("it says so", async || readiness(at[1])["waits_for_standby"] == true).await;
        load.goes_on().await;
        server.end(End::Killed);
        pause(300).await;
        assert!(services.iter_mut().all(Service::runs), "they stay up");
        standby.promote();
        wire.lead_to(&standby);
        load.goes_on().await;
        check::meanwhile(&field, &at, &load);
        server = standby;
    }
    let done = load.finish().await;
    for at in at {
        until("it has taken in what the other did", async || readiness(at)["ready"] == true).await;
        check::whole(&field, at, &done);
    }
    let did = mixed.finish(&field, &at).await;
    println!("{} changes, {} sent again, {} seen at the other, {did:?}", done.changes(), done.again, done.seen.len());
    assert!(done.again > 0 && !done.seen.is_empty() && did.is_all(), "{did:?}");
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
    let (status, kept) = sent_away(&server, import(&field, service.at)).await.expect("an answer");
    assert_eq!((status, &kept["refused"]), (StatusCode::OK, &Value::from(1)), "{kept}");
    for _ in 0..times(3, 20) {
        pause(700).await;
        send_away(&server).await;
    }
    assert_eq!(load.changes(), before, "nobody is told that it is stored");
    let (status, answer) = sent_away(&server, import(&field, service.at)).await.expect("an answer");
    assert_eq!(status, StatusCode::SERVICE_UNAVAILABLE, "only this server has that answer: {answer}");
    // A role likewise: it is there, by a commit that was sent away, and is not said to be.
    let (status, answer) = sent_away(&server, role(&field, service.at)).await.expect("an answer");
    assert_eq!(status, StatusCode::SERVICE_UNAVAILABLE, "{answer}");
    let (status, answer) = sent_away(&server, role(&field, service.at)).await.expect("an answer");
    assert_eq!(status, StatusCode::SERVICE_UNAVAILABLE, "only this server has that role: {answer}");
    standby.start_again();
    load.goes_on().await;
    assert!(role(&field, service.at).await.is_some_and(|(status, _)| status.is_success()), "now it is safe");
    assert_eq!(import(&field, service.at).await.expect("an answer"), (StatusCode::OK, kept), "as it was kept");
    // And once more, up to the loss of the server.
    standby.end(End::Killed);
    pause(700).await;
    send_away(&server).await;
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

/// Started where nothing may be written: it shows what is there, says so, and takes changes once the server is in
/// charge, without being started again.
#[tokio::test(flavor = "multi_thread")]
async fn a_service_that_starts_on_a_standby_shows_what_is_there_and_takes_changes_when_it_takes_over() {
    let Some(server) = Server::start() else { return };
    let mut field = Field::on(&server).await;
    let standby = server.standby("reader");
    wait_for(&server, "reader").await;
    let wire = Wire::to(&server).await;
    field.url = wire.url(&field.url);
    wire.lead_to(&standby);
    let service = Service::start(&field, free());
    let said = readiness(service.at);
    assert_eq!((&said["ready"], &said["writable"]), (&json!(true), &json!(false)), "{said}");
    let (head, page) = tokio::task::block_in_place(|| check::raw(service.at, "/c/harbour/divisions/women"));
    assert!(check::is_ok(&head) && page.contains("Women"), "{head}");
    let load = Load::start(service.at, &field.token, CLIENTS);
    until("changes are refused", async || load.is_refused()).await;
    assert_eq!(load.changes(), 0, "nothing is stored on a standby");
    server.end(End::Killed);
    standby.promote();
    load.goes_on().await;
    until("it says so", async || readiness(service.at)["writable"] == true).await;
    let done = load.finish().await;
    check::whole(&field, service.at, &done);
    println!("{} changes, {} sent again", done.changes(), done.again);
}
