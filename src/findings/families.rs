//! Many questions: p values adjusted for how many were asked.
//!
//! Two families. The first are the analyses declared beforehand: every primary outcome in every
//! gap band that follows the protocol, adjusted by Holm 1979, which bounds the chance of any false
//! finding. The second is everything else, adjusted by Benjamini & Hochberg 1995, which bounds the
//! expected part of false findings among the found. Analyses without a p value belong to no family.

use super::Analysis;
use crate::pooling::{Estimable, Reason, multiplicity};
use crate::vocabulary::word_list;

word_list! {
    /// How p values are adjusted.
    Adjustment {
        /// Holm 1979, over the analyses declared beforehand.
        Holm = "holm",
        /// Benjamini & Hochberg 1995, over all others.
        BenjaminiHochberg = "benjamini_hochberg",
    }
}

/// A p value adjusted within its family.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct AdjustedP {
    /// How.
    pub method: Adjustment,
    /// Number of p values in the family.
    pub family: usize,
    /// The adjusted p value.
    pub p: f64,
}

/// Gives every analysis with a p value the one adjusted within its family.
pub(super) fn adjust(analyses: &mut [Analysis]) {
    for (primary, method) in [
        (true, Adjustment::Holm),
        (false, Adjustment::BenjaminiHochberg),
    ] {
        let places: Vec<usize> = (0..analyses.len())
            .filter(|&place| {
                analyses
                    .get(place)
                    .is_some_and(|analysis| analysis.primary == primary)
            })
            .collect();
        let p_values: Vec<Estimable<f64>> = places
            .iter()
            .map(|&place| analyses.get(place).map_or(Err(Reason::NoEffects), p_of))
            .collect();
        let family = multiplicity::adjust(&p_values);
        let adjusted = match method {
            Adjustment::Holm => &family.holm,
            Adjustment::BenjaminiHochberg => &family.benjamini_hochberg,
        };
        for (place, p) in places.into_iter().zip(adjusted) {
            if let Some(analysis) = analyses.get_mut(place) {
                analysis.adjusted_p = p.ok().map(|p| AdjustedP {
                    method,
                    family: family.family_size,
                    p,
                });
            }
        }
    }
}

fn p_of(analysis: &Analysis) -> Estimable<f64> {
    let finding = analysis.result.as_ref().map_err(|_| Reason::NoEffects)?;
    finding.shown?.p
}
