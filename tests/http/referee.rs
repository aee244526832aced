//! `/referee`: the list by consequence, its reasons, its filters; what a ruling would move is told
//! before it is given.

use crate::support::{Client, TestApp};
use serde_json::json;
use std::time::Duration;

const C: &str = "/api/v1/competitions/saltmarsh";

fn score(bib: u32) -> String {
    format!("{C}/workouts/w1/scores/{bib}")
}

/// Attested at this place; the etag.
async fn stored(app: &TestApp, gym: &str, bib: u32, performance: &str, judge: &str) -> String {
    let attestation = json!({ "judge": judge, "how": "paper_sheet" });
    let body = json!({ "performance": performance, "attestation": attestation });
    let staff = app.staff_of(gym).await;
    staff.put(&score(bib)).json(body).await.expect(201).json()["etag"].as_str().expect("an etag").to_owned()
}

/// Women: Ines first, Rita second, Noor third.
async fn three(app: &TestApp) -> [String; 3] {
    [
        stored(app, "quayside", 1042, "6+20 tb 11:00", "J-1").await,
        stored(app, "quayside", 1043, "6+10 tb 11:24", "J-1").await,
        stored(app, "millpond", 2001, "5+10 tb 10:24", "J-2").await,
    ]
}

async fn doubt(referee: &Client, bib: u32, etag: &str, how: &str) {
    let body = json!({ "reason": "count", "note": "The sheet says less." });
    referee.post(&format!("{}/{how}", score(bib))).if_match(etag).json(body).await.expect(200);
}

async fn list(browser: &Client, query: &str) -> String {
    browser.get(&format!("/referee{query}")).await.expect(200).plain()
}

#[tokio::test]
async fn what_moves_most_comes_first_with_its_reasons() {
    let app = TestApp::new().await;
    let etags = three(&app).await;
    let referee = app.referee().await;
    let browser = app.in_browser(&referee).await;
    assert!(list(&browser, "").await.contains("Nothing waits for a referee."));
    doubt(&referee, 1043, &etags[1], "flags").await;
    doubt(&referee, 1042, &etags[0], "flags").await;
    let page = list(&browser, "").await;
    assert!(page.contains("2 wait."), "{page}");
    let row = |name: &str| {
        let rest = page.split_once(&name.to_string()).unwrap_or_else(|| panic!("{name}: {page}")).1;
        rest.split_once("</li>").expect("a row").0.to_owned()
    };
    let first = row("Ines Duarte");
    assert!(first.contains("Doubt: the count.") && first.contains("First place now."), "{first}");
    assert!(first.contains(">Closes in 3 days 9 h.</span>"), "{first}");
    assert!(
        first.contains("data-until=\"2027-01-17T21:00:00Z\"") && first.contains("21:00 (Europe/Lisbon)"),
        "{first}"
    );
    assert!(first.contains("If struck, 2 places and 2 standings of others would move."), "{first}");
    let second = row("Rita Alves");
    assert!(second.contains("If struck, 1 place and 1 standing of others would move."), "{second}");
    assert!(second.contains("2nd of 3 now."), "{second}");
    assert!(page.find("Ines Duarte") < page.find("Rita Alves"), "what moves most comes first");
    // What is off the places would come back.
    let withheld = referee.get(&score(1043)).await.json()["etag"].as_str().expect("an etag").to_owned();
    let ruled = json!({ "kind": "stands", "reason": "Counted again: it is right." });
    referee.post(&format!("{}/ruling", score(1043))).if_match(&withheld).json(ruled).await.expect(200);
    let etag = referee.get(&score(1043)).await.json()["etag"].as_str().expect("an etag").to_owned();
    doubt(&referee, 1043, &etag, "withhold").await;
    let page = list(&browser, "").await;
    assert!(page.contains("If it stands, 1 place and 1 standing of others would move."), "{page}");
    assert!(page.contains("Would be 2nd of 3."), "{page}");
}

#[tokio::test]
async fn the_list_is_narrowed_by_gym_division_workout_and_reason() {
    let app = TestApp::new().await;
    let etags = three(&app).await;
    let referee = app.referee().await;
    let browser = app.in_browser(&referee).await;
    doubt(&referee, 1042, &etags[0], "flags").await;
    doubt(&referee, 2001, &etags[2], "withhold").await;
    let shown = async |query: &str| {
        let page = list(&browser, &format!("?competition=saltmarsh{query}")).await;
        (page.contains("Ines Duarte"), page.contains("Noor de Wit"))
    };
    assert_eq!(shown("").await, (true, true));
    assert_eq!(shown("&gym=quayside").await, (true, false));
    assert_eq!(shown("&gym=millpond").await, (false, true));
    assert_eq!(shown("&doubt=withheld").await, (false, true));
    assert_eq!(shown("&division=men").await, (false, false));
    assert_eq!(shown("&in=w2").await, (false, false));
    let page = list(&browser, "?competition=saltmarsh&division=men").await;
    assert!(page.contains("Nothing of these waits") && page.contains("Show all"), "{page}");
    assert_eq!(shown("&from=0&doubt=nonsense&bib=").await, (true, true), "what cannot be read is left out");
}

#[tokio::test]
async fn near_the_close_it_says_so_and_a_raised_score_leaves_once_it_is_ruled_to_stand() {
    let app = TestApp::new().await;
    let etags = three(&app).await;
    let referee = app.referee().await;
    app.set_clock("2027-01-17T21:30:00Z");
    let browser = app.in_browser(&referee).await;
    let attestation = json!({ "judge": "J-2", "how": "paper_sheet" });
    let body =
        json!({ "performance": "6+30 tb 10:24", "reason": "The sheet was misread.", "attestation": attestation });
    let staff = app.staff_of("millpond").await;
    let raised = staff.put(&score(2001)).if_match(&etags[2]).json(body).await.expect(200).json();
    let page = list(&browser, "").await;
    assert!(
        page.contains("Raised after the close.") && page.contains("Closed; corrections for another 23 h 30 min."),
        "{page}"
    );
    assert!(page.contains("If put back to what it was, 2 places and 2 standings of others would move."), "{page}");
    assert!(page.contains("<h3>Within a day</h3>"), "{page}");
    let ruled = json!({ "kind": "stands", "reason": "The sheet says so." });
    let etag = raised["etag"].as_str().expect("an etag");
    referee.post(&format!("{}/ruling", score(2001))).if_match(etag).json(ruled).await.expect(200);
    assert!(list(&browser, "").await.contains("Nothing waits for a referee."));
}

#[tokio::test]
async fn an_appeal_is_listed_with_what_its_success_would_move() {
    let app = TestApp::new().await;
    let etags = three(&app).await;
    let referee = app.referee().await;
    let ruled = json!({ "kind": "strike", "reason": "No judge was there." });
    let struck = referee.post(&format!("{}/ruling", score(1042))).if_match(&etags[0]).json(ruled).await.expect(200);
    let etag = struck.json()["etag"].as_str().expect("an etag").to_owned();
    let appeal = json!({ "reason": "Vera was there." });
    app.staff_of("quayside")
        .await
        .post(&format!("{}/appeal", score(1042)))
        .if_match(&etag)
        .json(appeal)
        .await
        .expect(200);
    let page = list(&app.in_browser(&app.second_referee().await).await, "").await;
    assert!(page.contains("If the appeal succeeds, 2 places and 2 standings of others would move."), "{page}");
    assert!(page.contains("Would be first.") && page.contains("Struck"), "{page}");
}

#[tokio::test]
async fn what_a_ruling_would_move_is_told_before_it_is_given() {
    let app = TestApp::new().await;
    three(&app).await;
    let browser = app.in_browser(&app.referee().await).await;
    let path = "/referee/saltmarsh/w1/1042";
    let page = browser.get(path).await.expect(200);
    assert!(page.plain().contains("If struck: 2 places and 2 standings"), "{}", page.plain());
    let csrf = page.csrf();
    let etag = page
        .plain()
        .split_once("name=\"etag\" value=\"")
        .expect("an etag")
        .1
        .split_once('"')
        .expect("its end")
        .0
        .to_owned();
    let ask = |kind: &'static str, more: (&'static str, &'static str)| {
        let fields = [("csrf", csrf.as_str()), ("etag", &etag), ("kind", kind), more, ("do", "preview")];
        browser.post(&format!("{path}/ruling")).form(&fields)
    };
    // Whoever tries a whole file out, or asks what would be, is not in the way.
    let _held = app.app.board.turn(Duration::ZERO).await.expect("nobody else");
    let deduct = ask("deduct", ("reps", "11")).await.expect(200).plain();
    assert!(deduct.contains("With 6+9 tb 11:00: 2nd in Women; 1 place and 1 standing"), "{deduct}");
    let replace = ask("replace", ("performance", "5+2 tb 9:50")).await.expect(200).plain();
    assert!(replace.contains("With 5+2 tb 9:50: 3rd in Women; 2 places and 2 standings"), "{replace}");
    // What is missing for it is said, all of it but the reason, which comes last.
    let nothing = ask("", ("reps", "")).await.expect(422).plain();
    assert!(nothing.contains("Choose a decision."), "{nothing}");
    let bare = ask("deduct", ("reps", "")).await.expect(422).plain();
    assert!(bare.contains("id=\"reps-error-1\"") || bare.contains("id=\"errors\""), "{bare}");
    assert!(!bare.contains("reason-error"), "{bare}");
    let odd = ask("replace", ("performance", "lots")).await.expect(422).plain();
    assert!(odd.contains("id=\"performance-error-1\"") && odd.contains("value=\"lots\""), "{odd}");
    let state = app.nobody().get(&score(1042)).await.json()["state"].clone();
    assert_eq!(state, "attested", "nothing is stored by looking");
}

/// A withheld score has no place to lose: what would move is what its standing would.
#[tokio::test]
async fn of_a_score_without_a_place_it_is_told_what_giving_it_one_would_move() {
    let app = TestApp::new().await;
    let etags = three(&app).await;
    let referee = app.referee().await;
    doubt(&referee, 1042, &etags[0], "withhold").await;
    let browser = app.in_browser(&referee).await;
    let page = browser.get("/referee/saltmarsh/w1/1042").await.expect(200).plain();
    assert!(page.contains("With 6+20 tb 11:00: 1st in Women; 2 places and 2 standings of others change."), "{page}");
    assert!(!page.contains("If struck"), "it has no place to be taken: {page}");
}
