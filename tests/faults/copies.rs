//! Copies that are made under load: each is of one moment, and serves.

use crate::field::{Field, SLUG};
use crate::load::{self, Acknowledged, Done, Load};
use crate::server::Server;
use crate::service::{Service, free};
use crate::{check, times};
use http::{Request, StatusCode};
use serde_json::{Value, json};

const CLIENTS: u32 = 64;

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
        it_serves(&field, before, &done).await;
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
        // It counts when it has been read to its end.
        field.tool(&["pg_restore", "--file=/dev/null", &file]);
        field.tool(&["pg_restore", "--exit-on-error", "--no-owner", &to, &file]);
        it_serves(&field, before, &done).await;
    }
}

/// A database that was made from a copy: it is that of one moment, is shown as it is, and takes changes.
async fn it_serves(field: &Field, before: &Acknowledged, done: &Done) {
    check::a_moment(field, before, done);
    let service = Service::start(field, free());
    let (head, body) = check::raw(service.at, "/readyz");
    assert!(check::is_ok(&head), "{head}{body}");
    check::shown(field, &[service.at]);
    // One who has a score in the copy gets another one.
    let (bib, workout) = before.keys().next().expect("somebody");
    let path = format!("/api/v1/competitions/{SLUG}/workouts/{workout}/scores/{bib}");
    let known = check::get(service.at, &path);
    let reps = if known["performance"]["text"] == load::written(workout, 7) { 8 } else { 7 };
    let figures = json!({ "performance": reps.to_string(), "attestation": { "judge": "J-1", "how": "paper_sheet" } });
    let request = Request::put(format!("http://{}{path}", service.at))
        .header("authorization", format!("Bearer {}", field.token))
        .header("content-type", "application/json")
        .header("if-match", format!("\"{}\"", known["etag"].as_str().expect("an etag")))
        .body(figures.to_string().into());
    let answer = load::send(&load::http(), request.expect("a request")).await;
    let (status, stored) = answer.expect("an answer");
    assert_eq!(status, StatusCode::OK, "{stored}");
    let written = Value::String(load::written(workout, reps));
    assert_eq!(stored["performance"]["text"], written);
    check::shown(field, &[service.at]);
    field.done(&["log", "verify"]);
    // And it is there when it is started again.
    assert_eq!(service.stop().code(), Some(0));
    let service = Service::start(field, free());
    assert_eq!(check::get(service.at, &path)["performance"]["text"], written);
}
