//! Signing in and out. Slow hashes, one at a time; growing waits after failures, by name and by sender.

use super::{
    app::App,
    error::{Error, Result},
    form::{Nothing, Open, Posted},
    guard::{self, Anyone, Protected, RouteInfo, Staff},
    html::{Frame, html_with},
};
use crate::{
    secrets,
    store::{
        events::{self, Actor},
        second_factor,
        sessions::{self, Role},
        staff::{self, Account},
    },
};
use askama::Template;
use axum::{
    Router,
    extract::{ConnectInfo, Query},
    http::{HeaderMap, HeaderValue, StatusCode, header},
    response::Response,
};
use serde::Deserialize;
use std::net::SocketAddr;
use time::{Duration, OffsetDateTime};
use uuid::Uuid;

pub(super) fn routes() -> (Router<App>, Vec<RouteInfo>) {
    Protected::<Anyone>::default().get("/sign-in", page).post("/sign-in", enter).post("/sign-in/code", code).into_parts()
}

pub(super) fn staff_routes() -> (Router<App>, Vec<RouteInfo>) {
    Protected::<Staff>::default().get("/", home).post("/sign-out", leave).into_parts()
}

#[derive(Template)]
#[template(path = "sign_in.html")]
struct SignInPage {
    f: Frame,
    then: String,
    sign_in: String,
    wrong: &'static str,
}

#[derive(Deserialize)]
struct Then {
    #[serde(default)]
    then: String,
}

async fn page(_: Anyone, _: App, Query(q): Query<Then>) -> Result {
    html_with(StatusCode::OK, &SignInPage { f: Frame::bare(), then: q.then, sign_in: String::new(), wrong: "" })
}

#[derive(Deserialize)]
struct Entry {
    sign_in: String,
    password: String,
    #[serde(default)]
    then: String,
}

async fn enter(_: Anyone, app: App, (peer, Open(form)): (Option<ConnectInfoOf>, Open<Entry>)) -> Result {
    let sign_in = form.sign_in.trim().to_lowercase();
    let now = app.clock.now();
    let keys = keys(&sign_in, peer.as_ref());
    if let Some(wait) = waits(&app, &keys, now).await? {
        return Err(Error::Wait(wait));
    }
    let account = staff::account(&app.pool, &sign_in).await?;
    let Some(account) = check(&app, account, form.password).await? else {
        for key in &keys {
            sessions::note_failure(&app.pool, key, now).await?;
        }
        events::note(&app.pool, now, &Actor::program(), "sign-in refused", &sign_in).await?;
        let wrong = "Name and password do not belong together. Check both; the owner can send you a new link.";
        return html_with(StatusCode::UNPROCESSABLE_ENTITY, &SignInPage { f: Frame::bare(), then: form.then, sign_in, wrong });
    };
    if second_factor::of(&app.pool, account.id).await?.is_some_and(|f| f.confirmed) {
        let mut tx = app.pool.begin().await?;
        let step = second_factor::wait_for_code(&mut tx, account.id, now).await?;
        tx.commit().await?;
        return html_with(StatusCode::OK, &CodePage { f: Frame::bare(), then: form.then, step, wrong: "" });
    }
    sessions::forget_failures(&app.pool, &keys[0]).await?;
    events::note(&app.pool, now, &Actor { id: Some(account.id), words: sign_in }, "signed in", "").await?;
    session_answer(&app, account.id, account.role, &form.then).await
}

#[derive(Template)]
#[template(path = "sign_in_code.html")]
struct CodePage {
    f: Frame,
    then: String,
    /// By which this sign-in waits.
    step: String,
    wrong: &'static str,
}

#[derive(Deserialize)]
struct Typed {
    step: String,
    code: String,
    #[serde(default)]
    then: String,
}

/// The second half: a code of this half minute, or a spare one. Wrong ones are counted with wrong passwords, under the same name.
async fn code(_: Anyone, app: App, (peer, Open(form)): (Option<ConnectInfoOf>, Open<Typed>)) -> Result {
    let now = app.clock.now();
    let late = || Error::Bad("That took longer than ten minutes. Sign in again from the start.".to_owned());
    let id = second_factor::waiting(&app.pool, &form.step, now).await?.ok_or_else(late)?;
    let account = staff::account_of(&app.pool, id).await?.ok_or_else(late)?;
    let keys = keys(&account.sign_in, peer.as_ref());
    if let Some(wait) = waits(&app, &keys, now).await? {
        return Err(Error::Wait(wait));
    }
    let mut tx = app.pool.begin().await?;
    if !takes(&mut tx, id, &form.code, now).await? {
        tx.rollback().await?;
        for key in &keys {
            sessions::note_failure(&app.pool, key, now).await?;
        }
        events::note(&app.pool, now, &Actor::program(), "code refused", &account.sign_in).await?;
        let wrong =
            "That is not the code of this half minute, or it was used already. Wait for the next, and see that the phone’s clock is right.";
        return html_with(StatusCode::UNPROCESSABLE_ENTITY, &CodePage { f: Frame::bare(), then: form.then, step: form.step, wrong });
    }
    if !second_factor::done_waiting(&mut *tx, &form.step).await? {
        return Err(late());
    }
    events::note(&mut *tx, now, &Actor { id: Some(id), words: account.sign_in.clone() }, "signed in with a code", "").await?;
    tx.commit().await?;
    sessions::forget_failures(&app.pool, &keys[0]).await?;
    session_answer(&app, id, account.role, &form.then).await
}

/// Takes a code of the phone, or a spare one.
async fn takes(db: &mut sqlx::PgConnection, id: Uuid, typed: &str, now: OffsetDateTime) -> Result<bool> {
    let Some(factor) = second_factor::of(&mut *db, id).await?.filter(|f| f.confirmed) else { return Ok(false) };
    if let Some(step) = secrets::step_of_code(&factor.key, typed, now.unix_timestamp()) {
        return Ok(second_factor::take(db, id, step).await?);
    }
    Ok(second_factor::take_spare(db, id, &secrets::tidy_token(typed), now).await?)
}

/// Failures are counted under the name and under the sender.
fn keys(sign_in: &str, peer: Option<&ConnectInfoOf>) -> [String; 2] {
    [
        format!("name {}", sign_in.chars().take(120).collect::<String>()),
        format!("from {}", peer.map_or_else(String::new, |p| p.0.ip().to_string())),
    ]
}

/// Where the request came from, where the accept loop says so.
struct ConnectInfoOf(SocketAddr);

impl axum::extract::OptionalFromRequestParts<App> for ConnectInfoOf {
    type Rejection = Error;
    async fn from_request_parts(parts: &mut axum::http::request::Parts, _: &App) -> Result<Option<Self>> {
        Ok(parts.extensions.get::<ConnectInfo<SocketAddr>>().map(|c| Self(c.0)))
    }
}

/// Seconds to wait before the next try under any of these keys. Names: from the fifth failure on, doubling from 30 s to an hour,
/// closed at fifty. Senders: a hundred in ten minutes, since a whole crew may share one address.
pub(super) async fn waits(app: &App, keys: &[String; 2], now: OffsetDateTime) -> Result<Option<u64>> {
    let (n, last) = sessions::failures(&app.pool, &keys[0], now - Duration::days(30)).await?;
    if n >= 50 {
        return Ok(Some(86_400));
    }
    if let (5.., Some(last)) = (n, last) {
        let step = 30_i64.saturating_mul(1 << (n - 5).min(7)).min(3600);
        let left = (last + Duration::seconds(step) - now).whole_seconds();
        if left > 0 {
            return Ok(Some(left.unsigned_abs()));
        }
    }
    let (n, _) = sessions::failures(&app.pool, &keys[1], now - Duration::minutes(10)).await?;
    Ok((n >= 100).then_some(600))
}

/// Checks the password off the web's own threads. An unknown name costs the same work as a known one.
pub(super) async fn check(app: &App, account: Option<Account>, password: String) -> Result<Option<Account>> {
    let permit = app.hashing.clone().acquire_owned().await.map_err(|e| Error::Inside(e.into()))?;
    let effort = app.effort;
    let checked = tokio::task::spawn_blocking(move || {
        let _permit = permit;
        match account {
            Some(a) if secrets::password_fits(&password, &a.password_hash) => Some(a),
            Some(_) => None,
            None => {
                let _ = secrets::hash_password(&password, effort);
                None
            }
        }
    });
    checked.await.map_err(|e| Error::Inside(e.into()))
}

/// The hash of a new password, made off the web's own threads.
pub(super) async fn hashed(app: &App, password: String) -> Result<String> {
    let effort = app.effort;
    let hash = tokio::task::spawn_blocking(move || secrets::hash_password(&password, effort)).await;
    let hash = hash.map_err(|e| Error::Inside(e.into()))?;
    hash.ok_or_else(|| Error::Bad("This password cannot be used. Take another.".to_owned()))
}

/// Opens a session and sends its person to their first page, or to where they wanted to go.
pub(super) async fn session_answer(app: &App, id: Uuid, role: Role, then: &str) -> Result {
    let token = sessions::open(&app.pool, id, role, app.clock.now()).await?;
    let safe = then.starts_with('/') && !then.starts_with("//") && !then.contains('\\') && then.chars().all(|c| !c.is_control());
    let mut answer = guard::see_other(if safe { then } else { "/" });
    let age = if role == Role::Technician { 30 * 86_400 } else { 12 * 3600 };
    set_cookie(app, &mut answer, &token, age)?;
    Ok(answer)
}

fn set_cookie(app: &App, answer: &mut Response, token: &str, age: u32) -> Result<()> {
    let secure = if app.is_https() { "; Secure" } else { "" };
    let cookie = format!("{}={token}; Path=/; HttpOnly; SameSite=Lax; Max-Age={age}{secure}", guard::cookie_name(app));
    let value = HeaderValue::from_str(&cookie).map_err(|e| Error::Inside(e.into()))?;
    answer.headers_mut().append(header::SET_COOKIE, value);
    Ok(())
}

async fn leave(_: Staff, app: App, (headers, _form): (HeaderMap, Posted<Nothing>)) -> Result {
    if let Some(token) = guard::session_token(&headers, &app) {
        sessions::close(&app.pool, &token).await?;
    }
    let mut answer = guard::see_other("/sign-in");
    set_cookie(&app, &mut answer, "", 0)?;
    Ok(answer)
}

async fn home(who: Staff, _: App, (): ()) -> Result {
    Ok(guard::see_other(if who.role == Role::Technician { "/route" } else { "/due" }))
}
