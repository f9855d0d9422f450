//! The form by which a study is written, and the preview of what contributors will see.

use crate::form::study::{
    MOST_PRIMARY, PRIMARY_FIELDS, Part, STUDY_FIELDS, Size, StudyEntries, StudyFault, StudyField,
    names, primary_name,
};
use crate::form::{Choice, Kind};
use crate::numbers;
use crate::pages::host::Desk;
use crate::pages::study::paragraphs;
use crate::pages::take_part::how_to_play;
use crate::protocol::Study;
use askama::Template;

/// What is being written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Writing<'a> {
    /// A new study.
    New,
    /// The draft of this name.
    Draft(&'a str),
    /// A further version of the opened study of this name.
    Version(&'a str),
}

impl Writing<'_> {
    /// Where the form is sent.
    fn action(self) -> String {
        match self {
            Self::New => "/host/new".to_owned(),
            Self::Draft(slug) | Self::Version(slug) => format!("/host/studies/{slug}/protocol"),
        }
    }

    const fn is_opened(self) -> bool {
        matches!(self, Self::Version(_))
    }
}

/// Everything that the form shows.
#[derive(Clone, Copy, Debug)]
pub struct FormView<'a> {
    /// The desk.
    pub desk: Desk<'a>,
    /// What is being written.
    pub writing: Writing<'a>,
    /// What stands in the fields.
    pub entries: &'a StudyEntries,
    /// Why an opened study is changed.
    pub reason: &'a str,
    /// What is to be mended.
    pub faults: &'a [StudyFault],
}

/// The field of the reason.
pub const REASON: &str = "reason";

#[derive(Template)]
#[template(path = "host_protocol.html", config = "src/pages/askama.toml")]
struct Page<'a> {
    invented: bool,
    desk: Desk<'a>,
    view: &'a FormView<'a>,
    title: &'static str,
    action: String,
    parts: Vec<PartView<'a>>,
    reason: FieldView<'a>,
    n_faults: String,
    back: String,
}

struct PartView<'a> {
    heading: &'static str,
    outcomes: Vec<OutcomeView<'a>>,
    fields: Vec<FieldView<'a>>,
}

/// The fields of one primary outcome.
struct OutcomeView<'a> {
    number: usize,
    fields: Vec<FieldView<'a>>,
}

/// One field with what stands in it.
struct FieldView<'a> {
    name: String,
    label: &'static str,
    hint: &'static str,
    text: &'a str,
    fault: Option<String>,
    described_by: String,
    control: Control,
}

/// What is operated.
enum Control {
    Line {
        input_mode: &'static str,
    },
    Area {
        rows: usize,
    },
    Radios(&'static [Choice]),
    Select(&'static [Choice]),
    Tick,
    /// It cannot be changed any more.
    Fixed,
}

/// The form.
///
/// # Errors
/// When the template cannot be filled.
pub fn study_form(view: &FormView<'_>) -> Result<String, askama::Error> {
    Page {
        invented: false,
        desk: view.desk,
        view,
        title: match view.writing {
            Writing::New => "A new study",
            Writing::Draft(_) => "Write the study",
            Writing::Version(_) => "Change the study",
        },
        action: view.writing.action(),
        parts: Part::ALL
            .iter()
            .map(|part| part_view(*part, view))
            .collect(),
        reason: field_view(&REASON_FIELD, REASON.to_owned(), view.reason, view),
        n_faults: numbers::counted(
            u64::try_from(view.faults.len()).unwrap_or(u64::MAX),
            "place",
            "places",
        ),
        back: match view.writing {
            Writing::New => "/host".to_owned(),
            Writing::Draft(slug) | Writing::Version(slug) => format!("/host/studies/{slug}"),
        },
    }
    .render()
}

/// Why an opened study is changed. It is no part of the document.
const REASON_FIELD: StudyField = StudyField {
    name: REASON,
    kind: Kind::Text,
    size: Size::Paragraphs,
    part: Part::Hosting,
    place: "",
    label: "Why you change it",
    hint: "In 10 to 500 characters. Everybody can read it, with the day.",
};

fn part_view<'a>(part: Part, view: &FormView<'a>) -> PartView<'a> {
    let outcomes = if part == Part::Outcomes {
        (1..=MOST_PRIMARY)
            .map(|number| outcome_view(number, view))
            .collect()
    } else {
        Vec::new()
    };
    let fields = STUDY_FIELDS.iter().filter(|field| field.part == part);
    PartView {
        heading: part.words(),
        outcomes,
        fields: fields
            .map(|field| {
                let text = view.entries.get(field.name);
                field_view(field, field.name.to_owned(), text, view)
            })
            .collect(),
    }
}

fn outcome_view<'a>(number: usize, view: &FormView<'a>) -> OutcomeView<'a> {
    let fields = PRIMARY_FIELDS.iter().map(|field| {
        let name = primary_name(field, number);
        let text = view.entries.get(&name);
        field_view(field, name, text, view)
    });
    OutcomeView {
        number,
        fields: fields.collect(),
    }
}

fn field_view<'a>(
    field: &StudyField,
    name: String,
    text: &'a str,
    view: &FormView<'a>,
) -> FieldView<'a> {
    let at_it = |fault: &&StudyFault| fault.field.as_ref() == Some(&name);
    let faults: Vec<&str> = view
        .faults
        .iter()
        .filter(at_it)
        .map(|fault| fault.sentence.as_str())
        .collect();
    let mut described = Vec::new();
    if !faults.is_empty() {
        described.push(format!("fault-{name}"));
    }
    if !field.hint.is_empty() {
        described.push(format!("hint-{name}"));
    }
    FieldView {
        label: field.label,
        hint: field.hint,
        text,
        fault: (!faults.is_empty()).then(|| faults.join(" ")),
        described_by: described.join(" "),
        control: control(field, text, view.writing),
        name,
    }
}

fn control(field: &StudyField, text: &str, writing: Writing<'_>) -> Control {
    let is_fixed = match field.name {
        "study" => writing != Writing::New,
        "invented" => writing.is_opened(),
        _ => false,
    };
    if is_fixed {
        return Control::Fixed;
    }
    match field.kind {
        Kind::Tick => Control::Tick,
        Kind::Choice(choices) if choices.len() < 4 && field.part != Part::Outcomes => {
            Control::Radios(choices)
        }
        Kind::Choice(choices) => Control::Select(choices),
        Kind::Whole => Control::Line {
            input_mode: "numeric",
        },
        Kind::Decimal => Control::Line {
            input_mode: "decimal",
        },
        Kind::Text if field.size == Size::Paragraphs => Control::Area { rows: rows(text) },
        Kind::Text => Control::Line { input_mode: "text" },
    }
}

/// Enough lines to see what stands there, at about sixty characters a line.
fn rows(text: &str) -> usize {
    let lines: usize = text.lines().map(|line| 1 + line.len() / 60).sum();
    lines.clamp(4, 24)
}

#[derive(Template)]
#[template(path = "host_preview.html", config = "src/pages/askama.toml")]
struct Preview<'a> {
    invented: bool,
    desk: Desk<'a>,
    view: &'a FormView<'a>,
    action: String,
    filled: Vec<(String, &'a str)>,
    study: &'a Study,
    main: String,
    consent: Vec<&'a str>,
    privacy: Vec<&'a str>,
}

/// What contributors will see of a study, with what was typed travelling along.
///
/// # Errors
/// When the template cannot be filled.
pub fn preview(view: &FormView<'_>, study: &Study) -> Result<String, askama::Error> {
    let privacy = study.hosting.privacy.as_ref();
    let filled = names().map(|name| {
        let text = view.entries.get(&name);
        (name, text)
    });
    Preview {
        invented: study.label.invented,
        desk: view.desk,
        view,
        action: view.writing.action(),
        filled: filled.filter(|(_, text)| !text.is_empty()).collect(),
        study,
        main: how_to_play(study, true)?,
        consent: paragraphs(&study.protocol.consent.text),
        privacy: privacy.map_or_else(Vec::new, |notice| paragraphs(&notice.text)),
    }
    .render()
}
