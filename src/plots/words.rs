//! Text in a picture: how wide it will be, where a line breaks, and what several pictures say.
//!
//! SVG text does not wrap and its font is the reader's, so widths are estimated.

use super::parts::Summary;
use crate::numbers::{self, MINUS};

/// Mean advance of a character in the labels and numbers of a picture, as a share of the font
/// size. Measured in Chromium with one of the widest common system fonts, `DejaVu Sans`: 0.47 to
/// 0.57 regular, up to 0.59 bold. Narrower fonts only leave more room.
const ADVANCE: f64 = 0.58;

/// Advance of a digit in the same font: numbers have no narrow letters to make up for it.
const DIGIT_ADVANCE: f64 = 0.64;

/// Advance of the minus sign in the same font.
const MINUS_ADVANCE: f64 = 0.84;

/// How much wider bold letters are than regular ones: headings of the pictures measured up to 0.61 of
/// the font size for each letter.
pub(super) const STRONG: f64 = 1.06;

/// Name of the prediction interval: what it speaks of.
pub(super) const PREDICTION_WORDS: &str = "another such player";

/// What stands in place of the marks when there are none to draw.
pub(super) const NOTHING: &str = "There is nothing to draw yet.";

/// Estimated width of `text` at `font_size`, in the units of the font size.
pub(super) fn width(text: &str, font_size: f64) -> f64 {
    let advance = |character: char| match character {
        '0'..='9' => DIGIT_ADVANCE,
        MINUS => MINUS_ADVANCE,
        _ => ADVANCE,
    };
    text.chars().map(advance).sum::<f64>() * font_size
}

/// Breaks `text` at spaces into lines that are estimated to fit `room`. A single word that
/// is too long stands on a line of its own. Empty text gives no line.
pub(super) fn wrap(text: &str, font_size: f64, room: f64) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for word in text.split(' ').filter(|word| !word.is_empty()) {
        match lines.last_mut() {
            Some(line)
                if width(line, font_size) + width(word, font_size) + width(" ", font_size)
                    <= room =>
            {
                line.push(' ');
                line.push_str(word);
            }
            _ => lines.push(word.to_owned()),
        }
    }
    lines
}

/// Like [`wrap`], but a list that does not fit one line breaks after its commas first.
pub(super) fn wrap_list(text: &str, font_size: f64, room: f64) -> Vec<String> {
    if width(text, font_size) <= room {
        return vec![text.to_owned()];
    }
    text.split_inclusive(", ")
        .flat_map(|item| wrap(item, font_size, room))
        .collect()
}

/// Says how many pairs are not at their place in a picture; none, nothing.
pub(super) fn outside_note(n: usize) -> Option<String> {
    match n {
        0 => None,
        1 => Some("1 pair lies outside the picture".to_owned()),
        _ => Some(format!(
            "{} pairs lie outside the picture",
            numbers::count(n as u64)
        )),
    }
}

/// An estimate with its interval and its prediction interval, for readers who do not see the
/// picture.
pub(super) fn summary(summary: &Summary, unit: &str) -> String {
    let said = format!("{} {unit}", summary.numbers);
    match summary.shown_prediction() {
        Some(numbers) => format!("{said}; {PREDICTION_WORDS}: {numbers} {unit}"),
        None => said,
    }
}

/// `sentence` with a full stop at its end, unless it has one.
pub(super) fn ended(sentence: &str) -> String {
    if sentence.ends_with('.') {
        sentence.to_owned()
    } else {
        format!("{sentence}.")
    }
}

/// A size that a host entered, with no more decimals than it has: "1", "0.5", "1.25".
pub(super) fn size(value: f64) -> String {
    let shown = numbers::fixed(value, numbers::MOST_DECIMALS);
    match shown.trim_end_matches('0').strip_suffix('.') {
        Some(whole) => whole.to_owned(),
        None => shown.trim_end_matches('0').to_owned(),
    }
}

/// Names the differences that are too small to be worthwhile, for a key.
pub(super) fn zone_words(worthwhile: Option<f64>, unit: &str) -> String {
    let size = worthwhile.map(size).unwrap_or_default();
    format!("smaller than worthwhile: under {size} {unit}")
}

/// The same for readers who do not see the picture; none, nothing.
pub(super) fn zone_sentence(worthwhile: Option<f64>, unit: &str) -> Option<String> {
    let size = size(worthwhile?);
    Some(format!(
        "A difference under {size} {unit} is smaller than the host calls worthwhile."
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_negative_number_is_wider_than_as_many_letters() {
        // 0.838 + 2 x 0.636 of the font size, measured.
        assert!(21.1 <= width("\u{2212}40", 10.0));
        assert!(width("abc", 10.0) < width("\u{2212}40", 10.0));
    }

    #[test]
    fn a_size_has_no_more_decimals_than_were_entered() {
        for (value, shown) in [(1.0, "1"), (0.5, "0.5"), (1.25, "1.25"), (10.0, "10")] {
            assert_eq!(size(value), shown);
        }
    }

    #[test]
    fn lines_break_at_spaces_and_keep_every_word() {
        let text = "Fewer than five players so far, so this band is not shown.";
        let lines = wrap(text, 10.0, 120.0);
        assert!(1 < lines.len());
        assert!(lines.iter().all(|line| width(line, 10.0) <= 120.0));
        assert_eq!(lines.join(" "), text);
    }

    #[test]
    fn a_word_too_long_stands_alone_and_empty_text_has_no_line() {
        assert_eq!(
            wrap("a extraordinarily b", 10.0, 30.0),
            ["a", "extraordinarily", "b"]
        );
        assert!(wrap("  ", 10.0, 30.0).is_empty());
    }

    #[test]
    fn a_list_breaks_after_its_commas_only_when_it_must() {
        assert_eq!(
            wrap_list("84 pairs, 78 players", 10.0, 200.0),
            ["84 pairs, 78 players"]
        );
        assert_eq!(
            wrap_list("84 pairs, 78 players", 10.0, 110.0),
            ["84 pairs,", "78 players"]
        );
    }

    #[test]
    fn figures_held_together_by_no_break_spaces_do_not_break() {
        assert_eq!(
            wrap("1\u{202F}234 95\u{A0}%", 10.0, 1.0),
            ["1\u{202F}234", "95\u{A0}%"]
        );
    }
}
