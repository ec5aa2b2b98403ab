//! A technician's day: the stops in order.

use super::super::{
    app::App,
    error::{Error, Result},
    guard::{Technician, see_other},
    html::{Frame, html},
    map,
    words::{self, State},
};
use super::pack;
use crate::{
    roads::sketch::Size,
    store::{
        closures, reports, visits,
        week::{self, RouteRow, Stop},
    },
    units::{UnitsFirst, amount, day_long, day_short, distance, parse_date, span, time_of_day},
};
use askama::Template;
use axum::extract::Path;
use time::{Date, Duration};
use uuid::Uuid;

struct StopView {
    visit: Uuid,
    n: i16,
    href: String,
    times: String,
    place: String,
    unit: String,
    address: String,
    town: String,
    jobs: String,
    drive: String,
    state: State,
    why: String,
}

struct OtherDay {
    href: String,
    words: String,
}

#[derive(Template)]
#[template(path = "yard/route.html")]
struct RoutePage {
    f: Frame,
    heading: String,
    is_today: bool,
    summary: String,
    lunch: String,
    map: String,
    day: Date,
    version: String,
    /// Product and how much of it to load.
    load: Vec<(String, String)>,
    /// What should be left in the van, once something was put in.
    van: Vec<String>,
    stops: Vec<StopView>,
    left: usize,
    /// Roads that are closed that day, in words.
    closed: Vec<String>,
    others: Vec<OtherDay>,
}

/// How far round today other days are offered.
const BACK: Duration = Duration::days(3);
const AHEAD: Duration = Duration::days(14);

/// Today's route, or the next one there is.
pub(super) async fn today(who: Technician, app: App, (): ()) -> Result {
    let today = who.dealer.today;
    let days = visits::days(&app.pool, who.staff_id, today, today + AHEAD).await?;
    let day = days.first().map_or(today, |d| d.0);
    Ok(see_other(&format!("/route/{day}")))
}

pub(super) async fn page(who: Technician, app: App, Path(day): Path<String>) -> Result {
    let day = parse_date(&day).map_err(|_| Error::NotFound)?;
    let today = who.dealer.today;
    let stops = visits::stops(&app.pool, who.staff_id, day).await?;
    let route = if stops.is_empty() { None } else { week::routes(&app.pool, week::monday_of(day), Some((who.staff_id, day))).await?.pop() };
    let map = match &route {
        Some(route) => map::route(&app, "day", route, &stops, Size::PHONE).await,
        None => String::new(),
    };
    let shut = if stops.is_empty() { Vec::new() } else { closures::holding(&app.pool, day, day).await? };
    let days = visits::days(&app.pool, who.staff_id, today - BACK, today + AHEAD).await?;
    let mut views = Vec::new();
    for s in &stops {
        let report = if ["done", "not done"].contains(&s.status.as_str()) { reports::of_visit(&app.pool, s.visit_id).await? } else { None };
        views.push(view(s, report));
    }
    let used = reports::put_in(&app.pool, &stops.iter().map(|s| s.visit_id).collect::<Vec<_>>()).await?;
    let load = week::load(&stops);
    html(&RoutePage {
        f: Frame::of(&who, "route"),
        heading: day_long(day),
        is_today: day == today,
        summary: route.as_ref().map(summary).unwrap_or_default(),
        map,
        lunch: route.and_then(|r| r.lunch_at).map(time_of_day).unwrap_or_default(),
        day,
        version: pack::version(&stops),
        van: left_in_van(&load, &used, who.dealer.units),
        load: load.into_iter().map(|(product, ml)| (product.to_owned(), amount(ml, who.dealer.units))).collect(),
        left: stops.iter().filter(|s| s.status == "planned" || s.status == "confirmed").count(),
        stops: views,
        closed: shut.iter().map(map::shut_words).collect(),
        others: days.into_iter().filter(|d| d.0 != day).map(|d| other(d, today)).collect(),
    })
}

fn summary(r: &RouteRow) -> String {
    format!(
        "Leave {} {}, back about {}. {} of driving, {}.",
        r.depot_name,
        time_of_day(r.leaves),
        time_of_day(r.returns),
        span(r.drive_s),
        distance(r.drive_m)
    )
}

/// In the evening: what was loaded less what the reports say was put in.
fn left_in_van(load: &[(&str, i64)], used: &[(String, i64)], first: UnitsFirst) -> Vec<String> {
    let left = |(product, ml): &(String, i64)| {
        let loaded = load.iter().find(|l| l.0 == product).map_or(0, |l| l.1);
        let put_in = amount(*ml, first);
        if loaded >= *ml {
            format!("{product}: {put_in} put in, about {} left in the van.", amount(loaded - ml, first))
        } else {
            format!("{product}: {put_in} put in, more than the list had.")
        }
    };
    used.iter().map(left).collect()
}

fn other((day, left, all): (Date, i64, i64), today: Date) -> OtherDay {
    let name = if day == today { "Today".to_owned() } else { day_short(day) };
    OtherDay {
        href: format!("/route/{day}"),
        words: if left == 0 { format!("{name}: all {all} settled") } else { format!("{name}: {left} of {all} to do") },
    }
}

fn view(s: &Stop, report: Option<Uuid>) -> StopView {
    StopView {
        visit: s.visit_id,
        n: s.position.unwrap_or(0),
        href: report.map_or_else(|| format!("/stop/{}", s.visit_id), |r| format!("/kept/{r}")),
        times: s.starts.zip(s.ends).map_or_else(String::new, |(a, b)| format!("{} to {}", time_of_day(a), time_of_day(b))),
        place: s.place_name.clone(),
        unit: s.unit_name.clone(),
        address: s.address.clone(),
        town: s.town.clone(),
        jobs: s.job_names.join(", "),
        drive: words::drive(s.drive_s, s.drive_m),
        state: words::visit(if s.to_call().is_some() { "planned" } else { &s.status }),
        why: match s.to_call() {
            Some(told) => format!("The customer was told {}", words::told(told)),
            None if s.status == "not done" => s.why.clone(),
            None => String::new(),
        },
    }
}
