//! `/organise/{c}`: what came late, and more time.

use super::organiser;
use crate::support::TestApp;
use serde_json::json;

const SCORE: &str = "/api/v1/competitions/saltmarsh/workouts/w1/scores/1043";

/// A late score of 1043, sent eight minutes after the grace.
async fn late(app: &TestApp) -> serde_json::Value {
    app.set_clock("2027-01-18T09:00:00Z");
    let body = json!({ "performance": "300", "performed_at": "2027-01-17T20:00:00Z",
        "attestation": { "judge": "J-1", "how": "paper_sheet" } });
    app.staff_of("quayside").await.put(SCORE).json(body).await.expect(201).json()
}

#[tokio::test]
async fn a_late_score_waits_with_its_receipt_time_until_it_is_let_in() {
    let app = TestApp::new().await;
    let stored = late(&app).await;
    let (browser, csrf) = organiser(&app).await;
    let page = browser.get("/organise/saltmarsh").await.expect(200).text();
    assert!(
        page.contains("Rita Alves") && page.contains("Monday 18 January 2027, 09:00, 12\u{a0}h after the close"),
        "{page}"
    );
    assert!(page.contains("1 late"));
    let etag = stored["etag"].as_str().expect("an etag");
    let path = "/organise/saltmarsh/late/w1/1043";
    let send = |fields: &[(&str, &str)]| {
        let all = [fields, &[("csrf", &*csrf)]].concat();
        browser.post(path).form(&all)
    };
    // Without a reason, with an old state, with neither decision: nothing happens, all is said.
    let page = send(&[("decision", "admit"), ("etag", etag)]).await.expect(422).text();
    assert!(page.contains("href=\"#reason-w1-1043\""), "{page}");
    let page = send(&[("decision", "admit"), ("etag", "1"), ("reason", "power cut")]).await.expect(412).text();
    assert!(page.contains("changed meanwhile") && page.contains("value=\"power cut\""));
    send(&[("etag", etag), ("reason", "power cut")]).await.expect(422);
    // Refused, it is folded away and can still be let in.
    let answer = send(&[("decision", "refuse"), ("etag", etag), ("reason", "No word of it before.")]).await.expect(303);
    let page = browser.get(answer.header("location")).await.expect(200).text();
    assert!(page.contains("Not let in: 1") && page.contains("Nothing waits."), "{page}");
    let now = app.nobody().get(SCORE).await.expect(200).json();
    assert_eq!((&now["state"], &now["refused"]), (&json!("late"), &json!(true)));
    let etag = now["etag"].as_str().expect("an etag").to_owned();
    send(&[("decision", "admit"), ("etag", &etag), ("reason", "The gym had no power.")]).await.expect(303);
    let now = app.nobody().get(SCORE).await.expect(200).json();
    assert_eq!((&now["state"], &now["refused"]), (&json!("attested"), &json!(false)));
    let page = browser.get("/organise/saltmarsh").await.expect(200).text();
    assert!(!page.contains("Rita Alves"));
}

#[tokio::test]
async fn a_gym_gets_more_time_and_what_comes_then_is_in_time() {
    let app = TestApp::new().await;
    app.set_clock("2027-01-17T22:00:00Z");
    let (browser, csrf) = organiser(&app).await;
    let path = "/organise/saltmarsh/extensions";
    let faulty = [("csrf", &*csrf), ("workout", "w1"), ("closes", "soon"), ("attest_by", ""), ("reason", "storm")];
    let page = browser.post(path).form(&faulty).await.expect(422).text();
    assert!(
        page.contains("href=\"#closes\"") && page.contains("href=\"#attest_by\"") && page.contains("value=\"storm\"")
    );
    let sent = |closes, gym, region, reason| {
        let rest = [("csrf", &*csrf), ("workout", "w1"), ("attest_by", "2027-01-19T21:00"), ("closes", closes)];
        browser.post(path).form(&[&rest[..], &[("gym", gym), ("region", region), ("reason", reason)]].concat())
    };
    let page = sent("2027-01-16T21:00", "", "", "").await.expect(422).text();
    for field in ["closes", "gym", "reason"] {
        assert!(page.contains(&format!("href=\"#{field}\"")), "{field} in {page}");
    }
    sent("2027-01-18T21:00", "quayside", "North", "Storm.").await.expect(422);
    let done = sent("2027-01-18T21:00", "quayside", "", "Storm: <no power>.").await.expect(303);
    let page = browser.get(done.header("location")).await.expect(200).text();
    assert!(page.contains("Monday 18 January 2027, 21:00") && page.contains("Storm: &#60;no power&#62;."), "{page}");
    let body = json!({ "performance": "300", "performed_at": "2027-01-17T20:00:00Z" });
    let stored = app.staff_of("quayside").await.put(SCORE).json(body).await.expect(201).json();
    assert_eq!((&stored["state"], &stored["late_by_ms"]), (&json!("entered"), &json!(null)));
}
