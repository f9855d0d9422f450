//! The regression of a table of effects on its moderators.

use super::Estimator;
use crate::pooling::Level;
use crate::pooling::regression::{self, Design, Regression, regress};

impl From<Estimator> for regression::Estimator {
    fn from(estimator: Estimator) -> Self {
        match estimator {
            Estimator::Fixed => Self::Fixed,
            Estimator::DersimonianLaird => Self::DersimonianLaird,
            Estimator::PauleMandel => Self::PauleMandel,
            Estimator::Reml => Self::RestrictedMaximumLikelihood,
        }
    }
}

/// Regresses one table of effects that is not a study's.
#[must_use]
pub fn table(design: &Design, level: Level, estimator: Estimator) -> Regression {
    regress(design, estimator.into(), level)
}
