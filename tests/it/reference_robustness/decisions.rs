//! Adjusted p values, plans and tipping figures against `fixtures/reference/robustness.json`.

use super::{Data, each_case, figure, number, t_figures};
use serde_json::{Value, json};
use tautpool::pooling::multiplicity::adjust;
use tautpool::pooling::planning::outlook;
use tautpool::pooling::tipping::{TippingPoint, tipping};
use tautpool::pooling::{Estimable, Reason};

#[test]
fn adjusted_p_values_agree_with_the_reference() {
    each_case("multiplicity", 50, |comparison| {
        let case = comparison.case;
        let list = case["data"]["p"].as_array().unwrap();
        let p_values: Vec<_> = list
            .iter()
            .map(|p| p.as_f64().ok_or(Reason::OneEffect))
            .collect();
        let found = adjust(&p_values);
        let actual = json!({
            "family_size": found.family_size,
            "holm": found.holm.iter().map(|&p| figure(p)).collect::<Value>(),
            "benjamini_hochberg":
                found.benjamini_hochberg.iter().map(|&p| figure(p)).collect::<Value>(),
        });
        comparison.compare("", &actual, &case["expected"]);
    });
}

#[test]
fn plans_agree_with_the_reference() {
    each_case("planning", 120, |comparison| {
        let case = comparison.case;
        let (data, expected) = (Data::of(case), &case["expected"]);
        let found = outlook(&data.effects(), data.level).unwrap();
        let rows = expected["rows"].as_array().unwrap().iter().map(|row| {
            let n_further = usize::try_from(row["n_further"].as_u64().unwrap()).unwrap();
            let precision = found.precision(n_further).unwrap();
            let power = row["power"].as_array().unwrap().iter().map(|entry| {
                let difference = number(entry, "difference");
                let power = found.power(n_further, difference).unwrap();
                json!({
                    "difference": difference,
                    "plain": power.hartung_knapp,
                    "safe": power.hartung_knapp_safe,
                })
            });
            json!({
                "n_further": precision.n_further,
                "df": precision.df,
                "se": precision.se,
                "half_width": precision.half_width,
                "half_width_safe": precision.half_width_safe,
                "power": power.collect::<Value>(),
            })
        });
        let needed = expected["needed"].as_array().unwrap().iter().map(|entry| {
            let half_width = number(entry, "half_width");
            let n_further = found.further_for(half_width).unwrap();
            json!({"half_width": half_width, "n_further": n_further})
        });
        let actual = json!({
            "tau2": found.tau_squared,
            "typical_variance": found.typical_variance,
            "rows": rows.collect::<Value>(),
            "needed": needed.collect::<Value>(),
        });
        comparison.compare("", &actual, expected);
    });
}

#[test]
fn tipping_figures_agree_with_the_reference() {
    each_case("tipping", 40, |comparison| {
        let case = comparison.case;
        let data = Data::of(case);
        let found = tipping(&data.effects(), data.level).unwrap();
        let figures = |point: Estimable<TippingPoint>| {
            let point = point.unwrap();
            let mut figures = t_figures(Ok(point.interval));
            figures["n_unsent"] = json!(point.n_unsent);
            figures["tau2"] = json!(point.tau_squared);
            figures["estimate"] = json!(point.estimate);
            figures
        };
        let actual = json!({
            "held": figures(found.held),
            "anew": figures(found.anew),
            "typical_variance": found.typical_variance,
        });
        comparison.compare("", &actual, &case["expected"]);
    });
}
