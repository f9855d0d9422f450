//! The form's entries as a contribution, and a contribution as entries.
//!
//! A contribution is always one document, held against the same schema and rules whichever door it
//! came through. What is typed into the form becomes that document here, with a list of which place
//! came from which field, so that every fault can be shown where it is to be mended.
//!
//! Nothing is guessed: a field left blank is absent, a text that is no number stands in the
//! document as a text and is refused as such, and what the document has no place for (a count or a
//! percentage?) is asked for.

mod back;
mod number;
mod places;
mod study;

pub use back::entries;
pub use places::Places;
pub use study::{at_study_fields, new_study, study_document, study_entries};

use super::fault::{Fault, FaultCode, FlagCode};
use super::schema::Schema;
use crate::form::{Entries, Field, FieldFault, Kind, MOST_CLASSES, Repeat, Spot, Step, spots_of};
use crate::plan;
use crate::protocol::Study;
use crate::vocabulary::{Arm, ConsentScope};
use serde_json::{Map, Value, json};

/// Entries with what is to be mended in them.
#[derive(Clone, Debug)]
pub struct Checked {
    /// The document, as it is sent.
    pub document: Vec<u8>,
    /// What is to be mended, in the order of the form; nothing when it can be sent.
    pub faults: Vec<FieldFault>,
    /// What is worth a second look before it is sent, in the order of the form.
    pub flags: Vec<FieldFault>,
}

/// Makes the document and holds it against the schema and the rules.
#[must_use]
pub fn check(entries: &Entries, study: &Study) -> Checked {
    let (document, places) = document(entries, study);
    let document = document.to_string().into_bytes();
    let mut faults = places.asked().to_vec();
    let (read, mut flags) = super::judged(&document, study);
    if let Err(rejection) = read {
        faults.extend(rejection.faults);
    }
    // It tells what was taken for granted, and not of a slip.
    flags.retain(|flag| flag.code != FlagCode::TimedCountAssumed);
    Checked {
        faults: places.at_fields(faults, entries),
        flags: places.flags_at_fields(flags),
        document,
    }
}

/// The document that entries make, and which of its places came from which field.
#[must_use]
pub fn document(entries: &Entries, study: &Study) -> (Value, Places) {
    let mut maker = Maker {
        entries,
        study,
        places: Places::default(),
    };
    let document = maker.whole();
    maker.ask();
    (document, maker.places)
}

/// What is being made.
struct Maker<'a> {
    entries: &'a Entries,
    study: &'a Study,
    places: Places,
}

impl Maker<'_> {
    fn whole(&mut self) -> Value {
        let mut root = Map::new();
        root.insert("study".to_owned(), json!(self.study.label.slug));
        for step in [Step::Send, Step::Setup, Step::Device, Step::About] {
            self.fields(&mut root, "", spots_of(step));
        }
        for part in ["scope", "text_version"] {
            self.places
                .put(format!("/consent/{part}"), "consent_pooling");
        }
        if let Some(scope) = self.scope() {
            insert(&mut root, "consent/scope", json!(scope.code()));
        }
        let arms = self.entries.arms();
        let sessions: Vec<Value> = (1..)
            .zip(&arms)
            .map(|(number, arm)| self.session(number, *arm))
            .collect();
        self.places.put("/sessions", "order");
        root.insert("sessions".to_owned(), Value::Array(sessions));
        Value::Object(root)
    }

    fn scope(&self) -> Option<ConsentScope> {
        let ticked = |name| !self.entries.is_blank(name);
        ticked("consent_pooling").then(|| {
            if ticked("consent_rows") {
                ConsentScope::PoolingAndRows
            } else {
                ConsentScope::Pooling
            }
        })
    }

    fn session(&mut self, number: usize, arm: Option<Arm>) -> Value {
        let at = format!("/sessions/{}", number - 1);
        let mut session = Map::new();
        self.places.put(format!("{at}/arm"), "order");
        if let Some(arm) = arm {
            session.insert("arm".to_owned(), json!(arm.code()));
        }
        // As long as the order is not known, the sessions stand for one of each.
        let shown = arm.unwrap_or(if number == 1 {
            Arm::Looser
        } else {
            Arm::Tighter
        });
        self.tension(&mut session, &at, shown);
        if let Some(crate::form::Order::Played(_)) = self.entries.order() {
            self.places.put(format!("{at}/order"), "order");
            session.insert("order".to_owned(), json!(number));
        }
        let step = Step::of_session(number).unwrap_or(Step::First);
        let of_session = |spot: &Spot| spot.field.repeat == Repeat::Session;
        self.fields(&mut session, &at, spots_of(step).filter(of_session));
        self.units(&mut session, &at);
        self.places
            .put(format!("{at}/spin"), format!("s{number}_topspin"));
        self.places
            .put(format!("{at}/shots"), format!("s{number}_c1_hit"));
        let mut lines = Vec::new();
        for class in 1..=MOST_CLASSES {
            let of_class = spots_of(step).filter(|spot| spot.class == class);
            let line = self.line(
                number,
                class,
                &format!("{at}/shots/{}", lines.len()),
                of_class,
            );
            lines.extend(line);
        }
        session.insert("shots".to_owned(), Value::Array(lines));
        Value::Object(session)
    }

    fn tension(&mut self, session: &mut Map<String, Value>, at: &str, arm: Arm) {
        let mut tension = Map::new();
        for part in ["mains", "crosses"] {
            let name = format!("{}_{part}", arm.code());
            self.places.put(format!("{at}/tension/{part}"), &name);
            if let Some(value) = number::typed(self.entries.get(&name), false) {
                tension.insert(part.to_owned(), value);
            }
        }
        self.unit(&mut tension, "unit", "tension_unit");
        self.places
            .put(format!("{at}/tension/unit"), "tension_unit");
        session.insert("tension".to_owned(), Value::Object(tension));
    }

    /// The units of what a session has and the form asks for once.
    fn units(&mut self, session: &mut Map<String, Value>, at: &str) {
        for (part, unit, name) in [
            ("partner", "speed_unit", "speed_unit"),
            ("measured_tension", "unit", "tension_unit"),
        ] {
            self.places.put(format!("{at}/{part}/{unit}"), name);
            if let Some(Value::Object(part)) = session.get_mut(part) {
                self.unit(part, unit, name);
            }
        }
    }

    fn unit(&self, part: &mut Map<String, Value>, key: &str, name: &str) {
        if !self.entries.is_blank(name) {
            part.insert(key.to_owned(), json!(self.entries.get(name)));
        }
    }

    /// One line of a session's table; `None` when nothing of it was filled.
    fn line(
        &mut self,
        session: usize,
        class: usize,
        at: &str,
        of_class: impl Iterator<Item = Spot> + Clone,
    ) -> Option<Value> {
        if of_class
            .clone()
            .all(|spot| self.entries.is_blank(&spot.name()))
        {
            return None;
        }
        let mut line = Map::new();
        let asked = crate::form::asked_classes(self.study);
        if let Some(known) = asked.get(class - 1) {
            line.insert("stroke".to_owned(), json!(known.stroke.code()));
            line.insert("direction".to_owned(), json!(known.direction.code()));
            self.places.put(at, format!("s{session}_c{class}_hit"));
        } else {
            for part in ["stroke", "direction"] {
                let name = format!("c{class}_{part}");
                self.places.put(format!("{at}/{part}"), &name);
                self.unit(&mut line, part, &name);
            }
            self.places.put(at, format!("c{class}_stroke"));
        }
        self.fields(&mut line, at, of_class);
        let has = |line: &Map<String, Value>, key: &str| line.contains_key(key);
        for (key, name, needs) in [
            ("deep_percent_of", "deep_percent_of", "deep_percent"),
            ("speed_unit", "speed_unit", "speed_mean"),
            ("speed_over", "speed_over", "speed_mean"),
            ("sd_divisor", "sd_divisor", "speed_sd"),
        ] {
            self.places.put(format!("{at}/{key}"), name);
            if has(&line, needs) {
                self.unit(&mut line, key, name);
            }
        }
        Some(Value::Object(line))
    }

    /// Puts fields that have one place each into an object of the document.
    fn fields(
        &mut self,
        into: &mut Map<String, Value>,
        at: &str,
        spots: impl Iterator<Item = Spot>,
    ) {
        for spot in spots {
            let Some(place) = place(spot.field, self.entries) else {
                continue;
            };
            let name = spot.name();
            let value = value(
                spot.field,
                self.entries.get(&name),
                is_percent(spot.field, self.entries),
            );
            self.places.put(format!("{at}/{place}"), name);
            if let Some(value) = value {
                insert(into, &place, value);
            }
        }
    }

    /// Asks at once for what the document would miss only later, and for what it has no place for.
    fn ask(&mut self) {
        let missing = |pointer: &str| Schema::Contribution.missing(pointer);
        if self.entries.is_blank("speed_unit") {
            let fault = missing("/sessions/0/shots/0/speed_unit");
            self.places.ask(fault, "speed_unit");
        }
        if self.entries.is_blank("shares_as") {
            let fault = Fault::new(
                "/sessions/0/shots".to_owned(),
                FaultCode::Missing,
                "Missing: whether shots in and deep are counts or percentages. Add it.".to_owned(),
            );
            self.places.ask(fault, "shares_as");
        }
        if self.entries.get("shares_as") == "percent" && self.entries.is_blank("deep_percent_of") {
            let fault = missing("/sessions/0/shots/0/deep_percent_of");
            self.places.ask(fault, "deep_percent_of");
        }
    }
}

/// Where a field goes below its object; `None` when that is not one place.
fn place(field: &Field, entries: &Entries) -> Option<String> {
    if field.place.is_empty() {
        return None;
    }
    Some(if is_percent(field, entries) {
        format!("{}_percent", field.place)
    } else {
        field.place.to_owned()
    })
}

/// Whether a field asks for a percentage of shots.
fn is_percent(field: &Field, entries: &Entries) -> bool {
    field.repeat == Repeat::Class
        && ["in", "deep"].contains(&field.stem)
        && entries.get("shares_as") == "percent"
}

/// What a field's text is in the document; `None` when it is blank.
fn value(field: &Field, text: &str, is_percent: bool) -> Option<Value> {
    if text.is_empty() {
        return None;
    }
    match field.kind {
        Kind::Whole | Kind::Decimal => number::typed(text, is_percent),
        // Words that are figures, such as levels, are numbers in the document.
        Kind::Choice(_) => Some(text.parse().map_or_else(|_| json!(text), |n: u8| json!(n))),
        Kind::Tick => Some(json!(true)),
        Kind::Text => Some(json!(tidy(field.stem, text))),
    }
}

/// Texts that may be typed in more than one way.
fn tidy(stem: &str, text: &str) -> String {
    match stem {
        "plan_code" => plan::as_typed(text),
        "pattern" => text
            .chars()
            .filter(|letter| *letter != ' ')
            .map(|letter| {
                if matches!(letter, '×' | 'X') {
                    'x'
                } else {
                    letter
                }
            })
            .collect(),
        _ => text.to_owned(),
    }
}

/// Puts a value at a path of objects, making those that are not there yet.
fn insert(into: &mut Map<String, Value>, path: &str, value: Value) {
    match path.split_once('/') {
        None => {
            into.insert(path.to_owned(), value);
        }
        Some((first, rest)) => {
            let inner = into
                .entry(first.to_owned())
                .or_insert_with(|| Value::Object(Map::new()));
            if let Value::Object(inner) = inner {
                insert(inner, rest, value);
            }
        }
    }
}
