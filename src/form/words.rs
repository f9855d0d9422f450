//! What may be chosen, in codes of the document and in words for people.

use crate::vocabulary::CorrectionReason;

/// One word of a list.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Choice {
    /// What is sent.
    pub code: &'static str,
    /// What is read.
    pub words: &'static str,
}

pub(super) const fn choice(code: &'static str, words: &'static str) -> Choice {
    Choice { code, words }
}

pub(super) const ORDER: &[Choice] = &[
    choice("looser_tighter", "Looser first, then tighter"),
    choice("tighter_looser", "Tighter first, then looser"),
    choice(
        "looser_tighter_tighter_looser",
        "Four sessions: looser, tighter, tighter, looser",
    ),
    choice(
        "tighter_looser_looser_tighter",
        "Four sessions: tighter, looser, looser, tighter",
    ),
    choice("unknown", "Two sessions, I do not know the order any more"),
];

pub(super) const TENSION_UNIT: &[Choice] = &[choice("lb", "lb"), choice("kg", "kg")];

pub(super) const FRAMES: &[Choice] = &[
    choice("one_restrung", "One frame, restrung"),
    choice("two_matched", "Two matched frames"),
    choice("unknown", "Not known"),
];

pub(super) const DEVICE: &[Choice] = &[
    choice("radar", "Radar"),
    choice("court_cameras", "Cameras at the court"),
    choice("phone_camera", "A phone’s camera"),
    choice("racquet_sensor", "A sensor on the racquet"),
    choice("wrist_sensor", "A sensor on the wrist"),
    choice("other", "Something else"),
    choice("unknown", "Not known"),
];

pub(super) const MEASURED_AT: &[Choice] = &[
    choice("leaving_strings", "As it leaves the strings"),
    choice("average_in_flight", "The average of its flight"),
    choice("at_net", "At the net"),
    choice("before_bounce", "Before it bounces"),
    choice("unknown", "Not known"),
];

pub(super) const SPEED_UNIT: &[Choice] = &[choice("km/h", "km/h"), choice("mph", "mph")];

pub(super) const SPEED_OVER: &[Choice] = &[
    choice("all", "All shots"),
    choice("in", "Only shots that landed in"),
    choice("unknown", "Not known"),
];

pub(super) const SHARES_AS: &[Choice] = &[choice("count", "Counts"), choice("percent", "Percent")];

pub(super) const DEEP_PERCENT_OF: &[Choice] = &[
    choice("in", "Of the shots that landed in"),
    choice("hit", "Of all shots hit"),
];

pub(super) const SD_DIVISOR: &[Choice] = &[
    choice("n-1", "By the number of shots less one"),
    choice("n", "By the number of shots"),
    choice("unknown", "Not known"),
];

pub(super) const STROKE: &[Choice] = &[
    choice("forehand", "Forehand"),
    choice("backhand", "Backhand"),
    choice("serve", "Serve"),
    choice("volley", "Volley"),
    choice("all", "All strokes together"),
];

pub(super) const DIRECTION: &[Choice] = &[
    choice("all", "All directions together"),
    choice("crosscourt", "Cross-court"),
    choice("down_the_line", "Down the line"),
    choice("middle", "Through the middle"),
];

pub(super) const KNEW: &[Choice] = &[
    choice("yes", "Yes"),
    choice("no", "No"),
    choice("unknown", "Not sure"),
];

pub(super) const ITN: &[Choice] = &[
    choice("1", "1, the strongest"),
    choice("2", "2"),
    choice("3", "3"),
    choice("4", "4"),
    choice("5", "5"),
    choice("6", "6"),
    choice("7", "7"),
    choice("8", "8"),
    choice("9", "9"),
    choice("10", "10, a beginner"),
    choice("unknown", "Not known"),
];

pub(super) const HAND: &[Choice] = &[
    choice("right", "Right"),
    choice("left", "Left"),
    choice("unknown", "Not said"),
];

pub(super) const BACKHAND: &[Choice] = &[
    choice("one_handed", "One hand"),
    choice("two_handed", "Two hands"),
    choice("unknown", "Not said"),
];

pub(super) const HEAD_SIZE_UNIT: &[Choice] = &[
    choice("sq_in", "square inches"),
    choice("sq_cm", "square centimetres"),
];

pub(super) const STRING_FAMILY: &[Choice] = &[
    choice("natural_gut", "Natural gut"),
    choice("synthetic_gut", "Synthetic gut"),
    choice("multifilament", "Multifilament"),
    choice("polyester", "Polyester"),
    choice("aramid", "Aramid"),
    choice("other", "Something else"),
    choice("unknown", "Not known"),
];

pub(super) const SURFACE: &[Choice] = &[
    choice("acrylic", "Acrylic"),
    choice("artificial_clay", "Artificial clay"),
    choice("artificial_grass", "Artificial grass"),
    choice("asphalt", "Asphalt"),
    choice("carpet", "Carpet"),
    choice("clay", "Clay"),
    choice("concrete", "Concrete"),
    choice("grass", "Grass"),
    choice("hybrid_clay", "Hybrid clay"),
    choice("other", "Something else"),
    choice("unknown", "Not known"),
];

pub(super) const BALL: &[Choice] = &[
    choice("type_2", "Type 2, the usual ball"),
    choice("type_1", "Type 1, fast"),
    choice("type_3", "Type 3, slow"),
    choice("high_altitude", "For high altitude"),
    choice("stage_1", "Stage 1, green"),
    choice("stage_2", "Stage 2, orange"),
    choice("stage_3", "Stage 3, red"),
    choice("unknown", "Not known"),
];

pub(super) const PLACE: &[Choice] = &[
    choice("outdoor", "Outdoors"),
    choice("indoor", "Indoors"),
    choice("unknown", "Not said"),
];

pub(super) const TEMPERATURE_UNIT: &[Choice] =
    &[choice("celsius", "°C"), choice("fahrenheit", "°F")];

pub(super) const REASON: &[Choice] = &[
    choice("typing_mistake", "A typing mistake"),
    choice("wrong_unit", "A wrong unit"),
    choice("wrong_session", "Figures of another session"),
    choice("misread_device", "The device was misread"),
    choice("consent_changed", "I changed my mind about consent"),
    choice("other", "Something else"),
];

/// Why somebody mends what they sent, in words.
#[must_use]
pub fn reason_words(reason: CorrectionReason) -> &'static str {
    let choice = REASON.iter().find(|choice| choice.code == reason.code());
    choice.map_or("Something else", |choice| choice.words)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::vocabulary::{Direction, Sequence, StringFamily, Stroke};
    use std::collections::BTreeSet;

    fn same(words: &[Choice], codes: impl Iterator<Item = &'static str>) {
        let chosen: BTreeSet<&str> = words.iter().map(|word| word.code).collect();
        assert_eq!(chosen, codes.collect());
    }

    #[test]
    fn lists_have_every_word_of_the_vocabulary() {
        let orders = Sequence::ALL.iter().map(|word| word.code());
        same(ORDER, orders.chain(["unknown"]));
        same(STROKE, Stroke::ALL.iter().map(|word| word.code()));
        same(DIRECTION, Direction::ALL.iter().map(|word| word.code()));
        same(
            STRING_FAMILY,
            StringFamily::ALL.iter().map(|word| word.code()),
        );
        same(REASON, CorrectionReason::ALL.iter().map(|word| word.code()));
    }
}
