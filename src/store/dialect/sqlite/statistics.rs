//! What the embedded engine is told of its tables: the shape of a large competition, always.
//!
//! Left to itself it knows nothing of a new file, and of an older one what was there when it was last closed: a
//! list of entries, say, before the first score. Then it takes the rows of a competition for a few, and looks through
//! all of them for a gym's. Told once and for all it does the same on every evening
//! (<https://sqlite.org/optoverview.html>, "Fixed results of ANALYZE").

use crate::store::StoreError;
use sqlx::{Connection, SqliteConnection};

/// Of an index: so many rows, and so many on average that are alike in its first column, its first two, … A
/// table that is kept in the order of its key has that as an index of its own name.
const STATISTICS: [(&str, &str, &str); 47] = [
    ("accounts", "sqlite_autoindex_accounts_1", "6000 1"),
    ("entries", "entries", "100000 100000 1"),
    ("entries", "entries_gym", "100000 100000 80 1"),
    ("entries", "entries_person", "100000 100000 1"),
    ("grants", "grants_account", "6000 1"),
    ("grants", "grants_competition", "6000 6000 1500"),
    ("grants", "grants_judge", "2000 2000 1"),
    ("gyms", "gyms", "1260 1260 1"),
    ("heat_judges", "heat_judges", "20000 20000 16 4 1"),
    ("heat_judges", "heat_judges_judge", "20000 20000 4"),
    ("heats", "heats", "5000 5000 4 1"),
    ("idempotency", "idempotency", "200000 1 1"),
    ("idempotency", "idempotency_age", "200000 1"),
    ("idempotency", "idempotency_bytes", "2000 20 4"),
    ("judges", "judges", "5040 5040 1"),
    ("judges", "judges_person", "5040 5040 1"),
    ("letters", "letters_competition", "4000 1000 4 1"),
    ("letters", "letters_email", "4000 3"),
    ("links", "links", "2000 1"),
    ("name_starts", "name_starts", "219359 219359 3 1"),
    ("name_starts", "name_starts_start", "219359 219359 13 1"),
    ("not_taking_part", "not_taking_part", "20000 20000 2 1"),
    ("not_taking_part", "not_taking_part_workout", "20000 20000 4000 1"),
    ("notes", "notes_bib", "9005 9005 5"),
    ("notes", "sqlite_autoindex_notes_1", "9005 9005 1"),
    ("persons", "persons_email", "6301 1"),
    ("persons", "persons_name", "106300 106300 7"),
    ("persons", "sqlite_autoindex_persons_1", "106300 106300 1"),
    ("placements", "placements", "984848 984848 1 1 1"),
    ("proposals", "proposals_gym", "2000 2000 4 1"),
    ("proposals", "proposals_waiting", "200 200 1"),
    ("records", "records_gyms", "1260 1260 1"),
    ("records", "records_rulings", "1000 1000 1"),
    ("records", "records_subject", "994139 994139 2 1"),
    ("records", "sqlite_autoindex_records_1", "994139 994139 1"),
    ("scores", "scores_grams", "86734 86734 86734 12391 12391 87"),
    ("scores", "scores_judge", "436289 436289 87 1"),
    ("scores", "scores_sheet", "436289 436289 346 2 1"),
    ("scores", "scores_state", "11467 11467 2294 2294 1 1"),
    ("scores", "scores_visiting", "9014 9014 1803 2 1 1"),
    ("scores", "scores_waits", "1000 1000 200 1 1"),
    ("scores", "scores_workout", "447756 447756 89552 72 1 1"),
    ("scores", "sqlite_autoindex_scores_1", "447756 447756 5 1 1"),
    ("sessions", "sessions_account", "6000 2"),
    ("staff_ended", "staff_ended", "200 2 1 1"),
    ("throttles", "throttles_recovery", "5000 1"),
    ("tokens", "tokens_account", "500 1"),
];

/// Tells it, unless it has been told.
pub(in crate::store::dialect) async fn tell(writes: &mut SqliteConnection) -> Result<(), StoreError> {
    // Rows that it came by when somebody had it look: people's names and addresses among them, which no erasure
    // finds there.
    let samples = "SELECT COUNT(*) FROM sqlite_master WHERE name = 'sqlite_stat4'";
    if sqlx::query_scalar::<_, i64>(samples).fetch_one(&mut *writes).await? > 0
        && sqlx::query_scalar::<_, i64>("SELECT COUNT(*) FROM sqlite_stat4").fetch_one(&mut *writes).await? > 0
    {
        sqlx::query("DELETE FROM sqlite_stat4").execute(&mut *writes).await?;
    }
    let mut wanted = STATISTICS.map(|(table, index, rows)| (table.to_owned(), index.to_owned(), rows.to_owned()));
    wanted.sort_unstable();
    let there = "SELECT COUNT(*) FROM sqlite_master WHERE name = 'sqlite_stat1'";
    let is_there: i64 = sqlx::query_scalar(there).fetch_one(&mut *writes).await?;
    if is_there > 0 {
        let mut known: Vec<(String, Option<String>, Option<String>)> =
            sqlx::query_as("SELECT tbl, idx, stat FROM sqlite_stat1").fetch_all(&mut *writes).await?;
        known.sort_unstable();
        if known.into_iter().eq(wanted.iter().cloned().map(|(table, index, rows)| (table, Some(index), Some(rows)))) {
            return Ok(());
        }
    }
    // Makes the table, and looks at nothing.
    sqlx::query("ANALYZE sqlite_schema").execute(&mut *writes).await?;
    let mut tx = writes.begin().await?;
    sqlx::query("DELETE FROM sqlite_stat1").execute(&mut *tx).await?;
    for (table, index, rows) in wanted {
        let insert = sqlx::query("INSERT INTO sqlite_stat1 (tbl, idx, stat) VALUES ($1, $2, $3)");
        insert.bind(table).bind(index).bind(rows).execute(&mut *tx).await?;
    }
    tx.commit().await?;
    // Has it read by this connection; those that are made from here on read it by themselves.
    sqlx::query("ANALYZE sqlite_schema").execute(&mut *writes).await?;
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[tokio::test]
    async fn every_index_that_is_told_of_is_there_and_a_column_is_told_of_each() {
        let folder = tempfile::tempdir().expect("a folder");
        let crate::store::dialect::sqlite::Pools { writes, .. } =
            crate::store::dialect::sqlite::open(&folder.path().join("tally.db")).await.expect("opens");
        for (table, index, rows) in STATISTICS {
            let columns: i64 = sqlx::query_scalar(if table == index {
                "SELECT COUNT(*) FROM pragma_table_info($1) WHERE pk > 0"
            } else {
                "SELECT COUNT(*) FROM pragma_index_info($1)"
            })
            .bind(index)
            .fetch_one(&writes)
            .await
            .expect("a number");
            let told = rows.split(' ').count() - 1;
            assert_eq!(usize::try_from(columns).expect("a few"), told, "{table} {index}");
        }
    }

    #[tokio::test]
    async fn every_index_of_ours_is_told_of_and_no_row_is_written_down() {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("tally.db");
        let crate::store::dialect::sqlite::Pools { reads, writes, .. } =
            crate::store::dialect::sqlite::open(&path).await.expect("opens");
        let ours = "SELECT name FROM sqlite_master WHERE type = 'index' AND name NOT LIKE 'sqlite_%'";
        for index in sqlx::query_scalar::<_, String>(ours).fetch_all(&writes).await.expect("names") {
            assert!(STATISTICS.iter().any(|(_, told, _)| *told == index), "{index}");
        }
        // Somebody has it look by itself, with an address in it.
        let account =
            "INSERT INTO accounts (email, folded_email, created_at) VALUES ('ines@example.org', 'ines@example.org', 1)";
        sqlx::query(account).execute(&writes).await.expect("an account");
        sqlx::query("ANALYZE").execute(&writes).await.expect("it looks");
        let samples = "SELECT COUNT(*) FROM sqlite_stat4";
        assert!(sqlx::query_scalar::<_, i64>(samples).fetch_one(&writes).await.expect("a number") > 0);
        writes.close().await;
        reads.close().await;
        let crate::store::dialect::sqlite::Pools { writes, .. } =
            crate::store::dialect::sqlite::open(&path).await.expect("opens");
        assert_eq!(sqlx::query_scalar::<_, i64>(samples).fetch_one(&writes).await.expect("a number"), 0);
    }
}
