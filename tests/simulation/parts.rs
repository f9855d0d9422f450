//! What can be simulated. The integration tests run the same code a few times over.

pub(crate) mod chain;
pub(crate) mod clusters;
pub(crate) mod crowd;
mod draw;
pub(crate) mod looks;
pub(crate) mod means;
pub(crate) mod prediction;
mod runs;
pub(crate) mod screening;
mod table;
pub(crate) mod tally;

pub(crate) use runs::{Failure, Plan};

use table::Report;

/// One question.
#[derive(Debug, Clone, Copy, clap::ValueEnum)]
pub(crate) enum Part {
    /// Intervals of the mean.
    Means,
    /// Several pairs of one player.
    Clusters,
    /// Prediction intervals.
    Prediction,
    /// A crowd that is looked at as it grows.
    Looks,
    /// From shots to the pooled interval.
    Chain,
    /// What screening holds, of honest and of forged contributions.
    Screening,
    /// What a script does that sends hundreds of made-up contributions.
    Bulk,
}

/// Simulates one part.
pub(crate) fn report(part: Part, plan: &Plan) -> Result<Report, Failure> {
    match part {
        Part::Means => means::report(plan),
        Part::Clusters => clusters::report(plan),
        Part::Prediction => prediction::report(plan),
        Part::Looks => looks::report(plan),
        Part::Chain => chain::report(plan),
        Part::Screening => screening::report(plan),
        Part::Bulk => screening::bulk::report(plan),
    }
}
