//! Rows in little memory: what the rows of a pair share stands once, and figures are decimals.
//!
//! A row by itself takes 88 bytes. Here it takes 20, and each pair 56 more: of nine rows a pair
//! that is 26 bytes a row. Where any figure is no decimal of few digits, as in a download that
//! somebody else made, every row takes 32.

mod decimal;

use super::{Circumstances, Row};
use crate::protocol::GapBand;
use crate::vocabulary::{Outcome, ShotClass, VarianceSource};
use decimal::Decimal;
use std::cmp::Ordering;
use std::ops::Range;

/// Published rows, in an order. They are put together as they are asked for.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Rows {
    pairs: Vec<Pair>,
    figures: AllFigures,
}

/// What rows that follow each other share.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Pair {
    group: u32,
    pair: u32,
    band: GapBand,
    gap_lb: i32,
    circumstances: Circumstances,
}

/// The rest of a row.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Figures<N> {
    /// The place of its pair.
    of: u32,
    outcome: Outcome,
    class: ShotClass,
    source: VarianceSource,
    estimate: N,
    variance: N,
    imputed_variance: N,
}

/// The rest of every row.
#[derive(Clone, Debug, PartialEq)]
enum AllFigures {
    /// While all of them are decimals.
    Decimal(Vec<Figures<Decimal>>),
    /// Since one was none.
    Any(Vec<Figures<f64>>),
}

impl Default for AllFigures {
    fn default() -> Self {
        Self::Decimal(Vec::new())
    }
}

impl<N: Copy> Figures<N> {
    fn with<M>(&self, number: impl Fn(N) -> Option<M>) -> Option<Figures<M>> {
        Some(Figures {
            of: self.of,
            outcome: self.outcome,
            class: self.class,
            source: self.source,
            estimate: number(self.estimate)?,
            variance: number(self.variance)?,
            imputed_variance: number(self.imputed_variance)?,
        })
    }
}

impl Figures<Decimal> {
    fn plain(&self) -> Option<Figures<f64>> {
        self.with(|number| Some(number.value()))
    }
}

impl AllFigures {
    const fn len(&self) -> usize {
        match self {
            Self::Decimal(all) => all.len(),
            Self::Any(all) => all.len(),
        }
    }

    fn get(&self, place: usize) -> Option<Figures<f64>> {
        match self {
            Self::Decimal(all) => all.get(place)?.plain(),
            Self::Any(all) => all.get(place).copied(),
        }
    }

    fn push(&mut self, figures: &Figures<f64>) {
        if let Self::Decimal(all) = self {
            if let Some(decimal) = figures.with(Decimal::of) {
                all.push(decimal);
                return;
            }
            let any = all.iter().filter_map(Figures::plain);
            *self = Self::Any(any.collect());
        }
        if let Self::Any(all) = self {
            all.push(*figures);
        }
    }

    /// The place of the pair of each row.
    fn of(&self) -> Vec<u32> {
        match self {
            Self::Decimal(all) => all.iter().map(|figures| figures.of).collect(),
            Self::Any(all) => all.iter().map(|figures| figures.of).collect(),
        }
    }

    fn move_to(&mut self, ranks: &[u32]) {
        match self {
            Self::Decimal(all) => move_to(all, ranks),
            Self::Any(all) => move_to(all, ranks),
        }
    }

    fn shrink_to_fit(&mut self) {
        match self {
            Self::Decimal(all) => all.shrink_to_fit(),
            Self::Any(all) => all.shrink_to_fit(),
        }
    }
}

/// Gives each pair its new place and puts rows in that order.
fn move_to<N>(all: &mut [Figures<N>], ranks: &[u32]) {
    for figures in &mut *all {
        figures.of = ranks.get(figures.of as usize).copied().unwrap_or_default();
    }
    // In place, since rows are most of what a study takes. No two of a pair are alike in this.
    all.sort_unstable_by_key(|figures| (figures.of, figures.outcome, figures.class));
}

impl Rows {
    /// No rows yet, with room for so many pairs and rows.
    #[must_use]
    pub fn with_capacity(n_pairs: usize, n_rows: usize) -> Self {
        Self {
            pairs: Vec::with_capacity(n_pairs),
            figures: AllFigures::Decimal(Vec::with_capacity(n_rows)),
        }
    }

    /// How many rows there are.
    #[must_use]
    pub const fn len(&self) -> usize {
        self.figures.len()
    }

    /// Whether there are none.
    #[must_use]
    pub const fn is_empty(&self) -> bool {
        self.len() == 0
    }

    /// The row at a place.
    #[must_use]
    pub fn get(&self, place: usize) -> Option<Row> {
        let figures = self.figures.get(place)?;
        let pair = self.pairs.get(figures.of as usize)?;
        Some(Row {
            group: pair.group,
            pair: pair.pair,
            band: pair.band,
            gap_lb: pair.gap_lb,
            outcome: figures.outcome,
            class: figures.class,
            estimate: figures.estimate,
            variance: figures.variance,
            imputed_variance: figures.imputed_variance,
            source: figures.source,
            circumstances: pair.circumstances,
        })
    }

    /// Every row in turn.
    pub fn iter(&self) -> impl DoubleEndedIterator<Item = Row> + Clone + '_ {
        // None goes missing: no figures are ever put in without their pair.
        (0..self.len()).filter_map(|place| self.get(place))
    }

    /// Puts a row at the end.
    pub fn push(&mut self, row: Row) {
        let pair = Pair {
            group: row.group,
            pair: row.pair,
            band: row.band,
            gap_lb: row.gap_lb,
            circumstances: row.circumstances,
        };
        if self.pairs.last() != Some(&pair) {
            self.pairs.push(pair);
        }
        let last = self.pairs.len().saturating_sub(1);
        self.figures.push(&Figures {
            of: u32::try_from(last).unwrap_or(u32::MAX),
            outcome: row.outcome,
            class: row.class,
            source: row.source,
            estimate: row.estimate,
            variance: row.variance,
            imputed_variance: row.imputed_variance,
        });
    }

    /// Puts pairs in order and numbers them. They were pushed one after the other, each with the rows
    /// that it has, by outcome and class, and with numbers that tell players and pairs apart; players
    /// come to stand in the order of theirs, and pairs of one player in that of their rows by
    /// `content`, else as they stood. Both are numbered from 1 without gaps. Gives for each pair, as
    /// it now stands, where it stood.
    pub(crate) fn arrange(&mut self, content: impl Fn(&Row, &Row) -> Ordering) -> Vec<u32> {
        let in_order = self.in_order(content);
        let mut ranks = vec![0; self.pairs.len()];
        for (rank, stood) in (0..).zip(&in_order) {
            if let Some(of_pair) = ranks.get_mut(*stood as usize) {
                *of_pair = rank;
            }
        }
        self.figures.move_to(&ranks);
        let mut pairs = Vec::with_capacity(self.pairs.len());
        let in_place = in_order.iter();
        pairs.extend(in_place.filter_map(|stood| self.pairs.get(*stood as usize)));
        self.pairs = pairs;
        let players = self.pairs.chunk_by_mut(|a, b| a.group == b.group);
        for (group, of_player) in (1..).zip(players) {
            for (number, pair) in (1..).zip(of_player) {
                (pair.group, pair.pair) = (group, number);
            }
        }
        in_order
    }

    fn in_order(&self, content: impl Fn(&Row, &Row) -> Ordering) -> Vec<u32> {
        let runs = self.runs();
        let rows = |stood: u32| {
            let run = runs.get(stood as usize).cloned().unwrap_or_default();
            run.filter_map(|place| self.get(place as usize))
        };
        let group = |stood: u32| self.pairs.get(stood as usize).map(|pair| pair.group);
        let mut in_order: Vec<u32> = (0..).take(self.pairs.len()).collect();
        in_order.sort_by(|a, b| {
            let by_rows = || rows(*a).zip(rows(*b)).map(|(a, b)| content(&a, &b));
            let first = || by_rows().find(|order| order.is_ne());
            let by_content = || first().unwrap_or_else(|| rows(*a).count().cmp(&rows(*b).count()));
            group(*a).cmp(&group(*b)).then_with(by_content)
        });
        in_order
    }

    /// The places of the rows of each pair.
    fn runs(&self) -> Vec<Range<u32>> {
        let of = self.figures.of();
        let mut end = 0;
        let runs = of.chunk_by(|a, b| a == b).map(|run| {
            let start = end;
            end += u32::try_from(run.len()).unwrap_or(u32::MAX);
            start..end
        });
        runs.collect()
    }

    /// Puts other places of frames in, one after the other.
    pub(crate) fn rename_frames(&mut self, renamed: impl Fn(u32) -> Option<u32>) {
        for pair in &mut self.pairs {
            let frame = &mut pair.circumstances.frame;
            *frame = frame.and_then(&renamed);
        }
    }

    /// The place of the pair of each row.
    pub(crate) fn pairs(&self) -> impl Iterator<Item = usize> {
        self.figures.of().into_iter().map(|of| of as usize)
    }
}

impl FromIterator<Row> for Rows {
    fn from_iter<I: IntoIterator<Item = Row>>(rows: I) -> Self {
        let mut kept = Self::default();
        for row in rows {
            kept.push(row);
        }
        kept.pairs.shrink_to_fit();
        kept.figures.shrink_to_fit();
        kept
    }
}

#[cfg(test)]
mod tests;
