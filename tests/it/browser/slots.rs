//! How many browsers run at a time: no more than two, whatever else the tests do meanwhile.

use std::sync::{Condvar, Mutex, PoisonError};

const MOST_AT_A_TIME: usize = 2;

static N_TAKEN: Mutex<usize> = Mutex::new(0);
static GIVEN_BACK: Condvar = Condvar::new();

/// The right to run a browser. It is given back with this value.
pub(super) struct Slot(());

impl Slot {
    /// Waits for one.
    pub(super) fn take() -> Self {
        let taken = N_TAKEN.lock().unwrap_or_else(PoisonError::into_inner);
        let mut taken = GIVEN_BACK
            .wait_while(taken, |n_taken| MOST_AT_A_TIME <= *n_taken)
            .unwrap_or_else(PoisonError::into_inner);
        *taken += 1;
        Self(())
    }
}

impl Drop for Slot {
    fn drop(&mut self) {
        let mut taken = N_TAKEN.lock().unwrap_or_else(PoisonError::into_inner);
        *taken -= 1;
        GIVEN_BACK.notify_one();
    }
}
