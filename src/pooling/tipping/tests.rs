//! Laws of the tipping figure, and the edges.

use super::tipping;
use crate::pooling::tests::{assert_close, clustered, effects, example, sequence};
use crate::pooling::{Effects, Level, Reason};

/// Fourteen effects above 0 whose precision differs little.
fn positive() -> (Vec<f64>, Vec<f64>) {
    (
        sequence(14, 0.3).mapv(|u| 2.0 * u + 0.5).to_vec(),
        sequence(14, 0.7).mapv(|u| 0.25 + 0.25 * u).to_vec(),
    )
}

fn numbers(effects: &Effects) -> [usize; 2] {
    let found = tipping(effects, Level::NINETY_FIVE).unwrap();
    [found.held, found.anew].map(|point| point.unwrap().n_unsent)
}

#[test]
fn too_little_data_has_a_reason() {
    let found = |y: &[f64], v: &[f64]| tipping(&effects(y, v), Level::NINETY_FIVE);
    assert_eq!(found(&[], &[]), Err(Reason::NoEffects));
    assert_eq!(found(&[1.0], &[1.0]), Err(Reason::OneEffect));
    // One degree of freedom: 0 is inside as it is.
    assert_eq!(numbers(&effects(&[1.0, 2.0], &[1.0, 1.0])), [0, 0]);
}

#[test]
fn equal_effects_tip_where_the_closed_form_says() {
    // Ten effects of d with variance 1: the mean with m zeros is 10 d / (10 + m). With tau_squared
    // held at 0, q is 10 m d^2 / (10 + m) / (9 + m), below 1 for d = 0.9 once m is not 1 to 8; a
    // number m tips when 10 d <= t (10 + m)^(1/2) max(1, q)^(1/2).
    let found = tipping(&effects(&[0.9; 10], &[1.0; 10]), Level::NINETY_FIVE).unwrap();
    let held = found.held.unwrap();
    let m = f64::from(u32::try_from(held.n_unsent).unwrap());
    assert!(0.0 < m);
    assert_close(held.estimate, 9.0 / (10.0 + m), 1e-14, 0.0);
    let q = 10.0 * m * 0.81 / (10.0 + m) / (9.0 + m);
    let se = ((if q < 1.0 { 1.0 } else { q }) / (10.0 + m)).sqrt();
    assert_close(held.interval.se, se, 1e-14, 0.0);
    assert!(held.interval.low <= 0.0);
}

#[test]
fn direction_is_nothing_and_zero_inside_needs_none() {
    let (shifted, variances) = positive();
    let mirrored: Vec<f64> = shifted.iter().map(|y| -y).collect();
    let up = numbers(&effects(&shifted, &variances));
    assert!(up.iter().all(|&n| 0 < n));
    assert_eq!(up, numbers(&effects(&mirrored, &variances)));
    let clusters: Vec<usize> = (0..14).map(|n| n / 2).collect();
    let by_cluster = clustered(&shifted, &variances, &clusters);
    let one_each = by_cluster.most_precise_per_cluster();
    assert_eq!(numbers(&by_cluster), numbers(&one_each));
    let around: Vec<f64> = shifted.iter().map(|y| y - 1.5).collect();
    assert_eq!(numbers(&effects(&around, &variances)), [0, 0]);
}

#[test]
fn the_number_before_leaves_zero_outside() {
    let (shifted, variances) = positive();
    let all = effects(&shifted, &variances);
    let found = tipping(&all, Level::NINETY_FIVE).unwrap();
    let anew = found.anew.unwrap();
    for (n_zeros, is_inside) in [(anew.n_unsent - 1, false), (anew.n_unsent, true)] {
        let zeros = std::iter::repeat_n(0.0, n_zeros);
        let typical = std::iter::repeat_n(found.typical_variance, n_zeros);
        let y: Vec<f64> = shifted.iter().copied().chain(zeros).collect();
        let v: Vec<f64> = variances.iter().copied().chain(typical).collect();
        let model = crate::pooling::pool(&effects(&y, &v), Level::NINETY_FIVE);
        let interval = model.reml.unwrap().hartung_knapp_safe.unwrap();
        assert_eq!(interval.low <= 0.0, is_inside);
    }
}

#[test]
fn zeros_that_do_not_scatter_take_many_more() {
    // One effect is far more precise than the rest, hence the typical variance is small: estimated
    // anew, tau_squared falls with every zero and 1,200 zeros are not enough.
    let (estimates, variances, _) = example();
    let shifted: Vec<f64> = estimates.iter().map(|y| y + 1.5).collect();
    let found = tipping(&effects(&shifted, &variances), Level::NINETY_FIVE).unwrap();
    assert_eq!(found.anew, Err(Reason::TooManyFurtherEffects));
    assert!(found.held.unwrap().n_unsent < 100);
}

#[test]
fn permutations_and_powers_of_two_change_no_bit() {
    let (shifted, variances) = positive();
    let turned = |column: &[f64]| column.iter().rev().copied().collect::<Vec<f64>>();
    let found = tipping(&effects(&shifted, &variances), Level::NINETY_FIVE).unwrap();
    let permuted = effects(&turned(&shifted), &turned(&variances));
    assert_eq!(tipping(&permuted, Level::NINETY_FIVE).unwrap(), found);
    let scaled = effects(
        &shifted.iter().map(|y| y * 8.0).collect::<Vec<f64>>(),
        &variances.iter().map(|v| v * 64.0).collect::<Vec<f64>>(),
    );
    let scaled = tipping(&scaled, Level::NINETY_FIVE).unwrap();
    for (a, b) in [(found.held, scaled.held), (found.anew, scaled.anew)] {
        let (a, b) = (a.unwrap(), b.unwrap());
        assert_eq!(a.n_unsent, b.n_unsent);
        assert_close(b.interval.high, 8.0 * a.interval.high, 0.0, 0.0);
    }
}
