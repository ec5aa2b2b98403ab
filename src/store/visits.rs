//! Visits as the technician sees them: only issued ones, only their own.

use super::{
    Result,
    week::{self, Told},
};
use sqlx::PgExecutor;
use time::{Date, OffsetDateTime};
use uuid::Uuid;

/// A technician's issued days round `today`: the day and how many stops it has left.
pub async fn days(db: impl PgExecutor<'_>, staff_id: Uuid, from: Date, to: Date) -> Result<Vec<(Date, i64, i64)>> {
    let rows = sqlx::query!(
        r#"SELECT v.day AS "day!", count(*) FILTER (WHERE v.status IN ('planned', 'confirmed')) AS "left!", count(*) AS "all!"
           FROM visits v JOIN week_plans w ON w.id = v.week_plan_id
           WHERE v.staff_id = $1 AND v.day BETWEEN $2 AND $3 AND w.status = 'issued' AND v.status <> 'cancelled' GROUP BY v.day ORDER BY v.day LIMIT 31"#,
        staff_id,
        from,
        to
    )
    .fetch_all(db)
    .await?;
    Ok(rows.into_iter().map(|r| (r.day, r.left, r.all)).collect())
}

/// Whether this visit is on an issued route of this technician, and on which day. Foreign and unknown ids look alike.
pub async fn own(db: impl PgExecutor<'_>, staff_id: Uuid, visit_id: Uuid) -> Result<(Date, Uuid)> {
    let r = sqlx::query!(
        r#"SELECT v.day AS "day!", v.unit_id FROM visits v JOIN week_plans w ON w.id = v.week_plan_id
           WHERE v.id = $2 AND v.staff_id = $1 AND v.day IS NOT NULL AND w.status = 'issued' AND v.status <> 'cancelled'"#,
        staff_id,
        visit_id
    )
    .fetch_one(db)
    .await?;
    Ok((r.day, r.unit_id))
}

/// The issued stops of one technician's day, in order. Empty while the week is a draft.
pub async fn stops(db: &sqlx::PgPool, staff_id: Uuid, day: Date) -> Result<Vec<week::Stop>> {
    let monday = week::monday_of(day);
    let issued = week::header(db, monday).await?.is_some_and(|p| p.issued_at.is_some());
    if issued { week::stops(db, monday, Some((staff_id, day))).await } else { Ok(Vec::new()) }
}

/// The next visit a unit has ahead of it: the day and hour if it stands at one, and what was told. `starts` in minutes after midnight.
#[derive(Clone, Debug)]
pub struct Ahead {
    pub visit_id: Uuid,
    pub row_version: i32,
    pub day: Option<Date>,
    pub starts: Option<i32>,
    /// From when to when somebody is at the unit.
    pub from_to: Option<(OffsetDateTime, OffsetDateTime)>,
    pub confirmed: bool,
    /// What the customer was told.
    pub told: Option<Told>,
    pub jobs: Vec<String>,
    /// What the customer has to see to before.
    pub prepare: Vec<String>,
}

pub async fn ahead(db: impl PgExecutor<'_>, unit_id: Uuid, today: Date) -> Result<Option<Ahead>> {
    let row = sqlx::query!(
        r#"SELECT v.id, v.row_version, v.day, v.starts, v.status, t.day AS "told_day?", t.starts AS "told_starts?",
             (v.day + make_interval(mins => v.starts)) AT TIME ZONE d.zone AS begins_at, (v.day + make_interval(mins => v.ends)) AT TIME ZONE d.zone AS ends_at,
             coalesce(j.names, '{}') AS "jobs!", coalesce(j.prepare, '{}') AS "prepare!"
           FROM visits v JOIN week_plans w ON w.id = v.week_plan_id JOIN dealer d ON d.id = 1
           LEFT JOIN week_told t ON t.monday = w.monday AND t.unit_id = v.unit_id
           LEFT JOIN LATERAL (SELECT array_agg(k.name ORDER BY k.position) AS names,
                                array_agg(k.prepare ORDER BY k.position) FILTER (WHERE k.prepare <> '') AS prepare
                              FROM visit_jobs x JOIN job_kinds k ON k.code = x.job_code WHERE x.visit_id = v.id) j ON true
           WHERE v.unit_id = $1 AND v.status IN ('planned', 'confirmed') AND v.day >= $2 AND (v.status = 'confirmed' OR w.status = 'issued')
           ORDER BY v.day LIMIT 1"#,
        unit_id,
        today
    )
    .fetch_optional(db)
    .await?;
    Ok(row.map(|r| Ahead {
        visit_id: r.id,
        row_version: r.row_version,
        day: r.day,
        starts: r.starts,
        from_to: r.begins_at.zip(r.ends_at),
        confirmed: r.status == "confirmed",
        told: Told::of(r.told_day, r.told_starts),
        jobs: r.jobs,
        prepare: r.prepare,
    }))
}
