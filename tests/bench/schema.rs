//! Contributions against their schema, by the validator that intake uses.

use crate::{Failure, timed, told};
use serde_json::{Map, Value};
use std::fs;
use std::path::Path;
use tautpool::intake::schema::Schema;

/// Every document below a folder in the order of the paths: whether the schema takes it.
pub(crate) fn hold_all(folder: &Path) -> Result<Value, Failure> {
    let mut documents = Vec::new();
    for kind in ["valid", "invalid"] {
        let mut names: Vec<_> = fs::read_dir(folder.join(kind))?
            .map(|entry| Ok(entry?.path()))
            .collect::<Result<_, std::io::Error>>()?;
        names.sort();
        for path in names {
            let name = path.strip_prefix(folder)?.to_string_lossy().into_owned();
            // What is no JSON is not a question of the schema.
            if let Ok(document) = serde_json::from_slice::<Value>(&fs::read(&path)?) {
                documents.push((name, document));
            }
        }
    }
    let hold = |document: &Value| Schema::Contribution.faults(document).is_empty();
    // The first time builds the validator.
    if let Some((_, document)) = documents.first() {
        hold(document);
    }
    let (verdicts, seconds) = timed(|| {
        documents
            .iter()
            .map(|(_, document)| hold(document))
            .collect::<Vec<_>>()
    });
    let names = documents.into_iter().map(|(name, _)| name);
    let verdicts: Map<String, Value> = names.zip(verdicts.into_iter().map(Value::from)).collect();
    Ok(told(seconds, &verdicts.into()))
}
