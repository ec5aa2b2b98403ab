//! Bodies of forms. Each carries the session's form token, or it is refused.

use super::{
    app::App,
    error::{Error, Result},
    guard::FormToken,
};
use crate::store::{
    events::{self, Actor},
    reports::{self, Submission},
    sessions::SignedIn,
};
use axum::{
    body::Bytes,
    extract::{FromRequest, Multipart, Request},
};
use serde::{Deserialize, de::DeserializeOwned};
use sqlx::PgConnection;
use std::collections::HashMap;
use time::OffsetDateTime;
use uuid::Uuid;

/// A form of a signed-in person: its client-made id, the fields as `T`, and the bytes without the session's token.
#[derive(Debug)]
pub struct Posted<T> {
    /// Made with the form, before it was filled in: the same form sent twice is one wish.
    pub id: Uuid,
    pub form: T,
    pub body: Vec<u8>,
}

impl<T> Posted<T> {
    /// Takes the form in, once. `false`: it was stored before, and nothing needs to be done again.
    ///
    /// Part of the caller's transaction: stored together with its effect or not at all.
    pub async fn first_time(&self, db: &mut PgConnection, who: &SignedIn, kind: &str, now: OffsetDateTime) -> Result<bool> {
        let submission = Submission { id: self.id, kind, staff_id: Some(who.staff_id), body: &self.body };
        let first = reports::take_in(&mut *db, &submission, &serde_json::Value::Null, now).await?.is_none();
        if first {
            let actor = Actor { id: Some(who.staff_id), words: who.name.clone() };
            events::note(db, now, &actor, kind, &self.id.to_string()).await?;
        }
        Ok(first)
    }
}

/// A form that is only pressed.
#[derive(Debug, Deserialize)]
pub struct Nothing {}

/// A form of somebody who is not signed in; guarded by the cross-site layer alone.
#[derive(Debug)]
pub struct Open<T>(pub T);

/// A form of somebody who is not signed in, with its client-made id: the same form sent twice is one wish.
#[derive(Debug)]
pub struct Sent<T> {
    pub id: Uuid,
    pub form: T,
    body: Vec<u8>,
}

impl<T> Sent<T> {
    /// Takes the form in, once, as [`Posted::first_time`] does; `who` in words.
    pub async fn first_time(&self, db: &mut PgConnection, who: &str, kind: &str, now: OffsetDateTime) -> Result<bool> {
        let submission = Submission { id: self.id, kind, staff_id: None, body: &self.body };
        let first = reports::take_in(&mut *db, &submission, &serde_json::Value::Null, now).await?.is_none();
        if first {
            let actor = Actor { id: None, words: who.to_owned() };
            events::note(db, now, &actor, kind, &self.id.to_string()).await?;
        }
        Ok(first)
    }
}

impl<T: DeserializeOwned> FromRequest<App> for Sent<T> {
    type Rejection = Error;
    async fn from_request(request: Request, app: &App) -> Result<Self> {
        let body = Bytes::from_request(request, app).await.map_err(|_| Error::Bad("The form is too large.".to_owned()))?;
        let id = parse::<Token>(&body)?.id.parse();
        let id = id.map_err(|_| Error::Bad("The form's own number is missing. Load the page again.".to_owned()))?;
        Ok(Self { id, form: parse(&body)?, body: body.to_vec() })
    }
}

#[derive(Deserialize)]
struct Token {
    #[serde(default)]
    form_token: String,
    #[serde(default)]
    id: String,
}

/// The bytes that were typed, without the pair that belongs to the session: the same form after signing in again is the same form.
fn without_token(body: &[u8]) -> Vec<u8> {
    let pairs = body.split(|b| *b == b'&').filter(|pair| !pair.starts_with(b"form_token="));
    pairs.collect::<Vec<_>>().join(&b'&')
}

/// Reads the pairs of a form. Zero characters are left out: no text holds one, and PostgreSQL keeps none.
pub fn read<T: DeserializeOwned>(body: &[u8]) -> std::result::Result<T, serde_html_form::de::Error> {
    if !body.contains(&0) && !body.windows(3).any(|w| w == b"%00") {
        return serde_html_form::from_bytes(body);
    }
    let pairs: Vec<(String, String)> = serde_html_form::from_bytes(body)?;
    let plain: Vec<(String, String)> = pairs.into_iter().map(|(name, value)| (name.replace('\0', ""), value.replace('\0', ""))).collect();
    serde_html_form::from_bytes(serde_html_form::to_string(plain).unwrap_or_default().as_bytes())
}

fn parse<T: DeserializeOwned>(body: &[u8]) -> Result<T> {
    read(body).map_err(|e| Error::Bad(format!("The form did not arrive whole ({e}). Go back and send it again.")))
}

impl<T: DeserializeOwned> FromRequest<App> for Posted<T> {
    type Rejection = Error;
    async fn from_request(request: Request, app: &App) -> Result<Self> {
        let wanted = request.extensions().get::<FormToken>().cloned();
        let body = Bytes::from_request(request, app).await.map_err(|_| Error::Bad("The form is too large.".to_owned()))?;
        let token = parse::<Token>(&body)?;
        check(wanted.as_ref(), &token.form_token)?;
        let id = token.id.parse().map_err(|_| Error::Bad("The form's own number is missing. Load the page again.".to_owned()))?;
        Ok(Self { id, form: parse(&body)?, body: without_token(&body) })
    }
}

impl<T: DeserializeOwned> FromRequest<App> for Open<T> {
    type Rejection = Error;
    async fn from_request(request: Request, app: &App) -> Result<Self> {
        let body = Bytes::from_request(request, app).await.map_err(|_| Error::Bad("The form is too large.".to_owned()))?;
        Ok(Self(parse(&body)?))
    }
}

/// The token must be the session's own. Plain comparison is enough: it is random and never compared byte by byte over time by anyone
/// who does not already hold the session.
fn check(wanted: Option<&FormToken>, given: &str) -> Result<()> {
    match wanted {
        Some(FormToken(wanted)) if wanted == given => Ok(()),
        _ => Err(Error::Bad(
            "This page was open for a long time, or you signed in again since. Go back, load it again and send it once more.".to_owned(),
        )),
    }
}

/// A form with a file.
#[derive(Debug, Default)]
pub struct Upload {
    pub fields: HashMap<String, String>,
    pub file: Bytes,
    pub file_name: String,
}

impl FromRequest<App> for Upload {
    type Rejection = Error;
    async fn from_request(request: Request, app: &App) -> Result<Self> {
        let wanted = request.extensions().get::<FormToken>().cloned();
        let broken = |_| Error::Bad("The file did not arrive whole, or is larger than 5 MB. Send it again, or split it.".to_owned());
        let mut parts =
            Multipart::from_request(request, app).await.map_err(|_| Error::Bad("Choose a file and send the form again.".to_owned()))?;
        let mut me = Self::default();
        while let Some(field) = parts.next_field().await.map_err(broken)? {
            let name = field.name().unwrap_or_default().to_owned();
            if name == "file" {
                me.file_name = field.file_name().unwrap_or_default().chars().filter(|c| !c.is_control()).take(120).collect();
                me.file = field.bytes().await.map_err(broken)?;
            } else {
                me.fields.insert(name, field.text().await.map_err(broken)?.replace('\0', ""));
            }
        }
        check(wanted.as_ref(), me.fields.get("form_token").map_or("", String::as_str))?;
        Ok(me)
    }
}

/// A form with pictures: files with their names, empty ones left out.
#[derive(Debug)]
pub struct Shots {
    /// Made with the form, before it was filled in.
    pub id: Uuid,
    pub caption: String,
    pub files: Vec<(String, Bytes)>,
}

impl FromRequest<App> for Shots {
    type Rejection = Error;
    async fn from_request(request: Request, app: &App) -> Result<Self> {
        let wanted = request.extensions().get::<FormToken>().cloned();
        let broken =
            |_| Error::Bad("The photos did not arrive whole, or are larger than 8 MB each. Send them again, or one at a time.".to_owned());
        let mut parts =
            Multipart::from_request(request, app).await.map_err(|_| Error::Bad("Choose a picture and send the form again.".to_owned()))?;
        let (mut fields, mut files) = (HashMap::new(), Vec::new());
        while let Some(field) = parts.next_field().await.map_err(broken)? {
            let name = field.name().unwrap_or_default().to_owned();
            if name == "photo" {
                let file_name = field.file_name().unwrap_or_default().to_owned();
                let bytes = field.bytes().await.map_err(broken)?;
                files.extend((!bytes.is_empty()).then_some((file_name, bytes)));
            } else {
                fields.insert(name, field.text().await.map_err(broken)?.replace('\0', ""));
            }
        }
        let mut take = |name: &str| fields.remove(name).unwrap_or_default();
        check(wanted.as_ref(), &take("form_token"))?;
        let id = take("id").parse().map_err(|_| Error::Bad("The form's own number is missing. Load the page again.".to_owned()))?;
        Ok(Self { id, caption: take("caption"), files })
    }
}
