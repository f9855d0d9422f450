//! What became of everybody who began, as a picture and in words.

use super::pictures::notice;
use super::view::StudyView;
use crate::findings::flow::{Count, ParticipantFlow};
use crate::findings::labels::ground_label;
use crate::plots::flow::{Flow, Leaving, Reason, Stage, flow};
use crate::plots::parts::{Heading, Layout};

/// The flow as it stands on the page.
pub(super) struct Shown {
    pub(super) wide: String,
    pub(super) narrow: String,
    pub(super) stages: Vec<Stage>,
}

pub(super) fn shown(view: &StudyView<'_>, told: &ParticipantFlow) -> Shown {
    let plot = Flow {
        heading: Heading {
            id: "flow-of-all".to_owned(),
            title: "From opened plans to pooled figures".to_owned(),
            notice: notice(view),
            description: "How many contributions came, and what became of them.".to_owned(),
        },
        stages: stages(told),
    };
    Shown {
        wide: flow(&plot, Layout::Wide),
        narrow: flow(&plot, Layout::Narrow),
        stages: plot.stages,
    }
}

fn stages(told: &ParticipantFlow) -> Vec<Stage> {
    let stage = |label: &str, count: Count, leaving| Stage {
        label: label.to_owned(),
        count: words(count),
        leaving,
    };
    let leaving = |label: &str, count: String, reasons| Leaving {
        label: label.to_owned(),
        count,
        reasons,
    };
    let declined = told.declined.iter();
    let grounds: Vec<Reason> = declined
        .map(|(ground, count)| Reason {
            label: ground_label(*ground).to_owned(),
            count: words(*count),
        })
        .collect();
    let mut left = vec![
        leaving("Waiting for the host", words(told.held), Vec::new()),
        leaving("Withdrawn", words(told.withdrawn), Vec::new()),
    ];
    if !grounds.is_empty() {
        left.insert(1, leaving("Declined", String::new(), grounds));
    }
    vec![
        stage("Plans opened", told.started, Vec::new()),
        stage("Contributions sent", told.sent, left),
        stage("Contributions pooled", told.pooled, Vec::new()),
    ]
}

/// A count as the range it is told in: "310 to 314", "0".
fn words(count: Count) -> String {
    if count.at_least == count.at_most {
        count.at_least.to_string()
    } else {
        format!("{} to {}", count.at_least, count.at_most)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::vocabulary::Ground;

    #[test]
    fn counts_are_told_as_ranges_and_grounds_in_words() {
        let step = |n| Count::step(n, 5);
        let stages = stages(&ParticipantFlow {
            started: step(7),
            sent: step(312),
            held: step(0),
            declined: vec![(Ground::Trial, step(2))],
            withdrawn: step(5),
            pooled: step(300),
        });
        assert_eq!(stages[1].count, "310 to 314");
        let left: Vec<(&str, &str)> = stages[1]
            .leaving
            .iter()
            .map(|left| (left.label.as_str(), left.count.as_str()))
            .collect();
        assert_eq!(
            left,
            [
                ("Waiting for the host", "0"),
                ("Declined", ""),
                ("Withdrawn", "5 to 9")
            ]
        );
        assert_eq!(stages[1].leaving[1].reasons[0].count, "1 to 4");
    }
}
