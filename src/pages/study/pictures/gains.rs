//! How many gain, gap by gap.

use super::{INTERVAL, Picture, Plot, StudyView, analyses_of, code, heading, label};
use crate::findings::Analysis;
use crate::findings::gains::{Gain, GainOf};
use crate::findings::labels::{axis_ends, band_label};
use crate::findings::words::counts;
use crate::numbers;
use crate::pages::study::figures::{gaining, gaining_words, share_words};
use crate::pages::study::withheld_words;
use crate::plots::gains::{GainGroup, GainLine, GainShare, Gains};
use crate::protocol::{GapBand, PrimaryOutcome};

pub(super) fn gains(view: &StudyView<'_>, primary: &PrimaryOutcome) -> Picture {
    let analyses: Vec<&Analysis> = analyses_of(view, primary)
        .into_iter()
        .filter(|analysis| analysis.key.band != GapBand::UnderProtocol)
        .collect();
    let of = of(&analyses);
    let name = label(primary.outcome, primary.class);
    Picture {
        table: gaining(&analyses, view.wording()),
        first: "Tension gap",
        caption: format!("Share of {} (95 % range)", gaining_words(of)),
        more: None,
        plot: Plot::Gains(Gains {
            heading: heading(
                view,
                format!("gains-{}", code(primary.outcome, primary.class)),
                format!("{name}: who gains"),
                format!(
                    "Of {}, the estimated share whose true difference is above zero, and above the smallest worthwhile one.",
                    gaining_words(of)
                ),
            ),
            interval_words: INTERVAL.to_owned(),
            share_of: gaining_words(of).to_owned(),
            groups: analyses
                .iter()
                .map(|analysis| group(view, analysis))
                .collect(),
        }),
    }
}

/// Of what shares are: the same for every gap of one outcome.
pub(in crate::pages::study) fn of(analyses: &[&Analysis]) -> GainOf {
    analyses
        .iter()
        .filter_map(|analysis| Some(analysis.scrutiny.as_ref()?.gains.first()?.of))
        .next()
        .unwrap_or(GainOf::PairsOfSessions)
}

fn group(view: &StudyView<'_>, analysis: &Analysis) -> GainGroup {
    let finding = analysis.result.as_ref();
    GainGroup {
        label: band_label(analysis.key.band, view.wording()),
        counts: finding.map_or_else(|_| String::new(), counts),
        lines: match (finding, &analysis.scrutiny) {
            (Err(withheld), _) => Err(withheld_words(withheld.minimum_players)),
            (Ok(_), None) => Err(numbers::NOT_ESTIMABLE.to_owned()),
            (Ok(_), Some(scrutiny)) => Ok(scrutiny
                .gains
                .iter()
                .map(|gain| line(view, analysis, gain))
                .collect()),
        },
    }
}

fn line(view: &StudyView<'_>, analysis: &Analysis, gain: &Gain) -> GainLine {
    let (outcome, wording) = (analysis.key.outcome, view.wording());
    let (_, more) = axis_ends(outcome);
    let worthwhile = 0.0 < gain.threshold;
    GainLine {
        label: if worthwhile {
            format!(
                "{more} by more than {}\u{A0}{}",
                numbers::short(wording.value(outcome, gain.threshold)),
                wording.unit(outcome)
            )
        } else {
            format!("{more} at all")
        },
        worthwhile,
        share: share_words(gain, outcome, wording).and_then(|numbers| {
            let share = gain.share.map_err(|reason| reason.to_string())?;
            Ok(GainShare {
                percent: share.estimate * 100.0,
                low: share.interval.low * 100.0,
                high: share.interval.high * 100.0,
                numbers,
            })
        }),
    }
}
