//! How far the season is, week by week, and the treatment: used, expected, on the shelf, to order.

use super::super::{
    app::App,
    error::Result,
    guard::Office,
    html::{Frame, html},
};
use crate::{
    store::{
        catalogue,
        overview::{self, JobProgress},
        shelf, water, week,
    },
    units::{UnitsFirst, amount, day_short, span},
    water::supply,
};
use askama::Template;
use std::collections::HashMap;
use time::{Date, Duration};
use uuid::Uuid;

struct WeekView {
    name: String,
    words: String,
    issued: bool,
    done: i64,
    not_done: i64,
    open: i64,
    driving: String,
}

struct ProductView {
    name: String,
    used: String,
    expected: String,
    shelf: String,
    /// With whole packs, and how many; empty: there is enough.
    order: String,
}

#[derive(Template)]
#[template(path = "office/overview.html")]
struct OverviewPage {
    f: Frame,
    season: &'static str,
    opened: String,
    jobs: Vec<JobProgress>,
    weeks: Vec<WeekView>,
    products: Vec<ProductView>,
    /// Units whose next dose nobody can foresee.
    unforeseen: usize,
    /// The month that runs.
    from: Date,
    to: Date,
}

/// Weeks shown before and after this one.
const WEEKS: i64 = 4;
/// What is due within so many days counts as needed.
const AHEAD: Duration = Duration::days(60);

pub(super) async fn page(who: Office, app: App, (): ()) -> Result {
    let today = who.dealer.today;
    let mut c = app.pool.acquire().await?;
    let book = catalogue::job_book(&mut c).await?;
    let (season, window) = match book.calendar.current_or_next(today) {
        Some((name, window)) => (if name == crate::season::SeasonName::Fall { "Fall" } else { "Spring" }, Some(window)),
        None => ("", None),
    };
    // What was done a little before the season opened is part of it.
    let since = window.map_or(today - Duration::days(180), |w| w.opens().min(today)) - Duration::days(21);
    let until = window.map_or(today, |w| w.closes().max(today));
    let jobs = overview::progress(&mut *c, since, until, today, since.midnight().assume_utc()).await?;
    let monday = week::monday_of(today);
    let weeks = overview::weeks(&mut *c, monday - Duration::weeks(WEEKS), monday + Duration::weeks(WEEKS)).await?;
    let due = overview::due_units(&mut *c, today + AHEAD).await?;
    let known = catalogue::treatments(&mut c).await?;
    let waters = water::unit_waters(&mut *c, &known, &due).await?;
    let used: HashMap<Uuid, i64> = overview::used(&mut *c, today - Duration::days(365)).await?.into_iter().collect();
    let lots = shelf::lots(&mut *c).await?;
    drop(c);
    let doses = water::expected_doses(&app.pool, &known, &waters.values().collect::<Vec<_>>(), today).await?;
    let mut expected: HashMap<Uuid, i64> = HashMap::new();
    for (unit, ml) in &doses {
        if let Some(product) = waters.get(unit).and_then(|w| w.product.as_ref()) {
            *expected.entry(product.0).or_default() += ml;
        }
    }
    let left = |id: Uuid| lots.iter().filter(|l| l.product_id == id).map(|l| l.left_ml).sum();
    let product = |row: &catalogue::ProductRow| {
        let of = |all: &HashMap<Uuid, i64>| all.get(&row.id).copied().unwrap_or(0);
        product(&row.product.name, (of(&used), of(&expected), left(row.id)), row.product.measure.pack().get(), who.dealer.units)
    };
    html(&OverviewPage {
        f: Frame::of(&who, "week"),
        season,
        opened: day_short(since),
        jobs,
        weeks: weeks.into_iter().map(|w| week_view(&w, monday)).collect(),
        products: known.products.iter().filter_map(product).collect(),
        from: today.replace_day(1).unwrap_or(today),
        to: today,
        unforeseen: due.len() - doses.len().min(due.len()),
    })
}

fn week_view(w: &overview::WeekProgress, this: Date) -> WeekView {
    WeekView {
        name: week::week_name(w.monday),
        words: if w.monday == this { "this week".to_owned() } else { format!("from {}", day_short(w.monday)) },
        issued: w.issued,
        done: w.done,
        not_done: w.not_done,
        open: w.open,
        driving: span(i32::try_from(w.drive_s).unwrap_or(i32::MAX)),
    }
}

/// A fifth in hand, in whole packs. Nothing is said of a product that nobody used or needs.
fn product(name: &str, (used, expected, shelf): (i64, i64, i64), pack_ml: i64, units: UnitsFirst) -> Option<ProductView> {
    if used == 0 && expected == 0 && shelf == 0 {
        return None;
    }
    let packs = supply::packs_to_order(expected, shelf, pack_ml);
    let say = |ml: i64| if ml > 0 { amount(ml, units) } else { "none".to_owned() };
    Some(ProductView {
        name: name.to_owned(),
        used: say(used),
        expected: say(expected),
        shelf: say(shelf),
        order: if packs > 0 { format!("{packs} × {}", amount(pack_ml, units)) } else { String::new() },
    })
}
