//! Pooled figures as a table: the gap first, then the estimate, then how sure, then how alike.
//!
//! On a narrow screen each row is a list and each cell names itself, so a cell carries its label.

use super::{range_words, to_u64, withheld_words};
use crate::disclosure::Everybody;
use crate::findings::gains::{Gain, GainOf};
use crate::findings::labels::{Wording, band_label, class_label, outcome_label};
use crate::findings::sensitivity::Sensitivity;
use crate::findings::{Analysis, Finding};
use crate::numbers;
use crate::pooling::{Interval, Reason};
use crate::protocol::GapBand;
use crate::vocabulary::Outcome;

/// A table of pooled figures.
pub(in crate::pages) struct Table {
    /// Heads of the columns behind the first.
    pub(in crate::pages) columns: Vec<String>,
    /// The rows.
    pub(in crate::pages) lines: Vec<Line>,
}

/// One analysis as a row of a table.
pub(in crate::pages) struct Line {
    /// What the row is about.
    pub(in crate::pages) label: String,
    /// Whether its gaps are smaller than the protocol asks.
    pub(in crate::pages) apart: bool,
    /// Why there are no figures.
    pub(in crate::pages) withheld: Option<String>,
    /// The figures, each with the head of its column.
    pub(in crate::pages) cells: Vec<Cell>,
}

/// A figure with the head of its column.
type Cell = (String, String);

const ESTIMATE: &str = "Estimate (95\u{A0}% range)";
const EVERYBODY: &str = "Everybody";
pub(super) const ANOTHER: &str = "Another such player";

/// Stands where the range for another such player says no more than that of the mean.
pub(super) const NO_WIDER: &str = "no wider than the range of the mean";
const SAME_PACE: &str = "Same partner pace";
const ADJUSTED: &str = "Adjusted p";

/// The main figures of one outcome, a row for each band; the caption has the unit.
pub(super) fn main(analyses: &[&Analysis], everybody: &[Everybody], wording: Wording<'_>) -> Table {
    table(analyses, everybody, wording, |analysis, everybody| {
        line(
            band_label(analysis.key.band, wording),
            analysis,
            |finding| {
                let mut cells = estimate(finding, analysis.key.outcome, everybody, "", wording);
                cells.extend(partner_pace(analysis, wording));
                cells
            },
        )
    })
}

/// How far pairs of one outcome disagree, a row for each band; the caption has the unit.
pub(super) fn disagreement(analyses: &[&Analysis], wording: Wording<'_>) -> Table {
    table(analyses, &[], wording, |analysis, _| {
        line(
            band_label(analysis.key.band, wording),
            analysis,
            |finding| heterogeneity(finding, analysis.key.outcome, wording),
        )
    })
}

/// How many gain, a row for each band.
pub(super) fn gaining(analyses: &[&Analysis], wording: Wording<'_>) -> Table {
    table(analyses, &[], wording, |analysis, _| {
        line(band_label(analysis.key.band, wording), analysis, |_| {
            gains(analysis, wording)
        })
    })
}

/// The main figures of analyses of different shots, each with its unit.
pub(super) fn mixed(
    analyses: &[&Analysis],
    everybody: &[Everybody],
    wording: Wording<'_>,
) -> Table {
    table(analyses, everybody, wording, |analysis, everybody| {
        let key = &analysis.key;
        let label = format!(
            "{}, {}: {}",
            outcome_label(key.outcome),
            class_label(key.class),
            band_label(key.band, wording)
        );
        let unit = format!("\u{A0}{}", wording.unit(key.outcome));
        line(label, analysis, |finding| {
            let mut cells = estimate(finding, key.outcome, everybody, &unit, wording);
            let adjusted = analysis
                .adjusted_p
                .map(|adjusted| unbroken(&numbers::p_value(adjusted.p)));
            cells.extend(owned(vec![(ADJUSTED, or_missing(adjusted))]));
            cells
        })
    })
}

/// The column of figures over everybody is there when any analysis has one.
fn table(
    analyses: &[&Analysis],
    everybody: &[Everybody],
    wording: Wording<'_>,
    line: impl Fn(&Analysis, Option<String>) -> Line,
) -> Table {
    let own = |analysis: &Analysis| everybody.iter().find(|figure| figure.key == analysis.key);
    let any = analyses.iter().any(|analysis| own(analysis).is_some());
    let lines: Vec<Line> = analyses
        .iter()
        .map(|analysis| {
            let words = any.then(|| {
                own(analysis).map_or_else(|| "\u{2013}".to_owned(), |figure| words(figure, wording))
            });
            line(analysis, words)
        })
        .collect();
    let longest = lines.iter().max_by_key(|line| line.cells.len());
    Table {
        columns: longest
            .map(|line| {
                line.cells
                    .iter()
                    .map(|(column, _)| column.clone())
                    .collect()
            })
            .unwrap_or_default(),
        lines,
    }
}

fn line(label: String, analysis: &Analysis, cells: impl FnOnce(&Finding) -> Vec<Cell>) -> Line {
    Line {
        label,
        apart: analysis.key.band == GapBand::UnderProtocol,
        withheld: analysis
            .result
            .as_ref()
            .err()
            .map(|withheld| withheld_words(withheld.minimum_players)),
        cells: analysis.result.as_ref().map(cells).unwrap_or_default(),
    }
}

/// Figures over everybody in words, with one decimal as they are published.
fn words(figure: &Everybody, wording: Wording<'_>) -> String {
    let outcome = figure.key.outcome;
    let range = wording.range(outcome, figure.interval);
    format!(
        "{} ({}), at least {} players",
        numbers::signed(wording.value(outcome, figure.estimate), 1),
        unbroken(&numbers::interval(range.low, range.high, 1)),
        figure.players_at_least
    )
}

/// An estimate with its range, both from the unit they are computed in.
pub(super) fn signed_with_range(
    estimate: f64,
    range: Interval,
    outcome: Outcome,
    wording: Wording<'_>,
) -> String {
    let range = wording.range(outcome, range);
    let decimals = numbers::decimals_of_range(range.low, range.high);
    format!(
        "{} ({})",
        numbers::signed(wording.value(outcome, estimate), decimals),
        unbroken(&numbers::interval(range.low, range.high, decimals))
    )
}

/// Words that stay on one line, as a range in a narrow cell has to.
pub(super) fn unbroken(words: &str) -> String {
    words.replace(' ', "\u{A0}")
}

/// The estimate and how sure it is; `unit` stands right behind a number.
fn estimate(
    finding: &Finding,
    outcome: Outcome,
    everybody: Option<String>,
    unit: &str,
    wording: Wording<'_>,
) -> Vec<Cell> {
    let shown = finding.shown.ok();
    let estimate = shown.map(|shown| {
        let words = signed_with_range(shown.estimate, shown.interval, outcome, wording);
        format!("{words}{unit}")
    });
    let another = shown.map_or_else(
        || numbers::NOT_ESTIMABLE.to_owned(),
        |shown| match (shown.another(), shown.prediction) {
            (Some(range), _) => {
                let words = range_words(wording.range(outcome, range));
                format!("{}{unit}", unbroken(&words))
            }
            (None, Ok(_)) => no_wider(finding).to_owned(),
            (None, Err(_)) => numbers::NOT_ESTIMABLE.to_owned(),
        },
    );
    let mut cells = vec![
        (ESTIMATE, or_missing(estimate)),
        ("Pairs", numbers::count(to_u64(finding.pooled.k))),
        ("Players", numbers::count(to_u64(finding.pooled.n_clusters))),
        (ANOTHER, another),
    ];
    cells.extend(everybody.map(|words| (EVERYBODY, words)));
    owned(cells)
}

/// Why no range for another such player is shown: chance is enough for the scatter of pairs, or the
/// mean itself is so unsure, as where a few players have most of the pairs.
fn no_wider(finding: &Finding) -> &'static str {
    let found = finding.pooled.heterogeneity.as_ref();
    let spread = found.ok().and_then(|found| found.tau_squared.ok());
    if spread.is_some_and(|spread| 0.0 < spread.low) {
        NO_WIDER
    } else {
        "differences between players could not be told from chance"
    }
}

/// The standard error and how far pairs disagree.
fn heterogeneity(finding: &Finding, outcome: Outcome, wording: Wording<'_>) -> Vec<Cell> {
    let model = finding.pooled.reml.as_ref().ok();
    let found = finding.pooled.heterogeneity.as_ref().ok();
    let error = model.map(|model| numbers::fixed(wording.value(outcome, model.se), 2));
    let q = found.map(|found| {
        format!(
            "{} (df {}), {}",
            numbers::fixed(found.q, 1),
            numbers::fixed(found.df, 0),
            unbroken(&numbers::p_value(found.p))
        )
    });
    let i_squared = found.map(|found| numbers::percent(found.i_squared, 0));
    let h_squared = found.map(|found| numbers::fixed(found.h_squared, 1));
    let tau = model.zip(found).map(|(model, found)| {
        let tau = wording.value(outcome, model.tau_squared.sqrt());
        let range = found.tau_squared.map(roots).ok();
        let range = range.map(|range| wording.range(outcome, range));
        let decimals = range.map_or(1, |range| {
            numbers::decimals_for((range.high - range.low) / 2.0)
        });
        let words = range.map_or_else(
            || "more alike than chance".to_owned(),
            |range| unbroken(&numbers::interval(range.low, range.high, decimals)),
        );
        format!("{} ({words})", numbers::fixed(tau, decimals))
    });
    owned(vec![
        ("Standard error", or_missing(error)),
        ("\u{3C4} (95\u{A0}% range)", or_missing(tau)),
        ("I\u{B2}", or_missing(i_squared)),
        ("H\u{B2}", or_missing(h_squared)),
        ("Q", or_missing(q)),
    ])
}

fn owned(cells: Vec<(&'static str, String)>) -> Vec<Cell> {
    let cells = cells.into_iter();
    cells
        .map(|(column, figure)| (column.to_owned(), figure))
        .collect()
}

/// What a share of those who gain is a share of.
pub(super) const fn gaining_words(of: GainOf) -> &'static str {
    match of {
        GainOf::Players => "players",
        GainOf::PairsOfSessions => "pairs of sessions",
    }
}

/// A share of those who gain with its range, or why there is none.
pub(super) fn share_words(
    gain: &Gain,
    outcome: Outcome,
    wording: Wording<'_>,
) -> Result<String, String> {
    // With the digits shown a share from none to all tells nothing, and is drawn as no estimate.
    let tells_nothing = |range: Interval| range.low < 0.005 && 0.995 <= range.high;
    match (gain.share, gain.tau_squared_high) {
        (Ok(share), _) if tells_nothing(share.interval) => {
            Err("could not be measured: none to all of them is possible".to_owned())
        }
        (Ok(share), _) => Ok(format!(
            "{} ({} to {})",
            numbers::percent(share.estimate, 0),
            numbers::percent(share.interval.low, 0),
            numbers::percent(share.interval.high, 0)
        )),
        (Err(Reason::NoHeterogeneity), Ok(high)) => Err(format!(
            "differences could not be measured; \u{3C4} is at most {}\u{A0}{}",
            numbers::fixed(wording.value(outcome, high.sqrt()), 1),
            wording.unit(outcome)
        )),
        (Err(_), _) => Err(numbers::NOT_ESTIMABLE.to_owned()),
    }
}

/// Where enough players repeated sessions it is players who gain, else pairs of sessions.
fn gains(analysis: &Analysis, wording: Wording<'_>) -> Vec<Cell> {
    let Some(scrutiny) = &analysis.scrutiny else {
        return Vec::new();
    };
    let outcome = analysis.key.outcome;
    let cells = scrutiny.gains.iter().map(|gain| {
        let threshold = numbers::short(wording.value(outcome, gain.threshold));
        let head = format!("Above {threshold}\u{A0}{}", wording.unit(outcome));
        let words = share_words(gain, outcome, wording);
        (head, words.unwrap_or_else(|why| why))
    });
    cells.collect()
}

/// The estimate as if the partner had hit equally hard in both sessions, where speed is asked.
fn partner_pace(analysis: &Analysis, wording: Wording<'_>) -> Option<Cell> {
    let lines = &analysis.scrutiny.as_ref()?.sensitivity;
    let adjusted = lines
        .iter()
        .find(|line| line.kind == Sensitivity::PartnerPaceAdjusted)?;
    let words = adjusted.result.ok().map(|brief| {
        signed_with_range(
            brief.estimate,
            brief.interval,
            analysis.key.outcome,
            wording,
        )
    });
    Some((SAME_PACE.to_owned(), or_missing(words)))
}

/// The range of a standard deviation from that of its square.
fn roots(range: Interval) -> Interval {
    Interval {
        low: range.low.sqrt(),
        high: range.high.sqrt(),
    }
}

pub(super) fn or_missing(figure: Option<String>) -> String {
    figure.unwrap_or_else(|| numbers::NOT_ESTIMABLE.to_owned())
}
