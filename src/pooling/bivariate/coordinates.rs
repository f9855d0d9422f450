//! Coordinates in which a likelihood keeps its digits.

use nalgebra::Matrix3;

use super::factor::Factor;
use super::symmetric::Symmetric;
use crate::pooling::sums::{Double, Real};

/// Coordinates in which `V_i` becomes `C S_i C' + X core X'` with `X = C F`.
#[derive(Debug)]
pub(super) struct Coordinates<T> {
    /// `C`, lower triangular.
    pub(super) rows: [[T; 2]; 2],
    /// The square of the determinant of `C^-1`.
    pub(super) squared_determinant: T,
    /// `X`, by rows.
    pub(super) factor: [[T; 2]; 2],
    /// `X core X'` with its determinant.
    pub(super) core: Symmetric<T>,
    pub(super) core_determinant: T,
}

impl<T: Real> Coordinates<T> {
    /// `C` is the inverse of the triangular root of `T + 1`. The most precise units have sampling
    /// variances of about 1, so their `V_i` becomes about 1 however nearly singular `T` is and
    /// however small it is beside the sampling variances.
    pub(super) fn of(factor: &Factor) -> Self {
        let (between, determinant) = factor.covariance::<f64>();
        let along = (1.0 + between.aa).sqrt();
        let rest = (1.0 + between.aa + between.bb + determinant).sqrt() / along;
        Self::new(factor, [along, between.ab / along, rest])
    }

    /// Those of the outcomes.
    pub(super) fn natural(factor: &Factor) -> Self {
        Self::new(factor, [1.0, 0.0, 1.0])
    }

    /// `root` is `C^-1`: its first column and the rest of its second.
    fn new(factor: &Factor, root: [f64; 3]) -> Self {
        let [along, across, rest] = root.map(Double::from);
        let solved = factor.columns.map(|[a, b]| {
            let first = Double::from(a) / along;
            [first, (Double::from(b) - across * first) / rest]
        });
        let [[u_a, u_b], [m_a, m_b]] = solved;
        let [core_a, core_b] = factor.core().map(Double::from);
        let diagonal = Symmetric {
            aa: core_a,
            ab: Double::ZERO,
            bb: core_b,
        };
        let rows = [[u_a, m_a], [u_b, m_b]];
        let volume = u_a * m_b - u_b * m_a;
        let inverse = [
            [Double::ONE / along, Double::ZERO],
            [-across / (along * rest), Double::ONE / rest],
        ];
        let cast = |rows: [[Double; 2]; 2]| rows.map(|row| row.map(T::from_double));
        Self {
            rows: cast(inverse),
            squared_determinant: T::from_double((along * rest).squared()),
            factor: cast(rows),
            core: diagonal.between(rows).cast(T::from_double),
            core_determinant: T::from_double(volume.squared() * core_a * core_b),
        }
    }

    /// How the entries `(aa, ab, bb)` of `X B X'` follow from those of `B`.
    pub(super) fn change(&self) -> Matrix3<f64> {
        let [[x, y], [z, w]] = self
            .factor
            .map(|row| row.map(|entry| entry.to_double().value()));
        Matrix3::new(
            x * x,
            2.0 * x * y,
            y * y,
            x * z,
            x * w + y * z,
            y * w,
            z * z,
            2.0 * z * w,
            w * w,
        )
    }
}
