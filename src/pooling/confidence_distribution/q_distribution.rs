//! The distribution of Cochran's Q under a given `tau_squared`.
//!
//! With weights `1 / v_i`, variances `v_i + tau_squared` and normal effects, Q is a quadratic form,
//! a weighted sum of `k - 1` chi-squareds on one degree of freedom each (Biggerstaff & Jackson
//! 2008, Stat Med 27:6093; from memory). The weights are the eigenvalues of a diagonal matrix minus
//! one of rank one, and none of them is needed: with `a_i = 1 + tau_squared / v_i` and
//! `p_i = (1 / v_i) / sum (1 / v)`, the lemma of the determinant of such a matrix gives the Laplace
//! transform in `k` steps,
//!
//! `E exp(-s Q) = D(s)^(-1/2)`, `D(s) = prod (1 + 2 s a_i) sum p_i / (1 + 2 s a_i)`.
//!
//! The distribution function is its inversion along a path that passes to the right of 0,
//!
//! `P(Q <= q) = 1 / (2 pi i) integral exp(s q) D(s)^(-1/2) / s ds`.
//!
//! All singularities lie on `s <= 0`. The path is a hyperbola, open to the left, through the saddle
//! point of the integrand on the positive axis, where the integrand is largest and falls off like a
//! normal density; there it has the curvature of steepest descent (the idea of Rice 1980, SIAM J
//! Sci Stat Comput 1:438; from memory). On such a path the trapezoid rule converges geometrically
//! (Trefethen & Weideman 2014, SIAM Rev 56:385; from memory), so that halving the step squares the
//! error.
//!
//! Among many effects those of one variance stand together: `n` of them have one factor, whose
//! logarithm counts `n` times. Published variances are rounded, so that a million effects have some
//! thousand factors.

use std::f64::consts::{PI, TAU};

use nalgebra::Complex;

use crate::pooling::effects::Effects;
use crate::pooling::profile::MANY;
use crate::pooling::reason::{Estimable, Reason, finite};
use crate::pooling::roots::{Tolerance, ValueAndSlope, falling_root};
use crate::pooling::sums::compensated_sum;

/// Precision of the saddle point. The integral is the same for any path through the positive axis;
/// only the number of points depends on where it passes.
const SADDLE_TOLERANCE: Tolerance = Tolerance::Relative(1e-3);

/// First step of the trapezoid rule, in units of the width of the integrand at the saddle point.
const FIRST_STEP: f64 = 0.5;

/// Two sums, one with half the step of the other, agree to this share when the finer one is taken.
/// Its own error is about the square of that.
const AGREEMENT: f64 = 1e-8;

/// Cap on halvings of the step; one is usual.
const MAX_HALVINGS: usize = 8;

/// Where the integrand has fallen to this share of its value at the saddle point, the rest adds
/// nothing to a double.
const NEGLIGIBLE: f64 = 1e-18;

/// Cap on the points of one sum; about thirty are usual.
const MAX_POINTS: usize = 20_000;

/// How far the path leans over at last, as a distance to the left for every step up. Many small
/// eigenvalues together make `D(s)^(-1/2)` a normal transform, `exp(v s^2 / 2)`, which falls along
/// lines steeper than 1; few large ones leave only `exp(s q)` to fall, for which leaning is good.
const LEAN: f64 = 0.8;

/// Beyond this square of its size a product is rescaled.
const LARGE_SQUARE: f64 = 1e200;

/// Up to so many equal factors are multiplied; the logarithm of one takes as long.
const FEW_FACTORS: u32 = 4;

/// What the distribution depends on beside `tau_squared`: the variances.
#[derive(Debug, Clone)]
pub(super) struct QDistribution {
    rows: Vec<Variance>,
}

/// Effects of one variance.
#[derive(Debug, Clone, Copy)]
struct Variance {
    inverse: f64,
    /// How many there are.
    n: u32,
    /// The sum of their shares `p`.
    p: f64,
}

/// Effects of one variance on one path: `x = 2 s a / (1 + 2 s a)` at the saddle point, how many there
/// are, their share in the sum of the determinant, and the part of one in the slope along
/// `tau_squared`.
#[derive(Debug, Clone, Copy)]
struct Term {
    x: f64,
    n: u32,
    share: f64,
    per_tau_squared: f64,
}

/// A path of integration, `s = s_0 (1 + i eta - reach (sqrt(1 + (eta / spread)^2) - 1))`.
#[derive(Debug)]
struct Path {
    terms: Vec<Term>,
    /// `s_0 q`.
    saddle: f64,
    /// `lean spread`.
    reach: f64,
    /// Height at which the curve goes over into a straight line.
    spread: f64,
    /// Step of the first sum.
    step: f64,
    /// Logarithm of `exp(s_0 q) D(s_0)^(-1/2)`.
    log_height: f64,
}

/// What one point, or a sum of them, adds to the probability and to its slope.
#[derive(Debug, Clone, Copy)]
struct Part {
    value: f64,
    slope: f64,
}

/// Sums over the eigenvalues `lambda` at one `s`, from sums over the effects.
#[derive(Debug, Clone, Copy)]
struct Shape {
    /// Sum of `2 s lambda / (1 + 2 s lambda)`.
    first: f64,
    /// Sum of the squares of the same.
    second: f64,
}

impl QDistribution {
    pub(super) fn new(effects: &Effects) -> Self {
        let variances = effects.variances();
        let smallest = variances
            .iter()
            .fold(f64::INFINITY, |best, &v| if v < best { v } else { best });
        let total = compensated_sum(variances.iter().map(|v| smallest / v));
        let rows = counted(variances.to_vec())
            .into_iter()
            .map(|(v, n)| Variance {
                inverse: 1.0 / v,
                n,
                p: f64::from(n) * (smallest / v / total),
            });
        Self {
            rows: rows.collect(),
        }
    }

    /// `P(Q <= q)` under `tau_squared`, and its derivative by `tau_squared`, which is negative.
    /// For a positive `q`; the error is about 1e-14, relative, up to some hundred effects and grows
    /// like `k`.
    ///
    /// # Errors
    /// [`Reason::NotConverged`], or [`Reason::OutOfRange`] when the numbers leave the range.
    pub(super) fn lower_tail(&self, q: f64, tau_squared: f64) -> Estimable<ValueAndSlope> {
        let path = self.path(q, tau_squared)?;
        let mut step = path.step;
        let mut sum = path.sum(step, 1, 1)?;
        let at_saddle = path.at(0.0).0;
        sum.value += 0.5 * at_saddle.value;
        sum.slope += 0.5 * at_saddle.slope;
        for _ in 0..MAX_HALVINGS {
            let between = path.sum(0.5 * step, 1, 2)?;
            let is_close =
                (sum.value - between.value).abs() <= 2.0 * AGREEMENT * between.value.abs();
            sum.value += between.value;
            sum.slope += between.slope;
            step *= 0.5;
            if is_close {
                let scale = step / PI * path.log_height.exp();
                let value = finite(scale * sum.value)?;
                return Ok(ValueAndSlope {
                    value: if 1.0 < value { 1.0 } else { value },
                    slope: finite(scale * sum.slope)?,
                });
            }
        }
        Err(Reason::NotConverged)
    }

    fn path(&self, q: f64, tau_squared: f64) -> Estimable<Path> {
        // With s_0 in units of 1 / q nothing depends on the unit of the effects.
        let growths: Vec<f64> = self
            .rows
            .iter()
            .map(|row| 2.0 * (1.0 + tau_squared * row.inverse) / q)
            .collect();
        let n = compensated_sum(self.rows.iter().map(|row| f64::from(row.n)));
        // The logarithm of the integrand is level where s q = 1 + first / 2, and `first` lies
        // between 0 and the number of eigenvalues.
        let high = 0.5 * (n + 1.0);
        let saddle = falling_root((1.0, high), 0.5 * (1.0 + high), SADDLE_TOLERANCE, |s| {
            let shape = self.shape(&growths, s);
            ValueAndSlope {
                value: 1.0 + 0.5 * shape.first - s,
                slope: 0.5 * (shape.first - shape.second) / s - 1.0,
            }
        })?;
        let Shape { first, second } = self.shape(&growths, saddle);
        // In units of s_0 the second and the third derivative of the logarithm are
        // 1 + second / 2 and -(2 + third), and steepest descent bends by their ratio over -6.
        // `second^2 / first` bounds the third sum from below, by the inequality of Cauchy and
        // Schwarz, and keeps the bend positive, so that the path runs to the left, where exp(s q)
        // falls.
        let third = if 0.0 < first {
            second * second / first
        } else {
            0.0
        };
        let bend = (2.0 + third) / (6.0 + 3.0 * second);
        let spread = LEAN / (2.0 * bend);
        let ratio = |growth: f64| 1.0 / (1.0 + growth * saddle);
        let total = compensated_sum(
            self.rows
                .iter()
                .zip(&growths)
                .map(|(row, &growth)| row.p * ratio(growth)),
        );
        let terms = self.rows.iter().zip(&growths).map(|(row, &g)| {
            let e = ratio(g);
            Term {
                x: g * saddle * e,
                n: row.n,
                share: row.p * e / total,
                per_tau_squared: 2.0 * saddle / q * row.inverse * e,
            }
        });
        let log_factors = self.rows.iter().zip(&growths);
        let log_product =
            compensated_sum(log_factors.map(|(row, g)| f64::from(row.n) * (g * saddle).ln_1p()));
        Ok(Path {
            terms: terms.collect(),
            saddle,
            reach: LEAN * spread,
            spread,
            step: FIRST_STEP / (1.0 + 0.5 * second).sqrt(),
            log_height: finite(saddle - 0.5 * (log_product + total.ln()))?,
        })
    }

    /// With `e_i = 1 / (1 + 2 s a_i)` and `R_n = sum p e^n`, the derivative of `ln D` by `ln s` is
    /// `sum (1 - e) - 1 + R_2 / R_1`, and the second derivative
    /// `sum e (1 - e) + (2 R_1 R_3 - R_1 R_2 - R_2^2) / R_1^2`.
    fn shape(&self, growths: &[f64], s: f64) -> Shape {
        let [mut near, mut bent, mut r_1, mut r_2, mut r_3] = [0.0; 5];
        for (&Variance { n, p, .. }, &growth) in self.rows.iter().zip(growths) {
            let e = 1.0 / (1.0 + growth * s);
            let n = f64::from(n);
            near += n * (growth * s * e);
            bent += n * (growth * s * e * e);
            r_1 += p * e;
            r_2 += p * e * e;
            r_3 += p * e * e * e;
        }
        let ratio = r_2 / r_1;
        let first = near - 1.0 + ratio;
        let derivative = bent + 2.0 * r_3 / r_1 - ratio - ratio * ratio;
        let positive = |x: f64| if x < 0.0 { 0.0 } else { x };
        Shape {
            first: positive(first),
            second: positive(first - derivative),
        }
    }
}

/// Variances with how many there are of each; one by one where there are few, as they come.
fn counted(mut variances: Vec<f64>) -> Vec<(f64, u32)> {
    if variances.len() < MANY {
        return variances.into_iter().map(|v| (v, 1)).collect();
    }
    variances.sort_unstable_by(f64::total_cmp);
    let alike = variances.chunk_by(|a, b| a.total_cmp(b).is_eq());
    // Of more than 2^32 equal ones, which no memory holds, a sum would be too small.
    let counted = alike.map(|alike| Some((*alike.first()?, u32::try_from(alike.len()).ok()?)));
    counted.flatten().collect()
}

impl Path {
    /// The integrand at `start step`, `(start + stride) step`, ... until it is negligible.
    fn sum(&self, step: f64, start: u32, stride: u32) -> Estimable<Part> {
        let mut sum = Part {
            value: 0.0,
            slope: 0.0,
        };
        let mut n = f64::from(start);
        for _ in 0..MAX_POINTS {
            let (part, size) = self.at(n * step);
            sum.value += part.value;
            sum.slope += part.slope;
            if size < NEGLIGIBLE {
                return Ok(sum);
            }
            finite(size)?;
            n += f64::from(stride);
        }
        Err(Reason::NotConverged)
    }

    /// The imaginary part of `exp(s q) D(s)^(-1/2) ds / s` over its size at the saddle point, the
    /// same for the slope, and the size of the former.
    fn at(&self, eta: f64) -> (Part, f64) {
        let one = Complex::new(1.0, 0.0);
        let height = eta / self.spread;
        let root = (1.0 + height * height).sqrt();
        // The root less 1, without cancellation.
        let shift = Complex::new(-self.reach * height * height / (1.0 + root), eta);
        let (mut product, mut log_scale, mut turns) = (one, 0.0, 0.0);
        let mut log_of_many = Complex::new(0.0, 0.0);
        let [mut ratio, mut pulled, mut pulled_share] = [Complex::new(0.0, 0.0); 3];
        for term in &self.terms {
            let factor = one + shift * term.x;
            let inverse = factor.inv();
            let shared = inverse * term.share;
            ratio += shared;
            let n = f64::from(term.n);
            pulled += inverse * (n * term.per_tau_squared);
            pulled_share += shared * inverse * term.per_tau_squared;
            if FEW_FACTORS < term.n {
                // `factor.ln()`, whose hypotenuse nothing here needs: a factor is about 1.
                log_of_many += Complex::new(0.5 * factor.norm_sqr().ln(), factor.arg()) * n;
                continue;
            }
            for _ in 0..term.n {
                // Every factor turns by less than half a circle, so the product has completed one
                // whenever it comes up from the lower half plane.
                let was_below = product.im < 0.0;
                product *= factor;
                if was_below && 0.0 <= product.im {
                    turns += 1.0;
                }
                let square = product.norm_sqr();
                if !(LARGE_SQUARE.recip() < square && square < LARGE_SQUARE) {
                    log_scale += 0.5 * square.ln();
                    product = product.unscale(square.sqrt());
                }
            }
        }
        let angle = product.arg();
        let angle = if angle < 0.0 { angle + TAU } else { angle };
        let log_product = Complex::new(
            log_scale + 0.5 * product.norm_sqr().ln(),
            TAU * turns + angle,
        ) + log_of_many;
        // The sum is a mean of numbers in the lower half plane, so its principal logarithm is
        // the continuous one.
        let exponent = shift * self.saddle - (log_product + ratio.ln()) * 0.5;
        let path_slope = Complex::new(-LEAN * height / root, 1.0);
        let value = exponent.exp() * path_slope / (one + shift);
        // d ln D / d tau_squared.
        let growth = (one + shift) * (pulled - pulled_share / ratio);
        let slope = value * growth * -0.5;
        let part = Part {
            value: value.im,
            slope: slope.im,
        };
        (part, value.norm())
    }
}
