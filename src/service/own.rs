//! What the holder of a receipt may do: see, mend and withdraw what was sent.

use super::screened::Arriving;
use super::{Accepted, Refused, Service, ServiceError, pair_effects, version};
use crate::clock;
use crate::contribution::Contribution;
use crate::effects::PairEffects;
use crate::findings::Row;
use crate::findings::labels::ground_label;
use crate::intake::{self, Admitted};
use crate::plan::Code;
use crate::protocol::limits;
use crate::receipt::Receipt;
use crate::screening::{self, ScreeningFlag};
use crate::store::{Held, Mended, Most, OwnContribution, StoredConsent, StoredPlan, Withdrawn};
use crate::vocabulary::{CorrectionReason, Ground, State};
use std::sync::Arc;
use uuid::Uuid;

/// Milliseconds of a day.
const DAY_MS: i64 = 86_400_000;

/// What a receipt opens in one study.
#[derive(Debug)]
pub struct Own {
    /// The public study as it was when the effects were computed.
    pub public: Arc<super::Public>,
    /// The receipt.
    pub receipt: Receipt,
    /// Everything its holder sent, in the order it came.
    pub contributions: Vec<OwnSent>,
}

/// One contribution with what its newest version says.
#[derive(Debug)]
pub struct OwnSent {
    /// What is stored.
    pub stored: OwnContribution,
    /// The newest version with its effects; `None` once it was erased.
    pub newest: Option<(Contribution, PairEffects)>,
    /// Whether it counts as planned.
    pub planned: bool,
    /// What was noticed of it, and is told.
    pub flags: Vec<ScreeningFlag>,
    /// On what ground the host does not count it.
    pub declined: Option<Ground>,
    /// What was agreed to, when that changed and when it ended.
    pub consents: Vec<StoredConsent>,
    /// The plan that the newest version names, when one was drawn with that code.
    pub plan: Option<StoredPlan>,
    /// What is public of it alone: its rows of the download.
    pub rows: Vec<Row>,
}

/// A mended contribution as it arrives.
#[derive(Clone, Copy, Debug)]
pub struct Correction<'a> {
    /// Short name of the study.
    pub study: &'a str,
    /// The receipt.
    pub receipt: &'a str,
    /// Which contribution is mended.
    pub contribution: Uuid,
    /// Why.
    pub reason: CorrectionReason,
    /// The document, whole.
    pub document: &'a [u8],
    /// The time, in milliseconds since the Unix epoch.
    pub now_ms: i64,
}

impl OwnSent {
    /// Whether and when it counts in public figures, in words.
    #[must_use]
    pub fn standing(&self) -> String {
        let mut batches = self.stored.versions.iter().map(|version| version.batch);
        let first = batches.clone().flatten().min();
        match (self.stored.state, self.stored.withdrawn_at_ms) {
            (_, Some(at_ms)) if !self.stored.removed => format!(
                "Withdrawn. It leaves the public figures with the next batch, on {} at the latest.",
                clock::date(latest_ms(at_ms))
            ),
            (State::Withdrawn, _) | (_, Some(_)) => {
                "Withdrawn. No public figure counts it, and what was sent is erased.".to_owned()
            }
            (State::Held, None) => screening::waiting_words(&self.flags),
            (State::Declined, None) => format!(
                "The host does not count it: {}.",
                self.declined.map_or("no ground is known", ground_label)
            ),
            (State::Accepted, None) => match (first, batches.next_back().flatten()) {
                (None, _) => "It waits for the next public batch.".to_owned(),
                (Some(number), Some(_)) => {
                    format!("It counts in the public figures since batch {number}.")
                }
                (Some(number), None) => format!(
                    "It counts in the public figures since batch {number}; the correction follows with the next batch."
                ),
            },
        }
    }
}

/// When a withdrawal is acted on at the latest, in milliseconds since the Unix epoch.
const fn latest_ms(at_ms: i64) -> i64 {
    at_ms + limits::WITHDRAWAL_DAYS * DAY_MS
}

impl Service {
    /// Everything that the holder of a receipt sent.
    ///
    /// # Errors
    /// [`Refused::StudyUnknown`], [`Refused::ReceiptUnknown`], or a failure of the service.
    pub fn own(&self, study: &str, receipt: &str) -> Result<Own, Refused> {
        let public = self.study(study).ok_or(Refused::StudyUnknown)?;
        let receipt = Receipt::parse(receipt).ok_or(Refused::ReceiptUnknown)?;
        let stored = self
            .store
            .own(study, &receipt.hash())
            .map_err(ServiceError::from)?
            .ok_or(Refused::ReceiptUnknown)?;
        let contributions = stored
            .into_iter()
            .map(|stored| self.own_sent(stored, &public))
            .collect::<Result<_, ServiceError>>()?;
        Ok(Own {
            public,
            receipt,
            contributions,
        })
    }

    /// Checks a mended contribution and stores it as a further version. When this returns, it is
    /// on disk. The same document again stores nothing and is answered as before.
    ///
    /// # Errors
    /// [`Refused`]; nothing is stored then.
    pub fn mend(&self, correction: &Correction<'_>) -> Result<Accepted, Refused> {
        let public = self.study(correction.study).ok_or(Refused::StudyUnknown)?;
        let receipt = Receipt::parse(correction.receipt).ok_or(Refused::ReceiptUnknown)?;
        let Admitted {
            contribution,
            flags: noticed,
        } = intake::contribution(correction.document, &public.study)?;
        let pair = pair_effects(&contribution, &public.study, &public.crowd)?;
        let held = Held {
            study: correction.study,
            receipt_hash: receipt.hash(),
            contribution: correction.contribution,
        };
        let arriving = Arriving {
            public: &public,
            sent: &contribution,
            pair: &pair,
            noticed: &noticed,
            receipt_hash: Some(receipt.hash()),
            mends: Some(correction.contribution),
        };
        let most = Most {
            versions: limits::VERSIONS_PER_CONTRIBUTION,
            bytes: limits::BYTES_PER_PLAYER,
        };
        let looked = self.look(&arriving);
        let mended = self.store.together(|writing| {
            let screened = Self::screen(writing, &arriving, looked)?;
            let document = (correction.document, correction.now_ms);
            let version = version(&public.study, &contribution, &pair, document, &screened);
            let mended = writing.mend(&held, &version, correction.reason, most);
            mended.map_err(ServiceError::from)
        })?;
        match mended {
            Mended::Stored | Mended::Unchanged => {}
            Mended::Withdrawn => return Err(Refused::AlreadyWithdrawn),
            Mended::TooManyVersions => return Err(Refused::TooManyVersions),
            Mended::Unknown => return Err(self.not_held(&held)?),
        }
        let told = self.told(
            correction.contribution,
            None,
            correction.document,
            &public.study,
        )?;
        Ok(Accepted {
            planned: told.planned,
            state: told.state,
            flags: told.flags,
            public,
            contribution: correction.contribution,
            receipt,
            repeated: mended == Mended::Unchanged,
            closed_batch: None,
            sent: contribution,
            held_receipt: true,
            corrects: true,
            pair,
        })
    }

    /// Withdraws a contribution and gives what the receipt opens then. Withdrawing it again changes
    /// nothing.
    ///
    /// # Errors
    /// [`Refused`]; nothing is changed then.
    pub fn withdraw(
        &self,
        study: &str,
        receipt: &str,
        contribution: Uuid,
        now_ms: i64,
    ) -> Result<Own, Refused> {
        let public = self.study(study).ok_or(Refused::StudyUnknown)?;
        let holder = Receipt::parse(receipt).ok_or(Refused::ReceiptUnknown)?;
        let held = Held {
            study,
            receipt_hash: holder.hash(),
            contribution,
        };
        let batch_players = public.study.protocol.batch_players;
        let withdrawn = self
            .store
            .withdraw(&held, now_ms, batch_players)
            .map_err(ServiceError::from)?;
        match withdrawn {
            Withdrawn::Unknown => return Err(self.not_held(&held)?),
            Withdrawn::Done {
                closed_batch: Some(_),
            } => self.publish_soon(study),
            Withdrawn::Done { closed_batch: None } => {}
        }
        self.own(study, receipt)
    }

    /// Acts on withdrawals that have waited as long as they may. Figures that would then differ by
    /// too few players are hidden until enough have come or gone.
    ///
    /// # Errors
    /// When the store fails.
    pub fn keep_promises(&self, now_ms: i64) -> Result<(), ServiceError> {
        let withdrawn_by = now_ms - limits::WITHDRAWAL_DAYS * DAY_MS;
        for public in self.studies() {
            let slug = &public.study.label.slug;
            if self
                .store
                .keep_promises(slug, now_ms, withdrawn_by)?
                .is_some()
            {
                self.publish_soon(slug);
            }
        }
        Ok(())
    }

    /// Why a contribution was not found: the receipt is nobody's, or it is another's contribution.
    fn not_held(&self, held: &Held<'_>) -> Result<Refused, ServiceError> {
        let own = self.store.own(held.study, &held.receipt_hash)?;
        Ok(match own {
            None => Refused::ReceiptUnknown,
            Some(_) => Refused::ContributionUnknown,
        })
    }

    fn own_sent(
        &self,
        stored: OwnContribution,
        public: &super::Public,
    ) -> Result<OwnSent, ServiceError> {
        let declined = match stored.state {
            State::Declined => self.store.newest_decision(stored.uuid)?,
            _ => None,
        }
        .map(|decision| decision.ground);
        let consents = self.store.consents_to(stored.uuid)?;
        let rows = public.rows_of(stored.uuid);
        let last = stored.versions.last();
        let Some(document) = last.and_then(|last| last.document.as_ref()) else {
            return Ok(OwnSent {
                stored,
                newest: None,
                planned: false,
                flags: Vec::new(),
                declined,
                consents,
                plan: None,
                rows,
            });
        };
        let contribution = intake::kept_contribution(document)
            .ok_or_else(|| ServiceError::Damaged(format!("contribution {}", stored.uuid)))?;
        let pair = pair_effects(&contribution, &public.study, &public.crowd)?;
        let told = self.told(stored.uuid, None, document, &public.study)?;
        let code = contribution.plan_code.as_deref().and_then(Code::parse);
        let plan = match code {
            Some(code) => self.store.plan(&public.study.label.slug, &code)?,
            None => None,
        };
        Ok(OwnSent {
            newest: Some((contribution, pair)),
            planned: told.planned,
            flags: told.flags,
            declined,
            consents,
            plan,
            rows,
            stored,
        })
    }
}
