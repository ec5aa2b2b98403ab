//! The few static files, inside the program, under names that change with their content.

use axum::{
    extract::Path,
    http::{StatusCode, header},
    response::{IntoResponse, Response},
};
use std::{borrow::Cow, sync::LazyLock};

struct Asset {
    name: &'static str,
    kind: &'static str,
    bytes: Cow<'static, [u8]>,
    hashed: String,
}

static ASSETS: LazyLock<Vec<Asset>> = LazyLock::new(|| {
    [
        ("look.css", "text/css; charset=utf-8", &include_bytes!("../../static/look.css")[..]),
        ("office.js", "text/javascript; charset=utf-8", &include_bytes!("../../static/office.js")[..]),
        ("mark.svg", "image/svg+xml", &include_bytes!("../../static/mark.svg")[..]),
    ]
    .into_iter()
    .map(|(name, kind, bytes)| (name, kind, Cow::Borrowed(bytes)))
    .chain([("yard.js", "text/javascript; charset=utf-8", Cow::Owned(yard().into_bytes()))])
    .map(|(name, kind, bytes)| {
        let hash = crate::secrets::hex(&crate::secrets::sha256(&bytes)[..5]);
        let (stem, end) = name.split_once('.').unwrap_or((name, ""));
        Asset { name, kind, bytes, hashed: format!("{stem}.{hash}.{end}") }
    })
    .collect()
});

/// Address of a static file for a page; an unknown name gives an address that answers 404.
pub fn address(name: &str) -> String {
    let hashed = ASSETS.iter().find(|a| a.name == name).map_or(name, |a| a.hashed.as_str());
    format!("/assets/{hashed}")
}

/// What a page of the yard needs beside itself, in a pack and in the worker's own shell.
pub(super) const YARD: [&str; 3] = ["look.css", "mark.svg", "yard.js"];

/// The yard's script in its parts. Pages and the worker load the same file: one request on a weak line.
const YARD_PARTS: [&str; 6] = [
    include_str!("../../static/outbox.js"),
    include_str!("../../static/dose.js"),
    include_str!("../../static/photos.js"),
    include_str!("../../static/phone.js"),
    include_str!("../../static/worker.js"),
    include_str!("../../static/yard.js"),
];

/// The parts without indentation and comments, which have lines of their own in there.
fn yard() -> String {
    let lines = YARD_PARTS.iter().flat_map(|part| part.lines()).map(str::trim);
    lines.filter(|l| !l.is_empty() && !l.starts_with("//")).flat_map(|l| [l, "\n"]).collect()
}

/// Hashed names never change their content, so a browser may keep them for a year.
pub(super) async fn get(Path(name): Path<String>) -> Response {
    match ASSETS.iter().find(|a| a.hashed == name) {
        Some(a) => ([(header::CONTENT_TYPE, a.kind), (header::CACHE_CONTROL, "public, max-age=31536000, immutable")], a.bytes.as_ref())
            .into_response(),
        None => StatusCode::NOT_FOUND.into_response(),
    }
}
