//! The technicians: when they work, what their vans carry, and the prices that their weeks are planned by.

use super::super::{Error, Result};
use sqlx::{PgConnection, PgExecutor};
use time::Date;
use uuid::Uuid;

/// A technician as the week plan needs one: where the day starts, when, and what the van holds.
#[derive(Clone, Debug)]
pub struct Technician {
    pub id: Uuid,
    pub name: String,
    pub depot_id: Uuid,
    pub depot_name: String,
    pub lat: f64,
    pub lon: f64,
    pub skills: Vec<String>,
    pub van_capacity_ml: i64,
    pub lunch_from: i32,
    pub lunch_to: i32,
    pub lunch_minutes: i32,
    /// Longest from driving off to being back.
    pub most_minutes: Option<i32>,
    /// Work beyond this is overtime.
    pub full_day_minutes: Option<i32>,
}

pub async fn technicians(db: impl PgExecutor<'_>) -> Result<Vec<Technician>> {
    let rows = sqlx::query_as!(
        Technician,
        "SELECT s.id, s.name, t.depot_id, d.name AS depot_name, d.lat, d.lon, t.skills, t.van_capacity_ml, t.lunch_from, t.lunch_to, t.lunch_minutes,
           t.most_minutes, t.full_day_minutes
         FROM technicians t JOIN staff s ON s.id = t.staff_id JOIN depots d ON d.id = t.depot_id
         WHERE s.active ORDER BY lower(s.name), s.id LIMIT 50"
    )
    .fetch_all(db)
    .await?;
    Ok(rows)
}

/// One working day of a technician: minutes after local midnight.
#[derive(Clone, Copy, Debug)]
pub struct WorkingDay {
    pub staff_id: Uuid,
    pub day: Date,
    pub starts: i32,
    pub ends: i32,
    pub behind: Behind,
}

/// What a working day has behind it that is laid out from the middle on.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Behind {
    /// Minutes of the day that were over at `starts`.
    pub minutes: i32,
    pub lunch_had: bool,
    /// Lunch is not before this minute after midnight.
    pub lunch_from: i32,
}

/// The working days of everyone in the week that starts on `monday`, days off left out.
pub async fn working_days(db: impl PgExecutor<'_>, monday: Date) -> Result<Vec<WorkingDay>> {
    working_weeks(db, monday, 1).await
}

/// The working days of everyone in so many weeks from `monday` on, days off left out.
pub async fn working_weeks(db: impl PgExecutor<'_>, monday: Date, weeks: u8) -> Result<Vec<WorkingDay>> {
    let rows = sqlx::query!(
        r#"SELECT w.staff_id, ($1::date + 7 * n + (w.weekday - 1)) AS "day!", w.starts, w.ends
           FROM working_hours w JOIN staff s ON s.id = w.staff_id CROSS JOIN generate_series(0, $2::int - 1) n
           WHERE s.active AND NOT EXISTS (SELECT FROM days_off o WHERE o.staff_id = w.staff_id AND o.day = $1::date + 7 * n + (w.weekday - 1))
           ORDER BY 2, w.staff_id LIMIT 5000"#,
        monday,
        i32::from(weeks)
    )
    .fetch_all(db)
    .await?;
    let day = |(staff_id, day, starts, ends)| WorkingDay { staff_id, day, starts, ends, behind: Behind::default() };
    Ok(rows.into_iter().map(|r| day((r.staff_id, r.day, r.starts, r.ends))).collect())
}

/// What the planner weighs against driving. Common practice, no source.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Prices {
    /// Driving that a minute of overtime is worth, in hundredths of a minute.
    pub overtime_percent: i32,
    /// Driving that a day after the window is worth, minutes.
    pub late_minutes_a_day: i32,
    /// Driving that the first hour above a week's even share is worth, seconds.
    pub uneven_seconds: i32,
    pub row_version: i32,
}

pub async fn prices(db: impl PgExecutor<'_>) -> Result<Prices> {
    let prices = sqlx::query_as!(
        Prices,
        "SELECT overtime_percent, late_minutes_a_day, uneven_seconds, row_version FROM planning_prices WHERE id = 1"
    );
    Ok(prices.fetch_one(db).await?)
}

/// Keeps other prices, if they are still those that were looked at.
pub async fn change_prices(db: impl PgExecutor<'_>, p: &Prices) -> Result<()> {
    let done = sqlx::query!(
        "UPDATE planning_prices SET overtime_percent = $1, late_minutes_a_day = $2, uneven_seconds = $3, source = 'the dealer''s own',
           row_version = row_version + 1 WHERE id = 1 AND row_version = $4",
        p.overtime_percent,
        p.late_minutes_a_day,
        p.uneven_seconds,
        p.row_version
    )
    .execute(db)
    .await?;
    if done.rows_affected() == 1 { Ok(()) } else { Err(Error::Clash) }
}

/// Who works when in some weeks, and the prices they are planned by.
#[derive(Clone, Debug)]
pub struct Crew {
    pub technicians: Vec<Technician>,
    pub days: Vec<WorkingDay>,
    pub prices: Prices,
    pub loads: Vec<VanLoad>,
}

/// What a technician's van carries of one product, where that is less than the van holds in all.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct VanLoad {
    pub staff_id: Uuid,
    pub product_id: Uuid,
    pub ml: i64,
}

pub async fn van_loads(db: impl PgExecutor<'_>) -> Result<Vec<VanLoad>> {
    Ok(sqlx::query_as!(VanLoad, "SELECT staff_id, product_id, ml FROM van_loads ORDER BY staff_id, product_id LIMIT 2000")
        .fetch_all(db)
        .await?)
}

/// Keeps these loads for a technician in place of those before.
pub async fn set_van_loads(db: &mut PgConnection, id: Uuid, loads: &[(Uuid, i64)]) -> Result<()> {
    sqlx::query!("DELETE FROM van_loads WHERE staff_id = $1", id).execute(&mut *db).await?;
    sqlx::query!(
        "INSERT INTO van_loads (staff_id, product_id, ml) SELECT $1, * FROM unnest($2::uuid[], $3::bigint[])",
        id,
        &loads.iter().map(|l| l.0).collect::<Vec<_>>(),
        &loads.iter().map(|l| l.1).collect::<Vec<_>>()
    )
    .execute(db)
    .await?;
    Ok(())
}

pub async fn crew(db: &mut PgConnection, monday: Date, weeks: u8) -> Result<Crew> {
    Ok(Crew {
        technicians: technicians(&mut *db).await?,
        days: working_weeks(&mut *db, monday, weeks).await?,
        loads: van_loads(&mut *db).await?,
        prices: prices(db).await?,
    })
}

/// Makes a member of staff a technician who starts from `depot`, with the usual hours Monday to Friday.
pub async fn add_technician(db: &mut PgConnection, id: Uuid, depot: Uuid, skills: &[String], starts: i32, ends: i32) -> Result<()> {
    sqlx::query!("INSERT INTO technicians (staff_id, depot_id, skills) VALUES ($1, $2, $3)", id, depot, skills).execute(&mut *db).await?;
    sqlx::query!(
        "INSERT INTO working_hours (staff_id, weekday, starts, ends) SELECT $1, d, $2, $3 FROM generate_series(1, 5) d",
        id,
        starts,
        ends
    )
    .execute(&mut *db)
    .await?;
    Ok(())
}

/// Whether that person is an owner who works here and drives no routes yet.
pub async fn may_drive_too(db: impl PgExecutor<'_>, id: Uuid) -> Result<bool> {
    let may = sqlx::query_scalar!(
        r#"SELECT EXISTS (SELECT FROM staff s WHERE s.id = $1 AND s.active AND s.role = 'owner'
             AND NOT EXISTS (SELECT FROM technicians t WHERE t.staff_id = s.id)) AS "may!""#,
        id
    );
    Ok(may.fetch_one(db).await?)
}

/// The usual hours of one weekday.
#[derive(Clone, Copy, Debug)]
pub struct Hours {
    pub staff_id: Uuid,
    /// ISO: 1 is Monday.
    pub weekday: i16,
    pub starts: i32,
    pub ends: i32,
}

pub async fn hours(db: impl PgExecutor<'_>) -> Result<Vec<Hours>> {
    Ok(sqlx::query_as!(Hours, "SELECT staff_id, weekday, starts, ends FROM working_hours ORDER BY staff_id, weekday LIMIT 400")
        .fetch_all(db)
        .await?)
}

/// Days off from `from` on.
pub async fn days_off(db: impl PgExecutor<'_>, from: Date) -> Result<Vec<(Uuid, Date)>> {
    let rows = sqlx::query!("SELECT staff_id, day FROM days_off WHERE day >= $1 ORDER BY day LIMIT 400", from).fetch_all(db).await?;
    Ok(rows.into_iter().map(|r| (r.staff_id, r.day)).collect())
}

/// Adds every day from the first to the last, both included.
pub async fn add_days_off(db: impl PgExecutor<'_>, id: Uuid, first: Date, last: Date) -> Result<()> {
    sqlx::query!(
        "INSERT INTO days_off (staff_id, day) SELECT $1, $2::date + n FROM generate_series(0, $3::date - $2::date) n ON CONFLICT DO NOTHING",
        id,
        first,
        last
    )
    .execute(db)
    .await?;
    Ok(())
}

/// Somebody works on these days after all.
pub async fn take_back_days_off(db: impl PgExecutor<'_>, id: Uuid, days: &[Date]) -> Result<()> {
    sqlx::query!("DELETE FROM days_off WHERE staff_id = $1 AND day = ANY($2)", id, days).execute(db).await?;
    Ok(())
}

/// What is kept of how a technician works.
#[derive(Clone, Debug)]
pub struct TechnicianChange<'a> {
    pub id: Uuid,
    pub depot: Uuid,
    pub skills: &'a [String],
    pub capacity_ml: i64,
    pub weekdays: &'a [u8],
    /// Of each of those weekdays, minutes after midnight.
    pub hours: (i32, i32),
    /// Lunch begins from the first minute to the second.
    pub lunch: (i32, i32),
    pub lunch_minutes: i32,
    pub most_minutes: Option<i32>,
    pub full_day_minutes: Option<i32>,
}

/// Keeps where a technician's days start and how they work.
pub async fn change_technician(db: &mut PgConnection, t: &TechnicianChange<'_>) -> Result<()> {
    let done = sqlx::query!(
        "UPDATE technicians SET depot_id = $2, skills = $3, van_capacity_ml = $4, most_minutes = $5, full_day_minutes = $6,
           lunch_from = $7, lunch_to = $8, lunch_minutes = $9 WHERE staff_id = $1",
        t.id,
        t.depot,
        t.skills,
        t.capacity_ml,
        t.most_minutes,
        t.full_day_minutes,
        t.lunch.0,
        t.lunch.1,
        t.lunch_minutes
    )
    .execute(&mut *db)
    .await?;
    if done.rows_affected() == 0 {
        return Err(Error::NotFound);
    }
    let weekdays: Vec<i16> = t.weekdays.iter().copied().filter(|d| (1..=7).contains(d)).map(i16::from).collect();
    sqlx::query!("DELETE FROM working_hours WHERE staff_id = $1", t.id).execute(&mut *db).await?;
    sqlx::query!("INSERT INTO working_hours (staff_id, weekday, starts, ends) SELECT DISTINCT $1::uuid, d, $3::int, $4::int FROM unnest($2::smallint[]) d", t.id, &weekdays, t.hours.0, t.hours.1)
        .execute(db)
        .await?;
    Ok(())
}
