//! Two attempts of one entry at one workout, where the best counts and where the last does: each is seen,
//! corrected, vouched for and counted as the one it is, on every way that leads to it.

use crate::support::{Client, Reply, TestApp};
use serde_json::{Value, json};

const DESK: &str = "/desk/saltmarsh/quayside";
const FORM: &str = "/desk/saltmarsh/quayside/w1/1042";
const SCORES: &str = "/api/v1/competitions/saltmarsh/workouts/w1/scores";
const SCORE: &str = "/api/v1/competitions/saltmarsh/workouts/w1/scores/1042";
const RULES: [&str; 2] = ["best", "last"];
const FIRST: &str = "7+20 tb 11:24";
const SECOND: &str = "6+10 tb 11:24";

/// 1042 with a better attempt that J-1 has vouched for, and a worse second one.
struct Two {
    app: TestApp,
    program: Client,
    browser: Client,
    csrf: String,
}

impl Two {
    /// `vouched`: whether a judge has vouched for the second one too.
    async fn new(rule: &str, vouched: bool) -> Self {
        let app = TestApp::empty().await;
        let file = include_str!("../data/small.toml")
            .replace("tiebreak = \"each_round\"\n", &format!("tiebreak = \"each_round\"\nattempts = \"{rule}\"\n"));
        assert!(file.contains("attempts ="), "the workout has the rule");
        app.db_competition_of("saltmarsh", &file).await;
        let program = app.staff_of("quayside").await;
        let by = json!({ "judge": "J-1", "how": "paper_sheet" });
        program.put(SCORE).json(json!({ "performance": FIRST, "attestation": by })).await.expect(201);
        let mut second = json!({ "performance": SECOND, "attempt": 2 });
        if vouched {
            second["attestation"] = by;
        }
        program.put(SCORE).json(second).await.expect(201);
        let browser = app.in_browser(&program).await;
        let csrf = browser.get("/account").await.expect(200).csrf();
        Self { app, program, browser, csrf }
    }

    /// All attempts: figures and state.
    async fn all(&self) -> Vec<(String, String)> {
        let read = self.program.get(SCORE).await.expect(200).json();
        let text = |v: &Value| v.as_str().expect("a text").to_owned();
        let attempts = read["attempts"].as_array().expect("attempts").clone();
        attempts.iter().map(|a| (text(&a["performance"]["text"]), text(&a["state"]))).collect()
    }

    async fn etag(&self, attempt: usize) -> String {
        let read = self.program.get(SCORE).await.expect(200).json();
        read["attempts"][attempt - 1]["etag"].as_str().expect("a tag").to_owned()
    }

    async fn form(&self, query: &str) -> String {
        self.browser.get(&format!("{FORM}{query}")).await.expect(200).plain()
    }

    /// The form of a page, sent with these figures and the judge.
    async fn send(&self, page: &str, more: &[(&str, &str)], status: u16) -> Reply {
        let (etag, attempt) = (field(page, "etag"), field(page, "attempt"));
        let mut fields = vec![("csrf", self.csrf.as_str()), ("etag", &etag), ("attempt", &attempt)];
        fields.extend([("judge", "J-1"), ("how", "paper_sheet")]);
        fields.extend(more);
        self.browser.post(FORM).form(&fields).await.expect(status)
    }

    async fn follow(&self, done: &Reply) -> String {
        self.browser.follow(done).await.expect(200).plain()
    }
}

/// The value of the first field of a page with this name.
fn field(page: &str, name: &str) -> String {
    let (_, rest) = page.split_once(&format!("name=\"{name}\" value=\"")).unwrap_or_else(|| panic!("{name}: {page}"));
    rest.split('"').next().unwrap_or_default().to_owned()
}

fn both(first: (&str, &str), second: (&str, &str)) -> Vec<(String, String)> {
    [first, second].map(|(text, state)| (text.to_owned(), state.to_owned())).into()
}

#[tokio::test]
async fn a_form_corrects_the_attempt_that_it_shows_and_no_other() {
    for (rule, vouched, shown) in [("best", false, 1), ("best", true, 1), ("last", false, 1), ("last", true, 2)] {
        let two = Two::new(rule, vouched).await;
        let second = if vouched { "attested" } else { "entered" };
        let page = two.form("").await;
        assert_eq!(field(&page, "attempt"), shown.to_string(), "{rule}");
        assert!(page.contains(&format!("Attempt {}: ", 3 - shown)), "the other one has a form too: {page}");
        let done = two.send(&page, &[("performance", "6+20 tb 11:24")], 303).await;
        let expected = if shown == 1 {
            both(("6+20 tb 11:24", "attested"), (SECOND, second))
        } else {
            both((FIRST, "attested"), ("6+20 tb 11:24", "attested"))
        };
        assert_eq!(two.all().await, expected, "{rule}, {vouched}");
        let saved = two.follow(&done).await;
        assert!(saved.contains("Ines Duarte: 6+20 tb 11:24"), "{saved}");

        // The other one by its own form.
        let page = two.form(&format!("?attempt={}", 3 - shown)).await;
        assert_eq!(field(&page, "attempt"), (3 - shown).to_string());
        let done = two.send(&page, &[("performance", "5+13 tb 11:24")], 303).await;
        assert_eq!(two.all().await[2 - shown], ("5+13 tb 11:24".to_owned(), "attested".to_owned()));
        let saved = two.follow(&done).await;
        assert!(saved.contains("Ines Duarte: 5+13 tb 11:24"), "{saved}");

        // And a state that is no more is somebody's change, of that attempt.
        let refused = two.send(&page, &[("performance", "4+13 tb 11:24")], 412).await.plain();
        assert!(refused.contains("Somebody changed this score meanwhile") && refused.contains("5+13 tb 11:24"));
        assert_eq!(field(&refused, "attempt"), (3 - shown).to_string());
        two.send(&refused, &[("performance", "4+13 tb 11:24")], 303).await;
        assert_eq!(two.all().await[2 - shown].0, "4+13 tb 11:24", "saved again, on purpose");
    }
}

#[tokio::test]
async fn another_attempt_has_the_number_that_its_page_says_and_is_stored_once() {
    for rule in RULES {
        let two = Two::new(rule, true).await;
        let page = two.form("").await;
        assert_eq!(field(&page, "again"), "3", "{page}");
        let third = [("performance", "8+2 tb 11:24"), ("again", "3")];
        let done = two.send(&page, &third, 303).await;
        // The second of two taps.
        two.send(&page, &third, 303).await;
        assert_eq!(two.all().await.len(), 3, "{rule}");
        let saved = two.follow(&done).await;
        assert!(saved.contains("Ines Duarte: 8+2 tb 11:24") && saved.contains("Attempt 3."), "{saved}");
        assert!(saved.contains("Placed 1st of 1 in Women."), "it counts by either rule: {saved}");

        // Somebody else's third attempt is not written over, and ours not stored as a fourth by itself.
        let refused = two.send(&page, &[("performance", "5+2 tb 11:24"), ("again", "3")], 412).await.plain();
        assert!(refused.contains("Somebody changed this score meanwhile") && refused.contains("8+2 tb 11:24"));
        assert_eq!((field(&refused, "attempt"), field(&refused, "again")), ("3".to_owned(), "4".to_owned()));
        assert!(!refused.contains("value=\"4\" checked"), "{refused}");
        assert_eq!(two.all().await.len(), 3, "{rule}");
        two.send(&refused, &[("performance", "5+2 tb 11:24")], 303).await;
        assert_eq!(two.all().await[2].0, "5+2 tb 11:24");
        two.send(&refused, &[("performance", "5+3 tb 11:24"), ("again", "4")], 303).await;
        assert_eq!(two.all().await.len(), 4, "{rule}");
    }
}

#[tokio::test]
async fn an_attempt_that_awaits_a_judge_has_a_line_of_its_own_and_nobody_goes_home() {
    for rule in RULES {
        let two = Two::new(rule, false).await;
        for bib in [1043, 1044] {
            two.program.post(&format!("{SCORES}/{bib}/not-taking-part")).await.expect(200);
        }
        let listed = two.program.get(&format!("{SCORES}?gym=quayside&state=entered")).await.expect(200).json();
        assert_eq!((&listed["settled"], &listed["awaiting"], &listed["missing"]), (&json!(2), &json!(1), &json!(0)));
        assert_eq!(listed["rows"].as_array().map(Vec::len), Some(1), "{listed}");
        assert_eq!(listed["rows"][0]["score"]["attempt"], 1);
        assert_eq!(listed["rows"][0]["others"][0]["attempt"], 2);

        let desk = two.browser.get(DESK).await.expect(200).plain();
        assert!(desk.contains("2 of 3 settled, 1 awaiting a judge, 0 missing"), "{desk}");
        assert!(!desk.contains("All 3 settled."), "{desk}");
        assert!(desk.contains("id=\"r-w1-1042\"") && desk.contains("id=\"r-w1-1042-2\""), "{desk}");
        let seen = field(&desk, "a-1042-2");
        assert_eq!(seen, two.etag(2).await);

        // Figures that nobody has looked at are vouched for by nobody.
        let revised = json!({ "performance": "6+11 tb 11:24" });
        let revised = two.program.put(SCORE).if_match(&seen).json(revised).await.expect(200).json();
        assert_eq!(revised["attempt"], 2, "the attempt that If-Match names");
        let path = format!("{DESK}/w1/attestation");
        let mut fields = vec![("a-1042-2", seen.as_str()), ("s-1042-2", "B9"), ("judge", "J-1")];
        fields.extend([("statement", "yes"), ("csrf", &two.csrf)]);
        let refused = two.browser.post(&path).form(&fields).await.expect(409).plain();
        assert!(refused.contains("Vouched for: 0.") && refused.contains("Ines Duarte (1042, Attempt 2)"), "{refused}");
        assert!(refused.contains("name=\"s-1042-2\""), "{refused}");
        assert_eq!(two.all().await, both((FIRST, "attested"), ("6+11 tb 11:24", "entered")));

        let seen = two.etag(2).await;
        fields[0].1 = &seen;
        let done = two.browser.post(&path).form(&fields).await.expect(303);
        assert!(two.follow(&done).await.contains("Vouched for: 1."));
        assert_eq!(two.all().await, both((FIRST, "attested"), ("6+11 tb 11:24", "attested")));
        let read = two.program.get(SCORE).await.expect(200).json();
        assert_eq!((&read["attempts"][0]["sheet"], &read["attempts"][1]["sheet"]), (&json!(null), &json!("B9")));
        assert_eq!(read["attempt"], if rule == "best" { 1 } else { 2 });
        let desk = two.browser.get(DESK).await.expect(200).plain();
        assert!(desk.contains("All 3 settled. You can go home."), "{desk}");
        assert!(desk.contains(FIRST) && desk.contains("6+11 tb 11:24"), "both are there: {desk}");
        let receipt = two.browser.get(&format!("{DESK}/receipt")).await.expect(200).plain();
        assert!(receipt.contains("Attempt 1") && receipt.contains("Attempt 2"), "{receipt}");
    }
}

#[tokio::test]
async fn what_was_stored_is_said_as_it_was_stored_with_what_counts_instead() {
    for rule in RULES {
        let two = Two::new(rule, true).await;
        let page = two.form("").await;
        let done = two.send(&page, &[("performance", "5+20 tb 11:24"), ("again", "3")], 303).await;
        let saved = two.follow(&done).await;
        assert!(saved.contains("Ines Duarte: 5+20 tb 11:24") && saved.contains("Attempt 3."), "{saved}");
        let instead = saved.contains("What counts now is attempt 1: 7+20 tb 11:24.");
        assert_eq!(instead, rule == "best", "{saved}");
        assert_eq!(saved.contains("Placed 1st of 1 in Women."), rule == "last", "{saved}");

        // Taken back, by the form of that attempt alone.
        let page = two.form("?attempt=3").await;
        let fields = [("etag", field(&page, "etag")), ("attempt", "3".to_owned()), ("csrf", two.csrf.clone())];
        let fields: Vec<(&str, &str)> = fields.iter().map(|(n, v)| (*n, v.as_str())).collect();
        let done = two.browser.post(&format!("{FORM}/withdrawal")).form(&fields).await.expect(303);
        let saved = two.follow(&done).await;
        assert!(saved.contains("Ines Duarte: 5+20 tb 11:24") && saved.contains("Taken back."), "{saved}");
        let states = async || two.all().await.into_iter().map(|(_, state)| state).collect::<Vec<_>>();
        assert_eq!(states().await, ["attested", "attested", "withdrawn"], "{rule}");
        // The same form once more is a second tap: it is taken back, and no other one is.
        let done = two.browser.post(&format!("{FORM}/withdrawal")).form(&fields).await.expect(303);
        let saved = two.follow(&done).await;
        assert!(saved.contains("Ines Duarte: 5+20 tb 11:24") && saved.contains("Taken back."), "{saved}");
        assert_eq!(states().await, ["attested", "attested", "withdrawn"], "{rule}");
        // Of an attempt that still stands, a state that is no more is somebody's change, as before.
        let mut other = fields.clone();
        other[1].1 = "2";
        two.browser.post(&format!("{FORM}/withdrawal")).form(&other).await.expect(412);
        assert_eq!(states().await, ["attested", "attested", "withdrawn"], "{rule}");

        // The athlete's own page.
        let own = two.app.in_browser(&two.app.athlete(1042).await).await;
        let csrf = own.get("/account").await.expect(200).csrf();
        let page = own.get(FORM).await.expect(200).plain();
        assert_eq!(field(&page, "again"), "4");
        let fields = [("performance", "4+20 tb 11:24"), ("again", "4"), ("csrf", csrf.as_str())];
        let done = own.post(FORM).form(&fields).await.expect(303);
        assert!(done.header("location").contains("saved=w1&attempt=4"), "{}", done.header("location"));
        let saved = own.follow(&done).await.expect(200).plain();
        let (_, said) = saved.split_once("class=\"done\"").expect("what was done");
        let said = said.split("</div>").next().unwrap_or_default();
        assert!(said.contains("Attempt 4.") && said.contains("once a judge vouches for it"), "{said}");
        assert!(said.contains("What counts now is attempt "), "{said}");
    }
}

#[tokio::test]
async fn a_file_has_a_row_for_each_attempt_and_comes_back_unchanged() {
    for rule in RULES {
        let two = Two::new(rule, true).await;
        let out = two.browser.get(&format!("{DESK}/scores.csv?workout=w1")).await.expect(200).text();
        let rows: Vec<&str> = out.lines().filter(|line| line.starts_with("1042,")).collect();
        let (first, second) =
            (format!("{FIRST},prescribed,J-1,,,quayside,1"), format!("{SECOND},prescribed,J-1,,,quayside,2"));
        assert!(rows.len() == 2, "{out}");
        assert!(rows.iter().any(|r| r.contains(&first)) && rows.iter().any(|r| r.contains(&second)), "{out}");
        let send = async |text: &str| {
            let fields = [("csrf", two.csrf.as_str()), ("workout", "w1"), ("do", "send")];
            let done = two.browser.post(&format!("{DESK}/file")).upload(&fields, text.as_bytes()).await;
            if done.status == 303 { two.follow(&done).await } else { done.expect(200).plain() }
        };
        let page = send(&out).await;
        assert!(page.contains("0 stored, 2 as they were, 0 refused."), "{page}");

        // Only the attempt of that row is revised, and only where the row says so.
        let other = out.replace(SECOND, "6+12 tb 11:24");
        let page = send(&other).await;
        assert!(page.contains("0 stored, 1 as they were, 1 refused."), "{page}");
        let page = send(&other.replace("quayside,2,,", "quayside,2,yes,")).await;
        assert!(page.contains("1 stored, 1 as they were, 0 refused."), "{page}");
        assert_eq!(two.all().await, both((FIRST, "attested"), ("6+12 tb 11:24", "attested")));

        // A file without the column, sent twice.
        let plain = format!("bib,performance\n1042,{FIRST}\n1042,6+12 tb 11:24\n");
        let page = send(&plain).await;
        assert!(page.contains("0 stored, 2 as they were, 0 refused."), "{page}");
    }
}

#[tokio::test]
async fn without_a_number_a_program_means_the_attempt_whose_state_it_has_seen() {
    for rule in RULES {
        let two = Two::new(rule, false).await;
        let (first, second) = (two.etag(1).await, two.etag(2).await);
        let to = |path: &str| format!("{SCORE}/{path}");
        let by = json!({ "judge": "J-1", "how": "paper_sheet" });
        let attested = two.program.post(&to("attestation")).if_match(&second).json(by.clone()).await.expect(200).json();
        assert_eq!((&attested["attempt"], &attested["state"]), (&json!(2), &json!("attested")));
        // The same again, by a state that is no more: it cannot be told which is meant.
        two.program.post(&to("attestation")).if_match(&second).json(by.clone()).await.expect(412);
        let numbered = json!({ "judge": "J-1", "how": "paper_sheet", "attempt": 2 });
        let again = two.program.post(&to("attestation")).if_match(&second).json(numbered).await.expect(200).json();
        assert_eq!(again["attempt"], 2);

        let revised = json!({ "performance": "7+21 tb 11:24" });
        let revised = two.program.put(SCORE).if_match(&first).json(revised.clone()).await.expect(200).json();
        assert_eq!(revised["attempt"], 1);
        // The same request again, its answer lost: found by its figures.
        let sent = json!({ "performance": "7+21 tb 11:24" });
        let again = two.program.put(SCORE).if_match(&first).json(sent).await.expect(200).json();
        assert_eq!((&again["attempt"], &again["etag"]), (&json!(1), &revised["etag"]));
        // Nothing said: the one that counts, and nothing is replaced unseen.
        let asked = two.program.put(SCORE).json(json!({ "performance": "5+1 tb 11:24" })).await.expect(428).json();
        assert_eq!(asked["current"]["attempt"], 2, "1 lost its judge with its figures: {asked}");

        let second = two.etag(2).await;
        let taken = two.program.post(&to("withdrawal")).if_match(&second).json(json!({})).await.expect(200).json();
        assert_eq!((&taken["attempt"], &taken["state"]), (&json!(2), &json!("withdrawn")));
        assert_eq!(two.all().await, both(("7+21 tb 11:24", "entered"), (SECOND, "withdrawn")));
    }
}

#[tokio::test]
async fn a_place_is_foretold_by_what_would_count() {
    for (rule, place) in [("best", 1), ("last", 2)] {
        let two = Two::new(rule, false).await;
        let by = json!({ "judge": "J-1", "how": "paper_sheet" });
        let other = json!({ "performance": "7+1 tb 11:24", "attestation": by });
        two.program.put(&format!("{SCORES}/1043")).json(other).await.expect(201);
        let third = json!({ "performance": "5+20 tb 11:24", "attempt": 3 });
        let check = two.program.post(&format!("{SCORE}/check")).json(third).await.expect(200).json();
        assert_eq!(check["places"][0]["place"], place, "{rule}: {check}");
    }
}
