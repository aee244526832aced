//! Transactions of the embedded engine.

use crate::store::dialect::line::{Line, Turn};
use futures_util::TryStreamExt;
use sqlx::{Executor, Sqlite, SqliteConnection};
use tokio::runtime::Handle;

/// A connection, to read. Handed on when it is dropped.
#[derive(Debug)]
pub struct Reading(Option<Turn<Sqlite>>);

/// A transaction. Dropped before its end it is undone.
pub struct Begun(Option<Turn<Sqlite>>);

const TAKEN: &str = "only taken when dropped or ended";

impl Reading {
    pub(in crate::store::dialect) async fn acquire(line: &Line<Sqlite>) -> sqlx::Result<Self> {
        Ok(Self(Some(line.turn().await?)))
    }

    /// What a statement runs on.
    pub(in crate::store) fn ex(&mut self) -> &mut SqliteConnection {
        self.0.as_mut().expect(TAKEN)
    }
}

impl Drop for Reading {
    fn drop(&mut self) {
        // Left in the middle of an answer the engine ends it before it begins with the next question.
        if let Some(turn) = self.0.take() {
            turn.end();
        }
    }
}

impl Begun {
    /// One that writes: it begins to at once, for a later upgrade of a read lock fails without waiting.
    pub(in crate::store::dialect) async fn writing(line: &Line<Sqlite>) -> sqlx::Result<Self> {
        Self::begin(line, "BEGIN IMMEDIATE").await
    }

    /// One that reads one state.
    pub(in crate::store::dialect) async fn snapshot(line: &Line<Sqlite>) -> sqlx::Result<Self> {
        Self::begin(line, "BEGIN").await
    }

    async fn begin(line: &Line<Sqlite>, statement: &'static str) -> sqlx::Result<Self> {
        let mut begun = Self(Some(line.turn().await?));
        let Err(error) = run(begun.ex(), statement).await else { return Ok(begun) };
        if let Some(turn) = begun.0.take() {
            match error {
                // Nothing has begun: somebody else has the file.
                sqlx::Error::Database(_) => turn.end(),
                _ => turn.give_up(),
            }
        }
        Err(error)
    }

    /// What a statement runs on.
    pub(in crate::store) fn ex(&mut self) -> &mut SqliteConnection {
        self.0.as_mut().expect(TAKEN)
    }

    /// Makes it durable.
    pub(in crate::store) async fn commit(self) -> sqlx::Result<()> {
        self.end("COMMIT").await
    }

    /// Undoes it.
    pub(in crate::store) async fn rollback(self) -> sqlx::Result<()> {
        self.end("ROLLBACK").await
    }

    async fn end(mut self, statement: &'static str) -> sqlx::Result<()> {
        run(self.ex(), statement).await?;
        if let Some(turn) = self.0.take() {
            turn.end();
        }
        Ok(())
    }
}

impl Drop for Begun {
    fn drop(&mut self) {
        let Some(mut turn) = self.0.take() else { return };
        let Ok(runtime) = Handle::try_current() else { return turn.give_up() };
        runtime.spawn(async move {
            // A full disk ends a transaction behind our back; then there is nothing to undo, and that is an error too.
            match run(&mut turn, "ROLLBACK").await {
                Ok(()) => turn.end(),
                Err(_) => turn.give_up(),
            }
        });
    }
}

/// Runs a statement that begins or ends a transaction. A thread that is lost over it gives no answer, and that is not
/// a yes.
async fn run(on: &mut SqliteConnection, statement: &'static str) -> sqlx::Result<()> {
    let answers: Vec<_> = on.execute_many(sqlx::query(statement)).try_collect().await?;
    if answers.is_empty() { Err(sqlx::Error::WorkerCrashed) } else { Ok(()) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use futures_util::poll;
    use sqlx::sqlite::{SqliteConnectOptions, SqliteJournalMode, SqlitePoolOptions};
    use sqlx::{ConnectOptions, Connection};
    use std::time::Duration;

    const LONG: Duration = Duration::from_mins(1);

    /// A file with a table, and one connection to it.
    struct Place {
        line: Line<Sqlite>,
        options: SqliteConnectOptions,
        _folder: tempfile::TempDir,
    }

    impl Place {
        async fn new() -> Self {
            Self::with(LONG).await
        }

        /// The pool keeps a connection for so long.
        async fn with(life: Duration) -> Self {
            let folder = tempfile::tempdir().expect("a folder");
            let options = SqliteConnectOptions::new()
                .filename(folder.path().join("tally.db"))
                .create_if_missing(true)
                .journal_mode(SqliteJournalMode::Wal)
                .busy_timeout(Duration::from_millis(50));
            let pool =
                SqlitePoolOptions::new().max_connections(1).acquire_timeout(Duration::from_secs(20)).max_lifetime(life);
            let pool = pool.connect_with(options.clone()).await.expect("opens");
            sqlx::query("CREATE TABLE marks (n INTEGER)").execute(&pool).await.expect("a table");
            Self { line: Line::of(pool, LONG), options, _folder: folder }
        }

        async fn begin(&self) -> Begun {
            Begun::writing(&self.line).await.expect("begins")
        }

        /// How many marks there are, by who reads now.
        async fn marks(&self) -> i64 {
            let mut reading = Reading::acquire(&self.line).await.expect("a connection");
            sqlx::query_scalar("SELECT COUNT(*) FROM marks").fetch_one(reading.ex()).await.expect("a number")
        }
    }

    async fn mark(begun: &mut Begun) {
        sqlx::query("INSERT INTO marks VALUES (1)").execute(begun.ex()).await.expect("written");
    }

    #[tokio::test]
    async fn one_that_is_dropped_is_undone_before_the_next_one_begins() {
        let place = Place::new().await;
        for _ in 0..3 {
            let mut begun = place.begin().await;
            mark(&mut begun).await;
            drop(begun);
            assert_eq!(place.marks().await, 0);
        }
        let mut begun = place.begin().await;
        mark(&mut begun).await;
        begun.commit().await.expect("committed");
        assert_eq!(place.marks().await, 1);
    }

    /// Wherever somebody goes away in the middle: all of it is done or nothing, and the next one begins.
    #[tokio::test]
    async fn one_that_is_given_up_on_its_way_leaves_all_or_nothing() {
        let place = Place::new().await;
        for steps in 0..4 {
            let mut begins = Box::pin(Begun::writing(&place.line));
            for _ in 0..steps {
                if poll!(&mut begins).is_ready() {
                    break;
                }
            }
            drop(begins);
            assert_eq!(place.marks().await, 0, "{steps}");
        }
        let mut before = 0;
        for steps in 0..4 {
            let mut begun = place.begin().await;
            mark(&mut begun).await;
            mark(&mut begun).await;
            let mut ends = Box::pin(begun.commit());
            for _ in 0..steps {
                if poll!(&mut ends).is_ready() {
                    break;
                }
            }
            drop(ends);
            let marks = place.marks().await;
            assert!(marks == before || marks == before + 2, "{steps}: {before}, {marks}");
            before = marks;
        }
    }

    #[tokio::test]
    async fn one_that_meets_somebody_else_is_refused_and_its_connection_serves_afterwards() {
        let place = Place::new().await;
        let mut other = place.options.connect().await.expect("another connection");
        other.execute("BEGIN IMMEDIATE").await.expect("begins");
        let met = Begun::writing(&place.line).await.err().expect("somebody else has it");
        assert_eq!(crate::store::dialect::trouble(&met), Some(crate::store::dialect::Trouble::Busy));
        other.execute("ROLLBACK").await.expect("ends");
        let mut begun = place.begin().await;
        mark(&mut begun).await;
        begun.commit().await.expect("committed");
        assert_eq!(place.marks().await, 1);
        other.close().await.expect("closes");
    }

    /// The next question is answered rightly, and nothing of the first one holds the file.
    #[tokio::test]
    async fn a_reader_who_goes_away_in_the_middle_of_an_answer_leaves_nothing_open() {
        let place = Place::new().await;
        let many = "WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n WHERE i < 10000000)
            SELECT i, (SELECT COUNT(*) FROM marks) FROM n";
        {
            let mut reading = Reading::acquire(&place.line).await.expect("a connection");
            let mut rows = reading.ex().fetch(many);
            assert!(rows.try_next().await.expect("a row").is_some());
        }
        assert_eq!(place.marks().await, 0);
        let mut other = place.options.connect().await.expect("another connection");
        other.execute("INSERT INTO marks VALUES (1)").await.expect("written");
        let folded: (i64, i64, i64) =
            sqlx::query_as("PRAGMA wal_checkpoint(TRUNCATE)").fetch_one(&mut other).await.expect("folded back");
        assert_eq!(folded.0, 0, "nobody reads");
        other.close().await.expect("closes");
    }

    #[tokio::test]
    async fn a_connection_is_handed_on_and_for_no_longer_than_the_pool_would_keep_it() {
        for (life, is_kept) in [(LONG, 1), (Duration::from_millis(20), 0)] {
            let place = Place::with(life).await;
            let mut begun = place.begin().await;
            begun.ex().execute("CREATE TEMP TABLE of_this_connection (n INTEGER)").await.expect("a table");
            begun.commit().await.expect("committed");
            tokio::time::sleep(Duration::from_millis(50)).await;
            let mut reading = Reading::acquire(&place.line).await.expect("a connection");
            let own = "SELECT COUNT(*) FROM sqlite_temp_master";
            let own: i64 = sqlx::query_scalar(own).fetch_one(reading.ex()).await.expect("a number");
            assert_eq!(own, is_kept, "{life:?}");
        }
    }

    #[tokio::test]
    async fn whoever_goes_away_while_waiting_takes_no_place() {
        let place = Place::new().await;
        let held = place.begin().await;
        for _ in 0..10 {
            let mut waits = Box::pin(place.line.turn());
            assert!(poll!(&mut waits).is_pending());
        }
        held.rollback().await.expect("undone");
        assert_eq!(place.marks().await, 0);
    }

    #[tokio::test]
    async fn closing_waits_for_who_is_at_work_and_sends_away_who_waits() {
        let place = Place::new().await;
        // Kept by now.
        assert_eq!(place.marks().await, 0);
        let mut begun = place.begin().await;
        mark(&mut begun).await;
        let (mut closes, mut waits) = (Box::pin(place.line.close()), Box::pin(place.line.turn()));
        assert!(poll!(&mut closes).is_pending() && poll!(&mut waits).is_pending());
        begun.commit().await.expect("committed");
        tokio::time::timeout(LONG, closes).await.expect("closes");
        assert!(matches!(waits.await, Err(sqlx::Error::PoolClosed)));
        let mut other = place.options.connect().await.expect("another connection");
        let marks: i64 =
            sqlx::query_scalar("SELECT COUNT(*) FROM marks").fetch_one(&mut other).await.expect("a number");
        assert_eq!(marks, 1);
    }
}
