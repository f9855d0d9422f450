//! Between-units covariances by their factors.

use nalgebra::Vector3;

use super::symmetric::Symmetric;
use crate::pooling::sums::{Double, Real};

/// Rank of a between-units covariance. Below [`Rank::Two`] it lies on the boundary of the
/// covariances that are possible.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Rank {
    Zero,
    One,
    Two,
}

/// A between-units covariance `T = F C F'` in normalised outcomes, with `F` invertible and the
/// core `C` the diagonal of 1 and 1, 1 and 0, or 0 and 0, by its rank.
#[derive(Debug, Clone, Copy)]
pub(super) struct Factor {
    pub(super) rank: Rank,
    /// The columns of `F`. At rank two it is lower triangular, which keeps the digits of its
    /// determinant; at rank one the second column is the first turned by a right angle.
    pub(super) columns: [[f64; 2]; 2],
}

impl Factor {
    /// `T = 0`.
    pub(super) const ZERO: Self = Self {
        rank: Rank::Zero,
        columns: [[1.0, 0.0], [0.0, 1.0]],
    };

    /// Standard deviations and a correlation strictly between -1 and 1.
    pub(super) fn full(tau_a: f64, tau_b: f64, rho: f64) -> Self {
        let rest = ((1.0 - rho) * (1.0 + rho)).sqrt();
        Self {
            rank: Rank::Two,
            columns: [[tau_a, rho * tau_b], [0.0, rest * tau_b]],
        }
    }

    /// `T = u u'`.
    pub(super) const fn line([u_a, u_b]: [f64; 2]) -> Self {
        Self {
            rank: Rank::One,
            columns: [[u_a, u_b], [-u_b, u_a]],
        }
    }

    /// The covariance of rank one along the longer axis of this one.
    pub(super) fn principal(&self) -> Self {
        let (Symmetric { aa, ab, bb }, _) = self.covariance::<f64>();
        let angle = 0.5 * (2.0 * ab).atan2(aa - bb);
        let (sine, cosine) = angle.sin_cos();
        let length = (aa * cosine * cosine + 2.0 * ab * sine * cosine + bb * sine * sine).sqrt();
        Self::line([length * cosine, length * sine])
    }

    /// For a covariance of rank one, that with the correlation of the other sign.
    pub(super) const fn mirrored(&self) -> Self {
        let [[u_a, u_b], _] = self.columns;
        Self::line([u_a, -u_b])
    }

    /// For a covariance of rank one, one of rank two that has a quarter of the most precise
    /// sampling error across, too.
    pub(super) fn widened(&self) -> Self {
        let [[u_a, u_b], _] = self.columns;
        let length = u_a.hypot(u_b);
        let (n_a, n_b) = (-0.25 * u_b / length, 0.25 * u_a / length);
        let tau_a = u_a.hypot(n_a);
        Self {
            rank: Rank::Two,
            columns: [
                [tau_a, (u_a * u_b + n_a * n_b) / tau_a],
                [0.0, 0.25 * length / tau_a],
            ],
        }
    }

    /// How long the column that would vanish at a lower rank is: the second beside its row, or, at
    /// rank one, the first beside the most precise sampling error.
    pub(super) fn last_share(&self) -> f64 {
        let [[u_a, u_b], [_, m_b]] = self.columns;
        match self.rank {
            Rank::Zero => 0.0,
            Rank::One => u_a.hypot(u_b),
            Rank::Two => m_b / u_b.hypot(m_b),
        }
    }

    /// The diagonal of the core.
    pub(super) const fn core(&self) -> [f64; 2] {
        match self.rank {
            Rank::Zero => [0.0, 0.0],
            Rank::One => [1.0, 0.0],
            Rank::Two => [1.0, 1.0],
        }
    }

    /// `T` and its determinant.
    pub(super) fn covariance<T: Real>(&self) -> (Symmetric<T>, T) {
        let [u, m] = self.numbers();
        let zero = T::from_double(Double::ZERO);
        match self.rank {
            Rank::Zero => (Symmetric::outer([zero; 2]), zero),
            Rank::One => (Symmetric::outer(u), zero),
            Rank::Two => {
                let determinant = u[0] * m[1];
                let covariance = Symmetric::outer(u).plus(Symmetric::outer(m));
                (covariance, determinant * determinant)
            }
        }
    }

    /// The length, in columns of the second kind, of a step that moves the first column as far as
    /// it or its second entry is long.
    pub(super) fn reach(&self) -> f64 {
        let [[_, u_b], [_, m_b]] = self.columns;
        match self.rank {
            Rank::Zero | Rank::One => 1.0,
            Rank::Two => u_b.hypot(m_b) / m_b,
        }
    }

    /// The factor a step away. The column `u` becomes `(1 + x_1) u + x_2 reach m`, and at rank two
    /// `m` becomes `(1 + x_3) m`.
    pub(super) fn moved(&self, step: &Vector3<f64>) -> Self {
        let [[u_a, u_b], [m_a, m_b]] = self.columns;
        let along = 1.0 + step.x;
        match self.rank {
            Rank::Zero => *self,
            Rank::One => Self::line([along * u_a + step.y * m_a, along * u_b + step.y * m_b]),
            Rank::Two => Self {
                rank: Rank::Two,
                columns: [
                    [along * u_a, along * u_b + step.y * u_b.hypot(m_b)],
                    [0.0, (1.0 + step.z) * m_b],
                ],
            },
        }
    }

    fn numbers<T: Real>(&self) -> [[T; 2]; 2] {
        let number = |x: f64| T::from_double(Double::from(x));
        self.columns.map(|column| column.map(number))
    }
}
