//! Figures over many players that analyses take as they are: how much sessions differ, and shares
//! by models of counts, which rows do not show.

use super::{CountedPair, Kept, to_three_digits};
use crate::effects::repeats::RepeatedArm;
use crate::findings::{CountModel, Key, LogOdds, SessionSpread};
use crate::pooling::counts::{Arm, CountPair, CountPairs, exact_odds_ratio};
use crate::pooling::replicates::Replicates;
use crate::pooling::{Interval, Level, NumericError, RandomMean};
use crate::protocol::AnalysisRules;
use crate::vocabulary::{Outcome, ShotClass};
use ndarray::Array1;
use std::collections::BTreeMap;

/// Most pairs that the model of the counts themselves is fitted to; it takes a third of a millisecond
/// for each. A log odds ratio of fifty shots an arm has a standard error of about 0.4, so that of 2,000
/// of them has one of 0.01, to which it is rounded.
const MOST_EXACT: usize = 2_000;

/// Sessions of arms that were played more than once, as they are gathered pair by pair. Players
/// without a row are not among them: subtracting could leave few of them.
#[derive(Debug, Default)]
pub(super) struct Repeated(BTreeMap<(Outcome, ShotClass), Sessions>);

/// Sessions of one outcome and class.
#[derive(Debug, Default)]
struct Sessions {
    means: Vec<f64>,
    variances: Vec<f64>,
    sizes: Vec<usize>,
    /// A number for each arm of each pair.
    arms: Vec<usize>,
    players: Vec<usize>,
    n_arms: usize,
}

impl Repeated {
    pub(super) fn take(&mut self, place: usize, counted: &CountedPair, kept: &Kept) {
        for arm in &counted.repeats {
            let key = Key {
                outcome: arm.outcome,
                class: arm.class,
                band: counted.pair.band,
            };
            if kept.has_row(place, &key) {
                let sessions = self.0.entry((arm.outcome, arm.class)).or_default();
                sessions.take(arm, counted.player);
            }
        }
    }

    /// How much sessions of one player and string bed differ, for every outcome and class in which
    /// at least ten players, and at least the protocol's minimum, repeated sessions.
    ///
    /// # Errors
    /// [`NumericError`] when a session's figures are not usable, which intake rules out.
    pub(super) fn spreads(self, rules: &AnalysisRules) -> Result<Vec<SessionSpread>, NumericError> {
        let mut spreads = Vec::new();
        for ((outcome, class), sessions) in self.0 {
            let replicates = sessions.replicates()?;
            let minimum_players = rules.minimum_players;
            if let Ok(found) = replicates.variance()
                && minimum_players <= replicates.n_clusters()
            {
                spreads.push(SessionSpread {
                    outcome,
                    class,
                    variance: to_three_digits(found.value),
                    se: to_three_digits(found.se),
                    players_at_least: replicates.n_clusters() / minimum_players * minimum_players,
                });
            }
        }
        Ok(spreads)
    }
}

impl Sessions {
    fn take(&mut self, arm: &RepeatedArm, player: usize) {
        for session in &arm.sessions {
            self.means.push(session.mean);
            self.variances.push(session.variance);
            self.sizes
                .push(usize::try_from(session.n).unwrap_or_default());
            self.arms.push(self.n_arms);
            self.players.push(player);
        }
        self.n_arms += 1;
    }

    fn replicates(self) -> Result<Replicates, NumericError> {
        Replicates::new(
            Array1::from(self.means).view(),
            Array1::from(self.variances).view(),
            Array1::from(self.sizes).view(),
            Array1::from(self.arms).view(),
            Array1::from(self.players).view(),
        )
    }
}

/// Counts behind the primary shares of those who have a row, as they are gathered pair by pair: one
/// pair of each player, the one with the most shots.
#[derive(Debug, Default)]
pub(super) struct Counted(BTreeMap<Key, BTreeMap<usize, CountPair>>);

impl Counted {
    pub(super) fn take(
        &mut self,
        place: usize,
        counted: &CountedPair,
        kept: &Kept,
        rules: &AnalysisRules,
    ) {
        for primary in &rules.primary {
            let key = Key {
                outcome: primary.outcome,
                class: primary.class,
                band: counted.pair.band,
            };
            let counts = counts_of(counted, &key).filter(|_| kept.has_row(place, &key));
            if let Some(counts) = counts {
                let of_key = self.0.entry(key).or_default();
                let size = |counts: &CountPair| counts.first.trials + counts.second.trials;
                let largest = of_key.entry(counted.player).or_insert(counts);
                // The content decides between pairs of one size, so that the order does not.
                if (size(largest), *largest) < (size(&counts), counts) {
                    *largest = counts;
                }
            }
        }
    }

    /// The primary shares by models of the counts. Nothing is said of fewer players than the
    /// protocol's minimum.
    ///
    /// # Errors
    /// [`NumericError`] when counts are not usable, which intake rules out.
    pub(super) fn models(
        mut self,
        rules: &AnalysisRules,
        level: Level,
    ) -> Result<Vec<CountModel>, NumericError> {
        let mut models = Vec::new();
        for primary in &rules.primary {
            for band in rules.bands.all() {
                let key = Key {
                    outcome: primary.outcome,
                    class: primary.class,
                    band,
                };
                let of_key = self.0.remove(&key).unwrap_or_default();
                if rules.minimum_players <= of_key.len() {
                    let counts: Vec<CountPair> = of_key.into_values().collect();
                    models.push(model(key, &counts, level)?);
                }
            }
        }
        Ok(models)
    }
}

/// The counts behind an effect that counts.
fn counts_of(counted: &CountedPair, key: &Key) -> Option<CountPair> {
    let is_of = |outcome: Outcome, class: ShotClass| (outcome, class) == (key.outcome, key.class);
    let mut effects = counted.pair.effects.iter();
    effects.find(|effect| is_of(effect.outcome, effect.class))?;
    let mut counts = counted.counts.iter();
    let (_, _, counts) = counts.find(|(outcome, class, _)| is_of(*outcome, *class))?;
    let arm = |x: i64, n: i64| -> Option<Arm> {
        Some(Arm {
            events: u64::try_from(x).ok()?,
            trials: u64::try_from(n).ok()?,
        })
    };
    Some(CountPair {
        first: arm(counts.looser.x, counts.looser.n)?,
        second: arm(counts.tighter.x, counts.tighter.n)?,
    })
}

fn model(key: Key, counts: &[CountPair], level: Level) -> Result<CountModel, NumericError> {
    let pairs = CountPairs::new(counts)?;
    let ratios = pairs.log_odds_ratios();
    let normal = ratios.as_ref().ok().and_then(|ratios| {
        let mean = RandomMean::new(&ratios.effects, level).ok()?;
        let interval = mean.hartung_knapp_safe.ok()?.interval();
        Some(log_odds(mean.estimate, interval))
    });
    let exact = exact_odds_ratio(&pairs.thinned(MOST_EXACT), level);
    let random = exact.random.ok();
    Ok(CountModel {
        key,
        k: pairs.k(),
        n_excluded: pairs.n_left_out(),
        normal,
        exact: random.map(|random| log_odds(random.estimate, random.wald.interval())),
    })
}

fn log_odds(estimate: f64, interval: Interval) -> LogOdds {
    LogOdds {
        estimate: to_hundredth(estimate),
        low: to_hundredth(interval.low),
        high: to_hundredth(interval.high),
    }
}

/// Rounded to two decimals; never minus zero.
fn to_hundredth(value: f64) -> f64 {
    (value * 100.0).round() / 100.0 + 0.0
}
