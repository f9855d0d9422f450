//! Decimal numbers as people write them in tables.

/// Why a text is no decimal number of at most two decimals.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum NotDecimal {
    TooFine,
    Comma,
    Other,
}

/// Longest whole part that is read: anything longer is beyond every bound.
const MOST_DIGITS: usize = 9;

/// The hundredths of a number without sign or exponent.
pub(super) fn decimal(text: &str, decimal_comma: bool) -> Result<i64, NotDecimal> {
    if !decimal_comma && text.contains(',') {
        return Err(NotDecimal::Comma);
    }
    let (whole, fraction) = text.split_once(['.', ',']).unwrap_or((text, "0"));
    let all_digits =
        |part: &str| !part.is_empty() && part.bytes().all(|byte| byte.is_ascii_digit());
    if !all_digits(whole) || !all_digits(fraction) {
        return Err(NotDecimal::Other);
    }
    let fraction = fraction.trim_end_matches('0');
    if 2 < fraction.len() {
        return Err(NotDecimal::TooFine);
    }
    let whole = whole.trim_start_matches('0');
    if MOST_DIGITS < whole.len() {
        return Ok(i64::MAX);
    }
    format!("{whole}{fraction:0<2}")
        .parse()
        .map_err(|_| NotDecimal::Other)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn decimals_are_read_as_they_are_written() {
        let read = |text| decimal(text, false);
        assert_eq!(read("97.5"), Ok(9_750));
        assert_eq!(read("097.50"), Ok(9_750));
        assert_eq!(read("0.05"), Ok(5));
        assert_eq!(read("0"), Ok(0));
        assert_eq!(read("71.600000"), Ok(7_160));
        assert_eq!(read("123456789012"), Ok(i64::MAX));
        assert_eq!(read("97.505"), Err(NotDecimal::TooFine));
        assert_eq!(read("97,5"), Err(NotDecimal::Comma));
        assert_eq!(decimal("97,5", true), Ok(9_750));
        assert_eq!(decimal("97.5", true), Ok(9_750));
        for bad in [
            "", "-1", "+1", "1e2", "97.", ".5", "1.2.3", "97 km/h", "٣", "NaN",
        ] {
            assert_eq!(read(bad), Err(NotDecimal::Other), "{bad}");
        }
        assert_eq!(decimal("1.097,5", true), Err(NotDecimal::Other));
    }
}
