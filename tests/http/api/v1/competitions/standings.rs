//! `GET …/divisions/{d}/standings`, `…/places`, `…/entries/{bib}/standing`.

use super::{C, attested, score};
use crate::support::TestApp;
use serde_json::json;
use std::collections::BTreeMap;
use std::fmt::Write;
use std::future::IntoFuture;
use std::sync::Arc;
use std::time::{Duration, Instant};
use tallywright::standings::Past;

/// Three women with scores: 1042 before 2001 before 1043.
async fn three() -> TestApp {
    let app = TestApp::new().await;
    let (quayside, millpond) = (app.staff_of("quayside").await, app.staff_of("millpond").await);
    attested(&quayside, 1042, "6+14 tb 11:24", "J-1").await.expect(201);
    attested(&quayside, 1043, "5+10 tb 10:50", "J-1").await.expect(201);
    attested(&millpond, 2001, "6+2 tb 11:40", "J-2").await.expect(201);
    app
}

#[tokio::test]
async fn a_page_has_the_form_of_the_design() {
    let app = three().await;
    let page = app.nobody().get(&format!("{C}/divisions/women/standings?limit=1")).await.expect(200).json();
    let expected = json!({
        "division": "women", "scope": { "gym": null, "region": null, "country": null }, "running": "with",
        "log_seq": page["log_seq"], "of": 3, "entries": 3, "from": 1,
        "rows": [{ "standing": 1, "bib": 1042, "name": "Ines Duarte", "gym": "quayside", "country": "PT",
            "entry_state": "active", "points": 1,
            "unscoped_standing": 1, "next": null, "workouts": [
                { "workout": "w1", "place": 1, "points": 1, "text": "6+14 tb 11:24", "state": "attested", "counted": true },
                { "workout": "w2", "place": null, "points": null, "text": null, "state": null, "counted": false }] }]
    });
    assert_eq!(page, expected);
}

#[tokio::test]
async fn pages_scopes_and_finding_a_bib() {
    let app = three().await;
    let nobody = app.nobody();
    let base = format!("{C}/divisions/women/standings");
    let bibs = |view: &serde_json::Value| -> Vec<u64> {
        view["rows"].as_array().unwrap().iter().map(|r| r["bib"].as_u64().unwrap()).collect()
    };
    let page = nobody.get(&format!("{base}?from=2&limit=2")).await.expect(200).json();
    assert_eq!((bibs(&page), &page["from"]), (vec![2001, 1043], &json!(2)));
    let page = nobody.get(&format!("{base}?bib=1043&limit=2")).await.expect(200).json();
    assert_eq!((bibs(&page), &page["from"]), (vec![1043], &json!(3)));
    let scoped = nobody.get(&format!("{base}?gym=quayside")).await.expect(200).json();
    assert_eq!(bibs(&scoped), [1042, 1043]);
    assert_eq!((&scoped["rows"][1]["standing"], &scoped["rows"][1]["unscoped_standing"]), (&json!(2), &json!(3)));
    assert_eq!(bibs(&nobody.get(&format!("{base}?country=pt")).await.json()), [1042, 2001, 1043]);
    let without = nobody.get(&format!("{base}?running=without")).await.expect(200).json();
    assert_eq!((&without["running"], &without["rows"][0]["standing"]), (&json!("without"), &json!(null)));
    nobody.get(&format!("{base}?bib=1044")).await.expect(404);
    nobody.get(&format!("{C}/divisions/none/standings")).await.expect(404);
    for (query, error) in [
        ("limit=501", "/limit"),
        ("from=0", "/from"),
        ("limit=x", "/limit"),
        ("page=2", "/page"),
        ("as_of=99999", "/as_of"),
        ("running=off", "/running"),
    ] {
        let errors = nobody.get(&format!("{base}?{query}")).await.expect(422).errors();
        assert!(errors[0].starts_with(error), "{query}: {errors:?}");
    }
}

#[tokio::test]
async fn places_of_one_workout_and_of_one_entry() {
    let app = three().await;
    let nobody = app.nobody();
    let page = nobody.get(&format!("{C}/divisions/women/workouts/w1/places")).await.expect(200).json();
    let places: Vec<(u64, u64)> = page["rows"]
        .as_array()
        .unwrap()
        .iter()
        .map(|r| (r["place"].as_u64().unwrap(), r["bib"].as_u64().unwrap()))
        .collect();
    assert_eq!(places, [(1, 1042), (2, 2001), (3, 1043)]);
    assert_eq!((&page["rows"][0]["next"], &page["rows"][0]["shared"]), (&json!(null), &json!(1)));
    assert_eq!(
        page["rows"][1]["next"],
        json!({ "place": 1, "text": "6+14 tb 11:24", "bib": 1042, "missing": "12 reps" })
    );
    nobody.get(&format!("{C}/divisions/women/workouts/w3/places")).await.expect(404);
    app.organiser().await.get(&format!("{C}/divisions/women/workouts/w3/places")).await.expect(200);

    let own = nobody.get(&format!("{C}/entries/2001/standing")).await.expect(200).json();
    assert_eq!((&own["overall"][0]["place"], &own["overall"][0]["of"]), (&json!(2), &json!(3)));
    let first = &own["workouts"][0]["places"][0];
    assert_eq!((&first["place"], &first["gap"]["bib"]), (&json!(2), &json!(1042)));
    assert_eq!(first["gap"]["missing"], "12 reps");
    let gym = own["overall"].as_array().unwrap().iter().find(|p| p["scope"]["gym"] == "millpond").expect("a scope");
    assert_eq!((&gym["place"], &gym["of"]), (&json!(1), &json!(1)));
    nobody.get(&format!("{C}/entries/77/standing")).await.expect(404);
}

#[tokio::test]
async fn standings_as_csv_hold_the_whole_division() {
    let app = three().await;
    let organiser = app.organiser().await;
    let gym = json!({ "bib": 1042, "name": "=Ines Duarte", "born": "1996-04-02", "category": "women", "division": "women", "gym": "quayside" });
    let _ = organiser.post(&format!("{C}/entries")).json(gym).await;
    let csv = app.nobody().get(&format!("{C}/divisions/women/standings")).accept("text/csv").await.expect(200);
    assert_eq!(csv.header("content-type"), "text/csv; charset=utf-8");
    let lines: Vec<String> = csv.text().lines().map(str::to_owned).collect();
    assert_eq!(lines.len(), 4, "{lines:?}");
    assert!(lines[0].starts_with("standing,bib,name,gym,country,points,w1_place,w1_performance"), "{}", lines[0]);
    assert!(!csv.text().contains(",=Ines"), "a cell that a spreadsheet takes for a formula");
    let places =
        app.nobody().get(&format!("{C}/divisions/women/workouts/w1/places")).accept("text/csv").await.expect(200);
    assert_eq!(places.text().lines().count(), 4);
    app.nobody().get(&format!("{C}/divisions/women/standings")).accept("image/png").await.expect(406);
}

#[tokio::test]
async fn an_unchanged_page_is_304_and_a_change_or_a_window_passed_is_not() {
    let app = three().await;
    let nobody = app.nobody();
    let path = format!("{C}/divisions/women/standings");
    let page = nobody.get(&path).await.expect(200);
    let tag = page.header("etag").to_owned();
    assert!(page.header("cache-control").contains("public"), "{}", page.header("cache-control"));
    assert!(page.headers.get_all("vary").iter().any(|v| v.to_str().unwrap().contains("Cookie")));
    assert_eq!(page.header("access-control-allow-origin"), "*");
    let ask = |tag: &str| nobody.get(&path).header("if-none-match", tag);
    ask(&tag).await.expect(304);
    let zipped = ask(&tag).header("accept-encoding", "gzip").await.expect(200);
    assert_ne!(zipped.header("etag"), tag, "the coding is part of the tag");
    app.set_clock("2027-01-17T21:00:00Z");
    let closed = ask(&tag).await.expect(200);
    let tag = closed.header("etag").to_owned();
    let late = json!({ "performance": "100", "attestation": { "judge": "J-1", "how": "video" } });
    app.set_clock("2027-01-17T21:01:00Z");
    ask(&tag).await.expect(304);
    app.staff_of("quayside").await.put(&score("w1", 1044)).json(late).await.expect(201);
    ask(&tag).await.expect(304);
    let millpond = app.staff_of("millpond").await;
    let again = json!({ "performance": "6+3 tb 11:40", "reason": "the sheet was read wrongly" });
    let seen = millpond.get(&score("w1", 2001)).await.json()["etag"].as_str().unwrap().to_owned();
    millpond.put(&score("w1", 2001)).if_match(seen).json(again).await.expect(200);
    ask(&tag).await.expect(200);
    let seen = app.organiser().await.get(&path).await.expect(200);
    assert!(seen.header("cache-control").contains("private"));
    assert_ne!(seen.header("etag"), nobody.get(&path).await.header("etag"), "another reader, another tag");
}

#[tokio::test]
async fn at_least_waits_for_a_state_and_gives_up_after_two_seconds() {
    let app = three().await;
    let path = format!("{C}/divisions/women/standings");
    let now = app.nobody().get(&path).await.json()["log_seq"].as_u64().unwrap();
    app.nobody().get(&format!("{path}?at_least={now}")).await.expect(200);
    let behind = app.nobody().get(&format!("{path}?at_least={}", now + 1)).await.expect(503);
    assert_eq!(behind.header("retry-after"), "1");
}

#[tokio::test]
async fn a_workout_published_at_its_close_is_hidden_until_then() {
    let app = TestApp::empty().await;
    let organiser = app.administrator().await;
    let file = include_str!("../../../../data/small.toml").replacen(
        "format = \"amrap\"",
        "format = \"amrap\"\npublish = \"at_close\"",
        1,
    );
    organiser.put(C).body("application/toml", file).await.expect(201);
    for (path, body) in [
        ("gyms", json!({ "slug": "quayside", "name": "Quayside", "country": "PT" })),
        ("gyms", json!({ "slug": "millpond", "name": "Millpond", "country": "PT" })),
        (
            "judges",
            json!({ "code": "J-1", "name": "Vera Lopes", "valid_from": "2026-01-01", "valid_to": "2027-12-31" }),
        ),
        (
            "entries",
            json!({ "bib": 1042, "name": "Ines Duarte", "born": "1996-04-02", "category": "women", "division": "women", "gym": "quayside" }),
        ),
    ] {
        organiser.post(&format!("{C}/{path}")).json(body).await.expect(201);
    }
    let own = app.staff_of("quayside").await;
    let stored = attested(&own, 1042, "278", "J-1").await.expect(201).json();
    assert_eq!(stored["places"], json!([]), "how it compares with others is not told yet");
    let places = format!("{C}/divisions/women/workouts/w1/places");
    for client in [app.nobody(), app.staff_of("millpond").await] {
        client.get(&score("w1", 1042)).await.expect(404);
        client.get(&format!("{}/history", score("w1", 1042))).await.expect(404);
        client.get(&places).await.expect(404);
        let page = client.get(&format!("{C}/divisions/women/standings")).await.expect(200).json();
        assert_eq!(page["rows"][0]["standing"], json!(null));
    }
    own.get(&score("w1", 1042)).await.expect(200);
    own.get(&places).await.expect(404);
    own.get(&format!("{places}?gym=quayside")).await.expect(200);
    app.athlete(1042).await.get(&score("w1", 1042)).await.expect(200);
    app.referee().await.get(&places).await.expect(200);
    app.set_clock("2027-01-17T21:00:00Z");
    app.nobody().get(&places).await.expect(200);
    app.nobody().get(&score("w1", 1042)).await.expect(200);
}

#[tokio::test]
async fn a_private_competition_does_not_exist_for_strangers() {
    let app = TestApp::new().await;
    let hidden = "/api/v1/competitions/hidden";
    for path in [
        "",
        "/gyms",
        "/entries",
        "/entries/1042",
        "/entries/1042/standing",
        "/rulings",
        "/divisions/women/standings",
        "/divisions/women/workouts/w1/places",
        "/workouts/w1/scores/1042",
        "/workouts/w1/scores/1042/history",
    ] {
        app.nobody().get(&format!("{hidden}{path}")).await.expect(404);
        app.organiser().await.get(&format!("{hidden}{path}")).await.expect(404);
    }
    let page = app.administrator().await.get(&format!("{hidden}/divisions/women/standings")).await.expect(200);
    assert!(page.header("cache-control").starts_with("private"));
}

#[tokio::test]
async fn states_of_the_past_are_made_one_at_a_time_and_readers_of_now_do_not_wait_for_them() {
    let app = TestApp::new().await;
    let (staff, nobody) = (app.staff_of("quayside").await, app.nobody());
    attested(&staff, 1042, "278", "J-1").await.expect(201);
    let path = format!("{C}/divisions/women/standings");
    let seq = nobody.get(&path).await.expect(200).json()["log_seq"].as_u64().expect("a position");
    let then = nobody.get(&format!("{path}?as_of={seq}")).await.expect(200).json();
    assert_eq!(then["rows"][0]["bib"], 1042);
    // Somebody's is being made: another reader of the past waits a little, and is told to come again.
    let mut past = app.app.board.past(std::time::Duration::ZERO).await.expect("nobody is at it");
    let kept = past.as_ref().expect("the last one is kept").clone();
    assert_eq!(kept.seq, seq);
    let full = nobody.get(&format!("{path}?as_of={}", seq - 1)).await.expect(503);
    assert_eq!((full.code().as_str(), full.header("retry-after")), ("standings_behind", "1"));
    nobody.get(&path).await.expect(200);
    *past = Some(kept);
    drop(past);
    nobody.get(&format!("{path}?as_of={seq}")).await.expect(200);
}

/// The state of the past that is kept, once nobody is at it.
async fn kept(app: &TestApp) -> Option<Past> {
    let past = app.app.board.past(Duration::from_mins(1)).await.expect("it is made");
    past.clone()
}

#[tokio::test(flavor = "multi_thread")]
async fn the_same_state_of_the_past_is_made_once_however_often_it_is_asked_for() {
    let app = three().await;
    let nobody = app.nobody();
    let path = format!("{C}/divisions/women/standings");
    let seq = nobody.get(&path).await.expect(200).json()["log_seq"].as_u64().expect("a position");
    let asked = |seq: u64| nobody.get(&format!("{path}?as_of={seq}"));
    let first = asked(seq).await.expect(200).json();
    let made = kept(&app).await.expect("it is kept").view;
    for _ in 0..3 {
        assert_eq!(asked(seq).await.expect(200).json(), first);
    }
    nobody.get(&format!("{C}/divisions/women/workouts/w1/places?as_of={seq}")).await.expect(200);
    assert!(Arc::ptr_eq(&kept(&app).await.expect("it is kept").view, &made), "it was made again");
    // Another one takes its place.
    assert_ne!(asked(seq - 1).await.expect(200).json(), first);
    let other = kept(&app).await.expect("it is kept");
    assert!(other.seq == seq - 1 && !Arc::ptr_eq(&other.view, &made));
    // Many at once, of many states: each is answered with its own, or told to come again.
    let answers = futures_util::future::join_all((0..40).map(|n| asked(seq - n % 3).into_future())).await;
    let (mut answered, mut away) = (BTreeMap::new(), 0);
    for (n, answer) in (0_u64..).zip(answers) {
        match answer.status.as_u16() {
            200 => assert_eq!(*answered.entry(n % 3).or_insert_with(|| answer.json()), answer.json()),
            503 => away += 1,
            other => panic!("{other}: {}", answer.text()),
        }
    }
    assert!(!answered.is_empty() && answered.get(&0).is_none_or(|page| *page == first), "{away} were sent away");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_state_of_the_past_is_made_to_its_end_for_who_could_not_wait_for_it() {
    let app = three().await;
    // Enough to be caught in the middle.
    let mut people = "bib,name,born,category,division,gym\n".to_owned();
    (0..3_000).for_each(|n| writeln!(people, "{},Runner {n},1995-02-03,women,women,quayside", 10_000 + n).unwrap());
    app.organiser().await.post(&format!("{C}/entries")).csv(&people).await.expect(200);
    let nobody = app.nobody();
    let path = format!("{C}/divisions/women/standings");
    let newest = nobody.get(&path).await.expect(200).json()["log_seq"].as_u64().expect("a position");
    let asked = |seq: u64| nobody.get(&format!("{path}?as_of={seq}"));
    // Whoever asks goes away while it is being made.
    let began = Instant::now();
    asked(newest).await.expect(200);
    let (mut takes, mut left) = (began.elapsed(), None);
    for n in 1..200 {
        let seq = newest - u64::from(n);
        let patience = takes * (2 + n % 7) / 10;
        let began = Instant::now();
        let gone = tokio::time::timeout(patience, asked(seq).into_future()).await.is_err();
        // The first one may have been slow for reasons of its own.
        takes = if gone { takes } else { takes.min(began.elapsed()) };
        if gone && kept(&app).await.is_some_and(|past| past.waits_since.is_some()) {
            left = Some(seq);
            break;
        }
    }
    let left = left.expect("somebody was gone before the end");
    let made = kept(&app).await.expect("it was made to its end");
    assert_eq!(made.seq, left);
    // It waits for them: somebody else's question does not take its place.
    let told = asked(left - 1).await.expect(503);
    assert_eq!((told.code().as_str(), told.header("retry-after")), ("standings_behind", "1"));
    let page = asked(left).await.expect(200).json();
    assert!(Arc::ptr_eq(&kept(&app).await.expect("it is kept").view, &made.view), "it was made again");
    assert!(page["log_seq"].as_u64() <= Some(left));
    // Then it has been had.
    asked(left - 1).await.expect(200);
}
