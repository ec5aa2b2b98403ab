//! Who may do what. A protected router takes only handlers whose first argument is its principal.
//!
//! There is one principal a face: [`Office`], [`Owner`], [`Technician`], [`RecordHolder`], and [`Anyone`] for the few open pages.
//! A handler without one does not compile into a [`Protected`] router, and every route is on a list that the tests walk.

use super::{
    app::App,
    error::{Error, Result},
};
use crate::store::{
    links::{self, Holder},
    sessions::{self, Role, SignedIn},
};
use axum::{
    Router,
    extract::{FromRequest, FromRequestParts, Path, State},
    http::{HeaderMap, Method, Uri, header, request::Parts},
    response::{IntoResponse, Response},
    routing::{MethodRouter, get, post},
};
use std::{collections::HashMap, marker::PhantomData, ops::Deref};

/// The form token of the session behind a request, for the body extractors to compare with.
#[derive(Clone, Debug)]
pub(super) struct FormToken(pub(super) String);

/// Somebody on whose behalf a handler acts.
pub trait Principal: FromRequestParts<App, Rejection = Error> + Send + Sync + 'static {
    /// Name of the face, for the list of routes.
    const FACE: &'static str;
}

macro_rules! staff_principal {
    ($(#[$doc:meta])* $name:ident, $face:literal, $may:expr) => {
        $(#[$doc])*
        #[derive(Clone, Debug)]
        pub struct $name(SignedIn);
        impl Deref for $name {
            type Target = SignedIn;
            fn deref(&self) -> &SignedIn {
                &self.0
            }
        }
        impl Principal for $name {
            const FACE: &'static str = $face;
        }
        impl FromRequestParts<App> for $name {
            type Rejection = Error;
            async fn from_request_parts(parts: &mut Parts, app: &App) -> Result<Self> {
                let may: fn(Role) -> bool = $may;
                let who = signed_in(parts, app).await?.ok_or_else(|| Error::SignIn(page(parts)))?;
                if !may(who.role) {
                    return Err(Error::NotYours);
                }
                // One's own account stays open: the second factor is set up there.
                if who.unguarded && Self::FACE != Staff::FACE { Err(Error::NeedsFactor) } else { Ok(Self(who)) }
            }
        }
    };
}

staff_principal!(
    /// Office staff, and the owner.
    Office, "office", |r| r >= Role::Office
);
staff_principal!(
    /// The owner of the business.
    Owner, "owner", |r| r == Role::Owner
);
staff_principal!(
    /// Whoever works in the yard: technicians, and owners who still do.
    Technician, "technician", |r| r == Role::Technician || r == Role::Owner
);
staff_principal!(
    /// Any member of staff.
    Staff, "staff", |_| true
);

/// Nobody in particular: for signing in and health.
#[derive(Clone, Debug)]
pub struct Anyone;

impl Principal for Anyone {
    const FACE: &'static str = "anyone";
}

impl FromRequestParts<App> for Anyone {
    type Rejection = Error;
    async fn from_request_parts(_: &mut Parts, _: &App) -> Result<Self> {
        Ok(Self)
    }
}

/// Whoever holds a link to one unit's water record.
#[derive(Clone, Debug)]
pub struct RecordHolder(pub Holder);

impl Principal for RecordHolder {
    const FACE: &'static str = "record";
}

impl FromRequestParts<App> for RecordHolder {
    type Rejection = Error;
    async fn from_request_parts(parts: &mut Parts, app: &App) -> Result<Self> {
        let path = Path::<HashMap<String, String>>::from_request_parts(parts, app).await.map_err(|_| Error::NotFound)?;
        let token = crate::secrets::tidy_token(path.get("token").map_or("", String::as_str));
        let holder = links::holder(&app.pool, &token, app.clock.now()).await?.ok_or(Error::NotFound)?;
        Ok(Self(holder))
    }
}

/// Name of the session cookie; the `__Host-` prefix makes browsers insist on https and on this very host.
pub(super) fn cookie_name(app: &App) -> &'static str {
    if app.is_https() { "__Host-embertide" } else { "embertide" }
}

/// The session token a request carries.
pub(super) fn session_token(headers: &HeaderMap, app: &App) -> Option<String> {
    let name = cookie_name(app);
    let cookies = headers.get_all(header::COOKIE).into_iter().filter_map(|v| v.to_str().ok());
    cookies.flat_map(|v| v.split(';')).find_map(|c| c.trim().split_once('=').filter(|(k, _)| *k == name).map(|(_, v)| v.to_owned()))
}

pub(super) async fn signed_in(parts: &mut Parts, app: &App) -> Result<Option<SignedIn>> {
    let Some(token) = session_token(&parts.headers, app) else { return Ok(None) };
    let now = app.clock.now();
    let Some(who) = sessions::find(&app.pool, &token, now).await? else { return Ok(None) };
    if who.rests(now) {
        sessions::touch(&app.pool, &token, now).await?;
    }
    parts.extensions.insert(FormToken(who.form_token.clone()));
    Ok(Some(who))
}

/// One line of the route list.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct RouteInfo {
    pub method: &'static str,
    pub path: &'static str,
    pub face: &'static str,
}

/// A router whose every handler acts for a `P`.
pub struct Protected<P> {
    router: Router<App>,
    list: Vec<RouteInfo>,
    face: PhantomData<P>,
}

impl<P: Principal> Default for Protected<P> {
    fn default() -> Self {
        Self { router: Router::new(), list: Vec::new(), face: PhantomData }
    }
}

impl<P: Principal> Protected<P> {
    /// A page: reads only.
    #[must_use]
    pub fn get<F, Fut, A, M>(self, path: &'static str, handler: F) -> Self
    where
        F: Fn(P, App, A) -> Fut + Clone + Send + Sync + 'static,
        Fut: Future<Output = Result> + Send + 'static,
        A: FromRequest<App, M> + Send + 'static,
        M: Send + 'static,
    {
        let route = get(move |who: P, State(app): State<App>, args: A| handler(who, app, args));
        self.add("GET", path, route)
    }

    /// A write: runs to its end even when the caller hangs up.
    #[must_use]
    pub fn post<F, Fut, A, M>(self, path: &'static str, handler: F) -> Self
    where
        F: Fn(P, App, A) -> Fut + Clone + Send + Sync + 'static,
        Fut: Future<Output = Result> + Send + 'static,
        A: FromRequest<App, M> + Send + 'static,
        M: Send + 'static,
    {
        let route = post(move |who: P, State(app): State<App>, args: A| async move {
            let writes = app.writes.clone();
            let done = writes.spawn(handler(who, app, args)).await;
            done.unwrap_or_else(|e| Err(Error::Inside(e.into()))).into_response()
        });
        self.add("POST", path, route)
    }

    fn add(mut self, method: &'static str, path: &'static str, route: MethodRouter<App>) -> Self {
        self.router = self.router.route(path, route);
        self.list.push(RouteInfo { method, path, face: P::FACE });
        self
    }

    pub(super) fn into_parts(self) -> (Router<App>, Vec<RouteInfo>) {
        (self.router, self.list)
    }
}

/// Answers that only redirect.
pub(super) fn see_other(to: &str) -> Response {
    axum::response::Redirect::to(to).into_response()
}

/// The page to come back to: the one that is asked for; of a form that is sent, the one that it stands on.
fn page(parts: &Parts) -> String {
    if parts.method == Method::GET {
        return parts.uri.path().to_owned();
    }
    let from = parts.headers.get(header::REFERER).and_then(|r| r.to_str().ok()?.parse::<Uri>().ok());
    from.map_or_else(|| "/".to_owned(), |uri| uri.path().to_owned())
}
