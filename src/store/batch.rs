//! Public batches: when what waits begins to count, and when what was withdrawn ceases to.
//!
//! Public figures change only when at least the protocol's number of players come or go at once,
//! so that comparing two readings reveals nobody. A withdrawal that has waited too long is acted
//! on all the same, and then figures are hidden until enough players have come or gone since they
//! were last shown.

use super::StoreError;
use super::cached::Cached as _;
use super::erase::erase;
use rusqlite::{Connection, params};

/// Which study's batch is closed, and when.
#[derive(Clone, Copy, Debug)]
pub(super) struct Closing {
    pub(super) study_id: i64,
    pub(super) now_ms: i64,
}

/// Closes the batch when enough players have come or gone since figures were last shown, and gives
/// its number.
pub(super) fn close_when_due(
    transaction: &Connection,
    closing: Closing,
    batch_players: usize,
) -> Result<Option<i64>, StoreError> {
    let is_enough = |n: i64| usize::try_from(n).is_ok_and(|n| batch_players <= n);
    if !is_enough(most_changed(transaction, closing.study_id)?)
        || !is_enough(players_changed(transaction, closing.study_id)?)
    {
        return Ok(None);
    }
    let number = next(transaction, closing, true)?;
    transaction.execute(
        "UPDATE version SET batch = ?2
         WHERE study_id = ?1 AND batch IS NULL
           AND contribution_id IN (SELECT id FROM contribution WHERE study_id = ?1 AND state = 'accepted')",
        params![closing.study_id, number],
    )?;
    leave_out(transaction, closing.study_id)?;
    remove_withdrawn(transaction, closing.study_id, number)?;
    Ok(Some(number))
}

/// Acts on what was withdrawn at or before a time and still counts, or still has rows, whatever
/// that reveals: figures of the batch it makes are not shown. Corrections of what counts are taken
/// up with it.
pub(super) fn close_hidden(
    transaction: &Connection,
    closing: Closing,
    withdrawn_by_ms: i64,
) -> Result<Option<i64>, StoreError> {
    let overdue: bool = transaction.query_row(
        "SELECT EXISTS (SELECT 1 FROM contribution
                         WHERE study_id = ?1 AND state = 'withdrawn' AND removed IS NULL
                           AND withdrawn_at_ms <= ?2)
             OR EXISTS (SELECT 1 FROM version narrowed
                          JOIN contribution c ON c.id = narrowed.contribution_id
                               AND c.state = 'accepted'
                          JOIN version counted ON counted.contribution_id = c.id
                               AND counted.number = (SELECT max(number) FROM version
                                    WHERE contribution_id = c.id AND batch IS NOT NULL)
                          JOIN version newest ON newest.contribution_id = c.id
                               AND newest.number = (SELECT max(number) FROM version
                                    WHERE contribution_id = c.id)
                         WHERE narrowed.study_id = ?1 AND narrowed.batch IS NULL
                           AND counted.number < narrowed.number
                           AND narrowed.consent_scope = 'pooling'
                           AND narrowed.received_at_ms <= ?2
                           AND newest.consent_scope = 'pooling'
                           AND counted.consent_scope = 'pooling_and_rows')",
        params![closing.study_id, withdrawn_by_ms],
        |row| row.get(0),
    )?;
    if !overdue {
        return Ok(None);
    }
    let number = next(transaction, closing, false)?;
    transaction.execute(
        "UPDATE version SET batch = ?2
         WHERE study_id = ?1 AND batch IS NULL
           AND contribution_id IN (SELECT c.id FROM contribution c
                                     JOIN version v ON v.contribution_id = c.id
                                    WHERE c.study_id = ?1 AND c.state = 'accepted'
                                      AND v.batch IS NOT NULL)",
        params![closing.study_id, number],
    )?;
    remove_withdrawn(transaction, closing.study_id, number)?;
    Ok(Some(number))
}

fn next(transaction: &Connection, closing: Closing, shown: bool) -> Result<i64, rusqlite::Error> {
    let number: i64 = transaction.query_row(
        "SELECT coalesce(max(number), 0) + 1 FROM batch WHERE study_id = ?1",
        [closing.study_id],
        |row| row.get(0),
    )?;
    transaction.execute(
        "INSERT INTO batch (study_id, number, closed_at_ms, shown, protocol_version)
         SELECT ?1, ?2, ?3, ?4, max(version) FROM protocol WHERE study_id = ?1",
        params![closing.study_id, number, closing.now_ms, shown],
    )?;
    Ok(number)
}

/// What is held or was declined counts no longer. Should it be accepted again, it comes like anything
/// new.
fn leave_out(transaction: &Connection, study_id: i64) -> Result<(), rusqlite::Error> {
    transaction.execute(
        "UPDATE version SET batch = NULL
         WHERE study_id = ?1 AND batch IS NOT NULL
           AND contribution_id IN (SELECT id FROM contribution
                                    WHERE study_id = ?1 AND state IN ('held', 'declined'))",
        [study_id],
    )?;
    Ok(())
}

/// Whatever was withdrawn counts no longer from this batch on, and what was sent is erased.
fn remove_withdrawn(
    transaction: &Connection,
    study_id: i64,
    number: i64,
) -> Result<(), rusqlite::Error> {
    transaction.execute(
        "UPDATE contribution SET removed = ?2
         WHERE study_id = ?1 AND state = 'withdrawn' AND removed IS NULL",
        params![study_id, number],
    )?;
    let mut statement =
        transaction.prepare("SELECT id FROM contribution WHERE study_id = ?1 AND removed = ?2")?;
    let removed = statement.query_map([study_id, number], |row| row.get(0))?;
    for contribution_id in removed.collect::<Result<Vec<i64>, _>>()? {
        erase(transaction, contribution_id)?;
    }
    Ok(())
}

/// No fewer than [`players_changed`], which would take the longer for every contribution, the more
/// are waiting for a large batch: here each of them is counted and none looked at.
fn most_changed(transaction: &Connection, study_id: i64) -> Result<i64, rusqlite::Error> {
    transaction.query_row_cached(
        "SELECT (SELECT count(*) FROM version WHERE study_id = ?1 AND batch IS NULL)
              + (SELECT count(*) FROM contribution
                  WHERE study_id = ?1 AND state IN ('held', 'declined'))
              + (SELECT count(*) FROM contribution
                  WHERE study_id = ?1 AND state = 'withdrawn'
                    AND (removed IS NULL
                         OR (SELECT coalesce(max(number), 0) FROM batch
                              WHERE study_id = ?1 AND shown = 1) < removed))",
        [study_id],
        |row| row.get(0),
    )
}

/// Players who would newly count, or no longer count, against what was last shown. Only those with
/// something that changed since then are looked at.
fn players_changed(transaction: &Connection, study_id: i64) -> Result<i64, rusqlite::Error> {
    transaction.query_row(
        "WITH shown (number) AS (
             SELECT coalesce(max(number), 0) FROM batch WHERE study_id = ?1 AND shown = 1
         ), touched (player_id) AS (
             SELECT c.player_id FROM version v JOIN contribution c ON c.id = v.contribution_id
              WHERE v.study_id = ?1 AND v.batch IS NULL AND c.state = 'accepted'
             UNION
             SELECT c.player_id FROM version v JOIN contribution c ON c.id = v.contribution_id
              WHERE v.study_id = ?1 AND v.batch IS NOT NULL AND c.state IN ('held', 'declined')
             UNION
             SELECT c.player_id FROM contribution c, shown
              WHERE c.study_id = ?1 AND c.state = 'withdrawn'
                AND (c.removed IS NULL OR shown.number < c.removed)
         ), compared (before, after) AS (
             SELECT max((SELECT coalesce(min(v.batch) <= shown.number, 0) FROM version v
                          WHERE v.contribution_id = c.id)
                        AND (c.removed IS NULL OR shown.number < c.removed)),
                    max(c.state = 'accepted')
               FROM touched JOIN contribution c ON c.player_id = touched.player_id, shown
              GROUP BY c.player_id
         )
         SELECT count(*) FROM compared WHERE before <> after",
        [study_id],
        |row| row.get(0),
    )
}

#[cfg(test)]
mod tests {
    use super::super::Store;
    use super::*;
    use rand::{RngExt, SeedableRng};
    use rand_chacha::ChaCha8Rng;

    /// A study in any state that its tables allow, whether or not the program would bring it there.
    fn made_up(draw: &mut ChaCha8Rng) -> Store {
        let store = Store::open_in_memory().unwrap();
        store.add_study("one", b"study", 0).unwrap();
        let connection = store.lock();
        let n_batches = draw.random_range(0..4);
        for number in 1..=n_batches {
            let batch =
                "INSERT INTO batch (study_id, number, closed_at_ms, shown) VALUES (1, ?1, 0, ?2)";
            connection
                .execute(batch, (number, draw.random::<bool>()))
                .unwrap();
        }
        for player in 1..=draw.random_range(1..6_i64) {
            let someone = "INSERT INTO player (id, uuid, study_id, receipt_hash)
                           VALUES (?1, randomblob(16), 1, randomblob(32))";
            connection.execute(someone, [player]).unwrap();
            for _ in 0..draw.random_range(0..4) {
                let state = ["accepted", "held", "declined", "withdrawn"][draw.random_range(0..4)];
                let is_withdrawn = state == "withdrawn";
                let removed =
                    (is_withdrawn && draw.random()).then(|| draw.random_range(0..=n_batches));
                let contribution = "INSERT INTO contribution (uuid, study_id, player_id, state, withdrawn_at_ms, removed)
                                    VALUES (randomblob(16), 1, ?1, ?2, ?3, ?4)";
                let values = (player, state, is_withdrawn.then_some(0), removed);
                connection.execute(contribution, values).unwrap();
                let of = connection.last_insert_rowid();
                for number in 1..=draw.random_range(1..4) {
                    let batch = draw
                        .random::<bool>()
                        .then(|| draw.random_range(0..=n_batches));
                    let reason = (1 < number).then_some("mistyped");
                    let version = "INSERT INTO version (contribution_id, number, study_id, received_at_ms, reason,
                                       protocol_version, consent_scope, consent_text_version, gap_nanograms, batch)
                                   VALUES (?1, ?2, 1, 0, ?3, 1, 'pooling', 'one', 1, ?4)";
                    connection
                        .execute(version, (of, number, reason, batch))
                        .unwrap();
                }
            }
        }
        drop(connection);
        store
    }

    #[test]
    fn no_more_players_have_changed_than_the_bound_says() {
        let mut draw = ChaCha8Rng::seed_from_u64(8);
        let (mut changed, mut equal) = (0, 0);
        for _ in 0..400 {
            let store = made_up(&mut draw);
            let connection = store.lock();
            let most = most_changed(&connection, 1).unwrap();
            let counted = players_changed(&connection, 1).unwrap();
            assert!(counted <= most, "{counted} {most}");
            changed += i64::from(0 < counted);
            equal += i64::from(0 < counted && counted == most);
        }
        assert!(200 < changed && 5 < equal, "{changed} {equal}");
    }
}
