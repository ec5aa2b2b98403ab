//! The technician's face: the day's stops, one stop, what was kept. Works without script; a little script makes it quicker.

mod amended;
mod fill;
mod item;
mod kept;
mod outbox;
mod pack;
mod photos;
mod route;
mod sheet;
mod shell;
mod stop;
mod typed;
mod unplanned;

use super::{
    app::App,
    guard::{Anyone, Protected, RouteInfo, Staff, Technician},
};
use axum::{Router, extract::DefaultBodyLimit};

pub(super) fn routes() -> (Router<App>, Vec<RouteInfo>) {
    let (router, mut list) = Protected::<Technician>::default().post("/outbox/{id}", outbox::take).into_parts();
    let outbox = router.layer(DefaultBodyLimit::max(outbox::LARGEST));
    let (router, rest) = Protected::<Technician>::default()
        .get("/route", route::today)
        .get("/route/{day}", route::page)
        .get("/stop/{id}", stop::page)
        .post("/stop/{id}", stop::keep)
        .get("/stop/{id}/fill", fill::page)
        .post("/stop/{id}/fill", fill::keep)
        .post("/stop/{id}/not-done", stop::not_done)
        .get("/unplanned", unplanned::page)
        .post("/unplanned", unplanned::written_down)
        .get("/unplanned/{id}", unplanned::sheet_page)
        .post("/unplanned/{id}", unplanned::keep)
        .get("/unplanned/{id}/fill", unplanned::fill_page)
        .post("/unplanned/{id}/fill", unplanned::fill_keep)
        .post("/pack/{day}", pack::pack)
        .post("/heard", pack::heard)
        .get("/photos/{id}/sent", photos::have)
        .post("/photos/{id}/from/{at}", photos::take)
        .into_parts();
    list.extend(rest);
    (router.merge(outbox), list)
}

/// Reports: the technician's own, and the office's to correct.
pub(super) fn kept_routes() -> (Router<App>, Vec<RouteInfo>) {
    let (router, mut list) = Protected::<Staff>::default().post("/kept/{id}/photos", photos::add_to_report).into_parts();
    let with_photos = router.layer(DefaultBodyLimit::max(photos::FORM));
    let (router, rest) = Protected::<Staff>::default()
        .get("/kept/{id}", kept::page)
        .get("/kept/{id}/correct", kept::correct_page)
        .post("/kept/{id}/correct", kept::correct)
        .into_parts();
    list.extend(rest);
    (router.merge(with_photos), list)
}

/// What lies on the phone for itself: the worker, and the page of what is kept here.
pub(super) fn shell_routes() -> (Router<App>, Vec<RouteInfo>) {
    Protected::<Anyone>::default().get("/worker.js", shell::worker).get("/on-this-phone", shell::page).into_parts()
}
