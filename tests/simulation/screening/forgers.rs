//! Contributions as people make them up or spoil them, with known authorship.
//!
//! Every kind passes the door: what the schema or a rule of intake refuses never reaches
//! screening. The kinds were written from how people invent figures, before and without any
//! screening rule, so that a rate of catches says something about forgers and not about this
//! file. Two kinds are close to honest data on purpose: they show what no rule can find.
//!
//! Nobody here is real, and no figure was measured. Speeds, shares and habits are the project's
//! own choice; no source.

mod around;
mod careful;
mod hand;
mod lazy;
mod play;
mod sheet;
#[cfg(test)]
mod tests;

use super::super::draw::Draw;
use sheet::Sheet;

/// A way to make up or spoil a contribution.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum ForgeryKind {
    /// One session was played. The other is a copy of it under the other tension, with one number
    /// nudged in one line.
    CopiedSession,
    /// Nothing was measured. Shots, speeds and shares are typed in fives and tens.
    RoundNumbers,
    /// Nothing was measured. Figures are typed by gut feeling, with odd digits because those look
    /// measured, and every outcome moves the way that was hoped for.
    GutFeeling,
    /// The tighter session was played. The looser one is that session with the same percentage
    /// put on every line.
    SameImprovement,
    /// Speeds were measured, shots were counted, but nobody looked where they landed: the
    /// percentages are guesses and owe nothing to the number of shots.
    GutPercentages,
    /// A beginner who states a beginner's level and types the speeds of a professional.
    FantasySpeeds,
    /// A program that knows the schema and fills it with random values that pass the door.
    RandomBot,
    /// Honest means and counts from a device that shows nothing else. The standard deviations and
    /// fastest shots that the form asks for are invented.
    InventedSpread,
    /// Another player's document sent again, with changes to what surrounds the shots and at most
    /// one small figure. Needs that original.
    ResentCopy,
    /// Another player's document with every speed and count moved a little and the tensions
    /// shifted. Needs that original.
    ReworkedCopy,
    /// A spreadsheet of expected values: means, spreads and shares are right and hang together,
    /// but sessions lack the noise of single shots and are too much alike.
    NoShotNoise,
    /// Honest figures under the wrong unit of speed: mostly mph sent as km/h, for all lines or for
    /// the one stroke that another device timed; now and then the reverse.
    UnitMuddle,
    /// Honest data with a few percent, mostly five, put on one arm by somebody who knows how it
    /// should come out. Nearly undetectable in one contribution.
    Enthusiast,
    /// Somebody who simulates shot by shot, with the wished difference built in. One contribution
    /// of these cannot be told from an honest one.
    CarefulForger,
}

impl ForgeryKind {
    /// Every kind, the lazy ones first.
    pub(crate) const ALL: &[Self] = &[
        Self::CopiedSession,
        Self::RoundNumbers,
        Self::GutFeeling,
        Self::SameImprovement,
        Self::GutPercentages,
        Self::FantasySpeeds,
        Self::RandomBot,
        Self::InventedSpread,
        Self::ResentCopy,
        Self::ReworkedCopy,
        Self::NoShotNoise,
        Self::UnitMuddle,
        Self::Enthusiast,
        Self::CarefulForger,
    ];

    /// For a table.
    pub(crate) const fn name(self) -> &'static str {
        match self {
            Self::CopiedSession => "one session copied, one number nudged",
            Self::RoundNumbers => "round numbers everywhere",
            Self::GutFeeling => "figures by gut feeling",
            Self::SameImprovement => "the same percentage on every line",
            Self::GutPercentages => "guessed percentages",
            Self::FantasySpeeds => "a professional's speeds at a beginner's level",
            Self::RandomBot => "random values that pass the door",
            Self::InventedSpread => "invented spread and fastest shot",
            Self::ResentCopy => "another player's document, trivial changes",
            Self::ReworkedCopy => "another player's document, every figure moved",
            Self::NoShotNoise => "expected values without shot noise",
            Self::UnitMuddle => "the wrong unit of speed",
            Self::Enthusiast => "a few percent put on one arm",
            Self::CarefulForger => "simulated shot by shot",
        }
    }
}

/// A forged contribution as JSON; the same seed forges the same one.
#[cfg(test)]
pub(crate) fn forge(kind: ForgeryKind, seed: u64) -> String {
    forged_with_original(kind, seed).1
}

/// The contribution that has to be there first, for kinds that copy another player's, and the
/// forged one.
pub(crate) fn forged_with_original(kind: ForgeryKind, seed: u64) -> (Option<String>, String) {
    let draw = &mut Draw::new(seed, kind as u32, 0);
    let copied = |draw: &mut Draw, copy: fn(&Sheet, &mut Draw) -> Sheet| {
        let original = play::honest(draw);
        let forged = copy(&original, draw);
        (Some(original.to_json()), forged.to_json())
    };
    let forged = match kind {
        ForgeryKind::ResentCopy => return copied(draw, careful::resent_copy),
        ForgeryKind::ReworkedCopy => return copied(draw, careful::reworked_copy),
        ForgeryKind::CopiedSession => lazy::copied_session(draw),
        ForgeryKind::RoundNumbers => lazy::round_numbers(draw),
        ForgeryKind::GutFeeling => lazy::gut_feeling(draw),
        ForgeryKind::SameImprovement => lazy::same_improvement(draw),
        ForgeryKind::GutPercentages => lazy::gut_percentages(draw),
        ForgeryKind::FantasySpeeds => lazy::fantasy_speeds(draw),
        ForgeryKind::RandomBot => lazy::random_bot(draw),
        ForgeryKind::InventedSpread => careful::invented_spread(draw),
        ForgeryKind::NoShotNoise => careful::no_shot_noise(draw),
        ForgeryKind::UnitMuddle => careful::unit_muddle(draw),
        ForgeryKind::Enthusiast => careful::enthusiast(draw),
        ForgeryKind::CarefulForger => careful::careful_forger(draw),
    };
    (None, forged.to_json())
}
