//! `tautpool export`: the host's own private copy. It holds what contributors sent, word for
//! word, so it is for the host's eyes only and says so.

use super::progress::Doing;
use super::{Export, Failure, written};
use crate::contribution::Contribution;
use crate::effects::spread::CrowdSpread;
use crate::intake;
use crate::plan::Flow;
use crate::protocol::Study;
use crate::service::{ServiceError, number_players, pair_effects, read_back, told_consent};
use crate::store::{Durability, Store, StoredConsent, StoredContribution};
use crate::vocabulary::Sequence;
use crate::wire::{self, reply};
use serde_json::{Value, json};
use std::fs;
use std::io::{self, Write};
use std::os::unix::fs::OpenOptionsExt;
use std::process::ExitCode;

pub(super) fn run(options: &Export) -> Result<ExitCode, Failure> {
    if !options.data.data.join(Store::FILE).exists() {
        return Err(format!(
            "there is no {} in {}",
            Store::FILE,
            options.data.data.display()
        )
        .into());
    }
    let doing = Doing::now("reading contributions");
    let store = Store::open(&options.data.data, Durability::Full)?;
    let mut studies = Vec::new();
    for stored in store.studies()? {
        if options
            .study
            .as_ref()
            .is_none_or(|slug| *slug == stored.slug)
        {
            let newest = stored.protocols.last();
            let newest =
                newest.ok_or_else(|| ServiceError::Damaged(format!("study {}", stored.slug)))?;
            let study = intake::study(&newest.document)?;
            let plans = store.plan_flow(&stored.slug, None)?;
            let plans = plans.into_iter().map(plan_flow).collect();
            let contributions = store.all_contributions(&stored.slug)?;
            let consents = store.consents(&stored.slug)?;
            studies.push(one_study(&study, plans, &contributions, &consents)?);
        }
    }
    if let (Some(slug), true) = (&options.study, studies.is_empty()) {
        return Err(format!("there is no study named {slug}").into());
    }
    let document = json!({
        "document": "export",
        "version": 1,
        "private": "Contributions word for word: not for publication.",
        "studies": studies,
    });
    drop(doing);
    put(options, &document)?;
    Ok(ExitCode::SUCCESS)
}

/// Writes an export to standard output, or to a file that nobody else reads.
fn put(options: &Export, document: &Value) -> Result<(), Failure> {
    let path = &options.output;
    if path.as_os_str() == "-" {
        return written(document);
    }
    let text = format!("{document}\n");
    let mut new = fs::OpenOptions::new();
    let made = new.write(true).create_new(true).mode(0o600).open(path);
    let put = made.and_then(|mut file| {
        file.write_all(text.as_bytes())?;
        file.sync_all()
    });
    put.map_err(|error| format!("{}: {error}", path.display()))?;
    let named = path.display().to_string();
    if options.json {
        return written(&json!({"file": named, "bytes": text.len()}));
    }
    writeln!(
        io::stdout().lock(),
        "Wrote {named}, {} bytes. It has what players sent, word for word.",
        text.len()
    )?;
    Ok(())
}

fn one_study(
    study: &Study,
    plans: Vec<Value>,
    stored: &[StoredContribution],
    consents: &[StoredConsent],
) -> Result<Value, ServiceError> {
    let contributions = read_back(stored)?;
    let numbered = number_players(stored).into_iter().zip(&contributions);
    let crowd = CrowdSpread::of(numbered, study.protocol.analysis.minimum_players);
    let mut entries = Vec::with_capacity(stored.len());
    for (stored, contribution) in stored.iter().zip(&contributions) {
        let pair = pair_effects(contribution, study, &crowd)?;
        entries.push(json!({
            "contribution": stored.uuid.to_string(),
            "player": stored.player.to_string(),
            "received_at_ms": stored.received_at_ms,
            "state": stored.state.code(),
            "batch": stored.batch,
            "document": String::from_utf8_lossy(&stored.document),
            "first_document": stored.first_document.as_deref().map(String::from_utf8_lossy),
            "gap_kg": pair.gap.kilograms(),
            "plan": contribution.plan_code.as_ref().map(|code| json!({
                "code": code,
                "order": stored.plan_sequence.map(Sequence::code),
                "planned": stored.planned,
            })),
            "order_played": order_played(contribution),
            "effects": pair.all().map(reply::effect).collect::<Vec<_>>(),
        }));
    }
    Ok(json!({
        "study": study.label.slug,
        "plans": plans,
        "contributions": entries,
        "consents": consents.iter().map(consent).collect::<Vec<_>>(),
    }))
}

/// One event of a consent, of what was erased too.
fn consent(stored: &StoredConsent) -> Value {
    json!({
        "contribution": stored.contribution.to_string(),
        "player": stored.player.to_string(),
        "consent": wire::own::consent(&told_consent(stored)),
    })
}

/// The arms in the order in which they were really played, whatever plan was drawn; null unless
/// every session has its place in time.
fn order_played(contribution: &Contribution) -> Option<Vec<&'static str>> {
    let sessions = contribution.sessions.iter();
    let mut placed: Vec<(i64, &str)> = sessions
        .map(|session| Some((session.conditions.order?, session.arm.code())))
        .collect::<Option<_>>()?;
    placed.sort_unstable();
    Some(placed.into_iter().map(|(_, arm)| arm).collect())
}

/// What became of plans, exactly; the public sees it rounded.
fn plan_flow((sequence, flow): (Sequence, Flow)) -> Value {
    json!({
        "order": sequence.code(),
        "drawn": flow.drawn,
        "opened": flow.opened,
        "sent": flow.sent,
        "withdrawn": flow.withdrawn,
    })
}
