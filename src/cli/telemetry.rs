//! Log lines on standard error.

use super::Failure;
use tracing_subscriber::EnvFilter;

/// Starts logging with a filter.
pub(super) fn start(filter: &str) -> Result<(), Failure> {
    let filter = EnvFilter::try_new(filter).map_err(|error| format!("--log {filter}: {error}"))?;
    tracing_subscriber::fmt()
        .json()
        .with_env_filter(filter)
        .with_writer(std::io::stderr)
        .try_init()
}
