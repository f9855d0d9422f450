//! Forgeries that thresholds were chosen with. What is reported as a catch rate comes from those of
//! [`super::forgers`], which were written without looking at the rules.

use super::super::draw::Draw;
use super::super::runs::Failure;
use super::lines_of;
use serde_json::{Value, json};

/// A way of making sessions up, mostly out of an honest contribution.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Naive {
    /// Round numbers throughout.
    Guessed,
    /// Somebody else's contribution with other mean speeds.
    CopyWithOtherMeans,
    /// Somebody else's contribution with every figure moved a little.
    CopyMoved,
    /// The second session is the first one with speeds shifted.
    SecondShifted,
    /// The second session is the first one with every figure moved a little.
    SecondMoved,
    /// Percentages with a decimal, made up.
    MadeUpPercentages,
    /// Standard deviations of a tenth of the mean, fastest shots a quarter above it.
    Proportions,
    /// Standard errors in place of standard deviations.
    StandardErrors,
    /// A fastest shot far too slow for the spread.
    SlowFastest,
    /// The own contribution again, at other tensions.
    SentAgain,
    /// Well simulated, with a gain that is not there.
    WellSimulated,
}

impl Naive {
    pub(crate) const ALL: &'static [Self] = &[
        Self::Guessed,
        Self::CopyWithOtherMeans,
        Self::CopyMoved,
        Self::SecondShifted,
        Self::SecondMoved,
        Self::MadeUpPercentages,
        Self::Proportions,
        Self::StandardErrors,
        Self::SlowFastest,
        Self::SentAgain,
        Self::WellSimulated,
    ];

    pub(crate) const fn name(self) -> &'static str {
        match self {
            Self::Guessed => "round numbers",
            Self::CopyWithOtherMeans => "a copy with other means",
            Self::CopyMoved => "a copy, every figure moved",
            Self::SecondShifted => "second session shifted",
            Self::SecondMoved => "second session moved",
            Self::MadeUpPercentages => "made-up percentages",
            Self::Proportions => "fixed proportions",
            Self::StandardErrors => "standard errors",
            Self::SlowFastest => "slow fastest shots",
            Self::SentAgain => "sent again at other tensions",
            Self::WellSimulated => "well simulated",
        }
    }

    /// Whether it is made from what was sent before.
    pub(crate) const fn is_copy(self) -> bool {
        matches!(
            self,
            Self::CopyWithOtherMeans | Self::CopyMoved | Self::SentAgain
        )
    }

    /// Whether the one who sent the original sends it.
    pub(crate) fn is_own(self) -> bool {
        self == Self::SentAgain
    }

    /// The forgery made from a document.
    pub(crate) fn forge(self, document: &str, draw: &mut Draw) -> Result<String, Failure> {
        let mut document: Value = serde_json::from_str(document)?;
        let twin = document["sessions"][0]["shots"].clone();
        match self {
            Self::SecondShifted | Self::SecondMoved => {
                document["sessions"][1]["shots"] = twin.clone()
            }
            Self::SentAgain => {
                for session in document["sessions"].as_array_mut().into_iter().flatten() {
                    session["tension"]["mains"] = json!(moved(&session["tension"]["mains"], 1.0));
                    session["tension"]["crosses"] = session["tension"]["mains"].clone();
                }
            }
            _ => {}
        }
        let n_lines = twin.as_array().map_or(0, Vec::len);
        for (place, line) in lines_of(&mut document).enumerate() {
            self.touch(line, n_lines <= place, draw);
        }
        Ok(document.to_string())
    }

    fn touch(self, line: &mut Value, later: bool, draw: &mut Draw) {
        let mean = line["speed_mean"].as_f64().unwrap_or(100.0);
        let n = line["hit"].as_i64().unwrap_or(60);
        match self {
            Self::Guessed => {
                counts(line, 100, 5 * draw.whole(12, 16), 5 * draw.whole(4, 7));
                line["speed_mean"] = json!((mean / 5.0).round() * 5.0);
                line["speed_sd"] = json!(5 * draw.whole(2, 3));
                line["speed_max"] = json!((mean / 5.0).round() * 5.0 + 30.0);
            }
            Self::CopyWithOtherMeans => shift(line, "speed_mean", tenth(draw.between(-6.0, 6.0))),
            Self::CopyMoved => all_moved(line, draw),
            Self::SecondShifted if later => {
                let by = tenth(draw.between(3.0, 8.0));
                shift(line, "speed_mean", by);
                shift(line, "speed_max", by);
            }
            Self::SecondMoved if later => {
                all_moved(line, draw);
                shift(line, "speed_mean", tenth(draw.between(3.0, 8.0)));
            }
            Self::MadeUpPercentages => {
                let percent = |draw: &mut Draw, low, high| json!(tenth(draw.between(low, high)));
                let (landed_in, deep) = (percent(draw, 60.0, 80.0), percent(draw, 20.0, 40.0));
                counts(line, n, 0, 0);
                let fields = line.as_object_mut();
                if let Some(fields) = fields {
                    fields.remove("in");
                    fields.remove("deep");
                    fields.insert("in_percent".to_owned(), landed_in);
                    fields.insert("deep_percent".to_owned(), deep);
                    fields.insert("deep_percent_of".to_owned(), json!("hit"));
                }
            }
            Self::Proportions => {
                line["speed_sd"] = json!(tenth(0.1 * mean));
                line["speed_max"] = json!(tenth(1.25 * mean));
            }
            Self::StandardErrors => {
                line["speed_sd"] = json!(tenth(0.14 * mean / (n as f64).sqrt()));
            }
            Self::SlowFastest => {
                line["speed_sd"] = json!(tenth(0.15 * mean));
                line["speed_max"] = json!(tenth(mean * draw.between(1.05, 1.15)));
            }
            Self::WellSimulated if later => {
                shift(line, "speed_mean", 6.0);
                shift(line, "speed_max", 6.0);
            }
            _ => {}
        }
        if line["speed_sd"].is_number() && !line["sd_divisor"].is_string() {
            line["sd_divisor"] = json!("unknown");
        }
    }
}

fn tenth(value: f64) -> f64 {
    (value * 10.0).round() / 10.0
}

fn moved(value: &Value, by: f64) -> f64 {
    tenth(value.as_f64().unwrap_or(50.0) + by)
}

fn shift(line: &mut Value, name: &str, by: f64) {
    if line[name].is_number() {
        line[name] = json!(moved(&line[name], by));
    }
}

/// Sets the counts, in place of whatever form they had.
fn counts(line: &mut Value, hit: i64, landed_in: i64, deep: i64) {
    if let Some(fields) = line.as_object_mut() {
        fields.retain(|name, _| !name.contains("percent") && name != "speed_n");
        fields.insert("hit".to_owned(), json!(hit));
        fields.insert("in".to_owned(), json!(landed_in));
        fields.insert("deep".to_owned(), json!(deep));
    }
}

/// Moves every figure by a little.
fn all_moved(line: &mut Value, draw: &mut Draw) {
    for name in ["in", "deep"] {
        if let Some(count) = line[name].as_i64() {
            line[name] = json!(count + 1 - 2 * draw.whole(0, 1));
        }
    }
    for name in ["speed_mean", "speed_sd", "speed_max"] {
        shift(line, name, tenth(draw.between(-0.6, 0.6)));
    }
}
