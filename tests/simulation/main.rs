//! How often the intervals hold, and how far the estimates are off, under stated truths.
//!
//! `cargo run --release --example coverage -- [PART ...] [--runs N] [--seed S]` prints one
//! Markdown table a part. The draws of a run depend on the seed, the row and the number of the
//! run alone, so the tables are the same on any number of threads.

#[path = "parts.rs"]
mod parts;

use clap::{Parser, ValueEnum};
use parts::{Failure, Part, Plan, report};
use std::process::ExitCode;
use std::thread::available_parallelism;
use std::time::Instant;

/// Simulates how often the intervals hold the truth; fails when a target is missed.
#[derive(Parser)]
struct Options {
    /// What to simulate; everything when nothing is named.
    parts: Vec<Part>,
    /// Runs in each row; by default 10,000, and 2,000 where a crowd is looked at as it grows.
    #[arg(long, value_parser = clap::value_parser!(u32).range(2..))]
    runs: Option<u32>,
    /// Seed of every draw.
    #[arg(long, default_value_t = 1)]
    seed: u64,
}

#[expect(clippy::print_stdout, reason = "tables are what this program is for")]
fn main() -> Result<ExitCode, Failure> {
    let options = Options::parse();
    let n_threads = available_parallelism().map_or(Ok(1), |n| u32::try_from(n.get()))?;
    let parts = if options.parts.is_empty() {
        Part::value_variants()
    } else {
        &options.parts
    };
    let mut n_missed = 0;
    for &part in parts {
        let start = Instant::now();
        let plan = Plan {
            seed: options.seed,
            n_runs: options.runs.unwrap_or_else(|| usual_runs(part)),
            n_threads,
        };
        let report = report(part, &plan)?;
        n_missed += report.n_missed();
        let seconds = start.elapsed().as_secs_f64();
        println!("{report}\n{seconds:.0} seconds on {n_threads} threads.\n");
    }
    println!("{n_missed} targets missed.");
    Ok(if n_missed == 0 {
        ExitCode::SUCCESS
    } else {
        ExitCode::FAILURE
    })
}

/// Runs in each row unless another number is asked for. A run of the looks is 491 analyses.
const fn usual_runs(part: Part) -> u32 {
    match part {
        Part::Means | Part::Clusters | Part::Prediction | Part::Chain => 10_000,
        Part::Looks => 2_000,
        Part::Screening => 40,
        Part::Bulk => 10,
    }
}
