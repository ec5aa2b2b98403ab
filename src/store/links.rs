//! Links that open one unit's water record. Only the token's hash is stored; unknown, lapsed and revoked look alike.

use super::Result;
use crate::secrets;
use sqlx::PgExecutor;
use time::{Duration, OffsetDateTime};
use uuid::Uuid;

/// Whoever holds a link: which unit they may see, and whose it is.
#[derive(Clone, Debug)]
pub struct Holder {
    pub unit_id: Uuid,
    pub customer_id: Uuid,
}

/// A link as the office sees it.
#[derive(Clone, Debug)]
pub struct Link {
    pub id: Uuid,
    pub label: String,
    pub ends_with: String,
    pub made_at: OffsetDateTime,
    pub ends_at: OffsetDateTime,
    pub revoked_at: Option<OffsetDateTime>,
}

/// How long a link lasts unless it is renewed.
const LASTS: Duration = Duration::days(400);

pub async fn holder(db: impl PgExecutor<'_>, token: &str, now: OffsetDateTime) -> Result<Option<Holder>> {
    let hash = secrets::sha256(token.as_bytes());
    let row = sqlx::query_as!(
        Holder,
        "SELECT unit_id, customer_id FROM record_links WHERE token_hash = $1 AND revoked_at IS NULL AND ends_at > $2",
        &hash[..],
        now
    )
    .fetch_optional(db)
    .await?;
    Ok(row)
}

/// Makes a link and returns its token, which nobody can read again later.
pub async fn make(db: impl PgExecutor<'_>, unit_id: Uuid, label: &str, by: Option<Uuid>, now: OffsetDateTime) -> Result<String> {
    let token = secrets::token();
    keep(db, unit_id, label, by, now, &token).await?;
    Ok(token)
}

/// Stores a link for a token that already exists.
pub async fn keep(db: impl PgExecutor<'_>, unit_id: Uuid, label: &str, by: Option<Uuid>, now: OffsetDateTime, token: &str) -> Result<()> {
    let hash = secrets::sha256(token.as_bytes());
    sqlx::query!(
        "INSERT INTO record_links (id, unit_id, customer_id, token_hash, label, ends_with, made_by, made_at, ends_at)
         SELECT $1, u.id, u.customer_id, $3, $4, $5, $6, $7, $8 FROM units u WHERE u.id = $2",
        Uuid::now_v7(),
        unit_id,
        &hash[..],
        label,
        &token[token.len().saturating_sub(2)..],
        by,
        now,
        now + LASTS
    )
    .execute(db)
    .await?;
    Ok(())
}

pub async fn of_unit(db: impl PgExecutor<'_>, unit_id: Uuid) -> Result<Vec<Link>> {
    let rows = sqlx::query_as!(
        Link,
        "SELECT id, label, ends_with, made_at, ends_at, revoked_at FROM record_links WHERE unit_id = $1 ORDER BY made_at DESC LIMIT 20",
        unit_id
    )
    .fetch_all(db)
    .await?;
    Ok(rows)
}

/// Closes a link for good.
pub async fn revoke(db: impl PgExecutor<'_>, unit_id: Uuid, id: Uuid, now: OffsetDateTime) -> Result<()> {
    let done =
        sqlx::query!("UPDATE record_links SET revoked_at = $3 WHERE id = $1 AND unit_id = $2 AND revoked_at IS NULL", id, unit_id, now)
            .execute(db)
            .await?;
    if done.rows_affected() == 1 { Ok(()) } else { Err(super::Error::NotFound) }
}
