//! The lines of a file of shots, cell by cell.

use super::columns::{Column, Header};
use super::decimal::{NotDecimal, decimal};
use super::{FaultCode, Faults, Rejection};
use crate::intake::json::shorten;
use crate::units::{Hundredths, SpeedUnit, TensionUnit};
use crate::vocabulary::{Arm, Direction, Stroke};
use csv::StringRecord;
use std::collections::BTreeMap;

/// Where a ball landed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Landed {
    /// In, and deep.
    Deep,
    /// In, but not deep.
    In,
    /// Not in.
    Out,
}

impl Landed {
    fn from_code(code: &str) -> Option<Self> {
        match code {
            "deep" => Some(Self::Deep),
            "in" => Some(Self::In),
            "out" => Some(Self::Out),
            _ => None,
        }
    }
}

/// One shot.
#[derive(Clone, Copy, Debug)]
pub(super) struct Shot {
    pub(super) line: u64,
    pub(super) stroke: Stroke,
    pub(super) direction: Option<Direction>,
    pub(super) landed: Option<Landed>,
    pub(super) speed: Option<Hundredths>,
}

/// What a cell says that holds for a whole session.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Fact {
    Number(Hundredths),
    Arm(Arm),
    TensionUnit(TensionUnit),
    SpeedUnit(SpeedUnit),
    /// The cell is empty, which says something too.
    Blank,
}

/// One session as far as it was read.
#[derive(Debug, Default)]
pub(super) struct Session {
    pub(super) first_line: u64,
    facts: BTreeMap<Column, (Fact, u64)>,
    pub(super) shots: Vec<Shot>,
}

impl Session {
    /// What a column says of the session, and at which line first.
    pub(super) fn fact(&self, column: Column) -> Option<(Fact, u64)> {
        self.facts.get(&column).copied()
    }

    /// A number that holds for the whole session.
    pub(super) fn number(&self, column: Column) -> Option<Hundredths> {
        match self.fact(column) {
            Some((Fact::Number(number), _)) => Some(number),
            _ => None,
        }
    }
}

/// A file being read: its sessions so far and everything at fault.
#[derive(Debug)]
pub(super) struct Reading {
    header: Header,
    decimal_comma: bool,
    sessions: BTreeMap<i64, Session>,
    latest: Option<(i64, u64)>,
    pub(super) n_shots: usize,
    pub(super) faults: Faults,
}

/// One line with what is needed to fault its cells.
struct Row<'a> {
    header: &'a Header,
    decimal_comma: bool,
    record: &'a StringRecord,
    line: u64,
    faults: &'a mut Faults,
}

/// Bounds of a number in hundredths, as the schema of a contribution has them: above the first, or
/// from it on, up to the second.
const TENSION: (i64, i64) = (1, 10_000);
const SPEED: (i64, i64) = (1, 30_000);
const MINUTES: (i64, i64) = (0, 60_000);
const SESSION: (i64, i64) = (100, 800);

impl Reading {
    pub(super) fn new(header: Header, decimal_comma: bool) -> Self {
        Self {
            header,
            decimal_comma,
            sessions: BTreeMap::new(),
            latest: None,
            n_shots: 0,
            faults: Faults::default(),
        }
    }

    /// Reads one line.
    pub(super) fn shot(&mut self, record: &StringRecord, line: u64) {
        self.n_shots += 1;
        let mut row = Row {
            header: &self.header,
            decimal_comma: self.decimal_comma,
            record,
            line,
            faults: &mut self.faults,
        };
        row.fits();
        let session = row.session();
        let facts = row.facts();
        let shot = row.shot();
        let Some(number) = session else { return };
        self.in_order(number, line);
        let session = self.sessions.entry(number).or_insert_with(|| Session {
            first_line: line,
            ..Session::default()
        });
        for (column, fact) in facts {
            let (known, since) = *session.facts.entry(column).or_insert((fact, line));
            if known != fact {
                self.faults.add(
                    line,
                    Some(column.code()),
                    FaultCode::DiffersInSession,
                    format!(
                        "This is not what line {since} says of session {number}; write the same in all lines of a session, or give this one another number."
                    ),
                );
            }
        }
        session.shots.extend(shot);
    }

    /// Sessions follow each other in the order played.
    fn in_order(&mut self, number: i64, line: u64) {
        match self.latest {
            Some((latest, since)) if number < latest => self.faults.add(
                line,
                Some(Column::Session.code()),
                FaultCode::OutOfOrder,
                format!(
                    "Session {number} stands below session {latest}, which began at line {since}; keep the lines in the order played and number the sessions so."
                ),
            ),
            Some((latest, _)) if number == latest => {}
            _ => self.latest = Some((number, line)),
        }
    }

    /// The sessions by number.
    ///
    /// # Errors
    /// When anything is at fault, or nothing was there.
    pub(super) fn finish(mut self, header_line: u64) -> Result<BTreeMap<i64, Session>, Rejection> {
        if self.n_shots == 0 {
            self.faults.add(
                header_line,
                None,
                FaultCode::TooFew,
                "There is no shot below the names of the columns; add one line for each shot."
                    .to_owned(),
            );
        }
        self.faults.none()?;
        Ok(self.sessions)
    }
}

impl Row<'_> {
    fn cell(&self, column: Column) -> &str {
        self.header.cell(self.record, column)
    }

    fn fault(&mut self, column: Column, code: FaultCode, sentence: String) {
        self.faults
            .add(self.line, Some(column.code()), code, sentence);
    }

    /// Whether every cell that is filled in stands under a name.
    fn fits(&mut self) {
        let n_columns = self.header.n_columns;
        if let Some(place) = self.header.stray(self.record) {
            let sentence = format!(
                "Something stands in column {place}, which the first line does not name; remove it, or put a text with a comma into quotes."
            );
            self.faults.add(
                self.line,
                Some(&place.to_string()),
                FaultCode::WrongForm,
                sentence,
            );
        } else if self.record.len() < n_columns {
            let sentence = format!(
                "The line has {} columns and the first one {n_columns}; keep the separators of empty cells.",
                self.record.len()
            );
            self.faults
                .add(self.line, None, FaultCode::WrongForm, sentence);
        }
    }

    fn session(&mut self) -> Option<i64> {
        // The template's own lines carry this word, so that nobody sends them by accident.
        if self
            .cell(Column::Session)
            .to_ascii_lowercase()
            .starts_with("example")
        {
            self.fault(
                Column::Session,
                FaultCode::NotInList,
                "This is an example line of the template; delete it.".to_owned(),
            );
            return None;
        }
        let number = self.required_number(Column::Session, SESSION)?.count();
        if number % 100 != 0 {
            let sentence = "A session has a whole number, 1 to 8.".to_owned();
            self.fault(Column::Session, FaultCode::NotWhole, sentence);
            return None;
        }
        Some(number / 100)
    }

    /// What the line says that must hold for its whole session.
    fn facts(&mut self) -> Vec<(Column, Fact)> {
        let mut facts = Vec::new();
        let arm = self.required_word(Column::StringBed, Arm::from_code, "looser or tighter");
        facts.extend(arm.map(|arm| (Column::StringBed, Fact::Arm(arm))));
        let tension = self.required_number(Column::Tension, TENSION);
        facts.extend(tension.map(|tension| (Column::Tension, Fact::Number(tension))));
        let unit = self.required_word(Column::TensionUnit, TensionUnit::from_code, "lb or kg");
        facts.extend(unit.map(|unit| (Column::TensionUnit, Fact::TensionUnit(unit))));
        if self.cell(Column::CrossesTension).is_empty() {
            facts.push((Column::CrossesTension, Fact::Blank));
        } else {
            let crosses = self.number(Column::CrossesTension, TENSION);
            facts.extend(crosses.map(|crosses| (Column::CrossesTension, Fact::Number(crosses))));
        }
        // These are said once for each session or in every line of it.
        let partner = self.number(Column::PartnerSpeed, SPEED);
        facts.extend(partner.map(|partner| (Column::PartnerSpeed, Fact::Number(partner))));
        let minutes = self.number(Column::Minutes, MINUTES);
        facts.extend(minutes.map(|minutes| (Column::Minutes, Fact::Number(minutes))));
        let needs_unit = [Column::Speed, Column::PartnerSpeed]
            .iter()
            .any(|column| !self.cell(*column).is_empty());
        let words = "km/h or mph";
        let unit = if needs_unit {
            self.required_word(Column::SpeedUnit, SpeedUnit::from_code, words)
        } else {
            self.word(Column::SpeedUnit, SpeedUnit::from_code, words)
        };
        facts.extend(unit.map(|unit| (Column::SpeedUnit, Fact::SpeedUnit(unit))));
        facts
    }

    fn shot(&mut self) -> Option<Shot> {
        let single_stroke =
            |code: &str| Stroke::from_code(code).filter(|stroke| *stroke != Stroke::All);
        let single_direction = |code: &str| {
            Direction::from_code(code).filter(|direction| *direction != Direction::All)
        };
        let stroke = self.required_word(
            Column::Stroke,
            single_stroke,
            "forehand, backhand, serve or volley",
        );
        let direction = self.word(
            Column::Direction,
            single_direction,
            "crosscourt, down_the_line or middle, or nothing",
        );
        let landed = self.word(
            Column::Landed,
            Landed::from_code,
            "deep, in or out, or nothing when it was not seen",
        );
        let speed = self.number(Column::Speed, SPEED);
        Some(Shot {
            line: self.line,
            stroke: stroke?,
            direction,
            landed,
            speed,
        })
    }

    /// A word of a list, however it is capitalised; `None` when the cell is empty or at fault.
    fn word<T>(
        &mut self,
        column: Column,
        from_code: impl Fn(&str) -> Option<T>,
        words: &str,
    ) -> Option<T> {
        let cell = self.cell(column);
        if cell.is_empty() {
            return None;
        }
        let found = from_code(&cell.to_ascii_lowercase());
        if found.is_none() {
            let sentence = format!("\"{}\" is not in the list; write {words}.", shorten(cell));
            self.fault(column, FaultCode::NotInList, sentence);
        }
        found
    }

    fn required_word<T>(
        &mut self,
        column: Column,
        from_code: impl Fn(&str) -> Option<T>,
        words: &str,
    ) -> Option<T> {
        if self.cell(column).is_empty() {
            let sentence = format!("This cell is empty; write {words}.");
            self.fault(column, FaultCode::Missing, sentence);
        }
        self.word(column, from_code, words)
    }

    fn required_number(&mut self, column: Column, bounds: (i64, i64)) -> Option<Hundredths> {
        if self.cell(column).is_empty() {
            let sentence = "This cell is empty; write a number.".to_owned();
            self.fault(column, FaultCode::Missing, sentence);
        }
        self.number(column, bounds)
    }

    /// A number within bounds; `None` when the cell is empty or at fault.
    fn number(&mut self, column: Column, (lowest, highest): (i64, i64)) -> Option<Hundredths> {
        let cell = self.cell(column);
        if cell.is_empty() {
            return None;
        }
        let shown = shorten(cell);
        let (code, sentence) = match decimal(cell, self.decimal_comma) {
            Ok(count) if count < lowest => (
                FaultCode::TooSmall,
                format!(
                    "{shown} is below {}, the smallest accepted value.",
                    Hundredths::from_count(lowest).to_f64()
                ),
            ),
            Ok(count) if highest < count => (
                FaultCode::TooLarge,
                format!(
                    "{shown} is above {}, the largest accepted value.",
                    highest / 100
                ),
            ),
            Ok(count) => return Some(Hundredths::from_count(count)),
            Err(NotDecimal::TooFine) => (
                FaultCode::TooManyDecimals,
                format!("{shown} has more than two decimals; round it."),
            ),
            Err(NotDecimal::Comma) => (
                FaultCode::WrongType,
                format!(
                    "\"{shown}\" has a comma; write decimals with a point, or separate the columns by semicolons."
                ),
            ),
            Err(NotDecimal::Other) => (
                FaultCode::WrongType,
                format!("\"{shown}\" is not a number; write digits alone, as in 97.5."),
            ),
        };
        self.fault(column, code, sentence);
        None
    }
}
