//! What is found over all gaps, in the pooled document: questions, joint models, and the figures
//! that analyses take as they are.

use super::pooled::{Missing, class_fields, ends};
use super::regression;
use crate::disclosure;
use crate::findings::joint::Joint;
use crate::findings::labels::unit_words;
use crate::findings::questions::{
    CurvePoint, DoseResponse, Overall, POUNDS_PER_KILOGRAM, Question, Slope,
};
use crate::findings::{
    CountModel, Estimator, FirstVersions, Key, LogOdds, PlanCounts, PlansOfOrder, Publication,
    Reached, SessionSpread,
};
use crate::pooling::bivariate::{Bivariate, BivariateModel, Covariance, Ellipse};
use crate::pooling::subgroups::Subgroups;
use crate::pooling::{Estimable, Reason};
use crate::protocol::{GapBand, GapBands};
use serde_json::{Map, Value, json};

/// Each primary outcome over all gaps.
pub(super) fn questions(questions: &[Question], minimum_players: usize) -> Value {
    questions
        .iter()
        .map(|question| {
            let about = question.about;
            let mut missing = Missing::default();
            let mut entry = class_fields(about.outcome, about.class);
            entry.insert("unit".to_owned(), json!(unit_words(about.outcome)));
            let withheld = question
                .found
                .is_none()
                .then(|| super::pooled::withheld(minimum_players));
            entry.insert("withheld".to_owned(), json!(withheld));
            let found = question.found.as_ref();
            let basis = found.map(|found| found.basis.code());
            entry.insert("basis".to_owned(), json!(basis));
            let dose_response =
                found.map(|found| dose_response(&found.dose_response, &mut missing));
            entry.insert("dose_response".to_owned(), json!(dose_response));
            let bands = found.map(|found| bands(&found.bands, &mut missing));
            entry.insert("bands".to_owned(), json!(bands));
            entry.insert(
                "adjusted".to_owned(),
                json!(found.map(|found| adjusted(found, &mut missing))),
            );
            entry.insert("not_estimable".to_owned(), Value::Array(missing.list));
            Value::Object(entry)
        })
        .collect()
}

fn dose_response(found: &DoseResponse, missing: &mut Missing) -> Value {
    let mut slope = |pounds: f64, name: &str| {
        let slope: Estimable<Slope> = found.slope(pounds);
        let slope = missing.take(&slope, &format!("/dose_response/{name}"));
        json!({
            "estimate": slope.map(|slope| slope.estimate),
            "low": slope.map(|slope| slope.interval.low),
            "high": slope.map(|slope| slope.interval.high),
        })
    };
    let per_5_lb = slope(5.0, "per_5_lb");
    let per_kg = slope(POUNDS_PER_KILOGRAM, "per_kg");
    let line = |found, name: &str| {
        regression::entry(
            found,
            Estimator::Reml,
            &[],
            &format!("/dose_response/{name}"),
        )
    };
    json!({
        "per_5_lb": per_5_lb,
        "per_kg": per_kg,
        "origin": line(&found.origin, "origin"),
        "with_intercept": line(&found.with_intercept, "with_intercept"),
        "curved": line(&found.curved, "curved"),
        "curve": found.curve.iter().enumerate().map(|(place, point)| {
            curve_point(point, &format!("/dose_response/curve/{place}"), missing)
        }).collect::<Vec<_>>(),
    })
}

fn curve_point(point: &CurvePoint, at: &str, missing: &mut Missing) -> Value {
    let interval = missing.take(&point.interval, &format!("{at}/interval"));
    let prediction = missing.take(&point.prediction, &format!("{at}/prediction"));
    json!({
        "gap_lb": point.gap_lb,
        "estimate": point.estimate,
        "interval": ends(interval),
        "prediction": ends(prediction),
    })
}

/// Gap bands as subgroups, with a tau2 of each and with one of all.
fn bands(found: &Subgroups, missing: &mut Missing) -> Value {
    const AT: &str = "/bands";
    let common = missing.take(&found.common, &format!("{AT}/common"));
    let common = common.as_ref();
    let bands = found.subgroups.iter().enumerate().map(|(place, band)| {
        let of_band = |name: &str| format!("{AT}/bands/{place}/{name}");
        let own = missing.take(&band.mean, &of_band("own"));
        let interval =
            own.and_then(|own| missing.take(&own.interval(band.has_repeats), &of_band("own/low")));
        let shared = common.and_then(|common| common.means.get(place));
        if let (None, Err(reason)) = (shared, &found.common) {
            missing.note(&of_band("shared"), *reason);
        }
        json!({
            "band": u8::try_from(band.label).map(|label| GapBands::code(GapBand::Numbered(label))).ok(),
            "k": band.k,
            "own": {
                "estimate": own.map(|own| own.estimate),
                "low": interval.map(|interval| interval.low),
                "high": interval.map(|interval| interval.high),
                "tau2": own.map(|own| own.tau_squared),
            },
            "shared": {
                "estimate": shared.map(|shared| shared.estimate),
                "low": shared.map(|shared| shared.knapp_hartung_safe.low),
                "high": shared.map(|shared| shared.knapp_hartung_safe.high),
            },
        })
    });
    let bands: Vec<Value> = bands.collect();
    let between = missing.take(&found.between, &format!("{AT}/between"));
    let common_test =
        common.and_then(|common| missing.take(&common.between, &format!("{AT}/common/between")));
    let common_f = common.and_then(|common| {
        missing.take(&common.between_safe, &format!("{AT}/common/between_safe"))
    });
    json!({
        "bands": bands,
        "between": regression::chi_squared(between),
        "common": {
            "tau2": common.map(|common| common.tau_squared),
            "between": regression::chi_squared(common_test),
            "between_safe": regression::f_figures(common_f),
        },
    })
}

fn adjusted(found: &Overall, missing: &mut Missing) -> Value {
    let models = found.adjusted.iter().enumerate();
    models
        .map(|(place, adjusted)| {
            let at = format!("/adjusted/{place}/model");
            let found = adjusted.found.as_ref();
            if found.is_none() {
                missing.note(&at, Reason::FewerClustersThanAsked);
            }
            let model =
                found.map(|found| regression::entry(&found.regression, Estimator::Reml, &[], &at));
            json!({
                "by": adjusted.by.code(),
                "at_gap_lb": found.map(|found| found.at_gap_lb),
                "model": model,
            })
        })
        .collect()
}

/// Speed with each measure of control.
pub(super) fn joints(joints: &[Joint], minimum_players: usize) -> Value {
    joints
        .iter()
        .map(|joint| {
            let mut missing = Missing::default();
            let withheld = joint
                .models
                .is_none()
                .then(|| super::pooled::withheld(minimum_players));
            let models = joint.models.as_ref().map(|models| {
                let entries = models.iter().enumerate();
                entries
                    .map(|(place, model)| {
                        bivariate(model, &format!("/models/{place}"), &mut missing)
                    })
                    .collect::<Vec<_>>()
            });
            json!({
                "outcomes": joint.outcomes.map(|outcome| outcome.code()),
                "stroke": joint.class.stroke.code(),
                "direction": joint.class.direction.code(),
                "withheld": withheld,
                "models": models,
                "not_estimable": missing.list,
            })
        })
        .collect()
}

fn bivariate(found: &Bivariate, at: &str, missing: &mut Missing) -> Value {
    let model = missing.take(&found.model, at);
    let correlation =
        model.and_then(|model| missing.take(&model.correlation, &format!("{at}/correlation")));
    let mut region = |pick: fn(&BivariateModel) -> Estimable<Ellipse>, name: &str| {
        let found = model.and_then(|model| missing.take(&pick(&model), &format!("{at}/{name}")));
        ellipse(found)
    };
    let confidence_ellipse = region(|model| model.confidence_ellipse, "confidence_ellipse");
    let prediction_ellipse = region(|model| model.prediction_ellipse, "prediction_ellipse");
    json!({
        "within_correlation": found.within_correlation.value(),
        "k": found.k,
        "players": found.n_clusters,
        "mean": model.map(|model| model.mean),
        "covariance": covariance(model.map(|model| model.covariance)),
        "between": covariance(model.map(|model| model.between)),
        "correlation": correlation,
        "log_likelihood": model.map(|model| model.log_likelihood),
        "confidence_ellipse": confidence_ellipse,
        "prediction_ellipse": prediction_ellipse,
    })
}

fn covariance(found: Option<Covariance>) -> Value {
    json!({
        "first": found.map(|found| found.a),
        "both": found.map(|found| found.ab),
        "second": found.map(|found| found.b),
    })
}

fn ellipse(found: Option<Ellipse>) -> Value {
    let axes = found.map(|found| found.axes());
    json!({
        "centre": found.map(|found| found.centre),
        "shape": covariance(found.map(|found| found.shape)),
        "radius": found.map(|found| found.radius),
        "long": axes.map(|axes| axes.long),
        "short": axes.map(|axes| axes.short),
        "angle": axes.map(|axes| axes.angle),
    })
}

/// What is published beside the rows and enters the analyses as it is.
pub(super) fn given(publication: &Publication) -> Map<String, Value> {
    fields([
        (
            "session_spreads",
            publication.session_spreads.iter().map(spread).collect(),
        ),
        (
            "count_models",
            publication.count_models.iter().map(count_model).collect(),
        ),
        (
            "first_versions",
            publication.first_versions.iter().map(first).collect(),
        ),
        ("reached", publication.reached.iter().map(reached).collect()),
        ("plans", json!(publication.plans.as_ref().map(plans))),
        ("protection", protection(publication)),
    ])
}

/// How well the rows protect those behind them.
fn protection(publication: &Publication) -> Value {
    let found = disclosure::protection(publication);
    let different = found.different.iter().map(|different| {
        let mut entry = class_fields(different.outcome, different.class);
        entry.insert("least".to_owned(), json!(different.least));
        Value::Object(entry)
    });
    let not_shown = found.not_shown.iter();
    let not_shown: Map<String, Value> = not_shown
        .map(|(fact, pairs)| (fact.code().to_owned(), json!(pairs)))
        .collect();
    json!({
        "minimum_players": publication.rules.minimum_players,
        "players": found.players,
        "pairs": found.pairs,
        "classes": found.classes,
        "least_alike": found.alike,
        "least_different": different.collect::<Vec<_>>(),
        "pairs_not_showing": not_shown,
        "pairs_left_out_at_least": publication.pairs_left_out,
    })
}

fn first(first: &FirstVersions) -> Value {
    let mut entry = of_key(&first.key);
    entry.extend(fields([
        ("corrected_at_least", json!(first.corrected_at_least)),
        ("estimate", json!(first.found.estimate)),
        ("low", json!(first.found.interval.low)),
        ("high", json!(first.found.interval.high)),
        ("tau2", json!(first.found.tau_squared)),
    ]));
    Value::Object(entry)
}

fn reached(reached: &Reached) -> Value {
    let mut entry = of_key(&reached.key);
    if let Value::Object(figures) = reached_figures(reached) {
        entry.extend(figures);
    }
    Value::Object(entry)
}

/// An analysis after so many of its players had come.
pub(super) fn reached_figures(reached: &Reached) -> Value {
    json!({
        "players": reached.players,
        "k": reached.k,
        "estimate": reached.estimate,
        "low": reached.interval.low,
        "high": reached.interval.high,
    })
}

fn of_key(key: &Key) -> Map<String, Value> {
    let mut entry = class_fields(key.outcome, key.class);
    entry.insert("band".to_owned(), json!(GapBands::code(key.band)));
    entry
}

fn spread(spread: &SessionSpread) -> Value {
    let mut entry = class_fields(spread.outcome, spread.class);
    entry.extend(spread_figures(spread));
    Value::Object(entry)
}

/// How much sessions differ.
pub(super) fn spread_figures(spread: &SessionSpread) -> Map<String, Value> {
    fields([
        ("variance", json!(spread.variance)),
        ("se", json!(spread.se)),
        ("sd", json!(spread.variance.sqrt())),
        ("players_at_least", json!(spread.players_at_least)),
    ])
}

fn count_model(model: &CountModel) -> Value {
    let mut entry = of_key(&model.key);
    entry.extend(count_figures(model));
    Value::Object(entry)
}

/// A share by models of its counts.
pub(super) fn count_figures(model: &CountModel) -> Map<String, Value> {
    let log_odds = |found: Option<LogOdds>| {
        json!({
            "estimate": found.map(|found| found.estimate),
            "low": found.map(|found| found.low),
            "high": found.map(|found| found.high),
        })
    };
    fields([
        ("k", json!(model.k)),
        ("excluded", json!(model.n_excluded)),
        ("normal", log_odds(model.normal)),
        ("exact", log_odds(model.exact)),
    ])
}

fn fields<const N: usize>(fields: [(&str, Value); N]) -> Map<String, Value> {
    let owned = fields.map(|(name, value)| (name.to_owned(), value));
    owned.into_iter().collect()
}

fn plans(plans: &PlanCounts) -> Value {
    let order = |order: PlansOfOrder| {
        json!({
            "drawn_at_least": order.drawn,
            "opened_at_least": order.opened,
            "sent_at_least": order.sent,
            "unsent_at_least": order.unsent,
        })
    };
    json!({
        "looser_first": order(plans.looser_first),
        "tighter_first": order(plans.tighter_first),
        "balanced": order(plans.balanced),
        "every_order": order(plans.every_order),
    })
}
