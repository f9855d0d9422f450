//! Token buckets, and how clients are told apart for counting: by a hash of their address under a
//! salt that lives in memory and changes every hour, so that no address is kept.

use crate::receipt::sha256;
use std::collections::BTreeMap;
use std::io;
use std::net::IpAddr;

/// How long a salt is used: an hour. A client then starts anew, so that changing the salt makes at
/// most one burst more an hour.
pub(super) const SALT_LASTS_MS: i64 = 60 * 60 * 1000;

/// How a bucket fills: each millisecond of waiting gains `gain`, and what is let through costs
/// `cost`.
#[derive(Clone, Copy, Debug)]
pub(super) struct Pace {
    pub(super) burst: u32,
    pub(super) gain: i64,
    pub(super) cost: i64,
}

impl Pace {
    fn most(self) -> i64 {
        self.cost.saturating_mul(i64::from(self.burst))
    }

    /// Milliseconds of waiting that gain this much, rounded up.
    fn time_ms(self, missing: i64) -> i64 {
        let missing = missing.clamp(0, i64::MAX);
        missing / self.gain + i64::from(missing % self.gain != 0)
    }
}

/// A bucket that is filled by waiting.
#[derive(Clone, Copy, Debug)]
pub(super) struct Bucket {
    saved: i64,
    seen_at_ms: i64,
    pace: Pace,
}

impl Bucket {
    pub(super) fn full(pace: Pace, now_ms: i64) -> Self {
        Self {
            saved: pace.most(),
            seen_at_ms: now_ms,
            pace,
        }
    }

    /// The bucket as it is now. A clock that was set back fills nothing.
    pub(super) fn at(self, now_ms: i64) -> Self {
        let waited_ms = now_ms.saturating_sub(self.seen_at_ms).clamp(0, i64::MAX);
        let gained = waited_ms.saturating_mul(self.pace.gain);
        Self {
            saved: self.saved.saturating_add(gained).min(self.pace.most()),
            seen_at_ms: now_ms,
            ..self
        }
    }

    /// How many are in it.
    pub(super) fn left(self) -> u32 {
        u32::try_from(self.saved / self.pace.cost).unwrap_or(0)
    }

    /// Milliseconds until there is one in it; 0 when there is one.
    pub(super) fn wait_ms(self) -> i64 {
        self.pace.time_ms(self.pace.cost - self.saved)
    }

    /// Milliseconds until it is full.
    pub(super) fn full_in_ms(self) -> i64 {
        self.pace.time_ms(self.pace.most() - self.saved)
    }

    pub(super) fn less_one(self) -> Self {
        Self {
            saved: self.saved - self.pace.cost,
            ..self
        }
    }
}

/// The whole seconds that a wait takes, rounded up.
pub(super) fn whole_seconds(wait_ms: i64) -> u32 {
    u32::try_from(wait_ms / 1000 + i64::from(wait_ms % 1000 != 0)).unwrap_or(u32::MAX)
}

/// The buckets of clients, each under the hash of who it is for.
pub(super) struct Clients {
    pub(super) buckets: BTreeMap<[u8; 32], Bucket>,
    pub(super) salt: [u8; 32],
    salt_since_ms: i64,
}

impl Clients {
    /// No client yet. The salt is a new one from the first client on.
    ///
    /// # Errors
    /// When the system has no randomness to give for a salt.
    pub(super) fn new() -> io::Result<Self> {
        Ok(Self {
            buckets: BTreeMap::new(),
            salt: fresh_salt()?,
            salt_since_ms: i64::MIN,
        })
    }

    /// What a client is known by now, for one purpose.
    pub(super) fn key(&mut self, client: IpAddr, purpose: &[u8], now_ms: i64) -> [u8; 32] {
        self.change_salt(now_ms);
        sha256(&[&self.salt, purpose, &network(client)])
    }

    /// Takes a new salt when the old one is an hour old. Without randomness the old one stays.
    fn change_salt(&mut self, now_ms: i64) {
        let age_ms = now_ms.saturating_sub(self.salt_since_ms);
        if (0..SALT_LASTS_MS).contains(&age_ms) {
            return;
        }
        if let Ok(salt) = fresh_salt() {
            self.salt = salt;
            self.salt_since_ms = now_ms;
            self.buckets.clear();
        }
    }
}

fn fresh_salt() -> io::Result<[u8; 32]> {
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
    fn seconds_are_rounded_up() {
        for (ms, seconds) in [(0, 0), (1, 1), (1000, 1), (1001, 2), (i64::MAX, u32::MAX)] {
            assert_eq!(whole_seconds(ms), seconds);
        }
    }
}
