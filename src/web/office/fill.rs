//! The fill of one unit: its source water judged, its first charge, and all of it kept.

use super::super::{
    app::App,
    error::{Error, Result},
    fill_view::{self, Answer, Asked, Keeping},
    form::Posted,
    guard::{Office, see_other},
    html::{Frame, html, html_with},
};
use crate::store::{
    catalogue::{self, LotLine},
    units::{self, Fill, Unit},
    water::{self, Maker},
};
use askama::Template;
use axum::{extract::Path, http::StatusCode};
use uuid::Uuid;

#[derive(Template)]
#[template(path = "office/fill.html")]
struct FillPage {
    f: Frame,
    u: Unit,
    asked: Asked,
    tested: bool,
    devices: Vec<(String, &'static str)>,
    answer: Answer,
    wrong: String,
    lots: Vec<LotLine>,
    fills: Vec<Fill>,
}

async fn made(who: &Office, app: &App, id: Uuid, asked: Asked, wrong: Option<String>) -> Result<FillPage> {
    let u = units::get(&app.pool, id).await?;
    let mut c = app.pool.acquire().await?;
    let treatments = catalogue::treatments(&mut c).await?;
    let own = water::unit_waters(&mut *c, &treatments, &[id]).await?.remove(&id).ok_or(Error::NotFound)?;
    let profiles = catalogue::profiles(&mut c).await?;
    let tested = asked.tested();
    let asked = asked.with_usual(Some((&u, &own)), who.dealer.units);
    let said = tested.then(|| fill_view::answer(&asked, &profiles, Some(&own), &who.dealer));
    let (answer, bad) = match said {
        Some(Ok(answer)) => (answer, String::new()),
        Some(Err(bad)) => (Answer::default(), bad),
        None => (Answer::default(), String::new()),
    };
    let product = own.product.as_ref().map(|p| p.0);
    let lots = catalogue::lots(&mut *c).await?.into_iter().filter(|l| Some(l.product_id) == product).collect();
    Ok(FillPage {
        f: Frame::of(who, "customers"),
        tested,
        devices: fill_view::devices(),
        answer,
        wrong: wrong.unwrap_or(bad),
        lots,
        fills: units::fills(&mut *c, id).await?,
        asked,
        u,
    })
}

pub(super) async fn page(who: Office, app: App, Path(id): Path<Uuid>) -> Result {
    html(&made(&who, &app, id, Asked::default(), None).await?)
}

pub(super) async fn keep(who: Office, app: App, (Path(id), posted): (Path<Uuid>, Posted<Asked>)) -> Result {
    let page = made(&who, &app, id, posted.form.clone(), None).await?;
    if posted.form.act == "judge" {
        return html(&page);
    }
    let now = app.clock.now();
    let mut tx = app.pool.begin().await?;
    let treatments = catalogue::treatments(&mut tx).await?;
    let own = water::unit_waters(&mut *tx, &treatments, &[id]).await?.remove(&id).ok_or(Error::NotFound)?;
    if posted.first_time(&mut tx, &who, "fill", now).await? {
        let keeping = Keeping { who: &who, maker: Maker::Office, id: posted.id, now };
        if let Err(Error::Bad(wrong)) = fill_view::keep(&mut tx, &page.u, &own, &page.asked, &page.answer, &keeping).await {
            tx.rollback().await?;
            let page = made(&who, &app, id, posted.form.clone(), Some(wrong)).await?;
            return html_with(StatusCode::UNPROCESSABLE_ENTITY, &page);
        }
    }
    tx.commit().await?;
    Ok(see_other(&format!("/units/{id}#water")))
}
