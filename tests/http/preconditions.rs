//! Conditional writes and keys of repeats against the tables of the RFCs:
//! `tests/vectors/http_semantics.json`, from RFC 9110 §8.8.3.2 and §13.1.1, RFC 6585 §3, and the
//! IETF draft of `Idempotency-Key` (draft-ietf-httpapi-idempotency-key-header, 2025-02-26).

use crate::support::TestApp;
use serde_json::{Value, json};

const SCORE: &str = "/api/v1/competitions/saltmarsh/workouts/w1/scores/1042";

fn vectors() -> Value {
    serde_json::from_str(include_str!("../vectors/http_semantics.json")).expect("the vectors read")
}

#[tokio::test]
async fn if_match_on_put_answers_as_the_table_says() {
    let vectors = vectors();
    let table = vectors["put_if_match"].as_array().expect("a list");
    assert_eq!(table.len(), 8);
    for row in table {
        let app = TestApp::new().await;
        let staff = app.staff_of("quayside").await;
        let mut current = String::from("1");
        if row["current_etag"].is_string() {
            let first = staff.put(SCORE).json(json!({"performance": "6+14 tb 11:24"})).await.expect(201).json();
            current = first["etag"].as_str().expect("an etag").to_owned();
        }
        // The table's "v3" is the tag of now, its "v2" one of before.
        let call = staff.put(SCORE).json(json!({"performance": "6+15 tb 11:24"}));
        let call = match row["if_match"].as_str() {
            Some(tags) => call.header("if-match", &tags.replace("v3", &current).replace("v2", "0")),
            None => call,
        };
        let expected = u16::try_from(row["status"].as_u64().expect("a status")).expect("a status");
        let reply = call.await;
        assert_eq!(reply.status.as_u16(), expected, "{row}: {}", reply.text());
        if matches!(expected, 412 | 428) && row["current_etag"].is_string() {
            assert_eq!(reply.json()["current"]["etag"], current, "what is there now comes along");
        }
    }
}

#[tokio::test]
async fn a_key_seen_before_gives_the_first_answer_again_and_refuses_another_body() {
    let app = TestApp::new().await;
    let staff = app.staff_of("quayside").await;
    let send = |key: &str, body: Value| staff.put(SCORE).header("idempotency-key", key).json(body);
    let first = send("\"k-1\"", json!({"performance": "6+14 tb 11:24"})).await.expect(201);
    let again = send("k-1", json!({"performance": "6+14 tb 11:24"})).await.expect(201);
    assert_eq!(again.json()["etag"], first.json()["etag"], "quoted or bare, it is the same key");
    let other = send("k-1", json!({"performance": "6+15 tb 11:24"})).await.expect(422);
    assert_eq!(other.code(), "idempotency_key_reused");
    let elsewhere = app.athlete(1042).await;
    let same_key = elsewhere.put(SCORE).header("idempotency-key", "k-1").json(json!({"performance": "6+15 tb 11:24"}));
    same_key.await.expect(428);
    for bad in ["\"", "two words", "\"\""] {
        let reply = send(bad, json!({"performance": "6+14 tb 11:24"})).await.expect(400);
        assert_eq!(reply.code(), "bad_idempotency_key");
    }
}

#[tokio::test]
async fn a_refusal_is_not_remembered_under_its_key() {
    let app = TestApp::new().await;
    let staff = app.staff_of("quayside").await;
    let send = |body: Value| staff.put(SCORE).header("idempotency-key", "k-2").json(body);
    send(json!({"performance": "6+44 tb 11:24"})).await.expect(422);
    send(json!({"performance": "6+14 tb 11:24"})).await.expect(201);
}

/// Of a list, whose refused rows say who is meant, nothing is kept; who sent a score is told what became of it.
#[tokio::test]
async fn answers_to_scores_are_given_again_after_somebody_was_erased_and_those_to_lists_are_not() {
    let app = TestApp::new().await;
    let staff = app.staff_of("quayside").await;
    let path = SCORE.replace("1042", "1043");
    let figures = |text: &str| json!({ "performance": text, "attestation": { "judge": "J-1", "how": "paper_sheet" } });
    let enter = || staff.put(&path).header("idempotency-key", "k-1").json(figures("6+14 tb 11:24"));
    let entered = enter().await.expect(201).json();
    let seen = entered["etag"].as_str().expect("an etag");
    let correct = || staff.put(&path).if_match(seen).header("idempotency-key", "k-2").json(figures("6+15 tb 11:24"));
    let corrected = correct().await.expect(200).json();
    let organiser = app.in_browser(&app.organiser().await).await;
    let list = "bib,name,born,category,division,gym\n1042,Ines Duarte,1996-04-02,women,men,nowhere\n";
    let administrator = app.administrator().await;
    let send = || {
        let entries = administrator.post("/api/v1/competitions/saltmarsh/entries");
        entries.header("idempotency-key", "k-3").header("accept", "text/csv").csv(list)
    };
    assert!(send().await.expect(200).text().contains("Ines Duarte"), "as it was sent");
    let kept = async |what: &str| {
        let sql = format!("SELECT COUNT(*) FROM idempotency WHERE {what}");
        app.database.raw().await.number(&sql).await
    };
    assert_eq!((kept("answer LIKE '%Duarte%'").await, kept("1 = 1").await), (1, 3));

    organiser.erases("erase_bib", "1042").await.expect(303);
    assert_eq!((kept("answer LIKE '%Duarte%'").await, kept("1 = 1").await), (0, 2));
    assert_eq!(enter().await.expect(201).json()["etag"], entered["etag"]);
    let again = correct().await.expect(200).json();
    assert_eq!((&again["etag"], &again["performance"]), (&corrected["etag"], &corrected["performance"]));
}

/// Nor is any other change done twice: what is given again names nobody, and tells nothing of anybody.
#[tokio::test]
async fn changes_sent_again_after_somebody_was_erased_are_done_once() {
    let app = TestApp::new().await;
    let organiser = app.administrator().await;
    let c = "/api/v1/competitions/saltmarsh";
    let extend = |key: &str, closes: &str| {
        let body =
            json!({ "gym": "quayside", "closes": closes, "attest_by": "2027-01-19T21:00:00Z", "reason": "power cut" });
        organiser.post(&format!("{c}/workouts/w1/extensions")).header("idempotency-key", key).json(body)
    };
    let shift = |key: &str, gym: &str| {
        let body = json!({ "gym": gym, "reason": "trains there now" });
        organiser.patch(&format!("{c}/entries/1043")).header("idempotency-key", key).json(body)
    };
    let young = || {
        let body =
            json!({ "bib": 3001, "name": "Ana Reis", "born": "2011-02-03", "category": "women", "division": "women" });
        organiser.post(&format!("{c}/entries")).header("idempotency-key", "young").json(body)
    };
    let first = extend("a", "2027-01-17T23:00:00Z").await.expect(201).json();
    extend("b", "2027-01-17T22:00:00Z").await.expect(201);
    let there = shift("c", "millpond").await.expect(200).json();
    shift("d", "quayside").await.expect(200);
    let added = young().await;
    assert!(added.text().contains("guardian_consent_missing"), "{}", added.text());
    let remarks = "SELECT COUNT(*) FROM idempotency WHERE answer LIKE '%guardian_consent_missing%'";
    let records = "SELECT COUNT(*) FROM records";
    assert_eq!(app.database.raw().await.number(remarks).await, 1);

    app.in_browser(&organiser).await.erases("erase_bib", "1042").await.expect(303);
    let before = app.database.raw().await.number(records).await;
    assert_eq!(extend("a", "2027-01-17T23:00:00Z").await.expect(201).json(), first);
    assert_eq!(shift("c", "millpond").await.expect(200).json()["log_seq"], there["log_seq"]);
    assert_eq!(young().await.expect(added.status.as_u16()).json()["log_seq"], added.json()["log_seq"]);
    assert_eq!(app.database.raw().await.number(records).await, before, "nothing was done again");
    assert_eq!(app.database.raw().await.number(remarks).await, 0, "nobody's age is kept");
}
