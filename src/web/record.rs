//! The customer's face: the water record of one unit, at an address that cannot be guessed.

mod along;
mod calendar;
mod says;

use super::{
    app::App,
    error::{Error, Result},
    guard::{Protected, RecordHolder, RouteInfo},
    html::{Frame, html_with},
    water_view::{self, WaterView},
    words,
};
use crate::{
    store::{
        catalogue, customer_words, dealer, due,
        links::Holder,
        reports::{self, ReportLine},
        units::{self, Unit},
        visits,
    },
    units::{day_long, day_with_year},
    water::Counts,
};
use askama::Template;
use axum::{
    Router,
    extract::{Path, Query},
    http::StatusCode,
};
use serde::Deserialize;
use sqlx::PgConnection;
use uuid::Uuid;

pub(super) fn routes() -> (Router<App>, Vec<RouteInfo>) {
    Protected::<RecordHolder>::default()
        .get("/w/{token}", page)
        .get("/w/{token}/visit.ics", along::visit)
        .get("/w/{token}/tests.csv", along::tests)
        .post("/w/{token}/suits", says::suits)
        .post("/w/{token}/another-time", says::another_time)
        .post("/w/{token}/test", says::test)
        .into_parts()
}

/// Tests and visits that the page shows.
const LINES: i64 = 12;

struct DoneView {
    day: String,
    jobs: String,
}

#[derive(Template)]
#[template(path = "record/record.html")]
struct RecordPage {
    f: Frame,
    u: Unit,
    today: String,
    water: WaterView,
    next: Vec<String>,
    /// The visit stands at a day and hour.
    in_calendar: bool,
    /// The visit that can be answered: its day and minute, and whether the customer has agreed to them.
    answer: Option<(time::Date, i32, bool)>,
    /// What was asked for and not settled yet.
    wish: Option<String>,
    /// How the unit's kit is read: drops, or a figure.
    drops: bool,
    said: String,
    typed: Typed,
    token: String,
    /// A fresh number for each form.
    forms: [Uuid; 3],
    done: Vec<DoneView>,
}

#[derive(Debug, Default, Deserialize)]
struct Said {
    #[serde(default)]
    said: String,
}

/// A form of the page that was refused: what was wrong, and what was typed.
#[derive(Debug, Default)]
struct Typed {
    /// In the form for another time.
    wrong_wish: String,
    /// In the form for a test.
    wrong_test: String,
    /// In the form for a test: what has to be answered before it is kept.
    ask: &'static str,
    says: String,
    taken_on: String,
    reading: String,
    ph: String,
}

async fn page(holder: RecordHolder, app: App, (Path(token), Query(said)): (Path<String>, Query<Said>)) -> Result {
    show(&holder.0, &app, &token, said.said, Typed::default()).await
}

/// The unit, while it is still this customer's: a link shows its own customer's record and nothing after the unit was sold.
async fn own(db: &mut PgConnection, holder: &Holder) -> Result<Unit> {
    let unit = units::get(&mut *db, holder.unit_id).await?;
    if unit.customer_id == holder.customer_id { Ok(unit) } else { Err(Error::NotFound) }
}

async fn show(holder: &Holder, app: &App, token: &str, said: String, typed: Typed) -> Result {
    let dealer = dealer::get(&app.pool, app.clock.now()).await?;
    let mut c = app.pool.acquire().await?;
    let u = own(&mut c, holder).await?;
    let treatments = catalogue::treatments(&mut c).await?;
    let water = water_view::load(&mut c, &treatments, u.id, &dealer, LINES).await?;
    let ahead = visits::ahead(&mut *c, u.id, dealer.today).await?;
    let due = due::of_unit(&mut *c, u.id).await?;
    let done = reports::of_unit(&mut *c, u.id, None, LINES).await?.into_iter().filter(|r| r.outcome == "done").map(|r| done(&r));
    let kit = u.kit_code.as_deref().and_then(|code| treatments.kit_in_use(code));
    let kit = kit.or_else(|| treatments.programme(&u.programme_code).and_then(|p| treatments.usual_kit(p)));
    // What stands in the past by now is nothing to agree to; whether somebody was there, a report will say.
    let over = ahead.as_ref().and_then(|a| a.from_to).is_some_and(|(_, ends)| ends < app.clock.now());
    let page = RecordPage {
        answer: ahead
            .as_ref()
            .filter(|_| !over)
            .and_then(|a| Some((a.day?, a.starts?, a.confirmed && a.told.is_none_or(|t| t.holds(a.day, a.starts))))),
        wish: customer_words::wish(&mut *c, u.id).await?,
        drops: kit.is_some_and(|k| matches!(k.counts, Counts::Drops { .. })),
        said,
        token: crate::secrets::tidy_token(token),
        forms: std::array::from_fn(|_| Uuid::now_v7()),
        f: Frame { dealer: dealer.name.clone(), dealer_phone: dealer.phone.clone(), invented: dealer.invented, ..Frame::default() },
        today: day_long(dealer.today),
        in_calendar: !over && ahead.as_ref().is_some_and(|a| a.from_to.is_some()),
        next: next(ahead.as_ref(), over, &due, dealer.today),
        done: done.collect(),
        water,
        u,
        typed,
    };
    let refused = [page.typed.wrong_wish.as_str(), &page.typed.wrong_test, page.typed.ask].iter().any(|w| !w.is_empty());
    html_with(if refused { StatusCode::UNPROCESSABLE_ENTITY } else { StatusCode::OK }, &page)
}

fn done(r: &ReportLine) -> DoneView {
    DoneView { day: day_with_year(r.visited_on), jobs: r.job_names.join(", ") }
}

/// When we come next, in sentences: a told day, else the windows.
fn next(ahead: Option<&visits::Ahead>, over: bool, due: &[due::DueLine], today: time::Date) -> Vec<String> {
    if let Some((day, a)) = ahead.and_then(|a| Some((a.day?, a))) {
        let hour = a.starts.map(|s| format!(", about {}", crate::units::time_of_day(s))).unwrap_or_default();
        if over {
            return vec![format!("We were to come on {}{hour}. If nobody came, call us.", day_long(day))];
        }
        let (sure, still) = if a.confirmed { ("We come on", "") } else { ("We plan to come on", " That may still change.") };
        let what = if a.jobs.is_empty() { String::new() } else { format!(", for {}", a.jobs.join(", ").to_lowercase()) };
        let mut said = vec![format!("{sure} {}{hour}{what}.{still}", day_long(day))];
        let other = a.told.filter(|t| a.confirmed && !t.holds(a.day, a.starts));
        said.extend(other.map(|t| format!("That has changed: you were told {}. Call us if it does not suit.", words::told(t))));
        said.extend(a.prepare.iter().cloned());
        return said;
    }
    due.iter()
        .map(|d| {
            let job = d.job_name.to_lowercase();
            if d.waits {
                format!("The {job} is still to be made, with a cold firebox. Call us when the fire is out.")
            } else if d.closes_on < today {
                format!("The {job} is overdue. Call us for a day.")
            } else {
                format!("The {job} is due between {} and {}.", day_with_year(d.opens_on), day_with_year(d.closes_on))
            }
        })
        .collect()
}
