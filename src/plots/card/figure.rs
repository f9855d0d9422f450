//! The picture of a card: the difference in large figures, and the intervals of all gaps on one
//! axis. Where no gap is told in large figures, each has its figures beside its interval.

use super::set::{Bar, Rule, Type, Words};
use super::{Card, Difference, Gap};
use crate::plots::canvas::{Points, Px};
use crate::plots::scale::{Cover, Scale};

/// Room between the column of figures and the intervals, and between their names and the axis.
const COLUMN_GAP: f64 = 40.0;
const LABEL_GAP: f64 = 22.0;

/// Share of the room that the column of figures takes, and the most for the names of gaps.
const COLUMN: f64 = 0.39;
const MOST_LABEL: f64 = 0.24;

/// Share of the room that figures beside intervals take at most.
const MOST_FIGURES: f64 = 0.3;

/// Most steps between ticks: few, so that they stay apart when the card is small.
const MOST_TICKS: f64 = 4.0;

/// Heights and sizes at scale 1, in units of a card 1200 wide (by eye, at 400 dots wide).
const NUMBER: f64 = 80.0;
const UNIT: f64 = 38.0;
const RANGE: f64 = 35.0;
const SMALL: f64 = 25.0;
const LEAST_ROW: f64 = 34.0;
const PLAIN_ROW: f64 = 44.0;
const MOST_ROW: f64 = 72.0;
const TICK: f64 = 8.0;

/// Thickness, half the height of the ends and half the height of the diamond: of the gap that is
/// told in large figures, and of the others.
const MAIN_MARK: (f64, f64, f64) = (7.0, 11.0, 15.0);
const MARK: (f64, f64, f64) = (4.0, 7.0, 10.0);

/// Marks and words with their places.
#[derive(Debug, Default)]
pub(super) struct Figure {
    pub(super) rules: Vec<Rule>,
    pub(super) bars: Vec<Bar>,
    pub(super) main_bars: Vec<Bar>,
    pub(super) diamonds: Vec<Points>,
    pub(super) main_diamonds: Vec<Points>,
    pub(super) words: Vec<Words>,
    /// Where it ends.
    pub(super) bottom: f64,
}

/// Draws the picture from `top` between `left` and `right`, `scale` times its usual size. Without
/// gaps there is none, and it ends where it begins.
pub(super) fn draw(card: &Card, scale: f64, top: f64, (left, right): (f64, f64)) -> Figure {
    let mut figure = Figure {
        bottom: top,
        ..Figure::default()
    };
    if card.gaps.is_empty() {
        return figure;
    }
    let main = card.main.and_then(|place| card.gaps.get(place));
    if let Some(gap) = main
        && let Ok(difference) = gap.difference
    {
        let room = COLUMN * (right - left);
        let bottom = figure.column(card, gap, difference, scale, top, (left, room));
        let beside = left + room + COLUMN_GAP;
        figure.intervals(card, scale, (top, bottom), (beside, right), false);
    } else {
        let top = figure.caption(card, scale, top, (left, right));
        // A card has at most a handful of gaps, so the count is exact.
        let rows = card.gaps.len() as f64 * PLAIN_ROW * scale;
        let bottom = top + rows + Figure::foot_height(scale);
        figure.intervals(card, scale, (top, bottom), (left, right), true);
    }
    figure
}

impl Figure {
    /// The difference of one gap in large figures; gives where they end.
    fn column(
        &mut self,
        card: &Card,
        gap: &Gap,
        difference: Difference,
        scale: f64,
        top: f64,
        (left, room): (f64, f64),
    ) -> f64 {
        let small = Type::regular(SMALL * scale);
        let mut y = top;
        let line = |figure: &mut Self, y: &mut f64, kind: Type, text: &str| {
            if !text.is_empty() {
                let kind = kind.fitted(text, room);
                figure.words.push(kind.at(left, *y, text));
                *y += kind.line();
            }
        };
        line(self, &mut y, small, "Looser minus tighter");
        line(self, &mut y, small, &format!("at a gap of {}:", gap.label));
        y = self.number(card, difference, scale, y, (left, room));
        let range = format!("{} {}", card.interval_words, difference.range());
        line(self, &mut y, Type::regular(RANGE * scale), &range);
        let mut counts = gap.counts.clone();
        if 1 < card.gaps.len() && !counts.is_empty() && !card.main_because.is_empty() {
            counts = format!("{counts}, {}", card.main_because);
        }
        line(self, &mut y, small, &counts);
        y
    }

    /// The estimate, with its unit smaller beside it on the same baseline.
    fn number(
        &mut self,
        card: &Card,
        difference: Difference,
        scale: f64,
        top: f64,
        (left, room): (f64, f64),
    ) -> f64 {
        let shown = difference.shown();
        let unit = format!("\u{A0}{}", card.unit);
        let (number, smaller) = (Type::bold(NUMBER * scale), Type::bold(UNIT * scale));
        let width = number.width(&shown) + smaller.width(&unit);
        let shrunk = if room < width { room / width } else { 1.0 };
        let number = Type::bold(NUMBER * scale * shrunk);
        let smaller = Type::bold(UNIT * scale * shrunk);
        let placed = number.at(left, top, &shown);
        let beside = Words {
            baseline: placed.baseline,
            ..smaller.at(left + number.width(&shown), top, &unit)
        };
        self.words.extend([placed, beside]);
        top + number.line()
    }

    /// What the figures beside intervals are; gives where it ends.
    fn caption(&mut self, card: &Card, scale: f64, top: f64, (left, right): (f64, f64)) -> f64 {
        let text = format!(
            "Looser minus tighter in {}, with its {}, at a gap of:",
            card.unit, card.interval_words
        );
        let kind = Type::regular(SMALL * scale).fitted(&text, right - left);
        self.words.push(kind.at(left, top, &text));
        top + 1.3 * kind.line()
    }

    /// The intervals of every gap on one axis, as high as the column beside them where they can be,
    /// each with its figures if they stand nowhere else.
    fn intervals(
        &mut self,
        card: &Card,
        scale: f64,
        (top, column_bottom): (f64, f64),
        (left, right): (f64, f64),
        with_figures: bool,
    ) {
        let mut cover = Cover::zero();
        for difference in card
            .gaps
            .iter()
            .filter_map(|gap| gap.difference.as_ref().ok())
        {
            cover.include(difference.low);
            cover.include(difference.estimate);
            cover.include(difference.high);
        }
        let names = Type::bold(SMALL * scale);
        let most_label = MOST_LABEL * (right - left + COLUMN * right);
        let labels = card.gaps.iter().map(|gap| names.width(&gap.label));
        let label_room = widest(labels, most_label);
        let plain = Type::regular(SMALL * scale);
        let edge = right;
        let shown = |gap: &Gap| match &gap.difference {
            Ok(difference) if with_figures => {
                format!("{} ({})", difference.shown(), difference.range())
            }
            _ => String::new(),
        };
        let figures = card.gaps.iter().map(|gap| plain.width(&shown(gap)));
        let figures_room = widest(figures, MOST_FIGURES * (right - left));
        let right = if 0.0 < figures_room {
            right - figures_room - LABEL_GAP
        } else {
            right
        };
        let axis = Scale::new(cover, left + label_room + LABEL_GAP, right);
        let foot = Self::foot_height(scale);
        // A card has at most a handful of gaps, so the count is exact.
        let n_rows = card.gaps.len() as f64;
        let row = (column_bottom - top - foot) / n_rows;
        let row = row.clamp(LEAST_ROW * scale, MOST_ROW * scale);
        // Where the column is higher, the intervals stand at its middle.
        let spare = column_bottom - top - foot - n_rows * row;
        let mut y = if 0.0 < spare { top + spare / 2.0 } else { top };
        for (place, gap) in card.gaps.iter().enumerate() {
            let is_main = card.main == Some(place);
            let kind = if is_main { names } else { plain };
            let kind = kind.fitted(&gap.label, label_room);
            self.words
                .push(kind.at(left, y + (row - kind.line()) / 2.0, &gap.label));
            match &gap.difference {
                Ok(difference) => {
                    self.rule((axis.at(0.0), y), (axis.at(0.0), y + row), 2.0);
                    self.mark(*difference, &axis, y + row / 2.0, is_main, scale);
                    let shown = shown(gap);
                    if !shown.is_empty() {
                        let kind = plain.fitted(&shown, figures_room);
                        let top = y + (row - kind.line()) / 2.0;
                        self.words.push(kind.at(edge - figures_room, top, &shown));
                    }
                }
                Err(why) => {
                    let kind = plain.fitted(why, edge - axis.start());
                    self.words
                        .push(kind.at(axis.start(), y + (row - kind.line()) / 2.0, why));
                }
            }
            y += row;
        }
        self.axis(card, scale, &axis, y, (left, right));
        let bottom = y + foot;
        self.bottom = if bottom < column_bottom {
            column_bottom
        } else {
            bottom
        };
    }

    /// One interval: a bar with strokes at its ends, and a diamond at the estimate.
    fn mark(&mut self, difference: Difference, axis: &Scale, y: f64, is_main: bool, scale: f64) {
        let (thick, end, half) = if is_main { MAIN_MARK } else { MARK };
        let (thick, end, half) = (thick * scale, end * scale, half * scale);
        let (bars, diamonds) = if is_main {
            (&mut self.main_bars, &mut self.main_diamonds)
        } else {
            (&mut self.bars, &mut self.diamonds)
        };
        let (low, high) = (axis.at(difference.low), axis.at(difference.high));
        bars.push(bar(low, y - thick / 2.0, high - low, thick));
        for x in [low, high] {
            bars.push(bar(x - thick / 2.0, y - end, thick, 2.0 * end));
        }
        let x = axis.at(difference.estimate);
        diamonds.push(Points::new(&[
            (x - half, y),
            (x, y - half),
            (x + half, y),
            (x, y + half),
        ]));
    }

    fn foot_height(scale: f64) -> f64 {
        (2.0 + TICK) * scale + 2.0 * Type::regular(SMALL * scale).line()
    }

    /// The axis with its ticks, and what lies on each side of zero.
    fn axis(&mut self, card: &Card, scale: f64, axis: &Scale, y: f64, (left, right): (f64, f64)) {
        let kind = Type::regular(SMALL * scale);
        self.rule((axis.start(), y), (axis.end(), y), 2.0);
        let mut line = y + TICK * scale;
        for tick in axis.ticks(MOST_TICKS) {
            self.rule((tick.at, y), (tick.at, line), 2.0);
            let x = tick.at - kind.width(&tick.label) / 2.0;
            let within = x.clamp(left, right - kind.width(&tick.label));
            self.words.push(kind.at(within, line, &tick.label));
        }
        line += kind.line();
        let (less, more) = (
            format!("← {}", card.left_words),
            format!("{} →", card.right_words),
        );
        let both = format!("{less}   {more}");
        let ends = kind.fitted(&both, right - left);
        let start = right - ends.width(&both);
        let start = if start < axis.start() {
            start
        } else {
            axis.start()
        };
        self.words.push(ends.at(start, line, &less));
        self.words
            .push(ends.at(right - ends.width(&more), line, &more));
    }

    fn rule(&mut self, (x1, y1): (f64, f64), (x2, y2): (f64, f64), thickness: f64) {
        self.rules.push(Rule {
            x1: Px(x1),
            y1: Px(y1),
            x2: Px(x2),
            y2: Px(y2),
            thickness: Px(thickness),
        });
    }
}

/// The widest of some texts, but no more than `most`.
fn widest(widths: impl Iterator<Item = f64>, most: f64) -> f64 {
    let widest = widths.fold(0.0, |most, width| if most < width { width } else { most });
    if widest < most { widest } else { most }
}

fn bar(x: f64, y: f64, width: f64, height: f64) -> Bar {
    Bar {
        x: Px(x),
        y: Px(y),
        width: Px(width),
        height: Px(height),
    }
}
