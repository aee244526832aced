//! Heats that run late: from one on they are moved; places and judges stay, and whatever is filled in by them
//! follows.

use crate::support::{Client, Reply, TestApp};
use serde_json::json;

const C: &str = "/api/v1/competitions/saltmarsh";
const HEATS: &str = "/desk/saltmarsh/quayside/heats/w1";
/// Two heats at eleven and at twenty past in Lisbon, where it is noon now.
const MAKE: &str = "do=make&version=0&lanes=2&minutes=20&start=2027-01-14T11:00&judging=judges";

struct Staff {
    client: Client,
    csrf: String,
}

impl Staff {
    async fn of(app: &TestApp, gym: &str) -> Self {
        let client = app.in_browser(&app.staff_of(gym).await).await;
        let csrf = client.get("/account").await.csrf();
        Self { client, csrf }
    }

    async fn post(&self, form: &str) -> Reply {
        let form = format!("{form}&csrf={}", self.csrf);
        self.client.post(HEATS).body("application/x-www-form-urlencoded", form).await
    }

    /// Moves heats, having seen this version and these moves.
    async fn moves(&self, seen: (u32, &str), heat: &str, minutes: &str, way: &str) -> Reply {
        let (version, was) = (seen.0, seen.1.replace(' ', "+"));
        let form = format!("do=move&version={version}&was_moved={was}&late_heat={heat}&late_minutes={minutes}");
        self.post(&format!("{form}&late_way={way}")).await
    }

    async fn text(&self, address: &str) -> String {
        self.client.get(address).accept("text/html").await.expect(200).plain()
    }
}

/// Everybody made, and the third put into lane 2 of the second heat by hand, with the judge.
async fn planned(app: &TestApp) -> Staff {
    let staff = Staff::of(app, "quayside").await;
    staff.post(MAKE).await.expect(303);
    let by_hand = "do=change&version=1&heat-1042=1&lane-1042=1&judge-1042=J-1&heat-1043=1&lane-1043=2\
        &heat-1044=2&lane-1044=2&judge-1044=J-1";
    staff.post(by_hand).await.expect(303);
    staff
}

#[tokio::test]
async fn from_a_heat_on_all_is_moved_and_what_was_changed_by_hand_stays() {
    let app = TestApp::new().await;
    let staff = planned(&app).await;
    let wall = "/desk/saltmarsh/quayside/wall?show=w1";
    let before = app.nobody().get(wall).await.expect(200).plain();
    assert!(!before.contains("On the floor"), "by the plan the second heat is over: {before}");
    let page = staff.text(HEATS).await;
    assert!(page.contains("14 January 2027, 11:20") && page.contains("name=\"late_heat\""), "{page}");
    let moved = staff.moves((2, ""), "2", "25", "later").await.expect(303);
    assert_eq!(moved.header("location"), HEATS);
    let page = staff.text(HEATS).await;
    assert!(page.contains("14 January 2027, 11:00") && page.contains("14 January 2027, 11:45"), "{page}");
    assert!(!page.contains("11:20") && page.contains("from heat 2 on, later by 25 min"), "{page}");
    assert!(page.contains("name=\"was-1044\" value=\"2 2 J-1\""), "the place by hand stays: {page}");
    // The paper, the sheet, the start of the score, the judge's page and the wall follow.
    assert!(staff.text(&format!("{HEATS}/paper")).await.contains("11:45"));
    let sheets = staff.text("/c/saltmarsh/workouts/w1/sheet?gym=quayside").await;
    let starts = |time: &str| format!("<dt>Start</dt><dd>{time} <small>Europe/Lisbon</small></dd>");
    assert_eq!(sheets.matches(&starts("11:45")).count(), 1, "{sheets}");
    assert_eq!(sheets.matches(&starts("11:00")).count(), 2, "{sheets}");
    let form = |bib: u32| format!("/desk/saltmarsh/quayside/w1/{bib}");
    assert!(staff.text(&form(1044)).await.contains("value=\"2027-01-14T11:45\""));
    assert!(staff.text(&form(1042)).await.contains("value=\"2027-01-14T11:00\""));
    let judge = app.in_browser(&app.judge("J-1").await).await;
    assert!(judge.get("/judge/saltmarsh").accept("text/html").await.expect(200).plain().contains("11:45"));
    let floor = app.nobody().get(wall).await.expect(200).plain();
    assert!(floor.contains("On the floor: heat 2") && floor.contains("Tomás Brito"), "{floor}");
    // Time was made up: earlier again, and then nothing is said of it any more.
    staff.moves((3, "2 25"), "2", "25", "earlier").await.expect(303);
    let page = staff.text(HEATS).await;
    assert!(page.contains("11:20") && !page.contains("Moved so far"), "{page}");
    // Changed by hand the heats stay moved; made anew they are not.
    staff.moves((4, ""), "1", "10", "later").await.expect(303);
    staff.post("do=change&version=5&heat-1043=&lane-1043=&was-1043=1+2+&judge-1043=&was-1042=1+1+J-1&heat-1042=1&lane-1042=1&judge-1042=J-1&heat-1044=2&lane-1044=2&judge-1044=J-1").await.expect(303);
    let page = staff.text(HEATS).await;
    assert!(page.contains("11:10") && page.contains("11:30") && page.contains("Without a place: Rita Alves"), "{page}");
    staff.post(&MAKE.replace("version=0", "version=6&sure=yes")).await.expect(303);
    assert!(!staff.text(HEATS).await.contains("Moved so far"));
}

#[tokio::test]
async fn a_second_tap_moves_nothing_and_of_two_the_second_is_asked_again() {
    let app = TestApp::new().await;
    let staff = planned(&app).await;
    for _ in 0..2 {
        staff.moves((2, ""), "2", "25", "later").await.expect(303);
        assert!(staff.text(HEATS).await.contains("11:45"));
    }
    // Somebody else meant another time, having seen the first: theirs stays in the fields.
    let told = staff.moves((2, ""), "2", "40", "later").await.expect(409).plain();
    assert!(told.contains("Somebody changed these heats meanwhile") && told.contains("value=\"40\""), "{told}");
    assert!(told.contains("11:45") && told.contains("name=\"was_moved\" value=\"2 25\""), "{told}");
    // Meant anew on top of what is there, it is done once more.
    staff.moves((3, "2 25"), "2", "25", "later").await.expect(303);
    assert!(staff.text(HEATS).await.contains("12:10"));
}

#[tokio::test]
async fn no_heat_is_moved_past_what_the_rules_allow() {
    let app = TestApp::new().await;
    let staff = Staff::of(&app, "quayside").await;
    // An hour before it closes.
    staff.post(&MAKE.replace("14T11:00", "17T20:00")).await.expect(303);
    for (heat, minutes, way, field, said) in [
        (
            "2",
            "40",
            "later",
            "late_minutes",
            "Heat 2 would start 2027-01-17 21:00 (Europe/Lisbon), and the workout is over",
        ),
        ("2", "20", "earlier", "late_minutes", "not after heat 1"),
        ("3", "5", "later", "late_heat", "There is no heat 3: the last one is 2."),
        ("2", "0", "later", "late_minutes", "a number from 1 to 240"),
        ("2", "241", "later", "late_minutes", "a number from 1 to 240"),
        ("2", "soon", "later", "late_minutes", "number"),
        ("", "", "later", "late_minutes", "a number from 1 to 240"),
    ] {
        let told = staff.moves((1, ""), heat, minutes, way).await.expect(422).plain();
        assert!(told.contains(&format!("href=\"#{field}\"")) && told.contains(said), "{heat} {minutes}: {told}");
        assert!(told.contains(&format!("name=\"late_minutes\" inputmode=\"numeric\" value=\"{minutes}\"")), "{told}");
    }
    let german = format!("do=move&version=1&late_heat=2&late_minutes=40&csrf={}", staff.csrf);
    let german =
        staff.client.post(HEATS).header("accept-language", "de").body("application/x-www-form-urlencoded", german);
    assert!(german.await.expect(422).plain().contains("verschieb um weniger"));
    assert!(staff.text(HEATS).await.contains("20:20"));
    staff.moves((1, ""), "2", "39", "later").await.expect(303);
    assert!(staff.text(HEATS).await.contains("20:59"));
    // Where a gym was given more time, that holds.
    let more = json!({ "gym": "quayside", "closes": "2027-01-17T22:00:00Z", "attest_by": "2027-01-18T21:00:00Z",
        "reason": "power cut" });
    app.organiser().await.post(&format!("{C}/workouts/w1/extensions")).json(more).await.expect(201);
    staff.moves((2, "2 39"), "2", "60", "later").await.expect(303);
    assert!(staff.text(HEATS).await.contains("21:59"));
}

#[tokio::test]
async fn a_judge_whose_days_are_over_by_then_is_told_and_who_has_left_stands_in_nobodys_way() {
    let app = TestApp::new().await;
    let row = "code,name,gym,valid_from,valid_to\nJ-1,Vera Lopes,quayside,2026-01-01,2027-01-14\n";
    app.organiser().await.post(&format!("{C}/judges")).csv(row).await.expect(200);
    let staff = Staff::of(&app, "quayside").await;
    staff.post(&MAKE.replace("T11:00", "T23:30")).await.expect(303);
    let told = staff.moves((1, ""), "2", "20", "later").await.expect(422).plain();
    assert!(told.contains("href=\"#judge-1044\"") && told.contains("J-1"), "{told}");
    // Of the first heat the athlete moves to another gym: that is wrong before and after.
    let moved = json!({ "gym": "millpond", "reason": "moved house" });
    app.organiser().await.patch(&format!("{C}/entries/1043")).json(moved).await.expect(200);
    staff.moves((1, ""), "2", "9", "later").await.expect(303);
    assert!(staff.text(HEATS).await.contains("23:59"));
}

#[tokio::test]
async fn the_own_staff_and_the_organiser_move_heats_and_nobody_else() {
    let app = TestApp::new().await;
    let staff = planned(&app).await;
    let form = "do=move&version=2&was_moved=&late_heat=2&late_minutes=25&late_way=later";
    for client in [app.staff_of("millpond").await, app.athlete(1042).await, app.judge("J-1").await, app.referee().await]
    {
        let client = app.in_browser(&client).await;
        let csrf = client.get("/account").await.csrf();
        Staff { client, csrf }.post(form).await.expect(403);
    }
    assert!(staff.text(HEATS).await.contains("11:20"));
    let client = app.in_browser(&app.organiser().await).await;
    let csrf = client.get("/account").await.csrf();
    Staff { client, csrf }.post(form).await.expect(303);
    assert!(staff.text(HEATS).await.contains("11:45"));
}
