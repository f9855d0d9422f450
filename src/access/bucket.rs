//! Token buckets, and those of all clients.

use super::salt::Salt;
use std::collections::BTreeMap;
use std::io;
use std::net::IpAddr;

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
    pub(super) salt: Salt,
}

impl Clients {
    /// No client yet.
    ///
    /// # Errors
    /// When the system has no randomness to give for a salt.
    pub(super) fn new() -> io::Result<Self> {
        Ok(Self {
            buckets: BTreeMap::new(),
            salt: Salt::new()?,
        })
    }

    /// What a client is known by now, for one purpose. With a new salt every client starts anew,
    /// which makes at most one burst more an hour.
    pub(super) fn key(&mut self, client: IpAddr, purpose: &[u8], now_ms: i64) -> [u8; 32] {
        if self.salt.change(now_ms) {
            self.buckets.clear();
        }
        self.salt.key(client, purpose, now_ms)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn seconds_are_rounded_up() {
        for (ms, seconds) in [(0, 0), (1, 1), (1000, 1), (1001, 2), (i64::MAX, u32::MAX)] {
            assert_eq!(whole_seconds(ms), seconds);
        }
    }
}
