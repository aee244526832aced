//! Clients that send attested scores, each for bibs of its own, and that send again, under the
//! same key, what they got no answer to.

use crate::field::{ATHLETES, DIVISIONS, SLUG, WORKOUTS};
use crate::{Draw, until};
use bytes::Bytes;
use http::{Request, StatusCode};
use http_body_util::{BodyExt, Full};
use hyper_util::client::legacy::Client;
use hyper_util::client::legacy::connect::HttpConnector;
use hyper_util::rt::TokioExecutor;
use serde_json::{Value, json};
use std::collections::{BTreeMap, BTreeSet};
use std::net::SocketAddr;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};
use tokio::task::JoinSet;

/// How long a client waits for an answer before it sends again.
const PATIENCE: Duration = Duration::from_secs(8);

/// The figures acknowledged for each (bib, workout), in their order.
pub type Acknowledged = BTreeMap<(u32, &'static str), Vec<u64>>;

/// Clients at work.
pub struct Load {
    tasks: JoinSet<()>,
    clients: usize,
    shared: Arc<Shared>,
}

struct Shared {
    http: Http,
    /// Which load it is: its keys are its own.
    n: u64,
    at: Vec<SocketAddr>,
    /// Changes that a client sends to one of them before it goes to the next.
    stay: u64,
    token: String,
    stop: AtomicBool,
    made: Mutex<Acknowledged>,
    in_flight: Mutex<BTreeMap<(u32, &'static str), u64>>,
    again: AtomicU64,
    refused: Mutex<BTreeSet<String>>,
    acknowledged_at: Vec<AtomicU64>,
    seen: Mutex<Vec<Duration>>,
    plainly_seen: Mutex<Vec<Duration>>,
    not_seen: AtomicU64,
    away: AtomicU64,
    behind: AtomicU64,
}

/// What clients did.
pub struct Done {
    /// What they were told is stored.
    pub made: Acknowledged,
    /// How often they had to send again.
    pub again: u64,
    /// Where there are several services: from the answer of one until another showed the change,
    /// shortest first.
    pub seen: Vec<Duration>,
    /// The same of one who does not say what they wait for, and asks again until it is there.
    pub plainly_seen: Vec<Duration>,
    /// How often the connection to the other one was lost, or could not be had: it was down.
    pub not_seen: u64,
    /// How often one that was up sent them away for another reason than that it was behind.
    pub away: u64,
    /// How often it gave up waiting for the change, or said nothing: more than two seconds.
    pub behind: u64,
}

impl Done {
    /// How many changes were acknowledged.
    pub fn changes(&self) -> usize {
        self.made.values().map(Vec::len).sum()
    }
}

impl Load {
    /// Starts so many clients; each has the bibs whose remainder by that number is its own.
    pub fn start(at: SocketAddr, token: &str, clients: u32) -> Self {
        Self::start_with(&[at], u64::MAX, token, clients, |_| true)
    }

    /// The same at several services, the clients by turns: each sends its changes to one of them. Where
    /// no answer comes it goes to the next one with that change.
    pub fn start_at(at: &[SocketAddr], token: &str, clients: u32) -> Self {
        Self::start_with(at, u64::MAX, token, clients, |_| true)
    }

    /// The same, but after some changes each goes to the next one, and it looks there for what it has sent.
    pub fn start_round(at: &[SocketAddr], token: &str, clients: u32) -> Self {
        Self::start_with(at, 32, token, clients, |_| true)
    }

    /// The same for some of the bibs.
    pub fn start_for(at: SocketAddr, token: &str, clients: u32, wanted: impl Fn(u32) -> bool) -> Self {
        Self::start_with(&[at], u64::MAX, token, clients, wanted)
    }

    fn start_with(at: &[SocketAddr], stay: u64, token: &str, clients: u32, wanted: impl Fn(u32) -> bool) -> Self {
        static LOADS: AtomicU64 = AtomicU64::new(0);
        let shared = Arc::new(Shared {
            http: http(),
            n: LOADS.fetch_add(1, Ordering::SeqCst),
            at: at.to_vec(),
            stay,
            token: token.to_owned(),
            stop: AtomicBool::new(false),
            made: Mutex::default(),
            in_flight: Mutex::default(),
            again: AtomicU64::new(0),
            refused: Mutex::default(),
            acknowledged_at: at.iter().map(|_| AtomicU64::new(0)).collect(),
            seen: Mutex::default(),
            plainly_seen: Mutex::default(),
            not_seen: AtomicU64::new(0),
            away: AtomicU64::new(0),
            behind: AtomicU64::new(0),
        });
        let mut tasks = JoinSet::new();
        for client in 1..=clients {
            let bibs = (1..=ATHLETES).filter(|bib| bib % clients == client % clients && wanted(*bib)).collect();
            tasks.spawn(work(Arc::clone(&shared), client, bibs));
        }
        Self { tasks, clients: clients as usize, shared }
    }

    /// What is acknowledged, and what is on its way, at this moment.
    pub fn so_far(&self) -> (Acknowledged, BTreeMap<(u32, &'static str), u64>) {
        // The order matters: what is acknowledged in between is in both.
        let in_flight = self.shared.in_flight.lock().unwrap().clone();
        (self.shared.made.lock().unwrap().clone(), in_flight)
    }

    /// How many changes are acknowledged so far.
    pub fn changes(&self) -> usize {
        self.shared.made.lock().unwrap().values().map(Vec::len).sum()
    }

    /// Waits until more changes are acknowledged than were on their way.
    pub async fn goes_on(&self) {
        let enough = self.changes() + self.clients;
        until("changes are stored", async || self.changes() > enough).await;
    }

    /// How many this service has acknowledged, by its place among those given.
    pub fn changes_at(&self, service: usize) -> u64 {
        self.shared.acknowledged_at[service].load(Ordering::SeqCst)
    }

    /// Whether clients have been told to come again since this was asked last.
    pub fn is_refused(&self) -> bool {
        !self.refusals().is_empty()
    }

    /// The same, with what they were told.
    pub fn refusals(&self) -> BTreeSet<String> {
        std::mem::take(&mut *self.shared.refused.lock().unwrap())
    }

    /// Lets every client bring its last change to an end.
    pub async fn finish(mut self) -> Done {
        self.shared.stop.store(true, Ordering::SeqCst);
        let ends = async {
            while let Some(ended) = self.tasks.join_next().await {
                ended.expect("a client found what must not be");
            }
        };
        tokio::time::timeout(LONGEST, ends).await.expect("every client is told what became of its last change");
        let made = std::mem::take(&mut *self.shared.made.lock().unwrap());
        let sorted = |times: &Mutex<Vec<Duration>>| {
            let mut times = std::mem::take(&mut *times.lock().unwrap());
            times.sort_unstable();
            times
        };
        let (seen, plainly_seen) = (sorted(&self.shared.seen), sorted(&self.shared.plainly_seen));
        let count = |counter: &AtomicU64| counter.load(Ordering::SeqCst);
        let (again, not_seen) = (count(&self.shared.again), count(&self.shared.not_seen));
        let (away, behind) = (count(&self.shared.away), count(&self.shared.behind));
        Done { made, again, seen, plainly_seen, not_seen, away, behind }
    }
}

/// How long a client may wait for the end of one change, all faults of it included.
const LONGEST: Duration = Duration::from_mins(2);

async fn work(shared: Arc<Shared>, client: u32, bibs: Vec<u32>) {
    let mut draw = Draw(u64::from(client) * 7919);
    let mut etags: BTreeMap<(u32, &'static str), String> = BTreeMap::new();
    for n in 0_u64.. {
        if shared.stop.load(Ordering::SeqCst) {
            return;
        }
        let bib = bibs[usize::try_from(draw.between(0, bibs.len() as u64 - 1)).unwrap()];
        let workout = WORKOUTS[usize::try_from(draw.between(0, 1)).unwrap()];
        // Never the figures that are stored already: those would be no change.
        let last = shared.made.lock().unwrap().get(&(bib, workout)).and_then(|all| all.last()).copied();
        let reps = draw.between(1, 400);
        let reps = if last == Some(reps) { reps + 1 } else { reps };
        let score = (bib, workout);
        let home = usize::try_from(u64::from(client) + n / shared.stay).unwrap() % shared.at.len();
        shared.in_flight.lock().unwrap().insert(score, reps);
        let etag = shared.put(home, score, reps, etags.get(&score), &format!("{}-{client}-{n}", shared.n)).await;
        shared.made.lock().unwrap().entry(score).or_default().push(reps);
        shared.in_flight.lock().unwrap().remove(&score);
        let other = (home + 1) % shared.at.len();
        if shared.stay < u64::MAX && n % 8 == 0 {
            shared.look(other, score, reps, &etag).await;
        } else if shared.stay < u64::MAX && n % 16 == 4 {
            shared.load_again(other, score, reps).await;
        }
        etags.insert(score, etag);
    }
}

impl Shared {
    /// Sends a change until it is acknowledged; its etag. Where no answer comes, it goes elsewhere.
    async fn put(
        &self,
        mut at: usize,
        (bib, workout): (u32, &str),
        reps: u64,
        etag: Option<&String>,
        key: &str,
    ) -> String {
        let judge = if bib % 4 < 2 { "J-1" } else { "J-2" };
        let body = json!({
            "performance": reps.to_string(),
            "attestation": { "judge": judge, "how": "paper_sheet" },
        });
        let path = format!("/api/v1/competitions/{SLUG}/workouts/{workout}/scores/{bib}");
        loop {
            let mut request = Request::put(format!("http://{}{path}", self.at[at]))
                .header("authorization", format!("Bearer {}", self.token))
                .header("content-type", "application/json")
                .header("idempotency-key", format!("\"{key}\""));
            if let Some(etag) = etag {
                request = request.header("if-match", format!("\"{etag}\""));
            }
            let request = request.body(Full::from(body.to_string())).unwrap();
            match tokio::time::timeout(PATIENCE, self.send(request)).await {
                Ok(Some((status @ (StatusCode::OK | StatusCode::CREATED), answer))) => {
                    assert_eq!(answer["performance"]["text"], Value::String(written(workout, reps)), "{answer}");
                    // The same figures sent again under no key would be no change, and answered so.
                    assert_eq!(status == StatusCode::CREATED, etag.is_none(), "key {key}: {status} {answer}");
                    self.acknowledged_at[at].fetch_add(1, Ordering::SeqCst);
                    return answer["etag"].as_str().expect("an etag").to_owned();
                }
                Ok(Some((StatusCode::SERVICE_UNAVAILABLE, answer))) => {
                    let why = answer["detail"].as_str().expect("a sentence").to_owned();
                    self.refused.lock().unwrap().insert(why);
                }
                Ok(None) | Err(_) => at = (at + 1) % self.at.len(),
                Ok(Some((status, answer))) => panic!("bib {bib} in {workout}, key {key}: {status} {answer}"),
            }
            self.again.fetch_add(1, Ordering::SeqCst);
            tokio::time::sleep(Duration::from_millis(50)).await;
        }
    }

    /// Looks at another service, right after the answer: what was acknowledged has to be there.
    async fn look(&self, at: usize, (bib, workout): (u32, &str), reps: u64, etag: &str) {
        let division = DIVISIONS[usize::from(bib % 2 == 0)];
        // A tag begins with its log position.
        let seq = etag.split('-').next().unwrap_or_default();
        let path =
            format!("/api/v1/competitions/{SLUG}/divisions/{division}/standings?at_least={seq}&bib={bib}&limit=1");
        let asked = Instant::now();
        match tokio::time::timeout(PATIENCE, self.send(get(self.at[at], &path))).await {
            Ok(Some((StatusCode::OK, page))) => {
                self.seen.lock().unwrap().push(asked.elapsed());
                let mut cells = page["rows"][0]["workouts"].as_array().expect("workouts").iter();
                let cell = cells.find(|cell| cell["workout"] == workout).expect("the workout");
                assert_eq!(cell["text"], Value::String(written(workout, reps)), "older than {etag}: {page}");
            }
            Ok(Some((StatusCode::SERVICE_UNAVAILABLE, answer))) if answer["code"] == "standings_behind" => {
                self.behind.fetch_add(1, Ordering::SeqCst);
                // So long at least as it waits for it.
                self.seen.lock().unwrap().push(asked.elapsed().max(Duration::from_secs(2)));
            }
            // It says nothing at all: as long as that it is not seen.
            Err(_) => {
                self.behind.fetch_add(1, Ordering::SeqCst);
                self.seen.lock().unwrap().push(asked.elapsed());
            }
            Ok(Some((StatusCode::SERVICE_UNAVAILABLE, _))) => {
                self.away.fetch_add(1, Ordering::SeqCst);
            }
            // It is down, or was a moment ago: there is nothing to be seen.
            Ok(None) => {
                self.not_seen.fetch_add(1, Ordering::SeqCst);
            }
            Ok(Some((status, answer))) => panic!("{path}: {status} {answer}"),
        }
    }

    /// Loads the standings at another service until the change is in them, as somebody signed in who looks for their
    /// own score: nothing that they send says what they wait for, and nothing that others were shown is shown to them.
    async fn load_again(&self, at: usize, (bib, workout): (u32, &str), reps: u64) {
        let division = DIVISIONS[usize::from(bib % 2 == 0)];
        let path = format!("/api/v1/competitions/{SLUG}/divisions/{division}/standings?bib={bib}&limit=1");
        let expected = Value::String(written(workout, reps));
        let began = Instant::now();
        while began.elapsed() < PATIENCE {
            let mut request = get(self.at[at], &path);
            request.headers_mut().insert("authorization", format!("Bearer {}", self.token).parse().expect("a header"));
            match tokio::time::timeout(PATIENCE, self.send(request)).await {
                Ok(Some((StatusCode::OK, page))) => {
                    let mut cells = page["rows"][0]["workouts"].as_array().into_iter().flatten();
                    // Nobody else sends anything for this bib.
                    if cells.any(|cell| cell["workout"] == workout && cell["text"] == expected) {
                        break;
                    }
                }
                Ok(Some((StatusCode::SERVICE_UNAVAILABLE, _))) | Err(_) => {}
                Ok(None) => {
                    self.not_seen.fetch_add(1, Ordering::SeqCst);
                    return;
                }
                Ok(Some((status, answer))) => panic!("{path}: {status} {answer}"),
            }
            tokio::time::sleep(Duration::from_millis(20)).await;
        }
        self.plainly_seen.lock().unwrap().push(began.elapsed());
    }

    async fn send(&self, request: Request<Full<Bytes>>) -> Option<(StatusCode, Value)> {
        send(&self.http, request).await
    }
}

/// A client of HTTP.
pub type Http = Client<HttpConnector, Full<Bytes>>;

/// A new one.
pub fn http() -> Http {
    Client::builder(TokioExecutor::new()).build_http()
}

/// A question without a name.
pub fn get(at: SocketAddr, path: &str) -> Request<Full<Bytes>> {
    Request::get(format!("http://{at}{path}")).body(Full::default()).unwrap()
}

/// `None`: the connection was lost before the whole answer was there.
pub async fn send(http: &Http, request: Request<Full<Bytes>>) -> Option<(StatusCode, Value)> {
    let answer = http.request(request).await.ok()?;
    let status = answer.status();
    let body = answer.into_body().collect().await.ok()?.to_bytes();
    Some((status, serde_json::from_slice(&body).unwrap_or_default()))
}

/// The canonical form of a total.
pub fn written(workout: &str, reps: u64) -> String {
    if workout == "w1" { format!("{}+{}", reps / 32, reps % 32) } else { format!("{reps} reps") }
}

/// Back from [`written`].
pub fn figures_of(workout: &str, text: &str) -> u64 {
    let number = |text: &str| text.parse::<u64>().ok();
    let reps = match text.split_once('+') {
        Some((rounds, rest)) => number(rounds).zip(number(rest)).map(|(rounds, rest)| rounds * 32 + rest),
        None => text.strip_suffix(" reps").and_then(number),
    };
    reps.filter(|reps| written(workout, *reps) == text).unwrap_or_else(|| panic!("{text} in {workout}"))
}
