//! One exchange with a road engine: plain HTTP/1.1, ten seconds, a bounded answer, no redirect, and never outside of the house unasked.

use super::{
    base::{Base, BaseError, in_the_house},
    words::Ask,
};
use axum::{
    body::{Body, Bytes, to_bytes},
    http::{Request, header},
};
use hyper_util::{
    client::legacy::{
        Client as Pooled,
        connect::{HttpConnector, dns::Name},
    },
    rt::TokioExecutor,
};
use std::{
    future::Future,
    io,
    net::{IpAddr, SocketAddr},
    pin::Pin,
    task::{Context, Poll},
    time::Duration,
};

/// Longest wait for one answer.
pub(super) const LONGEST: Duration = Duration::from_secs(10);
/// Largest answer: a block of 50 by 50 has about 60 KB.
const MOST_BYTES: usize = 2 * 1024 * 1024;

/// Why an exchange brought nothing.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Broken {
    #[error("it did not answer within {} s", .0.as_secs_f32())]
    Slow(Duration),
    #[error("it cannot be reached")]
    Away,
    #[error("its answer is too long, or ends too soon")]
    Cut,
    #[error("{0}")]
    Outside(BaseError),
}

/// Finds the addresses of a name, and refuses the whole name when one of them lies outside.
#[derive(Clone, Copy, Debug)]
struct Finder {
    outside: bool,
}

impl tower::Service<Name> for Finder {
    type Response = std::vec::IntoIter<SocketAddr>;
    type Error = io::Error;
    type Future = Pin<Box<dyn Future<Output = io::Result<Self::Response>> + Send>>;

    fn poll_ready(&mut self, _: &mut Context<'_>) -> Poll<io::Result<()>> {
        Poll::Ready(Ok(()))
    }

    fn call(&mut self, name: Name) -> Self::Future {
        let outside = self.outside;
        Box::pin(async move {
            let found: Vec<SocketAddr> = tokio::net::lookup_host((name.as_str(), 0)).await?.collect();
            match found.iter().find(|a| !outside && !in_the_house(a.ip())) {
                Some(far) => Err(io::Error::new(io::ErrorKind::PermissionDenied, BaseError::Outside(far.ip()))),
                None => Ok(found.into_iter()),
            }
        })
    }
}

/// A client of one engine.
#[derive(Clone, Debug)]
pub struct Client {
    base: Base,
    outside: bool,
    longest: Duration,
    http: Pooled<HttpConnector<Finder>, Body>,
}

impl Client {
    /// # Errors
    /// [`BaseError::Outside`] when the address itself, not a name, lies outside and that is not wished for.
    pub fn new(base: Base, outside: bool) -> Result<Self, BaseError> {
        if let Some(ip) = base.literal().filter(|ip| !outside && !in_the_house(*ip)) {
            return Err(BaseError::Outside(ip));
        }
        let mut connector = HttpConnector::new_with_resolver(Finder { outside });
        connector.set_connect_timeout(Some(LONGEST));
        let http = Pooled::builder(TokioExecutor::new()).pool_idle_timeout(Duration::from_secs(30)).build(connector);
        Ok(Self { base, outside, longest: LONGEST, http })
    }

    /// With a shorter wait.
    #[must_use]
    pub fn waiting(self, longest: Duration) -> Self {
        Self { longest, ..self }
    }

    pub fn base(&self) -> &Base {
        &self.base
    }

    /// Looks the name up and checks every address behind it. A name that cannot be looked up just now is let pass: it is checked at each connection.
    ///
    /// # Errors
    /// [`BaseError::Outside`] with the first address that lies outside.
    pub async fn check(&self) -> Result<(), BaseError> {
        let Ok(found) = tokio::net::lookup_host(self.base.host_and_port()).await else { return Ok(()) };
        let mut addresses = found.map(|a| a.ip());
        addresses.find(|ip: &IpAddr| !self.outside && !in_the_house(*ip)).map_or(Ok(()), |ip| Err(BaseError::Outside(ip)))
    }

    /// Sends one request. Gives status and body.
    pub async fn exchange(&self, ask: &Ask) -> Result<(u16, Bytes), Broken> {
        let whole = async {
            let uri = format!("{}{}", self.base, ask.path);
            let request = match &ask.body {
                None => Request::get(uri).body(Body::empty()),
                Some(body) => Request::post(uri).header(header::CONTENT_TYPE, "application/json").body(Body::from(body.clone())),
            };
            let answer = self.http.request(request.map_err(|_| Broken::Away)?).await.map_err(|e| broken(&e))?;
            let status = answer.status().as_u16();
            let body = to_bytes(Body::new(answer.into_body()), MOST_BYTES).await.map_err(|_| Broken::Cut)?;
            Ok((status, body))
        };
        tokio::time::timeout(self.longest, whole).await.unwrap_or(Err(Broken::Slow(self.longest)))
    }
}

/// What is behind a failure; an address outside is said as such.
fn broken(e: &(dyn std::error::Error + 'static)) -> Broken {
    let mut cause = Some(e);
    while let Some(e) = cause {
        let inner = e.downcast_ref::<io::Error>().and_then(io::Error::get_ref);
        if let Some(outside) = inner.and_then(|i| i.downcast_ref::<BaseError>()) {
            return Broken::Outside(outside.clone());
        }
        cause = e.source();
    }
    Broken::Away
}
