//! The gym's desk by plain forms: a row's field, many vouched for at once, the receipt, messages.

use crate::support::{Client, TestApp, grant};
use serde_json::{Value, json};
use tallywright::rules::access::{Grant, Role};

const DESK: &str = "/desk/saltmarsh/quayside";
const SCORES: &str = "/api/v1/competitions/saltmarsh/workouts/w1/scores";

async fn at_desk(app: &TestApp) -> (Client, Client) {
    let program = app.staff_of("quayside").await;
    let browser = app.in_browser(&program).await;
    (program, browser)
}

async fn enter(program: &Client, bib: u32, performance: &str) -> String {
    let body = json!({ "performance": performance, "gym": "quayside" });
    let stored = program.put(&format!("{SCORES}/{bib}")).json(body).await.expect(201).json();
    stored["etag"].as_str().expect("an etag").to_owned()
}

#[tokio::test]
async fn a_row_has_a_field_that_stores_without_a_script() {
    let app = TestApp::new().await;
    let (program, browser) = at_desk(&app).await;
    let page = browser.get(&format!("{DESK}?judge=vera")).await.expect(200);
    let text = page.plain();
    assert!(text.contains("Vera Lopes (J-1) vouches for what is saved next."), "{text}");
    assert!(text.contains("name=\"judge\" value=\"J-1\""), "each row carries the judge");
    let csrf = page.csrf();
    let fields = [("performance", "6+14 tb 11:24"), ("judge", "J-1"), ("how", "paper_sheet"), ("csrf", &csrf)];
    browser.post(&format!("{DESK}/w1/1042")).form(&fields).await.expect(303);
    let stored = program.get(&format!("{SCORES}/1042")).await.expect(200).json();
    assert_eq!((&stored["state"], &stored["attestation"]["judge"]), (&json!("attested"), &json!("J-1")));
}

#[tokio::test]
async fn many_are_vouched_for_by_one_statement_and_what_changed_meanwhile_is_left_out() {
    let app = TestApp::new().await;
    let (program, browser) = at_desk(&app).await;
    let one = enter(&program, 1042, "6+14 tb 11:24").await;
    let two = enter(&program, 1043, "6+10 tb 11:24").await;
    let revised = json!({ "performance": "6+11 tb 11:24" });
    program.put(&format!("{SCORES}/1043")).if_match(&two).json(revised).await.expect(200);
    let page = browser.get(DESK).await.expect(200);
    assert!(
        page.plain().contains(&format!("name=\"a-1042\" value=\"{one}\"")),
        "a tick carries the state it was seen in"
    );
    let csrf = page.csrf();
    let ticks = [("a-1042", one.as_str()), ("a-1043", two.as_str()), ("judge", "Vera Lopes"), ("csrf", &csrf)];
    let path = format!("{DESK}/w1/attestation");

    let without = browser.post(&path).form(&ticks).await.expect(422).plain();
    assert!(without.contains("Tick the statement too"), "{without}");
    let state = |bib: u32| {
        let program = program.clone();
        async move { program.get(&format!("{SCORES}/{bib}")).await.json()["state"].clone() }
    };
    assert_eq!(state(1042).await, "entered", "nothing without the statement");

    let mut all = ticks.to_vec();
    all.push(("statement", "yes"));
    let done = browser.post(&path).form(&all).await.expect(409).plain();
    assert!(done.contains("Vouched for: 1.") && done.contains("Rita Alves (1043)"), "{done}");
    assert_eq!((state(1042).await, state(1043).await), (json!("attested"), json!("entered")));
}

#[tokio::test]
async fn a_word_for_many_leads_back_to_the_desk_which_says_so_and_goes_on_with_its_own_judge() {
    let app = TestApp::new().await;
    let (program, browser) = at_desk(&app).await;
    let (one, two) = (enter(&program, 1042, "6+14 tb 11:24").await, enter(&program, 1043, "6+10 tb 11:24").await);
    let csrf = browser.get(DESK).await.csrf();
    let mut fields = vec![("a-1042", one.as_str()), ("a-1043", two.as_str()), ("judge", "Vera Lopes")];
    fields.extend([("how", "video"), ("statement", "yes"), ("csrf", &csrf)]);
    let done = browser.post(&format!("{DESK}/w1/attestation")).form(&fields).await.expect(303);
    let desk = browser.follow(&done).await.expect(200);
    assert!(desk.header("set-cookie").ends_with("Max-Age=0"), "{}", desk.header("set-cookie"));
    let text = desk.plain();
    assert!(text.contains("Vouched for: 2.") && !text.contains("Vera Lopes (J-1) vouches for what is saved next."));
    // It is said once: loading the page again says nothing that was not done again.
    let there = done.header("location").split('#').next().expect("an address");
    let again = browser.get(there).await.expect(200).plain();
    assert!(!again.contains("Vouched for:"), "{again}");
    let told = browser.get(&format!("{DESK}?vouched=2")).await.expect(200).plain();
    assert!(!told.contains("id=\"saved\""), "nobody's address says what was done: {told}");
    // With a judge of its own, who has not seen these sheets, and now they have one.
    let again = enter(&program, 1044, "5+10 tb 11:24").await;
    let mut fields = vec![("a-1044", again.as_str()), ("judge", "Vera Lopes"), ("how", "video")];
    fields.extend([("desk_judge", "J-1"), ("desk_how", "paper_sheet"), ("csrf", &csrf)]);
    let asked = browser.post(&format!("{DESK}/w1/attestation")).form(&fields).await.expect(422).plain();
    assert!(asked.contains("value=\"Vera Lopes\"") && asked.contains("<option value=\"video\" selected>"), "{asked}");
    assert!(asked.contains("Vera Lopes (J-1) vouches for what is saved next."), "{asked}");
    fields.push(("statement", "yes"));
    let done = browser.post(&format!("{DESK}/w1/attestation")).form(&fields).await.expect(303);
    let to = done.header("location");
    assert!(to.starts_with(&format!("{DESK}?judge=J-1&how=paper_sheet&once=")) && to.ends_with("#saved"), "{to}");
    let german = browser.with(http::header::ACCEPT_LANGUAGE, "de").follow(&done).await.expect(200).plain();
    assert!(german.contains("Bestätigt: 1."), "{german}");
}

/// The desk's script takes back in nobody's name but the reader's own.
#[tokio::test]
async fn the_desk_knows_by_which_codes_its_reader_may_give_a_judges_word() {
    let app = TestApp::new().await;
    let (_, browser) = at_desk(&app).await;
    assert!(browser.get(DESK).await.expect(200).text().contains("data-codes=\"[]\""));
    let gym = Grant { gym: Some("quayside".to_owned()), ..grant(Role::Staff, Some("saltmarsh")) };
    let code = |code: &str, of: &str| Grant { judge: Some(code.to_owned()), ..grant(Role::Judge, Some(of)) };
    let both = app.browser("both@example.org", &[gym, code("J-1", "saltmarsh"), code("J-2", "hidden")]).await;
    assert!(both.get(DESK).await.expect(200).text().contains("data-codes=\"[&#34;J-1&#34;]\""));
}

#[tokio::test]
async fn that_a_judge_was_signed_in_says_only_who_holds_a_judges_code() {
    let app = TestApp::new().await;
    let (program, browser) = at_desk(&app).await;
    enter(&program, 1042, "6+14 tb 11:24").await;
    let gym = Grant { gym: Some("quayside".to_owned()), ..grant(Role::Staff, Some("saltmarsh")) };
    let code = Grant { judge: Some("J-1".to_owned()), ..grant(Role::Judge, Some("saltmarsh")) };
    let both = app.browser("both@example.org", &[gym, code]).await;
    for page in [DESK.to_owned(), format!("{DESK}?how=signed_in"), format!("{DESK}/w1/1042?how=signed_in")] {
        let text = browser.get(&page).await.expect(200).text();
        assert!(!text.contains("value=\"signed_in\"") && text.contains("value=\"paper_sheet\""), "{page}: {text}");
        assert!(
            text.contains("=\"paper_sheet\" selected") || text.contains("=\"paper_sheet\" checked"),
            "{page}: {text}"
        );
        let text = both.get(&page).await.expect(200).text();
        assert!(text.contains("value=\"signed_in\""), "{page}: {text}");
    }
}

#[tokio::test]
async fn in_the_grace_the_desk_says_how_long_first_scores_still_count_and_asks_for_them() {
    let app = TestApp::new().await;
    let messages = format!("{DESK}/missing");
    let at = async |hour: &str| {
        app.set_clock(&format!("2027-01-17T{hour}:00Z"));
        let (_, browser) = at_desk(&app).await;
        let desk = browser.get(DESK).await.expect(200).plain();
        let desk = desk.split_once("aria-labelledby=\"w-w1\"").expect("the workout").1;
        let desk = desk.split("<section").next().unwrap_or_default().to_owned();
        (desk, browser.get(&messages).await.expect(200).plain())
    };
    let (desk, missing) = at("20:59").await;
    assert!(desk.contains(">closes in 1 min<") && desk.contains("<h3 class=\"todo-title\""), "{desk}");
    assert!(missing.contains("can enter it until Sunday 17 January 2027, 21:00 (Europe/Lisbon)"), "{missing}");
    // It closed at nine; ten minutes of grace.
    let (desk, missing) = at("21:03").await;
    assert!(desk.contains(">closed; first scores still count for another 7 min<"), "{desk}");
    assert!(
        desk.contains("data-grace-until=\"2027-01-17T21:10:00Z\"") && desk.contains("<h3 class=\"todo-title\""),
        "{desk}"
    );
    assert!(missing.contains("can enter it until Sunday 17 January 2027, 21:10 (Europe/Lisbon)"), "{missing}");
    let (desk, missing) = at("21:10").await;
    assert!(desk.contains(">closed; judges can vouch for another 23 h 50 min<"), "{desk}");
    assert!(
        desk.contains("<details class=\"rest todo-title\"") && !desk.contains("<h3 class=\"todo-title\""),
        "{desk}"
    );
    assert!(missing.contains("Nobody is missing in a workout that is open."), "{missing}");
}

#[tokio::test]
async fn the_field_for_a_sheet_has_a_word_that_fits_into_it_in_every_language() {
    let app = TestApp::new().await;
    let (program, browser) = at_desk(&app).await;
    enter(&program, 1042, "6+14 tb 11:24").await;
    for (language, word) in [("en", "Sheet"), ("de", "Blatt")] {
        let page = browser.get(DESK).header("accept-language", language).await.expect(200).text();
        let words: Vec<&str> =
            page.split("class=\"sheet\"").skip(1).filter_map(|f| f.split("placeholder=\"").nth(1)).collect();
        assert!(words.len() > 2 && words.iter().all(|w| w.starts_with(&format!("{word}\""))), "{language}: {page}");
    }
}

#[tokio::test]
async fn what_was_typed_for_many_stays_in_rows_that_wait_and_is_told_of_those_that_do_not() {
    let app = TestApp::new().await;
    let (program, browser) = at_desk(&app).await;
    let one = enter(&program, 1042, "6+14 tb 11:24").await;
    let two = enter(&program, 1043, "6+10 tb 11:24").await;
    let csrf = browser.get(DESK).await.csrf();
    let path = format!("{DESK}/w1/attestation");
    let mut fields = vec![("a-1042", one.as_str()), ("s-1042", "B 16"), ("a-1043", two.as_str()), ("s-1043", "B 17")];
    fields.extend([("judge", "J-1"), ("how", "paper_sheet"), ("csrf", &csrf)]);
    // One was vouched for meanwhile, by somebody else: of that the page still says what was typed.
    let word = json!({ "judge": "J-1", "how": "paper_sheet", "sheet": "B 1" });
    program.post(&format!("{SCORES}/1042/attestation")).if_match(&one).json(word).await.expect(200);
    let without = browser.post(&path).form(&fields).await.expect(422).plain();
    assert!(
        without.contains("Ines Duarte (1042): It does not wait for a judge any more. Sheet B 16 was typed."),
        "{without}"
    );
    assert!(
        without.contains(&format!("name=\"a-1043\" value=\"{two}\" checked")) && without.contains("value=\"B 17\"")
    );
    // The other's figures are others now: the sheet stays, the tick has to be put to them anew.
    let sent = json!({ "performance": "6+11 tb 11:24" });
    program.put(&format!("{SCORES}/1043")).if_match(&two).json(sent).await.expect(200);
    fields.push(("statement", "yes"));
    let left = browser.post(&path).form(&fields).await.expect(409).plain();
    assert!(left.contains("Vouched for: 0.") && left.contains("Sheet B 16 was typed."), "{left}");
    assert!(left.contains("name=\"s-1043\"") && left.contains("value=\"B 17\""), "{left}");
    assert!(!left.contains(" checked>"), "{left}");
}

#[tokio::test]
async fn who_has_withdrawn_is_not_missing_and_a_guest_is_not_waited_for() {
    let app = TestApp::new().await;
    let (program, browser) = at_desk(&app).await;
    let organiser = app.organiser().await;
    let change = async |bib: u32, state: &str| {
        let path = format!("/api/v1/competitions/saltmarsh/entries/{bib}");
        organiser.patch(&path).json(json!({ "state": state, "reason": "as the gym says" })).await.expect(200);
    };
    let list = async |query: &str| program.get(&format!("{SCORES}?gym=quayside{query}")).await.expect(200).json();
    let bibs = |view: &Value| {
        view["rows"].as_array().expect("rows").iter().map(|r| r["bib"].as_u64().expect("a bib")).collect::<Vec<_>>()
    };
    change(1042, "withdrawn").await;
    change(1043, "guest").await;
    let all = list("").await;
    let of = |n: usize| (&all["rows"][n]["state"], &all["rows"][n]["entry_state"]);
    assert_eq!(of(0), (&json!("not_taking_part"), &json!("withdrawn")));
    assert_eq!(of(1), (&json!("guest"), &json!("guest")));
    assert_eq!(of(2), (&json!("missing"), &json!("active")));
    assert_eq!((&all["missing"], &all["settled"]), (&json!(1), &json!(2)));
    assert_eq!(bibs(&list("&state=missing").await), [1044]);
    assert_eq!(bibs(&list("&state=guest").await), [1043]);

    let page = browser.get(DESK).await.expect(200).text();
    let row = |bib: u32| {
        let id = format!("id=\"r-w1-{bib}\"");
        page.split("<li ").find(|li| li.contains(&id)).unwrap_or_default().to_owned()
    };
    assert!(row(1042).contains("Not taking part") && row(1042).contains("data-locked"), "{page}");
    assert!(!row(1042).contains("name=\"performance\"") && row(1043).contains("name=\"performance\""), "{page}");
    assert!(row(1043).contains(">Guest<") && !row(1042).contains("Missing"), "{page}");
    // Nobody asks them to come, and their form says why there is none.
    let missing = browser.get(&format!("{DESK}/missing")).await.expect(200).text();
    assert!(!missing.contains("(1042)") && !missing.contains("(1043)") && missing.contains("1044"), "{missing}");
    let form = browser.get(&format!("{DESK}/w1/1042")).await.expect(200).text();
    assert!(form.contains("This entry takes no part any more") && !form.contains("name=\"performance\""), "{form}");
    assert!(!form.contains("Takes part after all") && !form.contains("not-taking-part\""), "{form}");
    let csv = browser.get(&format!("{DESK}/scores.csv?workout=w1")).await.expect(200).text();
    assert!(csv.lines().any(|l| l.starts_with("1042,") && l.contains("Not taking part")), "{csv}");
    // With the last who was waited for all is done, whoever else may come.
    let csrf = browser.get(DESK).await.csrf();
    browser.post(&format!("{DESK}/w1/1044/not-taking-part")).form(&[("csrf", &csrf)]).await.expect(303);
    let page = browser.get(DESK).await.expect(200).text();
    assert!(page.contains("You can go home"), "{page}");
}

#[tokio::test]
async fn a_statement_that_has_to_be_mended_keeps_what_was_ticked() {
    let app = TestApp::new().await;
    let (program, browser) = at_desk(&app).await;
    let (one, _) = (enter(&program, 1042, "6+14 tb 11:24").await, enter(&program, 1043, "5+2 tb 11:50").await);
    let csrf = browser.get(DESK).await.csrf();
    let fields = [("judge", "Nobody Known"), ("how", "paper_sheet"), ("a-1042", one.as_str()), ("csrf", &csrf)];
    let page = browser.post(&format!("{DESK}/w1/attestation")).form(&fields).await.expect(422).plain();
    let ticked = |bib: u32, etag: &str| page.contains(&format!("name=\"a-{bib}\" value=\"{etag}\" checked"));
    assert!(ticked(1042, &one), "{page}");
    assert_eq!(page.matches(" checked>").count(), 1, "nothing else is ticked: {page}");
    assert_eq!(page.matches("No judge here goes by Nobody Known.").count(), 1, "said once");
    assert!(page.contains("<a href=\"#vj-w1\">") && page.contains("<a href=\"#vs-w1\">"), "{page}");
    assert!(page.contains("class=\"judge\" name=\"judge\" list=\"judges\" value=\"Nobody Known\""), "{page}");
}

#[tokio::test]
async fn a_visitor_is_led_to_by_bib_and_a_bib_that_nobody_has_is_told_at_the_desk() {
    let app = TestApp::new().await;
    let (_, browser) = at_desk(&app).await;
    let found = browser.get(&format!("{DESK}?workout=w1&bib=%231043")).await.expect(303);
    assert_eq!(found.header("location"), "/desk/saltmarsh/quayside/w1/1043");
    for typed in ["999999", "abc", "99999999999"] {
        let page = browser.get(&format!("{DESK}?workout=w1&bib={typed}")).await.expect(404).text();
        assert!(page.contains(&format!("<a href=\"#bib-w-w1\">Nobody here has bib {typed}.</a>")), "{page}");
        assert!(page.contains("id=\"bib-w-w1\""), "{page}");
    }
}

#[tokio::test]
async fn the_receipt_names_positions_in_the_log_and_the_missing_have_messages() {
    let app = TestApp::new().await;
    let (program, browser) = at_desk(&app).await;
    let etag = enter(&program, 1042, "6+14 tb 11:24").await;
    let position = etag.split('-').next().unwrap_or_default();
    let receipt = browser.get(&format!("{DESK}/receipt")).await.expect(200).text();
    assert!(
        receipt.contains(&format!("<td class=\"n\">{position}</td>")) && receipt.contains("6+14 tb 11:24"),
        "{receipt}"
    );
    let missing = browser.get(&format!("{DESK}/missing")).await.expect(200).text();
    assert!(missing.contains("Hello Rita Alves") && !missing.contains("Hello Ines Duarte"), "{missing}");
}

#[tokio::test]
async fn an_end_is_told_when_nothing_is_left() {
    let app = TestApp::new().await;
    let (program, browser) = at_desk(&app).await;
    for bib in [1042, 1043, 1044] {
        program.post(&format!("{SCORES}/{bib}/not-taking-part")).await.expect(200);
    }
    assert!(browser.get(DESK).await.expect(200).text().contains("All 3 settled. You can go home."));
}

#[tokio::test]
async fn who_cannot_store_here_reads_a_desk_without_fields() {
    let app = TestApp::new().await;
    let (staff, browser) = at_desk(&app).await;
    enter(&staff, 1042, "6+14 tb 11:24").await;
    let own = browser.get(DESK).await.expect(200).text();
    let fields = ["name=\"performance\"", "name=\"statement\"", "name=\"bib\"", "/static/desk"];
    for field in fields {
        assert!(own.contains(field), "{field}: {own}");
    }
    assert!(!own.contains("Scores are entered by the staff of the gym"), "{own}");
    for (reader, plans) in [(app.referee().await, false), (app.organiser().await, true)] {
        let page = app.in_browser(&reader).await.get(DESK).await.expect(200).text();
        for field in fields {
            assert!(!page.contains(field), "{field}: {page}");
        }
        assert!(
            page.contains("Scores are entered by the staff of the gym") && page.contains("6+14 tb 11:24"),
            "{page}"
        );
        assert!(page.contains("href=\"/c/saltmarsh/athletes/1042#w-w1\""), "names lead where reading goes on: {page}");
        assert_eq!(page.contains("/heats/w1\""), plans, "{page}");
    }
}

#[tokio::test]
async fn a_visitors_row_is_told_apart() {
    let app = TestApp::new().await;
    let (program, browser) = at_desk(&app).await;
    let body = json!({ "performance": "6+14 tb 11:24", "gym": "quayside" });
    program.put(&format!("{SCORES}/2001")).json(body).await.expect(201);
    let page = browser.get(DESK).await.expect(200).text();
    let row = |bib: u32| page.split("<li ").find(|li| li.contains(&format!("id=\"r-w1-{bib}\""))).unwrap_or_default();
    assert!(row(2001).contains("data-visiting") && row(2001).contains("from another gym"), "{page}");
    assert!(!row(1042).contains("data-visiting"), "{page}");
}

#[tokio::test]
async fn who_takes_no_part_says_since_when_over_a_reload_and_after_a_score_was_taken_back() {
    let app = TestApp::new().await;
    let (program, browser) = at_desk(&app).await;
    let etag = enter(&program, 1042, "6+14 tb 11:24").await;
    program.post(&format!("{SCORES}/1042/withdrawal")).if_match(&etag).await.expect(200);
    app.set_clock("2027-01-14T19:47:30Z");
    for bib in [1042, 1043] {
        program.post(&format!("{SCORES}/{bib}/not-taking-part")).await.expect(200);
    }
    app.set_clock("2027-01-14T20:10:00Z");
    let text = browser.get(DESK).await.expect(200).text();
    assert_eq!(text.matches("<p class=\"saved\">Saved 19:47</p>").count(), 2, "{text}");
    assert_eq!(text.matches("data-received=\"2027-01-14T19:47:30Z\"").count(), 2, "{text}");
    let row =
        |list: &Value, bib: u32| list["rows"].as_array().unwrap().iter().find(|r| r["bib"] == bib).unwrap().clone();
    let list = program.get(&format!("{SCORES}?gym=quayside")).await.expect(200).json();
    assert_eq!(row(&list, 1043)["stated_at"], "2027-01-14T19:47:30Z");
    program.delete(&format!("{SCORES}/1043/not-taking-part")).await.expect(200);
    let list = program.get(&format!("{SCORES}?gym=quayside")).await.expect(200).json();
    assert_eq!((&row(&list, 1043)["stated_at"], &row(&list, 1043)["state"]), (&Value::Null, &json!("missing")));
}

#[tokio::test]
async fn each_row_says_when_it_was_saved_and_the_statement_takes_the_number_of_each_sheet() {
    let app = TestApp::new().await;
    let (program, browser) = at_desk(&app).await;
    app.set_clock("2027-01-14T19:47:30Z");
    let etag = enter(&program, 1042, "6+14 tb 11:24").await;
    let page = browser.get(DESK).await.expect(200);
    let text = page.text();
    assert!(text.contains("<p class=\"saved\">Saved 19:47</p>") && text.contains("name=\"s-1042\""), "{text}");
    assert_eq!(text.matches("class=\"saved\"").count(), 1, "nothing is stored of the others: {text}");
    let csrf = page.csrf();
    let mut fields = vec![("a-1042", etag.as_str()), ("s-1042", "B 17"), ("judge", "J-1"), ("csrf", &csrf)];
    let again = browser.post(&format!("{DESK}/w1/attestation")).form(&fields).await.expect(422).text();
    assert!(again.contains("value=\"B 17\""), "{again}");
    fields.push(("statement", "yes"));
    browser.post(&format!("{DESK}/w1/attestation")).form(&fields).await.expect(303);
    let score = program.get(&format!("{SCORES}/1042")).await.expect(200).json();
    assert_eq!((&score["state"], &score["sheet"]), (&json!("attested"), &json!("B 17")));
    app.set_clock("2027-01-15T09:00:00Z");
    let text = browser.get(DESK).await.expect(200).text();
    assert!(text.contains("Saved 14 January 2027, 19:47"), "{text}");

    let fields = [("performance", "6+10 tb 11:24"), ("judge", "J-1"), ("sheet", "B 18"), ("csrf", &csrf)];
    browser.post(&format!("{DESK}/w1/1043")).form(&fields).await.expect(303);
    assert_eq!(program.get(&format!("{SCORES}/1043")).await.expect(200).json()["sheet"], "B 18");
}

/// What stood in a field and was emptied is taken away; a row of the desk has no such fields and leaves it, and
/// what somebody has added meanwhile does not go by a field that was empty before.
#[tokio::test]
async fn a_video_and_no_reps_are_emptied_in_the_form_alone() {
    let app = TestApp::new().await;
    let (program, browser) = at_desk(&app).await;
    let link = "https://example.org/v/1";
    let put = async |performance: &str, etag: Option<&str>| {
        let body = json!({ "performance": performance, "no_reps": 3, "video": link });
        let call = program.put(&format!("{SCORES}/1042"));
        let call = if let Some(etag) = etag { call.if_match(etag) } else { call };
        call.json(body).await.json()["etag"].as_str().expect("an etag").to_owned()
    };
    let now = async || {
        let score = program.get(&format!("{SCORES}/1042")).await.expect(200).json();
        (score["no_reps"].clone(), score["video"].clone(), score["etag"].as_str().expect("an etag").to_owned())
    };
    let first = put("6+14 tb 11:24", None).await;
    let form = format!("{DESK}/w1/1042");
    let page = browser.get(&form).await.expect(200);
    let csrf = page.csrf();
    assert!(page.text().contains(&format!("name=\"video\" type=\"url\" value=\"{link}\"")), "{}", page.text());
    // A row of the desk.
    let row = [("performance", "6+15 tb 11:24"), ("etag", &*first), ("csrf", &*csrf)];
    browser.post(&form).form(&row).await.expect(303);
    let (no_reps, video, second) = now().await;
    assert_eq!((no_reps, video), (json!(3), json!(link)));
    // The whole form.
    let emptied = |etag: &str| {
        let fields = [("performance", "6+15 tb 11:24"), ("etag", etag), ("csrf", &*csrf), ("no_reps", "")];
        browser.post(&form).form(&[fields.as_slice(), &[("video", "")]].concat())
    };
    emptied(&second).await.expect(303);
    let (no_reps, video, third) = now().await;
    assert_eq!((no_reps, video), (json!(null), json!(null)));
    // Somebody adds it again while the form is open.
    put("6+15 tb 11:24", Some(&third)).await;
    let told = emptied(&third).await.expect(412).text();
    assert!(
        told.contains(&format!("value=\"{link}\""))
            && told.contains("name=\"no_reps\" inputmode=\"numeric\" value=\"3\""),
        "{told}"
    );
    assert_eq!(now().await.1, json!(link));
}
