//! A study and its protocol: the rules under which contributions are compared.
//!
//! A protocol is data written by the host (`schema/study.v1.schema.json`) and holds for every
//! contribution of its study. This module has the values; reading them from JSON is `intake`'s
//! work. Bounds on single numbers are in [`limits`].

pub mod limits;

use crate::units::{Hundredths, Tension, TensionUnit};
use crate::vocabulary::{Outcome, ShotClass};

/// One question with its protocol.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Study {
    /// How the study is named.
    pub label: StudyLabel,
    /// Who hosts it, and on what terms.
    pub hosting: Hosting,
    /// The rules.
    pub protocol: Protocol,
}

/// What names a study wherever it is spoken of.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct StudyLabel {
    /// Short name, used in addresses.
    pub slug: String,
    /// The question in one sentence.
    pub question: String,
    /// Whether the data are made up.
    pub invented: bool,
}

/// Who hosts a study, and on what terms. A draft may lack all of it; recruiting opens only with a
/// contact, a privacy notice and a licence.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Hosting {
    /// Who publishes, as the host wants to be called.
    pub host_name: Option<String>,
    /// How to reach the host, in one line.
    pub contact: Option<String>,
    /// The privacy notice.
    pub privacy: Option<VersionedText>,
    /// Under which licence the data are published.
    pub licence: Option<Licence>,
}

/// A data licence.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Licence {
    /// Its short name, as SPDX has it where it can be.
    pub name: String,
    /// Where its text stands.
    pub url: Option<String>,
}

/// What was fixed before recruiting, so that a release may state the ordinary interval: whoever
/// chooses the moment of a release by its figures has looked every day.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum ReleaseRule {
    /// From this day on, as `YYYY-MM-DD`.
    Date(String),
    /// From this many players on.
    Players(usize),
}

/// The rules of a study.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Protocol {
    /// Counted from 1.
    pub version: i64,
    /// What is analysed and shown.
    pub analysis: AnalysisRules,
    /// Fewest shots per arm and shot class for an effect to be used.
    pub minimum_shots: i64,
    /// A rally of more shots than this counts as above length.
    pub rally_length: i64,
    /// What counts as deep.
    pub deep: VersionedText,
    /// The consent text.
    pub consent: VersionedText,
    /// The cautions shown to contributors.
    pub caution: String,
    /// Whether contributors have to say that they are of age.
    pub adults_only: bool,
    /// How many minutes one session should last.
    pub session_minutes: i64,
    /// How many minutes of warm-up should go before each session.
    pub warm_up_minutes: i64,
    /// Public figures change only when this many players are newly counted or removed.
    pub batch_players: usize,
    /// When a release may state the ordinary interval; `None` when never.
    pub release_rule: Option<ReleaseRule>,
}

impl Protocol {
    /// Minutes of a session where the host names none (common practice, no source).
    pub const SESSION_MINUTES: i64 = 20;
    /// Minutes of warm-up where the host names none (common practice, no source).
    pub const WARM_UP_MINUTES: i64 = 10;
}

/// The part of a protocol that decides which analyses there are. Together with the published
/// rows it is all that an analyst needs to reproduce them.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct AnalysisRules {
    /// The gap bands.
    pub bands: GapBands,
    /// One to three primary outcomes, each with its shot class.
    pub primary: Vec<PrimaryOutcome>,
    /// Fewest players behind any public figure.
    pub minimum_players: usize,
}

/// A text whose wording may change, with the name of this wording.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct VersionedText {
    /// Name of this wording.
    pub version: String,
    /// The text.
    pub text: String,
}

/// An outcome the study was set up to answer.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct PrimaryOutcome {
    /// What is compared.
    pub outcome: Outcome,
    /// For which shots.
    pub class: ShotClass,
    /// The smallest difference that the host calls worthwhile, in [`Outcome::unit`], above 0.
    pub smallest_worthwhile: Option<Hundredths>,
}

/// Half-open gap bands with exact edges; the last one is open above.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct GapBands {
    unit: TensionUnit,
    edges: Vec<Hundredths>,
}

/// One gap band of a protocol.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum GapBand {
    /// The band at this place in [`GapBands`], counted from 0.
    Numbered(u8),
    /// Below the protocol's minimum gap: kept and shown apart, never in the primary analysis.
    UnderProtocol,
}

impl GapBands {
    /// Bands from their lower edges, the first of which is the minimum gap.
    ///
    /// `None` unless there is at least one edge, all are positive and they rise.
    #[must_use]
    pub fn new(unit: TensionUnit, edges: Vec<Hundredths>) -> Option<Self> {
        let positive = edges.first().is_some_and(|edge| 0 < edge.count());
        let rising = edges.is_sorted_by(|a, b| a < b);
        (positive && rising).then_some(Self { unit, edges })
    }

    /// The unit of the edges.
    #[must_use]
    pub const fn unit(&self) -> TensionUnit {
        self.unit
    }

    /// The lower edges, rising.
    #[must_use]
    pub fn edges(&self) -> &[Hundredths] {
        &self.edges
    }

    /// The band that holds a gap.
    #[must_use]
    pub fn band_of(&self, gap: Tension) -> GapBand {
        self.edges
            .iter()
            .rposition(|edge| Tension::new(*edge, self.unit) <= gap)
            .and_then(|place| u8::try_from(place).ok())
            .map_or(GapBand::UnderProtocol, GapBand::Numbered)
    }

    /// Every band in rising order of gap, the one under protocol last, since it is no part of the
    /// answer.
    pub fn all(&self) -> impl Iterator<Item = GapBand> + '_ {
        let numbered = (0..).take(self.edges.len()).map(GapBand::Numbered);
        numbered.chain(std::iter::once(GapBand::UnderProtocol))
    }

    /// Lower edge and upper edge of a band, in the unit of the bands; `None` where it is open.
    #[must_use]
    pub fn range(&self, band: GapBand) -> (Option<Hundredths>, Option<Hundredths>) {
        match band {
            GapBand::UnderProtocol => (None, self.edges.first().copied()),
            GapBand::Numbered(place) => (
                self.edges.get(usize::from(place)).copied(),
                self.edges.get(usize::from(place) + 1).copied(),
            ),
        }
    }

    /// The stable name of a band in documents: `under`, or `band_1` and so on, rising.
    #[must_use]
    pub fn code(band: GapBand) -> String {
        match band {
            GapBand::UnderProtocol => "under".to_owned(),
            GapBand::Numbered(place) => format!("band_{}", place + 1),
        }
    }

    /// The band with this name, when this protocol has it.
    #[must_use]
    pub fn from_code(&self, code: &str) -> Option<GapBand> {
        self.all().find(|band| Self::code(*band) == code)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn default_bands() -> GapBands {
        let edges = [500, 800, 1200, 1600].map(Hundredths::from_count);
        GapBands::new(TensionUnit::Pound, edges.to_vec()).unwrap()
    }

    fn lb(hundredths: i64) -> Tension {
        Tension::new(Hundredths::from_count(hundredths), TensionUnit::Pound)
    }

    #[test]
    fn bands_are_half_open() {
        let bands = default_bands();
        assert_eq!(bands.band_of(lb(499)), GapBand::UnderProtocol);
        assert_eq!(bands.band_of(lb(500)), GapBand::Numbered(0));
        assert_eq!(bands.band_of(lb(799)), GapBand::Numbered(0));
        assert_eq!(bands.band_of(lb(800)), GapBand::Numbered(1));
        assert_eq!(bands.band_of(lb(5000)), GapBand::Numbered(3));
    }

    #[test]
    fn kilogram_gaps_fall_into_pound_bands_exactly() {
        // 2.27 kg is 5.0045 lb, 2.26 kg is 4.98 lb.
        let bands = default_bands();
        let kg = |count| Tension::new(Hundredths::from_count(count), TensionUnit::Kilogram);
        assert_eq!(bands.band_of(kg(226)), GapBand::UnderProtocol);
        assert_eq!(bands.band_of(kg(227)), GapBand::Numbered(0));
    }

    #[test]
    fn edges_must_rise_from_above_zero() {
        let unit = TensionUnit::Kilogram;
        let edges = |counts: &[i64]| counts.iter().copied().map(Hundredths::from_count).collect();
        assert!(GapBands::new(unit, edges(&[])).is_none());
        assert!(GapBands::new(unit, edges(&[0, 100])).is_none());
        assert!(GapBands::new(unit, edges(&[200, 200])).is_none());
        assert!(GapBands::new(unit, edges(&[200, 300])).is_some());
    }

    #[test]
    fn band_codes_read_back() {
        let bands = default_bands();
        for band in bands.all() {
            assert_eq!(bands.from_code(&GapBands::code(band)), Some(band));
        }
        assert_eq!(bands.from_code("band_9"), None);
    }
}
