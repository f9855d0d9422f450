//! The regression of a table of effects on its moderators.

use super::Estimator;
use crate::pooling::Estimable;
use crate::pooling::Level;
use crate::pooling::regression::{self, Design, Prediction, Regression, RegressionModel, regress};

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

/// What a regression says where its moderators have these values; the range for another effect is
/// widened, where it must be, to the safeguarded interval of the mean.
///
/// # Errors
/// As [`RegressionModel::predict`].
pub fn predict(model: &RegressionModel, moderators: &[f64]) -> Estimable<Prediction> {
    let found = model.predict(moderators)?;
    let mean = found.knapp_hartung_safe.interval();
    Ok(Prediction {
        prediction: found.prediction.map(|range| range.widened_to(&mean)),
        ..found
    })
}
