//! The customer's face: the water record of one unit, at an address that cannot be guessed.

use super::{
    app::App,
    error::{Error, Result},
    guard::{Protected, RecordHolder, RouteInfo},
    html::{Frame, html},
    water_view::{self, WaterView},
    words,
};
use crate::{
    store::{
        catalogue, dealer, due,
        reports::{self, ReportLine},
        units::{self, Unit},
        visits,
    },
    units::{day_long, day_with_year},
};
use askama::Template;
use axum::Router;

pub(super) fn routes() -> (Router<App>, Vec<RouteInfo>) {
    Protected::<RecordHolder>::default().get("/w/{token}", page).into_parts()
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
    done: Vec<DoneView>,
}

async fn page(holder: RecordHolder, app: App, (): ()) -> Result {
    let holder = holder.0;
    let dealer = dealer::get(&app.pool, app.clock.now()).await?;
    let u = units::get(&app.pool, holder.unit_id).await?;
    if u.customer_id != holder.customer_id {
        // The unit was sold: a link shows its own customer's record and nothing after it.
        return Err(Error::NotFound);
    }
    let mut c = app.pool.acquire().await?;
    let treatments = catalogue::treatments(&mut c).await?;
    let water = water_view::load(&mut c, &treatments, u.id, &dealer, LINES).await?;
    let ahead = visits::ahead(&mut *c, u.id, dealer.today).await?;
    let due = due::of_unit(&mut *c, u.id).await?;
    let done = reports::of_unit(&mut *c, u.id, None, LINES).await?.into_iter().filter(|r| r.outcome == "done").map(|r| done(&r));
    let page = RecordPage {
        f: Frame { dealer: dealer.name.clone(), dealer_phone: dealer.phone.clone(), invented: dealer.invented, ..Frame::default() },
        today: day_long(dealer.today),
        next: next(ahead.as_ref(), &due, dealer.today),
        done: done.collect(),
        water,
        u,
    };
    html(&page)
}

fn done(r: &ReportLine) -> DoneView {
    DoneView { day: day_with_year(r.visited_on), jobs: r.job_names.join(", ") }
}

/// When we come next, in sentences: a told day, else the windows.
fn next(ahead: Option<&visits::Ahead>, due: &[due::DueLine], today: time::Date) -> Vec<String> {
    if let Some((day, a)) = ahead.and_then(|a| Some((a.day?, a))) {
        let hour = a.starts.filter(|_| a.confirmed).map(|s| format!(", about {}", crate::units::time_of_day(s))).unwrap_or_default();
        let sure = if a.confirmed { "We come on" } else { "We plan to come on" };
        let mut said = vec![format!("{sure} {}{hour}.", day_long(day))];
        let other = a.told.filter(|t| a.confirmed && !t.holds(a.day, a.starts));
        said.extend(other.map(|t| format!("That has changed: you were told {}. Call us if it does not suit.", words::told(t))));
        return said;
    }
    due.iter()
        .map(|d| {
            let job = d.job_name.to_lowercase();
            if d.closes_on < today {
                format!("The {job} is overdue. Call us for a day.")
            } else {
                format!("The {job} is due between {} and {}.", day_with_year(d.opens_on), day_with_year(d.closes_on))
            }
        })
        .collect()
}
