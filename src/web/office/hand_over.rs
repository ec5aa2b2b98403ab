//! A place gets a new owner.

use super::{
    super::{
        app::App,
        error::{Error, Result},
        form::Posted,
        guard::{Office, see_other},
    },
    customers::{need, short},
};
use crate::store::{
    customers::{self, Customer},
    hand_over::{self as store, HandOver},
    week,
};
use axum::extract::Path;
use serde::Deserialize;
use sqlx::PgConnection;
use uuid::Uuid;

#[derive(Debug, Deserialize)]
pub(super) struct NewOwner {
    #[serde(default)]
    name: String,
    #[serde(default)]
    phone: String,
    #[serde(default)]
    reference: String,
    row_version: i32,
}

/// The customer who is meant: one with that reference, else a new one with the form's own number.
async fn owner(db: &mut PgConnection, posted: &Posted<NewOwner>, now: time::OffsetDateTime) -> Result<Uuid> {
    let reference = short(&posted.form.reference, "The reference", 40)?;
    if !reference.is_empty() {
        let found = customers::with_reference(&mut *db, &reference).await?;
        return found.ok_or_else(|| Error::Bad(format!("No customer has the reference “{reference}”. Look it up under Customers.")));
    }
    let name = need(&posted.form.name, "Give the new owner’s name, or the reference of a customer", 120)?;
    let phone = short(&posted.form.phone, "The phone number", 40)?;
    customers::add(&mut *db, &Customer { id: posted.id, name, phone, row_version: 1, ..Customer::default() }, now).await?;
    Ok(posted.id)
}

pub(super) async fn hand_over(who: Office, app: App, (Path(place_id), posted): (Path<Uuid>, Posted<NewOwner>)) -> Result {
    let now = app.clock.now();
    customers::place(&app.pool, place_id).await?;
    let mut tx = app.pool.begin().await?;
    if posted.first_time(&mut tx, &who, "place handed over", now).await? {
        let to = owner(&mut tx, &posted, now).await?;
        let monday = week::monday_of(who.dealer.today);
        let row_version = posted.form.row_version;
        store::hand_over(&mut tx, &HandOver { place_id, row_version, to, by: who.staff_id, monday }, now).await?;
    }
    tx.commit().await?;
    let now_of = customers::place(&app.pool, place_id).await?.customer_id;
    Ok(see_other(&format!("/customers/{now_of}#place-{place_id}")))
}
