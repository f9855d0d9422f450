//! Making anew what the public sees: when, by whom, and what happens when it fails.
//!
//! A server has one thread for it ([`Service::keep_publishing`]), so that whoever closes a batch does
//! not pay for everybody's figures, and batches that close meanwhile are made in one go. Without
//! that thread, as in the demo while it is filled, whoever closes a batch makes the figures.

use super::{Public, Service, ServiceError, counted};
use crate::clock;
use crate::pages::Hidden;
use crate::store::StoredStudy;
use crate::vocabulary::StudyState;
use std::collections::{BTreeMap, BTreeSet};
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

/// Longest that whoever closes a batch waits for its figures.
const WAIT: Duration = Duration::from_secs(5);

/// Contributions whose figures are made in a second or so.
const SOON_MADE: i64 = 500;

/// When the figures of studies are made that are there when the service starts.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Figures {
    /// Before it has started.
    AtOnce,
    /// Where they take long, by the thread for it, once there is one.
    WhenAttended,
}

/// After how long figures that could not be made are tried again.
const AGAIN_AFTER: Duration = Duration::from_mins(1);

/// Who makes figures, and of which studies.
#[derive(Debug, Default)]
pub(super) struct Publisher {
    /// Held while public figures of a study are made, so that an older set never replaces a newer
    /// one; each study has its own, so that none waits for another.
    turns: Mutex<BTreeMap<String, Arc<Mutex<()>>>>,
    work: Mutex<Work>,
    changed: Condvar,
}

#[derive(Debug, Default)]
struct Work {
    /// Whether there is a thread for it.
    attended: bool,
    asked: BTreeSet<String>,
    under_way: Option<String>,
    /// Studies whose figures could not be made when they were last tried.
    failed: BTreeSet<String>,
    /// Those of them that cannot be shown even without figures.
    away: BTreeSet<String>,
}

impl Publisher {
    fn work(&self) -> MutexGuard<'_, Work> {
        self.work.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn is_attended(&self) -> bool {
        self.work().attended
    }

    fn turn(&self, slug: &str) -> Arc<Mutex<()>> {
        let mut turns = self.turns.lock().unwrap_or_else(PoisonError::into_inner);
        Arc::clone(turns.entry(slug.to_owned()).or_default())
    }

    /// Asks for the figures of a study. Waits for them, but not for long, and not at all when there
    /// is other work, so that at most one request waits. `false` when there is no thread to ask.
    fn ask(&self, slug: &str) -> bool {
        let mut work = self.work();
        if !work.attended {
            return false;
        }
        let waits = work.asked.is_empty() && work.under_way.is_none();
        work.asked.insert(slug.to_owned());
        self.changed.notify_all();
        if waits {
            let is_open = |work: &mut Work| {
                work.asked.contains(slug) || work.under_way.as_deref() == Some(slug)
            };
            drop(self.changed.wait_timeout_while(work, WAIT, is_open));
        }
        true
    }

    /// Waits for the next study to make figures of.
    fn next(&self) -> String {
        let mut work = self.work();
        work.under_way = None;
        self.changed.notify_all();
        let mut again_at = Instant::now() + AGAIN_AFTER;
        loop {
            if let Some(slug) = work.asked.pop_first() {
                work.under_way = Some(slug.clone());
                return slug;
            }
            let left = again_at.saturating_duration_since(Instant::now());
            if left.is_zero() {
                again_at += AGAIN_AFTER;
                work.asked = work.failed.clone();
            } else {
                let waited = self.changed.wait_timeout(work, left);
                (work, _) = waited.unwrap_or_else(PoisonError::into_inner);
            }
        }
    }

    fn note(&self, slug: &str, is_made: bool) {
        let mut work = self.work();
        if is_made {
            work.failed.remove(slug);
            work.away.remove(slug);
        } else {
            work.failed.insert(slug.to_owned());
        }
    }
}

impl Service {
    /// Makes public figures whenever a batch has closed, for as long as the process lives. A server
    /// runs this in a thread of its own.
    pub fn keep_publishing(&self) {
        self.publisher.work().attended = true;
        loop {
            let slug = self.publisher.next();
            let made = catch_unwind(AssertUnwindSafe(|| self.publish_and_log(&slug)));
            if made.is_err() {
                self.publisher.note(&slug, false);
                tracing::error!(study = slug, "public figures could not be made: a panic");
            }
        }
    }

    /// The studies whose public figures could not be made when that was last tried. They are tried
    /// again every minute, and with every batch.
    #[must_use]
    pub fn not_published(&self) -> Vec<String> {
        self.publisher.work().failed.iter().cloned().collect()
    }

    /// Whether there is a study of this name that cannot be shown at the moment.
    #[must_use]
    pub fn is_away(&self, slug: &str) -> bool {
        self.publisher.work().away.contains(slug)
    }

    /// Publishes a batch that somebody's request closed. What was asked for is stored, so its
    /// sender is told so whatever becomes of this.
    pub(super) fn publish_soon(&self, slug: &str) {
        if !self.publisher.ask(slug) {
            self.publish_and_log(slug);
        }
    }

    fn publish_and_log(&self, slug: &str) {
        if let Err(error) = self.publish(slug) {
            tracing::error!(study = slug, %error, "public figures could not be made");
        }
    }

    /// Puts a stored study in place when the service starts. One that cannot be shown keeps no other
    /// from being served: without its figures it still takes contributions, and when not even its
    /// protocol can be read, it is away until it can.
    pub(super) fn put_up(&self, stored: &StoredStudy, figures: Figures) {
        let slug = &stored.slug;
        let begun = self.keep_plan_hash(stored);
        let made = begun.and_then(|()| match figures {
            Figures::WhenAttended if self.takes_long(slug)? => {
                self.publisher.work().asked.insert(slug.clone());
                self.show_without_figures(slug, Hidden::BeingMade)
            }
            Figures::WhenAttended | Figures::AtOnce => self.publish(slug),
        });
        let Err(error) = made else {
            return;
        };
        self.publisher.note(slug, false);
        tracing::error!(study = slug, %error, "public figures could not be made");
        if let Err(error) = self.show_without_figures(slug, Hidden::NotMade) {
            tracing::error!(study = slug, %error, "the study cannot be shown");
            if stored.state != StudyState::Draft {
                self.publisher.work().away.insert(slug.clone());
            }
        }
    }

    /// Whether its figures take so long that nobody should be kept waiting for them.
    fn takes_long(&self, slug: &str) -> Result<bool, ServiceError> {
        Ok(SOON_MADE < self.store.count_of_study(slug)?)
    }

    fn show_without_figures(&self, slug: &str, why: Hidden) -> Result<(), ServiceError> {
        let life = self.life(slug)?;
        if let Some(life) = life.filter(|life| life.state != StudyState::Draft) {
            let public_url = Arc::clone(&self.releases.public_url);
            let public = Public::without_figures(why, life, public_url)?;
            self.put_in_place(slug, public.prepared(self.publisher.is_attended())?);
        }
        Ok(())
    }

    /// Makes the public figures of a study from the store and puts them in place. Of a draft nothing
    /// is public.
    ///
    /// # Errors
    /// When the store cannot be read or the figures cannot be made.
    pub fn publish(&self, slug: &str) -> Result<(), ServiceError> {
        let turn = self.publisher.turn(slug);
        let _one_at_a_time = turn.lock().unwrap_or_else(PoisonError::into_inner);
        let began = Instant::now();
        let made = self.publish_in_turn(slug);
        self.tally
            .published(slug, began.elapsed(), made.is_ok(), clock::now_ms());
        self.publisher.note(slug, made.is_ok());
        made
    }

    fn publish_in_turn(&self, slug: &str) -> Result<(), ServiceError> {
        let life = self.life(slug)?;
        let Some(life) = life.filter(|life| life.state != StudyState::Draft) else {
            return Ok(());
        };
        let shown_now = self.study(slug);
        let newest = self.store.newest_batch(slug)?;
        let is_shown = shown_now.as_ref().is_some_and(|public| {
            let batch = public.publication.batch.as_ref();
            newest.is_some() && newest == batch.map(|batch| batch.number) && public.life == life
        });
        if is_shown {
            // Whoever waited for the turn finds that the one before has published this batch too.
            return Ok(());
        }
        let span = tracing::info_span!("publish", study = %slug);
        let _entered = span.enter();
        let counted = self.store.counted(slug, |counted| {
            counted::read(counted, &life, &self.receipt_key)
        })?;
        let batch = counted.as_ref().map(|counted| counted.batch);
        // As it was when the batch closed, so that a restart shows nothing newer.
        let (flows, before) = match batch {
            Some(batch) => (
                (
                    self.store.plan_flow(slug, Some(batch.closed_at_ms))?,
                    self.store.sent_flow(slug, batch.closed_at_ms)?,
                ),
                self.store.figures_before(slug, batch.number)?,
            ),
            None => Default::default(),
        };
        let (public, shown) = Public::new(
            life,
            counted,
            flows,
            (shown_now.as_deref(), before),
            Arc::clone(&self.releases.public_url),
        )?;
        let public = public.prepared(self.publisher.is_attended())?;
        // What is shown is remembered before anybody can see it.
        self.store.keep_figures(slug, &shown)?;
        self.put_in_place(slug, public);
        Ok(())
    }

    fn put_in_place(&self, slug: &str, public: Public) {
        self.studies
            .write()
            .unwrap_or_else(PoisonError::into_inner)
            .insert(slug.to_owned(), Arc::new(public));
    }
}
