//! Setting text in the card's typeface: what a line measures, where it breaks, and the marks.

use crate::font::{self, NO_GLYPH, Weight};
use crate::plots::canvas::Px;

/// A line as a share of its size: the typeface's own height and a little air (by eye).
pub(super) const LINE: f64 = 1.22;

/// One line of text. Its length is written down, so that a reader without the typeface sees the
/// line as long as it was measured.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Words {
    pub(super) x: Px,
    pub(super) baseline: Px,
    pub(super) size: Px,
    pub(super) length: Px,
    pub(super) strong: bool,
    pub(super) body: String,
}

/// A straight line of its own thickness.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Rule {
    pub(super) x1: Px,
    pub(super) y1: Px,
    pub(super) x2: Px,
    pub(super) y2: Px,
    pub(super) thickness: Px,
}

/// A rectangle by its upper left corner.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Bar {
    pub(super) x: Px,
    pub(super) y: Px,
    pub(super) width: Px,
    pub(super) height: Px,
}

/// How text is set: size and weight.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Type {
    size: f64,
    weight: Weight,
}

impl Type {
    pub(super) fn regular(size: f64) -> Self {
        Self::new(size, Weight::Regular)
    }

    pub(super) fn bold(size: f64) -> Self {
        Self::new(size, Weight::Bold)
    }

    /// Rounded down to what is written, so that what is measured is what is drawn.
    fn new(size: f64, weight: Weight) -> Self {
        Self {
            size: (size * 10.0).floor() / 10.0,
            weight,
        }
    }

    /// How wide `text` is on one line.
    pub(super) fn width(self, text: &str) -> f64 {
        font::width(text, self.size, self.weight)
    }

    /// Height of one line.
    pub(super) fn line(self) -> f64 {
        self.size * LINE
    }

    /// The same, smaller where `text` would not fit `room` on one line.
    pub(super) fn fitted(self, text: &str, room: f64) -> Self {
        let width = self.width(text);
        if width <= room {
            return self;
        }
        Self::new(self.size * room / width, self.weight)
    }

    /// One line with its upper edge at `top`.
    pub(super) fn at(self, x: f64, top: f64, text: &str) -> Words {
        let ink = font::ASCENT + font::DESCENT;
        let baseline = top + self.size * ((LINE - ink) / 2.0 + font::ASCENT);
        Words {
            x: Px(x),
            baseline: Px(baseline),
            size: Px(self.size),
            length: Px(self.width(text)),
            strong: self.weight == Weight::Bold,
            body: text.to_owned(),
        }
    }

    /// Breaks `text` into lines that fit `room`: at spaces, and inside a word that is longer than
    /// a line. Empty text gives no line.
    pub(super) fn wrap(self, text: &str, room: f64) -> Vec<String> {
        let space = self.width(" ");
        let mut lines: Vec<String> = Vec::new();
        let mut used = 0.0;
        for word in text.split(' ').filter(|word| !word.is_empty()) {
            let width = self.width(word);
            match lines.last_mut() {
                Some(line) if used + space + width <= room => {
                    line.push(' ');
                    line.push_str(word);
                    used += space + width;
                }
                _ => {
                    lines.extend(self.pieces(word, room));
                    used = lines.last().map_or(0.0, |line| self.width(line));
                }
            }
        }
        lines
    }

    /// A word cut into pieces that fit `room`, of at least one character each.
    fn pieces(self, word: &str, room: f64) -> Vec<String> {
        let mut pieces = vec![String::new()];
        let mut used = 0.0;
        for character in word.chars() {
            let width = self.width(character.encode_utf8(&mut [0; 4]));
            match pieces.last_mut() {
                Some(piece) if piece.is_empty() || used + width <= room => {
                    piece.push(character);
                    used += width;
                }
                _ => {
                    pieces.push(character.to_string());
                    used = width;
                }
            }
        }
        pieces
    }

    /// Like [`Type::wrap`], with lines as even as the same number of lines allows.
    pub(super) fn wrap_evenly(self, text: &str, room: f64) -> Vec<String> {
        /// How much narrower each try is, and how many there are (by eye).
        const NARROWER: f64 = 0.97;
        const TRIES: usize = 24;
        let mut best = self.wrap(text, room);
        let mut room = room;
        for _ in 0..TRIES {
            room *= NARROWER;
            let narrower = self.wrap(text, room);
            if best.len() < narrower.len() {
                break;
            }
            best = narrower;
        }
        best
    }
}

/// Text as it can be set: every run of spaces and breaks is one space, and what is invisible by
/// definition, or not allowed in XML, is gone. A character without a glyph stays: a reader may have
/// one, and where it is drawn without one it is a box.
pub(super) fn clean(text: &str) -> String {
    let is_kept = |c: &char| !is_invisible(*c);
    let spaced: String = text
        .chars()
        .map(|c| match c {
            '\u{FFFE}' | '\u{FFFF}' => NO_GLYPH,
            _ if c.is_whitespace() && !is_unbroken(c) => ' ',
            _ => c,
        })
        .filter(is_kept)
        .collect();
    let words: Vec<&str> = spaced.split(' ').filter(|word| !word.is_empty()).collect();
    words.join(" ")
}

/// Spaces at which a line does not break.
const fn is_unbroken(c: char) -> bool {
    matches!(c, '\u{A0}' | '\u{2007}' | '\u{202F}')
}

/// Controls, and characters that are not drawn: soft hyphen, joiners, marks of direction, selectors
/// of variants (the Unicode property `Default_Ignorable_Code_Point`, those met in text).
const fn is_invisible(c: char) -> bool {
    matches!(
        c,
        '\0'..='\u{1F}'
            | '\u{7F}'..='\u{9F}'
            | '\u{AD}'
            | '\u{34F}'
            | '\u{61C}'
            | '\u{180B}'..='\u{180F}'
            | '\u{200B}'..='\u{200F}'
            | '\u{202A}'..='\u{202E}'
            | '\u{2060}'..='\u{206F}'
            | '\u{FE00}'..='\u{FE0F}'
            | '\u{FEFF}'
            | '\u{E0000}'..='\u{E0FFF}'
    )
}
