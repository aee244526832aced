//! `/judge/{c}`: where a judge counts, led to by signing in.

use crate::support::{Client, SALTMARSH, TestApp, grant};
use tallywright::rules::access::{Grant, Role};

const PAGE: &str = "/judge/saltmarsh";

#[tokio::test]
async fn a_judge_reads_the_own_lanes_the_brief_and_the_sheet() {
    let app = TestApp::new().await;
    let judge = app.in_browser(&app.judge("J-1").await).await;
    let page = judge.get(PAGE).accept("text/html").await.expect(200).text();
    assert!(page.contains("Vera Lopes (J-1)") && page.contains("Your credential holds from "), "{page}");
    assert!(page.contains("No lane of the heats has your name yet."), "{page}");
    assert!(page.contains("href=\"/c/saltmarsh/workouts/w1\"") && page.contains("/c/saltmarsh/workouts/w1/sheet\""));
    let at = |text: &str| page.find(text).unwrap_or_else(|| panic!("{text} in {page}"));
    assert!(at("Workout 1") < at("Workout 2"), "what runs first");
    assert_eq!(page.matches("has your name yet").count(), 1, "nobody is needed for what is over: {page}");
    assert!(!page.contains("Workout 3"), "what is not announced is not there: {page}");

    let staff = app.in_browser(&app.staff_of("quayside").await).await;
    let csrf = staff.get("/account").await.csrf();
    let make = "do=make&version=0&lanes=2&minutes=20&start=2027-01-14T11:00&judging=judges";
    let heats = "/desk/saltmarsh/quayside/heats/w1";
    staff.post(heats).body("application/x-www-form-urlencoded", format!("{make}&csrf={csrf}")).await.expect(303);
    let page = judge.get(PAGE).accept("text/html").await.expect(200).text();
    assert!(page.contains("heat 1, lane 1") && page.contains("Ines Duarte"), "{page}");
    assert!(page.contains("14 January 2027, 11:00") && page.contains("Europe/Lisbon"), "by name of its zone: {page}");
    // Another judge has no lane there, and reads nothing of who starts when.
    let other = app.in_browser(&app.judge("J-2").await).await.get(PAGE).accept("text/html").await.expect(200).text();
    assert!(!other.contains("Ines Duarte") && !other.contains("heat 1"), "{other}");

    // More time for the gym is more time for its judges, and for nobody else's.
    let more = serde_json::json!({
        "gym": "quayside", "closes": "2027-01-17T23:00:00Z", "attest_by": "2027-01-19T12:00:00Z", "reason": "power cut",
    });
    app.organiser().await.post("/api/v1/competitions/saltmarsh/workouts/w1/extensions").json(more).await.expect(201);
    for (code, until) in [("J-1", "2027-01-19T12:00:00Z"), ("J-2", "2027-01-18T21:00:00Z")] {
        let page = app.in_browser(&app.judge(code).await).await.get(PAGE).accept("text/html").await.expect(200).text();
        assert!(page.contains(&format!("datetime=\"{until}\"")), "{code}: {page}");
    }

    let german = judge.get(PAGE).header("accept-language", "de").accept("text/html").await.expect(200).text();
    assert!(german.contains("Dein Nachweis gilt von") && german.contains("Ines Duarte"), "{german}");
}

#[tokio::test]
async fn signing_in_and_the_account_lead_there_and_nobody_else_does() {
    let app = TestApp::new().await;
    let judge = Grant { judge: Some("J-1".to_owned()), ..grant(Role::Judge, Some(SALTMARSH)) };
    app.db_account("vera@example.org", Some("three old oars"), &[judge]).await;
    let fields = [("email", "vera@example.org"), ("password", "three old oars")];
    let begun = app.nobody().post("/signin").form(&fields).await.expect(303);
    assert_eq!(begun.header("location"), PAGE);
    let account = app.in_browser(&app.judge("J-1").await).await.get("/account").await.expect(200).text();
    assert!(account.contains(&format!("href=\"{PAGE}\"")), "{account}");
    let staff = app.in_browser(&app.staff_of("quayside").await).await;
    staff.get(PAGE).accept("text/html").await.expect(403);
}

#[tokio::test]
async fn a_judge_looks_over_what_is_stored_under_the_own_codes() {
    let app = TestApp::new().await;
    let staff = app.staff_of("quayside").await;
    let scores = "/api/v1/competitions/saltmarsh/workouts/w1/scores";
    for (bib, judge) in [(1042, "J-1"), (1043, "J-1"), (1044, "J-2")] {
        let attestation = serde_json::json!({ "judge": judge, "how": "paper_sheet" });
        let body = serde_json::json!({ "performance": "6+14 tb 11:24", "attestation": attestation });
        staff.put(&format!("{scores}/{bib}")).json(body).await.expect(201);
    }
    let page = async |client: &Client| client.get(PAGE).accept("text/html").await.expect(200).plain();
    let one = page(&app.in_browser(&app.judge("J-1").await).await).await;
    assert!(one.contains("Stored under your code: 2") && one.contains("6+14 tb 11:24"), "{one}");
    assert!(one.contains("href=\"/c/saltmarsh/athletes/1042#w-w1\"") && one.contains("Rita Alves"), "{one}");
    assert!(!one.contains("Tomás Brito"), "whom another judge counted: {one}");
    assert!(one.contains("recorded <time datetime=\"2027-01-14T12:00:00Z\""), "{one}");

    // Who judges at two gyms has a code of each, and reads both.
    let code = |code: &str| Grant { judge: Some(code.to_owned()), ..grant(Role::Judge, Some(SALTMARSH)) };
    let both = app.browser("both@example.org", &[code("J-2"), code("J-1")]).await;
    let two = page(&both).await;
    let at = |text: &str| two.find(text).unwrap_or_else(|| panic!("{text} in {two}"));
    assert!(at("Vera Lopes (J-1)") < at("Ines Duarte") && at("Ines Duarte") < at("Jan Maas (J-2)"), "{two}");
    assert!(at("Jan Maas (J-2)") < at("Tomás Brito"), "{two}");
    assert!(two.contains("id=\"w-0-w1\"") && two.contains("id=\"w-1-w1\""), "each id once: {two}");
}

/// A judge helps out at another gym, whose heats name them.
#[tokio::test]
async fn lanes_in_the_heats_of_other_gyms_are_read_and_taken_along() {
    let app = TestApp::new().await;
    let (one, other) = ("J-1", "J-2");
    let staff = app.in_browser(&app.staff_of("millpond").await).await;
    let csrf = staff.get("/account").await.csrf();
    let heats = "/desk/saltmarsh/millpond/heats/w1";
    let make = [("do", "make"), ("version", "0"), ("lanes", "2"), ("minutes", "20"), ("start", "2027-01-15T11:00")];
    staff.post(heats).form(&[&make[..], &[("judging", "judges"), ("csrf", &csrf)]].concat()).await.expect(303);
    let lane = [("do", "change"), ("version", "1"), ("heat-2001", "1"), ("lane-2001", "2"), ("judge-2001", one)];
    staff.post(heats).form(&[&lane[..], &[("csrf", &csrf)]].concat()).await.expect(303);

    let code = |code: &str| Grant { judge: Some(code.to_owned()), ..grant(Role::Judge, Some(SALTMARSH)) };
    let judge = app.browser("ada@example.org", &[code(one)]).await;
    let page = judge.get(PAGE).accept("text/html").await.expect(200).plain();
    assert!(page.contains("heat 1, lane 2 at Millpond Gym") && page.contains("Noor de Wit"), "{page}");
    let german = judge.get(PAGE).header("accept-language", "de").accept("text/html").await.expect(200).plain();
    assert!(german.contains("Heat 1, Bahn 2, bei Millpond Gym"), "{german}");
    // More time there is more time for this lane, whatever holds at the judge's own gym.
    assert_eq!(page.matches("2027-01-19T12:00:00Z").count(), 0, "{page}");
    let more = serde_json::json!({
        "gym": "millpond", "closes": "2027-01-17T23:00:00Z", "attest_by": "2027-01-19T12:00:00Z", "reason": "power cut",
    });
    app.organiser().await.post("/api/v1/competitions/saltmarsh/workouts/w1/extensions").json(more).await.expect(201);
    let page = judge.get(PAGE).accept("text/html").await.expect(200).plain();
    let (own, lane) = page.split_once("lane 2 at Millpond Gym").expect("the lane");
    let until = |at: &str| format!("Judges can vouch until <time datetime=\"{at}\"");
    assert!(own.contains(&until("2027-01-18T21:00:00Z")) && lane.contains(&until("2027-01-19T12:00:00Z")), "{page}");
    // Over here, and not there.
    app.set_clock("2027-01-18T22:00:00Z");
    let judge = app.browser("ada@example.org", &[code(one)]).await;
    let page = judge.get(PAGE).accept("text/html").await.expect(200).plain();
    let first = page.find("Workout 1").unwrap_or_default();
    assert!(page.get(first..).is_some_and(|rest| rest.contains(&until("2027-01-19T12:00:00Z"))), "{page}");
    let data = judge.get("/account/data.json").await.expect(200).json();
    let lane = &data["judges"][0]["lanes"][0];
    assert_eq!((&lane["gym"], &lane["bib"]), (&serde_json::json!("millpond"), &serde_json::json!(2001)), "{data}");
    let nobody = app.browser("bo@example.org", &[code(other)]).await;
    let page = nobody.get(PAGE).accept("text/html").await.expect(200).plain();
    assert!(!page.contains("Noor de Wit"), "{page}");
}

#[tokio::test]
async fn a_word_that_came_too_late_is_read_and_taken_along_as_one_that_waits() {
    let app = TestApp::new().await;
    let staff = app.staff_of("quayside").await;
    let path = "/api/v1/competitions/saltmarsh/workouts/w1/scores/1042";
    let stored = staff.put(path).json(serde_json::json!({ "performance": "6+14 tb 11:24" })).await.expect(201).json();
    app.set_clock("2027-01-18T21:30:00Z");
    let word = serde_json::json!({ "judge": "J-1", "how": "paper_sheet" });
    let etag = stored["etag"].as_str().expect("an etag");
    let told = staff.post(&format!("{path}/attestation")).if_match(etag).json(word).await.expect(200).json();
    assert_eq!(told["waiting_attestation"]["judge"], "J-1", "{told}");
    let judge = app.in_browser(&app.judge("J-1").await).await;
    let page = judge.get(PAGE).accept("text/html").await.expect(200).plain();
    assert!(page.contains("Stored under your code: 1") && page.contains("6+14 tb 11:24"), "{page}");
    assert!(page.contains("This word came too late and waits for the organiser."), "{page}");
    let german = judge.get(PAGE).header("accept-language", "de").accept("text/html").await.expect(200).plain();
    assert!(german.contains("Diese Bestätigung kam zu spät und wartet auf die Wettkampfleitung."), "{german}");
    let data = judge.get("/account/data.json").await.expect(200).json();
    let word = &data["judges"][0]["vouched"][0];
    assert_eq!((&word["bib"], &word["waiting"]), (&serde_json::json!(1042), &serde_json::json!(true)), "{data}");
    let other = app.in_browser(&app.judge("J-2").await).await;
    assert!(!other.get(PAGE).accept("text/html").await.expect(200).plain().contains("6+14"));
}
