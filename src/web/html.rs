//! Templates to answers, and what every page carries.

use super::{assets, error::Result};
use crate::{store::sessions::Role, store::sessions::SignedIn};
use askama::Template;
use axum::{
    http::StatusCode,
    response::{Html, IntoResponse},
};
use percent_encoding::{NON_ALPHANUMERIC, utf8_percent_encode};

/// What the frame round every page shows.
#[derive(Clone, Debug, Default)]
pub struct Frame {
    pub dealer: String,
    pub dealer_phone: String,
    pub invented: bool,
    /// Empty when nobody is signed in.
    pub who: String,
    /// Their number; it goes with what a phone keeps, whoever signs in by the time it is sent.
    pub staff_id: String,
    pub role: &'static str,
    pub form_token: String,
    /// Which entry of the top strip this page belongs to.
    pub here: &'static str,
}

impl Frame {
    /// For pages that know nobody: errors and signing in.
    pub fn bare() -> Self {
        Self { dealer: "Embertide".to_owned(), ..Self::default() }
    }

    pub fn of(who: &SignedIn, here: &'static str) -> Self {
        Self {
            dealer: who.dealer.name.clone(),
            dealer_phone: who.dealer.phone.clone(),
            invented: who.dealer.invented,
            who: who.name.clone(),
            staff_id: who.staff_id.to_string(),
            role: who.role.as_str(),
            form_token: who.form_token.clone(),
            here,
        }
    }

    pub fn is_office(&self) -> bool {
        self.role == Role::Office.as_str() || self.role == Role::Owner.as_str()
    }

    pub fn is_owner(&self) -> bool {
        self.role == Role::Owner.as_str()
    }

    /// The two hidden fields of every form: the session's token and a fresh number of the form's own.
    pub fn fields(&self) -> String {
        format!(
            r#"<input type="hidden" name="form_token" value="{}"><input type="hidden" name="id" value="{}">"#,
            self.form_token,
            uuid::Uuid::now_v7()
        )
    }

    /// Address of a static file, with its content's hash in the name.
    pub fn asset(&self, name: &str) -> String {
        assets::address(name)
    }
}

/// A page.
pub fn html(page: &impl Template) -> Result {
    html_with(StatusCode::OK, page)
}

/// A page with another status than 200.
pub fn html_with(status: StatusCode, page: &impl Template) -> Result {
    let text = page.render().map_err(|e| super::error::Error::Inside(e.into()))?;
    Ok((status, Html(text)).into_response())
}

/// Text inside an address, every byte but letters and digits written as `%XX` (RFC 3986, 2.1).
pub fn percent(text: &str) -> String {
    utf8_percent_encode(text, NON_ALPHANUMERIC).to_string()
}
