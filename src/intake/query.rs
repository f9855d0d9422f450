//! A question to published rows, as it stands behind the question mark of an address or behind
//! `--where`: `outcome=speed&stroke=forehand&gap_from=5`.
//!
//! Names and words are the program's own, so nothing in them ever needs a percent sign; what is
//! encoded all the same is read. Every fault is named at once, with the parameter as its place.

use super::fault::{Fault, FaultCode, Rejection, RejectionKind};
use super::json::{pointer_to, shorten};
use super::nearest::nearest;
use crate::findings::query::{Parameter, Query};
use crate::findings::{Estimator, IntervalKind, LevelBand, Publication};
use crate::pooling::Level;
use crate::protocol::GapBands;
use crate::vocabulary::{Direction, Outcome, StringFamily, Stroke};
use std::collections::BTreeMap;

/// String families that a row may tell. Of what is not known a row tells nothing.
pub const FAMILIES: [StringFamily; 6] = [
    StringFamily::NaturalGut,
    StringFamily::SyntheticGut,
    StringFamily::Multifilament,
    StringFamily::Polyester,
    StringFamily::Aramid,
    StringFamily::Other,
];

/// Reads a question to a publication. Outcome, stroke and direction that are left out are those of
/// its first primary outcome.
///
/// # Errors
/// A [`Rejection`] with every fault found; places are `/gap_from` and so on.
pub fn read(text: &str, publication: &Publication) -> Result<Query, Rejection> {
    let mut given = Given::default();
    for part in text.split('&').filter(|part| !part.is_empty()) {
        given.take(part);
    }
    let query = given.query(publication);
    if given.faults.is_empty() {
        return Ok(query);
    }
    given.faults.sort();
    Err(Rejection::new(RejectionKind::Invalid, given.faults))
}

/// The words that a parameter takes; none where it takes a number.
#[must_use]
pub fn words(parameter: Parameter, bands: &GapBands) -> Vec<String> {
    fn codes<T: Copy>(all: &[T], code: fn(T) -> &'static str) -> Vec<String> {
        all.iter().map(|word| code(*word).to_owned()).collect()
    }
    match parameter {
        Parameter::Outcome => codes(Outcome::ALL, Outcome::code),
        Parameter::Stroke => codes(Stroke::ALL, Stroke::code),
        Parameter::Direction => codes(Direction::ALL, Direction::code),
        Parameter::Band => bands.all().map(GapBands::code).collect(),
        Parameter::StringFamily => codes(&FAMILIES, StringFamily::code),
        Parameter::LevelBand => codes(LevelBand::ALL, LevelBand::code),
        Parameter::Planned | Parameter::Blinded => codes(&["true", "false"], |word| word),
        Parameter::Estimator => codes(Estimator::ALL, Estimator::code),
        Parameter::Interval => codes(IntervalKind::ALL, IntervalKind::code),
        Parameter::GapFrom | Parameter::GapBelow | Parameter::Level => Vec::new(),
    }
}

/// What was written, each parameter once.
#[derive(Default)]
struct Given {
    values: BTreeMap<Parameter, String>,
    faults: Vec<Fault>,
}

impl Given {
    fn fault(&mut self, name: &str, code: FaultCode, sentence: String) {
        self.faults
            .push(Fault::new(pointer_to("", name), code, sentence));
    }

    fn take(&mut self, part: &str) {
        let (name, value) = part.split_once('=').unwrap_or((part, ""));
        let (Some(name), Some(value)) = (decoded(name), decoded(value)) else {
            let sentence = format!("`{}` is not percent-encoded UTF-8.", shorten(part));
            return self.fault(name, FaultCode::NotUtf8, sentence);
        };
        let shown = shorten(&name);
        let Some(parameter) = Parameter::from_code(&name) else {
            let known: Vec<&str> = Parameter::ALL.iter().map(|known| known.code()).collect();
            let mend = match nearest(&known, &name) {
                Some(known) => format!("did you mean `{known}`?"),
                None => format!("use one of: {}.", known.join(", ")),
            };
            let sentence = format!("`{shown}` is not a parameter here; {mend}");
            return self.fault(&name, FaultCode::UnknownField, sentence);
        };
        if self.values.insert(parameter, value).is_some() {
            let sentence = format!("`{shown}` stands there twice; keep one of them.");
            self.fault(&name, FaultCode::DuplicateKey, sentence);
        }
    }

    fn query(&mut self, publication: &Publication) -> Query {
        let rules = &publication.rules;
        let bands = &rules.bands;
        let mut query = Query::first(rules);
        let outcome = self.word(Parameter::Outcome, bands, Outcome::from_code);
        query.outcome = outcome.unwrap_or(query.outcome);
        let stroke = self.word(Parameter::Stroke, bands, Stroke::from_code);
        query.class.stroke = stroke.unwrap_or(query.class.stroke);
        let direction = self.word(Parameter::Direction, bands, Direction::from_code);
        query.class.direction = direction.unwrap_or(query.class.direction);
        query.band = self.word(Parameter::Band, bands, |code| bands.from_code(code));
        let widest = Query::widest_gap_lb();
        query.gap_from = self.pounds(Parameter::GapFrom, 0, widest);
        query.gap_below = self.pounds(Parameter::GapBelow, 1, widest + 1);
        if let (Some(from), Some(below)) = (query.gap_from, query.gap_below)
            && below <= from
        {
            let sentence = format!(
                "{below} is not above gap_from, {from}; the range holds gaps from gap_from to under gap_below."
            );
            self.fault(Parameter::GapBelow.code(), FaultCode::TooSmall, sentence);
        }
        let family = |code: &str| FAMILIES.into_iter().find(|family| family.code() == code);
        query.string_family = self.word(Parameter::StringFamily, bands, family);
        query.level_band = self.word(Parameter::LevelBand, bands, LevelBand::from_code);
        let truth = |word: &str| word.parse::<bool>().ok();
        query.planned = self.word(Parameter::Planned, bands, truth);
        query.blinded = self.word(Parameter::Blinded, bands, truth);
        let estimator = self.word(Parameter::Estimator, bands, Estimator::from_code);
        query.choice.estimator = estimator.unwrap_or(query.choice.estimator);
        query.choice.interval = self.word(Parameter::Interval, bands, IntervalKind::from_code);
        // What is the publication's own level need not be said.
        query.level = self.level().filter(|level| *level != publication.level);
        query
    }

    fn word<T>(
        &mut self,
        parameter: Parameter,
        bands: &GapBands,
        read: impl Fn(&str) -> Option<T>,
    ) -> Option<T> {
        let value = self.values.get(&parameter)?;
        let word = read(value);
        if word.is_none() {
            let words = words(parameter, bands);
            let known: Vec<&str> = words.iter().map(String::as_str).collect();
            let meant = nearest(&known, value);
            let meant = meant.map_or_else(String::new, |word| format!("; did you mean `{word}`?"));
            let sentence = format!(
                "\"{}\" is not in the list; write one of {}{}",
                shorten(value),
                known.join(", "),
                if meant.is_empty() { "." } else { &meant }
            );
            self.fault(parameter.code(), FaultCode::NotInList, sentence);
        }
        word
    }

    fn pounds(&mut self, parameter: Parameter, least: i64, most: i64) -> Option<i64> {
        let value = self.values.get(&parameter)?;
        let shown = shorten(value);
        let asks = format!("write a whole number of pounds, {least} to {most}");
        let is_whole = !value.is_empty() && value.bytes().all(|byte| byte.is_ascii_digit());
        let negative = value.strip_prefix('-');
        let (code, sentence) = match value.parse::<i64>() {
            Ok(pounds) if is_whole && (least..=most).contains(&pounds) => return Some(pounds),
            Ok(pounds) if is_whole && pounds < least => {
                (FaultCode::TooSmall, format!("{shown} is below {least}"))
            }
            _ if is_whole => (FaultCode::TooLarge, format!("{shown} is above {most}")),
            _ if negative.is_some_and(|digits| digits.parse::<f64>().is_ok()) => {
                (FaultCode::TooSmall, format!("{shown} is below {least}"))
            }
            _ => (
                FaultCode::NotWhole,
                format!("\"{shown}\" is not a whole number"),
            ),
        };
        self.fault(parameter.code(), code, format!("{sentence}; {asks}."));
        None
    }

    fn level(&mut self) -> Option<Level> {
        let value = self.values.get(&Parameter::Level)?;
        let shown = shorten(value);
        let is_plain = value
            .bytes()
            .all(|byte| byte.is_ascii_digit() || byte == b'.');
        let number = value.parse::<f64>().ok().filter(|_| is_plain);
        let (code, what) = match number {
            None => (FaultCode::WrongType, format!("\"{shown}\" is not a number")),
            Some(number) => match Level::new(number) {
                Ok(level) => return Some(level),
                Err(_) if number < 0.5 => (FaultCode::TooSmall, format!("{shown} is below 0.5")),
                Err(_) => (FaultCode::TooLarge, format!("{shown} is not below 1")),
            },
        };
        let sentence = format!("{what}; write a level from 0.5 to under 1, such as 0.9.");
        self.fault(Parameter::Level.code(), code, sentence);
        None
    }
}

/// A text without its percent-encoding (RFC 3986, section 2.1); `None` when it is none.
fn decoded(text: &str) -> Option<String> {
    let mut bytes = Vec::with_capacity(text.len());
    let mut rest = text.bytes();
    while let Some(byte) = rest.next() {
        bytes.push(if byte == b'%' {
            let digit = |byte: u8| char::from(byte).to_digit(16);
            let value = digit(rest.next()?)? * 16 + digit(rest.next()?)?;
            u8::try_from(value).ok()?
        } else {
            byte
        });
    }
    String::from_utf8(bytes).ok()
}

#[cfg(test)]
mod tests;
