//! What else goes on beside the scores: entries come in, what they do is flagged and ruled on, and the file
//! is applied anew, each at one service after the other and sent again under its key.

use crate::field::{ATHLETES, FILE, Field, SLUG};
use crate::load::{self, Http};
use crate::pause;
use http::{Method, Request, StatusCode};
use serde_json::{Value, json};
use std::net::SocketAddr;
use std::time::{Duration, Instant};
use tokio::task::JoinHandle;
use tokio_util::sync::CancellationToken;

/// People at work.
pub struct Mixed {
    stop: CancellationToken,
    cases: JoinHandle<Vec<Case>>,
    files: JoinHandle<u32>,
}

/// An entry made, and its score: entered, vouched for, flagged and ruled on.
struct Case {
    bib: u32,
    /// What the ruling left.
    reps: u32,
}

impl Mixed {
    /// Starts at these services; a referee is added, by the command line.
    pub fn start(field: &Field, at: &[SocketAddr]) -> Self {
        field.done(&["account", "add", "bela@example.org", "--role", "referee", "--competition", SLUG]);
        let referee = field.done(&["token", "issue", "bela@example.org"]).trim().to_owned();
        let stop = CancellationToken::new();
        let desk = Desk { http: load::http(), at: at.to_vec(), token: field.token.clone(), name: "desk" };
        let judging = Desk { token: referee, name: "referee", http: load::http(), at: at.to_vec() };
        let organiser = Desk { token: field.token.clone(), name: "file", http: load::http(), at: at.to_vec() };
        Self {
            cases: tokio::spawn(cases(desk, judging, stop.clone())),
            files: tokio::spawn(files(organiser, stop.clone())),
            stop,
        }
    }

    /// Brings what they are at to an end and looks at every service whether it is there, once and whole. How
    /// many cases, and how many files.
    pub async fn finish(self, at: &[SocketAddr]) -> (usize, u32) {
        self.stop.cancel();
        let cases = self.cases.await.expect("a case found what must not be");
        let files = self.files.await.expect("a file found what must not be");
        let http = load::http();
        for (at, case) in at.iter().flat_map(|at| cases.iter().map(move |case| (*at, case))) {
            let score = format!("/api/v1/competitions/{SLUG}/workouts/w2/scores/{}", case.bib);
            let (status, shown) = load::send(&http, load::get(at, &score)).await.expect("an answer");
            assert_eq!(status, StatusCode::OK, "{shown}");
            assert_eq!(shown["performance"]["text"], format!("{} reps", case.reps), "{shown}");
            let (_, history) = load::send(&http, load::get(at, &format!("{score}/history"))).await.expect("an answer");
            let items = history["items"].as_array().unwrap_or_else(|| panic!("a history: {history}"));
            let actions: Vec<&str> = items.iter().filter_map(|item| item["action"].as_str()).collect();
            assert_eq!(actions, ["submitted", "attested", "flagged", "ruled"], "bib {}", case.bib);
        }
        (cases.len(), files)
    }
}

async fn cases(desk: Desk, referee: Desk, stop: CancellationToken) -> Vec<Case> {
    let mut done = Vec::new();
    for bib in ATHLETES + 1_000.. {
        if stop.is_cancelled() {
            break;
        }
        let entry = json!({
            "bib": bib, "name": format!("Guest No{bib}"), "born": "1990-01-01", "category": "women",
            "division": "guests", "gym": "quayside",
        });
        desk.send(Method::POST, "entries", None, &entry).await;
        let reps = 10 + bib % 300;
        let score = format!("workouts/w2/scores/{bib}");
        let figures =
            json!({ "performance": reps.to_string(), "attestation": { "judge": "J-1", "how": "paper_sheet" } });
        let stored = desk.send(Method::PUT, &score, None, &figures).await;
        let flag = json!({ "reason": "count", "note": "Looks like less." });
        let flagged = referee.send(Method::POST, &format!("{score}/flags"), Some(&stored), &flag).await;
        let ruling = json!({ "kind": "deduct", "reps": 3, "reason": "Three short of the standard." });
        let ruled = referee.send(Method::POST, &format!("{score}/ruling"), Some(&flagged), &ruling).await;
        assert_eq!(ruled["state"], "amended", "{ruled}");
        done.push(Case { bib, reps: reps - 3 });
        pause(20).await;
    }
    done
}

async fn files(organiser: Desk, stop: CancellationToken) -> u32 {
    let mut applied = 0;
    while !stop.is_cancelled() {
        applied += 1;
        let file = FILE.replace("Harbour Trials", &format!("Harbour Trials {applied}"));
        organiser.apply(applied, &file).await;
        pause(400).await;
    }
    applied
}

/// Somebody who sends what has to be done until it is.
struct Desk {
    http: Http,
    at: Vec<SocketAddr>,
    token: String,
    name: &'static str,
}

impl Desk {
    async fn send(&self, method: Method, path: &str, seen: Option<&Value>, body: &Value) -> Value {
        let key = format!("{} {method} {path} {}", self.name, body["bib"]);
        let etag = seen.map(|seen| format!("\"{}\"", seen["etag"].as_str().expect("an etag")));
        self.until_done(method, path, "application/json", &key, etag, &body.to_string()).await
    }

    async fn apply(&self, n: u32, file: &str) {
        let key = format!("{} {n}", self.name);
        self.until_done(Method::PUT, "?reason=put%20right", "application/toml", &key, None, file).await;
    }

    /// What became of a change is told within two minutes, all faults included.
    async fn until_done(
        &self,
        method: Method,
        path: &str,
        kind: &str,
        key: &str,
        etag: Option<String>,
        body: &str,
    ) -> Value {
        let slash = if path.starts_with('?') { "" } else { "/" };
        let began = Instant::now();
        for at in self.at.iter().cycle() {
            assert!(began.elapsed() < Duration::from_mins(2), "{key}: nobody says what became of it");
            let mut request = Request::builder()
                .method(method.clone())
                .uri(format!("http://{at}/api/v1/competitions/{SLUG}{slash}{path}"))
                .header("authorization", format!("Bearer {}", self.token))
                .header("content-type", kind)
                .header("idempotency-key", format!("\"{}\"", key.replace([' ', '/'], "-")));
            if let Some(etag) = &etag {
                request = request.header("if-match", etag);
            }
            let request = request.body(body.to_owned().into()).expect("a request");
            match tokio::time::timeout(Duration::from_secs(10), load::send(&self.http, request)).await {
                Ok(Some((status, answer))) if status.is_success() => return answer,
                Ok(None | Some((StatusCode::SERVICE_UNAVAILABLE, _))) | Err(_) => pause(50).await,
                Ok(Some((status, answer))) => panic!("{key}: {status} {answer}"),
            }
        }
        unreachable!("services do not end")
    }
}
