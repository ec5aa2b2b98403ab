//! What was done in a stretch of days, as a list for the bookkeeping.

use super::{
    super::{
        app::App,
        error::{Error, Result},
        guard::Office,
    },
    units::date,
};
use crate::{
    listing::{Separator, write_cells},
    store::work_done::{self, WorkLine},
};
use axum::{extract::Query, http::header, response::IntoResponse};
use serde::Deserialize;

/// Visits of one list.
const MOST: i64 = 10_000;

#[derive(Debug, Deserialize)]
pub(super) struct Asked {
    #[serde(default)]
    from: String,
    #[serde(default)]
    to: String,
}

const HEAD: [&str; 13] = [
    "date",
    "outcome",
    "customer reference",
    "customer",
    "place",
    "town",
    "unit reference",
    "unit",
    "jobs",
    "technician",
    "minutes",
    "put in (mL)",
    "note",
];

fn line(w: &WorkLine) -> [String; 13] {
    let outcome = if w.outcome == "done" { "done".to_owned() } else { format!("not done: {}", w.why_not) };
    let put_in: Vec<String> = w.products.iter().zip(&w.amounts_ml).map(|(product, ml)| format!("{ml} {product}")).collect();
    let text = |t: &Option<String>| t.clone().unwrap_or_default();
    [
        w.visited_on.to_string(),
        outcome,
        text(&w.customer_reference),
        w.customer.clone(),
        w.place.clone(),
        w.town.clone(),
        text(&w.unit_reference),
        w.unit.clone(),
        w.jobs.join("; "),
        text(&w.technician),
        w.minutes.filter(|m| (0..=1440).contains(m)).map(|m| m.to_string()).unwrap_or_default(),
        put_in.join("; "),
        w.note.clone(),
    ]
}

/// A visit a row (RFC 4180), from one day to another; without days, the month that runs.
pub(super) async fn list(who: Office, app: App, Query(asked): Query<Asked>) -> Result {
    let today = who.dealer.today;
    let from = date(&asked.from)?.or_else(|| today.replace_day(1).ok()).unwrap_or(today);
    let to = date(&asked.to)?.unwrap_or(today);
    if to < from {
        return Err(Error::Bad("The last day lies before the first. Change one of them.".to_owned()));
    }
    let lines = work_done::work_done(&app.pool, from, to, MOST).await?;
    let mut text = String::new();
    write_cells(&mut text, Separator::Comma, HEAD.iter().map(|h| (*h, false)));
    for w in &lines {
        write_cells(&mut text, Separator::Comma, line(w).iter().map(|cell| (cell.as_str(), true)));
    }
    let name = format!("attachment; filename=\"work-{from}-to-{to}.csv\"");
    Ok(([(header::CONTENT_TYPE, "text/csv; charset=utf-8".to_owned()), (header::CONTENT_DISPOSITION, name)], text).into_response())
}
