//! From which address somebody asks. Behind a proxy everybody seems to come from it: what it says of them is believed only where
//! the club has named that proxy.

use super::Web;
use axum::extract::{ConnectInfo, FromRequestParts};
use axum::http::request::Parts;
use axum::http::{Extensions, HeaderMap};
use ipnet::IpNet;
use std::convert::Infallible;
use std::net::{IpAddr, Ipv4Addr, SocketAddr};

/// Where proxies say for whom they ask: the last entry is the nearest.
const FORWARDED_FOR: &str = "x-forwarded-for";

impl Web {
    /// The address that asks.
    pub(super) fn address(&self, extensions: &Extensions, headers: &HeaderMap) -> IpAddr {
        let peer = extensions.get::<ConnectInfo<SocketAddr>>().map(|peer| peer.0.ip());
        // Without a peer there is no network between us: a test in the same process.
        of(peer.unwrap_or(Ipv4Addr::LOCALHOST.into()), headers, &self.proxies)
    }
}

/// The address that asks, for a handler.
pub(super) struct Address(pub IpAddr);

impl FromRequestParts<Web> for Address {
    type Rejection = Infallible;

    async fn from_request_parts(parts: &mut Parts, web: &Web) -> Result<Address, Infallible> {
        Ok(Address(web.address(&parts.extensions, &parts.headers)))
    }
}

/// The first address, counted from us, that is not one of our own proxies. What lies behind it could be anybody's invention.
fn of(peer: IpAddr, headers: &HeaderMap, proxies: &[IpNet]) -> IpAddr {
    let is_ours = |address: &IpAddr| proxies.iter().any(|net| net.contains(&address.to_canonical()));
    if !is_ours(&peer) {
        return peer;
    }
    let said = headers.get_all(FORWARDED_FOR).into_iter().filter_map(|value| value.to_str().ok());
    let chain: Vec<&str> = said.flat_map(|text| text.split(',')).map(str::trim).collect();
    let mut nearest = peer;
    for text in chain.into_iter().rev() {
        let Some(address) = read(text) else { break };
        nearest = address;
        if !is_ours(&address) {
            break;
        }
    }
    nearest
}

/// An address as proxies write it: alone, in brackets, or with a port.
fn read(text: &str) -> Option<IpAddr> {
    let with_port = || text.parse::<SocketAddr>().map(|socket| socket.ip());
    text.trim_matches(['[', ']']).parse().or_else(|_| with_port()).ok()
}

#[cfg(test)]
mod tests {
    use super::*;
    use axum::http::HeaderValue;

    fn asked(peer: &str, said: &str, proxies: &[&str]) -> String {
        let mut headers = HeaderMap::new();
        headers.insert(FORWARDED_FOR, HeaderValue::from_str(said).unwrap());
        let proxies: Vec<IpNet> = proxies.iter().map(|net| net.parse().unwrap()).collect();
        of(peer.parse().unwrap(), &headers, &proxies).to_string()
    }

    #[test]
    fn a_proxy_is_believed_only_where_the_club_named_it() {
        assert_eq!(asked("203.0.113.9", "198.51.100.7", &[]), "203.0.113.9", "anybody can write this header");
        assert_eq!(asked("10.0.0.2", "198.51.100.7", &["10.0.0.0/24"]), "198.51.100.7");
        assert_eq!(asked("::ffff:10.0.0.2", "198.51.100.7", &["10.0.0.0/24"]), "198.51.100.7");
    }

    #[test]
    fn what_the_asker_wrote_before_the_proxy_is_not_believed() {
        assert_eq!(asked("10.0.0.2", "1.1.1.1, 198.51.100.7", &["10.0.0.2/32"]), "198.51.100.7");
        assert_eq!(asked("10.0.0.2", "1.1.1.1, 198.51.100.7, 10.0.0.3", &["10.0.0.0/24"]), "198.51.100.7", "two proxies");
        assert_eq!(asked("10.0.0.2", "198.51.100.7:51344", &["10.0.0.2/32"]), "198.51.100.7", "with its port");
        assert_eq!(asked("10.0.0.2", "[2001:db8::1]:443", &["10.0.0.2/32"]), "2001:db8::1");
        assert_eq!(asked("10.0.0.2", "nonsense", &["10.0.0.2/32"]), "10.0.0.2");
    }
}
