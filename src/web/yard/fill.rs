//! Commissioning at the unit: the source water judged, the first charge, and the fill kept, before the visit's own sheet.

use super::{
    super::{
        app::App,
        error::Result,
        fill_keep::{self, Outcome},
        fill_view::{self, Asked, FillSheet},
        form::Posted,
        guard::{Technician, see_other},
        html::{Frame, html, html_with},
    },
    stop,
};
use crate::store::water::Maker;
use askama::Template;
use axum::{extract::Path, http::StatusCode};
use uuid::Uuid;

#[derive(Template)]
#[template(path = "yard/fill.html")]
pub(super) struct FillPage {
    pub(super) f: Frame,
    /// `visit` or `unit`, and its id.
    pub(super) about: (&'static str, Uuid),
    /// The sheet it belongs to.
    pub(super) back: String,
    pub(super) s: FillSheet,
}

fn fill_page(who: &Technician, visit: Uuid, s: FillSheet) -> FillPage {
    FillPage { f: Frame::of(who, "route"), about: ("visit", visit), back: format!("/stop/{visit}"), s }
}

pub(super) async fn page(who: Technician, app: App, Path(visit): Path<Uuid>) -> Result {
    let unit_id = stop::own_stop(&who, &app, visit).await?.unit_id;
    let mut c = app.pool.acquire().await?;
    let s = fill_view::sheet(&mut c, unit_id, Asked::default(), &who.dealer).await?;
    html(&fill_page(&who, visit, s))
}

pub(super) async fn keep(who: Technician, app: App, (Path(visit), posted): (Path<Uuid>, Posted<Asked>)) -> Result {
    let unit_id = stop::own_stop(&who, &app, visit).await?.unit_id;
    match fill_keep::take(&app, &who, Maker::Technician, unit_id, &posted).await? {
        Outcome::Kept => Ok(see_other(&format!("/stop/{visit}"))),
        Outcome::Again(sheet) => {
            let status = if sheet.wrong.is_empty() { StatusCode::OK } else { StatusCode::UNPROCESSABLE_ENTITY };
            html_with(status, &fill_page(&who, visit, *sheet))
        }
    }
}
