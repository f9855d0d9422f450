//! Influence, accumulation, asymmetry and subgroups against `fixtures/reference/robustness.json`,
//! which takes the long way where the library takes a shortcut; [`decisions`] has multiplicity,
//! planning and tipping.

#![expect(
    clippy::unwrap_used,
    clippy::indexing_slicing,
    reason = "a test stops at what it did not expect"
)]

mod decisions;

use super::reference_values::{Report, Tolerance, cases, number, numbers, reference, text};
use ndarray::Array1;
use serde_json::{Value, json};
use tautpool::pooling::cumulative::cumulate;
use tautpool::pooling::influence::{Unit, influence};
use tautpool::pooling::regression::Coefficient;
use tautpool::pooling::small_studies::{Asymmetry, small_study_effects};
use tautpool::pooling::subgroups::compare;
use tautpool::pooling::{Effects, Estimable, Level, RandomMean, TInterval};

/// The columns of a case's data.
struct Data {
    estimates: Array1<f64>,
    variances: Array1<f64>,
    clusters: Option<Array1<usize>>,
    level: Level,
}

impl Data {
    fn of(case: &Value) -> Self {
        let data = &case["data"];
        Self {
            estimates: numbers(&data["estimates"]).into(),
            variances: numbers(&data["variances"]).into(),
            clusters: labels(&data["clusters"]).map(Array1::from),
            level: Level::new(number(case, "level")).unwrap(),
        }
    }

    fn effects(&self) -> Effects {
        let clusters = self.clusters.as_ref().map(|labels| labels.view());
        Effects::new(self.estimates.view(), self.variances.view(), clusters).unwrap()
    }
}

fn labels(list: &Value) -> Option<Vec<usize>> {
    let label = |value: &Value| usize::try_from(value.as_u64().unwrap()).unwrap();
    Some(list.as_array()?.iter().map(label).collect())
}

/// A figure, or null where it is not defined.
fn figure(value: Estimable<f64>) -> Value {
    value.map_or(Value::Null, |value| json!(value))
}

fn t_figures(interval: Estimable<TInterval>) -> Value {
    interval.map_or(
        Value::Null,
        |t| json!({"se": t.se, "low": t.low, "high": t.high, "df": t.df, "p": figure(t.p)}),
    )
}

fn mean_figures(mean: Estimable<RandomMean>) -> Value {
    mean.map_or(Value::Null, |mean| {
        json!({
            "tau2": mean.tau_squared,
            "estimate": mean.estimate,
            "se": mean.se,
            "safe": t_figures(mean.hartung_knapp_safe),
            "robust": t_figures(mean.cluster_robust),
        })
    })
}

/// Comparisons of one case.
struct Comparison<'a> {
    report: &'a mut Report,
    case: &'a Value,
}

impl Comparison<'_> {
    /// Compares every leaf of `expected` with the figure in the same place.
    fn compare(&mut self, at: &str, actual: &Value, expected: &Value) {
        match expected {
            Value::Object(fields) => {
                for (name, expected) in fields {
                    self.compare(&format!("{at}/{name}"), &actual[name], expected);
                }
            }
            Value::Array(items) => {
                let n_actual = actual.as_array().map(Vec::len);
                self.report.assert_same(at, &n_actual, &Some(items.len()));
                for (idx, expected) in items.iter().enumerate() {
                    self.compare(&format!("{at}/{idx}"), &actual[idx], expected);
                }
            }
            leaf => self.leaf(at, actual, leaf),
        }
    }

    fn leaf(&mut self, at: &str, actual: &Value, expected: &Value) {
        let place = format!("{} {at}", text(self.case, "name"));
        let (Some(actual), Some(expected)) = (actual.as_f64(), expected.as_f64()) else {
            self.report.assert_same(&place, actual, expected);
            return;
        };
        let mut names = at.rsplit('/');
        let name = names.find(|name| name.parse::<usize>().is_err());
        let relative = number(self.case, "relative");
        let absolute = |field: &str| self.case[field].as_f64().unwrap_or(0.0);
        let (relative, absolute) = match name.unwrap_or_default() {
            "p" => (1e-7, 1e-300),
            "tau2" => (1e-7, absolute("absolute_squared")),
            "estimate" | "se" | "low" | "high" | "model_se" => (relative, absolute("absolute")),
            "power" | "plain" | "safe" => (relative, 1e-11),
            _ => (relative, 1e-12),
        };
        let tolerance = Tolerance { relative, absolute };
        self.report
            .assert_close(&place, actual, expected, tolerance);
    }

    /// Means side by side against the lists of the reference.
    fn means(&mut self, at: &str, means: &[Estimable<RandomMean>], expected: &Value) {
        let rows: Vec<Value> = means.iter().map(|&mean| mean_figures(mean)).collect();
        for (name, expected) in expected.as_object().unwrap() {
            let at = format!("{at}/{name}");
            if let Some(parts) = expected.as_object() {
                for (part, expected) in parts {
                    let list = rows.iter().map(|row| row[name][part].clone());
                    self.compare(&format!("{at}/{part}"), &list.collect(), expected);
                }
            } else {
                let list = rows.iter().map(|row| row[name].clone());
                self.compare(&at, &list.collect(), expected);
            }
        }
    }
}

/// Runs a comparison over every case of one kind, of which there are at least some.
fn each_case(kind: &str, fewest: usize, check: impl Fn(&mut Comparison<'_>)) {
    let file = reference("robustness.json");
    let mut report = Report::default();
    for case in cases(&file) {
        if text(case, "kind") == kind {
            check(&mut Comparison {
                report: &mut report,
                case,
            });
        }
    }
    report.finish(fewest);
}

/// Where the rows of the file stand in the canonical order of the effects.
fn canonical_places(data: &Data) -> Vec<usize> {
    let mut order: Vec<usize> = (0..data.estimates.len()).collect();
    order.sort_by(|&a, &b| data.estimates[a].total_cmp(&data.estimates[b]));
    let mut places = vec![0; order.len()];
    for (place, row) in order.into_iter().enumerate() {
        places[row] = place;
    }
    places
}

#[test]
fn deletions_agree_with_the_reference() {
    each_case("influence", 900, |comparison| {
        let case = comparison.case;
        let (data, expected) = (Data::of(case), &case["expected"]);
        let effects = data.effects();
        let places = canonical_places(&data);
        let unit = match text(expected, "unit") {
            "effect" => Unit::Effect,
            _ => Unit::Cluster,
        };
        let found = influence(&effects, unit, data.level);
        let deletions = found.deletions.unwrap();
        let groups = expected["members"].as_array().unwrap();
        // The deletion of the file's n-th group, by the place of its first member.
        let rows = groups.iter().map(|group| {
            let place = places[labels(group).unwrap()[0]];
            match unit {
                Unit::Effect => deletions[place],
                Unit::Cluster => deletions[effects.clusters().unwrap()[place]],
            }
        });
        let rows: Vec<_> = rows.collect();
        comparison.compare("", &json!(rows.len()), &json!(groups.len()));
        let lists = [
            ("weight", rows.iter().map(|row| json!(row.weight)).collect()),
            (
                "residual",
                rows.iter().map(|row| figure(row.residual)).collect(),
            ),
            ("cook", rows.iter().map(|row| figure(row.cook)).collect()),
            (
                "crosses",
                rows.iter()
                    .map(|row| row.crosses_zero.map_or(Value::Null, Value::from))
                    .collect(),
            ),
        ];
        for (name, list) in lists {
            comparison.compare(&format!("/{name}"), &list, &expected[name]);
        }
        let means: Vec<_> = rows.iter().map(|row| row.mean).collect();
        comparison.means("/means", &means, &expected["means"]);
        let range = found.range.unwrap();
        let range = json!({"low": range.low, "high": range.high});
        comparison.compare("/range", &range, &expected["range"]);
        let sizes = rows.iter().map(|row| json!(row.n_left_out)).collect();
        let members = groups
            .iter()
            .map(|group| json!(group.as_array().unwrap().len()));
        comparison.compare("/n_left_out", &sizes, &members.collect());
        assert!(!found.one_step);
    });
}

#[test]
fn accumulation_agrees_with_the_reference() {
    each_case("cumulative", 150, |comparison| {
        let case = comparison.case;
        let (data, expected) = (Data::of(case), &case["expected"]);
        let batches = Array1::from(labels(&case["data"]["batches"]).unwrap());
        let clusters = data.clusters.as_ref().map(|labels| labels.view());
        let found = cumulate(
            data.estimates.view(),
            data.variances.view(),
            clusters,
            batches.view(),
            data.level,
        )
        .unwrap();
        let steps = &found.steps;
        let numbers = steps.iter().map(|step| json!(step.batch)).collect();
        comparison.compare("/batch", &numbers, &expected["batch"]);
        let counts = steps.iter().map(|step| json!(step.k)).collect();
        comparison.compare("/k", &counts, &expected["k"]);
        let means: Vec<_> = steps.iter().map(|step| step.mean).collect();
        comparison.means("/means", &means, &expected["means"]);
    });
}

fn coefficient_figures(coefficient: &Coefficient) -> Value {
    let t = coefficient.knapp_hartung;
    json!({
        "estimate": coefficient.estimate,
        "se": t.se,
        "df": t.df,
        "low": t.low,
        "high": t.high,
        "t": coefficient.estimate / t.se,
        "p": figure(t.p),
    })
}

#[test]
fn regressions_on_the_standard_error_agree_with_the_reference() {
    each_case("small_studies", 100, |comparison| {
        let case = comparison.case;
        let data = Data::of(case);
        let found = small_study_effects(&data.effects(), data.level);
        let figures = |found: &Asymmetry| {
            json!({
                "tau2": found.tau_squared,
                "slope": coefficient_figures(&found.slope),
                "at_zero": coefficient_figures(&found.at_zero),
            })
        };
        let actual = json!({
            "egger": figures(&found.egger.unwrap()),
            "random_effects": figures(&found.random_effects.unwrap()),
        });
        comparison.compare("", &actual, &case["expected"]);
    });
}

#[test]
fn subgroups_agree_with_the_reference() {
    each_case("subgroups", 200, |comparison| {
        let case = comparison.case;
        let (data, expected) = (Data::of(case), &case["expected"]);
        let groups = Array1::from(labels(&case["data"]["groups"]).unwrap());
        let found = compare(
            data.estimates.view(),
            data.variances.view(),
            None,
            groups.view(),
            data.level,
        )
        .unwrap();
        let list = &found.subgroups;
        let labels = list.iter().map(|subgroup| json!(subgroup.label)).collect();
        comparison.compare("/labels", &labels, &expected["labels"]);
        let q = |idx: usize| {
            let heterogeneity = list[idx].heterogeneity.as_ref();
            figure(heterogeneity.map(|h| h.q).map_err(|&reason| reason))
        };
        comparison.compare("/q", &(0..list.len()).map(q).collect(), &expected["q"]);
        let means: Vec<_> = list.iter().map(|subgroup| subgroup.mean).collect();
        comparison.means("/means", &means, &expected["means"]);
        let between = found.between.map_or(
            Value::Null,
            |test| json!({"value": test.value, "df": test.df, "p": test.p}),
        );
        comparison.compare("/between", &between, &expected["between"]);
        let common = found.common.unwrap();
        let means = common.means.iter().map(|mean| {
            let t = mean.knapp_hartung_safe;
            json!({
                "estimate": mean.estimate,
                "model_se": mean.se,
                "se": t.se,
                "low": t.low,
                "high": t.high,
                "t": mean.estimate / t.se,
                "p": figure(t.p),
            })
        });
        let (test, safe) = (common.between.unwrap(), common.between_safe.unwrap());
        let actual = json!({
            "tau2": common.tau_squared,
            "df": common.df,
            "residual_scale": common.residual_scale,
            "means": means.collect::<Value>(),
            "between": {"value": test.value, "df": test.df, "p": test.p},
            "between_safe": {"value": safe.value, "df": safe.df2, "p": safe.p},
        });
        comparison.compare("/common", &actual, &expected["common"]);
        for row in case["printed"].as_array().unwrap() {
            let at = text(row, "at");
            let idx: usize = at.rsplit('/').next().unwrap().parse().unwrap();
            let digits = i32::try_from(row["digits"].as_i64().unwrap()).unwrap();
            let tolerance = Tolerance {
                relative: 0.0,
                absolute: 0.5 * 10_f64.powi(-digits) * (1.0 + 1e-9),
            };
            let place = format!("{} {at}, as printed", text(case, "name"));
            let actual = q(idx).as_f64().unwrap();
            comparison
                .report
                .assert_close(&place, actual, number(row, "value"), tolerance);
        }
    });
}

#[test]
fn no_kind_of_case_is_left_out() {
    let known = [
        "influence",
        "cumulative",
        "small_studies",
        "subgroups",
        "multiplicity",
        "planning",
        "tipping",
    ];
    for case in cases(&reference("robustness.json")) {
        let kind = text(case, "kind");
        if !known.contains(&kind) {
            panic!("{kind} is compared with nothing");
        }
    }
}
