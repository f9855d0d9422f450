//! Too little data, columns that say nothing new, and numbers at the edge of the arithmetic.

use ndarray::{Array2, ArrayView1};

use super::{ESTIMATORS, Table, assert_all_close, example};
use crate::pooling::regression::Design;
use crate::pooling::tests::assert_close;
use crate::pooling::{NumericError, Reason};

/// `n` effects of their own on one moderator.
fn singles(n: u32) -> Table {
    let x: Vec<f64> = (0..n).map(f64::from).collect();
    Table {
        estimates: x.iter().map(|x| 0.5 * x + (x * 2.399_963).sin()).collect(),
        variances: x.iter().map(|x| 0.1 + (x * 0.7).sin().powi(2)).collect(),
        clusters: None,
        columns: vec![x],
        has_intercept: true,
    }
}

fn reason(table: &Table) -> Reason {
    table.regress(ESTIMATORS[3]).model.unwrap_err()
}

#[test]
fn ten_effects_for_every_moderator_are_enough_and_nine_are_not() {
    assert_eq!(reason(&singles(9)), Reason::FewerThanTenPerModerator);
    let model = singles(10).reml();
    assert_close(model.df, 8.0, 0.0, 0.0);
    let mut two = singles(19);
    two.columns
        .push(two.columns[0].iter().map(|x| x * x).collect());
    assert_eq!(reason(&two), Reason::FewerThanTenPerModerator);
    let mut two = singles(20);
    two.columns
        .push(two.columns[0].iter().map(|x| x * x).collect());
    assert_close(two.reml().df, 17.0, 0.0, 0.0);
    // Through the origin the moderator counts no less.
    let mut origin = singles(9);
    origin.has_intercept = false;
    assert_eq!(reason(&origin), Reason::FewerThanTenPerModerator);
}

#[test]
fn it_is_players_that_are_counted() {
    let mut table = singles(20);
    table.clusters = Some((0..20).map(|idx| idx % 9).collect());
    let found = table.regress(ESTIMATORS[3]);
    assert_eq!((found.k, found.n_clusters), (20, 9));
    assert_eq!(found.model.unwrap_err(), Reason::FewerThanTenPerModerator);
    table.clusters = Some((0..20).map(|idx| idx % 10).collect());
    assert!(table.regress(ESTIMATORS[3]).model.is_ok());
}

#[test]
fn too_little_of_anything_has_its_reason() {
    assert_eq!(reason(&singles(0)), Reason::NoEffects);
    let mut one = singles(1);
    one.columns.clear();
    assert_eq!(reason(&one), Reason::OneEffect);
    one.has_intercept = false;
    assert_eq!(reason(&one), Reason::NoColumns);
    let mut two = singles(2);
    two.columns.clear();
    let model = two.reml();
    assert_eq!(
        model.predict(&[]).unwrap().prediction,
        Err(Reason::FewerThanThreeEffects)
    );
    assert_eq!(model.f_test, Err(Reason::NoModerators));
    assert_eq!(model.wald_test, Err(Reason::NoModerators));
    assert_eq!(model.r_squared, Err(Reason::NoModerators));
}

#[test]
fn a_column_that_says_nothing_new_is_named() {
    let dependent = |table: &Table| {
        let found = table.regress(ESTIMATORS[3]);
        assert_eq!(found.model.unwrap_err(), Reason::RankDeficient);
        found.names[found.dependent.unwrap()].clone()
    };
    let mut constant = example();
    constant.clusters = None;
    constant.columns[0].fill(0.1 + 0.2);
    assert_eq!(dependent(&constant), "x1");
    // In kilograms it is the same gap.
    let mut doubled = example();
    doubled.clusters = None;
    doubled.columns[1] = doubled.columns[0]
        .iter()
        .map(|x| x * 0.453_592_37 + 1e3)
        .collect();
    assert_eq!(dependent(&doubled), "x2");
    let mut sum = example();
    sum.clusters = None;
    let third = sum.columns[0]
        .iter()
        .zip(&sum.columns[1])
        .map(|(a, b)| 3.0 * a - b / 7.0);
    let third: Vec<f64> = third.collect();
    sum.columns.push(third);
    assert_eq!(dependent(&sum), "x3");
    let mut zero = example();
    zero.clusters = None;
    zero.has_intercept = false;
    zero.columns[1].fill(0.0);
    assert_eq!(dependent(&zero), "x2");
    // Through the origin a constant is a column like any other.
    constant.has_intercept = false;
    assert!(constant.regress(ESTIMATORS[3]).model.is_ok());
}

#[test]
fn identical_rows_are_no_regression() {
    let table = Table {
        estimates: vec![1.5; 12],
        variances: vec![0.3; 12],
        clusters: None,
        columns: vec![vec![8.0; 12]],
        has_intercept: true,
    };
    assert_eq!(reason(&table), Reason::RankDeficient);
}

#[test]
fn effects_on_a_line_have_no_residual_spread() {
    let mut flat = singles(30);
    flat.estimates.fill(0.7);
    let mut sloped = singles(30);
    sloped.estimates = sloped.columns[0].iter().map(|x| 1e6 + 0.1 * x).collect();
    for (mut table, slope) in [(flat, 0.0), (sloped, 0.1)] {
        table.clusters = Some((0..30).collect());
        for estimator in ESTIMATORS {
            let model = table.regress(estimator).model.unwrap();
            assert_close(model.tau_squared, 0.0, 0.0, 0.0);
            assert_close(model.residual_scale, 0.0, 0.0, 0.0);
            assert_close(model.residual_heterogeneity.p, 1.0, 0.0, 0.0);
            let found = &model.coefficients[1];
            assert_close(found.estimate, slope, 1e-9, 1e-16);
            assert_eq!(found.knapp_hartung.p, Err(Reason::ExactFit));
            assert_close(found.knapp_hartung_safe.se, found.se, 0.0, 0.0);
            assert!(found.knapp_hartung_safe.p.is_ok());
            assert_eq!(found.cluster_robust.unwrap().p, Err(Reason::ExactFit));
            assert_eq!(model.f_test, Err(Reason::ExactFit));
            assert!(model.f_test_safe.is_ok() && model.wald_test.is_ok());
        }
    }
}

#[test]
fn explained_heterogeneity_needs_some_and_an_intercept() {
    let mut table = singles(12);
    assert!(table.reml().r_squared.is_ok());
    let fixed = table.regress(ESTIMATORS[0]).model.unwrap();
    assert_eq!(fixed.r_squared, Err(Reason::NoHeterogeneityToExplain));
    table.has_intercept = false;
    assert_eq!(table.reml().r_squared, Err(Reason::NoIntercept));
    // A moderator that explains nothing costs a degree of freedom, and the share is not negative.
    let mut useless = example();
    useless.columns = vec![(0..44).map(|idx| f64::from(idx * 7 % 5)).collect()];
    let share = useless.reml().r_squared.unwrap();
    assert!((0.0..0.3).contains(&share));
    let mut alike = singles(12);
    alike.variances.fill(1e4);
    assert_eq!(
        alike.reml().r_squared,
        Err(Reason::NoHeterogeneityToExplain)
    );
}

#[test]
fn clusters_need_to_be_given_several_and_independent() {
    let mut table = singles(20);
    let robust = |table: &Table, idx: usize| table.reml().coefficients[idx].cluster_robust;
    assert_eq!(robust(&table, 1), Err(Reason::NoClusters));
    // Eleven players, of whom one alone has the condition.
    table.clusters = Some((0..20).map(|idx| idx % 11).collect());
    table.columns[0] = (0..20)
        .map(|idx| f64::from(u8::from(idx % 11 == 3)))
        .collect();
    assert_eq!(robust(&table, 1), Err(Reason::RestsOnOneCluster));
    assert!(robust(&table, 0).is_ok());
    // Two have it, which is one degree of freedom and a little.
    table.columns[0] = (0..20)
        .map(|idx| f64::from(u8::from(idx % 11 == 3 || idx % 11 == 6)))
        .collect();
    assert_eq!(robust(&table, 1), Err(Reason::FewDegreesOfFreedom));
    // One pair alone has it.
    table.columns[0] = (0..20).map(|idx| f64::from(u8::from(idx == 5))).collect();
    table.clusters = Some((0..20).collect());
    let model = table.reml();
    let slope = &model.coefficients[1];
    assert!(slope.se.is_finite());
    assert_eq!(slope.cluster_robust, Err(Reason::RestsOnOneCluster));
    let mean = model.coefficients[0].cluster_robust.unwrap();
    // The mean of the others, as if the one were not there.
    let mut others = table.clone();
    for column in [&mut others.estimates, &mut others.variances] {
        column.remove(5);
    }
    others.columns.clear();
    others.clusters = Some((0..19).collect());
    let alone = others.reml();
    assert_close(alone.tau_squared, model.tau_squared, 1e-12, 0.0);
    let alone = alone.coefficients[0].cluster_robust.unwrap();
    assert_all_close(&[mean.se, mean.df], &[alone.se, alone.df], 1e-12, 0.0);
}

#[test]
fn two_overwhelming_effects_leave_the_digits_of_the_rest() {
    // Two precise effects fix the line y = 1 + 3 x; the vague ones, 24 orders of magnitude less
    // precise, change it by shares below 1e-12 and decide the heterogeneity alone.
    let mut table = singles(12);
    table.variances.fill(1e12);
    table.variances[2] = 1e-12;
    table.variances[7] = 3e-12;
    let distance = [
        1e6, -2e6, 0.0, 3e6, -1e6, 5e6, -4e6, 0.0, 2e6, -3e6, 1e6, 2e6,
    ];
    let line = table.columns[0].iter().map(|x| 1.0 + 3.0 * x);
    table.estimates = line.zip(distance).map(|(y, d)| y + d).collect();
    let model = table.regress(ESTIMATORS[0]).model.unwrap();
    assert_close(model.coefficients[1].estimate, 3.0, 1e-12, 0.0);
    assert_close(
        model.coefficients[1].se,
        (4e-12_f64).sqrt() / 5.0,
        1e-12,
        0.0,
    );
    let q: f64 = distance.iter().map(|d| d * d / 1e12).sum();
    assert_close(model.residual_heterogeneity.value, q, 1e-12, 0.0);
    // With the line through x = 2 and x = 7, P = (I, -L)' W (I, -L) over the vague effects, where L
    // interpolates: tr P = sum w (1 + |L|^2).
    let vague = (0..12).filter(|&x| x != 2 && x != 7).map(f64::from);
    let trace: f64 = vague
        .map(|x| 1.0 + ((7.0 - x) / 5.0).powi(2) + ((x - 2.0) / 5.0).powi(2))
        .sum();
    let model = table.regress(ESTIMATORS[1]).model.unwrap();
    assert_close(model.tau_squared, (q - 10.0) / trace * 1e12, 1e-12, 0.0);
}

#[test]
fn numbers_beyond_the_arithmetic_are_reported_and_never_nan() {
    let mut base = singles(12);
    base.clusters = Some((0..12).map(|idx| idx * 5 % 12).collect());
    let mut cases = Vec::new();
    for (y, v, x) in [
        (1e300, 1e-300, 1.0),
        (1.0, 1e-320, 1.0),
        (1e-300, 1e300, 1.0),
        (1e150, 1e300, 1e300),
        (1e-160, 1e-310, 1e-300),
        (1.0, 1.0, 1e308),
    ] {
        let mut table = base.clone();
        table.estimates.iter_mut().for_each(|value| *value *= y);
        table.variances.iter_mut().for_each(|value| *value *= v);
        table.variances[4] = 1.0;
        table.columns[0]
            .iter_mut()
            .for_each(|value| *value *= x / 12.0);
        cases.push(table);
    }
    for table in cases {
        for estimator in ESTIMATORS {
            let Ok(model) = table.regress(estimator).model else {
                continue;
            };
            assert!(model.tau_squared.is_finite() && model.condition.is_finite());
            for coefficient in &model.coefficients {
                let t = coefficient.knapp_hartung;
                for figure in [coefficient.estimate, coefficient.se, t.low, t.high] {
                    assert!(figure.is_finite(), "{coefficient:?}");
                }
                for p in [t.p, coefficient.knapp_hartung_safe.p]
                    .into_iter()
                    .flatten()
                {
                    assert!((0.0..=1.0).contains(&p));
                }
            }
        }
    }
}

#[test]
fn rows_and_columns_are_refused_by_number() {
    let columns = Array2::from_shape_vec((2, 2), vec![1.0, 2.0, 3.0, f64::NAN]).unwrap();
    let (y, v) = ([1.0, 2.0], [1.0, 1.0]);
    let make = |n: usize, names: &[&str]| {
        let names: Vec<String> = names.iter().map(|&name| name.to_owned()).collect();
        let (y, v) = (ArrayView1::from(&y[..n]), ArrayView1::from(&v[..n]));
        Design::new(y, v, None, columns.view(), &names, true).unwrap_err()
    };
    assert_eq!(
        make(2, &["a", "b"]),
        NumericError::ModeratorNotFinite { row: 2, column: 2 }
    );
    assert_eq!(
        make(2, &["a"]),
        NumericError::NamesDiffer {
            n_columns: 2,
            n_names: 1
        }
    );
    assert_eq!(
        make(1, &["a", "b"]),
        NumericError::LengthsDiffer {
            n_estimates: 1,
            n_others: 2,
            column: "rows of moderators"
        }
    );
}
