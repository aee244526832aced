//! What athletes and spectators see: plots of results, percentiles, another result tried, appeals,
//! the row that is looked for.

use crate::support::{Client, Reply, SALTMARSH, TestApp};
use serde_json::json;
use tallywright::rules::access::{Grant, Role};

const C: &str = "/api/v1/competitions/saltmarsh";
const INES: &str = "/c/saltmarsh/athletes/1042";
const PLACES: &str = "/c/saltmarsh/divisions/women/workouts/w1";

async fn page(client: &Client, address: &str) -> Reply {
    client.get(address).accept("text/html").await
}

/// An attested score in w1.
async fn score(app: &TestApp, gym: &str, bib: u32, performance: &str, judge: &str) {
    let sent = json!({ "performance": performance, "attestation": { "judge": judge, "how": "paper_sheet" } });
    let path = format!("{C}/workouts/w1/scores/{bib}");
    app.staff_of(gym).await.put(&path).json(sent).await.expect(201);
}

/// Three scores: 1042 leads with 6+14, 1043 and 2001 share second place with 5+2.
async fn three() -> TestApp {
    let app = TestApp::new().await;
    score(&app, "quayside", 1042, "6+14 tb 11:24", "J-1").await;
    score(&app, "quayside", 1043, "5+2 tb 10:00", "J-1").await;
    score(&app, "millpond", 2001, "5+2 tb 10:00", "J-2").await;
    app
}

#[tokio::test]
async fn each_workouts_place_is_a_mark_on_its_bar_in_the_standings_too() {
    let app = three().await;
    let text = page(&app.nobody(), "/c/saltmarsh/divisions/women").await.expect(200).text();
    let cells: Vec<&str> = text.split("<td class=\"perf\">").skip(1).filter_map(|c| c.split("</td>").next()).collect();
    let marked = |place: &str, x: &str| {
        let at = format!("<line class=\"at\" x1=\"{x}\"");
        cells.iter().filter(|c| c.contains(&format!("{place}<svg class=\"bar\"")) && c.contains(&at)).count()
    };
    assert_eq!((marked("1st", "0.0%"), marked("2nd", "50.0%")), (1, 2), "{text}");
    // A workout that nobody has a place in has no bar.
    let without = cells.iter().filter(|c| !c.contains("<svg")).count();
    assert_eq!((without, cells.len() - without), (cells.len() - 3, 3));
    // In a gym among its own: two have a place there.
    let scoped = page(&app.nobody(), "/c/saltmarsh/divisions/women?gym=quayside").await.expect(200).text();
    let cell = scoped.split("<td class=\"perf\">").filter(|c| c.contains("x1=\"100.0%\"")).count();
    assert!(cell >= 1, "the second of two is at the end: {scoped}");
}

#[tokio::test]
async fn with_equal_points_it_is_said_that_no_points_are_missing() {
    let app = TestApp::new().await;
    app.set_clock("2027-01-08T12:00:00Z");
    for (gym, bib, time, judge) in
        [("quayside", 1042, "8:00", "J-1"), ("quayside", 1043, "7:30", "J-1"), ("millpond", 2001, "7:00", "J-2")]
    {
        let sent = json!({ "performance": time, "attestation": { "judge": judge, "how": "paper_sheet" } });
        app.staff_of(gym).await.put(&format!("{C}/workouts/w2/scores/{bib}")).json(sent).await.expect(201);
    }
    app.set_clock("2027-01-14T12:00:00Z");
    score(&app, "quayside", 1042, "6+14 tb 11:24", "J-1").await;
    score(&app, "quayside", 1043, "5+2 tb 10:00", "J-1").await;
    score(&app, "millpond", 2001, "4+2 tb 10:00", "J-2").await;
    // 1 and 3, 2 and 2, 3 and 1: four points each, and two of them have a first place.
    let own = page(&app.nobody(), "/c/saltmarsh/athletes/1043").await.expect(200).text();
    assert!(own.contains("level on points with 1st place; a better single place is missing"), "{own}");
    let standing = app.nobody().get(&format!("{C}/entries/1043/standing")).await.expect(200).json();
    assert_eq!(standing["overall"][0]["place"], 3, "{standing}");
    assert_eq!(standing["overall"][0]["gap"]["missing"], "no points, but a better single place");
    let first = page(&app.nobody(), "/c/saltmarsh/athletes/2001").await.expect(200).text();
    assert!(first.contains("leads") && !first.contains("equal on points"), "{first}");
}

#[tokio::test]
async fn a_plot_counts_every_result_once_and_names_nobody() {
    let app = three().await;
    let text = page(&app.nobody(), PLACES).await.expect(200).plain();
    let plot = text.split_once("<section class=\"spread\"").and_then(|(_, rest)| rest.split_once("</section>"));
    let plot = plot.expect("a plot").0;
    assert_eq!(plot.matches("<rect").count(), 2, "{plot}");
    assert!(plot.contains("Half of them have 5+2 tb 10:00 or better."), "{plot}");
    assert!(plot.contains("One place is shared: 2nd, by 2 athletes."), "{plot}");
    for name in ["Ines", "Rita", "Noor", "1042", "2001", "style="] {
        assert!(!plot.contains(name), "{name} in {plot}");
    }
    let asked = page(&app.nobody(), &format!("{PLACES}?bib=1042")).await.expect(200).plain();
    assert!(asked.contains("<rect class=\"own\"") && asked.contains("Bib 1042 is in 1st with 6+14 tb 11:24."));
    let own = app.in_browser(&app.athlete(1043).await).await;
    assert!(page(&own, PLACES).await.plain().contains("You are in 2nd with 5+2 tb 10:00."));
}

#[tokio::test]
async fn a_workout_without_results_has_no_plot() {
    let app = TestApp::new().await;
    let text = page(&app.nobody(), PLACES).await.expect(200).text();
    assert!(!text.contains("<rect") && text.contains("0 of 3 have a place"), "{text}");
}

#[tokio::test]
async fn the_row_that_is_looked_for_stays_pinned_on_other_pages() {
    let app = three().await;
    for address in ["/c/saltmarsh/divisions/women?bib=2001&from=3", &format!("{PLACES}?bib=2001&from=3")] {
        let text = page(&app.nobody(), address).await.expect(200).text();
        assert!(text.contains("Noor de Wit") && text.contains("class=\"own\""), "{address}: {text}");
    }
    let text = page(&app.nobody(), "/c/saltmarsh/divisions/women?bib=2001").await.text();
    assert!(text.contains("1 point to 1st"), "{text}");
    // Somebody of another division is no problem, only not there.
    page(&app.nobody(), &format!("{PLACES}?bib=1044&from=1")).await.expect(200);
}

#[tokio::test]
async fn an_athletes_page_says_the_percentile() {
    let app = three().await;
    assert!(page(&app.nobody(), INES).await.text().contains("100.0 %"));
    // Two of three are not better than 5+2: those that share it.
    assert!(page(&app.nobody(), "/c/saltmarsh/athletes/1043").await.text().contains("66.6 %"));
}

#[tokio::test]
async fn another_result_is_tried_and_nothing_is_stored() {
    let app = three().await;
    let before = app.organiser().await.get(&format!("{C}/log")).await.json()["log_seq"].clone();
    let asked = "/c/saltmarsh/athletes/1043?workout=w1&performance=7%2B1+tb+11:50";
    let text = page(&app.nobody(), asked).await.expect(200).plain();
    assert!(text.contains("With 7+1 tb 11:50 in Workout 1"), "{text}");
    assert!(text.contains("<td>2nd of 3</td><td><strong>1st of 3</strong></td>"), "{text}");
    assert!(text.contains("<td>2nd of 3, 2 points</td><td><strong>1st of 3, 1 point</strong></td>"), "{text}");
    // The gym's own: 1042 and 1043.
    assert!(text.contains("<td>2nd of 2</td><td><strong>1st of 2</strong></td>"), "{text}");
    let after = app.organiser().await.get(&format!("{C}/log")).await.json()["log_seq"].clone();
    assert_eq!(before, after);
    assert!(page(&app.nobody(), "/c/saltmarsh/athletes/1043").await.plain().contains("5+2 tb 10:00"));
}

#[tokio::test]
async fn what_cannot_be_tried_is_said_beside_the_field_with_what_was_written() {
    let app = three().await;
    let of = |query: &str| format!("{INES}?{query}");
    let text = page(&app.nobody(), &of("workout=w1&performance=5%2B44")).await.expect(422).text();
    assert!(text.contains("44 reps is a whole round here: write 6+0."), "{text}");
    assert!(text.contains("value=\"5+44\"") && text.contains("id=\"performance-error-1\""));
    let text = page(&app.nobody(), &of("workout=w1&level=no-such&performance=1%2B1")).await.expect(422).text();
    assert!(text.contains("Choose a level from the list."));
}

#[tokio::test]
async fn a_workout_that_is_not_announced_or_published_cannot_be_tried_and_is_not_told_from_none() {
    let app = three().await;
    shown_at_the_close(&app).await;
    let asked = |w: &str| format!("{INES}?workout={w}&performance=1%2B1");
    let without = |text: String, w: &str| text.replace(w, "");
    let nowhere = without(page(&app.nobody(), &asked("nowhere")).await.expect(422).text(), "nowhere");
    for hidden in ["w3", "w1"] {
        let text = page(&app.nobody(), &asked(hidden)).await.expect(422).text();
        assert!(!text.contains("option value=\"w1\"") && !text.contains("option value=\"w3\""), "{text}");
        assert!(text.contains("Choose a workout from the list."));
        assert_eq!(without(text, hidden).len(), without(nowhere.clone(), hidden).len());
    }
    page(&app.nobody(), &PLACES.replace("w1", "w3")).await.expect(404);
}

/// The first workout shows its results only when it has closed.
async fn shown_at_the_close(app: &TestApp) {
    let file = include_str!("../data/small.toml");
    let file = file.replacen("format = \"amrap\"", "format = \"amrap\"\npublish = \"at_close\"", 1);
    let put = app.organiser().await.put(&format!("{C}?reason=put%20right")).header("if-match", "*");
    put.body("application/toml", file).await.expect(200);
}

#[tokio::test]
async fn where_results_are_not_shown_yet_it_is_said_when_they_will_be() {
    let app = three().await;
    shown_at_the_close(&app).await;
    let own = app.in_browser(&app.athlete(1043).await).await;
    for client in [&app.nobody(), &own] {
        for more in ["", "?gym=quayside", "?bib=1042", "?q=ines", "?from=51"] {
            let text = page(client, &format!("{PLACES}{more}")).await.expect(200).plain();
            assert!(text.contains("Scores of this workout are shown when its window closes, "), "{more}: {text}");
            assert!(text.contains("<time datetime=\"2027-01-17T21:00:00Z\""), "{more}: {text}");
            for hidden in ["Ines", "Rita", "6+14", "5+2", "<rect", "have a place"] {
                assert!(!text.contains(hidden), "{hidden} at {more}: {text}");
            }
        }
    }
    // What the standings lead to is there.
    let standings = page(&app.nobody(), "/c/saltmarsh/divisions/women").await.expect(200).text();
    assert!(standings.contains(&format!("href=\"{PLACES}\"")), "{standings}");
    page(&app.nobody(), &PLACES.replace("women", "nobody")).await.expect(404);
    app.nobody().get(&format!("{C}/divisions/women/workouts/w1/places")).await.expect(404);
    // The gym's own people see those of their gym.
    let staff = app.in_browser(&app.staff_of("quayside").await).await;
    let text = page(&staff, &format!("{PLACES}?gym=quayside")).await.expect(200).plain();
    assert!(text.contains("Ines") && !text.contains("are shown when"), "{text}");
    app.set_clock("2027-01-17T21:00:00Z");
    assert!(page(&app.nobody(), PLACES).await.expect(200).plain().contains("6+14 tb 11:24"));
}

#[tokio::test]
async fn what_came_late_has_no_place_and_nobody_is_said_to_wait_who_was_refused() {
    let app = three().await;
    app.set_clock("2027-01-18T09:00:00Z");
    let path = format!("{C}/workouts/w2/scores/1042");
    let sent = json!({ "performance": "8:00", "attestation": { "judge": "J-1", "how": "paper_sheet" } });
    let stored = app.staff_of("quayside").await.put(&path).json(sent).await.expect(201).json();
    assert_eq!(stored["state"], "late", "{stored}");
    let judge = app.in_browser(&app.judge("J-1").await).await;
    let all = ["/c/saltmarsh/divisions/women", "/c/saltmarsh/divisions/women/workouts/w2"];
    for refused in [false, true] {
        if refused {
            let etag = app.nobody().get(&path).await.json()["etag"].as_str().expect("an etag").to_owned();
            let decision = json!({ "admit": false, "reason": "No word of it before." });
            app.organiser().await.post(&format!("{path}/admission")).if_match(etag).json(decision).await.expect(200);
        }
        for here in all {
            let text = page(&app.nobody(), here).await.expect(200).plain();
            assert!(text.contains("Late: no place") && !text.contains("waiting for the organiser"), "{here}: {text}");
        }
        let said = if refused { "Late: refused by the organiser" } else { "Late: waiting for the organiser" };
        for (client, here) in [(&app.nobody(), INES), (&judge, "/judge/saltmarsh")] {
            assert!(page(client, here).await.expect(200).plain().contains(said), "{here}");
        }
    }
}

#[tokio::test]
async fn who_has_no_score_is_not_said_to_be_missing() {
    let app = three().await;
    let organiser = app.organiser().await;
    for (bib, state) in [(1043, "withdrawn"), (2001, "guest")] {
        let change = json!({ "state": state, "reason": "As they asked." });
        organiser.patch(&format!("{C}/entries/{bib}")).json(change).await.expect(200);
    }
    let row = |text: &str, bib: u32| {
        let row = text.split_once(&format!("id=\"b{bib}\"")).and_then(|(_, rest)| rest.split_once("</tr>"));
        row.expect("a row").0.to_owned()
    };
    let w2 = PLACES.replace("w1", "w2");
    for (here, no_score) in [(&*w2, "no score<"), ("/c/saltmarsh/divisions/women", "no score<")] {
        let text = page(&app.nobody(), here).await.expect(200).plain();
        assert!(!text.contains("Missing") && row(&text, 1042).contains(no_score), "{here}: {text}");
        assert!(row(&text, 2001).contains(">Guest<"), "{here}: {text}");
    }
    assert!(row(&page(&app.nobody(), &w2).await.plain(), 1043).contains(">Withdrawn<"));
    // While it runs, one may still come.
    let fresh = TestApp::new().await;
    let text = page(&fresh.nobody(), PLACES).await.expect(200).plain();
    assert!(row(&text, 1042).contains("no score yet<"), "{text}");
    let places = app.nobody().get(&format!("{C}/divisions/women/workouts/w1/places")).await.expect(200).json();
    let states: Vec<_> = places["rows"].as_array().expect("rows").iter().map(|r| r["entry_state"].clone()).collect();
    assert_eq!(states, ["active", "withdrawn", "guest"]);
}

/// Strikes 1042's score.
async fn strike(app: &TestApp) {
    let path = format!("{C}/workouts/w1/scores/1042");
    let etag = app.nobody().get(&path).await.header("etag").trim_matches('"').to_owned();
    let ruling = json!({ "kind": "strike", "reason": "the bell was too light" });
    let call = app.referee().await.post(&format!("{path}/ruling")).header("if-match", &format!("\"{etag}\""));
    call.json(ruling).await.expect(200);
}

const APPEAL: &str = "/c/saltmarsh/athletes/1042/workouts/w1/appeal";

#[tokio::test]
async fn an_athlete_appeals_once_from_the_own_page_and_the_state_is_public_but_the_words_are_not() {
    let app = three().await;
    let own = app.in_browser(&app.athlete(1042).await).await;
    assert!(!page(&own, INES).await.text().contains(APPEAL), "nothing to appeal yet");
    strike(&app).await;
    assert!(!page(&app.nobody(), INES).await.text().contains(APPEAL), "not for everybody");
    let shown = page(&own, INES).await.text();
    assert!(shown.contains(APPEAL) && shown.contains("Can be appealed until <time datetime="), "{shown}");
    assert!(shown.contains("(Europe/Lisbon)</time></dd>"), "{shown}");
    let etag = shown.split_once("name=\"etag\" value=\"").and_then(|(_, r)| r.split_once('"')).expect("an etag").0;
    let csrf = own.get("/account").await.csrf();
    let post = async |reason: &str| {
        let form = format!("reason={reason}&etag={etag}&csrf={csrf}");
        own.post(APPEAL).body("application/x-www-form-urlencoded", form).await
    };
    let empty = post("").await.expect(422).text();
    assert!(empty.contains("id=\"appeal-w1-error-1\"") && empty.contains("<details class=\"appeal noprint\" open>"));
    let sent = post("The+bell+weighs+16+kg").await.expect(303);
    assert_eq!(sent.header("location"), "/c/saltmarsh/athletes/1042?appealed=w1#w-w1");
    let after = page(&own, sent.header("location").split('#').next().unwrap_or_default()).await.text();
    assert!(after.contains("Your appeal is with the referees.") && after.contains("waits for a decision"), "{after}");
    assert!(after.contains("The bell weighs 16 kg") && !after.contains(APPEAL));
    let anybody = page(&app.nobody(), INES).await.text();
    assert!(anybody.contains("waits for a decision") && !anybody.contains("weighs 16 kg"));
    let again = post("Once+more").await;
    assert!(matches!(again.status.as_u16(), 409 | 412), "{}", again.status);
    assert!(!again.text().contains("Your appeal is with the referees."));
}

#[tokio::test]
async fn a_ruling_cannot_be_appealed_from_the_page_after_two_days() {
    let app = three().await;
    strike(&app).await;
    let own = app.in_browser(&app.athlete(1042).await).await;
    app.set_clock("2027-01-16T12:00:01Z");
    let shown = page(&own, INES).await.text();
    assert!(!shown.contains(APPEAL) && shown.contains("Could be appealed until"), "{shown}");
}

/// Where it is said that a competition is over.
const ENDED: [&str; 6] = [
    "/",
    "/c/saltmarsh",
    "/c/saltmarsh/divisions/women",
    "/c/saltmarsh/divisions/women/workouts/w1",
    "/c/saltmarsh/athletes/1042",
    "/desk/saltmarsh/quayside/wall",
];

#[tokio::test]
async fn a_competition_that_is_over_says_so_wherever_one_looks() {
    let app = three().await;
    let over = "All workouts announced so far are over. What comes now is late";
    for (at, said) in [("2027-01-14T12:00:00Z", false), ("2027-06-01T12:00:00Z", true)] {
        app.set_clock(at);
        for page in ENDED {
            let text = app.nobody().get(page).accept("text/html").await.expect(200).text();
            assert_eq!(text.contains(over), said, "{page} at {at}");
            assert!(!text.contains("announced so far have closed"), "{page} at {at}");
        }
    }
}

#[tokio::test]
async fn what_is_still_taken_after_the_close_is_said_to_those_it_is_taken_from() {
    let app = three().await;
    // Workout 1 closes at 21:00 for all, with ten minutes of grace, and judges have a day; Quayside Hall
    // gets two hours more, and its judges fifteen. The third workout is not announced before the 19th.
    let more = json!({
        "gym": "quayside", "closes": "2027-01-17T23:00:00Z", "attest_by": "2027-01-19T12:00:00Z", "reason": "power cut",
    });
    app.organiser().await.post(&format!("{C}/workouts/w1/extensions")).json(more).await.expect(201);
    let until = |said, at| format!("{said} until <time datetime=\"2027-01-{at}:00Z\"");
    let more = &until("but some were given more time, the last of them", "17T23:00");
    let [in_grace, in_their_grace] = &["17T21:10", "17T23:10"].map(|at| until("is still received", at));
    let [a_day, longer] = &["18T21:00", "19T12:00"].map(|at| until("Judges may vouch", at));
    let over = &"announced so far are over".to_owned();
    for (at, all, quayside, millpond) in [
        ("17T20:59:59", None, None, None),
        ("17T21:09:59", Some(more), None, Some(in_grace)),
        ("17T22:59:59", Some(more), None, Some(a_day)),
        ("17T23:09:59", Some(in_their_grace), Some(in_their_grace), Some(a_day)),
        ("17T23:10:00", Some(longer), Some(longer), Some(a_day)),
        ("18T21:00:00", Some(longer), Some(longer), Some(over)),
        ("19T12:00:00", Some(over), Some(over), Some(over)),
    ] {
        app.set_clock(&format!("2027-01-{at}Z"));
        let of_quayside = ["/c/saltmarsh/athletes/1042", "/desk/saltmarsh/quayside/wall"].map(|page| (page, quayside));
        let of_millpond = ["/c/saltmarsh/athletes/2001", "/desk/saltmarsh/millpond/wall"].map(|page| (page, millpond));
        let of_all = ENDED[..4].iter().map(|page| (*page, all));
        for (page, said) in of_all.chain(of_quayside).chain(of_millpond) {
            let text = app.nobody().get(page).accept("text/html").await.expect(200).text();
            let every = [more, in_grace, in_their_grace, a_day, longer, over];
            let found: Vec<_> = every.into_iter().filter(|s| text.contains(*s)).collect();
            assert_eq!(found, Vec::from_iter(said), "{page} at {at}");
        }
        // The screen counts down to when it closes there.
        for (gym, closes) in [("quayside", "17T23:00:00"), ("millpond", "17T21:00:00")] {
            let text = app.nobody().get(&format!("/desk/saltmarsh/{gym}/wall")).accept("text/html").await.text();
            let until = format!("data-until=\"2027-01-{closes}Z\"");
            assert_eq!(text.contains(&until), at < closes, "{gym} at {at}: {text}");
        }
    }
}

/// Every gym has two from its second season on.
#[tokio::test]
async fn the_head_leads_to_the_desk_of_the_competition_that_runs_else_of_the_last() {
    let app = TestApp::new().await;
    let moved = |slug: &str, year: &str| {
        let file = include_str!("../data/small.toml").replace("slug = \"saltmarsh\"", &format!("slug = \"{slug}\""));
        file.replace("\"2027-", &format!("\"{year}-"))
    };
    app.db_competition_of("before", &moved("before", "2026")).await;
    app.db_competition_of("next", &moved("next", "2028")).await;
    let of = |competition: &str| Grant {
        role: Role::Staff,
        competition: Some(competition.to_owned()),
        gym: Some("quayside".to_owned()),
        bib: None,
        judge: None,
    };
    let grants = ["before", SALTMARSH, "next"].map(of);
    let desks = async |email: &str| {
        let staff = app.browser(email, &grants).await;
        let page = staff.get("/").accept("text/html").await.expect(200).text();
        let leads = |c: &&str| page.contains(&format!("href=\"/desk/{c}/quayside\""));
        ["before", SALTMARSH, "next"].into_iter().filter(leads).collect::<Vec<_>>()
    };
    assert_eq!(desks("in.january@example.org").await, [SALTMARSH], "it runs; the next one is not announced");
    // All over: the last of what is known.
    app.set_clock("2027-07-01T12:00:00Z");
    assert_eq!(desks("in.summer@example.org").await, [SALTMARSH]);
    app.set_clock("2028-01-14T12:00:00Z");
    assert_eq!(desks("a.year.later@example.org").await, ["next"]);
}

/// Whoever belongs to no gym has no desk that says it.
#[tokio::test]
async fn who_types_the_own_score_reads_until_when_and_how_long_that_is() {
    let app = TestApp::new().await;
    let own =
        Grant { role: Role::Athlete, competition: Some(SALTMARSH.to_owned()), gym: None, bib: Some(1042), judge: None };
    let closes =
        "Closes <time datetime=\"2027-01-17T21:00:00Z\" data-zone=\"Europe/Lisbon\">Sunday 17 January 2027, 21:00";
    for (at, left, said) in [
        ("2027-01-14T12:00:00Z", "closes in 3 days 9 h", true),
        ("2027-01-17T21:04:00Z", "first scores still count for another 6 min", false),
        ("2027-01-17T22:00:00Z", "what comes now waits for the organiser", false),
    ] {
        app.set_clock(at);
        let athlete = app.browser(&format!("ines.{}@example.org", left.len()), std::slice::from_ref(&own)).await;
        let text = page(&athlete, &format!("{INES}/workouts/w1")).await.plain();
        assert!(text.contains(left), "{at}: {text}");
        assert_eq!(text.contains(closes), said, "{at}: {text}");
    }
}
