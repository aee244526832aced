//! Who an entry is, put right by the organiser on the page of the entry; and the own name, hidden and shown by the
//! athlete on the own account's page.

use crate::account::assert_log_holds;
use crate::organise::organiser;
use crate::support::{Client, SALTMARSH, TestApp, grant};
use serde_json::json;
use tallywright::rules::access::{Grant, Role};

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

async fn facts(browser: &Client, csrf: &str, seen: &str, fields: [&str; 3], status: u16) -> String {
    let [name, email, show] = fields;
    let fields =
        [("csrf", csrf), ("do", "facts"), ("facts_seen", seen), ("name", name), ("email", email), ("show_name", show)];
    browser.post(PAGE).form(&fields).await.expect(status).plain()
}

#[tokio::test]
async fn a_name_is_put_right_without_the_birth_date_and_its_history_tells_no_old_one() {
    let app = placed().await;
    let (browser, csrf) = organiser(&app).await;
    let page = browser.get(PAGE).await.expect(200);
    let seen = page.hidden("facts_seen");
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
    let seen = browser.get(PAGE).await.hidden("facts_seen");
    let told = facts(&browser, &csrf, &seen, ["", "not an address", "shown"], 422).await;
    assert!(told.contains("href=\"#name\"") && told.contains("href=\"#email\""), "{told}");
    assert!(told.contains("value=\"not an address\""), "what was typed stays: {told}");
    facts(&browser, &csrf, &seen, ["Ines Dias", "", "shown"], 303).await;
    let told = facts(&browser, &csrf, &seen, ["Ines Duarte Reis", "", "hidden"], 409).await;
    assert!(
        told.contains("Somebody put this right meanwhile") && told.contains("value=\"Ines Duarte Reis\""),
        "{told}"
    );
    assert!(told.contains("value=\"hidden\" selected"), "{told}");
    let name = app.nobody().get(&format!("{C}/entries/1042")).await.expect(200).json();
    assert_eq!((&name["name"], &name["show_name"]), (&json!("Ines Dias"), &json!(true)));
    // A second tap of the first finds it done.
    facts(&browser, &csrf, &seen, ["Ines Dias", "", "shown"], 303).await;
    // Others have no such page, and no such form.
    for client in [app.staff_of("quayside").await, app.athlete(1042).await, app.referee().await] {
        let other = app.in_browser(&client).await;
        let csrf = other.get("/account").await.csrf();
        facts(&other, &csrf, "", ["Somebody Else", "", "hidden"], 403).await;
    }
    assert!(read(&app).await.iter().all(|(_, text)| text.contains("Ines Dias")));
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
    let shown = browser.get(page).await.expect(200);
    assert!(shown.plain().contains("Under 18 you decide, with the guardian"));
    let seen = shown.hidden("facts_seen");
    let fields = [
        ("csrf", &*csrf),
        ("do", "facts"),
        ("facts_seen", &*seen),
        ("name", "Lia Quorzella"),
        ("email", ""),
        ("show_name", "shown"),
    ];
    browser.post(page).form(&fields).await.expect(303);
    let text = app.nobody().get(public).await.expect(200).plain();
    assert!(text.contains("Lia Quorzella") && text.contains("Name shown to everybody"), "{text}");
}

/// Who was erased is nobody to be put right: there is no form, and nothing of them in the one that is sent.
#[tokio::test]
async fn who_was_erased_is_not_put_right() {
    let app = placed().await;
    let (browser, csrf) = organiser(&app).await;
    let seen = browser.get(PAGE).await.hidden("facts_seen");
    browser.erases("erase_bib", "1042").await.expect(303);
    let page = browser.get(PAGE).await.expect(200).plain();
    assert!(!page.contains("name=\"facts_seen\""), "{page}");
    let told = facts(&browser, &csrf, &seen, ["Ines Duarte", "", "shown"], 422).await;
    assert!(told.contains("The person behind 1042 was erased"), "{told}");
    assert!(read(&app).await.iter().all(|(_, text)| !text.contains("Ines")));
}
