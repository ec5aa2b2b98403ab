//! A place gets a new owner: its units go on with their water, their visits and their whole history.

use super::{Error, Result};
use sqlx::PgConnection;
use time::{Date, OffsetDateTime};
use uuid::Uuid;

/// Who gives a place to whom.
#[derive(Clone, Copy, Debug)]
pub struct HandOver {
    pub place_id: Uuid,
    /// As the place was looked at.
    pub row_version: i32,
    pub to: Uuid,
    pub by: Uuid,
    /// The Monday of the week that runs; what was told from it on counts no more.
    pub monday: Date,
}

/// Gives the place and its units to another customer. Visits that are ahead go along and count as told no more, since nobody has
/// talked to the new owner; links to the records are shut; open wishes are settled. Reports, tests and doses keep whose they were.
///
/// [`Error::Clash`] when somebody changed the place meanwhile, or the new owner has it already.
pub async fn hand_over(db: &mut PgConnection, h: &HandOver, now: OffsetDateTime) -> Result<()> {
    let done = sqlx::query!(
        "UPDATE places SET customer_id = $3, row_version = row_version + 1 WHERE id = $1 AND row_version = $2 AND customer_id <> $3",
        h.place_id,
        h.row_version,
        h.to
    )
    .execute(&mut *db)
    .await?;
    if done.rows_affected() != 1 {
        return Err(Error::Clash);
    }
    let units = sqlx::query_scalar!(
        "UPDATE units SET customer_id = $2, row_version = row_version + 1 WHERE place_id = $1 RETURNING id",
        h.place_id,
        h.to
    );
    let units: Vec<Uuid> = units.fetch_all(&mut *db).await?;
    sqlx::query!(
        "UPDATE visits SET customer_id = $2, row_version = row_version + 1, status = CASE status WHEN 'confirmed' THEN 'planned' ELSE status END
         WHERE unit_id = ANY($1) AND status IN ('unplaced', 'planned', 'confirmed')",
        &units,
        h.to
    )
    .execute(&mut *db)
    .await?;
    sqlx::query!("DELETE FROM week_told WHERE unit_id = ANY($1) AND monday >= $2", &units, h.monday).execute(&mut *db).await?;
    sqlx::query!("UPDATE record_links SET revoked_at = $2 WHERE unit_id = ANY($1) AND revoked_at IS NULL", &units, now)
        .execute(&mut *db)
        .await?;
    sqlx::query!(
        "UPDATE customer_words SET settled_at = $2, settled_by = $3 WHERE unit_id = ANY($1) AND settled_at IS NULL",
        &units,
        now,
        h.by
    )
    .execute(db)
    .await?;
    Ok(())
}
