//! Several services on one server: any takes any request, and none waits long for another that
//! stands still.

use crate::field::{DIVISIONS, Field, SLUG};
use crate::load::{self, Load};
use crate::server::Server;
use crate::service::{Service, free};
use crate::{Draw, check, pause, times, until};
use http::StatusCode;
use serde_json::json;
use std::net::SocketAddr;
use std::time::{Duration, Instant};
use tokio_util::sync::CancellationToken;

/// A server takes the head from one that stands still after a second and a half; else the other would
/// wait for as long as it does. The rest is for machines at their limits.
const TURN: Duration = Duration::from_secs(30);

#[tokio::test(flavor = "multi_thread")]
async fn one_that_stands_still_in_the_middle_of_a_write_does_not_keep_the_other_from_writing() {
    let Some(server) = Server::shared() else { return };
    let field = Field::on(&server).await;
    let url = format!("{}&application_name=stands_still", field.url);
    let services = [Service::start_on(&field, &url, free()), Service::start(&field, free())];
    let load = Load::start_at(&services.each_ref().map(|service| service.at), &field.token, 64);
    let mut waited = Vec::new();
    for _ in 0..times(2, 20) {
        // Until it is caught with a head in hand.
        until("in the middle of a write", async || {
            pause(50).await;
            services[0].signal("STOP");
            pause(30).await;
            let open = "SELECT COUNT(*) FROM pg_stat_activity WHERE application_name = 'stands_still' AND state = 'idle in transaction'";
            let caught = server.number(open).await > 0;
            if !caught {
                services[0].signal("CONT");
            }
            caught
        })
        .await;
        let (began, before) = (Instant::now(), load.changes_at(1));
        // More than were on their way: half of the clients are with the other.
        while load.changes_at(1) <= before + 32 {
            assert!(began.elapsed() < TURN, "the other waits for it");
            pause(10).await;
        }
        waited.push(began.elapsed());
        services[0].signal("CONT");
        let before = load.changes_at(0);
        until("it writes again", async || load.changes_at(0) > before + 64).await;
    }
    let done = load.finish().await;
    for service in &services {
        check::whole(&field, service.at, &done);
    }
    println!("waited {waited:?}; {} changes, {} sent again", done.changes(), done.again);
}

/// Reads at any of them, each time the state it has seen or a newer one; how often.
async fn read(at: [SocketAddr; 3], seed: u64, stop: CancellationToken) -> u64 {
    let (http, mut draw, mut known, mut read) = (load::http(), Draw(seed), [0; 2], 0);
    while !stop.is_cancelled() {
        let n = usize::try_from(draw.between(0, 1)).unwrap();
        let at = at[usize::try_from(draw.between(0, 2)).unwrap()];
        let (division, least) = (DIVISIONS[n], known[n]);
        let path = format!("/api/v1/competitions/{SLUG}/divisions/{division}/standings?at_least={least}&limit=20");
        match tokio::time::timeout(Duration::from_secs(5), load::send(&http, load::get(at, &path))).await {
            Ok(Some((StatusCode::OK, page))) => {
                let seq = page["log_seq"].as_u64().expect("a position");
                assert!(seq >= known[n], "at least {}, got {seq}", known[n]);
                known[n] = seq;
                read += 1;
                pause(10).await;
            }
            Ok(None | Some((StatusCode::SERVICE_UNAVAILABLE, _))) | Err(_) => pause(20).await,
            Ok(Some((status, answer))) => panic!("{path}: {status} {answer}"),
        }
    }
    read
}

#[tokio::test(flavor = "multi_thread")]
async fn three_of_which_one_is_killed_every_few_seconds_lose_nothing_and_show_nothing_old() {
    let Some(server) = Server::shared() else { return };
    let field = Field::on(&server).await;
    let mut services = [(); 3].map(|()| Some(Service::start(&field, free())));
    let at = services.each_ref().map(|service| service.as_ref().unwrap().at);
    let stop = CancellationToken::new();
    let readers: Vec<_> = (1..=4).map(|n| tokio::spawn(read(at, n * 31, stop.clone()))).collect();
    let load = Load::start_round(&at, &field.token, 32);
    let kills = times(3, 24);
    for n in 0..usize::try_from(kills).unwrap() {
        pause(times(2_000, 4_500)).await;
        load.goes_on().await;
        services[n % 3].take().unwrap().kill();
        pause(500).await;
        services[n % 3] = Some(Service::start(&field, at[n % 3]));
    }
    let done = load.finish().await;
    stop.cancel();
    let mut reads = 0;
    for reader in readers {
        reads += reader.await.expect("a reader saw what must not be");
    }
    for at in at {
        until("it has taken in what the others did", async || {
            let path = format!("/api/v1/competitions/{SLUG}");
            tokio::task::block_in_place(|| {
                check::is_ok(&check::raw(at, "/readyz").0) && check::is_ok(&check::raw(at, &path).0)
            })
        })
        .await;
        check::whole(&field, at, &done);
    }
    let share = |percent: usize| done.seen[(done.seen.len() - 1) * percent / 100].as_secs_f64() * 1e3;
    let build = if cfg!(debug_assertions) { "debug" } else { "release" };
    let figures = json!({
        "figure": "put at one, seen at another", "services": 3, "kills": kills, "build": build,
        "changes": done.changes(), "sent_again": done.again, "reads": reads,
        "seen": done.seen.len(), "could_not_be_asked": done.not_seen,
        "p50_ms": share(50), "p99_ms": share(99), "longest_ms": share(100),
    });
    println!("{figures}");
    assert!(reads > 100 && done.seen.len() > 10, "{figures}");
}
