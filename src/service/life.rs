//! The life of a study: a draft that nobody else sees, recruiting, closed; and its protocol, whose
//! every change after opening is a further version with a day and a reason.

use super::{Refused, Service, ServiceError};
use crate::intake::{self, Rejection};
use crate::protocol::Study;
use crate::receipt::sha256_of;
use crate::store::{NewProtocol, StoredProtocol, StoredStudy};
use crate::vocabulary::StudyState;
use crate::wire;
use crate::wire::protocol::{kept_study, plan_of_analysis};
use data_encoding::HEXLOWER;
use std::sync::{Arc, PoisonError};

/// Fewest and most characters of the reason for a change (our bounds: a few words that say
/// something, and a paragraph).
pub const REASON_CHARACTERS: (usize, usize) = (10, 500);

/// Where a study stands, and everything its protocol said.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Life {
    /// Where it stands.
    pub state: StudyState,
    /// When recruiting opened, in milliseconds since the Unix epoch.
    pub opened_at_ms: Option<i64>,
    /// When it closed.
    pub closed_at_ms: Option<i64>,
    /// SHA-256 of the analysis plan when recruiting opened, hexadecimal; `None` in a draft.
    pub plan_hash_at_opening: Option<String>,
    /// The protocol in force.
    pub newest: ProtocolVersion,
    /// Every version, the first one first, the newest one last.
    pub history: Vec<ProtocolVersion>,
}

/// One version of a protocol.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ProtocolVersion {
    /// Its number.
    pub version: i64,
    /// From when on it is in force, in milliseconds since the Unix epoch.
    pub made_at_ms: i64,
    /// Why it was made; `None` for the first.
    pub reason: Option<String>,
    /// What it says.
    pub study: Arc<Study>,
    /// The study's document as it is kept.
    pub text: String,
    /// SHA-256 of its analysis plan, hexadecimal.
    pub plan_hash: String,
}

/// Why a study was not changed.
#[derive(Debug, thiserror::Error)]
pub enum NotChanged {
    /// No study of this name.
    #[error("there is no such study")]
    StudyUnknown,
    /// The document is at fault, or lacks what recruiting cannot open without.
    #[error(transparent)]
    Document(#[from] Rejection),
    /// A change after opening without a reason that says something.
    #[error(
        "say why in {} to {} characters: contributors and readers are shown it",
        REASON_CHARACTERS.0,
        REASON_CHARACTERS.1
    )]
    ReasonMissing,
    /// The document says what the newest version says.
    #[error("nothing is changed: this is what the newest version says")]
    Unchanged,
    /// Recruiting is, or was, open already.
    #[error("recruiting was opened before")]
    OpenedBefore,
    /// Recruiting is not open.
    #[error("recruiting is not open")]
    NotOpen,
    /// The service itself failed.
    #[error(transparent)]
    Service(#[from] ServiceError),
}

impl Life {
    pub(super) fn of(stored: StoredStudy) -> Result<Self, ServiceError> {
        let damaged = || ServiceError::Damaged(format!("study {}", stored.slug));
        let history = stored.protocols.into_iter();
        let history: Option<Vec<ProtocolVersion>> = history.map(ProtocolVersion::of).collect();
        let history = history.ok_or_else(damaged)?;
        Ok(Self {
            state: stored.state,
            opened_at_ms: stored.opened_at_ms,
            closed_at_ms: stored.closed_at_ms,
            plan_hash_at_opening: stored.plan_hash.map(|hash| HEXLOWER.encode(&hash)),
            newest: history.last().cloned().ok_or_else(damaged)?,
            history,
        })
    }

    /// What the protocol said when it had this number; the newest where there was none.
    #[must_use]
    pub fn version(&self, number: i64) -> &ProtocolVersion {
        let mut history = self.history.iter();
        let found = history.find(|version| version.version == number);
        found.unwrap_or(&self.newest)
    }

    /// SHA-256 of the analysis plan in force, hexadecimal.
    #[must_use]
    pub fn plan_hash_now(&self) -> &str {
        &self.newest.plan_hash
    }

    /// Whether a version has another analysis plan than there was when recruiting opened.
    #[must_use]
    pub fn is_plan_changed(&self, version: &ProtocolVersion) -> bool {
        let opening = self.plan_hash_at_opening.as_ref();
        opening.is_some_and(|opening| *opening != version.plan_hash)
    }
}

impl ProtocolVersion {
    /// `None` when the document is not what was kept.
    fn of(stored: StoredProtocol) -> Option<Self> {
        let study = intake::study(&stored.document).ok()?;
        Some(Self {
            version: stored.version,
            made_at_ms: stored.made_at_ms,
            reason: stored.reason,
            text: String::from_utf8(stored.document).ok()?,
            plan_hash: HEXLOWER.encode(&plan_hash(&study)),
            study: Arc::new(study),
        })
    }
}

/// SHA-256 of a study's analysis plan as canonical JSON (RFC 8785).
fn plan_hash(study: &Study) -> [u8; 32] {
    sha256_of(wire::canonical(&plan_of_analysis(&study.protocol)).as_bytes())
}

/// A checked document as it is kept. It passed intake, so it is JSON.
fn kept(document: &[u8], version: i64) -> Result<String, ServiceError> {
    let document = serde_json::from_slice(document)
        .map_err(|_| ServiceError::Damaged("study, which is no JSON,".to_owned()))?;
    Ok(kept_study(document, version))
}

/// A reason on one line; `None` when it is too short or too long.
fn reason_given(reason: Option<&str>) -> Option<String> {
    let words: Vec<&str> = reason?.split_whitespace().collect();
    let reason = words.join(" ");
    let (fewest, most) = REASON_CHARACTERS;
    (fewest..=most)
        .contains(&reason.chars().count())
        .then_some(reason)
}

impl Service {
    /// Adds a study from the host's document, as a draft.
    ///
    /// # Errors
    /// When the document is at fault, the name is taken or the store fails.
    pub fn add_study(&self, document: &[u8], now_ms: i64) -> Result<Arc<Study>, Refused> {
        let study = Arc::new(intake::study(document)?);
        self.store
            .add_study(&study.label.slug, kept(document, 1)?.as_bytes(), now_ms)
            .map_err(ServiceError::from)?;
        Ok(study)
    }

    /// Every study with where it stands, drafts among them, in the order they were added.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn desk(&self) -> Result<Vec<Life>, ServiceError> {
        self.store.studies()?.into_iter().map(Life::of).collect()
    }

    /// Where one study stands; `None` when there is none of this name.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn life(&self, slug: &str) -> Result<Option<Life>, ServiceError> {
        self.store.stored_study(slug)?.map(Life::of).transpose()
    }

    /// When each player of a study first sent something, in milliseconds since the Unix epoch,
    /// ascending.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn arrivals(&self, slug: &str) -> Result<Vec<i64>, ServiceError> {
        Ok(self.store.arrivals(slug)?)
    }

    /// Changes a study. A draft is replaced. Once recruiting was opened, a further version is made,
    /// which needs a reason: intake and consent follow it at once, figures from the next batch on. The
    /// newest version asked for once more, for the same reason, changes nothing.
    ///
    /// # Errors
    /// [`NotChanged`]; nothing is changed then.
    pub fn amend(
        &self,
        slug: &str,
        document: &[u8],
        reason: Option<&str>,
        now_ms: i64,
    ) -> Result<Life, NotChanged> {
        let _one_at_a_time = self.changing();
        let before = self.life(slug)?.ok_or(NotChanged::StudyUnknown)?;
        let is_draft = before.state == StudyState::Draft;
        let history: Vec<&Study> = before.history.iter().map(|then| &*then.study).collect();
        let mut after = intake::amended_study(document, &history, !is_draft)?;
        // Whatever number the document has, the service gives it its own.
        after.protocol.version = before.newest.study.protocol.version;
        if after == *before.newest.study {
            // In the same words it is asked for again, by somebody who got no answer.
            let made = &before.newest.reason;
            let is_again = made.is_some() && *made == reason_given(reason);
            return if is_again {
                Ok(before)
            } else {
                Err(NotChanged::Unchanged)
            };
        }
        let changed = if is_draft {
            let text = kept(document, before.newest.version)?;
            self.store.replace_draft(slug, text.as_bytes(), now_ms)
        } else {
            let version = before.newest.version + 1;
            let reason = reason_given(reason).ok_or(NotChanged::ReasonMissing)?;
            let text = kept(document, version)?;
            let new = NewProtocol {
                version,
                document: text.as_bytes(),
                made_at_ms: now_ms,
                reason: &reason,
            };
            self.store.add_protocol(slug, &new)
        };
        self.after(slug, changed.map_err(ServiceError::from)?)
    }

    /// Opens recruiting and freezes the analysis plan by its hash.
    ///
    /// # Errors
    /// [`NotChanged`]; [`NotChanged::Document`] names what is missing.
    pub fn open_recruiting(&self, slug: &str, now_ms: i64) -> Result<Life, NotChanged> {
        let _one_at_a_time = self.changing();
        let life = self.life(slug)?.ok_or(NotChanged::StudyUnknown)?;
        if life.state != StudyState::Draft {
            return Err(NotChanged::OpenedBefore);
        }
        let study = &life.newest.study;
        intake::ready_to_recruit(study)?;
        let opened = self.store.open_recruiting(slug, &plan_hash(study), now_ms);
        self.after(slug, opened.map_err(ServiceError::from)?)
    }

    /// Closes recruiting: no further contribution is taken and no plan drawn. Receipts open what they
    /// opened, and figures stay.
    ///
    /// # Errors
    /// [`NotChanged`].
    pub fn close_recruiting(&self, slug: &str, now_ms: i64) -> Result<Life, NotChanged> {
        let _one_at_a_time = self.changing();
        let life = self.life(slug)?.ok_or(NotChanged::StudyUnknown)?;
        if life.state != StudyState::Recruiting {
            return Err(NotChanged::NotOpen);
        }
        let closed = self.store.close_recruiting(slug, now_ms);
        self.after(slug, closed.map_err(ServiceError::from)?)
    }

    /// Keeps the hash of a study that was opened before hashes were kept. It could not be changed
    /// then, so its plan now is its plan at opening.
    pub(super) fn keep_plan_hash(&self, stored: &StoredStudy) -> Result<(), ServiceError> {
        if stored.plan_hash.is_none()
            && stored.state != StudyState::Draft
            && let Some(life) = self.life(&stored.slug)?
        {
            let hash = plan_hash(&life.newest.study);
            self.store.keep_plan_hash(&stored.slug, &hash)?;
        }
        Ok(())
    }

    /// Held while one study's life is changed, so that nothing happens between looking and writing.
    fn changing(&self) -> std::sync::MutexGuard<'_, ()> {
        self.changing.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Where a study stands after it was changed, which the public sees from now on.
    fn after(&self, slug: &str, changed: bool) -> Result<Life, NotChanged> {
        let life = self.life(slug)?.filter(|_| changed);
        let life = life.ok_or_else(|| ServiceError::Damaged(format!("study {slug}")))?;
        self.publish(slug)?;
        Ok(life)
    }
}
