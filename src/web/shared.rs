//! Answers that are the same for everybody: made once, compressed once, and sent again to all who ask
//! the same while they hold.
//!
//! A handler says that its answer depends on nothing but the log of one competition and the moment
//! ([`Shared`]); anything personal is out of it, as only what nobody signed in for is kept. It
//! holds while the log stands where it stood, for a second at most, or where it tells no time until the next
//! window opens or closes. After the log went on, one
//! of those who ask makes it anew and the others get the one that is there, if it is not older
//! than [`crate::config::Config::lag`]; and where changes come in all the time, it is made again no
//! more often than that takes a small part of the time. So whoever may not see an older state asks
//! with `at_least`, or as somebody: neither is answered from here.
//!
//! Bounded by bytes; what is asked for least goes first.

use super::api::reading;
use super::arrival::Arrival;
use super::extract::Accept;
use super::language;
use super::problem::Problem;
use super::sending::Sending;
use super::session::{self, Caller, Via};
use crate::actions::reader::Reader;
use crate::app::App;
use crate::standings::Mark;
use crate::words::Lang;
use axum::body::{Body, Bytes};
use axum::extract::{MatchedPath, Request};
use axum::response::{IntoResponse, Response};
use http::header::Entry;
use http::{HeaderMap, Method, StatusCode, header};
use jiff::{SignedDuration, Timestamp};
use quick_cache::sync::Cache;
use quick_cache::{DefaultHashBuilder, Weighter};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

/// Whose answers may be kept.
const ROUTES: [&str; 8] = [
    "/c/{c}",
    "/c/{c}/workouts/{w}",
    "/c/{c}/divisions/{d}",
    "/c/{c}/divisions/{d}/workouts/{w}",
    "/c/{c}/athletes/{bib}",
    "/api/v1/competitions/{competition}/divisions/{division}/standings",
    "/api/v1/competitions/{competition}/divisions/{division}/workouts/{workout}/places",
    "/api/v1/competitions/{competition}/entries/{bib}/standing",
];

/// What is asked for once, or must not be old.
const NEVER: [&str; 4] = ["at_least", "as_of", "q", "lang"];

/// Bytes kept in all.
const ROOM: u64 = 64 << 20;
/// About so many answers fit.
const ANSWERS: usize = 8 << 10;
/// The longest answer that is kept. Longer ones are sent all the same.
const LONGEST: usize = 4 << 20;
/// What an answer takes beside its body and its address: headers and their table.
const FRAME: usize = 2 << 10;

/// How long an answer holds: it tells the time, and things outside the log.
const HOLDS: SignedDuration = SignedDuration::from_secs(1);
/// From then on one of those who ask makes it anew, so that nobody has to wait.
const AHEAD: SignedDuration = SignedDuration::from_millis(700);
/// How long one waits for another who makes it.
const PATIENCE: Duration = Duration::from_secs(2);
/// Making one address anew because the log went on takes one part in so many of the time.
const PARTS: i32 = 20;

/// Says of an answer that it is the same for everybody who is not signed in. An extension of the
/// response.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Shared {
    /// Number of the competition.
    pub competition: i64,
    /// What was known when it was made, or less.
    pub mark: Mark,
    /// Where it depends on the log alone.
    pub steady: Option<Steady>,
}

/// What an answer that tells no time depends on beside the log.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Steady {
    /// The next window boundary.
    pub until: Timestamp,
    /// How often names had been forgotten: one ends before the log tells of it.
    pub forgotten: u64,
}

impl Shared {
    /// Of what a reader is about to be shown: to be taken before it is read.
    #[must_use]
    pub fn of(app: &App, reader: &Reader) -> Self {
        let board = app.board.position(reader.id).unwrap_or(0);
        let mark = Mark { epoch: reader.epoch, seq: reader.seq.min(board) };
        Self { competition: reader.id, mark, steady: None }
    }

    /// It tells no time, and nothing that is outside the log: it stays as it is until the next window boundary.
    #[must_use]
    pub fn steady(self, app: &App, reader: &Reader) -> Self {
        let until = reader.next_boundary();
        Self { steady: forgotten(app, reader.id).map(|forgotten| Steady { until, forgotten }), ..self }
    }

    /// Says it of this answer, if nobody in particular asked.
    #[must_use]
    pub fn says(self, caller: &Caller, mut response: Response) -> Response {
        if caller.via == Via::None {
            response.extensions_mut().insert(self);
        }
        response
    }
}

/// How often names of a competition have been forgotten.
fn forgotten(app: &App, competition: i64) -> Option<u64> {
    Some(app.board.names(competition)?.forgotten())
}

/// What is asked for: equal ones get equal answers.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
struct Asked {
    address: Box<str>,
    lang: Lang,
    coding: &'static str,
}

impl Asked {
    /// `None`: it is not answered from here.
    fn read(request: &Request, app: &App) -> Option<Self> {
        let headers = request.headers();
        let route = request.extensions().get::<MatchedPath>()?.as_str();
        let fits = *request.method() == Method::GET
            && ROUTES.contains(&route)
            && !headers.contains_key(header::AUTHORIZATION)
            && !session::has_cookie(headers, app);
        let address = request.uri().path_and_query()?.as_str();
        let query = request.uri().query().unwrap_or_default();
        if !fits || form_urlencoded::parse(query.as_bytes()).any(|(name, _)| NEVER.contains(&&*name)) {
            return None;
        }
        // Of the API only JSON is kept; whatever else is asked for, its handlers see to.
        if route.starts_with("/api/")
            && Accept::read(headers).best(&[reading::JSON, reading::CSV]).ok()? != reading::JSON
        {
            return None;
        }
        Some(Self { address: address.into(), lang: language::of(headers), coding: reading::coding(headers) })
    }
}

/// An answer that is kept.
struct Answer {
    headers: HeaderMap,
    body: Bytes,
    shared: Shared,
    made: Timestamp,
    /// It is not made anew sooner than this after.
    rests: SignedDuration,
    /// Whether somebody is making it anew.
    renewing: AtomicBool,
}

/// What an answer is good for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Good {
    /// For everybody.
    Yes,
    /// For all but one, who makes it anew.
    ForOthers,
    No,
}

impl Answer {
    fn good(&self, app: &App, now: Timestamp) -> Good {
        let current = app.board.mark(self.shared.competition) == Some(self.shared.mark);
        match self.shared.steady {
            Some(steady) if now >= steady.until => return Good::No,
            Some(steady) if forgotten(app, self.shared.competition) != Some(steady.forgotten) => return Good::No,
            Some(_) if current && self.made <= now => return Good::Yes,
            _ => {}
        }
        // It may have been made a moment after this one came.
        let age = now.duration_since(self.made);
        if age.abs() >= HOLDS {
            return Good::No;
        }
        let lag = app.config.lag;
        match current {
            true if age >= AHEAD && age < lag => Good::ForOthers,
            true => Good::Yes,
            false if age >= lag => Good::No,
            false if age < self.rests => Good::Yes,
            false => Good::ForOthers,
        }
    }

    /// 200, or 304 for who has it already (RFC 9110 §15.4.5: without what describes the body).
    fn send(&self, asked: &HeaderMap) -> Response {
        let tag = self.headers.get(header::ETAG).and_then(|tag| tag.to_str().ok());
        let known = tag.is_some_and(|tag| reading::has(asked, tag));
        let mut response = Response::new(if known { Body::empty() } else { Body::from(self.body.clone()) });
        *response.headers_mut() = self.headers.clone();
        if known {
            *response.status_mut() = StatusCode::NOT_MODIFIED;
            for name in [header::CONTENT_TYPE, header::CONTENT_ENCODING, header::CONTENT_LANGUAGE] {
                response.headers_mut().remove(name);
            }
        }
        response
    }
}

#[derive(Clone)]
struct Bytewise;

impl Weighter<Asked, Option<Arc<Answer>>> for Bytewise {
    fn weight(&self, asked: &Asked, answer: &Option<Arc<Answer>>) -> u64 {
        (answer.as_ref().map_or(0, |answer| answer.body.len()) + asked.address.len() + FRAME) as u64
    }
}

/// The answers that are kept; for a moment `None`: it turned out that this one may not be.
#[derive(Clone)]
pub struct Answers(Arc<Cache<Asked, Option<Arc<Answer>>, Bytewise>>, Sending);

impl Answers {
    /// None yet; what is on its way takes a part of this room, once however many are sent it.
    #[must_use]
    pub fn new(sending: Sending) -> Self {
        let (hashes, life) = (DefaultHashBuilder::default(), quick_cache::sync::DefaultLifecycle::default());
        Self(Arc::new(Cache::with(ANSWERS, ROOM, Bytewise, hashes, life)), sending)
    }

    /// Forgets this one, and none that came in its place.
    fn forget(&self, asked: &Asked, kept: &Arc<Answer>) {
        self.0.remove_if(asked, |there| there.as_ref().is_some_and(|there| Arc::ptr_eq(there, kept)));
    }
}

/// Lets the next one know that it may try, however this one ends.
struct Renewing<'a>(&'a Answer);

impl Drop for Renewing<'_> {
    fn drop(&mut self) {
        self.0.renewing.store(false, Ordering::Release);
    }
}

/// Answers from what is kept, and keeps what may be.
pub async fn answer<F: Future<Output = Response>>(
    app: &App,
    answers: &Answers,
    request: Request,
    next: impl FnOnce(Request) -> F,
) -> Response {
    let Some(asked) = Asked::read(&request, app) else { return next(request).await };
    let came = Arrival::of(request.extensions()).map_or_else(|| app.clock.now(), |arrival| arrival.at);
    if let Some(Some(kept)) = answers.0.get(&asked) {
        match kept.good(app, came) {
            Good::Yes => return kept.send(request.headers()),
            Good::ForOthers if kept.renewing.swap(true, Ordering::AcqRel) => return kept.send(request.headers()),
            Good::ForOthers => {
                let _renewing = Renewing(&kept);
                let (made, answer) = make(app, &answers.1, &asked, request, next).await;
                if answer.is_some() {
                    answers.0.insert(asked, answer);
                }
                return made;
            }
            Good::No => answers.forget(&asked, &kept),
        }
    }
    // The first of those who come at once makes it. Twice, as what was waited for may be too old by then.
    for _ in 0..2 {
        match tokio::time::timeout(PATIENCE, answers.0.get_value_or_guard_async(&asked)).await {
            // What was made after this one came is not too old for it.
            Ok(Ok(Some(kept))) if kept.made >= came || kept.good(app, came) != Good::No => {
                return kept.send(request.headers());
            }
            Ok(Ok(Some(kept))) => answers.forget(&asked, &kept),
            Ok(Err(place)) => {
                let (made, answer) = make(app, &answers.1, &asked, request, next).await;
                let keeps = answer.is_some();
                // It may be too large for its place: then it is not kept. All who wait are told in any case.
                let _ = place.insert(answer);
                if !keeps {
                    answers.0.remove_if(&asked, Option::is_none);
                }
                return made;
            }
            Ok(Ok(None)) | Err(_) => break,
        }
    }
    make(app, &answers.1, &asked, request, next).await.0
}

/// The answer for who asked, and if it may be kept, as it is kept.
async fn make<F: Future<Output = Response>>(
    app: &App,
    sending: &Sending,
    asked: &Asked,
    mut request: Request,
    next: impl FnOnce(Request) -> F,
) -> (Response, Option<Arc<Answer>>) {
    let (begun, now) = (Instant::now(), app.clock.now());
    // Made whole, whatever this one has already.
    let known = conditions(request.headers_mut());
    let response = next(request).await;
    let Some(shared) = response.extensions().get::<Shared>().copied() else { return (response, None) };
    let coded = response.headers().get(header::CONTENT_ENCODING).map_or(&b"plain"[..], |coding| coding.as_bytes());
    let fits = response.status() == StatusCode::OK
        && !response.headers().contains_key(header::SET_COOKIE)
        && coded == asked.coding.as_bytes();
    if !fits {
        return (response, None);
    }
    let is_plain = asked.coding == "plain";
    let (mut parts, body) = response.into_parts();
    let body = match axum::body::to_bytes(body, usize::MAX).await {
        Ok(body) => body,
        Err(error) => return (Problem::internal(error).into_response(), None),
    };
    parts.headers.remove(header::CONTENT_LENGTH);
    // As it was made it has its room; packed it needs one of its own, to be kept.
    let held = if is_plain { Some(body.clone()) } else { sending.hold(body.clone()) };
    let has_room = held.is_some();
    let body = held.unwrap_or(body);
    let answer = Arc::new(Answer {
        headers: parts.headers,
        body,
        shared,
        made: now,
        rests: SignedDuration::try_from(begun.elapsed()).unwrap_or(HOLDS) * PARTS,
        renewing: AtomicBool::new(false),
    });
    (answer.send(&known), (has_room && answer.body.len() <= LONGEST).then_some(answer))
}

/// Takes out what has it made only if it is new.
fn conditions(headers: &mut HeaderMap) -> HeaderMap {
    match headers.entry(header::IF_NONE_MATCH) {
        Entry::Occupied(there) => there.remove_entry_mult().1.map(|value| (header::IF_NONE_MATCH, value)).collect(),
        Entry::Vacant(_) => HeaderMap::new(),
    }
}
