//! The week: plan it, look at it, issue it, print it.

use super::super::{
    app::App,
    error::{Error, Result},
    form::{Nothing, Posted},
    guard::{Office, see_other},
    html::{Frame, html},
    map,
    words::{self, State},
};
use crate::{
    roads::sketch::Size,
    store::{
        catalogue,
        closures::{self, RoadClosure},
        dealer::Dealer,
        events::{self, Actor},
        queue::{self, PLAN_WEEK, plan_week_wish},
        staff, water,
        week::{self, Plan, RouteRow, Stop, Told, UnplacedCounts},
    },
    units::{amount, day_long, day_short, distance, month_day, span, time_of_day},
    water::{Occasion, table},
};
use askama::Template;
use axum::extract::{Path, Query};
use serde::Deserialize;
use time::{Date, Duration};
use uuid::Uuid;

/// Visits without a place that are shown one by one.
const SHOWN: i64 = 40;

/// A stop, ready for the page.
pub(super) struct StopView {
    pub(super) visit_id: Uuid,
    pub(super) row_version: i32,
    pub(super) n: i16,
    pub(super) times: String,
    pub(super) place: String,
    pub(super) town: String,
    pub(super) address: String,
    pub(super) unit: String,
    pub(super) unit_id: Uuid,
    pub(super) customer: String,
    pub(super) phone: String,
    pub(super) jobs: String,
    /// Jobs that somebody else has done meanwhile.
    pub(super) done_already: String,
    pub(super) reason: String,
    pub(super) why: String,
    pub(super) dose: String,
    pub(super) drive: String,
    pub(super) state: State,
    pub(super) open: bool,
    pub(super) must: bool,
    pub(super) confirmed: bool,
    /// What the customer was told, where that is not what stands: somebody has to call.
    pub(super) call: String,
    pub(super) window: State,
    /// The dose table of this unit for the printed sheet: drops, amount.
    pub(super) doses: Vec<(String, String)>,
    /// Why nothing may be put in there yet, for the printed sheet.
    pub(super) held: String,
}

impl StopView {
    pub(super) fn of(s: &Stop, dealer: &Dealer) -> Self {
        Self {
            visit_id: s.visit_id,
            row_version: s.row_version,
            n: s.position.unwrap_or(0),
            times: s.starts.zip(s.ends).map_or_else(String::new, |(a, b)| format!("{} to {}", time_of_day(a), time_of_day(b))),
            place: s.place_name.clone(),
            town: s.town.clone(),
            address: s.address.clone(),
            unit: s.unit_name.clone(),
            unit_id: s.unit_id,
            customer: s.customer_name.clone(),
            phone: s.customer_phone.clone(),
            jobs: s.job_names.join(", "),
            done_already: s.done_already.join(", "),
            reason: s.reason.clone(),
            why: s.why.clone(),
            dose: s.expected_dose_ml.filter(|ml| *ml > 0).map(|ml| amount(ml, dealer.units)).unwrap_or_default(),
            drive: words::drive(s.drive_s, s.drive_m),
            state: words::visit(&s.status),
            must: s.must,
            open: s.status == "planned" || s.status == "confirmed",
            confirmed: s.status == "confirmed",
            call: s.to_call().map(words::told).unwrap_or_default(),
            window: words::window(s.opens_on, s.closes_on, dealer.today),
            doses: Vec::new(),
            held: String::new(),
        }
    }
}

/// A customer who counts on a time that does not stand.
struct Call {
    visit_id: Uuid,
    customer: String,
    phone: String,
    unit: String,
    told: String,
    /// As it stands.
    now: String,
}

impl Call {
    fn of(s: &Stop) -> Option<Self> {
        let stands = s.day.zip(s.starts).map(|(day, starts)| words::told(Told { day, starts }));
        Some(Self {
            visit_id: s.visit_id,
            customer: s.customer_name.clone(),
            phone: s.customer_phone.clone(),
            unit: format!("{}: {}", s.place_name, s.unit_name),
            told: words::told(s.to_call()?),
            now: stands.unwrap_or_else(|| "without a place".to_owned()),
        })
    }
}

/// One technician's day, ready for the page.
pub(super) struct DayView {
    /// As a visit is put on it.
    pub(super) target: String,
    pub(super) staff_id: Uuid,
    pub(super) day: Date,
    /// It can still be changed.
    pub(super) ahead: bool,
    /// There is something to do, and the technician is off on this day or works here no more.
    away: bool,
    pub(super) technician: String,
    pub(super) heading: String,
    pub(super) summary: String,
    pub(super) lunch: String,
    pub(super) trouble: String,
    pub(super) load: Vec<String>,
    pub(super) stops: Vec<StopView>,
    /// Cautions of dosing at these stops, for the printed sheet.
    pub(super) cautions: Vec<String>,
    /// The day's drive drawn, for paper.
    pub(super) map: String,
}

/// The technicians of one day, side by side.
struct DayRow {
    /// "Mon Nov 30"
    words: String,
    day: Date,
    routes: Vec<DayView>,
}

/// Routes stand day by day.
fn by_day(routes: Vec<DayView>) -> Vec<DayRow> {
    let mut rows: Vec<DayRow> = Vec::new();
    for route in routes {
        match rows.last_mut() {
            Some(row) if row.day == route.day => row.routes.push(route),
            _ => rows.push(DayRow { words: day_short(route.day), day: route.day, routes: vec![route] }),
        }
    }
    rows
}

/// A technician's day that a visit can be put on.
struct Target {
    value: String,
    words: String,
}

#[derive(Template)]
#[template(path = "office/week.html")]
struct WeekPage {
    /// All drives on one drawing; empty when nobody drives.
    map: String,
    f: Frame,
    week: String,
    heading: String,
    before: String,
    after: String,
    plan: Option<PlanView>,
    /// Roads that are closed on a day of it, in words.
    closed: Vec<String>,
    /// Places that no open road leads to.
    cut_off: Vec<String>,
    planning: bool,
    failed: String,
    said: String,
    days: Vec<DayRow>,
    targets: Vec<Target>,
    /// Whom to call.
    calls: Vec<Call>,
    unplaced: Vec<StopView>,
    counts: UnplacedCounts,
    totals: String,
}

struct PlanView {
    issued: bool,
    /// Its routes do not go round exactly what is closed now.
    other_roads: bool,
    drive_source: String,
    row_version: i32,
}

#[derive(Debug, Default, Deserialize)]
pub(super) struct Said {
    #[serde(default)]
    pub(super) said: String,
}

/// The week that somebody drives in today or later; else the one that is to be planned: on a Monday this, then the next.
pub(super) async fn coming(who: Office, app: App, (): ()) -> Result {
    let today = who.dealer.today;
    let monday = week::monday_of(today);
    let runs = week::routes(&app.pool, monday, None).await?.iter().any(|route| route.day >= today);
    let shown = if runs || monday == today { monday } else { monday + Duration::days(7) };
    Ok(see_other(&format!("/week/{}", week::week_name(shown))))
}

pub(super) fn monday(name: &str) -> Result<Date> {
    week::parse_week(name).ok_or(Error::NotFound)
}

pub(super) async fn page(who: Office, app: App, (Path(name), Query(said)): (Path<String>, Query<Said>)) -> Result {
    let monday = monday(&name)?;
    let plan = week::header(&app.pool, monday).await?;
    let waiting = queue::waiting(&app.pool, PLAN_WEEK, &plan_week_wish(monday)).await?;
    let counts = week::unplaced_counts(&app.pool, monday).await?;
    let unplaced = week::unplaced(&app.pool, monday, SHOWN).await?;
    let Routes { days, mut calls, totals, map, shut, cut_off } = days(&app, &who.dealer, monday, Drawn::Week).await?;
    calls.extend(unplaced.iter().filter_map(Call::of));
    let ids: Vec<Uuid> = shut.iter().map(|c| c.id).collect();
    let over = monday + Duration::days(6) < who.dealer.today;
    let page = WeekPage {
        map,
        closed: shut.iter().map(map::shut_words).collect(),
        cut_off,
        f: Frame::of(&who, "week"),
        week: week::week_name(monday),
        heading: format!("{} to {}", day_short(monday), day_short(monday + Duration::days(6))),
        before: week::week_name(monday - Duration::days(7)),
        after: week::week_name(monday + Duration::days(7)),
        plan: plan.map(|p: Plan| PlanView {
            issued: p.issued_at.is_some(),
            other_roads: !over && !closures::same(&p.closed_roads, &ids),
            drive_source: p.drive_source,
            row_version: p.row_version,
        }),
        planning: waiting.is_some(),
        failed: waiting.unwrap_or_default(),
        said: said.said,
        targets: targets(&app, monday, who.dealer.today, &days).await?,
        days: by_day(days),
        calls,
        unplaced: unplaced.iter().map(|s| StopView::of(s, &who.dealer)).collect(),
        counts,
        totals,
    };
    html(&page)
}

/// What of a week's drives is drawn.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Drawn {
    /// All on one drawing.
    Week,
    /// Each day for itself.
    Days,
}

/// The routes of a week.
struct Routes {
    days: Vec<DayView>,
    /// Customers of its stops who have to be called.
    calls: Vec<Call>,
    /// The week in one line.
    totals: String,
    /// Its drives drawn.
    map: String,
    shut: Vec<RoadClosure>,
    /// Places that no open road leads to.
    cut_off: Vec<String>,
}

async fn days(app: &App, dealer: &Dealer, monday: Date, drawn: Drawn) -> Result<Routes> {
    let routes = week::routes(&app.pool, monday, None).await?;
    let stops = week::stops(&app.pool, monday, None).await?;
    let minutes: i32 = stops.iter().map(|s| s.minutes).sum();
    let drive: i32 = routes.iter().map(|r| r.drive_s).sum();
    let metres: i32 = routes.iter().map(|r| r.drive_m).sum();
    let totals = format!("{} visits, {} at the units, {} of driving, {}", stops.len(), span(minutes * 60), span(drive), distance(metres));
    let mut days: Vec<DayView> = routes.iter().map(|r| day(r, &stops, dealer)).collect();
    let working = staff::working_days(&app.pool, monday).await?;
    for view in &mut days {
        view.away &= working.iter().all(|w| (w.staff_id, w.day) != (view.staff_id, view.day));
    }
    let map = if drawn == Drawn::Week { map::week(app, &routes, &stops).await } else { String::new() };
    if drawn == Drawn::Days {
        for (n, (view, route)) in days.iter_mut().zip(&routes).enumerate() {
            view.map = map::route(app, &format!("day{n}"), route, &stops, PAPER).await;
        }
    }
    let shut = closures::of_week(&app.pool, monday).await?;
    let cut_off = map::cut_off(app, &shut, &routes, &stops).await?;
    let calls = stops.iter().filter_map(Call::of).collect();
    Ok(Routes { days, calls, totals, map, shut, cut_off })
}

fn day(r: &RouteRow, stops: &[Stop], dealer: &Dealer) -> DayView {
    let own: Vec<&Stop> = stops.iter().filter(|s| s.staff_id == Some(r.staff_id) && s.day == Some(r.day)).collect();
    DayView {
        target: target(r.staff_id, r.day),
        staff_id: r.staff_id,
        day: r.day,
        ahead: r.day >= dealer.today,
        away: r.day >= dealer.today && own.iter().any(|s| ["planned", "confirmed"].contains(&s.status.as_str())),
        technician: r.technician.clone(),
        heading: day_long(r.day),
        cautions: Vec::new(),
        map: String::new(),
        summary: format!(
            "Leaves {} {}, back {}. {} of driving, {}.",
            r.depot_name,
            time_of_day(r.leaves),
            time_of_day(r.returns),
            span(r.drive_s),
            distance(r.drive_m)
        ),
        lunch: r.lunch_at.map(time_of_day).unwrap_or_default(),
        trouble: r.trouble.clone(),
        load: load(own.iter().copied(), dealer),
        stops: own.into_iter().map(|s| StopView::of(s, dealer)).collect(),
    }
}

/// What to put in the van, as lines.
fn load<'a>(stops: impl IntoIterator<Item = &'a Stop>, dealer: &Dealer) -> Vec<String> {
    week::load(stops).into_iter().map(|(product, ml)| format!("{product}: {}", amount(ml, dealer.units))).collect()
}

fn target(staff_id: Uuid, day: Date) -> String {
    format!("{staff_id}/{day}")
}

/// The working days of everybody from today on, and days on which somebody drives all the same.
async fn targets(app: &App, monday: Date, today: Date, routes: &[DayView]) -> Result<Vec<Target>> {
    let technicians = staff::technicians(&app.pool).await?;
    let working = staff::working_days(&app.pool, monday).await?;
    let mut days: Vec<(Date, Uuid)> =
        working.iter().map(|d| (d.day, d.staff_id)).chain(routes.iter().map(|r| (r.day, r.staff_id))).collect();
    days.retain(|d| d.0 >= today);
    days.sort_unstable();
    days.dedup();
    let view = |(day, id): &(Date, Uuid)| {
        let t = technicians.iter().find(|t| t.id == *id)?;
        Some(Target { value: target(t.id, *day), words: format!("{}, {}", day_short(*day), t.name) })
    };
    Ok(days.iter().filter_map(view).collect())
}

pub(super) async fn plan(who: Office, app: App, (Path(name), posted): (Path<String>, Posted<Nothing>)) -> Result {
    let monday = monday(&name)?;
    let now = app.clock.now();
    if week::header(&app.pool, monday).await?.is_some_and(|p| p.issued_at.is_some()) {
        return Err(Error::Bad("This week is issued: technicians and customers count on it. Move single visits instead.".to_owned()));
    }
    let mut tx = app.pool.begin().await?;
    let wish = plan_week_wish(monday);
    if posted.first_time(&mut tx, &who, "plan week", now).await? && queue::waiting(&mut *tx, PLAN_WEEK, &wish).await?.is_none() {
        queue::ask(&mut tx, PLAN_WEEK, &wish, now, Some(who.staff_id)).await?;
    }
    tx.commit().await?;
    app.bell.notify_one();
    Ok(see_other(&format!("/week/{name}")))
}

#[derive(Debug, Deserialize)]
pub(super) struct Version {
    row_version: i32,
}

pub(super) async fn issue(who: Office, app: App, (Path(name), posted): (Path<String>, Posted<Version>)) -> Result {
    let monday = monday(&name)?;
    let now = app.clock.now();
    let mut tx = app.pool.begin().await?;
    if posted.first_time(&mut tx, &who, "issue week", now).await? {
        week::issue(&mut *tx, monday, posted.form.row_version, now).await?;
        let actor = Actor { id: Some(who.staff_id), words: who.name.clone() };
        events::note(&mut *tx, now, &actor, "issued a week", &name).await?;
    }
    tx.commit().await?;
    Ok(see_other(&format!("/week/{name}?said=issued")))
}

/// A day's drive on its printed sheet.
const PAPER: Size = Size { wide: 760, high: 230 };

#[derive(Template)]
#[template(path = "office/week_print.html")]
struct PrintPage {
    f: Frame,
    week: String,
    heading: String,
    drive_source: String,
    days: Vec<DayView>,
    totals: String,
    job_cautions: Vec<String>,
    /// Roads that are closed on a day of it, in words.
    closed: Vec<String>,
    cut_off: Vec<String>,
}

/// The week on paper: a sheet a technician and day, with boxes to write in.
pub(super) async fn print(who: Office, app: App, Path(name): Path<String>) -> Result {
    let monday = monday(&name)?;
    let plan = week::header(&app.pool, monday).await?.ok_or(Error::NotFound)?;
    let Routes { mut days, totals, shut, cut_off, .. } = days(&app, &who.dealer, monday, Drawn::Days).await?;
    add_dose_tables(&app, &who.dealer, &mut days).await?;
    let codes: Vec<String> = {
        let mut c = app.pool.acquire().await?;
        catalogue::job_book(&mut c).await?.jobs.iter().map(|j| j.kind.code().to_owned()).collect()
    };
    let items = catalogue::checklist(&app.pool, &codes).await?;
    let mut job_cautions: Vec<String> = items.into_iter().map(|i| i.caution).filter(|c| !c.is_empty()).collect();
    job_cautions.sort();
    job_cautions.dedup();
    html(&PrintPage {
        f: Frame::of(&who, "week"),
        week: week::week_name(monday),
        heading: format!("{} to {}", month_day(monday), month_day(monday + Duration::days(6))),
        drive_source: plan.drive_source,
        days,
        totals,
        job_cautions,
        closed: shut.iter().map(map::shut_words).collect(),
        cut_off,
    })
}

/// The same table and cautions that the phone shows, for paper: every count of drops that asks for a dose.
async fn add_dose_tables(app: &App, dealer: &Dealer, days: &mut [DayView]) -> Result<()> {
    let ids: Vec<Uuid> = days.iter().flat_map(|d| d.stops.iter().map(|s| s.unit_id)).collect();
    let mut c = app.pool.acquire().await?;
    let treatments = catalogue::treatments(&mut c).await?;
    let waters = water::unit_waters(&mut *c, &treatments, &ids).await?;
    for day in days {
        for stop in &mut day.stops {
            let Some(water) = waters.get(&stop.unit_id) else { continue };
            let standing = water.before_the_test(dealer.today);
            stop.held = standing.held.join(" ");
            day.cautions.extend(standing.cautions.into_iter().filter(|c| !day.cautions.contains(c)).collect::<Vec<_>>());
            let (Some(site), Some(kit)) = (water.site(Occasion::Scheduled, dealer.today), &water.kit) else { continue };
            let rows = table(&site, kit, dealer.today).unwrap_or_default();
            stop.doses = rows.iter().filter_map(|r| Some((r.shown.typed(), r.dose?.text(dealer.units)))).collect();
        }
    }
    Ok(())
}
