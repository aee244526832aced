//! A database of its own for each test, of the engine that the run is for.
//!
//! Without more a file in a folder that goes away. Where `TALLYWRIGHT_TEST_DATABASE` is the address
//! of a `PostgreSQL` server (`tests/postgres start` makes one), a database there, copied from one that
//! has all tables, and dropped at the end.

use sha2::Digest;
use sqlx::sqlite::{SqliteConnectOptions, SqliteConnection};
use sqlx::{
    AssertSqlSafe, Column, ConnectOptions, Connection, Executor, PgConnection, Row, SqlSafeStr, Statement, TypeInfo,
};
use std::path::PathBuf;
use std::sync::OnceLock;
use std::sync::atomic::{AtomicU32, Ordering};
use tallywright::store::Store;

/// A database, and a folder for files.
pub struct Database {
    /// Its address.
    pub url: String,
    folder: tempfile::TempDir,
    server: Option<Server>,
}

/// A connection that goes round everything.
pub enum Raw {
    Sqlite(SqliteConnection),
    Postgres(PgConnection),
}

impl Database {
    /// An empty one. No tables yet where there is a file; on a server they are there.
    pub fn new() -> Self {
        match Server::asked() {
            Some(server) => {
                let name = fresh();
                server.run(format!("CREATE DATABASE {name} TEMPLATE {}", template(&server)));
                Self { url: server.at(&name), folder: folder(), server: Some(server) }
            }
            None => Self::file(),
        }
    }

    /// A file, whatever the run is for.
    pub fn file() -> Self {
        Self::file_in(folder())
    }

    /// A file in this folder.
    pub fn file_in(folder: tempfile::TempDir) -> Self {
        let url = format!("sqlite://{}", folder.path().join("tally.db").display());
        Self { url, folder, server: None }
    }

    /// What is at this address, whatever the run is for; it is left there.
    pub fn at(url: String) -> Self {
        Self { url, folder: folder(), server: None }
    }

    /// Without even tables, on the same engine.
    pub fn bare() -> Self {
        let made = Self::new();
        if let Some(server) = &made.server {
            let name = made.name();
            server.run(format!("DROP DATABASE {name}"));
            server.run(format!("CREATE DATABASE {name}"));
        }
        made
    }

    /// A copy of this one, to which nobody may be connected.
    pub fn copy(&self) -> Self {
        if let Some(server) = &self.server {
            let name = fresh();
            server.run(format!("CREATE DATABASE {name} TEMPLATE {}", self.name()));
            return Self { url: server.at(&name), folder: folder(), server: Some(server.clone()) };
        }
        let copy = Self::file();
        std::fs::copy(self.beside("tally.db"), copy.beside("tally.db")).expect("a copy");
        copy
    }

    /// Whether the run is for a server.
    pub fn is_served(&self) -> bool {
        self.server.is_some()
    }

    /// On a server: keeps everybody out and cuts who is in, or lets them in again.
    pub fn shut(&self, shut: bool) {
        let (server, name) = (self.server.as_ref().expect("a server"), self.name());
        server.run(format!("ALTER DATABASE {name} WITH ALLOW_CONNECTIONS {}", !shut));
        if shut {
            server.run(format!("SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = '{name}'"));
        }
    }

    /// A file beside the database.
    pub fn beside(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    /// All that it holds: of a file every byte, free pages and what stands beside it too; of a server
    /// the rows.
    pub fn held(&self) -> Vec<Vec<u8>> {
        if self.server.is_none() {
            let files = ["tally.db", "tally.db-wal", "tally.db-shm"].map(|name| self.beside(name));
            return files.iter().filter_map(|file| std::fs::read(file).ok()).collect();
        }
        let mut held = vec!["SELECT convert_from(bytes, 'UTF8') FROM records".to_owned()];
        beside(async || {
            let mut raw = self.raw().await;
            let tables = "SELECT tablename::text FROM pg_tables WHERE schemaname = current_schema()";
            let tables = raw.rows(tables).await.into_iter().flatten().flatten();
            held.extend(tables.map(|table| format!("SELECT t::text FROM {table} t")));
            for sql in &mut held {
                *sql = raw.rows(sql).await.into_iter().flatten().flatten().collect::<Vec<_>>().join("\n");
            }
        });
        held.into_iter().map(String::into_bytes).collect()
    }

    /// Goes round everything.
    pub async fn raw(&self) -> Raw {
        Raw::open(&self.url).await
    }

    fn name(&self) -> &str {
        name(&self.url)
    }
}

impl Drop for Database {
    fn drop(&mut self) {
        if let Some(server) = &self.server {
            server.run(format!("DROP DATABASE IF EXISTS {} WITH (FORCE)", self.name()));
        }
    }
}

impl Raw {
    /// A connection to this database.
    pub async fn open(url: &str) -> Self {
        match url.strip_prefix("sqlite://") {
            Some(path) => Self::Sqlite(SqliteConnectOptions::new().filename(path).connect().await.expect("a file")),
            None => Self::Postgres(PgConnection::connect(url).await.expect("a server")),
        }
    }

    /// The same; a file is made if it is not there.
    pub async fn create(url: &str) -> Self {
        match url.strip_prefix("sqlite://") {
            Some(path) => {
                let file = SqliteConnectOptions::new().filename(path).create_if_missing(true);
                Self::Sqlite(file.connect().await.expect("a file"))
            }
            None => Self::open(url).await,
        }
    }

    /// Runs texts; how many rows the last changed.
    pub async fn run(&mut self, sql: &str) -> Result<u64, sqlx::Error> {
        let sql = AssertSqlSafe(sql.to_owned());
        match self {
            Self::Sqlite(c) => c.execute(sqlx::raw_sql(sql)).await.map(|done| done.rows_affected()),
            Self::Postgres(c) => c.execute(sqlx::raw_sql(sql)).await.map(|done| done.rows_affected()),
        }
    }

    /// One number.
    pub async fn number(&mut self, sql: &str) -> i64 {
        let sql = AssertSqlSafe(sql.to_owned());
        match self {
            Self::Sqlite(c) => sqlx::query_scalar(sql).fetch_one(c).await,
            Self::Postgres(c) => sqlx::query_scalar(sql).fetch_one(c).await,
        }
        .expect("a number")
    }

    /// Ends it: a file is left with nothing beside it.
    pub async fn close(self) {
        match self {
            Self::Sqlite(c) => c.close().await,
            Self::Postgres(c) => c.close().await,
        }
        .expect("an end in order");
    }

    /// How many values a text names, and the types of its columns.
    pub async fn prepare(&mut self, sql: &'static str) -> Result<(usize, Vec<String>), sqlx::Error> {
        let sql = AssertSqlSafe(sql).into_sql_str();
        match self {
            Self::Sqlite(c) => c.prepare(sql).await.map(|found| shape(&found)),
            Self::Postgres(c) => c.prepare(sql).await.map(|found| shape(&found)),
        }
    }

    /// Rows as texts, one after the other.
    pub async fn rows(&mut self, sql: &str) -> Vec<Vec<Option<String>>> {
        let sql = AssertSqlSafe(sql.to_owned());
        match self {
            Self::Sqlite(c) => {
                let rows = sqlx::query(sql).fetch_all(c).await.expect("rows");
                rows.iter().map(|row| (0..row.len()).map(|n| row.get(n)).collect()).collect()
            }
            Self::Postgres(c) => {
                let rows = sqlx::query(sql).fetch_all(c).await.expect("rows");
                rows.iter().map(|row| (0..row.len()).map(|n| row.get(n)).collect()).collect()
            }
        }
    }
}

/// A server on which databases may be made.
#[derive(Clone)]
struct Server(String);

impl Server {
    fn asked() -> Option<Self> {
        std::env::var("TALLYWRIGHT_TEST_DATABASE").ok().filter(|url| !url.is_empty()).map(Self)
    }

    /// The address of another database of it.
    fn at(&self, database: &str) -> String {
        let (before, after) = self.0.split_once("/postgres?").expect("an address as tests/postgres prints it");
        format!("{before}/{database}?{after}")
    }

    /// Runs a text to its end, on a thread of its own: there may be a runtime here already, or none.
    fn run(&self, sql: String) {
        beside(async || {
            let mut connection = PgConnection::connect(&self.0).await.expect("the server of the tests");
            obey(&mut connection, sql).await;
            connection.close().await.expect("an end in order");
        });
    }
}

fn shape<S: Statement>(found: &S) -> (usize, Vec<String>) {
    let values = found.parameters().map_or(0, |p| p.either(<[_]>::len, |n| n));
    (values, found.columns().iter().map(|column| column.type_info().name().to_owned()).collect())
}

fn folder() -> tempfile::TempDir {
    tempfile::tempdir().expect("a folder for temporary files")
}

/// A name that no other test has.
fn fresh() -> String {
    static NEXT: AtomicU32 = AtomicU32::new(0);
    format!("tally_{}_{}", std::process::id(), NEXT.fetch_add(1, Ordering::SeqCst))
}

fn beside(work: impl AsyncFnOnce() + Send) {
    let runtime = || tokio::runtime::Builder::new_current_thread().enable_all().build().expect("a runtime");
    std::thread::scope(|scope| scope.spawn(|| runtime().block_on(work())).join().expect("the work is done"));
}

async fn obey(connection: &mut PgConnection, sql: String) {
    connection.execute(AssertSqlSafe(sql)).await.expect("the server obeys");
}

fn name(url: &str) -> &str {
    let (before, _) = url.split_once('?').expect("an address as tests/postgres prints it");
    before.rsplit_once('/').expect("a name").1
}

/// A database with all tables of this state of the migrations, made once on a server.
fn template(server: &Server) -> &'static str {
    static NAME: OnceLock<String> = OnceLock::new();
    NAME.get_or_init(|| {
        let name = format!("tally_empty_{}", digest());
        beside(async || {
            let mut connection = PgConnection::connect(&server.0).await.expect("the server of the tests");
            // Several processes may want it at once.
            connection.execute("SELECT pg_advisory_lock(7)").await.expect("a lock");
            let there = sqlx::query_scalar("SELECT COUNT(*) FROM pg_database WHERE datname = $1 AND NOT datallowconn");
            let there: i64 = there.bind(&name).fetch_one(&mut connection).await.expect("a number");
            if there == 0 {
                obey(&mut connection, format!("DROP DATABASE IF EXISTS {name} WITH (FORCE)")).await;
                obey(&mut connection, format!("CREATE DATABASE {name}")).await;
                Store::open(&server.at(&name)).await.expect("the tables").close().await;
                // Nobody connects to it any more: only so it can be copied at any time.
                obey(&mut connection, format!("ALTER DATABASE {name} WITH ALLOW_CONNECTIONS false")).await;
            }
            connection.close().await.expect("an end in order");
        });
        name
    })
}

/// Of all migrations.
fn digest() -> String {
    let folder = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("migrations/postgres");
    let mut files: Vec<PathBuf> =
        std::fs::read_dir(folder).expect("migrations").map(|file| file.expect("a file").path()).collect();
    files.sort();
    let mut sum = sha2::Sha256::new();
    for file in files {
        sum.update(std::fs::read(file).expect("a migration"));
    }
    hex::encode(&sum.finalize()[..6])
}
