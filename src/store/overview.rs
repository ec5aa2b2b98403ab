//! How far the season is, what was used and what lies on the shelf: sums for whoever runs the business.

use super::Result;
use sqlx::PgExecutor;
use time::{Date, OffsetDateTime};
use uuid::Uuid;

/// One kind of job in figures; units, not visits.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct JobProgress {
    pub name: String,
    /// Done since the season opened, here or by somebody else.
    pub done: i64,
    /// Due, with a day ahead.
    pub planned: i64,
    /// Due, without one.
    pub open: i64,
    /// Of all that is due: its window has closed.
    pub past: i64,
}

/// Every kind that was done since `since` or is due by `until`.
pub async fn progress(
    db: impl PgExecutor<'_>,
    since: Date,
    until: Date,
    today: Date,
    received_since: OffsetDateTime,
) -> Result<Vec<JobProgress>> {
    let rows = sqlx::query_as!(
        JobProgress,
        r#"WITH done AS (
             SELECT job_code, count(DISTINCT unit_id) AS n FROM (
               SELECT j.job_code, r.unit_id FROM visit_reports r JOIN report_jobs j ON j.report_id = r.report_id AND j.version = r.version
               WHERE r.received_at >= $4 AND r.visited_on BETWEEN $1 AND $3 AND r.outcome = 'done'
                 AND NOT EXISTS (SELECT FROM visit_reports n WHERE n.report_id = r.report_id AND n.version = r.version + 1)
               UNION ALL SELECT job_code, unit_id FROM done_elsewhere WHERE done_on BETWEEN $1 AND $3 AND taken_back_at IS NULL) d
             GROUP BY job_code),
           due AS (
             SELECT d.job_code, count(*) FILTER (WHERE v.unit_id IS NOT NULL) AS planned, count(*) FILTER (WHERE v.unit_id IS NULL) AS open,
               count(*) FILTER (WHERE d.closes_on < $3 AND NOT d.waits) AS past
             FROM due_items d LEFT JOIN LATERAL (SELECT unit_id FROM visits x WHERE unit_id = d.unit_id AND day >= $3 AND status IN ('planned', 'confirmed')
               AND EXISTS (SELECT FROM visit_jobs j WHERE j.visit_id = x.id AND j.job_code = d.job_code) LIMIT 1) v ON true
             WHERE d.opens_on <= $2 GROUP BY d.job_code)
           SELECT k.name, coalesce(done.n, 0) AS "done!", coalesce(due.planned, 0) AS "planned!", coalesce(due.open, 0) AS "open!", coalesce(due.past, 0) AS "past!"
           FROM job_kinds k LEFT JOIN done ON done.job_code = k.code LEFT JOIN due ON due.job_code = k.code
           WHERE done.n IS NOT NULL OR due.job_code IS NOT NULL ORDER BY k.position, k.code LIMIT 100"#,
        since,
        until,
        today,
        received_since
    );
    Ok(rows.fetch_all(db).await?)
}

/// One week in figures.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct WeekProgress {
    pub monday: Date,
    pub issued: bool,
    pub done: i64,
    pub not_done: i64,
    pub open: i64,
    pub drive_s: i64,
}

/// The planned weeks from one Monday to another.
pub async fn weeks(db: impl PgExecutor<'_>, from: Date, to: Date) -> Result<Vec<WeekProgress>> {
    let rows = sqlx::query_as!(
        WeekProgress,
        r#"SELECT w.monday, w.status = 'issued' AS "issued!", count(v.id) FILTER (WHERE v.status = 'done') AS "done!", count(v.id) FILTER (WHERE v.status = 'not done') AS "not_done!",
             count(v.id) FILTER (WHERE v.status IN ('planned', 'confirmed')) AS "open!",
             coalesce((SELECT sum(r.drive_s) FROM routes r WHERE r.week_plan_id = w.id), 0)::bigint AS "drive_s!"
           FROM week_plans w LEFT JOIN visits v ON v.week_plan_id = w.id AND v.day IS NOT NULL
           WHERE w.monday BETWEEN $1 AND $2 GROUP BY w.id ORDER BY w.monday LIMIT 60"#,
        from,
        to
    );
    Ok(rows.fetch_all(db).await?)
}

/// What went into units since a day, by product: millilitres.
pub async fn used(db: impl PgExecutor<'_>, since: Date) -> Result<Vec<(Uuid, i64)>> {
    let rows = sqlx::query!(
        r#"SELECT product_id, sum(amount_ml)::bigint AS "ml!" FROM doses WHERE superseded_at IS NULL AND given_on >= $1 GROUP BY product_id LIMIT 200"#,
        since
    )
    .fetch_all(db)
    .await?;
    Ok(rows.into_iter().map(|r| (r.product_id, r.ml)).collect())
}

/// Units for which something is due by a day.
pub async fn due_units(db: impl PgExecutor<'_>, until: Date) -> Result<Vec<Uuid>> {
    Ok(sqlx::query_scalar!("SELECT DISTINCT unit_id FROM due_items WHERE opens_on <= $1 ORDER BY unit_id LIMIT 6000", until)
        .fetch_all(db)
        .await?)
}
