//! Databases of the private cluster beside the service's own: one to put records back into, and what the service used before.

use super::{Cluster, DATABASE, Error};
use sqlx::{AssertSqlSafe, Connection, PgConnection};

/// Records are put back here first.
pub const SCRATCH: &str = "embertide_restoring";
/// How the databases are named that the service used before records were put back.
const BEFORE: &str = "embertide_before_";

impl Cluster {
    /// An empty scratch database, in place of one that an interrupted restore left.
    pub async fn make_scratch(&self) -> Result<(), Error> {
        let mut c = self.to_rule().await?;
        sqlx::raw_sql(AssertSqlSafe(format!("DROP DATABASE IF EXISTS {SCRATCH} WITH (FORCE)"))).execute(&mut c).await?;
        sqlx::raw_sql(AssertSqlSafe(format!("CREATE DATABASE {SCRATCH} TEMPLATE template0"))).execute(&mut c).await?;
        Ok(c.close().await?)
    }

    pub async fn drop_scratch(&self) -> Result<(), Error> {
        let mut c = self.to_rule().await?;
        sqlx::raw_sql(AssertSqlSafe(format!("DROP DATABASE IF EXISTS {SCRATCH} WITH (FORCE)"))).execute(&mut c).await?;
        Ok(c.close().await?)
    }

    /// Puts the scratch database in place of the service's, which stays under the name that is returned; one that was kept like this
    /// earlier goes. Both names change at once or none. Nobody may be connected to either.
    ///
    /// # Errors
    /// `stamp` is of digits and underscores, or the name is refused by PostgreSQL.
    pub async fn put_scratch_in_place(&self, stamp: &str) -> Result<String, Error> {
        let kept: String = format!("{BEFORE}{stamp}").chars().filter(|c| c.is_ascii_alphanumeric() || *c == '_').take(60).collect();
        let mut c = self.to_rule().await?;
        let older: Vec<String> = sqlx::query_scalar("SELECT datname::text FROM pg_database WHERE starts_with(datname, $1)")
            .bind(BEFORE)
            .fetch_all(&mut c)
            .await?;
        let swap = format!("BEGIN; ALTER DATABASE {DATABASE} RENAME TO {kept}; ALTER DATABASE {SCRATCH} RENAME TO {DATABASE}; COMMIT");
        sqlx::raw_sql(AssertSqlSafe(swap)).execute(&mut c).await?;
        for name in older.into_iter().filter(|n| *n != kept) {
            sqlx::raw_sql(AssertSqlSafe(format!("DROP DATABASE \"{}\"", name.replace('"', "\"\"")))).execute(&mut c).await?;
        }
        c.close().await?;
        Ok(kept)
    }

    async fn to_rule(&self) -> Result<PgConnection, Error> {
        Ok(PgConnection::connect_with(&self.options_for("postgres")).await?)
    }
}
