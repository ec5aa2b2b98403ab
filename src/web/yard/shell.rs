//! The worker and the page that is always on the phone: what is kept here, what was sent, which stops are packed.

use super::super::{
    app::App,
    assets,
    error::Result,
    guard::Anyone,
    html::{Frame, html},
};
use askama::Template;
use axum::{http::header, response::IntoResponse};

/// The worker, from the root, so that it serves the whole yard. It names the files of this build, so that a new build is a new worker. Never kept by the browser's own store.
pub(super) async fn worker(_: Anyone, _: App, (): ()) -> Result {
    let shell: Vec<String> = assets::YARD.iter().map(|name| format!("\"{}\"", assets::address(name))).collect();
    let text = format!("const SHELL = [{}];\nimportScripts(\"{}\");\n", shell.join(", "), assets::address("yard.js"));
    Ok(([(header::CONTENT_TYPE, "text/javascript; charset=utf-8")], text).into_response())
}

#[derive(Template)]
#[template(path = "yard/on_this_phone.html")]
struct PhonePage {
    f: Frame,
}

/// The same for everybody: it holds nothing of the dealer's; the phone's own script fills it from what is kept there.
pub(super) async fn page(_: Anyone, _: App, (): ()) -> Result {
    html(&PhonePage { f: Frame { here: "phone", ..Frame::bare() } })
}
