//! A long load on the released program: ten times the expected peak for five minutes.
//!
//! `cargo build --release && cargo run --release --example load -- [PROGRAM] [--seconds N]
//! [--times N] [--seed S]` starts the program on a data folder of its own, asks it a mixture of
//! reads and writes by a schedule that does not wait for answers, prints how long they took, and
//! holds what is stored against what was acknowledged. Fails when anything fails.

#[path = "parts.rs"]
mod parts;

use clap::Parser;
use parts::report::Told;
use parts::{Plan, Target, play};
use serde_json::Value;
use std::error::Error;
use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, ExitCode, Stdio};
use std::time::Duration;

type Failure = Box<dyn Error + Send + Sync>;

/// The study that the invented crowd sends to.
const STUDY: &str = "looser-or-tighter";
const STUDY_FILE: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/fixtures/demo/study.json");

/// Puts a load on a program and tells how it bore it.
#[derive(Parser)]
struct Options {
    /// The program.
    #[arg(default_value = concat!(env!("CARGO_MANIFEST_DIR"), "/target/release/tautpool"))]
    program: PathBuf,
    /// How long.
    #[arg(long, default_value_t = 300)]
    seconds: u64,
    /// How many times the expected peak of 100 reads a second and 100 contributions a minute.
    #[arg(long, default_value_t = 10.0)]
    times: f64,
    /// Seed of the schedule.
    #[arg(long, default_value_t = 1)]
    seed: u64,
}

/// A program that ends with this value.
struct Running(Child);

impl Drop for Running {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

#[expect(
    clippy::print_stdout,
    reason = "the report is what this program is for"
)]
fn main() -> Result<ExitCode, Failure> {
    let options = Options::parse();
    let folder = tempfile::tempdir()?;
    said(
        &options.program,
        &["host", "study", "add", STUDY_FILE],
        folder.path(),
    )?;
    said(
        &options.program,
        &["host", "study", "open", STUDY],
        folder.path(),
    )?;
    let (running, address) = serve(&options.program, folder.path())?;
    let plan = Plan {
        seed: options.seed,
        lasts: Duration::from_secs(options.seconds),
        times: options.times,
    };
    let target = Target {
        address: &address,
        process: running.0.id(),
        study: STUDY,
    };
    let report = play(&target, &plan);
    drop(running);
    println!("{report}");
    let failures = report.failures();
    let export = said(&options.program, &["export"], folder.path())?;
    let export: Value = serde_json::from_slice(&export)?;
    let differences = report.differences(&export);
    for words in failures.iter().chain(&differences).take(20) {
        println!("{words}");
    }
    println!(
        "{} failed, {} put off; {} differences between what is stored and what was acknowledged.",
        failures.len(),
        report.n_of(&Told::PutOff),
        differences.len()
    );
    Ok(if failures.is_empty() && differences.is_empty() {
        ExitCode::SUCCESS
    } else {
        ExitCode::FAILURE
    })
}

/// Runs the program to its end.
fn said(program: &Path, arguments: &[&str], data: &Path) -> Result<Vec<u8>, Failure> {
    let output = Command::new(program)
        .args(arguments)
        .arg("--data")
        .arg(data)
        .output()?;
    if output.status.success() {
        return Ok(output.stdout);
    }
    Err(String::from_utf8_lossy(&output.stderr).into())
}

/// Starts it, and says its address.
fn serve(program: &Path, data: &Path) -> Result<(Running, String), Failure> {
    let mut child = Command::new(program)
        .args([
            "serve",
            "--listen",
            "127.0.0.1:0",
            "--requests-a-minute",
            "0",
            "--data",
        ])
        .arg(data)
        .stdout(Stdio::piped())
        .spawn()?;
    let out = child.stdout.take().ok_or("no output")?;
    let running = Running(child);
    let mut line = String::new();
    BufReader::new(out).read_line(&mut line)?;
    let address = line.trim().rsplit("http://").next().unwrap_or_default();
    Ok((running, address.to_owned()))
}
