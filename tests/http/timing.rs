//! How soon an answer comes says no more than the answer: of a workout that is not announced nobody
//! learns by the clock that it is there, nor of an account or a code.
//!
//! What is compared is asked for by turns, so that whatever else this machine does slows all of it
//! alike; the medians may differ by [`FLOOR`] or [`PART`], and only what differs more every time of
//! several is a leak. That a real one is found is tested too.

use crate::mail::{Manner, Sink, behind};
use crate::support::{Client, HIDDEN, SALTMARSH, TestApp, grant};
use std::sync::atomic::{AtomicU32, Ordering};
use std::time::{Duration, Instant};
use tallywright::rules::access::{Grant, Role};

/// How often each is asked for.
const ROUNDS: usize = 25;
/// Medians may differ so much: less than this nobody measures over a network.
const FLOOR: Duration = Duration::from_millis(2);
/// … or by this part of the larger: one in five.
const PART: u32 = 5;
/// What a busy machine does once, it does not do so often.
const TIMES: usize = 4;
const C: &str = "/api/v1/competitions/saltmarsh";

/// Asks for each of `kinds` by turns; the medians, where they differ every time.
async fn differ(kinds: usize, ask: impl AsyncFn(usize)) -> Option<Vec<Duration>> {
    let mut leak = None;
    for _ in 0..TIMES {
        let mut took = vec![Vec::with_capacity(ROUNDS); kinds];
        for round in 0..ROUNDS {
            for turn in 0..kinds {
                let kind = (round + turn) % kinds;
                let started = Instant::now();
                ask(kind).await;
                took[kind].push(started.elapsed());
            }
        }
        let median = |times: &mut Vec<Duration>| {
            times.sort_unstable();
            times[times.len() / 2]
        };
        let medians: Vec<Duration> = took.iter_mut().map(median).collect();
        let (least, most) = (medians.iter().min()?, medians.iter().max()?);
        println!("medians: {medians:?}");
        if most.saturating_sub(*least) <= FLOOR.max(*most / PART) {
            return None;
        }
        leak = Some(medians);
    }
    leak
}

/// An address that nobody has asked from: tries are counted by it.
fn elsewhere(client: &Client) -> Client {
    static NEXT: AtomicU32 = AtomicU32::new(0);
    let n = NEXT.fetch_add(1, Ordering::Relaxed);
    client.clone().seen_from(&format!("10.{}.{}.{}", n >> 16, (n >> 8) & 255, n & 255))
}

/// Later each time, so that the tries of before count no more.
fn a_while_later(app: &TestApp) {
    let later = app.app.clock.now() + jiff::SignedDuration::from_mins(20);
    app.app.clock.set(later);
}

#[tokio::test]
async fn an_answer_that_takes_longer_is_found() {
    let app = TestApp::new().await;
    let nobody = app.nobody();
    let leaks = differ(2, async |kind| {
        nobody.get("/c/saltmarsh/workouts/nothing").accept("text/html").await.expect(404);
        tokio::time::sleep(Duration::from_millis(40) * u32::from(kind == 1)).await;
    });
    assert!(leaks.await.is_some(), "a difference of 40 ms is not found");
}

#[tokio::test]
async fn a_workout_that_is_not_announced_answers_as_soon_as_one_that_is_not_there() {
    let app = TestApp::new().await;
    let staff = app.staff_of("quayside").await;
    let desk = app.in_browser(&staff).await;
    let athlete = app.athlete(1042).await;
    let page = |path: &str| (app.nobody(), "GET", path.to_owned());
    let api = |who: &Client, method: &'static str, path: &str| (who.clone(), method, format!("{C}/{path}"));
    let mut wrong = Vec::new();
    for (who, method, path) in [
        page("/c/saltmarsh/workouts/{w}"),
        page("/c/saltmarsh/workouts/{w}/sheet"),
        page("/c/saltmarsh/divisions/women/workouts/{w}"),
        page("/c/saltmarsh/athletes/1042?workout={w}&performance=100"),
        page("/desk/saltmarsh/quayside/wall?show={w}"),
        (desk.clone(), "GET", "/desk/saltmarsh/quayside/{w}/1042".to_owned()),
        (desk.clone(), "GET", "/desk/saltmarsh/quayside/heats/{w}".to_owned()),
        api(&app.nobody(), "GET", "divisions/women/workouts/{w}/places"),
        api(&app.nobody(), "GET", "workouts/{w}/scores/1042"),
        api(&app.nobody(), "GET", "workouts/{w}/scores/1042/history"),
        api(&app.nobody(), "GET", "workouts/{w}/changes"),
        api(&staff, "GET", "workouts/{w}/scores?gym=quayside"),
        api(&staff, "PUT", "workouts/{w}/scores/1042"),
        api(&staff, "POST", "workouts/{w}/scores/1042/check"),
        api(&athlete, "PUT", "workouts/{w}/scores/1042"),
    ] {
        let accept = if path.starts_with("/api") { "application/json" } else { "text/html" };
        let leaks = differ(2, async |kind| {
            let path = path.replace("{w}", ["w3", "w9"][kind]);
            let call = who.call(method.parse().expect("a method"), &path).accept(accept);
            let reply =
                if method == "GET" { call.await } else { call.json(serde_json::json!({ "performance": "100" })).await };
            assert!(reply.status == 404 || path.contains('?'), "{method} {path}: {}", reply.status);
        });
        if let Some(medians) = leaks.await {
            wrong.push(format!("{method} {path}: {medians:?}"));
        }
    }
    assert!(wrong.is_empty(), "not announced and not there:\n{}", wrong.join("\n"));
}

#[tokio::test]
async fn what_is_said_of_a_competition_comes_as_soon_whether_something_is_not_announced() {
    let app = TestApp::new().await;
    app.db_competition("bare", false).await;
    let file = include_str!("../data/small.toml").replace("slug = \"saltmarsh\"", "slug = \"bare\"");
    let (bare, _) = file.split_once("[[workout]]\nslug = \"w3\"").expect("the third workout");
    let by = app.administrator().await;
    let put = by.put("/api/v1/competitions/bare?reason=given%20up").header("if-match", "*");
    put.body("application/toml", bare.to_owned()).await.expect(200);
    let nobody = app.nobody();
    let mut wrong = Vec::new();
    for path in [
        "/c/{c}",
        "/c/{c}/divisions/women",
        "/c/{c}/calendar.ics",
        "/c/{c}/athletes/1042",
        "/desk/{c}/quayside/wall",
        "/api/v1/competitions/{c}",
        "/api/v1/competitions/{c}/divisions/women/standings",
    ] {
        let leaks = differ(2, async |kind| {
            let path = path.replace("{c}", [SALTMARSH, "bare"][kind]);
            nobody.get(&path).await.expect(200);
        });
        if let Some(medians) = leaks.await {
            wrong.push(format!("{path}: {medians:?}"));
        }
    }
    // Nor does a competition that is private answer another way than none.
    for path in ["/c/{c}", "/api/v1/competitions/{c}"] {
        let leaks = differ(2, async |kind| {
            nobody.get(&path.replace("{c}", [HIDDEN, "none"][kind])).await.expect(404);
        });
        if let Some(medians) = leaks.await {
            wrong.push(format!("{path}, private: {medians:?}"));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[tokio::test]
async fn signing_in_takes_as_long_with_an_account_without_and_with_one_that_has_links_alone() {
    let app = TestApp::new().await;
    app.db_account("known@example.org", Some("three old oars"), &[grant(Role::Referee, Some(SALTMARSH))]).await;
    app.db_account("links@example.org", None, &[grant(Role::Referee, Some(SALTMARSH))]).await;
    let emails = ["known@example.org", "nobody@example.org", "links@example.org"];
    let nobody = app.nobody();
    for api in [true, false] {
        let leaks = differ(emails.len(), async |kind| {
            a_while_later(&app);
            let (client, email, password) = (elsewhere(&nobody), emails[kind], "not the password");
            if api {
                let body = serde_json::json!({ "email": email, "password": password });
                client.post("/api/v1/session").json(body).await.expect(401);
            } else {
                client.post("/signin").form(&[("email", email), ("password", password)]).await.expect(401);
            }
        });
        if let Some(medians) = leaks.await {
            panic!("{emails:?} take {medians:?}");
        }
    }
}

#[tokio::test]
async fn a_code_takes_as_long_for_a_bib_that_has_one_for_one_that_has_none_and_for_none() {
    let app = TestApp::new().await;
    let codes = serde_json::json!({ "bibs": [1042] });
    app.staff_of("quayside").await.post(&format!("{C}/gyms/quayside/claim-codes")).json(codes).await.expect(200);
    let kinds = [(SALTMARSH, "1042"), (SALTMARSH, "1043"), (SALTMARSH, "9999"), ("none", "1042")];
    let nobody = app.nobody();
    let leaks = differ(kinds.len(), async |kind| {
        a_while_later(&app);
        let (competition, bib) = kinds[kind];
        let fields = [
            ("c", competition),
            ("bib", bib),
            ("code", "CDFG-HJKM"),
            ("email", "new@example.org"),
            ("password", "four new oars"),
        ];
        elsewhere(&nobody).post("/claim").form(&fields).await.expect(422);
    });
    if let Some(medians) = leaks.await {
        panic!("{kinds:?} take {medians:?}");
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_forgotten_password_is_answered_as_soon_for_nobody() {
    let sink = Sink::new(Manner::Takes).await;
    let (app, ..) = behind(&sink.url).await;
    let role = Grant { gym: Some("quayside".to_owned()), ..grant(Role::Staff, Some(SALTMARSH)) };
    app.db_account("known@example.org", Some("three old oars"), &[role]).await;
    let emails = ["known@example.org", "nobody@example.org"];
    let nobody = app.nobody();
    let leaks = differ(emails.len(), async |kind| {
        a_while_later(&app);
        elsewhere(&nobody).post("/signin/forgotten").form(&[("email", emails[kind])]).await.expect(303);
    });
    if let Some(medians) = leaks.await {
        panic!("{emails:?} take {medians:?}");
    }
}
