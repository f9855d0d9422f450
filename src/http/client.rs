//! Who asks, for counting attempts alone: an address that is neither stored nor logged.

use super::Front;
use actix_web::HttpRequest;
use std::net::{IpAddr, Ipv4Addr, SocketAddr};

/// The address of the client. Behind a proxy it is the last one of `X-Forwarded-For`, which the
/// proxy itself added: those before it are what the client claims. Without a proxy the header is
/// not looked at, since then all of it is a claim.
pub(super) fn address(request: &HttpRequest) -> IpAddr {
    let peer = request
        .peer_addr()
        .map_or(IpAddr::V4(Ipv4Addr::UNSPECIFIED), |peer| peer.ip());
    match request.app_data::<Front>() {
        Some(Front::TlsProxy) => told_by_proxy(request).unwrap_or(peer),
        Some(Front::Nothing) | None => peer,
    }
}

fn told_by_proxy(request: &HttpRequest) -> Option<IpAddr> {
    let lines = request.headers().get_all("x-forwarded-for");
    let last = lines.last()?.to_str().ok()?.rsplit(',').next()?.trim();
    let with_port = || Some(last.parse::<SocketAddr>().ok()?.ip());
    last.parse().ok().or_else(with_port)
}

#[cfg(test)]
mod tests {
    use super::*;
    use actix_web::test::TestRequest;

    fn seen(front: Front, forwarded: &[&'static str]) -> String {
        let mut request = TestRequest::get()
            .peer_addr("192.0.2.1:5000".parse().unwrap())
            .app_data(front);
        for line in forwarded {
            request = request.append_header(("x-forwarded-for", *line));
        }
        address(&request.to_http_request()).to_string()
    }

    #[test]
    fn behind_a_proxy_the_last_hop_counts() {
        for (forwarded, client) in [
            (vec!["198.51.100.7"], "198.51.100.7"),
            (vec!["203.0.113.9, 198.51.100.7"], "198.51.100.7"),
            (vec!["203.0.113.9", "198.51.100.7"], "198.51.100.7"),
            (vec!["198.51.100.7:4711"], "198.51.100.7"),
            (vec!["2001:db8::7"], "2001:db8::7"),
            (vec!["[2001:db8::7]:4711"], "2001:db8::7"),
            (vec!["198.51.100.7, unknown"], "192.0.2.1"),
            (vec![""], "192.0.2.1"),
            (vec![], "192.0.2.1"),
        ] {
            assert_eq!(seen(Front::TlsProxy, &forwarded), client, "{forwarded:?}");
        }
    }

    #[test]
    fn without_a_proxy_nobody_chooses_their_address() {
        assert_eq!(seen(Front::Nothing, &["198.51.100.7"]), "192.0.2.1");
    }
}
