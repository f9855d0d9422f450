//! Shots summarised to one shot line, as a measuring device would.

use super::person::{Device, Divisor, Over};
use super::shots::Shot;
use serde_json::{Map, Number, Value, json};

/// A number printed with at most so many decimals, without trailing zeros.
pub(super) fn printed(value: f64, decimals: usize) -> Value {
    let text = format!("{value:.decimals$}");
    let text = if text.contains('.') {
        text.trim_end_matches('0').trim_end_matches('.')
    } else {
        text.as_str()
    };
    text.parse::<Number>().map_or(Value::Null, Value::Number)
}

/// The line of one class.
pub(super) fn shot_line(
    stroke: &str,
    direction: &str,
    shots: &[Shot],
    device: &Device,
) -> Map<String, Value> {
    let mut line = Map::new();
    line.insert("stroke".to_owned(), json!(stroke));
    line.insert("direction".to_owned(), json!(direction));
    line.insert("hit".to_owned(), json!(shots.len()));
    let n_in = shots.iter().filter(|shot| shot.landed_in).count();
    let n_deep = shots.iter().filter(|shot| shot.landed_in && shot.long);
    let (n_deep, deep_base) = if device.deep_of_hit {
        (n_deep.count(), shots.len())
    } else {
        (n_deep.count(), n_in)
    };
    let has_deep = device.deep && stroke != "serve";
    if let Some(decimals) = device.percent_decimals {
        let percent = |count: usize, n: usize| printed(100.0 * count as f64 / n as f64, decimals);
        line.insert("in_percent".to_owned(), percent(n_in, shots.len()));
        if has_deep && 0 < deep_base {
            line.insert("deep_percent".to_owned(), percent(n_deep, deep_base));
            let of = if device.deep_of_hit { "hit" } else { "in" };
            line.insert("deep_percent_of".to_owned(), json!(of));
        }
    } else {
        line.insert("in".to_owned(), json!(n_in));
        if has_deep {
            line.insert("deep".to_owned(), json!(n_deep));
        }
    }
    speeds(&mut line, shots, device);
    line
}

fn speeds(line: &mut Map<String, Value>, shots: &[Shot], device: &Device) {
    let speeds: Vec<f64> = shots
        .iter()
        .filter(|shot| shot.timed || !device.timed_count)
        .filter(|shot| shot.landed_in || device.over != Over::In)
        .map(|shot| device.speed(shot.kmh))
        .collect();
    let Some(fastest) = speeds
        .iter()
        .copied()
        .reduce(|a, b| if a < b { b } else { a })
    else {
        return;
    };
    let n = speeds.len() as f64;
    let mean = speeds.iter().sum::<f64>() / n;
    line.insert(
        "speed_mean".to_owned(),
        printed(mean, device.speed_decimals),
    );
    line.insert("speed_unit".to_owned(), json!(device.speed_unit()));
    if let Some(divisor) = device.sd_divisor
        && 1 < speeds.len()
    {
        let squares: f64 = speeds.iter().map(|speed| (speed - mean).powi(2)).sum();
        let (divided_by, code) = match divisor {
            Divisor::NMinusOne => (n - 1.0, Some("n-1")),
            Divisor::N => (n, Some("n")),
            Divisor::Unknown => (n - 1.0, None),
        };
        line.insert(
            "speed_sd".to_owned(),
            printed((squares / divided_by).sqrt(), 1),
        );
        line.insert("sd_divisor".to_owned(), json!(code.unwrap_or("unknown")));
    }
    if device.fastest {
        line.insert(
            "speed_max".to_owned(),
            printed(fastest, device.speed_decimals),
        );
    }
    if device.timed_count {
        line.insert("speed_n".to_owned(), json!(speeds.len()));
    }
    let over = match device.over {
        Over::All => "all",
        Over::In => "in",
        Over::Unknown => "unknown",
    };
    line.insert("speed_over".to_owned(), json!(over));
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_printed_clean() {
        assert_eq!(printed(98.400_000_01, 1).to_string(), "98.4");
        assert_eq!(printed(98.0, 1).to_string(), "98");
        assert_eq!(printed(100.0, 0).to_string(), "100");
        assert_eq!(printed(1.25, 2).to_string(), "1.25");
    }
}
