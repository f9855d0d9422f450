//! Reports as Markdown.

use std::fmt;

/// One part's result.
#[derive(Debug)]
pub(crate) struct Report {
    /// What was asked.
    pub(crate) title: String,
    /// The generating model and what the columns are, in sentences.
    pub(crate) model: String,
    /// Headings of the columns.
    pub(crate) columns: Vec<&'static str>,
    /// Text of the cells, a row each.
    pub(crate) rows: Vec<Vec<String>>,
}

impl Report {
    /// How many cells miss their target.
    pub(crate) fn n_missed(&self) -> usize {
        let cells = self.rows.iter().flatten();
        cells.filter(|cell| cell.ends_with("MISSED")).count()
    }
}

impl fmt::Display for Report {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(formatter, "#### {}\n\n{}\n", self.title, self.model)?;
        writeln!(formatter, "| {} |", self.columns.join(" | "))?;
        writeln!(formatter, "|{}", "---|".repeat(self.columns.len()))?;
        for row in &self.rows {
            writeln!(formatter, "| {} |", row.join(" | "))?;
        }
        Ok(())
    }
}

/// So many decimals, or a dash for what is not a number.
pub(crate) fn number(value: f64, decimals: usize) -> String {
    if value.is_nan() {
        return "–".to_owned();
    }
    format!("{value:.decimals$}").replace('-', "−")
}

/// As [`number`], with a plus sign where it is positive.
pub(crate) fn signed(value: f64, decimals: usize) -> String {
    let text = number(value, decimals);
    if 0.0 <= value {
        format!("+{text}")
    } else {
        text
    }
}
