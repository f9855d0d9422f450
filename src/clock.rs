//! The only reader of the clock.

use std::time::{SystemTime, UNIX_EPOCH};

/// Milliseconds since the Unix epoch; 0 when the machine's clock stands before it.
#[must_use]
#[expect(
    clippy::disallowed_methods,
    reason = "this is the module that reads the clock"
)]
pub fn now_ms() -> i64 {
    SystemTime::now()
        .duration_since(UNIX_EPOCH)
        .ok()
        .and_then(|since| i64::try_from(since.as_millis()).ok())
        .unwrap_or(0)
}

/// A time in UTC as RFC 3339 has it, to the second.
#[must_use]
pub fn date_time(ms: i64) -> String {
    written(ms, "%Y-%m-%dT%H:%M:%SZ")
}

/// The UTC day of a time, as `YYYY-MM-DD`.
#[must_use]
pub fn date(ms: i64) -> String {
    written(ms, "%Y-%m-%d")
}

/// How a [`stamp`] is written.
const STAMP: &str = "%Y%m%dT%H%M%SZ";

/// A time in UTC in the basic format of ISO 8601, to the second, for names of files.
#[must_use]
pub fn stamp(ms: i64) -> String {
    written(ms, STAMP)
}

fn written(ms: i64, form: &str) -> String {
    jiff::Timestamp::from_millisecond(ms).map_or_else(
        |_| "unknown".to_owned(),
        |time| time.strftime(form).to_string(),
    )
}

/// The time of a [`stamp`], in milliseconds since the Unix epoch; `None` when the text is none.
#[must_use]
pub fn of_stamp(text: &str) -> Option<i64> {
    let time = jiff::civil::DateTime::strptime(STAMP, text).ok()?;
    let time = time.to_zoned(jiff::tz::TimeZone::UTC).ok()?;
    let ms = time.timestamp().as_millisecond();
    (stamp(ms) == text).then_some(ms)
}

/// The last millisecond of a UTC day that is written as `YYYY-MM-DD`; `None` when it is no day.
#[must_use]
pub fn end_of_day(text: &str) -> Option<i64> {
    let day: jiff::civil::Date = text.parse().ok()?;
    // A longer text, with a time, would be read as its day.
    let is_whole = day.to_string() == text;
    let next = day
        .tomorrow()
        .ok()?
        .to_zoned(jiff::tz::TimeZone::UTC)
        .ok()?;
    is_whole.then(|| next.timestamp().as_millisecond() - 1)
}

/// The UTC month of a time, as its year and its number from 1.
#[must_use]
pub fn month(ms: i64) -> (i16, u8) {
    let time = jiff::Timestamp::from_millisecond(ms).unwrap_or_default();
    let date = time.to_zoned(jiff::tz::TimeZone::UTC).date();
    (date.year(), date.month().unsigned_abs())
}

#[cfg(test)]
mod tests {
    use super::{date, date_time, end_of_day, of_stamp, stamp};

    #[test]
    fn dates_are_utc_days() {
        assert_eq!(date(0), "1970-01-01");
        assert_eq!(date(86_399_999), "1970-01-01");
        assert_eq!(date(1_764_028_800_000), "2025-11-25");
        assert_eq!(date_time(1_764_028_801_999), "2025-11-25T00:00:01Z");
    }

    #[test]
    fn a_stamp_reads_back_and_nothing_else_does() {
        assert_eq!(stamp(1_764_028_801_999), "20251125T000001Z");
        assert_eq!(of_stamp("20251125T000001Z"), Some(1_764_028_801_000));
        for other in [
            "",
            "20251125T000001",
            "20251325T000001Z",
            "20251125T000001Z.partial",
        ] {
            assert_eq!(of_stamp(other), None, "{other}");
        }
    }

    #[test]
    fn a_day_ends_before_the_next_begins() {
        assert_eq!(end_of_day("1970-01-01"), Some(86_399_999));
        assert_eq!(end_of_day("2025-11-24"), Some(1_764_028_799_999));
        for text in [
            "",
            "2025-02-30",
            "2025-11-24T00:00:00",
            "24.11.2025",
            "9999-12-31",
        ] {
            assert_eq!(end_of_day(text), None, "{text}");
        }
    }
}
