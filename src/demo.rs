//! The demonstration: an invented study with an invented crowd whose truth is known.
//!
//! Everything here is made up, seeded, and says so. It is sent through the same service as real
//! contributions. The generator's settings stand in `fixtures/demo/settings.json`, the study in
//! `fixtures/demo/study.json`.

pub mod crowd;
mod stage;
mod truth;

pub use stage::{Stage, StageError};
pub use truth::{Verdict, verdicts};

/// The demo's study, as a host would write it.
pub const STUDY: &str = include_str!("../fixtures/demo/study.json");
