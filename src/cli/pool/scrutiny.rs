//! What puts an analysis to the test, for a person's eyes.

use super::{digits, range};
use crate::findings::gains::GainOf;
use crate::findings::scrutiny::{FURTHER_PLAYERS, Scrutiny};
use crate::findings::sensitivity::Line;
use crate::numbers;
use crate::pooling::Estimable;
use std::io::{self, Write};

pub(super) fn describe(out: &mut impl Write, scrutiny: &Scrutiny) -> io::Result<()> {
    if let Some(certainty) = &scrutiny.certainty {
        writeln!(out, "  certainty     {}", certainty.level.code())?;
    }
    for caveat in &scrutiny.caveats {
        writeln!(out, "  caveat        {}", caveat.sentence())?;
    }
    for line in &scrutiny.sensitivity {
        describe_line(out, line)?;
    }
    let influence = &scrutiny.influence;
    or_reason(out, "leaving one out", influence.range, range)?;
    let small_studies = scrutiny.small_studies.random_effects.as_ref();
    let p = small_studies
        .map_err(|reason| *reason)
        .and_then(|found| found.slope.knapp_hartung.p);
    or_reason(out, "small sessions differ", p, numbers::p_value)?;
    for gain in &scrutiny.gains {
        let of = match gain.of {
            GainOf::Players => "players",
            GainOf::PairsOfSessions => "pairs of sessions",
        };
        let name = format!("{of} above {}", gain.threshold);
        or_reason(out, &name, gain.share, |share| {
            format!(
                "{} ({} to {})",
                numbers::percent(share.estimate, 0),
                numbers::percent(share.interval.low, 0),
                numbers::percent(share.interval.high, 0)
            )
        })?;
    }
    let tipping = scrutiny.tipping.and_then(|found| found.held);
    let name = "unsent pairs without effect that would reach zero, one pair of each player";
    or_reason(out, name, tipping, |point| point.n_unsent.to_string())?;
    for n_further in FURTHER_PLAYERS.into_iter().skip(1) {
        let precision = scrutiny
            .outlook
            .and_then(|outlook| outlook.precision(n_further));
        let name = format!("half-width with {n_further} more players, one pair of each");
        or_reason(out, &name, precision, |precision| {
            digits(precision.half_width_safe)
        })?;
    }
    Ok(())
}

fn describe_line(out: &mut impl Write, line: &Line) -> io::Result<()> {
    or_reason(out, line.kind.code(), line.result, |brief| {
        format!("{} ({})", digits(brief.estimate), range(brief.interval))
    })
}

/// A figure on a line of its own, or why there is none.
fn or_reason<T>(
    out: &mut impl Write,
    name: &str,
    figure: Estimable<T>,
    words: impl FnOnce(T) -> String,
) -> io::Result<()> {
    match figure {
        Ok(figure) => writeln!(out, "    {name}: {}", words(figure)),
        Err(reason) => writeln!(out, "    {name}: not estimable: {reason}"),
    }
}
