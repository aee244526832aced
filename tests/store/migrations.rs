//! Migrations: the same on both engines, and each runs on a database that is not empty.

use super::support::database::{Database, Raw};
use super::support::{Place, ask, moved, score};
use sqlx::migrate::Migrator;
use std::borrow::Cow;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use tallywright::rules::ledger::{Change, Whose};
use tallywright::rules::life::{FlagReason, Move};
use tallywright::store::Store;

fn folder(engine: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("migrations").join(engine)
}

async fn migrations(engine: &str) -> Migrator {
    Migrator::new(folder(engine)).await.unwrap()
}

/// Table → column → (kind, may be null), in the words of the embedded engine.
type Shape = BTreeMap<String, BTreeMap<String, (String, bool)>>;

const TABLES: &str =
    "SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite_%' AND name <> '_sqlx_migrations'";
const SERVED_TABLES: &str = "SELECT table_name::text FROM information_schema.tables
    WHERE table_schema = current_schema() AND table_name <> '_sqlx_migrations'";

async fn tables(raw: &mut Raw) -> Vec<String> {
    let sql = if matches!(raw, Raw::Sqlite(_)) { TABLES } else { SERVED_TABLES };
    raw.rows(sql).await.into_iter().map(|mut row| row.remove(0).unwrap()).collect()
}

async fn shape(raw: &mut Raw) -> Shape {
    let mut out = Shape::new();
    for table in tables(raw).await {
        let sql = if matches!(raw, Raw::Sqlite(_)) {
            format!("SELECT name, CASE type WHEN 'INTEGER' THEN 'whole' WHEN 'TEXT' THEN 'text' WHEN 'BLOB' THEN 'bytes' ELSE type END,
                     CASE WHEN \"notnull\" = 1 OR pk > 0 THEN 'no' ELSE 'yes' END FROM pragma_table_info('{table}')")
        } else {
            format!(
                "SELECT column_name::text, CASE WHEN data_type IN ('bigint', 'boolean') THEN 'whole'
                     WHEN data_type = 'text' AND collation_name = 'C' THEN 'text' WHEN data_type = 'bytea' THEN 'bytes'
                     ELSE data_type || coalesce(' ' || collation_name, '') END, lower(is_nullable)
                     FROM information_schema.columns WHERE table_schema = current_schema() AND table_name = '{table}'"
            )
        };
        let columns = raw.rows(&sql).await.into_iter().map(|row| {
            let [name, kind, null] = row.try_into().unwrap();
            (name.unwrap(), (kind.unwrap(), null.unwrap() == "yes"))
        });
        out.insert(table, columns.collect());
    }
    out
}

async fn indexes(raw: &mut Raw) -> Vec<String> {
    let sql = if matches!(raw, Raw::Sqlite(_)) {
        "SELECT name FROM sqlite_master WHERE type = 'index' AND name NOT LIKE 'sqlite_%' ORDER BY name"
    } else {
        // Those that stand behind a constraint have names of the engine's own.
        "SELECT i.relname::text FROM pg_index x JOIN pg_class i ON i.oid = x.indexrelid
         JOIN pg_class t ON t.oid = x.indrelid JOIN pg_namespace n ON n.oid = t.relnamespace
         WHERE n.nspname = current_schema() AND t.relname <> '_sqlx_migrations'
           AND NOT EXISTS (SELECT 1 FROM pg_constraint c WHERE c.conindid = i.oid AND c.contype IN ('p', 'u'))
         ORDER BY i.relname COLLATE \"C\""
    };
    raw.rows(sql).await.into_iter().map(|mut row| row.remove(0).unwrap()).collect()
}

#[tokio::test]
async fn both_engines_have_the_same_migrations() {
    let (embedded, served) = (migrations("sqlite").await, migrations("postgres").await);
    let named = |all: &Migrator| all.iter().map(|m| (m.version, m.description.clone())).collect::<Vec<_>>();
    assert_eq!(named(&embedded), named(&served), "a migration is written for both engines, under one number");
    assert!(embedded.iter().zip(1..).all(|(m, n)| m.version == n), "numbers without gaps");
}

#[tokio::test]
async fn both_engines_have_the_same_tables() {
    let (file, other) = (Database::file(), Database::new());
    Store::open(&file.url).await.unwrap().close().await;
    Store::open(&other.url).await.unwrap().close().await;
    let (mut file, mut other) = (file.raw().await, other.raw().await);
    let known = shape(&mut file).await;
    assert!(known.len() > 12 && known.values().all(|columns| columns.len() > 1), "{known:?}");
    assert_eq!(known, shape(&mut other).await);
    assert_eq!(indexes(&mut file).await, indexes(&mut other).await);
}

/// A row in each table, with ones in all columns: whatever it refers to is there.
async fn fill(raw: &mut Raw) {
    let served = matches!(raw, Raw::Postgres(_));
    let shape = shape(raw).await;
    let off = if served { "SET session_replication_role = replica" } else { "PRAGMA foreign_keys = OFF" };
    raw.run(off).await.unwrap();
    let booleans = if served {
        "SELECT table_name || '.' || column_name FROM information_schema.columns WHERE data_type = 'boolean'"
    } else {
        "SELECT ''"
    };
    let booleans: Vec<String> = raw.rows(booleans).await.into_iter().filter_map(|mut row| row.remove(0)).collect();
    for (table, columns) in shape {
        if raw.number(&format!("SELECT COUNT(*) FROM {table}")).await > 0 {
            continue;
        }
        let value = |(column, (kind, _)): (&String, &(String, bool))| match kind.as_str() {
            _ if booleans.contains(&format!("{table}.{column}")) => "TRUE".to_owned(),
            "whole" => "1".to_owned(),
            "text" => "'1'".to_owned(),
            _ if served => "'\\x01'".to_owned(),
            _ => "x'01'".to_owned(),
        };
        let (names, values): (Vec<_>, Vec<_>) = columns.iter().map(|c| (c.0.clone(), value(c))).unzip();
        raw.run(&format!("INSERT INTO {table} ({}) VALUES ({})", names.join(", "), values.join(", "))).await.unwrap();
    }
}

#[tokio::test]
async fn each_migration_runs_on_a_database_that_is_not_empty() {
    let database = Database::bare();
    let all = migrations(if database.is_served() { "postgres" } else { "sqlite" }).await;
    for n in 1..=all.iter().count() {
        let first = Migrator { migrations: Cow::Owned(all.iter().take(n).cloned().collect()), ..Migrator::DEFAULT };
        let mut raw = Raw::create(&database.url).await;
        match &mut raw {
            Raw::Sqlite(c) => first.run(c).await.unwrap(),
            Raw::Postgres(c) => first.run(c).await.unwrap(),
        }
        fill(&mut raw).await;
    }
    // As the program does it, once more: nothing is left to do, and nothing was lost.
    Store::open(&database.url).await.unwrap().close().await;
    let mut raw = database.raw().await;
    for table in tables(&mut raw).await {
        assert_eq!(raw.number(&format!("SELECT COUNT(*) FROM {table}")).await, 1, "{table}");
    }
}

#[tokio::test]
async fn erasures_of_before_are_changes_of_their_division_too() {
    let place = Place::with_entries(2).await;
    for bib in [1, 2] {
        place.attested(bib, "12").await;
    }
    place.submit(ask(Change::Erase(Whose::Judge("J-2".to_owned())))).await.unwrap();
    place.submit(ask(Change::Erase(Whose::Entry(2)))).await.unwrap();
    let erased = place.store.list_heads().await.unwrap()[0].1;
    let rows = place.placements(erased - 1, erased).await;
    assert!(matches!(&rows[..], [row] if row.bib == 2), "{rows:?}");
    // As it was written before.
    let mut raw = place.raw().await;
    raw.run(&format!("DELETE FROM placements WHERE seq = {erased}")).await.unwrap();
    assert!(place.difference().await.is_some());
    raw.run("DELETE FROM _sqlx_migrations WHERE version = 10").await.unwrap();
    place.open_again().await;
    assert_eq!(place.difference().await, None);
    assert_eq!(place.placements(erased - 1, erased).await, rows);
}

/// Who waits for something about the scores of before: it is worked out as it is for new ones, or the log would
/// not lead to the tables.
#[tokio::test]
async fn who_waits_for_something_about_scores_of_before_is_found() {
    let place = Place::with_entries(6).await;
    for bib in 1..=4 {
        place.attested(bib, "12").await;
    }
    place.submit(score("w1", 5, "4+0", false)).await.unwrap();
    for (bib, withhold) in [(2, false), (3, true)] {
        let flag = Move::Flag { reason: FlagReason::Count, note: "Looks short".to_owned(), withhold };
        place.submit(moved("w1", bib, flag)).await.unwrap();
    }
    let waits = "SELECT CAST(bib AS TEXT), CAST(waits AS TEXT) FROM scores WHERE workout = 'w1' ORDER BY bib";
    let mut raw = place.raw().await;
    let known = raw.rows(waits).await;
    assert_eq!(known.iter().map(|row| row[1].as_deref().unwrap()).collect::<String>(), "02200");
    // As it was written before.
    raw.run("DROP INDEX scores_waits").await.unwrap();
    raw.run("DROP INDEX scores_visiting").await.unwrap();
    raw.run("ALTER TABLE scores DROP COLUMN waits").await.unwrap();
    raw.run("DELETE FROM _sqlx_migrations WHERE version = 11").await.unwrap();
    place.open_again().await;
    assert_eq!(place.raw().await.rows(waits).await, known);
    assert_eq!(place.difference().await, None);
}
