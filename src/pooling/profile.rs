//! The sums over effects from which every estimate is formed, as functions of `tau_squared`.
//!
//! Two measures keep the digits at any scale. Weights are taken relative to the largest,
//! `u_i = (v_min + tau_squared) / (v_i + tau_squared)`, so they lie in `(0, 1]`; and estimates are
//! taken relative to the estimate `y_m` with that largest weight. An effect that outweighs the
//! rest by many orders of magnitude then has the residual `-delta`, which is known to full
//! relative precision, and traces of the projection `P` can be written as sums of positive parts.

use super::effects::Effects;
use super::reason::{Estimable, Reason};
use super::sums::{Double, Real, compensated_sum};

/// Effects prepared for repeated evaluation.
#[derive(Debug)]
pub(crate) struct Profile<'a> {
    effects: &'a Effects,
    heaviest_estimate: f64,
    smallest_variance: f64,
    /// Variance and exact distance from the heaviest estimate of every effect but the heaviest,
    /// in canonical order.
    rest: Vec<(f64, Double)>,
}

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
    residual: T,
    /// `b^2 y'PPy`, the sum of `u^2 r^2`.
    projected: T,
    /// `b^3 y'PPPy`.
    projected_twice: T,
    /// `b tr P`.
    trace: T,
    /// `b^2 tr PP`.
    trace_of_square: T,
}

impl<T: Real> Moments<T> {
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

impl<'a> Profile<'a> {
    /// Prepares effects.
    ///
    /// # Errors
    /// [`Reason::NoEffects`] without effects.
    pub(crate) fn new(effects: &'a Effects) -> Estimable<Self> {
        let variances = effects.variances();
        let estimates = effects.estimates();
        let rows = || estimates.iter().copied().zip(variances.iter().copied());
        let heaviest = rows()
            .enumerate()
            .reduce(|best, row| if row.1.1 < best.1.1 { row } else { best });
        let (heaviest_idx, (heaviest_estimate, smallest_variance)) =
            heaviest.ok_or(Reason::NoEffects)?;
        let rest = rows()
            .enumerate()
            .filter(|&(idx, _)| idx != heaviest_idx)
            .map(|(_, (estimate, variance))| (variance, Double::sum(estimate, -heaviest_estimate)))
            .collect();
        Ok(Self {
            effects,
            heaviest_estimate,
            smallest_variance,
            rest,
        })
    }

    /// The effects.
    pub(crate) const fn effects(&self) -> &'a Effects {
        self.effects
    }

    /// The estimate of the effect with the smallest variance, from which distances are taken.
    pub(crate) const fn heaviest_estimate(&self) -> f64 {
        self.heaviest_estimate
    }

    /// The smallest sampling variance.
    pub(crate) const fn smallest_variance(&self) -> f64 {
        self.smallest_variance
    }

    /// The sums in `f64` with compensation: a few units in the last place, for searching.
    pub(crate) fn quick(&self, tau_squared: f64) -> Moments<f64> {
        self.moments(tau_squared)
    }

    /// The sums to about 30 digits, for what leaves.
    pub(crate) fn precise(&self, tau_squared: f64) -> Moments<Double> {
        self.moments(tau_squared)
    }

    fn moments<T: Real>(&self, tau_squared: f64) -> Moments<T> {
        let base = T::from_sum(self.smallest_variance, tau_squared);
        let relative_weight = |variance: f64| base / T::from_sum(variance, tau_squared);
        let [mut a, mut b, mut c, mut shift] = [Double::ZERO; 4];
        for &(variance, distance) in &self.rest {
            let u = relative_weight(variance);
            let squared = u * u;
            a = T::accumulate(a, u);
            b = T::accumulate(b, squared);
            c = T::accumulate(c, squared * u);
            shift = T::accumulate(shift, u * T::from_double(distance));
        }
        let [a, b, c] = [a, b, c].map(T::from_double);
        let one = T::from_double(Double::ONE);
        let weight = one + a;
        let offset = T::from_double(shift) / weight;

        // The heaviest effect has weight 1 and residual -offset.
        let own = offset * offset;
        let zero = T::from_double(Double::ZERO);
        let [mut residual, mut projected, mut cubed] = [own.to_double(); 3];
        let mut crossed = (zero - offset).to_double();
        for &(variance, distance) in &self.rest {
            let u = relative_weight(variance);
            let r = T::from_double(distance) - offset;
            let ur = u * r;
            let uur = u * ur;
            residual = T::accumulate(residual, ur * r);
            projected = T::accumulate(projected, ur * ur);
            cubed = T::accumulate(cubed, uur * ur);
            crossed = T::accumulate(crossed, uur);
        }
        let [residual, projected, cubed, crossed] =
            [residual, projected, cubed, crossed].map(T::from_double);

        // Written out in 1 and the rest, tr P and tr PP lose no digits when the rest is tiny:
        // s1^2 tr PP = s2 s1^2 - 2 s3 s1 + s2^2 with s1 = 1 + a, s2 = 1 + b, s3 = 1 + c.
        let two = one + one;
        let trace = (two * a + (a * a - b)) / weight;
        let trace_of_square =
            (a * a + (two + one) * b + two * (a * b - c) + (a * a * b - two * c * a + b * b))
                / (weight * weight);
        Moments {
            df: self.df(),
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

    /// `k - 1`.
    #[expect(clippy::cast_precision_loss, reason = "counts stay far below 2^53")]
    pub(crate) fn df(&self) -> f64 {
        self.rest.len() as f64
    }

    /// The weighted mean.
    pub(crate) fn mean(&self, moments: &Moments<Double>) -> f64 {
        self.precise_mean(moments).value()
    }

    /// The weighted mean to about 30 digits.
    pub(crate) fn precise_mean(&self, moments: &Moments<Double>) -> Double {
        Double::from(self.heaviest_estimate) + moments.offset
    }

    /// Residual of every effect in canonical order.
    pub(crate) fn residuals(&self, moments: &Moments<Double>) -> impl Iterator<Item = f64> {
        let (heaviest, offset) = (self.heaviest_estimate, moments.offset);
        self.effects
            .estimates()
            .into_iter()
            .map(move |&y| (Double::sum(y, -heaviest) - offset).value())
    }

    /// Variance of every effect, sampling variance plus `tau_squared`, in canonical order.
    pub(crate) fn total_variances(&self, tau_squared: f64) -> impl Iterator<Item = f64> {
        self.effects
            .variances()
            .into_iter()
            .map(move |&v| v + tau_squared)
    }

    /// Twice the restricted log-likelihood up to a constant (Harville 1977):
    /// `-sum ln(v + tau_squared) - ln sum w - Q`.
    pub(crate) fn restricted_log_likelihood(&self, tau_squared: f64) -> f64 {
        let moments = self.quick(tau_squared);
        let logarithms = compensated_sum(self.total_variances(tau_squared).map(f64::ln));
        -logarithms - moments.total_weight().ln() - moments.q()
    }

    /// The unweighted sum of squares about the unweighted mean.
    pub(crate) fn sum_of_squares(&self) -> f64 {
        let distances = || self.rest.iter().map(|&(_, distance)| distance.value());
        let mean = compensated_sum(distances()) / (self.df() + 1.0);
        mean * mean + compensated_sum(distances().map(|d| (d - mean) * (d - mean)))
    }

    /// A bound above which the score of the restricted likelihood is negative; infinite when the
    /// squares overflow.
    pub(crate) fn upper_bound(&self) -> f64 {
        self.upper_bound_by(self.df())
    }

    /// As [`Profile::upper_bound`] for any `P` between 0 and `W` with
    /// `tr P >= df / (v_max + t)`; see [`score_bound`].
    pub(crate) fn upper_bound_by(&self, df: f64) -> f64 {
        let mean_square = self.sum_of_squares() / df;
        score_bound(mean_square, self.smallest_variance, self.largest_variance())
    }

    /// The largest sampling variance.
    pub(crate) fn largest_variance(&self) -> f64 {
        self.rest.iter().fold(
            self.smallest_variance,
            |best, &(v, _)| if best < v { v } else { best },
        )
    }
}

/// The `tau_squared` above which `x^2 > mean_square (x + v_max - v_min)` with
/// `x = v_min + tau_squared`; see [`Profile::upper_bound`].
pub(crate) fn score_bound(mean_square: f64, smallest: f64, largest: f64) -> f64 {
    let range = largest - smallest;
    let x = 0.5 * (mean_square + (mean_square * mean_square + 4.0 * mean_square * range).sqrt());
    // A little is added for the rounding of the bound itself.
    x * (1.0 + 1e-9) - smallest
}
