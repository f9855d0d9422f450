//! What puts an analysis to the test, in the pooled document.
//!
//! Places in `not_estimable` lists begin at the analysis, as everywhere.

use super::overall::{count_figures, reached_figures, spread_figures};
use super::pooled::{Missing, ends};
use crate::findings::caveats::Caveat;
use crate::findings::certainty::Certainty;
use crate::findings::scrutiny::{FURTHER_PLAYERS, Scrutiny};
use crate::findings::sensitivity::{Line, sentence};
use crate::findings::words::Said;
use crate::pooling::gains::ShareMethod;
use crate::pooling::influence::{Deletion, Influence, Unit};
use crate::pooling::small_studies::Asymmetry;
use crate::pooling::three_level::{LikelihoodRatio, ThreeLevel};
use crate::pooling::tipping::TippingPoint;
use crate::pooling::{Estimable, RandomMean, Reason, TInterval};
use serde_json::{Map, Value, json};

/// The member `scrutiny` of an analysis.
pub(super) fn entry(
    scrutiny: &Scrutiny,
    said: Option<&Said>,
    smallest_worthwhile: Option<f64>,
    corrected_at_least: usize,
    missing: &mut Missing,
) -> Value {
    let caveats = scrutiny.caveats.iter().map(caveat);
    json!({
        "verdict": said.map(|said| said.verdict.code()),
        "sentence": said.map(|said| said.sentence.as_str()),
        "certainty": certainty(scrutiny.certainty.as_ref()),
        "caveats": caveats.collect::<Vec<_>>(),
        "sensitivity": sensitivity(&scrutiny.sensitivity, corrected_at_least, missing),
        "leave_one_out": leave_one_out(scrutiny, missing),
        "reached": reached(scrutiny),
        "small_studies": small_studies(scrutiny, missing),
        "three_level": three_level(&scrutiny.three_level, missing),
        "gains": gains(scrutiny, missing),
        "outlook": outlook(scrutiny, smallest_worthwhile, missing),
        "tipping": tipping(scrutiny, missing),
        "session_spread": scrutiny.session_spread.as_ref().map(spread_figures),
        "counts": scrutiny.count_model.as_ref().map(count_figures),
    })
}

pub(super) fn caveat(caveat: &Caveat) -> Value {
    json!({"code": caveat.code(), "figure": caveat.figure(), "sentence": caveat.sentence()})
}

/// How sure, with the reasons; null for a table that is not a study's.
pub(super) fn certainty(certainty: Option<&Certainty>) -> Value {
    let Some(certainty) = certainty else {
        return Value::Null;
    };
    let reasons = certainty
        .reasons
        .iter()
        .map(|reason| json!({"code": reason.code(), "sentence": reason.sentence()}));
    json!({"level": certainty.level.code(), "reasons": reasons.collect::<Vec<_>>()})
}

fn sensitivity(lines: &[Line], corrected_at_least: usize, missing: &mut Missing) -> Value {
    let entries = lines.iter().enumerate();
    entries
        .map(|(place, found)| {
            let at = format!("/scrutiny/sensitivity/{place}");
            line(found, corrected_at_least, &at, missing)
        })
        .collect()
}

/// One way of asking about an analysis with so many corrected pairs.
pub(super) fn line(
    line: &Line,
    corrected_at_least: usize,
    at: &str,
    missing: &mut Missing,
) -> Value {
    let brief = missing.take(&line.result, at);
    json!({
        "code": line.kind.code(),
        "sentence": sentence(line.kind, corrected_at_least),
        "k": line.counts.map(|(k, _)| k),
        "players": line.counts.map(|(_, players)| players),
        "estimate": brief.map(|brief| brief.estimate),
        "low": brief.map(|brief| brief.interval.low),
        "high": brief.map(|brief| brief.interval.high),
        "tau2": brief.map(|brief| brief.tau_squared),
    })
}

fn leave_one_out(scrutiny: &Scrutiny, missing: &mut Missing) -> Value {
    const AT: &str = "/scrutiny/leave_one_out";
    let influence = &scrutiny.influence;
    let deletions = missing.take(&influence.deletions, &format!("{AT}/deletions"));
    let range = missing.take(&influence.range, &format!("{AT}/lowest"));
    if let Err(reason) = influence.range {
        missing.note(&format!("{AT}/highest"), reason);
    }
    let crosses_zero = missing.take(&influence.crosses_zero, &format!("{AT}/crosses_zero"));
    let has_repeats = has_repeats(influence);
    let deletions = deletions.map(|deletions| {
        let rows = deletions.iter().zip(&scrutiny.left_out);
        rows.enumerate()
            .map(|(place, (deletion, left_out))| {
                let at = format!("{AT}/deletions/{place}");
                let left_out = left_out.iter().map(
                    |(estimate, variance)| json!({"estimate": estimate, "variance": variance}),
                );
                let left_out: Vec<Value> = left_out.collect();
                let mut entry = json!({"left_out": left_out, "weight": deletion.weight});
                if let Some(entry) = entry.as_object_mut() {
                    put_deletion(entry, deletion, has_repeats, &at, missing);
                }
                entry
            })
            .collect::<Vec<_>>()
    });
    json!({
        "unit": match influence.unit {
            Unit::Cluster => "player",
            Unit::Effect => "effect",
        },
        "one_step": influence.one_step,
        "lowest": range.map(|range| range.low),
        "highest": range.map(|range| range.high),
        "crosses_zero": crosses_zero,
        "deletions": deletions,
    })
}

const fn has_repeats(influence: &Influence) -> bool {
    influence.n_clusters < influence.k
}

fn put_deletion(
    entry: &mut Map<String, Value>,
    deletion: &Deletion,
    has_repeats: bool,
    at: &str,
    missing: &mut Missing,
) {
    put_mean(entry, &deletion.mean, has_repeats, at, missing);
    let mut figure = |value: &Estimable<f64>, name: &str| {
        let figure = missing.take(value, &format!("{at}/{name}"));
        entry.insert(name.to_owned(), json!(figure));
    };
    figure(&deletion.residual, "residual");
    figure(&deletion.cook, "cook");
    let crosses = missing.take(&deletion.crosses_zero, &format!("{at}/crosses_zero"));
    entry.insert("crosses_zero".to_owned(), json!(crosses));
}

/// A pooled mean in four figures.
fn put_mean(
    entry: &mut Map<String, Value>,
    mean: &Estimable<RandomMean>,
    has_repeats: bool,
    at: &str,
    missing: &mut Missing,
) {
    let mut take = |value: Estimable<f64>, name: &str| {
        let figure = missing.take(&value, &format!("{at}/{name}"));
        entry.insert(name.to_owned(), json!(figure));
    };
    let interval = mean.and_then(|mean| mean.interval(has_repeats));
    take(mean.map(|mean| mean.estimate), "estimate");
    take(interval.map(|interval| interval.low), "low");
    take(interval.map(|interval| interval.high), "high");
    take(mean.map(|mean| mean.tau_squared), "tau2");
}

fn reached(scrutiny: &Scrutiny) -> Value {
    let Some(reached) = &scrutiny.reached else {
        return Value::Null;
    };
    reached.iter().map(reached_figures).collect()
}

fn small_studies(scrutiny: &Scrutiny, missing: &mut Missing) -> Value {
    let found = &scrutiny.small_studies;
    let mut test = |value: &Estimable<Asymmetry>, name: &str| {
        let at = format!("/scrutiny/small_studies/{name}");
        let test = missing.take(value, &at);
        let slope = test.as_ref().map(|test| &test.slope);
        let p = slope.and_then(|slope| missing.take(&slope.knapp_hartung.p, &format!("{at}/p")));
        json!({
            "slope": slope.map(|slope| slope.estimate),
            "se": slope.map(|slope| slope.knapp_hartung.se),
            "low": slope.map(|slope| slope.knapp_hartung.low),
            "high": slope.map(|slope| slope.knapp_hartung.high),
            "df": slope.map(|slope| slope.knapp_hartung.df),
            "p": p,
            "at_zero": test.as_ref().map(|test| test.at_zero.estimate),
            "tau2": test.as_ref().map(|test| test.tau_squared),
        })
    };
    json!({
        "k": found.k,
        "egger": test(&found.egger, "egger"),
        "random_effects": test(&found.random_effects, "random_effects"),
    })
}

fn three_level(found: &ThreeLevel, missing: &mut Missing) -> Value {
    const AT: &str = "/scrutiny/three_level";
    let model = missing.take(&found.model, AT);
    let model = model.as_ref();
    let t = model.map(|model| model.t);
    let p = t.and_then(|t: TInterval| missing.take(&t.p, &format!("{AT}/p")));
    let share =
        model.and_then(|model| missing.take(&model.share_between, &format!("{AT}/share_between")));
    let mut ratio = |ratio: Option<LikelihoodRatio>, name: &str| {
        let p = ratio.and_then(|ratio| missing.take(&ratio.p, &format!("{AT}/{name}/p")));
        json!({"statistic": ratio.map(|ratio| ratio.statistic), "p": p})
    };
    let no_between = ratio(model.map(|model| model.no_between), "no_between");
    let no_within = ratio(model.map(|model| model.no_within), "no_within");
    json!({
        "estimate": model.map(|model| model.estimate),
        "se": t.map(|t| t.se),
        "low": t.map(|t| t.low),
        "high": t.map(|t| t.high),
        "df": t.map(|t| t.df),
        "p": p,
        "tau2_between": model.map(|model| model.tau_between_squared),
        "tau2_within": model.map(|model| model.tau_within_squared),
        "share_between": share,
        "no_between": no_between,
        "no_within": no_within,
    })
}

fn gains(scrutiny: &Scrutiny, missing: &mut Missing) -> Value {
    let gains = scrutiny.gains.iter().enumerate();
    gains
        .map(|(place, gain)| {
            let share = missing.take(&gain.share, &format!("/scrutiny/gains/{place}"));
            let at = format!("/scrutiny/gains/{place}/tau2_high");
            let tau_squared_high = missing.take(&gain.tau_squared_high, &at);
            json!({
                "of": gain.of.code(),
                "threshold": gain.threshold,
                "share": share.map(|share| share.estimate),
                "low": share.map(|share| share.interval.low),
                "high": share.map(|share| share.interval.high),
                "method": share.map(|share| match share.method {
                    ShareMethod::Normal => "normal",
                    ShareMethod::Calibrated => "calibrated",
                }),
                "tau2_high": tau_squared_high,
            })
        })
        .collect()
}

fn outlook(scrutiny: &Scrutiny, smallest_worthwhile: Option<f64>, missing: &mut Missing) -> Value {
    const AT: &str = "/scrutiny/outlook";
    let found = missing.take(&scrutiny.outlook, AT);
    let target = smallest_worthwhile.ok_or(Reason::NoThreshold);
    missing.take(&target, &format!("{AT}/target_half_width"));
    let further = found.map(|found| {
        let rows = FURTHER_PLAYERS.iter().enumerate();
        rows.map(|(place, &n_further)| {
            let at = |name: &str| format!("{AT}/further/{place}/{name}");
            let precision = found.precision(n_further);
            let half_width = precision.map(|precision| precision.half_width_safe);
            let power = target.and_then(|difference| found.power(n_further, difference));
            json!({
                "players": n_further,
                "half_width": missing.take(&half_width, &at("half_width")),
                "power": missing.take(&power.map(|power| power.hartung_knapp_safe), &at("power")),
            })
        })
        .collect::<Vec<_>>()
    });
    let needed = found.and_then(|found| {
        let needed = target.and_then(|half_width| found.further_for(half_width));
        missing.take(&needed, &format!("{AT}/further_for_target"))
    });
    json!({
        "players": found.map(|found| found.k),
        "typical_variance": found.map(|found| found.typical_variance),
        "target_half_width": smallest_worthwhile,
        "further_for_target": needed,
        "further": further,
    })
}

fn tipping(scrutiny: &Scrutiny, missing: &mut Missing) -> Value {
    const AT: &str = "/scrutiny/tipping";
    let found = missing.take(&scrutiny.tipping, AT);
    let mut point = |point: Option<Estimable<TippingPoint>>, name: &str| {
        let point = point.and_then(|point| missing.take(&point, &format!("{AT}/{name}")));
        json!({
            "unsent": point.map(|point| point.n_unsent),
            "estimate": point.map(|point| point.estimate),
            "interval": ends(point.map(|point| point.interval.interval())),
        })
    };
    json!({
        "typical_variance": found.map(|found| found.typical_variance),
        "held": point(found.map(|found| found.held), "held"),
        "anew": point(found.map(|found| found.anew), "anew"),
    })
}
