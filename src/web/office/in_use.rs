//! Which products and kits are in use, and which of several a programme goes by. Every dose follows from it, so nothing is left to the order of names.

use super::super::{
    app::App,
    error::{Error, Result},
    form::{Nothing, Posted},
    guard::{Owner, see_other},
};
use crate::store::{
    catalogue::{self, Treatments},
    due,
};
use axum::extract::Path;
use serde::Deserialize;
use sqlx::PgConnection;
use uuid::Uuid;

pub(super) async fn make_product_usual(who: Owner, app: App, (Path(id), posted): (Path<Uuid>, Posted<Nothing>)) -> Result {
    let mut tx = app.pool.begin().await?;
    if posted.first_time(&mut tx, &who, "usual product", app.clock.now()).await? {
        catalogue::make_product_usual(&mut *tx, id).await?;
        due::refresh(&mut tx, None, who.dealer.today).await?;
    }
    tx.commit().await?;
    Ok(see_other("/treatments#products"))
}

/// Every programme that counts what this kit measures goes by it.
pub(super) async fn kit_for_its_programmes(db: &mut PgConnection, code: &str) -> Result<()> {
    let known = catalogue::treatments(&mut *db).await?;
    let kit = known.kit_in_use(code).ok_or_else(|| Error::Clash("This kit is not in use any more. Look at the page again.".to_owned()))?;
    for programme in known.programmes.iter().filter(|p| kit.serves(p)) {
        catalogue::make_kit_usual(&mut *db, code, &programme.code).await?;
    }
    Ok(())
}

pub(super) async fn make_kit_usual(who: Owner, app: App, (Path(code), posted): (Path<String>, Posted<Nothing>)) -> Result {
    let mut tx = app.pool.begin().await?;
    if posted.first_time(&mut tx, &who, "usual kit", app.clock.now()).await? {
        kit_for_its_programmes(&mut tx, &code).await?;
        due::refresh(&mut tx, None, who.dealer.today).await?;
    }
    tx.commit().await?;
    Ok(see_other("/treatments#kits"))
}

#[derive(Debug, Deserialize)]
pub(super) struct Use {
    active: String,
}

/// Programmes of units keep one product and one kit at least.
async fn something_is_left(db: &mut PgConnection) -> Result<()> {
    let known: Treatments = catalogue::treatments(&mut *db).await?;
    for code in catalogue::programmes_of_units(db).await? {
        let Some(programme) = known.programme(&code) else { continue };
        let lacks = match (known.usual_product(&code), known.usual_kit(programme)) {
            (None, _) => "product",
            (_, None) => "test kit",
            _ => continue,
        };
        return Err(Error::Bad(format!("It is the only {lacks} for {}, which units are on. Add the other one first.", programme.name)));
    }
    Ok(())
}

/// Leaves a product out from now on, or uses it again. What it was given stays on record.
pub(super) async fn use_product(who: Owner, app: App, (Path(id), posted): (Path<Uuid>, Posted<Use>)) -> Result {
    let mut tx = app.pool.begin().await?;
    if posted.first_time(&mut tx, &who, "product in use", app.clock.now()).await? {
        catalogue::use_product(&mut *tx, id, posted.form.active == "yes").await?;
        something_is_left(&mut tx).await?;
        due::refresh(&mut tx, None, who.dealer.today).await?;
    }
    tx.commit().await?;
    Ok(see_other("/treatments#products"))
}

/// Leaves a kit out from now on, or uses it again. Readings that were made with it stay as they were read.
pub(super) async fn use_kit(who: Owner, app: App, (Path(code), posted): (Path<String>, Posted<Use>)) -> Result {
    let mut tx = app.pool.begin().await?;
    if posted.first_time(&mut tx, &who, "kit in use", app.clock.now()).await? {
        catalogue::use_kit(&mut *tx, &code, posted.form.active == "yes").await?;
        something_is_left(&mut tx).await?;
        due::refresh(&mut tx, None, who.dealer.today).await?;
    }
    tx.commit().await?;
    Ok(see_other("/treatments#kits"))
}
