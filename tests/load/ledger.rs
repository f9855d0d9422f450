//! What the service acknowledged, to be held against what it has stored.

use serde_json::Value;
use std::collections::BTreeMap;
use std::sync::{Mutex, MutexGuard};

/// One contribution as it was acknowledged last.
#[derive(Clone, Debug)]
pub(crate) struct Own {
    pub(crate) contribution: String,
    pub(crate) receipt: String,
    pub(crate) document: String,
    pub(crate) is_withdrawn: bool,
}

/// Every contribution that was acknowledged. Whoever is corrected or withdrawn is taken out
/// meanwhile, so that two requests never change the same one.
#[derive(Debug, Default)]
pub(crate) struct Ledger(Mutex<Vec<Own>>);

impl Ledger {
    pub(crate) fn put(&self, own: Own) {
        self.own().push(own);
    }

    /// Some contribution that was not withdrawn, without taking it out.
    pub(crate) fn some(&self, draw: u32) -> Option<Own> {
        let own = self.own();
        let place = usize::try_from(draw).ok()? % own.len().max(1);
        own.get(place).cloned()
    }

    /// Takes a contribution out that was not withdrawn.
    pub(crate) fn take(&self, draw: u32) -> Option<Own> {
        let mut own = self.own();
        let place = usize::try_from(draw).ok()? % own.len().max(1);
        own.get(place)
            .is_some_and(|own| !own.is_withdrawn)
            .then(|| own.swap_remove(place))
    }

    fn own(&self) -> MutexGuard<'_, Vec<Own>> {
        self.0
            .lock()
            .expect("no thread panics while it writes here")
    }

    /// What is wrong with what the host's own copy has of the study, in words; nothing when every
    /// acknowledged contribution is stored once, as it was sent last, and no other is.
    pub(crate) fn differences(&self, export: &Value) -> Vec<String> {
        let mut stored: BTreeMap<&str, Vec<&Value>> = BTreeMap::new();
        let contributions = export.pointer("/studies/0/contributions");
        for kept in contributions
            .and_then(Value::as_array)
            .into_iter()
            .flatten()
        {
            let id = kept.get("contribution").and_then(Value::as_str);
            stored.entry(id.unwrap_or_default()).or_default().push(kept);
        }
        let own = self.own();
        let mut differences: Vec<String> = own
            .iter()
            .filter_map(|own| difference(own, stored.get(own.contribution.as_str())))
            .collect();
        let sent: std::collections::BTreeSet<&str> =
            own.iter().map(|own| own.contribution.as_str()).collect();
        let unsent = stored.keys().filter(|id| !sent.contains(*id));
        differences.extend(unsent.map(|id| format!("{id} is stored and was never acknowledged")));
        differences
    }
}

fn difference(own: &Own, stored: Option<&Vec<&Value>>) -> Option<String> {
    let id = &own.contribution;
    match stored.map(Vec::as_slice) {
        // What is withdrawn is erased once no public figure counts it.
        None | Some([]) => (!own.is_withdrawn).then(|| format!("{id} is not stored")),
        Some([kept]) if own.is_withdrawn => {
            let state = kept.get("state").and_then(Value::as_str);
            (state != Some("withdrawn")).then(|| format!("{id} is withdrawn and {state:?}"))
        }
        Some([kept]) => {
            let document = kept.get("document").and_then(Value::as_str);
            (document != Some(&own.document)).then(|| format!("{id} is stored otherwise"))
        }
        Some(_) => Some(format!("{id} is stored more than once")),
    }
}
