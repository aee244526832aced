//! Taking a score back by plain forms, and what can be said of the workout afterwards.

use crate::support::{Client, TestApp};
use serde_json::{Value, json};

const FORM: &str = "/desk/saltmarsh/quayside/w1/1042";
const SCORES: &str = "/api/v1/competitions/saltmarsh/workouts/w1/scores";
const BUTTON: &str = "Yes, take it back";

/// A score of 1042 in w1, attested, and its tag.
async fn attested(staff: &Client, gym: &str) -> String {
    let judge = if gym == "quayside" { "J-1" } else { "J-2" };
    let sent =
        json!({ "performance": "6+14 tb 11:24", "gym": gym, "attestation": { "judge": judge, "how": "paper_sheet" } });
    let stored = staff.put(&format!("{SCORES}/1042")).json(sent).await.expect(201).json();
    stored["etag"].as_str().expect("a tag").to_owned()
}

async fn state(app: &TestApp) -> Value {
    app.nobody().get(&format!("{SCORES}/1042")).await.expect(200).json()["state"].clone()
}

#[tokio::test]
async fn staff_take_back_what_was_typed_into_a_wrong_row_and_say_that_it_takes_no_part() {
    let app = TestApp::new().await;
    let staff = app.staff_of("quayside").await;
    attested(&staff, "quayside").await;
    let browser = app.in_browser(&staff).await;
    let page = browser.get(FORM).await.expect(200);
    let text = page.plain();
    assert!(text.contains(BUTTON) && text.contains(&format!("action=\"{FORM}/withdrawal\"")), "{text}");
    assert!(!text.contains("Takes no part"), "there is a score: {text}");
    let (etag, csrf) = (etag_of(&text), page.csrf());

    let done = browser.post(&format!("{FORM}/withdrawal")).form(&[("etag", &etag), ("csrf", &csrf)]).await.expect(303);
    assert_eq!(state(&app).await, "withdrawn");
    let desk = browser.get(done.header("location").split('#').next().unwrap_or_default()).await.expect(200).plain();
    assert!(desk.contains("Taken back. The history keeps what was stored."), "{desk}");

    let form = browser.get(FORM).await.expect(200).plain();
    assert!(form.contains("Takes no part") && !form.contains(BUTTON), "{form}");
    let csrf = [("csrf", csrf.as_str())];
    let done = browser.post(&format!("{FORM}/not-taking-part")).form(&csrf).await.expect(303);
    let desk = browser.get(done.header("location").split('#').next().unwrap_or_default()).await.expect(200).plain();
    assert!(desk.contains("Noted: takes no part in Workout 1."), "{desk}");
    let form = browser.get(FORM).await.expect(200).plain();
    assert!(form.contains("Takes part after all"), "{form}");
    browser.post(&format!("{FORM}/taking-part")).form(&csrf).await.expect(303);
    let form = browser.get(FORM).await.expect(200).plain();
    assert!(form.contains(&format!("action=\"{FORM}/not-taking-part\"")), "{form}");
}

/// The state that the page's forms carry.
fn etag_of(page: &str) -> String {
    let (_, rest) = page.split_once("name=\"etag\" value=\"").expect("a tag");
    rest.split('"').next().unwrap_or_default().to_owned()
}

#[tokio::test]
async fn what_was_changed_meanwhile_is_not_taken_back() {
    let app = TestApp::new().await;
    let staff = app.staff_of("quayside").await;
    let seen = attested(&staff, "quayside").await;
    let sent = json!({ "performance": "6+10 tb 11:24" });
    staff.put(&format!("{SCORES}/1042")).if_match(&seen).json(sent).await.expect(200);
    let browser = app.in_browser(&staff).await;
    let csrf = browser.get(FORM).await.csrf();
    for etag in [seen.as_str(), ""] {
        let fields = [("etag", etag), ("csrf", csrf.as_str())];
        let page = browser.post(&format!("{FORM}/withdrawal")).form(&fields).await.expect(412).text();
        assert!(page.contains("This score was changed meanwhile") && page.contains("6+10 tb 11:24"), "{page}");
        assert!(page.contains(BUTTON), "it can be taken back as it is now: {page}");
    }
    assert_eq!(state(&app).await, "entered");
}

#[tokio::test]
async fn athletes_take_their_own_back_until_the_grace_ends_and_gyms_until_judges_are_done() {
    let app = TestApp::new().await;
    let (staff, athlete) = (app.staff_of("quayside").await, app.athlete(1042).await);
    let etag = attested(&staff, "quayside").await;
    let offered = async |who: &Client| app.in_browser(who).await.get(FORM).await.expect(200).text().contains(BUTTON);
    assert!(offered(&athlete).await && offered(&staff).await);
    // It closes at nine in the evening of the 17th; judges have a day more.
    app.set_clock("2027-01-18T12:00:00Z");
    assert!(!offered(&athlete).await && offered(&staff).await);
    let own = app.in_browser(&athlete).await;
    let csrf = own.get(FORM).await.csrf();
    let fields = [("etag", etag.as_str()), ("csrf", csrf.as_str())];
    let page = own.post(&format!("{FORM}/withdrawal")).form(&fields).await.expect(409).text();
    assert!(page.contains("could be withdrawn until"), "{page}");
    app.set_clock("2027-01-18T21:00:00Z");
    assert!(!offered(&staff).await);
    assert_eq!(state(&app).await, "attested");
}

#[tokio::test]
async fn the_own_page_takes_an_athlete_back_to_it() {
    let app = TestApp::new().await;
    attested(&app.staff_of("quayside").await, "quayside").await;
    let own = app.in_browser(&app.athlete(1042).await).await;
    let page = own.get(FORM).await.expect(200);
    let fields = [("etag", etag_of(&page.text())), ("csrf", page.csrf())];
    let fields: Vec<(&str, &str)> = fields.iter().map(|(n, v)| (*n, v.as_str())).collect();
    let done = own.post(&format!("{FORM}/withdrawal")).form(&fields).await.expect(303);
    assert_eq!(done.header("location"), "/c/saltmarsh/athletes/1042?saved=w1#w-w1");
    let page = own.follow(&done).await.expect(200).text();
    assert!(
        page.contains("Withdrawn") && page.contains("<p>Taken back. The history keeps what was stored.</p>"),
        "{page}"
    );
    assert!(!own.get("/c/saltmarsh/athletes/1042?saved=w2").await.expect(200).text().contains("Taken back."));
    // So is a result that was entered.
    let page = own.get(FORM).await;
    let etag = etag_of(&page.text());
    let fields = [("performance", "6+10 tb 11:24"), ("etag", &*etag), ("csrf", &*page.csrf())];
    let done = own.post(FORM).form(&fields).await.expect(303);
    let page = own.follow(&done).await.expect(200).text();
    assert!(page.contains("<p>Stored. It has a place once a judge vouches for it.</p>"), "{page}");
}

#[tokio::test]
async fn the_desk_goes_on_with_its_judge_after_a_score_is_taken_back() {
    let app = TestApp::new().await;
    let staff = app.staff_of("quayside").await;
    attested(&staff, "quayside").await;
    let browser = app.in_browser(&staff).await;
    let page = browser.get(&format!("{FORM}?judge=J-1&how=video")).await.expect(200);
    let hidden = |page: &str| {
        let form = page.split(&format!("action=\"{FORM}/withdrawal\"")).nth(1).expect("a form").to_owned();
        let form = form.split("</form>").next().unwrap_or_default().to_owned();
        form.contains("name=\"desk_judge\" value=\"J-1\"") && form.contains("name=\"how\" value=\"video\"")
    };
    assert!(hidden(&page.text()), "{}", page.text());
    let (etag, csrf) = (etag_of(&page.text()), page.csrf());
    let with = |etag: &'static str| [("desk_judge", "J-1"), ("how", "video"), ("csrf", csrf.as_str()), ("etag", etag)];
    let again = browser.post(&format!("{FORM}/withdrawal")).form(&with("")).await.expect(412).text();
    assert!(hidden(&again), "after a refusal too: {again}");
    let fields = [("desk_judge", "J-1"), ("how", "video"), ("csrf", csrf.as_str()), ("etag", etag.as_str())];
    let done = browser.post(&format!("{FORM}/withdrawal")).form(&fields).await.expect(303);
    assert!(done.header("location").ends_with("?saved=w1/1042&judge=J-1&how=video#saved"), "{done:?}");
    let out = browser.post(&format!("{FORM}/not-taking-part")).form(&with("")).await.expect(303);
    assert!(out.header("location").ends_with("&judge=J-1&how=video#saved"), "{out:?}");
}

#[tokio::test]
async fn nobody_is_offered_what_is_not_theirs_to_do() {
    let app = TestApp::new().await;
    let visited = app.staff_of("millpond").await;
    let at_millpond = "/desk/saltmarsh/millpond/w1/1042";
    let browser = app.in_browser(&visited).await;
    // Whose gym it is not cannot say that they take no part.
    let form = browser.get(at_millpond).await.expect(200).text();
    assert!(!form.contains("Takes no part"), "{form}");
    attested(&visited, "millpond").await;
    let form = browser.get(at_millpond).await.expect(200).text();
    assert!(form.contains(BUTTON), "where it was done it can be taken back: {form}");
    for reader in [app.referee().await, app.organiser().await] {
        let page = app.in_browser(&reader).await.get(FORM).await.expect(200).text();
        assert!(!page.contains(BUTTON) && !page.contains("Takes no part"), "{page}");
    }
    // A referee is on it.
    let etag = app.nobody().get(&format!("{SCORES}/1042")).await.json()["etag"].as_str().expect("a tag").to_owned();
    let flag = json!({ "reason": "count", "note": "two short" });
    app.referee().await.post(&format!("{SCORES}/1042/flags")).if_match(&etag).json(flag).await.expect(200);
    let form = browser.get(at_millpond).await.expect(200).text();
    assert!(!form.contains(BUTTON), "{form}");
}

/// A colleague notes somebody as absent while the wrong row is half typed: the statement does not go in silence.
#[tokio::test]
async fn a_result_that_takes_back_that_somebody_takes_no_part_says_so() {
    let app = TestApp::new().await;
    let staff = app.staff_of("quayside").await;
    let out = |bib: u32| staff.post(&format!("{SCORES}/{bib}/not-taking-part"));
    out(1043).await.expect(200);
    app.set_clock("2027-01-14T12:30:00Z");
    let said = "Noted at 2027-01-14 12:00 (Europe/Lisbon): takes no part. A result takes that back.";
    let result = json!({ "performance": "6+14 tb 11:24" });
    let warned = |view: &Value| {
        let all = view["warnings"].as_array().expect("warnings").iter();
        all.filter(|w| w["code"] == "was_not_taking_part").map(|w| w["message"].clone()).collect::<Vec<_>>()
    };
    let check = format!("{SCORES}/1043/check");
    let view = staff.post(&check).json(result.clone()).await.expect(200).json();
    assert_eq!((warned(&view), &view["fits"]), (vec![json!(said)], &json!(true)));
    let german = staff.post(&check).header("accept-language", "de").json(result.clone()).await.expect(200).json();
    let deutsch = "Vermerkt 2027-01-14 12:00 (Europe/Lisbon): nimmt nicht teil. Ein Ergebnis nimmt das zurück.";
    assert_eq!(warned(&german), [json!(deutsch)]);
    let stored = staff.put(&format!("{SCORES}/1043")).json(result.clone()).await.expect(201).json();
    assert_eq!(warned(&stored), [json!(said)]);
    // Once: what is corrected later takes nothing back.
    let etag = stored["etag"].as_str().expect("a tag");
    let better = json!({ "performance": "6+15 tb 11:24" });
    let later = staff.put(&format!("{SCORES}/1043")).if_match(etag).json(better).await.expect(200).json();
    assert_eq!(warned(&later), [] as [Value; 0]);
    // Taken back by itself there is nothing to say, and what is said is when it was stated last.
    out(1044).await.expect(200);
    staff.delete(&format!("{SCORES}/1044/not-taking-part")).await.expect(200);
    let view = staff.post(&format!("{SCORES}/1044/check")).json(result.clone()).await.expect(200).json();
    assert_eq!(warned(&view), [] as [Value; 0]);
    out(1042).await.expect(200);
    staff.delete(&format!("{SCORES}/1042/not-taking-part")).await.expect(200);
    app.set_clock("2027-01-14T13:10:00Z");
    out(1042).await.expect(200);
    // By the plain form, on the page that follows; and not when it is loaded without having stored anything.
    let browser = app.in_browser(&staff).await;
    let csrf = browser.get(FORM).await.expect(200).csrf();
    let form = [("csrf", &*csrf), ("performance", "6+14 tb 11:24"), ("how", "paper_sheet"), ("etag", "")];
    let done = browser.post(FORM).form(&form).await.expect(303);
    let desk = browser.follow(&done).await.expect(200).plain();
    assert!(desk.contains("Noted at 2027-01-14 13:10 (Europe/Lisbon): takes no part."), "{desk}");
    let desk = browser.get("/desk/saltmarsh/quayside?saved=w1/1042").await.expect(200).plain();
    assert!(!desk.contains("Noted at"), "{desk}");
    // By the athlete's own form, on the own page, and once.
    app.set_clock("2027-01-14T13:20:00Z");
    out(1044).await.expect(200);
    let own = app.in_browser(&app.athlete(1044).await).await;
    let address = "/c/saltmarsh/athletes/1044/workouts/w1";
    let csrf = own.get(address).await.expect(200).csrf();
    let form = [("csrf", &*csrf), ("performance", "6+14 tb 11:24"), ("etag", "")];
    let done = own.post(address).form(&form).await.expect(303);
    assert_eq!(done.header("location"), "/c/saltmarsh/athletes/1044?saved=w1&was_out=yes#w-w1");
    let page = own.follow(&done).await.expect(200).plain();
    let said = "Noted at 2027-01-14 13:20 (Europe/Lisbon): takes no part. A result takes that back.";
    assert_eq!((page.matches(said).count(), page.matches("Noted at").count()), (1, 1), "{page}");
    let german = own.clone().with(http::header::ACCEPT_LANGUAGE, "de").follow(&done).await.expect(200).plain();
    assert!(german.contains("nimmt nicht teil. Ein Ergebnis nimmt das zurück."), "{german}");
    let later = own.get("/c/saltmarsh/athletes/1044?saved=w1").await.expect(200).plain();
    assert!(!later.contains("Noted at"), "{later}");
}
