//! The main job, end to end: a file is applied, gyms and people are in, a score arrives with a
//! judge's attestation, is placed at once, doubted, ruled on, and everybody can see why.

use super::{C, etag, score};
use crate::support::TestApp;
use serde_json::json;

#[tokio::test]
async fn from_a_file_to_a_ruling_and_the_standings_before_it() {
    let app = TestApp::empty().await;
    let nobody = app.nobody();

    let file = include_str!("../../../../data/small.toml");
    let applied = app.administrator().await.put(C).body("application/toml", file).await.expect(201).json();
    assert_eq!(applied["created"], true);
    let (organiser, referee) = (app.organiser().await, app.referee().await);
    for (path, body) in [
        ("gyms", json!({ "slug": "quayside", "name": "Quayside Gym", "country": "PT" })),
        (
            "judges",
            json!({ "code": "J-1", "name": "Vera Lopes", "gym": "quayside", "valid_from": "2026-01-01", "valid_to": "2027-12-31" }),
        ),
        (
            "entries",
            json!({ "bib": 1042, "name": "Ines Duarte", "born": "1996-04-02", "category": "women", "division": "women", "gym": "quayside" }),
        ),
        (
            "entries",
            json!({ "bib": 1043, "name": "Rita Alves", "born": "1999-11-20", "category": "women", "division": "women", "gym": "quayside" }),
        ),
    ] {
        organiser.post(&format!("{C}/{path}")).json(body).await.expect(201);
    }

    let staff = app.staff_of("quayside").await;
    let attestation = json!({ "judge": "J-1", "how": "paper_sheet", "sheet": "B7" });
    let first = json!({ "performance": "6+14 tb 11:24", "no_reps": 3, "attestation": attestation });
    let stored = staff.put(&score("w1", 1042)).json(first).await.expect(201).json();
    assert_eq!(stored["state"], "attested");
    assert_eq!(stored["performance"]["total_reps"], 278);
    assert_eq!(stored["places"], json!([{ "division": "women", "place": 1, "of": 1 }]));
    let second = json!({ "performance": "6+12 tb 11:30", "attestation": { "judge": "J-1", "how": "paper_sheet" } });
    let second = staff.put(&score("w1", 1043)).json(second).await.expect(201).json();
    assert_eq!(second["places"], json!([{ "division": "women", "place": 2, "of": 2 }]));
    let before = second["log_seq"].as_u64().unwrap();

    let standings = format!("{C}/divisions/women/standings");
    let page = nobody.get(&standings).await.expect(200).json();
    assert_eq!(page["rows"][0]["name"], "Ines Duarte");
    assert_eq!(page["rows"][0]["workouts"][0]["text"], "6+14 tb 11:24");
    assert_eq!(page["of"], 2);

    let flag = json!({ "reason": "count", "note": "Round 4 looks like 42." });
    let flagged = referee
        .post(&format!("{}/flags", score("w1", 1042)))
        .if_match(etag(&stored))
        .json(flag)
        .await
        .expect(200)
        .json();
    assert_eq!(flagged["state"], "flagged");
    assert_eq!(flagged["places"][0]["place"], 1, "a flagged score keeps its place");

    let ruling = json!({ "kind": "deduct", "reps": 4, "reason": "Four swings short of the standard." });
    let ruled = referee
        .post(&format!("{}/ruling", score("w1", 1042)))
        .if_match(etag(&flagged))
        .json(ruling)
        .await
        .expect(200)
        .json();
    assert_eq!(ruled["state"], "amended");
    assert_eq!(ruled["performance"]["total_reps"], 274);
    assert_eq!(ruled["ruling"]["before"]["total_reps"], 278, "the athlete's own figures stay visible");
    assert_eq!(ruled["places"][0]["place"], 2);

    let history = nobody.get(&format!("{}/history", score("w1", 1042))).await.expect(200).json();
    let actions: Vec<&str> =
        history["items"].as_array().unwrap().iter().map(|i| i["action"].as_str().unwrap()).collect();
    assert_eq!(actions, ["submitted", "attested", "flagged", "ruled"]);
    assert_eq!(history["items"][3]["reason"], "Four swings short of the standard.");
    assert_eq!(history["items"][2]["reason"], json!(null), "a referee's note is not public");

    let page = nobody.get(&standings).await.expect(200).json();
    assert_eq!(page["rows"][0]["bib"], 1043);
    let then = nobody.get(&format!("{standings}?as_of={before}")).await.expect(200).json();
    assert_eq!((&then["rows"][0]["bib"], &then["log_seq"]), (&json!(1042), &json!(before)));

    let rulings = nobody.get(&format!("{C}/rulings")).await.expect(200).json();
    assert_eq!(rulings["rulings"][0]["kind"], "deduct");
    assert_eq!(rulings["rulings"][0]["name"], "Ines Duarte");

    let log = referee.get(&format!("{C}/log?after=0")).await.expect(200).json();
    let sequence: Vec<u64> = log["records"].as_array().unwrap().iter().map(|r| r["seq"].as_u64().unwrap()).collect();
    assert_eq!(sequence, (1..=log["log_seq"].as_u64().unwrap()).collect::<Vec<_>>());
    let text = log.to_string();
    for personal in ["Ines", "Duarte", "1996-04-02", "Vera", "Four swings", "Round 4"] {
        assert!(!text.contains(personal), "{personal} stands in the log");
    }
    nobody.get(&format!("{C}/log")).await.expect(401);
    staff.get(&format!("{C}/log")).await.expect(403);
}
