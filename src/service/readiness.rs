//! Whether the service could take a contribution now.
//!
//! Found out by doing it: a small write is made and synced as a contribution would be, at most
//! every two seconds, whoever asks how often.

use super::Service;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Mutex, PoisonError};

/// For how long the outcome of a trial write is taken for the truth.
const TRIED_EVERY_MS: i64 = 2_000;

/// Least room on the disk, in bytes: a contribution of 256 KiB is written to the log and then to
/// the database, and several may come at once (ours).
const LEAST_ROOM: u64 = 4 * 1024 * 1024;

/// Why no contribution could be taken now.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum NotReady {
    /// The process was told to stop.
    #[error("the service is being stopped")]
    Stopping,
    /// A trial write failed.
    #[error("the database takes no writes")]
    NoWrites,
    /// The disk is nearly full.
    #[error("the disk that holds the data has less than {} MiB left", LEAST_ROOM / 1024 / 1024)]
    NoRoom,
    /// Some studies have no public figures.
    #[error("the figures of {} cannot be made", .0.join(", "))]
    NoFigures(Vec<String>),
}

/// What is known of readiness.
#[derive(Debug, Default)]
pub(super) struct Readiness {
    stopping: AtomicBool,
    /// When a write was last tried, and what became of it.
    tried: Mutex<Option<(i64, Result<(), NotReady>)>>,
}

impl Service {
    /// Says that the process is about to stop: it is not ready from now on. Requests are answered as
    /// ever.
    pub fn stop_soon(&self) {
        self.readiness.stopping.store(true, Ordering::Relaxed);
    }

    /// Whether a contribution could be taken and counted now.
    ///
    /// # Errors
    /// [`NotReady`], the first reason that is found.
    pub fn readiness(&self, now_ms: i64) -> Result<(), NotReady> {
        if self.readiness.stopping.load(Ordering::Relaxed) {
            return Err(NotReady::Stopping);
        }
        self.writes(now_ms)?;
        self.has_figures()
    }

    /// Whether the database takes a synced write, as it was found within the last seconds.
    fn writes(&self, now_ms: i64) -> Result<(), NotReady> {
        let tried = &self.readiness.tried;
        let mut tried = tried.lock().unwrap_or_else(PoisonError::into_inner);
        match &*tried {
            Some((at_ms, outcome)) if (*at_ms..*at_ms + TRIED_EVERY_MS).contains(&now_ms) => {
                outcome.clone()
            }
            _ => {
                let outcome = self.try_to_write(now_ms);
                *tried = Some((now_ms, outcome.clone()));
                outcome
            }
        }
    }

    fn try_to_write(&self, now_ms: i64) -> Result<(), NotReady> {
        let room = self.store.room();
        let written = self.store.try_to_write(now_ms);
        if let Err(error) = &written {
            tracing::error!(%error, "a trial write failed");
        }
        written.map_err(|_| NotReady::NoWrites)?;
        match room {
            Some(room) if room < LEAST_ROOM => Err(NotReady::NoRoom),
            _ => Ok(()),
        }
    }

    /// Whether every study that was opened shows what there is to show.
    fn has_figures(&self) -> Result<(), NotReady> {
        let without = self.not_published();
        if without.is_empty() {
            Ok(())
        } else {
            Err(NotReady::NoFigures(without))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn who_is_told_to_stop_is_not_ready() {
        let service = Service::in_memory().unwrap();
        assert_eq!(service.readiness(0), Ok(()));
        service.stop_soon();
        assert_eq!(service.readiness(1), Err(NotReady::Stopping));
    }

    #[test]
    fn a_trial_is_believed_for_two_seconds_and_not_before_it_was_made() {
        let service = Service::in_memory().unwrap();
        assert_eq!(service.readiness(10_000), Ok(()));
        let tried_at = || service.readiness.tried.lock().unwrap().as_ref().unwrap().0;
        for (now_ms, expected) in [(11_999, 10_000), (12_000, 12_000), (11_000, 11_000)] {
            assert_eq!(service.readiness(now_ms), Ok(()));
            assert_eq!(tried_at(), expected, "{now_ms}");
        }
    }
}
