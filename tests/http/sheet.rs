//! The judge's sheet: its numbers are the scheme's, names only for those who may know them, nothing
//! of a workout before its announcement.

use crate::support::{Client, TestApp};
use tallywright::rules::competition;

async fn page(client: &Client, address: &str) -> (u16, String) {
    let answer = client.get(address).accept("text/html").await;
    (answer.status.as_u16(), answer.text())
}

fn totals(page: &str) -> Vec<u64> {
    page.split("<td><b>").skip(1).map(|rest| rest.split('<').next().unwrap().parse().unwrap()).collect()
}

const W1: &str = "/c/saltmarsh/workouts/w1/sheet";

#[tokio::test]
async fn every_running_total_is_the_schemes() {
    let app = TestApp::new().await;
    let raw = competition::from_toml(include_str!("../data/small.toml")).unwrap();
    let file = competition::compile(&raw).unwrap().value;
    for (workout, division) in [("w1", "women"), ("w2", "women"), ("w3", "men")] {
        let task = &file.prescription(workout, division, 0).unwrap().task;
        let scheme = task.scheme.as_ref().unwrap();
        let address = format!("/c/saltmarsh/workouts/{workout}/sheet?division={division}");
        let organiser = app.in_browser(&app.organiser().await).await;
        let (status, page) = page(&organiser, &address).await;
        assert_eq!(status, 200);
        let totals = totals(&page);
        let mut at = 0;
        for total in &totals {
            // The next station that counts ends here.
            let next = scheme.split(at).unwrap();
            assert_eq!(*total, at - next.done + next.of);
            at = *total;
        }
        if let Some(end) = scheme.end() {
            assert_eq!(at, end);
        } else {
            // Nobody has a score: a rep a second until the cap, the round of the last and two more.
            let (size, seconds) = (scheme.round_size(0).unwrap(), task.cap.unwrap().0 / 1_000);
            assert_eq!(at, size * (seconds.div_ceil(size) + 2));
        }
    }
}

#[tokio::test]
async fn names_are_for_the_gyms_own_people_and_the_organiser() {
    let app = TestApp::new().await;
    let gym = format!("{W1}?gym=quayside");
    let staff = app.in_browser(&app.staff_of("quayside").await).await;
    let (status, sheets) = page(&staff, &gym).await;
    assert_eq!((status, sheets.matches("<article").count()), (200, 3));
    for text in ["Ines Duarte", "1042", "Rita Alves", "Tomás Brito", "Quayside Gym"] {
        assert!(sheets.contains(text), "{text}");
    }
    assert_eq!(page(&app.in_browser(&app.organiser().await).await, &gym).await.0, 200);
    for other in [app.referee().await, app.staff_of("millpond").await, app.athlete(1042).await] {
        let (status, text) = page(&app.in_browser(&other).await, &gym).await;
        assert_eq!(status, 403);
        assert!(!text.contains("Ines Duarte"));
    }
    let (status, walk_in) = page(&app.nobody(), &format!("{gym}&blank=yes")).await;
    assert_eq!((status, walk_in.matches("<article").count()), (200, 1));
    assert!(walk_in.contains("Quayside Gym") && !walk_in.contains("Ines Duarte"));
    let (status, many) = page(&app.nobody(), &format!("{gym}&blank=yes&copies=20")).await;
    assert_eq!((status, many.matches("<article").count()), (200, 20));
    let ids: std::collections::BTreeSet<&str> =
        many.split("<h2 id=\"").skip(1).filter_map(|x| x.split('"').next()).collect();
    assert_eq!(ids.len(), 20, "each has an id of its own");
    assert!(
        walk_in.contains("name=\"copies\"") && !sheets.contains("name=\"copies\""),
        "those with names are one each"
    );
}

#[tokio::test]
async fn a_sheet_of_an_unannounced_workout_is_the_organisers_alone() {
    let app = TestApp::new().await;
    let address = "/c/saltmarsh/workouts/w3/sheet";
    for other in [app.referee().await, app.staff_of("quayside").await] {
        assert_eq!(page(&app.in_browser(&other).await, address).await.0, 404);
    }
    assert_eq!(page(&app.nobody(), address).await.0, 404);
    assert_eq!(page(&app.in_browser(&app.organiser().await).await, address).await.0, 200);
}

#[tokio::test]
async fn what_is_not_there_is_said() {
    let app = TestApp::new().await;
    for (query, status) in [
        ("gym=nowhere&blank=yes", 404),
        ("division=nobody", 404),
        ("level=none", 422),
        ("division=men&level=scaled", 422),
        ("copies=0", 422),
        ("copies=21", 422),
        ("copies=-1", 422),
        ("copies=some", 422),
        ("copies=99999999999999999999", 422),
    ] {
        assert_eq!(page(&app.nobody(), &format!("{W1}?{query}")).await.0, status, "{query}");
    }
}

/// Two results out of one start are said to be that wherever somebody reads what will be done: in the
/// competition, on the brief and on the sheet.
#[tokio::test]
async fn what_is_done_in_one_effort_is_said_on_the_brief_and_on_the_sheet() {
    let app = TestApp::new().await;
    let one = |slug: &str| format!("slug = \"{slug}\"");
    let file = include_str!("../data/small.toml").replace(&one("saltmarsh"), &one("two-in-one"));
    let both = |slug: &str| (one(slug), format!("{}\nsession = \"s1\"", one(slug)));
    let ((w1, w1_both), (w2, w2_both)) = (both("w1"), both("w2"));
    app.db_file(&file.replace(&w1, &w1_both).replace(&w2, &w2_both)).await;
    for (workout, other) in [("w1", "Workout 2"), ("w2", "Workout 1")] {
        for address in ["", "/sheet?division=women"] {
            let address = format!("/c/two-in-one/workouts/{workout}{address}");
            let text = app.nobody().get(&address).accept("text/html").await.expect(200).plain();
            assert!(text.contains(&format!("One effort with {other}")), "{address}: {text}");
            let german = app.nobody().get(&address).accept("text/html").header("accept-language", "de").await.plain();
            assert!(german.contains(&format!("In einem Durchgang mit {other}")), "{address}: {german}");
        }
    }
    for address in ["/c/saltmarsh/workouts/w1", W1] {
        assert!(!page(&app.nobody(), address).await.1.contains("One effort"), "{address}");
    }
}
