//! A release: what one numbered publication of a study says, once and for all.
//!
//! The document of a release is made from a [`Release`] and nothing else (`wire::release`), and
//! read back into one (`intake::release`), so whoever has the document can make every word and
//! every figure of it again. What its figures rest on is its [`Publication`]; figures over
//! everybody, counts of people and changes since the release before are taken as they stand.
//!
//! Absent on purpose: the hash of the document, which cannot stand inside it, and whatever is said
//! of a release by a later one.

mod address;
mod changes;
mod stated;

pub use address::{NotPublic, PublicUrl, file_name};
pub use changes::{Change, Changes, Figures};
pub use stated::{Because, Moment, Stated, StatedRange, as_stated};

use crate::disclosure::Everybody;
use crate::findings::Publication;
use crate::findings::flow::ParticipantFlow;
use crate::protocol::Study;
use crate::vocabulary::word_list;

word_list! {
    /// What a release is to the ones before it.
    ReleaseKind {
        /// There is none before it.
        First = "first",
        /// It says anew what has changed since the one before.
        Update = "update",
        /// It mends a mistake of the one before.
        Correction = "correction",
    }
}

/// Everything that the document of a release is made from.
#[derive(Clone, Debug, PartialEq)]
pub struct Release {
    /// Counted from 1 within its study.
    pub number: i64,
    /// What it is to the ones before it.
    pub kind: ReleaseKind,
    /// What was wrong with the one before; in a correction only.
    pub reason: Option<String>,
    /// What the host has to say of it.
    pub note: Option<String>,
    /// When it was published, in UTC as RFC 3339 has it, to the second.
    pub published_at: String,
    /// Its permanent address.
    pub address: String,
    /// Who publishes, and on what terms.
    pub terms: ReleaseTerms,
    /// The study under the protocol that its figures follow.
    pub study: Study,
    /// That protocol's document, its history, and its plan.
    pub protocol: ProtocolRecord,
    /// Which range its sentences state.
    pub stated: Stated,
    /// What became of everybody who began.
    pub flow: ParticipantFlow,
    /// What is different from the one before; `None` in the first.
    pub changes: Option<Changes>,
    /// What made it.
    pub software: Software,
    /// What its figures are made from.
    pub publication: Publication,
    /// Figures over everybody.
    pub everybody: Vec<Everybody>,
}

/// Who publishes, and on what terms.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ReleaseTerms {
    /// Who publishes, as the host wants to be called.
    pub publisher: String,
    /// How to reach the host.
    pub contact: String,
    /// The name of the data licence.
    pub licence_name: String,
    /// Where the licence's text stands.
    pub licence_url: Option<String>,
}

/// The protocol that figures follow, and what became of it since recruiting opened.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ProtocolRecord {
    /// The study with this protocol (`schema/study.v1.schema.json`), as JSON.
    pub document: Vec<u8>,
    /// SHA-256 of the analysis plan when recruiting opened, in hexadecimal; `None` when it was
    /// never frozen.
    pub plan_hash_at_opening: Option<String>,
    /// The same of the plan that this release follows.
    pub plan_hash_now: Option<String>,
    /// Every version so far, the first one first.
    pub history: Vec<ProtocolChange>,
}

impl ProtocolRecord {
    /// Whether the plan was frozen when recruiting opened and is still the same.
    #[must_use]
    pub fn plan_held(&self) -> bool {
        self.plan_hash_at_opening.is_some() && self.plan_hash_at_opening == self.plan_hash_now
    }
}

/// One version of a protocol.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ProtocolChange {
    /// Its number.
    pub version: i64,
    /// The day it came into force, as `YYYY-MM-DD` (UTC).
    pub date: String,
    /// Why it was made; `None` for the first.
    pub reason: Option<String>,
}

/// What made a release.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Software {
    /// Name of the program.
    pub name: String,
    /// Its version.
    pub version: String,
}

impl Software {
    /// This program.
    #[must_use]
    pub fn this() -> Self {
        Self {
            name: env!("CARGO_PKG_NAME").to_owned(),
            version: env!("CARGO_PKG_VERSION").to_owned(),
        }
    }
}

impl Release {
    /// The day it was published, as `YYYY-MM-DD` (UTC).
    #[must_use]
    pub fn date(&self) -> &str {
        self.published_at.split('T').next().unwrap_or_default()
    }

    /// The year it was published, of four digits.
    #[must_use]
    pub fn year(&self) -> &str {
        self.published_at.split('-').next().unwrap_or_default()
    }

    /// The number of the release that it supersedes.
    #[must_use]
    pub const fn supersedes(&self) -> Option<i64> {
        if 1 < self.number {
            Some(self.number - 1)
        } else {
            None
        }
    }

    /// The permanent address of another release of this study.
    #[must_use]
    pub fn address_of(&self, number: i64) -> String {
        let (before, _) = self.address.rsplit_once('/').unwrap_or_default();
        format!("{before}/{number}")
    }

    /// Its title.
    #[must_use]
    pub fn title(&self) -> String {
        let label = &self.publication.study;
        let mark = if label.invented {
            " (invented data)"
        } else {
            ""
        };
        format!("{}{mark}", label.question)
    }

    /// How to cite it: creator, year, title, version, publisher, kind of resource and identifier,
    /// in the order that DataCite prefers (DataCite Metadata Schema documentation, "Citation").
    #[must_use]
    pub fn citation(&self) -> String {
        let title = self.title();
        let stop = if title.ends_with(['.', '?', '!']) {
            ""
        } else {
            "."
        };
        let publisher = self.terms.publisher.as_str();
        format!(
            "{publisher} ({}): {title}{stop} Release {}. {publisher}{} (Dataset). {}",
            self.year(),
            self.number,
            if publisher.ends_with('.') { "" } else { "." },
            self.address
        )
    }

    /// Players with a published row.
    #[must_use]
    pub fn players(&self) -> usize {
        players(&self.publication)
    }
}

/// Players with a published row.
#[must_use]
pub fn players(publication: &Publication) -> usize {
    let groups = publication.rows.iter().map(|row| row.group);
    groups.max().unwrap_or(0) as usize
}

#[cfg(test)]
mod tests;
