//! Somebody who sends what has to be done until it is.

use crate::field::{Field, SLUG};
use crate::load::{self, Http};
use crate::pause;
use http::{Method, Request, StatusCode, header};
use http_body_util::BodyExt;
use serde_json::{Value, json};
use std::net::SocketAddr;
use std::time::{Duration, Instant};

/// How long an answer is waited for.
const PATIENCE: Duration = Duration::from_secs(10);
/// What became of a change is told within this time, all faults included.
const LONGEST: Duration = Duration::from_mins(2);

/// By the interface for programs, at one service after the other.
pub struct Desk {
    http: Http,
    at: Vec<SocketAddr>,
    token: String,
    name: &'static str,
}

/// What is said of a list.
pub enum Said {
    /// All its rows are there; so many of them were before.
    Done(u64),
    /// Its key is held: somebody takes it in, or has ended in the middle.
    BeingMade,
}

/// What is to be sent.
struct What<'a> {
    method: Method,
    path: &'a str,
    kind: &'a str,
    etag: Option<String>,
    body: &'a str,
}

impl Desk {
    /// With this token; its keys begin with its name.
    pub fn new(name: &'static str, at: &[SocketAddr], token: &str) -> Self {
        Self { http: load::http(), at: at.to_vec(), token: token.to_owned(), name }
    }

    /// Makes a change; `seen`: what it is a change of.
    pub async fn send(&self, method: Method, path: &str, seen: Option<&Value>, body: &Value) -> Value {
        let key = format!("{method} {path} {}", body["bib"]);
        let etag = seen.map(|seen| format!("\"{}\"", seen["etag"].as_str().expect("an etag")));
        let body = body.to_string();
        self.until_done(&key, &What { method, path, kind: "application/json", etag, body: &body }).await
    }

    /// Applies the file.
    pub async fn apply(&self, n: u32, file: &str) {
        let path = "?reason=put%20right";
        let what = What { method: Method::PUT, path, kind: "application/toml", etag: None, body: file };
        self.until_done(&n.to_string(), &what).await;
    }

    /// Sends a list of so many entries.
    pub async fn list(&self, key: &str, rows: &str, all: u32) -> Said {
        let what = What { method: Method::POST, path: "entries", kind: "text/csv", etag: None, body: rows };
        let began = Instant::now();
        loop {
            let (status, answer) = self.answered(key, &what).await;
            if status == StatusCode::CONFLICT && answer["code"] == "being_made" {
                return Said::BeingMade;
            }
            assert_eq!(status, StatusCode::OK, "{key}: {answer}");
            let count = |what: &str| answer[what].as_u64().expect("a count");
            if count("refused") == 0 {
                assert_eq!(count("taken") + count("unchanged"), u64::from(all), "{key}: {answer}");
                return Said::Done(count("unchanged"));
            }
            // Trouble that passes.
            let rows = answer["rows"].as_array().expect("rows").iter();
            let codes = rows.flat_map(|row| row["errors"].as_array().expect("errors"));
            let why: Vec<&str> = codes.filter_map(|error| error["code"].as_str()).collect();
            assert!(why.iter().all(|code| *code == "row_busy"), "{key}: {answer}");
            assert!(began.elapsed() < LONGEST, "{key}: {answer}");
            pause(50).await;
        }
    }

    async fn until_done(&self, key: &str, what: &What<'_>) -> Value {
        let (status, answer) = self.answered(key, what).await;
        assert!(status.is_success(), "{} {key}: {status} {answer}", self.name);
        answer
    }

    /// The first answer that is none of a fault.
    async fn answered(&self, key: &str, what: &What<'_>) -> (StatusCode, Value) {
        let slash = if what.path.starts_with('?') { "" } else { "/" };
        let key = format!("{} {key}", self.name).replace([' ', '/'], "-");
        let began = Instant::now();
        for at in self.at.iter().cycle() {
            assert!(began.elapsed() < LONGEST, "{key}: nobody says what became of it");
            let mut request = Request::builder()
                .method(what.method.clone())
                .uri(format!("http://{at}/api/v1/competitions/{SLUG}{slash}{}", what.path))
                .header(header::AUTHORIZATION, format!("Bearer {}", self.token))
                .header(header::CONTENT_TYPE, what.kind)
                .header("idempotency-key", format!("\"{key}\""));
            if let Some(etag) = &what.etag {
                request = request.header(header::IF_MATCH, etag);
            }
            let request = request.body(what.body.to_owned().into()).expect("a request");
            match tokio::time::timeout(PATIENCE, load::send(&self.http, request)).await {
                Ok(None | Some((StatusCode::SERVICE_UNAVAILABLE, _))) | Err(_) => pause(50).await,
                Ok(Some(answer)) => return answer,
            }
        }
        unreachable!("services do not end")
    }
}

/// By the organiser's page, signed in as a browser is.
pub struct Office {
    http: Http,
    at: Vec<SocketAddr>,
    cookie: String,
    csrf: String,
}

impl Office {
    /// Signs a new organiser in, by a link from the command line.
    pub async fn open(field: &Field, at: &[SocketAddr]) -> Self {
        let (http, first) = (load::http(), at[0]);
        let link = field.done(&["account", "add", "olga@example.org", "--role", "organiser", "--competition", SLUG]);
        let (_, code) = link.trim().split_once("code=").expect("a link");
        let request = Request::post(format!("http://{first}/api/v1/session"))
            .header(header::CONTENT_TYPE, "application/json")
            .body(json!({ "code": code }).to_string().into());
        let answer = http.request(request.expect("a request")).await.expect("an answer");
        assert_eq!(answer.status(), StatusCode::CREATED);
        let cookie = answer.headers()[header::SET_COOKIE].to_str().expect("a cookie");
        let cookie = cookie.split(';').next().expect("name and value").to_owned();
        let request = Request::get(format!("http://{first}/account")).header(header::COOKIE, &cookie);
        let page = http.request(request.body(String::new().into()).expect("a request")).await.expect("an answer");
        let page = page.into_body().collect().await.expect("a page").to_bytes();
        let page = String::from_utf8_lossy(&page).into_owned();
        let (_, rest) = page.split_once(r#"name="csrf" value=""#).expect("a form");
        let csrf = rest.split('"').next().expect("a value").to_owned();
        Self { http, at: at.to_vec(), cookie, csrf }
    }

    /// Erases an athlete, as the page that shows who it is lets one do, until that is said to be done.
    pub async fn erase(&self, bib: u32) {
        let (began, bib) = (Instant::now(), bib.to_string());
        for at in self.at.iter().cycle() {
            assert!(began.elapsed() < LONGEST, "bib {bib}: nobody says what became of it");
            let whom = [("csrf", &*self.csrf), ("erase_bib", &*bib)];
            if let Some((StatusCode::OK, page)) = self.send(*at, &whom).await {
                let (_, rest) = page.split_once(r#"name="seen" value=""#).expect("who it is");
                let seen = rest.split('"').next().expect("a value");
                let sure = [("seen", seen), ("sure", "yes"), ("do", "apply")];
                match self.send(*at, &[whom.as_slice(), &sure].concat()).await {
                    Some((StatusCode::SEE_OTHER, _)) => return,
                    Some((status, page)) => panic!("bib {bib}: {status} {page}"),
                    None => {}
                }
            }
            pause(50).await;
        }
        unreachable!("services do not end")
    }

    /// Sends the form; `None`: no answer, or one that says to come again.
    async fn send(&self, at: SocketAddr, fields: &[(&str, &str)]) -> Option<(StatusCode, String)> {
        let body = form_urlencoded::Serializer::new(String::new()).extend_pairs(fields).finish();
        let request = Request::post(format!("http://{at}/organise/{SLUG}/erase"))
            .header(header::COOKIE, &self.cookie)
            .header(header::ORIGIN, format!("http://{at}"))
            .header(header::CONTENT_TYPE, "application/x-www-form-urlencoded")
            .body(body.into());
        let answer = tokio::time::timeout(PATIENCE, self.http.request(request.expect("a request"))).await.ok()?.ok()?;
        let status = answer.status();
        let page = answer.into_body().collect().await.ok()?.to_bytes();
        (status != StatusCode::SERVICE_UNAVAILABLE).then(|| (status, String::from_utf8_lossy(&page).into_owned()))
    }
}
