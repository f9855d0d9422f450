//! Every pair of the primary outcomes in a list: published rows and nothing else.

use super::view::{Choices, StudyView};
use super::{pictures, range_words, to_u64};
use crate::findings::labels::band_label;
use crate::findings::{Key, Row};
use crate::numbers;
use crate::protocol::GapBand;
use askama::Template;

#[derive(Template)]
#[template(path = "pairs.html", config = "src/pages/askama.toml")]
struct Page<'a> {
    invented: bool,
    view: &'a StudyView<'a>,
    address: String,
    page: String,
    choices: Vec<Choices>,
    rounds_bands: bool,
    outcomes: Vec<Outcome>,
}

/// One primary outcome.
struct Outcome {
    label: String,
    id: String,
    unit: &'static str,
    bands: Vec<Band>,
}

/// The pairs of one gap band, rising by their differences.
struct Band {
    label: String,
    id: String,
    apart: bool,
    counts: String,
    pairs: Vec<Pair>,
}

/// One published row.
struct Pair {
    name: String,
    estimate: String,
    range: String,
    error: String,
    gap: String,
    planned: &'static str,
}

/// The page that lists every published row of the primary outcomes, by outcome, band and difference.
///
/// # Errors
/// When the template cannot be filled.
pub fn pairs(view: &StudyView<'_>) -> Result<String, askama::Error> {
    let outcomes = view.primary().iter().map(|primary| {
        let bands = view.wording().bands.all().filter_map(|band| {
            band_of(
                view,
                Key {
                    outcome: primary.outcome,
                    class: primary.class,
                    band,
                },
            )
        });
        Outcome {
            label: pictures::label(primary.outcome, primary.class),
            id: pictures::code(primary.outcome, primary.class),
            unit: view.wording().unit(primary.outcome),
            bands: bands.collect(),
        }
    });
    Page {
        invented: view.study.label.invented,
        view,
        address: view.below(""),
        page: format!("{}/pairs", view.address()),
        choices: view.choices("/pairs"),
        rounds_bands: view.wording().rounds_bands(),
        outcomes: outcomes.collect(),
    }
    .render()
}

/// `None` where no row is published.
fn band_of(view: &StudyView<'_>, key: Key) -> Option<Band> {
    let rows = view.publication.rows.iter();
    let mut rows: Vec<Row> = rows.filter(|row| row.key() == key).collect();
    rows.sort_by(|a, b| {
        let by_difference = a.estimate.total_cmp(&b.estimate);
        by_difference.then_with(|| (a.group, a.pair).cmp(&(b.group, b.pair)))
    });
    // The middle one of as many as each stands for.
    let step = rows.len().div_ceil(MOST_LISTED).max(1);
    let listed = rows.iter().skip(step / 2).step_by(step);
    (!rows.is_empty()).then(|| Band {
        label: band_label(key.band, view.wording()),
        id: format!(
            "{}-{}",
            pictures::code(key.outcome, key.class),
            pictures::band_code(key.band)
        ),
        apart: key.band == GapBand::UnderProtocol,
        counts: counts(rows.len(), step),
        pairs: listed.map(|row| pair(view, row)).collect(),
    })
}

/// Most pairs of a band that are listed: nobody reads on, and a phone could not show them.
const MOST_LISTED: usize = 500;

fn counts(n: usize, step: usize) -> String {
    let counted = numbers::counted(to_u64(n), "pair", "pairs");
    if step == 1 {
        counted
    } else {
        let step = numbers::count(to_u64(step));
        format!("{counted}, one in {step} listed here in this order, all of them in the download")
    }
}

fn pair(view: &StudyView<'_>, row: &Row) -> Pair {
    let (outcome, wording) = (row.outcome, view.wording());
    let range = row.interval(view.publication.level).ok();
    let error = wording.value(outcome, row.variance.sqrt());
    let gap = wording.gap(row.gap_lb);
    Pair {
        name: if row.pair == 1 {
            row.group.to_string()
        } else {
            format!("{}, pair {}", row.group, row.pair)
        },
        estimate: numbers::signed(wording.value(outcome, row.estimate), 1),
        range: super::figures::or_missing(
            range.map(|range| range_words(wording.range(outcome, range))),
        ),
        error: numbers::fixed(error, 1),
        gap: numbers::short(gap),
        planned: match row.circumstances.planned {
            Some(true) => "drawn",
            Some(false) => "not drawn",
            None => "not shown",
        },
    }
}
