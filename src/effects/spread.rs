//! Standard deviations that a contributor could not give.
//!
//! Most measuring devices report a mean without its spread. The missing standard deviation is
//! imputed as a coefficient of variation (CV) times the mean, the CV borrowed on the log scale
//! from the m contributors who report a standard deviation for that shot class and drawn towards
//! all classes by ten pseudo-contributors:
//! `ln CV_class = (m mean_class + 10 mean_all)/(m + 10)`. Before anyone reports one, CV = 0.20 is
//! assumed and says so.
//!
//! Many devices report the fastest shot too, and `(max - mean)/E[max]`, E\[max\] that of as many
//! normal numbers ([`expected_maximum`]), is a standard deviation of the player's own. By
//! simulation it is within 15 to 25 % for normal shots but 12 to 38 % too large under mild right
//! skew, so it is not taken by itself. From [`FEWEST_WITH_BOTH`] players on who report both, its
//! mean ln error is taken off and the two are combined on the log scale by inverse variances
//! ([`SpreadErrors`]). Mean and variances come from five-fold cross-fitting by player: every player
//! is predicted from the other folds, and so is a pair of such a player that lacks a standard
//! deviation, so that nobody's figures calibrate themselves. The errors of the two are about
//! independent: for normal shots `(max - mean)/SD` is independent of mean and SD (Basu 1955,
//! Sankhya 15:377), and what is imputed is the SD that would have been reported.
//!
//! Numbers of shots are those that were timed here, never the effective ones: correlated shots
//! widen the error of a mean, while the spread of single shots and their largest one, whose
//! expectation moves by a few percent at most, hardly change.
//!
//! All sessions of a pair that lack a standard deviation share one CV, looser or tighter, whichever
//! way it came about: the maximum's ln CV is the mean over those of them that have one. Otherwise
//! one lucky shot in one arm would move the weight of that arm alone.
//!
//! The CV reaches replies and published variances, so it must not give one person's spread away:
//! nothing is borrowed from fewer players than the study's minimum, of all classes or of one or of
//! the other folds, and what is borrowed (CV, calibration, weight) and the CV that comes out are
//! rounded to 0.01, which is finer than they are known.

mod cross_fit;
mod fit;
mod maximum;
mod reports;

pub use cross_fit::{FEWEST_WITH_BOTH, FOLDS, SpreadErrors};
pub use fit::PRIOR_CONTRIBUTORS;
pub use maximum::{MOST_SHOTS, expected_maximum};
pub use reports::PairReport;

use crate::contribution::Contribution;
use crate::protocol::limits::CV_BOUNDS;
use crate::vocabulary::{ShotClass, VarianceSource};
use cross_fit::{Combination, Folds};
use fit::Fit;
use reports::Reporter;

/// The CV taken when nobody has reported a standard deviation: about twice the 9 % of one
/// player's spread in a ball-machine study (Bower & Cross 2005, proxy), since play varies more.
pub const ASSUMED_CV: f64 = 0.20;

/// What the players who report a standard deviation say about the spread of ball speed.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct CrowdSpread {
    borrowed: Option<Borrowed>,
}

#[derive(Clone, Debug, PartialEq)]
struct Borrowed {
    cv: Fit,
    cv_log_sd_error: Option<f64>,
    combination: Option<Combination>,
}

/// A coefficient of variation to impute with.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ImputedCv {
    /// The coefficient, a ratio above 0, to 0.01.
    pub value: f64,
    /// Borrowed, assumed, or combined with the pair's own fastest shots.
    pub source: VarianceSource,
    /// Standard error of ln SD when imputed so, to 0.01: 0.3 means about 30 % either way. `None`
    /// when it is assumed, or reported by too few to tell.
    pub log_sd_error: Option<f64>,
}

impl CrowdSpread {
    /// Collects the reported spreads. What fewer than `minimum_players` report is left out.
    /// Players are numbered by the caller; neither the numbers nor the order of contributions
    /// changes any digit.
    pub fn of<'a>(
        contributions: impl IntoIterator<Item = (usize, &'a Contribution)>,
        minimum_players: usize,
    ) -> Self {
        let reports = contributions.into_iter();
        let reports = reports.map(|(player, pair)| (player, PairReport::of(pair)));
        Self::of_reports(reports, minimum_players)
    }

    /// The same from what the pairs say of spread.
    pub fn of_reports(
        reports: impl IntoIterator<Item = (usize, PairReport)>,
        minimum_players: usize,
    ) -> Self {
        let reporters = reports::collect(reports);
        if reporters.len() < minimum_players {
            return Self::default();
        }
        let everybody: Vec<&Reporter> = reporters.iter().collect();
        let folds = Folds::of(&reporters);
        Self {
            borrowed: Fit::of(&everybody, minimum_players).map(|cv| Borrowed {
                cv,
                cv_log_sd_error: folds.cv_variance(minimum_players).map(log_sd_error),
                combination: folds.combination(minimum_players),
            }),
        }
    }

    /// The same crowd for another version of a pair that is counted: what `version` lacks is imputed
    /// from the same players as what `counted` lacks, so that a spread which nobody corrected stays
    /// as it was.
    #[must_use]
    pub fn for_version(&self, counted: &Contribution, version: &Contribution) -> Self {
        let (counted, version) = (reports::fingerprint(counted), reports::fingerprint(version));
        let borrowed = self.borrowed.clone().map(|borrowed| Borrowed {
            combination: borrowed
                .combination
                .map(|combination| combination.with_version(counted, version)),
            ..borrowed
        });
        Self { borrowed }
    }

    /// How far both guesses of a missing standard deviation are off; `None` while the maximum is
    /// not used.
    #[must_use]
    pub fn errors(&self) -> Option<SpreadErrors> {
        let combination = self.borrowed.as_ref()?.combination.as_ref()?;
        Some(combination.errors)
    }

    /// The CV for every session of a pair that lacks a standard deviation for a shot class.
    #[must_use]
    pub fn cv(&self, pair: &Contribution, class: ShotClass) -> ImputedCv {
        let Some(borrowed) = &self.borrowed else {
            return ImputedCv {
                value: ASSUMED_CV,
                source: VarianceSource::AssumedCv,
                log_sd_error: None,
            };
        };
        let Some(combination) = &borrowed.combination else {
            return borrowed.alone(&borrowed.cv, class);
        };
        let guesses = combination.for_pair(reports::fingerprint(pair));
        let alone = borrowed.alone(&guesses.cv, class);
        let lacking = pair
            .sessions
            .iter()
            .filter_map(|session| session.line(class))
            .filter_map(|line| Some((line, line.speed.as_ref()?)))
            .filter(|(_, speed)| speed.sd.is_none());
        let suggested = lacking.filter_map(|(line, speed)| maximum::log_cv(line, speed));
        let Some(suggested) = reports::mean(suggested) else {
            return alone;
        };
        let weight = combination.weight();
        let log_cv = weight * (suggested - guesses.calibration) + (1.0 - weight) * alone.value.ln();
        ImputedCv {
            value: to_hundredth(log_cv.exp().clamp(CV_BOUNDS.0, CV_BOUNDS.1)),
            source: VarianceSource::Combined,
            log_sd_error: Some(log_sd_error(combination.errors.combined_variance)),
        }
    }
}

impl Borrowed {
    fn alone(&self, cv: &Fit, class: ShotClass) -> ImputedCv {
        ImputedCv {
            value: to_hundredth(cv.log_cv(class).exp()),
            source: VarianceSource::BorrowedCv,
            log_sd_error: self.cv_log_sd_error,
        }
    }
}

fn log_sd_error(variance: f64) -> f64 {
    to_hundredth(variance.sqrt())
}

fn to_hundredth(value: f64) -> f64 {
    (value * 100.0).round() / 100.0
}

#[cfg(test)]
mod tests;
