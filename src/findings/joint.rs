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
use std::collections::{BTreeMap, BTreeSet};

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

    /// The rows of pairs that have both outcomes, at gaps that follow the protocol: planned ones alone
    /// where they are the analysis.
    #[must_use]
    pub fn pairs_with_both(&self, outcomes: [Outcome; 2], class: ShotClass) -> Vec<(Row, Row)> {
        let follows = |row: &Row| row.class == class && row.band != GapBand::UnderProtocol;
        let rows = self
            .rows
            .select(|row| follows(row) && outcomes.contains(&row.outcome));
        let (_, rows) = rows.primary();
        let mut pairs: BTreeMap<(u32, u32), [Option<Row>; 2]> = BTreeMap::new();
        for row in rows.rows() {
            let [first, second] = pairs.entry((row.group, row.pair)).or_default();
            let place = if row.outcome == outcomes[0] {
                first
            } else {
                second
            };
            *place = Some(row);
        }
        pairs
            .into_values()
            .filter_map(|[first, second]| Some((first?, second?)))
            .collect()
    }

    fn joint(&self, outcomes: [Outcome; 2], class: ShotClass) -> Result<Joint, NumericError> {
        let both = self.pairs_with_both(outcomes, class);
        let players: BTreeSet<u32> = both.iter().map(|(first, _)| first.group).collect();
        let models = if players.len() < self.rules.minimum_players {
            None
        } else {
            let paired = paired(&both)?;
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

fn paired(pairs: &[(Row, Row)]) -> Result<PairedEffects, NumericError> {
    let column =
        |value: &dyn Fn(&(Row, Row)) -> f64| -> Array1<f64> { pairs.iter().map(value).collect() };
    let groups = pairs.iter().map(|(first, _)| first.group as usize);
    let groups: Array1<usize> = groups.collect();
    PairedEffects::new(
        [
            column(&|pair| pair.0.estimate).view(),
            column(&|pair| pair.1.estimate).view(),
        ],
        [
            column(&|pair| pair.0.variance).view(),
            column(&|pair| pair.1.variance).view(),
        ],
        Some(groups.view()),
    )
}
