//! The sums over effects from which every estimate is formed, as functions of `tau_squared`.
//!
//! Two measures keep the digits at any scale. Weights are taken relative to the largest,
//! `u_i = (v_min + tau_squared) / (v_i + tau_squared)`, so they lie in `(0, 1]`; and estimates are
//! taken relative to the estimate `y_m` with that largest weight. An effect that outweighs the
//! rest by many orders of magnitude then has the residual `-delta`, which is known to full
//! relative precision, and traces of the projection `P` can be written as sums of positive parts.
//!
//! From [`MANY`] effects on, sums are formed as [`many`] says, as long as no weight is so large that
//! it takes the above.

mod many;
mod moments;

use super::clusters::Batches;
use super::effects::Effects;
use super::hills::SEARCH_TOLERANCE;
use super::lanes::{self, Columns};
use super::reason::{Estimable, Reason};
use super::sums::{Double, Real, compensated_sum};
use many::Many;
pub(crate) use moments::Moments;
use pulp::{Arch, Simd, WithSimd};
use std::marker::PhantomData;
use std::sync::OnceLock;

/// Effects from which on [`many`] forms the sums. With fewer, figures that were published keep their
/// last digit.
pub(super) const MANY: usize = 512;

/// Effects prepared for repeated evaluation. Copies none of them.
#[derive(Debug)]
pub(crate) struct Profile<'a> {
    effects: &'a Effects,
    heaviest_estimate: f64,
    /// The smallest and the largest variance.
    ends: (f64, f64),
    /// The effects before and behind the heaviest one, in canonical order.
    rest: [Columns<'a>; 2],
    many: Option<Many>,
    batches: OnceLock<Option<Batches>>,
}

impl<'a> Profile<'a> {
    /// Prepares effects.
    ///
    /// # Errors
    /// [`Reason::NoEffects`] without effects.
    pub(crate) fn new(effects: &'a Effects) -> Estimable<Self> {
        let (estimates, variances) = effects.slices();
        let ends = lanes::extremes(variances);
        // The first of the smallest ones, whatever the order of the input was.
        let heaviest = variances.iter().position(|&variance| variance <= ends.0);
        let heaviest = heaviest.ok_or(Reason::NoEffects)?;
        let (estimates_before, estimates) = estimates.split_at(heaviest);
        let (variances_before, variances) = variances.split_at(heaviest);
        let (Some((&heaviest_estimate, estimates)), Some((_, variances))) =
            (estimates.split_first(), variances.split_first())
        else {
            return Err(Reason::NoEffects);
        };
        let before = Columns {
            variances: variances_before,
            estimates: estimates_before,
        };
        let behind = Columns {
            variances,
            estimates,
        };
        let has_many = MANY <= effects.k();
        Ok(Self {
            effects,
            heaviest_estimate,
            ends,
            rest: [before, behind],
            many: has_many
                .then(|| Many::new(effects, heaviest_estimate, ends))
                .flatten(),
            batches: OnceLock::new(),
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
        self.ends.0
    }

    /// Variance and exact distance from the heaviest estimate of every effect but the heaviest, in
    /// canonical order.
    fn rest(&self) -> impl Iterator<Item = (f64, Double)> {
        let heaviest = self.heaviest_estimate;
        self.rest.iter().flat_map(move |part| {
            let rows = part.variances.iter().zip(part.estimates);
            rows.map(move |(&v, &y)| (v, Double::sum(y, -heaviest)))
        })
    }

    /// The sums in `f64` with compensation: a few units in the last place.
    pub(crate) fn quick(&self, tau_squared: f64) -> Moments<f64> {
        match self.of_many(tau_squared) {
            Some(moments) => moments.rounded(),
            None => self.moments(tau_squared),
        }
    }

    /// The sums for searching: of many effects to eight digits or so, without passing the data.
    pub(crate) fn rough(&self, tau_squared: f64) -> Moments<f64> {
        let rough = self
            .many
            .as_ref()
            .and_then(|many| many.rough(&self.rest, self.ends.0 + tau_squared, tau_squared));
        rough.unwrap_or_else(|| self.quick(tau_squared))
    }

    /// The sums for what leaves: to about 30 digits, of many effects to the last of 16.
    pub(crate) fn precise(&self, tau_squared: f64) -> Moments<Double> {
        self.of_many(tau_squared)
            .unwrap_or_else(|| self.moments(tau_squared))
    }

    fn of_many(&self, tau_squared: f64) -> Option<Moments<Double>> {
        let many = self.many.as_ref()?;
        many.moments(&self.rest, self.ends.0 + tau_squared, tau_squared)
    }

    /// The clusters of many effects by size.
    pub(crate) fn batches(&self) -> Option<&Batches> {
        self.many.as_ref()?;
        self.batches
            .get_or_init(|| Batches::new(self.effects))
            .as_ref()
    }

    /// How small a Newton step from a root that was found with [`Profile::rough`] leaves nothing to
    /// mend, as a share of the root.
    pub(crate) const fn last_step(&self) -> f64 {
        if self.many.is_some() {
            many::LAST_STEP
        } else {
            SEARCH_TOLERANCE
        }
    }

    fn moments<T: Real>(&self, tau_squared: f64) -> Moments<T> {
        let profile = self;
        Arch::new().dispatch(Pass {
            profile,
            tau_squared,
            of: PhantomData,
        })
    }

    #[inline(always)]
    fn passed_moments<T: Real>(&self, tau_squared: f64) -> Moments<T> {
        let base = T::from_sum(self.ends.0, tau_squared);
        let relative_weight = |variance: f64| base / T::from_sum(variance, tau_squared);
        let [mut a, mut b, mut c, mut shift] = [Double::ZERO; 4];
        for (variance, distance) in self.rest() {
            let u = relative_weight(variance);
            let squared = u * u;
            a = T::accumulate(a, u);
            b = T::accumulate(b, squared);
            c = T::accumulate(c, squared * u);
            shift = T::accumulate(shift, u * T::from_double(distance));
        }
        let [a, b, c] = [a, b, c].map(T::from_double);
        let one = T::from_double(Double::ONE);
        let offset = T::from_double(shift) / (one + a);

        // The heaviest effect has weight 1 and residual -offset.
        let own = offset * offset;
        let zero = T::from_double(Double::ZERO);
        let [mut residual, mut projected, mut cubed] = [own.to_double(); 3];
        let mut crossed = (zero - offset).to_double();
        for (variance, distance) in self.rest() {
            let u = relative_weight(variance);
            let r = T::from_double(distance) - offset;
            let ur = u * r;
            let uur = u * ur;
            residual = T::accumulate(residual, ur * r);
            projected = T::accumulate(projected, ur * ur);
            cubed = T::accumulate(cubed, uur * ur);
            crossed = T::accumulate(crossed, uur);
        }
        let residuals = [residual, projected, cubed, crossed].map(T::from_double);
        Moments::new(self.df(), base, offset, [a, b, c], residuals)
    }

    /// `k - 1`.
    pub(crate) fn df(&self) -> f64 {
        df_of(self.effects)
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

    /// Share of every effect in the mean, in canonical order.
    pub(crate) fn shares(&self, tau_squared: f64, base: f64, weight: f64) -> Vec<f64> {
        lanes::shares(self.effects.slices().1, tau_squared, base, weight)
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
        let by_classes = self.many.as_ref();
        let by_classes =
            by_classes.and_then(|many| many.sum_of_squares(&self.rest, self.df() + 1.0));
        by_classes.unwrap_or_else(|| self.passed_sum_of_squares())
    }

    fn passed_sum_of_squares(&self) -> f64 {
        let distances = || self.rest().map(|(_, distance)| distance.value());
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
        score_bound(mean_square, self.ends.0, self.largest_variance())
    }

    /// The largest sampling variance.
    pub(crate) const fn largest_variance(&self) -> f64 {
        self.ends.1
    }
}

/// `k - 1`.
#[expect(clippy::cast_precision_loss, reason = "counts stay far below 2^53")]
fn df_of(effects: &Effects) -> f64 {
    effects.k() as f64 - 1.0
}

/// The sums the long way, with whatever the processor has for the fused operation in products; the
/// bits are the same without.
#[derive(Debug)]
struct Pass<'a, T> {
    profile: &'a Profile<'a>,
    tau_squared: f64,
    of: PhantomData<T>,
}

impl<T: Real> WithSimd for Pass<'_, T> {
    type Output = Moments<T>;

    #[inline(always)]
    fn with_simd<S: Simd>(self, _: S) -> Moments<T> {
        self.profile.passed_moments(self.tau_squared)
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
