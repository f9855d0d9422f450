//! The answer to a question (`schema/query.v1.schema.json`).

use super::pooled::{
    Missing, any_time, band_entry, bootstrap_prediction, heterogeneity, models, shown,
};
use super::{batch_head, scrutiny, study_head};
use crate::findings::labels::unit_words;
use crate::findings::query::{Answer, Parameter, Query, told};
use crate::findings::{Basis, Publication};
use serde_json::{Map, Value, json};

/// An answer with what was asked. It is made of the publication alone, so that a download of the
/// same batch gives the same document.
#[must_use]
pub fn document(publication: &Publication, query: &Query, answer: &Answer) -> Value {
    let bands = &publication.rules.bands;
    let finding = &answer.finding;
    let mut missing = Missing::default();
    let caveats = answer.caveats.iter().map(scrutiny::caveat);
    let notes = answer
        .notes
        .iter()
        .map(|note| json!({"code": note.code(), "sentence": note.sentence()}));
    let figures = json!({
        "basis": Basis::code(answer.basis),
        "k": finding.pooled.k,
        "players": finding.pooled.n_clusters,
        "shown": shown(finding, &mut missing),
        "any_time": any_time(finding, &mut missing),
        "models": models(&finding.pooled, &mut missing),
        "bootstrap_prediction": bootstrap_prediction(finding, &mut missing),
        "heterogeneity": heterogeneity(&finding.pooled.heterogeneity, &mut missing),
    });
    let mut document = json!({
        "document": "query",
        "version": 1,
        "study": study_head(&publication.study),
        "batch": batch_head(publication.batch.as_ref()),
        "minimum_players": publication.rules.minimum_players,
        "question": question(publication, query),
        "command": command(query),
        "unit": unit_words(query.outcome),
        "smallest_worthwhile": answer.smallest_worthwhile,
        "bands": answer.bands.iter().map(|band| band_entry(*band, bands)).collect::<Vec<_>>(),
        "exploratory": answer.exploratory,
        "verdict": answer.said.verdict.code(),
        "sentence": answer.said.sentence,
        "certainty": scrutiny::certainty(answer.certainty.as_ref()),
        "caveats": caveats.collect::<Vec<_>>(),
        "notes": notes.collect::<Vec<_>>(),
    });
    if let (Some(document), Value::Object(figures)) = (document.as_object_mut(), figures) {
        document.extend(figures);
        document.insert("not_estimable".to_owned(), Value::Array(missing.list));
    }
    document
}

/// What was asked, with what goes without saying.
fn question(publication: &Publication, query: &Query) -> Value {
    let mut entry = Map::new();
    for parameter in Parameter::ALL {
        let value = match parameter {
            Parameter::GapFrom => json!(query.gap_from),
            Parameter::GapBelow => json!(query.gap_below),
            Parameter::Planned => json!(query.planned),
            Parameter::Blinded => json!(query.blinded),
            Parameter::Level => json!(query.level.unwrap_or(publication.level).value()),
            Parameter::Estimator => json!(query.choice.estimator.code()),
            _ => json!(query.word(*parameter)),
        };
        entry.insert(parameter.code().to_owned(), value);
    }
    entry.insert("text".to_owned(), json!(query.text()));
    let words = told(query, &publication.rules.bands);
    entry.insert("sentence".to_owned(), json!(words));
    Value::Object(entry)
}

/// What gives the same answer from the download. No word of a question needs quotes of its own.
fn command(query: &Query) -> String {
    format!(
        "tautpool pool aggregate.json --json --where '{}'",
        query.text()
    )
}
