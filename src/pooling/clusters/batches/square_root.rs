//! `a`, the adjusted weights of a cluster, without eigenvectors.
//!
//! In a cluster that carries little of all weight, `B` differs little from the square of `Phi`, so
//! its square root `Phi - E` follows from
//!
//! `(phi_i + phi_j) E_ij = d_i d_j / s1 + (E E)_ij`
//!
//! by iteration from `E = 0`, each step of which shrinks the error by the cluster's share of all
//! weight, and so does each step of `x = Phi^{-1} (c + E x)` to `x = B^{-1/2} c` with
//! `c = D w`. Then `a = D x`.

use pulp::Simd;

use super::{Mean, Member};
use crate::pooling::lanes::Lane;

/// Bits to which a root is worked out, one more than an `f64` has.
const BITS: f64 = 54.0;

/// How often to iterate for clusters with such a share of all weight.
#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "from 2 to 8, since the share is at most 1/128"
)]
pub(super) fn steps(share: f64) -> usize {
    (BITS / -share.log2()).ceil().clamp(2.0, 8.0) as usize
}

/// What is kept from batch to batch, so that it is not asked for again.
#[derive(Debug)]
pub(super) struct Room<S: Simd> {
    roots: Vec<Lane<S>>,
    totals: Vec<Lane<S>>,
    inverses: Vec<Lane<S>>,
    firsts: Vec<Lane<S>>,
    e: Vec<Lane<S>>,
    next: Vec<Lane<S>>,
    x: Vec<Lane<S>>,
}

impl<S: Simd> Default for Room<S> {
    fn default() -> Self {
        Self {
            roots: Vec::new(),
            totals: Vec::new(),
            inverses: Vec::new(),
            firsts: Vec::new(),
            e: Vec::new(),
            next: Vec::new(),
            x: Vec::new(),
        }
    }
}

/// `a'r`, `T_jj s1^2` and `alpha` of as many clusters as a register holds.
#[inline(always)]
pub(super) fn work_out<S: Simd>(
    simd: S,
    members: &[Member],
    register: usize,
    steps: usize,
    mean: Mean,
    room: &mut Room<S>,
) -> [Lane<S>; 3] {
    let number = |value| Lane::splat(simd, value);
    let (zero, one, tau_squared) = (number(0.0), number(1.0), number(mean.tau_squared));
    let heaviest = number(mean.heaviest);
    let [high, low] = mean.offset.parts().map(number);
    let all = number(mean.total_weight);
    let total = |variances| Lane::part(simd, variances, register) + tau_squared;
    let residual = |estimates| ((Lane::part(simd, estimates, register) - heaviest) - high) - low;
    if let [[variances, estimates]] = members {
        let weight = one / total(variances);
        let adjusted = weight / (one - weight / all).sqrt();
        return [adjusted * residual(estimates), weight, adjusted];
    }
    let n = members.len();
    let Room {
        roots,
        totals,
        inverses,
        firsts,
        e,
        next,
        x,
    } = room;
    totals.clear();
    totals.extend(members.iter().map(|[variances, _]| total(variances)));
    roots.clear();
    roots.extend(totals.iter().map(|total| total.sqrt()));
    inverses.clear();
    firsts.clear();
    for (&total, &root) in totals.iter().zip(&*roots) {
        for (&other_total, &other_root) in totals.iter().zip(&*roots) {
            let inverse = one / (total + other_total);
            inverses.push(inverse);
            firsts.push(root * other_root / all * inverse);
        }
    }
    e.clone_from(firsts);
    next.resize(n * n, zero);
    for _ in 1..steps {
        for (row, next) in e.chunks_exact(n).zip(next.chunks_exact_mut(n)) {
            for (other, next) in e.chunks_exact(n).zip(next) {
                *next = dot(zero, row, other);
            }
        }
        for ((e, next), (&first, &inverse)) in
            e.iter_mut().zip(&*next).zip(firsts.iter().zip(&*inverses))
        {
            *e = first + inverse * *next;
        }
    }
    let weights = || totals.iter().map(|&total| one / total);
    x.clear();
    x.extend(weights().zip(&*roots).map(|(weight, &root)| weight / root));
    for _ in 0..steps {
        next.clear();
        next.extend(e.chunks_exact(n).map(|row| dot(zero, row, x)));
        for ((x, &ex), (weight, &root)) in x.iter_mut().zip(&*next).zip(weights().zip(&*roots)) {
            *x = weight * (one / root + ex);
        }
    }
    let adjusted = || roots.iter().zip(&*x).map(|(&root, &x)| root * x);
    let scores = adjusted()
        .zip(members)
        .map(|(a, [_, estimates])| a * residual(estimates));
    [
        add(zero, scores),
        add(zero, weights()),
        add(zero, adjusted()),
    ]
}

#[inline(always)]
fn add<S: Simd>(zero: Lane<S>, terms: impl Iterator<Item = Lane<S>>) -> Lane<S> {
    terms.fold(zero, |sum, term| sum + term)
}

#[inline(always)]
fn dot<S: Simd>(zero: Lane<S>, a: &[Lane<S>], b: &[Lane<S>]) -> Lane<S> {
    add(zero, a.iter().zip(b).map(|(&a, &b)| a * b))
}
