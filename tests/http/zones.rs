//! Deadlines are said in the competition's zone by its name, ready for a script to add the reader's; at a
//! gym in another zone its own time is said too.

use crate::support::TestApp;
use serde_json::json;

const LISBON: &str = "data-zone=\"Europe/Lisbon\"";

#[tokio::test]
async fn a_gym_in_another_zone_reads_its_own_time_at_the_desk_and_in_its_heats() {
    let app = TestApp::new().await;
    let organiser = app.organiser().await;
    let staff = app.in_browser(&app.staff_of("quayside").await).await;
    let csrf = staff.get("/account").await.csrf();
    let heats = "/desk/saltmarsh/quayside/heats/w1";
    let make = format!("do=make&version=0&lanes=2&minutes=20&start=2027-01-14T11:00&judging=judges&csrf={csrf}");
    staff.post(heats).body("application/x-www-form-urlencoded", make).await.expect(303);
    let desk = staff.get("/desk/saltmarsh/quayside").await.expect(200).text();
    let closes = format!(
        "Closes <time datetime=\"2027-01-17T21:00:00Z\" {LISBON}>Sunday 17 January 2027, 21:00 (Europe/Lisbon)</time>."
    );
    assert!(desk.contains(&closes), "{desk}");
    assert!(desk.contains("Judges can vouch until <time datetime=\"2027-01-18T21:00:00Z\""), "{desk}");
    assert!(!desk.contains("in Europe/"), "its own zone is the competition's: {desk}");

    let gym = json!({ "slug": "quayside", "name": "Quayside Gym", "country": "PT", "time_zone": "Europe/Berlin" });
    organiser.post("/api/v1/competitions/saltmarsh/gyms").json(gym).await;
    let desk = staff.get("/desk/saltmarsh/quayside").await.expect(200).text();
    assert!(desk.contains("21:00 (Europe/Lisbon, 22:00 in Europe/Berlin)</time>"), "{desk}");
    // A screen on the wall and the organiser's page say the time besides how long it is until then.
    let wall = app.nobody().get("/desk/saltmarsh/quayside/wall").await.expect(200).text();
    assert!(wall.contains("21:00 (Europe/Lisbon, 22:00 in Europe/Berlin)</time>."), "{wall}");
    let overview = app.in_browser(&organiser).await.get("/organise/saltmarsh").await.expect(200).text();
    assert!(overview.contains(&closes), "{overview}");
    let heat = "14 January 2027, 11:00 (Europe/Lisbon, 12:00 in Europe/Berlin)</time>";
    for address in ["/desk/saltmarsh/quayside", heats, &format!("{heats}/paper")] {
        let page = staff.get(address).await.expect(200).text();
        assert!(page.contains(heat) && page.contains(LISBON), "{address}: {page}");
    }
}

/// What is read beside the clock of the gym, or in a message by who trains there.
#[tokio::test]
async fn sheets_and_messages_say_the_gyms_own_hour() {
    let app = TestApp::new().await;
    let organiser = app.organiser().await;
    let staff = app.in_browser(&app.staff_of("quayside").await).await;
    let csrf = staff.get("/account").await.csrf();
    let make = format!("do=make&version=0&lanes=3&minutes=20&start=2027-01-14T23:30&judging=judges&csrf={csrf}");
    staff.post("/desk/saltmarsh/quayside/heats/w1").body("application/x-www-form-urlencoded", make).await.expect(303);
    let boss = app.in_browser(&organiser).await;
    let sheet = "/c/saltmarsh/workouts/w1/sheet?gym=quayside";
    let (to_gym, to_athletes) =
        ("/organise/saltmarsh/missing?workout=w1&gym=quayside", "/desk/saltmarsh/quayside/missing");
    for (zone, day, hour, closes) in [
        ("", "2027-01-14", "23:30 <small>Europe/Lisbon</small>", "21:00 (Europe/Lisbon)"),
        (
            "Europe/Berlin",
            "2027-01-15",
            "00:30 <small>Europe/Berlin</small>",
            "21:00 (Europe/Lisbon, 22:00 in Europe/Berlin)",
        ),
    ] {
        let gym = json!({ "slug": "quayside", "name": "Quayside Gym", "country": "PT", "time_zone": zone });
        organiser.post("/api/v1/competitions/saltmarsh/gyms").json(gym).await.expect(200);
        let text = staff.get(sheet).accept("text/html").await.expect(200).plain();
        assert!(text.contains(&format!("<dd>{day}</dd>")) && text.contains(&format!("<dd>{hour}</dd>")), "{text}");
        let text = boss.get(to_gym).await.expect(200).plain();
        assert!(text.contains(&format!("Workout 1 closes Sunday 17 January 2027, {closes}, in 3 days 9 h.")), "{text}");
        let text = staff.get(to_athletes).await.expect(200).plain();
        assert!(text.contains(&format!("can enter it until Sunday 17 January 2027, {closes}.")), "{text}");
    }
    // What is to be written in has no zone yet.
    let text = app.nobody().get("/c/saltmarsh/workouts/w1/sheet").accept("text/html").await.expect(200).text();
    assert!(!text.contains("<small>Europe/"), "{text}");
}

#[tokio::test]
async fn every_instant_of_a_score_and_of_an_extension_carries_its_zone() {
    let app = TestApp::new().await;
    let program = app.staff_of("quayside").await;
    let score = "/api/v1/competitions/saltmarsh/workouts/w1/scores/1042";
    program.put(score).json(json!({ "performance": "6+14 tb 11:24" })).await.expect(201);
    let staff = app.in_browser(&program).await;
    let athlete = staff.get("/c/saltmarsh/athletes/1042").await.expect(200).text();
    assert!(athlete.contains(&format!("<time datetime=\"2027-01-14T12:00:00Z\" {LISBON}>")), "{athlete}");
    let extension = json!({ "gym": "quayside", "closes": "2027-01-18T20:00:00Z", "attest_by": "2027-01-19T21:00:00Z", "reason": "power cut" });
    let organiser = app.organiser().await;
    organiser.post("/api/v1/competitions/saltmarsh/workouts/w1/extensions").json(extension).await;
    let page = app.in_browser(&organiser).await.get("/organise/saltmarsh").await.expect(200).text();
    assert!(page.contains("Monday 18 January 2027, 20:00 (Europe/Lisbon)</time>"), "{page}");
    // And the gym's desk says the later end.
    let desk = staff.get("/desk/saltmarsh/quayside").await.expect(200).text();
    assert!(desk.contains("Closes <time datetime=\"2027-01-18T20:00:00Z\""), "{desk}");
}
