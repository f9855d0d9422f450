//! What somebody would try who means harm, at the real program: through what it takes, and through
//! what others get to see of it.

#![expect(
    clippy::indexing_slicing,
    clippy::panic,
    clippy::unwrap_used,
    reason = "a test stops at what it did not expect"
)]

mod crawl;
mod doors;
mod forged;
mod headers;
pub(crate) mod injections;
mod lured;
mod markup;
mod notice;
pub(crate) mod outputs;
mod paths;
mod sessions;
mod smuggled;
pub(crate) mod stage;
mod timing;
