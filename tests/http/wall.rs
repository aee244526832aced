//! The gym's screen: public, and nothing on it that is not.

use crate::support::TestApp;
use serde_json::json;

const C: &str = "/api/v1/competitions/saltmarsh";
const WALL: &str = "/desk/saltmarsh/quayside/wall";

async fn score(app: &TestApp, gym: &str, bib: u32, performance: &str, judge: &str) {
    let sent = json!({ "performance": performance, "attestation": { "judge": judge, "how": "paper_sheet" } });
    let path = format!("{C}/workouts/w1/scores/{bib}");
    app.staff_of(gym).await.put(&path).json(sent).await.expect(201);
}

/// Rita hides her name; Ines does not.
async fn hide_rita(app: &TestApp) {
    let entry = json!({ "bib": 1043, "name": "Rita Alves", "born": "1999-11-20", "category": "women",
        "division": "women", "gym": "quayside", "show_name": false });
    app.organiser().await.post(&format!("{C}/entries")).json(entry).await.expect(200);
}

#[tokio::test]
async fn the_wall_has_the_gyms_own_with_their_places_in_the_whole_division() {
    let app = TestApp::new().await;
    score(&app, "quayside", 1042, "6+14 tb 11:24", "J-1").await;
    score(&app, "millpond", 2001, "7+2 tb 11:00", "J-2").await;
    let text = app.nobody().get(WALL).accept("text/html").await.expect(200).text();
    assert!(text.contains("Ines Duarte") && text.contains("6+14 tb 11:24") && text.contains(">2nd</td>"), "{text}");
    assert!(!text.contains("Noor de Wit"));
    let overall = app.nobody().get(&format!("{WALL}?show=overall")).accept("text/html").await.expect(200).text();
    assert!(overall.contains("Ines Duarte") && overall.contains("Overall"));
    app.nobody().get(&format!("{WALL}?show=w3")).accept("text/html").await.expect(404);
    app.nobody().get("/desk/saltmarsh/nowhere/wall").accept("text/html").await.expect(404);
}

#[tokio::test]
async fn a_screen_that_is_signed_in_shows_no_hidden_name_and_nothing_unpublished() {
    let app = TestApp::new().await;
    score(&app, "quayside", 1043, "6+14 tb 11:24", "J-1").await;
    hide_rita(&app).await;
    let staff = app.in_browser(&app.staff_of("quayside").await).await;
    let organiser = app.in_browser(&app.organiser().await).await;
    for who in [&app.nobody(), &staff, &organiser] {
        let text = who.get(WALL).accept("text/html").await.expect(200).text();
        assert!(text.contains("Athlete 1043") && !text.contains("Rita"), "{text}");
        assert!(!text.contains("Workout 3"), "{text}");
    }
    let file = include_str!("../data/small.toml");
    let file = file.replacen("format = \"amrap\"", "format = \"amrap\"\npublish = \"at_close\"", 1);
    app.organiser()
        .await
        .put(&format!("{C}?reason=put%20right"))
        .header("if-match", "*")
        .body("application/toml", file)
        .await
        .expect(200);
    for who in [&app.nobody(), &staff, &organiser] {
        let text = who.get(WALL).accept("text/html").await.expect(200).text();
        assert!(!text.contains("6+14") && text.contains("Results are shown when the window closes"), "{text}");
    }
}

#[tokio::test]
async fn what_has_not_changed_is_not_sent_again() {
    let app = TestApp::new().await;
    score(&app, "quayside", 1042, "6+14 tb 11:24", "J-1").await;
    app.set_clock("2027-01-14T12:00:01Z");
    let first = app.nobody().get(WALL).accept("text/html").await.expect(200);
    let tag = first.header("etag").to_owned();
    app.set_clock("2027-01-14T12:00:07Z");
    app.nobody().get(WALL).header("if-none-match", &tag).accept("text/html").await.expect(304);
    score(&app, "quayside", 1043, "6+15 tb 11:24", "J-1").await;
    app.nobody().get(WALL).header("if-none-match", &tag).accept("text/html").await.expect(200);
}

#[tokio::test]
async fn who_starts_is_told_once_the_heat_has_begun_and_not_before() {
    let app = TestApp::new().await;
    let staff = app.in_browser(&app.staff_of("quayside").await).await;
    let csrf = staff.get("/account").await.csrf();
    let make = "do=make&version=0&lanes=1&minutes=60&start=2027-01-14T11:30&judging=judges";
    let heats = "/desk/saltmarsh/quayside/heats/w1";
    staff.post(heats).body("application/x-www-form-urlencoded", format!("{make}&csrf={csrf}")).await.expect(303);
    let floor = async || {
        let text = app.nobody().get(WALL).accept("text/html").await.expect(200).text();
        text.split_once("id=\"floor\"").map_or(String::new(), |(_, rest)| rest.to_owned())
    };
    // Noon: the first heat began at half past eleven, the second is at half past twelve.
    let first = floor().await;
    assert!(first.contains("heat 1") && first.contains("Ines Duarte") && !first.contains("Rita Alves"), "{first}");
    app.set_clock("2027-01-14T12:30:00Z");
    let second = floor().await;
    assert!(second.contains("heat 2") && second.contains("Rita Alves"), "{second}");
    // The third is the last: it is on the floor for its hour, and then nobody is.
    app.set_clock("2027-01-14T14:29:59Z");
    let third = floor().await;
    assert!(third.contains("heat 3") && third.contains("Tomás Brito"), "{third}");
    for after in ["2027-01-14T14:30:00Z", "2027-01-16T09:00:00Z"] {
        app.set_clock(after);
        assert_eq!(floor().await, "", "{after}");
    }
}

/// Who was in which heat is told by the heats that have begun, the last of them first.
#[tokio::test]
async fn results_are_shown_by_heat_too() {
    let app = TestApp::new().await;
    let by_heat = format!("{WALL}?show=w1&by=heat");
    let captions = async || {
        let text = app.nobody().get(&by_heat).accept("text/html").await.expect(200).text();
        let of = |part: &str| {
            let (title, rest) = part.split_once("</bdi>").expect("a title");
            let names = rest.split("<th scope=\"row\"><bdi>").skip(1).filter_map(|row| row.split('<').next());
            format!("{title}: {}", names.collect::<Vec<_>>().join(", "))
        };
        (text.split("<caption><span><bdi>").skip(1).map(of).collect::<Vec<_>>(), text.contains("By heat"))
    };
    for (bib, performance) in [(1042, "6+14 tb 11:24"), (1043, "6+15 tb 11:24")] {
        score(&app, "quayside", bib, performance, "J-1").await;
    }
    assert_eq!(captions().await, (vec!["Women: Rita Alves, Ines Duarte".to_owned()], false), "no heats yet");
    let staff = app.in_browser(&app.staff_of("quayside").await).await;
    let csrf = staff.get("/account").await.csrf();
    let make = "do=make&version=0&lanes=1&minutes=60&start=2027-01-14T11:30&judging=judges";
    let heats = "/desk/saltmarsh/quayside/heats/w1";
    staff.post(heats).body("application/x-www-form-urlencoded", format!("{make}&csrf={csrf}")).await.expect(303);
    let (first, then) = ("Heat 1: Ines Duarte".to_owned(), "Heat 2: Rita Alves".to_owned());
    assert_eq!(captions().await, (vec![first.clone(), "In no heat: Rita Alves".to_owned()], true), "one has begun");
    app.set_clock("2027-01-14T12:30:00Z");
    assert_eq!(captions().await, (vec![then, first], true));
    let plain = app.nobody().get(WALL).accept("text/html").await.expect(200).text();
    assert!(plain.contains("show=w1&#38;by=heat\"><bdi>By heat</bdi></a>"), "{plain}");
    // What is in doubt says so, and its division all the same.
    let doubted = format!("{C}/workouts/w1/scores/1042");
    let etag = app.nobody().get(&doubted).await.expect(200).json()["etag"].as_str().expect("an etag").to_owned();
    let flag = json!({ "reason": "count", "note": "two fewer on the video" });
    app.referee().await.post(&format!("{doubted}/flags")).if_match(&etag).json(flag).await.expect(200);
    let text = app.nobody().get(&by_heat).accept("text/html").await.expect(200).text();
    let text = text.split_once("class=\"columns\"").expect("the results").1;
    for (name, state) in [("Ines Duarte", "Being checked"), ("Rita Alves", "")] {
        let row =
            text.split_once(&format!("<bdi>{name}</bdi>")).expect("a row").1.split_once("</tr>").expect("its end").0;
        assert!(row.contains("<bdi>Women</bdi>") && row.contains(state), "{row}");
    }
}

/// A heat that was planned beyond the workout's end is not on the floor after it.
#[tokio::test]
async fn nobody_is_on_the_floor_once_the_workout_is_over_there() {
    let app = TestApp::new().await;
    let staff = app.in_browser(&app.staff_of("quayside").await).await;
    let csrf = staff.get("/account").await.csrf();
    let make = "do=make&version=0&lanes=3&minutes=240&start=2027-01-17T20:00&judging=judges";
    let heats = "/desk/saltmarsh/quayside/heats/w1";
    staff.post(heats).body("application/x-www-form-urlencoded", format!("{make}&csrf={csrf}")).await.expect(303);
    for (at, there) in [
        ("2027-01-17T19:59:59Z", false),
        ("2027-01-17T20:00:00Z", true),
        ("2027-01-17T20:59:59Z", true),
        ("2027-01-17T21:00:00Z", false),
    ] {
        app.set_clock(at);
        let text = app.nobody().get(WALL).accept("text/html").await.expect(200).text();
        assert_eq!(text.contains("id=\"floor\""), there, "{at}");
    }
}
