//! A link that lets one person choose a password: the first owner of a new installation, or somebody invited.

use super::{
    app::App,
    error::{Error, Result},
    form::Open,
    guard::{Anyone, Protected, RouteInfo, see_other},
    html::{Frame, html_with},
    sign_in::session_answer,
};
use crate::{
    secrets,
    store::{
        dealer,
        events::{self, Actor},
        second_factor,
        sessions::Role,
        staff::{self, Person},
    },
};
use askama::Template;
use axum::{Router, extract::Path, http::StatusCode};
use serde::Deserialize;
use uuid::Uuid;

pub(super) fn routes() -> (Router<App>, Vec<RouteInfo>) {
    Protected::<Anyone>::default().get("/setup/{token}", page).post("/setup/{token}", choose).into_parts()
}

#[derive(Template)]
#[template(path = "setup.html")]
struct SetupPage {
    f: Frame,
    token: String,
    /// `Some`: an invited person, whose names are fixed.
    person: Option<Person>,
    name: String,
    sign_in: String,
    wrong: String,
}

async fn page(_: Anyone, app: App, Path(token): Path<String>) -> Result {
    let token = secrets::tidy_token(&token);
    let person = staff::setup_link(&app.pool, &token, app.clock.now()).await?.ok_or(Error::NotFound)?;
    html_with(
        StatusCode::OK,
        &SetupPage { f: Frame::bare(), token, person, name: String::new(), sign_in: String::new(), wrong: String::new() },
    )
}

#[derive(Deserialize)]
struct Chosen {
    #[serde(default)]
    name: String,
    #[serde(default)]
    sign_in: String,
    password: String,
    again: String,
}

async fn choose(_: Anyone, app: App, (Path(token), Open(form)): (Path<String>, Open<Chosen>)) -> Result {
    let token = secrets::tidy_token(&token);
    let now = app.clock.now();
    let invited = staff::setup_link(&app.pool, &token, now).await?.ok_or(Error::NotFound)?;
    let person = invited.clone().unwrap_or_else(|| new_owner(&form));
    if let Some(wrong) = complaint(&person, &form) {
        let page = SetupPage { f: Frame::bare(), token, person: invited, name: form.name, sign_in: form.sign_in, wrong };
        return html_with(StatusCode::UNPROCESSABLE_ENTITY, &page);
    }
    let hash = super::sign_in::hashed(&app, form.password).await?;
    let mut tx = app.pool.begin().await?;
    staff::use_setup_link(&mut *tx, &token, now).await?;
    if invited.is_some() {
        staff::set_password(&mut *tx, person.id, &hash).await?;
        crate::store::sessions::close_all(&mut *tx, person.id).await?;
    } else {
        staff::add(&mut *tx, &person, &hash, now).await?;
        let today = dealer::get(&mut *tx, now).await?.today;
        dealer::begin_records(&mut *tx, today).await?;
    }
    let actor = Actor { id: Some(person.id), words: person.sign_in.clone() };
    events::note(&mut *tx, now, &actor, "chose a password", "").await?;
    tx.commit().await?;
    // A new password is no second factor: whoever has one signs in with both.
    if second_factor::of(&app.pool, person.id).await?.is_some_and(|f| f.confirmed) {
        return Ok(see_other("/sign-in"));
    }
    session_answer(&app, person.id, person.role, "").await
}

fn new_owner(form: &Chosen) -> Person {
    let name = form.name.trim().to_owned();
    Person { id: Uuid::now_v7(), name, sign_in: form.sign_in.trim().to_lowercase(), role: Role::Owner, active: true, row_version: 1 }
}

fn complaint(person: &Person, form: &Chosen) -> Option<String> {
    if person.name.is_empty() || person.name.chars().count() > 80 {
        return Some("Give your name, 80 characters at most.".to_owned());
    }
    let fits = (3..=120).contains(&person.sign_in.len()) && person.sign_in.chars().all(|c| c.is_alphanumeric() || "@.-_+".contains(c));
    if !fits {
        return Some("Sign in with a mail address or a short name: letters, digits, @ . - _ +, three at least.".to_owned());
    }
    if form.password != form.again {
        return Some("The two passwords differ. Type the same one twice.".to_owned());
    }
    secrets::weakness(&form.password, &person.sign_in)
}
