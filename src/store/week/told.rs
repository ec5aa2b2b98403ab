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
pub const TOLD: i32 = 15;

impl Told {
    /// As its row keeps it; none, where nobody was told.
    pub(in crate::store) fn of(day: Option<Date>, starts: Option<i32>) -> Option<Self> {
        Some(Self { day: day?, starts: starts? })
    }

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
    .execute(&mut *db)
    .await?;
    change::touch_draft(db, open.monday).await
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

/// These units' customers were told these times of a week, whatever stands by now: where it does, the visit is confirmed; where it does
/// not, somebody has to call. Answers with how many were kept; a unit that is not to be visited in the week any more is left out.
pub async fn tell(db: &mut PgConnection, monday: Date, told: &[(Uuid, Told)], by: Uuid, now: OffsetDateTime) -> Result<usize> {
    let units: Vec<Uuid> = told.iter().map(|t| t.0).collect();
    let days: Vec<Date> = told.iter().map(|t| t.1.day).collect();
    let starts: Vec<i32> = told.iter().map(|t| t.1.starts).collect();
    let kept = sqlx::query_scalar!(
        "INSERT INTO week_told (monday, unit_id, day, starts, said_by, said_at)
         SELECT DISTINCT ON (t.unit_id) $1::date, t.unit_id, t.day, t.starts, $5::uuid, $6::timestamptz FROM unnest($2::uuid[], $3::date[], $4::int[]) AS t(unit_id, day, starts)
         WHERE EXISTS (SELECT FROM visits v JOIN week_plans w ON w.id = v.week_plan_id
                       WHERE w.monday = $1 AND v.unit_id = t.unit_id AND v.status IN ('planned', 'confirmed', 'unplaced'))
         ON CONFLICT (monday, unit_id) DO UPDATE SET day = excluded.day, starts = excluded.starts, said_by = excluded.said_by, said_at = excluded.said_at
         RETURNING unit_id",
        monday,
        &units,
        &days,
        &starts,
        by,
        now
    )
    .fetch_all(&mut *db)
    .await?;
    sqlx::query!(
        "UPDATE visits v SET status = 'confirmed', row_version = v.row_version + 1 FROM week_plans w, week_told t
         WHERE w.monday = $1 AND v.week_plan_id = w.id AND v.unit_id = ANY($2) AND v.status = 'planned' AND t.monday = w.monday AND t.unit_id = v.unit_id
           AND v.day = t.day AND abs(v.starts - t.starts) <= $3",
        monday,
        &kept,
        TOLD
    )
    .execute(&mut *db)
    .await?;
    change::touch_draft(db, monday).await?;
    Ok(kept.len())
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
