//! What publishing for good takes.

use super::{AsJson, Data};
use crate::release::{NotPublic, PublicUrl};
use clap::{Args, Subcommand};
use std::path::PathBuf;

#[derive(Debug, Subcommand)]
pub(in crate::cli) enum Release {
    /// Publish what is public now under a number, for good
    Make(MakeRelease),
    /// Check the file of a release: hash, schema, canonical form, every figure and word
    #[command(
        after_help = "Example:\n  tautpool release verify STUDY-release-1.json --sha256 HEX\n\nEnds with 0 when everything holds and with 1 when something does not."
    )]
    Verify {
        /// The release; - is standard input
        #[arg(value_name = "FILE")]
        file: PathBuf,
        /// The SHA-256 that the file has to have; left out, the one in FILE.sha256 where there is such a file
        #[arg(long, env = "TAUTPOOL_SHA256", value_name = "HEX", value_parser = sha256)]
        sha256: Option<String>,
        #[command(flatten)]
        json: AsJson,
    },
}

#[derive(Debug, Args)]
#[command(
    after_help = "Examples:\n  tautpool release make STUDY --data DIR --public-url https://pool.example\n  tautpool release make STUDY --data DIR --public-url https://pool.example --correction \"The gap of one pair was typed wrong\""
)]
pub(in crate::cli) struct MakeRelease {
    /// Short name of the study
    #[arg(value_name = "STUDY")]
    pub(in crate::cli) study: String,
    #[command(flatten)]
    pub(in crate::cli) data: Data,
    #[arg(long, env = "TAUTPOOL_PUBLIC_URL", value_name = "URL", value_parser = public_url, help = PUBLIC_URL)]
    pub(in crate::cli) public_url: Option<PublicUrl>,
    /// This release corrects the last one: what was wrong with that
    #[arg(long, env = "TAUTPOOL_CORRECTION", value_name = "REASON")]
    pub(in crate::cli) correction: Option<String>,
    /// What there is to say of this release
    #[arg(long, env = "TAUTPOOL_NOTE", value_name = "TEXT")]
    pub(in crate::cli) note: Option<String>,
    #[command(flatten)]
    pub(in crate::cli) json: AsJson,
}

/// What `--public-url` is for.
pub(super) const PUBLIC_URL: &str = "Scheme and host under which readers reach the service, such as https://pool.example; releases carry it";

pub(super) fn public_url(text: &str) -> Result<PublicUrl, NotPublic> {
    PublicUrl::parse(text)
}

/// A SHA-256 in hexadecimal, small letters or capitals.
pub(in crate::cli) fn sha256(text: &str) -> Result<String, &'static str> {
    let text = text.trim().to_ascii_lowercase();
    let is_hash = text.len() == 64 && text.bytes().all(|byte| byte.is_ascii_hexdigit());
    is_hash
        .then_some(text)
        .ok_or("write the 64 hexadecimal digits that stand beside the release")
}
