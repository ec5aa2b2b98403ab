//! The season: which week each visit is meant for, how even the weeks are, what found no room.

use super::super::{
    app::App,
    draw::{self, WeekBar},
    error::Result,
    form::{Nothing, Posted},
    guard::{Office, see_other},
    html::{Frame, html},
    words::{self, State},
};
use crate::{
    season::SeasonName,
    store::{
        self, catalogue, closures,
        queue::{self, PLAN_SEASON},
        season_plan::{self, Line, Plan, Week},
        week,
    },
    units::{day_short, day_with_year, month_day, span, time_of_day},
};
use askama::Template;
use sqlx::PgExecutor;
use time::{Date, Duration};
use uuid::Uuid;

/// So many weeks ahead are told as times; those after them by area.
const AS_TIMES: i64 = 2;
/// Visits of one week that are listed.
const SHOWN: i64 = 400;

struct LineView {
    unit_id: Uuid,
    what: String,
    town: String,
    customer: String,
    jobs: String,
    /// "Tue Oct 6, 9:10 am, Wick"; empty where only the week is told.
    at: String,
    window: State,
    why: String,
}

struct AreaView {
    name: String,
    lines: Vec<LineView>,
}

struct WeekView {
    name: String,
    heading: String,
    visits: i64,
    /// How many of them are not listed.
    more: i64,
    issued: bool,
    /// Planned by the day already, as a draft or issued.
    planned: bool,
    work: String,
    before: String,
    hours: String,
    areas: Vec<AreaView>,
}

#[derive(Template)]
#[template(path = "office/season.html")]
struct SeasonPage {
    f: Frame,
    heading: String,
    plan: Option<PlanView>,
    planning: bool,
    failed: String,
    weeks: Vec<WeekView>,
    unplaced: Vec<LineView>,
    /// Some roads are closed, which a season's plan knows nothing of.
    closed: bool,
}

struct PlanView {
    made: String,
    drive_source: String,
    visits: i64,
    drawing: String,
    spread: String,
}

pub(super) async fn page(who: Office, app: App, (): ()) -> Result {
    let today = who.dealer.today;
    let mut c = app.pool.acquire().await?;
    let calendar = catalogue::job_book(&mut c).await?.calendar;
    let waiting = queue::waiting(&mut *c, PLAN_SEASON, &serde_json::json!({})).await?;
    let plan = season_plan::header(&mut *c).await?;
    let (mut weeks, mut view, mut unplaced) = (Vec::new(), None, Vec::new());
    if let Some(plan) = plan {
        let rows = season_plan::plan_weeks(&mut *c, plan.id).await?;
        for (row, visits) in &rows {
            let lines = season_plan::lines(&mut *c, plan.id, Some(row.monday), SHOWN).await?;
            let standing = week::header(&mut *c, row.monday).await?;
            weeks.push(week_view(row, *visits, &lines, standing.as_ref(), today));
        }
        unplaced = season_plan::lines(&mut *c, plan.id, None, SHOWN).await?.iter().map(|l| line(l, today, false)).collect();
        view = Some(plan_view(&plan, &rows));
    }
    html(&SeasonPage {
        f: Frame::of(&who, "week"),
        heading: calendar.current_or_next(today).map_or_else(String::new, |(name, window)| {
            let name = if name == SeasonName::Fall { "fall" } else { "spring" };
            format!("{name}, {} to {}", month_day(window.opens()), day_with_year(window.closes()))
        }),
        plan: view,
        planning: waiting.is_some(),
        failed: waiting.unwrap_or_default(),
        weeks,
        unplaced,
        closed: !closures::standing(&mut *c, today).await?.is_empty(),
    })
}

fn plan_view(plan: &Plan, rows: &[(Week, i64)]) -> PlanView {
    let open: Vec<&Week> = rows.iter().map(|(week, _)| week).filter(|w| w.hours_s > 0).collect();
    let spread = |f: fn(&Week) -> i64| {
        let least = open.iter().map(|w| f(w)).min().unwrap_or(0);
        let most = open.iter().map(|w| f(w)).max().unwrap_or(0);
        format!("{} to {}", hours(least), hours(most))
    };
    let bars: Vec<WeekBar> =
        open.iter().map(|w| WeekBar { name: month_day(w.monday), hours_s: w.hours_s, work_s: w.work_s, before_s: w.before_s }).collect();
    PlanView {
        made: day_with_year(plan.made_on),
        drive_source: plan.drive_source.clone(),
        visits: rows.iter().map(|(_, visits)| visits).sum(),
        drawing: draw::weeks(&bars),
        spread: format!("{} of work a week; as they would have fallen, {}", spread(|w| w.work_s), spread(|w| w.before_s)),
    }
}

/// "43 h", rounded.
fn hours(seconds: i64) -> String {
    format!("{} h", (seconds + 1800) / 3600)
}

fn week_view(row: &Week, visits: i64, lines: &[Line], standing: Option<&week::Plan>, today: Date) -> WeekView {
    let as_times = row.monday < week::monday_of(today) + Duration::weeks(AS_TIMES + 1);
    let mut areas: Vec<AreaView> = Vec::new();
    for l in lines {
        let view = line(l, today, as_times);
        match areas.iter_mut().find(|a| a.name == l.area) {
            Some(area) => area.lines.push(view),
            None => areas.push(AreaView { name: l.area.clone(), lines: vec![view] }),
        }
    }
    WeekView {
        name: week::week_name(row.monday),
        heading: format!("{} to {}", day_short(row.monday), day_short(row.monday + Duration::days(6))),
        visits,
        more: visits - i64::try_from(lines.len()).unwrap_or(visits),
        issued: standing.is_some_and(|p| p.issued_at.is_some()),
        planned: standing.is_some(),
        work: hours(row.work_s),
        before: hours(row.before_s),
        hours: span(i32::try_from(row.hours_s).unwrap_or(i32::MAX)),
        areas,
    }
}

fn line(l: &Line, today: Date, as_time: bool) -> LineView {
    let at = l.day.zip(l.starts).filter(|_| as_time).map(|(day, starts)| {
        let who = l.technician.as_deref().unwrap_or_default();
        format!("{}, about {}, {who}", day_short(day), time_of_day(starts))
    });
    LineView {
        unit_id: l.unit_id,
        what: format!("{}: {}", l.place_name, l.unit_name),
        town: l.town.clone(),
        customer: l.customer_name.clone(),
        jobs: l.jobs.join(", "),
        at: at.unwrap_or_default(),
        window: words::window(l.opens_on, l.closes_on, today),
        why: l.why.clone(),
    }
}

/// "The season’s plan means it for Mon Oct 19 to Sun Oct 25, round Tarnwater."; empty where it says nothing.
pub(super) async fn meant(db: impl PgExecutor<'_>, unit_id: Uuid, today: Date) -> store::Result<String> {
    let found = season_plan::of_unit(db, unit_id, week::monday_of(today)).await?;
    Ok(found.map_or_else(String::new, |(monday, area)| {
        let area = if area.is_empty() { String::new() } else { format!(", {area}") };
        format!("The season’s plan means it for {} to {}{area}.", day_short(monday), day_short(monday + Duration::days(6)))
    }))
}

pub(super) async fn plan(who: Office, app: App, posted: Posted<Nothing>) -> Result {
    let now = app.clock.now();
    let wish = serde_json::json!({});
    let mut tx = app.pool.begin().await?;
    if posted.first_time(&mut tx, &who, "plan season", now).await? && queue::waiting(&mut *tx, PLAN_SEASON, &wish).await?.is_none() {
        queue::ask(&mut tx, PLAN_SEASON, &wish, now, Some(who.staff_id)).await?;
    }
    tx.commit().await?;
    app.bell.notify_one();
    Ok(see_other("/season"))
}
