//! Releases: what is public now, frozen under a number.
//!
//! A release is made from the public batch in force. Its document is stored in its canonical form and
//! never again made anew: whoever reads a release gets those bytes, and pages and pictures of it are
//! made from them by the engine that made them ([`Frozen`]).

mod frozen;

pub use frozen::Frozen;

use super::{Public, Ready, Service, ServiceError};
use crate::clock;
use crate::findings::Findings;
use crate::pages::Hidden;
use crate::protocol::Hosting;
use crate::receipt::sha256_of;
use crate::release::{
    self, Changes, Moment, ProtocolChange, ProtocolRecord, PublicUrl, Release, ReleaseKind,
    ReleaseTerms, Software, Stated,
};
use crate::store::{NewRelease, StoredRelease};
use crate::wire;
use frozen::Kept;
use std::sync::{Arc, Mutex, OnceLock, PoisonError};

/// Most characters of what a host writes about a release; the schema has the same bound.
const LONGEST_WORDS: usize = 1_000;

/// What releases need beside the store.
#[derive(Debug, Default)]
pub(super) struct Desk {
    /// Shared with what is public, whose pages tell it.
    pub(super) public_url: Arc<OnceLock<PublicUrl>>,
    /// Held while a release is made, so that each knows the one before it.
    one_at_a_time: Mutex<()>,
    kept: Kept<Frozen>,
    files: Kept<Ready>,
}

/// What a host asks for.
#[derive(Clone, Copy, Debug, Default)]
pub struct Wanted<'a> {
    /// What was wrong with the last release, when this one is to correct it.
    pub correction: Option<&'a str>,
    /// What the host has to say of it.
    pub note: Option<&'a str>,
    /// The number that it is expected to have. When it would be another, somebody has published in
    /// between, and nothing is done.
    pub number: Option<i64>,
}

/// A release as it would be, or is.
#[derive(Debug)]
pub struct Draft {
    /// What it is made from.
    pub release: Release,
    /// What is found in it.
    pub findings: Findings,
    /// Its document in canonical form.
    pub document: Vec<u8>,
    /// SHA-256 of the document.
    pub sha256: [u8; 32],
}

/// A release that was made.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Published {
    /// Its number.
    pub number: i64,
    /// What it is to the ones before it.
    pub kind: ReleaseKind,
    /// Its permanent address.
    pub address: String,
    /// SHA-256 of its document.
    pub sha256: [u8; 32],
}

/// Why no release was made.
#[derive(Debug, thiserror::Error)]
pub enum NotReleased {
    /// No study of this name.
    #[error("there is no such study")]
    StudyUnknown,
    /// The service does not know its own address.
    #[error(
        "a release carries its permanent address, and this service does not know its own: say --public-url https://…, or set TAUTPOOL_PUBLIC_URL"
    )]
    NoPublicUrl,
    /// The host has not settled on what terms.
    #[error(
        "a release names who publishes, a contact, a privacy notice and a data licence: add {0} to the study first"
    )]
    NoTerms(&'static str),
    /// There is no public batch yet.
    #[error("nothing is public yet: a release is made from the first public batch on")]
    NothingPublic,
    /// Figures are hidden.
    #[error(
        "the figures are hidden because sessions were withdrawn: release again once enough players have come or gone"
    )]
    Hidden,
    /// Figures could not be made.
    #[error("the figures cannot be made from what is stored: the log says why")]
    NotMade,
    /// Figures are being made.
    #[error(
        "the figures are being made, because the service was started anew: release again in some minutes"
    )]
    BeingMade,
    /// Nothing is different from the last release.
    #[error(
        "nothing has changed since release {0}: a further release waits for a new public batch, unless it corrects that one"
    )]
    NothingNew(i64),
    /// There is no release to correct.
    #[error("there is no release yet, so there is none to correct")]
    NothingToCorrect,
    /// A correction does not say what was wrong.
    #[error("say what was wrong with the last release")]
    NoReason,
    /// What the host wrote is too long or holds control characters.
    #[error("write at most {LONGEST_WORDS} characters, without control characters")]
    Words,
    /// Another release was made in between.
    #[error("release {0} was published in the meantime: look at it before you publish another")]
    Overtaken(i64),
    /// The service failed.
    #[error(transparent)]
    Service(#[from] ServiceError),
}

impl From<crate::store::StoreError> for NotReleased {
    fn from(error: crate::store::StoreError) -> Self {
        Self::Service(error.into())
    }
}

impl Service {
    /// Says under which address the service is reached from outside. The first word holds.
    pub fn reached_at(&self, public_url: PublicUrl) {
        let _ = self.releases.public_url.set(public_url);
    }

    /// Under which address the service is reached from outside, where that was said.
    #[must_use]
    pub fn public_url(&self) -> Option<&PublicUrl> {
        self.releases.public_url.get()
    }

    /// Makes a release. When this returns, it is on disk.
    ///
    /// # Errors
    /// [`NotReleased`]; nothing is made then.
    pub fn release(
        &self,
        slug: &str,
        wanted: &Wanted<'_>,
        now_ms: i64,
    ) -> Result<Published, NotReleased> {
        let _one_at_a_time = self
            .releases
            .one_at_a_time
            .lock()
            .unwrap_or_else(PoisonError::into_inner);
        if let Some(made) = self.made_before(slug, wanted)? {
            return Ok(made);
        }
        let draft = self.draft_release(slug, wanted, now_ms)?;
        let release = draft.release;
        let added = self.store.add_release(&NewRelease {
            study: slug,
            number: release.number,
            kind: release.kind,
            reason: release.reason.as_deref(),
            address: &release.address,
            document: &draft.document,
            sha256: draft.sha256,
            made_at_ms: now_ms,
        })?;
        if !added {
            return Err(NotReleased::Overtaken(release.number));
        }
        tracing::info!(study = slug, release.number, "released");
        Ok(Published {
            number: release.number,
            kind: release.kind,
            address: release.address,
            sha256: draft.sha256,
        })
    }

    /// The newest release, where it is the very one that is wanted: somebody asks again, having
    /// missed the answer.
    fn made_before(
        &self,
        slug: &str,
        wanted: &Wanted<'_>,
    ) -> Result<Option<Published>, NotReleased> {
        let last = self.store.releases(slug)?.pop();
        let Some(last) = last.filter(|last| wanted.number == Some(last.number)) else {
            return Ok(None);
        };
        let Some(frozen) = self.frozen(slug, last.number)? else {
            return Ok(None);
        };
        let reason = wanted.correction.map(words).transpose()?.flatten();
        let note = wanted.note.map(words).transpose()?.flatten();
        let is_it = (&frozen.release.reason, &frozen.release.note) == (&reason, &note);
        Ok(is_it.then_some(Published {
            number: last.number,
            kind: last.kind,
            address: last.address,
            sha256: last.sha256,
        }))
    }

    /// The release that would be made.
    ///
    /// # Errors
    /// [`NotReleased`].
    pub fn draft_release(
        &self,
        slug: &str,
        wanted: &Wanted<'_>,
        now_ms: i64,
    ) -> Result<Draft, NotReleased> {
        let public_url = self.public_url().ok_or(NotReleased::NoPublicUrl)?;
        let public = self.study(slug).ok_or(NotReleased::StudyUnknown)?;
        let terms = terms(&public.study.hosting)?;
        match public.hidden {
            None => {}
            Some(Hidden::Renewing) => return Err(NotReleased::Hidden),
            Some(Hidden::NotMade) => return Err(NotReleased::NotMade),
            Some(Hidden::BeingMade) => return Err(NotReleased::BeingMade),
        }
        let flow = public.flow.clone().ok_or(NotReleased::NothingPublic)?;
        let last = self.store.releases(slug)?.pop();
        let number = last.as_ref().map_or(1, |last| last.number + 1);
        if wanted.number.is_some_and(|expected| expected != number) {
            return Err(NotReleased::Overtaken(number - 1));
        }
        let (kind, reason) = kind(last.as_ref(), wanted)?;
        let before = match &last {
            Some(last) => self.frozen(slug, last.number)?,
            None => None,
        };
        let followed = public.life.version(public.publication.protocol_version);
        let protocol = record(&public);
        let moment = Moment {
            number,
            kind,
            date: &clock::date(now_ms),
            players: release::players(&public.publication),
        };
        let rule = followed.study.protocol.release_rule.as_ref();
        let stated_before = before.as_ref().map(|before| before.release.stated);
        let made = Release {
            number,
            kind,
            reason,
            note: wanted.note.map(words).transpose()?.flatten(),
            published_at: clock::date_time(now_ms),
            address: public_url.release(slug, number),
            terms,
            study: (*followed.study).clone(),
            stated: Stated::at(moment, &protocol, rule, stated_before),
            protocol,
            flow,
            changes: before.as_ref().map(|before| changes(before, &public)),
            software: Software::this(),
            publication: public.publication.clone(),
            everybody: public.everybody.clone(),
        };
        if let Some(before) = &before
            && kind == ReleaseKind::Update
            && says_the_same(&before.release, &made)
        {
            return Err(NotReleased::NothingNew(before.release.number));
        }
        Ok(drafted(made, public.findings.clone()))
    }

    /// Every release of a study without its document, the first one first.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn releases(&self, slug: &str) -> Result<Vec<StoredRelease>, ServiceError> {
        Ok(self.store.releases(slug)?)
    }

    /// The document of a release that the store has, byte for byte.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn release_file(
        &self,
        slug: &str,
        release: &StoredRelease,
    ) -> Result<Arc<Ready>, ServiceError> {
        let number = release.number;
        self.releases.files.get(slug, number, || {
            let damaged = || ServiceError::Damaged(format!("release {number} of {slug}"));
            let document = self.store.release_document(slug, number)?;
            Ok(Ready::hashed(
                document.ok_or_else(damaged)?.into(),
                release.sha256,
            ))
        })
    }

    /// A release with what is found in it, made again from its bytes; `None` when there is none.
    ///
    /// # Errors
    /// When the store cannot be read, or the document is not what was stored.
    pub fn frozen(&self, slug: &str, number: i64) -> Result<Option<Arc<Frozen>>, ServiceError> {
        // What does not exist takes no place among what is kept.
        let releases = self.store.releases(slug)?;
        if !releases.iter().any(|release| release.number == number) {
            return Ok(None);
        }
        let frozen = self.releases.kept.get(slug, number, || {
            let damaged = || ServiceError::Damaged(format!("release {number} of {slug}"));
            let document = self.store.release_document(slug, number)?;
            Frozen::of(&document.ok_or_else(damaged)?)?.ok_or_else(damaged)
        });
        frozen.map(Some)
    }
}

fn drafted(release: Release, findings: Findings) -> Draft {
    let document = wire::release::document(&release, &findings);
    let document = wire::canonical(&document).into_bytes();
    Draft {
        sha256: sha256_of(&document),
        release,
        findings,
        document,
    }
}

/// On what terms a host publishes, once all of it is settled.
fn terms(hosting: &Hosting) -> Result<ReleaseTerms, NotReleased> {
    let publisher = hosting.host_name.clone();
    let licence = hosting.licence.as_ref();
    if hosting.privacy.is_none() {
        return Err(NotReleased::NoTerms("the privacy notice"));
    }
    let licence = licence.ok_or(NotReleased::NoTerms("the licence"))?;
    Ok(ReleaseTerms {
        publisher: publisher.ok_or(NotReleased::NoTerms("the host's name"))?,
        contact: hosting
            .contact
            .clone()
            .ok_or(NotReleased::NoTerms("the contact"))?,
        licence_name: licence.name.clone(),
        licence_url: licence.url.clone(),
    })
}

/// The protocol that public figures follow, with every version so far.
fn record(public: &Public) -> ProtocolRecord {
    let life = &public.life;
    let followed = life.version(public.publication.protocol_version);
    let history = life.history.iter().map(|version| ProtocolChange {
        version: version.version,
        date: clock::date(version.made_at_ms),
        reason: version.reason.clone(),
    });
    ProtocolRecord {
        document: followed.text.clone().into_bytes(),
        plan_hash_at_opening: life.plan_hash_at_opening.clone(),
        plan_hash_now: Some(followed.plan_hash.clone()),
        history: history.collect(),
    }
}

fn kind(
    last: Option<&StoredRelease>,
    wanted: &Wanted<'_>,
) -> Result<(ReleaseKind, Option<String>), NotReleased> {
    match (last, wanted.correction) {
        (None, Some(_)) => Err(NotReleased::NothingToCorrect),
        (None, None) => Ok((ReleaseKind::First, None)),
        (Some(_), None) => Ok((ReleaseKind::Update, None)),
        (Some(_), Some(reason)) => {
            let reason = words(reason)?.ok_or(NotReleased::NoReason)?;
            Ok((ReleaseKind::Correction, Some(reason)))
        }
    }
}

/// What a host wrote, on one line; `None` when it is nothing.
fn words(text: &str) -> Result<Option<String>, NotReleased> {
    let line = text.split_whitespace().collect::<Vec<_>>().join(" ");
    if LONGEST_WORDS < line.chars().count() || line.chars().any(char::is_control) {
        return Err(NotReleased::Words);
    }
    Ok((!line.is_empty()).then_some(line))
}

fn changes(before: &Frozen, now: &Public) -> Changes {
    Changes::between(
        before.release.number,
        (&before.release.publication, &before.findings),
        (&now.publication, &now.findings),
    )
}

/// Whether a release tells a reader nothing that the one before it does not.
fn says_the_same(before: &Release, now: &Release) -> bool {
    before.publication == now.publication
        && before.everybody == now.everybody
        && before.terms == now.terms
        && before.study == now.study
        && before.protocol.history == now.protocol.history
}
