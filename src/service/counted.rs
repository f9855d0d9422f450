//! What a study counts: its pairs, which of them have rows, and what they borrow of spreads.
//!
//! Documents are read one at a time and none is kept, since they take several times the memory of
//! what is computed from them. They are read twice: what is borrowed of spreads comes from those who
//! have rows alone, and who has rows is known only when everybody was looked at.

use super::{Life, ServiceError, pair_effects};
use crate::clock;
use crate::contribution::Contribution;
use crate::disclosure::{Census, CountedPair, CountedPlayer, Gathered, Gathering, Kept, Outsider};
use crate::effects::PairEffects;
use crate::effects::spread::{CrowdSpread, PairReport};
use crate::findings::Month;
use crate::intake;
use crate::pooling::Level;
use crate::protocol::Study;
use crate::receipt::ReceiptKey;
use crate::store::{self, Batch, StoredContribution};
use std::collections::HashMap;
use uuid::Uuid;

/// What a batch counts.
#[derive(Debug)]
pub(super) struct Counted {
    pub(super) batch: Batch,
    /// Nothing of a batch that may not be shown.
    pub(super) gathered: Gathered,
    /// The contributions in the order in which they came.
    pub(super) contributions: Vec<Uuid>,
    pub(super) crowd: CrowdSpread,
}

/// Reads what a batch counts, by the protocol that was in force when it closed.
///
/// # Errors
/// When the database cannot be read, or a document in it is damaged.
pub(super) fn read(
    counted: &store::Counted<'_>,
    life: &Life,
    key: &ReceiptKey,
) -> Result<Counted, ServiceError> {
    let batch = counted.batch();
    let mut read = Counted {
        batch,
        gathered: Gathered::default(),
        contributions: Vec::new(),
        crowd: CrowdSpread::default(),
    };
    // A batch that only took out what was withdrawn shows nothing: not its figures, and not the
    // spread that replies are made with.
    if !batch.shown {
        return Ok(read);
    }
    let reader = Reader {
        study: &life.version(batch.protocol_version).study,
        batch: batch.number,
        key,
    };
    let rules = &reader.study.protocol.analysis;
    let (census, reports) = reader.alone(counted)?;
    // Which pairs have rows does not depend on any spread.
    let kept = census.kept(rules);
    let with_rows = reports.into_iter().zip(kept.pairs());
    let with_rows = with_rows.filter(|(_, is_kept)| **is_kept);
    let with_rows = with_rows.map(|(numbered, _)| numbered);
    read.crowd = CrowdSpread::of_reports(with_rows, rules.minimum_players);
    (read.gathered, read.contributions) = reader.in_crowd(counted, &read.crowd, &kept)?;
    Ok(read)
}

/// What each pair says of spread, with its player's number.
type Reports = Vec<(usize, PairReport)>;

struct Reader<'a> {
    study: &'a Study,
    batch: i64,
    key: &'a ReceiptKey,
}

impl Reader<'_> {
    /// Who is counted, and what each says of spread.
    fn alone(&self, counted: &store::Counted<'_>) -> Result<(Census, Reports), ServiceError> {
        let nobody = CrowdSpread::default();
        let (mut census, mut reports) = (Census::default(), Reports::new());
        let mut players = Players::default();
        counted.each(|stored| {
            let number = players.number(stored.player);
            let contribution = contribution_of(&stored, &stored.document)?;
            reports.push((number, PairReport::of(&contribution)));
            let pair = pair_effects(&contribution, self.study, &nobody)?;
            let player = self.player(&stored, number);
            census.count(&CountedPair::new(&contribution, pair, &nobody, player));
            Ok::<(), ServiceError>(())
        })?;
        Ok((census, reports))
    }

    /// What the pairs come to, with missing spreads borrowed from a crowd, and with what corrected
    /// ones said first; and whose they are.
    fn in_crowd(
        &self,
        counted: &store::Counted<'_>,
        crowd: &CrowdSpread,
        kept: &Kept,
    ) -> Result<(Gathered, Vec<Uuid>), ServiceError> {
        let mut gathering = Gathering::new(kept, &self.study.protocol.analysis);
        let mut contributions = Vec::new();
        let mut players = Players::default();
        counted.each(|stored| {
            let contribution = contribution_of(&stored, &stored.document)?;
            let pair = pair_effects(&contribution, self.study, crowd)?;
            let first = self.first_effects(&stored, &contribution, crowd)?;
            // A correction that changed no effect, as of a note, is none of a figure.
            let first = first.filter(|first| *first != pair);
            let player = self.player(&stored, players.number(stored.player));
            let counted = CountedPair::new(&contribution, pair, crowd, player);
            gathering.take(&match first {
                Some(first) => counted.corrected_from(first),
                None => counted,
            })?;
            contributions.push(stored.uuid);
            Ok::<(), ServiceError>(())
        })?;
        Ok((gathering.gathered(Level::NINETY_FIVE)?, contributions))
    }

    fn player(&self, stored: &StoredContribution, number: usize) -> CountedPlayer {
        let slug = &self.study.label.slug;
        let (year, month) = clock::month(stored.received_at_ms);
        CountedPlayer {
            number,
            group_order: self.key.group_order(slug, self.batch, stored.player),
            hiding_order: self.key.hiding_order(slug, stored.player),
            identity: Outsider {
                player: stored.player.as_u128(),
                contribution: stored.uuid.as_u128(),
                version: stored.version,
            },
            month: Month { year, month },
            planned: stored.planned,
        }
    }

    /// What the first version said, where another one is counted.
    fn first_effects(
        &self,
        stored: &StoredContribution,
        counted: &Contribution,
        crowd: &CrowdSpread,
    ) -> Result<Option<PairEffects>, ServiceError> {
        let Some(document) = &stored.first_document else {
            return Ok(None);
        };
        let first = contribution_of(stored, document)?;
        let crowd = crowd.for_version(counted, &first);
        pair_effects(&first, self.study, &crowd).map(Some)
    }
}

fn contribution_of(
    stored: &StoredContribution,
    document: &[u8],
) -> Result<Contribution, ServiceError> {
    intake::kept_contribution(document)
        .ok_or_else(|| ServiceError::Damaged(format!("contribution {}", stored.uuid)))
}

/// Kept documents as contributions.
///
/// # Errors
/// When one is damaged.
pub fn read_back(stored: &[StoredContribution]) -> Result<Vec<Contribution>, ServiceError> {
    let documents = stored.iter().map(|stored| (stored, &stored.document));
    documents
        .map(|(stored, document)| contribution_of(stored, document))
        .collect()
}

/// Numbers of players, in the order in which they are first asked for.
#[derive(Debug, Default)]
struct Players(HashMap<Uuid, usize>);

impl Players {
    fn number(&mut self, player: Uuid) -> usize {
        let next = self.0.len();
        *self.0.entry(player).or_insert(next)
    }
}

/// A number for each contribution that is the same for all of one player.
#[must_use]
pub fn number_players(stored: &[StoredContribution]) -> Vec<usize> {
    let mut players = Players::default();
    let players_of = stored.iter().map(|stored| stored.player);
    players_of.map(|player| players.number(player)).collect()
}
