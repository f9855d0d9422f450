//! How far a difference lies from what is published: flagged, never held.
//!
//! The studentised deleted residual `(y - mu) / sqrt(v + tau_squared + SE^2)` (Viechtbauer & Cheung
//! 2010, Research Synthesis Methods 1:112), with `mu`, `tau_squared` and `SE` those of the published
//! model, which a contribution that is only being received is no part of. Of what is part of it the
//! same figure stands in [`crate::pooling::influence`].

use super::{Rule, ScreeningFlag};
use crate::effects::{Effect, PairEffects};
use crate::findings::{Analysis, Findings, Key};

/// Residuals beyond this are flagged, either way: about one honest primary effect in 370.
const BEYOND: f64 = 3.0;

/// Primary outcomes whose difference lies far from what is published.
pub(super) fn outlier(pair: &PairEffects, published: &Findings) -> Option<ScreeningFlag> {
    let residuals: Vec<f64> = pair
        .effects
        .iter()
        .filter_map(|effect| {
            let key = Key {
                outcome: effect.outcome,
                class: effect.class,
                band: pair.band,
            };
            let mut analyses = published.analyses.iter();
            let analysis = analyses.find(|analysis| analysis.primary && analysis.key == key)?;
            residual(effect, analysis)
        })
        .collect();
    let n_beyond = residuals.iter().filter(|z| BEYOND < z.abs()).count();
    (0 < n_beyond).then(|| {
        ScreeningFlag::new(
            Rule::StatisticalOutlier,
            false,
            Some(format!("{n_beyond} of {} primary outcomes", residuals.len())),
            "A difference lies more than three standard errors from what is published. That is no reason to leave it out.",
        )
    })
}

fn residual(effect: &Effect, analysis: &Analysis) -> Option<f64> {
    let model = analysis.result.as_ref().ok()?.pooled.reml.as_ref().ok()?;
    let variance = effect.variance + model.tau_squared + model.se.powi(2);
    let residual = (effect.estimate - model.estimate) / variance.sqrt();
    residual.is_finite().then_some(residual)
}
