//! Log lines on standard error.

use super::{Failure, LogFormat};
use std::io::{self, IsTerminal};
use tracing_subscriber::EnvFilter;

/// Starts logging with a filter.
pub(super) fn start(filter: &str, format: LogFormat) -> Result<(), Failure> {
    let filter = EnvFilter::try_new(filter).map_err(|error| format!("--log {filter}: {error}"))?;
    let log = tracing_subscriber::fmt()
        .with_env_filter(filter)
        .with_writer(io::stderr);
    match format {
        LogFormat::Json => log.json().try_init(),
        LogFormat::Text => log.with_ansi(is_coloured()).try_init(),
    }
}

/// Colours are for a person at a terminal who has not said otherwise (`NO_COLOR`).
fn is_coloured() -> bool {
    let is_forbidden = std::env::var_os("NO_COLOR").is_some_and(|value| !value.is_empty());
    io::stderr().is_terminal() && !is_forbidden
}
