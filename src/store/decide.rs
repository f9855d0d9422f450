//! What the host decides of contributions: the ones that wait, the log of decisions, and what
//! became of everything that was sent.

use super::batch::{Closing, close_when_due};
use super::mend::{own_contribution, versions};
use super::submit::study_id;
use super::{OwnContribution, Store, StoreError};
use crate::vocabulary::{Ground, State, Verdict};
use rusqlite::{Connection, OptionalExtension, Row, TransactionBehavior, params};
use uuid::Uuid;

/// A decision on its way in.
#[derive(Clone, Copy, Debug)]
pub struct NewDecision<'a> {
    /// Short name of the study.
    pub study: &'a str,
    /// The contribution.
    pub contribution: Uuid,
    /// The version that was looked at.
    pub version: i64,
    /// What is decided.
    pub verdict: Verdict,
    /// On what ground.
    pub ground: Ground,
    /// Why, in the host's words.
    pub note: &'a str,
    /// When, in milliseconds since the Unix epoch.
    pub now_ms: i64,
    /// How many players who come or go close a batch.
    pub batch_players: usize,
}

/// A decision as it is kept.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct StoredDecision {
    /// The contribution.
    pub contribution: Uuid,
    /// The version that was looked at.
    pub version: i64,
    /// When, in milliseconds since the Unix epoch.
    pub decided_at_ms: i64,
    /// What was decided.
    pub verdict: Verdict,
    /// On what ground.
    pub ground: Ground,
    /// Why, in the host's words.
    pub note: String,
}

impl StoredDecision {
    /// Whether somebody decides the same once more, having missed the answer.
    fn repeats(&self, new: &NewDecision<'_>) -> bool {
        (self.version, self.verdict, self.ground, self.note.as_str())
            == (new.version, new.verdict, new.ground, new.note)
    }
}

/// What became of a decision.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Decided {
    /// Stored and synced, now or by the same decision before.
    Done {
        /// The public batch that it closed.
        closed_batch: Option<i64>,
    },
    /// No such contribution in the study.
    Unknown,
    /// It was withdrawn, and there is nothing to decide.
    Withdrawn,
    /// A newer version came in the meantime.
    NewerVersion,
    /// It is so already.
    AlreadySo,
}

/// A contribution that the host may decide on.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Decidable {
    /// The contribution with every version.
    pub sent: OwnContribution,
    /// What was decided of it, the first decision first.
    pub decisions: Vec<StoredDecision>,
}

/// What became of everything that was sent up to a time.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct SentFlow {
    /// Contributions sent.
    pub sent: usize,
    /// Of these, counted in public figures.
    pub counted: usize,
    /// Withdrawn by their senders.
    pub withdrawn: usize,
    /// Declined by the host, by ground; only grounds that occur.
    pub declined: Vec<(Ground, usize)>,
}

impl SentFlow {
    /// Contributions that wait for the host.
    #[must_use]
    pub fn held(&self) -> usize {
        let declined: usize = self.declined.iter().map(|(_, n)| n).sum();
        self.sent
            .saturating_sub(self.counted + self.withdrawn + declined)
    }
}

/// The newest decision of contribution `c`, made up to a time; for a join.
const NEWEST_DECISION: &str = "LEFT JOIN decision d ON d.id =
    (SELECT max(id) FROM decision WHERE contribution_id = c.id AND decided_at_ms <= ?2)";

impl Store {
    /// Stores a decision, changes the state and closes the public batch when enough players have
    /// come or gone. Synced to disk when it returns.
    ///
    /// # Errors
    /// When the database refuses; nothing is changed then.
    pub fn decide(&self, new: &NewDecision<'_>) -> Result<Decided, StoreError> {
        let mut connection = self.lock();
        let transaction = connection.transaction_with_behavior(TransactionBehavior::Immediate)?;
        let Some((study_id, id)) = find(&transaction, new.study, new.contribution)? else {
            return Ok(Decided::Unknown);
        };
        let (state, newest): (String, i64) = transaction.query_row(
            "SELECT state, (SELECT max(number) FROM version WHERE contribution_id = ?1)
             FROM contribution WHERE id = ?1",
            [id],
            |row| Ok((row.get(0)?, row.get(1)?)),
        )?;
        match super::read::state(&state)? {
            State::Withdrawn => return Ok(Decided::Withdrawn),
            _ if newest != new.version => return Ok(Decided::NewerVersion),
            state if state == new.verdict.state() => {
                let newest = decisions(&transaction, id, new.contribution)?.pop();
                return Ok(if newest.is_some_and(|newest| newest.repeats(new)) {
                    Decided::Done { closed_batch: None }
                } else {
                    Decided::AlreadySo
                });
            }
            _ => {}
        }
        transaction.execute(
            "INSERT INTO decision (contribution_id, version, decided_at_ms, verdict, ground, note)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
            params![
                id,
                new.version,
                new.now_ms,
                new.verdict.code(),
                new.ground.code(),
                new.note
            ],
        )?;
        transaction.execute(
            "UPDATE contribution SET state = ?2 WHERE id = ?1",
            params![id, new.verdict.state().code()],
        )?;
        let closing = Closing {
            study_id,
            now_ms: new.now_ms,
        };
        let closed_batch = close_when_due(&transaction, closing, new.batch_players)?;
        transaction.commit()?;
        if closed_batch.is_some() {
            self.writer.empty_log(&connection);
        }
        Ok(Decided::Done { closed_batch })
    }

    /// Every contribution of a study that is held, in the order it came.
    ///
    /// # Errors
    /// When the database cannot be read.
    pub fn held(&self, study: &str) -> Result<Vec<Decidable>, StoreError> {
        self.decidable(
            "SELECT c.id, c.uuid, c.state, c.withdrawn_at_ms, c.removed IS NOT NULL
             FROM contribution c JOIN study s ON s.id = c.study_id
             WHERE s.slug = ?1 AND c.state = 'held' ORDER BY c.id",
            study,
        )
    }

    /// Every contribution of a study that was decided on, in the order it came.
    ///
    /// # Errors
    /// When the database cannot be read.
    pub fn decided(&self, study: &str) -> Result<Vec<Decidable>, StoreError> {
        self.decidable(
            "SELECT c.id, c.uuid, c.state, c.withdrawn_at_ms, c.removed IS NOT NULL
             FROM contribution c JOIN study s ON s.id = c.study_id
             WHERE s.slug = ?1 AND EXISTS (SELECT 1 FROM decision WHERE contribution_id = c.id)
             ORDER BY c.id",
            study,
        )
    }

    fn decidable(&self, query: &str, study: &str) -> Result<Vec<Decidable>, StoreError> {
        let mut connection = self.read();
        let transaction = connection.transaction()?;
        let mut statement = transaction.prepare(query)?;
        let rows = statement.query_map([study], |row| Ok((row.get(0)?, own_contribution(row)?)))?;
        rows.map(|row| {
            let (id, sent): (i64, Result<OwnContribution, StoreError>) = row?;
            let sent = sent?;
            Ok(Decidable {
                decisions: decisions(&transaction, id, sent.uuid)?,
                sent: OwnContribution {
                    versions: versions(&transaction, id)?,
                    ..sent
                },
            })
        })
        .collect()
    }

    /// The newest decision of a contribution.
    ///
    /// # Errors
    /// When the database cannot be read.
    pub fn newest_decision(
        &self,
        contribution: Uuid,
    ) -> Result<Option<StoredDecision>, StoreError> {
        let connection = self.read();
        let id: Option<i64> = connection
            .query_row(
                "SELECT id FROM contribution WHERE uuid = ?1",
                [contribution.as_bytes()],
                |row| row.get(0),
            )
            .optional()?;
        let Some(id) = id else { return Ok(None) };
        Ok(decisions(&connection, id, contribution)?.pop())
    }

    /// What became of everything sent up to a time, as it was then.
    ///
    /// # Errors
    /// When the database cannot be read.
    pub fn sent_flow(&self, study: &str, until_ms: i64) -> Result<SentFlow, StoreError> {
        let mut connection = self.read();
        let transaction = connection.transaction()?;
        let Some(study_id) = study_id(&transaction, study)? else {
            return Ok(SentFlow::default());
        };
        let mut statement = transaction.prepare(&format!(
            "SELECT CASE WHEN c.withdrawn_at_ms <= ?2 THEN 'withdrawn'
                         WHEN d.verdict = 'declined' THEN d.ground
                         WHEN EXISTS (SELECT 1 FROM version v
                                       WHERE v.contribution_id = c.id AND v.batch IS NOT NULL)
                         THEN 'counted' ELSE 'held' END AS fate, count(*)
             FROM contribution c
             JOIN version first ON first.contribution_id = c.id AND first.number = 1
             {NEWEST_DECISION}
             WHERE c.study_id = ?1 AND first.received_at_ms <= ?2
             GROUP BY fate ORDER BY fate"
        ))?;
        let mut rows = statement.query(params![study_id, until_ms])?;
        let mut flow = SentFlow::default();
        while let Some(row) = rows.next()? {
            let (fate, n): (String, i64) = (row.get(0)?, row.get(1)?);
            let n = usize::try_from(n).unwrap_or(0);
            flow.sent += n;
            match fate.as_str() {
                "withdrawn" => flow.withdrawn = n,
                "counted" => flow.counted = n,
                "held" => {}
                ground_code => flow.declined.push((ground(ground_code)?, n)),
            }
        }
        Ok(flow)
    }
}

fn find(
    connection: &Connection,
    study: &str,
    contribution: Uuid,
) -> Result<Option<(i64, i64)>, rusqlite::Error> {
    connection
        .query_row(
            "SELECT s.id, c.id FROM contribution c JOIN study s ON s.id = c.study_id
             WHERE s.slug = ?1 AND c.uuid = ?2",
            params![study, contribution.as_bytes()],
            |row| Ok((row.get(0)?, row.get(1)?)),
        )
        .optional()
}

fn decisions(
    connection: &Connection,
    id: i64,
    contribution: Uuid,
) -> Result<Vec<StoredDecision>, StoreError> {
    let mut statement = connection.prepare(
        "SELECT version, decided_at_ms, verdict, ground, note
         FROM decision WHERE contribution_id = ?1 ORDER BY id",
    )?;
    let rows = statement.query_map([id], |row| Ok(decision(row, contribution)))?;
    rows.map(|row| row?).collect()
}

fn decision(row: &Row<'_>, contribution: Uuid) -> Result<StoredDecision, StoreError> {
    let verdict: String = row.get(2)?;
    let verdict = Verdict::from_code(&verdict)
        .ok_or_else(|| StoreError::Unreadable(format!("verdict `{verdict}`")))?;
    Ok(StoredDecision {
        contribution,
        version: row.get(0)?,
        decided_at_ms: row.get(1)?,
        verdict,
        ground: ground(&row.get::<_, String>(3)?)?,
        note: row.get(4)?,
    })
}

fn ground(code: &str) -> Result<Ground, StoreError> {
    Ground::from_code(code).ok_or_else(|| StoreError::Unreadable(format!("ground `{code}`")))
}
