//! Too little data, refused data, and data that agree too well.

use ndarray::{ArrayView1, arr1};

use super::{assert_close, clustered, effects, models, pooled, random_models};
use crate::pooling::{Effects, Interval, Level, NumericError, Reason, pool};

fn refusal(estimates: &[f64], variances: &[f64]) -> NumericError {
    Effects::new(
        ArrayView1::from(estimates),
        ArrayView1::from(variances),
        None,
    )
    .unwrap_err()
}

#[test]
fn rows_are_refused_by_number() {
    assert_eq!(
        refusal(&[0.0, f64::NAN], &[1.0, 1.0]),
        NumericError::EstimateNotFinite { row: 2 }
    );
    assert_eq!(
        refusal(&[f64::INFINITY], &[1.0]),
        NumericError::EstimateNotFinite { row: 1 }
    );
    assert_eq!(
        refusal(&[0.0; 3], &[1.0, 1.0, f64::NAN]),
        NumericError::VarianceNotFinite { row: 3 }
    );
    assert_eq!(
        refusal(&[0.0; 2], &[f64::INFINITY, 1.0]),
        NumericError::VarianceNotFinite { row: 1 }
    );
    assert_eq!(
        refusal(&[0.0; 2], &[1.0, 0.0]),
        NumericError::VarianceNotPositive { row: 2 }
    );
    assert_eq!(
        refusal(&[0.0; 2], &[-1.0, 1.0]),
        NumericError::VarianceNotPositive { row: 1 }
    );
}

#[test]
fn columns_must_be_parallel() {
    let differs = |column| NumericError::LengthsDiffer {
        n_estimates: 2,
        n_others: 1,
        column,
    };
    assert_eq!(refusal(&[0.0; 2], &[1.0]), differs("variances"));
    let (estimates, clusters) = (arr1(&[0.0, 0.0]), arr1(&[1]));
    let error = Effects::new(
        estimates.view(),
        arr1(&[1.0, 1.0]).view(),
        Some(clusters.view()),
    )
    .unwrap_err();
    assert_eq!(error, differs("clusters"));
    assert_eq!(error.to_string(), "there are 2 estimates but 1 clusters");
}

#[test]
fn levels_from_a_half_to_below_one_are_taken() {
    for level in [0.5, 0.8, 0.999] {
        assert_close(Level::new(level).unwrap().value(), level, 0.0, 0.0);
    }
    for level in [0.49, 1.0, 95.0, -0.1, f64::INFINITY] {
        assert_eq!(
            Level::new(level),
            Err(NumericError::LevelOutOfRange { level })
        );
    }
    assert!(Level::new(f64::NAN).is_err());
}

#[test]
fn without_effects_nothing_is_estimable() {
    let pooled = pooled(&[], &[]);
    assert_eq!((pooled.k, pooled.n_clusters), (0, 0));
    for model in [
        pooled.fixed,
        pooled.dersimonian_laird,
        pooled.paule_mandel,
        pooled.reml,
    ] {
        assert_eq!(model, Err(Reason::NoEffects));
    }
    assert_eq!(pooled.heterogeneity, Err(Reason::NoEffects));
}

#[test]
fn one_effect_has_an_estimate_and_a_normal_interval_only() {
    let alone = clustered(&[3.0], &[4.0], &[9]);
    let pooled = pool(&alone, Level::NINETY_FIVE);
    let fixed = pooled.fixed.unwrap();
    assert_close(fixed.estimate, 3.0, 0.0, 0.0);
    assert_close(fixed.se, 2.0, 0.0, 0.0);
    assert_close(
        fixed.wald.low,
        3.0 - 2.0 * 1.959_963_984_540_054,
        1e-15,
        0.0,
    );
    assert_close(fixed.wald.p, 0.133_614_402_537_716_1, 1e-13, 0.0);
    assert_eq!(fixed.weights(&alone).unwrap(), arr1(&[1.0]));
    assert_eq!(fixed.hartung_knapp, Err(Reason::OneEffect));
    assert_eq!(fixed.hartung_knapp_safe, Err(Reason::OneEffect));
    assert_eq!(fixed.cluster_robust, Err(Reason::OneEffect));
    assert_eq!(fixed.prediction, Err(Reason::NoPredictionUnderFixedEffect));
    for model in [pooled.dersimonian_laird, pooled.paule_mandel, pooled.reml] {
        assert_eq!(model, Err(Reason::OneEffect));
    }
    assert_eq!(pooled.heterogeneity, Err(Reason::OneEffect));
}

#[test]
fn two_effects_make_the_three_estimators_agree() {
    for (estimates, variances) in [
        ([1.0, 4.0], [0.5, 2.0]),
        ([1.0, 2.0], [0.5, 2.0]),
        ([-3.0, 900.0], [1e-6, 1e3]),
    ] {
        let pooled = pooled(&estimates, &variances);
        let distance: f64 = estimates[0] - estimates[1];
        let excess = 0.5 * (distance * distance - variances[0] - variances[1]);
        let expected = if excess < 0.0 { 0.0 } else { excess };
        for model in random_models(&pooled) {
            assert_close(model.tau_squared, expected, 4e-16, 0.0);
            assert_close(model.hartung_knapp.unwrap().df, 1.0, 0.0, 0.0);
            assert_eq!(model.prediction, Err(Reason::FewerThanThreeEffects));
        }
    }
}

#[test]
fn equal_effects_have_no_hartung_knapp_width_but_a_safeguarded_one() {
    let pooled = pool(
        &clustered(
            &[0.1; 6],
            &[1.0, 2.0, 3.0, 0.3, 0.7, 9.0],
            &[1, 2, 3, 4, 5, 6],
        ),
        Level::NINETY_FIVE,
    );
    for model in models(&pooled) {
        assert_close(model.tau_squared, 0.0, 0.0, 0.0);
        assert_close(model.estimate, 0.1, 0.0, 0.0);
        let plain = model.hartung_knapp.unwrap();
        assert_close(plain.high - plain.low, 0.0, 0.0, 0.0);
        assert_eq!(plain.p, Err(Reason::ZeroStandardError));
        let safe = model.hartung_knapp_safe.unwrap();
        assert_close(safe.se, model.se, 1e-15, 0.0);
        assert!(safe.p.is_ok());
        if let Ok(robust) = model.cluster_robust {
            assert_eq!(robust.p, Err(Reason::ZeroStandardError));
        }
    }
    let heterogeneity = pooled.heterogeneity.unwrap();
    assert_close(heterogeneity.q, 0.0, 0.0, 0.0);
    assert_close(heterogeneity.p, 1.0, 0.0, 0.0);
    assert_close(heterogeneity.i_squared, 0.0, 0.0, 0.0);
    assert_eq!(heterogeneity.tau_squared, Err(Reason::QProfileEmpty));
    assert_eq!(heterogeneity.tau_squared_note(), Some("empty"));
}

#[test]
fn q_profile_limits_start_at_zero_below_the_upper_quantile() {
    // Q(0) = 4 on 4 degrees of freedom lies between the quantiles 0.48 and 11.14.
    let heterogeneity = pooled(&[-1.0, -1.0, 0.0, 1.0, 1.0], &[1.0; 5])
        .heterogeneity
        .unwrap();
    let interval = heterogeneity.tau_squared.unwrap();
    assert_close(interval.low, 0.0, 0.0, 0.0);
    // Equal variances: 4 / (1 + t) = 0.484418557089, the 0.025 quantile (from tables).
    assert_close(interval.high, 4.0 / 0.484_418_557_089_0 - 1.0, 1e-11, 0.0);
    assert_eq!(heterogeneity.tau_squared_note(), None);
    assert_close(heterogeneity.h_squared, 1.0, 1e-15, 0.0);
    assert_close(heterogeneity.h_squared_interval.unwrap().low, 1.0, 0.0, 0.0);
    assert_close(heterogeneity.i_squared_interval.unwrap().low, 0.0, 0.0, 0.0);
}

#[test]
fn h_squared_is_not_truncated_but_its_interval_is() {
    let heterogeneity = pooled(&[-1.0, -1.0, 0.0, 1.0, 1.0], &[3.0; 5])
        .heterogeneity
        .unwrap();
    assert!(heterogeneity.h_squared < 1.0);
    assert_close(heterogeneity.i_squared, 0.0, 0.0, 0.0);
    assert_close(heterogeneity.h_squared_interval.unwrap().low, 1.0, 0.0, 0.0);
}

#[test]
fn clusters_need_to_be_given_and_several() {
    let (estimates, variances) = ([1.0, 2.0, 4.0, 3.0, 5.0], [1.0; 5]);
    let robust = |effects: &Effects| {
        pool(effects, Level::NINETY_FIVE)
            .reml
            .unwrap()
            .cluster_robust
    };
    assert_eq!(
        robust(&effects(&estimates, &variances)),
        Err(Reason::NoClusters)
    );
    assert_eq!(
        robust(&clustered(&estimates, &variances, &[5; 5])),
        Err(Reason::OneCluster)
    );
    assert_eq!(
        robust(&clustered(&estimates, &variances, &[1, 1, 2, 2, 3])),
        Err(Reason::FewDegreesOfFreedom)
    );
    assert!(robust(&clustered(&estimates, &variances, &[1, 2, 3, 4, 5])).is_ok());
}

#[test]
fn clusters_are_counted() {
    let repeated = clustered(&[1.0, 2.0, 3.0], &[1.0; 3], &[4, 9, 4]);
    assert_eq!(
        (repeated.k(), repeated.n_clusters(), repeated.has_repeats()),
        (3, 2, true)
    );
    assert_eq!(repeated.clusters().unwrap(), arr1(&[0, 1, 0]));
    let plain = effects(&[1.0, 2.0], &[1.0; 2]);
    assert_eq!((plain.n_clusters(), plain.has_repeats()), (2, false));
    assert_eq!(plain.clusters(), None);
}

#[test]
fn a_raw_prediction_interval_can_be_narrower_than_the_interval_of_the_mean() {
    let model = pooled(
        &[0.9, 1.0, 1.1, 1.0, 0.0],
        &[0.0001, 0.0001, 0.0001, 0.0001, 4.0],
    )
    .dersimonian_laird
    .unwrap();
    let (narrow, wide) = (
        Interval {
            low: 0.0,
            high: 1.0,
        },
        Interval {
            low: 0.0,
            high: 2.0,
        },
    );
    assert!(narrow.is_narrower_than(&wide) && !wide.is_narrower_than(&wide));
    assert!(
        !model
            .prediction
            .unwrap()
            .is_narrower_than(&model.hartung_knapp.unwrap().interval())
    );
    let alike = pooled(&[0.0, 0.1, 0.2], &[1.0; 3]).reml.unwrap();
    assert!(
        alike
            .hartung_knapp
            .unwrap()
            .interval()
            .is_narrower_than(&alike.prediction.unwrap())
    );
}

#[test]
fn reasons_have_distinct_codes_and_sentences() {
    let codes: std::collections::BTreeSet<_> = Reason::ALL.iter().map(Reason::code).collect();
    assert_eq!(codes.len(), Reason::ALL.len());
    for reason in Reason::ALL {
        assert!(reason.to_string().ends_with('.'));
        assert!(
            reason
                .code()
                .chars()
                .all(|c| c.is_ascii_lowercase() || c == '_')
        );
    }
}
