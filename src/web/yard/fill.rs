//! Commissioning at the unit: the source water judged, the first charge, and the fill kept, before the visit's own sheet.

use super::{
    super::{
        app::App,
        error::{Error, Result},
        fill_view::{self, Answer, Asked, Keeping},
        form::Posted,
        guard::{Technician, see_other},
        html::{Frame, html, html_with},
    },
    stop,
};
use crate::store::{
    catalogue::{self, LotLine},
    units::{self, Unit},
    water::{self, Maker},
};
use askama::Template;
use axum::{extract::Path, http::StatusCode};
use uuid::Uuid;

#[derive(Template)]
#[template(path = "yard/fill.html")]
struct FillPage {
    f: Frame,
    visit: Uuid,
    u: Unit,
    asked: Asked,
    tested: bool,
    devices: Vec<(String, &'static str)>,
    answer: Answer,
    wrong: String,
    lots: Vec<LotLine>,
}

async fn made(who: &Technician, app: &App, visit: Uuid, asked: Asked, wrong: Option<String>) -> Result<FillPage> {
    let id = stop::own_stop(who, app, visit).await?.unit_id;
    let u = units::get(&app.pool, id).await?;
    let mut c = app.pool.acquire().await?;
    let treatments = catalogue::treatments(&mut c).await?;
    let own = water::unit_waters(&mut *c, &treatments, &[id]).await?.remove(&id).ok_or(Error::NotFound)?;
    let profiles = catalogue::profiles(&mut c).await?;
    let tested = asked.tested();
    let asked = asked.with_usual(Some((&u, &own)), who.dealer.units);
    let (answer, bad) = match tested.then(|| fill_view::answer(&asked, &profiles, Some(&own), &who.dealer)) {
        Some(Ok(answer)) => (answer, String::new()),
        Some(Err(bad)) => (Answer::default(), bad),
        None => (Answer::default(), String::new()),
    };
    let product = own.product.as_ref().map(|p| p.0);
    let lots = catalogue::lots(&mut *c).await?.into_iter().filter(|l| Some(l.product_id) == product).collect();
    Ok(FillPage {
        f: Frame::of(who, "route"),
        visit,
        tested,
        devices: fill_view::devices(),
        answer,
        wrong: wrong.unwrap_or(bad),
        lots,
        asked,
        u,
    })
}

pub(super) async fn page(who: Technician, app: App, Path(visit): Path<Uuid>) -> Result {
    html(&made(&who, &app, visit, Asked::default(), None).await?)
}

pub(super) async fn keep(who: Technician, app: App, (Path(visit), posted): (Path<Uuid>, Posted<Asked>)) -> Result {
    let page = made(&who, &app, visit, posted.form.clone(), None).await?;
    if posted.form.act == "judge" {
        return html(&page);
    }
    let now = app.clock.now();
    let mut tx = app.pool.begin().await?;
    let treatments = catalogue::treatments(&mut tx).await?;
    let own = water::unit_waters(&mut *tx, &treatments, &[page.u.id]).await?.remove(&page.u.id).ok_or(Error::NotFound)?;
    if posted.first_time(&mut tx, &who, "fill", now).await? {
        let keeping = Keeping { who: &who, maker: Maker::Technician, id: posted.id, now };
        if let Err(Error::Bad(wrong)) = fill_view::keep(&mut tx, &page.u, &own, &page.asked, &page.answer, &keeping).await {
            tx.rollback().await?;
            let page = made(&who, &app, visit, posted.form.clone(), Some(wrong)).await?;
            return html_with(StatusCode::UNPROCESSABLE_ENTITY, &page);
        }
    }
    tx.commit().await?;
    Ok(see_other(&format!("/stop/{visit}")))
}
