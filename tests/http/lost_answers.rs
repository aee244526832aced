//! A way in that is good once, whose answer was lost on the way: who sends the same again gets in, and
//! nobody else does.

use crate::support::{Client, TestApp};
use serde_json::{Value, json};

/// What a browser keeps of answers: cookies by name.
fn keep(jar: &mut Vec<(String, String)>, reply: &crate::support::Reply) {
    for set in reply.headers.get_all("set-cookie") {
        let (name, rest) = set.to_str().expect("text").split_once('=').expect("a cookie");
        jar.retain(|(known, _)| known != name);
        if !rest.ends_with("Max-Age=0") {
            jar.push((name.to_owned(), rest.split(';').next().expect("a value").to_owned()));
        }
    }
}

fn with(app: &TestApp, jar: &[(String, String)]) -> Client {
    let all: Vec<String> = jar.iter().map(|(name, value)| format!("{name}={value}")).collect();
    app.nobody().with(http::header::COOKIE, &all.join("; ")).with(http::header::ORIGIN, "http://127.0.0.1:8080")
}

/// The value of the session's cookie in an answer.
fn session(reply: &crate::support::Reply) -> String {
    let mut all = reply.headers.get_all("set-cookie").iter().filter_map(|set| set.to_str().ok());
    let own = all.find_map(|set| set.strip_prefix("sid=")).expect("a session");
    own.split(';').next().expect("a value").to_owned()
}

async fn sessions(app: &TestApp) -> i64 {
    app.database.raw().await.number("SELECT COUNT(*) FROM sessions").await
}

#[tokio::test]
async fn a_link_whose_answer_was_lost_signs_the_same_browser_in_for_two_minutes() {
    let app = TestApp::empty().await;
    let (_, link) = app.db_account("ines@example.org", None, &[]).await;
    let code = link.expect("a link");
    let (page, form) = (format!("/signin/link?code={code}"), [("code", code.as_str())]);
    let mut jar = Vec::new();
    let shown = app.nobody().get(&page).await.expect(200);
    let cookie = shown.header("set-cookie").to_owned();
    assert!(cookie.starts_with("link=") && cookie.contains("HttpOnly") && cookie.contains("Max-Age=3600"), "{cookie}");
    assert_eq!(shown.header("cache-control"), "no-store");
    keep(&mut jar, &shown);
    let begun = with(&app, &jar).post("/signin/link").form(&form).await.expect(303);
    // Nothing of it arrives. Another browser, with a cookie of its own or with none, has no use of the link.
    let mut other = Vec::new();
    keep(&mut other, &app.nobody().get(&page).await.expect(200));
    assert_ne!(jar, other);
    for stranger in [app.nobody(), with(&app, &other)] {
        stranger.post("/signin/link").form(&form).await.expect(401);
    }
    app.nobody().post("/api/v1/session").json(json!({ "code": code })).await.expect(401);
    // The same one opens the link again and presses the button: the same session, once.
    app.set_clock("2027-01-14T12:02:00Z");
    let opened = with(&app, &jar).get(&page).await.expect(200);
    keep(&mut jar, &opened);
    let again = with(&app, &jar).post("/signin/link").form(&form).await.expect(303);
    assert_eq!((session(&again), again.header("location")), (session(&begun), "/account"));
    assert_eq!(sessions(&app).await, 1);
    let before = jar.clone();
    keep(&mut jar, &again);
    let csrf = with(&app, &jar).get("/account").await.expect(200).csrf();
    // Sent a third time by who is in already: in still.
    let third = [&before[..], &jar[..]].concat();
    with(&app, &third).post("/signin/link").form(&[("code", code.as_str()), ("csrf", csrf.as_str())]).await.expect(303);
    with(&app, &jar).get("/account").await.expect(200);
    assert_eq!(sessions(&app).await, 1);
    // Later, and from whoever has signed out, it is a link that was used.
    app.set_clock("2027-01-14T12:02:01Z");
    with(&app, &before).post("/signin/link").form(&form).await.expect(401);
}

#[tokio::test]
async fn who_signs_out_has_used_the_link_whatever_the_browser_keeps() {
    let app = TestApp::empty().await;
    let (_, link) = app.db_account("ines@example.org", None, &[]).await;
    let code = link.expect("a link");
    let mut jar = Vec::new();
    keep(&mut jar, &app.nobody().get(&format!("/signin/link?code={code}")).await.expect(200));
    let before = jar.clone();
    let begun = with(&app, &jar).post("/signin/link").form(&[("code", code.as_str())]).await.expect(303);
    keep(&mut jar, &begun);
    let csrf = with(&app, &jar).get("/account").await.expect(200).csrf();
    with(&app, &jar).post("/signout").form(&[("csrf", csrf.as_str())]).await.expect(303);
    with(&app, &before).post("/signin/link").form(&[("code", code.as_str())]).await.expect(401);
    // What is no secret of ours is none: two sign-ins with it are of two sessions, and the second link is new.
    for planted in ["x", ""] {
        let (_, link) = app.db_account(&format!("rita{planted}@example.org"), None, &[]).await;
        let (code, known) = (link.expect("a link"), vec![("link".to_owned(), planted.to_owned())]);
        with(&app, &known).post("/signin/link").form(&[("code", code.as_str())]).await.expect(303);
        with(&app, &known).post("/signin/link").form(&[("code", code.as_str())]).await.expect(401);
    }
}

#[tokio::test]
async fn over_https_the_cookie_of_a_links_page_is_bound_to_the_host() {
    let app = TestApp::at("https://scores.example.org").await;
    let shown = app.nobody().get("/signin/link?code=abc").await.expect(200);
    let cookie = shown.header("set-cookie");
    assert!(cookie.starts_with("__Host-link=") && cookie.contains("Secure"), "{cookie}");
}

#[tokio::test]
async fn a_code_whose_answer_was_lost_signs_in_who_used_it() {
    let app = TestApp::new().await;
    let codes = "/api/v1/competitions/saltmarsh/gyms/quayside/claim-codes";
    let made =
        app.staff_of("quayside").await.post(codes).json(json!({ "bibs": [1042, 1043] })).await.expect(200).json();
    let code = |n: usize| made[n]["code"].as_str().expect("a code").to_owned();
    let sent = |bib: u32, code: &str, email: &str, password: &str| json!({ "competition": "saltmarsh", "bib": bib, "code": code, "email": email, "password": password });
    let (mine, oars) = ("ines@example.org", "three old oars");
    let claims = "/api/v1/claims";
    app.nobody().post(claims).json(sent(1042, &code(0), mine, oars)).await.expect(200);
    // Nothing of it arrives: the same again, from wherever.
    let again = app.nobody().post(claims).json(sent(1042, &code(0), mine, oars)).await.expect(200);
    let me = app.nobody().with_cookie(&session(&again)).get("/api/v1/me").await.expect(200).json();
    assert_eq!(me["roles"], json!([{ "role": "athlete", "competition": "saltmarsh", "bib": 1042 }]));
    // By the form too, however the bib is written.
    let first = code(0);
    let fields =
        [("c", "saltmarsh"), ("bib", "#01042"), ("code", &*first), ("email", "Ines@example.org"), ("password", oars)];
    let led = app.nobody().post("/claim").form(&fields).await.expect(303);
    assert_eq!(led.header("location"), "/c/saltmarsh/athletes/1042");
    // Another password, another account and another bib get what any wrong code gets.
    app.db_account("rita@example.org", Some(oars), &[]).await;
    let mut told: Vec<Value> = Vec::new();
    for body in [
        sent(1042, &code(0), mine, "three new oars"),
        sent(1042, &code(0), "rita@example.org", oars),
        sent(1042, &code(0), "nobody@example.org", oars),
        sent(1043, &code(0), mine, oars),
    ] {
        let mut answer = app.nobody().post(claims).json(body).await.expect(422).json();
        answer["request_id"] = Value::Null;
        told.push(answer);
    }
    assert!(told.windows(2).all(|pair| pair[0] == pair[1]), "{told:#?}");
    assert_eq!(told[0]["errors"][0]["code"], "wrong_code");
    // Who is signed in and has the entry already has it still.
    let rita = app.browser("tomas@example.org", &[]).await;
    let own = json!({ "competition": "saltmarsh", "bib": 1043, "code": code(1) });
    for _ in 0..2 {
        rita.post(claims).json(own.clone()).await.expect(200);
    }
    let taken = json!({ "competition": "saltmarsh", "bib": 1042, "code": code(0) });
    rita.post(claims).json(taken).await.expect(422);
    // What is not needed of them is looked at all the same.
    for (member, long, at) in [("password", "x".repeat(257), "/password"), ("code", "C".repeat(41), "/code")] {
        let mut body = own.clone();
        body[member] = long.into();
        let faults = rita.post(claims).json(body).await.expect(422).json();
        assert_eq!(faults["errors"][0]["pointer"], at, "{faults}");
    }
}

#[tokio::test]
async fn a_code_is_no_way_to_guess_a_password() {
    let app = TestApp::new().await;
    app.db_account("ines@example.org", Some("three old oars"), &[]).await;
    let guess = |n: u32| {
        let body = json!({ "competition": "saltmarsh", "bib": 5_000 + n, "code": "CCCC-DDDD",
            "email": "ines@example.org", "password": format!("guess number {n}") });
        app.nobody().seen_from("198.51.100.7").post("/api/v1/claims").json(body)
    };
    for n in 0..10 {
        guess(n).await.expect(422);
    }
    // Each at a bib of its own: the tries are at the account all the same, together with those at signing in.
    guess(10).await.expect(429);
    let signing = json!({ "email": "ines@example.org", "password": "three old oars" });
    app.nobody().seen_from("198.51.100.7").post("/api/v1/session").json(signing.clone()).await.expect(429);
    // And its owner elsewhere is not kept out.
    app.nobody().seen_from("198.51.100.8").post("/api/v1/session").json(signing).await.expect(201);
}
