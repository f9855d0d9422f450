//! The host's access: the credential, the tokens of sign-ins, one-time links, how often a sign-in
//! may be tried, and how many requests a client may make.
//!
//! Times are passed in, in milliseconds since the Unix epoch; randomness is the operating system's.
//! Nothing here is stored or sent, and no secret shows in a debug print.

mod attempts;
mod bucket;
mod credential;
mod link;
mod requests;
mod salt;
mod token;

pub use attempts::Attempts;
pub use credential::{Credential, CredentialHash, HashError};
pub use link::Links;
pub use requests::{Left, MOST_A_MINUTE, Quota, Requests};
pub use salt::Salt;
pub use token::{FormToken, Token};

/// How long a sign-in lasts without being used: twelve hours, a long day at the desk.
pub const IDLE_MS: i64 = 12 * 60 * 60 * 1000;

/// How long a sign-in lasts at most: seven days.
pub const LASTS_MS: i64 = 7 * 24 * 60 * 60 * 1000;

/// How long a one-time link can be opened: one hour.
pub const LINK_LASTS_MS: i64 = 60 * 60 * 1000;

/// Whether a sign-in still holds that was last used at `seen_at_ms` and ends at `ends_at_ms`.
#[must_use]
pub const fn holds(seen_at_ms: i64, ends_at_ms: i64, now_ms: i64) -> bool {
    now_ms < ends_at_ms && now_ms < seen_at_ms.saturating_add(IDLE_MS)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_sign_in_ends_when_it_lies_idle_and_at_the_latest_after_a_week() {
        let made = 1_000_000;
        let ends = made + LASTS_MS;
        assert!(holds(made, ends, made));
        assert!(holds(made, ends, made + IDLE_MS - 1));
        assert!(!holds(made, ends, made + IDLE_MS));
        let seen = ends - 1000;
        assert!(holds(seen, ends, ends - 1));
        assert!(!holds(seen, ends, ends));
        assert!(!holds(i64::MAX, ends, ends));
    }
}
