//! The canonical order of effects, and the numbers of their clusters.
//!
//! The order is by estimate, then variance, then moderators, then the content of the cluster, which
//! is the ascending list of what its effects are. Estimates are first dealt out into boxes by size,
//! which are then sorted one by one, so that what is sorted lies close together in memory.

use ndarray::ArrayView2;
use std::cmp::Ordering;

/// Effects that a box is meant to hold.
const BOX_SIZE: usize = 256;

/// Most boxes; more could not be written to at a time without waiting for memory.
const MOST_BOXES: usize = 2048;

/// How many labels more than effects there may be before they are numbered by sorting instead of by
/// a table as long as the largest label.
const SPARE_LABELS: usize = 1024;

/// An effect by what it is sorted by. Estimate and variance are bits that sort as the numbers do.
#[derive(Debug, Clone, Copy)]
struct Row {
    estimate: u64,
    variance: u64,
    place: usize,
}

impl Row {
    const fn key(&self) -> (u64, u64) {
        (self.estimate, self.variance)
    }
}

/// Effects in canonical order.
#[derive(Debug)]
pub(super) struct Ordered {
    pub(super) estimates: Vec<f64>,
    pub(super) variances: Vec<f64>,
    /// Where each stood in the input.
    pub(super) places: Vec<usize>,
    /// Numbers of the clusters in order of first appearance, and how many there are.
    pub(super) clusters: Option<(Vec<usize>, usize)>,
}

/// Orders columns that run parallel and were checked.
pub(super) fn order(
    estimates: &[f64],
    variances: &[f64],
    clusters: Option<&[usize]>,
    moderators: ArrayView2<'_, f64>,
) -> Ordered {
    let mut rows = sorted(estimates, variances);
    if 0 < moderators.ncols() {
        let by_moderators = |a: &Row, b: &Row| {
            let rows = moderators
                .row(a.place)
                .into_iter()
                .zip(moderators.row(b.place));
            let mut orders = rows.map(|(a, b)| a.total_cmp(b));
            orders
                .find(|order| order.is_ne())
                .unwrap_or(Ordering::Equal)
        };
        for tied in rows.chunk_by_mut(|a, b| a.key() == b.key()) {
            tied.sort_unstable_by(by_moderators);
        }
        let is_alike = |a: &Row, b: &Row| a.key() == b.key() && by_moderators(a, b).is_eq();
        finish(rows, clusters, is_alike)
    } else {
        finish(rows, clusters, |a, b| a.key() == b.key())
    }
}

fn finish(
    mut rows: Vec<Row>,
    clusters: Option<&[usize]>,
    is_alike: impl Fn(&Row, &Row) -> bool,
) -> Ordered {
    let clusters = clusters.map(|labels| number(&mut rows, &dense(labels), is_alike));
    Ordered {
        estimates: rows.iter().map(|row| number_of(row.estimate)).collect(),
        variances: rows.iter().map(|row| number_of(row.variance)).collect(),
        places: rows.iter().map(|row| row.place).collect(),
        clusters,
    }
}

/// Bits that sort as numbers do. Adding zero turns -0 into 0, so that equal numbers are equal bits.
fn bits_of(value: f64) -> u64 {
    let bits = (value + 0.0).to_bits();
    if bits >> 63 == 0 {
        bits | (1 << 63)
    } else {
        !bits
    }
}

fn number_of(bits: u64) -> f64 {
    f64::from_bits(if bits >> 63 == 0 {
        !bits
    } else {
        bits & !(1 << 63)
    })
}

/// The effects by estimate and variance.
fn sorted(estimates: &[f64], variances: &[f64]) -> Vec<Row> {
    let columns = || estimates.iter().zip(variances);
    let row = |(place, (&estimate, &variance)): (usize, (&f64, &f64))| Row {
        estimate: bits_of(estimate),
        variance: bits_of(variance),
        place,
    };
    let is_sorted = columns().is_sorted_by(|a, b| {
        let (a, b) = (row((0, *a)), row((0, *b)));
        a.key() <= b.key()
    });
    let n_boxes = (estimates.len() / BOX_SIZE).min(MOST_BOXES);
    if is_sorted || n_boxes < 2 {
        let mut rows: Vec<Row> = columns().enumerate().map(row).collect();
        if !is_sorted {
            rows.sort_unstable_by_key(Row::key);
        }
        return rows;
    }
    let boxes = Boxes::new(estimates, n_boxes);
    let mut ends = vec![0; n_boxes];
    for &estimate in estimates {
        if let Some(end) = ends.get_mut(boxes.of(estimate)) {
            *end += 1;
        }
    }
    // Every box begins where the one before it ends, and is filled up to its own end.
    let mut begin = 0;
    for end in &mut ends {
        begin += std::mem::replace(end, begin);
    }
    let nothing = Row {
        estimate: 0,
        variance: 0,
        place: 0,
    };
    let mut rows = vec![nothing; estimates.len()];
    for row in columns().enumerate().map(row) {
        let end = ends.get_mut(boxes.of(number_of(row.estimate)));
        if let Some((end, slot)) = end.and_then(|end| rows.get_mut(*end).map(|slot| (end, slot))) {
            *slot = row;
            *end += 1;
        }
    }
    let mut rest = rows.as_mut_slice();
    let mut begin = 0;
    for end in ends {
        let (of_box, behind) = rest.split_at_mut(end - begin);
        of_box.sort_unstable_by_key(Row::key);
        (rest, begin) = (behind, end);
    }
    rows
}

/// Boxes of equal width between the smallest and the largest estimate.
#[derive(Debug)]
struct Boxes {
    smallest: f64,
    scale: f64,
    last: usize,
}

impl Boxes {
    #[expect(clippy::cast_precision_loss, reason = "a few thousand at most")]
    fn new(estimates: &[f64], n: usize) -> Self {
        let (smallest, largest) = crate::pooling::lanes::extremes(estimates);
        Self {
            smallest,
            scale: n as f64 / (largest - smallest),
            last: n - 1,
        }
    }

    /// A larger estimate is never in an earlier box, since every step rounds in one direction. Where
    /// the range is 0 or infinite, all are in one.
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "what does not fit goes to the first or the last box"
    )]
    fn of(&self, estimate: f64) -> usize {
        (((estimate - self.smallest) * self.scale) as usize).min(self.last)
    }
}

/// Labels as small numbers, equal where they were, and how many numbers there may be.
fn dense(labels: &[usize]) -> (std::borrow::Cow<'_, [usize]>, usize) {
    let n = labels
        .iter()
        .max()
        .map_or(0, |&largest| largest.saturating_add(1));
    if n <= labels.len().saturating_mul(4).saturating_add(SPARE_LABELS) {
        return (labels.into(), n);
    }
    let mut names = labels.to_vec();
    names.sort_unstable();
    names.dedup();
    let number = |label: &usize| names.partition_point(|name| name < label);
    (labels.iter().map(number).collect(), names.len())
}

/// Puts effects that are alike in the order of their clusters, and numbers the clusters.
///
/// Clusters are compared as ascending lists of their effects, a beginning before the whole; alike
/// ones are interchangeable.
fn number(
    rows: &mut [Row],
    (labels, n_labels): &(std::borrow::Cow<'_, [usize]>, usize),
    is_alike: impl Fn(&Row, &Row) -> bool,
) -> (Vec<usize>, usize) {
    let label = |row: &Row| labels.get(row.place).copied().unwrap_or_default();
    let lists = rows
        .windows(2)
        .any(|pair| matches!(pair, [a, b] if is_alike(a, b) && label(a) != label(b)))
        .then(|| Lists::new(rows, *n_labels, label, &is_alike));
    let mut numbers = vec![usize::MAX; *n_labels];
    let mut n_clusters = 0;
    let mut column = Vec::with_capacity(rows.len());
    for alike in rows.chunk_by_mut(is_alike) {
        if let Some(lists) = lists.as_ref().filter(|_| 1 < alike.len()) {
            alike.sort_unstable_by(|a, b| {
                let (a, b) = (label(a), label(b));
                let by_number = || numbers.get(a).cmp(&numbers.get(b)).then(a.cmp(&b));
                lists.of(a).cmp(lists.of(b)).then_with(by_number)
            });
        }
        for row in alike {
            if let Some(number) = numbers.get_mut(label(row)) {
                if *number == usize::MAX {
                    *number = n_clusters;
                    n_clusters += 1;
                }
                column.push(*number);
            }
        }
    }
    (column, n_clusters)
}

/// For every label the effects it has, each by the number of its likes.
#[derive(Debug)]
struct Lists {
    ends: Vec<usize>,
    contents: Vec<usize>,
}

impl Lists {
    fn new(
        rows: &mut [Row],
        n_labels: usize,
        label: impl Fn(&Row) -> usize,
        is_alike: impl Fn(&Row, &Row) -> bool,
    ) -> Self {
        let mut ends = vec![0; n_labels];
        for row in rows.iter() {
            if let Some(end) = ends.get_mut(label(row)) {
                *end += 1;
            }
        }
        let mut begin = 0;
        for end in &mut ends {
            begin += std::mem::replace(end, begin);
        }
        let mut contents = vec![0; rows.len()];
        for (content, alike) in rows.chunk_by(is_alike).enumerate() {
            for row in alike {
                let end = ends.get_mut(label(row));
                if let Some((end, slot)) =
                    end.and_then(|end| contents.get_mut(*end).map(|slot| (end, slot)))
                {
                    *slot = content;
                    *end += 1;
                }
            }
        }
        Self { ends, contents }
    }

    fn of(&self, label: usize) -> &[usize] {
        let end_of = |label: usize| self.ends.get(label).copied();
        let begin = label.checked_sub(1).and_then(end_of).unwrap_or_default();
        let end = end_of(label).unwrap_or_default();
        self.contents.get(begin..end).unwrap_or_default()
    }
}
