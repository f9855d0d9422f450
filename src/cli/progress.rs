//! That long work goes on, for a person who waits at a terminal. Nothing is written when standard
//! error is anything else, so that no file and no other program ever gets it.

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use std::io::{self, IsTerminal};
use std::time::Duration;

/// How often the sign turns.
const EVERY: Duration = Duration::from_millis(100);

/// A line that says what is being done, as long as this lives. It has no colour.
pub(super) struct Doing(ProgressBar);

impl Doing {
    pub(super) fn now(what: &'static str) -> Self {
        if !io::stderr().is_terminal() {
            return Self(ProgressBar::hidden());
        }
        let bar = ProgressBar::with_draw_target(None, ProgressDrawTarget::stderr());
        if let Ok(style) = ProgressStyle::with_template("{spinner} {msg} ({elapsed})") {
            bar.set_style(style);
        }
        bar.set_message(what);
        bar.enable_steady_tick(EVERY);
        Self(bar)
    }
}

impl Drop for Doing {
    fn drop(&mut self) {
        self.0.finish_and_clear();
    }
}
