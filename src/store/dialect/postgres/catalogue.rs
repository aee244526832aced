//! What `move` asks of a server: its tables by the catalogue, kept from being written to, and the numbers of their rows.

use super::{Alive, Writing};
use crate::store::StoreError;
use crate::store::db::{A_STEP, by};
use crate::store::dialect::line::Line;
use crate::store::transfer::{Kind, Table};
use sqlx::{AssertSqlSafe, PgConnection, PgPool, Postgres};
use std::time::Duration;
use tokio::time::Instant;

/// The tables of ours, in the order they were made.
pub(in crate::store::dialect) async fn tables(on: &mut PgConnection) -> Result<Vec<Table>, StoreError> {
    let asked = sqlx::query_as(
        r#"SELECT t.relname::text, a.attname::text, format_type(a.atttypid, NULL),
                 array_position(i.indkey::int2[], a.attnum)::bigint
          FROM pg_class t
          JOIN pg_namespace n ON n.oid = t.relnamespace AND n.nspname = current_schema()
          JOIN pg_attribute a ON a.attrelid = t.oid AND a.attnum > 0 AND NOT a.attisdropped
          JOIN pg_index i ON i.indrelid = t.oid AND i.indisprimary
          WHERE t.relkind = 'r' AND t.relname NOT LIKE '\_sqlx%' ORDER BY t.oid, a.attname COLLATE "C""#,
    );
    let until = Some(Instant::now() + A_STEP);
    let rows: Vec<(String, String, String, Option<i64>)> = by(until, asked.fetch_all(on)).await?;
    let mut tables: Vec<(Table, Vec<(i64, String)>)> = Vec::new();
    for (name, column, kind, place) in rows {
        if tables.last().is_none_or(|(table, _)| table.name != name) {
            tables.push((Table { name: name.clone(), columns: Vec::new(), key: Vec::new() }, Vec::new()));
        }
        let Some((table, key)) = tables.last_mut() else { continue };
        key.extend(place.map(|place| (place, column.clone())));
        let kind = match kind.as_str() {
            "bigint" => Kind::Int,
            "boolean" => Kind::Bool,
            "text" => Kind::Text,
            "bytea" => Kind::Bytes,
            _ => return Err(StoreError::unreadable("the catalogue", format!("{name}.{column} is {kind}"))),
        };
        table.columns.push((column, kind));
    }
    let in_turn = |(table, mut key): (Table, Vec<(i64, String)>)| {
        key.sort();
        Table { key: key.into_iter().map(|(_, column)| column).collect(), ..table }
    };
    Ok(tables.into_iter().map(in_turn).collect())
}

/// Begins a transaction that sees the state that holds once nobody writes any more. Each step of it may take so long.
pub(in crate::store::dialect) async fn freeze(
    looks: &PgPool,
    writes: &Line<Postgres>,
    tables: &[Table],
    step: Duration,
) -> sqlx::Result<Writing> {
    let mut tx = Writing::begin_with(writes, "BEGIN ISOLATION LEVEL REPEATABLE READ").await?;
    tx.limit_steps(step);
    tx.run("SET LOCAL idle_in_transaction_session_timeout = 0").await?;
    let names: Vec<&str> = tables.iter().map(|table| table.name.as_str()).collect();
    // Readers are let in; who would write waits for its turn. Locking comes before the state is chosen.
    let lock = format!("LOCK TABLE {} IN EXCLUSIVE MODE", names.join(", "));
    tx.run(AssertSqlSafe(lock)).await?;
    tx.alive = Some(Alive::of(looks, tx.ex()).await?);
    Ok(tx)
}

/// Lets the numbers of a table's rows go on after the highest that is there.
pub(in crate::store::dialect) async fn count_on(tx: &mut Writing, table: &str) -> sqlx::Result<()> {
    let asked = sqlx::query_scalar(
        "SELECT column_name::text FROM information_schema.columns WHERE table_schema = current_schema() AND table_name = $1 AND is_identity = 'YES'",
    )
    .bind(table);
    let columns: Vec<String> = by(Some(tx.until()), asked.fetch_all(tx.ex())).await?;
    for column in columns {
        let sql = format!("SELECT setval(pg_get_serial_sequence('{table}', '{column}'), MAX({column})) FROM {table}");
        tx.run(AssertSqlSafe(sql)).await?;
    }
    Ok(())
}
