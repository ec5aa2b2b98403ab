//! One visit report as it was kept.

use super::super::{
    app::App,
    error::Result,
    guard::Office,
    html::{Frame, html},
    photos::{PhotoView, view},
    report_view::{self, ReportView},
};
use crate::store::{
    photos, reports,
    units::{self, Unit},
};
use askama::Template;
use axum::extract::Path;
use uuid::Uuid;

#[derive(Template)]
#[template(path = "office/report.html")]
struct ReportPage {
    f: Frame,
    u: Unit,
    v: ReportView,
    photos: Vec<PhotoView>,
    back: String,
}

pub(super) async fn page(who: Office, app: App, Path(id): Path<Uuid>) -> Result {
    let unit_id = reports::newest(&app.pool, id).await?.unit_id;
    let r = report_view::newest(&app.pool, unit_id, id).await?;
    html(&ReportPage {
        f: Frame::of(&who, "customers"),
        u: units::get(&app.pool, unit_id).await?,
        v: report_view::view(&app.pool, r, &who.dealer).await?,
        photos: photos::of_report(&app.pool, id).await?.into_iter().map(view).collect(),
        back: format!("/reports/{id}#photos"),
    })
}
