//! Whom a gym proposes: what the organiser confirms is entered as if they had; what is decided
//! leaves nobody's facts behind.

use crate::letters::breaks;
use crate::log_lines::Log;
use crate::mail::{Manner, Sink, behind, code, plain};
use crate::organise::organiser as organiser_browser;
use crate::support::{Client, HIDDEN, SALTMARSH, TestApp, grant};
use serde_json::{Value, json};
use tallywright::actions::upkeep;
use tallywright::rules::access::{Grant, Role};

const C: &str = "/api/v1/competitions/saltmarsh";
const OF_GYM: &str = "/api/v1/competitions/saltmarsh/gyms/quayside/proposals";
const WAITING: &str = "/api/v1/competitions/saltmarsh/proposals";
const DECISIONS: &str = "/api/v1/competitions/saltmarsh/proposals/decisions";
const DESK: &str = "/desk/saltmarsh/quayside/proposals";
const PAGE: &str = "/organise/saltmarsh/proposals";

fn athlete(name: &str) -> Value {
    json!({ "kind": "entry", "name": name, "born": "1996-04-02", "category": "women", "division": "women",
        "email": "zyxo@example.org" })
}

fn judge(code: &str) -> Value {
    json!({ "kind": "judge", "name": "Zyxo Judge", "code": code, "valid_from": "2027-01-01", "valid_to": "2027-12-31" })
}

fn staff(email: &str) -> Value {
    json!({ "kind": "staff", "name": "Zyxo Colleague", "email": email })
}

/// Proposes by the gym's staff; the number.
fn at_millpond(grant: Grant) -> Grant {
    Grant { gym: Some("millpond".to_owned()), ..grant }
}

async fn propose(app: &TestApp, body: Value) -> i64 {
    let made = app.staff_of("quayside").await.post(OF_GYM).json(body).await.expect(201).json();
    made["id"].as_i64().expect("a number")
}

async fn decide(app: &TestApp, ids: &[i64], decision: &str) -> Value {
    let sent =
        json!({ "ids": ids, "decision": decision, "reason": if decision == "refuse" { "not this year" } else { "" } });
    app.organiser().await.post(DECISIONS).json(sent).await.expect(200).json()
}

async fn seen(app: &TestApp) -> Value {
    app.staff_of("quayside").await.get(OF_GYM).await.expect(200).json()
}

#[tokio::test]
async fn who_is_confirmed_is_entered_as_by_the_organiser() {
    let app = TestApp::new().await;
    let ids = [
        propose(&app, athlete("Zyxo Athlete")).await,
        propose(&app, judge("J-7")).await,
        propose(&app, staff("new@quayside.example")).await,
    ];
    let waiting = app.organiser().await.get(WAITING).await.expect(200).json();
    assert_eq!(waiting.as_array().map(Vec::len), Some(3), "{waiting}");
    assert_eq!(waiting[0]["proposed"]["name"], "Zyxo Athlete");
    // Nobody takes part before.
    let before = app.organiser().await.get(&format!("{C}/entries?q=zyxo")).await.expect(200).json();
    assert_eq!(before, json!([]));
    let became = decide(&app, &ids, "confirm").await;
    assert_eq!(became[0]["outcome"], "confirmed", "{became}");
    let bib = became[0]["id"].as_str().expect("a bib").to_owned();
    assert_eq!((&became[1]["id"], &became[2]["outcome"]), (&json!("J-7"), &json!("confirmed")));
    let entry = app.organiser().await.get(&format!("{C}/entries/{bib}")).await.expect(200).json();
    assert_eq!(
        (&entry["name"], &entry["gym"], &entry["division"]),
        (&json!("Zyxo Athlete"), &json!("quayside"), &json!("women"))
    );
    let judges = app.organiser().await.get(&format!("{C}/judges?q=zyxo")).await.expect(200).json();
    assert_eq!((&judges[0]["code"], &judges[0]["gym"]), (&json!("J-7"), &json!("quayside")));
    let link = became[2]["link"].as_str().and_then(|l| l.split_once("code=")).expect("a link").1.to_owned();
    let begun = app.nobody().post("/api/v1/session").json(json!({ "code": link })).await.expect(201);
    let cookie = begun.header("set-cookie").split_once('=').and_then(|(_, v)| v.split_once(';')).expect("a cookie").0;
    app.nobody().with_cookie(cookie).get("/desk/saltmarsh/quayside").await.expect(200);
    app.nobody().with_cookie(cookie).get("/desk/saltmarsh/millpond").await.expect(403);
    // The staff sees the outcome of each, newest first, and no facts any more.
    let after = seen(&app).await;
    assert_eq!((&after[2]["decided"]["outcome"], &after[2]["decided"]["id"]), (&json!("confirmed"), &json!(bib)));
    assert!(!after.to_string().contains("Zyxo"), "{after}");
    let page = app.in_browser(&app.staff_of("quayside").await).await.get(DESK).await.expect(200).plain();
    assert!(
        page.contains(&format!("bib {bib}")) && page.contains("judge J-7") && page.contains("has the desk now"),
        "{page}"
    );
    // Once more changes nothing.
    let again = decide(&app, &ids, "confirm").await;
    assert!(again.as_array().is_some_and(|all| all.iter().all(|b| b["outcome"] == "gone")), "{again}");
    for verified in upkeep::verify(&app.app, None).await.expect("verified") {
        assert_eq!(verified.difference, None);
    }
}

#[tokio::test]
async fn what_is_refused_or_taken_back_leaves_nobodys_facts() {
    let app = TestApp::new().await;
    let (refused, back) = (propose(&app, athlete("Zyxo One")).await, propose(&app, athlete("Zyxo Two")).await);
    decide(&app, &[refused], "refuse").await;
    let desk = app.staff_of("quayside").await;
    desk.delete(&format!("{OF_GYM}/{back}")).await.expect(204);
    desk.delete(&format!("{OF_GYM}/{back}")).await.expect(404);
    desk.delete(&format!("{OF_GYM}/{refused}")).await.expect(404);
    let told = seen(&app).await;
    assert_eq!(
        (&told[0]["decided"]["outcome"], &told[1]["decided"]["outcome"]),
        (&json!("withdrawn"), &json!("refused"))
    );
    assert_eq!(told[1]["decided"]["reason"], "not this year");
    let kept: String =
        app.database.held().into_iter().map(|bytes| String::from_utf8_lossy(&bytes).into_owned()).collect();
    assert!(!kept.to_lowercase().contains("zyxo"), "facts are left in the database");
    // After sixty days not even the outcome is kept.
    app.set_clock("2027-03-16T12:00:00Z");
    propose(&app, staff("new@quayside.example")).await;
    assert_eq!(seen(&app).await.as_array().map(Vec::len), Some(1));
}

#[tokio::test]
async fn all_that_is_wrong_is_said_at_once_and_what_was_typed_stays() {
    let app = TestApp::new().await;
    let client = app.staff_of("quayside").await;
    let wrong = json!({ "kind": "entry", "name": " ", "born": "1996-13-02", "category": "x", "division": "wimmen", "email": "at home" });
    let errors = client.post(OF_GYM).json(wrong).await.expect(422).errors();
    for pointer in ["/name", "/born", "/category", "/division", "/email"] {
        assert!(errors.iter().any(|e| e.starts_with(pointer)), "{pointer}: {errors:?}");
    }
    let taken = client.post(OF_GYM).json(judge("J-2")).await.expect(422);
    assert_eq!(taken.errors(), ["/code judge_code_taken"]);
    let browser = app.in_browser(&client).await;
    let csrf = browser.get(DESK).await.expect(200).csrf();
    let typed = [("csrf", csrf.as_str()), ("kind", "staff"), ("name", "Zyxo <b>"), ("email", "at home")];
    let page = browser.post(DESK).form(&typed).await.expect(422).text();
    assert!(page.contains("href=\"#staff-email\"") && page.contains("value=\"at home\""), "{page}");
    assert!(page.contains("value=\"Zyxo &#60;b&#62;\""), "{page}");
}

#[tokio::test]
async fn a_proposal_leads_back_to_the_page_which_says_it_once_and_proposes_nobody_again() {
    let app = TestApp::new().await;
    let browser = app.in_browser(&app.staff_of("quayside").await).await;
    let csrf = browser.get(DESK).await.expect(200).csrf();
    let fields =
        [("csrf", csrf.as_str()), ("kind", "staff"), ("name", "Zyxo Berg"), ("email", "zyxo@quayside.example")];
    let done = browser.post(DESK).form(&fields).await.expect(303);
    assert!(done.header("location").starts_with(&format!("{DESK}?once=")), "{}", done.header("location"));
    let page = browser.follow(&done).await.expect(200);
    assert!(
        page.plain().contains("role=\"status\"") && page.header("set-cookie").contains("Max-Age=0"),
        "{}",
        page.plain()
    );
    let again = browser.get(done.header("location")).await.expect(200).plain();
    assert!(again.contains("Zyxo Berg") && !again.contains("role=\"status\""), "{again}");
    assert_eq!(seen(&app).await.as_array().map(Vec::len), Some(1));
}

#[tokio::test]
async fn one_that_cannot_be_entered_says_why_and_stops_none_of_the_others() {
    let app = TestApp::new().await;
    // Somebody of this name and birth date trains elsewhere: that is a move, and needs a reason.
    let elsewhere = json!({ "kind": "entry", "name": "Noor de Wit", "born": "1988-07-09", "category": "women", "division": "women" });
    let (bad, good) = (propose(&app, elsewhere).await, propose(&app, athlete("Zyxo Athlete")).await);
    // The code is given to somebody of another gym while the proposal waits.
    let code = propose(&app, judge("J-9")).await;
    let other = json!({ "code": "J-9", "name": "Mira Sol", "gym": "millpond", "valid_from": "2027-01-01", "valid_to": "2027-12-31" });
    app.organiser().await.post(&format!("{C}/judges")).json(other).await.expect(201);
    let (browser, csrf) = organiser_browser(&app).await;
    let overview = browser.get("/organise/saltmarsh").await.expect(200).plain();
    assert!(overview.contains("Proposals of the gyms: 3 wait"), "{overview}");
    let upto = code.to_string();
    let all = [("csrf", csrf.as_str()), ("do", "all"), ("upto", upto.as_str())];
    let page = browser.post(PAGE).form(&all).await.expect(422).plain();
    assert!(page.contains("Confirmed: 1.") && page.contains("something is wrong with them: 2."), "{page}");
    assert!(
        page.contains(&format!("href=\"#p-{bad}\"")) && page.contains("There is a judge with the code J-9"),
        "{page}"
    );
    assert!(!page.contains(&format!("id=\"p-{good}\"")), "it is decided");
    assert_eq!(page.matches(" checked").count(), 2, "what is to be mended stays ticked");
    let judges = app.organiser().await.get(&format!("{C}/judges?q=mira")).await.expect(200).json();
    assert_eq!(judges[0]["gym"], "millpond");
    let waits = app.organiser().await.get(WAITING).await.expect(200).json();
    assert_eq!(waits.as_array().map(Vec::len), Some(2));
}

#[tokio::test]
async fn on_the_page_those_ticked_are_decided_and_nobody_unseen_is() {
    let app = TestApp::new().await;
    let (one, two) = (propose(&app, athlete("Zyxo One")).await, propose(&app, athlete("Zyxo Two")).await);
    let (browser, csrf) = organiser_browser(&app).await;
    assert!(browser.get(PAGE).await.expect(200).text().contains("Zyxo Two"));
    let post = async |fields: &[(&str, &str)]| {
        let mut all = vec![("csrf", csrf.as_str())];
        all.extend(fields);
        browser.post(PAGE).form(&all).await
    };
    let none = post(&[("do", "confirm"), ("reason", "kept as typed")]).await.expect(422).text();
    assert!(none.contains("Tick somebody") && none.contains("value=\"kept as typed\""), "{none}");
    let box_one = format!("p-{one}");
    let long = "x".repeat(600);
    let too_long = post(&[("do", "refuse"), (&box_one, "yes"), ("reason", &long)]).await.expect(422).text();
    assert!(too_long.contains("href=\"#reason\"") && too_long.contains(" checked"), "{too_long}");
    post(&[("do", "refuse"), (&box_one, "yes"), ("reason", "full")]).await.expect(200);
    // Proposed after the page was made: "all" does not mean them.
    let three = propose(&app, athlete("Zyxo Three")).await;
    let page = post(&[("do", "all"), ("upto", &two.to_string())]).await.expect(200).plain();
    assert!(page.contains("Confirmed: 1.") && page.contains("Zyxo Three"), "{page}");
    let outcomes = seen(&app).await;
    let of = |id: i64| outcomes.as_array().and_then(|all| all.iter().find(|p| p["id"] == id)).cloned().expect("there");
    assert_eq!(
        (&of(one)["decided"]["outcome"], &of(two)["decided"]["outcome"]),
        (&json!("refused"), &json!("confirmed"))
    );
    assert_eq!(of(three)["decided"], Value::Null);
}

/// What is odd about somebody, and that they are entered already, is known before and after, on the page and by
/// the API.
#[tokio::test]
async fn the_organiser_reads_what_is_odd_about_somebody_before_and_after_they_are_entered() {
    let app = TestApp::new().await;
    let young = |name: &str, consent: bool| {
        let mut body = athlete(name);
        (body["born"], body["guardian_consent"]) = (json!("2011-05-06"), json!(consent));
        body
    };
    let ids = [
        propose(&app, young("Zyxo Alone", false)).await,
        propose(&app, young("Zyxo Allowed", true)).await,
        propose(&app, athlete("Zyxo Grown")).await,
    ];
    let (browser, csrf) = organiser_browser(&app).await;
    let odd = "consent is needed before taking part";
    let waiting = browser.get(PAGE).await.expect(200).plain();
    assert_eq!((waiting.matches(odd).count(), waiting.matches("the guardian consents").count()), (1, 1), "{waiting}");
    let all = [("csrf", csrf.as_str()), ("do", "all"), ("upto", &ids[2].to_string())];
    let done = browser.post(PAGE).form(&all).await.expect(200).plain();
    assert!(done.contains("Confirmed: 3.") && done.contains("Zyxo Alone: 15 years old"), "{done}");
    assert!(!done.contains("Zyxo Allowed:") && !done.contains("Zyxo Grown:"), "{done}");
    // The same people once more, by another gym's list say.
    let again = [propose(&app, young("Zyxo Alone", false)).await, propose(&app, athlete("Zyxo Grown")).await];
    let became = decide(&app, &again[..1], "confirm").await;
    assert_eq!(
        (&became[0]["entered"], &became[0]["warnings"][0]["code"]),
        (&json!("unchanged"), &json!("guardian_consent_missing")),
        "{became}"
    );
    let all = [("csrf", csrf.as_str()), ("do", "all"), ("upto", &again[1].to_string())];
    let done = browser.post(PAGE).form(&all).await.expect(200).plain();
    assert!(done.contains("Zyxo Grown: was entered before: bib "), "{done}");
}

#[tokio::test]
async fn a_gym_proposes_for_itself_and_sees_its_own() {
    let app = TestApp::new().await;
    let id = propose(&app, athlete("Zyxo Athlete")).await;
    let other = app.staff_of("millpond").await;
    other.get(OF_GYM).await.expect(403);
    other.post(OF_GYM).json(athlete("Zyxo")).await.expect(403);
    other.delete(&format!("{}/{id}", OF_GYM.replace("quayside", "millpond"))).await.expect(404);
    app.staff_of("quayside").await.get(WAITING).await.expect(403);
    // The same once more, while it waits, keeps its number.
    assert_eq!(propose(&app, athlete("Zyxo Athlete")).await, id);
    // Of another competition it cannot be decided.
    let both = [grant(Role::Organiser, Some(HIDDEN))];
    let elsewhere = app.somebody("elsewhere@example.org", &both).await;
    let sent = json!({ "ids": [id], "decision": "confirm" });
    let told = elsewhere.post(&DECISIONS.replace(SALTMARSH, HIDDEN)).json(sent).await.expect(200).json();
    assert_eq!(told[0]["outcome"], "gone");
    let nobody: Vec<Client> = vec![app.nobody()];
    for client in nobody {
        client.get(OF_GYM).await.expect(401);
    }
}

#[tokio::test]
async fn a_proposed_person_reads_what_is_kept_and_may_have_it_erased() {
    let app = TestApp::new().await;
    propose(&app, athlete("Zyxo Athlete")).await;
    // Whoever organises something else may have made the account, and have its link.
    let mine = app.browser("zyxo@example.org", &[grant(Role::Staff, Some(HIDDEN))].map(at_millpond)).await;
    assert_eq!(mine.get("/account/data.json").await.expect(200).json()["proposals"], json!([]));
    let csrf = mine.get("/account").await.csrf();
    mine.post("/account/erase").form(&[("csrf", csrf.as_str()), ("me", "zyxo@example.org")]).await.expect(303);
    assert_eq!(seen(&app).await[0]["proposed"]["name"], "Zyxo Athlete");
    // An athlete's role comes with a code, into any account.
    let of_athlete = Grant { bib: Some(2001), ..grant(Role::Athlete, Some(SALTMARSH)) };
    app.db_account("zyxo@example.org", None, &[of_athlete]).await;
    assert_eq!(mine.get("/account/data.json").await.expect(200).json()["proposals"], json!([]));
    app.db_account("zyxo@example.org", None, &[at_millpond(grant(Role::Staff, Some(SALTMARSH)))]).await;
    let data = mine.get("/account/data.json").await.expect(200).json();
    assert_eq!(data["proposals"][0]["proposed"]["name"], "Zyxo Athlete");
    let roles = [at_millpond(grant(Role::Staff, Some(SALTMARSH)))];
    let other = app.browser("other@example.org", &roles).await;
    assert_eq!(other.get("/account/data.json").await.expect(200).json()["proposals"], json!([]));
    let csrf = mine.get("/account").await.csrf();
    mine.post("/account/erase").form(&[("csrf", csrf.as_str()), ("me", "zyxo@example.org")]).await.expect(303);
    let told = seen(&app).await;
    assert_eq!((&told[0]["decided"]["outcome"], &told[0]["proposed"]), (&json!("erased"), &Value::Null));
    // The same where the organiser erases an entry of that name and birth date.
    let same = json!({ "kind": "entry", "name": "INES DUARTE", "born": "1996-04-02", "category": "women", "division": "women" });
    let namesake = json!({ "kind": "entry", "name": "Ines Duarte", "born": "1990-01-01", "category": "women", "division": "women" });
    let (same, namesake) = (propose(&app, same).await, propose(&app, namesake).await);
    let (organiser, _) = organiser_browser(&app).await;
    organiser.erases("erase_bib", "1042").await.expect(303);
    let told = seen(&app).await;
    let of = |id: i64| told.as_array().and_then(|all| all.iter().find(|p| p["id"] == id)).cloned().expect("there");
    assert_eq!(of(same)["decided"]["outcome"], "erased");
    assert_eq!(of(namesake)["decided"], Value::Null, "another person of that name");
}

/// Somebody who took another person's address with an athlete's code reads nothing about its owner.
#[tokio::test]
async fn an_address_that_nobody_vouched_for_opens_no_proposals() {
    let app = TestApp::new().await;
    propose(&app, athlete("Zyxo Athlete")).await;
    let phc = tallywright::actions::accounts::hash_password("three old oars", &[7; 16]).expect("a hash");
    app.db_unconfirmed("zyxo@example.org", &phc).await;
    let sent = json!({ "email": "zyxo@example.org", "password": "three old oars" });
    let begun = app.nobody().post("/api/v1/session").json(sent).await.expect(201);
    let cookie = begun.header("set-cookie").split_once('=').and_then(|(_, v)| v.split_once(';')).expect("a cookie").0;
    let data = app.nobody().with_cookie(cookie).get("/account/data.json").await.expect(200).json();
    assert_eq!(data["proposals"], json!([]));
}

#[tokio::test]
async fn staff_that_is_confirmed_gets_the_sign_in_by_mail_and_no_log_names_anybody() {
    let log = Log::default();
    let _another = tracing::Dispatch::new(tracing_subscriber::registry());
    let _log = log.listen();
    let sink = Sink::new(Manner::Takes).await;
    let (app, browser, csrf) = behind(&sink.url).await;
    let id = propose(&app, staff("zyxo@quayside.example")).await;
    propose(&app, athlete("Zyxo Athlete")).await;
    let ticked = format!("p-{id}");
    let page = browser
        .post(PAGE)
        .form(&[("csrf", csrf.as_str()), ("do", "confirm"), (&ticked, "yes")])
        .await
        .expect(200)
        .text();
    let letter = sink.wait_for(1).await.remove(0);
    assert!(letter.contains("To: zyxo@quayside.example\r\n") && plain(&letter).contains("Quayside Gym"), "{letter}");
    assert!(page.contains(&code(&letter)) && page.contains("handed to the mail server too"), "{page}");
    let said = log.text().to_lowercase();
    let ours: Vec<_> = said.lines().filter(|l| !l.contains("sqlx")).collect();
    assert!(!ours.iter().any(|l| l.contains("zyxo")), "{ours:#?}");
}

#[tokio::test]
async fn where_letters_cannot_be_listed_that_is_said_beside_the_sign_ins() {
    let sink = Sink::new(Manner::Takes).await;
    let (app, browser, csrf) = behind(&sink.url).await;
    let ticked = format!("p-{}", propose(&app, staff("zyxo@quayside.example")).await);
    breaks(&app, "INSERT", true).await;
    let confirm = [("csrf", csrf.as_str()), ("do", "confirm"), (&ticked, "yes")];
    let page = browser.post(PAGE).form(&confirm).await.expect(200).text();
    let letter = sink.wait_for(1).await.remove(0);
    assert!(page.contains(&code(&letter)) && page.contains("the list of letters could not be written"), "{page}");
    assert!(!page.contains("stands on the page of people"), "{page}");
}

/// The database is in trouble between what is confirmed and the note of it: the link is shown all the
/// same, for it stands nowhere else, and confirming once more enters nobody twice.
#[tokio::test]
async fn what_was_confirmed_is_told_though_it_could_not_be_noted() {
    let app = TestApp::new().await;
    let link = propose(&app, staff("zyxo@quayside.example")).await;
    let entry = propose(&app, athlete("Zyxo Athlete")).await;
    let refused = propose(&app, athlete("Somebody Else")).await;
    let mut raw = app.database.raw().await;
    let (stop, go) = if app.database.is_served() {
        let broken = "CREATE FUNCTION broken() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN RAISE disk_full; END $$;
                      CREATE TRIGGER stop BEFORE UPDATE ON proposals FOR EACH ROW EXECUTE FUNCTION broken()";
        (broken, "DROP TRIGGER stop ON proposals")
    } else {
        ("CREATE TRIGGER stop BEFORE UPDATE ON proposals BEGIN SELECT RAISE(ABORT, 'broken'); END", "DROP TRIGGER stop")
    };
    raw.run(stop).await.expect("a trigger");
    let told = decide(&app, &[link, entry], "confirm").await;
    assert_eq!((&told[0]["outcome"], &told[1]["outcome"]), (&json!("confirmed"), &json!("confirmed")), "{told}");
    assert!(told[0]["link"].as_str().is_some_and(|link| link.contains("/signin/link?code=")), "{told}");
    let bib = told[1]["id"].clone();
    raw.run(go).await.expect("no trigger");
    raw.close().await;
    let told = decide(&app, &[link, entry], "confirm").await;
    assert_eq!((&told[1]["outcome"], &told[1]["id"]), (&json!("confirmed"), &bib), "{told}");
    let entered = app.organiser().await.get("/api/v1/competitions/saltmarsh/entries?q=zyxo").await.expect(200).json();
    assert_eq!(entered.as_array().map(Vec::len), Some(1), "{entered}");
    assert_eq!(decide(&app, &[link, refused], "refuse").await[1]["outcome"], "refused");
}

#[tokio::test]
async fn who_has_a_role_elsewhere_gets_this_one_besides() {
    let app = TestApp::new().await;
    let judge = Grant { judge: Some("J-2".to_owned()), ..grant(Role::Judge, Some(SALTMARSH)) };
    let client = app.somebody("jan@example.org", &[judge]).await;
    let id = propose(&app, staff("Jan@example.org")).await;
    decide(&app, &[id], "confirm").await;
    let roles = client.get("/api/v1/me").await.expect(200).json()["roles"].clone();
    assert_eq!(roles.as_array().map(Vec::len), Some(2), "{roles}");
    client.get("/desk/saltmarsh/quayside").await.expect(200);
}
