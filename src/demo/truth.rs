//! Published intervals held against the truth that the crowd was made from.

use super::Stage;
use super::crowd::{Kind, truth};
use crate::findings::Key;
use crate::pooling::Interval;
use crate::protocol::GapBand;
use crate::units::{Hundredths, Tension, TensionUnit};

/// One interval and the true value.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Verdict {
    /// Which analysis.
    pub key: Key,
    /// The pooled estimate.
    pub estimate: f64,
    /// Its published interval.
    pub interval: Interval,
    /// The mean true effect over the gaps of the honest pairs in this band.
    pub truth: f64,
}

impl Verdict {
    /// Whether the true value lies inside.
    #[must_use]
    pub fn holds(&self) -> bool {
        self.interval.low <= self.truth && self.truth <= self.interval.high
    }
}

/// Every published primary interval with its truth.
#[must_use]
pub fn verdicts(stage: &Stage) -> Vec<Verdict> {
    let Some(public) = stage.service.study(&stage.study.label.slug) else {
        return Vec::new();
    };
    let analyses = public
        .findings
        .analyses
        .iter()
        .filter(|analysis| analysis.primary);
    analyses
        .filter_map(|analysis| {
            let shown = analysis.result.as_ref().ok()?.shown.ok()?;
            Some(Verdict {
                key: analysis.key,
                estimate: shown.estimate,
                interval: shown.interval,
                truth: mean_truth(stage, analysis.key)?,
            })
        })
        .collect()
}

#[expect(clippy::cast_precision_loss, reason = "a few hundred pairs")]
fn mean_truth(stage: &Stage, key: Key) -> Option<f64> {
    let gaps: Vec<f64> = stage
        .accepted
        .iter()
        .filter(|sent| sent.kind != Kind::Forgery && band_of(stage, sent.gap_lb) == Some(key.band))
        .map(|sent| sent.gap_lb)
        .collect();
    let sum: f64 = gaps
        .iter()
        .map(|gap| truth(&stage.settings, key.outcome, *gap))
        .sum();
    (!gaps.is_empty()).then(|| sum / gaps.len() as f64)
}

fn band_of(stage: &Stage, gap_lb: f64) -> Option<GapBand> {
    let hundredths = Hundredths::from_decimal((gap_lb * 100.0).round() / 100.0)?;
    let gap = Tension::new(hundredths, TensionUnit::Pound);
    Some(stage.study.protocol.analysis.bands.band_of(gap))
}
