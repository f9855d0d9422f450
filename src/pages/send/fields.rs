//! One field as it is shown.

use super::{Purpose, SendView};
use crate::findings::labels::class_label;
use crate::form::{
    Choice, Entries, FieldFault, Kind, Repeat, Shown, Spot, Step, Unit, find, spots_of,
};
use crate::protocol::Study;

/// One field with what stands in it.
pub(super) struct FieldView<'a> {
    pub(super) name: String,
    pub(super) label: &'static str,
    /// The unit as it was chosen; nothing when it has none or none was chosen yet.
    pub(super) unit: String,
    pub(super) unit_field: Option<&'static str>,
    pub(super) hint: String,
    pub(super) text: &'a str,
    pub(super) control: Control<'a>,
    /// What is to be mended.
    pub(super) fault: Option<String>,
    /// What is worth a second look.
    pub(super) flag: Option<String>,
    /// The identifiers of what describes it, separated by spaces.
    pub(super) described_by: String,
    pub(super) input_mode: &'static str,
    pub(super) longest: usize,
    /// What is converted live.
    pub(super) quantity: Option<&'static str>,
    /// The field that a share is a share of.
    pub(super) share_of: Option<String>,
    /// The field that it is a share of instead, when `deep_percent_of` says so.
    pub(super) share_of_in: Option<String>,
    /// The field of the first session that this one takes over.
    pub(super) same_as: Option<String>,
}

/// What is operated.
pub(super) enum Control<'a> {
    Line,
    Area,
    Select(Vec<ChoiceView<'a>>),
    Radios(Vec<ChoiceView<'a>>),
    Tick,
    Hidden,
}

/// One word that can be chosen.
pub(super) struct ChoiceView<'a> {
    pub(super) id: String,
    pub(super) choice: &'a Choice,
    pub(super) chosen: bool,
}

/// A field at its place.
pub(super) fn view<'a>(spot: &Spot, view: &SendView<'a>) -> FieldView<'a> {
    let name = spot.name();
    let text = view.entries.get(&name);
    let field = spot.field;
    let fault = told(view.faults, &name);
    let flag = told(view.flags, &name);
    let hint = hint(spot, view.study);
    let mut described = Vec::new();
    if fault.is_some() {
        described.push(format!("fault-{name}"));
    }
    if flag.is_some() {
        described.push(format!("flag-{name}"));
    }
    if !hint.is_empty() {
        described.push(format!("hint-{name}"));
    }
    let is_share = field.unit == Unit::Share;
    let of_first = Spot {
        session: 1,
        ..*spot
    };
    FieldView {
        label: field.label,
        unit: unit(field.unit, view.entries),
        unit_field: field.unit.field(),
        hint,
        text,
        control: control(spot, &name, text),
        fault,
        flag,
        described_by: described.join(" "),
        input_mode: match field.kind {
            Kind::Whole => "numeric",
            Kind::Decimal => "decimal",
            Kind::Choice(_) | Kind::Tick | Kind::Text => "text",
        },
        longest: match field.kind {
            Kind::Text if field.shown == Shown::Area => 500,
            Kind::Text => 80,
            Kind::Whole | Kind::Decimal | Kind::Choice(_) | Kind::Tick => 20,
        },
        quantity: match field.unit {
            Unit::Tension => Some("tension"),
            Unit::Speed => Some("speed"),
            Unit::None | Unit::Fixed(_) | Unit::Share => None,
        },
        share_of: is_share.then(|| format!("s{}_c{}_hit", spot.session, spot.class)),
        share_of_in: (is_share && field.stem == "deep")
            .then(|| format!("s{}_c{}_in", spot.session, spot.class)),
        same_as: (field.same_again && 1 < spot.session).then(|| of_first.name()),
        name,
    }
}

/// What is told of a field, in one text; `None` when nothing is.
fn told(all: &[FieldFault], name: &str) -> Option<String> {
    let of_field: Vec<&str> = all
        .iter()
        .filter(|one| one.field.as_deref() == Some(name))
        .map(|one| one.sentence.as_str())
        .collect();
    (!of_field.is_empty()).then(|| of_field.join(" "))
}

fn control<'a>(spot: &Spot, name: &str, text: &str) -> Control<'a> {
    match (spot.field.kind, spot.field.shown) {
        (_, Shown::Hidden) => Control::Hidden,
        (Kind::Choice(words), Shown::Radios) => Control::Radios(choices(words, name, text)),
        (Kind::Choice(words), _) => Control::Select(choices(words, name, text)),
        (Kind::Tick, _) => Control::Tick,
        (_, Shown::Area) => Control::Area,
        _ => Control::Line,
    }
}

fn choices<'a>(words: &'static [Choice], name: &str, text: &str) -> Vec<ChoiceView<'a>> {
    (1..)
        .zip(words)
        .map(|(number, choice)| ChoiceView {
            // The first one has the field's own name, so that links to the field arrive there.
            id: if number == 1 {
                name.to_owned()
            } else {
                format!("{name}-{number}")
            },
            choice,
            chosen: choice.code == text,
        })
        .collect()
}

/// What helps to fill a field, with the protocol's own figures where it has some.
fn hint(spot: &Spot, study: &Study) -> String {
    let protocol = &study.protocol;
    match spot.field.stem {
        "long_rallies" => format!("Of more than {} shots.", protocol.rally_length),
        _ => spot.field.hint.to_owned(),
    }
}

/// A unit in words, as it was chosen.
pub(super) fn unit(unit: Unit, entries: &Entries) -> String {
    let chosen = |unit: Unit| unit.field().map_or("", |name| entries.get(name));
    match unit {
        Unit::None => String::new(),
        Unit::Fixed(words) => words.to_owned(),
        Unit::Share => match chosen(unit) {
            "percent" => "%".to_owned(),
            _ => String::new(),
        },
        Unit::Tension | Unit::Speed => words_of(unit.field().unwrap_or_default(), chosen(unit)),
    }
}

/// The words of what was chosen in a field; nothing when that is not in its list.
pub(super) fn words_of(name: &str, code: &str) -> String {
    let Some(Kind::Choice(words)) = find(name).map(|spot| spot.field.kind) else {
        return String::new();
    };
    let word = words.iter().find(|choice| choice.code == code);
    word.map_or_else(String::new, |choice| choice.words.to_owned())
}

/// The choices of consent, in their order.
pub(super) fn consent<'a>(of: &SendView<'a>) -> Vec<FieldView<'a>> {
    spots_of(Step::Send)
        .filter(|spot| spot.field.kind == Kind::Tick)
        .filter(|spot| spot.field.stem != "adult" || of.study.protocol.adults_only)
        .map(|spot| view(&spot, of))
        .collect()
}

/// Why something is corrected.
pub(super) fn reason<'a>(of: &SendView<'a>) -> Option<FieldView<'a>> {
    match of.purpose {
        Purpose::Pair => None,
        Purpose::Correction(_) => find("reason").map(|spot| view(&spot, of)),
    }
}

/// What a class is called; the form's own words when it is not chosen yet.
pub(super) fn class_title(number: usize, entries: &Entries, study: &Study) -> String {
    let Some(class) = entries.class(number, study) else {
        return "Shots that are not named yet".to_owned();
    };
    let label = class_label(class);
    let mut letters = label.chars();
    letters.next().map_or_else(String::new, |first| {
        first.to_uppercase().chain(letters).collect()
    })
}

/// A field's name for people where it stands alone.
pub(super) fn full_label(spot: &Spot, entries: &Entries, study: &Study) -> String {
    let label = spot.field.label;
    let session = super::blocks::ordinal(spot.session);
    match spot.field.repeat {
        Repeat::Once(_) => match spot.field.stem {
            "looser_mains" => "Tension of the looser bed".to_owned(),
            "tighter_mains" => "Tension of the tighter bed".to_owned(),
            _ => label.to_owned(),
        },
        Repeat::ClassChoice => format!("Kind of shot {}, {}", spot.class, label.to_lowercase()),
        Repeat::Session => format!("{session} session: {label}"),
        Repeat::Class => format!(
            "{session} session, {}: {}",
            class_title(spot.class, entries, study).to_lowercase(),
            label.to_lowercase()
        ),
    }
}
