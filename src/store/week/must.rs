//! Visits that must be made in a week: said of a unit, so that it holds however often the week is planned again.

use super::{super::Result, change};
use sqlx::{PgConnection, PgExecutor};
use time::{Date, OffsetDateTime};
use uuid::Uuid;

/// The units whose visit must be made in the week of `monday`.
pub async fn musts(db: impl PgExecutor<'_>, monday: Date) -> Result<Vec<Uuid>> {
    Ok(sqlx::query_scalar!("SELECT unit_id FROM week_musts WHERE monday = $1 ORDER BY unit_id LIMIT 6000", monday).fetch_all(db).await?)
}

/// Says that an open visit must be made in its week, or takes that back. Planning again goes by it.
pub async fn set_must(db: &mut PgConnection, visit_id: Uuid, row_version: i32, must: bool, by: Uuid, now: OffsetDateTime) -> Result<()> {
    let open = change::take(&mut *db, visit_id, row_version).await?;
    if must {
        sqlx::query!(
            "INSERT INTO week_musts (monday, unit_id, said_by, said_at) VALUES ($1, $2, $3, $4) ON CONFLICT DO NOTHING",
            open.monday,
            open.unit_id,
            by,
            now
        )
        .execute(&mut *db)
        .await?;
    } else {
        sqlx::query!("DELETE FROM week_musts WHERE monday = $1 AND unit_id = $2", open.monday, open.unit_id).execute(&mut *db).await?;
    }
    change::touch(db, open.monday).await
}
