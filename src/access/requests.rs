//! How many requests a client may make in a minute: a token bucket for each kind of request.
//!
//! The limit is there so that no single client takes the service away from the others. What the
//! buckets take of memory is bounded: a full one is forgotten, since a new one is full as well, and
//! when [`MOST_CLIENTS`] are remembered that are not full, further ones are let through uncounted.
//! Whoever commands so many addresses has a fresh bucket for each of them anyway.

use super::bucket::{Bucket, Clients, Pace, whole_seconds};
use std::io;
use std::net::IpAddr;

/// Buckets that are remembered at once, of some 100 bytes each: 2 MB at most.
const MOST_CLIENTS: usize = 20_000;

/// How often full buckets are looked for at most, in milliseconds, since that takes a walk over all.
const SWEEP_EVERY_MS: i64 = 1000;

/// Milliseconds of a minute, which is what a quota is for.
const MINUTE_MS: i64 = 60 * 1000;

/// Most requests a minute that a limit can be set to.
pub const MOST_A_MINUTE: u32 = 1_000_000;

/// What a request does, each with a quota of its own.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Quota {
    /// It reads the data interface or a file.
    Reading,
    /// It may change something by the data interface. Writing costs a write that is synced to disk.
    Writing,
    /// It loads a page or a part of one. An audience behind one address loads pages together.
    Pages,
    /// It sends a form. A whole club may do so from one court.
    Forms,
    /// It draws a plan, which is kept for good.
    Plans,
    /// It uploads a file, which is read off the threads that answer everybody else.
    Uploads,
    /// It named a receipt or an invitation that does not exist.
    Guesses,
}

impl Quota {
    /// Its name in the header fields.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Reading => "reading",
            Self::Writing => "writing",
            Self::Pages => "pages",
            Self::Forms => "forms",
            Self::Plans => "plans",
            Self::Uploads => "uploads",
            Self::Guesses => "guesses",
        }
    }

    /// Requests a minute when this many may be made for reading; at least 1.
    const fn of(self, reading: u32) -> u32 {
        let a_minute = match self {
            Self::Reading | Self::Forms => reading,
            Self::Writing => reading / 5,
            Self::Pages => reading.saturating_mul(5),
            Self::Plans | Self::Uploads => reading / 10,
            Self::Guesses => reading / 20,
        };
        if a_minute == 0 { 1 } else { a_minute }
    }
}

/// What a client has left of a quota.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Left {
    /// Which quota.
    pub quota: Quota,
    /// Requests a minute that it allows, all of which may come at once.
    pub a_minute: u32,
    /// Requests that are left now.
    pub requests: u32,
    /// Whole seconds until all of them are there again, or until the next one when none is left.
    pub seconds: u32,
    /// Whether this very request is within the quota.
    pub allowed: bool,
}

/// The buckets.
pub struct Requests {
    a_minute: u32,
    clients: Clients,
    swept_at_ms: i64,
}

impl std::fmt::Debug for Requests {
    fn fmt(&self, formatter: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let n_buckets = self.clients.buckets.len();
        write!(formatter, "Requests({n_buckets} buckets)")
    }
}

impl Requests {
    /// Full buckets for this many requests for reading a minute, at least 1 and at most
    /// [`MOST_A_MINUTE`]; those of the other quotas follow from it.
    ///
    /// # Errors
    /// When the system has no randomness to give for a salt.
    pub fn new(a_minute: u32) -> io::Result<Self> {
        Ok(Self {
            a_minute: a_minute.clamp(1, MOST_A_MINUTE),
            clients: Clients::new()?,
            swept_at_ms: i64::MIN,
        })
    }

    /// Takes one request of a client. What is refused takes nothing.
    pub fn take(&mut self, client: IpAddr, quota: Quota, now_ms: i64) -> Left {
        let pace = self.pace(quota);
        let (key, known) = self.known(client, quota, now_ms);
        let bucket = known.unwrap_or_else(|| Bucket::full(pace, now_ms));
        if 0 < bucket.wait_ms() {
            return left(quota, pace, bucket, false);
        }
        let bucket = bucket.less_one();
        if known.is_some() || self.has_room(now_ms) {
            self.clients.buckets.insert(key, bucket);
        }
        left(quota, pace, bucket, true)
    }

    /// What a client has left of a quota; nothing is taken. `allowed` tells whether there is one.
    pub fn look(&mut self, client: IpAddr, quota: Quota, now_ms: i64) -> Left {
        let pace = self.pace(quota);
        let (_, known) = self.known(client, quota, now_ms);
        let bucket = known.unwrap_or_else(|| Bucket::full(pace, now_ms));
        left(quota, pace, bucket, bucket.wait_ms() == 0)
    }

    /// What a client is known by, and its bucket as it is now.
    fn known(&mut self, client: IpAddr, quota: Quota, now_ms: i64) -> ([u8; 32], Option<Bucket>) {
        let key = self.clients.key(client, quota.name().as_bytes(), now_ms);
        let known = self.clients.buckets.get(&key);
        (key, known.map(|known| known.at(now_ms)))
    }

    /// A minute's worth may come at once, and comes back evenly over a minute.
    fn pace(&self, quota: Quota) -> Pace {
        let a_minute = quota.of(self.a_minute);
        Pace {
            burst: a_minute,
            gain: i64::from(a_minute),
            cost: MINUTE_MS,
        }
    }

    /// Whether one more client can be remembered, after forgetting those that need not be.
    fn has_room(&mut self, now_ms: i64) -> bool {
        let buckets = &mut self.clients.buckets;
        let is_time = !(0..SWEEP_EVERY_MS).contains(&now_ms.saturating_sub(self.swept_at_ms));
        if MOST_CLIENTS <= buckets.len() && is_time {
            self.swept_at_ms = now_ms;
            buckets.retain(|_, bucket| 0 < bucket.at(now_ms).full_in_ms());
        }
        buckets.len() < MOST_CLIENTS
    }
}

fn left(quota: Quota, pace: Pace, bucket: Bucket, allowed: bool) -> Left {
    let requests = bucket.left();
    let wait_ms = if requests == 0 {
        bucket.wait_ms()
    } else {
        bucket.full_in_ms()
    };
    Left {
        quota,
        a_minute: pace.burst,
        requests,
        seconds: whole_seconds(wait_ms),
        allowed,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::net::Ipv4Addr;

    const NOW: i64 = 1_700_000_000_000;

    fn client(number: u32) -> IpAddr {
        Ipv4Addr::from(number).into()
    }

    #[test]
    fn a_minutes_worth_may_come_at_once_and_comes_back_evenly() {
        let mut requests = Requests::new(600).unwrap();
        let mut take = |now_ms| requests.take(client(1), Quota::Reading, now_ms);
        for n_taken in 1..=600 {
            let left = take(NOW);
            assert!(left.allowed);
            assert_eq!(left.requests, 600 - n_taken);
        }
        let refused = Left {
            quota: Quota::Reading,
            a_minute: 600,
            requests: 0,
            seconds: 1,
            allowed: false,
        };
        assert_eq!(take(NOW), refused);
        assert_eq!(take(NOW + 99), refused);
        assert!(take(NOW + 100).allowed);
        assert!(!take(NOW + 100).allowed);
        let later = take(NOW + 100 + MINUTE_MS);
        assert_eq!((later.allowed, later.requests), (true, 599));
        assert_eq!(later.seconds, 1, "one request comes back within a second");
    }

    #[test]
    fn writing_has_a_lower_quota_of_its_own() {
        let mut requests = Requests::new(50).unwrap();
        let writes = (0..100).filter(|_| requests.take(client(1), Quota::Writing, NOW).allowed);
        assert_eq!(writes.count(), 10);
        let left = requests.take(client(1), Quota::Writing, NOW);
        assert_eq!((left.a_minute, left.seconds), (10, 6));
        assert_eq!(requests.take(client(1), Quota::Reading, NOW).requests, 49);
        let mut fewest = Requests::new(1).unwrap();
        assert!(fewest.take(client(1), Quota::Writing, NOW).allowed);
        assert_eq!(fewest.take(client(1), Quota::Writing, NOW).seconds, 60);
    }

    #[test]
    fn each_quota_follows_from_that_for_reading() {
        let a_minute = |reading| {
            let mut requests = Requests::new(reading).unwrap();
            [
                Quota::Pages,
                Quota::Forms,
                Quota::Plans,
                Quota::Uploads,
                Quota::Guesses,
            ]
            .map(|quota| requests.take(client(1), quota, NOW).a_minute)
        };
        assert_eq!(a_minute(600), [3000, 600, 60, 60, 30]);
        assert_eq!(a_minute(1), [5, 1, 1, 1, 1]);
    }

    #[test]
    fn looking_takes_nothing() {
        let mut requests = Requests::new(20).unwrap();
        for _ in 0..10 {
            assert!(requests.look(client(1), Quota::Guesses, NOW).allowed);
        }
        assert_eq!(requests.clients.buckets.len(), 0);
        assert!(requests.take(client(1), Quota::Guesses, NOW).allowed);
        assert!(!requests.look(client(1), Quota::Guesses, NOW).allowed);
    }

    #[test]
    fn what_is_refused_takes_nothing_and_others_do_not_notice() {
        let mut requests = Requests::new(2).unwrap();
        for _ in 0..1000 {
            let _ = requests.take(client(1), Quota::Reading, NOW);
        }
        assert!(requests.take(client(2), Quota::Reading, NOW).allowed);
        let later = NOW + MINUTE_MS / 2;
        assert!(requests.take(client(1), Quota::Reading, later).allowed);
    }

    #[test]
    fn memory_is_bounded_and_full_buckets_are_forgotten() {
        let mut requests = Requests::new(600).unwrap();
        let most = u32::try_from(MOST_CLIENTS).unwrap();
        for number in 0..most + 500 {
            let left = requests.take(client(number), Quota::Reading, NOW);
            assert!(left.allowed);
        }
        assert_eq!(requests.clients.buckets.len(), MOST_CLIENTS);
        let unremembered = requests.take(client(most + 1), Quota::Reading, NOW);
        assert_eq!(unremembered.requests, 599);
        // A tenth of a second later every one of them is full again.
        let later = NOW + SWEEP_EVERY_MS;
        requests.take(client(most + 1), Quota::Reading, later);
        assert_eq!(requests.clients.buckets.len(), 1);
        assert_eq!(format!("{requests:?}"), "Requests(1 buckets)");
    }

    #[test]
    fn any_clock_and_any_limit_are_survived() {
        let mut requests = Requests::new(u32::MAX).unwrap();
        for now_ms in [NOW, i64::MAX, i64::MIN, 0, NOW] {
            assert!(requests.take(client(1), Quota::Reading, now_ms).allowed);
        }
        let left = requests.take(client(1), Quota::Reading, NOW);
        assert_eq!(left.a_minute, MOST_A_MINUTE);
        assert_eq!(Requests::new(0).unwrap().a_minute, 1);
    }
}
