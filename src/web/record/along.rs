//! What a customer may take along from the page: the visit for their calendar, their tests as a list.

use super::{
    super::{
        app::App,
        error::{Error, Result},
        guard::RecordHolder,
    },
    calendar::Entry,
    own,
};
use crate::{
    listing::{Separator, write_cells},
    store::{catalogue, dealer, visits, water},
    units::Ph,
};
use axum::{
    http::header,
    response::{IntoResponse, Response},
};

/// Tests of a list.
const MOST: i64 = 1000;

fn file(kind: &str, name: &str, text: String) -> Response {
    let headers = [
        (header::CONTENT_TYPE, format!("{kind}; charset=utf-8")),
        (header::CONTENT_DISPOSITION, format!("attachment; filename=\"{name}\"")),
    ];
    (headers, text).into_response()
}

/// The next visit for the customer's calendar.
pub(super) async fn visit(RecordHolder(holder): RecordHolder, app: App, (): ()) -> Result {
    let now = app.clock.now();
    let dealer = dealer::get(&app.pool, now).await?;
    let mut c = app.pool.acquire().await?;
    let unit = own(&mut c, &holder).await?;
    let ahead = visits::ahead(&mut *c, unit.id, dealer.today).await?.ok_or(Error::NotFound)?;
    let (begins, ends) = ahead.from_to.ok_or(Error::NotFound)?;
    let mut says = ahead.prepare.clone();
    says.push(format!("Call {} {} if it does not suit. Your water record says how it stands.", dealer.name, dealer.phone));
    let entry = Entry {
        uid: ahead.visit_id,
        sequence: ahead.row_version,
        begins,
        ends,
        sure: ahead.confirmed,
        summary: &format!("{}: {}, {}", dealer.name, unit.name, ahead.jobs.join(", ").to_lowercase()),
        says: &says.join("\n"),
    };
    Ok(file("text/calendar", "visit.ics", entry.file(now)))
}

/// Every test of the unit's water, newest first, as a list (RFC 4180).
pub(super) async fn tests(RecordHolder(holder): RecordHolder, app: App, (): ()) -> Result {
    let mut c = app.pool.acquire().await?;
    let unit = own(&mut c, &holder).await?;
    let tests = water::tests(&mut *c, unit.id, MOST).await?;
    let doses = water::doses(&mut *c, unit.id, MOST).await?;
    let mut text = String::new();
    let basis = catalogue::treatments(&mut c).await?.programme(&unit.programme_code).map(|p| p.basis.to_string()).unwrap_or_default();
    let level = format!("level (mg/L {basis})");
    let head = ["date", "by", "water", "drops", &level, "pH", "put in that day (mL)"];
    write_cells(&mut text, Separator::Comma, head.map(|h| (h, false)).into_iter());
    for t in &tests {
        let given: i64 = doses.iter().filter(|d| t.of_water == "unit" && d.given_on == t.taken_on).map(|d| d.amount_ml).sum();
        let number = |n: Option<i64>| n.map(|n| n.to_string()).unwrap_or_default();
        let ph = t.ph_milli.and_then(|ph| Ph::new(ph / 10).ok()).map(|ph| ph.to_string()).unwrap_or_default();
        let by = if t.made_by == "customer" { "you" } else { t.made_by.as_str() };
        let cells = [
            t.taken_on.to_string(),
            by.to_owned(),
            if t.of_water == "unit" { "heater" } else { "source" }.to_owned(),
            number(t.drops.map(Into::into)),
            number(t.level.map(Into::into)),
            ph,
            number(Some(given).filter(|ml| *ml > 0)),
        ];
        write_cells(&mut text, Separator::Comma, cells.iter().map(|cell| (cell.as_str(), false)));
    }
    Ok(file("text/csv", "water-tests.csv", text))
}
