//! Plans: drawing, opening, what was sent under them, and how many there are.

use super::submit::study_id;
use super::{Store, StoreError};
use crate::plan::{Code, Flow, Kind, Standing};
use crate::vocabulary::Sequence;
use rusqlite::{Connection, OptionalExtension, Row, params};
use uuid::Uuid;

/// The contribution that used a plan: the first whose first version names it, whatever became of
/// it since. For a query that has the plan as `plan`.
const USER: &str = "(SELECT named.contribution_id FROM version named
    WHERE named.study_id = plan.study_id AND named.plan_code = plan.code AND named.number = 1
    ORDER BY named.received_at_ms, named.contribution_id LIMIT 1)";

/// When a plan was first named by what was sent.
const SENT_AT: &str = "(SELECT min(named.received_at_ms) FROM version named
    WHERE named.study_id = plan.study_id AND named.plan_code = plan.code AND named.number = 1)";

/// The plan that a contribution's version `first` names, as a condition on `plan`.
const NAMED: &str = "plan.study_id = first.study_id AND plan.code = first.plan_code";

/// Whether contribution `c` counts as planned: the plan that its version `first` names was open
/// when that came, and no other contribution had used it. What later versions name changes nothing:
/// whoever has seen an answer could else choose whether it counts as planned.
pub(super) fn planned() -> String {
    format!(
        "EXISTS (SELECT 1 FROM plan
                 WHERE {NAMED} AND plan.opened_at_ms <= first.received_at_ms AND {USER} = c.id)"
    )
}

/// The order that was drawn for the plan that version `first` names.
pub(super) fn plan_sequence() -> String {
    format!("(SELECT plan.sequence FROM plan WHERE {NAMED})")
}

/// A plan on its way in.
#[derive(Debug)]
pub struct NewPlan<'a> {
    /// Short name of its study.
    pub study: &'a str,
    /// How many sessions it is for.
    pub kind: Kind,
    /// A fresh code.
    pub code: &'a Code,
    /// SHA-256 of the request's Idempotency-Key, when it has one.
    pub key_hash: Option<[u8; 32]>,
    /// When it is drawn.
    pub drawn_at_ms: i64,
    /// Whether no plan is drawn any more; one that was drawn under the key is still told.
    pub only_again: bool,
}

/// A plan as it is kept.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct StoredPlan {
    /// Its code.
    pub code: Code,
    /// How many sessions it is for.
    pub kind: Kind,
    /// The order, sealed until it is opened.
    pub sequence: Sequence,
    /// When it was drawn, in milliseconds since the Unix epoch.
    pub drawn_at_ms: i64,
    /// When it was first opened.
    pub opened_at_ms: Option<i64>,
}

/// What became of the wish for a plan.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Drawn {
    /// Drawn and synced, now or by this very request before.
    Plan(StoredPlan),
    /// Nothing was drawn under this key before, and nothing is drawn any more.
    NotAgain,
    /// The key was used before for a plan of the other kind.
    KeyUsedOtherwise,
    /// No study of this name.
    StudyUnknown,
}

impl Store {
    /// Draws the next plan of a kind in one transaction. `sequence_at` gives the order at a
    /// position. Synced to disk when it returns.
    ///
    /// # Errors
    /// When the database refuses; nothing is drawn then.
    pub fn draw_plan(
        &self,
        new: &NewPlan<'_>,
        sequence_at: impl Fn(u64) -> Sequence,
    ) -> Result<Drawn, StoreError> {
        self.together(|writing| {
            let transaction = writing.connection;
            let Some(study_id) = study_id(transaction, new.study)? else {
                return Ok(Drawn::StudyUnknown);
            };
            if let Some(earlier) = drawn_under(transaction, study_id, new.key_hash)? {
                return Ok(if earlier.kind == new.kind {
                    Drawn::Plan(earlier)
                } else {
                    Drawn::KeyUsedOtherwise
                });
            }
            if new.only_again {
                return Ok(Drawn::NotAgain);
            }
            let position: i64 = transaction.query_row(
                "SELECT coalesce(max(position) + 1, 0) FROM plan WHERE study_id = ?1 AND kind = ?2",
                params![study_id, new.kind.code()],
                |row| row.get(0),
            )?;
            let plan = StoredPlan {
                code: new.code.clone(),
                kind: new.kind,
                sequence: sequence_at(position.unsigned_abs()),
                drawn_at_ms: new.drawn_at_ms,
                opened_at_ms: None,
            };
            transaction.execute(
                "INSERT INTO plan (study_id, code, kind, position, sequence, key_hash, drawn_at_ms)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)",
                params![
                    study_id,
                    plan.code.canonical(),
                    plan.kind.code(),
                    position,
                    plan.sequence.code(),
                    new.key_hash,
                    plan.drawn_at_ms,
                ],
            )?;
            Ok(Drawn::Plan(plan))
        })
    }

    /// Opens a plan; the first opening is the one that is remembered. `None` when no plan of this
    /// code was drawn in the study.
    ///
    /// # Errors
    /// When the database refuses.
    pub fn open_plan(
        &self,
        study: &str,
        code: &Code,
        now_ms: i64,
    ) -> Result<Option<StoredPlan>, StoreError> {
        self.together(|writing| {
            let transaction = writing.connection;
            let Some(study_id) = study_id(transaction, study)? else {
                return Ok(None);
            };
            transaction.execute(
                "UPDATE plan SET opened_at_ms = ?3
             WHERE study_id = ?1 AND code = ?2 AND opened_at_ms IS NULL",
                params![study_id, code.canonical(), now_ms],
            )?;
            let plan = one_plan(
                transaction,
                "code = ?2",
                params![study_id, code.canonical()],
            )?;
            Ok(plan)
        })
    }

    /// Whether a plan with this code was drawn in a study.
    ///
    /// # Errors
    /// When the database cannot be read.
    pub fn knows_plan(&self, study: &str, code: &Code) -> Result<bool, StoreError> {
        Ok(self.plan(study, code)?.is_some())
    }

    /// The plan with this code; `None` when none was drawn in the study.
    ///
    /// # Errors
    /// When the database cannot be read.
    pub fn plan(&self, study: &str, code: &Code) -> Result<Option<StoredPlan>, StoreError> {
        let connection = self.read();
        let Some(study_id) = study_id(&connection, study)? else {
            return Ok(None);
        };
        one_plan(
            &connection,
            "code = ?2",
            params![study_id, code.canonical()],
        )
    }

    /// What a contribution has to do with the plan it names; `None` when it names none.
    ///
    /// # Errors
    /// When the database cannot be read.
    pub fn standing(&self, contribution: Uuid) -> Result<Option<Standing>, StoreError> {
        let planned = planned();
        let sql = format!(
            "SELECT coalesce(first.plan_code, v.plan_code) IS NOT NULL, {planned},
                    v.plan_code IS first.plan_code, plan.id IS NOT NULL,
                    coalesce(plan.opened_at_ms <= first.received_at_ms, FALSE)
             FROM contribution c
             JOIN version first ON first.contribution_id = c.id AND first.number = 1
             JOIN version v ON v.contribution_id = c.id
             LEFT JOIN plan ON {NAMED}
             WHERE c.uuid = ?1
             ORDER BY v.number DESC LIMIT 1"
        );
        let found = self
            .read()
            .query_row(&sql, [contribution.as_bytes()], |row| {
                let columns: [bool; 5] = [
                    row.get(0)?,
                    row.get(1)?,
                    row.get(2)?,
                    row.get(3)?,
                    row.get(4)?,
                ];
                Ok(match columns {
                    [false, ..] => None,
                    [_, true, ..] => Some(Standing::Planned),
                    [_, _, false, ..] => Some(Standing::NamedLater),
                    [_, _, _, false, _] => Some(Standing::NotFound),
                    [_, _, _, _, false] => Some(Standing::NotOpened),
                    [_, _, _, _, true] => Some(Standing::Used),
                })
            })
            .optional()?;
        Ok(found.flatten())
    }

    /// How many plans of each order were drawn, opened, sent and withdrawn, up to a time or ever.
    ///
    /// # Errors
    /// When the database cannot be read.
    pub fn plan_flow(
        &self,
        study: &str,
        until_ms: Option<i64>,
    ) -> Result<Vec<(Sequence, Flow)>, StoreError> {
        let connection = self.read();
        let mut statement = connection.prepare(&format!(
            "SELECT plan.sequence, count(*),
                    count(*) FILTER (WHERE plan.opened_at_ms <= ?2),
                    count(*) FILTER (WHERE plan.opened_at_ms <= ?2 AND {SENT_AT} <= ?2),
                    count(*) FILTER (WHERE plan.opened_at_ms <= ?2 AND user.withdrawn_at_ms <= ?2)
             FROM plan
             JOIN study s ON s.id = plan.study_id
             LEFT JOIN contribution user ON user.id = {USER}
             WHERE s.slug = ?1 AND plan.drawn_at_ms <= ?2
             GROUP BY plan.sequence"
        ))?;
        let until_ms = until_ms.unwrap_or(i64::MAX);
        let rows = statement.query_map(params![study, until_ms], |row| {
            let count = |column: usize| -> Result<usize, rusqlite::Error> {
                let n: i64 = row.get(column)?;
                Ok(usize::try_from(n).unwrap_or(0))
            };
            let flow = Flow {
                drawn: count(1)?,
                opened: count(2)?,
                sent: count(3)?,
                withdrawn: count(4)?,
            };
            Ok((row.get::<_, String>(0)?, flow))
        })?;
        let mut flows = Vec::new();
        for row in rows {
            let (code, flow) = row?;
            flows.push((sequence(&code)?, flow));
        }
        flows.sort_by_key(|(sequence, _)| *sequence);
        Ok(flows)
    }
}

/// The plan that a request with this key drew before.
fn drawn_under(
    connection: &Connection,
    study_id: i64,
    key_hash: Option<[u8; 32]>,
) -> Result<Option<StoredPlan>, StoreError> {
    match key_hash {
        None => Ok(None),
        Some(key_hash) => one_plan(connection, "key_hash = ?2", params![study_id, key_hash]),
    }
}

fn one_plan(
    connection: &Connection,
    condition: &str,
    values: &[&dyn rusqlite::ToSql],
) -> Result<Option<StoredPlan>, StoreError> {
    let sql = format!(
        "SELECT code, kind, sequence, drawn_at_ms, opened_at_ms FROM plan
         WHERE study_id = ?1 AND {condition}"
    );
    let found = connection.query_row(&sql, values, stored_plan).optional()?;
    found.transpose()
}

fn stored_plan(row: &Row<'_>) -> Result<Result<StoredPlan, StoreError>, rusqlite::Error> {
    let (code, kind): (String, String) = (row.get(0)?, row.get(1)?);
    let drawn: String = row.get(2)?;
    let (drawn_at_ms, opened_at_ms) = (row.get(3)?, row.get(4)?);
    let (Some(code), Some(kind)) = (Code::parse(&code), Kind::from_code(&kind)) else {
        return Ok(Err(StoreError::Unreadable(format!("plan kind `{kind}`"))));
    };
    Ok(sequence(&drawn).map(|sequence| StoredPlan {
        code,
        kind,
        sequence,
        drawn_at_ms,
        opened_at_ms,
    }))
}

/// An order as it is written in the database.
pub(super) fn sequence(code: &str) -> Result<Sequence, StoreError> {
    Sequence::from_code(code)
        .ok_or_else(|| StoreError::Unreadable(format!("order of play `{code}`")))
}

#[cfg(test)]
mod tests;
