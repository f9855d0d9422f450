//! How often a sign-in may be tried: two token buckets, one for each client and one for all.
//!
//! A client is known by a hash of its address under a salt that lives in memory and changes every
//! hour, so that no address is kept. The bucket for all bounds the work that hashing makes, and
//! with it how many clients are remembered: one is, only when an attempt of it is let through.

use crate::receipt::sha256;
use std::collections::BTreeMap;
use std::io;
use std::net::IpAddr;

/// Attempts that one client has at first.
const CLIENT_BURST: u32 = 5;

/// Time in which a client gets one more: a minute.
const CLIENT_EVERY_MS: i64 = 60 * 1000;

/// Attempts that all clients together have at first.
const OVERALL_BURST: u32 = 20;

/// Time in which all together get one more: ten seconds.
const OVERALL_EVERY_MS: i64 = 10 * 1000;

/// How long a salt is used: an hour. A client then starts anew, so that changing the salt makes at
/// most [`CLIENT_BURST`] attempts more an hour.
const SALT_LASTS_MS: i64 = 60 * 60 * 1000;

/// A bucket that is filled by waiting.
#[derive(Clone, Copy, Debug)]
struct Bucket {
    /// Waiting that is saved up: [`Bucket::every_ms`] of it are one attempt.
    saved_ms: i64,
    seen_at_ms: i64,
    every_ms: i64,
    burst: u32,
}

impl Bucket {
    fn full(burst: u32, every_ms: i64, now_ms: i64) -> Self {
        Self {
            saved_ms: every_ms * i64::from(burst),
            seen_at_ms: now_ms,
            every_ms,
            burst,
        }
    }

    /// The bucket as it is now. A clock that was set back fills nothing.
    fn at(self, now_ms: i64) -> Self {
        let waited_ms = now_ms.saturating_sub(self.seen_at_ms).clamp(0, i64::MAX);
        let most_ms = self.every_ms * i64::from(self.burst);
        Self {
            saved_ms: self.saved_ms.saturating_add(waited_ms).min(most_ms),
            seen_at_ms: now_ms,
            ..self
        }
    }

    /// Milliseconds until there is an attempt in it; 0 when there is one.
    fn wait_ms(self) -> i64 {
        (self.every_ms - self.saved_ms).clamp(0, self.every_ms)
    }

    fn less_one(self) -> Self {
        Self {
            saved_ms: self.saved_ms - self.every_ms,
            ..self
        }
    }
}

/// The buckets.
pub struct Attempts {
    overall: Bucket,
    clients: BTreeMap<[u8; 32], Bucket>,
    salt: [u8; 32],
    salt_since_ms: i64,
}

impl std::fmt::Debug for Attempts {
    fn fmt(&self, formatter: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(formatter, "Attempts({} clients)", self.clients.len())
    }
}

impl Attempts {
    /// Full buckets. The salt is a new one from the first attempt on.
    ///
    /// # Errors
    /// When the system has no randomness to give for a salt.
    pub fn new() -> io::Result<Self> {
        Ok(Self {
            overall: Bucket::full(OVERALL_BURST, OVERALL_EVERY_MS, i64::MIN),
            clients: BTreeMap::new(),
            salt: fresh_salt()?,
            salt_since_ms: i64::MIN,
        })
    }

    /// Takes one attempt for a client. What is refused takes nothing.
    ///
    /// # Errors
    /// The whole seconds after which it may be tried again, at least 1.
    pub fn take(&mut self, client: IpAddr, now_ms: i64) -> Result<(), u32> {
        self.change_salt(now_ms);
        let overall = self.overall.at(now_ms);
        let key = sha256(&[&self.salt, &network(client)]);
        let fresh = || Bucket::full(CLIENT_BURST, CLIENT_EVERY_MS, now_ms);
        let client = self
            .clients
            .get(&key)
            .map_or_else(fresh, |known| known.at(now_ms));
        let wait_ms = overall.wait_ms().max(client.wait_ms());
        if 0 < wait_ms {
            return Err(u32::try_from((wait_ms + 999) / 1000).unwrap_or(u32::MAX));
        }
        self.overall = overall.less_one();
        self.clients.insert(key, client.less_one());
        Ok(())
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
            self.clients.clear();
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

    const NOW: i64 = 1_700_000_000_000;

    fn client(number: u8) -> IpAddr {
        Ipv4Addr::new(192, 0, 2, number).into()
    }

    #[test]
    fn a_client_has_five_attempts_and_one_more_every_minute() {
        let mut attempts = Attempts::new().unwrap();
        for _ in 0..5 {
            assert_eq!(attempts.take(client(1), NOW), Ok(()));
        }
        assert_eq!(attempts.take(client(1), NOW), Err(60));
        assert_eq!(attempts.take(client(1), NOW + 59_001), Err(1));
        assert_eq!(attempts.take(client(1), NOW + 60_000), Ok(()));
        assert_eq!(attempts.take(client(1), NOW + 60_000), Err(60));
        assert_eq!(attempts.take(client(2), NOW + 60_000), Ok(()));
    }

    #[test]
    fn waiting_fills_a_bucket_to_its_burst_and_no_further() {
        let mut attempts = Attempts::new().unwrap();
        attempts.take(client(1), NOW).unwrap();
        let later = NOW + 50 * CLIENT_EVERY_MS;
        let let_through = (0..10).filter(|_| attempts.take(client(1), later).is_ok());
        assert_eq!(let_through.count(), 5);
    }

    #[test]
    fn all_clients_together_have_twenty_and_one_more_every_ten_seconds() {
        let mut attempts = Attempts::new().unwrap();
        let let_through = (0..100).filter(|number| attempts.take(client(*number), NOW).is_ok());
        assert_eq!(let_through.count(), 20);
        assert_eq!(
            attempts.clients.len(),
            20,
            "only who was let through is remembered"
        );
        assert_eq!(attempts.take(client(200), NOW), Err(10));
        assert_eq!(attempts.take(client(200), NOW + 10_000), Ok(()));
        assert_eq!(attempts.take(client(201), NOW + 10_000), Err(10));
    }

    #[test]
    fn what_is_refused_takes_nothing() {
        let mut attempts = Attempts::new().unwrap();
        for _ in 0..1000 {
            let _ = attempts.take(client(1), NOW);
        }
        assert_eq!(attempts.take(client(1), NOW + 60_000), Ok(()));
        assert_eq!(attempts.take(client(2), NOW), Ok(()));
    }

    #[test]
    fn a_clock_that_is_set_back_or_far_ahead_neither_fills_nor_breaks_a_bucket() {
        let mut attempts = Attempts::new().unwrap();
        for _ in 0..20 {
            let _ = attempts.take(client(1), NOW);
        }
        // The salt changes, so the client is new; the bucket for all has fifteen left.
        let let_through = (0..100).filter(|number| attempts.take(client(*number), NOW - 1).is_ok());
        assert_eq!(let_through.count(), 15);
        assert_eq!(attempts.take(client(1), i64::MAX), Ok(()));
        assert_eq!(attempts.take(client(1), i64::MIN), Ok(()));
    }

    #[test]
    fn the_salt_changes_every_hour_and_nothing_of_an_address_is_kept() {
        let mut attempts = Attempts::new().unwrap();
        attempts.take(client(1), NOW).unwrap();
        let (salt, key) = (attempts.salt, *attempts.clients.keys().next().unwrap());
        attempts.take(client(1), NOW + SALT_LASTS_MS - 1).unwrap();
        assert_eq!(attempts.salt, salt);
        attempts.take(client(1), NOW + SALT_LASTS_MS).unwrap();
        assert_ne!(attempts.salt, salt);
        assert_eq!(attempts.clients.len(), 1);
        assert!(!attempts.clients.contains_key(&key));
        assert_eq!(format!("{attempts:?}"), "Attempts(1 clients)");
    }

    #[test]
    fn one_connection_with_many_addresses_is_one_client() {
        let address = |text: &str| network(text.parse::<Ipv6Addr>().unwrap().into());
        assert_eq!(address("2001:db8:1:2::1"), address("2001:db8:1:2:ffff::9"));
        assert_ne!(address("2001:db8:1:2::1"), address("2001:db8:1:3::1"));
        assert_eq!(address("::ffff:192.0.2.1"), network(client(1)));
        assert_ne!(network(client(1)), network(client(2)));
    }
}
