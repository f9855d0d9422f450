//! What is made for each choice of units: when somebody first asks for it, and kept then.

use super::Ready;
use crate::pages::{self, StudyView};
use crate::units::Units;
use std::collections::BTreeMap;
use std::convert::Infallible;
use std::sync::{Arc, OnceLock};

/// One of each choice of units.
#[derive(Debug)]
pub(super) struct InUnits<T>([OnceLock<T>; Units::N_CHOICES]);

impl<T> Default for InUnits<T> {
    fn default() -> Self {
        Self(Default::default())
    }
}

impl<T: Clone> InUnits<T> {
    /// The one in these units. The same thing is always made.
    pub(super) fn get<E>(&self, units: Units, made: impl FnOnce() -> Result<T, E>) -> Result<T, E> {
        let kept = self.0.get(units.place());
        if let Some(kept) = kept.and_then(OnceLock::get) {
            return Ok(kept.clone());
        }
        let made = made()?;
        Ok(match kept {
            Some(kept) => kept.get_or_init(|| made).clone(),
            None => made,
        })
    }
}

/// Every picture of a page by itself, by its name. They are drawn together, since most of that is
/// looking through the rows.
#[derive(Debug, Default)]
pub(super) struct Pictures(InUnits<Arc<BTreeMap<String, Ready>>>);

impl Pictures {
    /// One picture; `None` when there is none of this name. The same publication is always given.
    pub(super) fn get(&self, view: &StudyView<'_>, name: &str) -> Option<Ready> {
        let drawn = || {
            let drawn = pages::pictures(view).into_iter();
            let ready = drawn.map(|(name, picture)| (name, Ready::new(picture)));
            Ok::<_, Infallible>(Arc::new(ready.collect()))
        };
        let Ok(all) = self.0.get(view.units, drawn);
        all.get(name).cloned()
    }
}
