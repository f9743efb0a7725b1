//! Where a visitor comes from: places in the console are shared out by address, so that nobody can take them all.

use std::net::{IpAddr, Ipv4Addr, Ipv6Addr};

use axum::extract::FromRequestParts;
use axum::http::HeaderMap;
use axum::http::request::Parts;

/// Where a reverse proxy says whom it asks for.
const FORWARDED_FOR: &str = "x-forwarded-for";
/// Stands for all of whom nobody can say where they are.
const NOBODY: IpAddr = IpAddr::V4(Ipv4Addr::UNSPECIFIED);

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

    /// Who asks: the other end of the connection, or whom a reverse proxy that was named says it asks for. Nobody else is
    /// believed in that; what a proxy on this machine passes on that nobody named is not taken for this machine's own.
    #[must_use]
    pub fn asking(connected: Connected, headers: &HeaderMap) -> Self {
        let Connected { address, is_proxy } = connected;
        // A proxy adds whom it talks to at the end; what stands before it anybody may have written.
        let named = headers.get_all(FORWARDED_FOR).iter().next_back();
        match named {
            Some(named) if is_proxy => {
                let last = named.to_str().ok().and_then(|text| text.rsplit(',').next()?.trim().parse().ok());
                last.map_or(Self(NOBODY), Self::of)
            }
            Some(_) if Self::of(address).is_here() => Self(NOBODY),
            _ => Self::of(address),
        }
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
            NOBODY => f.write_str("an unknown address"),
            IpAddr::V6(network) if !network.is_loopback() => write!(f, "{network}/64"),
            address => address.fmt(f),
        }
    }
}

/// The other end of a request's connection, as the listener knows it.
#[derive(Debug, Clone, Copy)]
pub struct Connected {
    /// Its address.
    pub address: IpAddr,
    /// Whether it was named as a reverse proxy.
    pub is_proxy: bool,
}

impl<S: Sync> FromRequestParts<S> for Peer {
    type Rejection = std::convert::Infallible;

    async fn from_request_parts(parts: &mut Parts, _: &S) -> Result<Self, Self::Rejection> {
        let connected = parts.extensions.get::<Connected>().copied();
        let connected = connected.unwrap_or(Connected { address: NOBODY, is_proxy: false });
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
    fn only_a_proxy_that_was_named_may_say_whom_it_asks_for_and_its_own_word_counts() {
        let from = |address: &str, is_proxy| Connected { address: ip(address), is_proxy };
        let mut headers = HeaderMap::new();
        assert_eq!(Peer::asking(from("127.0.0.1", false), &headers), Peer::of(ip("127.0.0.1")));
        assert_eq!(Peer::asking(from("10.0.0.9", true), &headers), Peer::of(ip("10.0.0.9")));
        headers.insert(FORWARDED_FOR, "203.0.113.1, 192.0.2.7".parse().unwrap());
        assert_eq!(Peer::asking(from("10.0.0.9", true), &headers), Peer::of(ip("192.0.2.7")));
        assert_eq!(Peer::asking(from("198.51.100.4", false), &headers), Peer::of(ip("198.51.100.4")));
        // Somebody on this machine says so, and nobody named a proxy: this machine's own people are not locked out by it.
        let unnamed = Peer::asking(from("127.0.0.1", false), &headers);
        assert!(!unnamed.is_here() && unnamed.to_string() == "an unknown address", "{unnamed}");
        headers.append(FORWARDED_FOR, "192.0.2.8".parse().unwrap());
        assert_eq!(Peer::asking(from("::1", true), &headers), Peer::of(ip("192.0.2.8")));
        headers.insert(FORWARDED_FOR, "who knows".parse().unwrap());
        assert_eq!(Peer::asking(from("::1", true), &headers), unnamed);
    }

    #[test]
    fn the_greediest_has_most() {
        let peers = ["192.0.2.1", "192.0.2.2", "192.0.2.2"].map(|text| Peer::of(ip(text)));
        assert_eq!(greediest(peers.into_iter()), Some((peers[1], 2)));
        assert_eq!(greediest(std::iter::empty()), None);
    }
}
