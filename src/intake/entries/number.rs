//! Numbers as people type them.

use serde_json::{Number, Value};

/// What was typed into a field for a number; `None` when it is blank. A point or a comma stands
/// before the decimals, and a percent sign may follow where a percentage is asked for. A text that
/// is no number stays a text, so that the schema refuses it.
pub(super) fn typed(text: &str, is_percent: bool) -> Option<Value> {
    let sign = text.strip_suffix('%').filter(|_| is_percent);
    let bare = sign.unwrap_or(text).trim();
    if text.is_empty() {
        return None;
    }
    Some(number(bare).map_or_else(|| Value::from(text), Value::Number))
}

/// A number of the document as it would be typed.
pub(super) fn shown(number: &Number) -> Option<String> {
    if let Some(whole) = number.as_i64() {
        return Some(whole.to_string());
    }
    // The shortest text that reads back as the same number, without an exponent. Adding zero takes
    // the sign from a zero.
    number.as_f64().map(|value| (value + 0.0).to_string())
}

fn number(text: &str) -> Option<Number> {
    let plain = text.replace(',', ".").replace('−', "-");
    let digits = plain.strip_prefix('-').unwrap_or(&plain);
    let (whole, decimals) = digits.split_once('.').unwrap_or((digits, "0"));
    let all_digits =
        |part: &str| !part.is_empty() && part.bytes().all(|byte| byte.is_ascii_digit());
    if !all_digits(whole) || !all_digits(decimals) {
        return None;
    }
    if decimals.bytes().all(|digit| digit == b'0')
        && let Ok(whole) = plain.split('.').next().unwrap_or_default().parse::<i64>()
    {
        return Some(whole.into());
    }
    plain.parse().ok().and_then(Number::from_f64)
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    #[test]
    fn points_commas_and_percent_signs_are_read() {
        for (text, value) in [
            ("48", json!(48)),
            ("48.5", json!(48.5)),
            ("48,5", json!(48.5)),
            ("48,50", json!(48.5)),
            ("60,0", json!(60)),
            ("75.6 %", json!(75.6)),
            ("75,6%", json!(75.6)),
            ("007", json!(7)),
            ("-3", json!(-3)),
            ("−3", json!(-3)),
            // Three decimals are refused later, so that a thousand is never read as one.
            ("1,234", json!(1.234)),
        ] {
            assert_eq!(typed(text, true), Some(value), "{text}");
        }
        assert_eq!(typed("", true), None);
    }

    #[test]
    fn what_is_no_number_stays_a_text() {
        for text in [
            "abc", "48 lb", "1.234,5", "1 000", "1e3", "0x10", "+5", ".5", "5.", "%", "-", "NaN",
            "inf", "½", "４８",
        ] {
            assert_eq!(typed(text, true), Some(json!(text)), "{text}");
        }
    }

    #[test]
    fn a_percentage_is_no_count() {
        assert_eq!(typed("75%", false), Some(json!("75%")));
        assert_eq!(typed("75", false), Some(json!(75)));
    }

    #[test]
    fn numbers_read_back_as_they_are_shown() {
        for value in [
            json!(0),
            json!(60),
            json!(97.5),
            json!(0.01),
            json!(9999.99),
        ] {
            let Value::Number(number) = &value else {
                unreachable!("all are numbers");
            };
            assert_eq!(typed(&shown(number).unwrap(), false), Some(value.clone()));
        }
    }
}
