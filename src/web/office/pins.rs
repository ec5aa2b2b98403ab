//! A pin from the address: what the road file knows of it, as a help. A pin set at the unit goes before it.

use super::super::{
    app::App,
    error::{Error, Result},
    form::Posted,
    guard::{Office, see_other},
    html::{Frame, html},
    map,
};
use crate::store::customers::{self, PinOrigin, Place};
use askama::Template;
use axum::extract::{Path, Query};
use serde::Deserialize;
use uuid::Uuid;

/// Addresses offered.
const OFFERED: usize = 5;

struct HitView {
    text: String,
    how: &'static str,
    pin: String,
    map: String,
}

#[derive(Template)]
#[template(path = "office/pin.html")]
struct PinPage {
    f: Frame,
    place: Place,
    asked: String,
    has_roads: bool,
    hits: Vec<HitView>,
}

#[derive(Debug, Default, Deserialize)]
pub(super) struct Asked {
    #[serde(default)]
    address: String,
}

pub(super) async fn page(who: Office, app: App, (Path(id), Query(asked)): (Path<Uuid>, Query<Asked>)) -> Result {
    let place = customers::place(&app.pool, id).await?;
    let own = if place.town.is_empty() { place.address.clone() } else { format!("{}, {}", place.address, place.town) };
    let asked = Some(asked.address.trim().chars().take(200).collect::<String>()).filter(|a| !a.is_empty()).unwrap_or(own);
    let roads = app.sources.roads();
    let mut hits = Vec::new();
    for (n, hit) in roads.iter().flat_map(|roads| roads.addresses().find(&asked, OFFERED)).enumerate() {
        let at = crate::roads::Position::from(hit.at);
        let (drawing, _) = map::place(&app, &format!("hit{n}"), &hit.text, (at.lat(), at.lon())).await;
        hits.push(HitView { how: hit.how.words(), pin: format!("{:.5}, {:.5}", at.lat(), at.lon()), text: hit.text, map: drawing });
    }
    html(&PinPage { f: Frame::of(&who, "customers"), has_roads: roads.is_some(), place, asked, hits })
}

#[derive(Debug, Deserialize)]
pub(super) struct PinForm {
    pin: String,
    row_version: i32,
}

pub(super) async fn set(who: Office, app: App, (Path(id), posted): (Path<Uuid>, Posted<PinForm>)) -> Result {
    let before = customers::place(&app.pool, id).await?;
    let pin = super::customers::pin(&posted.form.pin)?.ok_or_else(|| Error::Bad("Choose one of the addresses.".to_owned()))?;
    let place = Place { pin: Some(pin), pin_origin: PinOrigin::Address, row_version: posted.form.row_version, ..before };
    let mut tx = app.pool.begin().await?;
    if posted.first_time(&mut tx, &who, "pin by address", app.clock.now()).await? {
        customers::change_place(&mut *tx, &place).await?;
    }
    tx.commit().await?;
    Ok(see_other(&format!("/customers/{}#place-{id}", place.customer_id)))
}
