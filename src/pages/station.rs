//! The places a contributor goes through. Pages of these show no results, so that nobody is steered
//! before playing.

use crate::vocabulary::word_list;

word_list! {
    /// One place on the contributor's way; its code is the last part of its address.
    Station {
        /// What to do and why.
        TakePart = "take-part",
        /// An order drawn by lot.
        Plan = "plan",
        /// Sending sessions.
        Send = "send",
        /// Seeing, mending and withdrawing what was sent.
        Receipt = "receipt",
    }
}

impl Station {
    /// Its name on pages.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::TakePart => "How to play",
            Self::Plan => "Draw an order",
            Self::Send => "Send sessions",
            Self::Receipt => "Your receipt",
        }
    }
}
