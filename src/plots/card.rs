//! The card: one still picture for a video or a post, with the question, what is answered, how
//! large the difference is and how sure that is.
//!
//! It is shown away from the page, so it carries all that its sentence rests on, and it is set in
//! the embedded typeface, whose widths are known: text wraps and shrinks until everything fits, and
//! nothing is cut off. It is dark on light only, read by shape and words first, and meant to be
//! understood when shown 400 dots wide and in black and white.
//!
//! Absent: what may be said. Every sentence comes from the caller.

mod figure;
mod fit;
mod set;

use crate::numbers;
use askama::Template;
use fit::Composition;
use set::{Bar, Rule, Words};

use super::canvas::{Points, Px};

/// What a card says.
#[derive(Debug, Clone, PartialEq)]
pub struct Card {
    /// The question.
    pub question: String,
    /// "Invented data: …", when it is.
    pub notice: Option<String>,
    /// What [`Card::sentence`] is about: "Mean ball speed, forehand". May be empty.
    pub about: String,
    /// The answer in one to a few sentences.
    pub sentence: String,
    /// Figures of the answer, one for each gap; empty when there is nothing to draw.
    pub gaps: Vec<Gap>,
    /// The place in `gaps` of the one that is also told in large figures; `None` where none is, and
    /// every gap has its figures beside its interval.
    pub main: Option<usize>,
    /// Why it is that one, when there are several, behind its counts: "the most of any gap".
    pub main_because: String,
    /// Unit of every value, as shown: "km/h".
    pub unit: String,
    /// Name of the interval: "95 % range".
    pub interval_words: String,
    /// What lies left of zero: "tighter faster".
    pub left_words: String,
    /// What lies right of zero: "looser faster".
    pub right_words: String,
    /// Further answers with what they are about, shown smaller and only where there is room.
    pub others: Vec<(String, String)>,
    /// Who is behind it: "120 players, 131 pairs of sessions". May be empty.
    pub counts: String,
    /// Which state of the study this is: "Release 2, 2026-11-29". May be empty.
    pub label: String,
    /// Where more is to be read.
    pub address: Option<String>,
}

/// What is known at one gap.
#[derive(Debug, Clone, PartialEq)]
pub struct Gap {
    /// Name: "5 to under 8 lb".
    pub label: String,
    /// Counts: "50 pairs, 48 players". May be empty.
    pub counts: String,
    /// The difference, or why none is shown.
    pub difference: Result<Difference, String>,
}

/// A difference with its interval, in the card's unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Difference {
    /// The estimate.
    pub estimate: f64,
    /// Lower end of the interval.
    pub low: f64,
    /// Upper end of the interval.
    pub high: f64,
}

impl Difference {
    /// Whether the interval has zero inside it or at an end.
    #[must_use]
    pub const fn spans_zero(&self) -> bool {
        self.low <= 0.0 && 0.0 <= self.high
    }

    /// The estimate as shown: "+1.2".
    fn shown(&self) -> String {
        numbers::signed(self.estimate, self.decimals())
    }

    /// The interval as shown: "0.3 to 2.1".
    fn range(&self) -> String {
        numbers::interval(self.low, self.high, self.decimals())
    }

    fn decimals(&self) -> usize {
        numbers::decimals_of_range(self.low, self.high)
    }
}

/// The shape of a card.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Size {
    /// 1200 × 630, for a post and for previews of links.
    Post,
    /// 1920 × 1080, for a video.
    Video,
}

impl Size {
    /// Every size.
    pub const ALL: &'static [Self] = &[Self::Post, Self::Video];

    /// Width and height in dots.
    #[must_use]
    pub const fn dots(self) -> (u32, u32) {
        match self {
            Self::Post => (1200, 630),
            Self::Video => (1920, 1080),
        }
    }

    /// Width and height that the card is laid out in, of the same shape.
    const fn room(self) -> (f64, f64) {
        match self {
            Self::Post => (1200.0, 630.0),
            Self::Video => (1200.0, 675.0),
        }
    }
}

/// A card before it becomes SVG.
#[derive(Debug, Template)]
#[template(path = "card.svg", config = "src/pages/askama.toml", escape = "html")]
struct Drawn {
    width: u32,
    height: u32,
    room: (Px, Px),
    family: &'static str,
    title: String,
    description: String,
    frames: Vec<Bar>,
    rules: Vec<Rule>,
    bars: Vec<Bar>,
    main_bars: Vec<Bar>,
    diamonds: Vec<Points>,
    main_diamonds: Vec<Points>,
    words: Vec<Words>,
}

/// Draws the card as SVG: the same values give the same bytes.
#[must_use]
pub fn card(card: &Card, size: Size) -> String {
    let card = fit::clean(card);
    let (width, height) = size.dots();
    let room = size.room();
    let Composition {
        words,
        frames,
        figure,
    } = fit::compose(&card, room);
    Drawn {
        width,
        height,
        room: (Px(room.0), Px(room.1)),
        family: crate::font::FAMILY,
        description: description(&card),
        title: card.question,
        frames,
        rules: figure.rules,
        bars: figure.bars,
        main_bars: figure.main_bars,
        diamonds: figure.diamonds,
        main_diamonds: figure.main_diamonds,
        words,
    }
    .render()
    // Rendering writes to a string through Display implementations that never fail, so there is no
    // failure to report.
    .unwrap_or_default()
}

/// Everything that the card says, in words.
fn description(card: &Card) -> String {
    let mut said: Vec<String> = card.notice.iter().cloned().collect();
    let about = |about: &str, sentence: &str| match about {
        "" => sentence.to_owned(),
        about => format!("{about}: {sentence}"),
    };
    said.push(about(&card.about, &card.sentence));
    for (other, sentence) in &card.others {
        said.push(about(other, sentence));
    }
    for gap in &card.gaps {
        let what = match &gap.difference {
            Ok(difference) => format!(
                "looser minus tighter {} {}, {} {}",
                difference.shown(),
                card.unit,
                card.interval_words,
                difference.range()
            ),
            Err(why) => why.clone(),
        };
        said.push(format!("Gap {}: {what}.", gap.label));
    }
    let rest = [&card.counts, &card.label].into_iter();
    said.extend(
        rest.filter(|text| !text.is_empty())
            .map(|text| format!("{text}.")),
    );
    said.extend(card.address.clone());
    said.join(" ")
}

#[cfg(test)]
pub(crate) mod tests;
