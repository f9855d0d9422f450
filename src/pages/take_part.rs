//! How to play: what to do and why, with the protocol's own numbers and texts, and a checklist that
//! prints on one sheet. It shows no results.

use super::plan::minutes;
use super::station::Station;
use crate::findings::labels::class_label;
use crate::numbers;
use crate::plan::Kind;
use crate::protocol::{Protocol, Study};
use crate::vocabulary::{Outcome, ShotClass};
use askama::Template;

#[derive(Template)]
#[template(path = "take_part.html", config = "src/pages/askama.toml")]
struct Page<'a> {
    invented: bool,
    study: &'a Study,
    here: Station,
    by_invitation: bool,
    main: String,
}

/// What the page says, without what stands around it.
#[derive(Template)]
#[template(path = "how_to_play.html", config = "src/pages/askama.toml")]
struct Main<'a> {
    study: &'a Study,
    /// Whether the host looks at it before there is anything to take part in.
    is_preview: bool,
    minimum_gap: String,
    minutes_of_two: i64,
    minutes_of_four: i64,
    cautions: Vec<&'a str>,
    needs: Vec<Rule>,
    on_court: Vec<Rule>,
    figures: Vec<Figures>,
    lines: Vec<String>,
}

/// One rule: what to do, and why.
struct Rule {
    what: String,
    why: &'static str,
    /// Whether nothing but usage speaks for it.
    is_common_practice: bool,
}

/// What to note of one kind of shot.
struct Figures {
    shots: String,
    wanted: String,
}

/// The page of a study, which may take new players only with an invitation.
///
/// # Errors
/// When the template cannot be filled.
pub fn take_part(study: &Study, by_invitation: bool) -> Result<String, askama::Error> {
    Page {
        invented: study.label.invented,
        study,
        here: Station::TakePart,
        by_invitation,
        main: how_to_play(study, false)?,
    }
    .render()
}

/// What a study's page on how to play says.
///
/// # Errors
/// When the template cannot be filled.
pub(super) fn how_to_play(study: &Study, is_preview: bool) -> Result<String, askama::Error> {
    let protocol = &study.protocol;
    let classes = classes(protocol);
    let figures = classes.iter().map(|(class, outcomes)| Figures {
        shots: capitalised(&class_label(*class)),
        wanted: wanted(outcomes),
    });
    Main {
        study,
        is_preview,
        minimum_gap: minimum_gap(protocol),
        minutes_of_two: minutes(protocol, Kind::TwoSessions),
        minutes_of_four: minutes(protocol, Kind::FourSessions),
        cautions: super::study::paragraphs(&protocol.caution),
        needs: needs(protocol),
        on_court: on_court(protocol),
        figures: figures.collect(),
        lines: classes
            .iter()
            .flat_map(|(class, outcomes)| lines(*class, outcomes))
            .collect(),
    }
    .render()
}

/// The smallest gap that follows the protocol, with its unit.
fn minimum_gap(protocol: &Protocol) -> String {
    let bands = &protocol.analysis.bands;
    let smallest = bands.edges().first().map_or(0.0, |edge| edge.to_f64());
    format!("{smallest}\u{A0}{}", bands.unit().code())
}

fn rule(what: impl Into<String>, why: &'static str) -> Rule {
    Rule {
        what: what.into(),
        why,
        is_common_practice: false,
    }
}

/// A rule that nothing but usage speaks for.
fn usage(what: impl Into<String>, why: &'static str) -> Rule {
    Rule {
        is_common_practice: true,
        ..rule(what, why)
    }
}

/// What has to be there before anyone hits.
fn needs(protocol: &Protocol) -> Vec<Rule> {
    vec![
        rule(
            "One frame, strung twice, or two frames of one model, matched in weight and balance, with the same grip.",
            "Only the tension may differ. Another frame changes speed by itself.",
        ),
        rule(
            "The same string in both: same maker, same model, same thickness.",
            "Another string would be compared along with the tension.",
        ),
        usage(
            format!(
                "One string bed at least {} looser than the other.",
                minimum_gap(protocol)
            ),
            "A smaller gap is easily lost in how two stringings differ. It is accepted, and shown apart.",
        ),
        rule(
            "Both tensions inside the range that the maker of the frame gives.",
            "Outside it a frame can crack.",
        ),
        usage(
            "Both string beds equally old: strung the same day, hit for as long.",
            "A string bed loses tension while it lies and while it is hit.",
        ),
        rule(
            "A way to count and to time: a camera, a sensor, a radar, or a helper with a sheet. The same one in every session.",
            "Two devices measure differently.",
        ),
        rule(
            "A partner or a ball machine, the same in every session.",
            "A ball that comes in faster leaves faster.",
        ),
    ]
}

/// What to do from the first ball to the last.
fn on_court(protocol: &Protocol) -> Vec<Rule> {
    vec![
        rule(
            "Let the order be drawn by lot, and play it as drawn.",
            "Players warm up and tire. If you choose, your hopes choose with you.",
        ),
        usage(
            format!(
                "Warm up for {} before every session, with the frame of that session.",
                numbers::counted(to_u64(protocol.warm_up_minutes), "minute", "minutes")
            ),
            "It spares arm and shoulder, and the first balls with a new frame are not like the rest.",
        ),
        usage(
            format!(
                "Then hit for about {} in each session.",
                numbers::counted(to_u64(protocol.session_minutes), "minute", "minutes")
            ),
            "Long enough to count shots, short enough not to tire.",
        ),
        rule(
            format!(
                "Hit at least {} of each kind, better twice as many.",
                numbers::counted(to_u64(protocol.minimum_shots), "shot", "shots")
            ),
            "Fewer cannot be used here: they are mostly chance.",
        ),
        rule(
            "Same drill, same court, same kind of balls, same day where you can.",
            "Wind, heat, worn balls and another drill move the figures too.",
        ),
        usage(
            "Rest as long before each session as before the others.",
            "Else the last string bed pays for the first.",
        ),
        rule(
            "Count every shot of the session, the bad ones too.",
            "Whoever leaves some out decides the result.",
        ),
        rule(
            "Note everything before you compare.",
            "Who knows the first figure reads the second one kindly.",
        ),
        rule(
            "Send it whatever it shows.",
            "If only gains are sent, all players together seem to gain.",
        ),
    ]
}

/// The kinds of shots that the study asks about, each with its outcomes.
fn classes(protocol: &Protocol) -> Vec<(ShotClass, Vec<Outcome>)> {
    let mut classes: Vec<(ShotClass, Vec<Outcome>)> = Vec::new();
    for primary in &protocol.analysis.primary {
        match classes
            .iter_mut()
            .find(|(class, _)| *class == primary.class)
        {
            Some((_, outcomes)) => outcomes.push(primary.outcome),
            None => classes.push((primary.class, vec![primary.outcome])),
        }
    }
    classes
}

/// What to note of a kind of shot, in one sentence.
fn wanted(outcomes: &[Outcome]) -> String {
    let has = |outcome| outcomes.contains(&outcome);
    let mut parts = vec!["shots hit"];
    if has(Outcome::InShare) || has(Outcome::DeepShare) {
        parts.push("shots in");
    }
    if has(Outcome::DeepShare) {
        parts.push("shots in and deep");
    }
    if has(Outcome::Speed) {
        parts.push("mean ball speed with its unit");
        parts.push("its standard deviation if your device tells it");
        parts.push("the fastest shot");
    }
    format!("{}.", parts.join(", "))
}

/// The lines of the sheet for a kind of shot.
fn lines(class: ShotClass, outcomes: &[Outcome]) -> Vec<String> {
    let has = |outcome| outcomes.contains(&outcome);
    let shots = capitalised(&class_label(class));
    let mut lines = vec![format!("{shots}: shots hit")];
    if has(Outcome::InShare) || has(Outcome::DeepShare) {
        lines.push(format!("{shots}: in"));
    }
    if has(Outcome::DeepShare) {
        lines.push(format!("{shots}: in and deep"));
    }
    if has(Outcome::Speed) {
        lines.push(format!("{shots}: mean speed"));
        lines.push(format!("{shots}: standard deviation"));
        lines.push(format!("{shots}: fastest"));
    }
    lines
}

fn capitalised(text: &str) -> String {
    let mut characters = text.chars();
    characters.next().map_or_else(String::new, |first| {
        first.to_uppercase().chain(characters).collect()
    })
}

fn to_u64(n: i64) -> u64 {
    u64::try_from(n).unwrap_or(0)
}
