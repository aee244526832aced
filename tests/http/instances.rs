//! Two services on one database: each takes any request, and sees what the other did.

use crate::support::{Client, Reply, TestApp};
use serde_json::{Value, json};
use std::fmt::Write as _;
use std::time::{Duration, Instant};
use tallywright::config::Config;
use tallywright::rules::access::{Grant, Role};

pub(super) const C: &str = "/api/v1/competitions/saltmarsh";
pub(super) const WOMEN: &str = "/api/v1/competitions/saltmarsh/divisions/women/workouts/w1/places";

fn staff_in(competition: &str) -> Grant {
    crate::support::grant(Role::Staff, Some(competition))
}

pub(super) fn path(bib: u32) -> String {
    format!("{C}/workouts/w1/scores/{bib}")
}

pub(super) async fn attested(client: &Client, bib: u32, performance: &str) -> Reply {
    let body = json!({ "performance": performance, "attestation": { "judge": "J-1", "how": "paper_sheet" } });
    client.put(&path(bib)).json(body).await
}

/// Texts of the women's scores, best first, as a service has them now; nobody is read by name here.
pub(super) async fn shown(app: &TestApp) -> Vec<String> {
    let page = app.nobody().get(WOMEN).await.expect(200).json();
    let rows = page["rows"].as_array().expect("rows").iter();
    rows.filter_map(|row| row["text"].as_str().map(str::to_owned)).collect()
}

/// Waits until a service shows this.
pub(super) async fn comes_to_show(app: &TestApp, expected: &[&str]) {
    let started = Instant::now();
    while shown(app).await != expected {
        assert!(started.elapsed() < Duration::from_secs(5), "{:?}, not {expected:?}", shown(app).await);
        tokio::time::sleep(Duration::from_millis(20)).await;
    }
}

pub(super) fn seq(page: &Value) -> u64 {
    page["log_seq"].as_u64().expect("a position")
}

/// Two services that never look by themselves for what the other one wrote.
async fn two_that_do_not_look() -> [TestApp; 2] {
    let never = |config: &mut Config| config.look = Duration::from_hours(24);
    let one = TestApp::configured(never).await;
    one.db_competition("saltmarsh", false).await;
    let two = one.beside_configured(never).await;
    [one, two]
}

/// Whoever asks for a position has it looked for, on a file too: within the two seconds that an answer may wait.
#[tokio::test(flavor = "multi_thread")]
async fn what_is_put_at_one_is_seen_at_the_other_at_once_and_never_older_than_asked() {
    let [one, two] = two_that_do_not_look().await;
    let staff = [one.staff_of("quayside").await, two.staff_of("quayside").await];
    let mut waited = Vec::new();
    for n in 0..30_u32 {
        // By turns: a score put at the one is corrected at the other.
        let (here, there) = if n % 2 == 0 { (&one, &two) } else { (&two, &one) };
        let text = format!("{}+1 tb 1:0{}", 2 + n / 10, n % 10);
        let client = &staff[n as usize % 2];
        let known = client.get(&path(1042)).await;
        let call = client
            .put(&path(1042))
            .json(json!({ "performance": text, "attestation": { "judge": "J-1", "how": "paper_sheet" } }));
        let call = if n == 0 { call } else { call.if_match(known.json()["etag"].as_str().expect("an etag")) };
        let put = call.await;
        assert!(put.status.is_success(), "{}", put.text());
        let position = seq(&here.nobody().get(WOMEN).await.expect(200).json());
        let started = Instant::now();
        let page = there.nobody().get(&format!("{WOMEN}?at_least={position}")).await.expect(200).json();
        waited.push(started.elapsed());
        assert!(seq(&page) >= position);
        assert_eq!(page["rows"][0]["text"], text.as_str());
    }
    waited.sort();
    println!("put at one, seen at the other: median {:?}, last {:?}", waited[15], waited[29]);
}

/// Nobody asks for a position here, and neither looks by itself: a server's own word alone wakes the other.
#[tokio::test(flavor = "multi_thread")]
async fn what_is_put_at_one_is_at_the_other_by_the_servers_word_alone() {
    let [one, two] = two_that_do_not_look().await;
    if !one.database.is_served() {
        return;
    }
    let organisers = [one.organiser().await, two.organiser().await];
    let mut waited = Vec::new();
    for n in 0..40_usize {
        let (here, there) = if n % 2 == 0 { (&one, &two) } else { (&two, &one) };
        let entry = json!({ "bib": 6000 + n, "name": format!("Runner {n}"), "born": "1995-02-03", "category": "women", "division": "women" });
        organisers[n % 2].post(&format!("{C}/entries")).json(entry).await.expect(201);
        let (began, position) = (Instant::now(), here.app.board.position(1));
        while there.app.board.position(1) < position {
            assert!(began.elapsed() < Duration::from_mins(1), "it is not seen");
            tokio::time::sleep(Duration::from_millis(1)).await;
        }
        waited.push(began.elapsed());
    }
    waited.sort();
    println!("put at one, at the other: median {:?}, last {:?}", waited[20], waited[39]);
}

/// What a page of the standings names somebody, at a service.
async fn named(app: &TestApp, bib: u32) -> String {
    let page = app.nobody().get(&format!("{C}/divisions/women/standings?limit=50")).await.expect(200).json();
    let row = page["rows"].as_array().expect("rows").iter().find(|row| row["bib"] == bib).cloned();
    row.unwrap_or_default()["name"].as_str().unwrap_or_default().to_owned()
}

#[tokio::test(flavor = "multi_thread")]
async fn a_name_that_is_changed_hidden_or_erased_is_gone_from_what_both_have_in_memory() {
    let one = TestApp::new().await;
    let two = one.beside().await;
    let organiser = one.in_browser(&one.organiser().await).await;
    let standings = format!("{C}/divisions/women/standings");
    let (before, known) = (named(&one, 1042).await, named(&two, 1042).await);
    assert!(before == known && !before.is_empty() && before != "Athlete 1042", "{before}, {known}");
    let own = one.in_browser(&one.athlete(1042).await).await;
    let csrf = own.get("/account").await.csrf();
    // By a list, and by whose name it is.
    for (name, show, expected) in [
        ("Somebody Else", "yes", "Somebody Else"),
        ("Somebody Else", "no", "Athlete 1042"),
        ("", "yes", "Somebody Else"),
        ("Other", "yes", "Other"),
        ("", "no", "Athlete 1042"),
        ("", "yes", "Other"),
    ] {
        let page = two.nobody().get(&standings).await.expect(200);
        if name.is_empty() {
            let fields = [("csrf", &*csrf), ("competition", "saltmarsh"), ("bib", "1042"), ("show", show)];
            own.post("/account/name").form(&fields).await.expect(303);
        } else {
            let row = format!(
                "bib,name,born,category,division,gym,show_name\n1042,{name},1996-04-02,women,women,quayside,{show}\n"
            );
            let taken = one.administrator().await.post(&format!("{C}/entries")).csv(&row).await.expect(200).json();
            assert_eq!(taken["taken"], 1, "{taken}");
        }
        assert_eq!(named(&one, 1042).await, expected, "at once where it was changed");
        comes_to_name(&two, 1042, expected).await;
        two.nobody().get(&standings).header("if-none-match", page.header("etag")).await.expect(200);
    }
    let page = two.nobody().get(&standings).await.expect(200);
    organiser.erases("erase_bib", "1042").await.expect(303);
    assert_eq!(named(&one, 1042).await, "Athlete 1042");
    comes_to_name(&two, 1042, "Athlete 1042").await;
    two.nobody().get(&standings).header("if-none-match", page.header("etag")).await.expect(200);
}

/// Waits until a service names somebody so.
async fn comes_to_name(app: &TestApp, bib: u32, expected: &str) {
    let started = Instant::now();
    while named(app, bib).await != expected {
        assert!(started.elapsed() < Duration::from_secs(5), "{}, not {expected}", named(app, bib).await);
        tokio::time::sleep(Duration::from_millis(20)).await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_request_sent_again_to_the_other_is_done_once() {
    let one = TestApp::new().await;
    let two = one.beside().await;
    let staff = one.staff_of("quayside").await;
    let same = two.as_here(&staff);
    let send = |client: &Client| {
        client.put(&path(1042)).header("idempotency-key", "k-1").json(json!({ "performance": "6+14 tb 11:24" }))
    };
    let (first, again) = tokio::join!(send(&staff), send(&same));
    assert_eq!((first.status.as_u16(), again.status.as_u16()), (201, 201));
    assert_eq!(first.json()["etag"], again.json()["etag"]);
    let submitted = |records: &Value| records["items"].as_array().map_or(0, Vec::len);
    let history = one.organiser().await.get(&format!("{}/history", path(1042))).await.expect(200).json();
    assert_eq!(submitted(&history), 1, "{history}");
}

#[tokio::test(flavor = "multi_thread")]
async fn one_file_sent_to_both_at_once_is_taken_in_once() {
    let one = TestApp::new().await;
    let two = one.beside().await;
    let here = one.administrator().await;
    let there = two.as_here(&here);
    let mut csv = "bib,name,born,category,division,gym\n".to_owned();
    for n in 0..600 {
        let _ = writeln!(csv, "{},Runner {n},1995-02-03,women,women,quayside", 3000 + n);
    }
    let path = format!("{C}/entries");
    let send = |client: &Client| client.post(&path).header("idempotency-key", "file-1").csv(&csv);
    let (first, second) = tokio::join!(send(&here), send(&there));
    let (done, other) = if first.status == 200 { (first, second) } else { (second, first) };
    let done = done.expect(200).json();
    assert_eq!((&done["taken"], &done["unchanged"]), (&json!(600), &json!(0)), "{done}");
    if other.status == 409 {
        assert_eq!(other.code(), "being_made");
        assert!(other.header("retry-after").parse::<u32>().is_ok_and(|s| s > 0));
    } else {
        assert_eq!(other.expect(200).json(), done);
    }
    for client in [&here, &there] {
        assert_eq!(send(client).await.expect(200).json(), done);
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn trouble_that_passes_is_not_the_answer_of_a_file_for_good() {
    let app = TestApp::new().await;
    if !app.database.is_served() {
        return;
    }
    let (path, csv) =
        (format!("{C}/entries"), "bib,name,born,category,division,gym\n3001,Runner,1995-02-03,women,women,quayside\n");
    let organiser = app.administrator().await;
    let send = async || organiser.post(&path).header("idempotency-key", "file-1").csv(csv).await.expect(200).json();
    // Somebody else has the competition in hand for longer than anybody waits.
    let mut other = app.database.raw().await;
    other.run("BEGIN; SELECT * FROM competitions FOR UPDATE").await.unwrap();
    let refused = send().await;
    assert_eq!(refused["rows"][0]["errors"][0]["code"], "row_busy", "{refused}");
    other.run("ROLLBACK").await.unwrap();
    assert_eq!(send().await["taken"], 1);
    assert_eq!(send().await["taken"], 1, "that is kept");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_key_stands_for_one_request_at_two_services_and_two_competitions() {
    let one = TestApp::new().await;
    one.db_competition("second", false).await;
    let two = one.beside().await;
    let grants = ["saltmarsh", "second"].map(|c| Grant { gym: Some("quayside".to_owned()), ..staff_in(c) });
    let here = one.somebody("both@example.org", &grants).await;
    let there = two.as_here(&here);
    for competition in ["saltmarsh", "second"] {
        let mut csv = "bib,name,born,category,division,gym\n".to_owned();
        for n in 0..12 {
            let _ = writeln!(csv, "{},Runner {n},1995-02-03,women,women,quayside", 3000 + n);
        }
        let path = format!("/api/v1/competitions/{competition}/entries");
        assert_eq!(one.administrator().await.post(&path).csv(&csv).await.expect(200).json()["taken"], 12);
    }
    for n in 0..12 {
        let key = format!("k-{n}");
        let body = json!({ "performance": "6+14 tb 11:24" });
        let send = |client: &Client, competition: &str| {
            // A score of its own each time: nothing but the key can keep the second from being stored.
            let path = format!("/api/v1/competitions/{competition}/workouts/w1/scores/{}", 3000 + n);
            client.put(&path).header("idempotency-key", &key).json(body.clone())
        };
        let (first, second) = tokio::join!(send(&here, "saltmarsh"), send(&there, "second"));
        let mut statuses = [first.status.as_u16(), second.status.as_u16()];
        statuses.sort_unstable();
        assert_eq!(statuses, [201, 422], "{} {}", first.text(), second.text());
        let (done, refused) = if first.status == 201 { (&first, &second) } else { (&second, &first) };
        assert_eq!(refused.code(), "idempotency_key_reused");
        // Said again at the other service, the one that was done is given again, the other refused again.
        let (done_at, refused_at) = if first.status == 201 { ("saltmarsh", "second") } else { ("second", "saltmarsh") };
        for client in [&here, &there] {
            assert_eq!(send(client, done_at).await.expect(201).json()["etag"], done.json()["etag"]);
            send(client, refused_at).await.expect(422);
        }
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_session_holds_at_both_until_it_is_ended_at_one() {
    let one = TestApp::new().await;
    let two = one.beside().await;
    let browser = one.browser("ines@example.org", &[]).await;
    let same = two.as_here(&browser);
    let csrf = same.get("/account").await.expect(200).csrf();
    browser.post("/signout").form(&[("csrf", &csrf)]).await.expect(303);
    same.get("/account").await.expect(401);
}

/// Tries by turns at two services, from one place: so many are let through by both together.
async fn by_turns(one: &TestApp, two: &TestApp, path: &str, body: &Value, through: usize, wrong: u16) {
    let clients = [one, two].map(|app| app.nobody().seen_from("198.51.100.7"));
    for n in 0..through {
        clients[n % 2].post(path).json(body.clone()).await.expect(wrong);
    }
    for client in clients {
        let told = client.post(path).json(body.clone()).await.expect(429);
        assert!(told.header("retry-after").parse::<u64>().is_ok_and(|s| s > 0));
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn tries_at_one_count_at_the_other_too() {
    let one = TestApp::new().await;
    let two = one.beside().await;
    one.db_account("ines@example.org", Some("three old oars"), &[]).await;
    let session = "/api/v1/session";
    let guess = json!({ "email": "ines@example.org", "password": "not the password" });
    by_turns(&one, &two, session, &guess, 10, 401).await;
    let code = json!({ "competition": "saltmarsh", "bib": 1042, "code": "CCCC-DDDD",
        "email": "new@example.org", "password": "three old oars" });
    by_turns(&one, &two, "/api/v1/claims", &code, 10, 422).await;
    // What is left of the forty that one address has.
    by_turns(&one, &two, session, &json!({ "code": "no such link" }), 20, 401).await;
    // From elsewhere the owner signs in, at either.
    let right = json!({ "email": "ines@example.org", "password": "three old oars" });
    for app in [&one, &two] {
        app.nobody().seen_from("198.51.100.8").post(session).json(right.clone()).await.expect(201);
    }
    // A service that is started later knows of them too; as time goes by tries are let through again.
    let three = one.beside().await;
    let guesser = three.nobody().seen_from("198.51.100.7");
    guesser.post(session).json(guess.clone()).await.expect(429);
    three.set_clock("2027-01-14T12:01:00Z");
    guesser.post(session).json(guess).await.expect(401);
}

/// Somebody whose facts are broken keeps nobody else's name from being read ahead.
#[tokio::test(flavor = "multi_thread")]
async fn names_are_read_ahead_past_one_that_cannot_be_read() {
    let one = TestApp::new().await;
    let mut people = "bib,name,born,category,division,gym\n".to_owned();
    (0..300).for_each(|n| writeln!(people, "{},Runner {n},1995-02-03,women,women,quayside", 3_000 + n).unwrap());
    one.organiser().await.post(&format!("{C}/entries")).csv(&people).await.expect(200);
    let broken = "UPDATE persons SET body = '{' WHERE competition = 1 AND id = (SELECT person FROM entries WHERE competition = 1 AND bib = 3100)";
    assert_eq!(one.database.raw().await.run(broken).await.unwrap(), 1);
    let two = one.beside().await;
    let names = two.app.board.names(1).expect("names");
    // Before it, beside it in the same run, and after it.
    let others = [1042, 2001, 3_000, 3_299];
    let began = Instant::now();
    while names.find(&others).0.len() < others.len() {
        assert!(began.elapsed() < Duration::from_secs(20), "{:?}", names.find(&others).0);
        tokio::time::sleep(Duration::from_millis(20)).await;
    }
    assert!(names.find(&[3_100]).0.is_empty());
}
