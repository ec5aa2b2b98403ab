//! Where the owner's road engine is: its address, and whether that lies in the house.

use std::{
    fmt,
    net::{IpAddr, Ipv4Addr, Ipv6Addr},
    str::FromStr,
};

/// Address of a road engine: `http://host:port/path`, without a slash at the end.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Base {
    /// as it stands in a request, IPv6 in brackets
    host: String,
    port: u16,
    path: String,
}

/// Why an address is not taken.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum BaseError {
    #[error("“{0}” is no address of a road engine. Write it as http://127.0.0.1:5000")]
    Odd(String),
    #[error(
        "“{0}” begins with https, and a road engine is asked by plain http only. Run it on this machine or in your own network, or put a proxy before it"
    )]
    Https(String),
    #[error("“{0}” holds a name or a password before the @. Leave it out: it would be kept nowhere safe")]
    Secret(String),
    #[error(
        "the road engine at {0} lies outside of this machine and your own network: the pins of your customers would leave the house. \
         If you mean that, add --drives-from-outside"
    )]
    Outside(IpAddr),
}

impl FromStr for Base {
    type Err = BaseError;

    fn from_str(text: &str) -> Result<Self, BaseError> {
        let odd = || BaseError::Odd(text.to_owned());
        let text = text.trim();
        if text.starts_with("https://") {
            return Err(BaseError::Https(text.to_owned()));
        }
        let uri: axum::http::Uri = text.parse().map_err(|_| odd())?;
        let authority = uri.authority().ok_or_else(odd)?;
        if authority.as_str().contains('@') {
            return Err(BaseError::Secret(text.to_owned()));
        }
        if uri.scheme_str() != Some("http") || uri.query().is_some() || authority.host().is_empty() {
            return Err(odd());
        }
        let port = match authority.port() {
            Some(port) => port.as_str().parse().map_err(|_| odd())?,
            // A colon with nothing after it, or a number that is no port.
            None if authority.as_str() != authority.host() => return Err(odd()),
            None => 80,
        };
        Ok(Self { host: authority.host().to_owned(), port, path: uri.path().trim_end_matches('/').to_owned() })
    }
}

impl fmt::Display for Base {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "http://{}:{}{}", self.host, self.port, self.path)
    }
}

impl Base {
    /// Host and port, to be resolved.
    pub fn host_and_port(&self) -> (&str, u16) {
        (self.host.trim_start_matches('[').trim_end_matches(']'), self.port)
    }

    /// The host when it is an address, not a name.
    pub fn literal(&self) -> Option<IpAddr> {
        self.host_and_port().0.parse().ok()
    }
}

/// Whether an address is this machine or the own network: loopback, private (RFC 1918), link-local (RFC 3927, RFC 4291) or unique local (RFC 4193).
pub fn in_the_house(ip: IpAddr) -> bool {
    match ip {
        IpAddr::V4(v4) => v4_in_the_house(v4),
        IpAddr::V6(v6) => v6.to_ipv4_mapped().map_or_else(|| v6_in_the_house(v6), v4_in_the_house),
    }
}

fn v4_in_the_house(ip: Ipv4Addr) -> bool {
    ip.is_loopback() || ip.is_private() || ip.is_link_local()
}

fn v6_in_the_house(ip: Ipv6Addr) -> bool {
    ip.is_loopback() || ip.is_unicast_link_local() || ip.is_unique_local()
}
