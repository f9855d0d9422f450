//! What happened since the start, counted for whoever runs the service.
//!
//! The public is told of players in steps only, so these counts leave through no public door.

use super::{Accepted, Refused, Service};
use crate::vocabulary::State;
use std::collections::BTreeMap;
use std::sync::{Mutex, MutexGuard, PoisonError};
use std::time::Duration;

/// What is counted.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Counts {
    /// New contributions that count with the next batch.
    pub stored: u64,
    /// New contributions that wait for the host.
    pub held: u64,
    /// Requests for something that was received before.
    pub repeated: u64,
    /// Contributions that were not taken.
    pub refused: u64,
    /// Making public figures, by study.
    pub published: BTreeMap<String, Published>,
    /// Backups by schedule; `None` where there is none.
    pub backups: Option<BackupCounts>,
}

/// What became of making the public figures of a study.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Published {
    /// How often they were made.
    pub n_made: u64,
    /// How often they could not be made.
    pub n_failed: u64,
    /// How long it took the last time.
    pub took: Duration,
    /// When they were last made, in milliseconds since the Unix epoch.
    pub made_at_ms: Option<i64>,
    /// Whether they could not be made the last time.
    pub is_missing: bool,
}

/// What became of backups by schedule.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct BackupCounts {
    /// When the newest was made, in milliseconds since the Unix epoch.
    pub newest_at_ms: Option<i64>,
    /// How often a look at the schedule failed.
    pub n_failed: u64,
}

/// The counts of a service.
#[derive(Debug, Default)]
pub(super) struct Tally(Mutex<Counts>);

impl Tally {
    fn counts(&self) -> MutexGuard<'_, Counts> {
        // What is counted is whole whoever held the lock before.
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }

    pub(super) fn received(&self, received: &Result<Accepted, Refused>) {
        let mut counts = self.counts();
        let count = match received {
            Ok(accepted) if accepted.repeated => &mut counts.repeated,
            Ok(accepted) if accepted.state == State::Held => &mut counts.held,
            Ok(_) => &mut counts.stored,
            Err(_) => &mut counts.refused,
        };
        *count += 1;
    }

    pub(super) fn published(&self, study: &str, took: Duration, is_made: bool, now_ms: i64) {
        let mut counts = self.counts();
        let published = counts.published.entry(study.to_owned()).or_default();
        published.took = took;
        published.is_missing = !is_made;
        if is_made {
            published.n_made += 1;
            published.made_at_ms = Some(now_ms);
        } else {
            published.n_failed += 1;
        }
    }
}

impl Service {
    /// What happened since the start, exactly; not for the public.
    #[must_use]
    pub fn counts(&self) -> Counts {
        self.tally.counts().clone()
    }

    /// Takes note of a look at the schedule of backups: when the newest one was made, as far as that
    /// is known, and whether the look failed.
    pub fn note_backups(&self, newest_at_ms: Option<i64>, has_failed: bool) {
        let mut counts = self.tally.counts();
        let backups = counts.backups.get_or_insert_default();
        backups.newest_at_ms = newest_at_ms.or(backups.newest_at_ms);
        backups.n_failed += u64::from(has_failed);
    }
}
