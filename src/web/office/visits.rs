//! Changing one visit of a week: earlier, later, another day, told, taken off.

use super::super::{
    app::App,
    error::{Error, Result},
    form::Posted,
    guard::{Office, see_other},
};
use crate::store::week::{self, Move, Timing};
use axum::extract::Path;
use serde::Deserialize;
use uuid::Uuid;

#[derive(Debug, Deserialize)]
pub(super) struct Shift {
    week: String,
    row_version: i32,
    /// `earlier`, `later`, or `to`.
    how: String,
    /// With `to`: technician and day, as `{id}/{date}`.
    #[serde(default)]
    target: String,
    /// With `to`: before which stop; at the end when empty.
    #[serde(default)]
    position: String,
}

fn wanted(form: &Shift) -> Result<Move> {
    match form.how.as_str() {
        "earlier" => Ok(Move::Earlier),
        "later" => Ok(Move::Later),
        _ => {
            let target = form.target.split_once('/').and_then(|(t, d)| Some((t.parse().ok()?, crate::units::parse_date(d).ok()?)));
            let (staff_id, day) = target.ok_or_else(|| Error::Bad("Choose the technician and the day to put it on.".to_owned()))?;
            Ok(Move::To { staff_id, day, position: form.position.trim().parse().ok() })
        }
    }
}

pub(super) async fn shift(who: Office, app: App, (Path(id), posted): (Path<Uuid>, Posted<Shift>)) -> Result {
    let how = wanted(&posted.form)?;
    let monday = super::week::monday(&posted.form.week)?;
    let back = week::week_name(monday);
    let drives = app.drives(monday, Some(id)).await?;
    let mut tx = app.pool.begin().await?;
    let said = if posted.first_time(&mut tx, &who, "move visit", app.clock.now()).await? {
        let (at, of) = week::move_visit(&mut tx, Timing { drives: &drives, now: who.dealer.local }, id, posted.form.row_version, how)
            .await
            .map_err(words)?;
        format!("moved-{at}-{of}")
    } else {
        String::new()
    };
    tx.commit().await.map_err(|e| words(e.into()))?;
    Ok(see_other(&format!("/week/{back}?said={said}#v-{id}")))
}

/// Rules of the week in words.
pub(super) fn words(e: crate::store::Error) -> Error {
    let crate::store::Error::Rule(rule) = &e else { return e.into() };
    let says = match rule.as_str() {
        "visit_is_over" => "This visit is over; it cannot be moved any more.",
        "other_week" => "A visit moves within its week. Take it off, and it can be planned for another.",
        "no_pin" => "A place on this day has no pin on the map. Set it on the customer's page first.",
        "day_too_long" => "That day would not end before midnight. Put something else off first.",
        _ => return e.into(),
    };
    Error::Bad(says.to_owned())
}

#[derive(Debug, Deserialize)]
pub(super) struct Told {
    week: String,
    row_version: i32,
    #[serde(default, rename = "told")]
    answer: String,
}

pub(super) async fn confirm(who: Office, app: App, (Path(id), posted): (Path<Uuid>, Posted<Told>)) -> Result {
    let back = super::week::monday(&posted.form.week).map(week::week_name)?;
    let told = posted.form.answer != "no";
    let now = app.clock.now();
    let mut tx = app.pool.begin().await?;
    if posted.first_time(&mut tx, &who, "confirm visit", now).await? {
        week::confirm(&mut tx, id, posted.form.row_version, told, who.staff_id, now).await?;
    }
    tx.commit().await?;
    let said = if told { "confirmed" } else { "unconfirmed" };
    Ok(see_other(&format!("/week/{back}?said={said}#v-{id}")))
}

#[derive(Debug, Deserialize)]
pub(super) struct Must {
    week: String,
    row_version: i32,
    /// `no` takes it back.
    #[serde(rename = "must")]
    answer: String,
}

/// Says that a visit must be made in its week, whatever it costs; planning again goes by it.
pub(super) async fn must(who: Office, app: App, (Path(id), posted): (Path<Uuid>, Posted<Must>)) -> Result {
    let back = super::week::monday(&posted.form.week).map(week::week_name)?;
    let must = posted.form.answer != "no";
    let now = app.clock.now();
    let mut tx = app.pool.begin().await?;
    if posted.first_time(&mut tx, &who, "say what must be made", now).await? {
        week::set_must(&mut tx, id, posted.form.row_version, must, who.staff_id, now).await.map_err(words)?;
    }
    tx.commit().await?;
    let said = if must { "must" } else { "need-not" };
    Ok(see_other(&format!("/week/{back}?said={said}#v-{id}")))
}

#[derive(Debug, Deserialize)]
pub(super) struct Off {
    week: String,
    row_version: i32,
    #[serde(default)]
    why: String,
}

/// Calls a visit off for this week: its jobs stay due, and planning this week again leaves it out.
pub(super) async fn cancel(who: Office, app: App, (Path(id), posted): (Path<Uuid>, Posted<Off>)) -> Result {
    let monday = super::week::monday(&posted.form.week)?;
    let back = week::week_name(monday);
    let why = Some(posted.form.why.trim()).filter(|w| !w.is_empty()).unwrap_or("Not this week");
    let drives = app.drives(monday, Some(id)).await?;
    let mut tx = app.pool.begin().await?;
    if posted.first_time(&mut tx, &who, "call visit off", app.clock.now()).await? {
        week::cancel(&mut tx, Timing { drives: &drives, now: who.dealer.local }, id, posted.form.row_version, why).await.map_err(words)?;
    }
    tx.commit().await.map_err(|e| words(e.into()))?;
    Ok(see_other(&format!("/week/{back}?said=cancelled")))
}

pub(super) async fn take_off(who: Office, app: App, (Path(id), posted): (Path<Uuid>, Posted<Off>)) -> Result {
    let monday = super::week::monday(&posted.form.week)?;
    let back = week::week_name(monday);
    let why = Some(posted.form.why.trim()).filter(|w| !w.is_empty()).unwrap_or("Taken off by the office");
    let drives = app.drives(monday, Some(id)).await?;
    let mut tx = app.pool.begin().await?;
    if posted.first_time(&mut tx, &who, "take visit off", app.clock.now()).await? {
        week::take_off(&mut tx, Timing { drives: &drives, now: who.dealer.local }, id, posted.form.row_version, why)
            .await
            .map_err(words)?;
    }
    tx.commit().await.map_err(|e| words(e.into()))?;
    Ok(see_other(&format!("/week/{back}?said=off")))
}
