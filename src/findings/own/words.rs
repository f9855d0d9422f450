//! What a contributor is told of their own sessions, in plain words.
//!
//! Wording rules: number, unit and 95 % range in one sentence; a range that holds zero is "cannot
//! tell", never "no difference", unless the whole range is smaller than the host calls worthwhile;
//! a range without zero speaks of these sessions, not of the player's game. A best guess is worded
//! only where there is one. No praise, and no advice on what to string.

use super::{NoPool, OwnAnswer, OwnEffect, Place, Played, Reach};
use crate::effects::{Effect, LeftOut};
use crate::findings::Basis;
use crate::findings::labels::{band_label, class_label, outcome_label, unit_words};
use crate::findings::words::{Verdict, possible};
use crate::numbers;
use crate::pooling::gains::Shrunken;
use crate::pooling::{Interval, Reason};
use crate::protocol::{GapBand, GapBands};
use crate::units::TensionUnit;
use crate::vocabulary::{Arm, Outcome, ShotClass, VarianceSource};

/// What an outcome of a shot class is called: "Mean ball speed, forehand".
#[must_use]
pub fn label(outcome: Outcome, class: ShotClass) -> String {
    format!("{}, {}", outcome_label(outcome), class_label(class))
}

/// The gap, and whether it is part of the answer.
#[must_use]
pub fn gap_sentence(answer: &OwnAnswer, bands: &GapBands) -> String {
    let unit = bands.unit();
    let gap = match unit {
        TensionUnit::Pound => answer.gap.pounds(),
        TensionUnit::Kilogram => answer.gap.kilograms(),
    };
    let gap = format!("{} {}", numbers::short(gap), unit.code());
    match answer.band {
        GapBand::UnderProtocol => format!(
            "Your gap is {gap}. That is smaller than the protocol asks, so your sessions stand apart and are no part of the answer to the study’s question."
        ),
        band if bands.range(band) == (None, None) => {
            format!("Your gap is {gap}, which is in no band of this study.")
        }
        band => format!(
            "Your gap is {gap}. It is pooled with gaps of {}.",
            band_label(band, bands)
        ),
    }
}

/// What the own sessions say of one outcome, and of nothing else.
#[must_use]
pub fn own_sentence(own: &OwnEffect) -> String {
    let outcome = own.effect.outcome;
    let range = possible(own.interval, outcome);
    let more = more(outcome);
    let by = |estimate: f64, low: f64, high: f64, bed: &str| {
        let decimals = numbers::decimals_of_range(low, high);
        format!(
            "In your sessions {more} with the {bed} string bed, by {}\u{A0}{} (95\u{A0}% range {}).",
            numbers::fixed(estimate, decimals),
            unit_words(outcome),
            numbers::interval(low, high, decimals)
        )
    };
    let size = size(own.effect.estimate, range, outcome, "95\u{A0}% range ");
    match own.verdict() {
        Verdict::LooserMore => by(own.effect.estimate, range.low, range.high, "looser"),
        Verdict::LooserLess => by(-own.effect.estimate, -range.high, -range.low, "tighter"),
        Verdict::TooSmall => format!(
            "In your sessions the difference was too small to matter: looser minus tighter was {size}, all of it less than the host calls worthwhile."
        ),
        Verdict::CannotTell | Verdict::TooFew => format!(
            "Your sessions alone cannot tell with which string bed {more}: looser minus tighter was {size}."
        ),
    }
}

/// What is said where a primary outcome could not be worked out, or of any other left out.
#[must_use]
pub fn left_out_sentence(left: &LeftOut) -> String {
    format!(
        "{}: left out, because {}.",
        label(left.outcome, left.class),
        left.reason.sentence()
    )
}

/// On what a range rests besides figures that were sent; `None` when on nothing.
#[must_use]
pub const fn source_sentence(source: VarianceSource) -> Option<&'static str> {
    match source {
        VarianceSource::Reported | VarianceSource::Counts => None,
        VarianceSource::BorrowedCv => Some(
            "A standard deviation was missing, so this range rests on how much other players’ shots vary.",
        ),
        VarianceSource::AssumedCv => Some(
            "A standard deviation was missing, so this range rests on an assumed one: what others sent cannot be used for it now.",
        ),
        VarianceSource::Combined => Some(
            "A standard deviation was missing, so this range rests on your fastest shots and on how much other players’ shots vary.",
        ),
        VarianceSource::AdjustedCounts => Some(
            "In one session none of the shots counted, or all of them, so this range was made with one more of each kind.",
        ),
        VarianceSource::NearestCounts => Some(
            "No whole number of shots makes a percentage that you gave, so the nearest was taken.",
        ),
    }
}

/// What is in a difference besides the string bed, said once for all.
#[must_use]
pub const fn days_sentence(played: &Played) -> &'static str {
    if 2 <= played.sessions.0 && 2 <= played.sessions.1 {
        "This is about these sessions, not about your game. You played several sessions with each string bed, so part of what changes from one to the next has evened out. What is left of it is in the differences, and the ranges do not show it: they know only how shots scatter within a session."
    } else {
        "This is about these sessions, not about your game. With one session for a string bed, whatever else differed between two sessions, the day, the partner or how you felt, is in the differences and cannot be taken out. The ranges do not show it: they know only how shots scatter within a session."
    }
}

/// What everybody else’s sessions say at gaps like the own one, where something is published.
#[must_use]
pub fn pool_sentence(own: &OwnEffect) -> Option<String> {
    let pool = own.pool.as_ref().ok()?;
    let said = pool.said.clone()?;
    Some(match pool.basis {
        Basis::Planned => format!("{said} This rests on pairs played in a drawn order."),
        Basis::All => said,
    })
}

/// Where the own difference lies in the crowd; `None` without a range for another such player that
/// says more than that of the mean.
#[must_use]
pub fn place_sentence(own: &OwnEffect) -> Option<String> {
    let prediction = own.pool.as_ref().ok()?.shown.another()?;
    let outcome = own.effect.outcome;
    let range = possible(prediction, outcome);
    let range = format!(
        "{}\u{A0}{}",
        numbers::interval(
            range.low,
            range.high,
            numbers::decimals_of_range(range.low, range.high)
        ),
        unit_words(outcome)
    );
    Some(match own.place? {
        Place::Inside => {
            format!("Your difference lies inside the range for another such player, {range}.")
        }
        Place::WithinReach => format!(
            "Your difference lies outside the range for another such player, {range}, but its own range reaches inside, so chance may be all there is to it."
        ),
        Place::Outside => format!(
            "Your difference lies outside the range for another such player, {range}, and so does its whole range. That happens by chance too, and more so when one of your sessions was unusual."
        ),
    })
}

/// Why there is nothing to compare with, said once; `batch_players` is how many make a batch.
#[must_use]
pub fn no_pool_sentences(answer: &OwnAnswer, batch_players: usize) -> Vec<String> {
    let reasons = answer.found().filter_map(|own| {
        let reason = match own.pool.as_ref().err()? {
            NoPool::NoBatch => format!(
                "No figures over all players are public now, so there is nothing to compare with. They appear once {batch_players} players have sent, and are hidden for a while after withdrawals"
            ),
            NoPool::NoBand => "Nothing is published at a gap like yours".to_owned(),
            NoPool::TooFewPlayers => {
                "Too few players have sent sessions with a gap like yours, so there is nothing to compare with yet".to_owned()
            }
            NoPool::NotEstimable(_) => {
                "Too few independent players have sent sessions with a gap like yours for a pooled figure".to_owned()
            }
        };
        Some((reason, own))
    });
    once(answer, reasons)
}

/// The best guess at what lasts for this player; `None` where there is none.
#[must_use]
pub fn guess_sentence(own: &OwnEffect) -> Option<String> {
    let Shrunken {
        estimate, interval, ..
    } = own.best_guess.ok()?;
    let outcome = own.effect.outcome;
    let range = possible(interval, outcome);
    let open = if range.low <= 0.0 && 0.0 <= range.high {
        " That range holds zero, so it leaves open which string bed has more."
    } else {
        ""
    };
    Some(format!(
        "Your sessions alone say {}. Together with everybody else’s, our best guess for you is {}.{open}",
        figure(&own.effect, own.interval),
        size(estimate, range, outcome, "")
    ))
}

/// What a best guess cannot know; it stands with every one of them.
pub const GUESS_LIMITS: &str = "A best guess is looser minus tighter. It lies between your sessions and everybody else’s: the more one session differs from the next, the nearer it is to everybody’s. It takes you for one of the players who chose to take part, with a gap like yours. It cannot know what sets you apart from them, nor what was unusual about your sessions, and for a player who stands out it misses more often.";

/// Why there is no best guess, each reason once.
#[must_use]
pub fn no_guess_sentences(answer: &OwnAnswer) -> Vec<String> {
    let reasons = answer.found().filter_map(|own| {
        let reason = own.best_guess.err()?;
        let why = match (&own.pool, reason) {
            (Err(NoPool::NoBatch), _) => "no figures over all players are public now".to_owned(),
            (Err(_), _) => {
                "too few other players have sent sessions with a gap like yours".to_owned()
            }
            (Ok(_), Reason::NoReplicateVariance) => {
                "too few players have repeated sessions with one string bed, so what lasts cannot be told from good and bad days".to_owned()
            }
            (Ok(_), Reason::NoHeterogeneity) => {
                "differences between players could not be told from chance and from good and bad days".to_owned()
            }
            (Ok(_), Reason::FewerThanTenClusters) => {
                "fewer than ten players have sent sessions with a gap like yours".to_owned()
            }
            (Ok(_), other) => format!("it could not be worked out ({})", other.code()),
        };
        Some((format!("We give no best guess for you yet: {why}"), own))
    });
    once(answer, reasons)
}

/// How far the range of one outcome reaches, and how far it would.
#[must_use]
pub fn surer_sentence(own: &OwnEffect) -> String {
    let outcome = own.effect.outcome;
    let would = |reach: &Reach| {
        let decimals = numbers::decimals_for(reach.now);
        let show = |half_width: f64| numbers::fixed(half_width, decimals);
        let four = reach.four_sessions.map(|four| {
            format!(
                ", four sessions with as many shots in each about {}",
                show(four)
            )
        });
        format!(
            "{}\u{A0}{} to either side now; with twice the shots in each session it would be about {}{}",
            show(reach.now),
            unit_words(outcome),
            show(reach.twice_the_shots),
            four.unwrap_or_default()
        )
    };
    let shots = format!("The range reaches {}.", would(&own.surer.shots));
    own.surer.with_days.as_ref().map_or_else(
        || shots.clone(),
        |days| {
            format!(
                "{shots} With what changes from one session to the next, as players who repeated sessions show it, it reaches {}.",
                would(days)
            )
        },
    )
}

/// What would make every figure surer.
#[must_use]
pub fn advice(answer: &OwnAnswer) -> Vec<&'static str> {
    let played = &answer.played;
    let repeated = 2 <= played.sessions.0 && 2 <= played.sessions.1;
    let mut advice = vec!["Hit more shots in each session, as long as you stay fresh."];
    advice.push(match (repeated, played.balanced) {
        (true, Some(true)) => {
            "You played in an order that takes out steady tiring and warming up, as far as the sessions have about equally many shots. A further pair, on other days, lets good and bad days even out more."
        }
        _ => {
            "Play four sessions: looser, tighter, tighter, looser, or the other way round, with about equally many shots in each. That also takes out steady tiring and warming up, and lets good and bad days even out."
        }
    });
    if !played.planned {
        advice.push(
            "Draw the order before you play. This pair was not played to a plan drawn here, so habit or hope may have decided which string bed came first.",
        );
    }
    let mut speeds = answer.found();
    if speeds.any(|own| own.effect.source.is_imputed()) {
        advice.push(
            "Note the standard deviation of your speeds, if your device shows it. One was missing this time.",
        );
    }
    advice
}

/// The fastest shots, which are shown and never compared; `None` when none was given.
#[must_use]
pub fn fastest_sentence(answer: &OwnAnswer) -> Option<String> {
    let shots: Vec<String> = answer
        .played
        .fastest
        .iter()
        .map(|fastest| {
            let bed = match fastest.arm {
                Arm::Looser => "looser",
                Arm::Tighter => "tighter",
            };
            format!(
                "{}, {bed}, {}\u{A0}km/h",
                class_label(fastest.class),
                numbers::fixed(fastest.kmh, 0)
            )
        })
        .collect();
    (!shots.is_empty()).then(|| {
        format!(
            "Your fastest shots: {}. They are shown and never compared: the more shots one hits, the faster the fastest of them.",
            shots.join("; ")
        )
    })
}

/// A difference with its range, signed, and what the range is called: "+2.1 km/h (0.4 to 3.8)".
fn size(estimate: f64, range: Interval, outcome: Outcome, called: &str) -> String {
    let decimals = numbers::decimals_of_range(range.low, range.high);
    format!(
        "{}\u{A0}{} ({called}{})",
        numbers::signed(estimate, decimals),
        unit_words(outcome),
        numbers::interval(range.low, range.high, decimals)
    )
}

/// An own difference with its range: "+2.1 km/h (0.4 to 3.8)".
#[must_use]
pub fn figure(effect: &Effect, interval: Interval) -> String {
    size(
        effect.estimate,
        possible(interval, effect.outcome),
        effect.outcome,
        "",
    )
}

/// Each reason as one sentence, with the outcomes it holds for unless it holds for all.
fn once<'a>(
    answer: &'a OwnAnswer,
    reasons: impl Iterator<Item = (String, &'a OwnEffect)>,
) -> Vec<String> {
    let mut grouped: Vec<(String, Vec<String>)> = Vec::new();
    for (reason, own) in reasons {
        let name = label(own.effect.outcome, own.effect.class);
        match grouped.iter_mut().find(|(earlier, _)| *earlier == reason) {
            Some((_, names)) => names.push(name),
            None => grouped.push((reason, vec![name])),
        }
    }
    let n_found = answer.found().count();
    grouped
        .into_iter()
        .map(|(reason, names)| {
            if names.len() == n_found {
                format!("{reason}.")
            } else {
                format!("{reason} ({}).", names.join("; "))
            }
        })
        .collect()
}

/// What there is more of when an outcome is higher, in the past.
const fn more(outcome: Outcome) -> &'static str {
    match outcome {
        Outcome::Speed => "the ball was faster",
        Outcome::DeepShare => "a larger share of the balls that landed in was deep",
        Outcome::InShare => "a larger share of the balls landed in",
        Outcome::TopspinShare => "a larger share of the shots had topspin",
        Outcome::FlatShare => "a larger share of the shots was flat",
        Outcome::CrosscourtShare => "a larger share of the shots went cross-court",
        Outcome::LongRallyShare => "a larger share of the rallies was long",
        Outcome::PartnerSpeed => "the partner’s ball was faster",
    }
}

#[cfg(test)]
mod tests;
