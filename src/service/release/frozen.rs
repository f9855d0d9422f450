//! Releases made again from their bytes, kept ready.

use super::super::cards::CardsInUnits;
use super::super::in_units::Pictures;
use super::super::package::{Package, Published};
use super::super::query::{Answers, NotAsked};
use super::super::{CardFile, Ready, ServiceError};
use crate::findings::{Choice, Findings};
use crate::intake;
use crate::pages::{StudyView, frozen_view};
use crate::pooling::NumericError;
use crate::raster::RasterError;
use crate::receipt::sha256_of;
use crate::release::{Release, as_stated};
use crate::units::Units;
use crate::wire::package::{Edition, File};
use std::collections::BTreeMap;
use std::sync::{Arc, Mutex, OnceLock, PoisonError};

/// Most releases kept ready at a time: a study has a few, and each takes some megabytes at most.
const MOST_KEPT: usize = 32;

/// A release made again from its bytes.
#[derive(Debug)]
pub struct Frozen {
    /// What its document says.
    pub release: Release,
    /// What is found in its rows.
    pub findings: Findings,
    /// The same, said with the range that it states.
    pub said: Findings,
    /// SHA-256 of its document.
    pub sha256: [u8; 32],
    pictures: Pictures,
    cards: CardsInUnits,
    aggregate: OnceLock<Ready>,
    package: Package,
    answers: Answers,
}

impl Frozen {
    /// `None` when the document is not what was stored.
    pub(super) fn of(document: &[u8]) -> Result<Option<Self>, NumericError> {
        let Some(release) = intake::kept_release(document) else {
            return Ok(None);
        };
        let findings = release.publication.analyse(Choice::default())?;
        let bands = &release.publication.rules.bands;
        Ok(Some(Self {
            said: as_stated(&findings, release.stated.range, bands),
            findings,
            sha256: sha256_of(document),
            pictures: Pictures::default(),
            cards: CardsInUnits::default(),
            aggregate: OnceLock::new(),
            package: Package::default(),
            answers: Answers::default(),
            release,
        }))
    }
}

impl Frozen {
    /// What its page, pictures and list of pairs show in a reader's units.
    #[must_use]
    pub fn view(&self, units: Units) -> StudyView<'_> {
        frozen_view(&self.release, &self.said, units)
    }

    /// One picture of its page by itself; `None` when there is none of this name.
    #[must_use]
    pub fn picture(&self, name: &str, units: Units) -> Option<Ready> {
        self.pictures.get(&self.view(units), name)
    }

    /// A card for an audience, as that of the live page is.
    ///
    /// # Errors
    /// [`RasterError`] when it cannot be drawn, which the tests of cards rule out.
    pub fn card(&self, file: CardFile, units: Units) -> Result<Ready, RasterError> {
        self.cards.file(&self.view(units), file)
    }

    /// The answer to a question to its rows, as that of what is public now is.
    ///
    /// # Errors
    /// [`NotAsked`] when the question has faults, or asks about too few players.
    pub fn answer(&self, question: &str) -> Result<Ready, NotAsked> {
        self.answers.answer(&self.release.publication, question)
    }

    /// The anonymised download, made as that of the live study is from what was frozen.
    #[must_use]
    pub fn aggregate(&self) -> Ready {
        let made = || self.published().document();
        self.aggregate.get_or_init(made).clone()
    }

    /// One file of the download as tables.
    #[must_use]
    pub fn package(&self, file: File) -> Option<Ready> {
        let edition = Edition::Release(&self.release);
        let made = || self.published().files(edition);
        self.package.file(file, made)
    }

    const fn published(&self) -> Published<'_> {
        Published {
            publication: &self.release.publication,
            findings: &self.findings,
            everybody: self.release.everybody.as_slice(),
        }
    }

    /// The units of a reader who chose none.
    #[must_use]
    pub const fn unchosen_units(&self) -> Units {
        Units::unchosen(self.release.publication.rules.bands.unit())
    }
}

/// One release; whoever holds the lock makes it, and who comes meanwhile waits for that.
type Place<T> = Arc<Mutex<Option<Arc<T>>>>;

/// What is kept ready of releases, by study and number. It never changes, so nothing is ever taken
/// out but to make room.
#[derive(Debug)]
pub(super) struct Kept<T>(Mutex<BTreeMap<(String, i64), Place<T>>>);

impl<T> Default for Kept<T> {
    fn default() -> Self {
        Self(Mutex::default())
    }
}

impl<T> Kept<T> {
    /// What belongs to the release of this number, made when it is not kept.
    pub(super) fn get(
        &self,
        slug: &str,
        number: i64,
        make: impl FnOnce() -> Result<T, ServiceError>,
    ) -> Result<Arc<T>, ServiceError> {
        let key = (slug.to_owned(), number);
        let place = {
            let mut kept = self.0.lock().unwrap_or_else(PoisonError::into_inner);
            if MOST_KEPT <= kept.len() && !kept.contains_key(&key) {
                kept.pop_first();
            }
            Arc::clone(kept.entry(key).or_default())
        };
        let mut held = place.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(made) = &*held {
            return Ok(Arc::clone(made));
        }
        let made = Arc::new(make()?);
        *held = Some(Arc::clone(&made));
        Ok(made)
    }
}
