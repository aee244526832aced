//! Connections: so many at once, none that is held open for nothing, and an orderly end.
//!
//! A head that does not come, a connection that waits for its next request and a reader that does
//! not read, or not to the end, are given a time each; the body of a request has that of the request itself
//! ([`super::limits`]). What it does not do: TLS, which is the proxy's in front.

use axum::Router;
use axum::body::Body;
use axum::extract::ConnectInfo;
use hyper::server::conn::http1;
use hyper::service::service_fn;
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::server::graceful::GracefulShutdown;
use std::future::Future;
use std::io::ErrorKind;
use std::net::SocketAddr;
use std::sync::Arc;
use std::time::Duration;
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::{OwnedSemaphorePermit, Semaphore, watch};
use tokio::time::{Instant, sleep_until};
use tokio_io_timeout::TimeoutStream;
use tower::ServiceExt;

/// File descriptors left for the database, the log and commands.
const DESCRIPTORS_KEPT: u64 = 256;
/// What a connection keeps of a request at most before anybody has read it, its head above all; in bytes. From
/// nobody in particular: thousands of them have to fit.
pub const HEAD: usize = 32 << 10;
/// How long to wait when the machine has nothing left to accept with.
const BREATH: Duration = Duration::from_millis(100);

/// What connections are given.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Patience {
    /// Connections at once; more wait in the machine's own queue until one ends.
    pub connections: usize,
    /// From accepting, or from the last answer, until a whole head of a request is there.
    pub head: Duration,
    /// Without a byte taken by a reader who is being answered.
    pub stalled: Duration,
    /// From an answer to the next request: who takes a few bytes now and then keeps all of an answer that long.
    pub answer: Duration,
}

impl Default for Patience {
    fn default() -> Self {
        let (head, stalled, answer) = (Duration::from_secs(30), Duration::from_secs(30), Duration::from_mins(6));
        Self { connections: 8192, head, stalled, answer }
    }
}

impl Patience {
    /// The default, as far as this process may open files; asks the machine for more first.
    #[must_use]
    pub fn of_this_process() -> Self {
        let default = Self::default();
        let wanted = u64::try_from(default.connections).unwrap_or(u64::MAX).saturating_add(DESCRIPTORS_KEPT);
        let open = rlimit::increase_nofile_limit(wanted).unwrap_or(1024);
        let room = usize::try_from(open.saturating_sub(DESCRIPTORS_KEPT)).unwrap_or(usize::MAX);
        Self { connections: default.connections.min(room.max(64)), ..default }
    }
}

/// Serves until `stop` comes; then takes no new connections, answers what is in flight and
/// returns when the last of it has gone out.
pub async fn serve(listener: TcpListener, router: Router, patience: Patience, stop: impl Future<Output = ()>) {
    let room = Arc::new(Semaphore::new(patience.connections));
    let open = GracefulShutdown::new();
    tokio::pin!(stop);
    loop {
        let next = async {
            // Nobody closes the semaphore.
            let permit = Arc::clone(&room).acquire_owned().await.ok();
            (permit, listener.accept().await)
        };
        let (permit, accepted) = tokio::select! {
            biased;
            () = &mut stop => break,
            next = next => next,
        };
        match accepted {
            Ok((stream, peer)) => connect(stream, peer, &router, patience, permit, &open),
            Err(error) if is_of_one_connection(error.kind()) => {}
            Err(error) => {
                tracing::error!(%error, "connections cannot be accepted; tried again");
                tokio::time::sleep(BREATH).await;
            }
        }
    }
    drop(listener);
    open.shutdown().await;
}

/// Whether only the connection that was about to begin is gone.
fn is_of_one_connection(kind: ErrorKind) -> bool {
    matches!(kind, ErrorKind::ConnectionAborted | ErrorKind::ConnectionReset | ErrorKind::ConnectionRefused)
}

fn connect(
    stream: TcpStream,
    peer: SocketAddr,
    router: &Router,
    patience: Patience,
    permit: Option<OwnedSemaphorePermit>,
    open: &GracefulShutdown,
) {
    // Answers are written whole: nothing is gained by waiting for more to send.
    let _ = stream.set_nodelay(true);
    let mut stream = TimeoutStream::new(stream);
    stream.set_write_timeout(Some(patience.stalled));
    let router = router.clone();
    let (until, over) = watch::channel(None);
    let answer = service_fn(move |request: hyper::Request<hyper::body::Incoming>| {
        let mut request = request.map(Body::new);
        request.extensions_mut().insert(ConnectInfo(peer));
        let (answered, until) = (router.clone().oneshot(request), until.clone());
        until.send_replace(None);
        async move {
            let response = answered.await;
            until.send_replace(Some(Instant::now() + patience.answer));
            response
        }
    });
    let connection = http1::Builder::new()
        .timer(TokioTimer::new())
        .header_read_timeout(patience.head)
        .max_buf_size(HEAD)
        .serve_connection(TokioIo::new(Box::pin(stream)), answer);
    let connection = open.watch(connection);
    tokio::spawn(async move {
        // A peer that is gone, slow or no speaker of HTTP: its own affair.
        tokio::select! {
            ended = connection => if let Err(error) = ended {
                tracing::debug!(%error, "a connection ended early");
            },
            () = passed(over) => tracing::debug!("an answer was not taken in its time"),
        }
        drop(permit);
    });
}

/// Returns once this time is over; where there is none, it is waited for.
async fn passed(mut until: watch::Receiver<Option<Instant>>) {
    loop {
        let time = *until.borrow_and_update();
        let over = async {
            match time {
                Some(time) => sleep_until(time).await,
                None => std::future::pending().await,
            }
        };
        tokio::select! {
            () = over => return,
            changed = until.changed() => if changed.is_err() {
                return std::future::pending().await;
            },
        }
    }
}
