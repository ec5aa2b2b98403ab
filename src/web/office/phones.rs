//! Phones in the yard: when each was heard, what it has not sent; and what came from them that the office has to settle.

use super::super::{
    app::App,
    error::{Error, Result},
    form::{self, Nothing, Posted},
    guard::{Office, see_other},
    html::{Frame, html},
    photos::{PhotoView, view},
};
use crate::{
    secrets::{fingerprint, hex},
    store::{
        phones::{self, PhoneLine},
        photos,
        submissions::{self, Waiting},
    },
    units::span,
};
use askama::Template;
use axum::extract::Path;
use serde::Deserialize;
use time::{Duration, OffsetDateTime};
use uuid::Uuid;

/// Lines of what waits and what was settled lately.
const LINES: i64 = 100;
/// A phone that was not heard for so long is spoken of.
const QUIET: Duration = Duration::days(2);

struct PhoneView {
    p: PhoneLine,
    heard: String,
    made: String,
    /// It holds something, or was not heard for long.
    ring: bool,
}

struct WaitingView {
    w: Waiting,
    action: String,
    came: String,
    /// What was typed, as far as it can be read: field and value.
    typed: Vec<(String, String)>,
}

#[derive(Template)]
#[template(path = "office/phones.html")]
struct PhonesPage {
    f: Frame,
    phones: Vec<PhoneView>,
    open: Vec<WaitingView>,
    settled: Vec<WaitingView>,
    photos: Vec<PhotoView>,
    back: &'static str,
}

/// "2 hours ago".
fn ago(at: OffsetDateTime, now: OffsetDateTime) -> String {
    let passed = now - at;
    if passed < Duration::minutes(2) {
        "just now".to_owned()
    } else if passed < Duration::days(2) {
        format!("{} ago", span(i32::try_from(passed.whole_seconds()).unwrap_or(i32::MAX)))
    } else {
        format!("{} days ago", passed.whole_days())
    }
}

fn phone(p: PhoneLine, now: OffsetDateTime) -> PhoneView {
    let quiet = p.last_heard_at.is_none_or(|at| now - at > QUIET);
    PhoneView {
        heard: p.last_heard_at.map_or_else(|| "never".to_owned(), |at| ago(at, now)),
        made: ago(p.made_at, now),
        ring: p.revoked_at.is_none() && p.unsent > 0 && quiet,
        p,
    }
}

fn waiting(w: Waiting, now: OffsetDateTime) -> WaitingView {
    let typed: Vec<(String, String)> = form::read(&w.body).unwrap_or_default();
    let mut typed: Vec<(String, String)> = typed.into_iter().filter(|(_, v)| !v.trim().is_empty()).take(60).collect();
    if typed.is_empty() {
        typed.push(("bytes".to_owned(), String::from_utf8_lossy(&w.body).chars().take(2000).collect()));
    }
    WaitingView { action: format!("/phones/settle/{}/{}", w.submission_id, hex(&w.body_sha256)), came: ago(w.made_at, now), typed, w }
}

pub(super) async fn page(who: Office, app: App, (): ()) -> Result {
    let now = app.clock.now();
    let all = submissions::waiting(&app.pool, LINES).await?;
    let (open, settled): (Vec<Waiting>, Vec<Waiting>) = all.into_iter().partition(|w| w.settled_at.is_none());
    html(&PhonesPage {
        f: Frame::of(&who, "phones"),
        phones: phones::list(&app.pool).await?.into_iter().map(|p| phone(p, now)).collect(),
        open: open.into_iter().map(|w| waiting(w, now)).collect(),
        photos: photos::waiting(&app.pool, LINES).await?.into_iter().map(view).collect(),
        back: "",
        settled: settled.into_iter().map(|w| waiting(w, now)).collect(),
    })
}

/// Shuts a phone out, and signs it out.
pub(super) async fn revoke(who: Office, app: App, (Path(id), posted): (Path<Uuid>, Posted<Nothing>)) -> Result {
    let now = app.clock.now();
    let mut tx = app.pool.begin().await?;
    if posted.first_time(&mut tx, &who, "shut phone out", now).await? {
        phones::revoke(&mut tx, id, now).await?;
    }
    tx.commit().await?;
    Ok(see_other("/phones"))
}

#[derive(Debug, Deserialize)]
pub(super) struct Settled {
    #[serde(default)]
    words: String,
}

/// Marks what came from a phone as settled; its bytes stay.
pub(super) async fn settle(who: Office, app: App, (Path((id, hash)), posted): (Path<(Uuid, String)>, Posted<Settled>)) -> Result {
    let words = super::customers::need(&posted.form.words, "Say in a few words how it was settled", 400)?;
    let hash = fingerprint(&hash).ok_or(Error::NotFound)?;
    let now = app.clock.now();
    let mut tx = app.pool.begin().await?;
    if posted.first_time(&mut tx, &who, "settle", now).await? {
        submissions::settle(&mut *tx, id, &hash, who.staff_id, &words, now).await?;
    }
    tx.commit().await?;
    Ok(see_other("/phones#to-settle"))
}
