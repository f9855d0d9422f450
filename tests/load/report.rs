//! What came of a load: counts and times for each kind, and the memory of the service meanwhile.

use super::ledger::Ledger;
use super::schedule::Kind;
use serde_json::Value;
use std::collections::BTreeMap;
use std::fmt;
use std::time::Duration;

/// What a request got.
#[derive(Debug, PartialEq, Eq)]
pub(crate) enum Told {
    /// What it asked for.
    Done,
    /// 503 with a time to ask again.
    PutOff,
    /// There was nothing to correct or withdraw at the place that was drawn, so nothing was asked.
    Nothing,
    /// Anything else, in words.
    Failed(String),
}

/// One request and what it got.
#[derive(Debug)]
pub(crate) struct Outcome {
    pub(crate) kind: Kind,
    /// From when it was due to the end of the answer.
    pub(crate) took: Duration,
    pub(crate) told: Told,
}

/// The memory of the service at one moment, in KiB (`proc_pid_status(5)`).
#[derive(Clone, Copy, Debug)]
pub(crate) struct Memory {
    pub(crate) at: Duration,
    pub(crate) resident_kib: u64,
    pub(crate) peak_kib: u64,
}

impl Memory {
    pub(crate) fn of(process: u32, at: Duration) -> Self {
        let status = std::fs::read_to_string(format!("/proc/{process}/status")).unwrap_or_default();
        let field = |name: &str| {
            let line = status.lines().find(|line| line.starts_with(name))?;
            line.split_whitespace().nth(1)?.parse().ok()
        };
        Self {
            at,
            resident_kib: field("VmRSS:").unwrap_or(0),
            peak_kib: field("VmHWM:").unwrap_or(0),
        }
    }
}

/// Everything that came of a load.
#[derive(Debug)]
pub(crate) struct Report {
    pub(crate) lasted: Duration,
    pub(crate) outcomes: Vec<Outcome>,
    pub(crate) memory: Vec<Memory>,
    pub(super) ledger: Ledger,
}

impl Report {
    /// What failed, in words.
    pub(crate) fn failures(&self) -> Vec<String> {
        let told = self
            .outcomes
            .iter()
            .filter_map(|outcome| match &outcome.told {
                Told::Failed(words) => Some(format!("{}: {words}", outcome.kind)),
                _ => None,
            });
        told.collect()
    }

    pub(crate) fn n_of(&self, told: &Told) -> usize {
        self.outcomes
            .iter()
            .filter(|outcome| outcome.told == *told)
            .count()
    }

    pub(crate) fn peak_kib(&self) -> u64 {
        self.memory
            .iter()
            .map(|memory| memory.peak_kib)
            .max()
            .unwrap_or(0)
    }

    /// What the host's own copy has otherwise than it was acknowledged.
    pub(crate) fn differences(&self, export: &Value) -> Vec<String> {
        self.ledger.differences(export)
    }
}

/// The smallest time that so many of ten thousand do not exceed (nearest rank).
fn quantile(sorted: &[Duration], of_ten_thousand: usize) -> Duration {
    let rank = (sorted.len() * of_ten_thousand).div_ceil(10_000).max(1);
    sorted.get(rank - 1).copied().unwrap_or_default()
}

fn row(formatter: &mut fmt::Formatter<'_>, name: &str, outcomes: &[&Outcome]) -> fmt::Result {
    let n_failed = outcomes
        .iter()
        .filter(|one| matches!(one.told, Told::Failed(_)))
        .count();
    let n_put_off = outcomes
        .iter()
        .filter(|one| one.told == Told::PutOff)
        .count();
    let mut took: Vec<Duration> = outcomes.iter().map(|one| one.took).collect();
    took.sort_unstable();
    write!(
        formatter,
        "| {name:<23} | {:>7} | {n_failed:>6} | {n_put_off:>7} |",
        outcomes.len()
    )?;
    for of_ten_thousand in [5_000, 9_000, 9_900, 9_990, 10_000] {
        let ms = quantile(&took, of_ten_thousand).as_secs_f64() * 1000.0;
        write!(formatter, " {ms:>8.1} |")?;
    }
    writeln!(formatter)
}

impl fmt::Display for Report {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mut kinds: BTreeMap<Kind, Vec<&Outcome>> = BTreeMap::new();
        let asked = self.outcomes.iter().filter(|one| one.told != Told::Nothing);
        for outcome in asked {
            kinds.entry(outcome.kind).or_default().push(outcome);
        }
        writeln!(
            formatter,
            "| what                    |   count | failed | put off |  p50 ms  |  p90 ms  |  p99 ms  | p99.9 ms |  max ms  |\n|---|---|---|---|---|---|---|---|---|"
        )?;
        for (kind, outcomes) in &kinds {
            row(formatter, &kind.to_string(), outcomes)?;
        }
        for (name, is_write) in [("every read", false), ("every write", true)] {
            let all = kinds.iter().filter(|(kind, _)| kind.is_write() == is_write);
            let all: Vec<&Outcome> = all
                .flat_map(|(_, outcomes)| outcomes.iter().copied())
                .collect();
            row(formatter, name, &all)?;
        }
        let mib = |kib: u64| kib / 1024;
        write!(
            formatter,
            "\nLasted {:.0} s. Resident memory in MiB:",
            self.lasted.as_secs_f64()
        )?;
        let every = (self.memory.len() / 20).max(1);
        for memory in self.memory.iter().step_by(every) {
            write!(
                formatter,
                " {:.0} s {}",
                memory.at.as_secs_f64(),
                mib(memory.resident_kib)
            )?;
        }
        writeln!(formatter, "; at most {}.", mib(self.peak_kib()))
    }
}
