//! A server fails under load: restarted, its backends ended, read-only; and the network to it is
//! slow, cut or silent.

use crate::disk::NOT_STORED;
use crate::field::{Field, SLUG};
use crate::load::{self, Load};
use crate::mixed::Mixed;
use crate::server::{End, Server};
use crate::service::{Service, free};
use crate::wire::Wire;
use crate::{check, long, pause, times, until};
use http::{Request, StatusCode};
use serde_json::json;
use std::time::{Duration, Instant};

const CLIENTS: u32 = 32;

#[tokio::test(flavor = "multi_thread")]
async fn a_server_that_is_restarted_under_load_loses_and_repeats_nothing() {
    let Some(server) = Server::start() else { return };
    let field = Field::on(&server).await;
    let mut service = Service::start(&field, free());
    let load = Load::start(service.at, &field.token, CLIENTS);
    let mixed = Mixed::start(&field, &[service.at]).await;
    for n in 0..times(2, 20) {
        pause(500).await;
        server.end(if n % 2 == 0 { End::Immediate } else { End::Fast });
        until("it says that its database is not there", async || knows_no_database(&service)).await;
        assert!(service.runs(), "it stays up");
        server.start_again();
        load.goes_on().await;
        check::meanwhile(&field, &[service.at], &load);
    }
    let done = load.finish().await;
    let did = mixed.finish(&field, &[service.at]).await;
    check::whole(&field, service.at, &done);
    println!("{} changes, {} sent again, {did:?}", done.changes(), done.again);
    assert!(done.again > 0 && did.is_all(), "{did:?}");
}

/// Whether it is not ready, for its database does not answer.
fn knows_no_database(service: &Service) -> bool {
    let (head, body) = tokio::task::block_in_place(|| check::raw(service.at, "/readyz"));
    !check::is_ok(&head) && body.contains(r#""database":false"#)
}

#[tokio::test(flavor = "multi_thread")]
async fn backends_that_are_ended_lose_and_repeat_nothing() {
    let Some(server) = Server::shared() else { return };
    let field = Field::on(&server).await;
    let url = format!("{}&application_name=to_be_ended", field.url);
    let service = Service::start_on(&field, &url, free());
    let load = Load::start(service.at, &field.token, CLIENTS);
    let mut ended = 0;
    for _ in 0..times(2, 10) {
        for _ in 0..times(5, 10) {
            pause(150).await;
            ended += server
                .number(
                    "SELECT COUNT(pg_terminate_backend(pid)) FROM pg_stat_activity WHERE application_name = 'to_be_ended'",
                )
                .await;
        }
        load.goes_on().await;
        check::meanwhile(&field, &[service.at], &load);
    }
    let done = load.finish().await;
    check::whole(&field, service.at, &done);
    println!("{ended} backends ended, {} changes, {} sent again", done.changes(), done.again);
    assert!(ended > 10 && done.again > 0);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_network_that_is_slow_cut_or_silent_loses_and_repeats_nothing() {
    let Some(server) = Server::shared() else { return };
    let field = Field::on(&server).await;
    let wire = Wire::to(&server).await;
    let mut service = Service::start_on(&field, &wire.url(&field.url), free());
    let load = Load::start(service.at, &field.token, CLIENTS);
    // Longer than a transaction may wait in the middle; and than a client waits for its answer.
    let silences: &[u64] = if long() { &[500, 2_500, 5_000, 12_000, 15_000] } else { &[2_500] };
    for millis in silences {
        pause(400).await;
        wire.silence(true);
        pause(*millis).await;
        if *millis == silences[0] {
            until("it says that its database does not answer", async || knows_no_database(&service)).await;
        }
        wire.silence(false);
        load.goes_on().await;
        check::meanwhile(&field, &[service.at], &load);
    }
    for _ in 0..times(1, 10) {
        for _ in 0..times(5, 10) {
            pause(150).await;
            wire.cut();
        }
        load.goes_on().await;
        check::meanwhile(&field, &[service.at], &load);
    }
    for _ in 0..times(1, 5) {
        wire.delay(Duration::from_millis(times(10, 25)));
        load.goes_on().await;
        for _ in 0..times(3, 4) {
            pause(400).await;
            wire.cut();
        }
        wire.delay(Duration::ZERO);
        load.goes_on().await;
        check::meanwhile(&field, &[service.at], &load);
    }
    assert!(service.runs());
    let done = load.finish().await;
    check::whole(&field, service.at, &done);
    println!("{} changes, {} sent again", done.changes(), done.again);
    assert!(done.again > 0);
}

/// The kernel tries for a quarter of an hour to reach who is gone; nobody who stores a score waits for that.
#[tokio::test(flavor = "multi_thread")]
async fn a_server_that_is_gone_without_a_word_keeps_nobody_waiting_for_long() {
    let Some(server) = Server::shared() else { return };
    let field = Field::on(&server).await;
    let wire = Wire::to(&server).await;
    let service = Service::start_on(&field, &wire.url(&field.url), free());
    let lost = async |load: &Load| {
        wire.lose();
        let began = Instant::now();
        load.goes_on().await;
        assert!(began.elapsed() < Duration::from_secs(30), "{:?}", began.elapsed());
    };
    let of = |low| Load::start_for(service.at, &field.token, CLIENTS, move |bib| (bib <= 128) == low);
    // In the midst of changes; and after a while without any, when the first one finds it out.
    let load = of(true);
    load.goes_on().await;
    lost(&load).await;
    let mut done = load.finish().await;
    for _ in 0..times(1, 5) {
        pause(1_500).await;
        wire.lose();
        let roles = json!([{ "role": "referee", "competition": SLUG }]);
        let body = json!({ "email": "bela@example.org", "roles": roles }).to_string();
        let began = Instant::now();
        until("somebody is added", async || {
            let request = Request::post(format!("http://{}/api/v1/accounts", service.at))
                .header("authorization", format!("Bearer {}", field.token))
                .header("content-type", "application/json");
            let request = request.body(body.clone().into()).expect("a request");
            load::send(&load::http(), request).await.is_some_and(|(status, _)| status.is_success())
        })
        .await;
        assert!(began.elapsed() < Duration::from_secs(30), "{:?}", began.elapsed());
    }
    let load = of(false);
    lost(&load).await;
    done.made.extend(load.finish().await.made);
    check::whole(&field, service.at, &done);
}

#[tokio::test(flavor = "multi_thread")]
async fn told_to_stop_while_the_network_is_silent_it_ends() {
    let Some(server) = Server::shared() else { return };
    let field = Field::on(&server).await;
    let wire = Wire::to(&server).await;
    let service = Service::start_on(&field, &wire.url(&field.url), free());
    let at = service.at;
    let load = Load::start(at, &field.token, CLIENTS);
    load.goes_on().await;
    wire.silence(true);
    pause(500).await;
    tokio::task::block_in_place(|| service.stop_within(Duration::from_mins(1)));
    wire.silence(false);
    let _service = Service::start(&field, at);
    load.goes_on().await;
    let done = load.finish().await;
    check::whole(&field, at, &done);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_server_that_only_reads_refuses_changes_and_standings_are_read() {
    let Some(server) = Server::start() else { return };
    let field = Field::on(&server).await;
    let service = Service::start(&field, free());
    let load = Load::start(service.at, &field.token, CLIENTS);
    for _ in 0..times(1, 5) {
        pause(300).await;
        server.obey("ALTER SYSTEM SET default_transaction_read_only = on").await;
        server.obey("SELECT pg_reload_conf()").await;
        // What was refused before for another reason is none of it.
        load.refusals();
        until("they are refused", async || load.refusals().iter().any(|why| why.contains(NOT_STORED))).await;
        until("it says that it takes no changes", async || {
            let said = tokio::task::block_in_place(|| check::raw(service.at, "/readyz").1);
            [r#""database":true"#, r#""writable":false"#].iter().all(|what| said.contains(what))
        })
        .await;
        // What was on its way when it began is answered by then.
        pause(300).await;
        let before = load.changes();
        pause(500).await;
        assert_eq!(load.changes(), before, "none is said to be stored");
        let read = tokio::task::block_in_place(|| check::raw(service.at, "/c/harbour/divisions/women").0);
        assert!(check::is_ok(&read), "{read}");
        // One that is begun only now shows them too.
        let another = Service::start(&field, free());
        let read = tokio::task::block_in_place(|| check::raw(another.at, "/c/harbour/divisions/women").0);
        assert!(check::is_ok(&read), "{read}");
        let said = tokio::task::block_in_place(|| check::raw(another.at, "/readyz").1);
        assert!(said.contains(r#""writable":false"#), "nobody has tried to store anything there: {said}");
        assert!(tokio::task::block_in_place(|| another.stop()).success());
        server.obey("ALTER SYSTEM RESET default_transaction_read_only").await;
        server.obey("SELECT pg_reload_conf()").await;
        load.goes_on().await;
        until("it says that it takes changes", async || {
            let (head, body) = tokio::task::block_in_place(|| check::raw(service.at, "/readyz"));
            check::is_ok(&head) && body.contains(r#""writable":true"#)
        })
        .await;
        check::meanwhile(&field, &[service.at], &load);
    }
    let done = load.finish().await;
    check::whole(&field, service.at, &done);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_commit_whose_answer_is_lost_is_not_said_to_have_stored_nothing() {
    let Some(server) = Server::shared() else { return };
    let field = Field::on(&server).await;
    let wire = Wire::to(&server).await;
    let service = Service::start_on(&field, &format!("{}&application_name=lost_answer", wire.url(&field.url)), free());
    let add = async || {
        let roles = json!([{ "role": "referee", "competition": SLUG }]);
        let request = Request::post(format!("http://{}/api/v1/accounts", service.at))
            .header("authorization", format!("Bearer {}", field.token))
            .header("content-type", "application/json");
        let body = json!({ "email": "bela@example.org", "roles": roles }).to_string();
        load::send(&load::http(), request.body(body.into()).expect("a request")).await.expect("an answer")
    };
    // Long enough to cut the network between the commit and what is said of it.
    wire.delay(Duration::from_millis(400));
    let cut = async {
        let done = "SELECT COUNT(*) FROM pg_stat_activity
                    WHERE application_name = 'lost_answer' AND query = 'COMMIT' AND state = 'idle'";
        until("it is committed", async || server.number(done).await > 0).await;
        wire.cut();
    };
    let ((status, answer), ()) = tokio::join!(add(), cut);
    assert_eq!((status, &answer["code"]), (StatusCode::SERVICE_UNAVAILABLE, &json!("outcome_unknown")), "{answer}");
    wire.delay(Duration::ZERO);
    let (status, answer) = add().await;
    assert!(status.is_success(), "the account is there, and is given the role: {status} {answer}");
}
