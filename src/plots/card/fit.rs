//! What stands where on a card, as large as fits.

use super::figure::{self, Figure};
use super::set::{self, Bar, Rule, Type, Words};
use super::{Card, Gap};
use crate::plots::canvas::Px;
use crate::plots::scale::is_placeable;

/// Room left free at the sides, above and below.
const SIDE: f64 = 56.0;
const ABOVE: f64 = 42.0;
const BELOW: f64 = 34.0;

/// Least and most room between blocks.
const LEAST_GAP: f64 = 16.0;
const MOST_GAP: f64 = 44.0;

/// Room around the words of the frame.
const FRAME: (f64, f64) = (16.0, 6.0);

/// Sizes at scale 1, in units of a card 1200 wide (by eye, at 400 dots wide).
const QUESTION: f64 = 42.0;
const NOTICE: f64 = 30.0;
const ABOUT: f64 = 26.0;
const SENTENCE: f64 = 37.0;
const OTHER: f64 = 24.0;
const FOOT: f64 = 23.0;

/// How large text may be where there is no picture, with further answers at the least, and at the
/// very least; and by how much it shrinks from one try to the next.
const LARGEST: f64 = 1.5;
const LEAST_WITH_OTHERS: f64 = 0.86;
const LEAST: f64 = 0.16;
const STEP: f64 = 0.02;

/// How small the picture, the frame and the foot get while text shrinks further.
const LEAST_FIGURE: f64 = 0.6;

/// What stands between parts of one line.
const BETWEEN: &str = " · ";

/// Everything with its place.
#[derive(Debug)]
pub(super) struct Composition {
    pub(super) words: Vec<Words>,
    pub(super) frames: Vec<Bar>,
    pub(super) figure: Figure,
}

/// The card with texts as they can be set, and without values that cannot be drawn.
pub(super) fn clean(card: &Card) -> Card {
    let clean = |text: &String| set::clean(text);
    let drawable = |gap: &Gap| Gap {
        label: clean(&gap.label),
        counts: clean(&gap.counts),
        difference: match &gap.difference {
            Ok(d) if [d.estimate, d.low, d.high].into_iter().all(is_placeable) => Ok(*d),
            Ok(_) => Err(crate::numbers::NOT_ESTIMABLE.to_owned()),
            Err(why) => Err(clean(why)),
        },
    };
    Card {
        question: clean(&card.question),
        notice: card.notice.as_ref().map(clean),
        about: clean(&card.about),
        sentence: clean(&card.sentence),
        gaps: card.gaps.iter().map(drawable).collect(),
        main: card.main,
        main_because: clean(&card.main_because),
        unit: clean(&card.unit),
        interval_words: clean(&card.interval_words),
        left_words: clean(&card.left_words),
        right_words: clean(&card.right_words),
        others: card
            .others
            .iter()
            .map(|(a, b)| (clean(a), clean(b)))
            .collect(),
        counts: clean(&card.counts),
        label: clean(&card.label),
        address: card.address.as_ref().map(clean),
    }
}

/// Sets the card as large as it fits: with the further answers where they fit without shrinking
/// the rest by much, else without.
pub(super) fn compose(card: &Card, room: (f64, f64)) -> Composition {
    let largest = if card.gaps.is_empty() { LARGEST } else { 1.0 };
    let with_others = (!card.others.is_empty()).then_some((true, LEAST_WITH_OTHERS));
    for (others, least) in with_others.into_iter().chain([(false, LEAST)]) {
        let mut scale = largest;
        while least <= scale {
            let page = Page::new(card, scale, others, room);
            if page.fits() {
                return page.place();
            }
            scale -= STEP;
        }
    }
    Page::new(card, LEAST, false, room).place()
}

/// A text in lines.
#[derive(Debug)]
struct Paragraph {
    kind: Type,
    lines: Vec<String>,
}

impl Paragraph {
    fn height(&self) -> f64 {
        // A card has a few hundred characters, so the count is exact.
        self.lines.len() as f64 * self.kind.line()
    }
}

/// What stands together on a card, from top to bottom.
#[derive(Debug)]
enum Block {
    Framed(Type, String),
    Text(Vec<Paragraph>),
    Picture,
}

/// A card at one scale.
#[derive(Debug)]
struct Page<'a> {
    card: &'a Card,
    blocks: Vec<Block>,
    foot: Foot,
    figure_scale: f64,
    room: (f64, f64),
}

impl<'a> Page<'a> {
    fn new(card: &'a Card, scale: f64, with_others: bool, room: (f64, f64)) -> Self {
        let width = room.0 - 2.0 * SIDE;
        let set = |kind: Type, text: &str| Paragraph {
            lines: kind.wrap(text, width),
            kind,
        };
        let small = scale.clamp(LEAST_FIGURE, 1.0);
        let mut blocks = Vec::new();
        if let Some(notice) = &card.notice {
            let kind = Type::bold(NOTICE * small).fitted(notice, width - 2.0 * FRAME.0);
            blocks.push(Block::Framed(kind, notice.clone()));
        }
        let question = Type::bold(QUESTION * scale);
        blocks.push(Block::Text(vec![Paragraph {
            lines: question.wrap_evenly(&card.question, width),
            kind: question,
        }]));
        blocks.push(Block::Text(vec![
            set(Type::bold(ABOUT * scale), &card.about),
            set(Type::regular(SENTENCE * scale), &card.sentence),
        ]));
        if with_others {
            let mut paragraphs = Vec::new();
            for (about, sentence) in &card.others {
                paragraphs.push(set(Type::bold(OTHER * scale), about));
                paragraphs.push(set(Type::regular(OTHER * scale), sentence));
            }
            blocks.push(Block::Text(paragraphs));
        }
        if !card.gaps.is_empty() {
            blocks.push(Block::Picture);
        }
        Self {
            card,
            blocks,
            foot: Foot::new(card, small, width),
            figure_scale: small,
            room,
        }
    }

    /// The picture with its upper edge at `top`.
    fn picture(&self, top: f64) -> Figure {
        let sides = (SIDE, self.room.0 - SIDE);
        figure::draw(self.card, self.figure_scale, top, sides)
    }

    fn height(&self, block: &Block) -> f64 {
        match block {
            Block::Framed(kind, _) => kind.line() + 2.0 * FRAME.1,
            Block::Text(paragraphs) => paragraphs.iter().map(Paragraph::height).sum(),
            Block::Picture => self.picture(0.0).bottom,
        }
    }

    /// Room that is left between blocks, which must be at least [`LEAST_GAP`] below each.
    fn left_over(&self) -> f64 {
        let heights = self.blocks.iter().map(|block| self.height(block));
        self.room.1 - ABOVE - BELOW - self.foot.height() - heights.sum::<f64>()
    }

    /// One gap below each block; a card has at most five, so the count is exact.
    fn gap(&self) -> f64 {
        self.left_over() / self.blocks.len() as f64
    }

    fn fits(&self) -> bool {
        LEAST_GAP <= self.gap()
    }

    /// Everything at its place.
    fn place(self) -> Composition {
        let gap = self.gap();
        let gap = if MOST_GAP < gap { MOST_GAP } else { gap };
        let mut placed = Composition {
            words: Vec::new(),
            frames: Vec::new(),
            figure: Figure::default(),
        };
        let mut y = ABOVE;
        for block in &self.blocks {
            match block {
                Block::Framed(kind, text) => {
                    placed
                        .words
                        .push(kind.at(SIDE + FRAME.0, y + FRAME.1, text));
                    placed.frames.push(Bar {
                        x: Px(SIDE),
                        y: Px(y),
                        width: Px(kind.width(text) + 2.0 * FRAME.0),
                        height: Px(self.height(block)),
                    });
                }
                Block::Text(paragraphs) => write(&mut placed.words, paragraphs, y),
                Block::Picture => placed.figure = self.picture(y),
            }
            y += self.height(block) + gap;
        }
        let top = self.room.1 - BELOW - self.foot.height();
        self.foot.place(&mut placed, top, self.room.0);
        placed.words.append(&mut placed.figure.words);
        placed
    }
}

/// Writes paragraphs from `top` downwards.
fn write(words: &mut Vec<Words>, paragraphs: &[Paragraph], top: f64) {
    let mut y = top;
    for paragraph in paragraphs {
        for line in &paragraph.lines {
            words.push(paragraph.kind.at(SIDE, y, line));
            y += paragraph.kind.line();
        }
    }
}

/// The line at the foot: who is behind the card, which state of the study it shows, and where more
/// is to be read.
#[derive(Debug)]
struct Foot(Paragraph);

impl Foot {
    /// Room between the line above and the words.
    const GAP: f64 = 10.0;

    fn new(card: &Card, scale: f64, room: f64) -> Self {
        let kind = Type::regular(FOOT * scale);
        let parts = [Some(&card.counts), Some(&card.label), card.address.as_ref()];
        let parts = parts.into_iter().flatten().filter(|part| !part.is_empty());
        // Parts that do not fit on one line begin a new one; none is broken unless it has to be.
        let mut lines: Vec<String> = Vec::new();
        for part in parts {
            match lines.last_mut() {
                Some(line) if kind.width(&format!("{line}{BETWEEN}{part}")) <= room => {
                    line.push_str(BETWEEN);
                    line.push_str(part);
                }
                _ => lines.extend(kind.wrap(part, room)),
            }
        }
        Self(Paragraph { kind, lines })
    }

    fn height(&self) -> f64 {
        self.0.height() + Self::GAP
    }

    fn place(&self, placed: &mut Composition, top: f64, width: f64) {
        if self.0.lines.is_empty() {
            return;
        }
        placed.figure.rules.push(Rule {
            x1: Px(SIDE),
            y1: Px(top),
            x2: Px(width - SIDE),
            y2: Px(top),
            thickness: Px(2.0),
        });
        write(
            &mut placed.words,
            std::slice::from_ref(&self.0),
            top + Self::GAP,
        );
    }
}
