//! The steps, and the blocks of fields in each.

use super::SendView;
use super::fields::{FieldView, class_title, view};
use crate::form::{
    Entries, Fold, MOST_CLASSES, Repeat, Shown, Spot, Step, asked_classes, spots_of,
};
use crate::vocabulary::Arm;

/// One step.
pub(super) struct StepView<'a> {
    pub(super) name: &'static str,
    pub(super) title: String,
    /// What the list of steps calls it.
    pub(super) short: String,
    pub(super) session: Option<usize>,
    pub(super) current: bool,
    /// Whether it belongs to the order that was chosen.
    pub(super) exists: bool,
    /// Whether something in it is to be mended.
    pub(super) at_fault: bool,
    pub(super) blocks: Vec<Block<'a>>,
}

/// Fields that stand together.
pub(super) enum Block<'a> {
    /// One below the other.
    Open(Vec<FieldView<'a>>),
    /// Side by side under a heading.
    Pair {
        heading: &'static str,
        hint: String,
        fields: Vec<FieldView<'a>>,
    },
    /// Folded away.
    Folded {
        heading: &'static str,
        open: bool,
        fields: Vec<FieldView<'a>>,
    },
    /// A kind of shot in a session.
    Class {
        session: usize,
        number: usize,
        title: String,
        used: bool,
        fields: Vec<FieldView<'a>>,
        more: &'static str,
        more_open: bool,
        more_fields: Vec<FieldView<'a>>,
    },
    /// Which further kinds of shots were counted.
    Classes {
        asked: Vec<String>,
        open: bool,
        choices: Vec<(usize, Vec<FieldView<'a>>)>,
    },
}

/// A place in the order of play.
pub(super) const fn ordinal(session: usize) -> &'static str {
    match session {
        1 => "First",
        2 => "Second",
        3 => "Third",
        4 => "Fourth",
        _ => "",
    }
}

/// A step's heading.
pub(super) fn step_title(step: Step, entries: &Entries) -> String {
    match (step, step.session()) {
        (Step::Setup, _) => "How you played".to_owned(),
        (Step::Device, _) => "What measured".to_owned(),
        (Step::About, _) => "More, if you like".to_owned(),
        (_, Some(session)) => {
            let arm = entries.arms().get(session - 1).copied().flatten();
            let arm = match arm {
                Some(Arm::Looser) => ": looser",
                Some(Arm::Tighter) => ": tighter",
                None => "",
            };
            format!("{} session{arm}", ordinal(session))
        }
        (_, None) => "Check and send".to_owned(),
    }
}

/// Every step in its order, those that no order needs too.
pub(super) fn steps<'a>(of: &SendView<'a>) -> Vec<StepView<'a>> {
    let existing = of.entries.steps();
    Step::ALL
        .iter()
        .map(|step| StepView {
            name: step.code(),
            title: step_title(*step, of.entries),
            short: short_title(*step),
            session: step.session(),
            current: *step == of.step,
            exists: existing.contains(step),
            at_fault: of.faults.iter().any(|fault| fault.step == *step),
            blocks: match step {
                Step::Setup => setup(of),
                Step::Device => device(of),
                Step::About => about(of),
                Step::Send => Vec::new(),
                _ => session(*step, of),
            },
        })
        .collect()
}

fn short_title(step: Step) -> String {
    match (step, step.session()) {
        (Step::Setup, _) => "Played".to_owned(),
        (Step::Device, _) => "Measured".to_owned(),
        (Step::About, _) => "More".to_owned(),
        (_, Some(session)) => format!("{} session", ordinal(session)),
        (_, None) => "Send".to_owned(),
    }
}

fn views<'a>(of: &SendView<'a>, spots: impl Iterator<Item = Spot>) -> Vec<FieldView<'a>> {
    spots.map(|spot| view(&spot, of)).collect()
}

const fn is_open(spot: &Spot) -> bool {
    matches!(spot.field.fold, Fold::Open)
}

/// Whether something stands in one of these fields, or has to be mended.
fn any_touched(fields: &[FieldView<'_>]) -> bool {
    fields
        .iter()
        .any(|field| !field.text.is_empty() || field.fault.is_some())
}

/// Folded fields under their headings, in the order in which those come first.
fn folded<'a>(of: &SendView<'a>, spots: impl Iterator<Item = Spot>) -> Vec<Block<'a>> {
    let mut blocks: Vec<(&'static str, Vec<FieldView<'a>>)> = Vec::new();
    for spot in spots {
        let Fold::Under(heading) = spot.field.fold else {
            continue;
        };
        let field = view(&spot, of);
        match blocks.iter_mut().find(|(known, _)| *known == heading) {
            Some((_, fields)) => fields.push(field),
            None => blocks.push((heading, vec![field])),
        }
    }
    blocks
        .into_iter()
        .map(|(heading, fields)| Block::Folded {
            heading,
            open: any_touched(&fields),
            fields,
        })
        .collect()
}

fn setup<'a>(of: &SendView<'a>) -> Vec<Block<'a>> {
    let open = || spots_of(Step::Setup).filter(is_open);
    let is_mains = |spot: &Spot| spot.field.stem.ends_with("_mains");
    let before = |spot: &Spot| ["order", "tension_unit"].contains(&spot.field.stem);
    let rest = open().filter(|spot| !is_mains(spot) && !before(spot));
    let mut blocks = vec![
        Block::Open(views(of, open().filter(before))),
        Block::Pair {
            heading: "Reference tension",
            hint: "What the stringing machine was set to.".to_owned(),
            fields: views(of, open().filter(is_mains)),
        },
    ];
    blocks.extend(folded(of, spots_of(Step::Setup)));
    blocks.push(Block::Open(views(of, rest)));
    blocks
}

fn device<'a>(of: &SendView<'a>) -> Vec<Block<'a>> {
    let once =
        || spots_of(Step::Device).filter(|spot| matches!(spot.field.repeat, Repeat::Once(_)));
    let n_asked = asked_classes(of.study).len();
    let choices: Vec<(usize, Vec<FieldView<'a>>)> = (n_asked + 1..=MOST_CLASSES)
        .map(|number| {
            let of_class = spots_of(Step::Device).filter(|spot| spot.class == number);
            (number, views(of, of_class))
        })
        .collect();
    let mut blocks = vec![Block::Open(views(of, once().filter(is_open)))];
    blocks.push(Block::Classes {
        asked: (1..=n_asked)
            .map(|number| class_title(number, of.entries, of.study))
            .collect(),
        open: choices.iter().any(|(_, fields)| any_touched(fields)),
        choices,
    });
    blocks.extend(folded(of, once()));
    blocks
}

fn session<'a>(step: Step, of: &SendView<'a>) -> Vec<Block<'a>> {
    let number = step.session().unwrap_or(1);
    let of_session = || spots_of(step).filter(|spot| spot.field.repeat == Repeat::Session);
    let used = of.entries.used_classes(of.study);
    let is_time = |spot: &Spot| ["minutes", "warm_up"].contains(&spot.field.stem);
    let protocol = &of.study.protocol;
    let mut blocks = vec![
        Block::Pair {
            heading: "Time",
            hint: format!(
                "The protocol asks for {} minutes, after {} of warm-up.",
                protocol.session_minutes, protocol.warm_up_minutes
            ),
            fields: views(of, of_session().filter(is_time)),
        },
        Block::Open(views(
            of,
            of_session().filter(|spot| is_open(spot) && !is_time(spot)),
        )),
    ];
    for class in 1..=MOST_CLASSES {
        let of_class = || spots_of(step).filter(|spot| spot.class == class);
        let more: Vec<Block<'a>> = folded(of, of_class());
        let (more, more_open, more_fields) = match more.into_iter().next() {
            Some(Block::Folded {
                heading,
                open,
                fields,
            }) => (heading, open, fields),
            _ => ("", false, Vec::new()),
        };
        let fields = views(of, of_class().filter(is_open));
        blocks.push(Block::Class {
            session: number,
            number: class,
            title: class_title(class, of.entries, of.study),
            used: used.contains(&class) || any_touched(&fields) || more_open,
            fields,
            more,
            more_open,
            more_fields,
        });
    }
    blocks.extend(folded(of, of_session()));
    blocks
}

fn about<'a>(of: &SendView<'a>) -> Vec<Block<'a>> {
    folded(
        of,
        spots_of(Step::About).filter(|spot| spot.field.shown != Shown::Hidden),
    )
}
