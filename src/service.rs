//! The service: the pure core and the store put together, without HTTP.
//!
//! The server, the demo and the tests all send contributions through [`Service::submit`]. What
//! the public may see is computed once per batch and kept ready ([`Public`]).

mod cards;
mod consent;
mod counted;
mod counts;
mod differencing;
mod errors;
mod host;
mod in_units;
mod invitations;
mod life;
mod opening;
mod own;
mod package;
mod plans;
mod public;
mod publishing;
mod query;
mod readiness;
mod ready;
mod release;
mod review;
mod screened;
mod under_way;

pub use cards::CardFile;
pub use consent::{consent_hash, told_consent};
pub use counted::{number_players, read_back};
pub use counts::{BackupCounts, Counts, Published as PublishedCounts};
pub use errors::{Refused, ServiceError};
pub use host::{SignIn, SignedIn};
pub use life::{Life, NotChanged, ProtocolVersion, REASON_CHARACTERS};
pub use own::{Correction, Own, OwnSent};
pub use public::Public;
pub use query::{NotAsked, Turn};
pub use readiness::NotReady;
#[cfg(test)]
pub(crate) use ready::Extent;
pub use ready::{Inflating, Ready};
pub use release::{Draft, Frozen, NotReleased, Published, Wanted};
pub use review::{BlindVersion, Case, Cases, Decision, LONGEST_NOTE, SHORTEST_NOTE, Undecided};
pub use under_way::Claim;

use crate::contribution::Contribution;
use crate::effects::spread::CrowdSpread;
use crate::effects::{self, PairEffects};
use crate::intake::{self, Admitted};
use crate::protocol::{Study, limits};
use crate::receipt::{Receipt, ReceiptKey, sha256};
use crate::screening::ScreeningFlag;
use crate::store::{
    InvitationHash, NewContribution, Recorded, RequestKey, Screened, Sender, Store, Version,
    Writing,
};
use crate::vocabulary::State;
use screened::Arriving;
use std::collections::BTreeMap;
use std::fs::File;
use std::sync::{Arc, Mutex, PoisonError, RwLock};
use uuid::Uuid;

/// A contribution as it arrives.
#[derive(Clone, Copy, Debug)]
pub struct Incoming<'a> {
    /// Short name of the study.
    pub study: &'a str,
    /// The document.
    pub document: &'a [u8],
    /// The Idempotency-Key.
    pub request_key: Option<&'a str>,
    /// The receipt of an earlier contribution by the same player.
    pub receipt: Option<&'a str>,
    /// The time, in milliseconds since the Unix epoch.
    pub now_ms: i64,
}

/// What the sender of a contribution gets.
#[derive(Debug)]
pub struct Accepted {
    /// The public study as it was when the effects were computed.
    pub public: Arc<Public>,
    /// The contribution.
    pub contribution: Uuid,
    /// The player's receipt.
    pub receipt: Receipt,
    /// Whether this very request had been received before.
    pub repeated: bool,
    /// The public batch that it closed.
    pub closed_batch: Option<i64>,
    /// What was sent, as it is computed on.
    pub sent: Contribution,
    /// Whether the sender held the receipt already.
    pub held_receipt: bool,
    /// Whether it mends what was sent before.
    pub corrects: bool,
    /// Whether it counts as planned.
    pub planned: bool,
    /// Its effects.
    pub pair: PairEffects,
    /// Its state: held when it waits for the host.
    pub state: State,
    /// What was noticed, and is told.
    pub flags: Vec<ScreeningFlag>,
}

/// The running service.
#[derive(Debug)]
pub struct Service {
    store: Store,
    receipt_key: ReceiptKey,
    door: host::Door,
    studies: RwLock<BTreeMap<String, Arc<Public>>>,
    /// Locked while the process lives, because public figures in memory would not see what
    /// another process writes.
    _folder_lock: Option<File>,
    publisher: publishing::Publisher,
    /// Held while a study is amended, opened or closed.
    changing: Mutex<()>,
    releases: release::Desk,
    turns: query::Turns,
    under_way: under_way::UnderWay,
    readiness: readiness::Readiness,
    by_invitation: invitations::ByInvitation,
    tally: counts::Tally,
}

impl Service {
    /// The store, for export.
    #[must_use]
    pub const fn store(&self) -> &Store {
        &self.store
    }

    /// Every study that is or was recruiting, with its public figures, by name.
    #[must_use]
    pub fn studies(&self) -> Vec<Arc<Public>> {
        let studies = self.studies.read().unwrap_or_else(PoisonError::into_inner);
        studies.values().map(Arc::clone).collect()
    }

    /// One study with its public figures; `None` for a draft, which the public does not see.
    #[must_use]
    pub fn study(&self, slug: &str) -> Option<Arc<Public>> {
        let studies = self.studies.read().unwrap_or_else(PoisonError::into_inner);
        studies.get(slug).map(Arc::clone)
    }

    /// Checks a contribution, stores it and answers with its effects. When this returns, the
    /// contribution is on disk.
    ///
    /// # Errors
    /// [`Refused`]; nothing is stored then.
    pub fn submit(&self, incoming: &Incoming<'_>) -> Result<Accepted, Refused> {
        self.submit_invited(incoming, None)
    }

    /// As [`Service::submit`], with the invitation that was typed, which a study may need.
    ///
    /// # Errors
    /// [`Refused`]; nothing is stored then.
    pub fn submit_invited(
        &self,
        incoming: &Incoming<'_>,
        invitation: Option<&str>,
    ) -> Result<Accepted, Refused> {
        let received = self.receive_invited(incoming, invitation);
        self.tally.received(&received);
        let accepted = received?;
        if accepted.closed_batch.is_some() {
            self.publish_soon(&accepted.public.study.label.slug);
        }
        Ok(accepted)
    }

    /// As [`Service::submit`], but a batch that closes is not published: for many contributions in
    /// a row, after which [`Service::publish`] is called once.
    ///
    /// # Errors
    /// [`Refused`]; nothing is stored then.
    pub fn receive(&self, incoming: &Incoming<'_>) -> Result<Accepted, Refused> {
        self.receive_invited(incoming, None)
    }

    fn receive_invited(
        &self,
        incoming: &Incoming<'_>,
        invitation: Option<&str>,
    ) -> Result<Accepted, Refused> {
        let public = self.study(incoming.study).ok_or(Refused::StudyUnknown)?;
        let request = request_key(incoming);
        if let Some(request) = &request
            && let Some(earlier) = self.earlier(incoming.study, request)?
        {
            return self.answer_again(incoming, public, earlier);
        }
        if !public.is_recruiting() {
            return Err(Refused::NotRecruiting);
        }
        let Admitted {
            contribution: sent,
            flags: noticed,
        } = intake::contribution(incoming.document, &public.study)?;
        let pair = pair_effects(&sent, &public.study, &public.crowd)?;
        let sender = self.sender(incoming)?;
        let invitation = self.invitation(incoming, invitation)?;
        let arriving = Arriving {
            public: &public,
            sent: &sent,
            pair: &pair,
            noticed: &noticed,
            receipt_hash: incoming.receipt.map(|_| sender.receipt_hash()),
            mends: None,
        };
        let looked = self.look(&arriving);
        let recorded = self.store.together(|writing| {
            let screened = Self::screen(writing, &arriving, looked)?;
            let document = (incoming.document, incoming.now_ms);
            let version = version(&public.study, &sent, &pair, document, &screened);
            let from = (sender, invitation);
            let recorded = record(writing, &public.study, from, request, version)?;
            Ok((recorded, screened))
        });
        let (recorded, screened) = recorded.map_err(Refused::Service)?;
        let (contribution, player, closed_batch) = match recorded {
            Recorded::Stored {
                contribution,
                player,
                closed_batch,
            } => (contribution, player, closed_batch),
            // Another thread stored the same request in between.
            other => return self.answer_again(incoming, public, other),
        };
        let told = self.told_now(contribution, &arriving, screened);
        Ok(Accepted {
            planned: told.planned,
            state: told.state,
            flags: told.flags,
            public,
            contribution,
            receipt: self.receipt_key.receipt(player),
            repeated: false,
            closed_batch,
            sent,
            held_receipt: incoming.receipt.is_some(),
            corrects: false,
            pair,
        })
    }

    fn earlier(&self, study: &str, request: &RequestKey) -> Result<Option<Recorded>, ServiceError> {
        Ok(self.store.earlier(study, request)?)
    }

    /// The answer to a request that was stored before, or cannot be stored. The document was
    /// admitted then, whatever the rules say now.
    fn answer_again(
        &self,
        incoming: &Incoming<'_>,
        public: Arc<Public>,
        recorded: Recorded,
    ) -> Result<Accepted, Refused> {
        let (contribution, player) = match recorded {
            Recorded::Repeated {
                contribution,
                player,
            }
            | Recorded::Stored {
                contribution,
                player,
                ..
            } => (contribution, player),
            Recorded::Erased => return Err(Refused::AlreadyWithdrawn),
            Recorded::KeyUsedOtherwise => return Err(Refused::KeyUsedOtherwise),
            Recorded::ReceiptUnknown => return Err(Refused::ReceiptUnknown),
            Recorded::InvitationUnknown => return Err(Refused::InvitationUnknown),
            Recorded::TooManyPairs => return Err(Refused::TooManyPairs),
            Recorded::StudyUnknown => return Err(Refused::StudyUnknown),
        };
        let kept = intake::kept_contribution(incoming.document)
            .ok_or_else(|| ServiceError::Damaged(format!("contribution {contribution}")))?;
        let told = self.told(contribution, Some(1), incoming.document, &public.study)?;
        Ok(Accepted {
            planned: told.planned,
            state: told.state,
            flags: told.flags,
            pair: pair_effects(&kept, &public.study, &public.crowd)?,
            public,
            contribution,
            receipt: self.receipt_key.receipt(player),
            repeated: true,
            closed_batch: None,
            sent: kept,
            held_receipt: incoming.receipt.is_some(),
            corrects: false,
        })
    }

    /// Who sends it: the holder of its receipt, or somebody new.
    fn sender(&self, incoming: &Incoming<'_>) -> Result<Sender, Refused> {
        Ok(match incoming.receipt {
            None => self.new_player(),
            Some(text) => Sender::Holder {
                receipt_hash: Receipt::parse(text).ok_or(Refused::ReceiptUnknown)?.hash(),
            },
        })
    }

    fn new_player(&self) -> Sender {
        let player = Uuid::new_v4();
        Sender::New {
            player,
            receipt_hash: self.receipt_key.receipt(player).hash(),
        }
    }
}

fn record(
    writing: &Writing<'_>,
    study: &Study,
    (sender, invitation): (Sender, Option<InvitationHash>),
    request: Option<RequestKey>,
    version: Version<'_>,
) -> Result<Recorded, ServiceError> {
    Ok(writing.submit(&NewContribution {
        study: &study.label.slug,
        uuid: Uuid::now_v7(),
        sender,
        invitation,
        request,
        state: version.screened.state(),
        version,
        pairs_per_player: limits::PAIRS_PER_PLAYER,
        bytes_per_player: limits::BYTES_PER_PLAYER,
        batch_players: study.protocol.batch_players,
    })?)
}

/// What is stored of a document that passed intake.
fn version<'a>(
    study: &Study,
    contribution: &'a Contribution,
    pair: &PairEffects,
    (document, received_at_ms): (&'a [u8], i64),
    screened: &'a Screened,
) -> Version<'a> {
    Version {
        received_at_ms,
        protocol_version: study.protocol.version,
        consent_scope: contribution.consent_scope,
        consent_text_version: &contribution.consent_text_version,
        consent_text_sha256: consent_hash(study),
        plan_code: contribution.plan_code.as_deref(),
        gap_nanograms: pair.gap.nanograms(),
        document,
        screened,
    }
}

/// What makes two requests the same: the key, and what was sent under it.
fn request_key(incoming: &Incoming<'_>) -> Option<RequestKey> {
    // However it was typed, it is the same receipt.
    let receipt = incoming.receipt.map_or_else(Vec::new, |text| {
        Receipt::parse(text).map_or_else(
            || text.as_bytes().to_vec(),
            |receipt| receipt.hash().to_vec(),
        )
    });
    incoming.request_key.map(|key| RequestKey {
        key_hash: sha256(&[key.as_bytes()]),
        request_hash: sha256(&[incoming.document, &receipt]),
    })
}

/// The effects of a contribution that passed intake.
///
/// # Errors
/// When an arm is absent, which intake refuses, so that a defect shows as such.
pub fn pair_effects(
    contribution: &Contribution,
    study: &Study,
    crowd: &CrowdSpread,
) -> Result<PairEffects, ServiceError> {
    effects::of_pair(contribution, &study.protocol, crowd)
        .ok_or_else(|| ServiceError::Damaged("contribution, which lacks an arm,".to_owned()))
}
