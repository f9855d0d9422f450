//! Speed and control together: two outcomes of the same pairs by a bivariate model.
//!
//! Summaries do not tell how the two outcomes of one pair vary together by chance, so the
//! correlation within pairs is set to -0.5, 0 and 0.5 in turn.

use super::{Publication, Row};
use crate::pooling::bivariate::{Bivariate, Likelihood, pool_pairs_over};
use crate::pooling::{NumericError, PairedEffects, WithinCorrelation};
use crate::protocol::GapBand;
use crate::vocabulary::{Outcome, ShotClass};
use ndarray::Array1;
use std::collections::BTreeSet;

/// Two outcomes of the same pairs.
#[derive(Clone, Debug, PartialEq)]
pub struct Joint {
    /// The outcomes.
    pub outcomes: [Outcome; 2],
    /// For which shots.
    pub class: ShotClass,
    /// One model for each correlation within pairs; `None` when fewer players than the protocol's
    /// minimum have both outcomes.
    pub models: Option<Vec<Bivariate>>,
}

/// The figures of a pair that has both outcomes, the first outcome first.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Couple {
    /// The group of its player.
    pub group: u32,
    /// In the unit of each outcome.
    pub estimates: [f64; 2],
    /// In its square.
    pub variances: [f64; 2],
}

/// What a row has of a couple.
struct Figure {
    pair: (u32, u32),
    is_second: bool,
    estimate: f64,
    variance: f64,
}

/// Speed against each measure of control.
const COUPLES: [[Outcome; 2]; 2] = [
    [Outcome::Speed, Outcome::InShare],
    [Outcome::Speed, Outcome::DeepShare],
];

impl Publication {
    /// Speed with each measure of control, for every shot class with a primary outcome, over all
    /// gaps that follow the protocol.
    pub(super) fn joints(&self) -> Result<Vec<Joint>, NumericError> {
        let mut classes: Vec<ShotClass> = self
            .rules
            .primary
            .iter()
            .map(|primary| primary.class)
            .collect();
        classes.sort_unstable();
        classes.dedup();
        let mut joints = Vec::new();
        for class in classes {
            for outcomes in COUPLES {
                joints.push(self.joint(outcomes, class)?);
            }
        }
        Ok(joints)
    }

    /// Pairs that have both outcomes, at gaps that follow the protocol: planned ones alone where they
    /// are the analysis.
    #[must_use]
    pub fn pairs_with_both(&self, outcomes: [Outcome; 2], class: ShotClass) -> Vec<Couple> {
        let follows = |row: &Row| row.class == class && row.band != GapBand::UnderProtocol;
        let rows = self
            .rows
            .select(|row| follows(row) && outcomes.contains(&row.outcome));
        let (_, rows) = rows.primary();
        let figures = rows.rows().map(|row| Figure {
            pair: (row.group, row.pair),
            is_second: row.outcome == outcomes[1],
            estimate: row.estimate,
            variance: row.variance,
        });
        let mut figures: Vec<Figure> = figures.collect();
        figures.sort_by_key(|figure| (figure.pair, figure.is_second));
        let of_pairs = figures.chunk_by(|a, b| a.pair == b.pair);
        of_pairs
            .filter_map(|of_pair| match of_pair {
                [first, second] if first.is_second != second.is_second => Some(Couple {
                    group: first.pair.0,
                    estimates: [first.estimate, second.estimate],
                    variances: [first.variance, second.variance],
                }),
                _ => None,
            })
            .collect()
    }

    fn joint(&self, outcomes: [Outcome; 2], class: ShotClass) -> Result<Joint, NumericError> {
        let couples = self.pairs_with_both(outcomes, class);
        let players: BTreeSet<u32> = couples.iter().map(|couple| couple.group).collect();
        let models = if players.len() < self.rules.minimum_players {
            None
        } else {
            let paired = paired(&couples)?;
            drop(couples);
            Some(pool_pairs_over(
                &paired,
                &WithinCorrelation::SENSITIVITY,
                Likelihood::Restricted,
                self.level,
            ))
        };
        Ok(Joint {
            outcomes,
            class,
            models,
        })
    }
}

fn paired(couples: &[Couple]) -> Result<PairedEffects, NumericError> {
    let column =
        |value: &dyn Fn(&Couple) -> f64| -> Array1<f64> { couples.iter().map(value).collect() };
    let groups = couples.iter().map(|couple| couple.group as usize);
    let groups: Array1<usize> = groups.collect();
    PairedEffects::new(
        [
            column(&|couple| couple.estimates[0]).view(),
            column(&|couple| couple.estimates[1]).view(),
        ],
        [
            column(&|couple| couple.variances[0]).view(),
            column(&|couple| couple.variances[1]).view(),
        ],
        Some(groups.view()),
    )
}
