//! `POST …/scores/{bib}/attestation`, `/withdrawal`, `/not-taking-part`, `/flags`, `/withhold`,
//! `/ruling`, `/appeal`, and `…/extensions`.

use super::{C, attested, etag, score};
use crate::support::{Client, TestApp};
use serde_json::{Value, json};

/// A move on a score: address, a right body, who may make it, and what is wrong with `{}`.
struct Case {
    below: &'static str,
    body: Value,
    who: Client,
    empty: &'static [&'static str],
}

/// Every write of a score's life: nobody, the wrong people, a wrong body, without and with an old
/// tag, and then right.
#[tokio::test]
async fn every_move_asks_who_and_what_was_seen_before_it_is_made() {
    let app = TestApp::new().await;
    let (staff, referee) = (app.staff_of("quayside").await, app.referee().await);
    let reason = json!({ "reason": "count", "note": "Round 4 looks short." });
    let cases = [
        Case {
            below: "attestation",
            body: json!({ "judge": "J-1", "how": "paper_sheet", "sheet": "B7" }),
            who: staff.clone(),
            empty: &["/judge member_needed", "/how member_needed"],
        },
        Case {
            below: "flags",
            body: reason.clone(),
            who: referee.clone(),
            empty: &["/reason member_needed", "/note member_needed"],
        },
        Case {
            below: "ruling",
            body: json!({ "kind": "stands", "reason": "The count is right." }),
            who: referee.clone(),
            empty: &["/kind member_needed", "/reason member_needed"],
        },
        Case {
            below: "withhold",
            body: reason,
            who: referee.clone(),
            empty: &["/reason member_needed", "/note member_needed"],
        },
        Case {
            below: "ruling",
            body: json!({ "kind": "strike", "reason": "The bar was too light." }),
            who: referee.clone(),
            empty: &["/kind member_needed", "/reason member_needed"],
        },
        Case {
            below: "appeal",
            body: json!({ "reason": "The plates were weighed." }),
            who: staff.clone(),
            empty: &["/reason member_needed"],
        },
    ];
    let first = json!({ "performance": "278" });
    let mut current = staff.put(&score("w1", 1042)).json(first).await.expect(201).json();
    let states = ["attested", "flagged", "attested", "withheld", "struck", "struck"];
    for (case, state) in cases.into_iter().zip(states) {
        let path = format!("{}/{}", score("w1", 1042), case.below);
        app.nobody().post(&path).if_match(etag(&current)).json(case.body.clone()).await.expect(401);
        for client in [app.stranger().await, app.athlete(1043).await, app.staff_of("millpond").await] {
            client.post(&path).if_match(etag(&current)).json(case.body.clone()).await.expect(403);
        }
        let wrong = case.who.post(&path).if_match(etag(&current)).json(json!({ "x": 1 })).await.expect(422).errors();
        let expected: Vec<String> =
            case.empty.iter().map(|e| (*e).to_owned()).chain(["/x member_unknown".to_owned()]).collect();
        assert_eq!(wrong, expected, "{path}");
        case.who.post(&path).json(case.body.clone()).await.expect(428);
        let stale = case.who.post(&path).if_match("1").json(case.body.clone()).await.expect(412).json();
        assert_eq!(stale["current"]["etag"], current["etag"], "{path}");
        current = case.who.post(&path).if_match(etag(&current)).json(case.body.clone()).await.expect(200).json();
        assert_eq!(current["state"], state, "{path}");
    }
    let decided = json!({ "kind": "restore", "reason": "The plates were right.", "on_appeal": true });
    let path = format!("{}/ruling", score("w1", 1042));
    referee.post(&path).if_match(etag(&current)).json(decided.clone()).await.expect(403);
    let other = app.second_referee().await;
    let restored = other.post(&path).if_match(etag(&current)).json(decided.clone()).await.expect(200).json();
    assert_eq!((&restored["state"], &restored["places"][0]["place"]), (&json!("attested"), &json!(1)));
    other.post(&path).if_match(etag(&restored)).json(decided).await.expect(409);
}

#[tokio::test]
async fn members_of_another_kind_of_ruling_are_refused() {
    let app = TestApp::new().await;
    let stored = attested(&app.staff_of("quayside").await, 1042, "278", "J-1").await.expect(201).json();
    let ruling = json!({ "kind": "strike", "reps": 3, "reason": "No." });
    let path = format!("{}/ruling", score("w1", 1042));
    let refused = app.referee().await.post(&path).if_match(etag(&stored)).json(ruling).await.expect(422);
    assert_eq!(refused.errors(), ["/reps member_unknown"]);
    let replace = json!({ "kind": "replace", "performance": "270", "reason": "Counted again." });
    let ruled = app.referee().await.post(&path).if_match(etag(&stored)).json(replace).await.expect(200).json();
    assert_eq!((&ruled["state"], &ruled["performance"]["total_reps"]), (&json!("amended"), &json!(270)));
}

#[tokio::test]
async fn an_attestation_said_twice_is_one() {
    let app = TestApp::new().await;
    let judge = app.judge("J-1").await;
    let stored = app
        .staff_of("quayside")
        .await
        .put(&score("w1", 1042))
        .json(json!({ "performance": "278" }))
        .await
        .expect(201)
        .json();
    let path = format!("{}/attestation", score("w1", 1042));
    let body = json!({ "judge": "J-1", "how": "signed_in" });
    let first = judge.post(&path).if_match(etag(&stored)).json(body.clone()).await.expect(200).json();
    assert_eq!((&first["state"], &first["attestation"]["how"]), (&json!("attested"), &json!("signed_in")));
    let again = judge.post(&path).if_match(etag(&first)).json(body).await;
    assert!([200, 409].contains(&again.status.as_u16()), "{}", again.text());
    let read = app.nobody().get(&score("w1", 1042)).await.expect(200).json();
    assert_eq!(read["etag"], first["etag"], "nothing was added");
    let unknown = json!({ "judge": "J-77", "how": "paper_sheet" });
    let other =
        app.staff_of("quayside").await.put(&score("w1", 1043)).json(json!({ "performance": "200" })).await.json();
    let path = format!("{}/attestation", score("w1", 1043));
    let refused = app.staff_of("quayside").await.post(&path).if_match(etag(&other)).json(unknown).await.expect(422);
    assert!(refused.errors()[0].starts_with("/judge "), "{:?}", refused.errors());
}

#[tokio::test]
async fn a_score_is_withdrawn_and_may_be_entered_again() {
    let app = TestApp::new().await;
    let staff = app.staff_of("quayside").await;
    let stored = attested(&staff, 1042, "278", "J-1").await.expect(201).json();
    let path = format!("{}/withdrawal", score("w1", 1042));
    app.nobody().post(&path).if_match(etag(&stored)).await.expect(401);
    app.staff_of("millpond").await.post(&path).if_match(etag(&stored)).await.expect(403);
    staff.post(&path).await.expect(428);
    staff.post(&path).if_match(etag(&stored)).json(json!({ "x": 1 })).await.expect(422);
    let withdrawn = staff.post(&path).if_match(etag(&stored)).await.expect(200).json();
    assert_eq!((&withdrawn["state"], &withdrawn["places"][0]["place"]), (&json!("withdrawn"), &json!(null)));
    let again = staff.post(&path).if_match(etag(&stored)).await.expect(200).json();
    assert_eq!(etag(&again), etag(&withdrawn), "said twice, done once");
    staff.put(&score("w1", 1042)).if_match(etag(&withdrawn)).json(json!({ "performance": "270" })).await.expect(200);
    staff.post(&path).if_match(etag(&stored)).await.expect(412);
    staff.post(&format!("{}/withdrawal", score("w1", 1043))).if_match("1").await.expect(404);
}

#[tokio::test]
async fn the_list_of_missing_can_reach_nought() {
    let app = TestApp::new().await;
    let staff = app.staff_of("quayside").await;
    let list = format!("{C}/workouts/w1/scores?gym=quayside");
    let counts = |view: &Value| ["entries", "settled", "awaiting", "missing"].map(|n| view[n].as_u64().unwrap());
    assert_eq!(counts(&staff.get(&list).await.expect(200).json()), [3, 0, 0, 3]);
    attested(&staff, 1042, "278", "J-1").await.expect(201);
    staff.put(&score("w1", 1043)).json(json!({ "performance": "200" })).await.expect(201);
    let out = format!("{}/not-taking-part", score("w1", 1044));
    app.nobody().post(&out).await.expect(401);
    app.staff_of("millpond").await.post(&out).await.expect(403);
    let stated = staff.post(&out).await.expect(200).json();
    assert_eq!(stated["not_taking_part"], true);
    staff.post(&out).await.expect(200);
    assert_eq!(counts(&staff.get(&list).await.json()), [3, 2, 1, 0]);
    staff.delete(&out).await.expect(200);
    assert_eq!(counts(&staff.get(&list).await.json()), [3, 1, 1, 1]);
    let missing = staff.get(&format!("{list}&state=missing")).await.expect(200).json();
    assert_eq!(missing["rows"].as_array().unwrap().len(), 1);
    assert_eq!(missing["rows"][0]["name"], "Tomás Brito");

    app.nobody().get(&list).await.expect(401);
    app.staff_of("millpond").await.get(&list).await.expect(403);
    app.athlete(1042).await.get(&list).await.expect(403);
    staff.get(&format!("{C}/workouts/w1/scores")).await.expect(403);
    assert_eq!(app.referee().await.get(&format!("{C}/workouts/w1/scores")).await.expect(200).json()["entries"], 4);
    staff.get(&format!("{list}&state=done")).await.expect(422);
    staff.get(&format!("{C}/workouts/w3/scores?gym=quayside")).await.expect(404);
}

#[tokio::test]
async fn an_extension_lets_one_gym_in_after_the_deadline() {
    let app = TestApp::new().await;
    let organiser = app.organiser().await;
    let path = format!("{C}/workouts/w1/extensions");
    let body = json!({ "gym": "quayside", "closes": "2027-01-18T21:00:00Z", "attest_by": "2027-01-19T21:00:00Z", "reason": "Power cut." });
    app.nobody().post(&path).json(body.clone()).await.expect(401);
    app.staff_of("quayside").await.post(&path).json(body.clone()).await.expect(403);
    let wrong = json!({ "closes": "soon", "reason": "" });
    let errors = organiser.post(&path).json(wrong).await.expect(422).errors();
    assert_eq!(
        errors,
        ["/gym extension_whom", "/closes member_instant", "/attest_by member_needed", "/reason member_needed"]
    );
    organiser.post(&format!("{C}/workouts/w9/extensions")).json(body.clone()).await.expect(404);
    organiser.post(&path).json(body).await.expect(201);
    app.set_clock("2027-01-18T12:00:00Z");
    let own = attested(&app.staff_of("quayside").await, 1042, "278", "J-1").await.expect(201).json();
    assert_eq!((&own["state"], &own["late_by_ms"]), (&json!("attested"), &json!(null)));
    let other = attested(&app.staff_of("millpond").await, 2001, "278", "J-2").await.expect(201).json();
    assert_eq!(other["state"], "late");
}
