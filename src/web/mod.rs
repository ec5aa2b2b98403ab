//! The pages: axum and templates. A handler reads: parse, who are you, store and pure rooms, page.
//!
//! Three faces under one roof: [`office`] at the desk, [`yard`] on a technician's phone, [`record`] for a customer.

pub mod account;
pub mod app;
pub mod assets;
mod draw;
pub mod error;
mod fill_keep;
mod fill_view;
pub mod form;
pub mod guard;
pub mod health;
pub mod html;
mod map;
pub mod office;
mod photos;
pub mod record;
mod report_view;
pub mod serve;
pub mod setup;
pub mod sign_in;
mod square;
mod water_view;
mod words;
pub mod yard;

use app::App;
use axum::{
    Router,
    body::Body,
    extract::{DefaultBodyLimit, MatchedPath},
    http::{HeaderName, HeaderValue, Request, header},
    middleware::{self, Next},
    response::{IntoResponse, Response},
    routing::get,
};
use guard::RouteInfo;
use tower_http::{catch_panic::CatchPanicLayer, compression::CompressionLayer, csrf::CsrfLayer, trace::TraceLayer};

/// Largest form; lists that are brought in have their own limit.
const BODY_LIMIT: usize = 256 * 1024;
/// Largest list that may be brought in.
pub const LIST_LIMIT: usize = 5 * 1024 * 1024;

/// Everything that is served, and the list of it.
pub fn router(app: App) -> (Router, Vec<RouteInfo>) {
    let mut router = Router::new().route("/assets/{name}", get(assets::get)).route("/robots.txt", get(robots));
    let mut list = Vec::new();
    for (part, routes) in [
        office::routes(),
        office::unit_routes(),
        office::owner_routes(),
        office::list_routes(),
        yard::routes(),
        yard::kept_routes(),
        yard::shell_routes(),
        photos::routes(),
        record::routes(),
        sign_in::routes(),
        sign_in::staff_routes(),
        account::routes(),
        setup::routes(),
        health::routes(),
    ] {
        router = router.merge(part);
        list.extend(routes);
    }
    let https = app.is_https();
    let router = router
        .fallback(async || error::Error::NotFound)
        .method_not_allowed_fallback(async || error::Error::NotFound)
        .layer(DefaultBodyLimit::max(BODY_LIMIT))
        .with_state(app)
        .layer(middleware::from_fn(no_zero))
        .layer(CsrfLayer::new())
        .layer(CatchPanicLayer::custom(|_| error::Error::Inside(anyhow::anyhow!("a handler panicked")).into_response()))
        .layer(CompressionLayer::new())
        .layer(middleware::from_fn(move |request, next| headers(https, request, next)))
        .layer(TraceLayer::new_for_http().make_span_with(span));
    (router, list)
}

/// The log line names the route's pattern, never the address: a record link is a secret.
fn span(request: &Request<Body>) -> tracing::Span {
    let route = request.extensions().get::<MatchedPath>().map_or("-", MatchedPath::as_str);
    tracing::info_span!("request", method = %request.method(), route)
}

async fn robots() -> &'static str {
    "User-agent: *\nDisallow: /\n"
}

/// Headers on every answer, errors included (OWASP ASVS 5.0 V3; no inline script or style anywhere).
const HEADERS: [(&str, &str); 8] = [
    (
        "content-security-policy",
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob:; connect-src 'self'; font-src 'self'; manifest-src 'self'; worker-src 'self'; form-action 'self'; base-uri 'none'; object-src 'none'; frame-ancestors 'none'",
    ),
    ("x-content-type-options", "nosniff"),
    ("referrer-policy", "no-referrer"),
    ("cross-origin-opener-policy", "same-origin"),
    ("cross-origin-resource-policy", "same-origin"),
    ("permissions-policy", "camera=(self), geolocation=(self), microphone=()"),
    ("x-frame-options", "DENY"),
    ("x-robots-tag", "noindex, nofollow"),
];

/// A zero character in an address: no text holds one, and PostgreSQL takes none.
async fn no_zero(request: Request<Body>, next: Next) -> Response {
    if request.uri().path().contains("%00") || request.uri().query().is_some_and(|query| query.contains("%00")) {
        return error::Error::Bad("This address holds a character that no text has. Type what you look for again.".to_owned())
            .into_response();
    }
    next.run(request).await
}

async fn headers(https: bool, request: Request<Body>, next: Next) -> Response {
    let mut answer = next.run(request).await;
    let headers = answer.headers_mut();
    for (name, value) in HEADERS {
        // A picture has a stricter policy of its own.
        headers.entry(HeaderName::from_static(name)).or_insert(HeaderValue::from_static(value));
    }
    if https {
        headers.insert(header::STRICT_TRANSPORT_SECURITY, HeaderValue::from_static("max-age=63072000; includeSubDomains"));
    }
    headers.entry(header::CACHE_CONTROL).or_insert(HeaderValue::from_static("no-store"));
    answer
}
