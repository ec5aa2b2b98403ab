//! What customers were told: a time of a week, kept until they are told another. The plan may go past it; then somebody has to call.

use super::{
    super::{Error, Result},
    change,
};
use sqlx::{PgConnection, PgExecutor};
use std::collections::HashMap;
use time::{Date, OffsetDateTime};
use uuid::Uuid;

/// A day and a minute after midnight that a customer was told.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Told {
    pub day: Date,
    pub starts: i32,
}

/// Minutes round a told time within which the technician may begin.
pub(super) const TOLD: i32 = 15;

impl Told {
    /// Whether what stands is still what was told.
    pub fn holds(self, day: Option<Date>, starts: Option<i32>) -> bool {
        day == Some(self.day) && starts.is_some_and(|s| (s - self.starts).abs() <= TOLD)
    }
}

/// The customer was told the time at which the visit stands, or does not count on the time that was told any more. A visit without a
/// place can only lose it.
pub async fn confirm(db: &mut PgConnection, visit_id: Uuid, row_version: i32, told: bool, by: Uuid, now: OffsetDateTime) -> Result<()> {
    let open =
        change::take(&mut *db, visit_id, row_version).await.map_err(|e| if matches!(e, Error::NotFound) { e } else { Error::Clash })?;
    if told {
        let said = sqlx::query!(
            "INSERT INTO week_told (monday, unit_id, day, starts, said_by, said_at) SELECT $2, v.unit_id, v.day, v.starts, $3, $4 FROM visits v WHERE v.id = $1 AND v.day IS NOT NULL
             ON CONFLICT (monday, unit_id) DO UPDATE SET day = excluded.day, starts = excluded.starts, said_by = excluded.said_by, said_at = excluded.said_at",
            visit_id,
            open.monday,
            by,
            now
        )
        .execute(&mut *db)
        .await?;
        if said.rows_affected() != 1 {
            return Err(Error::Clash);
        }
    } else {
        forget(&mut *db, visit_id).await?;
    }
    sqlx::query!(
        "UPDATE visits SET status = CASE WHEN status = 'unplaced' THEN status WHEN $2 THEN 'confirmed' ELSE 'planned' END, row_version = row_version + 1 WHERE id = $1",
        visit_id,
        told
    )
    .execute(db)
    .await?;
    Ok(())
}

/// The customer says on their own page that the time which stands there suits. `false`: it does not stand any more.
pub async fn agree(db: &mut PgConnection, unit_id: Uuid, told: Told, now: OffsetDateTime) -> Result<bool> {
    let agreed = sqlx::query!(
        "WITH v AS (UPDATE visits v SET status = 'confirmed', row_version = v.row_version + 1 FROM week_plans w
                    WHERE w.id = v.week_plan_id AND v.unit_id = $1 AND v.day = $2 AND v.starts = $3
                      AND (v.status = 'confirmed' OR (v.status = 'planned' AND w.status = 'issued')) RETURNING w.monday)
         INSERT INTO week_told (monday, unit_id, day, starts, said_at) SELECT monday, $1, $2, $3, $4 FROM v LIMIT 1
         ON CONFLICT (monday, unit_id) DO UPDATE SET day = excluded.day, starts = excluded.starts, said_by = NULL, said_at = excluded.said_at",
        unit_id,
        told.day,
        told.starts,
        now
    )
    .execute(db)
    .await?;
    Ok(agreed.rows_affected() == 1)
}

/// The customer counts on nothing any more that was told of this visit.
pub(super) async fn forget(db: impl PgExecutor<'_>, visit_id: Uuid) -> Result<()> {
    sqlx::query!(
        "DELETE FROM week_told t USING visits v, week_plans w WHERE v.id = $1 AND w.id = v.week_plan_id AND t.monday = w.monday AND t.unit_id = v.unit_id",
        visit_id
    )
    .execute(db)
    .await?;
    Ok(())
}

/// What was told of these visits.
pub(super) async fn of(db: impl PgExecutor<'_>, visits: &[Uuid]) -> Result<HashMap<Uuid, Told>> {
    let rows = sqlx::query!(
        "SELECT v.id, t.day, t.starts FROM visits v JOIN week_plans w ON w.id = v.week_plan_id JOIN week_told t ON t.monday = w.monday AND t.unit_id = v.unit_id
         WHERE v.id = ANY($1)",
        visits
    )
    .fetch_all(db)
    .await?;
    Ok(rows.into_iter().map(|r| (r.id, Told { day: r.day, starts: r.starts })).collect())
}
