//! Every picture of a study with the figures behind it, by name: the page shows them, and each has an
//! address of its own.

mod by_gap;
mod by_shots;
mod gains;
mod over_gaps;
mod over_time;
mod pairs;

pub(super) use gains::of as gaining_of;

use super::figures::Table;
use super::view::{Link, StudyView};
use crate::findings::labels::{axis_ends, class_label, outcome_label};
use crate::findings::{Analysis, Shown};
use crate::numbers;
use crate::plots::cumulative::{Cumulative, cumulative};
use crate::plots::dose::{Dose, dose};
use crate::plots::funnel::{Funnel, funnel};
use crate::plots::gains::{Gains, gains};
use crate::plots::parts::{Heading, Layout, Sides, Summary};
use crate::plots::ranked::{Ranked, ranked};
use crate::plots::summary::{SummaryForest, summary};
use crate::plots::tradeoff::{Tradeoff, tradeoff};
use crate::protocol::{GapBand, GapBands, PrimaryOutcome};
use crate::vocabulary::{Outcome, ShotClass};

/// A picture with the figures behind it.
pub(super) struct Picture {
    pub(super) plot: Plot,
    /// The figures as a table.
    pub(super) table: Table,
    /// Head of the table's first column.
    pub(super) first: &'static str,
    /// What the table holds, with the unit.
    pub(super) caption: String,
    /// Where more figures are.
    pub(super) more: Option<Link>,
}

/// What is drawn.
pub(super) enum Plot {
    Summary(SummaryForest),
    Ranked(Ranked),
    Dose(Dose),
    Tradeoff(Tradeoff),
    Gains(Gains),
    Funnel(Funnel),
    Cumulative(Cumulative),
}

impl Plot {
    /// The picture as SVG.
    pub(super) fn draw(&self, layout: Layout) -> String {
        match self {
            Self::Summary(plot) => summary(plot, layout),
            Self::Ranked(plot) => ranked(plot, layout),
            Self::Dose(plot) => dose(plot, layout),
            Self::Tradeoff(plot) => tradeoff(plot, layout),
            Self::Gains(plot) => gains(plot, layout),
            Self::Funnel(plot) => funnel(plot, layout),
            Self::Cumulative(plot) => cumulative(plot, layout),
        }
    }

    /// What it is called; its identifier is its name in addresses.
    pub(super) const fn heading(&self) -> &Heading {
        match self {
            Self::Summary(plot) => &plot.heading,
            Self::Ranked(plot) => &plot.heading,
            Self::Dose(plot) => &plot.heading,
            Self::Tradeoff(plot) => &plot.heading,
            Self::Gains(plot) => &plot.heading,
            Self::Funnel(plot) => &plot.heading,
            Self::Cumulative(plot) => &plot.heading,
        }
    }
}

/// The pictures of one primary outcome.
pub(super) struct OfOutcome {
    /// The pooled estimate of every gap band.
    pub(super) bands: Picture,
    /// Every pair in order of its difference.
    pub(super) pairs: Picture,
    /// The same outcome of other shots; `None` where nothing is shown of any.
    pub(super) shots: Option<Picture>,
    /// How the difference grows with the gap.
    pub(super) dose: Picture,
    /// How many gain.
    pub(super) gains: Picture,
    /// For each gap band with figures, differences by how exact they are.
    pub(super) funnels: Vec<Picture>,
    /// For each gap band with figures, the estimate as players came.
    pub(super) over_time: Vec<Picture>,
}

impl OfOutcome {
    /// Those of one primary outcome.
    pub(super) fn new(view: &StudyView<'_>, primary: &PrimaryOutcome) -> Self {
        Self {
            bands: by_gap::bands(view, primary),
            pairs: pairs::ranked(view, primary),
            shots: by_shots::shots(view, primary),
            dose: over_gaps::dose(view, primary),
            gains: gains::gains(view, primary),
            funnels: pairs::funnels(view, primary),
            over_time: over_time::cumulative(view, primary),
        }
    }

    fn all(self) -> impl Iterator<Item = Picture> {
        let Self {
            bands,
            pairs,
            shots,
            dose,
            gains,
            funnels,
            over_time,
        } = self;
        let several = funnels.into_iter().chain(over_time);
        let optional = [bands, pairs].into_iter().chain(shots);
        optional.chain([dose, gains]).chain(several)
    }
}

/// Speed against each measure of control.
pub(super) fn tradeoffs(view: &StudyView<'_>) -> Vec<Picture> {
    let joints = view.findings.joints.iter();
    joints
        .map(|joint| over_gaps::tradeoff(view, joint))
        .collect()
}

/// Every picture of a study.
pub(super) fn all(view: &StudyView<'_>) -> Vec<Picture> {
    let of_outcomes = view.primary().iter();
    of_outcomes
        .flat_map(|primary| OfOutcome::new(view, primary).all())
        .chain(tradeoffs(view))
        .collect()
}

/// Name of the ordinary range in every picture.
const INTERVAL: &str = "95 % range";

fn heading(view: &StudyView<'_>, id: String, title: String, description: String) -> Heading {
    Heading {
        id,
        title,
        notice: notice(view),
        description,
    }
}

/// What has to stay with a copied picture.
pub(super) fn notice(view: &StudyView<'_>) -> Option<String> {
    view.study
        .label
        .invented
        .then(|| crate::pages::INVENTED.to_owned())
}

fn sides(view: &StudyView<'_>, outcome: Outcome) -> Sides {
    let (negative, positive) = axis_ends(outcome);
    Sides {
        unit: view.wording().unit(outcome).to_owned(),
        negative_words: negative.to_owned(),
        positive_words: positive.to_owned(),
    }
}

/// The identifier of an outcome of a shot class: "speed-forehand-all".
pub(super) fn code(outcome: Outcome, class: ShotClass) -> String {
    let (stroke, direction) = (class.stroke.code(), class.direction.code());
    format!("{}-{stroke}-{direction}", outcome.code()).replace('_', "-")
}

pub(super) fn band_code(band: GapBand) -> String {
    GapBands::code(band).replace('_', "-")
}

/// What an outcome of a shot class is called.
pub(super) fn label(outcome: Outcome, class: ShotClass) -> String {
    format!("{}, {}", outcome_label(outcome), class_label(class))
}

/// The analyses of one primary outcome, band by band.
pub(super) fn analyses_of<'a>(view: &StudyView<'a>, primary: &PrimaryOutcome) -> Vec<&'a Analysis> {
    let analyses = view.findings.analyses.iter();
    analyses
        .filter(|analysis| super::is_of(analysis, primary))
        .collect()
}

/// The smallest worthwhile difference in the reader's unit.
fn worthwhile(view: &StudyView<'_>, primary: &PrimaryOutcome) -> Option<f64> {
    let size = primary.smallest_worthwhile?.to_f64();
    Some(view.wording().value(primary.outcome, size))
}

fn summary_in(view: &StudyView<'_>, outcome: Outcome, shown: Shown) -> Summary {
    super::summary_of(shown, outcome, view.wording())
}

/// Figures of a mean as they stand in a picture.
fn figures(estimate: f64, low: f64, high: f64) -> String {
    numbers::estimate_and_interval(estimate, low, high)
}
