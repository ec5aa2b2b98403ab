//! What a copy of the records holds: every table with a sum over its rows, told in one snapshot, so that a copy can be compared with what
//! was copied.

use super::Result;
use crate::photo::Kind;
use sqlx::{AssertSqlSafe, ConnectOptions, Connection, PgConnection, Row, postgres::PgConnectOptions};

/// One table: how many rows, and a sum over all of them that does not depend on their order.
#[derive(Clone, Debug, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
pub struct Table {
    pub name: String,
    pub rows: i64,
    pub sum: String,
}

/// A connection that sees one state of the records until it is closed.
#[derive(Debug)]
pub struct Snapshot {
    db: PgConnection,
    /// By which other programs see the same state.
    pub name: String,
}

impl Snapshot {
    pub async fn open(options: &PgConnectOptions) -> Result<Self> {
        // Slow is what it is: nobody has to be told.
        let mut db = PgConnection::connect_with(&options.clone().disable_statement_logging()).await?;
        // A copy of many years takes longer than anything else may.
        let begin =
            "SET statement_timeout = 0; SET lock_timeout = '10s'; SET idle_in_transaction_session_timeout = 0; SET TimeZone = 'UTC';
             SET DateStyle = 'ISO, MDY'; SET IntervalStyle = 'postgres'; SET bytea_output = 'hex'; SET extra_float_digits = 1;
             BEGIN ISOLATION LEVEL REPEATABLE READ READ ONLY";
        sqlx::raw_sql(begin).execute(&mut db).await?;
        let name = sqlx::query_scalar("SELECT pg_export_snapshot()").fetch_one(&mut db).await?;
        Ok(Self { db, name })
    }

    /// Every table, by name.
    pub async fn tables(&mut self) -> Result<Vec<Table>> {
        let names: Vec<(String, String)> = sqlx::query_as(
            "SELECT c.relname::text, format('%I.%I', n.nspname, c.relname) FROM pg_class c JOIN pg_namespace n ON n.oid = c.relnamespace
             WHERE n.nspname = 'public' AND c.relkind IN ('r', 'p') ORDER BY 1",
        )
        .fetch_all(&mut self.db)
        .await?;
        let mut all = Vec::with_capacity(names.len());
        for (name, quoted) in names {
            let text = format!(
                "SELECT count(*), coalesce(sum(('x' || left(md5(t::text), 15))::bit(60)::bigint::numeric), 0)::text FROM {quoted} t"
            );
            let row = sqlx::query(AssertSqlSafe(text)).fetch_one(&mut self.db).await?;
            all.push(Table { name, rows: row.get(0), sum: row.get(1) });
        }
        Ok(all)
    }

    /// The pictures that the records name.
    pub async fn photos(&mut self) -> Result<Vec<([u8; 32], Kind)>> {
        let rows: Vec<(Vec<u8>, String)> = sqlx::query_as("SELECT DISTINCT sha256, kind FROM photos WHERE withdrawn_at IS NULL ORDER BY 1")
            .fetch_all(&mut self.db)
            .await?;
        let read = |(sum, kind): (Vec<u8>, String)| Some((<[u8; 32]>::try_from(sum).ok()?, Kind::parse(&kind)?));
        Ok(rows.into_iter().filter_map(read).collect())
    }

    /// The newest migration that these records went through.
    pub async fn schema(&mut self) -> Result<i64> {
        Ok(sqlx::query_scalar("SELECT coalesce(max(version), 0) FROM _sqlx_migrations").fetch_one(&mut self.db).await?)
    }

    pub async fn close(self) -> Result<()> {
        Ok(self.db.close().await?)
    }
}

/// The newest migration that this program knows.
pub fn newest_schema() -> i64 {
    super::MIGRATIONS.iter().map(|m| m.version).max().unwrap_or(0)
}

/// Gathers what the query planner wants to know of records that were just put back.
pub async fn analyze(options: &PgConnectOptions) -> Result<()> {
    let mut db = PgConnection::connect_with(&options.clone().disable_statement_logging()).await?;
    sqlx::raw_sql("SET statement_timeout = 0; ANALYZE").execute(&mut db).await?;
    Ok(db.close().await?)
}

/// A table as it is taken along.
#[derive(Clone, Debug)]
pub struct Shape {
    pub name: String,
    /// What is written beside the table, if anything.
    pub about: String,
    pub columns: Vec<Column>,
    quoted: String,
}

#[derive(Clone, Debug)]
pub struct Column {
    pub name: String,
    /// As PostgreSQL calls it: `text`, `integer`, `timestamp with time zone` …
    pub kind: String,
    pub about: String,
    quoted: String,
}

/// What opens doors, and what only this installation's own running needs.
const NOT_TAKEN: [&str; 11] = [
    "_sqlx_migrations",
    "epoch",
    "jobs",
    "backups",
    "record_links",
    "sessions",
    "setup_links",
    "sign_in_failures",
    "second_factors",
    "spare_codes",
    "sign_in_steps",
];
const NOT_SHOWN: [&str; 3] = ["password_hash", "token_hash", "form_token"];
/// Rows that are fetched at once.
const PIECE: usize = 2_000;

impl Snapshot {
    /// Every table that may leave the house, with its columns.
    pub async fn shapes(&mut self) -> Result<Vec<Shape>> {
        let rows: Vec<[String; 7]> = sqlx::query(
            "SELECT c.relname::text, coalesce(obj_description(c.oid), ''), format('%I.%I', n.nspname, c.relname), a.attname::text, format_type(a.atttypid, NULL),
               coalesce(col_description(c.oid, a.attnum), ''), quote_ident(a.attname)
             FROM pg_class c JOIN pg_namespace n ON n.oid = c.relnamespace JOIN pg_attribute a ON a.attrelid = c.oid AND a.attnum > 0 AND NOT a.attisdropped
             WHERE n.nspname = 'public' AND c.relkind IN ('r', 'p') AND c.relname <> ALL ($1) AND a.attname <> ALL ($2) ORDER BY c.relname, a.attnum",
        )
        .bind(NOT_TAKEN.as_slice())
        .bind(NOT_SHOWN.as_slice())
        .map(|row: sqlx::postgres::PgRow| std::array::from_fn(|i| row.get(i)))
        .fetch_all(&mut self.db)
        .await?;
        let mut shapes: Vec<Shape> = Vec::new();
        for [table, about, quoted, name, kind, told, name_quoted] in rows {
            if shapes.last().is_none_or(|s| s.name != table) {
                shapes.push(Shape { name: table, about, columns: Vec::new(), quoted });
            }
            if let Some(shape) = shapes.last_mut() {
                shape.columns.push(Column { name, kind, about: told, quoted: name_quoted });
            }
        }
        Ok(shapes)
    }

    /// Gives every row of a table, each column as PostgreSQL writes it as text. Returns how many there were.
    pub async fn rows(&mut self, shape: &Shape, mut take: impl FnMut(&[Option<String>]) -> std::io::Result<()>) -> Result<u64> {
        let columns: Vec<String> = shape.columns.iter().map(|c| format!("{}::text", c.quoted)).collect();
        let declare = format!("DECLARE every NO SCROLL CURSOR FOR SELECT {} FROM {} ORDER BY 1, 2", columns.join(", "), shape.quoted);
        sqlx::raw_sql(AssertSqlSafe(declare)).execute(&mut self.db).await?;
        let fetch = format!("FETCH {PIECE} FROM every");
        let mut count = 0;
        loop {
            // Each table's rows have columns of their own under the same words: a prepared statement would remember another's.
            let piece = sqlx::query(AssertSqlSafe(fetch.clone())).persistent(false).fetch_all(&mut self.db).await?;
            for row in &piece {
                let cells: Result<Vec<Option<String>>, sqlx::Error> = (0..shape.columns.len()).map(|i| row.try_get(i)).collect();
                take(&cells?)?;
                count += 1;
            }
            if piece.len() < PIECE {
                sqlx::raw_sql("CLOSE every").execute(&mut self.db).await?;
                return Ok(count);
            }
        }
    }
}
