//! What comes when: Poisson arrivals from a seed.

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha12Rng;
use rand_distr::{Distribution, Exp};
use std::fmt;
use std::time::Duration;

/// What the service has to stand at its busiest hour.
const PEAK_READS_A_SECOND: f64 = 100.0;
const PEAK_WRITES_A_SECOND: f64 = 100.0 / 60.0;

/// How long, how much and from which seed.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Plan {
    pub(crate) seed: u64,
    pub(crate) lasts: Duration,
    /// How many times the expected peak.
    pub(crate) times: f64,
}

/// What is asked.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Kind {
    Page,
    Pooled,
    PooledUnchanged,
    PooledGzip,
    Aggregate,
    AggregateGzip,
    AggregateUnchanged,
    Table,
    Protocol,
    Receipt,
    Query,
    Health,
    Contribution,
    Correction,
    Withdrawal,
}

/// Reads, and how many of a hundred are of each kind. Those of people who look at a page and of
/// programs that look whether there is something new are most.
const READS: [(Kind, u32); 12] = [
    (Kind::Page, 30),
    (Kind::Pooled, 8),
    (Kind::PooledUnchanged, 20),
    (Kind::PooledGzip, 8),
    (Kind::Aggregate, 2),
    (Kind::AggregateGzip, 5),
    (Kind::AggregateUnchanged, 10),
    (Kind::Table, 3),
    (Kind::Protocol, 4),
    (Kind::Receipt, 6),
    (Kind::Query, 1),
    (Kind::Health, 3),
];

/// Writes, in the same way.
const WRITES: [(Kind, u32); 3] = [
    (Kind::Contribution, 90),
    (Kind::Correction, 6),
    (Kind::Withdrawal, 4),
];

impl Kind {
    pub(crate) const fn is_write(self) -> bool {
        matches!(
            self,
            Self::Contribution | Self::Correction | Self::Withdrawal
        )
    }
}

impl fmt::Display for Kind {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        formatter.pad(match self {
            Self::Page => "page of the study",
            Self::Pooled => "pooled",
            Self::PooledUnchanged => "pooled, with its tag",
            Self::PooledGzip => "pooled, gzip",
            Self::Aggregate => "aggregate",
            Self::AggregateGzip => "aggregate, gzip",
            Self::AggregateUnchanged => "aggregate, with its tag",
            Self::Table => "rows.csv",
            Self::Protocol => "protocol",
            Self::Receipt => "what a receipt opens",
            Self::Query => "query",
            Self::Health => "health",
            Self::Contribution => "contribution",
            Self::Correction => "correction",
            Self::Withdrawal => "withdrawal",
        })
    }
}

/// One request.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Arrival {
    /// After the beginning.
    pub(crate) due: Duration,
    pub(crate) kind: Kind,
    /// Chooses whatever there is to choose.
    pub(crate) draw: u32,
}

/// Every request in the order it is due.
pub(crate) fn schedule(plan: &Plan) -> Vec<Arrival> {
    let mut arrivals = stream(plan, 0, PEAK_READS_A_SECOND, &READS);
    arrivals.extend(stream(plan, 1, PEAK_WRITES_A_SECOND, &WRITES));
    arrivals.sort_by_key(|arrival| arrival.due);
    arrivals
}

fn stream(plan: &Plan, number: u64, a_second: f64, kinds: &[(Kind, u32)]) -> Vec<Arrival> {
    let mut random = ChaCha12Rng::seed_from_u64(plan.seed);
    random.set_stream(number);
    let waits = Exp::new(plan.times * a_second).expect("a rate above zero");
    let mut due = Duration::ZERO;
    let mut arrivals = Vec::new();
    loop {
        due += Duration::from_secs_f64(waits.sample(&mut random));
        if plan.lasts <= due {
            return arrivals;
        }
        let kind = chosen(kinds, random.random_range(0..100));
        let draw = random.random();
        arrivals.push(Arrival { due, kind, draw });
    }
}

fn chosen(kinds: &[(Kind, u32)], mut place: u32) -> Kind {
    for (kind, n_of_hundred) in kinds {
        if place < *n_of_hundred {
            return *kind;
        }
        place -= n_of_hundred;
    }
    unreachable!("they add up to a hundred")
}
