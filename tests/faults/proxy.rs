//! A bad network between clients and service: it delays, and cuts connections in the middle of
//! requests and of answers.

use crate::Draw;
use std::net::SocketAddr;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::time::Duration;
use tokio::io::{AsyncRead, AsyncReadExt, AsyncWrite, AsyncWriteExt};
use tokio::net::{TcpListener, TcpStream};
use tokio::task::JoinHandle;

/// A network that is bad until it is healed.
pub struct Proxy {
    /// Where clients connect.
    pub at: SocketAddr,
    state: Arc<State>,
    task: JoinHandle<()>,
}

#[derive(Default)]
struct State {
    healed: AtomicBool,
    cut: AtomicUsize,
}

impl Proxy {
    /// Passes on to `to`.
    pub async fn start(to: SocketAddr, seed: u64) -> Self {
        let listener = TcpListener::bind(("127.0.0.1", 0)).await.expect("a free port");
        let (at, state) = (listener.local_addr().expect("an address"), Arc::new(State::default()));
        let shared = Arc::clone(&state);
        let task = tokio::spawn(async move {
            let mut draw = Draw(seed);
            while let Ok((client, _)) = listener.accept().await {
                // In bytes of one direction: heads and bodies of a few requests, or part of one.
                let (up, down) = (draw.between(200, 6_000), draw.between(200, 6_000));
                let delay = Duration::from_millis(draw.between(0, 20));
                tokio::spawn(pass(client, to, [up, down], delay, Arc::clone(&shared)));
            }
        });
        Self { at, state, task }
    }

    /// From now on nothing is cut.
    pub fn heal(&self) {
        self.state.healed.store(true, Ordering::SeqCst);
    }

    /// How many connections were cut.
    pub fn cut(&self) -> usize {
        self.state.cut.load(Ordering::SeqCst)
    }
}

impl Drop for Proxy {
    fn drop(&mut self) {
        self.task.abort();
    }
}

async fn pass(mut client: TcpStream, to: SocketAddr, [up, down]: [u64; 2], delay: Duration, state: Arc<State>) {
    let Ok(mut server) = TcpStream::connect(to).await else { return };
    let (from_client, to_client) = client.split();
    let (from_server, to_server) = server.split();
    let ended = tokio::select! {
        cut = copy(from_client, to_server, up, delay, &state) => cut,
        cut = copy(from_server, to_client, down, delay, &state) => cut,
    };
    if ended == End::Cut {
        state.cut.fetch_add(1, Ordering::SeqCst);
    }
}

#[derive(PartialEq, Eq)]
enum End {
    Cut,
    Closed,
}

async fn copy(
    mut from: impl AsyncRead + Unpin,
    mut to: impl AsyncWrite + Unpin,
    most: u64,
    delay: Duration,
    state: &State,
) -> End {
    let (mut buffer, mut left) = ([0; 2_048], usize::try_from(most).unwrap_or(usize::MAX));
    loop {
        let Ok(n @ 1..) = from.read(&mut buffer).await else { return End::Closed };
        tokio::time::sleep(delay).await;
        let healed = state.healed.load(Ordering::SeqCst);
        let part = if healed { n } else { n.min(left) };
        if to.write_all(&buffer[..part]).await.is_err() {
            return End::Closed;
        }
        left -= part.min(left);
        if left == 0 && !healed {
            return End::Cut;
        }
    }
}
