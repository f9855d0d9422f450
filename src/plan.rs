//! Orders of play drawn by lot before anyone hits.
//!
//! Permuted blocks (Matts & Lachin 1988, Controlled Clinical Trials 9:327-344; citation from
//! memory): plans are drawn in blocks, each of which holds as many of one order as of the other, so
//! that the two never drift apart. Blocks are of 2, 4 or 6, and which is itself drawn, which hides
//! where a block ends (random block sizes: common practice, no source). Every block is shuffled from
//! secret bytes of its own. Whoever knew every order drawn before could still guess the next one in
//! 70 of 100 draws and be sure of it in 4 (simulated), which is the price of balance.
//!
//! Absent on purpose: where the secret bytes come from, and which plans were drawn.

mod code;

pub use code::Code;

use crate::vocabulary::{Sequence, word_list};

word_list! {
    /// How many sessions a plan is for.
    Kind {
        /// One with each string bed: looser first or tighter first.
        TwoSessions = "two_sessions",
        /// Two with each string bed, in an order that balances warming up and tiring: ABBA or BAAB.
        FourSessions = "four_sessions",
    }
}

impl Kind {
    /// The two orders that are drawn from.
    #[must_use]
    pub const fn sequences(self) -> [Sequence; 2] {
        match self {
            Self::TwoSessions => [Sequence::LooserTighter, Sequence::TighterLooser],
            Self::FourSessions => [
                Sequence::LooserTighterTighterLooser,
                Sequence::TighterLooserLooserTighter,
            ],
        }
    }
}

/// A typed code as it is kept; what is no code of ours stays as it was typed.
#[must_use]
pub fn as_typed(text: &str) -> String {
    Code::parse(text).map_or_else(|| text.to_owned(), |code| code.canonical().to_owned())
}

/// What became of the plans of one order.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Flow {
    /// Drawn.
    pub drawn: usize,
    /// Of these, opened.
    pub opened: usize,
    /// Of the opened, those under which a contribution was sent, whatever became of it.
    pub sent: usize,
    /// Of the sent, those whose contribution was withdrawn.
    pub withdrawn: usize,
}

impl Flow {
    /// Opened and not sent.
    #[must_use]
    pub const fn unsent(self) -> usize {
        self.opened.saturating_sub(self.sent)
    }
}

impl std::ops::Add for Flow {
    type Output = Self;

    fn add(self, other: Self) -> Self {
        Self {
            drawn: self.drawn + other.drawn,
            opened: self.opened + other.opened,
            sent: self.sent + other.sent,
            withdrawn: self.withdrawn + other.withdrawn,
        }
    }
}

/// What a contribution has to do with the plan that it names.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Standing {
    /// It was sent under the plan, which had been opened: it counts as planned.
    Planned,
    /// No plan with this code was drawn in its study.
    NotFound,
    /// The plan was sealed when it came, so its order cannot have been followed.
    NotOpened,
    /// An earlier contribution used the plan.
    Used,
    /// A later version names another plan than the first one did, which changes nothing.
    NamedLater,
}

/// Sizes of a block, each as likely as the others.
const SIZES: [usize; 3] = [2, 4, 6];

/// Largest of [`SIZES`].
const LARGEST: usize = 6;

/// The order of the plan at a position, counted from 0 among all plans of its kind in its study.
///
/// `block_bytes` gives 32 secret bytes for the number of a block, counted from 0, always the same
/// for the same block. Blocks are walked from the first one, since the size of each is known only
/// from its bytes.
#[must_use]
pub fn sequence_at(kind: Kind, position: u64, block_bytes: impl Fn(u64) -> [u8; 32]) -> Sequence {
    let [first, second] = kind.sequences();
    let (mut block, mut before) = (0, 0);
    loop {
        let is_second = one_block(&block_bytes(block));
        let past = before + is_second.len() as u64;
        if position < past {
            let place = usize::try_from(position - before).unwrap_or(0);
            let is_second = is_second.get(place).copied().unwrap_or(false);
            return if is_second { second } else { first };
        }
        (block, before) = (block + 1, past);
    }
}

/// One block as its bytes have it: for each place, whether the second order stands there.
fn one_block(bytes: &[u8; 32]) -> Vec<bool> {
    let mut bytes = bytes.iter().copied();
    let size = SIZES.get(below(3, &mut bytes)).copied();
    let size = size.unwrap_or(LARGEST);
    let mut places: Vec<bool> = (0..size).map(|place| size / 2 <= place).collect();
    shuffle(&mut places, |n| below(n, &mut bytes));
    places
}

/// Shuffles so that every permutation is equally likely when every choice is: Fisher & Yates as by
/// Durstenfeld 1964 (Knuth, The Art of Computer Programming 2, 3.4.2, algorithm P; from memory).
/// `choose(n)` gives a number below `n`.
fn shuffle(places: &mut [bool], mut choose: impl FnMut(usize) -> usize) {
    for last in (1..places.len()).rev() {
        places.swap(last, choose(last + 1));
    }
}

/// A number below `n`, at most 6, from the next usable byte.
///
/// Bytes from the largest multiple of `n` on are passed over, so that each number has equally many
/// bytes to come from: a remainder alone would favour the small ones. A block needs at most 6 of its
/// 32 bytes and at most 4 of 256 are passed over, so that bytes run out with a probability under
/// 2^-160; the number is then 0.
fn below(n: usize, bytes: &mut impl Iterator<Item = u8>) -> usize {
    let usable = 256 / n * n;
    bytes
        .map(usize::from)
        .find(|byte| *byte < usable)
        .map_or(0, |byte| byte % n)
}

#[cfg(test)]
mod tests;
