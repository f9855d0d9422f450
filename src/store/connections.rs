//! The connections to the database: one that writes, and some that read beside it.
//!
//! Who writes in a group ([`Writer::together`]) shares a transaction, and so its sync to disk, with
//! whoever is in line meanwhile (group commit; `DeWitt` et al. 1984, SIGMOD Record 14:2, section 5.2,
//! from memory). Each works in a savepoint of its own, so that what one does wrong undoes nothing of
//! the others, and each goes on only when the whole is synced. The last one in line commits, so nobody
//! waits for company that may not come.
//!
//! Readers have the database as it was last committed, so they never see what is not synced yet, and
//! neither they nor who writes wait for each other. A database in memory has one connection for all.

use super::{StoreError, copy};
use rusqlite::Connection;
use std::cell::Cell;
use std::fmt;
use std::ops::{Deref, DerefMut};
use std::path::Path;
use std::sync::atomic::{AtomicBool, AtomicU64, AtomicUsize, Ordering};
use std::sync::{Arc, Condvar, Mutex, MutexGuard, OnceLock, PoisonError, TryLockError};

/// Most that share one sync: bounds how long the first of them waits.
const MOST_TOGETHER: usize = 64;

/// Most in line to write, two syncs' worth. Whoever comes then is told to come again, since a line that
/// grows without end helps nobody.
const MOST_IN_LINE: usize = 2 * MOST_TOGETHER;

/// The connection that writes.
#[derive(Debug)]
pub(super) struct Writer {
    turn: Mutex<Turn>,
    /// How many are in line to write together.
    in_line: AtomicUsize,
    settled: Condvar,
    /// How many transactions were shared so far, each synced once.
    pub(super) n_synced: AtomicU64,
    /// Whether the log may still hold what was erased.
    pub(super) traces: AtomicBool,
}

#[derive(Debug)]
struct Turn {
    connection: Connection,
    /// Whose transaction is open.
    group: Option<Arc<Group>>,
    members: usize,
    /// Whether something was erased in it.
    erases: bool,
}

/// Those who share a transaction.
#[derive(Debug, Default)]
struct Group {
    /// Empty until it is known whether all of it is synced, or why none of it is kept.
    outcome: OnceLock<Result<(), String>>,
}

/// The connection that writes, held by one who writes alone.
pub(super) struct Alone<'a>(MutexGuard<'a, Turn>);

impl Deref for Alone<'_> {
    type Target = Connection;

    fn deref(&self) -> &Connection {
        &self.0.connection
    }
}

impl DerefMut for Alone<'_> {
    fn deref_mut(&mut self) -> &mut Connection {
        &mut self.0.connection
    }
}

/// The connection that writes, in the hands of one who shares a transaction with others.
pub struct Writing<'a> {
    pub(super) connection: &'a Connection,
    /// Whether something was erased.
    pub(super) erases: Cell<bool>,
}

impl fmt::Debug for Writing<'_> {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        out.write_str("Writing")
    }
}

impl Writer {
    pub(super) fn new(connection: Connection) -> Self {
        Self {
            turn: Mutex::new(Turn {
                connection,
                group: None,
                members: 0,
                erases: false,
            }),
            in_line: AtomicUsize::new(0),
            settled: Condvar::new(),
            n_synced: AtomicU64::new(0),
            traces: AtomicBool::new(true),
        }
    }

    /// The connection for one who writes alone, once what others have begun is synced. A panic
    /// elsewhere while it was held rolled back what that one did, so the connection itself is sound.
    pub(super) fn alone(&self) -> Alone<'_> {
        let mut turn = self.turn();
        self.settle(&mut turn);
        Alone(turn)
    }

    fn turn(&self) -> MutexGuard<'_, Turn> {
        self.turn.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Does some work in a transaction that others may share. Synced to disk when it returns, or
    /// nothing of it is kept.
    ///
    /// # Errors
    /// [`StoreError::Crowded`] when too many are in line, and nothing was begun. Those of the work, which
    /// undo it alone; and when the database refuses the transaction, which undoes what everybody did in
    /// it.
    pub(super) fn together<T, E: From<StoreError>>(
        &self,
        work: impl FnOnce(&Writing<'_>) -> Result<T, E>,
    ) -> Result<T, E> {
        self.get_in_line()?;
        let mut turn = self.turn();
        self.in_line.fetch_sub(1, Ordering::SeqCst);
        let group = turn.join()?;
        let member = Member {
            writer: self,
            turn: &mut turn,
        };
        let done = member.work(work);
        if self.goes_on(&turn) {
            let waits = |_: &mut Turn| group.outcome.get().is_none();
            drop(self.settled.wait_while(turn, waits));
        } else {
            self.settle(&mut turn);
        }
        match group.outcome.get() {
            Some(Ok(())) => done,
            Some(Err(why)) => done.and(Err(StoreError::Together(why.clone()).into())),
            None => Err(StoreError::Together("nobody synced it".to_owned()).into()),
        }
    }

    /// Never counts whom it refuses: whoever commits last relies on the others in line to come.
    fn get_in_line(&self) -> Result<(), StoreError> {
        let one_more = |n: usize| (n < MOST_IN_LINE).then_some(n + 1);
        let order = Ordering::SeqCst;
        let place = self.in_line.fetch_update(order, order, one_more);
        place.map(drop).map_err(|_| StoreError::Crowded)
    }

    /// Whether whoever is in line goes on with the transaction: not when nobody is, or enough have
    /// come, or the database has given it up.
    fn goes_on(&self, turn: &Turn) -> bool {
        0 < self.in_line.load(Ordering::SeqCst)
            && turn.members < MOST_TOGETHER
            && !turn.connection.is_autocommit()
    }

    /// Commits what was begun together, and tells everybody who waits for it.
    fn settle(&self, turn: &mut Turn) {
        let Some(group) = turn.group.take() else {
            return;
        };
        let outcome = commit(&turn.connection);
        self.n_synced
            .fetch_add(u64::from(outcome.is_ok()), Ordering::Relaxed);
        turn.members = 0;
        if std::mem::take(&mut turn.erases) && outcome.is_ok() {
            self.empty_log(&turn.connection);
        }
        // It is set here alone.
        drop(group.outcome.set(outcome));
        self.settled.notify_all();
    }
}

impl Turn {
    /// The group whose transaction is open, or a new one.
    fn join(&mut self) -> Result<Arc<Group>, StoreError> {
        if let Some(group) = &self.group {
            return Ok(Arc::clone(group));
        }
        self.connection.execute_batch("BEGIN IMMEDIATE")?;
        let group = Arc::<Group>::default();
        self.group = Some(Arc::clone(&group));
        Ok(group)
    }
}

/// One of those who share a transaction, at work in it.
struct Member<'a> {
    writer: &'a Writer,
    turn: &'a mut Turn,
}

impl Member<'_> {
    fn work<T, E: From<StoreError>>(
        self,
        work: impl FnOnce(&Writing<'_>) -> Result<T, E>,
    ) -> Result<T, E> {
        self.turn.members += 1;
        let savepoint = self.turn.connection.savepoint().map_err(StoreError::from)?;
        let writing = Writing {
            connection: &savepoint,
            erases: Cell::new(false),
        };
        let done = work(&writing)?;
        let erases = writing.erases.get();
        savepoint.commit().map_err(StoreError::from)?;
        self.turn.erases |= erases;
        Ok(done)
    }
}

impl Drop for Member<'_> {
    /// A panic in its work must not leave others waiting for a sync that nobody makes.
    fn drop(&mut self) {
        if std::thread::panicking() {
            self.writer.settle(self.turn);
        }
    }
}

fn commit(connection: &Connection) -> Result<(), String> {
    if connection.is_autocommit() {
        return Err("a fault made the database give the transaction up".to_owned());
    }
    connection.execute_batch("COMMIT").map_err(|error| {
        // Whatever stands in the way of this stands in the way of the next transaction too, which
        // tells it.
        drop(connection.execute_batch("ROLLBACK"));
        error.to_string()
    })
}

/// The connections that only read.
#[derive(Debug, Default)]
pub(super) struct Readers {
    connections: Vec<Mutex<Connection>>,
    /// Counts who had to wait, so that they wait for different ones.
    waited: AtomicUsize,
}

/// How many may read at once.
const READERS: usize = 4;

impl Readers {
    /// Readers of a database file, which exists in its newest format.
    pub(super) fn of(file: &Path) -> Result<Self, StoreError> {
        let open = |_| Ok::<_, StoreError>(Mutex::new(copy::reader(file)?));
        Ok(Self {
            connections: (0..READERS).map(open).collect::<Result<_, _>>()?,
            waited: AtomicUsize::new(0),
        })
    }

    /// A connection to read with; `None` in memory.
    pub(super) fn one(&self) -> Option<MutexGuard<'_, Connection>> {
        for connection in &self.connections {
            match connection.try_lock() {
                Ok(free) => return Some(free),
                // Who panicked had only read.
                Err(TryLockError::Poisoned(free)) => return Some(free.into_inner()),
                Err(TryLockError::WouldBlock) => {}
            }
        }
        let turn = self.waited.fetch_add(1, Ordering::Relaxed);
        let next = self.connections.get(turn % READERS)?;
        Some(next.lock().unwrap_or_else(PoisonError::into_inner))
    }
}

/// A connection to read with.
pub(super) enum Reading<'a> {
    /// One that only reads.
    Beside(MutexGuard<'a, Connection>),
    /// The one that writes.
    Alone(Alone<'a>),
}

impl Deref for Reading<'_> {
    type Target = Connection;

    fn deref(&self) -> &Connection {
        match self {
            Self::Beside(connection) => connection,
            Self::Alone(connection) => connection,
        }
    }
}

impl DerefMut for Reading<'_> {
    fn deref_mut(&mut self) -> &mut Connection {
        match self {
            Self::Beside(connection) => connection,
            Self::Alone(connection) => connection,
        }
    }
}

#[cfg(test)]
mod tests;
