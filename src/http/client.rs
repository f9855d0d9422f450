//! Who asks, for counting alone: an address that is neither stored nor logged.

use actix_web::HttpRequest;
use ipnet::IpNet;
use std::net::{IpAddr, Ipv4Addr, SocketAddr};
use std::sync::Arc;

/// What stands between the clients and the server.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub enum Front {
    /// Nothing: whoever connects is the client.
    #[default]
    Nothing,
    /// Proxies with TLS at these addresses, which add the address of whoever connected to them to
    /// `X-Forwarded-For`.
    TlsProxy(Arc<[IpNet]>),
}

impl Front {
    /// Proxies at these addresses.
    #[must_use]
    pub fn proxies(proxies: &[IpNet]) -> Self {
        Self::TlsProxy(proxies.into())
    }

    /// Whether what this address says of others is believed.
    pub(super) fn speaks_for_others(&self, address: IpAddr) -> bool {
        let address = address.to_canonical();
        match self {
            Self::Nothing => false,
            Self::TlsProxy(proxies) => proxies.iter().any(|proxy| proxy.contains(&address)),
        }
    }
}

/// The address of the client. Whoever connects is believed to be the client, but for the named
/// proxies: of those the last address of `X-Forwarded-For` counts, which they added themselves, and
/// when that one is a proxy as well, the one before it. What stands further left is what a client
/// claims. A field that cannot be read up to there says nothing, and neither does `Forwarded` (RFC
/// 7239): of two fields a proxy writes one, and lets clients write the other.
pub(super) fn address(request: &HttpRequest) -> IpAddr {
    let peer = request
        .peer_addr()
        .map_or(IpAddr::V4(Ipv4Addr::UNSPECIFIED), |peer| peer.ip());
    let front = request.app_data::<Front>().cloned().unwrap_or_default();
    if !front.speaks_for_others(peer) {
        return peer;
    }
    told_by_proxies(request, &front).unwrap_or(peer)
}

fn told_by_proxies(request: &HttpRequest, front: &Front) -> Option<IpAddr> {
    let lines = request.headers().get_all("x-forwarded-for");
    let lines: Vec<&str> = lines
        .map(|line| line.to_str().ok())
        .collect::<Option<_>>()?;
    let hops = lines.iter().rev().flat_map(|line| line.rsplit(','));
    let mut nearest = None;
    for hop in hops {
        let hop = hop_address(hop.trim())?;
        nearest = Some(hop);
        if !front.speaks_for_others(hop) {
            break;
        }
    }
    nearest
}

/// One address of the field. Some proxies add the port, which then puts IPv6 in brackets.
fn hop_address(text: &str) -> Option<IpAddr> {
    let with_port = || Some(text.parse::<SocketAddr>().ok()?.ip());
    let in_brackets = || text.strip_prefix('[')?.strip_suffix(']')?.parse().ok();
    let plain = text.parse().ok();
    plain.or_else(with_port).or_else(in_brackets)
}

#[cfg(test)]
mod tests {
    use super::*;
    use actix_web::test::TestRequest;

    /// Which client is seen, when this peer sends these lines and 192.0.2.0/24 are proxies.
    fn seen(peer: &str, field: &'static str, lines: &[&'static str]) -> String {
        let proxies = ["192.0.2.0/24".parse().unwrap()];
        seen_behind(Front::proxies(&proxies), peer, field, lines)
    }

    fn seen_behind(
        front: Front,
        peer: &str,
        field: &'static str,
        lines: &[&'static str],
    ) -> String {
        let mut request = TestRequest::get()
            .peer_addr(SocketAddr::new(peer.parse().unwrap(), 5000))
            .app_data(front);
        for line in lines {
            request = request.append_header((field, *line));
        }
        address(&request.to_http_request()).to_string()
    }

    #[test]
    fn behind_proxies_the_last_hop_that_is_none_of_them_counts() {
        for (forwarded, client) in [
            (vec!["198.51.100.7"], "198.51.100.7"),
            (vec!["203.0.113.9, 198.51.100.7"], "198.51.100.7"),
            (vec!["203.0.113.9", "198.51.100.7"], "198.51.100.7"),
            (vec!["203.0.113.9,198.51.100.7, 192.0.2.8"], "198.51.100.7"),
            (
                vec!["198.51.100.7", "192.0.2.8", "192.0.2.9"],
                "198.51.100.7",
            ),
            (vec!["198.51.100.7, ::ffff:192.0.2.8"], "198.51.100.7"),
            (vec!["192.0.2.7, 192.0.2.8"], "192.0.2.7"),
            (vec!["198.51.100.7:4711"], "198.51.100.7"),
            (vec!["2001:db8::7"], "2001:db8::7"),
            (vec!["[2001:db8::7]"], "2001:db8::7"),
            (vec!["[2001:db8::7]:4711"], "2001:db8::7"),
        ] {
            let told = seen("192.0.2.1", "x-forwarded-for", &forwarded);
            assert_eq!(told, client, "{forwarded:?}");
        }
    }

    #[test]
    fn what_cannot_be_read_is_as_if_the_proxy_had_said_nothing() {
        for forwarded in [
            vec!["198.51.100.7, unknown"],
            vec!["198.51.100.7, unknown, 192.0.2.8"],
            vec!["198.51.100.7,"],
            vec!["198.51.100.7.9"],
            vec!["198.51.100.7 198.51.100.8"],
            vec!["198.51.100.7:999999"],
            vec!["[2001:db8::7"],
            vec!["2001:db8::7%eth0"],
            vec!["0x7f.1"],
            vec![""],
            vec![],
        ] {
            let told = seen("192.0.2.1", "x-forwarded-for", &forwarded);
            assert_eq!(told, "192.0.2.1", "{forwarded:?}");
        }
    }

    #[test]
    fn nobody_else_chooses_their_address() {
        let lines = ["198.51.100.7"];
        for peer in ["203.0.113.5", "2001:db8::5", "127.0.0.1"] {
            assert_eq!(seen(peer, "x-forwarded-for", &lines), peer);
        }
        let told = seen_behind(Front::Nothing, "192.0.2.1", "x-forwarded-for", &lines);
        assert_eq!(told, "192.0.2.1");
        let mapped = seen("::ffff:192.0.2.1", "x-forwarded-for", &lines);
        assert_eq!(mapped, "198.51.100.7", "the same address written as IPv6");
    }

    #[test]
    fn of_the_fields_that_name_a_client_one_is_read() {
        for field in ["forwarded", "x-real-ip", "x-forwarded", "true-client-ip"] {
            let told = seen("192.0.2.1", field, &["for=198.51.100.7", "198.51.100.7"]);
            assert_eq!(told, "192.0.2.1", "{field}");
        }
    }
}
