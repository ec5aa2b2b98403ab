//! A visit that nobody planned: a neighbour waves, or a second unit stands beside the first. To any unit that is found, and,
//! without a signal, to those that were packed; what cannot be found is written down for the office.

use super::{
    super::{
        app::App,
        error::{Error, Result},
        fill_keep::{self, Outcome},
        fill_view::{self, Asked as FillAsked},
        form::Posted,
        guard::{Technician, see_other},
        html::{Frame, html, html_with},
    },
    fill::FillPage,
    outbox,
    sheet::{self, About, Dress},
    stop,
    typed::{self, Typed},
};
use crate::store::{
    submissions::Arrived,
    units::{self, Unit},
    visits,
    water::Maker,
};
use askama::Template;
use axum::{
    extract::{Path, Query},
    http::StatusCode,
};
use serde::Deserialize;
use time::Duration;
use uuid::Uuid;

/// Units that are offered.
const OFFERED: i64 = 20;
/// Other units at the places of a day that go into its pack.
pub(super) const PACKED: i64 = 8;
/// How far ahead the technician's next day is looked for.
const AHEAD: Duration = Duration::days(14);

#[derive(Template)]
#[template(path = "yard/unplanned.html")]
struct UnplannedPage {
    f: Frame,
    asked: String,
    found: Vec<Unit>,
    beside: Vec<Unit>,
    kept: bool,
}

#[derive(Debug, Default, Deserialize)]
pub(super) struct Asked {
    #[serde(default)]
    of: String,
    #[serde(default)]
    kept: String,
}

pub(super) async fn page(who: Technician, app: App, Query(asked): Query<Asked>) -> Result {
    let words: String = asked.of.trim().chars().take(80).collect();
    let mut c = app.pool.acquire().await?;
    let found = if words.is_empty() { Vec::new() } else { units::find(&mut c, &words, OFFERED).await? };
    drop(c);
    let today = who.dealer.today;
    let day = visits::days(&app.pool, who.staff_id, today, today + AHEAD).await?.first().map_or(today, |d| d.0);
    let stops = visits::stops(&app.pool, who.staff_id, day).await?;
    let beside = units::beside(&app.pool, &stops.iter().map(|s| s.unit_id).collect::<Vec<_>>(), PACKED).await?;
    html(&UnplannedPage { f: Frame::of(&who, "unplanned"), asked: words, found, beside, kept: !asked.kept.is_empty() })
}

/// A unit that a technician may visit unasked: any that is not retired.
async fn unit(app: &App, id: Uuid) -> Result<Unit> {
    Some(units::get(&app.pool, id).await?).filter(|u| u.status != "retired").ok_or(Error::NotFound)
}

fn dress(u: &Unit, form_id: Uuid) -> Dress {
    Dress {
        title: u.place_name.clone(),
        action: format!("/unplanned/{}", u.id),
        not_done_action: String::new(),
        back: "/route".to_owned(),
        when: "Not on the route".to_owned(),
        reason_planned: String::new(),
        fill: format!("/unplanned/{}/fill", u.id),
        form_id,
        about: ("unit", u.id),
        day_ahead: true,
    }
}

async fn loaded(who: &Technician, app: &App, unit_id: Uuid) -> Result<sheet::Loaded> {
    sheet::load(app, &About { unit_id, usual_day: who.dealer.today, correcting: false }).await
}

pub(super) async fn sheet_page(who: Technician, app: App, Path(id): Path<Uuid>) -> Result {
    let u = unit(&app, id).await?;
    let loaded = loaded(&who, &app, id).await?;
    html(&sheet::sheet(&app, &who, loaded, &[], dress(&u, Uuid::now_v7()), Typed::default(), Vec::new()).await?)
}

pub(super) async fn keep(who: Technician, app: App, (Path(id), posted): (Path<Uuid>, Posted<Vec<(String, String)>>)) -> Result {
    let u = unit(&app, id).await?;
    let loaded = loaded(&who, &app, id).await?;
    let typed = Typed(posted.form.clone());
    match typed::read(&typed, &loaded.against(who.dealer.today, who.dealer.units)) {
        Ok(read) => {
            let worked = loaded.worked(&read);
            let mut new = stop::report(&who, posted.id, 1, None, id, read, worked, loaded.jug_step());
            outbox::note_unplanned(&app, &who, &mut new).await?;
            stop::store(&app, &who, &posted, new).await?;
            Ok(see_other(&format!("/kept/{}?new=1", posted.id)))
        }
        Err(wrong) => stop::again(&app, &who, loaded, &[], dress(&u, posted.id), typed, wrong).await,
    }
}

pub(super) async fn fill_page(who: Technician, app: App, Path(id): Path<Uuid>) -> Result {
    unit(&app, id).await?;
    let mut c = app.pool.acquire().await?;
    let s = fill_view::sheet(&mut c, id, FillAsked::default(), &who.dealer).await?;
    html(&FillPage { f: Frame::of(&who, "route"), about: ("unit", id), back: format!("/unplanned/{id}"), s })
}

pub(super) async fn fill_keep(who: Technician, app: App, (Path(id), posted): (Path<Uuid>, Posted<FillAsked>)) -> Result {
    unit(&app, id).await?;
    let back = format!("/unplanned/{id}");
    match fill_keep::take(&app, &who, Maker::Technician, id, &posted).await? {
        Outcome::Kept => Ok(see_other(&back)),
        Outcome::Again(sheet) => {
            let status = if sheet.wrong.is_empty() { StatusCode::OK } else { StatusCode::UNPROCESSABLE_ENTITY };
            html_with(status, &FillPage { f: Frame::of(&who, "route"), about: ("unit", id), back, s: *sheet })
        }
    }
}

/// What was written down of a unit that was not found: kept as it is, and put before the office.
pub(super) async fn written_down(who: Technician, app: App, posted: Posted<Vec<(String, String)>>) -> Result {
    let kind = super::item::kind(&posted.body);
    let arrived = Arrived { id: posted.id, kind: &kind, staff_id: who.staff_id, phone_id: None, body: &posted.body };
    outbox::take_in(&who, &app, &arrived).await?;
    Ok(see_other("/unplanned?kept=1"))
}
