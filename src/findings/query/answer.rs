//! The answer to a question.

use super::{Query, words};
use crate::findings::caveats::Caveat;
use crate::findings::certainty::{Certainty, CertaintyLevel, CertaintyReason};
use crate::findings::scrutiny::{Subject, weighed};
use crate::findings::selection::Selection;
use crate::findings::words::{Said, verdict};
use crate::findings::{
    Analysis, Basis, Choice, Finding, Key, Publication, declared, sensitivity, table,
};
use crate::pooling::NumericError;
use crate::protocol::GapBand;
use crate::vocabulary::word_list;
use std::collections::BTreeSet;

/// What was found in the rows that a question asks about.
#[derive(Clone, Debug, PartialEq)]
pub struct Answer {
    /// Gap bands of the rows, rising.
    pub bands: Vec<GapBand>,
    /// Which pairs it rests on.
    pub basis: Basis,
    /// The smallest difference that the host calls worthwhile.
    pub smallest_worthwhile: Option<f64>,
    /// What was found, with the model, interval and level that were asked for.
    pub finding: Finding,
    /// Whether the question was chosen after the data could be seen.
    pub exploratory: bool,
    /// What a reader has to hold against it.
    pub caveats: Vec<Caveat>,
    /// How sure it is.
    pub certainty: Option<Certainty>,
    /// What is said of it, then.
    pub said: Said,
    /// What else to know of such an answer.
    pub notes: Vec<Note>,
}

/// Why a question has no answer.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
pub enum NotAnswered {
    /// Fewer players than the protocol asks for any figure.
    #[error(
        "Fewer than {minimum_players} players have such pairs among the published rows, and nothing is pooled of so few: ask more widely."
    )]
    TooFewPlayers {
        /// The protocol's minimum.
        minimum_players: usize,
    },
    /// A row's estimate or variance is not usable, which intake rules out.
    #[error(transparent)]
    Unusable(#[from] NumericError),
}

word_list! {
    /// What to know of an answer beside its figures.
    Note {
        /// It is an analysis that is published anyway.
        Published = "published_analysis",
        /// It was asked after the data could be seen.
        Exploratory = "exploratory",
        /// Rows of several gap bands are in it.
        PoolsOverBands = "pools_over_bands",
        /// Rows under the protocol's smallest gap are not.
        UnderProtocolLeftOut = "under_protocol_left_out",
        /// The range of gaps is one of rounded gaps.
        GapsRounded = "gaps_rounded",
        /// Rows that do not tell what is asked for are not in it.
        UntoldLeftOut = "untold_left_out",
        /// The sentence does not follow the model that was asked for.
        OwnModelInWords = "own_model_in_words",
    }
}

impl Note {
    /// The note in words.
    #[must_use]
    pub const fn sentence(self) -> &'static str {
        match self {
            Self::Published => {
                "This is one of the published analyses; what it was put to, and its p value adjusted for the number of analyses, stand in the pooled document."
            }
            Self::Exploratory => {
                "The question was chosen after the data could be seen. Its range and p value are those of a single question asked beforehand, and are not adjusted for how many can be asked."
            }
            Self::PoolsOverBands => {
                "Pairs of several gap bands are pooled, and a difference may grow with the gap: the dose-response in the pooled document shows how."
            }
            Self::UnderProtocolLeftOut => {
                "Pairs under the protocol's smallest gap are left out; band=under asks for them."
            }
            Self::GapsRounded => {
                "Gaps are compared as they are published, to a whole pound, so a pair near an edge may stand on its other side; band asks for the exact bands."
            }
            Self::UntoldLeftOut => {
                "A pair whose row does not tell what is asked for is left out; much is not told because too few players share it."
            }
            Self::OwnModelInWords => {
                "Sentence, caveats and certainty rest on REML with its own interval at the level of the published figures, whatever was asked for."
            }
        }
    }
}

impl Publication {
    /// Answers a question from what is published.
    ///
    /// # Errors
    /// [`NotAnswered`] below the protocol's minimum of players.
    pub fn ask(&self, query: &Query) -> Result<Answer, NotAnswered> {
        let rows = self.rows.select(|row| query.holds(row));
        let (basis, primary) = basis(query, &rows);
        let bands: BTreeSet<GapBand> = primary.rows().map(|row| row.band).collect();
        let bands: Vec<GapBand> = bands.into_iter().collect();
        let minimum_players = self.rules.minimum_players;
        let too_few = NotAnswered::TooFewPlayers { minimum_players };
        let first = bands.first().copied().ok_or(too_few)?;
        if primary.n_players() < minimum_players {
            return Err(too_few);
        }
        let key = Key {
            outcome: query.outcome,
            class: query.class,
            band: first,
        };
        let is_declared = declared(&key, &self.rules).is_some();
        let whole = self.rows.select(|row| row.key() == key);
        let is_published = rows.k() == whole.k() && basis == whole.primary().0;
        let exploratory = !(is_published && is_declared);
        let mut tested = self.tested(key, &rows, (basis, &primary))?;
        if exploratory {
            let most = match bands.as_slice() {
                // What is a part of an analysis is no surer than the whole.
                [_] if is_declared => {
                    let (basis, primary) = whole.primary();
                    self.tested(key, &whole, (basis, &primary))?.certainty()
                }
                _ => CertaintyLevel::Low,
            };
            hold_down(&mut tested, most);
        }
        let sentence = words::sentence(query, &tested, exploratory, &self.rules.bands);
        let (Ok(own), Some(scrutiny)) = (tested.result, tested.scrutiny) else {
            return Err(too_few);
        };
        let verdict = verdict(&own, tested.smallest_worthwhile);
        let is_own = query.choice == Choice::default() && query.level.is_none();
        let finding = if is_own {
            own
        } else {
            let level = query.level.unwrap_or(self.level);
            table(&primary.effects()?, level, query.choice)
        };
        Ok(Answer {
            notes: notes(query, &bands, is_published, exploratory),
            bands,
            basis,
            smallest_worthwhile: tested.smallest_worthwhile,
            finding,
            exploratory,
            caveats: scrutiny.caveats,
            certainty: scrutiny.certainty,
            said: Said { verdict, sentence },
        })
    }

    /// Rows put to the test as those of an analysis are, with its own model and level.
    fn tested(
        &self,
        key: Key,
        all: &Selection<'_>,
        (basis, primary): (Basis, &Selection<'_>),
    ) -> Result<Analysis, NumericError> {
        let effects = primary.effects()?;
        let finding = table(&effects, self.level, Choice::default());
        let smallest_worthwhile = declared(&key, &self.rules)
            .and_then(|declared| Some(declared.smallest_worthwhile?.to_f64()));
        let subject = Subject {
            question: sensitivity::Question {
                all,
                primary,
                basis,
                outcome: key.outcome,
                session_spread: self.session_spread(&key),
                first_versions: None,
                minimum_players: self.rules.minimum_players,
                level: self.level,
            },
            smallest_worthwhile,
            // These were made of every pair of their analysis, and cannot be made of some of them.
            count_model: None,
            reached: Vec::new(),
        };
        let scrutiny = weighed(&subject, &finding)?;
        Ok(Analysis {
            key,
            primary: false,
            smallest_worthwhile,
            basis,
            corrected_at_least: 0,
            dominated: finding.is_dominated(&effects),
            result: Ok(finding),
            without_imputed: None,
            adjusted_p: None,
            scrutiny: Some(Box::new(scrutiny)),
            said: None,
        })
    }
}

/// What was asked after the data could be seen is no surer than low, nor than `most`.
fn hold_down(tested: &mut Analysis, most: CertaintyLevel) {
    let scrutiny = tested.scrutiny.as_mut();
    if let Some(certainty) = scrutiny.and_then(|scrutiny| scrutiny.certainty.as_mut()) {
        certainty.level = certainty.level.min(CertaintyLevel::Low).min(most);
        certainty.reasons.push(CertaintyReason::Exploratory);
    }
}

/// As every analysis: planned pairs where enough players have some. A question about planned pairs
/// rests on them however few there are, and one about the others never does.
fn basis<'a>(query: &Query, rows: &Selection<'a>) -> (Basis, Selection<'a>) {
    match query.planned {
        None => rows.primary(),
        Some(true) => (Basis::Planned, rows.clone()),
        Some(false) => (Basis::All, rows.clone()),
    }
}

fn notes(query: &Query, bands: &[GapBand], is_published: bool, exploratory: bool) -> Vec<Note> {
    let of_gaps = query.gap_from.is_some() || query.gap_below.is_some();
    let of_untold = query.string_family.is_some()
        || query.level_band.is_some()
        || query.planned.is_some()
        || query.blinded.is_some();
    let of_figures = query.choice != Choice::default() || query.level.is_some();
    let all = [
        (is_published, Note::Published),
        (exploratory, Note::Exploratory),
        (1 < bands.len(), Note::PoolsOverBands),
        (query.band.is_none(), Note::UnderProtocolLeftOut),
        (of_gaps, Note::GapsRounded),
        (of_untold, Note::UntoldLeftOut),
        (of_figures, Note::OwnModelInWords),
    ];
    let held = all.into_iter().filter(|(holds, _)| *holds);
    held.map(|(_, note)| note).collect()
}
