//! What keeps the service answering: as many requests at once as it can hold, none for ever, and
//! a panic in one is a problem of that one alone.

use super::extract::{Accept, LARGE};
use super::problem::Problem;
use crate::words::Sentence;
use axum::body::HttpBody;
use axum::extract::Request;
use axum::response::{IntoResponse, Response};
use futures_util::FutureExt;
use http::{Method, StatusCode, Version, header};
use std::panic::AssertUnwindSafe;
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::Semaphore;

/// Requests that read, handled at once; more are told to come back.
const READS: usize = 512;
/// Requests that change something, handled at once: they wait for the writer, and while they do,
/// standings are read all the same. Some tenths of a second of its work.
const CHANGES: usize = 768;
/// Longest time a request may take, its body's arrival included.
const LONGEST: Duration = Duration::from_secs(30);
/// Longest path with query.
const LONGEST_URI: usize = 4096;

/// The largest body, in KiB.
const LARGE_KIB: u32 = 4 * 1024;
const _: () = assert!(LARGE_KIB as usize * 1024 == LARGE, "one number in two units");
/// Bodies up to so many KiB are small: all that are let in at once fit into some tens of MiB.
const SMALL_KIB: u32 = 64;
/// What the others may take together, in KiB: 64 of the largest. Files that are sent keep no score out.
const BODIES: usize = 64 * LARGE_KIB as usize;

/// Questions whether it is ready, handled at once: asked by machines, and answered whoever else is there. Whether the
/// process is there at all is answered to everybody: one that is full would be taken for one that is dead.
const PROBES: usize = 32;

/// How many requests are let in at once, readers and writers apart, and how much they may bring.
#[derive(Clone)]
pub struct Room {
    probes: Arc<Semaphore>,
    reads: Arc<Semaphore>,
    changes: Arc<Semaphore>,
    bodies: Arc<Semaphore>,
}

impl Default for Room {
    fn default() -> Self {
        let room = |size| Arc::new(Semaphore::new(size));
        Self { probes: room(PROBES), reads: room(READS), changes: room(CHANGES), bodies: room(BODIES) }
    }
}

/// Refuses a request at once where there is no room for it, before its body is read.
pub async fn shed<F: Future<Output = Response>>(
    room: &Room,
    request: Request,
    next: impl FnOnce(Request) -> F,
) -> Response {
    if request.uri().path() == "/healthz" {
        return next(request).await;
    }
    let let_in = if request.uri().path() == "/readyz" {
        room.probes.try_acquire().map(|held| (held, None))
    } else if reads(request.method()) {
        room.reads.try_acquire().map(|held| (held, None))
    } else {
        let body = room.bodies.try_acquire_many(brings(&request));
        body.and_then(|body| Ok((room.changes.try_acquire()?, Some(body))))
    };
    match let_in {
        Ok(_held) => next(request).await,
        Err(_) => Problem::unavailable(Sentence::new("busy"), 1).into_response(),
    }
}

/// How many KiB of a body to make room for: what is announced, or as much as any may have; none for a
/// small one.
fn brings(request: &Request) -> u32 {
    let announced = request.body().size_hint().upper();
    let kib = announced.map_or(LARGE_KIB, |bytes| u32::try_from(bytes.div_ceil(1024)).unwrap_or(LARGE_KIB));
    if kib <= SMALL_KIB { 0 } else { kib.min(LARGE_KIB) }
}

pub(super) fn reads(method: &Method) -> bool {
    matches!(*method, Method::GET | Method::HEAD | Method::OPTIONS)
}

/// A request that takes too long: of a change nobody can say then whether it was stored.
pub async fn hurry<F: Future<Output = Response>>(request: Request, next: impl FnOnce(Request) -> F) -> Response {
    let reads = reads(request.method());
    tokio::time::timeout(LONGEST, next(request)).await.unwrap_or_else(|_| {
        let code = if reads { "took_too_long" } else { "outcome_unknown" };
        Problem::unavailable(Sentence::new(code), 1).into_response()
    })
}

/// Who asks by HTTP/1.0 gets nothing compressed: its length is not known before its end, and there nothing else
/// says where that is.
pub fn plain_for_old(mut request: Request) -> Request {
    if is_old(&request) {
        request.headers_mut().remove(header::ACCEPT_ENCODING);
    }
    request
}

fn is_old(request: &Request) -> bool {
    request.version() < Version::HTTP_11
}

/// Refuses addresses that no route of ours can mean: too long, or with a NUL in them. And, by HTTP/1.0, what is sent
/// in parts: cut off in the middle it would look whole (RFC 9112, section 8).
pub async fn look<F: Future<Output = Response>>(request: Request, next: impl FnOnce(Request) -> F) -> Response {
    let refuse = |status, sentence| Problem::new(status, sentence).into_response();
    let address = request.uri().path_and_query().map_or("", |p| p.as_str());
    if address.len() > LONGEST_URI {
        return refuse(StatusCode::BAD_REQUEST, Sentence::new("address_long").with("most", LONGEST_URI));
    }
    if address.contains("%00") {
        return refuse(StatusCode::BAD_REQUEST, Sentence::new("nul_character"));
    }
    let is_old = is_old(&request);
    let response = next(request).await;
    if is_old && response.body().size_hint().exact().is_none() {
        return refuse(StatusCode::UPGRADE_REQUIRED, Sentence::new("only_by_http_1_1"));
    }
    response
}

/// Refuses readers of the API who take nothing that it has, before anything is done.
pub fn acceptable(request: &Request) -> Result<(), Problem> {
    Accept::read(request.headers()).best(&["application/json", "text/csv", "application/problem+json"]).map(drop)
}

/// Makes a panic while a request is handled a problem of that one alone.
pub async fn catch<F: Future<Output = Response>>(request: Request, next: impl FnOnce(Request) -> F) -> Response {
    let answered = AssertUnwindSafe(async { next(request).await }).catch_unwind().await;
    answered.unwrap_or_else(|panic| {
        let text = panic.downcast_ref::<String>().map(String::as_str).or_else(|| panic.downcast_ref::<&str>().copied());
        Problem::internal(anyhow::anyhow!("panic: {}", text.unwrap_or("without a text"))).into_response()
    })
}
