//! Which backups were made, as the owner is told.

use super::Result;
use sqlx::PgExecutor;
use time::{Duration, OffsetDateTime};

/// What is known of the backups.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Known {
    pub made_at: OffsetDateTime,
    pub path: String,
    /// When one was tried out last.
    pub tried_at: Option<OffsetDateTime>,
}

/// The newest backup, if any was made.
pub async fn newest(db: impl PgExecutor<'_>) -> Result<Option<Known>> {
    let row = sqlx::query_as!(
        Known,
        r#"SELECT made_at, path, (SELECT tried_at FROM backups WHERE tried_at IS NOT NULL ORDER BY tried_at DESC LIMIT 1) AS tried_at FROM backups ORDER BY made_at DESC LIMIT 1"#
    );
    Ok(row.fetch_optional(db).await?)
}

/// Notes a backup, and forgets those of more than a year ago.
pub async fn note(db: impl PgExecutor<'_>, made_at: OffsetDateTime, path: &str, bytes: i64, photos: i32) -> Result<()> {
    sqlx::query!(
        "WITH old AS (DELETE FROM backups WHERE made_at < $5) INSERT INTO backups (made_at, path, bytes, photos) VALUES ($1, $2, $3, $4) ON CONFLICT DO NOTHING",
        made_at,
        path,
        bytes,
        photos,
        made_at - Duration::days(366)
    )
    .execute(db)
    .await?;
    Ok(())
}

/// Notes that the backup of that moment was tried out, and would come back whole.
pub async fn tried(db: impl PgExecutor<'_>, made_at: OffsetDateTime, at: OffsetDateTime) -> Result<()> {
    sqlx::query!("UPDATE backups SET tried_at = $2 WHERE made_at = $1", made_at, at).execute(db).await?;
    Ok(())
}
