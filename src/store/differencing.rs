//! Which figures over everybody were shown, and who of those behind them had no row.

use super::{Store, StoreError};
use rusqlite::params;

/// A figure over everybody that was shown.
#[derive(Clone, Debug, PartialEq)]
pub struct ShownFigure {
    /// The batch that showed it first.
    pub batch: i64,
    /// Which analysis.
    pub cell: String,
    /// At least so many players.
    pub players_at_least: i64,
    /// The estimate.
    pub estimate: f64,
    /// The ends of its interval.
    pub range: (f64, f64),
    /// Those behind it without a row, 40 bytes each.
    pub outsiders: Vec<u8>,
}

impl Store {
    /// Every figure over everybody that was shown before a batch.
    ///
    /// # Errors
    /// When the database cannot be read.
    pub fn figures_before(&self, slug: &str, batch: i64) -> Result<Vec<ShownFigure>, StoreError> {
        let connection = self.read();
        let mut statement = connection.prepare(
            "SELECT f.batch, f.cell, f.players_at_least, f.estimate, f.low, f.high, f.outsiders
             FROM figure_over_everybody f
             JOIN study s ON s.id = f.study_id
             WHERE s.slug = ?1 AND f.batch < ?2
             ORDER BY f.batch, f.cell",
        )?;
        let figures = statement.query_map(params![slug, batch], |row| {
            Ok(ShownFigure {
                batch: row.get(0)?,
                cell: row.get(1)?,
                players_at_least: row.get(2)?,
                estimate: row.get(3)?,
                range: (row.get(4)?, row.get(5)?),
                outsiders: row.get(6)?,
            })
        })?;
        Ok(figures.collect::<Result<_, _>>()?)
    }

    /// Remembers figures over everybody, each under the batch that showed it first. What is
    /// remembered already stays as it is.
    ///
    /// # Errors
    /// When the database cannot be written.
    pub fn keep_figures(&self, slug: &str, figures: &[ShownFigure]) -> Result<(), StoreError> {
        let mut connection = self.lock();
        let transaction = connection.transaction()?;
        for figure in figures {
            transaction.execute(
                "INSERT INTO figure_over_everybody
                     (study_id, batch, cell, players_at_least, estimate, low, high, outsiders)
                 SELECT id, ?2, ?3, ?4, ?5, ?6, ?7, ?8 FROM study WHERE slug = ?1
                 ON CONFLICT DO NOTHING",
                params![
                    slug,
                    figure.batch,
                    figure.cell,
                    figure.players_at_least,
                    figure.estimate,
                    figure.range.0,
                    figure.range.1,
                    figure.outsiders
                ],
            )?;
        }
        transaction.commit()?;
        Ok(())
    }
}
