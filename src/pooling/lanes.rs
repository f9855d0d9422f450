//! Sums over many effects, eight running side by side in the registers of the processor.
//!
//! Effect `i` of a column always goes to sum `i mod 8`, sums are taken over blocks, blocks are added
//! with compensation, and the eight are added in one order at the end. So the bits depend neither on
//! how wide the registers are nor on the order in which a caller gave the effects. No operation is
//! fused with another.
//!
//! A block adds 8 terms to each sum, so that a sum of terms of one sign is right to 4 units in the
//! last place at worst, and to a small part of one where the terms differ: their rounding errors
//! cancel.

use pulp::{Arch, Simd, WithSimd};
use std::ops::{Add, Div, Mul, Sub};

use super::sums::Double;

/// Sums that run side by side.
pub(super) const LANES: usize = 8;

/// Terms that a block adds to each of the sums.
const BLOCK: usize = 8;

/// As many numbers as one register holds.
#[derive(Debug, Clone, Copy)]
pub(super) struct Lane<S: Simd>(S, S::f64s);

impl<S: Simd> Lane<S> {
    #[inline(always)]
    pub(super) const fn new(simd: S, values: S::f64s) -> Self {
        Self(simd, values)
    }

    #[inline(always)]
    pub(super) fn splat(simd: S, value: f64) -> Self {
        Self(simd, simd.splat_f64s(value))
    }

    /// The register of this number of the eight.
    #[inline(always)]
    pub(super) fn part(simd: S, eight: &[f64; LANES], register: usize) -> Self {
        let values = S::as_simd_f64s(eight).0.get(register);
        values.map_or_else(|| Self::splat(simd, 0.0), |&values| Self(simd, values))
    }

    /// Writes the register to as many places.
    #[inline(always)]
    pub(super) fn put(self, places: &mut [f64]) {
        if let Some(first) = S::as_mut_simd_f64s(places).0.first_mut() {
            *first = self.1;
        }
    }

    #[inline(always)]
    pub(super) fn sqrt(self) -> Self {
        Self(self.0, self.0.sqrt_f64s(self.1))
    }
}

/// The four operations of a register.
macro_rules! operations {
    ($($operation:ident $method:ident $of_simd:ident,)+) => {
        $(impl<S: Simd> $operation for Lane<S> {
            type Output = Self;

            #[inline(always)]
            fn $method(self, other: Self) -> Self {
                Self(self.0, self.0.$of_simd(self.1, other.1))
            }
        })+
    };
}

operations! {
    Add add add_f64s,
    Sub sub sub_f64s,
    Mul mul mul_f64s,
    Div div div_f64s,
}

/// A compensated sum in every place of a register.
#[derive(Debug, Clone, Copy)]
pub(super) struct Total<S: Simd> {
    high: Lane<S>,
    low: Lane<S>,
}

impl<S: Simd> Total<S> {
    #[inline(always)]
    pub(super) fn zero(simd: S) -> Self {
        let zero = Lane::splat(simd, 0.0);
        Self {
            high: zero,
            low: zero,
        }
    }

    /// Adds a term; as [`super::sums::two_sum`].
    #[inline(always)]
    pub(super) fn add(&mut self, term: Lane<S>) {
        let sum = self.high + term;
        let rounded = sum - self.high;
        let error = (self.high - (sum - rounded)) + (term - rounded);
        self.high = sum;
        self.low = self.low + error;
    }

    /// The sum in every place, rounded.
    #[inline(always)]
    pub(super) fn value(&self) -> Lane<S> {
        self.high + self.low
    }
}

/// The eight sums that some registers hold, added in order.
#[inline(always)]
pub(super) fn gather<S: Simd>(registers: impl IntoIterator<Item = Total<S>>) -> Double {
    let mut sum = Double::ZERO;
    for total in registers.into_iter().take(n_registers::<S>()) {
        let (mut high, mut low) = ([0.0; LANES], [0.0; LANES]);
        total.high.put(&mut high);
        total.low.put(&mut low);
        for (high, low) in high.iter().zip(low).take(S::F64_LANES) {
            sum = sum + Double::sum(*high, low);
        }
    }
    sum
}

/// Registers that hold eight numbers.
pub(super) const fn n_registers<S: Simd>() -> usize {
    LANES / S::F64_LANES
}

/// Two parallel columns, with their last place left to whoever reads: what does not fill eight
/// places any more is filled up with effects that have no weight.
#[derive(Debug, Clone, Copy)]
pub(super) struct Columns<'a> {
    pub(super) variances: &'a [f64],
    pub(super) estimates: &'a [f64],
}

impl<'a> Columns<'a> {
    /// What fills eights, and the rest filled up.
    fn eights(&self, origin: f64) -> (Self, [[f64; LANES]; 2]) {
        let n = self.variances.len().min(self.estimates.len());
        let whole = n - n % LANES;
        let (variances, last_variances) = self.variances.split_at(whole);
        let (estimates, last_estimates) = self.estimates.split_at(whole);
        let mut last = [[f64::INFINITY; LANES], [origin; LANES]];
        let [of_variances, of_estimates] = &mut last;
        for (place, value) in of_variances.iter_mut().zip(last_variances) {
            *place = *value;
        }
        for (place, value) in of_estimates.iter_mut().zip(last_estimates) {
            *place = *value;
        }
        let whole: Columns<'a> = Columns {
            variances,
            estimates,
        };
        (whole, last)
    }
}

/// `sum u^p`, `sum u^p r` and `sum u^p r^2` for `p` of 1, 2 and 3 in that order, with relative
/// weights `u = base / (v + tau_squared)` and distances `r` from an origin.
#[derive(Debug, Clone, Copy)]
pub(super) struct PowerSums<T>(pub(super) [[T; 3]; 3]);

/// What [`power_sums`] is asked for.
#[derive(Debug, Clone, Copy)]
pub(super) struct Question {
    /// Added to every sampling variance.
    pub(super) tau_squared: f64,
    /// The variance that a relative weight of 1 stands for.
    pub(super) base: f64,
    /// From where distances are taken.
    pub(super) origin: f64,
}

/// The sums over all effects of `parts`, in one pass and with one division an effect.
pub(super) fn power_sums(parts: &[Columns<'_>], question: Question) -> PowerSums<Double> {
    Arch::new().dispatch(Pass { parts, question })
}

#[derive(Debug)]
struct Pass<'a> {
    parts: &'a [Columns<'a>],
    question: Question,
}

impl WithSimd for Pass<'_> {
    type Output = PowerSums<Double>;

    #[inline(always)]
    fn with_simd<S: Simd>(self, simd: S) -> Self::Output {
        let mut totals = [[Total::zero(simd); 9]; LANES];
        for part in self.parts {
            let (whole, [variances, estimates]) = part.eights(self.question.origin);
            let last = Columns {
                variances: &variances,
                estimates: &estimates,
            };
            for columns in [whole, last] {
                add_up(simd, columns, self.question, &mut totals);
            }
        }
        let mut sums = [[Double::ZERO; 3]; 3];
        for (place, sum) in sums.iter_mut().flatten().enumerate() {
            *sum = gather(
                totals
                    .iter()
                    .filter_map(|totals| totals.get(place).copied()),
            );
        }
        PowerSums(sums)
    }
}

#[inline(always)]
fn add_up<S: Simd>(
    simd: S,
    columns: Columns<'_>,
    question: Question,
    totals: &mut [[Total<S>; 9]; LANES],
) {
    let (variances, _) = S::as_simd_f64s(columns.variances);
    let (estimates, _) = S::as_simd_f64s(columns.estimates);
    let n = n_registers::<S>();
    let tau_squared = Lane::splat(simd, question.tau_squared);
    let base = Lane::splat(simd, question.base);
    let origin = Lane::splat(simd, question.origin);
    let zero = Lane::splat(simd, 0.0);
    let blocks = variances.chunks(BLOCK * n);
    for (variances, estimates) in blocks.zip(estimates.chunks(BLOCK * n)) {
        let mut sums = [[zero; 9]; LANES];
        let eights = variances.chunks_exact(n).zip(estimates.chunks_exact(n));
        for (variances, estimates) in eights {
            for ((&variance, &estimate), sums) in variances.iter().zip(estimates).zip(&mut sums) {
                let u = base / (Lane::new(simd, variance) + tau_squared);
                let r = Lane::new(simd, estimate) - origin;
                let (uu, ur) = (u * u, u * r);
                let (uuu, uur, urr) = (uu * u, u * ur, ur * r);
                let (uuur, uurr) = (u * uur, ur * ur);
                let terms = [u, ur, urr, uu, uur, uurr, uuu, uuur, u * uurr];
                for (sum, term) in sums.iter_mut().zip(terms) {
                    *sum = *sum + term;
                }
            }
        }
        for (totals, sums) in totals.iter_mut().zip(sums).take(n) {
            for (total, sum) in totals.iter_mut().zip(sums) {
                total.add(sum);
            }
        }
    }
}

/// The smallest and the largest of a column without NaN; infinities the wrong way round when it is
/// empty.
pub(super) fn extremes(column: &[f64]) -> (f64, f64) {
    Arch::new().dispatch(Extremes(column))
}

#[derive(Debug)]
struct Extremes<'a>(&'a [f64]);

impl WithSimd for Extremes<'_> {
    type Output = (f64, f64);

    #[inline(always)]
    fn with_simd<S: Simd>(self, simd: S) -> Self::Output {
        let (whole, last) = S::as_simd_f64s(self.0);
        let mut low = simd.splat_f64s(f64::INFINITY);
        let mut high = simd.splat_f64s(f64::NEG_INFINITY);
        for &values in whole {
            low = simd.min_f64s(low, values);
            high = simd.max_f64s(high, values);
        }
        let ends = (simd.reduce_min_f64s(low), simd.reduce_max_f64s(high));
        last.iter().fold(ends, |(low, high), &value| {
            (
                if value < low { value } else { low },
                if high < value { value } else { high },
            )
        })
    }
}

/// `base / (v + tau_squared) / weight` of every effect, in one pass.
pub(super) fn shares(variances: &[f64], tau_squared: f64, base: f64, weight: f64) -> Vec<f64> {
    let mut shares = Vec::with_capacity(variances.len());
    Arch::new().dispatch(Shares {
        variances,
        tau_squared,
        base,
        weight,
        shares: &mut shares,
    });
    shares
}

#[derive(Debug)]
struct Shares<'a> {
    variances: &'a [f64],
    tau_squared: f64,
    base: f64,
    weight: f64,
    shares: &'a mut Vec<f64>,
}

impl WithSimd for Shares<'_> {
    type Output = ();

    #[inline(always)]
    fn with_simd<S: Simd>(self, _: S) {
        let share = |variance| self.base / (variance + self.tau_squared) / self.weight;
        self.shares.extend(self.variances.iter().map(share));
    }
}
