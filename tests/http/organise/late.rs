//! `/organise/{c}`: what came late, and more time.

use super::organiser as organiser_browser;
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
    let (browser, csrf) = organiser_browser(&app).await;
    let page = browser.get("/organise/saltmarsh").await.expect(200).text();
    assert!(
        page.contains("Rita Alves")
            && page.contains("Monday 18 January 2027, 09:00 (Europe/Lisbon)</time>, 12\u{a0}h after the close; done ")
            && page.contains("Sunday 17 January 2027, 20:00 (Europe/Lisbon)</time>."),
        "{page}"
    );
    // The script adds the reader's own hour to both.
    for at in ["2027-01-18T09:00:00Z", "2027-01-17T20:00:00Z"] {
        assert!(page.contains(&format!("<time datetime=\"{at}\" data-zone=\"Europe/Lisbon\">")), "{at} in {page}");
    }
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
async fn of_many_that_were_not_let_in_the_last_is_reached_too() {
    let app = TestApp::new().await;
    let organiser = app.organiser().await;
    let numbers = 5001..5105_u32;
    let entry = |n: u32| format!("{n},Person {n},1990-01-01,women,women,quayside");
    let rows = |head: &str, row: &dyn Fn(u32) -> String| {
        let rows: Vec<String> = std::iter::once(head.to_owned()).chain(numbers.clone().map(row)).collect();
        rows.join("\n")
    };
    let entries = rows("bib,name,born,category,division,gym", &entry);
    organiser.post("/api/v1/competitions/saltmarsh/entries").csv(&entries).await.expect(200);
    let scores = rows("bib,performance", &|n| format!("{n},100"));
    let staff = app.staff_of("quayside").await;
    let path = "/api/v1/competitions/saltmarsh/workouts/w2/scores";
    let told = staff.post(path).csv(&scores).await.expect(200).json();
    assert_eq!(told["late"], 104, "{told}");
    let (browser, csrf) = organiser_browser(&app).await;
    let all = [("csrf", &*csrf), ("all", "yes"), ("decision", "refuse"), ("many_reason", "No word of it before.")];
    for _ in 0..2 {
        let page = browser.get("/organise/saltmarsh").await.expect(200).text();
        let seen: Vec<(&str, &str)> = page
            .split("form=\"many\" name=\"s-")
            .skip(1)
            .filter_map(|rest| rest.split_once("\" value=\"").map(|(key, rest)| (key, rest.split('"').next())))
            .filter_map(|(key, etag)| Some((key, etag?)))
            .collect();
        let keys: Vec<String> = seen.iter().map(|(key, _)| format!("s-{key}")).collect();
        let fields: Vec<(&str, &str)> = keys.iter().zip(&seen).map(|(key, (_, etag))| (&**key, *etag)).collect();
        browser.post("/organise/saltmarsh/late").form(&[&all[..], &fields].concat()).await;
    }
    let page = browser.get("/organise/saltmarsh").await.expect(200).text();
    assert!(page.contains("Not let in: 104") && page.contains("4 more that were not let in"), "{page}");
    assert!(page.contains("refused=100#late") && !page.contains("Person 5104"), "{page}");
    let page = browser.get("/organise/saltmarsh?refused=100").await.expect(200).text();
    assert!(page.contains("Person 5104") && page.contains("<details open>") && !page.contains("Person 5001"), "{page}");
}

#[tokio::test]
async fn a_gym_gets_more_time_and_what_comes_then_is_in_time() {
    let app = TestApp::new().await;
    app.set_clock("2027-01-17T22:00:00Z");
    let (browser, csrf) = organiser_browser(&app).await;
    let path = "/organise/saltmarsh/extensions";
    let faulty = [("csrf", &*csrf), ("workout", "w1"), ("closes", "soon"), ("attest_by", ""), ("reason", "storm")];
    let page = browser.post(path).form(&faulty).await.expect(422).text();
    assert!(
        page.contains("href=\"#closes\"") && page.contains("href=\"#attest_by\"") && page.contains("value=\"storm\"")
    );
    // All that is wrong is said at once, and of an end that cannot be read that alone.
    assert!(page.contains("href=\"#gym\"") && !page.contains("href=\"#reason\""), "{page}");
    assert_eq!((page.matches("href=\"#closes\"").count(), page.matches("href=\"#attest_by\"").count()), (1, 1));
    // A form without a workout, as before there is any.
    for (workout, closes) in [("", "2027-01-18T21:00"), ("w9", "soon")] {
        let typed = [("csrf", &*csrf), ("workout", workout), ("closes", closes), ("attest_by", "2027-01-19T21:00")];
        let page = browser.post(path).form(&typed).await.expect(422).text();
        for field in ["workout", "gym", "reason"] {
            assert!(page.contains(&format!("href=\"#{field}\"")), "{field} in {page}");
        }
        assert_eq!(page.contains("href=\"#closes\""), closes == "soon", "{page}");
    }
    for (closes, attest_by, gym, told) in [
        ("soon", "2027-01-18T20:00", "nowhere", ["closes", "gym", "reason", "attest_by"].as_slice()),
        ("2027-01-16T21:00", "soon", "quayside", &["attest_by", "closes", "reason"]),
        ("2027-01-18T21:00", "soon", "quayside", &["attest_by", "reason"]),
    ] {
        let typed = [("csrf", &*csrf), ("workout", "w1"), ("closes", closes), ("attest_by", attest_by), ("gym", gym)];
        let page = browser.post(path).form(&typed).await.expect(422).text();
        for field in ["closes", "attest_by", "gym", "reason"] {
            let n = page.matches(&format!("href=\"#{field}\"")).count();
            assert_eq!(n, usize::from(told.contains(&field)), "{field} of {closes}, {attest_by}: {page}");
        }
    }
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
    // By mistake: with the file's own time it is taken back, and only from who has it.
    sent("2027-01-17T21:00", "millpond", "", "No storm there.").await.expect(422);
    sent("2027-01-17T20:59", "quayside", "", "No storm.").await.expect(422);
    sent("2027-01-17T21:00", "quayside", "", "It was another gym.").await.expect(303);
    let body = json!({ "performance": "300", "performed_at": "2027-01-17T20:00:00Z" });
    let later = SCORE.replace("1043", "1042");
    let stored = app.staff_of("quayside").await.put(&later).json(body).await.expect(201).json();
    assert_eq!(stored["state"], "late", "{stored}");
}

#[tokio::test]
async fn many_late_scores_are_decided_at_once_with_one_reason() {
    let app = TestApp::new().await;
    app.set_clock("2027-01-18T09:00:00Z");
    let staff = app.staff_of("quayside").await;
    let scores = "/api/v1/competitions/saltmarsh/workouts/w1/scores";
    for bib in [1042, 1043, 1044] {
        let body = json!({ "performance": "300", "performed_at": "2027-01-17T20:00:00Z" });
        staff.put(&format!("{scores}/{bib}")).json(body).await.expect(201);
    }
    let (browser, csrf) = organiser_browser(&app).await;
    let page = browser.get("/organise/saltmarsh").await.expect(200).text();
    assert!(page.contains("All 3 listed below"), "{page}");
    let seen: Vec<(String, String)> = page
        .split("name=\"s-")
        .skip(1)
        .filter_map(|rest| {
            let (name, rest) = rest.split_once('"')?;
            Some((format!("s-{name}"), rest.split_once("value=\"")?.1.split_once('"')?.0.to_owned()))
        })
        .collect();
    assert_eq!(seen.len(), 3);
    let send = async |more: &[(&str, &str)], status| {
        let shown = seen.iter().map(|(name, etag)| (name.as_str(), etag.as_str()));
        let all: Vec<(&str, &str)> = more.iter().copied().chain(shown).chain([("csrf", csrf.as_str())]).collect();
        browser.post("/organise/saltmarsh/late").form(&all).await.expect(status)
    };
    let state = async |bib: u32| app.nobody().get(&format!("{scores}/{bib}")).await.expect(200).json()["state"].clone();
    // All that is wrong is said at once, and what was ticked and typed stays.
    let page = send(&[("decision", "admit")], 422).await.text();
    assert!(page.contains("href=\"#all\"") && page.contains("href=\"#many_reason\""), "{page}");
    let page = send(&[("decision", "admit"), ("t-w1/1043", "yes")], 422).await.text();
    assert!(page.contains("name=\"t-w1/1043\" value=\"yes\" checked"), "{page}");
    assert_eq!(state(1043).await, "late");
    // One is ticked.
    let done = send(&[("decision", "refuse"), ("t-w1/1044", "yes"), ("many_reason", "No word of it.")], 303).await;
    let page = browser.get(done.header("location")).await.expect(200).text();
    assert!(page.contains("Not let in: 1"), "{page}");
    // All that were shown: of one somebody has decided meanwhile, and that is said; the others are done.
    let page = send(&[("decision", "admit"), ("all", "yes"), ("many_reason", "Power cut.")], 409).await.text();
    assert!(page.contains("2 decided.") && page.contains("Bib 1044") && page.contains("changed meanwhile"), "{page}");
    assert_eq!(
        (state(1042).await, state(1043).await, state(1044).await),
        (json!("entered"), json!("entered"), json!("late"))
    );
}

#[tokio::test]
async fn an_end_that_comes_twice_is_asked_about_and_taken_with_its_offset() {
    let app = TestApp::new().await;
    let (browser, csrf) = organiser_browser(&app).await;
    let path = "/organise/saltmarsh/extensions";
    let sent = |closes| {
        let rest = [("csrf", &*csrf), ("workout", "w1"), ("attest_by", "2027-11-01T21:00"), ("closes", closes)];
        browser.post(path).form(&[&rest[..], &[("gym", "quayside"), ("reason", "A storm.")]].concat())
    };
    let page = sent("2027-10-31T01:30").await.expect(422).plain();
    let said = "2027-10-31T01:30 happens twice in Europe/Lisbon, when clocks are set back. Write 2027-10-31T01:30+01:00 \
                for the first time, 2027-10-31T01:30+00:00 for the second.";
    assert!(page.contains(said), "{page}");
    assert!(page.contains("name=\"closes\" type=\"text\" value=\"2027-10-31T01:30\""), "{page}");
    assert!(page.contains("name=\"attest_by\" type=\"datetime-local\" value=\"2027-11-01T21:00\""), "{page}");
    let gap = sent("2027-03-28T01:30").await.expect(422).plain();
    assert!(gap.contains("2027-03-28T01:30 does not exist in Europe/Lisbon"), "{gap}");
    let wrong = sent("2027-10-30T01:30+05:00").await.expect(422).plain();
    assert!(
        wrong.contains("Europe/Lisbon is not at +05:00 then") && wrong.contains("value=\"2027-10-30T01:30+05:00\"")
    );
    sent("2027-10-31T01:30+00:00").await.expect(303);
    let extensions = app.app.store.list_extensions(1).await.expect("extensions");
    assert_eq!(extensions.last().map(|e| e.closes.to_string()).as_deref(), Some("2027-10-31T01:30:00Z"));
}

/// Of each gym it is said what holds for it now; what was given by mistake is taken back by a button.
#[tokio::test]
async fn more_time_that_holds_no_more_is_told_apart_and_taken_back_by_a_button() {
    let app = TestApp::new().await;
    let (browser, csrf) = organiser_browser(&app).await;
    let path = "/organise/saltmarsh/extensions";
    let give = |gym, closes| {
        let fields = [("csrf", &*csrf), ("workout", "w1"), ("gym", gym), ("closes", closes)];
        let rest = [("attest_by", "2027-01-20T21:00"), ("reason", "power cut")];
        browser.post(path).form(&[fields.as_slice(), &rest].concat())
    };
    give("quayside", "2027-01-18T20:00").await.expect(303);
    give("millpond", "2027-01-18T21:00").await.expect(303);
    give("quayside", "2027-01-18T22:00").await.expect(303);
    // What is said of each, the newest first.
    let rows = async || {
        let page = browser.get("/organise/saltmarsh").await.expect(200).plain();
        let table =
            page.split_once("id=\"time\"").and_then(|(_, rest)| rest.split_once("</table>")).expect("a table").0;
        let row = |row: &str| {
            let gym = row.split_once("</th>").expect("a gym").0.to_owned();
            let now = row.rsplit_once("<td>").expect("a cell").1;
            let now = now.split('<').next().unwrap_or_default().replace("&#39;", "'");
            (gym, now, row.contains("<details"))
        };
        (table.split("<th scope=\"row\">").skip(1).map(row).collect::<Vec<_>>(), table.to_owned())
    };
    let said = |all: &[(&str, &str, bool)]| -> Vec<(String, String, bool)> {
        all.iter().map(|(gym, now, button)| ((*gym).to_owned(), (*now).to_owned(), *button)).collect()
    };
    let newer = "no longer: something newer was said of them";
    let (found, table) = rows().await;
    let first = [("Quayside Gym", "holds", true), ("Millpond Gym", "holds", true), ("Quayside Gym", newer, false)];
    assert_eq!(found, said(&first));
    // As the form of the newest row sends it.
    let form = table.split("<form ").nth(1).expect("a form").split("</form>").next().unwrap_or_default().to_owned();
    let hidden = |name: &str| {
        let value = form.split_once(&format!("name=\"{name}\" value=\"")).expect("a field").1;
        value.split_once('"').expect("its end").0.to_owned()
    };
    let names = ["workout", "gym", "region", "closes", "attest_by"];
    let sent = names.map(|name| (name, hidden(name)));
    let mut fields: Vec<(&str, &str)> = sent.iter().map(|(name, value)| (*name, value.as_str())).collect();
    fields.push(("csrf", &csrf));
    let again = browser.post(path).form(&fields).await.expect(422).text();
    assert!(again.contains("href=\"#reason\"") && again.contains(&hidden("closes")), "why is asked: {again}");
    fields.push(("reason", "Given to the wrong gym"));
    browser.post(path).form(&fields).await.expect(303);
    let back = ("Quayside Gym", "taken back: they have the file's times", false);
    let (found, table) = rows().await;
    assert_eq!(found, said(&[back, ("Quayside Gym", newer, false), first[1], first[2]]));
    assert!(table.contains("Given to the wrong gym"));
    let desk = app.in_browser(&app.staff_of("quayside").await).await.get("/desk/saltmarsh/quayside").await.plain();
    assert!(!desk.contains("more time"), "{desk}");
    let german = browser.get("/organise/saltmarsh").header("accept-language", "de").await.expect(200).plain();
    assert!(german.contains("zurückgenommen: Es gelten die Zeiten der Datei"), "{german}");
}

/// Of what was said of a gym and of its region the newest holds; the other line says so, and offers no button.
#[tokio::test]
async fn a_gym_whose_region_was_given_another_time_since_is_not_said_to_have_its_own() {
    let app = TestApp::new().await;
    let organiser = app.organiser().await;
    let path = "/api/v1/competitions/saltmarsh";
    let gym = json!({ "slug": "quayside", "name": "Quayside Gym", "country": "PT", "region": "North" });
    organiser.post(&format!("{path}/gyms")).json(gym).await.expect(200);
    let give = |whom: &str, name: &str, closes: &str| {
        let body = json!({ whom: name, "closes": closes, "attest_by": "2027-01-20T21:00:00Z", "reason": "power cut" });
        organiser.post(&format!("{path}/workouts/w1/extensions")).json(body)
    };
    give("gym", "quayside", "2027-01-18T22:00:00Z").await.expect(201);
    give("region", "North", "2027-01-18T20:00:00Z").await.expect(201);
    let page = app.in_browser(&organiser).await.get("/organise/saltmarsh").await.expect(200).plain();
    let table = page.split_once("id=\"time\"").and_then(|(_, rest)| rest.split_once("</table>")).expect("a table").0;
    let rows: Vec<_> = table.split("<th scope=\"row\">").skip(1).collect();
    let since = "no longer: their region was given another time since";
    assert!(rows[0].starts_with("Region North") && rows[0].contains("holds"), "{table}");
    assert!(rows[1].starts_with("Quayside Gym") && rows[1].contains(since) && !rows[1].contains("<form"), "{table}");
    let desk = app.in_browser(&app.staff_of("quayside").await).await.get("/desk/saltmarsh/quayside").await.plain();
    assert!(desk.contains("2027-01-18T20:00:00Z") && !desk.contains("2027-01-18T22:00:00Z"), "{desk}");
}
