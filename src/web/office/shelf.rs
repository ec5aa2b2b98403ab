//! The shelf: what came in, and what was found when somebody looked.

use super::{
    super::{
        app::App,
        error::{Error, Result},
        form::Posted,
        guard::{Owner, see_other},
    },
    customers::need,
    units::date,
};
use crate::{
    store::shelf::{self, LotLine},
    units::{UnitsFirst, VolumeUnit, amount, day_with_year, parse_volume},
};
use axum::extract::Path;
use serde::Deserialize;
use uuid::Uuid;

/// A lot on the shelf, ready for the page.
pub(super) struct LotView {
    pub(super) id: Uuid,
    pub(super) lot: String,
    pub(super) left: String,
    pub(super) left_ml: i64,
    pub(super) good_until: String,
}

impl LotView {
    pub(super) fn of(lot: &LotLine, units: UnitsFirst) -> Self {
        Self {
            id: lot.id,
            lot: lot.lot.clone(),
            left: amount(lot.left_ml, units),
            left_ml: lot.left_ml,
            good_until: lot.expires_on.map(day_with_year).unwrap_or_default(),
        }
    }
}

#[derive(Debug, Deserialize)]
pub(super) struct LotForm {
    lot: String,
    amount: String,
    #[serde(default)]
    expires_on: String,
}

fn litres(text: &str) -> Result<i64> {
    Ok(parse_volume(text, VolumeUnit::Litre).map_err(|e| Error::Bad(e.to_string()))?.0.get())
}

/// A delivery onto the shelf.
pub(super) async fn add_lot(who: Owner, app: App, (Path(id), posted): (Path<Uuid>, Posted<LotForm>)) -> Result {
    let lot = need(&posted.form.lot, "Give the lot as it stands on the pack", 40)?;
    let ml = litres(&posted.form.amount)?;
    let expires_on = date(&posted.form.expires_on)?;
    let now = app.clock.now();
    let mut tx = app.pool.begin().await?;
    if posted.first_time(&mut tx, &who, "lot received", now).await? {
        shelf::add_lot(&mut tx, id, &lot, who.dealer.today, expires_on, ml, now).await?;
    }
    tx.commit().await?;
    Ok(see_other("/treatments#products"))
}

#[derive(Debug, Deserialize)]
pub(super) struct CountForm {
    /// Millilitres, as the page showed them.
    shown: i64,
    counted: String,
}

/// What a lot was found to hold.
pub(super) async fn count_lot(who: Owner, app: App, (Path(id), posted): (Path<Uuid>, Posted<CountForm>)) -> Result {
    let counted = match posted.form.counted.trim() {
        "0" => 0,
        typed => litres(typed)?,
    };
    if !(0..=MOST_ML).contains(&counted) {
        return Err(Error::Bad("More than 100,000 L of one lot? Check the unit.".to_owned()));
    }
    let now = app.clock.now();
    let mut tx = app.pool.begin().await?;
    if posted.first_time(&mut tx, &who, "lot counted", now).await? {
        shelf::count_lot(&mut tx, id, (posted.form.shown, counted), who.staff_id, (who.dealer.today, now)).await?;
    }
    tx.commit().await?;
    Ok(see_other("/treatments#products"))
}

/// What one lot can hold, as the tables have it.
const MOST_ML: i64 = 100_000_000;
