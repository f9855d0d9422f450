//! Drawing and opening plans, and what is said of a contribution that names one.

use super::{Refused, Service, ServiceError};
use crate::intake::{Flag, FlagCode};
use crate::plan::{self, Code, Kind, Standing};
use crate::receipt::sha256;
use crate::store::{Drawn, NewPlan, StoredPlan};
use uuid::Uuid;

impl Service {
    /// Draws a plan, sealed. The same request key draws the same plan. When this returns, the plan
    /// is on disk.
    ///
    /// # Errors
    /// [`Refused`]; nothing is drawn then.
    pub fn draw_plan(
        &self,
        study: &str,
        kind: Kind,
        request_key: Option<&str>,
        now_ms: i64,
    ) -> Result<StoredPlan, Refused> {
        let new = NewPlan {
            study,
            kind,
            code: &fresh_code(),
            key_hash: request_key.map(|key| sha256(&[key.as_bytes()])),
            drawn_at_ms: now_ms,
            only_again: self.only_again(study)?,
        };
        let drawn = self.store.draw_plan(&new, |position| {
            plan::sequence_at(kind, position, |block| {
                self.receipt_key.plan_block(study, kind.code(), block)
            })
        });
        match drawn.map_err(ServiceError::from)? {
            Drawn::Plan(plan) => Ok(plan),
            Drawn::KeyUsedOtherwise => Err(Refused::KeyUsedOtherwise),
            Drawn::StudyUnknown => Err(Refused::StudyUnknown),
            Drawn::NotAgain => Err(Refused::NotRecruiting),
        }
    }

    /// Whether a study draws no plan that it has not drawn before.
    fn only_again(&self, study: &str) -> Result<bool, Refused> {
        match self.recruiting(study) {
            Ok(()) => Ok(false),
            Err(Refused::NotRecruiting) => Ok(true),
            Err(other) => Err(other),
        }
    }

    /// Opens a plan by its code as typed. Opening it again shows the same.
    ///
    /// # Errors
    /// [`Refused::PlanUnknown`] when no such plan was drawn in this study, or
    /// [`Refused::NotRecruiting`] once nothing can be sent under it any more.
    pub fn open_plan(&self, study: &str, typed: &str, now_ms: i64) -> Result<StoredPlan, Refused> {
        self.recruiting(study)?;
        let code = Code::parse(typed).ok_or(Refused::PlanUnknown)?;
        let opened = self.store.open_plan(study, &code, now_ms);
        opened
            .map_err(ServiceError::from)?
            .ok_or(Refused::PlanUnknown)
    }

    /// Whether a plan with this code, as typed, was drawn in a study.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn knows_plan(&self, study: &str, typed: &str) -> Result<bool, ServiceError> {
        match Code::parse(typed) {
            Some(code) => Ok(self.store.knows_plan(study, &code)?),
            None => Ok(false),
        }
    }

    fn recruiting(&self, study: &str) -> Result<(), Refused> {
        let public = self.study(study).ok_or(Refused::StudyUnknown)?;
        if public.is_recruiting() {
            Ok(())
        } else {
            Err(Refused::NotRecruiting)
        }
    }

    /// Whether a stored contribution counts as planned, and what is to be said of one that names a
    /// plan and does not.
    pub(super) fn plan_told(&self, contribution: Uuid) -> (bool, Option<Flag>) {
        let standing = self.store.standing(contribution).unwrap_or_else(|error| {
            // The contribution is stored, so its sender must not be told that it is not.
            tracing::error!(%error, "whether a contribution is planned could not be read");
            None
        });
        let (code, sentence) = match standing {
            None => return (false, None),
            Some(Standing::Planned) => return (true, None),
            Some(Standing::NotFound) => (
                FlagCode::PlanNotFound,
                "No plan with this code was drawn here; the contribution is kept as retrospective.",
            ),
            Some(Standing::NotOpened) => (
                FlagCode::PlanNotOpened,
                "This plan was still sealed, so its order cannot have been followed; the contribution is kept as retrospective.",
            ),
            Some(Standing::Used) => (
                FlagCode::PlanUsed,
                "An earlier contribution used this plan; this one is kept as retrospective. Draw a plan for every pair.",
            ),
            Some(Standing::NamedLater) => (
                FlagCode::PlanNamedLater,
                "Whether this pair counts as planned rests on the version sent first; another plan code changes nothing.",
            ),
        };
        let flag = Flag {
            pointer: "/plan_code".to_owned(),
            code,
            sentence: sentence.to_owned(),
        };
        (false, Some(flag))
    }
}

/// A code from fresh random bits.
pub(super) fn fresh_code() -> Code {
    // The low 62 bits of a version 4 UUID are random (RFC 9562, section 5.4).
    let (_, low) = Uuid::new_v4().as_u64_pair();
    Code::from_bits(low)
}
