//! Laws and edges of the confidence distribution.

use super::ConfidenceDistribution;
use super::q_distribution::QDistribution;
use crate::pooling::quantiles::ChiSquared;
use crate::pooling::tests::{assert_close, effects, sequence};
use crate::pooling::{Level, Reason, pool};

fn distribution(estimates: &[f64], variances: &[f64]) -> ConfidenceDistribution {
    ConfidenceDistribution::new(&effects(estimates, variances)).unwrap()
}

fn spread(k: usize) -> (Vec<f64>, Vec<f64>) {
    (
        sequence(k, 0.3).mapv(|u| 6.0 * u - 3.0).to_vec(),
        sequence(k, 0.7).mapv(|u| 0.25 + u).to_vec(),
    )
}

#[test]
fn equal_weights_make_one_chi_squared() {
    // At tau_squared = 0 all weights are 1, whatever the variances; with equal variances all are
    // 1 + tau_squared / v.
    for k in [2_usize, 3, 10, 60, 400] {
        let (_, variances) = spread(k);
        let df = f64::from(u32::try_from(k).unwrap()) - 1.0;
        let chi_squared = ChiSquared::new(df).unwrap();
        for share in [0.01, 0.5, 1.0, 1.5, 3.0] {
            let q = share * df;
            let expected = chi_squared.lower_tail(q).unwrap();
            let any = QDistribution::new(&effects(&vec![0.0; k], &variances));
            let value = any.lower_tail(q, 0.0).unwrap().value;
            assert_close(value, expected, 1e-12, 0.0);
            let equal = QDistribution::new(&effects(&vec![0.0; k], &vec![0.5; k]));
            let value = equal.lower_tail(4.0 * q, 1.5).unwrap().value;
            assert_close(value, expected, 1e-12, 0.0);
        }
    }
}

#[test]
fn the_slope_is_that_of_the_value() {
    for k in [2_usize, 7, 80] {
        let (estimates, variances) = spread(k);
        let any = distribution(&estimates, &variances);
        for tau_squared in [0.1, 1.0, 10.0] {
            let step = 1e-4 * tau_squared;
            let at = |t| any.distribution.lower_tail(any.q, t).unwrap();
            let difference =
                (at(tau_squared + step).value - at(tau_squared - step).value) / (2.0 * step);
            assert_close(at(tau_squared).slope, difference, 1e-6, 1e-14);
        }
    }
}

#[test]
fn quantiles_invert_the_tail() {
    for k in [2_usize, 5, 40, 300] {
        let (estimates, variances) = spread(k);
        let any = distribution(&estimates, &variances);
        for probability in [0.025, 0.3, 0.5, 0.9, 0.999] {
            let tau_squared = any.quantile(probability).unwrap();
            if any.at_zero() < probability {
                let tail = any.tail(tau_squared).unwrap();
                assert_close(1.0 - tail, probability, 1e-11, 0.0);
            } else {
                assert_close(tau_squared, 0.0, 0.0, 0.0);
            }
        }
    }
}

#[test]
fn many_inversions_agree_with_single_ones() {
    for k in [3_usize, 12, 150] {
        let (estimates, variances) = spread(k);
        let any = distribution(&estimates, &variances);
        let uniforms = sequence(200, 0.41).to_vec();
        let many = any.invert(&uniforms).unwrap();
        for (&u, tau_squared) in uniforms.iter().zip(many) {
            let single = any.quantile(1.0 - u).unwrap();
            assert_close(tau_squared, single, 1e-9, 1e-9);
        }
    }
}

#[test]
fn with_equal_variances_the_interval_is_that_of_the_q_profile() {
    let data = effects(&[0.0, 1.0, 2.5, -1.0, 4.0], &[0.75; 5]);
    let profile = pool(&data, Level::NINETY_FIVE).heterogeneity.unwrap();
    let exact = ConfidenceDistribution::new(&data)
        .unwrap()
        .interval(Level::NINETY_FIVE)
        .unwrap();
    let profile = profile.tau_squared.unwrap();
    assert_close(exact.low, profile.low, 1e-11, 0.0);
    assert_close(exact.high, profile.high, 1e-11, 0.0);
}

#[test]
fn too_little_too_alike_and_equal_effects_have_their_reasons() {
    let new = |y: &[f64], v: &[f64]| ConfidenceDistribution::new(&effects(y, v)).map(|_| ());
    assert_eq!(new(&[], &[]), Err(Reason::NoEffects));
    assert_eq!(new(&[1.0], &[1.0]), Err(Reason::OneEffect));
    assert_eq!(new(&[1.0; 3], &[1.0; 3]), Err(Reason::ZeroStandardError));
    let alike = distribution(&[1.0, 1.001, 0.999, 1.002], &[1.0; 4]);
    assert_eq!(
        alike.interval(Level::NINETY_FIVE),
        Err(Reason::QProfileEmpty)
    );
    assert_eq!(alike.quantile(0.5), Ok(0.0));
    assert_eq!(alike.quantile(1.0), Err(Reason::OutOfRange));
    assert_eq!(alike.tail(-1.0), Err(Reason::OutOfRange));
    assert_eq!(alike.tail(f64::NAN), Err(Reason::OutOfRange));
}

#[test]
fn any_scale_gives_the_same_digits() {
    let (estimates, variances) = spread(9);
    let before = distribution(&estimates, &variances);
    for power in [-200, -3, 90] {
        let scale = 2.0_f64.powi(power);
        let y: Vec<f64> = estimates.iter().map(|y| y * scale).collect();
        let v: Vec<f64> = variances.iter().map(|v| v * scale * scale).collect();
        let after = distribution(&y, &v);
        assert_close(after.at_zero(), before.at_zero(), 0.0, 0.0);
        let median = before.quantile(0.5).unwrap() * scale * scale;
        assert_close(after.quantile(0.5).unwrap(), median, 0.0, 0.0);
    }
}

#[test]
fn effects_of_one_variance_stand_together_and_change_nothing() {
    // 1,200 effects of 40 variances, which are 30 factors each, or 1,200 that hardly differ.
    let k = 1_200;
    let (estimates, _) = spread(k);
    let rounded: Vec<f64> = (0..k)
        .map(|n| 0.25 + 0.02 * f64::from(u32::try_from(n % 40).unwrap()))
        .collect();
    let apart: Vec<f64> = (0_u32..)
        .zip(&rounded)
        .map(|(n, v)| v * (1.0 + f64::from(n) * 1e-15))
        .collect();
    let together = distribution(&estimates, &rounded);
    let apart = distribution(&estimates, &apart);
    for tau_squared in [0.0, 0.5, 2.5, 2.8, 4.0] {
        let tail = apart.tail(tau_squared).unwrap();
        assert_close(together.tail(tau_squared).unwrap(), tail, 1e-9, 0.0);
    }
    for probability in [0.025, 0.5, 0.975] {
        let quantile = apart.quantile(probability).unwrap();
        assert_close(together.quantile(probability).unwrap(), quantile, 1e-9, 0.0);
    }
}
