//! The due list as the office reads it.

use super::super::Result;
use sqlx::PgExecutor;
use time::Date;
use uuid::Uuid;

/// One job that one unit needs.
#[derive(Clone, Debug)]
pub struct DueLine {
    pub unit_id: Uuid,
    pub unit_name: String,
    pub place_id: Uuid,
    pub place_name: String,
    pub town: String,
    pub customer_id: Uuid,
    pub customer_name: String,
    pub customer_phone: String,
    pub job_code: String,
    pub job_name: String,
    pub opens_on: Date,
    pub closes_on: Date,
    pub reason: String,
    /// 1 is the most pressing, 4 can wait.
    pub priority: i16,
    /// For a cold firebox.
    pub waits: bool,
    /// The open visit at which it is done, if there is one: day and status; planned, where its customer counts on another time.
    pub visit_day: Option<Date>,
    pub visit_status: Option<String>,
}

/// Which part of the list.
#[derive(Clone, Debug, Default)]
pub struct Filter {
    /// Only this job kind; empty for all.
    pub job: String,
    /// Only towns that begin so; empty for all.
    pub town: String,
    /// Only items that have opened by this day.
    pub opened_by: Option<Date>,
    /// Only items that wait for a cold firebox, or none of them.
    pub waits: Option<bool>,
    /// After this line: priority, closing day, unit and job, as the last page ended.
    pub after: Option<(i16, Date, Uuid, String)>,
}

/// The next `limit` lines, most pressing first.
pub async fn lines(db: impl PgExecutor<'_>, f: &Filter, today: Date, limit: i64) -> Result<Vec<DueLine>> {
    let after = f.after.as_ref();
    let rows = sqlx::query_as!(
        DueLine,
        r#"SELECT d.unit_id, u.name AS unit_name, p.id AS place_id, p.name AS place_name, p.town, c.id AS customer_id, c.name AS customer_name,
             c.phone AS customer_phone, d.job_code, k.name AS job_name, d.opens_on, d.closes_on, d.reason, d.priority, d.waits, v.day AS "visit_day?", v.status AS "visit_status?"
           FROM due_items d JOIN units u ON u.id = d.unit_id JOIN places p ON p.id = u.place_id JOIN customers c ON c.id = u.customer_id
           JOIN job_kinds k ON k.code = d.job_code
           LEFT JOIN LATERAL (
             SELECT x.day, CASE WHEN t.day <> x.day OR abs(t.starts - x.starts) > $11 THEN 'planned' ELSE x.status END AS status
             FROM visits x JOIN week_plans w ON w.id = x.week_plan_id LEFT JOIN week_told t ON t.monday = w.monday AND t.unit_id = x.unit_id
             WHERE x.unit_id = d.unit_id AND x.status IN ('planned', 'confirmed') AND x.day >= $7
               AND EXISTS (SELECT FROM visit_jobs j WHERE j.visit_id = x.id AND j.job_code = d.job_code) ORDER BY x.day LIMIT 1) v ON true
           WHERE ($1 = '' OR d.job_code = $1) AND ($2 = '' OR lower(p.town) LIKE lower($2) || '%') AND ($3::date IS NULL OR d.opens_on <= $3) AND ($9::bool IS NULL OR d.waits = $9)
             AND ($4::date IS NULL OR (d.priority, d.closes_on, d.unit_id, d.job_code) > ($8::smallint, $4, $5::uuid, $10::text))
           ORDER BY d.priority, d.closes_on, d.unit_id, d.job_code LIMIT $6"#,
        f.job,
        f.town.trim(),
        f.opened_by,
        after.map(|a| a.1),
        after.map(|a| a.2),
        limit,
        today,
        after.map(|a| a.0),
        f.waits,
        after.map(|a| a.3.as_str()),
        super::super::week::TOLD
    )
    .fetch_all(db)
    .await?;
    Ok(rows)
}

/// How many units have something past due, open now, opening later, and waiting for a cold firebox.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Counts {
    pub past: i64,
    pub open: i64,
    pub later: i64,
    pub waits: i64,
}

pub async fn counts(db: impl PgExecutor<'_>, today: Date) -> Result<Counts> {
    let counts = sqlx::query_as!(
        Counts,
        r#"SELECT count(DISTINCT unit_id) FILTER (WHERE closes_on < $1 AND NOT waits) AS "past!",
             count(DISTINCT unit_id) FILTER (WHERE opens_on <= $1 AND closes_on >= $1 AND NOT waits) AS "open!",
             count(DISTINCT unit_id) FILTER (WHERE opens_on > $1) AS "later!", count(DISTINCT unit_id) FILTER (WHERE waits) AS "waits!" FROM due_items"#,
        today
    );
    Ok(counts.fetch_one(db).await?)
}

/// What is due for one unit.
pub async fn of_unit(db: impl PgExecutor<'_>, unit_id: Uuid) -> Result<Vec<DueLine>> {
    of_units(db, &[unit_id]).await
}

/// What is due for these units, as one customer has.
pub async fn of_units(db: impl PgExecutor<'_>, units: &[Uuid]) -> Result<Vec<DueLine>> {
    let rows = sqlx::query_as!(
        DueLine,
        r#"SELECT d.unit_id, u.name AS unit_name, p.id AS place_id, p.name AS place_name, p.town, c.id AS customer_id, c.name AS customer_name,
             c.phone AS customer_phone, d.job_code, k.name AS job_name, d.opens_on, d.closes_on, d.reason, d.priority, d.waits, NULL::date AS visit_day, NULL::text AS visit_status
           FROM due_items d JOIN units u ON u.id = d.unit_id JOIN places p ON p.id = u.place_id JOIN customers c ON c.id = u.customer_id
           JOIN job_kinds k ON k.code = d.job_code WHERE d.unit_id = ANY($1) ORDER BY d.closes_on, k.position, d.unit_id LIMIT 500"#,
        units
    )
    .fetch_all(db)
    .await?;
    Ok(rows)
}

/// Asks for a job at a unit, to be met by `by_day`.
#[expect(clippy::too_many_arguments, reason = "one row, as it is written")]
pub async fn ask(
    db: impl PgExecutor<'_>,
    id: Uuid,
    unit_id: Uuid,
    job: &str,
    today: Date,
    by_day: Date,
    note: &str,
    by: Uuid,
) -> Result<()> {
    sqlx::query!(
        "INSERT INTO requests (id, unit_id, job_code, asked_on, by_day, note, made_by) VALUES ($1, $2, $3, $4, $5, $6, $7)",
        id,
        unit_id,
        job,
        today,
        by_day,
        note,
        by
    )
    .execute(db)
    .await?;
    Ok(())
}
