//! The form by which a host writes a study: its fields, in order, and what was typed.
//!
//! Like the contributor's form, one table says of every field what it is called and where in the
//! document it goes. Absent on purpose: JSON, HTML, and any judgement of what was typed.

use super::fields::Kind;
use super::words::{self, Choice};

mod entries;

pub use entries::StudyEntries;

/// Most primary outcomes of a study.
pub const MOST_PRIMARY: usize = 3;

/// Part of the form, with a heading of its own.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Part {
    /// The question and its name.
    Question,
    /// What is compared.
    Outcomes,
    /// The tension gaps.
    Gaps,
    /// How sessions are played.
    Sessions,
    /// When figures change, and which range a release states.
    Publishing,
    /// What contributors read.
    Texts,
    /// Who hosts it, and on what terms.
    Hosting,
}

impl Part {
    /// Every part, in the order of the form.
    pub const ALL: [Self; 7] = [
        Self::Question,
        Self::Outcomes,
        Self::Gaps,
        Self::Sessions,
        Self::Publishing,
        Self::Texts,
        Self::Hosting,
    ];

    /// Its heading.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Question => "The question",
            Self::Outcomes => "What is compared",
            Self::Gaps => "The tension gaps",
            Self::Sessions => "The sessions",
            Self::Publishing => "When figures are published",
            Self::Texts => "What contributors read",
            Self::Hosting => "Who hosts it, and on what terms",
        }
    }
}

/// How much is typed into a field.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Size {
    /// A line.
    Line,
    /// Several lines.
    Paragraphs,
}

/// One field of the form.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct StudyField {
    /// Its name.
    pub name: &'static str,
    /// What it takes.
    pub kind: Kind,
    /// How much of it.
    pub size: Size,
    /// Where it stands.
    pub part: Part,
    /// Where it goes in the document, as a path; empty when more than one place is made from it.
    pub place: &'static str,
    /// What it is called.
    pub label: &'static str,
    /// What helps to fill it.
    pub hint: &'static str,
}

const fn field(
    part: Part,
    name: &'static str,
    kind: Kind,
    place: &'static str,
    label: &'static str,
    hint: &'static str,
) -> StudyField {
    StudyField {
        name,
        kind,
        size: Size::Line,
        part,
        place,
        label,
        hint,
    }
}

const fn paragraphs(
    part: Part,
    name: &'static str,
    place: &'static str,
    label: &'static str,
    hint: &'static str,
) -> StudyField {
    StudyField {
        size: Size::Paragraphs,
        ..field(part, name, Kind::Text, place, label, hint)
    }
}

/// What helps to name a wording.
const WORDING: &str = "A short name, such as 1. Another text needs another name, so that one can tell which was read.";

/// Every field, in the order of the form, but for the primary outcomes.
pub const STUDY_FIELDS: &[StudyField] = &[
    paragraphs(
        Part::Question,
        "question",
        "question",
        "The question, in one sentence",
        "It stands at the head of every page.",
    ),
    field(
        Part::Question,
        "study",
        Kind::Text,
        "study",
        "Short name",
        "Small letters, digits and hyphens, such as looser-or-tighter. It stands in the address and cannot be changed later.",
    ),
    field(
        Part::Question,
        "invented",
        Kind::Tick,
        "invented",
        "The data are made up, for trying out",
        "Every page then says so. It cannot be changed once recruiting is open.",
    ),
    paragraphs(
        Part::Outcomes,
        "deep_text",
        "protocol/deep/text",
        "What counts as deep",
        "So exactly that two people count the same shots.",
    ),
    field(
        Part::Outcomes,
        "deep_version",
        Kind::Text,
        "protocol/deep/version",
        "Name of this wording",
        WORDING,
    ),
    field(
        Part::Gaps,
        "gap_unit",
        Kind::Choice(words::TENSION_UNIT),
        "protocol/gap_unit",
        "Unit of the gaps",
        "",
    ),
    field(
        Part::Gaps,
        "gap_band_edges",
        Kind::Text,
        "protocol/gap_band_edges",
        "From which gaps on bands begin",
        "With spaces between, such as 5 8 12 16. The first is the smallest gap that follows the protocol; the last band has no upper end.",
    ),
    field(
        Part::Sessions,
        "session_minutes",
        Kind::Whole,
        "protocol/session_minutes",
        "Minutes of a session",
        "",
    ),
    field(
        Part::Sessions,
        "warm_up_minutes",
        Kind::Whole,
        "protocol/warm_up_minutes",
        "Minutes of warm-up before each session",
        "",
    ),
    field(
        Part::Sessions,
        "minimum_shots",
        Kind::Whole,
        "protocol/minimum_shots",
        "Fewest shots of a kind with each string bed",
        "With fewer, that comparison of a player is left out.",
    ),
    field(
        Part::Sessions,
        "rally_length",
        Kind::Whole,
        "protocol/rally_length",
        "A rally is long when it has more shots than",
        "",
    ),
    field(
        Part::Sessions,
        "adults_only",
        Kind::Tick,
        "protocol/adults_only",
        "Contributors have to say that they are of age",
        "",
    ),
    field(
        Part::Publishing,
        "minimum_players",
        Kind::Whole,
        "protocol/minimum_players",
        "Fewest players behind any public figure",
        "At least 5.",
    ),
    field(
        Part::Publishing,
        "batch_players",
        Kind::Whole,
        "protocol/batch_players",
        "Figures change when so many players have come or gone",
        "At least 5, so that nobody can tell from two readings whose figures came.",
    ),
    field(
        Part::Publishing,
        "release_kind",
        Kind::Choice(RELEASE),
        "protocol/release_rule/kind",
        "Which range a release may state",
        "Whoever chooses the moment by the figures has looked every day, and only the wider range allows for that.",
    ),
    field(
        Part::Publishing,
        "release_on",
        Kind::Text,
        "protocol/release_rule/on",
        "That day",
        "Written as 2027-03-31. Only for a day fixed now.",
    ),
    field(
        Part::Publishing,
        "release_at_least",
        Kind::Whole,
        "protocol/release_rule/at_least",
        "That number of players",
        "At least 10. Only for a number fixed now.",
    ),
    paragraphs(
        Part::Texts,
        "consent_text",
        "protocol/consent/text",
        "What contributors agree to",
        "Leave an empty line between paragraphs.",
    ),
    field(
        Part::Texts,
        "consent_version",
        Kind::Text,
        "protocol/consent/version",
        "Name of this wording",
        WORDING,
    ),
    paragraphs(
        Part::Texts,
        "caution",
        "protocol/caution",
        "Cautions",
        "Arm, heat, the maker’s range of tension, the stringing machine. Refer to the maker, to local rules and to people licensed for it.",
    ),
    field(
        Part::Hosting,
        "host_name",
        Kind::Text,
        "host_name",
        "Who publishes",
        "As you want to be called; a pseudonym will do.",
    ),
    field(
        Part::Hosting,
        "contact",
        Kind::Text,
        "contact",
        "How to reach you, in one line",
        "It is public. Recruiting cannot open without it.",
    ),
    field(
        Part::Hosting,
        "licence_name",
        Kind::Text,
        "licence/name",
        "Licence of the published data",
        "Its short name, such as CC0-1.0 or CC-BY-4.0. Recruiting cannot open without it.",
    ),
    field(
        Part::Hosting,
        "licence_url",
        Kind::Text,
        "licence/url",
        "Where the licence can be read",
        "An address that begins with https://. It may be left blank.",
    ),
    paragraphs(
        Part::Hosting,
        "privacy_text",
        "privacy/text",
        "Privacy notice",
        "What is kept, why, how long (what is withdrawn is erased within 30 days, and is in backups until they are removed), who reads it, and what rights contributors have where you and they live. Recruiting cannot open without it.",
    ),
    field(
        Part::Hosting,
        "privacy_version",
        Kind::Text,
        "privacy/version",
        "Name of this wording",
        WORDING,
    ),
];

/// The fields of one primary outcome. Their names get its number, from 1: `outcome_1`.
pub const PRIMARY_FIELDS: &[StudyField] = &[
    field(
        Part::Outcomes,
        "outcome",
        Kind::Choice(OUTCOME),
        "outcome",
        "Compared",
        "",
    ),
    field(
        Part::Outcomes,
        "stroke",
        Kind::Choice(words::STROKE),
        "stroke",
        "Stroke",
        "",
    ),
    field(
        Part::Outcomes,
        "direction",
        Kind::Choice(words::DIRECTION),
        "direction",
        "Direction",
        "",
    ),
    field(
        Part::Outcomes,
        "worthwhile",
        Kind::Decimal,
        "smallest_worthwhile",
        "Smallest difference that would matter",
        "In km/h for speed, in percentage points for shares.",
    ),
];

const OUTCOME: &[Choice] = &[
    words::choice("speed", "Mean ball speed"),
    words::choice("in_share", "Share of shots that land in"),
    words::choice("deep_share", "Share of those that land deep"),
];

const RELEASE: &[Choice] = &[
    words::choice(
        "none",
        "Always the one that stays valid however often one looks",
    ),
    words::choice("date", "The ordinary one from a day on that is fixed now"),
    words::choice(
        "players",
        "The ordinary one from a number of players on that is fixed now",
    ),
];

/// The name of a primary outcome's field.
#[must_use]
pub fn primary_name(field: &StudyField, number: usize) -> String {
    format!("{}_{number}", field.name)
}

/// The name of every field.
pub fn names() -> impl Iterator<Item = String> {
    let primary = (1..=MOST_PRIMARY).flat_map(|number| {
        PRIMARY_FIELDS
            .iter()
            .map(move |field| primary_name(field, number))
    });
    let fields = STUDY_FIELDS.iter().map(|field| field.name.to_owned());
    fields.chain(primary)
}

/// Something to mend in what was typed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct StudyFault {
    /// The field's name; `None` when no single field is at fault.
    pub field: Option<String>,
    /// How to mend it.
    pub sentence: String,
}
