//! What is stored outside the log: accounts with a role, sessions, codes for athletes, proposals of a gym and its
//! heats. Whatever was acknowledged is looked for again, at every service.

use crate::field::{ATHLETES, SLUG};
use crate::load::{self, Http};
use crate::pause;
use http::{HeaderMap, Method, Request, StatusCode, header};
use http_body_util::BodyExt;
use serde_json::{Value, json};
use std::net::SocketAddr;
use std::time::{Duration, Instant};
use tokio_util::sync::CancellationToken;

/// How long an answer is waited for.
const PATIENCE: Duration = Duration::from_secs(10);
/// What became of a change is told within this time, all faults included.
const LONGEST: Duration = Duration::from_mins(2);
/// As many proposals as a list has, and some to spare.
const MOST: u32 = 150;
/// Nobody comes to this gym but those of the field.
const GYM: &str = "slipway";

/// Somebody who does all that, at one service after the other.
pub struct Aside {
    http: Http,
    at: Vec<SocketAddr>,
    token: String,
}

/// What was acknowledged.
#[derive(Default)]
pub struct Kept {
    people: Vec<Person>,
    /// The session that makes heats, and how often they were made at least.
    heats: Option<(String, u64)>,
}

/// A helper, whom the gym proposes as a judge too.
struct Person {
    account: u64,
    email: String,
    /// `None`: the answer with the link was lost, or the one with the session.
    cookie: Option<String>,
    proposal: u64,
    bib: u32,
    /// As it was made last; `None`: somebody else's turn has come to this bib.
    code: Option<String>,
}

type Told = (StatusCode, HeaderMap, String);

impl Aside {
    pub fn new(at: &[SocketAddr], token: &str) -> Self {
        Self { http: load::http(), at: at.to_vec(), token: token.to_owned() }
    }

    /// Goes on until it is told to stop.
    pub async fn work(self, stop: CancellationToken) -> (Self, Kept) {
        let mut kept = Kept::default();
        for n in 0.. {
            if stop.is_cancelled() {
                break;
            }
            if n < MOST {
                let person = self.person(n).await;
                if kept.heats.is_none() {
                    kept.heats = person.cookie.clone().map(|cookie| (cookie, 0));
                }
                for before in kept.people.iter_mut().filter(|before| before.bib == person.bib) {
                    before.code = None;
                }
                kept.people.push(person);
            }
            if let Some((cookie, made)) = &mut kept.heats {
                *made = self.heats(cookie).await;
            }
            pause(100).await;
        }
        (self, kept)
    }

    async fn person(&self, n: u32) -> Person {
        let email = format!("helper-{n}@example.org");
        let roles = json!([{ "role": "staff", "competition": SLUG, "gym": GYM }]);
        let invited = self.done(Method::POST, "accounts", &json!({ "email": email, "roles": roles })).await;
        let cookie = match invited["link"].as_str().and_then(|link| link.split_once("code=")) {
            Some((_, code)) => self.session(code).await,
            None => None,
        };
        let judge = json!({
            "kind": "judge", "name": format!("Judge No{n}"), "code": format!("P-{n}"),
            "valid_from": "2025-01-01", "valid_to": "2099-12-31",
        });
        let gym = format!("competitions/{SLUG}/gyms/{GYM}");
        let proposed = self.done(Method::POST, &format!("{gym}/proposals"), &judge).await;
        let bib = 4 * (n % (ATHLETES / 4)) + 2;
        let codes = self.done(Method::POST, &format!("{gym}/claim-codes"), &json!({ "bibs": [bib] })).await;
        Person {
            account: invited["account"].as_u64().expect("a number"),
            email,
            cookie,
            proposal: proposed["id"].as_u64().expect("a number"),
            bib,
            code: Some(codes[0]["code"].as_str().expect("a code").to_owned()),
        }
    }

    /// Signs in by a link, which works once: where the answer is lost, so is the session.
    async fn session(&self, code: &str) -> Option<String> {
        let body = json!({ "code": code }).to_string();
        let (status, headers, text) =
            self.answered(Method::POST, "/api/v1/session", None, "application/json", &body).await;
        assert!(matches!(status, StatusCode::CREATED | StatusCode::UNAUTHORIZED), "{status} {text}");
        let cookie = headers.get(header::SET_COOKIE)?.to_str().expect("a cookie").split(';').next()?;
        (status == StatusCode::CREATED).then(|| cookie.to_owned())
    }

    /// Makes the gym's heats anew; which time it was at least.
    async fn heats(&self, cookie: &str) -> u64 {
        let path = format!("/desk/{SLUG}/{GYM}/heats/w1");
        loop {
            let page = self.page(&path, cookie).await;
            let (csrf, version) = (field(&page, "csrf"), field(&page, "version"));
            let made = version.parse::<u64>().expect("a number") + 1;
            let form = format!(
                "csrf={csrf}&do=make&version={version}&sure=yes&lanes={}&minutes=20&start=2050-01-01T11:00&judging=none",
                4 + made % 5
            );
            let kind = "application/x-www-form-urlencoded";
            let (status, _, text) = self.answered(Method::POST, &path, Some(cookie), kind, &form).await;
            match status {
                StatusCode::SEE_OTHER => return made,
                // Whose answer was lost.
                StatusCode::CONFLICT => {}
                other => panic!("{other}: {text}"),
            }
        }
    }

    async fn page(&self, path: &str, cookie: &str) -> String {
        let (status, _, page) = self.answered(Method::GET, path, Some(cookie), "text/plain", "").await;
        assert_eq!(status, StatusCode::OK, "{path}: {page}");
        page
    }

    async fn done(&self, method: Method, path: &str, body: &Value) -> Value {
        let path = format!("/api/v1/{path}");
        let (status, _, text) = self.answered(method, &path, None, "application/json", &body.to_string()).await;
        assert!(status.is_success(), "{path}: {status} {text}");
        serde_json::from_str(&text).expect("an answer")
    }

    /// The first answer that is none of a fault.
    async fn answered(&self, method: Method, path: &str, cookie: Option<&str>, kind: &str, body: &str) -> Told {
        let mut began = Instant::now();
        for at in self.at.iter().cycle() {
            assert!(began.elapsed() < LONGEST, "{path}: nobody says what became of it");
            let request = Request::builder()
                .method(method.clone())
                .uri(format!("http://{at}{path}"))
                .header(header::ORIGIN, format!("http://{at}"))
                .header(header::CONTENT_TYPE, kind);
            let request = match cookie {
                Some(cookie) => request.header(header::COOKIE, cookie),
                None if path == "/api/v1/session" => request,
                None => request.header(header::AUTHORIZATION, format!("Bearer {}", self.token)),
            };
            let request = request.body(body.to_owned().into()).expect("a request");
            let asked = async {
                let (parts, body) = self.http.request(request).await.ok()?.into_parts();
                let body = body.collect().await.ok()?.to_bytes();
                Some((parts.status, parts.headers, String::from_utf8_lossy(&body).into_owned()))
            };
            match tokio::time::timeout(PATIENCE, asked).await {
                Ok(None | Some((StatusCode::SERVICE_UNAVAILABLE, ..))) | Err(_) => pause(50).await,
                // All of these people come from one address, and faster than people do.
                Ok(Some((StatusCode::TOO_MANY_REQUESTS, headers, _))) => {
                    let wait =
                        headers.get(header::RETRY_AFTER).and_then(|wait| wait.to_str().ok()?.parse::<u64>().ok());
                    pause(1000 * wait.expect("it says when to come again")).await;
                    began = Instant::now();
                }
                Ok(Some(answer)) => return answer,
            }
        }
        unreachable!("services do not end")
    }

    /// Whether all of it is there, at every service; how many people.
    pub async fn look_again(self, kept: &Kept) -> usize {
        for at in &self.at {
            let here = Self::new(&[*at], &self.token);
            here.has(kept).await;
        }
        // What was handed out last is good for what it was made for.
        if let Some((person, code)) = kept.people.iter().rev().find_map(|person| Some((person, person.code.as_ref()?)))
        {
            let claim = json!({
                "competition": SLUG, "bib": person.bib, "code": code,
                "email": "athlete@example.org", "password": "three old oars by the wall",
            });
            self.done(Method::POST, "claims", &claim).await;
        }
        kept.people.len()
    }

    async fn has(&self, kept: &Kept) {
        let get = async |path: &str| {
            let (status, _, text) =
                self.answered(Method::GET, &format!("/api/v1/{path}"), None, "text/plain", "").await;
            assert_eq!(status, StatusCode::OK, "{path}: {text}");
            serde_json::from_str::<Vec<Value>>(&text).expect("a list")
        };
        let gym = format!("competitions/{SLUG}/gyms/{GYM}");
        let roles = get(&format!("competitions/{SLUG}/roles")).await;
        let proposals = get(&format!("{gym}/proposals")).await;
        let codes = get(&format!("{gym}/claim-codes")).await;
        for person in &kept.people {
            let is_theirs = |role: &&Value| role["account"] == person.account && role["email"] == *person.email;
            let own = roles.iter().filter(is_theirs).filter(|role| role["role"]["gym"] == GYM).count();
            assert_eq!(own, 1, "the role of {}", person.email);
            assert!(proposals.iter().any(|one| one["id"] == person.proposal), "the proposal {}", person.proposal);
            let has_code = |row: &Value| row["bib"] == person.bib && !row["made_at"].is_null();
            assert!(codes.iter().any(has_code), "the code of {}", person.bib);
            if let Some(cookie) = &person.cookie {
                self.page("/account", cookie).await;
            }
        }
        if let Some((cookie, made)) = &kept.heats {
            let version = field(&self.page(&format!("/desk/{SLUG}/{GYM}/heats/w1"), cookie).await, "version");
            assert!(version.parse::<u64>().expect("a number") >= *made, "{version}, made {made} times");
        }
    }
}

/// The value of a hidden field.
fn field(page: &str, name: &str) -> String {
    let (_, rest) = page.split_once(&format!(r#"name="{name}" value=""#)).unwrap_or_else(|| panic!("{name} in {page}"));
    rest.split('"').next().expect("a value").to_owned()
}
