//! How clients are told apart for counting: by a hash of their address under a salt that lives in
//! memory and changes every hour, so that no address is kept.

use crate::receipt::sha256;
use std::fmt;
use std::io;
use std::net::IpAddr;

/// How long a salt is used: an hour.
pub(super) const LASTS_MS: i64 = 60 * 60 * 1000;

/// The salt of the hour.
pub struct Salt {
    salt: [u8; 32],
    since_ms: i64,
}

impl fmt::Debug for Salt {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        formatter.write_str("Salt")
    }
}

impl Salt {
    /// A salt, which is a new one from the first client on.
    ///
    /// # Errors
    /// When the system has no randomness to give.
    pub fn new() -> io::Result<Self> {
        Ok(Self {
            salt: fresh()?,
            since_ms: i64::MIN,
        })
    }

    /// What a client is known by now, for one purpose.
    pub fn key(&mut self, client: IpAddr, purpose: &[u8], now_ms: i64) -> [u8; 32] {
        self.change(now_ms);
        sha256(&[&self.salt, purpose, &network(client)])
    }

    /// Takes a new salt when the old one is an hour old, and says whether it did. Without
    /// randomness the old one stays.
    pub(super) fn change(&mut self, now_ms: i64) -> bool {
        let age_ms = now_ms.saturating_sub(self.since_ms);
        if (0..LASTS_MS).contains(&age_ms) {
            return false;
        }
        let Ok(salt) = fresh() else {
            return false;
        };
        (self.salt, self.since_ms) = (salt, now_ms);
        true
    }
}

fn fresh() -> io::Result<[u8; 32]> {
    let mut salt = [0; 32];
    getrandom::fill(&mut salt).map_err(io::Error::other)?;
    Ok(salt)
}

/// What of an address stands for one client: of IPv6 the first 64 bits, since one connection has
/// all addresses behind them (RFC 6177, section 2; common practice).
fn network(client: IpAddr) -> Vec<u8> {
    match client.to_canonical() {
        IpAddr::V4(address) => address.octets().to_vec(),
        IpAddr::V6(address) => address.octets().iter().take(8).copied().collect(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::net::{Ipv4Addr, Ipv6Addr};

    #[test]
    fn one_connection_with_many_addresses_is_one_client() {
        let of = |number| network(Ipv4Addr::new(192, 0, 2, number).into());
        let address = |text: &str| network(text.parse::<Ipv6Addr>().unwrap().into());
        assert_eq!(address("2001:db8:1:2::1"), address("2001:db8:1:2:ffff::9"));
        assert_ne!(address("2001:db8:1:2::1"), address("2001:db8:1:3::1"));
        assert_eq!(address("::ffff:192.0.2.1"), of(1));
        assert_ne!(of(1), of(2));
    }

    #[test]
    fn a_salt_lasts_an_hour_and_tells_purposes_apart() {
        let mut salt = Salt::new().unwrap();
        let client = Ipv4Addr::LOCALHOST.into();
        let key = salt.key(client, b"reading", 0);
        assert_eq!(salt.key(client, b"reading", LASTS_MS - 1), key);
        assert_ne!(salt.key(client, b"writing", LASTS_MS - 1), key);
        assert_ne!(salt.key(client, b"reading", LASTS_MS), key);
        assert_eq!(format!("{salt:?}"), "Salt");
    }
}
