//! The plan of a whole season: which week each visit is meant for. Made anew when asked for; it binds nobody.

use super::{
    Result, catalogue, due,
    week::{self, Proposal},
};
use sqlx::{PgConnection, PgExecutor};
use std::collections::HashMap;
use time::{Date, OffsetDateTime};
use uuid::Uuid;

/// A plan as it is kept.
#[derive(Clone, Debug)]
pub struct NewSeason {
    pub monday: Date,
    pub until: Date,
    pub seed: i64,
    pub iterations: i64,
    pub drive_source: String,
    pub weeks: Vec<Week>,
    pub visits: Vec<NewVisit>,
}

/// One week's work in seconds: what is worked, what was planned, and how it fell before the weeks were made even.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Week {
    pub monday: Date,
    pub hours_s: i64,
    pub work_s: i64,
    pub before_s: i64,
}

/// A visit of the season; `at` is `None` where it found no room.
#[derive(Clone, Debug)]
pub struct NewVisit {
    pub unit_id: Uuid,
    pub at: Option<At>,
    pub area: String,
    pub minutes: i32,
    pub jobs: Vec<String>,
    pub opens_on: Date,
    pub closes_on: Date,
    pub why: String,
}

/// Who, when: minutes after midnight.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct At {
    pub staff_id: Uuid,
    pub day: Date,
    pub starts: i32,
}

/// Every unit's visits that can be made from `from` until `until`. Units whose visit stands already, in an issued week or told
/// to the customer, are left out.
pub async fn candidates(db: &mut PgConnection, from: Date, until: Date, today: Date) -> Result<Vec<Proposal>> {
    let rows = sqlx::query!(
        r#"SELECT u.id, u.customer_id, u.place_id, p.name AS place_name, p.lat, p.lon, s.test_by AS "test_by?"
           FROM units u JOIN places p ON p.id = u.place_id LEFT JOIN foreseen s ON s.unit_id = u.id
           WHERE u.status <> 'retired'
             AND NOT EXISTS (SELECT FROM visits v JOIN week_plans w ON w.id = v.week_plan_id
                             WHERE v.unit_id = u.id AND v.day >= $1 AND (v.status = 'confirmed' OR (v.status = 'planned' AND w.status = 'issued')))
           ORDER BY u.id LIMIT 6000"#,
        today
    )
    .fetch_all(&mut *db)
    .await?;
    let treatments = catalogue::treatments(&mut *db).await?;
    let ids: Vec<Uuid> = rows.iter().map(|r| r.id).collect();
    let places: Vec<Uuid> = rows.iter().map(|r| r.place_id).collect();
    let day = from.max(today);
    let horizon = u16::try_from((until - day).whole_days()).unwrap_or(0);
    let mut proposed = due::proposals(&mut *db, &ids, &treatments, day, horizon).await?;
    let suits = week::suits(&mut *db, &places).await?;
    let mut all = Vec::new();
    for r in rows {
        let Some((visits, water)) = proposed.remove(&r.id) else { continue };
        let one = |visit| Proposal {
            unit_id: r.id,
            customer_id: r.customer_id,
            place_id: r.place_id,
            place_name: r.place_name.clone(),
            pin: r.lat.zip(r.lon),
            visit,
            water: water.clone(),
            suits: suits.get(&r.place_id).cloned().unwrap_or_default(),
            test_by: r.test_by,
        };
        all.extend(visits.into_iter().map(one));
    }
    Ok(all)
}

/// A visit that customers were told of, in a week that is not issued yet: it keeps its day and time.
pub async fn told(db: impl PgExecutor<'_>, from: Date, until: Date) -> Result<Vec<Uuid>> {
    Ok(sqlx::query_scalar!(
        "SELECT v.id FROM visits v JOIN week_plans w ON w.id = v.week_plan_id
         WHERE v.status = 'confirmed' AND w.status = 'draft' AND w.monday BETWEEN $1 AND $2 AND v.day >= $1 AND v.staff_id IS NOT NULL ORDER BY v.day, v.id LIMIT 2000",
        from,
        until
    )
    .fetch_all(db)
    .await?)
}

/// Mondays of the issued weeks from `from` on.
pub async fn issued(db: impl PgExecutor<'_>, from: Date) -> Result<Vec<Date>> {
    Ok(sqlx::query_scalar!("SELECT monday FROM week_plans WHERE monday >= $1 AND status = 'issued' ORDER BY monday LIMIT 60", from)
        .fetch_all(db)
        .await?)
}

/// The town of most of these places, by place.
pub async fn towns(db: impl PgExecutor<'_>, places: &[Uuid]) -> Result<HashMap<Uuid, String>> {
    let rows = sqlx::query!("SELECT id, town FROM places WHERE id = ANY($1)", places).fetch_all(db).await?;
    Ok(rows.into_iter().map(|r| (r.id, r.town)).collect())
}

/// Keeps this plan in place of the one before.
pub async fn save(db: &mut PgConnection, plan: &NewSeason, now: OffsetDateTime) -> Result<()> {
    let id = Uuid::now_v7();
    // Two planners at once: the second waits here, and its plan stays.
    sqlx::query!("SELECT id FROM dealer WHERE id = 1 FOR UPDATE").fetch_one(&mut *db).await?;
    sqlx::query!("DELETE FROM season_plans").execute(&mut *db).await?;
    sqlx::query!(
        "INSERT INTO season_plans (id, monday, until_day, made_at, seed, iterations, drive_source) VALUES ($1, $2, $3, $4, $5, $6, $7)",
        id,
        plan.monday,
        plan.until,
        now,
        plan.seed,
        plan.iterations,
        plan.drive_source
    )
    .execute(&mut *db)
    .await?;
    let of_week = |f: fn(&Week) -> i64| plan.weeks.iter().map(f).collect::<Vec<i64>>();
    sqlx::query!(
        "INSERT INTO season_weeks (plan_id, monday, hours_s, work_s, before_s) SELECT $1, * FROM unnest($2::date[], $3::bigint[], $4::bigint[], $5::bigint[])",
        id,
        &plan.weeks.iter().map(|w| w.monday).collect::<Vec<_>>(),
        &of_week(|w| w.hours_s),
        &of_week(|w| w.work_s),
        &of_week(|w| w.before_s)
    )
    .execute(&mut *db)
    .await?;
    add_visits(db, id, &plan.visits).await
}

async fn add_visits(db: &mut PgConnection, plan_id: Uuid, visits: &[NewVisit]) -> Result<()> {
    let mut before: HashMap<Uuid, i16> = HashMap::new();
    let numbers: Vec<i16> = visits
        .iter()
        .map(|v| {
            let n = before.entry(v.unit_id).or_default();
            *n += 1;
            *n
        })
        .collect();
    // Arrays of arrays do not travel: the jobs of a visit go as one text, with a sign between that no code holds.
    let jobs: Vec<String> = visits.iter().map(|v| v.jobs.join("|")).collect();
    sqlx::query!(
        "INSERT INTO season_visits (plan_id, unit_id, n, monday, area, staff_id, day, starts, minutes, jobs, opens_on, closes_on, why)
         SELECT $1, unit_id, n, monday, left(area, 120), staff_id, day, starts, minutes, string_to_array(jobs, '|'), opens_on, closes_on, left(why, 400)
         FROM unnest($2::uuid[], $3::smallint[], $4::date[], $5::text[], $6::uuid[], $7::date[], $8::int[], $9::int[], $10::text[], $11::date[], $12::date[], $13::text[])
           AS v(unit_id, n, monday, area, staff_id, day, starts, minutes, jobs, opens_on, closes_on, why)",
        plan_id,
        &visits.iter().map(|v| v.unit_id).collect::<Vec<_>>(),
        &numbers,
        &visits.iter().map(|v| v.at.map(|a| week::monday_of(a.day))).collect::<Vec<_>>() as &[Option<Date>],
        &visits.iter().map(|v| v.area.clone()).collect::<Vec<_>>(),
        &visits.iter().map(|v| v.at.map(|a| a.staff_id)).collect::<Vec<_>>() as &[Option<Uuid>],
        &visits.iter().map(|v| v.at.map(|a| a.day)).collect::<Vec<_>>() as &[Option<Date>],
        &visits.iter().map(|v| v.at.map(|a| a.starts)).collect::<Vec<_>>() as &[Option<i32>],
        &visits.iter().map(|v| v.minutes).collect::<Vec<_>>(),
        &jobs,
        &visits.iter().map(|v| v.opens_on).collect::<Vec<_>>(),
        &visits.iter().map(|v| v.closes_on).collect::<Vec<_>>(),
        &visits.iter().map(|v| v.why.clone()).collect::<Vec<_>>()
    )
    .execute(db)
    .await?;
    Ok(())
}

/// The plan that is kept.
#[derive(Clone, Debug)]
pub struct Plan {
    pub id: Uuid,
    pub monday: Date,
    pub until: Date,
    /// The civil day it was made on.
    pub made_on: Date,
    pub drive_source: String,
}

pub async fn header(db: impl PgExecutor<'_>) -> Result<Option<Plan>> {
    Ok(sqlx::query_as!(
        Plan,
        r#"SELECT p.id, p.monday, p.until_day AS until, (p.made_at AT TIME ZONE d.zone)::date AS "made_on!", p.drive_source
           FROM season_plans p CROSS JOIN dealer d ORDER BY p.made_at DESC LIMIT 1"#
    )
    .fetch_optional(db)
    .await?)
}

/// The weeks of a plan, each with how many visits are meant for it.
pub async fn plan_weeks(db: impl PgExecutor<'_>, plan_id: Uuid) -> Result<Vec<(Week, i64)>> {
    let rows = sqlx::query!(
        r#"SELECT w.monday, w.hours_s, w.work_s, w.before_s, count(v.unit_id) AS "visits!"
           FROM season_weeks w LEFT JOIN season_visits v ON v.plan_id = w.plan_id AND v.monday = w.monday
           WHERE w.plan_id = $1 GROUP BY w.plan_id, w.monday ORDER BY w.monday LIMIT 60"#,
        plan_id
    )
    .fetch_all(db)
    .await?;
    Ok(rows
        .into_iter()
        .map(|r| (Week { monday: r.monday, hours_s: r.hours_s, work_s: r.work_s, before_s: r.before_s }, r.visits))
        .collect())
}

/// The week that each unit's first visit is meant for.
pub async fn weeks(db: impl PgExecutor<'_>) -> Result<HashMap<Uuid, Date>> {
    let rows = sqlx::query!(
        r#"SELECT unit_id, min(monday) AS "monday!" FROM season_visits WHERE plan_id = (SELECT id FROM season_plans ORDER BY made_at DESC LIMIT 1) AND monday IS NOT NULL
           GROUP BY unit_id LIMIT 20000"#
    )
    .fetch_all(db)
    .await?;
    Ok(rows.into_iter().map(|r| (r.unit_id, r.monday)).collect())
}

/// A planned visit as the page shows it.
#[derive(Clone, Debug)]
pub struct Line {
    pub unit_id: Uuid,
    pub unit_name: String,
    pub place_name: String,
    pub town: String,
    pub customer_name: String,
    pub monday: Option<Date>,
    pub area: String,
    pub technician: Option<String>,
    pub day: Option<Date>,
    pub starts: Option<i32>,
    pub jobs: Vec<String>,
    pub opens_on: Date,
    pub closes_on: Date,
    pub why: String,
}

/// Visits of one week of the plan by area and time, or (`None`) those without room.
pub async fn lines(db: impl PgExecutor<'_>, plan_id: Uuid, monday: Option<Date>, limit: i64) -> Result<Vec<Line>> {
    let rows = sqlx::query_as!(
        Line,
        r#"SELECT v.unit_id, u.name AS unit_name, p.name AS place_name, p.town, c.name AS customer_name, v.monday, v.area, s.name AS "technician?", v.day, v.starts,
             (SELECT coalesce(array_agg(k.name ORDER BY k.position), '{}') FROM job_kinds k WHERE k.code = ANY(v.jobs)) AS "jobs!", v.opens_on, v.closes_on, v.why
           FROM season_visits v JOIN units u ON u.id = v.unit_id JOIN places p ON p.id = u.place_id JOIN customers c ON c.id = u.customer_id
           LEFT JOIN staff s ON s.id = v.staff_id
           WHERE v.plan_id = $1 AND v.monday IS NOT DISTINCT FROM $2 ORDER BY v.area, v.day, v.starts, v.closes_on, v.unit_id LIMIT $3"#,
        plan_id,
        monday,
        limit
    )
    .fetch_all(db)
    .await?;
    Ok(rows)
}

/// The week and area that a unit's next visit is meant for.
pub async fn of_unit(db: impl PgExecutor<'_>, unit_id: Uuid, from: Date) -> Result<Option<(Date, String)>> {
    let row = sqlx::query!(
        r#"SELECT monday AS "monday!", area FROM season_visits WHERE unit_id = $1 AND monday >= $2 ORDER BY monday LIMIT 1"#,
        unit_id,
        from
    )
    .fetch_optional(db)
    .await?;
    Ok(row.map(|r| (r.monday, r.area)))
}
