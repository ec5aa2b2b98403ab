//! For machines: is the program alive, can it reach its records.

use super::{
    app::App,
    error::Result,
    guard::{Anyone, Protected, RouteInfo},
};
use axum::{Router, http::StatusCode, response::IntoResponse};

pub(super) fn routes() -> (Router<App>, Vec<RouteInfo>) {
    Protected::<Anyone>::default().get("/health", health).get("/ready", ready).into_parts()
}

async fn health(_: Anyone, _: App, (): ()) -> Result {
    Ok("well\n".into_response())
}

async fn ready(_: Anyone, app: App, (): ()) -> Result {
    let answers = crate::store::answers(&app.pool).await;
    Ok(if answers {
        "ready\n".into_response()
    } else {
        (StatusCode::SERVICE_UNAVAILABLE, "the database does not answer\n").into_response()
    })
}
