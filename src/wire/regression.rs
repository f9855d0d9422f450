//! The regression of a table in the pooled document: the member `regression` of its one analysis,
//! which is absent when no moderator was asked for.
//!
//! `se`, `low`, `high`, `t` and `p` of a coefficient are those of Knapp & Hartung 2003 as published;
//! `safe` has the safeguarded ones and `wald` the model's own with the normal distribution. Places in
//! its `not_estimable` list begin at the analysis, as in the analysis' own.

use super::pooled::{Missing, ends};
use crate::findings::Estimator;
use crate::findings::regression::predict;
use crate::pooling::regression::{ChiSquaredTest, Coefficient, FTest, Regression, RegressionModel};
use crate::pooling::{Estimable, Reason, TInterval};
use serde_json::{Value, json};

/// Adds a regression to the pooled document of its table.
pub fn add_to(
    document: &mut Value,
    regression: &Regression,
    estimator: Estimator,
    places: &[&[f64]],
) {
    let analysis = document.pointer_mut("/analyses/0");
    if let Some(analysis) = analysis.and_then(Value::as_object_mut) {
        let entry = entry(regression, estimator, places, "/regression");
        analysis.insert("regression".to_owned(), entry);
    }
}

/// A regression that stands at the place `at` of what its `not_estimable` list begins with.
pub(super) fn entry(
    regression: &Regression,
    estimator: Estimator,
    places: &[&[f64]],
    at: &str,
) -> Value {
    let mut missing = Missing::default();
    let model = missing.take(&regression.model, at);
    if let Some(place) = regression.dependent {
        missing.note(&format!("{at}/coefficients/{place}"), Reason::RankDeficient);
    }
    let model = model.as_ref();
    let (mut coefficients, mut robust) = (Vec::new(), Vec::new());
    for (idx, name) in regression.names.iter().enumerate() {
        let found = model.and_then(|model| model.coefficients.get(idx));
        let place = |list: &str| format!("{at}/{list}/{idx}");
        coefficients.push(coefficient(
            name,
            found,
            &place("coefficients"),
            &mut missing,
        ));
        robust.push(robust_row(name, found, &place("robust"), &mut missing));
    }
    let place = |name: &str| format!("{at}/{name}");
    let f = model.map(|model| &model.f_test);
    let f = f_test(f, &place("f"), &mut missing);
    let f_safe = model.map(|model| &model.f_test_safe);
    let f_safe = f_test(f_safe, &place("f_safe"), &mut missing);
    let q_model = model.and_then(|model| missing.take(&model.wald_test, &place("q_model")));
    let r_squared = model.and_then(|model| missing.take(&model.r_squared, &place("r2")));
    let predictions: Vec<Value> = (0..)
        .zip(places)
        .map(|(idx, values)| {
            let at = format!("{at}/predictions/{idx}");
            prediction(regression, values, &at, &mut missing)
        })
        .collect();
    let figure = |figure: fn(&RegressionModel) -> f64| model.map(figure);
    json!({
        "estimator": estimator.code(),
        "k": regression.k,
        "players": regression.n_clusters,
        "tau2": figure(|model| model.tau_squared),
        "df": figure(|model| model.df),
        "q_residual": figure(|model| model.residual_heterogeneity.value),
        "q_residual_p": figure(|model| model.residual_heterogeneity.p),
        "coefficients": coefficients,
        "robust": robust,
        "f": f,
        "f_safe": f_safe,
        "q_model": chi_squared(q_model),
        "r2": r_squared,
        "condition": figure(|model| model.condition),
        "predictions": predictions,
        "not_estimable": missing.list,
    })
}

fn coefficient(name: &str, found: Option<&Coefficient>, at: &str, missing: &mut Missing) -> Value {
    let estimate = found.map(|found| found.estimate);
    let mut t_figures = |t: Option<TInterval>, at: &str| {
        let p = t.and_then(|t| missing.take(&t.p, &format!("{at}/p")));
        // Without a p value the standard error is 0, and there is no ratio.
        let ratio = t.zip(estimate).filter(|_| p.is_some());
        if t.is_some() && ratio.is_none() {
            missing.note(&format!("{at}/t"), Reason::ExactFit);
        }
        json!({
            "se": t.map(|t| t.se), "low": t.map(|t| t.low), "high": t.map(|t| t.high),
            "t": ratio.map(|(t, estimate)| estimate / t.se), "p": p,
        })
    };
    let plain = t_figures(found.map(|found| found.knapp_hartung), at);
    let safe = t_figures(
        found.map(|found| found.knapp_hartung_safe),
        &format!("{at}/safe"),
    );
    let mut entry = json!({"name": name, "estimate": estimate});
    if let (Some(entry), Value::Object(plain)) = (entry.as_object_mut(), plain) {
        entry.extend(plain);
        entry.insert("safe".to_owned(), safe);
        entry.insert("wald".to_owned(), wald(found, at, missing));
    }
    entry
}

fn wald(found: Option<&Coefficient>, at: &str, missing: &mut Missing) -> Value {
    let ratio = found.map(|found| {
        let ratio = found.estimate / found.se;
        let ratio = if ratio.is_finite() {
            Ok(ratio)
        } else {
            Err(Reason::OutOfRange)
        };
        missing.take(&ratio, &format!("{at}/wald/z"))
    });
    json!({
        "se": found.map(|found| found.se),
        "low": found.map(|found| found.wald.low),
        "high": found.map(|found| found.wald.high),
        "z": ratio.flatten(),
        "p": found.map(|found| found.wald.p),
    })
}

/// What the regression says where the moderators have these values.
fn prediction(regression: &Regression, values: &[f64], at: &str, missing: &mut Missing) -> Value {
    let model = regression.model.as_ref().map_err(|&reason| reason);
    let found = missing.take(&model.and_then(|model| predict(model, values)), at);
    let found = found.as_ref();
    let range =
        found.and_then(|found| missing.take(&found.prediction, &format!("{at}/prediction")));
    json!({
        "at": values,
        "estimate": found.map(|found| found.estimate),
        "mean": ends(found.map(|found| found.knapp_hartung.interval())),
        "mean_safe": ends(found.map(|found| found.knapp_hartung_safe.interval())),
        "prediction": ends(range),
    })
}

fn robust_row(name: &str, found: Option<&Coefficient>, at: &str, missing: &mut Missing) -> Value {
    let robust = found.and_then(|found| missing.take(&found.cluster_robust, at));
    let p = robust.and_then(|robust| missing.take(&robust.p, &format!("{at}/p")));
    json!({
        "name": name,
        "se": robust.map(|robust| robust.se), "df": robust.map(|robust| robust.df),
        "low": robust.map(|robust| robust.low), "high": robust.map(|robust| robust.high),
        "p": p,
    })
}

fn f_test(test: Option<&Estimable<FTest>>, at: &str, missing: &mut Missing) -> Value {
    f_figures(test.and_then(|test| missing.take(test, at)))
}

/// A test by Fisher's F.
pub(super) fn f_figures(test: Option<FTest>) -> Value {
    json!({
        "value": test.map(|test| test.value), "df1": test.map(|test| test.df1),
        "df2": test.map(|test| test.df2), "p": test.map(|test| test.p),
    })
}

/// A chi-squared test.
pub(super) fn chi_squared(test: Option<ChiSquaredTest>) -> Value {
    json!({
        "value": test.map(|test| test.value), "df": test.map(|test| test.df),
        "p": test.map(|test| test.p),
    })
}
