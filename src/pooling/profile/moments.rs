//! The sums and what follows from them.

use crate::pooling::sums::{Double, Real};

/// The sums at one value of `tau_squared`, over relative weights `u`.
///
/// With `b` = [`Moments::base`], the absolute weights are `w = u / b`.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Moments<T> {
    /// `k - 1`.
    pub(crate) df: f64,
    /// `v_min + tau_squared`, the variance that a relative weight of 1 stands for.
    pub(crate) base: T,
    /// Sum of `u`.
    pub(crate) weight: T,
    /// Weighted mean minus the heaviest estimate.
    pub(crate) offset: T,
    /// Sum of `u r^2`; Cochran's Q is this over `b`.
    pub(super) residual: T,
    /// `b^2 y'PPy`, the sum of `u^2 r^2`.
    pub(super) projected: T,
    /// `b^3 y'PPPy`.
    pub(super) projected_twice: T,
    /// `b tr P`.
    pub(super) trace: T,
    /// `b^2 tr PP`.
    pub(super) trace_of_square: T,
}

impl<T: Real> Moments<T> {
    /// From the sums of the first three powers of `u` over all effects but the heaviest, and those
    /// of `u r^2`, `u^2 r^2`, `u^3 r^2` and `u^2 r` over all.
    pub(super) fn new(df: f64, base: T, offset: T, [a, b, c]: [T; 3], residuals: [T; 4]) -> Self {
        let [residual, projected, cubed, crossed] = residuals;
        let one = T::from_double(Double::ONE);
        let weight = one + a;
        // Written out in 1 and the rest, tr P and tr PP lose no digits when the rest is tiny:
        // s1^2 tr PP = s2 s1^2 - 2 s3 s1 + s2^2 with s1 = 1 + a, s2 = 1 + b, s3 = 1 + c.
        let two = one + one;
        let trace = (two * a + (a * a - b)) / weight;
        let trace_of_square =
            (a * a + (two + one) * b + two * (a * b - c) + (a * a * b - two * c * a + b * b))
                / (weight * weight);
        Self {
            df,
            base,
            weight,
            offset,
            residual,
            projected,
            projected_twice: cubed - crossed * crossed / weight,
            trace,
            trace_of_square,
        }
    }

    /// Cochran's Q, `sum w r^2` (Cochran 1954).
    pub(crate) fn q(&self) -> T {
        self.residual / self.base
    }

    /// `tr P = sum w - sum w^2 / sum w`.
    pub(crate) fn trace(&self) -> T {
        self.trace / self.base
    }

    /// `tr PP`, twice the Fisher information of `tau_squared` under restricted likelihood.
    pub(crate) fn trace_of_square(&self) -> T {
        self.trace_of_square / self.base / self.base
    }

    /// `sum w`.
    pub(crate) fn total_weight(&self) -> T {
        self.weight / self.base
    }

    /// `y'PPy`, `y'PPPy`, `tr P` and `tr PP` times the second, third, first and second power of
    /// `base`, which is no larger than that of the heaviest effect.
    pub(crate) fn parts(&self, base: T) -> [T; 4] {
        let ratio = base / self.base;
        let squared = ratio * ratio;
        [
            self.projected * squared,
            self.projected_twice * squared * ratio,
            self.trace * ratio,
            self.trace_of_square * squared,
        ]
    }

    /// `1 - tr P / y'PPy`, which has the sign of the score of the restricted likelihood, and its
    /// derivative. For equal variances it is linear in `tau_squared`. By
    /// `d P / d tau_squared = -PP`, the slope is `(tr PP y'PPy - 2 tr P y'PPPy) / (y'PPy)^2`.
    pub(crate) fn score(&self) -> (T, T) {
        let one = T::from_double(Double::ONE);
        let ratio = self.base * self.trace / self.projected;
        let twice = self.projected_twice + self.projected_twice;
        let slope = self.trace_of_square / self.projected
            - (self.trace / self.projected) * (twice / self.projected);
        (one - ratio, slope)
    }

    /// `1 - target / Q`, which has the sign of `Q - target`, and its derivative. For equal
    /// variances it is linear in `tau_squared`.
    pub(crate) fn q_excess(&self, target: f64) -> (T, T) {
        let one = T::from_double(Double::ONE);
        let ratio = T::from_double(Double::from(target)) / self.q();
        let zero = T::from_double(Double::ZERO);
        (
            one - ratio,
            zero - ratio * (self.projected / self.residual) / self.base,
        )
    }
}

impl Moments<Double> {
    /// The same in `f64`.
    pub(super) fn rounded(self) -> Moments<f64> {
        Moments {
            df: self.df,
            base: self.base.value(),
            weight: self.weight.value(),
            offset: self.offset.value(),
            residual: self.residual.value(),
            projected: self.projected.value(),
            projected_twice: self.projected_twice.value(),
            trace: self.trace.value(),
            trace_of_square: self.trace_of_square.value(),
        }
    }
}
