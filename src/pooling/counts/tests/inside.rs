//! The hypergeometric sums and the integral on their own.

use super::super::hypergeometric::Hypergeometric;
use super::super::interval::{Summit, by_brackets, by_newton};
use super::super::likelihood::Likelihood;
use super::super::marginal::marginal;
use super::{MIXED, exact, pairs};
use crate::pooling::tests::assert_close;

fn table(row: [u64; 4]) -> Hypergeometric {
    Hypergeometric::new(&pairs(&[row])[0])
}

#[test]
fn probabilities_of_all_counts_add_up_to_one() {
    for theta in [-30.0, -2.0, 0.0, 0.7, 9.0, 400.0, 800.0] {
        for (n_1, n_2, m) in [(5, 7, 6), (5, 7, 11), (40, 3, 20), (900, 800, 800)] {
            let low = u64::saturating_sub(m, n_2);
            let total: f64 = (low..=u64::min(n_1, m))
                .map(|x| table([x, n_1, m - x, n_2]).log_probability(theta).exp())
                .sum();
            assert_close(total, 1.0, 1e-12, 0.0);
        }
    }
}

#[test]
fn a_single_trial_each_is_logistic() {
    // With one event among two arms of one trial, the first has it with probability
    // exp(theta) / (1 + exp(theta)).
    for theta in [-3.0_f64, 0.0, 1.5] {
        let at = table([1, 1, 0, 1]).at(theta);
        let p = 1.0 / (1.0 + (-theta).exp());
        assert_close(at.log_probability, p.ln(), 1e-14, 0.0);
        assert_close(at.score, 1.0 - p, 1e-14, 0.0);
        assert_close(at.variance, p * (1.0 - p), 1e-14, 0.0);
        let third = p * (1.0 - p) * (1.0 - 2.0 * p);
        assert_close(at.third, third, 1e-13, 1e-15);
        let fourth = p * (1.0 - p) * (1.0 - 6.0 * p * (1.0 - p));
        assert_close(at.fourth, fourth, 1e-13, 1e-15);
    }
}

#[test]
fn kept_and_computed_weights_agree() {
    // Margins of 5,000 are beyond what is kept; both are symmetric about the middle.
    let large = table([2_500, 5_000, 2_500, 5_000]);
    let at = large.at(0.0);
    assert_close(at.score, 0.0, 0.0, 1e-9);
    // The variance of the central distribution, n_1 n_2 m (n - m) / (n^2 (n - 1)).
    let variance = 5_000.0_f64.powi(4) / (10_000.0_f64.powi(2) * 9_999.0);
    assert_close(at.variance, variance, 1e-11, 0.0);
    let small = table([20, 40, 20, 40]);
    let variance = 40.0_f64.powi(4) / (80.0_f64.powi(2) * 79.0);
    assert_close(small.at(0.0).variance, variance, 1e-12, 0.0);
}

#[test]
fn both_forms_of_the_derivatives_agree_with_differences() {
    for row in [[3, 20, 8, 25], [0, 20, 8, 25], [300, 900, 250, 880]] {
        let table = table(row);
        for (mu, t) in [(-0.5, 1e-4), (-0.5, 0.3), (0.4, 4.0), (2.0, 60.0)] {
            let at = |mu| marginal(&table, mu, t).unwrap();
            let middle = at(mu);
            let h = 1e-3;
            let (up, down) = (at(mu + h), at(mu - h));
            let slope = (up.log_probability - down.log_probability) / (2.0 * h);
            let [m_1, m_2, m_3, m_4] = middle.ratios;
            assert_close(m_1, slope, 1e-4, 1e-4);
            // d m_n / d mu = m_{n+1} - m_1 m_n.
            let change = |n: usize| (up.ratios[n] - down.ratios[n]) / (2.0 * h);
            for (n, next) in [(0, m_2), (1, m_3), (2, m_4)] {
                let expected = next - m_1 * middle.ratios[n];
                assert_close(change(n), expected, 1e-3, 1e-3);
            }
        }
    }
}

#[test]
fn the_quick_and_the_bracketed_interval_agree() {
    let given = pairs(&MIXED);
    let tables: Vec<Hypergeometric> = given.iter().map(Hypergeometric::new).collect();
    let likelihood = Likelihood::new(&tables);
    let found = exact(&MIXED).random.unwrap();
    let summit = Summit {
        mu: found.estimate,
        se: found.se,
        tau_squared: found.tau_squared,
        log_likelihood: found.log_likelihood,
    };
    let floor = found.log_likelihood - 1.92;
    for start in [-1.96 * found.se, 1.96 * found.se] {
        let quick = by_newton(&likelihood, summit, floor, start).unwrap();
        let slow = by_brackets(&likelihood, summit, floor, start).unwrap();
        assert_close(quick, slow, 1e-10, 0.0);
    }
}
