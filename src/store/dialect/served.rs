//! For tests beside the code: a database of their own on the server that the run is for
//! (`TALLYWRIGHT_TEST_DATABASE`, as `tests/postgres` prints it), and a network to it that can be silent.

use sqlx::{AssertSqlSafe, Connection, Executor, PgConnection};
use std::io::Write;
use std::sync::atomic::{AtomicU32, Ordering};
use tokio::io::{AsyncRead, AsyncReadExt, AsyncWrite, AsyncWriteExt};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::watch;

/// A database, empty when it is made.
pub(in crate::store) struct Served {
    /// Its address.
    pub(in crate::store) url: String,
    server: String,
    name: String,
}

/// A network to it.
pub(in crate::store) struct Line {
    /// The address of the database through it.
    pub(in crate::store) url: String,
    silent: watch::Sender<bool>,
}

impl Served {
    /// `None`, said aloud, where the tests are run on no server: `what` was not tried then.
    pub(in crate::store) async fn new(what: &str) -> Option<Self> {
        Self::with("", what).await
    }

    /// The same, which keeps its texts otherwise.
    pub(in crate::store) async fn of_encoding(encoding: &str) -> Option<Self> {
        let with = format!("ENCODING '{encoding}' LOCALE 'C' TEMPLATE template0");
        Self::with(&with, "no database of another encoding was tried").await
    }

    async fn with(with: &str, what: &str) -> Option<Self> {
        static NEXT: AtomicU32 = AtomicU32::new(0);
        let Some(server) = std::env::var("TALLYWRIGHT_TEST_DATABASE").ok().filter(|url| !url.is_empty()) else {
            skipped(what);
            return None;
        };
        let name = format!("tally_beside_{}_{}", std::process::id(), NEXT.fetch_add(1, Ordering::Relaxed));
        let (before, after) = server.split_once("/postgres?").expect("an address as tests/postgres prints it");
        let made = Self { url: format!("{before}/{name}?{after}"), server, name };
        made.obey(format!("CREATE DATABASE {} {with}", made.name)).await;
        Some(made)
    }

    /// The address of the database by TCP; `None`: the server does not listen to this machine.
    pub(in crate::store) async fn by_tcp(&self) -> Option<String> {
        let mut connection = PgConnection::connect(&self.server).await.expect("the server of the tests");
        let address: String =
            sqlx::query_scalar("SHOW listen_addresses").fetch_one(&mut connection).await.expect("its address");
        connection.close().await.expect("an end in order");
        address.starts_with("127.").then(|| format!("postgres://tally@{address}/{}?sslmode=disable", self.name))
    }

    /// A network to it.
    pub(in crate::store) async fn line(&self) -> Line {
        let direct = self.by_tcp().await.expect("the server of the tests listens to this machine");
        let to = direct.trim_start_matches("postgres://tally@").split('/').next().expect("an address");
        let to = format!("{to}:5432");
        let listener = TcpListener::bind(("127.0.0.1", 0)).await.expect("a free port");
        let port = listener.local_addr().expect("an address").port();
        let (silent, seen) = watch::channel(false);
        tokio::spawn(async move {
            while let Ok((client, _)) = listener.accept().await {
                let Ok(server) = TcpStream::connect(&to).await else { continue };
                let (from_client, to_client) = client.into_split();
                let (from_server, to_server) = server.into_split();
                tokio::spawn(pass(from_client, to_server, seen.clone()));
                tokio::spawn(pass(from_server, to_client, seen.clone()));
            }
        });
        Line { url: format!("postgres://tally@127.0.0.1:{port}/{}?sslmode=disable", self.name), silent }
    }

    /// Runs a text in it.
    pub(in crate::store) async fn run(&self, sql: &'static str) {
        let mut connection = PgConnection::connect(&self.url).await.expect("the server of the tests");
        connection.execute(sql).await.expect("the server obeys");
        connection.close().await.expect("an end in order");
    }

    /// Sets something for all who come to it.
    pub(in crate::store) async fn set(&self, setting: &str) {
        self.obey(format!("ALTER DATABASE {} SET {setting}", self.name)).await;
    }

    /// Takes it away.
    pub(in crate::store) async fn end(self) {
        self.obey(format!("DROP DATABASE {} WITH (FORCE)", self.name)).await;
    }

    async fn obey(&self, sql: String) {
        let mut connection = PgConnection::connect(&self.server).await.expect("the server of the tests");
        connection.execute(AssertSqlSafe(sql)).await.expect("the server obeys");
        connection.close().await.expect("an end in order");
    }
}

impl Line {
    /// Nothing comes through any more, or again, and nobody is told.
    pub(in crate::store) fn silence(&self, silent: bool) {
        self.silent.send_replace(silent);
    }
}

async fn pass(mut from: impl AsyncRead + Unpin, mut to: impl AsyncWrite + Unpin, mut silent: watch::Receiver<bool>) {
    let mut buffer = vec![0; 16_384];
    while let Ok(n @ 1..) = from.read(&mut buffer).await {
        if silent.wait_for(|silent| !silent).await.is_err() || to.write_all(&buffer[..n]).await.is_err() {
            return;
        }
    }
}

/// What was not tried because there is no server, as in `tests/faults`; in CI it is tried by the run that has one.
fn skipped(what: &str) {
    eprintln!("SKIPPED: there is no server, so {what}");
    if let Some(file) = std::env::var_os("TALLYWRIGHT_SKIPPED") {
        let file = std::fs::OpenOptions::new().create(true).append(true).open(file);
        writeln!(file.expect("a file for what is skipped"), "there is no server, so {what}").expect("it is written");
    }
}
