//! Who works here, how they sign in, and where days begin.

use super::{
    super::{
        app::App,
        error::{Error, Result},
        form::{Nothing, Posted},
        guard::{Owner, see_other},
    },
    customers::need,
    settings::{self, actor},
};
use crate::store::{
    events, second_factor,
    sessions::{self, Role},
    staff::{self, Depot, Person},
};
use axum::extract::Path;
use serde::Deserialize;
use uuid::Uuid;

#[derive(Debug, Deserialize)]
pub(super) struct Invite {
    name: String,
    sign_in: String,
    role: String,
    #[serde(default)]
    depot: String,
}

const NO_DEPOT: &str = "Add a depot first: a technician's day has to start somewhere.";

/// Of a new technician, Monday to Friday, minutes after midnight. Common practice, no source.
const USUAL_HOURS: (i32, i32) = (450, 960);

fn sign_in_name(typed: &str) -> Result<String> {
    let name = need(typed, "Give a name to sign in with", 120)?.to_lowercase();
    if name.chars().count() < 3 {
        return Err(Error::Bad("The name to sign in with needs three letters or more.".to_owned()));
    }
    Ok(name)
}

/// Adds somebody who cannot sign in yet, and makes the link with which they choose a password.
pub(super) async fn invite(who: Owner, app: App, posted: Posted<Invite>) -> Result {
    let form = &posted.form;
    let name = need(&form.name, "Give the name", 80)?;
    let sign_in = sign_in_name(&form.sign_in)?;
    let role = Role::parse(&form.role).ok_or_else(|| Error::Bad("Choose what they do.".to_owned()))?;
    let depot: Option<Uuid> = form.depot.parse().ok();
    if role == Role::Technician && depot.is_none() {
        return Err(Error::Bad(NO_DEPOT.to_owned()));
    }
    let now = app.clock.now();
    let mut tx = app.pool.begin().await?;
    let mut link = String::new();
    if posted.first_time(&mut tx, &who, "invite", now).await? {
        let person = Person { id: posted.id, name, sign_in: sign_in.clone(), role, active: true, row_version: 1 };
        // No password fits this: the hash is of nothing anybody knows.
        staff::add(&mut *tx, &person, "no password chosen yet", now).await?;
        if let (Role::Technician, Some(depot)) = (role, depot) {
            staff::add_technician(&mut tx, posted.id, depot, &[], USUAL_HOURS.0, USUAL_HOURS.1).await?;
        }
        let token = staff::make_setup_link(&mut *tx, Some(posted.id), now).await?;
        events::note(&mut *tx, now, &actor(&who), "invited", &sign_in).await?;
        link = format!("{}/setup/{token}", app.public_url);
    }
    tx.commit().await?;
    settings::show(&who, &app, link).await
}

pub(super) async fn new_link(who: Owner, app: App, (Path(id), posted): (Path<Uuid>, Posted<Nothing>)) -> Result {
    let now = app.clock.now();
    let mut tx = app.pool.begin().await?;
    let mut link = String::new();
    if posted.first_time(&mut tx, &who, "password link", now).await? {
        let token = staff::make_setup_link(&mut *tx, Some(id), now).await?;
        events::note(&mut *tx, now, &actor(&who), "made a password link", &id.to_string()).await?;
        link = format!("{}/setup/{token}", app.public_url);
    }
    tx.commit().await?;
    settings::show(&who, &app, link).await
}

#[derive(Debug, Deserialize)]
pub(super) struct Active {
    active: String,
}

pub(super) async fn set_active(who: Owner, app: App, (Path(id), posted): (Path<Uuid>, Posted<Active>)) -> Result {
    let now = app.clock.now();
    let active = posted.form.active == "yes";
    let mut tx = app.pool.begin().await?;
    if posted.first_time(&mut tx, &who, "staff", now).await? {
        staff::set_active(&mut tx, id, active).await?;
        events::note(&mut *tx, now, &actor(&who), if active { "let somebody in" } else { "shut somebody out" }, &id.to_string()).await?;
    }
    tx.commit().await?;
    Ok(see_other("/settings#staff"))
}

#[derive(Debug, Deserialize)]
pub(super) struct Needed {
    #[serde(default)]
    needed: String,
}

/// Whether the office and the owner have to have a second factor.
pub(super) async fn need_second_factor(who: Owner, app: App, posted: Posted<Needed>) -> Result {
    let now = app.clock.now();
    let needed = posted.form.needed == "yes";
    let mut tx = app.pool.begin().await?;
    if posted.first_time(&mut tx, &who, "second factor needed", now).await? {
        second_factor::set_needed(&mut *tx, needed).await?;
        let said = if needed { "second factor needed of the office" } else { "second factor no longer needed" };
        events::note(&mut *tx, now, &actor(&who), said, "").await?;
    }
    tx.commit().await?;
    Ok(see_other("/settings#staff"))
}

/// For somebody whose phone is lost: the password alone opens again, until they set it up anew. Their sessions end.
pub(super) async fn second_factor_off(who: Owner, app: App, (Path(id), posted): (Path<Uuid>, Posted<Nothing>)) -> Result {
    let now = app.clock.now();
    let mut tx = app.pool.begin().await?;
    if posted.first_time(&mut tx, &who, "staff", now).await? {
        second_factor::off(&mut tx, id).await?;
        sessions::close_all(&mut *tx, id).await?;
        events::note(&mut *tx, now, &actor(&who), "took a second factor off", &id.to_string()).await?;
    }
    tx.commit().await?;
    Ok(see_other("/settings#staff"))
}

#[derive(Debug, Deserialize)]
pub(super) struct Names {
    name: String,
    sign_in: String,
    row_version: i32,
}

/// Another name, and another one to sign in with; the password stays.
pub(super) async fn rename(who: Owner, app: App, (Path(id), posted): (Path<Uuid>, Posted<Names>)) -> Result {
    let name = need(&posted.form.name, "Give the name", 80)?;
    let sign_in = sign_in_name(&posted.form.sign_in)?;
    let now = app.clock.now();
    let mut tx = app.pool.begin().await?;
    if posted.first_time(&mut tx, &who, "staff", now).await? {
        staff::rename(&mut *tx, id, &name, &sign_in, posted.form.row_version).await?;
        events::note(&mut *tx, now, &actor(&who), "renamed somebody", &sign_in).await?;
    }
    tx.commit().await?;
    Ok(see_other("/settings#staff"))
}

#[derive(Debug, Deserialize)]
pub(super) struct Drives {
    #[serde(default)]
    depot: String,
}

/// An owner who drives routes too, with the usual hours.
pub(super) async fn drives_too(who: Owner, app: App, (Path(id), posted): (Path<Uuid>, Posted<Drives>)) -> Result {
    let depot: Uuid = posted.form.depot.parse().map_err(|_| Error::Bad(NO_DEPOT.to_owned()))?;
    let now = app.clock.now();
    let mut tx = app.pool.begin().await?;
    if posted.first_time(&mut tx, &who, "technician", now).await? {
        if !staff::may_drive_too(&mut *tx, id).await? {
            return Err(Error::Clash("That owner drives routes already, or is no owner any more.".to_owned()));
        }
        staff::add_technician(&mut tx, id, depot, &[], USUAL_HOURS.0, USUAL_HOURS.1).await?;
        events::note(&mut *tx, now, &actor(&who), "lets an owner drive routes too", &id.to_string()).await?;
    }
    tx.commit().await?;
    Ok(see_other("/settings#technicians"))
}

#[derive(Debug, Deserialize)]
pub(super) struct DepotForm {
    name: String,
    pin: String,
    #[serde(default)]
    row_version: i32,
}

fn depot(form: &DepotForm, id: Uuid) -> Result<Depot> {
    let name = need(&form.name, "Give the depot a name", 80)?;
    let pin = super::customers::pin(&form.pin)?;
    let (lat, lon) = pin.ok_or_else(|| Error::Bad("Give the depot's position: latitude, longitude.".to_owned()))?;
    Ok(Depot { id, name, lat, lon, row_version: form.row_version })
}

pub(super) async fn add_depot(who: Owner, app: App, posted: Posted<DepotForm>) -> Result {
    let new = depot(&posted.form, posted.id)?;
    let mut tx = app.pool.begin().await?;
    if posted.first_time(&mut tx, &who, "depot", app.clock.now()).await? {
        staff::add_depot(&mut *tx, &new).await?;
    }
    tx.commit().await?;
    Ok(see_other("/settings#depots"))
}

pub(super) async fn change_depot(who: Owner, app: App, (Path(id), posted): (Path<Uuid>, Posted<DepotForm>)) -> Result {
    let new = depot(&posted.form, id)?;
    let mut tx = app.pool.begin().await?;
    if posted.first_time(&mut tx, &who, "depot", app.clock.now()).await? {
        staff::change_depot(&mut *tx, &new).await?;
    }
    tx.commit().await?;
    Ok(see_other("/settings#depots"))
}

pub(super) async fn leave_out_depot(who: Owner, app: App, (Path(id), posted): (Path<Uuid>, Posted<Nothing>)) -> Result {
    let mut tx = app.pool.begin().await?;
    if posted.first_time(&mut tx, &who, "depot", app.clock.now()).await? {
        staff::leave_out_depot(&mut *tx, id).await?;
    }
    tx.commit().await?;
    Ok(see_other("/settings#depots"))
}
