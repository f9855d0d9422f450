//! What it costs to serve many contributions: data folders of several sizes, and the program started
//! on each.
//!
//! `cargo build --release && cargo run --release --example scale -- [PROGRAM] [--contributions N]...`
//! fills a folder with an invented crowd, four fifths of its pairs of new players and one fifth further
//! pairs, all of them counted by one batch; starts the program; and prints how long it took until it
//! answered and until it had made its figures, how much memory that took, and how large what it
//! publishes is.
//!
//! The rows are written by SQL, without the marks of screening, which nothing at the start reads:
//! sending a million contributions through the door takes most of an hour.

use clap::Parser;
use rusqlite::{Connection, params};
use serde_json::Value;
use std::error::Error;
use std::io::{BufRead, BufReader, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::thread;
use std::time::{Duration, Instant};
use tautpool::demo::crowd::{self, Settings};
use tautpool::intake;
use tautpool::service::{Service, pair_effects};
use tautpool::store::{Durability, Store};
use uuid::Uuid;

type Failure = Box<dyn Error + Send + Sync>;

const STUDY_FILE: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/fixtures/demo/study.json");

/// Serves data folders of several sizes and tells what that cost.
#[derive(Parser)]
struct Options {
    /// The program.
    #[arg(default_value = concat!(env!("CARGO_MANIFEST_DIR"), "/target/release/tautpool"))]
    program: PathBuf,
    /// How many contributions; may be repeated.
    #[arg(long, default_values_t = [1_000, 10_000, 100_000])]
    contributions: Vec<usize>,
    /// Longest that figures are waited for, in seconds.
    #[arg(long, default_value_t = 900)]
    longest: u64,
    /// Leaves the folder behind, for a look into it.
    #[arg(long)]
    keep: bool,
}

/// A program that ends with this value.
struct Running(Child);

impl Drop for Running {
    fn drop(&mut self) {
        drop(self.0.kill());
        drop(self.0.wait());
    }
}

#[expect(
    clippy::print_stdout,
    reason = "the report is what this program is for"
)]
fn main() -> Result<(), Failure> {
    let options = Options::parse();
    println!(
        "| contributions | effects | database MiB | answers s | figures s | resident MiB, most | pooled MiB | download MiB | page KiB |"
    );
    println!("|---|---|---|---|---|---|---|---|---|");
    for n in &options.contributions {
        let folder = tempfile::tempdir()?;
        let n_effects = fill(folder.path(), *n)?;
        let database = std::fs::metadata(folder.path().join(Store::FILE))?.len();
        let cost = serve(&options, folder.path())?;
        println!(
            "| {n} | {n_effects} | {} | {:.1} | {:.1} | {} | {:.1} | {:.1} | {} |",
            database >> 20,
            cost.answers.as_secs_f64(),
            cost.figures.as_secs_f64(),
            cost.most_resident_kib >> 10,
            mib(cost.pooled),
            mib(cost.aggregate),
            cost.page >> 10,
        );
        std::io::stdout().flush()?;
        if options.keep {
            println!("kept: {}", folder.keep().display());
        }
    }
    Ok(())
}

#[expect(clippy::cast_precision_loss, reason = "sizes for a person")]
fn mib(bytes: usize) -> f64 {
    bytes as f64 / f64::from(1 << 20)
}

/// Fills a folder and tells how many effects are in it.
fn fill(folder: &Path, n: usize) -> Result<usize, Failure> {
    let now_ms = 1_790_000_000_000;
    let service = Service::open_or_make(folder, Durability::None)?;
    let study = service.add_study(&std::fs::read(STUDY_FILE)?, now_ms)?;
    service.open_recruiting(&study.label.slug, now_ms)?;
    let spread = service
        .study(&study.label.slug)
        .ok_or("the study is not there")?
        .crowd
        .clone();
    // A server does it at its first start, when there is hardly anything yet: it takes as much memory
    // as the database.
    service.store().rewrite()?;
    drop(service);
    let mut connection = Connection::open(folder.join(Store::FILE))?;
    connection.pragma_update(None, "synchronous", "OFF")?;
    let transaction = connection.transaction()?;
    transaction.execute(
        "INSERT INTO batch (study_id, number, closed_at_ms, shown, protocol_version) VALUES (1, 1, ?1, 1, 1)",
        [now_ms],
    )?;
    let settings = Settings::embedded()?;
    let mut n_effects = 0;
    let mut player = 0;
    for from in (0..n).step_by(10_000) {
        for (place, sent) in crowd::more(&settings, from, 10_000.min(n - from))
            .iter()
            .enumerate()
        {
            // Of so many honest players some do what the door refuses.
            let Ok(admitted) = intake::contribution(sent.document.as_bytes(), &study) else {
                continue;
            };
            let pair = pair_effects(&admitted.contribution, &study, &spread)?;
            n_effects += pair.all().count();
            if place % 5 != 4 {
                player += 1;
                transaction.prepare_cached("INSERT INTO player (id, uuid, study_id, receipt_hash) VALUES (?1, ?2, 1, ?3)")?.execute(
                    params![player, Uuid::new_v4().as_bytes(), [Uuid::new_v4(); 2].map(Uuid::into_bytes).concat()],
                )?;
            }
            let id = i64::try_from(from + place + 1)?;
            transaction.prepare_cached("INSERT INTO contribution (id, uuid, study_id, player_id, state) VALUES (?1, ?2, 1, ?3, 'accepted')")?.execute(
                params![id, Uuid::now_v7().as_bytes(), player],
            )?;
            transaction.prepare_cached(
                "INSERT INTO version (contribution_id, number, study_id, received_at_ms, protocol_version, consent_scope, consent_text_version, gap_nanograms, batch, document)
                 VALUES (?1, 1, 1, ?2, 1, ?3, ?4, ?5, 1, ?6)")?.execute(
                params![
                    id,
                    now_ms,
                    admitted.contribution.consent_scope.code(),
                    admitted.contribution.consent_text_version,
                    pair.gap.nanograms(),
                    sent.document.as_bytes(),
                ],
            )?;
            transaction
                .prepare_cached(
                    "INSERT INTO screening (contribution_id, number, rules) VALUES (?1, 1, 1)",
                )?
                .execute([id])?;
        }
    }
    transaction.commit()?;
    Ok(n_effects)
}

/// What serving took.
struct Cost {
    /// Until it answered.
    answers: Duration,
    /// Until it had figures.
    figures: Duration,
    most_resident_kib: u64,
    pooled: usize,
    aggregate: usize,
    page: usize,
}

fn serve(options: &Options, folder: &Path) -> Result<Cost, Failure> {
    let began = Instant::now();
    let mut running = Running(
        Command::new(&options.program)
            .args([
                "serve",
                "--listen",
                "127.0.0.1:0",
                "--requests-a-minute",
                "0",
                "--data",
            ])
            .arg(folder)
            .stdout(Stdio::piped())
            .spawn()?,
    );
    let mut line = String::new();
    let out = running.0.stdout.take().ok_or("no standard output")?;
    BufReader::new(out).read_line(&mut line)?;
    let base = line
        .trim()
        .rsplit(' ')
        .next()
        .ok_or("it said no address")?
        .to_owned();
    let answers = began.elapsed();
    let api = format!("{base}/api/v1/studies/looser-or-tighter");
    let pooled = loop {
        let body = get(&format!("{api}/pooled"))?;
        let pooled: Value = serde_json::from_str(&body)?;
        if pooled.get("batch").is_some_and(|batch| !batch.is_null()) {
            break body;
        }
        if began.elapsed().as_secs() > options.longest {
            return Err("no figures in time".into());
        }
        thread::sleep(Duration::from_millis(200));
    };
    let figures = began.elapsed();
    let page = get(&format!("{base}/studies/looser-or-tighter"))?.len();
    let aggregate = get(&format!("{api}/aggregate"))?.len();
    let most_resident_kib = most_resident(running.0.id())?;
    Ok(Cost {
        answers,
        figures,
        most_resident_kib,
        pooled: pooled.len(),
        aggregate,
        page,
    })
}

fn get(address: &str) -> Result<String, Failure> {
    let mut answer = ureq::get(address).call()?;
    Ok(answer
        .body_mut()
        .with_config()
        .limit(u64::MAX)
        .read_to_string()?)
}

/// The most memory that a process had, in KiB.
fn most_resident(process: u32) -> Result<u64, Failure> {
    let status = std::fs::read_to_string(format!("/proc/{process}/status"))?;
    let line = status
        .lines()
        .find_map(|line| line.strip_prefix("VmHWM:"))
        .ok_or("no VmHWM")?;
    Ok(line.trim().trim_end_matches(" kB").parse()?)
}
