//! Made-up effects of independent players with known sampling variances.
//!
//! The typical sampling variance is the unit: each is uniform on 0.5 to 2. An effect is normal
//! around its own true effect, and true effects scatter around [`TRUTH`] with variance
//! `tau_squared = I2 / (1 - I2)`. The typical variance of Higgins & Thompson (2002, Stat Med
//! 21:1539, eq. 9) tends to 1.5 / ln 4 = 1.08 here, so I² is 0, 48 or 89 % where 0, 50 or 90 %
//! stands.

use super::draw::Draw;
use ndarray::{Array1, ArrayView1};
use tautpool::pooling::{Effects, Level, NumericError};

/// The mean true effect.
pub(crate) const TRUTH: f64 = 1.0;

/// Level of every interval.
pub(crate) const LEVEL: Level = Level::NINETY_FIVE;

/// An effect with its sampling variance.
pub(crate) type Row = (f64, f64);

/// How true effects are distributed; each shape has mean 0 and variance 1 before it is scaled.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Shape {
    /// Normal.
    Normal,
    /// Exponential minus its mean; skewness 2.
    Exponential,
    /// Lognormal with shape 1 minus its mean, over its standard deviation; skewness 6.2.
    Lognormal,
}

impl Shape {
    /// For a table.
    pub(crate) const fn name(self) -> &'static str {
        match self {
            Self::Normal => "normal",
            Self::Exponential => "exponential",
            Self::Lognormal => "lognormal",
        }
    }
}

/// A population of players.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Crowd {
    shape: Shape,
    i_squared_percent: u32,
}

impl Crowd {
    pub(crate) const fn new(shape: Shape, i_squared_percent: u32) -> Self {
        Self {
            shape,
            i_squared_percent,
        }
    }

    /// Standard deviation of true effects.
    fn tau(&self) -> f64 {
        let i_squared = f64::from(self.i_squared_percent) / 100.0;
        (i_squared / (1.0 - i_squared)).sqrt()
    }

    /// Another player's true effect.
    pub(crate) fn true_effect(&self, draw: &mut Draw) -> f64 {
        let standard = match self.shape {
            Shape::Normal => draw.normal(),
            Shape::Exponential => draw.exponential() - 1.0,
            Shape::Lognormal => {
                let mean = 0.5_f64.exp();
                (draw.normal().exp() - mean) / (1.0_f64.exp_m1().sqrt() * mean)
            }
        };
        TRUTH + self.tau() * standard
    }

    /// Another player's measured effect.
    pub(crate) fn row(&self, draw: &mut Draw) -> Row {
        measured(self.true_effect(draw), draw)
    }

    /// So many players' measured effects.
    pub(crate) fn rows(&self, k: usize, draw: &mut Draw) -> Vec<Row> {
        (0..k).map(|_| self.row(draw)).collect()
    }
}

/// What is measured of a true effect.
pub(crate) fn measured(true_effect: f64, draw: &mut Draw) -> Row {
    let variance = draw.between(0.5, 2.0);
    (true_effect + variance.sqrt() * draw.normal(), variance)
}

/// The library's form of rows.
pub(crate) fn effects(rows: &[Row], clusters: Option<&[usize]>) -> Result<Effects, NumericError> {
    let (estimates, variances): (Vec<f64>, Vec<f64>) = rows.iter().copied().unzip();
    Effects::new(
        Array1::from(estimates).view(),
        Array1::from(variances).view(),
        clusters.map(ArrayView1::from),
    )
}
