//! Contributions sent to a running service, by senders that each wait for their answer.

use crate::line::Line;
use crate::{Failure, timed, told};
use serde_json::{Value, json};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::thread;
use tautpool::demo::crowd::{self, Settings};

fn documents(from: usize, count: usize) -> Result<Vec<String>, Failure> {
    let settings = Settings::embedded().map_err(|_| "the demo's settings cannot be read")?;
    let sent = crowd::more(&settings, from, count).into_iter();
    Ok(sent.map(|sent| sent.document).collect())
}

/// Sends documents of new players, and counts how many were acknowledged.
pub(crate) fn send(
    address: &str,
    study: &str,
    from: usize,
    count: usize,
    senders: usize,
) -> Result<Value, Failure> {
    let documents = documents(from, count)?;
    let target = format!("/api/v1/studies/{study}/contributions");
    let next = AtomicUsize::new(0);
    let work = || -> Result<usize, Failure> {
        let mut line = Line::new(address);
        let mut n_taken = 0;
        while let Some(document) = documents.get(next.fetch_add(1, Ordering::Relaxed)) {
            let answer = line.ask("POST", &target, "", document)?;
            if answer.status == 201 {
                n_taken += 1;
            }
        }
        Ok(n_taken)
    };
    let (taken, seconds) = timed(|| {
        thread::scope(|scope| {
            let crew: Vec<_> = (0..senders).map(|_| scope.spawn(work)).collect();
            crew.into_iter()
                .map(|one| {
                    one.join()
                        .map_err(|_| Failure::from("a sender has failed"))?
                })
                .collect::<Result<Vec<_>, Failure>>()
        })
    });
    Ok(told(seconds, &json!(taken?.into_iter().sum::<usize>())))
}
