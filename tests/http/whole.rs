//! Whole divisions and lists of any length: sent part by part, of one state, to so many at once.

use crate::support::TestApp;
use axum::body::Body;
use futures_util::StreamExt;
use http::Request;
use serde_json::{Value, json};
use std::collections::BTreeSet;
use std::fmt::Write as _;
use tallywright::app::WHOLES;
use tallywright::web::listen::{Patience, serve};
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::{TcpListener, TcpStream};
use tower::ServiceExt;

const C: &str = "/api/v1/competitions/saltmarsh";
const STANDINGS: &str = "/api/v1/competitions/saltmarsh/divisions/women/standings";
const PLACES: &str = "/api/v1/competitions/saltmarsh/divisions/women/workouts/w1/places";
/// More than a part of each of them.
const MANY: u32 = 1_200;

/// With so many more women, each with a score.
async fn with_many() -> TestApp {
    let app = TestApp::new().await;
    let mut people = "bib,name,born,category,division,gym\n".to_owned();
    let mut scores = "bib,performance,judge\n".to_owned();
    for n in 0..MANY {
        writeln!(people, "{},Runner {n},1995-02-03,women,women,quayside", 10_000 + n).unwrap();
        writeln!(scores, "{},{}+{} tb 11:{:02},J-1", 10_000 + n, 1 + n % 7, n % 23, n % 60).unwrap();
    }
    let (administrator, staff) = (app.administrator().await, app.staff_of("quayside").await);
    for (client, path, rows) in [(&administrator, "entries", people), (&staff, "workouts/w1/scores", scores)] {
        let taken = client.post(&format!("{C}/{path}")).csv(&rows).await.expect(200).json();
        assert_eq!((&taken["taken"], &taken["refused"]), (&json!(MANY), &json!(0)), "{path}: {taken}");
    }
    app
}

/// A column of a CSV without quotes.
fn column(csv: &str, name: &str) -> Vec<String> {
    let mut lines = csv.lines();
    let at = lines.next().unwrap().split(',').position(|header| header == name).unwrap();
    lines.map(|line| line.split(',').nth(at).unwrap().to_owned()).collect()
}

#[tokio::test(flavor = "multi_thread")]
async fn something_whole_is_what_its_pages_say_one_after_the_other() {
    let app = with_many().await;
    let nobody = app.nobody();
    for (list, place) in [(STANDINGS, "standing"), (PLACES, "place")] {
        let csv = nobody.get(list).accept("text/csv").await.expect(200).text();
        let mut expected = Vec::new();
        for from in (1..).step_by(500) {
            let page = nobody.get(&format!("{list}?limit=500&from={from}")).await.expect(200).json();
            let rows = page["rows"].as_array().unwrap().clone();
            if rows.is_empty() {
                break;
            }
            expected.extend(rows);
        }
        assert!(expected.len() > MANY as usize);
        let said = |name: &str| -> Vec<String> {
            let text = |value: &Value| value.as_str().map_or_else(|| value.to_string(), str::to_owned);
            expected.iter().map(|row| if row[name].is_null() { String::new() } else { text(&row[name]) }).collect()
        };
        for name in ["bib", "name", place] {
            assert_eq!(column(&csv, name), said(name), "{list}: {name}");
        }
    }
    let entries = nobody.get(&format!("{C}/entries")).await.expect(200);
    assert_eq!(entries.header("content-type"), "application/json");
    let bibs: Vec<u64> =
        entries.json().as_array().unwrap().iter().map(|entry| entry["bib"].as_u64().unwrap()).collect();
    assert_eq!(bibs.iter().collect::<BTreeSet<_>>().len(), bibs.len(), "each once");
    assert!(bibs.len() > MANY as usize && bibs.is_sorted());
    // One, and none.
    for (find, count) in [("q=Runner%20777", 1), ("q=nobody%20of%20them", 0)] {
        let found = nobody.get(&format!("{C}/entries?{find}")).await.expect(200).json();
        assert_eq!(found.as_array().unwrap().len(), count, "{found}");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn it_is_compressed_on_its_way() {
    let app = with_many().await;
    let entries = format!("{C}/entries");
    for (path, kind) in [(STANDINGS, "text/csv"), (&*entries, "application/json")] {
        let plain = app.nobody().get(path).accept(kind).await.expect(200).body.len();
        for coding in ["gzip", "br"] {
            let packed = app.nobody().get(path).accept(kind).header("accept-encoding", coding).await.expect(200);
            assert_eq!(packed.header("content-encoding"), coding);
            assert!(
                packed.body.len() > plain / 100 && packed.body.len() < plain / 3,
                "{} of {plain}",
                packed.body.len()
            );
        }
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn whoever_reads_it_slowly_reads_one_state() {
    let app = with_many().await;
    let request = Request::get(STANDINGS).header("accept", "text/csv").body(Body::empty()).unwrap();
    let answer = app.router().oneshot(request).await.unwrap();
    assert_eq!(answer.status(), 200);
    let mut body = answer.into_body().into_data_stream();
    let mut csv = String::from_utf8(body.next().await.unwrap().unwrap().to_vec()).unwrap();
    let before = app.app.board.position(1).unwrap();
    let best = json!({ "performance": "8+20 tb 10:00", "attestation": { "judge": "J-1", "how": "paper_sheet" } });
    let staff = app.staff_of("quayside").await;
    staff.put(&format!("{C}/workouts/w1/scores/1042")).json(best).await.expect(201);
    assert!(app.app.board.position(1).unwrap() > before);
    while let Some(part) = body.next().await {
        csv.push_str(std::str::from_utf8(&part.unwrap()).unwrap());
    }
    let positions: BTreeSet<String> = column(&csv, "log_seq").into_iter().collect();
    assert_eq!(positions.len(), 1, "{positions:?}");
    let bibs = column(&csv, "bib");
    assert_eq!(bibs.iter().collect::<BTreeSet<_>>().len(), bibs.len(), "each once");
    assert!(bibs.len() > MANY as usize);
}

#[tokio::test(flavor = "multi_thread")]
async fn so_many_read_something_whole_at_once_and_pages_are_read_beside_them() {
    let app = with_many().await;
    let nobody = app.nobody();
    let held: Vec<_> = (0..WHOLES).map(|_| app.app.wholes().unwrap()).collect();
    for path in [STANDINGS, PLACES] {
        let told = nobody.get(path).accept("text/csv").await.expect(503);
        assert!(told.code() == "busy" && told.header("retry-after").parse::<u32>().is_ok_and(|seconds| seconds > 0));
        nobody.get(path).await.expect(200);
    }
    let entries = format!("{C}/entries");
    nobody.get(&entries).await.expect(503);
    // What is short needs no room.
    nobody.get(&format!("{entries}?q=Runner%20777")).await.expect(200);
    drop(held);
    nobody.get(STANDINGS).accept("text/csv").await.expect(200);
    // Who has read to the end, or hung up in the middle, makes room.
    for _ in 0..2 * WHOLES {
        let request = Request::get(STANDINGS).header("accept", "text/csv").body(Body::empty()).unwrap();
        let mut body = app.router().oneshot(request).await.unwrap().into_body().into_data_stream();
        assert!(body.next().await.unwrap().is_ok());
        drop(body);
        nobody.get(&entries).await.expect(200);
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn hidden_names_are_hidden_in_every_part_and_said_the_same_to_everybody() {
    let app = with_many().await;
    let mut hide = "bib,name,born,category,division,gym,show_name\n".to_owned();
    for n in 0..MANY {
        writeln!(hide, "{},Runner {n},1995-02-03,women,women,quayside,no", 10_000 + n).unwrap();
    }
    app.administrator().await.post(&format!("{C}/entries")).csv(&hide).await.expect(200);
    for lang in ["en", "de"] {
        let request = app.nobody().get(STANDINGS).accept("text/csv").header("accept-language", lang);
        let csv = request.await.expect(200).text();
        let hidden = column(&csv, "name").iter().filter(|name| name.starts_with("Athlete 1")).count();
        assert!(hidden == MANY as usize && !csv.contains("Runner"), "{hidden}");
    }
}

/// RFC 9112, section 8: by HTTP/1.0 a body that ends where the connection does, and is cut off, looks whole.
#[tokio::test(flavor = "multi_thread")]
async fn by_http_1_0_nobody_gets_what_they_could_not_tell_a_part_of_from_the_whole() {
    let app = with_many().await;
    let listener = TcpListener::bind(("127.0.0.1", 0)).await.unwrap();
    let at = listener.local_addr().unwrap();
    let served = tokio::spawn(serve(listener, app.router(), Patience::default(), std::future::pending()));
    let ask = async |path: &str, kind: &str, version: &str| {
        let mut stream = TcpStream::connect(at).await.unwrap();
        let head = format!(
            "GET {path} HTTP/{version}\r\nhost: a\r\naccept: {kind}\r\naccept-encoding: gzip\r\nconnection: close\r\n\r\n"
        );
        stream.write_all(head.as_bytes()).await.unwrap();
        let mut answer = Vec::new();
        stream.read_to_end(&mut answer).await.unwrap();
        let at = answer.windows(4).position(|end| end == b"\r\n\r\n").unwrap();
        (String::from_utf8_lossy(&answer[..at]).to_lowercase(), answer.split_off(at + 4))
    };
    let status = |head: &str| head.split(' ').nth(1).unwrap_or_default().to_owned();
    let length = |head: &str| {
        let mut lines = head.lines().filter_map(|line| line.strip_prefix("content-length: "));
        lines.next().and_then(|length| length.parse::<usize>().ok())
    };
    let entries = format!("{C}/entries");
    for (path, kind) in [(STANDINGS, "text/csv"), (PLACES, "text/csv"), (&*entries, "application/json")] {
        assert_eq!(status(&ask(path, kind, "1.1").await.0), "200");
        let (head, body) = ask(path, kind, "1.0").await;
        assert!(status(&head) == "426" && head.contains("\r\nupgrade: http/1.1"), "{head}");
        let problem: Value = serde_json::from_slice(&body).unwrap();
        assert_eq!(problem["code"], "only_by_http_1_1");
        assert_eq!(length(&head), Some(body.len()), "{head}");
    }
    // Whatever has a length is sent with it, and as it is: compressed it would have none.
    let one = format!("{entries}?q=Runner%20777");
    for (path, kind) in [(STANDINGS, "application/json"), (&*one, "application/json"), ("/c/saltmarsh", "text/html")] {
        let (head, body) = ask(path, kind, "1.0").await;
        assert!(status(&head) == "200" && !head.contains("content-encoding"), "{path}: {head}");
        assert_eq!(length(&head), Some(body.len()), "{path}: {head}");
    }
    served.abort();
}

/// A file with standards that make it large: each that is applied stands in the log as a whole.
fn large_file(of: u32) -> String {
    let mut file = include_str!("../data/small.toml").replace("slug = \"saltmarsh\"", "slug = \"lookout\"");
    for n in 0..15 {
        let standards = format!("Arms straight, {of}. ").repeat(3_500);
        write!(
            file,
            "\n[[workout]]\nslug = \"later-{n}\"\ntitle = \"Later {n}\"\nformat = \"max_count\"\nmeasure = \"reps\"\ncap = \"6:00\"\n\
             opens = \"2098-01-01T19:00\"\ncloses = \"2099-01-01T21:00\"\nstandards = \"{standards}\"\n\
             [[workout.prescription]]\ndivisions = [\"women\", \"men\"]\n"
        )
        .unwrap();
    }
    file
}

#[tokio::test(flavor = "multi_thread")]
async fn large_records_make_a_page_of_the_log_end_sooner_and_none_is_left_out() {
    let app = TestApp::empty().await;
    for of in 0..6 {
        app.db_file(&large_file(of)).await;
    }
    let administrator = app.administrator().await;
    let (mut after, mut pages) = (0, Vec::new());
    loop {
        let path = format!("/api/v1/competitions/lookout/log?after={after}");
        let page = administrator.get(&path).await.expect(200).json();
        let records = page["records"].as_array().unwrap();
        let Some(last) = records.last() else { break };
        let numbers: Vec<u64> = records.iter().map(|record| record["seq"].as_u64().unwrap()).collect();
        assert_eq!(numbers, (after + 1..=last["seq"].as_u64().unwrap()).collect::<Vec<_>>());
        let bytes: usize = records.iter().map(|record| record["text"].as_str().unwrap().len()).sum();
        assert!(bytes <= 4 << 20, "{bytes}");
        after = last["seq"].as_u64().unwrap();
        pages.push(bytes);
    }
    assert_eq!(after, 6);
    assert!(pages.len() == 2 && pages[0] > 3 << 20, "{pages:?}");
}
