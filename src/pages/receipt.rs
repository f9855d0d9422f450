//! What a receipt opens: seeing, mending and withdrawing what was sent.

use super::Station;
use crate::numbers::counted;
use crate::protocol::{Study, limits};
use askama::Template;

/// What the page of a receipt shows.
#[derive(Debug)]
pub struct ReceiptView<'a> {
    /// The study.
    pub study: &'a Study,
    /// The receipt that was opened; `None` where one is asked for.
    pub receipt: Option<&'a str>,
    /// What went wrong, in one sentence.
    pub trouble: Option<&'a str>,
    /// What was sent with it.
    pub pairs: &'a [SentPair],
    /// The contribution that is to be corrected with a file.
    pub by_file: Option<&'a str>,
}

/// One contribution of the receipt's holder.
#[derive(Clone, Debug)]
pub struct SentPair {
    /// Counted from 1 in the order they came.
    pub number: usize,
    /// Its identifier.
    pub contribution: String,
    /// What it is about: "46 against 52 lb"; `None` once it was erased.
    pub what: Option<String>,
    /// The day it came, as `YYYY-MM-DD`.
    pub sent: String,
    /// Whether and when it counts.
    pub standing: String,
    /// When and why it was mended.
    pub corrections: Vec<Corrected>,
    /// What was agreed to, when that changed and when it ended, a sentence each.
    pub consents: Vec<String>,
    /// How many of its rows are in the download.
    pub n_rows: usize,
    /// Whether what was sent is still there.
    pub readable: bool,
    /// Whether it may be mended or withdrawn.
    pub mendable: bool,
}

/// One correction of a contribution.
#[derive(Clone, Debug)]
pub struct Corrected {
    /// The day it came, as `YYYY-MM-DD`.
    pub date: String,
    /// Why.
    pub reason: &'static str,
}

#[derive(Template)]
#[template(path = "receipt.html", config = "src/pages/askama.toml")]
struct Page<'a> {
    study: &'a Study,
    here: Station,
    invented: bool,
    receipt: Option<&'a str>,
    trouble: Option<&'a str>,
    pairs: &'a [SentPair],
    by_file: Option<&'a str>,
    n_pairs: String,
}

/// The page of a receipt.
///
/// # Errors
/// When the template cannot be filled.
pub fn receipt(view: &ReceiptView<'_>) -> Result<String, askama::Error> {
    let n_pairs = u64::try_from(view.pairs.len()).unwrap_or(u64::MAX);
    Page {
        study: view.study,
        here: Station::Receipt,
        invented: view.study.label.invented,
        receipt: view.receipt,
        trouble: view.trouble,
        pairs: view.pairs,
        by_file: view.by_file,
        n_pairs: counted(n_pairs, "pair", "pairs"),
    }
    .render()
}

#[derive(Template)]
#[template(path = "withdraw.html", config = "src/pages/askama.toml")]
struct Withdrawing<'a> {
    study: &'a Study,
    here: Station,
    invented: bool,
    receipt: &'a str,
    pair: &'a SentPair,
    days: i64,
}

/// The page that asks whether a pair shall be withdrawn, and says what that can do.
///
/// # Errors
/// When the template cannot be filled.
pub fn withdraw(study: &Study, receipt: &str, pair: &SentPair) -> Result<String, askama::Error> {
    Withdrawing {
        study,
        here: Station::Receipt,
        invented: study.label.invented,
        receipt,
        pair,
        days: limits::WITHDRAWAL_DAYS,
    }
    .render()
}
