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

/// How much sessions of one player and string bed differ, for every outcome and class in which at
/// least ten players with a row, and at least the protocol's minimum, repeated sessions. Players
/// without a row are not in it: subtracting could leave few of them.
///
/// # Errors
/// [`NumericError`] when a session's figures are not usable, which intake rules out.
pub fn session_spreads(
    pairs: &[CountedPair],
    kept: &Kept,
    rules: &AnalysisRules,
) -> Result<Vec<SessionSpread>, NumericError> {
    let mut arms: BTreeMap<(Outcome, ShotClass), Vec<(usize, &RepeatedArm)>> = BTreeMap::new();
    for (place, counted) in pairs.iter().enumerate() {
        let of_row = |arm: &&RepeatedArm| {
            let key = Key {
                outcome: arm.outcome,
                class: arm.class,
                band: counted.pair.band,
            };
            kept.has_row(place, &key)
        };
        for arm in counted.repeats.iter().filter(of_row) {
            let of_kind = arms.entry((arm.outcome, arm.class)).or_default();
            of_kind.push((counted.player, arm));
        }
    }
    let mut spreads = Vec::new();
    for ((outcome, class), arms) in arms {
        let replicates = replicates(&arms)?;
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

fn replicates(arms: &[(usize, &RepeatedArm)]) -> Result<Replicates, NumericError> {
    let sessions = || {
        arms.iter().enumerate().flat_map(|(group, (player, arm))| {
            let sessions = arm.sessions.iter();
            sessions.map(move |session| (group, *player, session))
        })
    };
    let means: Array1<f64> = sessions().map(|(_, _, session)| session.mean).collect();
    let variances: Array1<f64> = sessions().map(|(_, _, session)| session.variance).collect();
    let sizes: Array1<usize> = sessions()
        .map(|(_, _, session)| usize::try_from(session.n).unwrap_or_default())
        .collect();
    let groups: Array1<usize> = sessions().map(|(group, _, _)| group).collect();
    let players: Array1<usize> = sessions().map(|(_, player, _)| player).collect();
    Replicates::new(
        means.view(),
        variances.view(),
        sizes.view(),
        groups.view(),
        players.view(),
    )
}

/// The primary shares by models of the counts of those who have a row: one pair of each player, the
/// one with the most shots. Nothing is said of fewer players than the protocol's minimum.
///
/// # Errors
/// [`NumericError`] when counts are not usable, which intake rules out.
pub fn count_models(
    pairs: &[CountedPair],
    kept: &Kept,
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
            let counts = largest_of_each(pairs, kept, &key);
            if rules.minimum_players <= counts.len() {
                models.push(model(key, &counts, level)?);
            }
        }
    }
    Ok(models)
}

fn largest_of_each(pairs: &[CountedPair], kept: &Kept, key: &Key) -> Vec<CountPair> {
    let mut largest: BTreeMap<usize, CountPair> = BTreeMap::new();
    let with_row = |(place, counted): &(usize, &CountedPair)| {
        counted.pair.band == key.band && kept.has_row(*place, key)
    };
    for (_, counted) in pairs.iter().enumerate().filter(with_row) {
        if let Some(counts) = counts_of(counted, key) {
            let size = |counts: &CountPair| counts.first.trials + counts.second.trials;
            let kept = largest.entry(counted.player).or_insert(counts);
            // The content decides between pairs of one size, so that the order does not.
            if (size(kept), *kept) < (size(&counts), counts) {
                *kept = counts;
            }
        }
    }
    largest.into_values().collect()
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
