//! One's own account: the password, and the second factor when signing in.

use super::{
    app::App,
    error::{Error, Result},
    form::{Nothing, Posted},
    guard::{Protected, RouteInfo, Staff, see_other},
    html::{Frame, html, percent},
    square,
};
use crate::{
    secrets,
    store::{
        events::{self, Actor},
        second_factor, sessions, staff,
    },
};
use askama::Template;
use axum::Router;
use serde::Deserialize;

pub(super) fn routes() -> (Router<App>, Vec<RouteInfo>) {
    Protected::<Staff>::default()
        .get("/account", page)
        .post("/account/password", change_password)
        .post("/account/second-factor", begin)
        .post("/account/second-factor/confirm", confirm)
        .post("/account/second-factor/off", off)
        .into_parts()
}

/// Spare codes on paper, eleven letters each: 55 bits.
const SPARE: usize = 8;
const LETTERS: usize = 11;

/// A key that is being set up.
struct KeyView {
    /// In groups of four, to type.
    letters: String,
    /// The same as a picture to point a phone at.
    square: String,
}

#[derive(Template)]
#[template(path = "account.html")]
struct AccountPage {
    f: Frame,
    on: bool,
    /// The dealer wants it, and it is not on.
    needed: bool,
    left: i64,
    key: Option<KeyView>,
    /// Shown once.
    spare: Vec<String>,
}

async fn show(who: &Staff, app: &App, spare: Vec<String>) -> Result {
    let factor = second_factor::of(&app.pool, who.staff_id).await?;
    let key = factor.filter(|f| !f.confirmed).map(|f| key_view(&f.key, &who.name, &who.dealer.name)).transpose()?;
    html(&AccountPage {
        f: Frame::of(who, "account"),
        on: factor.is_some_and(|f| f.confirmed),
        needed: who.unguarded,
        left: second_factor::spare_left(&app.pool, who.staff_id).await?,
        key,
        spare,
    })
}

async fn page(who: Staff, app: App, (): ()) -> Result {
    show(&who, &app, Vec::new()).await
}

/// The address that authenticator programs read, and its square.
fn key_view(key: &[u8; 20], name: &str, dealer: &str) -> Result<KeyView> {
    let letters = secrets::base32(key);
    let address = format!("otpauth://totp/{}:{}?secret={letters}&issuer={}", percent(dealer), percent(name), percent(dealer));
    let grouped: Vec<&str> = (0..8).filter_map(|n| letters.get(4 * n..4 * n + 4)).collect();
    Ok(KeyView { letters: grouped.join(" "), square: square::draw(&address, 220, "The key as a square to point the phone at")? })
}

fn actor(who: &Staff) -> Actor {
    Actor { id: Some(who.staff_id), words: who.name.clone() }
}

async fn begin(who: Staff, app: App, posted: Posted<Nothing>) -> Result {
    let now = app.clock.now();
    let mut tx = app.pool.begin().await?;
    if posted.first_time(&mut tx, &who, "second factor begun", now).await? {
        second_factor::begin(&mut *tx, who.staff_id, &secrets::random(), now).await?;
    }
    tx.commit().await?;
    Ok(see_other("/account#second-factor"))
}

#[derive(Debug, Deserialize)]
struct Typed {
    code: String,
}

/// The first code shows that the phone has the key; from then on it is asked for. The spare codes are shown this once.
async fn confirm(who: Staff, app: App, posted: Posted<Typed>) -> Result {
    let now = app.clock.now();
    let mut tx = app.pool.begin().await?;
    let factor = second_factor::of(&mut *tx, who.staff_id).await?.filter(|f| !f.confirmed);
    let factor = factor.ok_or_else(|| Error::Bad("There is nothing to confirm. Look at the page again.".to_owned()))?;
    let step = secrets::step_of_code(&factor.key, &posted.form.code, now.unix_timestamp());
    let wrong = || {
        Error::Bad(
            "That is not the code of this half minute. Type the six digits that the phone shows now; its clock has to be right.".to_owned(),
        )
    };
    let step = step.ok_or_else(wrong)?;
    if !posted.first_time(&mut tx, &who, "second factor confirmed", now).await?
        || !second_factor::take(&mut *tx, who.staff_id, step).await?
    {
        return Err(wrong());
    }
    let spare: Vec<String> = (0..SPARE).map(|_| secrets::token().chars().take(LETTERS).collect()).collect();
    second_factor::confirm(&mut tx, who.staff_id, &spare, now).await?;
    events::note(&mut *tx, now, &actor(&who), "second factor on", "").await?;
    tx.commit().await?;
    show(&who, &app, spare).await
}

#[derive(Debug, Deserialize)]
struct Password {
    password: String,
}

/// One's own account, for whoever knows its password. Wrong ones are counted with wrong sign-ins.
async fn proved(who: &Staff, app: &App, password: &str) -> Result<staff::Account> {
    let now = app.clock.now();
    let account = staff::account_of(&app.pool, who.staff_id).await?;
    let keys = [format!("name {}", account.as_ref().map_or("", |a| a.sign_in.as_str())), "from the account page".to_owned()];
    if let Some(wait) = super::sign_in::waits(app, &keys, now).await? {
        return Err(Error::Wait(wait));
    }
    if let Some(account) = super::sign_in::check(app, account, password.to_owned()).await? {
        return Ok(account);
    }
    sessions::note_failure(&app.pool, &keys[0], now).await?;
    Err(Error::Bad("That is not your password.".to_owned()))
}

#[derive(Debug, Deserialize)]
struct NewPassword {
    password: String,
    new: String,
    again: String,
}

/// Another password. Whoever is signed in elsewhere under this name is signed out.
async fn change_password(who: Staff, app: App, posted: Posted<NewPassword>) -> Result {
    let form = posted.form;
    let account = proved(&who, &app, &form.password).await?;
    if form.new != form.again {
        return Err(Error::Bad("The two new passwords differ. Type the same one twice.".to_owned()));
    }
    if let Some(weakness) = secrets::weakness(&form.new, &account.sign_in) {
        return Err(Error::Bad(weakness));
    }
    let hash = super::sign_in::hashed(&app, form.new).await?;
    let mut tx = app.pool.begin().await?;
    staff::set_password(&mut *tx, who.staff_id, &hash).await?;
    sessions::close_all(&mut *tx, who.staff_id).await?;
    events::note(&mut *tx, app.clock.now(), &actor(&who), "changed the password", "").await?;
    tx.commit().await?;
    super::sign_in::session_answer(&app, who.staff_id, who.role, "/account").await
}

/// Takes it off, for whoever knows the password.
async fn off(who: Staff, app: App, posted: Posted<Password>) -> Result {
    let now = app.clock.now();
    proved(&who, &app, &posted.form.password).await?;
    let mut tx = app.pool.begin().await?;
    second_factor::off(&mut tx, who.staff_id).await?;
    events::note(&mut *tx, now, &actor(&who), "second factor off", "").await?;
    tx.commit().await?;
    Ok(see_other("/account#second-factor"))
}
