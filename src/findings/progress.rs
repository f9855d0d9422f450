//! How far a study has come: half the width of each primary interval against the one that is wanted,
//! and how many more players it takes.
//!
//! Invariant: nothing here tells where an estimate lies. The host watches this while recruiting,
//! and whoever saw which way the study points could steer it.

use super::{Analysis, Findings, Publication, Withheld};
use crate::pooling::{Estimable, Interval};
use crate::protocol::{GapBand, PrimaryOutcome};

/// One primary outcome in one gap band.
#[derive(Clone, Debug, PartialEq)]
pub struct Progress {
    /// What is asked.
    pub about: PrimaryOutcome,
    /// At which gaps.
    pub band: GapBand,
    /// How precise it is, unless too few players are in it to say anything.
    pub watched: Result<Watched, Withheld>,
}

/// The precision of one analysis. Half widths are of the ordinary 95 % interval, in the outcome's
/// unit.
#[derive(Clone, Debug, PartialEq)]
pub struct Watched {
    /// Players in it.
    pub players: usize,
    /// Half the width now.
    pub half_width: Estimable<f64>,
    /// Half the width as players came.
    pub reached: Vec<Width>,
    /// Half the width to be expected with more of them, each with one pair.
    pub expected: Vec<Width>,
    /// What is wanted: the smallest worthwhile difference. With it, a true difference of that size
    /// is told from none, and a small one from a worthwhile one.
    pub target: Option<f64>,
    /// How many more players are expected to get it there; `None` without a target.
    pub further: Option<Estimable<usize>>,
}

/// Half the width of an interval with so many players.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Width {
    /// Players.
    pub players: usize,
    /// Half the width.
    pub half_width: f64,
}

/// Every primary outcome in every band of the protocol, in its order.
#[must_use]
pub fn progress(publication: &Publication, findings: &Findings) -> Vec<Progress> {
    let rules = &publication.rules;
    let mut all = Vec::new();
    for about in &rules.primary {
        let of_it = findings.analyses.iter().filter(|analysis| {
            analysis.primary
                && (analysis.key.outcome, analysis.key.class) == (about.outcome, about.class)
        });
        all.extend(of_it.map(|analysis| Progress {
            about: *about,
            band: analysis.key.band,
            watched: watched(analysis),
        }));
    }
    all
}

fn watched(analysis: &Analysis) -> Result<Watched, Withheld> {
    let finding = analysis.result.as_ref().map_err(|withheld| *withheld)?;
    let target = analysis.smallest_worthwhile;
    let scrutiny = analysis.scrutiny.as_ref();
    let outlook = scrutiny.and_then(|scrutiny| scrutiny.outlook.ok());
    let reached = scrutiny.and_then(|scrutiny| scrutiny.reached.as_ref());
    Ok(Watched {
        players: finding.pooled.n_clusters,
        half_width: finding.shown.map(|shown| half(shown.interval)),
        reached: reached
            .into_iter()
            .flatten()
            .map(|reached| Width {
                players: reached.players,
                half_width: half(reached.interval),
            })
            .collect(),
        expected: super::scrutiny::FURTHER_PLAYERS
            .into_iter()
            .filter_map(|n| {
                let outlook = outlook?;
                Some(Width {
                    players: outlook.k + n,
                    half_width: outlook.precision(n).ok()?.half_width_safe,
                })
            })
            .collect(),
        target,
        further: target
            .zip(scrutiny)
            .map(|(target, scrutiny)| scrutiny.outlook?.further_for(target)),
    })
}

fn half(interval: Interval) -> f64 {
    0.5 * (interval.high - interval.low)
}
