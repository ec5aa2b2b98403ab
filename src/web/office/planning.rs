//! What planning weighs, and whether recorded drives correct the reckoned ones.

use super::super::{
    app::App,
    error::{Error, Result},
    form::Posted,
    guard::{Owner, see_other},
};
use crate::store::{
    drives,
    events::{self, Actor},
    staff::{self, Prices},
};
use serde::Deserialize;

#[derive(Debug, Deserialize)]
pub(super) struct PricesForm {
    overtime_percent: String,
    late_minutes_a_day: String,
    uneven_seconds: String,
    row_version: i32,
}

/// A whole number within bounds, or what to type instead.
fn whole(text: &str, most: i32, what: &str) -> Result<i32> {
    let typed = text.trim().trim_end_matches('%').trim().replace(',', "");
    let number = typed.parse().ok().filter(|n| (0..=most).contains(n));
    number.ok_or_else(|| Error::Bad(format!("Give {what} as a whole number from 0 to {most}.")))
}

pub(super) async fn change_prices(who: Owner, app: App, posted: Posted<PricesForm>) -> Result {
    let form = &posted.form;
    let prices = Prices {
        overtime_percent: whole(&form.overtime_percent, 1000, "a minute of overtime, in per cent,")?,
        late_minutes_a_day: whole(&form.late_minutes_a_day, 480, "a day after the window, in minutes,")?,
        uneven_seconds: whole(&form.uneven_seconds, 3600, "an uneven hour, in seconds,")?,
        row_version: form.row_version,
    };
    let now = app.clock.now();
    let mut tx = app.pool.begin().await?;
    if posted.first_time(&mut tx, &who, "planning prices", now).await? {
        staff::change_prices(&mut *tx, &prices).await?;
        let actor = Actor { id: Some(who.staff_id), words: who.name.clone() };
        events::note(&mut *tx, now, &actor, "changed what planning weighs", "").await?;
    }
    tx.commit().await?;
    Ok(see_other("/settings#planning"))
}

#[derive(Debug, Deserialize)]
pub(super) struct CorrectForm {
    correct: String,
}

pub(super) async fn correct_drives(who: Owner, app: App, posted: Posted<CorrectForm>) -> Result {
    let mut tx = app.pool.begin().await?;
    if posted.first_time(&mut tx, &who, "correct drives", app.clock.now()).await? {
        drives::set_correct(&mut *tx, posted.form.correct == "yes").await?;
    }
    tx.commit().await?;
    Ok(see_other("/settings#drives"))
}
