//! Something whole, of any length, sent as it is read: never all of it in memory, and by so many readers at
//! once.
//!
//! Where it breaks off its end is missing (RFC 9112, section 7.1: the last chunk), so that nobody takes a part for
//! the whole. Whoever asks by HTTP/1.0 could not tell, and is refused (`limits::look`).

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
/// Those of the first two parts; busy, where many begin, or where there are more and many read something whole already.
pub async fn body(app: &App, mut parts: impl Parts) -> Result<Body, Failure> {
    let turn = app.beginning().await?;
    let Some(first) = parts.next().await? else { return Ok(Body::empty()) };
    // Most are short: then it is known how long, and nothing is kept for anybody.
    let Some(second) = parts.next().await? else { return Ok(Body::from(first)) };
    drop(turn);
    Ok(in_parts([first, second], parts, app.wholes()?, LONGEST))
}

/// These and all that follow, for as long as `longest`. `room`: given back when the last is on its way, nobody reads
/// any more, or it takes longer.
fn in_parts(head: [String; 2], parts: impl Parts, room: OwnedSemaphorePermit, longest: Duration) -> Body {
    let (send, receive) = mpsc::channel(1);
    tokio::spawn(language::speaking(language::reader(), feed(parts, send, room, Instant::now() + longest)));
    let rest = stream::unfold(Some(receive), |receive| async move {
        let mut receive = receive?;
        match receive.recv().await {
            Some(Part::More(part)) => Some((Ok(part), Some(receive))),
            Some(Part::End) => None,
            // It broke off, or took too long; said once.
            None => Some((Err(io::Error::from(io::ErrorKind::UnexpectedEof)), None)),
        }
    });
    let head = stream::iter(head).map(|part| Ok(Bytes::from(part)));
    // Whoever compresses it asks once more after the end.
    Body::from_stream(head.chain(rest).fuse())
}

enum Part {
    More(Bytes),
    End,
}

/// Reads as its reader takes it, beside them: who takes nothing for too long keeps nothing.
async fn feed(mut parts: impl Parts, send: mpsc::Sender<Part>, _room: OwnedSemaphorePermit, until: Instant) {
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::web::listen::{Patience, serve};
    use axum::Router;
    use axum::body::BodyDataStream;
    use axum::routing::get;
    use std::sync::Arc;
    use tokio::io::{AsyncReadExt, AsyncWriteExt};
    use tokio::net::{TcpListener, TcpStream};
    use tokio::sync::Semaphore;
    use tokio_util::sync::CancellationToken;
    use tower_http::compression::CompressionLayer;

    /// So many parts, and then the end, or trouble; without a number there is always one more.
    struct Counted {
        left: Option<usize>,
        trouble: bool,
    }

    impl Parts for Counted {
        async fn next(&mut self) -> Result<Option<String>, Failure> {
            match &mut self.left {
                Some(0) if self.trouble => Err(Failure::Unavailable),
                Some(0) => Ok(None),
                Some(left) => {
                    *left -= 1;
                    Ok(Some("a row of it\n".to_owned()))
                }
                None => Ok(Some("a row of it\n".to_owned())),
            }
        }
    }

    fn read(parts: Counted, room: &Arc<Semaphore>, longest: Duration) -> BodyDataStream {
        let room = Arc::clone(room).try_acquire_owned().expect("room for one");
        in_parts(["first,".to_owned(), "second,".to_owned()], parts, room, longest).into_data_stream()
    }

    #[tokio::test]
    async fn all_parts_come_in_their_order_and_then_the_end() {
        let room = Arc::new(Semaphore::new(1));
        let mut body = read(Counted { left: Some(3), trouble: false }, &room, LONGEST);
        let mut all = String::new();
        while let Some(part) = body.next().await {
            all.push_str(std::str::from_utf8(&part.expect("it goes well")).expect("text"));
        }
        assert_eq!(all, "first,second,a row of it\na row of it\na row of it\n");
        let _given_back = room.acquire().await.expect("open");
    }

    #[tokio::test]
    async fn what_goes_wrong_in_the_middle_is_no_end() {
        let room = Arc::new(Semaphore::new(1));
        let parts: Vec<_> = read(Counted { left: Some(3), trouble: true }, &room, LONGEST).take(100).collect().await;
        assert_eq!(parts.iter().map(Result::is_ok).collect::<Vec<_>>(), [true, true, true, true, true, false]);
        let _given_back = room.acquire().await.expect("open");
    }

    #[tokio::test]
    async fn who_takes_too_long_makes_room_and_is_not_told_that_it_was_all() {
        let room = Arc::new(Semaphore::new(1));
        let mut body = read(Counted { left: None, trouble: false }, &room, Duration::from_secs(1));
        for _ in 0..3 {
            assert!(body.next().await.expect("a part").is_ok());
        }
        // What it is read from is kept for them as long as that.
        assert_eq!(room.available_permits(), 0);
        let given_back = timeout_at(Instant::now() + Duration::from_secs(20), room.acquire()).await;
        drop(given_back.expect("room again").expect("open"));
        let rest: Vec<_> = body.take(100).collect().await;
        let (last, before) = rest.split_last().expect("an end");
        assert!(last.is_err() && before.len() <= 1 && before.iter().all(Result::is_ok), "{rest:?}");
    }

    /// What goes over the wire, until it is closed.
    async fn sent(parts: usize, trouble: bool, coding: &str) -> Vec<u8> {
        let whole = move || async move {
            let room = Arc::new(Semaphore::new(1)).try_acquire_owned().expect("room for one");
            let head = ["first,".to_owned(), "second,".to_owned()];
            in_parts(head, Counted { left: Some(parts), trouble }, room, LONGEST)
        };
        let router = Router::new().route("/", get(whole)).layer(CompressionLayer::new());
        let listener = TcpListener::bind(("127.0.0.1", 0)).await.expect("a free port");
        let (at, stop) = (listener.local_addr().expect("an address"), CancellationToken::new());
        tokio::spawn(serve(listener, router, Patience::default(), stop.clone().cancelled_owned()));
        let mut stream = TcpStream::connect(at).await.expect("it listens");
        let head = format!("GET / HTTP/1.1\r\nhost: a\r\naccept-encoding: {coding}\r\nconnection: close\r\n\r\n");
        stream.write_all(head.as_bytes()).await.expect("it reads");
        let mut all = Vec::new();
        // A reset is an end as well.
        let _ = stream.read_to_end(&mut all).await;
        stop.cancel();
        all
    }

    /// RFC 9112, section 8: a chunked message without its last chunk is incomplete.
    #[tokio::test]
    async fn a_broken_answer_is_told_from_a_whole_one_on_the_wire() {
        for coding in ["identity", "gzip", "br"] {
            let whole = sent(40, false, coding).await;
            let broken = sent(40, true, coding).await;
            let head = String::from_utf8_lossy(&whole).to_lowercase();
            assert!(head.starts_with("http/1.1 200") && head.contains("transfer-encoding: chunked"), "{head}");
            assert_eq!(head.contains("content-encoding"), coding != "identity");
            // What is little may be held back while it is compressed: then there is no answer at all.
            let begun = String::from_utf8_lossy(&broken).to_lowercase();
            assert!(begun.starts_with("http/1.1 200") || (begun.is_empty() && coding != "identity"), "{begun}");
            assert!(whole.ends_with(b"\r\n0\r\n\r\n"), "{coding}: {whole:?}");
            assert!(!broken.ends_with(b"\r\n0\r\n\r\n"), "{coding}: {broken:?}");
        }
    }
}
