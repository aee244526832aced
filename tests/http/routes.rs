//! Who may do what, in one table: every route × every role × own and other gym.
//!
//! A route that is missing from the table fails the test, and so does a line without a route. The
//! routes come from the API's own document, the pages' list and the web floor's list.

use crate::support::{Client, HIDDEN, Reply, SALTMARSH, TestApp};
use http::Method;
use serde_json::{Value, json};
use std::collections::BTreeSet;

/// The columns, in turn. The score is 1042's of gym quayside, where it was performed.
pub const WHO: [&str; 11] = [
    "nobody",
    "signed in, no role",
    "athlete 1042",
    "another athlete",
    "judge of quayside",
    "judge of millpond",
    "staff of quayside",
    "staff of millpond",
    "referee",
    "organiser",
    "organiser of all",
];

/// One line: method, an address, a body ("" none, "form:…" a form, else JSON), and for each column
/// what is answered. `+`: permission was given (2xx, 303, or 409, 412, 422, 428, 429: what stands
/// behind it); `1`: 401; `3`: 403; `4`: 404.
pub type Line = (&'static str, &'static str, &'static str, &'static str);

#[rustfmt::skip]
pub const TABLE: &[Line] = &[
    // Columns: nobody, no role, athlete, another, judge ×2, staff ×2, referee, organiser, of all.
    ("GET",    "/healthz", "", "+++++++++++"),
    ("GET",    "/readyz", "", "+++++++++++"),
    ("GET",    "/metrics", "", "1333333333+"),
    ("GET",    "/problems/invalid", "", "+++++++++++"),
    ("GET",    "/api/openapi.json", "", "+++++++++++"),

    ("POST",   "/api/v1/session", "{}", "+++++++++++"),
    ("DELETE", "/api/v1/session", "", "11111111111"),
    ("GET",    "/api/v1/me", "", "1++++++++++"),
    ("PUT",    "/api/v1/me/password", r#"{"new":"three old oars"}"#, "13333333333"),
    ("GET",    "/api/v1/me/sessions", "", "1++++++++++"),
    ("DELETE", "/api/v1/me/sessions/999999", "", "14444444444"),
    ("GET",    "/api/v1/me/tokens", "", "1++++++++++"),
    ("POST",   "/api/v1/me/tokens", r#"{"name":"desk"}"#, "13333333333"),
    ("DELETE", "/api/v1/me/tokens/999999", "", "14444444444"),
    ("GET",    "/api/v1/accounts", "", "1333333333+"),
    ("POST",   "/api/v1/accounts", r#"{"email":"new@example.org"}"#, "1333333333+"),
    ("POST",   "/api/v1/accounts", r#"{"email":"new@example.org","roles":[{"role":"referee","competition":"saltmarsh"}]}"#, "133333333++"),
    ("POST",   "/api/v1/accounts", r#"{"email":"new@example.org","roles":[{"role":"organiser"}]}"#, "1333333333+"),
    ("POST",   "/api/v1/accounts/VICTIM/link", "", "1333333333+"),
    ("GET",    "/api/v1/accounts/VICTIM/roles", "", "1333333333+"),
    ("POST",   "/api/v1/accounts/VICTIM/roles", r#"{"roles":[{"role":"judge","competition":"saltmarsh","judge":"J-1"}]}"#, "133333333++"),
    // For the last it is gone already.
    ("DELETE", "/api/v1/roles/ROLE", "", "144444444+4"),
    ("DELETE", "/api/v1/accounts/VICTIM", "", "1333333333+"),
    ("GET",    "/api/v1/competitions/saltmarsh/roles", "", "133333333++"),

    ("GET",    "/api/v1/competitions/saltmarsh/gyms/quayside/claim-codes", "", "133333+33++"),
    ("POST",   "/api/v1/competitions/saltmarsh/gyms/quayside/claim-codes", r#"{"bibs":[]}"#, "133333+33++"),
    ("GET",    "/api/v1/competitions/saltmarsh/gyms/quayside/proposals", "", "133333+33++"),
    ("POST",   "/api/v1/competitions/saltmarsh/gyms/quayside/proposals", r#"{"kind":"entry","name":""}"#, "133333+33++"),
    ("DELETE", "/api/v1/competitions/saltmarsh/gyms/quayside/proposals/999999", "", "13333343344"),
    ("GET",    "/api/v1/competitions/saltmarsh/proposals", "", "133333333++"),
    ("POST",   "/api/v1/competitions/saltmarsh/proposals/decisions", r#"{"ids":[999999],"decision":"confirm"}"#, "133333333++"),
    // The same for everybody: nothing fits together.
    ("POST",   "/api/v1/claims", r#"{"competition":"none","bib":1,"code":"x"}"#, "+++++++++++"),

    ("GET",    "/api/v1/competitions", "", "+++++++++++"),
    ("GET",    "/api/v1/competitions/saltmarsh", "", "+++++++++++"),
    ("PUT",    "/api/v1/competitions/saltmarsh?dry_run=true", "{}", "133333333++"),
    ("GET",    "/api/v1/competitions/saltmarsh/gyms", "", "+++++++++++"),
    ("POST",   "/api/v1/competitions/saltmarsh/gyms", r#"{"slug":"hilltop","name":"Hilltop","country":"PT"}"#, "133333333++"),
    ("GET",    "/api/v1/competitions/saltmarsh/entries", "", "+++++++++++"),
    ("GET",    "/api/v1/competitions/saltmarsh/entries?q=1042", "", "+++++++++++"),
    ("POST",   "/api/v1/competitions/saltmarsh/entries", "{}", "133333333++"),
    ("GET",    "/api/v1/competitions/saltmarsh/judges", "", "13+++++++++"),
    ("POST",   "/api/v1/competitions/saltmarsh/judges", "{}", "133333333++"),
    ("GET",    "/api/v1/competitions/saltmarsh/entries/1042", "", "+++++++++++"),
    ("PATCH",  "/api/v1/competitions/saltmarsh/entries/1042?dry_run=true", r#"{"state":"guest","reason":"asked"}"#, "133333333++"),
    ("GET",    "/api/v1/competitions/saltmarsh/entries/1042/standing", "", "+++++++++++"),
    ("GET",    "/api/v1/competitions/saltmarsh/rulings", "", "+++++++++++"),
    ("GET",    "/api/v1/competitions/saltmarsh/log", "", "13333333+++"),
    ("GET",    "/api/v1/competitions/saltmarsh/divisions/women/standings", "", "+++++++++++"),
    ("GET",    "/api/v1/competitions/saltmarsh/divisions/women/workouts/w1/places", "", "+++++++++++"),

    ("GET",    "/api/v1/competitions/saltmarsh/workouts/w1/scores?gym=quayside", "", "133333+3+++"),
    ("GET",    "/api/v1/competitions/saltmarsh/workouts/w1/scores", "", "13333333+++"),
    ("POST",   "/api/v1/competitions/saltmarsh/workouts/w1/scores", "[]", "13++33++333"),
    ("GET",    "/api/v1/competitions/saltmarsh/workouts/w1/scores/1042", "", "+++++++++++"),
    ("GET",    "/api/v1/competitions/saltmarsh/workouts/w1/scores/1042/history", "", "+++++++++++"),
    ("PUT",    "/api/v1/competitions/saltmarsh/workouts/w1/scores/1042", r#"{"performance":"6+15 tb 11:24","gym":"quayside"}"#, "13+333+3333"),
    ("POST",   "/api/v1/competitions/saltmarsh/workouts/w1/scores/1042/check", r#"{"performance":"6+16 tb 11:24","gym":"quayside"}"#, "13+333+3333"),
    ("POST",   "/api/v1/competitions/saltmarsh/workouts/w1/scores/1043/check", r#"{"performance":"6+16 tb 11:24","gym":"millpond"}"#, "133+33++333"),
    // Staff of the gym a visitor trains in may enter for the visitor.
    ("PUT",    "/api/v1/competitions/saltmarsh/workouts/w1/scores/1043", r#"{"performance":"6+15 tb 11:24","gym":"millpond"}"#, "133+33++333"),
    ("POST",   "/api/v1/competitions/saltmarsh/workouts/w1/scores/1042/attestation", r#"{"judge":"J-1","how":"paper_sheet"}"#, "1333+3+3333"),
    ("POST",   "/api/v1/competitions/saltmarsh/workouts/w1/scores/1042/attestation", r#"{"judge":"J-2","how":"signed_in"}"#, "13333++3333"),
    ("POST",   "/api/v1/competitions/saltmarsh/workouts/w1/scores/1042/withdrawal", "", "13+333+3333"),
    ("POST",   "/api/v1/competitions/saltmarsh/workouts/w1/scores/1043/not-taking-part", "", "133+33+3333"),
    ("DELETE", "/api/v1/competitions/saltmarsh/workouts/w1/scores/1043/not-taking-part", "", "133+33+3333"),
    ("POST",   "/api/v1/competitions/saltmarsh/workouts/w1/scores/1042/flags", r#"{"reason":"count","note":"two short"}"#, "13333333+33"),
    ("POST",   "/api/v1/competitions/saltmarsh/workouts/w1/scores/1042/withhold", r#"{"reason":"count","note":"two short"}"#, "13333333+33"),
    ("POST",   "/api/v1/competitions/saltmarsh/workouts/w1/scores/1042/ruling", r#"{"kind":"stands","reason":"clear on the sheet"}"#, "13333333+33"),
    ("POST",   "/api/v1/competitions/saltmarsh/workouts/w1/scores/1042/appeal", r#"{"reason":"counted again"}"#, "13+333+3333"),
    ("POST",   "/api/v1/competitions/saltmarsh/workouts/w1/scores/1042/admission", r#"{"admit":true,"reason":"power cut"}"#, "133333333++"),
    ("GET",    "/api/v1/competitions/saltmarsh/workouts/w1/changes", "", "+++++++++++"),
    ("POST",   "/api/v1/competitions/saltmarsh/workouts/w1/extensions", r#"{"gym":"quayside","closes":"2027-01-18T21:00:00Z","attest_by":"2027-01-19T21:00:00Z","reason":"power cut"}"#, "133333333++"),

    // Pages, by cookie.
    ("GET",    "/", "", "+++++++++++"),
    ("GET",    "/c/saltmarsh", "", "+++++++++++"),
    ("GET",    "/c/saltmarsh/calendar.ics", "", "+++++++++++"),
    ("GET",    "/c/saltmarsh/workouts/w1", "", "+++++++++++"),
    ("GET",    "/c/saltmarsh/workouts/w1/sheet", "", "+++++++++++"),
    ("GET",    "/c/saltmarsh/workouts/w1/sheet?gym=quayside", "", "133333+33++"),
    ("GET",    "/c/saltmarsh/workouts/w1/sheet?gym=quayside&blank=yes", "", "+++++++++++"),
    ("GET",    "/c/saltmarsh/divisions/women", "", "+++++++++++"),
    ("GET",    "/c/saltmarsh/divisions/women/workouts/w1", "", "+++++++++++"),
    ("GET",    "/c/saltmarsh/athletes/1042", "", "+++++++++++"),
    ("GET",    "/c/saltmarsh/athletes/1042?workout=w1&performance=6%2B20", "", "+++++++++++"),
    ("GET",    "/api", "", "+++++++++++"),
    // Nobody has ruled on it: what stands behind the permission is a conflict.
    ("POST",   "/c/saltmarsh/athletes/1042/workouts/w1/appeal", "form:reason=counted+again&etag=1", "13+333+3333"),
    ("GET",    "/static/STYLE", "", "+++++++++++"),
    ("GET",    "/signin", "", "+++++++++++"),
    // The eleventh try is one too many.
    ("POST",   "/signin", "form:email=who@example.org&password=not+the+password", "1111111111+"),
    ("GET",    "/signin/link?code=abc", "", "+++++++++++"),
    ("POST",   "/signin/link", "form:code=abc", "11111111111"),
    ("GET",    "/signin/forgotten", "", "+++++++++++"),
    ("POST",   "/signin/forgotten", "form:email=who@example.org", "+++++++++++"),
    ("GET",    "/claim?c=none", "", "+++++++++++"),
    ("POST",   "/claim", "form:c=none&bib=1&code=x", "+++++++++++"),
    ("GET",    "/account", "", "1++++++++++"),
    ("POST",   "/account/password", "form:new=short", "1++++++++++"),
    ("POST",   "/account/sessions/999999/end", "form:", "14444444444"),
    ("POST",   "/account/tokens", "form:name=desk&days=0", "1++++++++++"),
    ("POST",   "/account/tokens/999999/revoke", "form:", "14444444444"),
    ("GET",    "/account/data.json", "", "1++++++++++"),
    // The own bib's alone: under 18 not even that.
    ("POST",   "/account/name", "form:competition=saltmarsh&bib=1042&show=no", "13+33333333"),
    ("POST",   "/account/erase", "form:me=somebody.else@example.org", "1++++++++++"),
    ("GET",    "/desk/saltmarsh/quayside", "", "133333+3+++"),
    ("GET",    "/desk/saltmarsh/quayside/codes", "", "133333+33++"),
    ("POST",   "/desk/saltmarsh/quayside/codes", "form:for=picked", "133333+33++"),
    ("GET",    "/desk/saltmarsh/quayside/proposals", "", "133333+33++"),
    ("POST",   "/desk/saltmarsh/quayside/proposals", "form:kind=entry", "133333+33++"),
    ("POST",   "/desk/saltmarsh/quayside/proposals/999999/withdraw", "form:", "13333343344"),
    ("GET",    "/desk/saltmarsh/quayside/heats/w1", "", "133333+33++"),
    ("GET",    "/desk/saltmarsh/quayside/heats/w1/paper", "", "133333+33++"),
    ("POST",   "/desk/saltmarsh/quayside/heats/w1", "form:do=make&lanes=2", "133333+33++"),
    ("POST",   "/desk/saltmarsh/quayside/heats/w1", "form:do=move&late_heat=2&late_minutes=5", "133333+33++"),
    // A screen is not signed in, and shows what anybody may see.
    ("GET",    "/desk/saltmarsh/quayside/wall", "", "+++++++++++"),
    ("GET",    "/desk/saltmarsh/quayside/wall?show=w1", "", "+++++++++++"),
    ("GET",    "/desk/saltmarsh/quayside/receipt", "", "133333+3+++"),
    ("GET",    "/desk/saltmarsh/quayside/missing", "", "133333+3+++"),
    ("GET",    "/desk/saltmarsh/quayside/file", "", "133333+3+++"),
    // Who reads a desk may not send to it; rows are permitted one by one.
    ("POST",   "/desk/saltmarsh/quayside/file", "form:workout=w1&text=bib,performance%0A1042,6%2B16", "133333+3333"),
    ("GET",    "/desk/saltmarsh/quayside/scores.csv?workout=w1", "", "133333+3+++"),
    // Without a tick it is refused before anything is asked of the score.
    ("POST",   "/desk/saltmarsh/quayside/w1/attestation", "form:judge=J-1", "133333+3+++"),
    ("GET",    "/desk/saltmarsh/quayside/w1/1042", "", "13+333+3+++"),
    ("POST",   "/desk/saltmarsh/quayside/w1/1042", "form:performance=6%2B16", "13+333+3333"),
    // No state of a score is called that: what stands behind the permission is a conflict.
    ("POST",   "/desk/saltmarsh/quayside/w1/1042/withdrawal", "form:etag=1", "13+333+3333"),
    ("POST",   "/desk/saltmarsh/quayside/w1/1043/not-taking-part", "form:", "133+33+3333"),
    ("POST",   "/desk/saltmarsh/quayside/w1/1043/taking-part", "form:", "133+33+3333"),
    // The queue of who referees nothing is empty.
    ("GET",    "/judge/saltmarsh", "", "1333++33333"),
    // Without a tick it is refused before anything is asked of a score; of another's code nobody gives a word.
    ("POST",   "/judge/saltmarsh/w1/attestation", "form:judge=J-1", "1333+333333"),
    ("GET",    "/referee", "", "1++++++++++"),
    ("GET",    "/referee/saltmarsh/w1/1042", "", "13333333+++"),
    ("POST",   "/referee/saltmarsh/w1/1042/flag", "form:reason=count&note=two+short", "13333333+33"),
    ("POST",   "/referee/saltmarsh/w1/1042/ruling", "form:kind=stands&reason=clear", "13333333+33"),
    ("GET",    "/organise", "", "1++++++++++"),
    ("GET",    "/new-competition", "", "1333333333+"),
    ("POST",   "/new-competition", "form:text=x", "1333333333+"),
    ("GET",    "/new-competition/example.toml", "", "1333333333+"),
    ("GET",    "/organise/saltmarsh", "", "133333333++"),
    ("POST",   "/organise/saltmarsh/late/w1/1042", "form:decision=admit&etag=1&reason=power+cut", "133333333++"),
    ("POST",   "/organise/saltmarsh/extensions", "form:workout=w1&gym=quayside&closes=2027-01-18T21:00&attest_by=2027-01-19T21:00&reason=power+cut", "133333333++"),
    ("POST",   "/organise/saltmarsh/erase", "form:erase_bib=1042", "133333333++"),
    ("POST",   "/organise/saltmarsh/erase", "form:erase_judge=J-1", "133333333++"),
    ("GET",    "/organise/saltmarsh/missing?workout=w1", "", "133333333++"),
    ("GET",    "/organise/saltmarsh/missing.csv?workout=w1", "", "133333333++"),
    ("GET",    "/organise/saltmarsh/competition.toml", "", "133333333++"),
    ("GET",    "/organise/saltmarsh/file", "", "133333333++"),
    ("POST",   "/organise/saltmarsh/file", "form:text=x&do=check", "133333333++"),
    ("GET",    "/organise/saltmarsh/lists/entries", "", "133333333++"),
    ("GET",    "/organise/saltmarsh/people", "", "133333333++"),
    ("GET",    "/organise/saltmarsh/proposals", "", "133333333++"),
    ("POST",   "/organise/saltmarsh/proposals", "form:do=confirm&p-999999=yes", "133333333++"),
    ("GET",    "/organise/saltmarsh/entries/1042", "", "133333333++"),
    ("POST",   "/organise/saltmarsh/entries/1042", "form:state=guest&division=women&gym=quayside&reason=asked", "133333333++"),
    ("POST",   "/organise/saltmarsh/entries/1042", "form:do=facts&name=&email=", "133333333++"),
    ("POST",   "/organise/saltmarsh/late", "form:", "133333333++"),
    ("GET",    "/organise/saltmarsh/codes", "", "133333333++"),
    ("POST",   "/organise/saltmarsh/codes", "form:for=picked", "133333333++"),
    ("GET",    "/c/saltmarsh/athletes/1042/workouts/w1", "", "13+33333+++"),
    ("POST",   "/c/saltmarsh/athletes/1042/workouts/w1", "form:performance=6%2B15+tb+11%3A24", "13+33333333"),
    ("POST",   "/c/saltmarsh/athletes/1042/workouts/w1/withdrawal", "form:etag=1", "13+33333333"),
    ("POST",   "/organise/saltmarsh/people", "form:", "133333333++"),
    ("POST",   "/organise/saltmarsh/people/invite", "form:", "133333333++"),
    ("POST",   "/organise/saltmarsh/people/999999/remove", "form:", "13333333344"),
    ("POST",   "/organise/saltmarsh/people/999999/link", "form:", "13333333344"),
    ("POST",   "/organise/saltmarsh/lists/entries", "form:text=x&do=send", "133333333++"),
    ("POST",   "/signout", "form:", "+++++++++++"),
    // Last, as it ends the browsers' sessions too.
    ("DELETE", "/api/v1/me/sessions", "", "1++++++++++"),
];

/// The routes of the service: method and pattern.
async fn routes(app: &TestApp) -> BTreeSet<(String, String)> {
    let document = app.nobody().get("/api/openapi.json").await.expect(200).json();
    let mut routes = BTreeSet::from([("GET".to_owned(), "/api/openapi.json".to_owned())]);
    for (path, item) in document["paths"].as_object().expect("paths") {
        for method in item.as_object().expect("methods").keys() {
            routes.insert((method.to_uppercase(), path.clone()));
        }
    }
    let fixed = tallywright::web::ROUTES.iter().chain(tallywright::web::pages::ROUTES);
    routes.extend(fixed.map(|(method, path)| ((*method).to_owned(), (*path).to_owned())));
    routes
}

/// Whether an address is of a route's pattern.
pub fn fits(address: &str, pattern: &str) -> bool {
    let address = address.split('?').next().unwrap_or_default();
    let (a, p): (Vec<_>, Vec<_>) = (address.split('/').collect(), pattern.split('/').collect());
    a.len() == p.len() && a.iter().zip(&p).all(|(a, p)| p.starts_with('{') || a == p)
}

/// One column: a program with a token, a browser, and the hidden field of its forms.
pub struct Person {
    pub program: Client,
    pub browser: Client,
    pub csrf: String,
}

/// The columns' people.
pub async fn people(app: &TestApp) -> Vec<Person> {
    let programs = [
        app.nobody(),
        app.stranger().await,
        app.athlete(1042).await,
        app.athlete(1043).await,
        app.judge("J-1").await,
        app.judge("J-2").await,
        app.staff_of("quayside").await,
        app.staff_of("millpond").await,
        app.referee().await,
        app.organiser().await,
        app.administrator().await,
    ];
    let mut people = Vec::new();
    for program in programs {
        let browser = app.in_browser(&program).await;
        let csrf = browser.get("/account").await.csrf();
        people.push(Person { program, browser, csrf });
    }
    people
}

/// What one column's person is answered; `headers` go along, `put` says what stands in the address and
/// the body instead.
pub async fn send(
    person: &Person,
    (method, address, body, _): &Line,
    headers: &[(&str, &str)],
    put: impl Fn(&str) -> String,
) -> Reply {
    let client = if address.starts_with("/api/") || *address == "/metrics" { &person.program } else { &person.browser };
    let mut call = client.call(Method::from_bytes(method.as_bytes()).expect("a method"), &put(address));
    for (name, value) in headers {
        call = call.header(name, value);
    }
    let body = put(body);
    let call = match body.strip_prefix("form:") {
        Some(form) => call.body("application/x-www-form-urlencoded", format!("{form}&csrf={}", person.csrf)),
        None if body.is_empty() => call,
        None => call.body("application/json", body),
    };
    call.await
}

async fn answer(person: &Person, line: &Line, address_of: impl Fn(&str) -> String) -> u16 {
    send(person, line, &[], address_of).await.status.as_u16()
}

/// The sign of a status.
fn sign(status: u16) -> char {
    match status {
        200..=299 | 303 | 409 | 412 | 422 | 428 | 429 => '+',
        401 => '1',
        403 => '3',
        404 => '4',
        _ => '!',
    }
}

/// A service with an attested score of 1042 in w1, and an account to be acted on.
pub async fn stage() -> (TestApp, i64, Value) {
    let app = TestApp::new().await;
    let sent = json!({"performance": "6+14 tb 11:24", "attestation": {"judge": "J-1", "how": "paper_sheet"}});
    app.staff_of("quayside")
        .await
        .put("/api/v1/competitions/saltmarsh/workouts/w1/scores/1042")
        .json(sent)
        .await
        .expect(201);
    let grant = crate::support::grant(tallywright::rules::access::Role::Referee, Some(SALTMARSH));
    let (victim, _) = app.db_account("victim@example.org", None, &[grant]).await;
    let roles = app.administrator().await.get(&format!("/api/v1/accounts/{victim}/roles")).await.expect(200).json();
    (app, victim, roles[0]["id"].clone())
}

#[tokio::test]
async fn every_route_is_in_the_table_and_every_line_has_a_route() {
    let app = TestApp::empty().await;
    let routes = routes(&app).await;
    let of = |method: &str, address: &str| {
        let found: Vec<_> = routes.iter().filter(|(m, p)| m == method && fits(address, p)).collect();
        found
    };
    let missing: Vec<_> = routes
        .iter()
        .filter(|(method, pattern)| !TABLE.iter().any(|line| line.0 == method && fits(line.1, pattern)))
        .collect();
    assert!(missing.is_empty(), "routes without a line in the table: {missing:#?}");
    for line in TABLE {
        assert!(!of(line.0, line.1).is_empty(), "no route for {} {}", line.0, line.1);
        assert_eq!(line.3.len(), WHO.len(), "{} {}", line.0, line.1);
    }
}

#[tokio::test]
async fn every_role_gets_what_the_table_says_on_every_route() {
    let (app, victim, role) = stage().await;
    let people = people(&app).await;
    let home = app.nobody().get("/").accept("text/html").await.text();
    let style = home.split_once("/static/").and_then(|(_, rest)| rest.split_once('"')).map_or("", |(name, _)| name);
    let address_of = |address: &str| {
        address.replace("VICTIM", &victim.to_string()).replace("ROLE", &role.to_string()).replace("STYLE", style)
    };
    let mut wrong = Vec::new();
    for line in TABLE {
        let mut statuses = Vec::new();
        for person in &people {
            statuses.push(answer(person, line, address_of).await);
        }
        let found: String = statuses.iter().map(|s| sign(*s)).collect();
        if found != line.3 {
            wrong.push(format!("{} {}\n  is   {found}  {statuses:?}\n  said {}", line.0, line.1, line.3));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[tokio::test]
async fn a_private_competition_does_not_exist_for_those_without_a_role_in_it() {
    let app = TestApp::new().await;
    let people = people(&app).await;
    let mut wrong = Vec::new();
    for line in TABLE.iter().filter(|line| line.1.contains(SALTMARSH)) {
        let address_of = |address: &str| address.replace(SALTMARSH, HIDDEN);
        for (person, who) in people.iter().zip(WHO).filter(|(_, who)| *who != "organiser of all") {
            let status = answer(person, line, address_of).await;
            // Where anybody may read the public one, the private one is unknown; elsewhere a refusal
            // that would be the same for a competition that does not exist will do.
            let open = line.0 == "GET" && line.3.starts_with('+');
            let fine = if open { status == 404 } else { matches!(status, 401 | 403 | 404) };
            let same = answer(person, line, |address| address.replace(SALTMARSH, "no-such")).await;
            if !fine || same != status {
                wrong
                    .push(format!("{} {} for {who}: {status}, and {same} for one that does not exist", line.0, line.1));
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[tokio::test]
async fn looking_at_everything_changes_nothing() {
    let (app, victim, _) = stage().await;
    let people = people(&app).await;
    let by = tallywright::rules::access::Actor::operator();
    let code = tallywright::actions::accounts::new_link(&app.app, &by, victim).await.expect("a link");
    let state = async || {
        let competitions = app.app.store.list_competitions().await.expect("read");
        let heads: Vec<(i64, u64)> = competitions.iter().map(|known| (known.id, known.seq)).collect();
        let all = people.last().expect("who organises all").program.get("/api/v1/accounts").await.expect(200).json();
        let roles = people.last().expect("the same").program.get("/api/v1/competitions/saltmarsh/roles").await.json();
        (heads, all, roles)
    };
    let before = state().await;
    for line in TABLE.iter().filter(|line| line.0 == "GET") {
        for person in &people {
            let address_of = |address: &str| {
                address.replace("VICTIM", &victim.to_string()).replace("code=abc", &format!("code={code}"))
            };
            answer(person, line, address_of).await;
        }
    }
    assert_eq!(state().await, before);
    app.nobody().post("/signin/link").form(&[("code", &code)]).await.expect(303);
}
