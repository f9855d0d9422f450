//! Figures that stand in another contribution too.
//!
//! Every figure of a line is a [`Mark`]: a text that is the same wherever the figure is. The shell
//! keeps a keyed hash of each and finds out which other contributions have some of them
//! ([`Likeness`]). Each mark knows how many bits the figure is worth, `-log2` of the chance that two
//! contributions share it: little for 50 shots hit, much for a fastest shot of 141.2 km/h. Bits of
//! independent figures add up. Sharing a figure with oneself is worth less than sharing it with a
//! stranger, because a player is more alike to themselves.
//!
//! Finds copies in which figures were left as they were, however many others were changed. Absent on
//! purpose: copies in which every figure was moved a little.

use super::alike::{FLAGGED_BELOW, HELD_BELOW};
use super::chance::as_telling;
use super::lines::{Line, Lines, number, reading};
use super::{Rule, ScreeningFlag};
use crate::contribution::Contribution;
use std::collections::BTreeMap;
use std::f64::consts::PI;

/// Other contributions among which a likeness is looked for: more than a study has, so that it
/// stays as unlikely as it is said to be (our bound).
const STRANGERS: f64 = 10_000.0;
/// The same of one player: as many pairs as one may send.
const OWN_PAIRS: f64 = 24.0;

/// Bits of a whole session that a stranger has word for word, from which on a contribution is held:
/// twice the 13 that it takes to single out one of ten thousand. Nothing is chosen then.
const HELD_WHOLE_OTHER: f64 = 26.0;
/// The same for a session that the player sent before.
const HELD_WHOLE_OWN: f64 = 18.0;

/// One figure, or all figures of a session or contribution, in a form that can be compared.
#[derive(Clone, Debug, PartialEq)]
pub struct Mark {
    /// The same wherever the figure is the same.
    pub text: String,
    /// Whether it stands for a whole session or contribution.
    whole: bool,
    /// Bits that it is worth when a stranger has it.
    other: f64,
    /// Bits that it is worth when the same player has it.
    own: f64,
}

/// Another contribution that has figures of this one.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Likeness {
    /// Whether the same player sent it.
    pub own: bool,
    /// Which marks it shares, as places in [`marks`].
    pub shared: Vec<usize>,
}

/// The marks of a contribution, each text once.
#[must_use]
pub fn marks(contribution: &Contribution) -> Vec<Mark> {
    let lines = Lines::of(contribution);
    let mut marks: BTreeMap<String, Mark> = BTreeMap::new();
    let mut sessions: Vec<Mark> = Vec::new();
    for session in &lines.sessions {
        let mut figures: Vec<Mark> = session
            .iter()
            .flat_map(|line| figures(line, &lines))
            .collect();
        figures.sort_by(|a, b| a.text.cmp(&b.text));
        sessions.push(together("session", &figures));
        marks.extend(figures.into_iter().map(|mark| (mark.text.clone(), mark)));
    }
    sessions.sort_by(|a, b| a.text.cmp(&b.text));
    let all = together("all", &sessions);
    let whole = sessions.into_iter().chain(std::iter::once(all));
    marks.extend(whole.map(|mark| (mark.text.clone(), mark)));
    marks.into_values().collect()
}

fn together(what: &str, parts: &[Mark]) -> Mark {
    let texts: Vec<&str> = parts.iter().map(|part| part.text.as_str()).collect();
    Mark {
        text: format!("{what}[{}]", texts.join(";")),
        whole: true,
        other: parts.iter().map(|part| part.other).sum(),
        own: parts.iter().map(|part| part.own).sum(),
    }
}

/// The figures of one line. What they scatter by is said where it is used; between strangers, by how
/// much players of about one level differ, since one figure that agrees makes the others likelier to
/// (our figures). A figure may be met in any session of the other, of which there are taken to be as
/// many as here.
fn figures(line: &Line, lines: &Lines) -> Vec<Mark> {
    let sessions = lines.of_class(line.class).map(|_| 1.0).sum::<f64>();
    let bits = |step: f64, sd: f64| bits(sessions * step, sd);
    let class = format!(
        "{} {}",
        line.class.stroke.code(),
        line.class.direction.code()
    );
    let mark = |text: String, other: f64, own: f64| Mark {
        text: format!("{class} {text}"),
        whole: false,
        other,
        own,
    };
    // Round numbers of shots are decided on beforehand.
    let hit = if line.hit % 5 == 0 { 2.0 } else { 4.0 };
    let mut figures = Vec::new();
    match line.landed_in {
        Some(tally) => {
            let (other, own) = share_bits(tally.x, tally.n, sessions);
            figures.push(mark(
                format!("in {} of {}", tally.x, tally.n),
                hit + other,
                own,
            ));
        }
        None => figures.push(mark(format!("hit {}", line.hit), hit, 0.0)),
    }
    if let Some(deep) = line.deep {
        let (other, own) = share_bits(deep.x, deep.n, sessions);
        figures.push(mark(format!("deep {} of {}", deep.x, deep.n), other, own));
    }
    let (Some(speeds), Some(entered)) = (line.speeds, line.entered.speed) else {
        return figures;
    };
    let (steps, spread) = (lines.steps, speeds.sd_or_small());
    // Players of one level differ by 4 km/h and more, one player's days by about 1.5 km/h.
    let of_days = (1.5_f64.powi(2) + spread.powi(2) / speeds.n).sqrt();
    figures.push(mark(
        format!("mean {}", reading(entered.mean)),
        bits(steps.mean, 4.0),
        bits(steps.mean, of_days),
    ));
    if let Some(sd) = entered.sd {
        // Spreads of players differ by 15 % and more, and one player's by what shots leave to chance.
        figures.push(mark(
            format!("sd {}", reading(sd)),
            bits(steps.sd, 0.15 * spread),
            bits(steps.sd, 0.75 * spread / (2.0 * speeds.n).sqrt()),
        ));
    }
    if let Some(max) = entered.max {
        figures.push(mark(
            format!("max {}", reading(max)),
            bits(steps.max, 5.0),
            bits(steps.max, 0.3 * spread),
        ));
    }
    figures
}

/// Bits of a count for strangers, whose shares differ by 3 points, and for one player, whose days
/// differ by 1.5 points.
fn share_bits(x: i64, n: i64, sessions: f64) -> (f64, f64) {
    if n <= 0 {
        return (0.0, 0.0);
    }
    let (x, n) = (number(x), number(n));
    let share = (x + 1.0) / (n + 2.0);
    let scatter = |days: f64| n * (days * days + share * (1.0 - share) / n).sqrt();
    (
        bits(sessions, scatter(0.03)),
        bits(sessions, scatter(0.015)),
    )
}

/// `-log2` of the chance that two normal figures with this standard deviation are the same when they
/// are written down in these steps: `step / (2 s sqrt(pi))`, at most one in two.
fn bits(step: f64, sd: f64) -> f64 {
    let chance = step / (2.0 * sd * PI.sqrt());
    if chance < 0.5 { -chance.log2() } else { 1.0 }
}

/// Whether a contribution that shares these marks may be found to repeat another one: a whole session,
/// or figures of enough bits that what happened could be as unlikely as a flag asks. What is as telling
/// as a set of marks is at least as likely as that set, `2^-bits`.
pub(super) fn may_repeat(marks: &[Mark], shared: &[usize]) -> bool {
    let shared = || shared.iter().filter_map(|place| marks.get(*place));
    let enough = |others: f64, bits: fn(&Mark) -> f64| {
        let least = (others / FLAGGED_BELOW).log2();
        // A rounding error must lose nobody.
        least * (1.0 - 1e-9) <= shared().map(bits).sum()
    };
    shared().any(|mark| mark.whole)
        || enough(STRANGERS, |mark| mark.other)
        || enough(OWN_PAIRS, |mark| mark.own)
}

/// A contribution that repeats another one.
pub(super) fn duplicate(marks: &[Mark], likeness: &[Likeness]) -> Vec<ScreeningFlag> {
    let n_figures = marks.iter().filter(|mark| !mark.whole).count();
    [true, false]
        .into_iter()
        .filter_map(|own| {
            let found = likeness.iter().filter(|likeness| likeness.own == own);
            let shared = found.map(|likeness| Shared::of(marks, likeness));
            let closest = shared.reduce(|a, b| {
                let is_closer = (a.holds(), b.chance) < (b.holds(), a.chance);
                if is_closer { b } else { a }
            })?;
            closest.flag(n_figures)
        })
        .collect()
}

/// What is shared with one other contribution.
#[derive(Clone, Copy, Debug)]
struct Shared {
    own: bool,
    n_figures: usize,
    /// How likely any other contribution shares as much.
    chance: f64,
    /// Bits of the longest stretch that is the same word for word.
    whole_bits: f64,
}

impl Shared {
    fn of(marks: &[Mark], likeness: &Likeness) -> Self {
        let bits = |mark: &Mark| if likeness.own { mark.own } else { mark.other };
        let mut events = Vec::new();
        let (mut n_figures, mut whole_bits) = (0, 0.0);
        for (place, mark) in marks.iter().enumerate() {
            let is_shared = likeness.shared.contains(&place);
            if !mark.whole {
                n_figures += usize::from(is_shared);
                events.push(((-bits(mark)).exp2(), is_shared));
            } else if is_shared && whole_bits < bits(mark) {
                whole_bits = bits(mark);
            }
        }
        let others = if likeness.own { OWN_PAIRS } else { STRANGERS };
        Self {
            own: likeness.own,
            n_figures,
            chance: others * as_telling(&events),
            whole_bits,
        }
    }

    fn holds(&self) -> bool {
        let whole = if self.own {
            HELD_WHOLE_OWN
        } else {
            HELD_WHOLE_OTHER
        };
        self.chance < HELD_BELOW || whole <= self.whole_bits
    }

    fn flag(&self, n_figures: usize) -> Option<ScreeningFlag> {
        let holds = self.holds();
        let (rule, sentence) = if self.own {
            (
                Rule::DuplicateOfOwn,
                "Many of these figures are the same as in a pair that you sent before. Is this a pair of its own?",
            )
        } else {
            (
                Rule::DuplicateOfAnother,
                "Many of these figures are the same as in a contribution that came before. Was it sent twice?",
            )
        };
        (holds || self.chance < FLAGGED_BELOW).then(|| {
            let figure = format!("{} of {n_figures} figures", self.n_figures);
            ScreeningFlag::new(rule, holds, Some(figure), sentence)
        })
    }
}
