//! More time that a gym was given is said to those who have it, wherever times are said; and to others that
//! some have it.

use crate::support::TestApp;
use serde_json::json;

const C: &str = "/c/saltmarsh";
const BRIEF: &str = "/c/saltmarsh/workouts/w1";

async fn extend(app: &TestApp, workout: &str, gym: &str, closes: &str, attest_by: &str) {
    let path = format!("/api/v1/competitions/saltmarsh/workouts/{workout}/extensions");
    let body = json!({ "gym": gym, "closes": closes, "attest_by": attest_by, "reason": "power cut" });
    app.organiser().await.post(&path).json(body).await.expect(201);
}

#[tokio::test]
async fn who_was_given_more_time_reads_their_own_end_and_others_that_some_have_it() {
    let app = TestApp::new().await;
    let nobody = app.nobody();
    // Somebody is placed, so that the workout counts.
    let placed = json!({ "performance": "6+14 tb 11:24", "attestation": { "judge": "J-1", "how": "paper_sheet" } });
    let score = "/api/v1/competitions/saltmarsh/workouts/w1/scores/1043";
    app.staff_of("quayside").await.put(score).json(placed).await.expect(201);
    // Half an hour after everybody's close.
    app.set_clock("2027-01-17T21:30:00Z");
    for address in ["/", C, BRIEF] {
        let page = nobody.get(address).await.expect(200).plain();
        assert!(!page.contains("more time"), "nobody has any: {address}: {page}");
    }
    extend(&app, "w1", "quayside", "2027-01-17T23:00:00Z", "2027-01-19T21:00:00Z").await;
    let own = "You were given more time. Without it the end would be <time datetime=\"2027-01-17T21:00:00Z\"";
    let others = "Some have more time, the last of them until <time datetime=\"2027-01-17T23:00:00Z\"";
    let athlete = app.in_browser(&app.athlete(1042).await).await;
    let staff = app.in_browser(&app.staff_of("quayside").await).await;
    for (who, whose) in [(&athlete, "athlete"), (&staff, "staff")] {
        for address in ["/", C, BRIEF] {
            let page = who.get(address).await.expect(200).plain();
            assert!(page.contains(own), "{whose} at {address}: {page}");
            assert!(page.contains("data-until=\"2027-01-17T23:00:00Z\"") && page.contains("closes in 1 h 30 min"));
            assert!(!page.contains(others), "{whose} at {address}");
        }
        let home = who.get("/").await.expect(200).plain();
        assert!(home.contains("Workout 1</a>: running now"), "{home}");
        let brief = who.get(BRIEF).await.expect(200).plain();
        assert!(brief.contains("<span class=\"state\">Open for scores</span>"), "{brief}");
        assert!(brief.contains("datetime=\"2027-01-19T21:00:00Z\""), "the judges' time too: {brief}");
    }
    let elsewhere = app.in_browser(&app.staff_of("millpond").await).await;
    for who in [&nobody, &elsewhere] {
        for address in [C, BRIEF] {
            let page = who.get(address).await.expect(200).plain();
            assert!(page.contains(others) && !page.contains(own), "{address}: {page}");
            assert!(page.contains(">Closed</span>"), "{address}: {page}");
        }
        // All else is over: there it is said once.
        let home = who.get("/").await.expect(200).plain();
        assert!(home.contains("but some were given more time") && !home.contains("Some have more time"), "{home}");
    }
    let german = athlete.get(BRIEF).header("accept-language", "de").await.expect(200).plain();
    assert!(german.contains("Du hast mehr Zeit bekommen."), "{german}");
    let german = nobody.get(BRIEF).header("accept-language", "de").await.expect(200).plain();
    assert!(german.contains("Einige haben mehr Zeit, die letzten bis"), "{german}");
    // Of an entry it is said as its own time is.
    for (bib, yet) in [(1042, true), (2001, false)] {
        let page = nobody.get(&format!("{C}/athletes/{bib}")).await.expect(200).plain();
        let rest = page.split_once("id=\"w-w1\"").and_then(|(_, rest)| rest.split_once("no score")).expect("said");
        assert_eq!(rest.1.starts_with(" yet"), yet, "{bib}: {page}");
    }
    // And in lists, row by row; as it is with a region, whatever the gym's is.
    let rows = async |address: &str, bib: u32| {
        let page = nobody.get(address).await.expect(200).plain();
        let row = page.split_once(&format!("id=\"b{bib}\"")).and_then(|(_, rest)| rest.split_once("</tr>"));
        row.unwrap_or_else(|| panic!("a row of {bib} in {page}")).0.to_owned()
    };
    let (in_one, in_all) = (format!("{C}/divisions/women/workouts/w1"), format!("{C}/divisions/women"));
    for address in [&in_one, &in_all] {
        for (bib, said) in [(1042, "no score yet<"), (2001, "no score<")] {
            assert!(rows(address, bib).await.contains(said), "{bib} at {address}: {}", rows(address, bib).await);
        }
    }
    let north = json!({ "region": "North", "closes": "2027-01-17T22:30:00Z", "attest_by": "2027-01-19T21:00:00Z", "reason": "storm" });
    let noor = json!({ "bib": 2001, "name": "Noor de Wit", "born": "1988-07-09", "category": "women",
        "division": "women", "gym": "millpond", "region": "north" });
    let organiser = app.organiser().await;
    organiser.post("/api/v1/competitions/saltmarsh/entries").json(noor).await.expect(200);
    organiser.post("/api/v1/competitions/saltmarsh/workouts/w1/extensions").json(north).await.expect(201);
    for address in [&in_one, &in_all] {
        assert!(rows(address, 2001).await.contains("no score yet<"), "{address}: {}", rows(address, 2001).await);
    }
    // Then it is over for all.
    app.set_clock("2027-01-17T23:00:00Z");
    for who in [&nobody, &athlete] {
        let page = who.get(BRIEF).await.expect(200).plain();
        assert!(!page.contains("more time") && page.contains(">Closed</span>"), "{page}");
    }
    assert!(rows(&in_one, 1042).await.contains("no score<") && rows(&in_one, 2001).await.contains("no score<"));
}

#[tokio::test]
async fn while_it_runs_for_all_it_is_said_too_and_nothing_of_what_is_not_announced() {
    let app = TestApp::new().await;
    extend(&app, "w1", "millpond", "2027-01-18T20:00:00Z", "2027-01-19T21:00:00Z").await;
    let others = "Some have more time, the last of them until <time datetime=\"2027-01-18T20:00:00Z\"";
    let nobody = app.nobody();
    for address in ["/", C, BRIEF] {
        let page = nobody.get(address).await.expect(200).plain();
        assert!(page.contains(others), "{address}: {page}");
    }
    // Whoever is there for two gyms of different times reads everybody's.
    let gym = |gym: &str| tallywright::rules::access::Grant {
        gym: Some(gym.to_owned()),
        ..crate::support::grant(tallywright::rules::access::Role::Staff, Some(crate::support::SALTMARSH))
    };
    let both = app.browser("both@example.org", &[gym("quayside"), gym("millpond")]).await;
    let page = both.get(BRIEF).await.expect(200).plain();
    assert!(page.contains(others) && page.contains("data-until=\"2027-01-17T21:00:00Z\""), "{page}");
    extend(&app, "w3", "millpond", "2027-02-20T20:00:00Z", "2027-02-22T21:00:00Z").await;
    for address in ["/", C] {
        let page = nobody.get(address).await.expect(200).plain();
        assert!(!page.contains("2027-02-20") && !page.contains("w3"), "{address}: {page}");
    }
}

#[tokio::test]
async fn the_desk_goes_by_its_own_gyms_times() {
    let app = TestApp::new().await;
    let order = async |gym: &str| {
        let staff = app.in_browser(&app.staff_of(gym).await).await;
        let page = staff.get(&format!("/desk/saltmarsh/{gym}")).await.expect(200).text();
        let at = |workout: &str| page.find(&format!("data-workout=\"{workout}\"")).expect("a workout");
        at("w1") < at("w2")
    };
    // The second is over for everybody.
    assert!(order("quayside").await && order("millpond").await);
    extend(&app, "w2", "quayside", "2027-01-15T20:00:00Z", "2027-01-16T21:00:00Z").await;
    assert!(!order("quayside").await, "what closes first there");
    assert!(order("millpond").await);
    // What only judges may still vouch for stands after what runs.
    app.set_clock("2027-01-15T21:00:00Z");
    assert!(order("quayside").await);
}
