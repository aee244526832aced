//! Who an entry is, put right by the organiser on the page of the entry; and the own name, hidden and shown by the
//! athlete on the own account's page.

use crate::account::{assert_log_holds, found};
use crate::organise::organiser;
use crate::support::{Client, HIDDEN, Reply, SALTMARSH, TestApp, grant};
use serde_json::json;
use tallywright::rules::access::{Grant, Role};
use tallywright::words::{Lang, Sentence};

const C: &str = "/api/v1/competitions/saltmarsh";
const PAGE: &str = "/organise/saltmarsh/entries/1042";
/// What everybody reads that has names on it.
const PUBLIC: [&str; 6] = [
    "/c/saltmarsh/divisions/women",
    "/c/saltmarsh/divisions/women/workouts/w1",
    "/c/saltmarsh/athletes/1042",
    "/desk/saltmarsh/quayside/wall?show=w1",
    "/api/v1/competitions/saltmarsh/entries/1042",
    "/api/v1/competitions/saltmarsh/divisions/women/standings",
];

/// Ines has a score, so that she stands everywhere.
async fn placed() -> TestApp {
    let app = TestApp::new().await;
    let sent = json!({ "performance": "6+14 tb 11:24", "attestation": { "judge": "J-1", "how": "paper_sheet" } });
    app.staff_of("quayside").await.put(&format!("{C}/workouts/w1/scores/1042")).json(sent).await.expect(201);
    app
}

/// All that everybody reads.
async fn read(app: &TestApp) -> Vec<(&'static str, String)> {
    let mut read = Vec::new();
    for address in PUBLIC {
        read.push((address, app.nobody().get(address).await.expect(200).plain()));
    }
    read
}

/// What the page shows of who it is, as its form sends it along.
fn shown(page: &Reply) -> [String; 3] {
    ["was_name", "was_email", "was_show"].map(|name| page.hidden(name))
}

/// Sends who it is, as typed over what was shown.
async fn facts(browser: &Client, csrf: &str, was: &[String; 3], fields: [&str; 3], status: u16) -> Reply {
    let [name, email, show] = fields;
    let [was_name, was_email, was_show] = was;
    let fields = [
        ("csrf", csrf),
        ("do", "facts"),
        ("was_name", was_name),
        ("was_email", was_email),
        ("was_show", was_show),
        ("name", name),
        ("email", email),
        ("show_name", show),
    ];
    browser.post(PAGE).form(&fields).await.expect(status)
}

#[tokio::test]
async fn a_name_is_put_right_without_the_birth_date_and_its_history_tells_no_old_one() {
    let app = placed().await;
    let (browser, csrf) = organiser(&app).await;
    let page = browser.get(PAGE).await.expect(200);
    let seen = shown(&page);
    let page = page.plain();
    assert!(page.contains("name=\"name\" value=\"Ines Duarte\"") && !page.contains("1996-04-02"), "{page}");
    assert!(!page.contains("What was put right"), "{page}");
    for (address, text) in read(&app).await {
        assert!(text.contains("Ines Duarte"), "{address}: {text}");
    }
    facts(&browser, &csrf, &seen, ["Inês Duarte Lima", "ines@lima.example", "shown"], 303).await;
    for (address, text) in read(&app).await {
        assert!(text.contains("Inês Duarte Lima") && !text.contains("Ines Duarte"), "{address}: {text}");
        assert!(!text.contains("lima.example") && !text.contains("E-mail changed"), "{address}: {text}");
    }
    // The history says it to everybody: what, when and who, and not what it was.
    let history = app.nobody().get("/c/saltmarsh/athletes/1042").await.expect(200).plain();
    let (_, after) = history.split_once("What was put right about this entry").expect("a history");
    assert!(after.contains("Name put right") && after.contains("Organiser"), "{after}");
    let german = app.nobody().get("/c/saltmarsh/athletes/1042").header("accept-language", "de").await;
    assert!(german.plain().contains("Name berichtigt"));
    let page = browser.get(&format!("{PAGE}?done=facts")).await.expect(200).plain();
    assert!(page.contains("Every page shows it so") && page.contains("E-mail changed"), "{page}");
    assert!(page.contains("value=\"ines@lima.example\"") && !page.contains("Ines Duarte"), "{page}");
    // Found by what is new of it.
    let find = |q: &'static str| browser.get(&format!("/organise/saltmarsh/lists/entries?q={q}"));
    assert!(find("lima").await.plain().contains("Inês Duarte Lima"));
    // The score stays, with its word.
    let score = app.nobody().get(&format!("{C}/workouts/w1/scores/1042")).await.expect(200).json();
    assert_eq!(score["state"], "attested", "{score}");
    assert_log_holds(&app).await;
}

#[tokio::test]
async fn faults_stand_beside_their_fields_and_of_two_the_second_is_asked_again() {
    let app = placed().await;
    let (browser, csrf) = organiser(&app).await;
    let seen = shown(&browser.get(PAGE).await);
    let old = &*seen[1];
    let told = facts(&browser, &csrf, &seen, ["", "not an address", "shown"], 422).await.plain();
    assert!(told.contains("href=\"#name\"") && told.contains("href=\"#email\""), "{told}");
    assert!(told.contains("value=\"not an address\""), "what was typed stays: {told}");
    facts(&browser, &csrf, &seen, ["Ines Dias", "ines@dias.example", "shown"], 303).await;
    // Of what both typed over theirs is said; of what the second left alone theirs stands in the field.
    let told = facts(&browser, &csrf, &seen, ["Ines Duarte Reis", old, "hidden"], 409).await;
    let again = shown(&told);
    let told = told.plain();
    assert!(
        told.contains("Somebody put this right meanwhile") && told.contains("Somebody else stored Ines Dias here"),
        "{told}"
    );
    assert!(told.contains("name=\"name\" value=\"Ines Duarte Reis\"") && told.contains("href=\"#name\""), "{told}");
    assert!(told.contains("name=\"email\" type=\"email\" value=\"ines@dias.example\""), "{told}");
    assert!(told.contains("value=\"hidden\" selected") && !told.contains("href=\"#email\""), "{told}");
    let name = app.nobody().get(&format!("{C}/entries/1042")).await.expect(200).json();
    assert_eq!((&name["name"], &name["show_name"]), (&json!("Ines Dias"), &json!(true)));
    // A second tap of the first finds it done.
    facts(&browser, &csrf, &seen, ["Ines Dias", "ines@dias.example", "shown"], 303).await;
    // Others have no such page, and no such form.
    for client in [app.staff_of("quayside").await, app.athlete(1042).await, app.referee().await] {
        let other = app.in_browser(&client).await;
        let csrf = other.get("/account").await.csrf();
        facts(&other, &csrf, &seen, ["Somebody Else", "", "hidden"], 403).await;
    }
    assert!(read(&app).await.iter().all(|(_, text)| text.contains("Ines Dias")));
    // Looked at, and stored again: over theirs in the name, and over nothing of theirs else.
    facts(&browser, &csrf, &again, ["Ines Duarte Reis", "ines@dias.example", "hidden"], 303).await;
    let page = browser.get(PAGE).await.expect(200);
    assert_eq!(shown(&page), ["Ines Duarte Reis", "ines@dias.example", "hidden"].map(str::to_owned));
    // An address that was taken away meanwhile is said to be.
    let seen = shown(&page);
    facts(&browser, &csrf, &seen, [&seen[0], "", "hidden"], 303).await;
    let told = facts(&browser, &csrf, &seen, [&seen[0], "other@dias.example", "hidden"], 409).await.plain();
    assert!(told.contains("Somebody else took the address away meanwhile"), "{told}");
}

/// Whoever mends a slip in a name decides nothing about whether it is shown, however old the page is.
#[tokio::test]
async fn a_slip_that_is_mended_shows_no_name_that_its_athlete_has_hidden_meanwhile() {
    let app = placed().await;
    let (browser, csrf) = organiser(&app).await;
    let seen = shown(&browser.get(PAGE).await);
    let own = app.in_browser(&app.athlete(1042).await).await;
    let own_csrf = own.get("/account").await.csrf();
    let hide = [("csrf", &*own_csrf), ("competition", "saltmarsh"), ("bib", "1042"), ("show", "no")];
    own.post("/account/name").form(&hide).await.expect(303);
    let hidden = async || {
        for (address, text) in read(&app).await {
            assert!(text.contains("Athlete 1042") && !text.contains("Duarte"), "{address}: {text}");
        }
    };
    facts(&browser, &csrf, &seen, ["Inês Duarte", &seen[1], &seen[2]], 303).await;
    hidden().await;
    // Nor by a second press, also after one that is asked again.
    let told = facts(&browser, &csrf, &seen, ["Ines Duarte Lima", &seen[1], &seen[2]], 409).await;
    hidden().await;
    let again = shown(&told);
    let told = told.plain();
    assert_eq!(again, ["Inês Duarte".to_owned(), seen[1].clone(), "hidden".to_owned()]);
    assert!(told.contains("value=\"hidden\" selected"), "{told}");
    facts(&browser, &csrf, &again, ["Ines Duarte Lima", &again[1], "hidden"], 303).await;
    hidden().await;
    assert_eq!(shown(&browser.get(PAGE).await)[0], "Ines Duarte Lima");
    // Whoever chooses it has it shown.
    let seen = shown(&browser.get(PAGE).await);
    facts(&browser, &csrf, &seen, [&seen[0], &seen[1], "shown"], 303).await;
    assert!(read(&app).await.iter().all(|(_, text)| text.contains("Ines Duarte Lima")));
    assert_log_holds(&app).await;
}

#[tokio::test]
async fn an_athlete_hides_the_own_name_and_shows_it_again() {
    let app = placed().await;
    let own = app.in_browser(&app.athlete(1042).await).await;
    let page = own.get("/account").await.expect(200);
    let csrf = page.csrf();
    let page = page.plain();
    assert!(page.contains("Saltmarsh Winter Series, bib 1042: everybody may read your name."), "{page}");
    let put = async |client: &Client, csrf: &str, bib: &str, show: &str, status: u16| {
        let fields = [("csrf", csrf), ("competition", "saltmarsh"), ("bib", bib), ("show", show)];
        client.post("/account/name").form(&fields).await.expect(status).plain()
    };
    for _ in 0..2 {
        put(&own, &csrf, "1042", "no", 303).await;
        for (address, text) in read(&app).await {
            assert!(text.contains("Athlete 1042") && !text.contains("Ines"), "{address}: {text}");
        }
    }
    let page = own.get("/account?done=name").await.expect(200).plain();
    assert!(page.contains("your name is hidden") && page.contains("Show my name"), "{page}");
    // Said once, and by whom.
    let history = app.nobody().get("/c/saltmarsh/athletes/1042").await.expect(200).plain();
    assert_eq!(history.matches("Name hidden from everybody else").count(), 1, "{history}");
    // The own gym knows it all the same, and so does the organiser.
    let staff = app.in_browser(&app.staff_of("quayside").await).await;
    assert!(staff.get("/desk/saltmarsh/quayside/w1/1042").await.expect(200).plain().contains("Ines Duarte"));
    let (organiser, _) = organiser(&app).await;
    assert!(organiser.get(PAGE).await.expect(200).plain().contains("value=\"hidden\" selected"));
    // What is read instead is called alike wherever it is told.
    for (tongue, lang) in [("en", Lang::En), ("de", Lang::De)] {
        let read = Sentence::new("hidden_name").with("bib", 1042).say(lang);
        let word = read.replace("1042", "");
        let word = word.trim_matches(|c: char| !c.is_alphabetic());
        for (client, address) in [(&own, "/account"), (&organiser, PAGE)] {
            let page = client.get(address).header("accept-language", tongue).await.expect(200).plain();
            let quoted = [format!("“{word}”"), format!("„{word}“")];
            assert!(quoted.iter().any(|quoted| page.contains(quoted)), "{word}: {page}");
        }
    }
    // Nobody else's, and nobody else.
    put(&own, &csrf, "1043", "no", 403).await;
    put(&own, &csrf, "", "no", 403).await;
    for other in [&staff, &organiser, &app.in_browser(&app.athlete(1043).await).await] {
        let csrf = other.get("/account").await.csrf();
        put(other, &csrf, "1042", "yes", 403).await;
    }
    assert!(read(&app).await.iter().all(|(_, text)| !text.contains("Ines")));
    put(&own, &csrf, "1042", "yes", 303).await;
    assert!(read(&app).await.iter().all(|(_, text)| text.contains("Ines Duarte")));
    assert_log_holds(&app).await;
}

#[tokio::test]
async fn under_18_the_account_says_who_decides_and_the_organiser_does() {
    let app = placed().await;
    let entry = json!({ "bib": 4711, "name": "Lia Quorzella", "born": "2010-06-01", "category": "women",
        "division": "women", "gym": "quayside", "guardian_consent": true });
    app.organiser().await.post(&format!("{C}/entries")).json(entry).await.expect(201);
    let role = Grant { bib: Some(4711), ..grant(Role::Athlete, Some(SALTMARSH)) };
    let own = app.browser("lia@example.org", &[role]).await;
    let page = own.get("/account").await.expect(200);
    let csrf = page.csrf();
    let page = page.plain();
    assert!(
        page.contains("Under 18 the organiser decides this") && !page.contains("action=\"/account/name\""),
        "{page}"
    );
    let fields = [("csrf", &*csrf), ("competition", "saltmarsh"), ("bib", "4711"), ("show", "yes")];
    let told = own.post("/account/name").form(&fields).await.expect(403).plain();
    assert!(told.contains("Under 18 the organiser decides whether a name is shown"), "{told}");
    let public = "/c/saltmarsh/athletes/4711";
    assert!(!app.nobody().get(public).await.expect(200).plain().contains("Lia"));
    let (browser, csrf) = organiser(&app).await;
    let page = "/organise/saltmarsh/entries/4711";
    let page_shown = browser.get(page).await.expect(200);
    assert!(page_shown.plain().contains("Under 18 you decide, with the guardian"));
    let [name, email, show] = shown(&page_shown);
    let fields = [
        ("csrf", &*csrf),
        ("do", "facts"),
        ("was_name", &*name),
        ("was_email", &*email),
        ("was_show", &*show),
        ("name", &*name),
        ("email", &*email),
        ("show_name", "shown"),
    ];
    browser.post(page).form(&fields).await.expect(303);
    let text = app.nobody().get(public).await.expect(200).plain();
    assert!(text.contains("Lia Quorzella") && text.contains("Name shown to everybody"), "{text}");
}

/// What came by post after the list was sent: a list would need the whole row again.
#[tokio::test]
async fn a_guardians_consent_is_noted_by_the_organiser_and_told_to_nobody_else() {
    let app = placed().await;
    let entry = json!({ "bib": 4711, "name": "Lia Quorzella", "born": "2010-06-01", "category": "women",
        "division": "women", "gym": "quayside" });
    let organiser_api = app.organiser().await;
    let told = organiser_api.post(&format!("{C}/entries")).json(entry.clone()).await.expect(201).text();
    assert!(told.contains("guardian_consent_missing"), "{told}");
    let (browser, csrf) = organiser(&app).await;
    let page = "/organise/saltmarsh/entries/4711";
    let has = async |value: &str| {
        let text = browser.get(page).await.expect(200).plain();
        assert!(text.contains(&format!("<option value=\"{value}\" selected>")), "{value}: {text}");
        text
    };
    has("missing").await;
    let list = "/organise/saltmarsh/lists/entries?only=no-consent";
    let without = async || browser.get(list).await.expect(200).plain();
    let text = without().await;
    assert!(text.contains("1 under 18") && text.contains("Lia Quorzella") && !text.contains("Ines"), "{text}");
    let store = async |was: &str, value: &str| {
        let seen = shown(&browser.get(page).await);
        let fields = [
            ("csrf", &*csrf),
            ("do", "facts"),
            ("was_name", &*seen[0]),
            ("was_email", &*seen[1]),
            ("was_show", &*seen[2]),
            ("was_consent", was),
            ("name", &*seen[0]),
            ("email", &*seen[1]),
            ("show_name", &*seen[2]),
            ("guardian_consent", value),
        ];
        browser.post(page).form(&fields).await
    };
    store("missing", "given").await.expect(303);
    let text = has("given").await;
    assert!(text.contains("Guardian’s consent changed"), "{text}");
    let text = without().await;
    assert!(text.contains("Nobody who is entered under 18") && !text.contains("Lia"), "{text}");
    // Sent once more by a list, nothing is missing.
    let told = organiser_api.post(&format!("{C}/entries")).json(entry).await.text();
    assert!(!told.contains("guardian_consent_missing"), "{told}");
    // Somebody else noted it meanwhile, and this page is of before.
    store("missing", "given").await.expect(303);
    store("given", "missing").await.expect(303);
    has("missing").await;
    store("given", "given").await.expect(303);
    has("missing").await;
    // Of whom it is not asked it is not shown, and nobody else is told of it.
    assert!(!browser.get(PAGE).await.expect(200).plain().contains("guardian_consent"));
    for client in [app.nobody(), app.in_browser(&app.referee().await).await] {
        let text = client.get("/c/saltmarsh/athletes/4711").await.expect(200).plain();
        assert!(!text.to_lowercase().contains("consent"), "{text}");
    }
}

/// Who was erased is nobody to be put right: there is no form, and nothing of them in the one that is sent.
#[tokio::test]
async fn who_was_erased_is_not_put_right() {
    let app = placed().await;
    let (browser, csrf) = organiser(&app).await;
    let seen = shown(&browser.get(PAGE).await);
    browser.erases("erase_bib", "1042").await.expect(303);
    let page = browser.get(PAGE).await.expect(200).plain();
    assert!(!page.contains("name=\"was_name\""), "{page}");
    let told = facts(&browser, &csrf, &seen, ["Ines Duarte", "", "shown"], 422).await.plain();
    assert!(told.contains("The person behind 1042 was erased"), "{told}");
    assert!(read(&app).await.iter().all(|(_, text)| !text.contains("Ines")));
}

#[tokio::test]
async fn of_who_was_put_right_and_then_erased_nothing_is_left() {
    let app = placed().await;
    let (browser, csrf) = organiser(&app).await;
    for (name, email) in [
        ("Quorzella Vexwhistle", "one@zephyrine.box"),
        ("Quorzella Vexwhistle-Reis", "quorzella@zephyrine.box"),
        ("Ines Dias", ""),
    ] {
        let seen = shown(&browser.get(PAGE).await);
        facts(&browser, &csrf, &seen, [name, email, "shown"], 303).await;
    }
    browser.erases("erase_bib", "1042").await.expect(303);
    assert_eq!(found(&app), Vec::<&str>::new());
    assert_log_holds(&app).await;
}

/// A competition that only those with a role in it see is one like any other for whose name stands there.
#[tokio::test]
async fn a_name_is_hidden_in_a_private_competition_too() {
    let app = TestApp::new().await;
    let role = |bib, slug| Grant { bib: Some(bib), ..grant(Role::Athlete, Some(slug)) };
    let own = app.browser("ines@example.org", &[role(1042, HIDDEN)]).await;
    let other = app.browser("rita@example.org", &[role(1043, HIDDEN)]).await;
    let public = format!("/c/{HIDDEN}/athletes/1042");
    assert!(other.get(&public).await.expect(200).plain().contains("Ines Duarte"));
    let page = own.get("/account").await.expect(200);
    let csrf = page.csrf();
    let page = page.plain();
    assert_eq!(page.matches("action=\"/account/name\"").count(), 1, "{page}");
    assert!(page.contains("bib 1042: everybody may read your name."), "{page}");
    let fields = [("csrf", &*csrf), ("competition", HIDDEN), ("bib", "1042"), ("show", "no")];
    own.post("/account/name").form(&fields).await.expect(303);
    let told = other.get(&public).await.expect(200).plain();
    assert!(told.contains("Athlete 1042") && !told.contains("Ines"), "{told}");
    assert!(own.get("/account").await.expect(200).plain().contains("Show my name"));
    app.nobody().get(&public).await.expect(404);
    let csrf = other.get("/account").await.csrf();
    let fields = [("csrf", &*csrf), ("competition", HIDDEN), ("bib", "1042"), ("show", "yes")];
    other.post("/account/name").form(&fields).await.expect(403);
}

/// Who presses again and again fills no page with it, and what else was put right stands there all the same.
#[tokio::test]
async fn a_name_that_is_hidden_and_shown_again_and_again_is_one_line_of_the_history() {
    let app = placed().await;
    let (browser, csrf) = organiser(&app).await;
    let own = app.in_browser(&app.athlete(1042).await).await;
    let own_csrf = own.get("/account").await.csrf();
    let press = async || {
        for show in ["no", "yes", "no", "yes"] {
            let fields = [("csrf", &*own_csrf), ("competition", "saltmarsh"), ("bib", "1042"), ("show", show)];
            own.post("/account/name").form(&fields).await.expect(303);
        }
    };
    press().await;
    let seen = shown(&browser.get(PAGE).await);
    facts(&browser, &csrf, &seen, ["Ines Dias", &seen[1], "shown"], 303).await;
    press().await;
    let page = app.nobody().get("/c/saltmarsh/athletes/1042").await.expect(200).plain();
    let (_, after) = page.split_once("What was put right about this entry").expect("a history");
    assert!(after.contains("<summary>History: 3 changes</summary>"), "{after}");
    assert_eq!(after.matches("Name shown to everybody").count(), 2, "{after}");
    assert!(after.contains("Name put right") && !after.contains("Name hidden"), "{after}");
}
