//! The columns of a file of shots, and the line that names them.

use super::{FaultCode, Faults, Rejection};
use crate::intake::json::shorten;
use crate::vocabulary::word_list;
use csv::StringRecord;

word_list! {
    /// A column of a file of shots; the code is its name.
    Column {
        /// Which session.
        Session = "session",
        /// Which string bed.
        StringBed = "string_bed",
        /// Reference tension of the mains.
        Tension = "tension",
        /// Unit of the tensions.
        TensionUnit = "tension_unit",
        /// Reference tension of the crosses.
        CrossesTension = "crosses_tension",
        /// Minutes of hitting.
        Minutes = "minutes",
        /// The partner's mean speed.
        PartnerSpeed = "partner_speed",
        /// The stroke.
        Stroke = "stroke",
        /// The direction.
        Direction = "direction",
        /// Where the ball landed.
        Landed = "landed",
        /// The ball's speed.
        Speed = "speed",
        /// Unit of the speeds.
        SpeedUnit = "speed_unit",
    }
}

impl Column {
    /// Whether every file has it.
    #[must_use]
    pub const fn is_required(self) -> bool {
        !matches!(
            self,
            Self::CrossesTension | Self::Minutes | Self::PartnerSpeed | Self::Direction
        )
    }

    /// What to write in it.
    #[must_use]
    pub const fn meaning(self) -> &'static str {
        match self {
            Self::Session => "Number of the session, 1 to 8, in the order played.",
            Self::StringBed => "looser or tighter. The same in all of a session.",
            Self::Tension => {
                "What the stringing machine was set to for the mains. The same in all of a session."
            }
            Self::TensionUnit => "lb or kg.",
            Self::CrossesTension => "The same for the crosses. Empty when it is that of the mains.",
            Self::Minutes => {
                "Minutes of hitting in this session, without the warm-up. Once for each session is enough."
            }
            Self::PartnerSpeed => {
                "Your partner’s mean ball speed in this session, in the unit of speed_unit. Once for each session is enough."
            }
            Self::Stroke => "forehand, backhand, serve or volley.",
            Self::Direction => "crosscourt, down_the_line or middle. Empty when not noted.",
            Self::Landed => {
                "deep (in and deep, as the protocol says), in (in but not deep) or out. Empty when not seen."
            }
            Self::Speed => "The ball’s speed, at most two decimals. Empty when not timed.",
            Self::SpeedUnit => {
                "km/h or mph. The same in all of a session; empty where no speed stands."
            }
        }
    }
}

/// Most columns of a file: several times those that there are. Each unknown name is compared with
/// every known one, so that a line of thousands would take long.
const MOST_COLUMNS: usize = 60;

/// Longest name that is compared; a longer one is no slip of a known name.
const LONGEST_NAME: usize = 40;

/// Where the columns of a file stand.
#[derive(Debug)]
pub(super) struct Header {
    places: Vec<(Column, usize)>,
    /// Columns that the first line names or leaves nameless.
    pub(super) n_columns: usize,
    nameless: Vec<usize>,
}

impl Header {
    /// # Errors
    /// Every name that is unknown, missing or there twice.
    pub(super) fn read(record: &StringRecord, line: u64) -> Result<Self, Rejection> {
        if MOST_COLUMNS < record.len() {
            return Err(headless(record, line));
        }
        let mut faults = Faults::default();
        let mut places: Vec<(Column, usize)> = Vec::new();
        let mut nameless = Vec::new();
        for (place, written) in record.iter().enumerate() {
            let name = written.to_ascii_lowercase();
            let Some(column) = Column::from_code(&name) else {
                if name.is_empty() {
                    nameless.push(place);
                } else {
                    unknown(&mut faults, line, written, &name);
                }
                continue;
            };
            if places.iter().any(|(known, _)| *known == column) {
                faults.add(
                    line,
                    Some(column.code()),
                    FaultCode::DuplicateKey,
                    format!(
                        "The column `{}` stands there twice; keep one of them.",
                        column.code()
                    ),
                );
            } else {
                places.push((column, place));
            }
        }
        if places.is_empty() {
            return Err(headless(record, line));
        }
        for column in Column::ALL {
            if column.is_required() && !places.iter().any(|(known, _)| known == column) {
                faults.add(
                    line,
                    Some(column.code()),
                    FaultCode::Missing,
                    format!(
                        "The first line must name the column `{}`; add it. Its cells: {}",
                        column.code(),
                        column.meaning()
                    ),
                );
            }
        }
        faults.none()?;
        Ok(Self {
            places,
            n_columns: record.len(),
            nameless,
        })
    }

    /// What stands in a column of a line; nothing where the file does not have the column.
    pub(super) fn cell<'a>(&self, record: &'a StringRecord, column: Column) -> &'a str {
        let mut places = self.places.iter();
        places
            .find(|(known, _)| *known == column)
            .and_then(|(_, place)| record.get(*place))
            .unwrap_or_default()
    }

    /// The first cell that stands under no name, counted from 1.
    pub(super) fn stray(&self, record: &StringRecord) -> Option<usize> {
        let mut cells = record.iter().enumerate();
        cells
            .find(|(place, cell)| {
                let has_no_name = self.n_columns <= *place || self.nameless.contains(place);
                has_no_name && !cell.is_empty()
            })
            .map(|(place, _)| place + 1)
    }
}

/// A first line with no name that is known.
fn headless(record: &StringRecord, line: u64) -> Rejection {
    let only = record.get(0).unwrap_or_default();
    let sentence = if record.len() == 1 && only.contains('\t') {
        "Separate the columns by commas or semicolons.".to_owned()
    } else {
        let names: Vec<&str> = Column::ALL.iter().map(|column| column.code()).collect();
        format!(
            "The first line must name the columns; the names are {}.",
            names.join(", ")
        )
    };
    Rejection::malformed(format!("line {line}"), FaultCode::Missing, sentence)
}

fn unknown(faults: &mut Faults, line: u64, written: &str, name: &str) {
    let shown = shorten(written);
    let close = name.len() <= LONGEST_NAME;
    let nearest = Column::ALL
        .iter()
        .filter(|_| close)
        .map(|column| {
            (
                strsim::damerau_levenshtein(column.code(), name),
                column.code(),
            )
        })
        .min();
    // As with the fields of a document: one slip of the finger in a short word, two in a longer one.
    let slips = if name.chars().count() < 6 { 1 } else { 2 };
    let mend = match nearest {
        Some((distance, column)) if distance <= slips => format!("did you mean `{column}`?"),
        _ => "remove it, or rename it as the list of columns has it.".to_owned(),
    };
    faults.add(
        line,
        Some(&shown),
        FaultCode::UnknownField,
        format!("`{shown}` is not a column here; {mend}"),
    );
}
