//! Which line of a text a byte stands in.

use csv::StringRecord;

/// Counts lines as an editor does: `\n`, `\r\n` and a lone `\r` each end one.
///
/// The reader of CSV gives the byte at which it began to look for a record, which may be an empty
/// line or the second half of a line's end.
#[derive(Debug)]
pub(super) struct Lines<'a> {
    bytes: &'a [u8],
    counted: usize,
    line: u64,
}

impl<'a> Lines<'a> {
    pub(super) const fn of(bytes: &'a [u8]) -> Self {
        Self {
            bytes,
            counted: 0,
            line: 1,
        }
    }

    /// The line of a record.
    pub(super) fn of_record(&mut self, record: &StringRecord) -> u64 {
        self.at(record.position().map_or(0, csv::Position::byte))
    }

    /// The line that could not be read.
    pub(super) fn of_error(&mut self, error: &csv::Error) -> u64 {
        self.at(error.position().map_or(0, csv::Position::byte))
    }

    /// The line of the first byte from `byte` on that ends no line. Asked in rising order.
    fn at(&mut self, byte: u64) -> u64 {
        let from = usize::try_from(byte).unwrap_or(usize::MAX);
        while let Some(here) = self.bytes.get(self.counted) {
            let ends_line = match here {
                b'\n' => true,
                b'\r' => self.bytes.get(self.counted + 1) != Some(&b'\n'),
                _ => false,
            };
            let is_content = !matches!(here, b'\n' | b'\r');
            if from <= self.counted && is_content {
                break;
            }
            self.line += u64::from(ends_line);
            self.counted += 1;
        }
        self.line
    }
}
