//! A technician's issued day put on the phone, and what phones and office tell each other in passing.

use super::super::{
    app::App,
    assets,
    error::{Error, Result},
    guard::{self, Technician},
};
use super::{fill, route, stop, unplanned};
use crate::{
    secrets::{hex, sha256},
    store::{
        phones::{self, Greeting},
        units, visits,
        week::Stop,
    },
    units::parse_date,
};
use axum::{
    Json, body,
    extract::{Form, Path, Query},
    http::{HeaderMap, StatusCode, header},
    response::IntoResponse,
};
use serde::Deserialize;
use serde_json::json;
use std::{collections::BTreeMap, fmt::Write};
use time::Date;
use uuid::Uuid;

/// What a phone says of itself whenever it is heard.
#[derive(Debug, Deserialize)]
pub(super) struct Heard {
    phone: Uuid,
    #[serde(default)]
    unsent: u32,
    /// The day that is packed, if one is.
    #[serde(default)]
    day: String,
    /// Whether it takes the pages of a pack with the answer; an older build asks for each by itself.
    #[serde(default)]
    whole: String,
}

/// Largest page of a pack.
const LARGEST: usize = 2_097_152;

/// A page that goes onto the phone.
enum Page {
    Route(Date),
    Stop(Uuid),
    Fill(Uuid),
    Unplanned,
    Unit(Uuid),
}

impl Page {
    fn url(&self) -> String {
        match self {
            Self::Route(day) => format!("/route/{day}"),
            Self::Stop(id) => format!("/stop/{id}"),
            Self::Fill(id) => format!("/stop/{id}/fill"),
            Self::Unplanned => "/unplanned".to_owned(),
            Self::Unit(id) => format!("/unplanned/{id}"),
        }
    }

    /// The page as its own address answers; `None` where that is no page just now.
    async fn read(&self, who: Technician, app: App) -> Result<Option<String>> {
        let answer = match self {
            Self::Route(day) => route::page(who, app, Path(day.to_string())).await?,
            Self::Stop(id) => stop::page(who, app, Path(*id)).await?,
            Self::Fill(id) => fill::page(who, app, Path(*id)).await?,
            Self::Unplanned => unplanned::page(who, app, Query(unplanned::Asked::default())).await?,
            Self::Unit(id) => unplanned::sheet_page(who, app, Path(*id)).await?,
        };
        if answer.status() != StatusCode::OK {
            return Ok(None);
        }
        let bytes = body::to_bytes(answer.into_body(), LARGEST).await.map_err(|e| Error::Inside(e.into()))?;
        Ok(Some(String::from_utf8_lossy(&bytes).into_owned()))
    }
}

/// The page's own script sends this header; another site's page cannot.
fn own_script(headers: &HeaderMap) -> Result<()> {
    let own = headers.get("embertide").is_some();
    if own { Ok(()) } else { Err(Error::Bad("Open the route and put it on the phone from there.".to_owned())) }
}

/// What the browser calls the phone, short: "Android", "iPhone".
fn label(headers: &HeaderMap) -> &'static str {
    let says = headers.get(header::USER_AGENT).and_then(|v| v.to_str().ok()).unwrap_or_default();
    let known = ["Android", "iPhone", "iPad", "Windows", "Mac OS", "Linux"];
    known.into_iter().find(|k| says.contains(k)).unwrap_or("Phone")
}

async fn greet(who: &Technician, app: &App, headers: &HeaderMap, heard: &Heard) -> Result<bool> {
    let token = guard::session_token(headers, app).unwrap_or_default();
    let unsent = i32::try_from(heard.unsent.min(100_000)).unwrap_or(0);
    let greeting = Greeting { phone_id: heard.phone, staff_id: who.staff_id, label: label(headers), unsent };
    let mut tx = app.pool.begin().await?;
    let welcome = phones::greet(&mut tx, &greeting, &token, app.clock.now()).await?;
    tx.commit().await?;
    Ok(welcome)
}

/// A number that changes when the office changes the day; what the technician does at the stops leaves it as it is.
pub(super) fn version(stops: &[Stop]) -> String {
    let mut text = String::new();
    for s in stops {
        let told = s.status == "confirmed" && s.starts.is_some();
        let call = s.to_call().map(|t| (t.day, t.starts));
        let _ = write!(text, "{}|{:?}|{:?}|{:?}|{:?}|{told}|{call:?}|", s.visit_id, s.position, s.starts, s.ends, s.job_codes);
    }
    hex(&sha256(text.as_bytes())[..6])
}

/// The day's manifest: every page and file that has to be on the phone, all or nothing. The pages come along in one answer: on a slow
/// line each by itself costs the way there and back, and together they pack to a quarter.
pub(super) async fn pack(who: Technician, app: App, (Path(day), headers, Form(heard)): (Path<String>, HeaderMap, Form<Heard>)) -> Result {
    own_script(&headers)?;
    let day = parse_date(&day).map_err(|_| Error::NotFound)?;
    if !greet(&who, &app, &headers, &heard).await? {
        return Err(Error::Bad("The office has shut this phone out. Ask there before you go on with it.".to_owned()));
    }
    let stops = visits::stops(&app.pool, who.staff_id, day).await?;
    let open: Vec<&Stop> = stops.iter().filter(|s| s.status == "planned" || s.status == "confirmed").collect();
    let empty = units::without_fill(&app.pool, &open.iter().map(|s| s.unit_id).collect::<Vec<_>>()).await?;
    let of_day: Vec<Uuid> = stops.iter().map(|s| s.unit_id).collect();
    let beside = units::beside(&app.pool, &of_day, unplanned::PACKED).await?;
    let mut tx = app.pool.begin().await?;
    let handed: Vec<(Uuid, Uuid)> = open.iter().map(|s| (s.visit_id, s.unit_id)).collect();
    phones::packed(&mut tx, heard.phone, who.staff_id, &handed, app.clock.now()).await?;
    tx.commit().await?;
    let mut pages = vec![Page::Route(day)];
    pages.extend(open.iter().map(|s| Page::Stop(s.visit_id)));
    pages.extend(open.iter().filter(|s| empty.contains(&s.unit_id)).map(|s| Page::Fill(s.visit_id)));
    pages.push(Page::Unplanned);
    pages.extend(beside.iter().map(|u| Page::Unit(u.id)));
    let mut whole = BTreeMap::new();
    if !heard.whole.is_empty() {
        for page in &pages {
            whole.extend(page.read(who.clone(), app.clone()).await?.map(|text| (page.url(), text)));
        }
    }
    let urls: Vec<String> = pages.iter().map(Page::url).chain(assets::YARD.map(assets::address)).collect();
    Ok(Json(json!({ "day": day.to_string(), "version": version(&stops), "urls": urls, "pages": whole })).into_response())
}

/// A phone says how much it has not sent; the office says whether the day changed, and which copy of the records this is.
pub(super) async fn heard(who: Technician, app: App, (headers, Form(heard)): (HeaderMap, Form<Heard>)) -> Result {
    own_script(&headers)?;
    let welcome = greet(&who, &app, &headers, &heard).await?;
    let version = match parse_date(&heard.day) {
        Ok(day) => version(&visits::stops(&app.pool, who.staff_id, day).await?),
        Err(_) => String::new(),
    };
    let epoch = phones::epoch(&app.pool).await?;
    Ok(Json(json!({ "epoch": epoch, "today": who.dealer.today.to_string(), "version": version, "welcome": welcome })).into_response())
}
