//! A phone that was packed by one build of the service and meets the next.

use super::{
    driver::needs_chromium,
    yard::{NO_LINE, stored, yard},
};
use axum::{
    body::{Body, to_bytes},
    extract::Request,
    http::{StatusCode, Uri, header},
    middleware::Next,
    response::{IntoResponse, Response},
};
use embertide::web::assets;
use std::sync::atomic::Ordering::Relaxed;

const FILES: [&str; 3] = ["look.css", "mark.svg", "yard.js"];

/// Name of a file in this build and in the next.
fn names(file: &str) -> (String, String) {
    let (stem, end) = file.split_once('.').unwrap();
    (assets::address(file), format!("/assets/{stem}.fffffffffe.{end}"))
}

/// The same service with every hashed name of the yard changed, as the next build has them: the old names are gone.
pub(crate) async fn next_build(mut request: Request, next: Next) -> Response {
    let path = request.uri().path().to_owned();
    for (old, new) in FILES.map(names) {
        if path == old {
            return StatusCode::NOT_FOUND.into_response();
        }
        if path == new {
            *request.uri_mut() = old.parse::<Uri>().unwrap();
        }
    }
    request.headers_mut().remove(header::ACCEPT_ENCODING);
    let (mut head, body) = next.run(request).await.into_parts();
    let bytes = to_bytes(body, 1 << 24).await.unwrap();
    let Ok(text) = String::from_utf8(bytes.to_vec()) else { return Response::from_parts(head, Body::from(bytes)) };
    head.headers.remove(header::CONTENT_LENGTH);
    let text = FILES.map(names).iter().fold(text, |text, (old, new)| text.replace(old, new));
    Response::from_parts(head, Body::from(text))
}

/// An old page goes on with its own script until it is left; its report is taken; the next pack is the next build's.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_new_build_waits_while_an_old_page_is_open_and_takes_what_it_sends() {
    let y = yard().await;
    y.pack().await;
    y.at_stop(0).await;
    y.b.fill("#drops", "18").await;
    let (old, new) = names("yard.js");
    let runs =
        |name: &str| format!("return !!document.querySelector('script[src=\"{name}\"]') && 'phone' in document.documentElement.dataset");
    let shells = "(await caches.keys()).filter((k) => k.startsWith('shell-'))";

    y.office.next_build.store(true, Relaxed);
    y.b.until("const own = await navigator.serviceWorker.getRegistration(); await own.update(); return !!own.waiting").await;
    y.b.until(&format!("return (await fetch('{old}?again', {{ cache: 'no-store' }})).status === 404")).await;
    // Left and opened again: page, script and worker are those of the pack.
    y.b.until("return (await outbox.all('draft')).length === 1").await;
    y.b.forget_files().await;
    y.at_stop(0).await;
    y.b.until(&runs(&old)).await;
    assert_eq!(y.b.value("#drops").await, "18");
    y.b.until("return !!(await navigator.serviceWorker.getRegistration()).waiting").await;
    y.b.press("Keep this report").await;
    y.b.until("return !(await outbox.all('out')).length && (await outbox.all('sent')).length === 1").await;
    let bodies: Vec<Vec<u8>> = sqlx::query_scalar("SELECT body FROM submissions").fetch_all(y.t.pool()).await.unwrap();
    let made_with = old.rsplit('/').next().unwrap();
    assert_eq!(bodies.iter().filter(|b| String::from_utf8_lossy(b).contains(made_with)).count(), 1, "the report says which build made it");

    // No old page is open any more: the next build takes over, and the next pack is its own.
    y.b.away().await;
    y.b.goto(&y.route).await;
    y.pack().await;
    y.b.goto(&y.route).await;
    y.b.until(&runs(&new)).await;
    y.at_stop(1).await;
    y.b.until(&runs(&new)).await;
    y.b.open_anew_until(&y.route, &format!("const s = {shells}; return s.length === 1 && s[0].includes('{new}')")).await;
    assert_eq!(y.t.broken_promises().await, Vec::<String>::new());
    y.b.close().await;
}

/// Where the browser has background sync, its worker sends what the page could not.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_worker_sends_what_a_page_left_behind() {
    if needs_chromium() {
        return;
    }
    let y = yard().await;
    y.pack().await;
    y.at_stop(0).await;
    y.b.run(NO_LINE).await;
    y.b.fill("#drops", "18").await;
    y.b.press("Keep this report").await;
    y.b.wait("#kept-words.st-kept").await;
    y.b.until("return (await outbox.all('sent')).length === 1").await;
    assert_eq!((stored(&y.b, "out").await, y.reports().await, y.office.posts.load(Relaxed)), (0, 1, 1));
    // Where the worker is the quicker one, the page has gone on to what was kept.
    let tried_nothing = "return !navigator.onLine || location.pathname.startsWith('/kept/')";
    assert!(y.b.later(tried_nothing).await.as_bool().unwrap(), "the page itself tried nothing");
    y.b.close().await;
}
