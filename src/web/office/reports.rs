//! One visit report as it was kept.

use super::super::{
    app::App,
    error::Result,
    guard::Office,
    html::{Frame, html},
    words,
};
use crate::{
    store::{
        reports::{self, AnswerLine, ReportLine},
        units::{self, Unit},
    },
    units::day_long,
};
use askama::Template;
use axum::extract::Path;
use uuid::Uuid;

#[derive(Template)]
#[template(path = "office/report.html")]
struct ReportPage {
    f: Frame,
    u: Unit,
    r: ReportLine,
    day: String,
    ph: String,
    dose: String,
    answers: Vec<AnswerLine>,
}

pub(super) async fn page(who: Office, app: App, Path(id): Path<Uuid>) -> Result {
    let (unit_id, version, ..) = reports::newest(&app.pool, id).await?;
    let r = reports::of_unit(&app.pool, unit_id, Some(id), 1).await?.pop().ok_or(super::super::error::Error::NotFound)?;
    html(&ReportPage {
        f: Frame::of(&who, "customers"),
        u: units::get(&app.pool, unit_id).await?,
        day: day_long(r.visited_on),
        ph: r.ph_milli.map(words::ph).unwrap_or_default(),
        dose: r.dose_ml.map(|ml| words::amount(ml, who.dealer.units)).unwrap_or_default(),
        answers: reports::answers(&app.pool, id, version).await?,
        r,
    })
}
