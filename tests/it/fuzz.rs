//! Every reader of what strangers send, fed with what nobody would send on purpose.
//!
//! Inputs are made from a corpus by changing bytes and by changing what the bytes mean: numbers,
//! texts, members, lines, cells. A target says what became of an input, in a few coarse words; an
//! input by which a word is reached for the first time joins the pool that further ones are made
//! from. So the search goes where it has not been, without looking inside the program.
//!
//! Each target runs for some seconds, in `tests/run --long` for ten minutes. With `TAUTPOOL_BLESS=1`
//! what a run found is made as small as it can be without losing its word, and added to
//! `fixtures/fuzz/`, one input a line with what is not visible ASCII escaped. An input that breaks a
//! law is made small in the same way and left in `target/fuzz-failures/`.

#![expect(
    clippy::indexing_slicing,
    clippy::panic,
    clippy::print_stderr,
    clippy::print_stdout,
    clippy::unwrap_used,
    reason = "a test stops at what it did not expect"
)]

mod corpus;
mod mutate;
mod targets;
mod watch;

use crate::harness::runs;
use mutate::Maker;
use std::collections::BTreeSet;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::time::{Duration, Instant};
use watch::Watch;

/// Longest input that is made: a contribution may have 256 KiB, and some is needed to go beyond.
const LONGEST: usize = 300 * 1024;

/// Whether an input was taken.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Verdict {
    Accepted,
    Refused,
}

/// What became of an input: whether it was taken, and words for how.
struct Outcome {
    verdict: Verdict,
    words: BTreeSet<String>,
}

/// Reads an input.
type Read<'a> = Box<dyn Fn(&[u8]) -> Outcome + 'a>;

/// A reader with what it is fed.
struct Target<'a> {
    name: &'static str,
    /// What inputs are made from besides those of its corpus.
    seeds: Vec<Vec<u8>>,
    /// Words that mean something to it.
    vocabulary: Vec<String>,
    /// Reads an input and panics when a law does not hold.
    read: Read<'a>,
}

/// What a run has seen.
struct Run<'a, 'b> {
    target: &'a Target<'b>,
    watch: Watch,
    pool: Vec<Vec<u8>>,
    /// Those of the pool that were taken.
    sound: Vec<Vec<u8>>,
    reached: BTreeSet<String>,
    n_inputs: u64,
    n_accepted: u64,
    /// What took longest, and how long its input was.
    slowest: (Duration, usize),
}

impl Run<'_, '_> {
    /// Reads an input; what it reached for the first time.
    fn feed(&mut self, input: &[u8]) -> Vec<String> {
        self.watch.begins(input);
        let began = Instant::now();
        let read = catch_unwind(AssertUnwindSafe(|| (self.target.read)(input)));
        self.slowest = self.slowest.max((began.elapsed(), input.len()));
        self.watch.ends();
        let Ok(outcome) = read else {
            let small = smaller(input, |part| {
                catch_unwind(AssertUnwindSafe(|| (self.target.read)(part))).is_err()
            });
            let place = corpus::keep_failure(self.target.name, &small);
            panic!("{}: a law does not hold of {}", self.target.name, place);
        };
        self.n_inputs += 1;
        self.n_accepted += u64::from(outcome.verdict == Verdict::Accepted);
        let new: Vec<String> = outcome.words.difference(&self.reached).cloned().collect();
        self.reached.extend(new.iter().cloned());
        if !new.is_empty() {
            self.join(input, outcome.verdict);
        }
        new
    }

    /// Makes an input one that others are made from.
    fn join(&mut self, input: &[u8], verdict: Verdict) {
        self.pool.push(input.to_vec());
        if verdict == Verdict::Accepted {
            self.sound.push(input.to_vec());
        }
    }

    /// The least of an input by which all of these words are still reached.
    fn least(&self, input: &[u8], words: &[String]) -> Vec<u8> {
        smaller(input, |part| {
            let read = catch_unwind(AssertUnwindSafe(|| (self.target.read)(part)));
            read.is_ok_and(|outcome| words.iter().all(|word| outcome.words.contains(word)))
        })
    }
}

/// How often an input is tried without a piece of it, and how long all that a run found is made small.
const MOST_TRIES: usize = 200;
const SMALLER_WITHIN: Duration = Duration::from_secs(60);

/// An input without every piece that can go while something still holds of it.
fn smaller(input: &[u8], holds: impl Fn(&[u8]) -> bool) -> Vec<u8> {
    let mut small = input.to_vec();
    let mut piece = small.len() / 2;
    let mut tries = 0;
    while 0 < piece && tries < MOST_TRIES {
        let mut at = 0;
        while at < small.len() && tries < MOST_TRIES {
            let mut without = small.clone();
            without.drain(at..small.len().min(at + piece));
            tries += 1;
            if holds(&without) {
                small = without;
            } else {
                at += piece;
            }
        }
        piece /= 2;
    }
    small
}

/// Runs a target for its time and says what it saw.
fn fuzz(target: &Target<'_>) {
    let mut run = Run {
        target,
        watch: Watch::over(target.name),
        pool: Vec::new(),
        sound: Vec::new(),
        reached: BTreeSet::new(),
        n_inputs: 0,
        n_accepted: 0,
        slowest: (Duration::ZERO, 0),
    };
    for seed in target.seeds.iter().chain(&corpus::of(target.name)) {
        let n_accepted = run.n_accepted;
        if run.feed(seed).is_empty() && n_accepted < run.n_accepted {
            // Also those that reach nothing new: they are what a reader is for.
            run.join(seed, Verdict::Accepted);
        }
    }
    let n_before = run.reached.len();
    let mut maker = Maker::new(&target.vocabulary);
    let mut found = Vec::new();
    let began = Instant::now();
    let budget = Duration::from_secs(runs(2, 600));
    while began.elapsed() < budget {
        let input = maker.make(&run.pool, &run.sound);
        let new = run.feed(&input);
        if !new.is_empty() {
            found.push((input, new));
        }
    }
    println!(
        "{}: {} inputs in {} s, {} accepted, {} outcomes, {} of them beyond the corpus, slowest input {} ms for {} bytes",
        target.name,
        run.n_inputs,
        budget.as_secs(),
        run.n_accepted,
        run.reached.len(),
        run.reached.len() - n_before,
        run.slowest.0.as_millis(),
        run.slowest.1
    );
    assert!(0 < run.n_accepted && run.n_accepted < run.n_inputs);
    if corpus::is_blessed() {
        let began = Instant::now();
        let mut kept = Vec::new();
        for (input, words) in found {
            let is_time_left = began.elapsed() < SMALLER_WITHIN;
            kept.push(if is_time_left {
                run.least(&input, &words)
            } else {
                input
            });
        }
        corpus::add(target.name, kept);
    }
}

#[test]
fn contributions() {
    fuzz(&targets::contribution());
}

#[test]
fn files_of_single_shots() {
    fuzz(&targets::shots());
}

#[test]
fn tables_of_effects() {
    fuzz(&targets::effects());
}

#[test]
fn downloads() {
    fuzz(&targets::aggregate());
}

#[test]
fn questions() {
    fuzz(&targets::question());
}

#[test]
fn a_broken_law_is_found_and_told_by_its_least_input() {
    let target = Target {
        name: "a made-up target",
        seeds: vec![b"harmless".to_vec()],
        vocabulary: Vec::new(),
        read: Box::new(|input| {
            assert!(!input.contains(&b'!'));
            Outcome {
                verdict: Verdict::Refused,
                words: BTreeSet::new(),
            }
        }),
    };
    let least = smaller(b"all is well until now! and then", |part| {
        catch_unwind(AssertUnwindSafe(|| (target.read)(part))).is_err()
    });
    assert_eq!(least, b"!");
}
