//! Job kinds with their checklists, and the season calendar, as types.

use super::super::{Result, corrupt};
use crate::season::{Cadence, JobKind, MonthDay, SeasonCalendar, SeasonName, Seasons};
use sqlx::{PgConnection, PgExecutor};
use time::Month;

/// A job kind and what the pages need beside it.
#[derive(Clone, Debug)]
pub struct JobRow {
    pub kind: JobKind,
    /// Whether a water test belongs to it.
    pub tests_water: bool,
    /// Not offered any more. Reports of before, and phones that have not heard of it, still name it.
    pub retired: bool,
    pub source: String,
}

/// All job kinds, in the dealer's order, and the seasons.
#[derive(Clone, Debug)]
pub struct JobBook {
    pub jobs: Vec<JobRow>,
    pub calendar: SeasonCalendar,
}

impl JobBook {
    pub fn job(&self, code: &str) -> Option<&JobRow> {
        self.jobs.iter().find(|j| j.kind.code() == code)
    }
    pub fn kinds(&self) -> Vec<JobKind> {
        self.jobs.iter().map(|j| j.kind.clone()).collect()
    }
    /// Whether the water is tested by one of these jobs, and so dosed.
    pub fn tests<'a>(&self, codes: impl IntoIterator<Item = &'a str>) -> bool {
        codes.into_iter().any(|code| self.job(code).is_some_and(|j| j.tests_water))
    }
    /// The job's name, or its code when it is gone from the book.
    pub fn name<'a>(&'a self, code: &'a str) -> &'a str {
        self.job(code).map_or(code, |j| j.kind.name())
    }
}

pub async fn job_book(db: &mut PgConnection) -> Result<JobBook> {
    let mut jobs = all_jobs(&mut *db).await?;
    jobs.retain(|j| !j.retired);
    Ok(JobBook { jobs, calendar: calendar(db).await? })
}

/// All job kinds, those that are not offered any more among them.
pub async fn all_jobs(db: impl PgExecutor<'_>) -> Result<Vec<JobRow>> {
    let rows = sqlx::query!(
        "SELECT code, name, minutes, set_up_minutes, cadence, skill, joins, tests_water, lead_days, done_by_test, while_idle, lapses, cold, source, retired
         FROM job_kinds ORDER BY position, code LIMIT 100"
    )
    .fetch_all(db)
    .await?;
    let recheck = Cadence::AfterDose { first_day: 7, last_day: 28 };
    rows.into_iter()
        .map(|r| {
            let bad = |e: &dyn std::fmt::Display| corrupt("job_kinds", &r.code, e);
            let minutes = |m: i32| u16::try_from(m).map_err(|e| bad(&e));
            let cadence = match r.cadence.as_str() {
                "once at fill" => Cadence::OnceAtFill,
                "every fall" => Cadence::EverySeason(Seasons::Fall),
                "every spring" => Cadence::EverySeason(Seasons::Spring),
                "every season" => Cadence::EverySeason(Seasons::SpringAndFall),
                "after a dose" => recheck,
                _ => Cadence::OnRequest,
            };
            let kind = JobKind::new(&r.code, &r.name, (minutes(r.minutes)?, minutes(r.set_up_minutes)?), cadence).map_err(|e| bad(&e))?;
            let mut kind = kind.with_lead_days(u16::try_from(r.lead_days).map_err(|e| bad(&e))?).map_err(|e| bad(&e))?;
            kind.joins = r.joins;
            kind.done_by_test = r.done_by_test;
            kind.while_idle = r.while_idle;
            kind.lapses = r.lapses;
            kind.cold = r.cold;
            kind.skills.extend(Some(r.skill.clone()).filter(|s| !s.is_empty()));
            Ok(JobRow { kind, tests_water: r.tests_water, retired: r.retired, source: r.source })
        })
        .collect()
}

fn season(name: &str) -> Option<SeasonName> {
    match name {
        "spring" => Some(SeasonName::Spring),
        "fall" => Some(SeasonName::Fall),
        _ => None,
    }
}

async fn calendar(db: &mut PgConnection) -> Result<SeasonCalendar> {
    let rows =
        sqlx::query!("SELECT name, opens_month, opens_day, closes_month, closes_day FROM seasons LIMIT 2").fetch_all(&mut *db).await?;
    let bad = |e: &dyn std::fmt::Display| corrupt("seasons", "calendar", e);
    let day = |month: i16, day: i16| {
        let month = u8::try_from(month).ok().and_then(|m| Month::try_from(m).ok());
        let made = month.zip(u8::try_from(day).ok()).and_then(|(m, d)| MonthDay::new(m, d).ok());
        made.ok_or_else(|| bad(&"a day that does not come in every year"))
    };
    let mut spring = None;
    let mut fall = None;
    for r in rows {
        let window = (day(r.opens_month, r.opens_day)?, day(r.closes_month, r.closes_day)?);
        match season(&r.name) {
            Some(SeasonName::Spring) => spring = Some(window),
            _ => fall = Some(window),
        }
    }
    let (Some(spring), Some(fall)) = (spring, fall) else { return Err(bad(&"spring or fall is missing")) };
    let mut calendar = SeasonCalendar::new(spring, fall).map_err(|e| bad(&e))?;
    let rows =
        sqlx::query!("SELECT name, year, opens_on, closes_on FROM season_overrides ORDER BY year DESC LIMIT 100").fetch_all(db).await?;
    for r in rows {
        let window = crate::season::DueWindow::new(r.opens_on, r.closes_on).map_err(|e| bad(&e))?;
        if let Some(name) = season(&r.name) {
            calendar = calendar.with_year(i32::from(r.year), name, window).map_err(|e| bad(&e))?;
        }
    }
    Ok(calendar)
}

/// One step of a job's checklist.
#[derive(Clone, Debug)]
pub struct ChecklistItem {
    pub code: String,
    pub job_code: String,
    pub says: String,
    pub expect: String,
    pub caution: String,
    /// A figure is asked for, not a tick.
    pub figure: bool,
    pub asked_unit: String,
    pub only_fuel_moisture: bool,
    pub basis: String,
    /// Left out, or worded anew, since.
    pub retired: bool,
}

/// The steps of these jobs, in order.
pub async fn checklist(db: impl PgExecutor<'_>, jobs: &[String]) -> Result<Vec<ChecklistItem>> {
    let mut steps = all_steps(db, jobs).await?;
    steps.retain(|s| !s.retired);
    Ok(steps)
}

/// The same with those that are left out by now.
pub async fn all_steps(db: impl PgExecutor<'_>, jobs: &[String]) -> Result<Vec<ChecklistItem>> {
    let rows = sqlx::query_as!(
        ChecklistItem,
        r#"SELECT i.code, i.job_code, i.says, i.expect, i.caution, i.answer = 'figure' AS "figure!", i.asked_unit, i.only_fuel_moisture, i.basis, i.retired
           FROM checklist_items i JOIN job_kinds k ON k.code = i.job_code
           WHERE i.job_code = ANY($1) ORDER BY k.position, i.position, i.code LIMIT 2000"#,
        jobs
    )
    .fetch_all(db)
    .await?;
    Ok(rows)
}

/// A season's usual days, in words.
#[derive(Clone, Debug)]
pub struct SeasonDays {
    pub name: String,
    pub opens: String,
    pub closes: String,
    pub source: String,
}

pub async fn season_days(db: impl PgExecutor<'_>) -> Result<Vec<SeasonDays>> {
    let rows = sqlx::query!(
        r#"SELECT name, to_char(make_date(2025, opens_month, opens_day), 'Mon FMDD') AS "opens!", to_char(make_date(2025, closes_month, closes_day), 'Mon FMDD') AS "closes!", source
           FROM seasons ORDER BY name DESC LIMIT 2"#
    )
    .fetch_all(db)
    .await?;
    Ok(rows.into_iter().map(|r| SeasonDays { name: r.name, opens: r.opens, closes: r.closes, source: r.source }).collect())
}

/// Moves a season by month and day, and says where the days come from.
pub async fn change_season_from(db: impl PgExecutor<'_>, name: &str, window: (MonthDay, MonthDay), source: &str) -> Result<()> {
    let part = |d: MonthDay| (i16::from(d.month()), i16::from(d.day()));
    let ((om, od), (cm, cd)) = (part(window.0), part(window.1));
    sqlx::query!(
        "UPDATE seasons SET opens_month = $2, opens_day = $3, closes_month = $4, closes_day = $5, source = $6 WHERE name = $1",
        name,
        om,
        od,
        cm,
        cd,
        source
    )
    .execute(db)
    .await?;
    Ok(())
}

/// Moves a season by month and day.
pub async fn change_season(db: impl PgExecutor<'_>, name: &str, opens: time::Date, closes: time::Date) -> Result<()> {
    let part = |d: time::Date| (i16::from(u8::from(d.month())), i16::from(d.day()));
    let ((om, od), (cm, cd)) = (part(opens), part(closes));
    let done = sqlx::query!(
        "UPDATE seasons SET opens_month = $2, opens_day = $3, closes_month = $4, closes_day = $5, source = 'fixed by the dealer' WHERE name = $1",
        name,
        om,
        od,
        cm,
        cd
    )
    .execute(db)
    .await?;
    if done.rows_affected() == 1 { Ok(()) } else { Err(super::super::Error::NotFound) }
}
