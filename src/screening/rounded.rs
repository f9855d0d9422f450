//! Figures that end in 0 or 5 more often than measured ones do.
//!
//! People who make figures up, or estimate them, prefer round ones (Mosimann, Wiseman & Edelman
//! 1995, Accountability in Research 4:31; from memory). One whole number in five is a multiple of
//! five. How many shots are hit is left out, since people decide on round numbers beforehand.

use super::alike::flag;
use super::chance::as_telling;
use super::lines::{Line, Lines};
use super::{Rule, ScreeningFlag};
use crate::contribution::{DeepShare, Share};
use crate::units::{Hundredths, Speed};

/// Chance that a measured whole number is a multiple of five.
const ONE_IN_FIVE: f64 = 0.2;

/// Percentages of at most so many shots are looked at one by one.
const MOST_COUNTED: i64 = 1_000;

/// Round figures in all lines.
pub(super) fn round_figures(lines: &Lines) -> Option<ScreeningFlag> {
    let figures: Vec<(f64, bool)> = lines.all().flat_map(of_line).collect();
    let n_round = figures.iter().filter(|(_, is_round)| *is_round).count();
    let found = flag(
        Rule::RoundFigures,
        as_telling(&figures),
        "Many figures are round. Were they measured and counted, or estimated?",
    )?;
    Some(ScreeningFlag {
        figure: Some(format!("{n_round} of {} figures", figures.len())),
        ..found
    })
}

/// Every figure of a line that could be round: how likely chance makes it so, and whether it is.
fn of_line(line: &Line) -> Vec<(f64, bool)> {
    let entered = &line.entered;
    let landed_in = entered
        .landed_in
        .and_then(|share| of_share(share, line.hit));
    let deep = entered.deep.and_then(|deep| match deep {
        DeepShare::OfIn(share) => of_share(share, line.landed_in?.x),
        DeepShare::PercentOfHit(percent) => of_share(Share::Percent(percent), line.hit),
    });
    let speeds = entered.speed.iter().flat_map(|speed| {
        let figures = [Some(speed.mean), speed.sd, speed.max];
        figures.into_iter().flatten().map(of_speed)
    });
    landed_in.into_iter().chain(deep).chain(speeds).collect()
}

fn of_speed(speed: Speed) -> (f64, bool) {
    (ONE_IN_FIVE, is_round(speed.as_entered().0))
}

/// `None` when every share of so many shots is round, or none can be.
fn of_share(share: Share, n: i64) -> Option<(f64, bool)> {
    match share {
        Share::Count(count) => Some((ONE_IN_FIVE, count % 5 == 0)).filter(|_| 5 <= n),
        Share::Percent(percent) => Some((percent_chance(n)?, is_round(percent))),
    }
}

/// The part of all counts of `n` shots whose percentage, to a whole percent, is a multiple of five:
/// of 20 shots, say, it is every one.
fn percent_chance(n: i64) -> Option<f64> {
    if !(1..=MOST_COUNTED).contains(&n) {
        return (MOST_COUNTED < n).then_some(ONE_IN_FIVE);
    }
    let round = |count: &i64| (200 * count + n).div_euclid(2 * n) % 5 == 0;
    let n_round = (0..=n).filter(round).count();
    let of = usize::try_from(n).ok()? + 1;
    #[expect(clippy::cast_precision_loss, reason = "at most a thousand")]
    let chance = n_round as f64 / of as f64;
    (chance < 0.5).then_some(chance)
}

const fn is_round(entered: Hundredths) -> bool {
    entered.count() % 500 == 0
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_percentage_of_few_shots_may_be_round_by_itself() {
        assert_eq!(percent_chance(20), None);
        // Of 100 shots, 0, 5, ..., 100: 21 of 101.
        assert_eq!(percent_chance(100), Some(21.0 / 101.0));
        assert_eq!(percent_chance(0), None);
        assert_eq!(percent_chance(5_000), Some(ONE_IN_FIVE));
    }
}
