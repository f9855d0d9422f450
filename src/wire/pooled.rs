//! The pooled document (`schema/pooled.v1.schema.json`).

use super::{batch_head, decimal, overall, reproducible, scrutiny, study_head};
use crate::disclosure::Everybody;
use crate::findings::families::AdjustedP;
use crate::findings::labels::unit_words;
use crate::findings::scrutiny::Scrutiny;
use crate::findings::sensitivity::Line;
use crate::findings::words::Said;
use crate::findings::{Analysis, Basis, Finding, Findings, Key, Publication};
use crate::pooling::{Estimable, Heterogeneity, Interval, Level, Model, Pooled, Reason, TInterval};
use crate::protocol::{GapBand, GapBands};
use crate::vocabulary::{Outcome, ShotClass};
use serde_json::{Map, Value, json};

/// What holds for every analysis of the document.
pub(super) const CAVEATS: &[&str] = &[
    "Differences are looser minus tighter: a positive speed means that the looser string bed was faster.",
    "Shots of one session are taken as independent unless their autocorrelation was given, because summaries say nothing of their correlation; where they are correlated the true standard errors are larger and part of the heterogeneity is false.",
    "With one session per arm, tau2 and everything made from it hold day-to-day noise as well as differences between players.",
    "The prediction interval shown is that of Nagashima, Noma & Furukawa 2019. It is approximate: simulated, it covers 92 to 96 % of new true effects at moderate and large heterogeneity, where that of Higgins, Thompson & Spiegelhalter 2009 (under models) covers 87 to 95 %. It takes pairs of one player as independent.",
    "The any_time interval keeps its promise while differences between players are roughly normal, the crowd stays of one kind, and nothing is withdrawn or corrected; simulated, it ever misses in 2 to 3 % of studies then, and in 8 to 12 % where they are strongly skewed.",
    "Players chose to take part and to send, and players who saw a gain are likelier to send it.",
];

/// The pooled analyses of a study.
#[must_use]
pub fn of_publication(
    publication: &Publication,
    findings: &Findings,
    everybody: &[Everybody],
) -> Value {
    let mut document = json!({
        "document": "pooled",
        "version": 1,
        "study": study_head(&publication.study),
        "batch": batch_head(publication.batch.as_ref()),
        "level": publication.level.value(),
        "caveats": CAVEATS,
        "reproducible": reproducible::statement(),
    });
    if let Some(document) = document.as_object_mut() {
        document.extend(found(publication, findings, everybody));
    }
    document
}

/// What is found, and what is published beside the rows: the same in the pooled document and in
/// the download.
pub(super) fn found(
    publication: &Publication,
    findings: &Findings,
    everybody: &[Everybody],
) -> Map<String, Value> {
    let bands = &publication.rules.bands;
    let minimum_players = publication.rules.minimum_players;
    let mut parts = Map::new();
    let mut put = |name: &str, part: Value| parts.insert(name.to_owned(), part);
    put("analyses", analyses_of(&findings.analyses, bands));
    let questions = overall::questions(&findings.questions, minimum_players);
    put("questions", questions);
    let joints = overall::joints(&findings.joints, minimum_players);
    put("joint", joints);
    put("everybody", everybody_of(everybody, bands));
    parts.extend(overall::given(publication));
    parts
}

/// The pooled analysis of one table of effects that is not a study's.
#[must_use]
pub fn of_table(level: Level, finding: &Finding, scrutiny: &Scrutiny) -> Value {
    let mut entry = Map::new();
    for name in ["outcome", "stroke", "direction", "band", "primary", "unit"] {
        entry.insert(name.to_owned(), Value::Null);
    }
    let about = About {
        basis: None,
        corrected_at_least: None,
        dominated: None,
        smallest_worthwhile: None,
        without_imputed: None,
        adjusted_p: None,
        scrutiny: Some(scrutiny),
        said: None,
    };
    put_finding(&mut entry, finding, &about);
    json!({
        "document": "pooled",
        "version": 1,
        "study": null,
        "batch": null,
        "level": level.value(),
        "caveats": [],
        "reproducible": reproducible::statement(),
        "analyses": [entry],
        "questions": [],
        "joint": [],
        "everybody": [],
        "session_spreads": [],
        "count_models": [],
        "first_versions": [],
        "reached": [],
        "plans": null,
        "protection": null,
    })
}

/// What is said of an analysis beside its figures.
struct About<'a> {
    basis: Option<Basis>,
    corrected_at_least: Option<usize>,
    dominated: Option<bool>,
    smallest_worthwhile: Option<f64>,
    without_imputed: Option<&'a Line>,
    adjusted_p: Option<AdjustedP>,
    scrutiny: Option<&'a Scrutiny>,
    said: Option<&'a Said>,
}

fn analyses_of(analyses: &[Analysis], bands: &GapBands) -> Value {
    analyses
        .iter()
        .map(|analysis| {
            let mut entry = key_fields(&analysis.key, bands);
            entry.insert("primary".to_owned(), json!(analysis.primary));
            entry.insert("unit".to_owned(), json!(unit_words(analysis.key.outcome)));
            let about = About {
                basis: Some(analysis.basis),
                corrected_at_least: Some(analysis.corrected_at_least),
                dominated: Some(analysis.dominated),
                smallest_worthwhile: analysis.smallest_worthwhile,
                without_imputed: analysis.without_imputed.as_ref(),
                adjusted_p: analysis.adjusted_p,
                scrutiny: analysis.scrutiny.as_deref(),
                said: analysis.said.as_ref(),
            };
            match &analysis.result {
                Ok(finding) => put_finding(&mut entry, finding, &about),
                Err(withheld) => {
                    put_withheld(&mut entry, withheld.minimum_players, &about);
                }
            }
            Value::Object(entry)
        })
        .collect()
}

fn key_fields(key: &Key, bands: &GapBands) -> Map<String, Value> {
    let mut entry = class_fields(key.outcome, key.class);
    entry.insert("band".to_owned(), band_entry(key.band, bands));
    entry
}

/// A gap band with its edges.
pub(super) fn band_entry(band: GapBand, bands: &GapBands) -> Value {
    let (low, high) = bands.range(band);
    json!({
        "code": GapBands::code(band),
        "from": low.map(decimal),
        "to_under": high.map(decimal),
        "unit": bands.unit().code(),
    })
}

/// What is compared, for which shots.
pub(super) fn class_fields(outcome: Outcome, class: ShotClass) -> Map<String, Value> {
    let mut entry = Map::new();
    entry.insert("outcome".to_owned(), json!(outcome.code()));
    entry.insert("stroke".to_owned(), json!(class.stroke.code()));
    entry.insert("direction".to_owned(), json!(class.direction.code()));
    entry
}

/// Why nothing is said of an analysis.
pub(super) fn withheld(minimum_players: usize) -> String {
    format!("Fewer than {minimum_players} players so far.")
}

fn put_withheld(entry: &mut Map<String, Value>, minimum_players: usize, about: &About<'_>) {
    entry.insert("withheld".to_owned(), json!(withheld(minimum_players)));
    entry.insert(
        "smallest_worthwhile".to_owned(),
        json!(about.smallest_worthwhile),
    );
    for name in [
        "basis",
        "k",
        "players",
        "corrected_at_least",
        "dominated",
        "shown",
        "without_imputed",
        "adjusted_p",
        "any_time",
        "models",
        "bootstrap_prediction",
        "heterogeneity",
        "scrutiny",
    ] {
        entry.insert(name.to_owned(), Value::Null);
    }
    entry.insert("not_estimable".to_owned(), json!([]));
}

fn put_finding(entry: &mut Map<String, Value>, finding: &Finding, about: &About<'_>) {
    let mut missing = Missing::default();
    let mut put = |name: &str, value: Value| entry.insert(name.to_owned(), value);
    put("withheld", Value::Null);
    put("smallest_worthwhile", json!(about.smallest_worthwhile));
    put("basis", json!(about.basis.map(Basis::code)));
    put("k", json!(finding.pooled.k));
    put("players", json!(finding.pooled.n_clusters));
    put("corrected_at_least", json!(about.corrected_at_least));
    put("dominated", json!(about.dominated));
    put("shown", shown(finding, &mut missing));
    let corrected = about.corrected_at_least.unwrap_or(0);
    let without_imputed = about
        .without_imputed
        .map(|line| scrutiny::line(line, corrected, "/without_imputed", &mut missing));
    put("without_imputed", json!(without_imputed));
    put("adjusted_p", adjusted_p(about.adjusted_p));
    put("any_time", any_time(finding, &mut missing));
    put("models", models(&finding.pooled, &mut missing));
    let prediction = bootstrap_prediction(finding, &mut missing);
    put("bootstrap_prediction", prediction);
    let heterogeneity = heterogeneity(&finding.pooled.heterogeneity, &mut missing);
    put("heterogeneity", heterogeneity);
    let scrutiny = about.scrutiny.map(|scrutiny| {
        let worthwhile = about.smallest_worthwhile;
        scrutiny::entry(scrutiny, about.said, worthwhile, corrected, &mut missing)
    });
    put("scrutiny", json!(scrutiny));
    put("not_estimable", Value::Array(missing.list));
}

fn adjusted_p(adjusted: Option<AdjustedP>) -> Value {
    adjusted.map_or(Value::Null, |adjusted| {
        json!({
            "method": adjusted.method.code(),
            "family": adjusted.family,
            "p": adjusted.p,
        })
    })
}

/// Why figures are null.
#[derive(Default)]
pub(super) struct Missing {
    pub(super) list: Vec<Value>,
}

impl Missing {
    pub(super) fn note(&mut self, at: &str, reason: Reason) {
        self.list
            .push(json!({"at": at, "code": reason.code(), "sentence": reason.to_string()}));
    }

    /// The value when there is one; otherwise `None`, with the reason noted.
    pub(super) fn take<T: Clone>(&mut self, value: &Estimable<T>, at: &str) -> Option<T> {
        match value {
            Ok(value) => Some(value.clone()),
            Err(reason) => {
                self.note(at, *reason);
                None
            }
        }
    }
}

pub(super) fn shown(finding: &Finding, missing: &mut Missing) -> Value {
    let shown = missing.take(&finding.shown, "/shown");
    let p = shown.and_then(|shown| missing.take(&shown.p, "/shown/p"));
    let prediction = shown.and_then(|shown| missing.take(&shown.prediction, "/shown/prediction"));
    json!({
        "interval_kind": shown.map(|shown| shown.kind.code()),
        "estimate": shown.map(|shown| shown.estimate),
        "low": shown.map(|shown| shown.interval.low),
        "high": shown.map(|shown| shown.interval.high),
        "p": p,
        "prediction": ends(prediction),
    })
}

/// The two ends of a range.
pub(super) fn ends(interval: Option<Interval>) -> Value {
    json!({
        "low": interval.map(|interval| interval.low),
        "high": interval.map(|interval| interval.high),
    })
}

pub(super) fn any_time(finding: &Finding, missing: &mut Missing) -> Value {
    let any_time = missing.take(&finding.any_time, "/any_time");
    json!({
        "estimate": any_time.map(|any_time| any_time.estimate),
        "low": any_time.map(|any_time| any_time.interval.low),
        "high": any_time.map(|any_time| any_time.interval.high),
    })
}

pub(super) fn models(pooled: &Pooled, missing: &mut Missing) -> Value {
    let mut model = |value: &Estimable<Model>, name: &str| {
        let at = format!("/models/{name}");
        model_entry(missing.take(value, &at), &at, missing)
    };
    json!({
        "fixed": model(&pooled.fixed, "fixed"),
        "dl": model(&pooled.dersimonian_laird, "dl"),
        "pm": model(&pooled.paule_mandel, "pm"),
        "reml": model(&pooled.reml, "reml"),
    })
}

fn model_entry(model: Option<Model>, at: &str, missing: &mut Missing) -> Value {
    let part = |name: &str| format!("{at}/{name}");
    // A model that is null as a whole has one reason, noted by the caller.
    let mut t_interval = |value: Option<&Estimable<TInterval>>, name: &str| {
        let at = part(name);
        let t = value.and_then(|value| missing.take(value, &at));
        let p = t.and_then(|t| missing.take(&t.p, &format!("{at}/p")));
        json!({
            "se": t.map(|t| t.se), "low": t.map(|t| t.low), "high": t.map(|t| t.high),
            "df": t.map(|t| t.df), "p": p,
        })
    };
    let model = model.as_ref();
    let hartung_knapp = t_interval(model.map(|model| &model.hartung_knapp), "hartung_knapp");
    let safe = t_interval(
        model.map(|model| &model.hartung_knapp_safe),
        "hartung_knapp_safe",
    );
    let robust = t_interval(model.map(|model| &model.cluster_robust), "cluster_robust");
    let prediction = model.and_then(|model| missing.take(&model.prediction, &part("prediction")));
    json!({
        "tau2": model.map(|model| model.tau_squared),
        "estimate": model.map(|model| model.estimate),
        "se": model.map(|model| model.se),
        "wald": {
            "low": model.map(|model| model.wald.low),
            "high": model.map(|model| model.wald.high),
            "p": model.map(|model| model.wald.p),
        },
        "hartung_knapp": hartung_knapp,
        "hartung_knapp_safe": safe,
        "cluster_robust": robust,
        "prediction": ends(prediction),
    })
}

pub(super) fn bootstrap_prediction(finding: &Finding, missing: &mut Missing) -> Value {
    const AT: &str = "/bootstrap_prediction";
    let found = missing.take(&finding.bootstrap_prediction, AT);
    let found = found.as_ref();
    let tau_squared =
        found.and_then(|found| missing.take(&found.tau_squared, &format!("{AT}/tau2")));
    json!({
        "low": found.map(|found| found.interval.low),
        "high": found.map(|found| found.interval.high),
        "draws": found.map(|found| found.draws),
        "tau2_median": found.map(|found| found.tau_squared_median),
        "tau2": ends(tau_squared),
    })
}

pub(super) fn heterogeneity(value: &Estimable<Heterogeneity>, missing: &mut Missing) -> Value {
    let found = missing.take(value, "/heterogeneity");
    let found = found.as_ref();
    let mut range = |value: Option<&Estimable<Interval>>, name: &str| {
        let at = |end: &str| format!("/heterogeneity/{name}_{end}");
        let value = value?;
        if let Err(reason) = value {
            missing.note(&at("high"), *reason);
        }
        missing.take(value, &at("low"))
    };
    let tau2 = range(found.map(|found| &found.tau_squared), "tau2");
    let i2 = range(found.map(|found| &found.i_squared_interval), "i2");
    let h2 = range(found.map(|found| &found.h_squared_interval), "h2");
    json!({
        "q": found.map(|found| found.q),
        "df": found.map(|found| found.df),
        "p": found.map(|found| found.p),
        "i2": found.map(|found| found.i_squared),
        "h2": found.map(|found| found.h_squared),
        "tau2_low": tau2.map(|range| range.low),
        "tau2_high": tau2.map(|range| range.high),
        "tau2_note": found.and_then(Heterogeneity::tau_squared_note),
        "i2_low": i2.map(|range| range.low),
        "i2_high": i2.map(|range| range.high),
        "h2_low": h2.map(|range| range.low),
        "h2_high": h2.map(|range| range.high),
    })
}

/// The figures over everybody as a JSON array.
fn everybody_of(everybody: &[Everybody], bands: &GapBands) -> Value {
    everybody
        .iter()
        .map(|figure| everybody_entry(figure, bands))
        .collect()
}

fn everybody_entry(figure: &Everybody, bands: &GapBands) -> Value {
    let mut entry = key_fields(&figure.key, bands);
    entry.insert("of_batch".to_owned(), json!(figure.batch));
    entry.insert(
        "players_at_least".to_owned(),
        json!(figure.players_at_least),
    );
    entry.insert("estimate".to_owned(), json!(figure.estimate));
    entry.insert("low".to_owned(), json!(figure.interval.low));
    entry.insert("high".to_owned(), json!(figure.interval.high));
    Value::Object(entry)
}
