//! A regression for a person's eyes.

use super::{digits, number, range};
use crate::findings::Estimator;
use crate::findings::regression::predict;
use crate::numbers;
use crate::pooling::regression::{Coefficient, Regression, RegressionModel};
use std::io::{self, Write};

pub(super) fn describe(
    out: &mut impl Write,
    regression: &Regression,
    estimator: Estimator,
) -> io::Result<()> {
    writeln!(
        out,
        "regression of {} in {} ({})",
        number(regression.k, "effect", "effects"),
        number(regression.n_clusters, "cluster", "clusters"),
        estimator.code()
    )?;
    match &regression.model {
        Ok(model) => {
            let percent = numbers::percent(regression.level.value(), 0);
            let width = regression.names.iter().map(|name| name.chars().count());
            let width = width.max().unwrap_or(0).max("coefficient".len());
            let title = format!("{percent} range");
            writeln!(
                out,
                "  {:<width$}  {:>11}  {:>11}  {title:<26}  p",
                "coefficient", "estimate", "SE"
            )?;
            for (name, coefficient) in regression.names.iter().zip(&model.coefficients) {
                describe_coefficient(out, &format!("{name:<width$}"), coefficient)?;
            }
            describe_model(out, model)?;
        }
        Err(reason) => {
            let name = regression
                .dependent
                .and_then(|place| regression.names.get(place));
            let name = name.map_or_else(String::new, |name| format!(" ({name})"));
            writeln!(out, "  not estimable: {reason}{name}")?;
        }
    }
    writeln!(out)
}

/// What the regression predicts at some places.
pub(super) fn describe_predictions(
    out: &mut impl Write,
    regression: &Regression,
    places: &[Vec<f64>],
) -> io::Result<()> {
    let Ok(model) = &regression.model else {
        return Ok(());
    };
    for place in places {
        let at: Vec<String> = place.iter().map(|value| digits(*value)).collect();
        let at = at.join(", ");
        match predict(model, place) {
            Ok(found) => {
                let mean = found.knapp_hartung_safe.interval();
                let another = found
                    .prediction
                    .map_or_else(|reason| reason.to_string(), range);
                writeln!(
                    out,
                    "  at {at}: {} ({}), another pair {another}",
                    digits(found.estimate),
                    range(mean)
                )?;
            }
            Err(reason) => writeln!(out, "  at {at}: not estimable: {reason}")?,
        }
    }
    writeln!(out)
}

/// Knapp-Hartung, and below it CR2 where effects are in clusters.
fn describe_coefficient(
    out: &mut impl Write,
    name: &str,
    coefficient: &Coefficient,
) -> io::Result<()> {
    let mut line = |name: &str, estimate: &str, t: &crate::pooling::TInterval| {
        let p =
            t.p.map_or_else(|reason| reason.to_string(), numbers::p_value);
        writeln!(
            out,
            "  {name}  {estimate:>11}  {:>11}  {:<26}  {p}",
            digits(t.se),
            range(t.interval())
        )
    };
    line(
        name,
        &digits(coefficient.estimate),
        &coefficient.knapp_hartung,
    )?;
    if let Ok(robust) = &coefficient.cluster_robust {
        let label = format!("{:<1$}", "  cluster-robust", name.chars().count());
        line(&label, "", robust)?;
    }
    Ok(())
}

fn describe_model(out: &mut impl Write, model: &RegressionModel) -> io::Result<()> {
    let rest = &model.residual_heterogeneity;
    writeln!(
        out,
        "  tau2 {}; Q left {} on {} df, {}",
        digits(model.tau_squared),
        digits(rest.value),
        numbers::fixed(rest.df, 0),
        numbers::p_value(rest.p)
    )?;
    match &model.f_test {
        Ok(test) => writeln!(
            out,
            "  all moderators F {} on {} and {} df, {}",
            digits(test.value),
            test.df1,
            numbers::fixed(test.df2, 0),
            numbers::p_value(test.p)
        )?,
        Err(reason) => writeln!(out, "  all moderators not estimable: {reason}")?,
    }
    match model.r_squared {
        Ok(share) => writeln!(
            out,
            "  heterogeneity explained {}",
            numbers::percent(share, 1)
        ),
        Err(reason) => writeln!(out, "  heterogeneity explained not estimable: {reason}"),
    }
}
