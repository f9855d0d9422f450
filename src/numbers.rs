//! How numbers are shown: the one place where a figure becomes text.
//!
//! Rules that hold for every function here:
//! - the minus sign is U+2212, never a hyphen;
//! - a value that rounds to zero carries no sign, so "−0.0" cannot appear;
//! - a value that is not finite is shown as [`NOT_ESTIMABLE`], never as "NaN" or "inf";
//! - spaces inside one figure do not break across lines.
//!
//! Absent: units and conversions (the caller adds the unit), and any locale: pages are in
//! English with a decimal point.

/// The sign of a negative number, U+2212.
pub const MINUS: char = '\u{2212}';

/// What stands where a figure is undefined.
pub const NOT_ESTIMABLE: &str = "not estimable";

/// Narrow no-break space, between groups of three digits (ISO 80000-1 asks for a thin space
/// there; this one also keeps the figure on one line).
const THIN_SPACE: char = '\u{202F}';

/// No-break space, between a number and its percent sign.
const NO_BREAK_SPACE: char = '\u{A0}';

/// A half width from here on shows two significant digits without decimals: 9.95 is the
/// smallest number that rounds to 10.
const NO_DECIMALS_FROM: f64 = 9.95;

/// A half width from here on shows one decimal. Between 0.355 and 0.95 that is one significant
/// digit and not two, after the rounding rule of the Particle Data Group (from memory); above,
/// the rule would drop decimals that tell a range which ends near zero from one that holds it.
const ONE_DECIMAL_FROM: f64 = 0.355;

/// The most decimals any estimate is shown with; inputs are kept to hundredths.
pub const MOST_DECIMALS: usize = 2;

/// Decimals at which an estimate should be shown, given half the width of its interval.
///
/// One or two significant digits of `half_width`, at least 0 and at most 2 decimals: what lies
/// beyond is noise. A half width of zero, or one that is not finite, gives 2.
#[must_use]
pub fn decimals_for(half_width: f64) -> usize {
    let size = half_width.abs();
    if !size.is_finite() {
        MOST_DECIMALS
    } else if NO_DECIMALS_FROM <= size {
        0
    } else if ONE_DECIMAL_FROM <= size {
        1
    } else {
        MOST_DECIMALS
    }
}

/// Decimals at which a range is shown: as its own width allows, so that ranges of like width read
/// alike below each other.
#[must_use]
pub fn decimals_of_range(low: f64, high: f64) -> usize {
    decimals_for((high - low) / 2.0)
}

/// `value` with exactly `decimals` decimals: "−0.4", "12", "0.00".
#[must_use]
pub fn fixed(value: f64, decimals: usize) -> String {
    if !value.is_finite() {
        return NOT_ESTIMABLE.to_owned();
    }
    let digits = format!("{:.decimals$}", value.abs());
    if value < 0.0 && !is_zero(&digits) {
        format!("{MINUS}{digits}")
    } else {
        digits
    }
}

/// `value` with as many of at most 2 decimals as it needs: "0", "1.5", "1.24".
#[must_use]
pub fn short(value: f64) -> String {
    let shown = fixed(value, MOST_DECIMALS);
    if shown.contains('.') {
        let trimmed = shown.trim_end_matches('0').trim_end_matches('.');
        trimmed.to_owned()
    } else {
        shown
    }
}

/// Whether `value` is shown as zero with so many decimals.
#[must_use]
pub fn rounds_to_zero(value: f64, decimals: usize) -> bool {
    value.is_finite() && is_zero(&fixed(value, decimals))
}

/// `value` with its sign always shown, except that zero has none: "+1.2", "−0.4", "0.0".
#[must_use]
pub fn signed(value: f64, decimals: usize) -> String {
    let shown = fixed(value, decimals);
    if 0.0 < value && value.is_finite() && !is_zero(&shown) {
        format!("+{shown}")
    } else {
        shown
    }
}

/// A range in words: "−0.4 to 2.1".
///
/// On which side of zero an end lies is what a range is read for, so an end that is not zero but
/// rounds to it is told in words: "just above 0 to 2.1".
#[must_use]
pub fn interval(low: f64, high: f64, decimals: usize) -> String {
    if !low.is_finite() || !high.is_finite() {
        return NOT_ESTIMABLE.to_owned();
    }
    let end = |value: f64| match value {
        _ if value.abs() <= 0.0 || !rounds_to_zero(value, decimals) => fixed(value, decimals),
        _ if value < 0.0 => "just below 0".to_owned(),
        _ => "just above 0".to_owned(),
    };
    format!("{} to {}", end(low), end(high))
}

/// An estimate and its range, "1.2 (0.3 to 2.1)", with the decimals of the range (see
/// [`decimals_of_range`]).
#[must_use]
pub fn estimate_and_interval(estimate: f64, low: f64, high: f64) -> String {
    let decimals = decimals_of_range(low, high);
    format!(
        "{} ({})",
        fixed(estimate, decimals),
        interval(low, high, decimals)
    )
}

/// `value` with so many significant digits, and no exponent between 0.0001 and 1 000 000:
/// "1.2346", "−0.00012346", "12346", "1.2346e-9".
#[must_use]
pub fn significant(value: f64, digits: usize) -> String {
    if !value.is_finite() {
        return NOT_ESTIMABLE.to_owned();
    }
    let scientific = format!("{:.*e}", digits.saturating_sub(1), value.abs());
    let exponent = scientific
        .split_once('e')
        .and_then(|(_, exponent)| exponent.parse::<i32>().ok());
    match exponent {
        Some(exponent) if (-4..6).contains(&exponent) || value.abs() < f64::MIN_POSITIVE => {
            let decimals = i32::try_from(digits).unwrap_or(i32::MAX) - 1 - exponent;
            fixed(value, usize::try_from(decimals).unwrap_or(0))
        }
        _ if value < 0.0 => format!("{MINUS}{scientific}"),
        _ => scientific,
    }
}

/// A p value with its letter: "p = 0.03", "p = 0.004", "p < 0.001", "p > 0.99".
///
/// Two decimals from 0.01 on, three below. A p value outside 0..=1 is not estimable.
#[must_use]
pub fn p_value(p: f64) -> String {
    if !(0.0..=1.0).contains(&p) {
        format!("p {NOT_ESTIMABLE}")
    } else if p < 0.001 {
        "p < 0.001".to_owned()
    } else if p < 0.01 {
        format!("p = {p:.3}")
    } else if p <= 0.99 {
        format!("p = {p:.2}")
    } else {
        "p > 0.99".to_owned()
    }
}

/// A whole number with thin spaces between groups of three digits: "84", "12 345".
#[must_use]
pub fn count(n: u64) -> String {
    let digits = n.to_string();
    let length = digits.len();
    let mut shown = String::with_capacity(length + length / 3 * THIN_SPACE.len_utf8());
    for (idx, digit) in digits.chars().enumerate() {
        if 0 < idx && (length - idx).is_multiple_of(3) {
            shown.push(THIN_SPACE);
        }
        shown.push(digit);
    }
    shown
}

/// A count with its noun: "1 pair", "84 pairs", "0 pairs".
#[must_use]
pub fn counted(n: u64, one: &str, many: &str) -> String {
    format!("{} {}", count(n), if n == 1 { one } else { many })
}

/// A share between 0 and 1 as a percentage: "63 %", "12.5 %".
///
/// A share that is neither 0 nor 1 is never shown as "0 %" or "100 %" because of rounding:
/// it becomes "under 1 %" or "over 99 %" (with decimals, "under 0.1 %"). A share outside
/// 0..=1 is not estimable.
#[must_use]
pub fn percent(share: f64, decimals: usize) -> String {
    if !(0.0..=1.0).contains(&share) {
        return NOT_ESTIMABLE.to_owned();
    }
    let shown = fixed(share * 100.0, decimals);
    let smallest = last_place(decimals);
    if 0.0 < share && is_zero(&shown) {
        format!("under {}{NO_BREAK_SPACE}%", fixed(smallest, decimals))
    } else if share < 1.0 && shown == fixed(100.0, decimals) {
        format!(
            "over {}{NO_BREAK_SPACE}%",
            fixed(100.0 - smallest, decimals)
        )
    } else {
        format!("{shown}{NO_BREAK_SPACE}%")
    }
}

/// One unit in the last place shown: 1, 0.1, 0.01.
fn last_place(decimals: usize) -> f64 {
    (0..decimals).fold(1.0, |place, _| place / 10.0)
}

/// Whether a formatted number has no digit but 0.
fn is_zero(shown: &str) -> bool {
    !shown.chars().any(|c| matches!(c, '1'..='9'))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_negative_number_has_a_minus_sign_and_no_hyphen() {
        assert_eq!(fixed(-0.4, 1), "\u{2212}0.4");
        assert_eq!(fixed(-12.345, 2), "\u{2212}12.35");
        assert!(!fixed(-3.0, 0).contains('-'));
    }

    #[test]
    fn a_range_shows_on_which_side_of_zero_its_ends_lie() {
        for (low, high, shown) in [
            (-1.0, 2.4, "\u{2212}1.0 to 2.4"),
            (-5.71, -0.02, "\u{2212}5.7 to just below 0"),
            (0.001, 7.81, "just above 0 to 7.8"),
            (0.0, 5.2, "0.0 to 5.2"),
            (-5.2, -0.0, "\u{2212}5.2 to 0.0"),
            (-0.3, 27.0, "just below 0 to 27"),
        ] {
            assert_eq!(interval(low, high, decimals_of_range(low, high)), shown);
        }
    }

    #[test]
    fn a_short_number_has_no_decimals_to_spare() {
        for (value, shown) in [
            (0.0, "0"),
            (10.0, "10"),
            (1.5, "1.5"),
            (1.2427, "1.24"),
            (-0.004, "0"),
            (f64::NAN, NOT_ESTIMABLE),
        ] {
            assert_eq!(short(value), shown);
        }
    }

    #[test]
    fn what_rounds_to_zero_has_no_sign() {
        for value in [0.0, -0.0, -0.04, 0.04, -1e-300] {
            assert_eq!(fixed(value, 1), "0.0");
            assert_eq!(signed(value, 1), "0.0");
        }
        assert_eq!(interval(-0.04, 0.04, 1), "just below 0 to just above 0");
    }

    #[test]
    fn what_is_not_finite_is_not_estimable() {
        for value in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
            assert_eq!(fixed(value, 1), NOT_ESTIMABLE);
            assert_eq!(signed(value, 1), NOT_ESTIMABLE);
            assert_eq!(interval(0.0, value, 1), NOT_ESTIMABLE);
            assert_eq!(percent(value, 0), NOT_ESTIMABLE);
            assert_eq!(p_value(value), "p not estimable");
        }
    }

    #[test]
    fn signs_are_shown_on_both_sides_of_zero() {
        assert_eq!(signed(1.24, 1), "+1.2");
        assert_eq!(signed(-1.24, 1), "\u{2212}1.2");
    }

    #[test]
    fn decimals_stop_where_the_half_width_makes_them_noise() {
        assert_eq!(decimals_for(123.0), 0);
        assert_eq!(decimals_for(12.0), 0);
        assert_eq!(decimals_for(9.96), 0);
        assert_eq!(decimals_for(9.94), 1);
        assert_eq!(decimals_for(1.7), 1);
        assert_eq!(decimals_for(0.36), 1);
        assert_eq!(decimals_for(0.35), 2);
        assert_eq!(decimals_for(0.034), 2);
        assert_eq!(decimals_for(0.0), 2);
        assert_eq!(decimals_for(f64::NAN), 2);
        assert_eq!(decimals_for(-12.0), 0);
    }

    #[test]
    fn an_estimate_takes_its_decimals_from_its_interval() {
        assert_eq!(
            estimate_and_interval(1.234, 0.91, 1.55),
            "1.23 (0.91 to 1.55)"
        );
        assert_eq!(
            estimate_and_interval(1.234, -0.41, 2.86),
            "1.2 (\u{2212}0.4 to 2.9)"
        );
        assert_eq!(
            estimate_and_interval(1.234, -20.0, 22.4),
            "1 (\u{2212}20 to 22)"
        );
        // A range that holds zero does not look as if it ended there.
        assert_eq!(
            estimate_and_interval(1.1, -0.01, 2.2),
            "1.1 (just below 0 to 2.2)"
        );
    }

    #[test]
    fn p_values_are_short_and_never_zero_or_one() {
        assert_eq!(p_value(0.0), "p < 0.001");
        assert_eq!(p_value(0.000_99), "p < 0.001");
        assert_eq!(p_value(0.004), "p = 0.004");
        assert_eq!(p_value(0.03), "p = 0.03");
        assert_eq!(p_value(0.5), "p = 0.50");
        assert_eq!(p_value(1.0), "p > 0.99");
        assert_eq!(p_value(-0.1), "p not estimable");
    }

    #[test]
    fn counts_are_grouped_by_three() {
        assert_eq!(count(0), "0");
        assert_eq!(count(999), "999");
        assert_eq!(count(1_234), "1\u{202F}234");
        assert_eq!(count(1_234_567), "1\u{202F}234\u{202F}567");
        assert_eq!(counted(1, "pair", "pairs"), "1 pair");
        assert_eq!(counted(84, "pair", "pairs"), "84 pairs");
    }

    #[test]
    fn percentages_do_not_round_to_none_or_all() {
        assert_eq!(percent(0.634, 0), "63\u{A0}%");
        assert_eq!(percent(0.125, 1), "12.5\u{A0}%");
        assert_eq!(percent(0.0, 0), "0\u{A0}%");
        assert_eq!(percent(1.0, 0), "100\u{A0}%");
        assert_eq!(percent(0.003, 0), "under 1\u{A0}%");
        assert_eq!(percent(0.997, 0), "over 99\u{A0}%");
        assert_eq!(percent(0.9999, 1), "over 99.9\u{A0}%");
        assert_eq!(percent(1.2, 0), NOT_ESTIMABLE);
    }
}
