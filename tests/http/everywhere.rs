//! What must not be told, looked for everywhere: every line of the table of routes, as every role, in
//! every form that is answered in, read whole: bodies, titles, headers, addresses, refusals.
//!
//! Nothing is listed by hand here: the addresses are the table's, the parameters are those that the
//! API's document and the sources of the pages name.

use crate::routes::{Line, Person, TABLE, WHO, fits, people, send};
use crate::support::{Reply, TestApp};
use serde_json::json;
use std::collections::BTreeSet;
use std::path::Path;

const C: &str = "/api/v1/competitions/saltmarsh";
/// What a reader may ask for; nothing: what the route gives by itself.
const FORMS: [&[(&str, &str)]; 4] = [
    &[],
    &[("accept", "text/html"), ("accept-language", "de")],
    &[("accept", "application/json")],
    &[("accept", "text/csv")],
];

/// Lines that end a session: whoever sent them would be nobody in all that follow.
fn ends_a_session(line: &Line) -> bool {
    line.1 == "/signout" || (line.0 == "DELETE" && line.1.contains("session"))
}

/// All that an answer says: its head and its body.
fn said(reply: &Reply) -> String {
    let mut lines = vec![reply.status.to_string()];
    lines.extend(reply.headers.iter().map(|(n, v)| format!("{n}: {}", String::from_utf8_lossy(v.as_bytes()))));
    lines.push(reply.text());
    lines.join("\n")
}

/// What is left of an answer to be compared: without the request's number, and without a tag that is
/// made of the address too.
fn comparable(reply: &Reply, asked: &str) -> String {
    let tag = |line: &&str| !line.starts_with("etag:") || !asked.contains('?');
    let said = said(reply).replace(reply.header("x-request-id"), "");
    // Another one for each browser that is shown the page of a link.
    let drawn = |line: &&str| !line.starts_with("set-cookie: link=");
    said.lines().filter(tag).filter(drawn).collect::<Vec<_>>().join("\n").to_lowercase()
}

/// The names that the pages read from addresses and forms, by their sources.
fn fields_of_pages() -> BTreeSet<String> {
    let mut names = BTreeSet::new();
    let mut folders = vec![Path::new(env!("CARGO_MANIFEST_DIR")).join("src/web/pages")];
    while let Some(folder) = folders.pop() {
        for entry in std::fs::read_dir(folder).expect("a folder") {
            let path = entry.expect("an entry").path();
            if path.is_dir() {
                folders.push(path);
                continue;
            }
            let text = std::fs::read_to_string(&path).expect("a source");
            for call in [".get(\"", ".find(\"", ".ticked(\""] {
                let found = text.split(call).skip(1).filter_map(|rest| rest.split_once("\")"));
                let name = |n: &&str| !n.is_empty() && n.bytes().all(|b| b.is_ascii_lowercase() || b == b'_');
                names.extend(found.map(|(n, _)| n).filter(name).map(str::to_owned));
            }
        }
    }
    assert!(names.len() > 30 && names.contains("q") && names.contains("show"), "{names:?}");
    names
}

/// Every address that is read, with each parameter that it takes: of the API by its document.
async fn asked_with_every_parameter(app: &TestApp) -> Vec<Line> {
    let document = app.nobody().get("/api/openapi.json").await.expect(200).json();
    let pages = fields_of_pages();
    let mut lines = Vec::new();
    for line in TABLE.iter().filter(|line| line.0 == "GET") {
        let path = line.1.split('?').next().unwrap_or_default();
        let names: BTreeSet<String> = if path.starts_with("/api/") {
            let (_, item) = document["paths"].as_object().expect("paths").iter().find(|(p, _)| fits(path, p)).unzip();
            let of = item.and_then(|i| i["get"]["parameters"].as_array()).cloned().unwrap_or_default();
            of.iter().filter(|p| p["in"] == "query").filter_map(|p| p["name"].as_str().map(str::to_owned)).collect()
        } else if path.starts_with("/static") || path == "/api" {
            BTreeSet::new()
        } else {
            pages.clone()
        };
        for name in names {
            lines.push(("GET", &*asking(line.1, &name, "VALUE").leak(), "", ""));
        }
    }
    assert!(lines.len() > 500, "{}", lines.len());
    lines
}

/// An address with one more parameter.
fn asking(address: &str, name: &str, value: &str) -> String {
    format!("{address}{}{name}={value}", if address.contains('?') { '&' } else { '?' })
}

/// Every answer of every line to every person, with what they are not to be told: `hidden` says which
/// texts those are for a column. Reads once more after all has been sent.
async fn told(people: &[Person], hidden: impl Fn(usize) -> Vec<&'static str>) -> (usize, Vec<String>) {
    let (mut read, mut told) = (0, Vec::new());
    let lines = || TABLE.iter().filter(|line| !ends_a_session(line));
    for line in lines().chain(lines().filter(|line| line.0 == "GET")) {
        let forms = if line.0 == "GET" { FORMS.as_slice() } else { &FORMS[..1] };
        for (column, person) in people.iter().enumerate() {
            for form in forms {
                let reply =
                    send(person, line, form, |text| text.replace("VICTIM", "1").replace("ROLE", "999999")).await;
                let said = said(&reply).to_lowercase();
                read += 1;
                let found = hidden(column).into_iter().filter(|text| said.contains(&text.to_lowercase()));
                told.extend(found.map(|text| format!("{text} to {} by {} {} {form:?}", WHO[column], line.0, line.1)));
            }
        }
    }
    (read, told)
}

/// Answers that differ although they are asked for something that is there but not to be told of, and
/// for something that is not there. Both texts are of one length.
async fn tell_apart(
    person: &Person,
    line: &Line,
    form: &[(&str, &str)],
    from: &str,
    there: &str,
    not: &str,
) -> Option<String> {
    assert_eq!(there.len(), not.len());
    let a = comparable(&send(person, line, form, |text| text.replace(from, there)).await, line.1);
    let b = comparable(&send(person, line, form, |text| text.replace(from, not)).await, line.1);
    let (a, b) = (a, b.replace(&not.to_lowercase(), &there.to_lowercase()));
    let differs = a.lines().zip(b.lines()).find(|(a, b)| a != b);
    let clip = |line: &str| line.chars().take(300).collect::<String>();
    let (there, not) = differs.map_or(("more", "less"), |lines| lines);
    (a != b).then(|| format!("{} {} {form:?}\n  there: {}\n  not:   {}", line.0, line.1, clip(there), clip(not)))
}

/// The same of every GET with every parameter.
async fn parameters_tell_apart(app: &TestApp, people: &[&Person], there: &str, not: &str) -> Vec<String> {
    let mut found = Vec::new();
    for line in asked_with_every_parameter(app).await {
        for person in people {
            found.extend(tell_apart(person, &line, &[], "VALUE", there, not).await);
        }
    }
    found
}

/// Facts of a workout that is not announced, and texts that only it has.
const UNANNOUNCED: [&str; 8] = ["heron", "Zanzibar", "obelisk", "Vermilion", "Cerulean", "8:37", "quartz", "21:17"];

/// The competition with a workout of those facts in place of w3, changed once before its announcement.
async fn embargoed(app: &TestApp) {
    let (before, rest) = include_str!("../data/small.toml").split_once("[[workout]]\nslug = \"w3\"").expect("w3");
    let file = format!("{before}[[workout]]\nslug = \"heron\"{rest}")
        .replace("Workout 3", "Zanzibar dusk")
        .replace("8:00", "8:37")
        .replace("2027-01-24T21:00", "2027-01-24T21:17")
        .replace("push-up", "obelisk carry")
        .replace("Arms straight at the top.", "Vermilion elbows.")
        + "loads = [{ item = \"quartz bell\", kg = 43, lb = 95 }]\n";
    for text in [file.clone(), file.replace("Vermilion", "Cerulean")] {
        app.organiser().await.put(C).header("if-match", "*").body("application/toml", text).await.expect(200);
    }
}

#[tokio::test]
async fn nothing_of_a_workout_is_told_before_its_announcement() {
    let (app, ..) = crate::routes::stage().await;
    embargoed(&app).await;
    let people = people(&app).await;
    let organisers = WHO.iter().filter(|who| who.starts_with("organiser")).count();
    let (others, organising) = people.split_at(people.len() - organisers);
    let page = organising[0].browser.get("/c/saltmarsh/workouts/heron").await.expect(200).plain();
    let planted: Vec<_> = UNANNOUNCED.iter().filter(|text| page.contains(**text)).collect();
    assert!(planted.len() >= 6, "planted at all: {planted:?}");

    let (read, told) = told(others, |_| UNANNOUNCED.to_vec()).await;
    assert!(read > 2_000, "{read}");
    assert!(told.is_empty(), "{}", told.join("\n"));
}

#[tokio::test]
async fn a_workout_that_is_not_announced_is_answered_as_one_that_does_not_exist() {
    let (app, ..) = crate::routes::stage().await;
    embargoed(&app).await;
    let people = people(&app).await;
    let mut apart = Vec::new();
    for line in TABLE.iter().filter(|line| line.1.contains("w1") || line.2.contains("w1")) {
        for (person, who) in people.iter().zip(WHO).filter(|(_, who)| !who.starts_with("organiser")) {
            let forms = if line.0 == "GET" { FORMS.as_slice() } else { &FORMS[..1] };
            for form in forms {
                let found = tell_apart(person, line, form, "w1", "heron", "heroz").await;
                apart.extend(found.map(|found| format!("{who}: {found}")));
            }
        }
    }
    let some = [&people[0], &people[8]];
    apart.extend(parameters_tell_apart(&app, &some, "heron", "heroz").await);
    assert!(apart.is_empty(), "{} tell it:\n{}", apart.len(), apart[..apart.len().min(40)].join("\n"));
}

/// Somebody who hides their name, and somebody of fourteen who has not been asked; with videos.
const HIDES: (&str, &[&str]) = ("Quillon", &["Quillon", "Hiddenby", "video.example/quil"]);
const MINOR: (&str, &[&str]) = ("Wrenna", &["Wrenna", "Ashgrove", "video.example/wren"]);
/// What is for the organiser and the person alone.
const PRIVATE: [(u32, &[&str]); 2] =
    [(1042, &["1971-08-23", "quil@planted.example"]), (1043, &["2012-05-06", "wren@planted.example"])];

async fn with_hidden_names() -> TestApp {
    let app = TestApp::new().await;
    let organiser = app.organiser().await;
    let entries = "bib,name,born,category,division,gym,email,show_name,guardian_consent\n\
        1042,Quillon Hiddenby,1971-08-23,women,women,quayside,quil@planted.example,no,\n\
        1043,Wrenna Ashgrove,2012-05-06,women,women,quayside,wren@planted.example,,yes\n";
    let told = organiser.post(&format!("{C}/entries")).csv(entries).await.expect(200).json();
    assert_eq!(told["taken"], 2, "{told}");
    let staff = app.staff_of("quayside").await;
    for (bib, video) in [(1042, "https://video.example/quil"), (1043, "https://video.example/wren")] {
        let score = format!("{C}/workouts/w1/scores/{bib}");
        let sent = json!({ "performance": "6+14 tb 11:24", "video": video,
            "attestation": { "judge": "J-1", "how": "paper_sheet" } });
        let stored = staff.put(&score).json(sent).await.expect(201).json();
        let etag = stored["etag"].as_str().expect("an etag");
        let flag = json!({ "reason": "count", "note": "two short" });
        let flagged = app.referee().await.post(&format!("{score}/flags")).if_match(etag).json(flag).await.expect(200);
        let ruling = json!({ "kind": "deduct", "reps": 2, "reason": "two were short" });
        let etag = flagged.json()["etag"].as_str().expect("an etag").to_owned();
        app.referee().await.post(&format!("{score}/ruling")).if_match(etag).json(ruling).await.expect(200);
    }
    app
}

#[tokio::test]
async fn hidden_names_and_videos_are_told_to_nobody_who_may_not_know_them() {
    let app = with_hidden_names().await;
    let people = people(&app).await;
    let desk = people[6].browser.get("/desk/saltmarsh/quayside").await.expect(200).text();
    assert!(desk.contains("Quillon Hiddenby") && desk.contains("Wrenna Ashgrove"), "planted at all");
    let hidden = |column: usize| {
        let who = WHO[column];
        let mut hidden = Vec::new();
        let own = [(HIDES, "athlete 1042", PRIVATE[0]), (MINOR, "another athlete", PRIVATE[1])];
        for ((_, texts), athlete, (_, private)) in own {
            if who.starts_with("organiser") || who == athlete {
                continue;
            }
            hidden.extend(private);
            // Who takes doubts up looks at the video, and knows the bib alone.
            match who {
                "staff of quayside" => {}
                "referee" => hidden.extend(&texts[..2]),
                _ => hidden.extend(texts),
            }
        }
        hidden
    };
    let (read, told) = told(&people, hidden).await;
    assert!(read > 2_000, "{read}");
    assert!(told.is_empty(), "{}", told.join("\n"));
}

#[tokio::test]
async fn a_hidden_name_is_searched_for_as_in_vain_as_one_that_nobody_has() {
    let app = with_hidden_names().await;
    let people = people(&app).await;
    let mut apart = parameters_tell_apart(&app, &[&people[0], &people[7]], HIDES.0, "Quillox").await;
    apart.extend(parameters_tell_apart(&app, &[&people[8]], MINOR.0, "Wrennx").await);
    assert!(apart.is_empty(), "{} tell it:\n{}", apart.len(), apart[..apart.len().min(40)].join("\n"));
}
