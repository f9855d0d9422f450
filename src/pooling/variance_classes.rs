//! Sums over many effects as functions of `tau_squared`, after one pass over the data.
//!
//! Effects are put into classes of nearly equal variances, 128 to an octave. With `c` the middle of a
//! class and `x = v - c`, so that `|x| < c / 256`,
//!
//! `1 / (v + t)^p = (c + t)^-p sum_j (-1)^j C(p + j - 1, j) (x / (c + t))^j`,
//!
//! so the sums of `x^j`, `x^j r` and `x^j r^2` in every class, `j` from 0 to 3, give every sum over
//! effects at any `t` to a few parts in a thousand million. That is good enough to search: a Newton
//! step with sums over the effects themselves squares the error.

use pulp::{Arch, Simd, WithSimd};

use super::lanes::{Columns, LANES, Lane, PowerSums, n_registers};

/// Leading bits of the fraction of a variance that tell its class.
const CLASS_BITS: u32 = 7;

/// Bits of an `f64` behind those.
const SHIFT: u32 = 52 - CLASS_BITS;

/// Effects that a class has on average at the least; with fewer, looking at the classes is no
/// quicker than looking at the effects.
const MEAN_SIZE: usize = 16;

/// Powers of `x`.
const POWERS: usize = 4;

/// The sums of one class: for each power of `x` alone, with `r` and with `r^2`; the last place of
/// each is not used and makes four.
type Sums = [[f64; 4]; POWERS];

/// Eight classes side by side: their middles, and for each of 1, `r` and `r^2` and every power of `x`
/// their sums.
#[derive(Debug, Clone)]
struct Eight {
    middles: [f64; LANES],
    sums: [[[f64; LANES]; POWERS]; 3],
}

/// Effects by the class of their variance.
#[derive(Debug)]
pub(super) struct VarianceClasses {
    eights: Vec<Eight>,
}

impl VarianceClasses {
    /// Puts effects into classes. `None` when their variances, which lie within `ends`, spread over
    /// so many classes that it does not pay.
    pub(super) fn new(
        parts: &[Columns<'_>],
        origin: f64,
        (smallest, largest): (f64, f64),
    ) -> Option<Self> {
        let first = smallest.to_bits() >> SHIFT;
        let n_classes = usize::try_from((largest.to_bits() >> SHIFT).checked_sub(first)?).ok()? + 1;
        let n_effects: usize = parts.iter().map(|part| part.variances.len()).sum();
        if n_effects < n_classes * MEAN_SIZE {
            return None;
        }
        let mut classes: Vec<Sums> = vec![[[0.0; 4]; POWERS]; n_classes];
        Arch::new().dispatch(SortIn {
            classes: &mut classes,
            first,
            parts,
            origin,
        });
        let eights = (first..).step_by(LANES).zip(classes.chunks(LANES));
        Some(Self {
            eights: eights
                .map(|(first, classes)| Eight::new(first, classes))
                .collect(),
        })
    }

    /// The sums over all effects to a few parts in a thousand million.
    pub(super) fn power_sums(&self, tau_squared: f64, base: f64) -> PowerSums<f64> {
        Arch::new().dispatch(Look {
            classes: &self.eights,
            tau_squared,
            base,
        })
    }

    /// The sum of the distances from the origin, and that of their squares.
    pub(super) fn distances(&self) -> (f64, f64) {
        let all = |of: fn(&Eight) -> [f64; LANES]| self.eights.iter().flat_map(of).sum();
        (all(|eight| eight.sums[1][0]), all(|eight| eight.sums[2][0]))
    }
}

impl Eight {
    /// Up to eight classes from the one with this number on. Places that are left hold no effects.
    fn new(first: u64, classes: &[Sums]) -> Self {
        let mut eight = Self {
            middles: [1.0; LANES],
            sums: [[[0.0; LANES]; POWERS]; 3],
        };
        for (slot, class) in eight.middles.iter_mut().zip((first..).take(classes.len())) {
            *slot = middle(class);
        }
        for (of, by_power) in eight.sums.iter_mut().enumerate() {
            for (power, slots) in by_power.iter_mut().enumerate() {
                let sums = classes.iter().filter_map(|class| class.get(power)?.get(of));
                for (slot, sum) in slots.iter_mut().zip(sums) {
                    *slot = *sum;
                }
            }
        }
        eight
    }
}

/// `C(p + j - 1, j)` for `p` of 1 to 3 and `j` of 1 to 3.
const COEFFICIENTS: [[f64; 3]; 3] = [[1.0, 1.0, 1.0], [2.0, 3.0, 4.0], [3.0, 6.0, 10.0]];

/// The number in the middle of a class.
fn middle(class: u64) -> f64 {
    f64::from_bits((class << SHIFT) | (1 << (SHIFT - 1)))
}

/// Puts effects into classes, of which the first has the number `first`.
#[derive(Debug)]
struct SortIn<'a> {
    classes: &'a mut [Sums],
    first: u64,
    parts: &'a [Columns<'a>],
    origin: f64,
}

impl WithSimd for SortIn<'_> {
    type Output = ();

    #[inline(always)]
    fn with_simd<S: Simd>(self, _: S) {
        for part in self.parts {
            for (&variance, &estimate) in part.variances.iter().zip(part.estimates) {
                let class = variance.to_bits() >> SHIFT;
                let place = usize::try_from(class.wrapping_sub(self.first)).unwrap_or(usize::MAX);
                let Some(sums) = self.classes.get_mut(place) else {
                    continue;
                };
                let x = variance - middle(class);
                let r = estimate - self.origin;
                let mut term = [1.0, r, r * r, 0.0];
                for sums in sums {
                    for (sum, term) in sums.iter_mut().zip(&mut term) {
                        *sum += *term;
                        *term *= x;
                    }
                }
            }
        }
    }
}

#[derive(Debug)]
struct Look<'a> {
    classes: &'a [Eight],
    tau_squared: f64,
    base: f64,
}

impl WithSimd for Look<'_> {
    type Output = PowerSums<f64>;

    #[inline(always)]
    fn with_simd<S: Simd>(self, simd: S) -> Self::Output {
        let number = |value: f64| Lane::splat(simd, value);
        let (one, base, tau_squared) = (number(1.0), number(self.base), number(self.tau_squared));
        let mut totals = [[[number(0.0); 3]; 3]; LANES];
        for eight in self.classes {
            let middles = S::as_simd_f64s(&eight.middles).0.iter();
            let registers = middles.zip(&mut totals).enumerate();
            for (register, (&middle, totals)) in registers {
                let inverse = one / (Lane::new(simd, middle) + tau_squared);
                let u = base * inverse;
                let mut scale = one;
                let [alone, distances, squares] = &eight.sums;
                let sums = [
                    powers(simd, alone, register),
                    powers(simd, distances, register),
                    powers(simd, squares, register),
                ];
                for (totals, [b, c, d]) in totals.iter_mut().zip(COEFFICIENTS) {
                    let (b, c, d) = (number(b), number(c), number(d));
                    scale = scale * u;
                    for (total, [sum, x, xx, xxx]) in totals.iter_mut().zip(sums) {
                        let tail = b * x - inverse * (c * xx - inverse * (d * xxx));
                        *total = *total + scale * (sum - inverse * tail);
                    }
                }
            }
        }
        let mut sums = [[0.0; 3]; 3];
        for totals in totals.iter().take(n_registers::<S>()) {
            for (sum, &total) in sums.iter_mut().flatten().zip(totals.iter().flatten()) {
                let mut places = [0.0; LANES];
                total.put(&mut places);
                *sum += places.iter().take(S::F64_LANES).sum::<f64>();
            }
        }
        PowerSums(sums)
    }
}

/// The sums of every power in one of the registers that hold eight classes.
#[inline(always)]
fn powers<S: Simd>(simd: S, of: &[[f64; LANES]; POWERS], register: usize) -> [Lane<S>; POWERS] {
    let [a, b, c, d] = of;
    [
        Lane::part(simd, a, register),
        Lane::part(simd, b, register),
        Lane::part(simd, c, register),
        Lane::part(simd, d, register),
    ]
}
