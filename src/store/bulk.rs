//! Texts for many rows or many members of a list at once, by the ways that each engine has for it.
//!
//! The embedded engine is given each value by itself, in texts of some sizes. A server is given a column at a time, as
//! an array: one text for any number, with as many values as there are columns.

use super::db::{AsEx, Ex, by};
use sqlx::postgres::{PgArguments, PgRow};
use sqlx::query::{Query, QueryAs};
use sqlx::sqlite::SqliteRow;
use sqlx::{FromRow, Postgres, Sqlite};
use std::sync::OnceLock;

/// A value bound to a bulk text. Ordered as the databases order keys of one type.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
#[expect(missing_docs, reason = "named by their types")]
pub enum Val {
    Int(i64),
    MaybeInt(Option<i64>),
    Text(String),
    MaybeText(Option<String>),
    Bytes(Vec<u8>),
    Bool(bool),
}

impl Val {
    /// What a server calls an array of such values.
    fn array(&self) -> &'static str {
        match self {
            Self::Int(_) | Self::MaybeInt(_) => "BIGINT[]",
            Self::Text(_) | Self::MaybeText(_) => "TEXT[]",
            Self::Bytes(_) => "BYTEA[]",
            Self::Bool(_) => "BOOLEAN[]",
        }
    }
}

/// Binds [`Val`]s in turn.
macro_rules! bound {
    ($query:expr, $values:expr) => {{
        let mut query = $query;
        for value in $values {
            query = match value {
                Val::Int(v) => query.bind(v),
                Val::MaybeInt(v) => query.bind(v),
                Val::Text(v) => query.bind(v),
                Val::MaybeText(v) => query.bind(v),
                Val::Bytes(v) => query.bind(v),
                Val::Bool(v) => query.bind(v),
            };
        }
        query
    }};
}

/// Declares a [`Bulk`].
macro_rules! bulk {
    ($(#[$doc:meta])* $name:ident = $made:expr) => {
        $(#[$doc])*
        static $name: $crate::store::db::Bulk = $made;
    };
}

impl std::fmt::Display for Val {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Int(v) | Self::MaybeInt(Some(v)) => v.fmt(f),
            Self::Text(v) | Self::MaybeText(Some(v)) => v.fmt(f),
            Self::Bytes(v) => hex::encode(v).fmt(f),
            Self::Bool(v) => v.fmt(f),
            Self::MaybeInt(None) | Self::MaybeText(None) => f.write_str("-"),
        }
    }
}

/// A column of values, as a server takes them. Within one all are of one kind.
enum Column {
    Ints(Vec<Option<i64>>),
    Texts(Vec<Option<String>>),
    Bytes(Vec<Option<Vec<u8>>>),
    Bools(Vec<Option<bool>>),
}

impl Column {
    /// For values like this one.
    fn like(value: &Val, many: usize) -> Self {
        match value {
            Val::Int(_) | Val::MaybeInt(_) => Self::Ints(Vec::with_capacity(many)),
            Val::Text(_) | Val::MaybeText(_) => Self::Texts(Vec::with_capacity(many)),
            Val::Bytes(_) => Self::Bytes(Vec::with_capacity(many)),
            Val::Bool(_) => Self::Bools(Vec::with_capacity(many)),
        }
    }

    /// One of another kind is refused: the columns would not be of one length.
    fn push(&mut self, value: Val) -> sqlx::Result<()> {
        match (self, value) {
            (Self::Ints(all), Val::Int(v)) => all.push(Some(v)),
            (Self::Ints(all), Val::MaybeInt(v)) => all.push(v),
            (Self::Texts(all), Val::Text(v)) => all.push(Some(v)),
            (Self::Texts(all), Val::MaybeText(v)) => all.push(v),
            (Self::Bytes(all), Val::Bytes(v)) => all.push(Some(v)),
            (Self::Bools(all), Val::Bool(v)) => all.push(Some(v)),
            (_, other) => {
                return Err(sqlx::Error::Encode(format!("a column of another kind has {}", other.array()).into()));
            }
        }
        Ok(())
    }
}

/// What [`Column`]s can be bound to.
trait Takes<'q>: Sized {
    fn take<T: 'q + sqlx::Encode<'q, Postgres> + sqlx::Type<Postgres>>(self, value: T) -> Self;

    fn column(self, column: Column) -> Self {
        match column {
            Column::Ints(all) => self.take(all),
            Column::Texts(all) => self.take(all),
            Column::Bytes(all) => self.take(all),
            Column::Bools(all) => self.take(all),
        }
    }
}

impl<'q> Takes<'q> for Query<'q, Postgres, PgArguments> {
    fn take<T: 'q + sqlx::Encode<'q, Postgres> + sqlx::Type<Postgres>>(self, value: T) -> Self {
        self.bind(value)
    }
}

impl<'q, O> Takes<'q> for QueryAs<'q, Postgres, O, PgArguments> {
    fn take<T: 'q + sqlx::Encode<'q, Postgres> + sqlx::Type<Postgres>>(self, value: T) -> Self {
        self.bind(value)
    }
}

/// Values of rows of so many columns, column by column.
fn columns(values: impl IntoIterator<Item = Val>, width: usize, many: usize) -> sqlx::Result<Vec<Column>> {
    let mut columns: Vec<Column> = Vec::with_capacity(width);
    for (n, value) in values.into_iter().enumerate() {
        if n < width {
            columns.push(Column::like(&value, many));
        }
        if let Some(column) = columns.get_mut(n % width) {
            column.push(value)?;
        }
    }
    Ok(columns)
}

/// Rows for a [`Bulk`], made as they are written.
pub type Rows<'r> = Box<dyn Iterator<Item = Vec<Val>> + Send + 'r>;

/// The same of anything that gives rows.
pub fn rows<'r>(of: impl IntoIterator<Item = Vec<Val>, IntoIter: Send + 'r>) -> Rows<'r> {
    Box::new(of.into_iter())
}

/// How many rows or list members a bulk text takes at most.
pub const LARGEST: usize = 256;

/// The numbers it comes in on the embedded engine: any number of rows up to 64 takes at most three statements.
const SIZES: [usize; 16] = [1, 2, 3, 4, 6, 8, 12, 16, 24, 32, 48, 64, 96, 128, 192, LARGEST];

/// What repeats in a text.
#[derive(Clone, Copy, Debug)]
enum Form {
    /// The rows of an `INSERT`.
    Rows,
    /// The members of an `IN` list.
    List,
    /// The rows of `VALUES`, called `sent`.
    Matches,
}

/// A text whose middle repeats.
#[derive(Debug)]
pub struct Bulk {
    form: Form,
    head: &'static str,
    fixed: usize,
    columns: usize,
    tail: &'static str,
    embedded: OnceLock<[&'static str; SIZES.len()]>,
    served: OnceLock<&'static str>,
}

impl Bulk {
    /// `INSERT … VALUES ` + rows of `columns` + `tail`.
    #[must_use]
    pub const fn rows(head: &'static str, columns: usize, tail: &'static str) -> Self {
        Self::new(Form::Rows, head, 0, columns, tail)
    }

    /// `SELECT … IN (` + members + `tail`, where `head` uses `$1` to `$fixed`.
    #[must_use]
    pub const fn list(head: &'static str, fixed: usize, tail: &'static str) -> Self {
        Self::new(Form::List, head, fixed, 1, tail)
    }

    /// `SELECT … FROM (VALUES ` + rows of `columns` + `) AS sent …`, where that uses `$1` to `$fixed`.
    #[must_use]
    pub const fn matches(head: &'static str, fixed: usize, columns: usize, tail: &'static str) -> Self {
        Self::new(Form::Matches, head, fixed, columns, tail)
    }

    const fn new(form: Form, head: &'static str, fixed: usize, columns: usize, tail: &'static str) -> Self {
        Self { form, head, fixed, columns, tail, embedded: OnceLock::new(), served: OnceLock::new() }
    }

    /// All that the embedded engine is given.
    pub fn texts(&self) -> &[&'static str; SIZES.len()] {
        self.embedded.get_or_init(|| SIZES.map(|n| &*self.build(n).leak()))
    }

    /// The embedded engine looks a name (`$7` is one) up from the first on, which for a thousand of them takes longer
    /// than what they are bound for: what repeats has none there, and the others come after it.
    fn build(&self, n: usize) -> String {
        let values = n * self.columns;
        let row = vec!["?"; self.columns].join(", ");
        let row = if matches!(self.form, Form::List) { row } else { format!("({row})") };
        format!("{}{}{}", renumbered(self.head, values), vec![row; n].join(", "), renumbered(self.tail, values))
    }

    /// What a server is given, for columns that are arrays of these types; of a list it finds out itself.
    #[must_use]
    pub fn of_arrays(&self, types: &[&str]) -> String {
        let numbered = types.iter().enumerate().map(|(n, array)| format!("${}::{array}", self.fixed + 1 + n));
        let arrays = numbered.collect::<Vec<_>>().join(", ");
        let (head, tail) = (self.head, self.tail);
        match self.form {
            Form::Rows => format!("{}SELECT * FROM unnest({arrays}){tail}", head.trim_end_matches("VALUES ")),
            Form::List => format!("{}= ANY (${}{tail}", head.trim_end_matches("IN ("), self.fixed + 1),
            Form::Matches => {
                let names: Vec<String> = (1..=types.len()).map(|n| format!("column{n}")).collect();
                let (head, tail) = (head.trim_end_matches("(VALUES "), tail.trim_start_matches(") AS sent"));
                format!("{head}unnest({arrays}) AS sent({}){tail}", names.join(", "))
            }
        }
    }

    /// The same for one row whose types are not known: what a server finds out of it is what the columns have.
    #[must_use]
    pub fn of_one(&self) -> String {
        let row: Vec<String> = (1..=self.columns).map(|n| format!("${}", self.fixed + n)).collect();
        let row = row.join(", ");
        let row = if matches!(self.form, Form::List) { row } else { format!("({row})") };
        format!("{}{row}{}", self.head, self.tail)
    }

    fn served<'v>(&self, row: impl Iterator<Item = &'v Val>) -> &'static str {
        self.served.get_or_init(|| self.of_arrays(&row.map(Val::array).collect::<Vec<_>>()).leak())
    }

    fn embedded(&self, n: usize) -> &'static str {
        self.texts()[SIZES.partition_point(|size| *size < n)]
    }

    /// Writes all rows, in as few statements as that takes; how many were inserted or changed. While the
    /// engine is at work, the next rows are made.
    pub async fn write(&self, on: &mut impl AsEx, mut rows: Rows<'_>) -> sqlx::Result<u64> {
        let mut ready: Vec<Vec<Val>> = rows.by_ref().take(LARGEST).collect();
        let mut written = 0;
        while !ready.is_empty() {
            let (done, rest): (sqlx::Result<u64>, _) = match on.ex() {
                Ex::Sqlite(c) => {
                    let n = SIZES[SIZES.partition_point(|size| *size <= ready.len()) - 1];
                    let mut rest = ready.split_off(n);
                    let statement = bound!(sqlx::query::<Sqlite>(self.embedded(n)), ready.into_iter().flatten());
                    let done = async { Ok(statement.execute(c).await?.rows_affected()) };
                    let more = async { rest.extend(rows.by_ref().take(LARGEST - rest.len())) };
                    let (done, ()) = tokio::join!(biased; done, more);
                    (done, rest)
                }
                Ex::Postgres(c, until) => {
                    let text = self.served(ready.iter().flatten().take(self.columns));
                    let many = ready.len();
                    let all = columns(ready.into_iter().flatten(), self.columns, many)?;
                    let statement = all.into_iter().fold(sqlx::query::<Postgres>(text), Takes::column);
                    let done = async { Ok(by(until, statement.execute(c)).await?.rows_affected()) };
                    tokio::join!(biased; done, async { rows.by_ref().take(LARGEST).collect() })
                }
            };
            written += done?;
            ready = rest;
        }
        Ok(written)
    }

    /// Reads the rows of all members, given column by column where they are rows; lists are filled up
    /// by repeating the last member where the engine wants one of its sizes.
    pub async fn read<T>(&self, on: &mut impl AsEx, fixed: &[Val], members: Vec<Val>) -> sqlx::Result<Vec<T>>
    where
        T: Send + Unpin + for<'r> FromRow<'r, SqliteRow> + for<'r> FromRow<'r, PgRow>,
    {
        let mut out = Vec::new();
        let width = self.columns;
        for chunk in members.chunks(LARGEST * width) {
            out.extend(match on.ex() {
                Ex::Sqlite(c) => {
                    let n = SIZES[SIZES.partition_point(|size| *size < chunk.len() / width)];
                    let last = &chunk[chunk.len() - width..];
                    let filled = chunk.iter().chain(last.iter().cycle()).take(n * width);
                    let values = filled.chain(fixed).cloned();
                    bound!(sqlx::query_as::<Sqlite, T>(self.embedded(n)), values).fetch_all(c).await?
                }
                Ex::Postgres(c, until) => {
                    let text = self.served(chunk.iter().take(width));
                    let all = columns(chunk.iter().cloned(), width, chunk.len() / width)?;
                    let statement = bound!(sqlx::query_as::<Postgres, T>(text), fixed.iter().cloned());
                    by(until, all.into_iter().fold(statement, Takes::column).fetch_all(c)).await?
                }
            });
        }
        Ok(out)
    }
}

/// A text whose `$1` is another number: so many come before it.
fn renumbered(text: &str, before: usize) -> String {
    let mut parts = text.split('$');
    let mut out = parts.next().unwrap_or_default().to_owned();
    for part in parts {
        let digits = part.len() - part.trim_start_matches(|c: char| c.is_ascii_digit()).len();
        let number: usize = part[..digits].parse().unwrap_or_default();
        out.push('$');
        out.push_str(&(number + before).to_string());
        out.push_str(&part[digits..]);
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_engine_is_given_many_its_own_way() {
        let rows = Bulk::rows("INSERT INTO t (a, b) VALUES ", 2, " ON CONFLICT (a) DO NOTHING");
        assert_eq!(rows.texts()[1], "INSERT INTO t (a, b) VALUES (?, ?), (?, ?) ON CONFLICT (a) DO NOTHING");
        assert_eq!(
            rows.of_arrays(&["BIGINT[]", "TEXT[]"]),
            "INSERT INTO t (a, b) SELECT * FROM unnest($1::BIGINT[], $2::TEXT[]) ON CONFLICT (a) DO NOTHING"
        );
        let list = Bulk::list("SELECT a FROM t WHERE c = $1 AND b IN (", 1, ") LIMIT 9");
        assert_eq!(list.texts()[2], "SELECT a FROM t WHERE c = $4 AND b IN (?, ?, ?) LIMIT 9");
        assert_eq!(list.of_arrays(&["TEXT[]"]), "SELECT a FROM t WHERE c = $1 AND b = ANY ($2) LIMIT 9");
        let matches = Bulk::matches("SELECT t.a FROM (VALUES ", 1, 2, ") AS sent CROSS JOIN t WHERE c = $1");
        assert_eq!(matches.texts()[0], "SELECT t.a FROM (VALUES (?, ?)) AS sent CROSS JOIN t WHERE c = $3");
        assert_eq!(
            matches.of_arrays(&["BIGINT[]", "TEXT[]"]),
            "SELECT t.a FROM unnest($2::BIGINT[], $3::TEXT[]) AS sent(column1, column2) CROSS JOIN t WHERE c = $1"
        );
    }

    #[test]
    fn a_column_is_of_one_kind() {
        let all = [Val::Int(1), Val::Text("a".into()), Val::MaybeInt(None), Val::MaybeText(None)];
        let all = columns(all, 2, 2).expect("two columns");
        assert!(matches!(&all[..], [Column::Ints(n), Column::Texts(t)] if *n == [Some(1), None] && t.len() == 2));
        assert!(columns([Val::Int(1), Val::Bool(true)], 1, 2).is_err());
    }
}
