//! Codes for athletes: made and printed by their gym, used once, and no help to who guesses.

use crate::support::{Client, SALTMARSH, TestApp, grant};
use serde_json::{Value, json};
use tallywright::actions::upkeep;
use tallywright::rules::access::{Grant, Role};

const CODES: &str = "/api/v1/competitions/saltmarsh/gyms/quayside/claim-codes";

/// Codes of quayside by bib, as its staff gets them.
async fn codes(app: &TestApp, bibs: Value) -> Vec<(u64, String)> {
    let made = app.staff_of("quayside").await.post(CODES).json(json!({ "bibs": bibs })).await.expect(200).json();
    let made = made.as_array().expect("a list").iter();
    made.map(|c| (c["bib"].as_u64().expect("a bib"), c["code"].as_str().expect("a code").to_owned())).collect()
}

fn sent(bib: u64, code: &str) -> Value {
    json!({ "competition": "saltmarsh", "bib": bib, "code": code })
}

fn with_account(bib: u64, code: &str, email: &str, password: &str) -> Value {
    json!({ "competition": "saltmarsh", "bib": bib, "code": code, "email": email, "password": password })
}

async fn roles(client: &Client) -> Vec<Value> {
    client.get("/api/v1/me").await.expect(200).json()["roles"].as_array().expect("roles").clone()
}

#[tokio::test]
async fn codes_that_cannot_be_made_leave_what_was_ticked_and_looked_for() {
    let app = TestApp::new().await;
    let staff = app.in_browser(&app.staff_of("quayside").await).await;
    let page = staff.get("/desk/saltmarsh/quayside/codes?q=1042").await.expect(200);
    assert!(page.text().contains("name=\"q\" value=\"1042\""));
    // Everything is over: no code is made any more.
    app.set_clock("2028-01-14T12:00:00Z");
    let staff = app.in_browser(&app.staff_of("quayside").await).await;
    let csrf = staff.get("/account").await.expect(200).csrf();
    let fields = [("csrf", &*csrf), ("q", "1042"), ("bib-1042", "yes"), ("as", "csv"), ("for", "picked")];
    let again = staff.post("/desk/saltmarsh/quayside/codes").form(&fields).await.expect(409).text();
    assert!(
        again.contains("name=\"bib-1042\" value=\"yes\" checked") && again.contains("value=\"csv\" checked"),
        "{again}"
    );
    assert!(!again.contains("name=\"bib-1043\"") && again.contains("name=\"q\" value=\"1042\""), "{again}");
}

#[tokio::test]
async fn an_athlete_makes_an_account_with_the_code_of_a_slip_and_enters_their_own_score() {
    let app = TestApp::new().await;
    let staff = app.in_browser(&app.staff_of("quayside").await).await;
    let page = staff.get("/desk/saltmarsh/quayside/codes").await.expect(200);
    assert_eq!(page.text().matches("none yet").count(), 3);
    assert!(!page.text().contains("Noor"), "of another gym");
    let slips = staff.post("/desk/saltmarsh/quayside/codes").form(&[("csrf", &page.csrf()), ("for", "rest")]).await;
    // The page that follows shows them for two minutes, should it break off: loading it again makes none anew.
    let slips = staff.follow(&slips.expect(303)).await.expect(200);
    assert_eq!(slips.header("cache-control"), "no-store");
    assert!(slips.header("set-cookie").ends_with("Max-Age=120"), "{}", slips.header("set-cookie"));
    let text = slips.text();
    assert_eq!(text.matches("<code>").count(), 3);
    assert!(text.contains("Ines Duarte") && text.contains("/claim?c=saltmarsh"), "{text}");
    let code = text.split_once("1042</dd>").and_then(|(_, r)| r.split_once("<code>")).expect("a code").1;
    let code = code.split_once('<').expect("its end").0.to_owned();
    let listed = staff.get("/desk/saltmarsh/quayside/codes").await.text();
    assert!(listed.contains("<td>made ") && !listed.contains(&code), "shown once: {listed}");
    assert!(!page.text().contains("value=\"unused\"") && listed.contains("value=\"unused\""), "once some are out");

    let form = app.nobody().get("/claim?c=saltmarsh").await.expect(200);
    assert!(form.text().contains("name=\"c\" value=\"saltmarsh\""));
    let typed = code.to_lowercase().replace('-', " ");
    let fields = [
        ("c", "saltmarsh"),
        ("bib", "1042"),
        ("code", &typed),
        ("email", "ines@example.org"),
        ("password", "three old oars"),
    ];
    let done = app.nobody().post("/claim").form(&fields).await.expect(303);
    assert_eq!(done.header("location"), "/c/saltmarsh/athletes/1042");
    let cookie = done.header("set-cookie").split_once('=').and_then(|(_, v)| v.split_once(';')).expect("a cookie").0;
    let athlete = app.nobody().with_cookie(cookie);
    assert_eq!(roles(&athlete).await, [json!({ "role": "athlete", "competition": "saltmarsh", "bib": 1042 })]);
    let score = "/api/v1/competitions/saltmarsh/workouts/w1/scores/1042";
    athlete.put(score).json(json!({ "performance": "6+14 tb 11:24" })).await.expect(201);
    let other = "/api/v1/competitions/saltmarsh/workouts/w1/scores/1043";
    athlete.put(other).json(json!({ "performance": "6+14 tb 11:24" })).await.expect(403);
    assert!(staff.get("/desk/saltmarsh/quayside/codes").await.text().contains("used: signed in"));
    // Once, but for who has made that account with it.
    let mut others = fields;
    others[4].1 = "three new oars";
    let again = app.nobody().post("/claim").form(&others).await.expect(422);
    assert!(again.text().contains("href=\"#code\"") && !again.text().contains("three old oars"));
    app.nobody()
        .post("/api/v1/session")
        .json(json!({ "email": "ines@example.org", "password": "three old oars" }))
        .await
        .expect(201);
}

#[tokio::test]
async fn who_is_signed_in_keeps_their_account_and_a_known_address_needs_its_password() {
    let app = TestApp::new().await;
    let made = codes(&app, json!([1042, 1043, 1044])).await;
    let staff = app.staff_of("quayside").await;
    staff.post("/api/v1/claims").json(sent(1042, &made[0].1)).await.expect(200);
    assert_eq!(roles(&staff).await.len(), 2);
    app.db_account("rita@example.org", Some("three old oars"), &[]).await;
    let wrong = with_account(1043, &made[1].1, "rita@example.org", "not hers at all");
    assert_eq!(app.nobody().post("/api/v1/claims").json(wrong).await.expect(401).code(), "wrong_sign_in");
    let right = with_account(1043, &made[1].1, "Rita@example.org", "three old oars");
    app.nobody().post("/api/v1/claims").json(right).await.expect(200);
    let weak = with_account(1044, &made[2].1, "tomas@example.org", "password123");
    let refused = app.nobody().post("/api/v1/claims").json(weak).await.expect(422);
    assert_eq!(refused.errors(), ["/password password_common"]);
    let none = app.nobody().post("/api/v1/claims").json(sent(1044, &made[2].1)).await.expect(422);
    assert_eq!(none.errors(), ["/email claim_needs_email", "/password claim_needs_password"]);
    let fine = with_account(1044, &made[2].1, "tomas@example.org", "three new oars");
    app.nobody().post("/api/v1/claims").json(fine).await.expect(200);
}

/// An answer that was lost, or slips that were: new ones for all who have not used theirs, by one button.
#[tokio::test]
async fn slips_that_are_lost_are_made_anew_for_all_who_have_not_used_theirs() {
    let app = TestApp::new().await;
    let first = codes(&app, json!([1042, 1043])).await;
    let somebody = app.stranger().await;
    somebody.post("/api/v1/claims").json(sent(1043, &first[1].1)).await.expect(200);
    let staff = app.in_browser(&app.staff_of("quayside").await).await;
    let address = "/desk/saltmarsh/quayside/codes";
    let csrf = staff.get(address).await.expect(200).csrf();
    let unsure = [("csrf", &*csrf), ("for", "unused")];
    let asked = staff.post(address).form(&unsure).await.expect(422).plain();
    assert!(asked.contains("href=\"#sure\">Tick that the codes of now may end") && asked.contains("<details open>"));
    let german = staff.post(address).header("accept-language", "de").form(&unsure).await.expect(422).plain();
    assert!(german.contains("Hak ab, dass die jetzigen Codes enden dürfen"), "{german}");
    let sure = [unsure.as_slice(), &[("sure", "yes")]].concat();
    let made = staff.post(address).form(&sure).await.expect(303);
    let text = staff.follow(&made).await.expect(200).text();
    assert!(!text.contains("value=\"next\""), "all have one: {text}");
    assert!(text.contains("Ines Duarte") && text.contains("Tomás Brito") && !text.contains("Rita Alves"), "{text}");
    assert_eq!(text.matches("<code>").count(), 2);
    somebody.post("/api/v1/claims").json(sent(1042, &first[0].1)).await.expect(422);
}

/// More than get a code at once: each page of slips says how many are left and makes the next, each once.
#[tokio::test]
async fn new_codes_for_many_are_a_round_that_ends() {
    const MANY: u32 = 203;
    let app = TestApp::new().await;
    let rows = (0..MANY).map(|n| format!("{},Runner {n},1995-05-05,women,women\n", 3_001 + n));
    let alone = std::iter::once("bib,name,born,category,division\n".to_owned()).chain(rows).collect::<String>();
    app.organiser().await.post("/api/v1/competitions/saltmarsh/entries").csv(&alone).await.expect(200);
    let organiser = app.in_browser(&app.organiser().await).await;
    let address = "/organise/saltmarsh/codes";
    let csrf = organiser.get(address).await.expect(200).csrf();
    let sure = [("csrf", &*csrf), ("for", "unused"), ("sure", "yes")];
    let made = organiser.post(address).form(&sure).await.expect(303);
    let slips = organiser.follow(&made).await.expect(200);
    let (text, german) = (slips.plain(), organiser.clone().with(http::header::ACCEPT_LANGUAGE, "de"));
    assert_eq!(text.matches("<code>").count(), 200);
    assert!(text.contains("Still to get a new code: 3.") && text.contains(">Make the next</button>"), "{text}");
    let said = german.follow(&made).await.expect(200).plain();
    assert!(said.contains("Noch ohne neuen Code: 3.") && said.contains(">Die nächsten machen<"), "{said}");
    // The list, come to from there, goes on with it too.
    let (round, printed) = (slips.hidden("round"), slips.hidden("last"));
    let list = organiser.get(&format!("{address}?round={round}&last={printed}")).await.expect(200).plain();
    assert!(list.contains("Still to get a new code: 3."), "{list}");
    let back = format!("href=\"{address}?round={round}&last={printed}\"");
    assert!(text.replace("&#38;", "&").contains(&back), "{back} in {text}");
    app.set_clock("2027-01-14T12:05:00Z");
    let next = [("csrf", &*csrf), ("for", "next"), ("round", &*round), ("last", &*printed)];
    let made = organiser.post(address).form(&next).await.expect(303);
    let rest = organiser.follow(&made).await.expect(200).plain();
    assert_eq!(rest.matches("<code>").count(), 3);
    assert!(!rest.contains("value=\"next\"") && !rest.contains("are to get a new code"), "it is complete: {rest}");
    // A second tap makes none that end those, and says that their slips are to be seen.
    app.set_clock("2027-01-14T12:06:00Z");
    let told = organiser.post(address).form(&next).await.expect(409).plain();
    assert!(told.contains("Codes were made after your last slips") && told.contains("somebody else: 3."), "{told}");
    let told = german.post(address).form(&next).await.expect(409).plain();
    assert!(told.contains("Seit deinen letzten Zetteln sind Codes erstellt worden"), "{told}");
    // As files: the page stays where it is, the name of each says how many are left, and then there is no more.
    let page = organiser.get(address).await.expect(200);
    let shown = page.hidden("shown");
    let file = [("csrf", &*csrf), ("for", "unused"), ("as", "csv"), ("sure", "yes"), ("shown", &*shown)];
    let (mut seen, mut names) = (std::collections::BTreeSet::new(), Vec::new());
    for _ in 0..2 {
        app.set_clock(if names.is_empty() { "2027-01-14T12:07:00Z" } else { "2027-01-14T12:08:00Z" });
        let made = organiser.post(address).form(&file).await.expect(200);
        names.push(made.header("content-disposition").to_owned());
        seen.extend(made.text().lines().skip(1).filter_map(|row| row.split(',').next()).map(str::to_owned));
    }
    assert_eq!(u32::try_from(seen.len()).ok(), Some(MANY), "each has one new code");
    assert!(names[0].contains("codes-saltmarsh-no-gym-3-more.csv") && names[1].contains("-no-gym.csv"), "{names:?}");
    let told = organiser.post(address).form(&file).await.expect(422).plain();
    assert!(told.contains("All who have not used their code have a new one by now."), "{told}");
    let told = german.post(address).form(&file).await.expect(422).plain();
    assert!(told.contains("haben inzwischen einen neuen"), "{told}");
}

#[tokio::test]
async fn a_new_code_takes_the_place_of_the_old_one_and_of_nobody_elses() {
    let app = TestApp::new().await;
    let first = codes(&app, json!([1042, 1043])).await;
    let second = codes(&app, json!([1042])).await;
    assert_ne!(first[0].1, second[0].1);
    let somebody = app.stranger().await;
    somebody.post("/api/v1/claims").json(sent(1042, &first[0].1)).await.expect(422);
    somebody.post("/api/v1/claims").json(sent(1043, &second[0].1)).await.expect(422);
    somebody.post("/api/v1/claims").json(sent(1042, &second[0].1)).await.expect(200);
    somebody.post("/api/v1/claims").json(sent(1043, &first[1].1)).await.expect(200);
    // The rest: who has neither a code nor used one.
    let rest = app.staff_of("quayside").await.post(CODES).json(json!({})).await.expect(200).json();
    assert_eq!(rest.as_array().map(Vec::len), Some(1));
    let strange = app.staff_of("quayside").await.post(CODES).json(json!({ "bibs": [2001, 9] })).await.expect(422);
    assert_eq!(strange.errors(), ["/bibs code_not_of_gym", "/bibs code_not_of_gym"]);
    let csv = app.organiser().await.post(CODES).accept("text/csv").json(json!({ "bibs": [1044] })).await.expect(200);
    assert!(csv.text().starts_with("bib,name,code,address,until\r\n1044,"), "{}", csv.text());
}

#[tokio::test]
async fn an_answer_says_nothing_about_which_bibs_and_competitions_there_are() {
    let app = TestApp::new().await;
    let made = codes(&app, json!([1042])).await;
    let hidden = "/api/v1/competitions/hidden/gyms/quayside/claim-codes";
    app.administrator().await.post(hidden).json(json!({})).await.expect(200);
    let mut answers = Vec::new();
    // With a code that is open, without one, no such bib, no such competition, a private one.
    for (competition, bib) in
        [("saltmarsh", 1042), ("saltmarsh", 1043), ("saltmarsh", 999), ("none", 1042), ("hidden", 1042)]
    {
        let body = json!({ "competition": competition, "bib": bib, "code": "CCCC-DDDD",
            "email": "new@example.org", "password": "three old oars" });
        let reply = app.nobody().post("/api/v1/claims").json(body).await.expect(422);
        let mut body = reply.json();
        body["request_id"] = Value::Null;
        answers.push(body);
    }
    assert!(answers.windows(2).all(|pair| pair[0] == pair[1]), "{answers:#?}");
    assert_eq!(answers[0]["errors"][0]["code"], "wrong_code");
    app.nobody()
        .post("/api/v1/session")
        .json(json!({ "email": "new@example.org", "password": "three old oars" }))
        .await
        .expect(401);
    app.stranger().await.post("/api/v1/claims").json(sent(1042, &made[0].1)).await.expect(200);
}

#[tokio::test]
async fn guessing_is_throttled_by_bib_and_by_address() {
    let app = TestApp::new().await;
    let made = codes(&app, json!([1042])).await;
    let guesser = app.nobody().seen_from("198.51.100.7");
    let guess =
        || guesser.post("/api/v1/claims").json(with_account(1042, "CCCC-DDDD", "a@example.org", "three old oars"));
    for _ in 0..10 {
        guess().await.expect(422);
    }
    let told = guess().await.expect(429);
    assert!(told.header("retry-after").parse::<u64>().is_ok_and(|s| s > 0));
    // The athlete, from elsewhere, is not kept out.
    let athlete = app.nobody().seen_from("198.51.100.8");
    let right = with_account(1042, &made[0].1, "ines@example.org", "three old oars");
    athlete.post("/api/v1/claims").json(right).await.expect(200);
}

#[tokio::test]
async fn codes_end_with_the_competition_and_with_the_athletes_erasure() {
    let app = TestApp::new().await;
    let made = codes(&app, json!([1042, 1043])).await;
    let organiser = app.in_browser(&app.organiser().await).await;
    organiser.erases("erase_bib", "1043").await.expect(303);
    let somebody = app.stranger().await;
    somebody.post("/api/v1/claims").json(sent(1043, &made[1].1)).await.expect(422);
    app.set_clock("2027-03-01T12:00:00Z");
    somebody.post("/api/v1/claims").json(sent(1042, &made[0].1)).await.expect(422);
    let late = app.staff_of("quayside").await.post(CODES).json(json!({ "bibs": [1042] })).await.expect(409);
    assert_eq!(late.code(), "codes_over");
    let staff = app.in_browser(&app.staff_of("quayside").await).await;
    let page = staff.get("/desk/saltmarsh/quayside/codes").await.expect(200).text();
    assert!(page.contains("Codes held until <time") && !page.contains("value=\"picked\""), "{page}");
    for verified in upkeep::verify(&app.app, None).await.expect("verified") {
        assert_eq!(verified.difference, None);
    }
}

#[tokio::test]
async fn of_a_code_only_a_slow_hash_is_kept() {
    let app = TestApp::new().await;
    let made = codes(&app, json!([1042])).await;
    let known = app.app.store.find_competition(SALTMARSH).await.expect("read").expect("there");
    let hash = app.app.store.find_claim(known.id, 1042).await.expect("read").expect("a hash");
    assert!(hash.starts_with("$argon2id$") && !hash.contains(&made[0].1.replace('-', "")), "{hash}");
}

/// Somebody makes an account under another person's address and waits for what it will be given.
#[tokio::test]
async fn a_role_for_an_address_goes_to_its_owner_and_not_to_who_took_it_with_a_code() {
    let app = TestApp::new().await;
    let made = codes(&app, json!([1042])).await;
    let squat = with_account(1042, &made[0].1, "ana@quayside.example", "three old oars");
    let begun = app.nobody().post("/api/v1/claims").json(squat).await.expect(200);
    let cookie = begun.header("set-cookie").split_once('=').and_then(|(_, v)| v.split_once(';')).expect("a cookie").0;
    let squatter = app.nobody().with_cookie(cookie);
    squatter.get("/api/v1/me").await.expect(200);
    let account = begun.json()["account"].as_i64().expect("a number");
    let staff = json!({ "role": "staff", "competition": "saltmarsh", "gym": "quayside" });
    let direct = format!("/api/v1/accounts/{account}/roles");
    let refused = app.organiser().await.post(&direct).json(json!({ "roles": [staff.clone()] })).await.expect(409);
    assert_eq!(refused.code(), "address_unconfirmed");
    let invited = json!({ "email": "ana@quayside.example", "roles": [staff] });
    let invited = app.organiser().await.post("/api/v1/accounts").json(invited).await.expect(200).json();
    squatter.get("/api/v1/me").await.expect(401);
    let old = json!({ "email": "ana@quayside.example", "password": "three old oars" });
    app.nobody().post("/api/v1/session").json(old).await.expect(401);
    let code = invited["link"].as_str().and_then(|l| l.split_once("code=")).expect("a link").1;
    app.nobody().post("/api/v1/session").json(json!({ "code": code })).await.expect(201);
}

#[tokio::test]
async fn codes_are_for_the_own_gyms_athletes_alone() {
    let app = TestApp::new().await;
    let athlete = Grant { bib: Some(1042), ..grant(Role::Athlete, Some(SALTMARSH)) };
    let client = app.somebody("own@example.org", &[athlete]).await;
    client.post(CODES).json(json!({})).await.expect(403);
    app.staff_of("millpond").await.post(CODES).json(json!({})).await.expect(403);
    app.staff_of("millpond").await.post(&CODES.replace("quayside", "nowhere")).json(json!({})).await.expect(403);
    app.organiser().await.post(&CODES.replace("quayside", "nowhere")).json(json!({})).await.expect(404);
}

#[tokio::test]
async fn an_athlete_without_a_gym_gets_a_code_from_the_organiser_and_enters_their_own_score_by_page() {
    let app = TestApp::new().await;
    let alone = "bib,name,born,category,division\n3001,Marta Reis,1995-05-05,women,women\n";
    app.organiser().await.post("/api/v1/competitions/saltmarsh/entries").csv(alone).await.expect(200);
    let organiser = app.in_browser(&app.organiser().await).await;
    let page = organiser.get("/organise/saltmarsh/codes").await.expect(200);
    assert!(page.text().contains("Marta Reis") && !page.text().contains("Ines Duarte"), "{}", page.text());
    let slips = organiser.post("/organise/saltmarsh/codes").form(&[("csrf", &page.csrf()), ("for", "rest")]).await;
    let text = organiser.follow(&slips.expect(303)).await.expect(200).text();
    assert_eq!(text.matches("<code>").count(), 1);
    let code = text.split_once("<code>").and_then(|(_, r)| r.split_once('<')).expect("a code").0.to_owned();
    let staff = app.in_browser(&app.staff_of("quayside").await).await;
    staff.get("/organise/saltmarsh/codes").await.expect(403);
    let fields = [
        ("c", "saltmarsh"),
        ("bib", "3001"),
        ("code", code.as_str()),
        ("email", "marta@example.org"),
        ("password", "three old oars"),
    ];
    let done = app.nobody().post("/claim").form(&fields).await.expect(303);
    let cookie = done.header("set-cookie").split_once('=').and_then(|(_, v)| v.split_once(';')).expect("a cookie").0;
    let athlete = app.nobody().with_cookie(cookie);
    let path = "/c/saltmarsh/athletes/3001/workouts/w1";
    let own = athlete.get("/c/saltmarsh/athletes/3001").await.expect(200).text();
    assert!(own.contains(&format!("href=\"{path}\"")), "{own}");
    let form = athlete.get(path).await.expect(200);
    assert!(!form.text().contains("name=\"judge\""), "nobody vouches for their own");
    let send = |performance: &str| {
        let sent = [
            ("csrf", form.csrf()),
            ("performance", performance.to_owned()),
            ("video", "https://v.example/1".to_owned()),
        ];
        let sent: Vec<(String, String)> = sent.into_iter().map(|(n, v)| (n.to_owned(), v)).collect();
        let sent: Vec<(&str, &str)> = sent.iter().map(|(n, v)| (n.as_str(), v.as_str())).collect();
        athlete.post(path).form(&sent)
    };
    let wrong = send("5+44 tb 11:24").await.expect(422).text();
    assert!(wrong.contains("write 6+0") && wrong.contains("5+44 tb 11:24"), "{wrong}");
    let stored = send("5+12 tb 11:24").await.expect(303);
    assert_eq!(stored.header("location"), "/c/saltmarsh/athletes/3001?saved=w1#w-w1");
    let score =
        app.organiser().await.get("/api/v1/competitions/saltmarsh/workouts/w1/scores/3001").await.expect(200).json();
    assert_eq!((&score["state"], &score["gym"]), (&json!("entered"), &Value::Null), "{score}");
    let page = athlete.get(path).await.expect(200).text();
    assert!(page.contains(&format!("action=\"{path}/withdrawal\"")), "{page}");
    let etag = score["etag"].as_str().expect("an etag").to_owned();
    let csrf = form.csrf();
    let taken = [("csrf", csrf.as_str()), ("etag", etag.as_str())];
    athlete.post(&format!("{path}/withdrawal")).form(&taken).await.expect(303);
    // Nobody else's.
    athlete.get("/c/saltmarsh/athletes/1042/workouts/w1").await.expect(403);
    app.nobody().get(path).await.expect(401);
}

/// The organiser of one competition does not come into what somebody has in another, by giving a role to an
/// address that nobody has shown to be theirs.
#[tokio::test]
async fn a_role_takes_over_no_account_that_takes_part_elsewhere() {
    let app = TestApp::new().await;
    app.db_competition("second", false).await;
    let (store, now) = (&app.app.store, app.app.clock.now());
    let add = async |email: &str, competition: &str| {
        let account = app.db_unconfirmed(email, "$argon2id$…").await;
        let athlete = Grant {
            role: Role::Athlete,
            competition: Some(competition.to_owned()),
            gym: None,
            bib: Some(1042),
            judge: None,
        };
        store.add_grants(account, &[athlete], now).await.unwrap();
        account
    };
    let there = add("there@example.org", "second").await;
    add("here@example.org", "saltmarsh").await;
    let give = |email: &str| json!({ "email": email, "roles": [{ "role": "referee", "competition": "saltmarsh" }] });
    let organiser = app.organiser().await;
    let refused = organiser.post("/api/v1/accounts").json(give("there@example.org")).await.expect(422);
    assert_eq!(refused.json()["errors"][0]["code"], "account_unproven");
    let account = store.find_account(there).await.unwrap().unwrap();
    assert_eq!((account.password_hash.as_deref(), account.confirmed), (Some("$argon2id$…"), false), "as it was");
    assert_eq!(store.list_grants_of(there).await.unwrap().len(), 1);
    // All that this one has is the organiser's to give and take.
    let taken = organiser.post("/api/v1/accounts").json(give("here@example.org")).await;
    assert!(taken.status.is_success() && taken.json()["link"].is_string(), "{}", taken.json());
    let anybody = app.administrator().await.post("/api/v1/accounts").json(give("there@example.org")).await;
    assert!(anybody.status.is_success() && anybody.json()["link"].is_string(), "{}", anybody.json());
}
