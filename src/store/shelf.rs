//! The shelf: treatment on hand, by lot.

use super::{Error, Result};
use sqlx::{PgConnection, PgExecutor};
use time::{Date, OffsetDateTime};
use uuid::Uuid;

/// A lot on the shelf with what is left of it.
#[derive(Clone, Debug)]
pub struct LotLine {
    pub id: Uuid,
    pub product_id: Uuid,
    pub lot: String,
    pub expires_on: Option<Date>,
    pub left_ml: i64,
}

/// Lots that are not used up, oldest first.
pub async fn lots(db: impl PgExecutor<'_>) -> Result<Vec<LotLine>> {
    let rows = sqlx::query_as!(
        LotLine,
        r#"SELECT l.id, l.product_id, l.lot, l.expires_on, coalesce(sum(m.amount_ml), 0)::bigint AS "left_ml!"
           FROM lots l LEFT JOIN shelf_moves m ON m.lot_id = l.id GROUP BY l.id HAVING coalesce(sum(m.amount_ml), 0) > 0
           ORDER BY l.received_on, l.lot LIMIT 100"#
    )
    .fetch_all(db)
    .await?;
    Ok(rows)
}

/// A lot that came in, with what was received of it; more of one that is known goes to it.
pub async fn add_lot(
    db: &mut PgConnection,
    product_id: Uuid,
    lot: &str,
    received_on: Date,
    expires_on: Option<Date>,
    ml: i64,
    now: OffsetDateTime,
) -> Result<Uuid> {
    let id = sqlx::query_scalar!(
        "INSERT INTO lots (id, product_id, lot, received_on, expires_on) VALUES ($1, $2, $3, $4, $5)
         ON CONFLICT (product_id, lot) DO UPDATE SET received_on = excluded.received_on, expires_on = coalesce(excluded.expires_on, lots.expires_on) RETURNING id",
        Uuid::now_v7(),
        product_id,
        lot,
        received_on,
        expires_on
    )
    .fetch_one(&mut *db)
    .await?;
    sqlx::query!(
        "INSERT INTO shelf_moves (id, lot_id, moved_on, amount_ml, why, made_at) VALUES ($1, $2, $3, $4, 'received', $5)",
        Uuid::now_v7(),
        id,
        received_on,
        ml,
        now
    )
    .execute(db)
    .await?;
    Ok(id)
}

/// What a lot was found to hold when somebody looked: the difference is noted, as used without a note, spilled or found again.
///
/// [`Error::Clash`] when its lot holds another amount by now than the one that was `shown`.
pub async fn count_lot(
    db: &mut PgConnection,
    lot: Uuid,
    (shown, counted): (i64, i64),
    by: Uuid,
    (day, now): (Date, OffsetDateTime),
) -> Result<()> {
    sqlx::query_scalar!("SELECT id FROM lots WHERE id = $1 FOR UPDATE", lot).fetch_one(&mut *db).await?;
    let left = sqlx::query_scalar!(r#"SELECT coalesce(sum(amount_ml), 0)::bigint AS "left!" FROM shelf_moves WHERE lot_id = $1"#, lot);
    if left.fetch_one(&mut *db).await? != shown {
        return Err(Error::Clash);
    }
    if counted != shown {
        sqlx::query!(
            "INSERT INTO shelf_moves (id, lot_id, moved_on, amount_ml, why, staff_id, made_at) VALUES ($1, $2, $3, $4, 'counted', $5, $6)",
            Uuid::now_v7(),
            lot,
            day,
            counted - shown,
            by,
            now
        )
        .execute(db)
        .await?;
    }
    Ok(())
}
