//! What goes wrong in a handler, and the page that says so.

use super::html::{Frame, html_with};
use crate::store;
use askama::Template;
use axum::{
    http::{StatusCode, header},
    response::{IntoResponse, Redirect, Response},
};

/// Why a request has no proper answer. Each becomes a page with plain words; only [`Error::Inside`] is our own fault.
#[derive(Debug)]
pub enum Error {
    /// Nothing there, or nothing that this person may see: the two look alike on purpose.
    NotFound,
    /// Sign in first; the path to come back to.
    SignIn(String),
    /// Signed in, but the dealer wants a second factor first.
    NeedsFactor,
    /// Signed in, but not for this face.
    NotYours,
    /// The request cannot be carried out as it stands: what is wrong and what to do.
    Bad(String),
    /// Somebody else changed it meanwhile.
    Clash(String),
    /// The same client-made id came with other content.
    OtherContent,
    /// Too many tries; seconds to wait.
    Wait(u64),
    /// The database does not answer just now.
    Away,
    /// Our fault. Logged; the page shows no inside.
    Inside(anyhow::Error),
}

pub type Result<T = Response, E = Error> = std::result::Result<T, E>;

impl From<store::Error> for Error {
    fn from(e: store::Error) -> Self {
        match e {
            store::Error::NotFound => Self::NotFound,
            store::Error::Clash => {
                Self::Clash("Somebody else changed this meanwhile. Nothing of yours was kept; look at it again.".to_owned())
            }
            store::Error::OtherContent => Self::OtherContent,
            store::Error::Rule(rule) => Self::Bad(rule_words(&rule)),
            store::Error::Sql(e) if is_away(&e) => Self::Away,
            store::Error::Disk(e) => {
                tracing::error!(error = %e, "photos cannot be written or read");
                Self::Away
            }
            other => Self::Inside(other.into()),
        }
    }
}

impl From<sqlx::Error> for Error {
    fn from(e: sqlx::Error) -> Self {
        store::Error::from(e).into()
    }
}

/// The database is out of reach, or two people got in each other's way: trying again is the answer.
fn is_away(e: &sqlx::Error) -> bool {
    /// Serialization failure, deadlock, lock timeout, statement timeout; the server ends, resets itself, is not ready yet.
    const PASSING: [&str; 7] = ["40001", "40P01", "55P03", "57014", "57P01", "57P02", "57P03"];
    let passing = e.as_database_error().and_then(sqlx::error::DatabaseError::code).is_some_and(|c| PASSING.contains(&c.as_ref()));
    passing || matches!(e, sqlx::Error::PoolTimedOut | sqlx::Error::PoolClosed | sqlx::Error::Io(_))
}

/// The tables' own rules, in words.
fn rule_words(rule: &str) -> String {
    match rule {
        "visits_no_overlap" => "That would put one technician in two yards at the same time.",
        "customers_ref" => "Another customer has this reference already.",
        "place_is_used" => "A unit stands or stood at this place, or somebody was there. Its records stay; give it another name, or give it to its new owner.",
        "units_ref" => "Another unit has this reference already.",
        "staff_sign_in" => "Somebody else signs in with this name already.",
        "last_owner" => "This is the last owner; somebody has to keep the keys.",
        "too_many_closures" => "So many roads are closed already that no more can be kept. Open those again that are open.",
        "too_many_words" => "That is a lot for one day. Please call us.",
        "too_many_kinds" => "So many kinds of unit are kept already that no more can be. Change one that you do not sell.",
        "unit_on_route" => "A visit at this unit stands on a route. Take it off first, so that nobody drives there for nothing.",
        "depot_in_use" => "A technician’s days start there. Choose another depot for them first.",
        "visits_one_open" => "This unit has a visit in that week already.",
        _ => "The figures do not fit together. Check them and try again.",
    }
    .to_owned()
}

#[derive(Template)]
#[template(path = "error.html")]
struct ErrorPage {
    f: Frame,
    title: &'static str,
    says: String,
    /// What the script says at the form that was refused; "clash": what stands now and what was typed are shown side by side.
    back: String,
}

impl Error {
    fn parts(self) -> (StatusCode, &'static str, String) {
        match self {
            Self::NotFound | Self::SignIn(_) | Self::NeedsFactor => {
                (StatusCode::NOT_FOUND, "Nothing here", "There is no such page, or it is not yours to see. Check the address.".to_owned())
            }
            Self::NotYours => (
                StatusCode::FORBIDDEN,
                "Not for this sign-in",
                "Your sign-in does not open this page. Ask the owner if it should.".to_owned(),
            ),
            Self::Bad(says) => (StatusCode::UNPROCESSABLE_ENTITY, "That cannot be kept", says),
            Self::Clash(says) => (StatusCode::CONFLICT, "Changed meanwhile", says),
            Self::OtherContent => (
                StatusCode::UNPROCESSABLE_ENTITY,
                "Kept before, with other content",
                "This form was sent before with something else in it. The first one is kept. To change it, open the report and correct it."
                    .to_owned(),
            ),
            Self::Wait(seconds) => (
                StatusCode::TOO_MANY_REQUESTS,
                "Too many tries",
                format!("Wait {} and try again. The owner can let you in with `embertide unlock`.", wait_words(seconds)),
            ),
            Self::Away => (
                StatusCode::SERVICE_UNAVAILABLE,
                "One moment",
                "The records cannot be reached just now. Nothing was changed. Try again in a minute.".to_owned(),
            ),
            Self::Inside(e) => {
                tracing::error!(error = format!("{e:#}"), "request failed");
                (
                    StatusCode::INTERNAL_SERVER_ERROR,
                    "Something broke here",
                    "It is our fault, not yours. Nothing was half-written. Try again; if it stays, tell the owner the time of day."
                        .to_owned(),
                )
            }
        }
    }
}

fn wait_words(seconds: u64) -> String {
    match seconds {
        0..=90 => format!("{seconds} seconds"),
        91..=5400 => format!("{} minutes", seconds.div_ceil(60)),
        _ => format!("{} hours", seconds.div_ceil(3600)),
    }
}

impl IntoResponse for Error {
    fn into_response(self) -> Response {
        if let Self::NeedsFactor = self {
            return Redirect::to("/account").into_response();
        }
        if let Self::SignIn(then) = self {
            let then: String = then
                .bytes()
                .map(|b| if b.is_ascii_alphanumeric() || b"/-_.".contains(&b) { char::from(b).to_string() } else { format!("%{b:02X}") })
                .collect();
            return Redirect::to(&format!("/sign-in?then={then}")).into_response();
        }
        let wait = if let Self::Wait(seconds) = self { Some(seconds) } else { None };
        let back = match &self {
            Self::Bad(says) => says.clone(),
            Self::Clash(_) | Self::OtherContent => "clash".to_owned(),
            _ => String::new(),
        };
        let (status, title, says) = self.parts();
        let mut answer = html_with(status, &ErrorPage { f: Frame::bare(), title, says, back }).unwrap_or_else(|_| status.into_response());
        if let Some(value) = wait.or((status == StatusCode::SERVICE_UNAVAILABLE).then_some(30)) {
            answer.headers_mut().insert(header::RETRY_AFTER, value.into());
        }
        answer
    }
}
