//! The technician's face: the day's stops, one stop, what was kept. Works without script; a little script makes it quicker.

mod fill;
mod kept;
mod route;
mod sheet;
mod stop;
mod typed;

use super::{
    app::App,
    guard::{Protected, RouteInfo, Staff, Technician},
};
use axum::Router;

pub(super) fn routes() -> (Router<App>, Vec<RouteInfo>) {
    Protected::<Technician>::default()
        .get("/route", route::today)
        .get("/route/{day}", route::page)
        .get("/stop/{id}", stop::page)
        .post("/stop/{id}", stop::keep)
        .get("/stop/{id}/fill", fill::page)
        .post("/stop/{id}/fill", fill::keep)
        .post("/stop/{id}/not-done", stop::not_done)
        .into_parts()
}

/// Reports: the technician's own, and the office's to correct.
pub(super) fn kept_routes() -> (Router<App>, Vec<RouteInfo>) {
    Protected::<Staff>::default()
        .get("/kept/{id}", kept::page)
        .get("/kept/{id}/correct", kept::correct_page)
        .post("/kept/{id}/correct", kept::correct)
        .into_parts()
}
