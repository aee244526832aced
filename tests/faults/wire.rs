//! The network between services and their database: one address that leads to the server that is
//! in charge. It can be slow, silent or cut, and it can be led to another server.

use std::path::PathBuf;
use std::time::Duration;
use tokio::io::{AsyncRead, AsyncReadExt, AsyncWrite, AsyncWriteExt};
use tokio::net::{TcpListener, TcpStream, UnixStream};
use tokio::sync::watch;
use tokio::task::JoinHandle;

use crate::server::Server;

/// A network.
pub struct Wire {
    port: u16,
    state: watch::Sender<State>,
    task: JoinHandle<()>,
}

#[derive(Clone)]
struct State {
    to: PathBuf,
    /// One way.
    delay: Duration,
    /// Nothing goes through, and nobody is told.
    silent: bool,
    /// Raised when all connections end.
    cuts: u32,
    /// Raised when nothing comes through those that there are any more, and nobody is told.
    losses: u32,
}

impl Wire {
    /// Leads to this server.
    pub async fn to(server: &Server) -> Self {
        let listener = TcpListener::bind(("127.0.0.1", 0)).await.expect("a free port");
        let port = listener.local_addr().expect("an address").port();
        let state = State { to: server.socket(), delay: Duration::ZERO, silent: false, cuts: 0, losses: 0 };
        let (state, seen) = watch::channel(state);
        let task = tokio::spawn(async move {
            while let Ok((client, _)) = listener.accept().await {
                tokio::spawn(pass(client, seen.clone()));
            }
        });
        Self { port, state, task }
    }

    /// The address of a database through it.
    pub fn url(&self, direct: &str) -> String {
        let (before, _) = direct.split_once('?').expect("an address as tests/postgres prints it");
        format!("{}?sslmode=disable", before.replace("@localhost/", &format!("@127.0.0.1:{}/", self.port)))
    }

    /// From now on it leads to another server; who is connected to the one before is cut off.
    pub fn lead_to(&self, server: &Server) {
        self.state.send_modify(|state| {
            state.to = server.socket();
            state.cuts += 1;
        });
    }

    /// What is sent takes so long, one way.
    pub fn delay(&self, delay: Duration) {
        self.state.send_modify(|state| state.delay = delay);
    }

    /// Nothing comes through any more, or again.
    pub fn silence(&self, silent: bool) {
        self.state.send_modify(|state| state.silent = silent);
    }

    /// Nothing ever comes through the connections that there are; new ones are let through. As where a machine goes out
    /// and another one takes its address over.
    pub fn lose(&self) {
        self.state.send_modify(|state| state.losses += 1);
    }

    /// Ends all connections; new ones are let through.
    pub fn cut(&self) {
        self.state.send_modify(|state| state.cuts += 1);
    }
}

impl Drop for Wire {
    fn drop(&mut self) {
        self.task.abort();
    }
}

async fn pass(mut client: TcpStream, mut seen: watch::Receiver<State>) {
    let (to, cuts, losses) = {
        let state = seen.borrow();
        (state.to.clone(), state.cuts, state.losses)
    };
    let (up, down) = (seen.clone(), seen.clone());
    // One who cannot be reached is seen by the connection that ends.
    let Ok(mut server) = UnixStream::connect(to).await else { return };
    let _ = client.set_nodelay(true);
    let (from_client, to_client) = client.split();
    let (from_server, to_server) = server.split();
    tokio::select! {
        () = copy(from_client, to_server, up, losses) => {}
        () = copy(from_server, to_client, down, losses) => {}
        _ = seen.wait_for(|state| state.cuts != cuts) => {}
    }
}

async fn copy(
    mut from: impl AsyncRead + Unpin,
    mut to: impl AsyncWrite + Unpin,
    mut seen: watch::Receiver<State>,
    losses: u32,
) {
    let mut buffer = vec![0; 65_536];
    loop {
        let Ok(n @ 1..) = from.read(&mut buffer).await else { return };
        let delay = seen.borrow().delay;
        if !delay.is_zero() {
            tokio::time::sleep(delay).await;
        }
        if seen.wait_for(|state| !state.silent && state.losses == losses).await.is_err()
            || to.write_all(&buffer[..n]).await.is_err()
        {
            return;
        }
    }
}
