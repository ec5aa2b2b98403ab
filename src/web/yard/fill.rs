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
struct FillPage {
    f: Frame,
    visit: Uuid,
    s: FillSheet,
}

impl FillPage {
    fn back(&self) -> String {
        format!("/stop/{}", self.visit)
    }
}

pub(super) async fn page(who: Technician, app: App, Path(visit): Path<Uuid>) -> Result {
    let unit_id = stop::own_stop(&who, &app, visit).await?.unit_id;
    let mut c = app.pool.acquire().await?;
    let s = fill_view::sheet(&mut c, unit_id, Asked::default(), &who.dealer).await?;
    html(&FillPage { f: Frame::of(&who, "route"), visit, s })
}

pub(super) async fn keep(who: Technician, app: App, (Path(visit), posted): (Path<Uuid>, Posted<Asked>)) -> Result {
    let unit_id = stop::own_stop(&who, &app, visit).await?.unit_id;
    match fill_keep::take(&app, &who, Maker::Technician, unit_id, &posted).await? {
        Outcome::Kept => Ok(see_other(&format!("/stop/{visit}"))),
        Outcome::Again(sheet) => {
            let status = if sheet.wrong.is_empty() { StatusCode::OK } else { StatusCode::UNPROCESSABLE_ENTITY };
            html_with(status, &FillPage { f: Frame::of(&who, "route"), visit, s: *sheet })
        }
    }
}
