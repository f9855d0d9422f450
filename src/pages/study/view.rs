//! What the public page of a study is made from, and the addresses that belong to it.

use crate::disclosure::Everybody;
use crate::findings::flow::ParticipantFlow;
use crate::findings::labels::Wording;
use crate::findings::{Findings, Publication};
use crate::protocol::{PrimaryOutcome, Study};
use crate::release::ProtocolChange;
use crate::units::{SpeedUnit, TensionUnit, Units};

/// Everything that the page, its pictures and its list of pairs show: of the live study or of a
/// release. The same values give the same bytes.
#[derive(Clone, Debug)]
pub struct StudyView<'a> {
    /// The study with its protocol as the page tells it.
    pub study: &'a Study,
    /// Which publication is shown, and hence under which address.
    pub standing: Standing,
    /// The rows and rules that the figures are made from.
    pub publication: &'a Publication,
    /// What is found out from them; it must be of this very publication.
    pub findings: &'a Findings,
    /// Rounded figures over everybody, where there are any.
    pub everybody: &'a [Everybody],
    /// Why figures are hidden for now, when they are.
    pub hidden: Option<Hidden>,
    /// Whether sentences state the ordinary range, as a release may whose moment was fixed beforehand.
    pub states_ordinary: bool,
    /// The reader's units; see [`units_asked`].
    pub units: Units,
    /// Where the service is reached, as `https://…` without a slash at its end, when it is known.
    pub base: Option<&'a str>,
    /// What became of everybody who began; `None` while that is not told.
    pub flow: Option<&'a ParticipantFlow>,
    /// Versions of the protocol, the newest first; empty while there is nothing to tell.
    pub history: Vec<ProtocolChange>,
}

/// Why a study that has figures shows none.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Hidden {
    /// Sessions were withdrawn, and too few players have come or gone since.
    Renewing,
    /// They could not be made from what is stored.
    NotMade,
    /// The service has only just started and is making them.
    BeingMade,
}

impl Hidden {
    /// What a reader is told, in a sentence.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Renewing => "The figures are hidden for now, because sessions were withdrawn.",
            Self::NotMade => {
                "The figures cannot be shown at the moment, because of a fault of this service."
            }
            Self::BeingMade => {
                "The figures are being made, because this service was started anew: look again in some minutes."
            }
        }
    }
}

/// Which publication a page shows.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Standing {
    /// The newest batch, replaced by the next one.
    Live,
    /// A release of this number, which stays as it is.
    Release(i64),
}

/// A link.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Link {
    /// The address.
    pub(super) address: String,
    /// Its words.
    pub(super) words: String,
}

impl<'a> StudyView<'a> {
    /// How gaps and figures are told.
    pub(super) const fn wording(&self) -> Wording<'a> {
        Wording {
            bands: &self.publication.rules.bands,
            units: self.units,
        }
    }

    /// The primary outcomes.
    pub(super) fn primary(&self) -> &'a [PrimaryOutcome] {
        &self.publication.rules.primary
    }

    /// The address of the page in the units of a reader who chose none.
    #[must_use]
    pub fn address(&self) -> String {
        let slug = &self.study.label.slug;
        match self.standing {
            Standing::Live => format!("/studies/{slug}"),
            Standing::Release(number) => format!("/studies/{slug}/releases/{number}"),
        }
    }

    /// The address of something below the page, in the reader's units.
    pub(super) fn below(&self, place: &str) -> String {
        format!("{}{place}{}", self.address(), self.query(self.units))
    }

    fn unchosen(&self) -> Units {
        Units::unchosen(self.publication.rules.bands.unit())
    }

    /// Units as they stand behind an address: nothing for those that nobody has to choose.
    pub(super) fn query(&self, units: Units) -> String {
        let unchosen = self.unchosen();
        let speed = (units.speed != unchosen.speed).then(|| ("speed", speed_word(units.speed)));
        let tension =
            (units.tension != unchosen.tension).then(|| ("tension", units.tension.code()));
        let chosen: Vec<String> = speed
            .into_iter()
            .chain(tension)
            .map(|(name, word)| format!("{name}={word}"))
            .collect();
        if chosen.is_empty() {
            String::new()
        } else {
            format!("?{}", chosen.join("&"))
        }
    }

    /// The choices of units that `place` below the page offers.
    pub(super) fn choices(&self, place: &str) -> Vec<Choices> {
        let choice = |units: Units, words: &'static str| Choice {
            address: format!("{}{place}{}", self.address(), self.query(units)),
            words,
            here: units == self.units,
        };
        let speeds = SpeedUnit::ALL.iter().map(|&speed| {
            let units = Units {
                speed,
                ..self.units
            };
            choice(units, speed.code())
        });
        let tensions = TensionUnit::ALL.iter().map(|&tension| {
            let units = Units {
                tension,
                ..self.units
            };
            choice(units, tension.code())
        });
        vec![
            Choices {
                about: "Speeds in",
                choices: speeds.collect(),
            },
            Choices {
                about: "Gaps in",
                choices: tensions.collect(),
            },
        ]
    }
}

/// The units of one kind of quantity that a reader may choose from.
pub(super) struct Choices {
    pub(super) about: &'static str,
    pub(super) choices: Vec<Choice>,
}

/// One unit to choose.
pub(super) struct Choice {
    pub(super) address: String,
    pub(super) words: &'static str,
    pub(super) here: bool,
}

/// A unit of speed in an address, where a slash would need an escape.
const fn speed_word(unit: SpeedUnit) -> &'static str {
    match unit {
        SpeedUnit::KilometrePerHour => "kmh",
        SpeedUnit::MilePerHour => "mph",
    }
}

/// The units that the query of an address asks for, `speed=mph&tension=kg`. What is not known is as if
/// it were not there, so that no link ever fails for its units.
#[must_use]
pub fn units_asked(query: &str, of_bands: TensionUnit) -> Units {
    let mut units = Units::unchosen(of_bands);
    for (name, word) in query.split('&').filter_map(|part| part.split_once('=')) {
        match name {
            "speed" => {
                let mut all = SpeedUnit::ALL.iter().copied();
                units.speed = all
                    .find(|unit| speed_word(*unit) == word)
                    .unwrap_or(units.speed);
            }
            "tension" => {
                units.tension = TensionUnit::from_code(word).unwrap_or(units.tension);
            }
            _ => {}
        }
    }
    units
}
