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

/// A field with what stands in it.
fn typed(name: &str, value: &str) -> String {
    format!("name=\"{name}\" inputmode=\"numeric\" value=\"{value}\"")
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
    // Somebody else meant another time, not having seen the first: by how much is to be said on top of that.
    let told = staff.moves((2, ""), "2", "40", "later").await.expect(409).plain();
    assert!(
        told.contains("Somebody changed these heats meanwhile") && told.contains(&typed("late_heat", "2")),
        "{told}"
    );
    assert!(told.contains(&typed("late_minutes", "")) && !told.contains("value=\"40\""), "{told}");
    assert!(told.contains("11:45") && told.contains("name=\"was_moved\" value=\"2 25\""), "{told}");
    // Meant anew on top of what is there, it is done once more.
    staff.moves((3, "2 25"), "2", "25", "later").await.expect(303);
    assert!(staff.text(HEATS).await.contains("12:10"));
}

/// An answer was lost, and somebody else moved other heats before it was sent again.
#[tokio::test]
async fn a_move_whose_answer_was_lost_is_done_once_whoever_moved_others_meanwhile() {
    let app = TestApp::new().await;
    let staff = planned(&app).await;
    staff.moves((2, ""), "1", "25", "later").await.expect(303);
    let colleague = Staff::of(&app, "quayside").await;
    colleague.moves((3, "1 25"), "2", "5", "later").await.expect(303);
    let both = "from heat 1 on, later by 25 min";
    staff.moves((2, ""), "1", "25", "later").await.expect(303);
    let page = staff.text(HEATS).await;
    assert!(page.contains(both) && page.contains("from heat 2 on, later by 5 min") && page.contains("11:50"), "{page}");
    // Where the same heat was moved on meanwhile, nobody can tell: it is asked.
    colleague.moves((4, "1 25,2 5"), "1", "5", "later").await.expect(303);
    staff.moves((2, ""), "1", "25", "later").await.expect(409);
    assert!(staff.text(HEATS).await.contains("from heat 1 on, later by 30 min"));
}

/// By the plan both heats are on their way at half past eleven.
#[tokio::test]
async fn the_heat_that_is_offered_is_the_first_in_which_nobody_has_a_score() {
    let app = TestApp::new().await;
    let staff = planned(&app).await;
    let offered = async || {
        let page = staff.text(HEATS).await;
        let field = page.split("name=\"late_heat\"").nth(1).expect("a field").to_owned();
        field.split("value=\"").nth(1).and_then(|rest| rest.split('"').next()).expect("a value").to_owned()
    };
    assert_eq!(offered().await, "", "two have begun by the plan, and nobody has a score: who knows");
    let score = json!({ "performance": "6+14 tb 11:24", "gym": "quayside" });
    let stored = app.staff_of("quayside").await.put(&format!("{C}/workouts/w1/scores/1042")).json(score).await;
    let etag = stored.expect(201).json()["etag"].as_str().expect("an etag").to_owned();
    assert_eq!(offered().await, "2", "the second has not started, whatever the plan says");
    // What is taken back is no score.
    let back = format!("{C}/workouts/w1/scores/1042/withdrawal");
    app.staff_of("quayside").await.post(&back).if_match(&etag).json(json!({})).await.expect(200);
    assert_eq!(offered().await, "");
    // Left empty it is asked for, with what else is wrong.
    let told = staff.moves((2, ""), "", "900", "later").await.expect(422).plain();
    assert!(told.contains("href=\"#late_heat\">Say from which heat on: the last one is 2."), "{told}");
    assert!(told.contains("href=\"#late_minutes\""), "{told}");
}

/// At noon the second heat is on the floor by the plan; in truth the first still is.
#[tokio::test]
async fn the_wall_goes_back_to_the_heat_that_is_still_on_the_floor() {
    let app = TestApp::new().await;
    let staff = Staff::of(&app, "quayside").await;
    staff.post(&MAKE.replace("T11:00", "T11:35")).await.expect(303);
    let wall = async || app.nobody().get("/desk/saltmarsh/quayside/wall?show=w1").await.expect(200).plain();
    let by_plan = wall().await;
    assert!(by_plan.contains("On the floor: heat 2") && by_plan.contains("Tomás Brito"), "{by_plan}");
    staff.moves((1, ""), "2", "25", "later").await.expect(303);
    let moved = wall().await;
    assert!(moved.contains("On the floor: heat 1") && moved.contains("Ines Duarte"), "{moved}");
    assert!(!moved.contains("Tomás Brito"), "who has not started yet is nobody's to know: {moved}");
}

/// The desk that is open asks for its list, and is told that the heats are others.
#[tokio::test]
async fn the_list_of_a_gym_says_whether_its_heats_were_changed() {
    let app = TestApp::new().await;
    let list = format!("{C}/workouts/w1/scores");
    let desk = app.staff_of("quayside").await;
    let tag = async |client: &Client, query: &str| {
        client.get(&format!("{list}{query}")).await.expect(200).json()["heats"].clone()
    };
    assert_eq!(tag(&desk, "?gym=quayside").await, json!(null), "there are none");
    let staff = planned(&app).await;
    let made = tag(&desk, "?gym=quayside").await;
    let page = staff.text("/desk/saltmarsh/quayside").await;
    let own = format!("data-heats=\"{}\"", made.as_str().expect("a text"));
    assert!(page.contains(&own), "{own} in {page}");
    assert!(page.contains("data-done=\"2027-01-14T11:20:00Z\""), "{page}");
    staff.moves((2, ""), "2", "25", "later").await.expect(303);
    let moved = tag(&desk, "?gym=quayside").await;
    assert!(moved.is_string() && moved != made, "{made} {moved}");
    let page = staff.text("/desk/saltmarsh/quayside").await;
    assert!(page.contains("data-done=\"2027-01-14T11:45:00Z\"") && !page.contains(&own), "{page}");
    // Taken away and made anew they are others, though it is the first time again.
    staff.post("do=remove&version=3&sure=yes").await.expect(303);
    assert_eq!(tag(&desk, "?gym=quayside").await, json!(null));
    staff.post(&MAKE.replace("11:00", "10:00")).await.expect(303);
    staff.post("do=change&version=1&heat-1042=1&lane-1042=2").await.expect(303);
    let anew = tag(&desk, "?gym=quayside").await;
    assert!(anew.is_string() && anew != made && anew != moved, "{anew}");
    // Whoever may not see heats is told nothing of them.
    assert_eq!(tag(&app.referee().await, "?gym=quayside").await, json!(null));
    assert_eq!(tag(&app.organiser().await, "?gym=quayside").await, anew);
    assert_eq!(tag(&app.organiser().await, "").await, json!(null), "a list of all gyms is of no plan");
}

/// A heat that was empty when others were moved before it is not filled behind them; and a move is taken back
/// though nobody is left in that heat.
#[tokio::test]
async fn heats_stay_in_the_order_of_their_numbers() {
    let app = TestApp::new().await;
    let staff = Staff::of(&app, "quayside").await;
    staff.post(&MAKE.replace("lanes=2", "lanes=1")).await.expect(303);
    let places = |second: &str, third: &str| {
        format!("heat-1042=1&lane-1042=1&heat-1043={second}&lane-1043=1&heat-1044={third}&lane-1044=1")
    };
    // Nobody starts in the second: the third comes before where that would be.
    staff.post(&format!("do=change&version=1&{}", places("", "3").replace("&lane-1043=1", ""))).await.expect(303);
    staff.moves((2, ""), "3", "30", "earlier").await.expect(303);
    let told = staff.post(&format!("do=change&version=3&{}", places("2", "3"))).await.expect(422).plain();
    let said = "Heat 2 would start at 2027-01-14 11:20 (Europe/Lisbon), not before heat 3";
    assert!(told.contains(&format!("href=\"#heat-1043\">{said}")), "{told}");
    staff.moves((3, "3 -30"), "3", "11", "later").await.expect(303);
    staff.post(&format!("do=change&version=4&{}", places("2", "3"))).await.expect(303);
    // The third is emptied, and its move taken back all the same.
    staff.post(&format!("do=change&version=5&{}", places("2", "4"))).await.expect(303);
    let page = staff.text(HEATS).await;
    assert!(page.contains("from heat 3 on, earlier by 19 min") && !page.contains("Heat 3"), "{page}");
    staff.moves((6, "3 -19"), "3", "19", "later").await.expect(303);
    assert!(!staff.text(HEATS).await.contains("Moved so far"));
    let told = staff.moves((7, ""), "3", "19", "later").await.expect(422).plain();
    assert!(told.contains("There is no heat 3: the last one is 4."), "{told}");
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
            "Heat 2 would start at 2027-01-17 21:00 (Europe/Lisbon), and the workout is over here at 2027-01-17 21:00 \
             (Europe/Lisbon): move them by less, or ask the organiser for more time.",
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
        assert!(told.contains(&typed("late_minutes", minutes)), "{told}");
    }
    let german = format!("do=move&version=1&late_heat=2&late_minutes=40&csrf={}", staff.csrf);
    let german =
        staff.client.post(HEATS).header("accept-language", "de").body("application/x-www-form-urlencoded", german);
    let german = german.await.expect(422).plain();
    assert!(german.contains("verschieb um weniger, oder bitte die Wettkampfleitung um mehr Zeit."), "{german}");
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
    // Nor a judge who was over before: that it is said with another day past midnight makes it no new fault.
    let row = row.replace("2027-01-14", "2027-01-13");
    app.organiser().await.post(&format!("{C}/judges")).csv(&row).await.expect(200);
    staff.moves((2, "2 9"), "2", "11", "later").await.expect(303);
    assert!(staff.text(HEATS).await.contains("15 January 2027, 00:10"));
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
