//! The global maximum of the likelihood over all between-units covariances, the boundary included.
//!
//! A scan finds the hills; each is climbed by Newton steps on a triangular factor of `T`, under
//! which a maximum on the boundary is approached but not reached. From every summit the search goes
//! to the best `T` of rank one nearby and up again from there, because a hill close to the boundary
//! is too narrow for the scan. Three kinds of candidates are then worked out by themselves from
//! sums of about 30 digits: `T = 0` and the maxima among the
//! `T` of rank one, if the slope into the interior does not rise there, and the maxima in the
//! interior. A maximum on the boundary is thus recognised by the signs of slopes and not by how
//! close to it a search came.

use nalgebra::{Matrix3, Vector3};

use super::factor::{Factor, Rank};
use super::likelihood::Slopes;
use super::scan;
use super::units::Units;
use crate::pooling::paired_effects::PairedEffects;
use crate::pooling::reason::{Estimable, Reason};

/// Cap on the steps of a climb. A step may halve or nearly double a standard deviation, and the scan
/// leaves it a few doublings from the top at most, but for cases with a nearly flat likelihood.
const MAX_STEPS: usize = 200;

/// Cap on the rounds to the boundary and back. A further one is only made from a higher summit.
const MAX_ROUNDS: usize = 4;

/// Cap on the halvings of one step.
const MAX_HALVINGS: usize = 40;

/// Longest step, as a share of the factor: below 1 it keeps the diagonal positive.
const LONGEST_STEP: f64 = 0.9;

/// Expected gain, in twice the log-likelihood, below which a climb ends. It leaves a distance of
/// about its root, from which the polish converges.
const LAST_GAIN: f64 = 1e-10;

/// Difference of twice the log-likelihood beyond which a hill is lower than another before both
/// are polished: far above [`LAST_GAIN`], far below what could matter.
const MARGIN: f64 = 1e-6;

/// The same between polished candidates; the lower rank wins within it.
const FINE_MARGIN: f64 = 1e-10;

/// Cap on polishing steps; three to five are usual.
const MAX_POLISHES: usize = 60;

/// Share of its row to which the last column of a factor may shrink before it counts as vanishing:
/// the maximum it heads for has a lower rank. Far below the root of the rounding of 1, at which a
/// correlation becomes 1.
const VANISHING: f64 = 1e-12;

/// Step, as a share of the factor, that is within its rounding.
const LAST_STEP: f64 = 4.0 * f64::EPSILON;

/// Step from which on the polish ends when the next is no shorter than half of it: Newton's method
/// would have squared it, so what remains is rounding.
const SHORT_STEP: f64 = 1e-9;

/// Slope per unit, at a `T` of rank one, that counts as level. In normalised outcomes no term of
/// that slope is much above 1, and a slope so small raises the likelihood by less than 1e-13.
const LEVEL_SLOPE: f64 = 1e-14;

/// The top of a hill.
#[derive(Debug, Clone, Copy)]
struct Summit {
    factor: Factor,
    /// Twice the log-likelihood, from sums of about 30 digits.
    value: f64,
}

impl Summit {
    fn new(units: &Units, factor: Factor) -> Self {
        Self {
            factor,
            value: units.mean(&factor).value,
        }
    }
}

/// The global maximum.
///
/// # Errors
/// [`Reason::NotConverged`], or [`Reason::OutOfRange`] when the numbers are beyond the arithmetic.
pub(super) fn global_maximum(units: &Units, paired: &PairedEffects) -> Estimable<Factor> {
    let zero = Summit::new(units, Factor::ZERO);
    let mut best = zero.value;
    let (mut summits, mut lines) = (Vec::new(), Vec::new());
    let mut fresh: Vec<Summit> = scan::starts(units, paired)?
        .into_iter()
        .filter_map(|start| climb(units, start))
        .collect();
    for _ in 0..MAX_ROUNDS {
        raise(&mut best, &fresh);
        let mut beside = climbed(units, &fresh, Factor::principal);
        // A hill may have its like at the correlation of the other sign.
        beside.extend(climbed(units, &fresh, |summit| {
            summit.principal().mirrored()
        }));
        let inside = climbed(units, &beside, Factor::widened);
        summits.append(&mut fresh);
        let known = best;
        raise(&mut best, &beside);
        raise(&mut best, &inside);
        lines.extend(beside);
        // What is no higher than before has been seen before.
        let is_new = |summit: &Summit| known + MARGIN < summit.value;
        let (new, seen): (Vec<Summit>, Vec<Summit>) = inside.into_iter().partition(is_new);
        summits.extend(seen);
        fresh = new;
    }
    summits.append(&mut fresh);
    let is_high = |place: &&Summit| best - MARGIN <= place.value;
    let mut highest: Option<Summit> = None;
    let mut consider = |factor: Factor| {
        let place = Summit::new(units, factor);
        if is_high(&&place) && highest.is_none_or(|other| other.value + FINE_MARGIN < place.value) {
            highest = Some(place);
        }
    };
    if is_level_or_falling_at_zero(&units.precise_slopes(&zero.factor)) {
        consider(zero.factor);
    }
    for line in lines.iter().filter(is_high) {
        if let Some(line) = polish(units, line.factor).map(|line| without_traces(&line))
            && is_level_or_falling_beside(units, &line)
        {
            consider(line);
        }
    }
    for summit in summits.iter().filter(is_high) {
        if let Some(full) = polish(units, summit.factor) {
            consider(full);
        }
    }
    highest
        .map(|found| found.factor)
        .ok_or(Reason::NotConverged)
}

fn climbed(units: &Units, from: &[Summit], start: impl Fn(&Factor) -> Factor) -> Vec<Summit> {
    from.iter()
        .filter_map(|summit| climb(units, start(&summit.factor)))
        .collect()
}

fn raise(best: &mut f64, summits: &[Summit]) {
    for summit in summits {
        if *best < summit.value {
            *best = summit.value;
        }
    }
}

/// Whether no `T` near 0 has a greater likelihood: the matrix of slopes is negative semi-definite.
fn is_level_or_falling_at_zero(slopes: &Slopes) -> bool {
    let [aa, ab, bb] = [0, 1, 2].map(|idx| slopes.gradient.get(idx).copied().unwrap_or(f64::NAN));
    // The entry of a symmetric matrix counts twice in the slope along it.
    aa <= 0.0 && bb <= 0.0 && 0.25 * ab * ab <= aa * bb
}

/// Whether no `T` near one of rank one, with more than rank one, has a greater likelihood.
fn is_level_or_falling_beside(units: &Units, line: &Factor) -> bool {
    let [[u_a, u_b], _] = line.columns;
    let per_unit = LEVEL_SLOPE * units.n_contrasts();
    units.precise_slopes(line).gradient.z <= per_unit * (u_a * u_a + u_b * u_b)
}

/// Takes a standard deviation to be 0 when no entry of any `V_i` changes in its last digit by that.
/// The outcomes are normalised, so 1 is about the smallest standard deviation of a sampling error.
fn without_traces(line: &Factor) -> Factor {
    let [[u_a, u_b], _] = line.columns;
    let is_trace = |own: f64, other: f64| own.abs() * (1.0 + other.abs()) < 0.5 * f64::EPSILON;
    if is_trace(u_a, u_b) {
        Factor::line([0.0, u_b])
    } else if is_trace(u_b, u_a) {
        Factor::line([u_a, 0.0])
    } else {
        *line
    }
}

/// Gradient and Hessian of the likelihood along the steps of [`Factor::moved`].
///
/// With `c` for the reach, such a step changes the core by `2 x_1 + x_1^2`, `c x_2 + c x_1 x_2` and
/// `2 x_3 + x_3^2 + c^2 x_2^2` at rank two, and without `x_3` at rank one, where the third direction
/// is closed by a slope of 0 and a curvature of -1.
fn along_steps(slopes: &Slopes, factor: &Factor) -> (Vector3<f64>, Matrix3<f64>) {
    let g = &slopes.gradient;
    let reach = factor.reach();
    let first = Vector3::new(2.0, reach, 2.0);
    let mut gradient = g.component_mul(&first);
    let mixed = reach * g.y;
    let second = Matrix3::new(
        2.0 * g.x,
        mixed,
        0.0,
        mixed,
        2.0 * reach * reach * g.z,
        0.0,
        0.0,
        0.0,
        2.0 * g.z,
    );
    let scaling = Matrix3::from_diagonal(&first);
    let mut hessian = scaling * slopes.hessian * scaling + second;
    if factor.rank != Rank::Two {
        gradient.z = 0.0;
        hessian.set_row(2, &Vector3::zeros().transpose());
        hessian.set_column(2, &Vector3::new(0.0, 0.0, -1.0));
    }
    (gradient, hessian)
}

/// Climbs to the top of a hill; `None` when the numbers do not allow it.
fn climb(units: &Units, start: Factor) -> Option<Summit> {
    let mut factor = start;
    for _ in 0..MAX_STEPS {
        let slopes = units.quick_slopes(&factor);
        let (mut step, gain) = uphill(&along_steps(&slopes, &factor))?;
        if gain < LAST_GAIN {
            break;
        }
        let higher = (0..MAX_HALVINGS).find_map(|_| {
            let moved = factor.moved(&step);
            step *= 0.5;
            (slopes.value < units.value(&moved)).then_some(moved)
        });
        match higher {
            Some(moved) => factor = moved,
            // Rounding hides what is left to gain.
            None => break,
        }
    }
    let summit = Summit::new(units, factor);
    summit.value.is_finite().then_some(summit)
}

/// A Newton step with every curvature taken as falling, so that it leads away from saddles, no
/// longer than [`LONGEST_STEP`], and the gain that the whole of it promises. Curvatures are brought
/// to 1 first, as they may differ by many orders of magnitude. `None` when the numbers are beyond
/// the arithmetic.
fn uphill((gradient, hessian): &(Vector3<f64>, Matrix3<f64>)) -> Option<(Vector3<f64>, f64)> {
    if !hessian.iter().chain(gradient).all(|x| x.is_finite()) {
        return None;
    }
    let lengths = hessian.diagonal().map(|bend| {
        let root = bend.abs().sqrt();
        if 0.0 < root { 1.0 / root } else { 1.0 }
    });
    let scaling = Matrix3::from_diagonal(&lengths);
    let eigen = (scaling * hessian * scaling).symmetric_eigen();
    let along = eigen.eigenvectors.tr_mul(&gradient.component_mul(&lengths));
    let shrunk = along.zip_map(&eigen.eigenvalues, |slope, value| {
        let bend = value.abs();
        slope
            / if f64::EPSILON < bend {
                bend
            } else {
                f64::EPSILON
            }
    });
    let mut step = (eigen.eigenvectors * shrunk).component_mul(&lengths);
    let longest = step.amax();
    if LONGEST_STEP < longest {
        step *= LONGEST_STEP / longest;
    }
    Some((step, 0.5 * along.dot(&shrunk)))
}

/// Brings a summit to the last place or two; `None` when there is no maximum of this rank.
fn polish(units: &Units, summit: Factor) -> Option<Factor> {
    let mut factor = summit;
    let mut last = f64::INFINITY;
    for _ in 0..MAX_POLISHES {
        let slopes = along_steps(&units.precise_slopes(&factor), &factor);
        let (step, _) = uphill(&slopes)?;
        let longest = step.amax();
        factor = factor.moved(&step);
        if factor.last_share() < VANISHING {
            return None;
        }
        let has_stalled = last < SHORT_STEP && 0.5 * last <= longest;
        if longest <= LAST_STEP || has_stalled {
            // A saddle is no maximum.
            return (-slopes.1).cholesky().map(|_| factor);
        }
        last = longest;
    }
    None
}
