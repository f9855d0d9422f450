//! Two ways to guess a missing standard deviation, held against the players who report it, each
//! player predicted by the others.

use super::fit::Fit;
use super::reports::{Reporter, mean};
use super::to_hundredth;
use crate::vocabulary::ShotClass;
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

/// Into how many parts the players are divided.
pub const FOLDS: usize = 5;

/// Fewest players who report both a standard deviation and a maximum before the maximum is used.
pub const FEWEST_WITH_BOTH: usize = 20;

/// How far the guesses are off, on the scale of ln SD, each player predicted from the players of
/// the other folds and each counting once.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SpreadErrors {
    /// Players who report both a standard deviation and a maximum.
    pub players: usize,
    /// Mean over players of ln of the standard deviation that the maximum suggests over the
    /// reported one: what is taken off.
    pub calibration: f64,
    /// Mean squared error of the borrowed CV.
    pub cv_variance: f64,
    /// Mean squared error of the calibrated maximum.
    pub maximum_variance: f64,
    /// Weight of the maximum by inverse variances, 0 to 1.
    pub maximum_weight: f64,
    /// Mean squared error of the two together, by the pairs that have both.
    pub combined_variance: f64,
}

/// Guesses from one set of players.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct FoldFit {
    pub(super) cv: Fit,
    /// What is taken off the maximum's ln SD, to 0.01.
    pub(super) calibration: f64,
}

/// The combination of both guesses.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Combination {
    pub(super) errors: SpreadErrors,
    /// From everybody: for pairs that are no part of it.
    all: FoldFit,
    /// From everybody but the players of one fold.
    without_fold: Vec<FoldFit>,
    /// The fold of every pair of a reporter.
    fold_of_pair: Arc<BTreeMap<u64, usize>>,
    /// A pair that stands for another one, with the fold of that.
    instead: Option<(u64, Option<usize>)>,
}

impl Combination {
    /// The guesses for the pair with this fingerprint: from the other folds when its player is
    /// among the reporters.
    pub(super) fn for_pair(&self, fingerprint: u64) -> &FoldFit {
        let fold = self.fold_of(fingerprint);
        fold.and_then(|fold| self.without_fold.get(fold))
            .unwrap_or(&self.all)
    }

    fn fold_of(&self, fingerprint: u64) -> Option<usize> {
        match self.instead {
            Some((version, fold)) if version == fingerprint => fold,
            _ => self.fold_of_pair.get(&fingerprint).copied(),
        }
    }

    /// The same, where the pair with the second fingerprint is another version of the first.
    pub(super) fn with_version(mut self, counted: u64, version: u64) -> Self {
        self.instead = Some((version, self.fold_of(counted)));
        self
    }

    /// The weight of the maximum, to 0.01.
    pub(super) fn weight(&self) -> f64 {
        to_hundredth(self.errors.maximum_weight)
    }
}

/// Reporters with their folds.
pub(super) struct Folds<'a> {
    folds: Vec<(usize, &'a Reporter)>,
}

impl<'a> Folds<'a> {
    /// Deals the players into folds by the rank of their fingerprint, so that the folds depend on
    /// what was sent and not on its order, are of about one size, and keep copies of one
    /// contribution together.
    pub(super) fn of(reporters: &'a [Reporter]) -> Self {
        let mut ranks: Vec<u64> = reporters.iter().filter_map(Reporter::fingerprint).collect();
        ranks.sort_unstable();
        ranks.dedup();
        let folds = reporters.iter().filter_map(|reporter| {
            let rank = ranks.binary_search(&reporter.fingerprint()?).ok()?;
            Some((rank % FOLDS, reporter))
        });
        Self {
            folds: folds.collect(),
        }
    }

    fn without(&self, fold: usize) -> Vec<&'a Reporter> {
        let others = self.folds.iter().filter(|(of, _)| *of != fold);
        others.map(|(_, reporter)| *reporter).collect()
    }

    /// A figure of every player by the fit without that player's fold; `None` when a fold with
    /// players has no fit.
    fn out_of_fold<T>(
        &self,
        fits: &[Option<T>],
        figure: impl Fn(&Reporter, &T) -> Option<f64>,
    ) -> Option<f64> {
        let mut values = Vec::new();
        for (fold, reporter) in &self.folds {
            values.extend(figure(reporter, fits.get(*fold)?.as_ref()?));
        }
        mean(values)
    }

    fn cv_fits(&self, minimum_players: usize) -> Vec<Option<Fit>> {
        (0..FOLDS)
            .map(|fold| Fit::of(&self.without(fold), minimum_players))
            .collect()
    }

    /// Mean squared error of the borrowed CV: the between-player variance of ln CV about it.
    pub(super) fn cv_variance(&self, minimum_players: usize) -> Option<f64> {
        self.cv_variance_of(&self.cv_fits(minimum_players))
    }

    fn cv_variance_of(&self, fits: &[Option<Fit>]) -> Option<f64> {
        self.out_of_fold(fits, |reporter, fit| {
            mean(by_pair(reporter).map(|(log_cv, class, _)| (fit.log_cv(class) - log_cv).powi(2)))
        })
    }

    /// The combination; `None` below [`FEWEST_WITH_BOTH`] players with both, when the other folds
    /// of some player have fewer than `minimum_players` of them, and when the maximum would weigh
    /// nothing.
    pub(super) fn combination(&self, minimum_players: usize) -> Option<Combination> {
        let with_both = |reporters: &[&Reporter]| -> Vec<f64> {
            reporters
                .iter()
                .filter_map(|reporter| reporter.log_ratio())
                .collect()
        };
        let everybody: Vec<&Reporter> = self.folds.iter().map(|(_, reporter)| *reporter).collect();
        let ratios = with_both(&everybody);
        let players = ratios.len();
        let parts: Vec<Vec<f64>> = (0..FOLDS)
            .map(|fold| with_both(&self.without(fold)))
            .collect();
        if players < FEWEST_WITH_BOTH || parts.iter().any(|part| part.len() < minimum_players) {
            return None;
        }
        let calibration = mean(ratios)?;
        let calibrations: Vec<Option<f64>> = parts.into_iter().map(mean).collect();
        let cv_fits = self.cv_fits(minimum_players);
        let cv_variance = self.cv_variance_of(&cv_fits)?;
        let maximum_variance = self.out_of_fold(&calibrations, |reporter, calibration| {
            mean(by_pair(reporter).filter_map(|(_, _, ratio)| Some((ratio? - calibration).powi(2))))
        })?;
        let maximum_weight = cv_variance / (cv_variance + maximum_variance);
        let both: Vec<Option<(Fit, f64)>> = cv_fits
            .into_iter()
            .zip(&calibrations)
            .map(|(fit, calibration)| fit.zip(*calibration))
            .collect();
        let combined_variance = self.out_of_fold(&both, |reporter, (fit, calibration)| {
            mean(by_pair(reporter).filter_map(|(log_cv, class, ratio)| {
                let by_maximum = ratio? - calibration;
                let by_cv = fit.log_cv(class) - log_cv;
                Some((maximum_weight * by_maximum + (1.0 - maximum_weight) * by_cv).powi(2))
            }))
        })?;
        let combination = Combination {
            errors: SpreadErrors {
                players,
                calibration,
                cv_variance,
                maximum_variance,
                maximum_weight,
                combined_variance,
            },
            all: FoldFit {
                cv: Fit::of(&everybody, minimum_players)?,
                calibration: to_hundredth(calibration),
            },
            without_fold: both
                .into_iter()
                .map(|both| {
                    let (cv, calibration) = both?;
                    Some(FoldFit {
                        cv,
                        calibration: to_hundredth(calibration),
                    })
                })
                .collect::<Option<_>>()?,
            fold_of_pair: Arc::new(self.fold_of_pair()),
            instead: None,
        };
        (0.0 < combination.weight()).then_some(combination)
    }

    fn fold_of_pair(&self) -> BTreeMap<u64, usize> {
        let mut fold_of_pair = BTreeMap::new();
        for (fold, reporter) in &self.folds {
            for pair in &reporter.pairs {
                // A pair that two players sent word for word goes with the first of their folds.
                let of_pair = fold_of_pair.entry(pair.fingerprint).or_insert(*fold);
                *of_pair = (*of_pair).min(*fold);
            }
        }
        fold_of_pair
    }
}

/// For each pair of a player and each class: ln CV by the standard deviations, the class, and ln
/// of the suggested over the reported standard deviation, each the mean over the sessions.
fn by_pair(reporter: &Reporter) -> impl Iterator<Item = (f64, ShotClass, Option<f64>)> {
    reporter.pairs.iter().flat_map(|pair| {
        let classes: BTreeSet<ShotClass> = pair.lines.iter().map(|line| line.class).collect();
        classes.into_iter().filter_map(|class| {
            let of_class = || pair.lines.iter().filter(move |line| line.class == class);
            let log_cv = mean(of_class().map(|line| line.log_cv))?;
            Some((
                log_cv,
                class,
                mean(of_class().filter_map(|line| line.log_ratio)),
            ))
        })
    })
}
