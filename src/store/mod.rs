//! All SQL, one file a topic: rows to domain and back. Free functions over an executor; a caller opens the transaction.

pub mod amendments;
pub mod backups;
pub mod catalogue;
pub mod closures;
pub mod copies;
pub mod customer_words;
pub mod customers;
pub mod dealer;
pub mod doctor;
pub mod drives;
pub mod due;
pub mod events;
pub mod first_steps;
pub mod forget;
pub mod hand_over;
pub mod links;
pub mod lists;
pub mod overview;
pub mod phones;
pub mod photos;
pub mod queue;
pub mod reports;
pub mod season_plan;
pub mod second_factor;
pub mod sessions;
pub mod shelf;
pub mod staff;
pub mod submissions;
pub mod units;
pub mod visits;
pub mod water;
pub mod week;
pub mod whole_record;
pub mod work_done;

use sqlx::{
    ConnectOptions, PgPool, Row,
    postgres::{PgConnectOptions, PgPoolOptions},
};
use std::{fmt::Display, time::Duration};

/// Every migration, in order; part of the program.
pub static MIGRATIONS: sqlx::migrate::Migrator = sqlx::migrate!();

/// What can go wrong between the program and its database.
#[derive(Debug, thiserror::Error)]
pub enum Error {
    /// There is no such row, or it is not this person's to see.
    #[error("not found")]
    NotFound,
    /// Somebody else changed the row since it was read.
    #[error("changed meanwhile by somebody else")]
    Clash,
    /// The same client-made id arrived with other content.
    #[error("this id was used before for something else")]
    OtherContent,
    /// A rule of the tables said no; the name is the constraint's.
    #[error("refused by the rule {0}")]
    Rule(String),
    /// A row that the program itself should never have written.
    #[error("{table} {id}: {why}")]
    Corrupt { table: &'static str, id: String, why: String },
    #[error(transparent)]
    Sql(sqlx::Error),
    /// The folder of the photos.
    #[error("the photos cannot be written or read: {0}")]
    Disk(#[from] std::io::Error),
}

impl From<sqlx::Error> for Error {
    fn from(e: sqlx::Error) -> Self {
        if matches!(e, sqlx::Error::RowNotFound) {
            return Self::NotFound;
        }
        match e.as_database_error().and_then(|d| d.constraint().map(str::to_owned)) {
            Some(rule) => Self::Rule(rule),
            None => Self::Sql(e),
        }
    }
}

pub type Result<T, E = Error> = std::result::Result<T, E>;

/// Marks a row that cannot be read back into its type.
pub(crate) fn corrupt(table: &'static str, id: impl Display, why: impl Display) -> Error {
    Error::Corrupt { table, id: id.to_string(), why: why.to_string() }
}

/// Limits of every session: nothing hangs for ever, nothing keeps a transaction open after its caller is gone.
const SESSION: [(&str, &str); 5] = [
    ("statement_timeout", "5s"),
    ("lock_timeout", "2s"),
    ("idle_in_transaction_session_timeout", "10s"),
    ("client_connection_check_interval", "2s"),
    ("TimeZone", "UTC"),
];

/// A pool whose connections are clean when they are handed out.
///
/// sqlx 0.9.0 can return a connection inside an open transaction when `begin` is cancelled (its issue 4385); the next
/// borrower's statement would then be rolled back later. So each connection is asked first, by the simple protocol,
/// whether it stands outside a transaction: only there `now()` equals `statement_timestamp()`.
pub fn pool(options: PgConnectOptions, size: u32) -> PgPool {
    let options = options.options(SESSION).disable_statement_logging();
    PgPoolOptions::new()
        .max_connections(size)
        .acquire_timeout(Duration::from_secs(3))
        .max_lifetime(Duration::from_mins(30))
        .test_before_acquire(false)
        .before_acquire(|c, _| {
            Box::pin(async move {
                let row = sqlx::raw_sql("SELECT now() = statement_timestamp()").fetch_one(&mut *c).await?;
                Ok(row.get::<bool, _>(0))
            })
        })
        .connect_lazy_with(options)
}

/// Brings the tables up to this program's version. Several programs may start together: they take turns.
pub async fn migrate(pool: &PgPool) -> Result<(), sqlx::migrate::MigrateError> {
    let mut c = pool.acquire().await?;
    sqlx::raw_sql("SET statement_timeout = '10min'; SET lock_timeout = '1min'").execute(&mut *c).await?;
    MIGRATIONS.run(&mut *c).await?;
    sqlx::raw_sql("SET statement_timeout = '5s'; SET lock_timeout = '2s'").execute(&mut *c).await?;
    Ok(())
}

/// Whether the database answers at all.
pub async fn answers(pool: &PgPool) -> bool {
    sqlx::query("SELECT 1").execute(pool).await.is_ok()
}
