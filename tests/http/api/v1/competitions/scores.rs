//! `PUT` and `GET …/workouts/{w}/scores/{bib}`.

use super::{C, attested, etag, score};
use crate::support::TestApp;
use serde_json::json;

#[tokio::test]
async fn a_score_comes_out_in_the_form_of_the_design() {
    let app = TestApp::new().await;
    let staff = app.staff_of("quayside").await;
    let body = json!({
        "performance": { "rounds": 6, "reps": 14, "tiebreak": "11:24" }, "attempt": 1, "level": "prescribed",
        "performed_at": "2027-01-14T10:40:00Z", "gym": "quayside", "no_reps": 3, "video": null,
        "attestation": { "judge": "J-1", "how": "paper_sheet", "sheet": "B7" }
    });
    let stored = staff.put(&score("w1", 1042)).json(body).await.expect(201);
    assert_eq!(stored.header("etag"), "", "the new tag stands in the body alone");
    let view = stored.json();
    assert!(etag(&view).starts_with(&format!("{}-", view["log_seq"])), "of the position, and of what it is: {view}");
    let read = staff.get(&score("w1", 1042)).await.expect(200);
    assert_eq!(read.header("etag"), format!("\"{}\"", etag(&view)));
    let read = read.json();
    assert_eq!(read["attempts"].as_array().unwrap().len(), 1);
    assert!(read.get("places").is_none(), "places stand only in the answer to a write");
    for name in
        ["competition", "workout", "bib", "attempt", "version", "state", "level", "performed_at", "no_reps", "sheet"]
    {
        assert_eq!(read[name], view[name], "{name}");
    }
    assert_eq!(view["performance"]["text"], "6+14 tb 11:24");
    assert_eq!(view["performance"]["tiebreak_ms"], 684_000);
    assert_eq!(view["performed_at"], "2027-01-14T10:40:00Z");
    assert_eq!(view["received_at"], "2027-01-14T12:00:00Z");
    assert_eq!((&view["version"], &view["warnings"]), (&json!(1), &json!([])));
}

#[tokio::test]
async fn the_table_of_conditional_writes() {
    let app = TestApp::new().await;
    let staff = app.staff_of("quayside").await;
    let path = score("w1", 1042);
    let figures = |text: &str| json!({ "performance": text, "performed_at": "2027-01-14T10:40:00Z" });

    let new = staff.put(&path).header("if-none-match", "*").json(figures("278")).await.expect(201).json();
    let again = staff.put(&path).json(figures("6+14")).await.expect(200).json();
    assert_eq!(etag(&again), etag(&new), "the same figures change nothing");

    let missing = staff.put(&path).json(figures("279")).await.expect(428);
    assert_eq!(missing.json()["current"]["performance"]["total_reps"], 278);
    let existing = staff.put(&path).header("if-none-match", "*").json(figures("279")).await.expect(412);
    assert_eq!(existing.json()["current"]["etag"], new["etag"]);

    let revised = staff.put(&path).if_match(etag(&new)).json(figures("279")).await.expect(200).json();
    assert_eq!(revised["version"], 2);
    let repeated = staff.put(&path).if_match(etag(&new)).json(figures("279")).await.expect(200).json();
    assert_eq!(etag(&repeated), etag(&revised), "a lost answer repeated changes nothing");
    staff.put(&path).if_match(etag(&new)).json(figures("280")).await.expect(412);

    let details = json!({ "performance": "279", "performed_at": "2027-01-14T10:40:00Z", "no_reps": 4 });
    staff.put(&path).json(details.clone()).await.expect(428);
    let detailed = staff.put(&path).if_match(etag(&revised)).json(details).await.expect(200).json();
    assert_eq!((&detailed["no_reps"], &detailed["version"]), (&json!(4), &json!(2)));

    let second = json!({ "performance": "300", "attempt": 2 });
    let second = staff.put(&path).json(second).await.expect(201).json();
    assert_eq!(second["attempt"], 2);
}

#[tokio::test]
async fn new_figures_void_the_attestation_and_other_details_do_not() {
    let app = TestApp::new().await;
    let staff = app.staff_of("quayside").await;
    let path = score("w1", 1042);
    let first = attested(&staff, 1042, "278", "J-1").await.expect(201).json();
    let details = json!({ "performance": "278", "no_reps": 2 });
    let detailed = staff.put(&path).if_match(etag(&first)).json(details).await.expect(200).json();
    assert_eq!(detailed["state"], "attested");
    let figures = json!({ "performance": "279" });
    let revised = staff.put(&path).if_match(etag(&detailed)).json(figures).await.expect(200).json();
    assert_eq!((&revised["state"], &revised["attestation"]), (&json!("entered"), &json!(null)));
    assert_eq!(revised["places"][0]["place"], json!(null));
}

/// A link to the wrong video, or a count read from another sheet, goes again: by an explicit empty value alone.
#[tokio::test]
async fn a_video_and_a_count_of_no_reps_are_taken_away_by_an_empty_value() {
    let app = TestApp::new().await;
    let staff = app.staff_of("quayside").await;
    let path = score("w1", 1042);
    let first = attested(&staff, 1042, "278", "J-1").await.expect(201).json();
    let with = json!({ "performance": "278", "no_reps": 2, "video": "https://example.org/v/1" });
    let with = staff.put(&path).if_match(etag(&first)).json(with).await.expect(200).json();
    let has = |view: &serde_json::Value| (view["no_reps"].clone(), view["video"].clone());
    assert_eq!(has(&with), (json!(2), json!("https://example.org/v/1")));
    // What is left out stays, and so does what is null: many programs write that for it.
    let left = json!({ "performance": "278", "video": null, "no_reps": null });
    let left = staff.put(&path).if_match(etag(&with)).json(left).await.expect(200).json();
    assert_eq!((has(&left), etag(&left)), (has(&with), etag(&with)));
    let gone = json!({ "performance": "278", "no_reps": "", "video": " " });
    staff.put(&path).json(gone.clone()).await.expect(428);
    let gone = staff.put(&path).if_match(etag(&with)).json(gone).await.expect(200).json();
    assert_eq!((has(&gone), &gone["state"]), ((json!(null), json!(null)), &json!("attested")), "{gone}");
    let history = staff.get(&format!("{path}/history")).await.expect(200).json();
    let actions: Vec<&str> =
        history["items"].as_array().expect("items").iter().filter_map(|item| item["action"].as_str()).collect();
    assert_eq!(actions, ["submitted", "attested", "detailed", "detailed"], "{history}");
    // While a referee looks at it, the video stays.
    let with = json!({ "performance": "278", "no_reps": 2, "video": "https://example.org/v/2" });
    let with = staff.put(&path).if_match(etag(&gone)).json(with).await.expect(200).json();
    let flag = json!({ "reason": "count", "note": "two short" });
    let flags = app.referee().await.post(&format!("{path}/flags")).if_match(etag(&with)).json(flag).await.expect(200);
    let flagged = flags.json();
    let gone = json!({ "performance": "278", "video": "" });
    staff.put(&path).if_match(etag(&flagged)).json(gone).await.expect(409);
    assert_eq!(has(&staff.get(&path).await.expect(200).json()), (json!(2), json!("https://example.org/v/2")));
}

#[tokio::test]
async fn who_may_send_a_score() {
    let app = TestApp::new().await;
    let body = json!({ "performance": "278" });
    let path = score("w1", 1042);
    app.nobody().put(&path).json(body.clone()).await.expect(401);
    for client in [
        app.stranger().await,
        app.referee().await,
        app.organiser().await,
        app.judge("J-1").await,
        app.staff_of("millpond").await,
        app.athlete(1043).await,
    ] {
        client.put(&path).json(body.clone()).await.expect(403);
    }
    // Nobody vouches for themselves, not with what they send either.
    let attestation = json!({ "judge": "J-1", "how": "paper_sheet" });
    let vouched = json!({ "performance": "278", "attestation": attestation });
    let refused = app.athlete(1042).await.put(&path).json(vouched).await.expect(422);
    assert_eq!(refused.errors(), ["/attestation/judge athlete_records_attestation"]);
    app.organiser().await.get(&path).await.expect(404);
    let stored = app.athlete(1042).await.put(&path).json(body).await.expect(201).json();
    assert_eq!(stored["state"], "entered");
    let own =
        app.athlete(1042).await.post(&format!("{path}/attestation")).if_match(etag(&stored)).json(attestation).await;
    own.expect(403);
}

#[tokio::test]
async fn everything_that_is_wrong_with_a_body_is_said_at_once() {
    let app = TestApp::new().await;
    let staff = app.staff_of("quayside").await;
    let path = score("w1", 1042);
    let body = json!({
        "performance": { "rounds": -1, "laps": 3 }, "attempt": 0, "level": 7, "performed_at": "yesterday",
        "gym": [], "no_reps": 1.5, "video": "a\u{7}b", "attestation": { "how": "seen" }, "confirm": "yes", "repz": 1
    });
    let refused = staff.put(&path).json(body).await.expect(422);
    let mut errors = refused.errors();
    errors.sort();
    assert_eq!(
        errors,
        [
            "/attempt member_whole",
            "/attestation/how member_word",
            "/attestation/judge member_needed",
            "/confirm member_texts",
            "/gym member_text",
            "/level member_text",
            "/no_reps member_whole",
            "/performance/laps member_unknown",
            "/performance/rounds member_whole",
            "/performed_at member_instant",
            "/repz member_unknown",
            "/video member_control",
        ]
    );
    let rules =
        json!({ "performance": "5+44", "level": "easy", "gym": "nowhere", "performed_at": "2027-03-01T10:00:00Z" });
    let refused = staff.put(&path).json(rules).await.expect(422);
    assert!(refused.errors().len() >= 3, "{:?}", refused.errors());
    staff.put(&path).json(json!([])).await.expect(422);
    staff.put(&path).body("application/json", "{").await.expect(400);
    staff.put(&path).body("text/csv", "a,b").await.expect(415);
    staff.get(&path).await.expect(404);
}

#[tokio::test]
async fn a_whole_round_is_refused_with_what_to_write() {
    let app = TestApp::new().await;
    let refused = app.staff_of("quayside").await.put(&score("w1", 1042)).json(json!({ "performance": "5+44" })).await;
    let refused = refused.expect(422).json();
    assert_eq!(refused["errors"][0]["pointer"], "/performance");
    let message = refused["errors"][0]["message"].as_str().unwrap();
    assert!(message.contains("44") && message.contains("6+0"), "{message}");
}

#[tokio::test]
async fn a_question_is_answered_with_its_code() {
    let app = TestApp::new().await;
    let staff = app.staff_of("quayside").await;
    let asked = staff.put(&score("w1", 1042)).json(json!({ "performance": "278+0" })).await.expect(422);
    assert_eq!(asked.code(), "confirm");
    let code = asked.json()["confirm"][0].as_str().unwrap().to_owned();
    staff.get(&score("w1", 1042)).await.expect(404);
    staff.put(&score("w1", 1042)).json(json!({ "performance": "278+0", "confirm": [code] })).await.expect(201);
}

#[tokio::test]
async fn a_key_gives_the_first_answer_again_and_refuses_another_body() {
    let app = TestApp::new().await;
    let staff = app.staff_of("quayside").await;
    let path = score("w1", 1042);
    let send = |text: &str| staff.put(&path).header("idempotency-key", "\"k-1\"").json(json!({ "performance": text }));
    let first = send("278").await.expect(201).json();
    let again = send("278").await.expect(201).json();
    assert_eq!(etag(&again), etag(&first));
    assert_eq!(send("279").await.expect(422).code(), "idempotency_key_reused");
}

#[tokio::test]
async fn unknown_things_and_unannounced_workouts_are_not_found() {
    let app = TestApp::new().await;
    let staff = app.staff_of("quayside").await;
    let body = json!({ "performance": "50" });
    for path in [score("w9", 1042), score("w3", 1042), score("w1", 9999), format!("{C}x/workouts/w1/scores/1042")] {
        staff.put(&path).json(body.clone()).await.expect(404);
        staff.get(&path).await.expect(404);
    }
    staff.get(&format!("{C}/workouts/w1/scores/abc")).await.expect(404);
    let hidden = "/api/v1/competitions/hidden/workouts/w1/scores/1042";
    staff.put(hidden).json(body).await.expect(404);
}

#[tokio::test]
async fn a_first_try_before_the_close_that_was_turned_away_is_not_late_when_it_comes_again() {
    let app = TestApp::new().await;
    let staff = app.staff_of("quayside").await;
    let body = json!({ "performance": "278", "attestation": { "judge": "J-1", "how": "paper_sheet" } });
    let send = |bib| staff.put(&score("w1", bib)).header("idempotency-key", &format!("k-{bib}")).json(body.clone());
    // Stored, and its answer lost: sent again even the day after, it is the same score, in time.
    app.set_clock("2027-01-17T20:59:59Z");
    let first = send(1042).await.expect(201).json();
    app.set_clock("2027-01-18T20:00:00Z");
    let again = send(1042).await.expect(201).json();
    assert_eq!((&again["etag"], &again["late_by_ms"]), (&first["etag"], &json!(null)));
    // Turned away in the rush before the close: within the grace it has its place all the same.
    app.set_clock("2027-01-17T20:59:59Z");
    let held = app.app.writer.clone();
    held.stop().await;
    let away = send(1043).await.expect(503);
    assert_eq!(away.header("retry-after"), "1");
    let app = app.beside().await;
    app.set_clock("2027-01-17T21:09:59Z");
    let staff = app.as_here(&staff);
    let kept = staff.put(&score("w1", 1043)).header("idempotency-key", "k-1043").json(body).await.expect(201).json();
    assert_eq!((&kept["state"], &kept["places"][0]["place"]), (&json!("attested"), &json!(1)));
}

#[tokio::test]
async fn what_comes_after_the_grace_is_late_and_waits_for_the_organiser() {
    let app = TestApp::new().await;
    let (staff, organiser) = (app.staff_of("quayside").await, app.organiser().await);
    app.set_clock("2027-01-17T21:03:00Z");
    let in_grace = attested(&staff, 1042, "278", "J-1").await.expect(201).json();
    assert_eq!((&in_grace["state"], &in_grace["late_by_ms"]), (&json!("attested"), &json!(180_000)));
    app.set_clock("2027-01-17T21:30:00Z");
    let late = attested(&staff, 1043, "300", "J-1").await.expect(201).json();
    assert_eq!((&late["state"], &late["places"][0]["place"]), (&json!("late"), &json!(null)));
    let path = format!("{}/admission", score("w1", 1043));
    let body = json!({ "admit": true, "reason": "Power cut, told by telephone." });
    staff.post(&path).if_match(etag(&late)).json(body.clone()).await.expect(403);
    organiser.post(&path).if_match("1").json(body.clone()).await.expect(412);
    let faulty = organiser.post(&path).if_match(etag(&late)).json(json!({ "admit": "yes" })).await.expect(422);
    assert_eq!(faulty.errors(), ["/admit member_bool", "/reason member_needed"]);
    let admitted = organiser.post(&path).if_match(etag(&late)).json(body.clone()).await.expect(200).json();
    assert_eq!((&admitted["state"], &admitted["places"][0]["place"]), (&json!("attested"), &json!(1)));
    organiser.post(&path).if_match(etag(&admitted)).json(body).await.expect(409);
}

#[tokio::test]
async fn a_score_not_modified_is_304() {
    let app = TestApp::new().await;
    let staff = app.staff_of("quayside").await;
    let stored = attested(&staff, 1042, "278", "J-1").await.expect(201).json();
    let tag = format!("\"{}\"", etag(&stored));
    let unchanged = app.nobody().get(&score("w1", 1042)).header("if-none-match", &tag).await.expect(304);
    assert_eq!(unchanged.header("etag"), tag);
    assert!(unchanged.body.is_empty());
    app.nobody().get(&score("w1", 1042)).header("if-none-match", "\"1\"").await.expect(200);
}

#[tokio::test]
async fn a_video_is_expected_of_those_placed_at_the_top() {
    let app = TestApp::new().await;
    let text = include_str!("../../../../data/small.toml");
    let asks = text.replacen("slug = \"w1\"", "slug = \"w1\"\nevidence = { top = 1 }", 1);
    app.organiser().await.put(&format!("{C}?reason=put%20right")).body("application/toml", asks).await.expect(200);
    let staff = app.staff_of("quayside").await;
    let codes = |view: &serde_json::Value| -> Vec<String> {
        view["warnings"].as_array().unwrap().iter().map(|w| w["code"].as_str().unwrap().to_owned()).collect()
    };
    let asked = "video_expected_top".to_owned();
    attested(&staff, 1042, "278", "J-1").await.expect(201);
    let below = attested(&staff, 1043, "277", "J-1").await.expect(201).json();
    assert!(!codes(&below).contains(&asked), "{below}");
    let figures = json!({ "performance": "279" });
    let above = staff.put(&score("w1", 1043)).if_match(etag(&below)).json(figures).await.expect(200).json();
    assert!(codes(&above).contains(&asked), "not attested yet, but it would be first: {above}");
    let video = json!({ "performance": "279", "video": "https://example.org/v/1" });
    let with = staff.put(&score("w1", 1043)).if_match(etag(&above)).json(video).await.expect(200).json();
    assert!(!codes(&with).contains(&asked), "{with}");
}

/// Who counted was written wrongly: the same figures with the right judge are attested anew, on purpose.
#[tokio::test]
async fn another_judge_stands_for_the_same_figures_where_that_is_meant() {
    let app = TestApp::new().await;
    let staff = app.staff_of("quayside").await;
    let path = score("w1", 1042);
    let by = |judge: &str| json!({ "performance": "6+14 tb 11:24", "attestation": { "judge": judge, "how": "paper_sheet" } });
    let first = staff.put(&path).json(by("J-1")).await.expect(201).json();
    // Nobody's word is replaced unseen.
    let unseen = staff.put(&path).json(by("J-2")).await.expect(428);
    assert_eq!(unseen.json()["current"]["attestation"]["judge"], "J-1", "{}", unseen.text());
    staff.put(&path).if_match("1-0a0b0c0d0e0f").json(by("J-2")).await.expect(412);
    let unknown = staff.put(&path).if_match(etag(&first)).json(by("J-9")).await.expect(422);
    assert_eq!(unknown.errors(), ["/attestation/judge no_such_judge"]);
    let checked = staff.post(&format!("{path}/check")).json(by("J-2")).await.expect(200).json();
    assert_eq!((&checked["unchanged"], &checked["faults"]), (&json!(false), &json!([])), "{checked}");

    let second = staff.put(&path).if_match(etag(&first)).json(by("J-2")).await.expect(200).json();
    assert_eq!((&second["state"], &second["attestation"]["judge"]), (&json!("attested"), &json!("J-2")), "{second}");
    assert_eq!(second["version"], first["version"], "no other figures");
    let again = staff.put(&path).json(by("J-2")).await.expect(200).json();
    assert_eq!(etag(&again), etag(&second), "the same again changes nothing");
    let history = staff.get(&format!("{path}/history")).await.expect(200).json();
    let judges: Vec<_> = history["items"].as_array().unwrap().iter().filter(|i| i["action"] == "attested").collect();
    assert_eq!(judges.len(), 2, "both words stand in the history: {history}");

    // In a file it has to be said, as other figures have to.
    let rows = "bib,performance,judge\n1042,6+14 tb 11:24,J-1\n";
    let told = staff.post(&format!("{C}/workouts/w1/scores")).csv(rows).await.expect(200).json();
    let error = &told["rows"][0]["errors"][0];
    assert_eq!((&error["column"], &error["code"]), (&json!("judge"), &json!("judge_differs")), "{told}");
    let rows = "bib,performance,judge,revise\n1042,6+14 tb 11:24,J-1,yes\n";
    let told = staff.post(&format!("{C}/workouts/w1/scores")).csv(rows).await.expect(200).json();
    assert_eq!(told["taken"], 1, "{told}");
    let third = staff.get(&path).await.expect(200).json();
    assert_eq!((&third["state"], &third["attestation"]["judge"]), (&json!("attested"), &json!("J-1")));

    // A referee's score keeps its judge, and after the time to vouch so does any other.
    let flag = json!({ "reason": "count", "note": "two short" });
    let flagged = app.referee().await.post(&format!("{path}/flags")).if_match(etag(&third)).json(flag).await;
    let flagged = flagged.expect(200).json();
    let told = staff.put(&path).if_match(etag(&flagged)).json(by("J-2")).await.expect(409);
    assert_eq!(told.code(), "being_checked");
    let other = staff.put(&score("w1", 1043)).json(by("J-1")).await.expect(201).json();
    app.set_clock("2027-01-18T21:00:00Z");
    let told = staff.put(&score("w1", 1043)).if_match(etag(&other)).json(by("J-2")).await.expect(409);
    assert_eq!(told.code(), "judge_stays");
    assert!(told.text().contains("The organiser can give this gym more time."), "{}", told.text());
    let german = staff.put(&score("w1", 1043)).header("accept-language", "de").if_match(etag(&other)).json(by("J-2"));
    assert!(german.await.expect(409).text().contains("Die Wettkampfleitung kann diesem Gym mehr Zeit geben."));
}
