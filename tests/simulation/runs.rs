//! Many runs on several threads, with the same answer on any number of them.

use super::draw::Draw;
use std::error::Error;
use std::panic::resume_unwind;
use std::thread;

/// What can go wrong in a simulation: numbers that the library refuses.
pub(crate) type Failure = Box<dyn Error + Send + Sync>;

/// How a simulation is run.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Plan {
    /// Seed of every draw.
    pub(crate) seed: u64,
    /// Runs in each cell.
    pub(crate) n_runs: u32,
    /// Threads, at least 1.
    pub(crate) n_threads: u32,
}

impl Plan {
    /// What `run` answers in each run of a cell, in the order of the runs. Cells with different
    /// numbers have independent draws.
    pub(crate) fn runs<T: Send>(
        &self,
        cell: u32,
        run: impl Fn(&mut Draw) -> Result<T, Failure> + Sync,
    ) -> Result<Vec<T>, Failure> {
        let part = self.n_runs.div_ceil(self.n_threads);
        let numbers = |thread: u32| {
            let start = (thread * part).min(self.n_runs);
            start..(start + part).min(self.n_runs)
        };
        let some = |thread: u32| -> Result<Vec<T>, Failure> {
            numbers(thread)
                .map(|number| run(&mut Draw::new(self.seed, cell, number)))
                .collect()
        };
        thread::scope(|scope| {
            let workers: Vec<_> = (0..self.n_threads)
                .map(|thread| scope.spawn(move || some(thread)))
                .collect();
            let mut all = Vec::new();
            for worker in workers {
                all.extend(worker.join().unwrap_or_else(|panic| resume_unwind(panic))?);
            }
            Ok(all)
        })
    }
}
