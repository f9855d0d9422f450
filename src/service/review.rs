//! The host's part in what counts: looking at what is held, blind to its effects, and deciding.

use super::{Public, Service, ServiceError};
use crate::intake;
use crate::intake::told::{Told, beside_outcomes};
use crate::review::{BlindPair, blind};
use crate::screening::{Rule, ScreeningFlag};
use crate::store::{Decidable, Decided, NewDecision, SentFlow};
use crate::vocabulary::{Ground, Verdict};
use std::sync::Arc;
use uuid::Uuid;

/// Fewest characters of the host's own words on a decision.
pub const SHORTEST_NOTE: usize = 10;
/// Most characters of the host's own words on a decision.
pub const LONGEST_NOTE: usize = 1_000;

/// One contribution as the host may see it.
#[derive(Debug)]
pub struct Case {
    /// What is stored, with earlier decisions.
    pub stored: Decidable,
    /// The newest version without its effects; `None` once it was erased.
    pub newest: Option<BlindVersion>,
}

/// The newest version of a contribution, without its effects.
#[derive(Debug)]
pub struct BlindVersion {
    /// Its number, counted from 1.
    pub number: i64,
    /// Its figures.
    pub pair: BlindPair,
    /// What else its sender told.
    pub told: Vec<Told>,
    /// What screening found in it. That its difference lies far from what is published is among it
    /// only once something was decided.
    pub flags: Vec<ScreeningFlag>,
}

/// Everything the host may decide on in a study.
#[derive(Debug)]
pub struct Cases {
    /// The study.
    pub public: Arc<Public>,
    /// Held, the longest waiting first.
    pub waiting: Vec<Case>,
    /// Decided on, whatever became of it since.
    pub decided: Vec<Case>,
    /// What became of everything that was sent so far.
    pub flow: SentFlow,
}

/// A decision as the host makes it.
#[derive(Clone, Copy, Debug)]
pub struct Decision<'a> {
    /// Short name of the study.
    pub study: &'a str,
    /// The contribution.
    pub contribution: Uuid,
    /// The version that was looked at.
    pub version: i64,
    /// What is decided.
    pub verdict: Verdict,
    /// On what ground.
    pub ground: Ground,
    /// Why, in the host's words.
    pub note: &'a str,
    /// The time, in milliseconds since the Unix epoch.
    pub now_ms: i64,
}

/// Why nothing was decided.
#[derive(Debug, thiserror::Error)]
pub enum Undecided {
    /// No study of this name.
    #[error("there is no such study")]
    StudyUnknown,
    /// No such contribution.
    #[error("there is no such contribution in this study")]
    Unknown,
    /// Its sender withdrew it.
    #[error("its sender withdrew it, so there is nothing to decide")]
    Withdrawn,
    /// Its sender mended it while the host was looking.
    #[error("its sender mended it while you were looking: look at the newest version first")]
    NewerVersion,
    /// It is so already.
    #[error("it is decided so already")]
    AlreadySo,
    /// The ground belongs to another verdict.
    #[error("this ground does not go with this decision: choose one from the list beside it")]
    GroundOfOther,
    /// The host gave no reason.
    #[error(
        "say why in {SHORTEST_NOTE} to {LONGEST_NOTE} characters, so that the decision can be understood later"
    )]
    NoteLength,
    /// The service itself failed.
    #[error(transparent)]
    Service(#[from] ServiceError),
}

impl Service {
    /// What waits for the host and what was decided; `None` when there is no such study.
    ///
    /// # Errors
    /// When the store fails or holds something damaged.
    pub fn cases(&self, study: &str, now_ms: i64) -> Result<Option<Cases>, ServiceError> {
        let Some(public) = self.study(study) else {
            return Ok(None);
        };
        Ok(Some(Cases {
            waiting: self.opened(self.store.held(study)?)?,
            decided: self.opened(self.store.decided(study)?)?,
            flow: self.store.sent_flow(study, now_ms)?,
            public,
        }))
    }

    /// Decides on a contribution. When this returns, the decision is on disk; public figures follow
    /// with the next batch.
    ///
    /// # Errors
    /// [`Undecided`]; nothing is changed then.
    pub fn decide(&self, decision: &Decision<'_>) -> Result<(), Undecided> {
        let public = self.study(decision.study).ok_or(Undecided::StudyUnknown)?;
        if !decision.verdict.grounds().contains(&decision.ground) {
            return Err(Undecided::GroundOfOther);
        }
        let note = decision.note.trim();
        let length = note.chars().count();
        if !(SHORTEST_NOTE..=LONGEST_NOTE).contains(&length) {
            return Err(Undecided::NoteLength);
        }
        let decided = self
            .store
            .decide(&NewDecision {
                study: decision.study,
                contribution: decision.contribution,
                version: decision.version,
                verdict: decision.verdict,
                ground: decision.ground,
                note,
                now_ms: decision.now_ms,
                batch_players: public.study.protocol.batch_players,
            })
            .map_err(ServiceError::from)?;
        match decided {
            Decided::Done { closed_batch } => {
                if closed_batch.is_some() {
                    self.publish_soon(decision.study);
                }
                Ok(())
            }
            Decided::Unknown => Err(Undecided::Unknown),
            Decided::Withdrawn => Err(Undecided::Withdrawn),
            Decided::NewerVersion => Err(Undecided::NewerVersion),
            Decided::AlreadySo => Err(Undecided::AlreadySo),
        }
    }

    fn opened(&self, stored: Vec<Decidable>) -> Result<Vec<Case>, ServiceError> {
        stored
            .into_iter()
            .map(|stored| {
                let newest = self.newest(&stored)?;
                Ok(Case { stored, newest })
            })
            .collect()
    }

    fn newest(&self, stored: &Decidable) -> Result<Option<BlindVersion>, ServiceError> {
        let uuid = stored.sent.uuid;
        let newest = stored.sent.versions.last();
        let Some((number, document)) =
            newest.and_then(|version| Some((version.number, version.document.as_ref()?)))
        else {
            return Ok(None);
        };
        let contribution = intake::kept_contribution(document)
            .ok_or_else(|| ServiceError::Damaged(format!("contribution {uuid}")))?;
        let screening = self.store.screening(uuid, Some(number))?;
        let mut flags = screening.map(|kept| kept.flags).unwrap_or_default();
        let decided = stored
            .decisions
            .iter()
            .any(|decision| decision.version == number);
        flags.retain(|flag| decided || flag.rule != Rule::StatisticalOutlier);
        Ok(Some(BlindVersion {
            number,
            pair: blind(&contribution),
            told: beside_outcomes(document),
            flags,
        }))
    }
}
