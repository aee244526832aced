//! Something whole, of any length, sent as it is read: never all of it in memory, and by so many readers at
//! once.

use crate::actions::{Failure, language};
use crate::app::App;
use axum::body::{Body, Bytes};
use futures_util::{StreamExt, stream};
use std::io;
use std::time::Duration;
use tokio::sync::{OwnedSemaphorePermit, mpsc};
use tokio::time::{Instant, timeout_at};

/// How long a reader may take for it: what it is read from is kept for them meanwhile.
const LONGEST: Duration = Duration::from_mins(5);

/// Something that is read in parts.
pub trait Parts: Send + 'static {
    /// The next one; `None`: that was all.
    fn next(&mut self) -> impl Future<Output = Result<Option<String>, Failure>> + Send;
}

/// All parts in their order. What goes wrong with the first two is said; after that the answer breaks off, and
/// its reader sees that it does.
///
/// # Errors
/// Those of the first two parts; busy, where there are more, and many read something whole already.
pub async fn body(app: &App, mut parts: impl Parts) -> Result<Body, Failure> {
    let Some(first) = parts.next().await? else { return Ok(Body::empty()) };
    // Most are short: then it is known how long, and nothing is kept for anybody.
    let Some(second) = parts.next().await? else { return Ok(Body::from(first)) };
    let (send, receive) = mpsc::channel(1);
    tokio::spawn(language::speaking(language::reader(), feed(parts, send, app.wholes()?)));
    let rest = stream::unfold(receive, |mut receive| async move {
        match receive.recv().await {
            Some(Part::More(part)) => Some((Ok(part), receive)),
            Some(Part::End) => None,
            // It broke off, or took too long.
            None => Some((Err(io::Error::from(io::ErrorKind::UnexpectedEof)), receive)),
        }
    });
    let head = stream::iter([first, second]).map(|part| Ok(Bytes::from(part)));
    // Whoever compresses it asks once more after the end.
    Ok(Body::from_stream(head.chain(rest).fuse()))
}

enum Part {
    More(Bytes),
    End,
}

/// Reads as its reader takes it, beside them: who takes nothing for too long keeps nothing.
async fn feed(mut parts: impl Parts, send: mpsc::Sender<Part>, _room: OwnedSemaphorePermit) {
    let until = Instant::now() + LONGEST;
    loop {
        let part = match timeout_at(until, parts.next()).await {
            Ok(Ok(Some(part))) => Part::More(part.into()),
            Ok(Ok(None)) => Part::End,
            Ok(Err(failure)) => return tracing::warn!(%failure, "an answer breaks off"),
            Err(_) => return,
        };
        let ended = matches!(part, Part::End);
        // Too late, or nobody reads any more.
        if !matches!(timeout_at(until, send.send(part)).await, Ok(Ok(()))) || ended {
            return;
        }
    }
}
