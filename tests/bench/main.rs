//! Our side of the benchmarks that `tests/bench/run` makes: does what a line of its input says, and
//! answers in a line of JSON how long that took and what came of it.
//!
//! | line | what is done |
//! |---|---|
//! | `effects K [FILE]` | makes `K` effects up, and writes them to a file: estimates, then variances |
//! | `order`, `order_clustered` | checks them and puts them in canonical order |
//! | `reml`, `paule_mandel` | mean, standard error and intervals, from ordered effects |
//! | `pool`, `pool_clustered` | all four models, intervals and heterogeneity |
//! | `sum`, `division` | adds both columns up; divides one by one: what bounds the above |
//! | `analyses N EFFECTS THREADS` | orders and pools that many clustered analyses |
//! | `schema FOLDER` | holds every document of a folder against the schema of contributions |
//! | `send ADDRESS STUDY COUNT SENDERS` | sends invented contributions, by that many senders at once |
//! | `bare DATABASE NEW GROUP` | puts a database's contributions into a new one, so many to a transaction |
//!
//! Nothing here fails because it was slow.

mod bare;
mod bounds;
mod made_up;
mod pooling;
mod schema;
mod sending;

/// One connection that is kept.
#[expect(dead_code, reason = "only the status of answers is looked at here")]
#[path = "../load/line.rs"]
mod line;

use serde_json::{Value, json};
use std::error::Error;
use std::io::{BufRead, Write};
use std::time::Instant;

/// The heap that the program has.
#[global_allocator]
static ALLOCATOR: mimalloc::MiMalloc = mimalloc::MiMalloc;

type Failure = Box<dyn Error + Send + Sync>;

fn main() -> Result<(), Failure> {
    let mut kept = pooling::Kept::default();
    let mut sent = 0;
    for line in std::io::stdin().lock().lines() {
        let line = line?;
        let words: Vec<&str> = line.split_whitespace().collect();
        let answer = match words.as_slice() {
            [] => continue,
            ["effects", k] => kept.make(k.parse()?, None)?,
            ["effects", k, file] => kept.make(k.parse()?, Some(file.as_ref()))?,
            ["analyses", n, effects, threads] => {
                pooling::analyses(n.parse()?, effects.parse()?, threads.parse()?)?
            }
            ["schema", folder] => schema::hold_all(folder.as_ref())?,
            ["bare", from, to, group] => bare::write(from.as_ref(), to.as_ref(), group.parse()?)?,
            ["send", address, study, count, senders] => {
                let from = sent;
                let count = count.parse()?;
                sent += count;
                sending::send(address, study, from, count, senders.parse()?)?
            }
            [one] => kept.measure(one)?,
            _ => return Err(format!("cannot read the line: {line}").into()),
        };
        writeln!(std::io::stdout(), "{answer}")?;
    }
    Ok(())
}

/// Does something once, and says how long it took.
fn timed<T>(what: impl FnOnce() -> T) -> (T, f64) {
    let began = Instant::now();
    let made = what();
    (made, began.elapsed().as_secs_f64())
}

fn told(seconds: f64, made: &Value) -> Value {
    json!({ "seconds": seconds, "made": made })
}
