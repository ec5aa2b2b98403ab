//! The whole record of one unit, for paper: what was found, what was done, what was put right, and by whom.

use super::super::{
    app::App,
    error::Result,
    guard::Office,
    html::{Frame, html},
    water_view::{self, WaterView},
    words,
};
use crate::{
    store::{
        catalogue,
        dealer::Dealer,
        due::{self, DoneLine},
        units::{self, Fill, Unit},
        water::{self, OutLine},
        week,
        whole_record::{self, WholeDose, WholeEvent, WholeTest, WholeVisit, WholeVolume},
    },
    units::{Millilitres, amount, day_long, day_with_year, decimal, time_of_day},
};
use askama::Template;
use axum::extract::Path;
use uuid::Uuid;

/// Rows of each list.
const ROWS: i64 = 1000;

/// A day and what stands beside it.
struct Row {
    day: String,
    cells: Vec<String>,
}

/// One version of a report.
struct VisitView {
    v: WholeVisit,
    day: String,
    received: String,
    /// What was done, with its figure; what was left open.
    done: Vec<String>,
    open: Vec<String>,
}

#[derive(Template)]
#[template(path = "office/whole_record.html")]
struct WholePage {
    f: Frame,
    u: Unit,
    installed: String,
    today: String,
    water: WaterView,
    volumes: Vec<Row>,
    fills: Vec<(String, Fill)>,
    tests: Vec<Row>,
    doses: Vec<Row>,
    events: Vec<Row>,
    visits: Vec<VisitView>,
    elsewhere: Vec<DoneLine>,
    out: Vec<OutLine>,
}

fn litres(ml: i64, dealer: &Dealer) -> String {
    Millilitres::new(ml).map_or_else(|_| format!("{ml} mL"), |v| v.both(dealer.units))
}

fn by(name: Option<&String>) -> String {
    name.cloned().unwrap_or_default()
}

/// A figure as it was read, with its basis: "iron 0.1 mg/L as Fe".
fn figure(what: &str, milli: i64, basis: &str) -> String {
    let value = decimal(milli, 1000);
    match what {
        "ph" => format!("pH {}", words::ph(milli)),
        "conductivity" => format!("conductivity {value} µS/cm"),
        "temperature" => format!("temperature {value} °C"),
        "glycol" => format!("glycol {value} % by volume"),
        other => format!("{other} {value} mg/L as {basis}"),
    }
}

fn test(t: &WholeTest, basis: &str) -> Row {
    let who = match &t.by {
        Some(name) if t.made_by == "technician" => name.clone(),
        _ => t.made_by.clone(),
    };
    let level = t.level.map(|l| format!("{} mg/L {basis}", crate::units::thousands(l.into())));
    let how = [t.kit.clone(), t.drops.map(|d| format!("{d} drops")), t.reagent_expired.then(|| "reagent past its day".to_owned())];
    let figures = t.what.iter().zip(&t.milli).zip(&t.basis).map(|((what, milli), basis)| figure(what, *milli, basis));
    let source = (t.of_water == "fill").then(|| "source water".to_owned());
    let read: Vec<String> = source.into_iter().chain(level).chain(figures).collect();
    let how: Vec<String> = how.into_iter().flatten().chain(Some(t.note.clone()).filter(|n| !n.is_empty())).collect();
    Row { day: day_with_year(t.taken_on), cells: vec![read.join(", "), how.join(", "), who] }
}

fn dose(d: &WholeDose, dealer: &Dealer) -> Row {
    let product = d.lot.as_ref().map_or_else(|| d.product.clone(), |lot| format!("{}, lot {lot}", d.product));
    Row { day: day_with_year(d.given_on), cells: vec![amount(d.amount_ml, dealer.units), product, d.note.clone(), by(d.by.as_ref())] }
}

fn volume(v: &WholeVolume, dealer: &Dealer) -> Row {
    let method = v.method.replace('_', " ");
    let size = format!("{} ± {}", litres(v.volume_ml, dealer), litres(v.plus_minus_ml, dealer));
    Row { day: day_with_year(v.found_on), cells: vec![size, method, v.note.clone()] }
}

fn event(e: &WholeEvent, dealer: &Dealer) -> Row {
    let what = if e.what == "meter" { "The make-up meter showed" } else { "Let out" };
    Row { day: day_with_year(e.happened_on), cells: vec![format!("{what} {}", litres(e.amount_ml, dealer)), e.where_to.clone()] }
}

fn visit(v: WholeVisit) -> VisitView {
    let says = |step: &String, figure: &String| if figure.is_empty() { step.clone() } else { format!("{step}: {figure}") };
    let (mut done, mut open) = (Vec::new(), Vec::new());
    for ((step, is_done), figure) in v.steps.iter().zip(&v.done).zip(&v.figures) {
        if *is_done { done.push(says(step, figure)) } else { open.push(step.clone()) }
    }
    VisitView {
        day: day_with_year(v.visited_on),
        received: format!("{}, {}", day_with_year(v.received.date()), time_of_day(week::minute_of(v.received.time()))),
        done,
        open,
        v,
    }
}

pub(super) async fn page(who: Office, app: App, Path(id): Path<Uuid>) -> Result {
    let u = units::get(&app.pool, id).await?;
    let dealer = &who.dealer;
    let mut c = app.pool.acquire().await?;
    let treatments = catalogue::treatments(&mut c).await?;
    let basis = treatments.programme(&u.programme_code).map(|p| p.basis.to_string()).unwrap_or_default();
    let page = WholePage {
        f: Frame::of(&who, "customers"),
        installed: u.installed_on.map(day_with_year).unwrap_or_default(),
        today: day_long(dealer.today),
        water: water_view::load(&mut c, &treatments, id, dealer, 12).await?,
        volumes: whole_record::volumes(&mut *c, id, ROWS).await?.iter().map(|v| volume(v, dealer)).collect(),
        fills: units::fills(&mut *c, id).await?.into_iter().map(|f| (day_with_year(f.filled_on), f)).collect(),
        tests: whole_record::tests(&mut *c, id, ROWS).await?.iter().map(|t| test(t, &basis)).collect(),
        doses: whole_record::doses(&mut *c, id, ROWS).await?.iter().map(|d| dose(d, dealer)).collect(),
        events: whole_record::events(&mut *c, id, ROWS).await?.iter().map(|e| event(e, dealer)).collect(),
        visits: whole_record::visits(&mut *c, id, ROWS).await?.into_iter().map(visit).collect(),
        elsewhere: due::done_of_unit(&mut *c, id, ROWS).await?,
        out: water::taken_out(&mut *c, id, ROWS).await?,
        u,
    };
    html(&page)
}
