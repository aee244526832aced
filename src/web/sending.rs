//! Answers on their way: each is kept until its reader has taken it, and all of them together take only so much
//! memory.
//!
//! A reader who takes a few bytes now and then keeps an answer for minutes, and there may be thousands of them. So
//! its bytes bring their room along, until the last of them is with the machine; where there is none left, more are
//! told to come again. What is sent in parts has a room of its own ([`super::api`]), and what is built in takes none.

use super::limits;
use super::problem::Problem;
use crate::words::Sentence;
use axum::body::{Body, Bytes, HttpBody};
use axum::extract::Request;
use axum::response::{IntoResponse, Response};
use std::sync::Arc;
use tokio::sync::{OwnedSemaphorePermit, Semaphore};

/// Answers up to so many bytes are let go in any case: refusals are among them, and for every connection there is
/// room for one.
const SMALL: usize = 16 << 10;
/// What the others may take together, in KiB; what is kept to be sent again ([`super::shared`]) is a part of it.
const ALL_KIB: usize = 320 << 10;

/// An extension of an answer whose bytes are there for all of its readers, for as long as the process lives.
#[derive(Clone, Copy, Debug)]
pub struct BuiltIn;

/// Room for answers on their way.
#[derive(Clone, Debug)]
pub struct Sending(Arc<Semaphore>);

impl Default for Sending {
    fn default() -> Self {
        Self(Arc::new(Semaphore::new(ALL_KIB)))
    }
}

/// Bytes, and the room that they take.
struct Held {
    bytes: Bytes,
    _room: OwnedSemaphorePermit,
}

impl AsRef<[u8]> for Held {
    fn as_ref(&self) -> &[u8] {
        &self.bytes
    }
}

impl Sending {
    /// The same bytes, which keep their room until nobody has them any more; `None`: there is none left.
    #[must_use]
    pub fn hold(&self, bytes: Bytes) -> Option<Bytes> {
        if bytes.len() <= SMALL {
            return Some(bytes);
        }
        let kib = u32::try_from(bytes.len().div_ceil(1024).min(ALL_KIB)).unwrap_or(u32::MAX);
        let room = Arc::clone(&self.0).try_acquire_many_owned(kib).ok()?;
        Some(Bytes::from_owner(Held { bytes, _room: room }))
    }
}

/// Lets an answer go where there is room for it. Of a change that may be done nobody is told so then: it is answered
/// again under its key.
pub async fn hold<F: Future<Output = Response>>(
    sending: &Sending,
    request: Request,
    next: impl FnOnce(Request) -> F,
) -> Response {
    let reads = limits::reads(request.method());
    let response = next(request).await;
    let is_large = response.body().size_hint().exact().is_some_and(|bytes| bytes > SMALL as u64);
    if !is_large || response.extensions().get::<BuiltIn>().is_some() {
        return response;
    }
    let (parts, body) = response.into_parts();
    // What has a length is there already: nothing is waited for.
    let bytes = match axum::body::to_bytes(body, usize::MAX).await {
        Ok(bytes) => bytes,
        Err(error) => return Problem::internal(error).into_response(),
    };
    let Some(held) = sending.hold(bytes) else {
        let code = if reads || !parts.status.is_success() { "busy" } else { "outcome_unknown" };
        return Problem::unavailable(Sentence::new(code), 1).into_response();
    };
    Response::from_parts(parts, Body::from(held))
}
