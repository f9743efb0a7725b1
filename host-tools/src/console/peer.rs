//! Where a visitor comes from: places in the console are shared out by address, so that nobody can take them all.

use std::net::{IpAddr, Ipv4Addr, Ipv6Addr};

use axum::extract::FromRequestParts;
use axum::http::HeaderMap;
use axum::http::request::Parts;

/// An address as far as it can tell visitors apart: all of IPv4, of IPv6 the network that a household or a machine is given
/// whole (64 bits).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Peer(IpAddr);

impl Peer {
    /// The visitor at the other end of a connection.
    #[must_use]
    pub fn of(address: IpAddr) -> Self {
        Self(match address.to_canonical() {
            IpAddr::V6(address) => {
                let [a, b, c, d, ..] = address.segments();
                // The machine itself is no network.
                let whole = address.is_loopback();
                IpAddr::V6(if whole { address } else { Ipv6Addr::new(a, b, c, d, 0, 0, 0, 0) })
            }
            address => address,
        })
    }

    /// Who asks: the other end of the connection, or whom a reverse proxy on this machine says it asks for. Nobody but this
    /// machine is believed in that.
    #[must_use]
    pub fn asking(connected: IpAddr, headers: &HeaderMap) -> Self {
        let connected = Self::of(connected);
        if !connected.is_here() {
            return connected;
        }
        // A proxy adds whom it talks to at the end; what stands before it anybody may have written.
        let named = headers.get_all("x-forwarded-for").iter().next_back();
        let last = named.and_then(|value| value.to_str().ok()?.rsplit(',').next());
        last.and_then(|last| last.trim().parse().ok()).map_or(connected, Self::of)
    }

    /// Whether this is the machine that the console runs on.
    #[must_use]
    pub fn is_here(self) -> bool {
        self.0.is_loopback()
    }
}

impl std::fmt::Display for Peer {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self.0 {
            IpAddr::V6(network) if !network.is_loopback() => write!(f, "{network}/64"),
            address => address.fmt(f),
        }
    }
}

/// The other end of a request's connection, as the listener knows it.
#[derive(Debug, Clone, Copy)]
pub struct Connected(pub IpAddr);

impl<S: Sync> FromRequestParts<S> for Peer {
    type Rejection = std::convert::Infallible;

    async fn from_request_parts(parts: &mut Parts, _: &S) -> Result<Self, Self::Rejection> {
        let nobody = IpAddr::V4(Ipv4Addr::UNSPECIFIED);
        let connected = parts.extensions.get::<Connected>().map_or(nobody, |connected| connected.0);
        Ok(Self::asking(connected, &parts.headers))
    }
}

/// Of these visitors the one who has the most places, and how many; none for no visitor.
#[must_use]
pub fn greediest(peers: impl Iterator<Item = Peer>) -> Option<(Peer, usize)> {
    let mut counts = std::collections::BTreeMap::<Peer, usize>::new();
    for peer in peers {
        *counts.entry(peer).or_default() += 1;
    }
    counts.into_iter().max_by_key(|(_, count)| *count)
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    fn ip(text: &str) -> IpAddr {
        text.parse().unwrap()
    }

    #[test]
    fn a_network_of_ipv6_is_one_visitor_and_ipv4_written_as_ipv6_is_ipv4() {
        assert_eq!(Peer::of(ip("2001:db8:1:2::1")), Peer::of(ip("2001:db8:1:2:ffff::9")));
        assert_ne!(Peer::of(ip("2001:db8:1:2::1")), Peer::of(ip("2001:db8:1:3::1")));
        assert_eq!(Peer::of(ip("::ffff:192.0.2.7")), Peer::of(ip("192.0.2.7")));
        assert!(Peer::of(ip("::1")).is_here() && Peer::of(ip("127.0.0.9")).is_here());
        assert!(!Peer::of(ip("192.0.2.7")).is_here());
        assert_eq!(Peer::of(ip("2001:db8:1:2::1")).to_string(), "2001:db8:1:2::/64");
    }

    #[test]
    fn only_a_proxy_on_this_machine_may_say_whom_it_asks_for_and_its_own_word_counts() {
        let mut headers = HeaderMap::new();
        headers.insert("x-forwarded-for", "203.0.113.1, 192.0.2.7".parse().unwrap());
        assert_eq!(Peer::asking(ip("127.0.0.1"), &headers), Peer::of(ip("192.0.2.7")));
        assert_eq!(Peer::asking(ip("198.51.100.4"), &headers), Peer::of(ip("198.51.100.4")));
        headers.append("x-forwarded-for", "192.0.2.8".parse().unwrap());
        assert_eq!(Peer::asking(ip("::1"), &headers), Peer::of(ip("192.0.2.8")));
        headers.insert("x-forwarded-for", "who knows".parse().unwrap());
        assert_eq!(Peer::asking(ip("127.0.0.1"), &headers), Peer::of(ip("127.0.0.1")));
    }

    #[test]
    fn the_greediest_has_most() {
        let peers = ["192.0.2.1", "192.0.2.2", "192.0.2.2"].map(|text| Peer::of(ip(text)));
        assert_eq!(greediest(peers.into_iter()), Some((peers[1], 2)));
        assert_eq!(greediest(std::iter::empty()), None);
    }
}
