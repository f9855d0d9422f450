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
    jiff::Timestamp::from_millisecond(ms).map_or_else(
        |_| "unknown".to_owned(),
        |time| time.strftime("%Y-%m-%dT%H:%M:%SZ").to_string(),
    )
}

/// The UTC day of a time, as `YYYY-MM-DD`.
#[must_use]
pub fn date(ms: i64) -> String {
    jiff::Timestamp::from_millisecond(ms).map_or_else(
        |_| "unknown".to_owned(),
        |time| time.strftime("%Y-%m-%d").to_string(),
    )
}

/// The UTC month of a time, as its year and its number from 1.
#[must_use]
pub fn month(ms: i64) -> (i64, u8) {
    let time = jiff::Timestamp::from_millisecond(ms).unwrap_or_default();
    let date = time.to_zoned(jiff::tz::TimeZone::UTC).date();
    (i64::from(date.year()), date.month().unsigned_abs())
}

#[cfg(test)]
mod tests {
    use super::{date, date_time};

    #[test]
    fn dates_are_utc_days() {
        assert_eq!(date(0), "1970-01-01");
        assert_eq!(date(86_399_999), "1970-01-01");
        assert_eq!(date(1_764_028_800_000), "2025-11-25");
        assert_eq!(date_time(1_764_028_801_999), "2025-11-25T00:00:01Z");
    }
}
