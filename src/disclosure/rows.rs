//! From kept pairs to published rows.

use super::facts::{Fact, Known, sessions, value_of, whole};
use super::kept::Kept;
use super::{CountedPair, to_tenth, to_three_digits};
use crate::effects::Effect;
use crate::findings::{Circumstances, LevelBand, Month, Order, Row, Rows};
use crate::vocabulary::StringFamily;
use std::cmp::Ordering;
use std::collections::BTreeMap;

/// Rows as they are gathered, pair by pair.
#[derive(Debug)]
pub(super) struct GatheredRows {
    rows: Rows,
    /// The place of each pair with rows among those counted.
    places: Vec<u32>,
    /// How often rows that show a frame spell its name in each way.
    spellings: BTreeMap<u32, BTreeMap<String, usize>>,
}

/// Rows in the order in which they are published.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct ArrangedRows {
    /// In order of group, pair and content.
    pub(super) rows: Rows,
    /// The place of each row's pair among those counted.
    pub(super) came: Vec<u32>,
    /// Names of frames that rows point to.
    pub(super) frames: Vec<String>,
}

impl GatheredRows {
    /// None yet. There is room for all from the start: rows are most of what a study takes, and would
    /// be copied as they grow.
    pub(super) fn new(kept: &Kept) -> Self {
        let (n_pairs, n_rows) = kept.expected();
        Self {
            rows: Rows::with_capacity(n_pairs, n_rows),
            places: Vec::with_capacity(n_pairs),
            spellings: BTreeMap::new(),
        }
    }

    /// Takes the rows that may be published of the pair at a place.
    pub(super) fn take(&mut self, place: usize, counted: &CountedPair, kept: &Kept) {
        let known = kept.shown(place).zip(kept.group(place));
        let (Some((known, group)), Ok(place_)) = (known, u32::try_from(place)) else {
            return;
        };
        let of_pair = counted.pair.all().map(|effect| row(counted, effect, known));
        let of_pair = of_pair.filter(|row| kept.has_row(place, &row.key()));
        let mut of_pair: Vec<Row> = of_pair.collect();
        of_pair.sort_by(by_content);
        if let (Some(first), Some(name)) = (of_pair.first(), &counted.frame)
            && let Some(frame) = first.circumstances.frame
        {
            let spellings = self.spellings.entry(frame).or_default();
            *spellings.entry(name.trim().to_owned()).or_default() += of_pair.len();
        }
        if !of_pair.is_empty() {
            self.places.push(place_);
        }
        for row in of_pair {
            // Numbered for good when all are there.
            self.rows.push(Row {
                group,
                pair: place_,
                ..row
            });
        }
    }

    /// Groups are numbered by what [`Kept`] numbers players by. Pairs of one player are told apart by
    /// what is shown of them; where that is the same, by which came first, which then cannot be seen.
    pub(super) fn arranged(mut self) -> ArrangedRows {
        let stood = self.rows.arrange(by_content);
        let places = stood.iter().map(|stood| self.places.get(*stood as usize));
        let places: Vec<u32> = places
            .map(|place| place.copied().unwrap_or(u32::MAX))
            .collect();
        let came = self
            .rows
            .pairs()
            .filter_map(|pair| places.get(pair).copied());
        let came = came.collect();
        let named: BTreeMap<u32, String> = self
            .spellings
            .into_iter()
            .map(|(frame, spellings)| (frame, most_used(spellings)))
            .collect();
        let mut frames: Vec<String> = named.values().cloned().collect();
        frames.sort_unstable();
        self.rows.rename_frames(|frame| {
            let place = frames.binary_search(named.get(&frame)?).ok()?;
            u32::try_from(place).ok()
        });
        ArrangedRows {
            rows: self.rows,
            came,
            frames,
        }
    }
}

/// A frame's name as most rows of those who share it spell it.
fn most_used(spellings: BTreeMap<String, usize>) -> String {
    let most = spellings.into_iter().rev().max_by_key(|(_, times)| *times);
    most.map(|(name, _)| name).unwrap_or_default()
}

fn row(counted: &CountedPair, effect: &Effect, known: &Known) -> Row {
    let value = |fact: Fact| known.get(fact.place()).copied().flatten();
    let is_true = |fact: Fact| value(fact).map(|number| number == 1);
    let pace = counted.moderators.partner_pace;
    Row {
        group: 0,
        pair: 0,
        band: counted.pair.band,
        gap_lb: value(Fact::Gap).unwrap_or_default(),
        outcome: effect.outcome,
        class: effect.class,
        estimate: to_tenth(effect.estimate),
        variance: to_three_digits(effect.variance),
        imputed_variance: to_three_digits(effect.imputed_variance),
        source: effect.source,
        circumstances: Circumstances {
            planned: is_true(Fact::Planned),
            order: value(Fact::Order).and_then(|number| value_of(Order::ALL, number)),
            blinded: is_true(Fact::Blinded),
            sessions: value(Fact::Sessions).and_then(sessions),
            partner_pace_kmh: pace.map(whole),
            string_age_hours: value(Fact::StringAge),
            level: value(Fact::Level).and_then(|number| value_of(LevelBand::ALL, number)),
            string_family: value(Fact::StringFamily)
                .and_then(|number| value_of(StringFamily::ALL, number)),
            month: value(Fact::Month).and_then(Month::of_number),
            // Its place among all names, until those that are shown are numbered.
            frame: value(Fact::Frame).and_then(|number| u32::try_from(number).ok()),
        },
    }
}

/// What orders rows of one pair: nothing that they do not show. Estimates in the order of their bits,
/// which is some fixed order and no more is needed.
fn by_content(a: &Row, b: &Row) -> Ordering {
    let content = |row: &Row| {
        let figures = [row.estimate.to_bits(), row.variance.to_bits()];
        (row.key(), row.gap_lb, figures)
    };
    content(a).cmp(&content(b))
}
