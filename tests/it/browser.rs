//! Contributors' and the host's ways through the real pages, in a real browser.
//!
//! Headless Chromium is driven over the W3C standard `WebDriver`, on a phone and on a desktop, with
//! scripts and without. Pictures of the pages are in `target/screenshots`. `tests/run` installs
//! what this needs; without it these tests fail and say so.

#![expect(
    clippy::float_cmp,
    clippy::indexing_slicing,
    clippy::panic,
    clippy::print_stderr,
    clippy::unwrap_used,
    reason = "a test stops at what it did not expect"
)]

mod audit;
mod desk;
mod driver;
mod files;
mod hands;
mod hostile;
mod plays;
mod publishing;
mod reading;
mod second_look;
mod secrecy;
mod session;
mod slots;
mod soundness;
mod stage;
mod way;
mod writing;
