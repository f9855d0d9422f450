//! Releases made again from their bytes, kept ready.

use super::super::cards::CardsInUnits;
use super::super::{CardFile, Ready, ServiceError};
use crate::findings::{Choice, Findings};
use crate::intake;
use crate::pages::{StudyView, frozen_view};
use crate::pooling::NumericError;
use crate::raster::RasterError;
use crate::receipt::sha256_of;
use crate::release::{Release, as_stated};
use crate::units::Units;
use std::collections::BTreeMap;
use std::sync::{Arc, Mutex, PoisonError};

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
    cards: CardsInUnits,
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
            cards: CardsInUnits::default(),
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

    /// A card for an audience, as that of the live page is.
    ///
    /// # Errors
    /// [`RasterError`] when it cannot be drawn, which the tests of cards rule out.
    pub fn card(&self, file: CardFile, units: Units) -> Result<Ready, RasterError> {
        self.cards.file(&self.view(units), file)
    }

    /// The units of a reader who chose none.
    #[must_use]
    pub const fn unchosen_units(&self) -> Units {
        Units::unchosen(self.release.publication.rules.bands.unit())
    }
}

/// One release; whoever holds the lock makes it, and who comes meanwhile waits for that.
type Place = Arc<Mutex<Option<Arc<Frozen>>>>;

/// Releases kept ready, by study and number. What is kept never changes, so nothing is ever taken
/// out but to make room.
#[derive(Debug, Default)]
pub(super) struct Kept(Mutex<BTreeMap<(String, i64), Place>>);

impl Kept {
    /// The release of this number, made when it is not kept.
    pub(super) fn get(
        &self,
        slug: &str,
        number: i64,
        make: impl FnOnce() -> Result<Frozen, ServiceError>,
    ) -> Result<Arc<Frozen>, ServiceError> {
        let key = (slug.to_owned(), number);
        let place = {
            let mut kept = self.0.lock().unwrap_or_else(PoisonError::into_inner);
            if MOST_KEPT <= kept.len() && !kept.contains_key(&key) {
                kept.pop_first();
            }
            Arc::clone(kept.entry(key).or_default())
        };
        let mut held = place.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(frozen) = &*held {
            return Ok(Arc::clone(frozen));
        }
        let frozen = Arc::new(make()?);
        *held = Some(Arc::clone(&frozen));
        Ok(frozen)
    }
}
