//! What is made of all pairs, one after the other, once it is known which of them have rows.

use super::everybody::Everyone;
use super::figures::{Counted, Repeated};
use super::kept::Kept;
use super::rows::GatheredRows;
use super::{CountedPair, rounded, to_tenth, to_three_digits};
use crate::effects::{Effect, PairEffects};
use crate::findings::{
    CountModel, FirstFigures, FirstVersions, Publication, Reached, Rows, SessionSpread,
};
use crate::pooling::{Level, NumericError};
use crate::protocol::{AnalysisRules, GapBand};
use crate::vocabulary::{Outcome, ShotClass};
use std::collections::BTreeMap;

/// Rows and figures as they are gathered.
#[derive(Debug)]
pub struct Gathering<'a> {
    kept: &'a Kept,
    rules: &'a AnalysisRules,
    n_pairs: usize,
    rows: GatheredRows,
    everyone: Everyone,
    repeated: Repeated,
    counted: Counted,
    first: BTreeMap<u32, First>,
}

/// Rows with the figures that rest on more than they show.
#[derive(Debug, Default)]
pub struct Gathered {
    /// The rows, in order of group, pair and content.
    pub rows: Rows,
    /// The place of each row's pair among those counted: rises with the time at which it came.
    pub came: Vec<u32>,
    /// Names of frames that rows point to.
    pub frames: Vec<String>,
    /// See [`Publication::pairs_left_out`].
    pub pairs_left_out: usize,
    /// See [`Publication::session_spreads`].
    pub session_spreads: Vec<SessionSpread>,
    /// See [`Publication::count_models`].
    pub count_models: Vec<CountModel>,
    /// Figures over everybody, before it is decided which are shown.
    pub everyone: Everyone,
    first: BTreeMap<u32, First>,
}

/// What a corrected pair said first.
#[derive(Debug)]
struct First {
    /// Whether it was in the band that it counts in.
    is_same_band: bool,
    effects: Vec<(Outcome, ShotClass, (f64, f64))>,
}

impl<'a> Gathering<'a> {
    /// Nothing yet.
    #[must_use]
    pub fn new(kept: &'a Kept, rules: &'a AnalysisRules) -> Self {
        Self {
            kept,
            rules,
            n_pairs: 0,
            rows: GatheredRows::new(kept),
            everyone: Everyone::new(kept),
            repeated: Repeated::default(),
            counted: Counted::default(),
            first: BTreeMap::new(),
        }
    }

    /// Takes the next pair, in the order in which they were given to the census.
    ///
    /// # Errors
    /// [`NumericError`] when a figure is not usable, which intake rules out.
    pub fn take(&mut self, counted: &CountedPair) -> Result<(), NumericError> {
        let place = self.n_pairs;
        self.n_pairs += 1;
        self.rows.take(place, counted, self.kept);
        self.everyone.take(place, counted, self.kept);
        self.repeated.take(place, counted, self.kept)?;
        self.counted.take(place, counted, self.kept, self.rules);
        if let (Some(first), Ok(place)) = (&counted.first, u32::try_from(place)) {
            self.first
                .insert(place, First::of(first, counted.pair.band));
        }
        Ok(())
    }

    /// What all of them come to.
    ///
    /// # Errors
    /// [`NumericError`] when a figure is not usable, which intake rules out.
    pub fn gathered(self, level: Level) -> Result<Gathered, NumericError> {
        // What these are made of is gone before rows are put in order.
        let session_spreads = self.repeated.spreads(self.rules);
        let count_models = self.counted.models(self.rules, level)?;
        let arranged = self.rows.arranged();
        Ok(Gathered {
            rows: arranged.rows,
            came: arranged.came,
            frames: arranged.frames,
            pairs_left_out: self.kept.left_out(self.rules),
            session_spreads,
            count_models,
            everyone: self.everyone,
            first: self.first,
        })
    }
}

impl Gathered {
    /// What pairs of an analysis said first, where enough players corrected one: see
    /// [`Publication::with_first_versions`]. Rounded to 0.1, the variance to three digits.
    ///
    /// # Errors
    /// [`NumericError`] when an effect is not usable, which intake rules out.
    pub fn first_versions(
        &self,
        publication: &Publication,
    ) -> Result<Vec<FirstVersions>, NumericError> {
        let rows = publication.rows.iter().zip(&self.came).enumerate();
        let corrected = rows.filter_map(|(place, (row, came))| {
            let first = self.first.get(came)?;
            Some((place, first.figures(row.outcome, row.class)))
        });
        let mut found = publication.with_first_versions(&corrected.collect())?;
        for first in &mut found {
            first.found.estimate = to_tenth(first.found.estimate);
            first.found.interval = rounded(first.found.interval);
            first.found.tau_squared = to_three_digits(first.found.tau_squared);
        }
        Ok(found)
    }

    /// How analyses settled as players came, to 0.1: see [`Publication::reached`]. Rounding keeps
    /// anybody from trying out which rows came first.
    ///
    /// # Errors
    /// [`NumericError`] when an effect is not usable, which intake rules out.
    pub fn reached(&self, publication: &Publication) -> Result<Vec<Reached>, NumericError> {
        let mut found = publication.reached(&self.came)?;
        for reached in &mut found {
            reached.estimate = to_tenth(reached.estimate);
            reached.interval = rounded(reached.interval);
        }
        Ok(found)
    }
}

impl First {
    fn of(first: &PairEffects, band: GapBand) -> Self {
        let figures = |effect: &Effect| {
            let figures = (to_tenth(effect.estimate), to_three_digits(effect.variance));
            (effect.outcome, effect.class, figures)
        };
        Self {
            is_same_band: first.band == band,
            effects: first.all().map(figures).collect(),
        }
    }

    /// An effect in the version first sent, where that falls into the same analysis.
    fn figures(&self, outcome: Outcome, class: ShotClass) -> FirstFigures {
        let mut effects = self.effects.iter().filter(|_| self.is_same_band);
        let found = effects.find(|(of, shots, _)| (*of, *shots) == (outcome, class))?;
        Some(found.2)
    }
}
