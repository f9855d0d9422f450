//! The sums of a [`super::Profile`] over many effects: in one pass, with distances taken from the
//! median estimate, in `f64` with compensation.
//!
//! Residuals are formed from the sums, `sum u r^2 = sum u d^2 - 2 o sum u d + o^2 sum u` for
//! distances `d` from an origin and the mean at `o` from there, which loses digits when the mean is
//! far from the origin or one effect outweighs the others. Where that would cost more than three bits,
//! and where variances lie outside what the arithmetic was made for, there is no answer, and the
//! profile forms the sums the long way.

use std::sync::OnceLock;

use super::Moments;
use crate::pooling::effects::Effects;
use crate::pooling::lanes::{Columns, PowerSums, Question, power_sums};
use crate::pooling::sums::{Double, Real};
use crate::pooling::variance_classes::VarianceClasses;

/// A root from classes of variances is right to some parts in a thousand million; a Newton step of
/// this size leaves its square.
pub(super) const LAST_STEP: f64 = 1e-8;

/// Variances beyond these powers of two would lose bits below the smallest `f64`, or overflow, when
/// cubed.
const SMALLEST: f64 = 1e-75;
const LARGEST: f64 = 1e75;

/// What of a sum has to be left of its largest part.
const LEFT: f64 = 0.125;

/// What is the same for every `tau_squared`.
#[derive(Debug)]
pub(super) struct Many {
    df: f64,
    /// From where distances are taken.
    origin: f64,
    /// Distance of the heaviest estimate from there.
    heaviest: Double,
    /// The smallest and the largest variance.
    ends: (f64, f64),
    classes: OnceLock<Option<VarianceClasses>>,
}

impl Many {
    /// `None` when the variances, which lie within `ends`, are too small or too large.
    pub(super) fn new(effects: &Effects, heaviest: f64, ends: (f64, f64)) -> Option<Self> {
        if ends.0 < SMALLEST || LARGEST < ends.1 {
            return None;
        }
        let (estimates, _) = effects.slices();
        let origin = *estimates.get(estimates.len() / 2)?;
        Some(Self {
            df: super::df_of(effects),
            origin,
            heaviest: Double::sum(heaviest, -origin),
            ends,
            classes: OnceLock::new(),
        })
    }

    /// The sums over the effects.
    pub(super) fn moments(
        &self,
        rest: &[Columns<'_>],
        base: f64,
        tau_squared: f64,
    ) -> Option<Moments<Double>> {
        let question = Question {
            tau_squared,
            base,
            origin: self.origin,
        };
        self.form(&power_sums(rest, question), Double::from(base))
    }

    /// The sums by classes of variances.
    pub(super) fn rough(
        &self,
        rest: &[Columns<'_>],
        base: f64,
        tau_squared: f64,
    ) -> Option<Moments<f64>> {
        let classes = self.classes(rest)?;
        self.form(&classes.power_sums(tau_squared, base), base)
    }

    /// The sum of squares of all `k` estimates about their mean.
    pub(super) fn sum_of_squares(&self, rest: &[Columns<'_>], k: f64) -> Option<f64> {
        let (sum, squares) = self.classes(rest)?.distances();
        let heaviest = self.heaviest.value();
        let (sum, squares) = (sum + heaviest, squares + heaviest * heaviest);
        let about_mean = squares - sum * (sum / k);
        (LEFT * squares <= about_mean).then_some(about_mean)
    }

    fn classes(&self, rest: &[Columns<'_>]) -> Option<&VarianceClasses> {
        let classes = || VarianceClasses::new(rest, self.origin, self.ends);
        self.classes.get_or_init(classes).as_ref()
    }

    fn form<T: Real>(&self, sums: &PowerSums<T>, base: T) -> Option<Moments<T>> {
        let PowerSums([first, second, third]) = sums;
        let [a, b, c] = [first, second, third].map(|&[u, _, _]| u);
        let one = T::from_double(Double::ONE);
        let heaviest = T::from_double(self.heaviest);
        let mean = (heaviest + first[1]) / (one + a);
        // The heaviest effect has weight 1.
        let own = heaviest - mean;
        let twice = mean + mean;
        let about_mean = |&[u, d, dd]: &[T; 3]| {
            let squares = own * own + (dd - twice * d + mean * mean * u);
            (squares, own * own + dd)
        };
        let [residual, projected, cubed] = [first, second, third].map(about_mean);
        let crossed = own + (second[1] - mean * b);
        let zero = T::from_double(Double::ZERO);
        let residuals = [residual.0, projected.0, cubed.0, crossed];
        let moments = Moments::new(self.df, base, zero - own, [a, b, c], residuals);
        let kept = [
            residual,
            projected,
            cubed,
            (moments.projected_twice, cubed.0),
            (moments.trace, a),
            (moments.trace_of_square, b),
        ];
        let is_left = |(what, of): (T, T)| {
            let (what, of) = (what.to_double().value(), of.to_double().value());
            LEFT * of <= what && what < f64::INFINITY
        };
        kept.into_iter().all(is_left).then_some(moments)
    }
}

#[cfg(test)]
mod tests;
