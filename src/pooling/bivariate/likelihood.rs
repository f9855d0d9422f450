//! The likelihood of a between-units covariance, with its derivatives.
//!
//! With `V_i = S_i + T`, `W_i = V_i^-1`, `M = (sum W_i)^-1`, residuals `r_i = y_i - mu` and
//! `z_i = W_i r_i`, twice the log-likelihood up to a constant is
//! `-sum ln |V_i| - sum r_i' W_i r_i`, and the restricted one has `-ln |sum W_i|` besides
//! (Patterson & Thompson 1971; Harville 1977). For symmetric directions `D` and `E`, with
//! `N_i = W_i M W_i` (0 without restriction), `A_D = sum W_i D W_i` and `c_D = sum W_i D z_i`:
//!
//! * slope `sum tr((N_i + z_i z_i' - W_i) D)`;
//! * curvature `sum tr((W_i - 2 N_i - 2 z_i z_i') D W_i E) + tr(M A_D M A_E) + 2 c_D' M c_E`,
//!   the second term under restriction only.
//!
//! Both follow from `dW = -W dT W` and `d mu = -M c_dT`.

use nalgebra::{Matrix3, Vector3};

use super::Likelihood;
use super::coordinates::Coordinates;
use super::factor::Factor;
use super::symmetric::{Symmetric, dot};
use super::units::{Unit, Units};
use crate::pooling::sums::{Double, Real, compensated_sum};

/// Likelihood and derivatives at one `T`, with respect to the entries `(aa, ab, bb)` of the core
/// of its [`Factor`].
#[derive(Debug)]
pub(super) struct Slopes {
    /// Twice the log-likelihood up to a constant that is the same at every `T`.
    pub(super) value: f64,
    pub(super) gradient: Vector3<f64>,
    pub(super) hessian: Matrix3<f64>,
}

/// The mean at one `T`, in normalised outcomes.
#[derive(Debug)]
pub(super) struct Mean {
    /// The mean from the centres.
    pub(super) offset: [Double; 2],
    pub(super) covariance: Symmetric<Double>,
    pub(super) covariance_determinant: Double,
    pub(super) value: f64,
}

/// `W_i` of every unit in some coordinates, with the mean they make.
#[derive(Debug)]
struct Weighted<T> {
    /// `W_i` and `r_i`.
    rows: Vec<(Symmetric<T>, [T; 2])>,
    offset: [T; 2],
    /// `M` and its determinant.
    covariance: Symmetric<T>,
    covariance_determinant: T,
    value: f64,
}

impl Units {
    /// Twice the log-likelihood in `f64`.
    pub(super) fn value(&self, factor: &Factor) -> f64 {
        self.weigh(&self.quick, &Coordinates::of(factor)).value
    }

    /// The derivatives in `f64`, for searching.
    pub(super) fn quick_slopes(&self, factor: &Factor) -> Slopes {
        self.slopes(&self.quick, factor)
    }

    /// The derivatives from sums of about 30 digits.
    pub(super) fn precise_slopes(&self, factor: &Factor) -> Slopes {
        self.slopes(&self.precise, factor)
    }

    /// The mean at the `T` of a factor, from sums of about 30 digits.
    pub(super) fn mean(&self, factor: &Factor) -> Mean {
        let weighted = self.weigh(&self.precise, &Coordinates::natural(factor));
        Mean {
            offset: weighted.offset,
            covariance: weighted.covariance,
            covariance_determinant: weighted.covariance_determinant,
            value: weighted.value,
        }
    }

    fn weigh<T: Real>(&self, units: &[Unit<T>], at: &Coordinates<T>) -> Weighted<T> {
        let zero = T::from_double(Double::ZERO);
        let mut total = Symmetric::outer([zero; 2]);
        let mut shift = [zero; 2];
        let mut logarithms = Vec::with_capacity(units.len());
        let mut rows = Vec::with_capacity(units.len());
        for unit in units {
            let within = unit.within.between(at.rows);
            let distance = at.rows.map(|row| dot(row, unit.distance));
            let core = &at.core;
            let crossed = within.aa * core.bb + within.bb * core.aa - {
                let half = within.ab * core.ab;
                half + half
            };
            let determinant =
                unit.determinant / at.squared_determinant + at.core_determinant + crossed;
            let weight = within.plus(*core).inverse(determinant);
            total = total.plus(weight);
            let pull = weight.times(distance);
            shift = [shift[0] + pull[0], shift[1] + pull[1]];
            logarithms.push(determinant.to_double().value().ln());
            rows.push((weight, distance));
        }
        let total_determinant = total.determinant();
        let covariance = total.inverse(total_determinant);
        let offset = covariance.times(shift);
        let mut residual = zero;
        for (weight, distance) in &mut rows {
            *distance = [distance[0] - offset[0], distance[1] - offset[1]];
            residual = residual + weight.form(*distance, *distance);
        }
        let restriction = match self.likelihood {
            Likelihood::Restricted => total_determinant.to_double().value().ln(),
            Likelihood::Full => 0.0,
        };
        // The coordinates enter `-ln |V_i|` once for every unit, and under restriction
        // `-ln |sum W_i|` takes one of these back.
        let volume = self.n_contrasts() * at.squared_determinant.to_double().value().ln();
        Weighted {
            rows,
            offset,
            covariance,
            covariance_determinant: T::from_double(Double::ONE) / total_determinant,
            value: -compensated_sum(logarithms)
                - restriction
                - volume
                - residual.to_double().value(),
        }
    }

    fn slopes<T: Real>(&self, units: &[Unit<T>], factor: &Factor) -> Slopes {
        let coordinates = Coordinates::of(factor);
        let weighted = self.weigh(units, &coordinates);
        let covariance = weighted.covariance;
        let zero = T::from_double(Double::ZERO);
        let nothing = Symmetric::outer([zero; 2]);
        let mut slope = nothing;
        let mut curvature = [zero; 6];
        let mut spreads = [nothing; 3];
        let mut pulls = [[zero; 2]; 3];
        for (weight, residual) in &weighted.rows {
            let z = weight.times(*residual);
            let mut part = Symmetric::outer(z);
            let columns = weight.rows();
            if self.likelihood == Likelihood::Restricted {
                part = part.plus(covariance.between(columns));
            }
            slope = slope.plus(part.minus(*weight));
            let bend = weight.minus(part.plus(part));
            for (total, term) in curvature.iter_mut().zip(bilinear(bend, *weight)) {
                *total = *total + term;
            }
            let [first, second] = columns;
            let turned = [
                Symmetric::outer(first),
                Symmetric::outer_pair(first, second),
                Symmetric::outer(second),
            ];
            for (total, term) in spreads.iter_mut().zip(turned) {
                *total = total.plus(term);
            }
            let moved = [[z[0], zero], [z[1], z[0]], [zero, z[1]]];
            for (total, direction) in pulls.iter_mut().zip(moved) {
                let pull = weight.times(direction);
                *total = [total[0] + pull[0], total[1] + pull[1]];
            }
        }
        let shared = |j: usize, l: usize| -> T {
            let (Some(&pull_j), Some(&pull_l)) = (pulls.get(j), pulls.get(l)) else {
                return zero;
            };
            let moved = covariance.form(pull_j, pull_l);
            let restricted = match (self.likelihood, spreads.get(j), spreads.get(l)) {
                (Likelihood::Restricted, Some(spread_j), Some(spread_l)) => {
                    trace_of_product(spread_j.between(covariance.rows()), *spread_l)
                }
                _ => zero,
            };
            moved + moved + restricted
        };
        let [aa, ab, ac, bb, bc, cc] = curvature;
        let entry = |own: T, j, l| (own + shared(j, l)).to_double().value();
        let (h_12, h_13, h_23) = (entry(ab, 0, 1), entry(ac, 0, 2), entry(bc, 1, 2));
        let hessian = Matrix3::new(
            entry(aa, 0, 0),
            h_12,
            h_13,
            h_12,
            entry(bb, 1, 1),
            h_23,
            h_13,
            h_23,
            entry(cc, 2, 2),
        );
        let [[x_aa, x_ab], [x_ba, x_bb]] = coordinates.factor;
        let turned = slope.between([[x_aa, x_ba], [x_ab, x_bb]]);
        let [g_1, g_2, g_3] = turned.slopes().map(|x| x.to_double().value());
        let change = coordinates.change();
        Slopes {
            value: weighted.value,
            gradient: Vector3::new(g_1, g_2, g_3),
            hessian: change.transpose() * hessian * change,
        }
    }
}

/// `tr(X D W E)` for `D` and `E` among the three directions of a symmetric matrix: the upper
/// triangle by rows.
fn bilinear<T: Real>(x: Symmetric<T>, w: Symmetric<T>) -> [T; 6] {
    let middle = x.ab * w.ab;
    [
        x.aa * w.aa,
        x.aa * w.ab + x.ab * w.aa,
        middle,
        x.aa * w.bb + middle + middle + x.bb * w.aa,
        x.ab * w.bb + x.bb * w.ab,
        x.bb * w.bb,
    ]
}

fn trace_of_product<T: Real>(x: Symmetric<T>, y: Symmetric<T>) -> T {
    let [aa, ab, bb] = x.slopes();
    aa * y.aa + ab * y.ab + bb * y.bb
}
