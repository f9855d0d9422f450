//! A seeded, invented crowd with known truth, for the demo and for tests.
//!
//! Nothing here is a measurement. Each player gets a level, own true effects and a measuring
//! device; plays sessions whose shots are simulated one by one (`shots`); and sends what the
//! device makes of them, with its rounding, its gaps and its units. Since the truth is known, the
//! pooled figures can be held against it.
//!
//! The model, for player i at gap g, looser minus tighter:
//! `effect_i = per_lb * g + own_i`, `own_i` with mean 0 and one standard deviation at every gap.
//! Half of it is added in looser sessions and half taken away in tighter ones, shares directly in
//! percentage points, so that the mean true effect is [`truth`] exactly. Sessions differ further
//! by the day, the partner's pace and their place in time, all unrelated to tension; the first arm
//! is drawn by a fair coin.
//!
//! Pure and deterministic: the same settings give the same bytes, whoever asks. No document names
//! a plan; a caller who wants planned contributions adds `plan_code`.

mod document;
mod draw;
mod line;
mod pair;
mod person;
mod settings;
mod shots;
mod slips;
#[cfg(test)]
mod tests;

pub use settings::Settings;

use crate::units::{Hundredths, TensionUnit};
use crate::vocabulary::{Arm, Outcome};
use draw::Draw;
use pair::BrokenOff;
use person::Person;
use serde_json::Value;
use settings::GapPlayers;
use slips::{Forgery, Slip};

/// Draws for the crowd as a whole come from a stream that no player has.
const CROWD_STREAM: u64 = u64::MAX;

/// One contribution as it is sent.
#[derive(Clone, Debug, PartialEq)]
pub struct Sent {
    /// JSON text of a contribution.
    pub document: String,
    /// Who sends it. The same number again is the same person with a further pair.
    pub player: usize,
    /// In what spirit.
    pub kind: Kind,
    /// Tighter minus looser reference tension as it truly was, in pounds; in a forgery as claimed.
    pub gap_lb: f64,
}

/// The spirit in which a contribution is sent.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// As played; intake accepts it.
    Honest,
    /// In good faith but not sound: broken off after a few shots of one arm, which intake accepts
    /// and effects leave out, or with a slip, which intake refuses.
    Unfinished,
    /// Made up or tampered with; intake accepts it.
    Forgery,
}

/// Mean true effect over players at a gap, looser minus tighter, in the outcome's unit, for
/// forehands in all directions.
#[must_use]
pub fn truth(settings: &Settings, outcome: Outcome, gap_lb: f64) -> f64 {
    settings.truth.of(outcome).per_lb * gap_lb
}

/// The whole crowd in sending order; a player's later pairs come after the first.
#[must_use]
pub fn crowd(settings: &Settings) -> Vec<Sent> {
    let mut keyed: Vec<(f64, Sent)> = Vec::new();
    let mut draw = Draw::new(settings.seed, CROWD_STREAM);
    for (player, gap) in first_gaps(settings).enumerate() {
        let mut key = draw.unit();
        for sent in every_pair(settings, player, gap) {
            keyed.push((key, sent));
            key = draw.between(key, 1.0);
        }
    }
    // A copy is sent after its original, which is the very first contribution.
    let original = keyed
        .iter()
        .min_by(|a, b| a.0.total_cmp(&b.0))
        .map(|(key, sent)| (*key, sent.clone()));
    let earliest = original.as_ref().map_or(0.0, |(key, _)| *key);
    let original = original.map(|(_, sent)| sent);
    for (place, player) in others(settings).enumerate() {
        let key = draw.between(earliest, 1.0);
        keyed.push((key, unsound(settings, place, player, original.as_ref())));
    }
    keyed.sort_by(|a, b| a.0.total_cmp(&b.0));
    keyed.into_iter().map(|(_, sent)| sent).collect()
}

/// `count` further honest contributions of as many new players, none of whom is in [`crowd`].
///
/// Player `from + i` of these newcomers is the same whatever `from` and `count` are, so that a
/// caller who goes on where the last call ended gets new players only.
#[must_use]
pub fn more(settings: &Settings, from: usize, count: usize) -> Vec<Sent> {
    let first = n_honest(settings) + others(settings).count();
    (from..from + count)
        .map(|newcomer| {
            let player = first + newcomer;
            let mut draw = stream_of(settings, player);
            let gap = any_gap(settings, &mut draw);
            let person = Person::new(settings, &mut draw);
            let document = pair::play(settings, &person, gap, None, &mut draw);
            sent(document, player, Kind::Honest, gap)
        })
        .collect()
}

/// Every pair of one honest player.
fn every_pair(settings: &Settings, player: usize, first: GapPlayers) -> Vec<Sent> {
    let mut draw = stream_of(settings, player);
    let person = Person::new(settings, &mut draw);
    let mut gap = first;
    (0..=person.n_further_pairs)
        .map(|pair| {
            if 0 < pair && !draw.chance(settings.habits.same_gap_again) {
                gap = any_gap(settings, &mut draw);
            }
            let document = pair::play(settings, &person, gap, None, &mut draw);
            sent(document, player, Kind::Honest, gap)
        })
        .collect()
}

/// The contribution of one player who is not among the honest.
fn unsound(settings: &Settings, place: usize, player: usize, original: Option<&Sent>) -> Sent {
    let mut draw = stream_of(settings, player);
    let mut person = Person::new(settings, &mut draw);
    person.four_sessions = false;
    let gap = pounds_gap(settings, &mut draw);
    let others = &settings.others;
    if let Some(slip_place) = place.checked_sub(others.unfinished) {
        let mut document = pair::play(settings, &person, gap, None, &mut draw);
        let Some(forgery_place) = slip_place.checked_sub(others.slips) else {
            if let Some(slip) = in_turn(Slip::ALL, slip_place) {
                slip.into_document(&mut document);
            }
            return sent(document, player, Kind::Unfinished, gap);
        };
        let forgery = in_turn(Forgery::ALL, forgery_place);
        if let (Some(Forgery::Copy), Some(original)) = (forgery, original) {
            return Sent {
                player,
                kind: Kind::Forgery,
                ..original.clone()
            };
        }
        if let Some(forgery) = forgery {
            forgery.into_document(&mut document);
        }
        return sent(document, player, Kind::Forgery, gap);
    }
    let broken_off = BrokenOff {
        arm: if place.is_multiple_of(2) {
            Arm::Looser
        } else {
            Arm::Tighter
        },
        n_shots: draw.whole(8, 16),
    };
    let document = pair::play(settings, &person, gap, Some(broken_off), &mut draw);
    sent(document, player, Kind::Unfinished, gap)
}

fn sent(document: Value, player: usize, kind: Kind, gap: GapPlayers) -> Sent {
    Sent {
        document: document.to_string(),
        player,
        kind,
        gap_lb: gap.pounds(),
    }
}

fn stream_of(settings: &Settings, player: usize) -> Draw {
    Draw::new(settings.seed, player as u64)
}

fn in_turn<T: Copy>(all: &[T], place: usize) -> Option<T> {
    all.iter().cycle().nth(place).copied()
}

/// The gap of every honest player's first pair.
fn first_gaps(settings: &Settings) -> impl Iterator<Item = GapPlayers> + '_ {
    let gaps = settings.gaps.first_pairs.iter();
    gaps.flat_map(|gap| std::iter::repeat_n(*gap, gap.players))
}

fn n_honest(settings: &Settings) -> usize {
    first_gaps(settings).count()
}

/// The numbers of the players who are not among the honest.
fn others(settings: &Settings) -> std::ops::Range<usize> {
    let first = n_honest(settings);
    let others = &settings.others;
    first..first + others.unfinished + others.slips + others.forgeries
}

/// A gap as often as the settings have it.
fn any_gap(settings: &Settings, draw: &mut Draw) -> GapPlayers {
    let last = n_honest(settings).saturating_sub(1);
    pick(first_gaps(settings), last, draw)
}

/// A gap in pounds of at least 8 lb, so that slips with units show.
fn pounds_gap(settings: &Settings, draw: &mut Draw) -> GapPlayers {
    let wide = |gap: &GapPlayers| gap.unit == TensionUnit::Pound && 8 * 100 <= gap.gap.count();
    let last = first_gaps(settings).filter(wide).count().saturating_sub(1);
    pick(first_gaps(settings).filter(wide), last, draw)
}

fn pick(mut gaps: impl Iterator<Item = GapPlayers>, last: usize, draw: &mut Draw) -> GapPlayers {
    let place = draw.whole(0, last);
    // Settings without any such gap fall back to 10 lb, the middle of the demo's bands.
    gaps.nth(place).unwrap_or(GapPlayers {
        gap: Hundredths::from_count(1_000),
        unit: TensionUnit::Pound,
        players: 1,
    })
}
