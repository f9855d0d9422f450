//! How often a sign-in may be tried: two token buckets, one for each client and one for all.
//!
//! The bucket for all bounds the work that hashing makes, and with it how many clients are
//! remembered: one is, only when an attempt of it is let through.

use super::bucket::{Bucket, Clients, Pace, whole_seconds};
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

const CLIENT_PACE: Pace = Pace {
    burst: CLIENT_BURST,
    gain: 1,
    cost: CLIENT_EVERY_MS,
};

const OVERALL_PACE: Pace = Pace {
    burst: OVERALL_BURST,
    gain: 1,
    cost: OVERALL_EVERY_MS,
};

/// The buckets.
pub struct Attempts {
    overall: Bucket,
    clients: Clients,
}

impl std::fmt::Debug for Attempts {
    fn fmt(&self, formatter: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let n_clients = self.clients.buckets.len();
        write!(formatter, "Attempts({n_clients} clients)")
    }
}

impl Attempts {
    /// Full buckets. The salt is a new one from the first attempt on.
    ///
    /// # Errors
    /// When the system has no randomness to give for a salt.
    pub fn new() -> io::Result<Self> {
        Ok(Self {
            overall: Bucket::full(OVERALL_PACE, i64::MIN),
            clients: Clients::new()?,
        })
    }

    /// Takes one attempt for a client. What is refused takes nothing.
    ///
    /// # Errors
    /// The whole seconds after which it may be tried again, at least 1.
    pub fn take(&mut self, client: IpAddr, now_ms: i64) -> Result<(), u32> {
        let overall = self.overall.at(now_ms);
        let key = self.clients.key(client, b"", now_ms);
        let fresh = || Bucket::full(CLIENT_PACE, now_ms);
        let client = self
            .clients
            .buckets
            .get(&key)
            .map_or_else(fresh, |known| known.at(now_ms));
        let wait_ms = overall.wait_ms().max(client.wait_ms());
        if 0 < wait_ms {
            return Err(whole_seconds(wait_ms));
        }
        self.overall = overall.less_one();
        self.clients.buckets.insert(key, client.less_one());
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::super::salt::LASTS_MS;
    use super::*;
    use std::net::Ipv4Addr;

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
            attempts.clients.buckets.len(),
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
        let known = |attempts: &Attempts| *attempts.clients.buckets.keys().next().unwrap();
        let key = known(&attempts);
        attempts.take(client(1), NOW + LASTS_MS - 1).unwrap();
        assert_eq!(known(&attempts), key);
        attempts.take(client(1), NOW + LASTS_MS).unwrap();
        assert_eq!(attempts.clients.buckets.len(), 1);
        assert!(!attempts.clients.buckets.contains_key(&key));
        assert_eq!(format!("{attempts:?}"), "Attempts(1 clients)");
    }
}
