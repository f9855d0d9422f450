//! Which analyses a study runs, on what, and what is shown of each.
//!
//! One engine serves every door: the read endpoint, the page and `tautpool pool` on a download
//! all call [`Publication::analyse`] on published rows, so their figures agree to the last bit.
//!
//! Choices made here, not in `pooling`:
//!
//! - the model shown is random effects with REML;
//! - the interval shown is the safeguarded Hartung-Knapp one, or the cluster-robust one (CR2) as
//!   soon as any player has two or more pairs in the analysis, because Hartung-Knapp then
//!   undercovers;
//! - a prediction interval is shown at least as wide as the interval of the mean, at both ends;
//! - planned pairs are the analysis once ten players have played to a plan;
//! - an analysis with fewer players than the protocol asks is withheld as a whole;
//! - what was declared beforehand is put to the test ([`scrutiny`]), everything else is not.

mod bands;
pub mod caveats;
pub mod certainty;
mod compact;
pub mod families;
pub mod flow;
pub mod gains;
mod given;
pub mod joint;
pub mod labels;
pub mod own;
pub mod progress;
pub mod query;
pub mod questions;
pub mod regression;
mod rows;
pub mod scrutiny;
mod selection;
pub mod sensitivity;
mod table;
mod unchanged;
pub mod words;

pub use compact::Rows;
pub use given::{FirstFigures, FirstVersions, Reached};
pub use rows::{
    BatchLabel, Circumstances, CountModel, Key, LevelBand, LogOdds, Month, Order, PlanCounts,
    PlansOfOrder, Publication, Row, SessionSpread,
};
pub use selection::{Basis, PLANNED_PLAYERS};
pub use table::{
    ANY_TIME_MINIMUM_PLAYERS, AnyTime, Choice, Estimator, Finding, IntervalKind, Shown, table,
};
pub use unchanged::Before;

use crate::pooling::NumericError;
use crate::protocol::{AnalysisRules, GapBand, PrimaryOutcome};
use certainty::CertaintyLevel;
use families::AdjustedP;
use joint::Joint;
use questions::Question;
use scrutiny::{Scrutiny, Subject, scrutinise};
use selection::Selection;
use sensitivity::Line;
use std::collections::BTreeMap;
use unchanged::Earlier;
use words::Said;

/// Everything that is found out about a study.
#[derive(Clone, Debug, PartialEq)]
pub struct Findings {
    /// One analysis for each outcome, shot class and gap band, in a fixed order.
    pub analyses: Vec<Analysis>,
    /// Each primary outcome over all gaps.
    pub questions: Vec<Question>,
    /// Speed with each measure of control.
    pub joints: Vec<Joint>,
}

/// One analysis of a study.
#[derive(Clone, Debug, PartialEq)]
pub struct Analysis {
    /// What it is about.
    pub key: Key,
    /// Whether it belongs to a primary outcome and its band follows the protocol.
    pub primary: bool,
    /// The smallest difference that the host calls worthwhile.
    pub smallest_worthwhile: Option<f64>,
    /// Which pairs it rests on.
    pub basis: Basis,
    /// At least so many players corrected a pair in it after they had seen an answer; 0 when fewer
    /// than the protocol's minimum did.
    pub corrected_at_least: usize,
    /// Whether one player has more than half of the weights.
    pub dominated: bool,
    /// What was found, or that it is withheld.
    pub result: Result<Finding, Withheld>,
    /// The same without effects that rest on an imputed standard deviation, where speed is asked.
    pub without_imputed: Option<Line>,
    /// Its p value adjusted for how many were asked.
    pub adjusted_p: Option<AdjustedP>,
    /// What puts it to the test, when its outcome was declared beforehand.
    pub scrutiny: Option<Box<Scrutiny>>,
    /// What is said of it, then.
    pub said: Option<Said>,
}

/// An analysis with too few players to be public. Nothing more is said of it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Withheld {
    /// The protocol's minimum.
    pub minimum_players: usize,
}

impl Analysis {
    /// How sure it is; low where nothing was put to the test.
    #[must_use]
    pub fn certainty(&self) -> CertaintyLevel {
        let scrutiny = self.scrutiny.as_ref();
        let certainty = scrutiny.and_then(|scrutiny| scrutiny.certainty.as_ref());
        certainty.map_or(CertaintyLevel::Low, |certainty| certainty.level)
    }
}

impl Publication {
    /// Everything that is found, from what is published alone. Analyses stand in a fixed order:
    /// primary outcomes first, then outcomes as listed, shot classes, and bands rising with the one
    /// under protocol last. Primary outcomes are listed for every band, others only where they are
    /// not withheld, so that an absent analysis says nothing about how many took part. What puts an
    /// analysis to the test, and what is said of it, does not depend on `choice`.
    ///
    /// # Errors
    /// [`NumericError`] when a row's estimate or variance is not usable.
    pub fn analyse(&self, choice: Choice) -> Result<Findings, NumericError> {
        self.analyse_after(choice, None)
    }

    /// As [`Publication::analyse`], to the last bit, but analyses that are what they were before are
    /// taken from there.
    ///
    /// # Errors
    /// As [`Publication::analyse`].
    pub fn analyse_after(
        &self,
        choice: Choice,
        before: Option<Before<'_>>,
    ) -> Result<Findings, NumericError> {
        let mut analyses = Vec::new();
        let cells = self.cells();
        let earlier = Earlier::of(before, self);
        for (&key, rows) in &cells {
            let declared = declared(&key, &self.rules);
            let analysis = match earlier.analysis(self, key, rows) {
                Some(unchanged) => unchanged.clone(),
                None => self.analysis(key, rows, declared)?,
            };
            if declared.is_some() || analysis.result.is_ok() {
                analyses.push(analysis);
            }
        }
        let is_other = |analysis: &Analysis| declared(&analysis.key, &self.rules).is_none();
        analyses.sort_by_key(|analysis| (is_other(analysis), analysis.key));
        families::adjust(&mut analyses);
        for analysis in &mut analyses {
            if let (Some(rows), Ok(finding)) = (cells.get(&analysis.key), &mut analysis.result)
                && choice != Choice::default()
            {
                let (_, primary) = rows.primary();
                *finding = table(&primary.effects()?, self.level, choice);
            }
        }
        Ok(Findings {
            analyses,
            questions: self.questions()?,
            joints: self.joints()?,
        })
    }

    fn cells(&self) -> BTreeMap<Key, Selection<'_>> {
        let mut cells: BTreeMap<Key, Selection<'_>> = BTreeMap::new();
        let nothing = || Selection::none(&self.rows);
        for primary in &self.rules.primary {
            for band in self.rules.bands.all() {
                let (outcome, class) = (primary.outcome, primary.class);
                let key = Key {
                    outcome,
                    class,
                    band,
                };
                cells.entry(key).or_insert_with(nothing);
            }
        }
        for (place, row) in self.rows.iter().enumerate() {
            let rows = cells.entry(row.key()).or_insert_with(nothing);
            rows.push(place);
        }
        cells
    }

    fn analysis(
        &self,
        key: Key,
        rows: &Selection<'_>,
        declared: Option<&PrimaryOutcome>,
    ) -> Result<Analysis, NumericError> {
        let minimum_players = self.rules.minimum_players;
        let (basis, primary) = rows.primary();
        let mut analysis = Analysis {
            key,
            primary: declared.is_some() && key.band != GapBand::UnderProtocol,
            smallest_worthwhile: declared
                .and_then(|declared| Some(declared.smallest_worthwhile?.to_f64())),
            basis,
            corrected_at_least: 0,
            dominated: false,
            result: Err(Withheld { minimum_players }),
            without_imputed: None,
            adjusted_p: None,
            scrutiny: None,
            said: None,
        };
        if primary.n_players() < minimum_players {
            return Ok(analysis);
        }
        let effects = primary.effects()?;
        let finding = table(&effects, self.level, Choice::default());
        let question = sensitivity::Question {
            all: rows,
            primary: &primary,
            basis,
            outcome: key.outcome,
            session_spread: self.session_spread(&key),
            first_versions: self.first_versions_of(&key),
            minimum_players,
            level: self.level,
        };
        analysis.corrected_at_least = question
            .first_versions
            .map_or(0, |first| first.corrected_at_least);
        analysis.dominated = finding.is_dominated(&effects);
        analysis.without_imputed = question.without_imputed()?;
        if declared.is_some() {
            let subject = Subject {
                question,
                smallest_worthwhile: analysis.smallest_worthwhile,
                count_model: self.count_model(&key),
                reached: self.reached_of(&key),
            };
            analysis.scrutiny = Some(Box::new(scrutinise(&subject, &finding)?));
        }
        analysis.result = Ok(finding);
        if declared.is_some() {
            analysis.said = Said::of(&analysis, &self.rules.bands);
        }
        Ok(analysis)
    }

    fn session_spread(&self, key: &Key) -> Option<SessionSpread> {
        let mut spreads = self.session_spreads.iter();
        let of_key =
            |spread: &&SessionSpread| (spread.outcome, spread.class) == (key.outcome, key.class);
        spreads.find(of_key).copied()
    }

    fn first_versions_of(&self, key: &Key) -> Option<FirstVersions> {
        let mut first = self.first_versions.iter();
        first.find(|first| first.key == *key).copied()
    }

    fn reached_of(&self, key: &Key) -> Vec<Reached> {
        let reached = self.reached.iter().filter(|reached| reached.key == *key);
        reached.copied().collect()
    }

    fn count_model(&self, key: &Key) -> Option<CountModel> {
        let mut models = self.count_models.iter();
        models.find(|model| model.key == *key).copied()
    }
}

fn declared<'a>(key: &Key, rules: &'a AnalysisRules) -> Option<&'a PrimaryOutcome> {
    let mut primary = rules.primary.iter();
    primary.find(|primary| primary.outcome == key.outcome && primary.class == key.class)
}
