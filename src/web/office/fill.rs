//! The fill of one unit: its source water judged, its first charge, and all of it kept.

use super::super::{
    app::App,
    error::Result,
    fill_keep::{self, Outcome},
    fill_view::{self, Asked, FillSheet},
    form::Posted,
    guard::{Office, see_other},
    html::{Frame, html, html_with},
};
use crate::store::{
    units::{self, Fill},
    water::Maker,
};
use askama::Template;
use axum::{extract::Path, http::StatusCode};
use uuid::Uuid;

#[derive(Template)]
#[template(path = "office/fill.html")]
struct FillPage {
    f: Frame,
    s: FillSheet,
    fills: Vec<Fill>,
}

async fn made(who: &Office, app: &App, sheet: FillSheet) -> Result<FillPage> {
    Ok(FillPage { f: Frame::of(who, "customers"), fills: units::fills(&app.pool, sheet.u.id).await?, s: sheet })
}

pub(super) async fn page(who: Office, app: App, Path(id): Path<Uuid>) -> Result {
    let mut c = app.pool.acquire().await?;
    let sheet = fill_view::sheet(&mut c, id, Asked::default(), &who.dealer).await?;
    drop(c);
    html(&made(&who, &app, sheet).await?)
}

pub(super) async fn keep(who: Office, app: App, (Path(id), posted): (Path<Uuid>, Posted<Asked>)) -> Result {
    match fill_keep::take(&app, &who, Maker::Office, id, &posted).await? {
        Outcome::Kept => Ok(see_other(&format!("/units/{id}#water"))),
        Outcome::Again(sheet) => {
            let status = if sheet.wrong.is_empty() { StatusCode::OK } else { StatusCode::UNPROCESSABLE_ENTITY };
            html_with(status, &made(&who, &app, *sheet).await?)
        }
    }
}
