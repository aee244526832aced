//! Something whole, of any length, sent as it is read: never all of it in memory.

use crate::actions::Failure;
use axum::body::{Body, Bytes};
use futures_util::{StreamExt, stream};
use std::io;
use std::time::{Duration, Instant};

/// How long a reader may take for it: what it is read from is kept for them meanwhile.
const LONGEST: Duration = Duration::from_mins(5);

/// Something that is read in parts.
pub trait Parts: Send + 'static {
    /// The next one; `None`: that was all.
    fn next(&mut self) -> impl Future<Output = Result<Option<String>, Failure>> + Send;
}

/// All parts in their order. What goes wrong with the first is said; after that the answer breaks off, and its
/// reader sees that it does.
///
/// # Errors
/// Those of the first part.
pub async fn body(mut parts: impl Parts) -> Result<Body, Failure> {
    let Some(first) = parts.next().await? else { return Ok(Body::empty()) };
    // Most are short: then it is known how long.
    let Some(second) = parts.next().await? else { return Ok(Body::from(first)) };
    let began = Instant::now();
    let rest = stream::try_unfold(parts, move |mut parts| async move {
        if began.elapsed() > LONGEST {
            return Err(io::Error::from(io::ErrorKind::TimedOut));
        }
        match parts.next().await {
            Ok(part) => Ok(part.map(|part| (Bytes::from(part), parts))),
            Err(failure) => {
                tracing::warn!(%failure, "an answer breaks off");
                Err(io::Error::other(failure))
            }
        }
    });
    let head = stream::iter([first, second]).map(|part| Ok(Bytes::from(part)));
    Ok(Body::from_stream(head.chain(rest)))
}
