//! A `PostgreSQL` of the tests' own, as a process: started, ended in several ways, followed by a
//! standby. `tests/postgres` does the work.

use std::io::Write;
use std::net::SocketAddr;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};
use std::sync::atomic::{AtomicU32, Ordering};
use std::sync::{Arc, Mutex, PoisonError, Weak};

use sqlx::{AssertSqlSafe, Connection, PgConnection};

/// What `tests/postgres` ends with where there is no `PostgreSQL`.
const NONE_HERE: i32 = 3;
/// The database that every server has.
const FIRST: &str = "postgres";

/// A server; gone when it is dropped.
pub struct Server {
    folder: tempfile::TempDir,
    url: String,
}

/// How a server ends.
#[derive(Clone, Copy, Debug)]
pub enum End {
    /// In order: whoever is connected is sent away.
    Fast,
    /// At once, as after a fault of its own: it recovers at its next start.
    Immediate,
    /// As the machine's loss: SIGKILL to all of it.
    Killed,
}

impl Server {
    /// A new one, whose commits are on the disk; `None`, said aloud, where there is no `PostgreSQL`.
    pub fn start() -> Option<Self> {
        Self::start_with(&[])
    }

    /// The same, with its write-ahead log in this folder, which is not there yet.
    pub fn start_with_log_in(folder: &Path) -> Option<Self> {
        Self::start_with(&[&folder.display().to_string()])
    }

    fn start_with(more: &[&str]) -> Option<Self> {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let ran = script(&[&["start", &at(&folder), "durable"], more].concat());
        if ran.status.code() == Some(NONE_HERE) {
            skipped("there is no PostgreSQL here, so no fault was tried on one");
            return None;
        }
        Some(Self { url: printed(&ran), folder })
    }

    /// One that tests share which leave it as it is, while any of them has it.
    pub fn shared() -> Option<Arc<Self>> {
        static SHARED: Mutex<Weak<Server>> = Mutex::new(Weak::new());
        let mut shared = SHARED.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(server) = shared.upgrade() {
            return Some(server);
        }
        let server = Arc::new(Self::start()?);
        *shared = Arc::downgrade(&server);
        Some(server)
    }

    /// Another one that follows this one under this name.
    pub fn standby(&self, name: &str) -> Self {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let ran = script(&["standby", &at(&folder), &at(&self.folder), name]);
        Self { url: printed(&ran), folder }
    }

    /// From now on a standby takes changes.
    pub fn promote(&self) {
        printed(&script(&["promote", &at(&self.folder)]));
    }

    /// From now on it speaks TLS, as somebody of this name; the root that vouches for that. A moment may pass.
    pub fn secure(&self, name: &str) -> PathBuf {
        printed(&script(&["secure", &at(&self.folder), name])).into()
    }

    /// Where it listens beside its socket.
    pub async fn tcp(&self) -> SocketAddr {
        let mut connection = PgConnection::connect(&self.url).await.expect("the server of the tests");
        let address: String =
            sqlx::query_scalar("SHOW listen_addresses").fetch_one(&mut connection).await.expect("its address");
        connection.close().await.expect("an end in order");
        SocketAddr::new(address.parse().expect("an address of this machine"), 5432)
    }

    /// Ends it.
    pub fn end(&self, how: End) {
        let how = match how {
            End::Fast => "fast",
            End::Immediate => "immediate",
            End::Killed => "killed",
        };
        printed(&script(&["down", &at(&self.folder), how]));
    }

    /// Starts it again.
    pub fn start_again(&self) {
        printed(&script(&["up", &at(&self.folder)]));
    }

    /// The address of a new, empty database.
    pub async fn database(&self) -> String {
        self.new_database("").await
    }

    /// The same with its tables in this folder, which is not there yet.
    pub async fn database_in(&self, folder: &Path) -> String {
        let folder = folder.display();
        // It has to be of the user whom the server runs as. What the server sends is read to its end: a program
        // that is gone before is a fault to it.
        self.obey(&format!("COPY (SELECT) TO PROGRAM 'mkdir {folder} && cat > /dev/null'")).await;
        self.obey(&format!("CREATE TABLESPACE elsewhere LOCATION '{folder}'")).await;
        self.new_database("TABLESPACE elsewhere").await
    }

    async fn new_database(&self, with: &str) -> String {
        static NEXT: AtomicU32 = AtomicU32::new(0);
        let name = format!("tally_{}", NEXT.fetch_add(1, Ordering::SeqCst));
        self.obey(&format!("CREATE DATABASE {name} {with}")).await;
        self.at(&name)
    }

    /// The address of one of its databases.
    pub fn at(&self, database: &str) -> String {
        self.url.replace(&format!("/{FIRST}?"), &format!("/{database}?"))
    }

    /// Where it listens.
    pub fn socket(&self) -> PathBuf {
        let (_, folder) = self.url.split_once("host=").expect("an address as tests/postgres prints it");
        Path::new(folder).join(".s.PGSQL.5432")
    }

    /// Runs a text as its operator would.
    pub async fn obey(&self, sql: &str) {
        let mut connection = PgConnection::connect(&self.url).await.expect("the server of the tests");
        sqlx::raw_sql(AssertSqlSafe(sql)).execute(&mut connection).await.expect("the server obeys");
        connection.close().await.expect("an end in order");
    }

    /// Whether it takes connections.
    pub async fn answers(&self) -> bool {
        PgConnection::connect(&self.url).await.is_ok()
    }

    /// Asks it for a number.
    pub async fn number(&self, sql: &str) -> i64 {
        let mut connection = PgConnection::connect(&self.url).await.expect("the server of the tests");
        let number = sqlx::query_scalar(AssertSqlSafe(sql)).fetch_one(&mut connection).await.expect("a number");
        connection.close().await.expect("an end in order");
        number
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        script(&["stop", &at(&self.folder)]);
    }
}

fn at(folder: &tempfile::TempDir) -> String {
    folder.path().join("server").display().to_string()
}

fn script(args: &[&str]) -> Output {
    let script = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/postgres");
    Command::new(script).args(args).stdin(Stdio::null()).output().expect("tests/postgres runs")
}

fn printed(ran: &Output) -> String {
    assert!(ran.status.success(), "{}", String::from_utf8_lossy(&ran.stderr));
    String::from_utf8_lossy(&ran.stdout).trim().to_owned()
}

/// What was not tried because this machine cannot; under CI that fails. Of a test that passes nobody sees what it
/// prints: `tests/run` names a file for it, and says it at its end.
pub fn skipped(what: &str) {
    assert!(std::env::var_os("CI").is_none(), "{what}, and CI is to try it");
    eprintln!("SKIPPED: {what}");
    if let Some(file) = std::env::var_os("TALLYWRIGHT_SKIPPED") {
        let file = std::fs::OpenOptions::new().create(true).append(true).open(file);
        writeln!(file.expect("a file for what is skipped"), "{what}").expect("it is written down");
    }
}
