//! `POST /judge/{c}/{w}/attestation`: a judge gives their own word, signed in, for what is stored.

use crate::support::{Client, Reply, SALTMARSH, TestApp, grant};
use serde_json::{Value, json};
use std::sync::Arc;
use tallywright::actions::accounts::Gate;
use tallywright::actions::changes::Kept;
use tallywright::actions::directory::Directory;
use tallywright::actions::mail::Post;
use tallywright::actions::{Request, roster};
use tallywright::app::{App, Parts, Wholes};
use tallywright::rules::access::{Actor, Grant, Role};
use tallywright::rules::roster::RawEntry;
use tallywright::store::Writer;

const PAGE: &str = "/judge/saltmarsh";
const WORD: &str = "/judge/saltmarsh/w1/attestation";
const SCORES: &str = "/api/v1/competitions/saltmarsh/workouts/w1/scores";
/// Ines Duarte and then Tomás Brito start in the lane of J-1, Rita Alves in one without a judge.
const MAKE: &str = "do=make&version=0&lanes=2&minutes=20&start=2027-01-14T11:00&judging=judges";

/// Two lanes of J-1, and results of all three in the gym.
async fn evening(app: &TestApp) -> Client {
    let program = app.staff_of("quayside").await;
    let staff = app.in_browser(&program).await;
    let csrf = staff.get("/account").await.csrf();
    let heats = staff.post("/desk/saltmarsh/quayside/heats/w1");
    heats.body("application/x-www-form-urlencoded", format!("{MAKE}&csrf={csrf}")).await.expect(303);
    for (bib, performance) in [(1042, "6+14 tb 11:24"), (1043, "6+10 tb 11:40"), (1044, "212 tb 10:58")] {
        enter(&program, bib, json!({ "performance": performance })).await;
    }
    program
}

async fn enter(program: &Client, bib: u32, body: Value) {
    program.put(&format!("{SCORES}/{bib}")).json(body).await.expect(201);
}

async fn score(app: &TestApp, bib: u32) -> Value {
    app.organiser().await.get(&format!("{SCORES}/{bib}")).await.expect(200).json()
}

async fn judge(app: &TestApp, code: &str) -> Client {
    app.in_browser(&app.judge(code).await).await
}

async fn page(client: &Client) -> String {
    client.get(PAGE).accept("text/html").await.expect(200).plain()
}

/// What the page has of a bib: its row, with the tick; of several attempts the first that waits.
fn row(page: &str, bib: u32) -> Option<String> {
    let rows = page.split("<li class=\"tick\">").skip(1).filter_map(|row| row.split("</li>").next());
    let of = [format!("name=\"a-{bib}\""), format!("name=\"a-{bib}-")];
    rows.map(str::to_owned).find(|row| of.iter().any(|name| row.contains(name)))
}

/// What a tick in that row sends.
fn tick(page: &str, bib: u32) -> (String, String) {
    let row = row(page, bib).unwrap_or_else(|| panic!("a row of {bib} in {page}"));
    let said = |what: &str| {
        let rest = row.split_once(&format!("{what}=\"")).and_then(|(_, rest)| rest.split_once('"'));
        rest.unwrap_or_else(|| panic!("{what} in {row}")).0.to_owned()
    };
    (said("name"), said("value"))
}

/// Sends the form of `code` with these ticks, and more fields.
async fn give(client: &Client, code: &str, ticks: &[(String, String)], more: &[(&str, &str)]) -> Reply {
    let csrf = client.get("/account").await.csrf();
    let ticks = ticks.iter().map(|(name, value)| (name.as_str(), value.as_str()));
    let all: Vec<(&str, &str)> =
        ticks.chain(more.iter().copied()).chain([("judge", code), ("csrf", csrf.as_str())]).collect();
    client.post(WORD).accept("text/html").form(&all).await
}

const STATED: (&str, &str) = ("statement", "yes");

#[tokio::test]
async fn what_waits_is_listed_with_the_own_lanes_first_and_vouched_for_as_it_was_shown() {
    let app = TestApp::new().await;
    evening(&app).await;
    let judge = judge(&app, "J-1").await;
    let shown = page(&judge).await;
    let at = |text: &str| shown.find(text).unwrap_or_else(|| panic!("{text} in {shown}"));
    assert!(at("Waiting for your word: 2") < at("name=\"a-1042\"") && at("name=\"a-1042\"") < at("name=\"a-1044\""));
    assert!(at("name=\"a-1044\"") < at("Others at your gym that wait: 1"), "{shown}");
    assert!(at("<details><summary>Others at your gym") < at("name=\"a-1043\""), "folded away: {shown}");
    let one = row(&shown, 1042).expect("a row");
    for said in ["Ines Duarte", "1042", "6+14 tb 11:24", "Awaiting judge", "heat 1, lane 1", "done <time datetime=\""] {
        assert!(one.contains(said), "{said} in {one}");
    }
    assert!(row(&shown, 1044).is_some_and(|row| row.contains("(As written: 212 tb 10:58)")), "{shown}");
    assert!(row(&shown, 1043).is_some_and(|row| !row.contains("lane")), "{shown}");
    let etag = score(&app, 1042).await["etag"].clone();
    assert_eq!(tick(&shown, 1042).1, etag.as_str().expect("an etag"));

    let ticks = [tick(&shown, 1042), tick(&shown, 1043)];
    let given = give(&judge, "J-1", &ticks, &[STATED]).await.expect(303);
    assert!(
        given.header("location").starts_with("/judge/saltmarsh?once=") && given.header("location").ends_with("#saved")
    );
    let told = judge.follow(&given).await.expect(200).plain();
    assert!(told.contains("Your word is given: 2.") && told.contains("Stored under your code: 2"), "{told}");
    assert!(told.contains("Waiting for your word: 1") && row(&told, 1042).is_none(), "{told}");
    for bib in [1042, 1043] {
        let stored = score(&app, bib).await;
        assert_eq!((&stored["state"], &stored["attestation"]["judge"]), (&json!("attested"), &json!("J-1")));
        assert_eq!(stored["attestation"]["how"], "signed_in", "{stored}");
    }
    // It is said once; and where the answer was lost, the same word is the same word.
    assert!(!page(&judge).await.contains("Your word is given"));
    let records = score(&app, 1042).await["etag"].clone();
    let again = give(&judge, "J-1", &ticks, &[STATED]).await.expect(303);
    assert!(judge.follow(&again).await.expect(200).plain().contains("Your word is given: 2."));
    assert_eq!(score(&app, 1042).await["etag"], records, "and changes nothing");
    // A part of it, and what was left then.
    let rest = [ticks[0].clone(), tick(&told, 1044)];
    let given = give(&judge, "J-1", &rest, &[STATED]).await.expect(303);
    let german = judge.with(http::header::ACCEPT_LANGUAGE, "de").follow(&given).await.expect(200).plain();
    assert!(
        german.contains("Von dir bestätigt: 2.") && german.contains("Nichts wartet auf deine Bestätigung."),
        "{german}"
    );
}

#[tokio::test]
async fn a_word_that_has_to_be_mended_keeps_its_ticks_and_stores_nothing() {
    let app = TestApp::new().await;
    let program = evening(&app).await;
    let judge = judge(&app, "J-1").await;
    let shown = page(&judge).await;
    let ticks = [tick(&shown, 1042), tick(&shown, 1043)];
    let asked = give(&judge, "J-1", &ticks, &[]).await.expect(422).plain();
    assert!(asked.contains("<a href=\"#vs-0-w1\">Tick the statement too: you stand for these figures.</a>"), "{asked}");
    for bib in [1042, 1043] {
        assert!(row(&asked, bib).is_some_and(|row| row.contains(" checked>")), "{bib}: {asked}");
        assert_eq!(score(&app, bib).await["state"], "entered");
    }
    assert!(row(&asked, 1044).is_some_and(|row| !row.contains(" checked")), "{asked}");
    assert!(asked.contains("<details open><summary>Others at your gym"), "what is ticked is not folded away: {asked}");
    let asked = give(&judge, "J-1", &[], &[STATED]).await.expect(422).plain();
    assert!(asked.contains("<a href=\"#v-0-w1\">Nothing is ticked: tick the results that you counted.</a>"), "{asked}");
    assert!(asked.contains("name=\"statement\" value=\"yes\" checked"), "{asked}");
    // Both at once, and what does not wait any more is said of whom it was ticked.
    let word = json!({ "judge": "J-1", "how": "paper_sheet" });
    let etag = score(&app, 1042).await["etag"].as_str().expect("an etag").to_owned();
    program.post(&format!("{SCORES}/1042/attestation")).if_match(&etag).json(word).await.expect(200);
    let asked = give(&judge, "J-1", &ticks, &[]).await.expect(422).plain();
    assert!(asked.contains("Ines Duarte (1042): It does not wait for a judge any more."), "{asked}");
    let german = give(&judge.with(http::header::ACCEPT_LANGUAGE, "de"), "J-1", &[], &[]).await.expect(422).plain();
    assert!(german.contains("Nichts ist abgehakt") && german.contains("Hak auch die Erklärung ab"), "{german}");
}

#[tokio::test]
async fn what_changed_meanwhile_is_left_out_and_said() {
    let app = TestApp::new().await;
    let program = evening(&app).await;
    let judge = judge(&app, "J-1").await;
    let shown = page(&judge).await;
    let ticks = [tick(&shown, 1042), tick(&shown, 1044)];
    let etag = score(&app, 1044).await["etag"].as_str().expect("an etag").to_owned();
    let revised = json!({ "performance": "213 tb 10:58" });
    program.put(&format!("{SCORES}/1044")).if_match(&etag).json(revised).await.expect(200);
    let left = give(&judge, "J-1", &ticks, &[STATED]).await.expect(409).plain();
    assert!(left.contains("Your word is given: 1.") && left.contains("Not given: 1. The others are stored."), "{left}");
    assert!(left.contains("Tomás Brito (1044): It was changed after you saw it."), "{left}");
    assert!(!left.contains("ETag"), "{left}");
    // The new figures stand there, and are to be ticked anew.
    let one = row(&left, 1044).expect("it waits");
    assert!(one.contains("213 tb 10:58") && !one.contains(" checked"), "{one}");
    assert_eq!(
        (score(&app, 1042).await["state"].clone(), score(&app, 1044).await["state"].clone()),
        (json!("attested"), json!("entered"))
    );
    give(&judge, "J-1", &[tick(&left, 1044)], &[STATED]).await.expect(303);
    assert_eq!(score(&app, 1044).await["state"], "attested");
}

#[tokio::test]
async fn a_word_is_given_by_the_own_code_alone() {
    let app = TestApp::new().await;
    evening(&app).await;
    let shown = page(&judge(&app, "J-1").await).await;
    let ticks = [tick(&shown, 1042)];
    let other = judge(&app, "J-2").await;
    let staff = app.in_browser(&app.staff_of("quayside").await).await;
    let organiser = app.in_browser(&app.organiser().await).await;
    for client in [&other, &staff, &organiser] {
        give(client, "J-1", &ticks, &[STATED]).await.expect(403);
    }
    give(&other, "", &ticks, &[STATED]).await.expect(403);
    assert_eq!(score(&app, 1042).await["state"], "entered");
    // Who has two codes gives the word by the one whose form it was.
    let code = |code: &str| Grant { judge: Some(code.to_owned()), ..grant(Role::Judge, Some(SALTMARSH)) };
    let both = app.browser("both@example.org", &[code("J-2"), code("J-1")]).await;
    let asked = give(&both, "J-2", &ticks, &[]).await.expect(422).plain();
    assert!(
        asked.contains("href=\"#w-1-w1\"") && row(&asked, 1042).is_some_and(|row| !row.contains(" checked")),
        "{asked}"
    );
    let asked = give(&both, "J-1", &ticks, &[]).await.expect(422).plain();
    assert!(row(&asked, 1042).is_some_and(|row| row.contains(" checked>")), "{asked}");
    // An unknown workout, and one that is not announced.
    let csrf = both.get("/account").await.csrf();
    for workout in ["w9", "w3"] {
        let form = [("judge", "J-1"), ("csrf", csrf.as_str())];
        both.post(&format!("/judge/saltmarsh/{workout}/attestation")).form(&form).await.expect(404);
    }
}

#[tokio::test]
async fn nobody_gives_their_word_for_themselves() {
    let app = TestApp::new().await;
    evening(&app).await;
    let judge = judge(&app, "J-1").await;
    let shown = page(&judge).await;
    let ticks = [1042, 1043, 1044].map(|bib| tick(&shown, bib));
    // Ines by the account, Rita by the address.
    let own = Grant { bib: Some(1042), ..grant(Role::Athlete, Some(SALTMARSH)) };
    app.db_account("j-1@example.org", None, &[own]).await;
    let rita = RawEntry {
        bib: Some(1043),
        name: "Rita Alves".into(),
        born: "1999-11-20".into(),
        category: "women".into(),
        division: "women".into(),
        gym: "quayside".into(),
        email: Some("J-1@example.org".into()),
        ..RawEntry::default()
    };
    let request = Request::at(app.app.clock.now());
    roster::set_entry(&app.app, &Actor::operator(), SALTMARSH, request, rita).await.expect("an entry");
    let now = page(&judge).await;
    assert!(row(&now, 1042).is_none() && row(&now, 1043).is_none() && row(&now, 1044).is_some(), "{now}");
    let left = give(&judge, "J-1", &ticks, &[STATED]).await.expect(409).plain();
    assert!(left.contains("Your word is given: 1.") && left.contains("Not given: 2."), "{left}");
    assert_eq!(left.matches("Nobody attests their own performance").count(), 2, "{left}");
    assert_eq!(score(&app, 1042).await["state"], "entered");
}

#[tokio::test]
async fn before_they_are_published_only_the_results_of_the_own_lanes_are_read() {
    let app = TestApp::new().await;
    let file = include_str!("../data/small.toml");
    let file = file.replacen("format = \"amrap\"", "format = \"amrap\"\npublish = \"at_close\"", 1);
    let apply = app.organiser().await.put("/api/v1/competitions/saltmarsh?reason=put%20right").header("if-match", "*");
    apply.body("application/toml", file).await.expect(200);
    evening(&app).await;
    let judge = judge(&app, "J-1").await;
    let shown = page(&judge).await;
    assert!(row(&shown, 1042).is_some_and(|row| row.contains("6+14 tb 11:24")), "{shown}");
    assert!(row(&shown, 1043).is_none() && !shown.contains("6+10") && !shown.contains("Rita"), "{shown}");
    assert!(shown.contains("Results of others at your gym are listed here once everybody may see them."), "{shown}");
    give(&judge, "J-1", &[tick(&shown, 1042)], &[STATED]).await.expect(303);
    // Who has a lane in the heats reads what was done there, not what they did elsewhere, or on another day.
    let before = json!({ "performance": "6+30 tb 11:50", "attempt": 2, "performed_at": "2027-01-13T10:00:00Z" });
    enter(&app.staff_of("quayside").await, 1042, before).await;
    let elsewhere = json!({ "performance": "6+20 tb 11:24", "attempt": 2, "gym": "millpond" });
    enter(&app.staff_of("millpond").await, 1044, elsewhere).await;
    let shown = page(&judge).await;
    assert!(row(&shown, 1044).is_some_and(|row| row.contains("212")) && !shown.contains("6+20"), "{shown}");
    assert!(row(&shown, 1042).is_none() && !shown.contains("6+30"), "{shown}");
    let other = page(&self::judge(&app, "J-2").await).await;
    assert!(!other.contains("212 tb") && !other.contains("6+10"), "{other}");
    app.set_clock("2027-01-17T21:00:00Z");
    let shown = page(&self::judge(&app, "J-1").await).await;
    assert!(
        row(&shown, 1043).is_some_and(|row| row.contains("6+10")) && !shown.contains("once everybody may"),
        "{shown}"
    );
    let earlier = row(&shown, 1042).expect("a row");
    assert!(earlier.contains("6+30") && earlier.contains("Attempt 2") && !earlier.contains("lane"), "{earlier}");
}

#[tokio::test]
async fn a_gyms_others_are_those_who_did_it_there_visitors_among_them() {
    let app = TestApp::new().await;
    let program = evening(&app).await;
    // Noor of millpond, who hides her name, as a visitor; and Rita's second attempt at another gym.
    let hidden = json!({ "bib": 2001, "name": "Noor de Wit", "born": "1988-07-09", "category": "women",
        "division": "women", "gym": "millpond", "show_name": false });
    app.organiser().await.post("/api/v1/competitions/saltmarsh/entries").json(hidden).await.expect(200);
    enter(&program, 2001, json!({ "performance": "5+1 tb 11:00", "gym": "quayside" })).await;
    let second = json!({ "performance": "7+1 tb 11:50", "attempt": 2, "gym": "millpond" });
    enter(&app.staff_of("millpond").await, 1043, second).await;
    let client = judge(&app, "J-1").await;
    let shown = page(&client).await;
    assert!(shown.contains("Others at your gym that wait: 2") && !shown.contains("7+1"), "{shown}");
    let visitor = row(&shown, 2001).expect("a row");
    assert!(
        visitor.contains("5+1 tb 11:00") && visitor.contains("Athlete 2001") && !visitor.contains("Noor"),
        "{visitor}"
    );
    let there = page(&judge(&app, "J-2").await).await;
    let second = row(&there, 1043).expect("a row");
    assert!(second.contains("Attempt 2") && second.contains("7+1") && there.contains("Waiting for a judge"), "{there}");
    assert!(row(&there, 2001).is_none(), "done elsewhere: {there}");
    // Each attempt by itself.
    give(&judge(&app, "J-2").await, "J-2", &[tick(&there, 1043)], &[STATED]).await.expect(303);
    let both = score(&app, 1043).await;
    let state = |n: usize| both["attempts"][n]["state"].clone();
    assert_eq!((state(0), state(1)), (json!("entered"), json!("attested")), "{both}");
}

#[tokio::test]
async fn a_word_that_comes_too_late_is_said_to_wait_and_is_asked_for_no_more() {
    let app = TestApp::new().await;
    evening(&app).await;
    let client = judge(&app, "J-1").await;
    let ticks = [tick(&page(&client).await, 1042)];
    app.set_clock("2027-01-18T21:30:00Z");
    let client = judge(&app, "J-1").await;
    let over = page(&client).await;
    assert!(!over.contains("name=\"a-1042\"") && !over.contains("Nothing waits for your word"), "{over}");
    for _ in 0..2 {
        let given = give(&client, "J-1", &ticks, &[STATED]).await.expect(303);
        let told = client.follow(&given).await.expect(200).plain();
        assert!(
            told.contains("Your word is given: 1.") && told.contains("Came too late, and waits for the organiser: 1."),
            "{told}"
        );
        assert!(told.contains("This word came too late and waits for the organiser."), "{told}");
    }
    // More time for the gym is time for the word, too.
    let more = json!({
        "gym": "quayside", "closes": "2027-01-17T23:00:00Z", "attest_by": "2027-01-19T12:00:00Z", "reason": "power cut",
    });
    app.organiser().await.post("/api/v1/competitions/saltmarsh/workouts/w1/extensions").json(more).await.expect(201);
    let open = page(&client).await;
    assert!(row(&open, 1042).is_some() && row(&open, 1043).is_some(), "{open}");
    give(&client, "J-1", &[tick(&open, 1043)], &[STATED]).await.expect(303);
    assert_eq!(score(&app, 1043).await["state"], "attested");
}

/// Where nothing can be stored it is tried once, said once, and the ticks stay to be sent once more: on the judge's
/// page and at the desk.
#[tokio::test(flavor = "multi_thread")]
async fn a_word_that_nothing_can_be_stored_of_waits_with_its_ticks() {
    let app = TestApp::new().await;
    let program = evening(&app).await;
    let judge = judge(&app, "J-1").await;
    let shown = page(&judge).await;
    let ticks = [tick(&shown, 1042), tick(&shown, 1044)];
    let router = stopped(&app).await;
    let waits = give(&judge.at(router.clone()), "J-1", &ticks, &[STATED]).await.expect(409).plain();
    let said = "Not stored yet: 2. Nothing can be stored at the moment; they are still ticked.";
    assert_eq!(waits.matches(said).count(), 1, "{waits}");
    assert!(waits.contains("Your word is given: 0.") && !waits.contains("Not given"), "{waits}");
    for bib in [1042, 1044] {
        assert!(row(&waits, bib).is_some_and(|row| row.contains(" checked>")), "{bib}: {waits}");
    }
    assert!(waits.contains("name=\"statement\" value=\"yes\" checked"), "{waits}");
    let german = judge.at(router.clone()).with(http::header::ACCEPT_LANGUAGE, "de");
    let waits = give(&german, "J-1", &ticks, &[STATED]).await.expect(409).plain();
    assert!(waits.contains("Noch nicht gespeichert: 2. Gerade lässt sich nichts speichern"), "{waits}");
    // At the desk.
    let staff = app.in_browser(&program).await;
    let csrf = staff.get("/account").await.csrf();
    let desk = "/desk/saltmarsh/quayside/w1/attestation";
    let rows = ticks.iter().map(|(name, value)| (name.as_str(), value.as_str()));
    let sent: Vec<(&str, &str)> = rows.chain([("judge", "J-1"), STATED, ("csrf", csrf.as_str())]).collect();
    let waits = staff.at(router).post(desk).form(&sent).await.expect(409).plain();
    assert!(waits.contains(said) && waits.contains("Vouched for: 0.") && !waits.contains("Not vouched"), "{waits}");
    assert_eq!(score(&app, 1042).await["state"], "entered");
    // It goes on: the same once more.
    let given = staff.post(desk).form(&sent).await.expect(303);
    assert!(staff.follow(&given).await.expect(200).plain().contains("Vouched for: 2."));
    assert_eq!(score(&app, 1044).await["state"], "attested");
}

/// The same service on the same database, whose writer takes nothing any more.
async fn stopped(app: &TestApp) -> axum::Router {
    let parts = &app.app;
    let writer = Writer::start(parts.store.clone(), parts.clock.clone(), |_| {});
    writer.stop().await;
    tallywright::web::router(App::new(Parts {
        config: parts.config.clone(),
        store: parts.store.clone(),
        writer,
        board: Arc::clone(&parts.board),
        logs: parts.logs.clone(),
        clock: parts.clock.clone(),
        keys: parts.keys.clone(),
        post: Post::default(),
        changes: Kept::default(),
        gyms: Directory::default(),
        gate: Gate::default(),
        wholes: Wholes::default(),
    }))
}

/// What is to be known of a word that is stored is said with it, at the desk as on the judge's page.
#[tokio::test]
async fn a_judge_who_seems_to_have_counted_two_at_once_is_told() {
    let app = TestApp::new().await;
    let program = app.staff_of("quayside").await;
    for bib in [1042, 1043] {
        enter(&program, bib, json!({ "performance": "6+14 tb 11:24", "performed_at": "2027-01-14T10:00:00Z" })).await;
    }
    let client = judge(&app, "J-1").await;
    let shown = page(&client).await;
    give(&client, "J-1", &[tick(&shown, 1042)], &[STATED]).await.expect(303);
    let given = give(&client, "J-1", &[tick(&shown, 1043)], &[STATED]).await.expect(303);
    let told = client.follow(&given).await.expect(200).plain();
    assert!(told.contains("Rita Alves (1043): Judge J-1 also judged bib 1042 in w1"), "{told}");
    let staff = app.in_browser(&program).await;
    enter(&program, 1044, json!({ "performance": "5+1 tb 11:24", "performed_at": "2027-01-14T10:00:00Z" })).await;
    let (etag, csrf) = (score(&app, 1044).await["etag"].clone(), staff.get("/account").await.csrf());
    let fields = [("a-1044", etag.as_str().expect("an etag")), ("judge", "J-1"), STATED, ("csrf", &csrf)];
    let given = staff.post("/desk/saltmarsh/quayside/w1/attestation").form(&fields).await.expect(303);
    let told = staff.follow(&given).await.expect(200).plain();
    assert!(
        told.contains("Vouched for: 1.") && told.contains("Tomás Brito (1044): Judge J-1 also judged bib"),
        "{told}"
    );
}
