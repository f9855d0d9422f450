//! Further questions to what is published: any of its rows, pooled by the engine of every analysis.
//!
//! A question is answered from a [`super::Publication`] and nothing else. So an answer tells nothing that
//! the download does not, and neither does the difference of two answers: whoever has the rows can
//! make either of them, and everything that follows from both. Figures over everybody are in none.
//!
//! - A question without filters but its gap band is a published analysis, and gets its figures.
//! - Any other was chosen after the data could be seen. It is never surer than low, nor than the
//!   analysis that it is a part of, and says why.
//! - Sentence, caveats and certainty do not depend on the model, interval and level that are asked
//!   for, so that none of them can be chosen away.
//! - Pairs under the protocol's smallest gap are never pooled with others.

mod answer;
mod words;

pub use answer::{Answer, NotAnswered, Note};
pub use words::told;

use super::{Choice, LevelBand, Row};
use crate::pooling::Level;
use crate::protocol::{AnalysisRules, GapBand, GapBands, limits};
use crate::vocabulary::{Outcome, ShotClass, StringFamily, word_list};

word_list! {
    /// What a question may name, in the order in which it is told.
    Parameter {
        /// What is compared.
        Outcome = "outcome",
        /// The stroke of the shot class.
        Stroke = "stroke",
        /// The direction of the shot class.
        Direction = "direction",
        /// One gap band of the protocol.
        Band = "band",
        /// Smallest published gap, in whole pounds.
        GapFrom = "gap_from",
        /// Published gaps are below this, in whole pounds.
        GapBelow = "gap_below",
        /// Material of the main strings.
        StringFamily = "string_family",
        /// Level of the player.
        LevelBand = "level_band",
        /// Whether the order was drawn beforehand.
        Planned = "planned",
        /// Whether the player knew in no session which string bed it was.
        Blinded = "blinded",
        /// The model that is shown.
        Estimator = "estimator",
        /// The interval that is shown.
        Interval = "interval",
        /// Level of the intervals.
        Level = "level",
    }
}

/// One question to the published rows.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Query {
    /// What is compared.
    pub outcome: Outcome,
    /// For which shots.
    pub class: ShotClass,
    /// One gap band; `None` for every band that follows the protocol.
    pub band: Option<GapBand>,
    /// Smallest published gap, in whole pounds.
    pub gap_from: Option<i64>,
    /// Published gaps are below this, in whole pounds.
    pub gap_below: Option<i64>,
    /// Material of the main strings.
    pub string_family: Option<StringFamily>,
    /// Level of the player.
    pub level_band: Option<LevelBand>,
    /// Pairs played to a plan, or the others.
    pub planned: Option<bool>,
    /// Pairs played blinded, or the others.
    pub blinded: Option<bool>,
    /// Model and interval that are shown.
    pub choice: Choice,
    /// Level of the intervals; `None` for that of the publication.
    pub level: Option<Level>,
}

impl Query {
    /// The question without any filter: the first primary outcome.
    #[must_use]
    pub fn first(rules: &AnalysisRules) -> Self {
        let first = rules.primary.first();
        Self {
            outcome: first.map_or(Outcome::Speed, |primary| primary.outcome),
            class: first.map_or(ShotClass::ALL, |primary| primary.class),
            band: None,
            gap_from: None,
            gap_below: None,
            string_family: None,
            level_band: None,
            planned: None,
            blinded: None,
            choice: Choice::default(),
            level: None,
        }
    }

    /// The largest gap that a row can have, in whole pounds.
    #[must_use]
    pub fn widest_gap_lb() -> i64 {
        let widest = limits::TENSION_HIGHEST.minus(limits::TENSION_LOWEST);
        widest.nearest_pound()
    }

    /// Whether a row is asked about. What a row does not tell matches no filter that asks for it.
    #[must_use]
    pub fn holds(&self, row: &Row) -> bool {
        let known = &row.circumstances;
        let of_band = self.band.map_or_else(
            || row.band != GapBand::UnderProtocol,
            |band| row.band == band,
        );
        (row.outcome, row.class) == (self.outcome, self.class)
            && of_band
            && self
                .gap_from
                .is_none_or(|from| from <= i64::from(row.gap_lb))
            && self
                .gap_below
                .is_none_or(|below| i64::from(row.gap_lb) < below)
            && asks(self.string_family, known.string_family)
            && asks(self.level_band, known.level)
            && asks(self.planned, known.planned)
            && asks(self.blinded, known.blinded)
    }

    /// What a parameter says, as it is written; `None` where the question leaves it out.
    #[must_use]
    pub fn word(&self, parameter: Parameter) -> Option<String> {
        let truth = |asked: Option<bool>| asked.map(|asked| asked.to_string());
        let pounds = |asked: Option<i64>| asked.map(|asked| asked.to_string());
        let code = |code: &'static str| Some(code.to_owned());
        match parameter {
            Parameter::Outcome => code(self.outcome.code()),
            Parameter::Stroke => code(self.class.stroke.code()),
            Parameter::Direction => code(self.class.direction.code()),
            Parameter::Band => self.band.map(GapBands::code),
            Parameter::GapFrom => pounds(self.gap_from),
            Parameter::GapBelow => pounds(self.gap_below),
            Parameter::StringFamily => code(self.string_family?.code()),
            Parameter::LevelBand => code(self.level_band?.code()),
            Parameter::Planned => truth(self.planned),
            Parameter::Blinded => truth(self.blinded),
            Parameter::Estimator => (self.choice.estimator != Choice::default().estimator)
                .then(|| self.choice.estimator.code().to_owned()),
            Parameter::Interval => code(self.choice.interval?.code()),
            Parameter::Level => self.level.map(|level| level.value().to_string()),
        }
    }

    /// The question as it stands in an address, in one order and without what goes without saying:
    /// two questions that ask the same have the same text.
    #[must_use]
    pub fn text(&self) -> String {
        let given = Parameter::ALL.iter().filter_map(|parameter| {
            let word = self.word(*parameter)?;
            Some(format!("{}={word}", parameter.code()))
        });
        given.collect::<Vec<_>>().join("&")
    }
}

fn asks<T: PartialEq>(asked: Option<T>, known: Option<T>) -> bool {
    asked.is_none() || asked == known
}
