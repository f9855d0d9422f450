//! What is different from the release before.

use super::players;
use crate::findings::labels::{band_label, class_label, outcome_label, unit_words};
use crate::findings::{Findings, Key, Publication};
use crate::numbers;
use crate::protocol::GapBands;

/// What is different from the release before.
#[derive(Clone, Debug, PartialEq)]
pub struct Changes {
    /// The number of the release before.
    pub since: i64,
    /// Public batches, before and now.
    pub batch: (i64, i64),
    /// Players with a row, before and now.
    pub players: (usize, usize),
    /// Protocol versions, before and now.
    pub protocol_version: (i64, i64),
    /// Whether the gap bands are the same, so that figures can be compared.
    pub same_bands: bool,
    /// Every primary analysis of now.
    pub analyses: Vec<Change>,
}

/// What became of one analysis.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Change {
    /// What it is about.
    pub key: Key,
    /// The figures before; `None` where there were none, or none that can be compared.
    pub before: Option<Figures>,
    /// The figures now.
    pub now: Option<Figures>,
}

/// An estimate with its ordinary range.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Figures {
    /// The pooled estimate.
    pub estimate: f64,
    /// Lower end of its range.
    pub low: f64,
    /// Upper end.
    pub high: f64,
    /// Pairs.
    pub k: usize,
    /// Players.
    pub players: usize,
}

impl Changes {
    /// What is different between two publications with what was found in each.
    #[must_use]
    pub fn between(
        since: i64,
        before: (&Publication, &Findings),
        now: (&Publication, &Findings),
    ) -> Self {
        let batch = |publication: &Publication| {
            let batch = publication.batch.as_ref();
            batch.map_or(0, |batch| batch.number)
        };
        let same_bands = before.0.rules.bands == now.0.rules.bands;
        let primary = now.1.analyses.iter().filter(|analysis| analysis.primary);
        Self {
            since,
            batch: (batch(before.0), batch(now.0)),
            players: (players(before.0), players(now.0)),
            protocol_version: (before.0.protocol_version, now.0.protocol_version),
            same_bands,
            analyses: primary
                .map(|analysis| Change {
                    key: analysis.key,
                    before: figures(before.1, &analysis.key).filter(|_| same_bands),
                    now: figures(now.1, &analysis.key),
                })
                .collect(),
        }
    }

    /// What is different apart from single analyses, in words.
    #[must_use]
    pub fn sentences(&self) -> Vec<String> {
        let (before, now) = self.players;
        let players = numbers::counted(to_u64(now), "player", "players");
        let mut sentences = vec![if before == now {
            format!("{players} with a row, as before.")
        } else {
            format!(
                "{players} with a row, before {}.",
                numbers::count(to_u64(before))
            )
        }];
        sentences.push(match self.batch {
            (before, now) if before == now => format!("Public batch {now}, as before."),
            (before, now) => format!("Public batch {now}, before {before}."),
        });
        sentences.push(match self.protocol_version {
            (before, now) if before == now => format!("Protocol version {now}, as before."),
            (before, now) => format!("Protocol version {now}, before {before}."),
        });
        if !self.same_bands {
            sentences
                .push("The gap bands are others, so figures cannot be compared gap by gap.".into());
        }
        sentences
    }
}

impl Change {
    /// What became of it, in words.
    #[must_use]
    pub fn sentence(&self, bands: &GapBands) -> String {
        let Key {
            outcome,
            class,
            band,
        } = self.key;
        let about = format!(
            "{}, {}, gap {}",
            outcome_label(outcome),
            class_label(class),
            band_label(band, bands)
        );
        let unit = unit_words(outcome);
        match (self.before, self.now) {
            (None, None) => format!("{about}: nothing is shown."),
            (Some(before), None) => {
                format!(
                    "{about}: nothing is shown now, before {}.",
                    before.words(unit)
                )
            }
            (None, Some(now)) => format!(
                "{about}: {}; nothing to compare with before.",
                now.words(unit)
            ),
            (Some(before), Some(now)) if before == now => {
                format!("{about}: {}, as before.", now.words(unit))
            }
            (Some(before), Some(now)) => {
                format!(
                    "{about}: {}; before {}.",
                    now.words(unit),
                    before.words(unit)
                )
            }
        }
    }
}

impl Figures {
    /// "+1.2 km/h (0.3 to 2.1), 24 players".
    fn words(&self, unit: &str) -> String {
        let decimals = numbers::decimals_of_range(self.low, self.high);
        format!(
            "{}\u{A0}{unit} ({}), {}",
            numbers::signed(self.estimate, decimals),
            numbers::interval(self.low, self.high, decimals),
            numbers::counted(to_u64(self.players), "player", "players")
        )
    }
}

fn figures(findings: &Findings, key: &Key) -> Option<Figures> {
    let mut analyses = findings.analyses.iter();
    let analysis = analyses.find(|analysis| analysis.key == *key)?;
    let finding = analysis.result.as_ref().ok()?;
    let shown = finding.shown.ok()?;
    Some(Figures {
        estimate: shown.estimate,
        low: shown.interval.low,
        high: shown.interval.high,
        k: finding.pooled.k,
        players: finding.pooled.n_clusters,
    })
}

fn to_u64(n: usize) -> u64 {
    u64::try_from(n).unwrap_or(u64::MAX)
}
