//! Which figures become columns, where they stand in an entry of the document, and in what unit.

use super::Table;
use super::dictionary::Dictionary;
use crate::vocabulary::Outcome;
use serde_json::{Value, json};

/// What separates the items of a list in a CSV cell.
pub(super) const BETWEEN_ITEMS: &str = ";";

/// A column of a table.
#[derive(Clone, Debug)]
pub(super) struct Column {
    pub(super) name: String,
    pub(super) from: From,
    /// `None` for what is no number.
    pub(super) unit: Option<Unit>,
}

/// Where a cell comes from.
#[derive(Clone, Debug)]
pub(super) enum From {
    /// This place in the entry, as a JSON Pointer.
    At(String),
    /// The standard error behind the interval that is shown.
    ShownSe,
    /// The codes of the caveats.
    Caveats,
    /// Why cells of the line are empty.
    NotEstimable,
}

/// The unit of a column of numbers.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Unit {
    /// A count, a fraction or a probability.
    One,
    /// That of the line's outcome.
    Effect,
    /// Its square.
    EffectSquared,
    /// Pounds of string tension.
    Pound,
    /// Kilometres per hour.
    KilometrePerHour,
    /// Hours.
    Hour,
    /// That of the study's gap bands.
    OfBands,
}

impl Unit {
    /// The UCUM code where one holds for the whole column. A string tension is a force, told as the
    /// weight of a mass: so pounds are `[lbf_av]` and kilograms `kgf`, which convert to newtons, and
    /// not `[lb_av]` and `kg`, which do not.
    pub(super) fn ucum(self, gap_unit: &str) -> Option<&'static str> {
        match self {
            Self::One => Some("1"),
            Self::Effect | Self::EffectSquared => None,
            Self::Pound => Some("[lbf_av]"),
            Self::KilometrePerHour => Some("km/h"),
            Self::Hour => Some("h"),
            Self::OfBands if gap_unit == "kg" => Some("kgf"),
            Self::OfBands => Some("[lbf_av]"),
        }
    }

    /// The UCUM code for each outcome, where the unit is that of the line's outcome. UCUM puts
    /// exponents behind simple units alone, hence `km2/h2`.
    pub(super) fn ucum_of(self, outcome: Outcome) -> Option<&'static str> {
        let is_speed = outcome.unit() == "km/h";
        match self {
            Self::Effect if is_speed => Some("km/h"),
            Self::Effect => Some("%"),
            Self::EffectSquared if is_speed => Some("km2/h2"),
            Self::EffectSquared => Some("%2"),
            _ => None,
        }
    }

    /// The unit in words, to stand behind a description; empty where the description says enough.
    pub(super) fn words(self, gap_unit: &str) -> &'static str {
        match self {
            Self::One => "",
            Self::Effect => "In km/h for speeds, in percentage points for shares.",
            Self::EffectSquared => {
                "In (km/h)2 for speeds, in squared percentage points for shares."
            }
            Self::Pound => "In pounds of string tension.",
            Self::KilometrePerHour => "In km/h.",
            Self::Hour => "In hours.",
            Self::OfBands if gap_unit == "kg" => "In kilograms of string tension.",
            Self::OfBands => "In pounds of string tension.",
        }
    }
}

/// Ends of the names of columns that say their unit.
const UNIT_ENDS: &[(&str, Unit)] = &[
    ("_lb", Unit::Pound),
    ("_kmh", Unit::KilometrePerHour),
    ("_hours", Unit::Hour),
];

/// What identifies a line of the pooled figures and of those over everybody.
const ABOUT: &[(&str, &str, Option<Unit>)] = &[
    ("outcome", "/outcome", None),
    ("stroke", "/stroke", None),
    ("direction", "/direction", None),
    ("band", "/band/code", None),
    ("gap_from", "/band/from", Some(Unit::OfBands)),
    ("gap_to_under", "/band/to_under", Some(Unit::OfBands)),
    ("gap_unit", "/band/unit", None),
];

/// The figures of an analysis up to its own standard error.
const BEFORE_SE: &[(&str, &str, Option<Unit>)] = &[
    ("primary", "/primary", None),
    ("unit", "/unit", None),
    ("withheld", "/withheld", None),
    (
        "smallest_worthwhile",
        "/smallest_worthwhile",
        Some(Unit::Effect),
    ),
    ("basis", "/basis", None),
    ("k", "/k", Some(Unit::One)),
    ("players", "/players", Some(Unit::One)),
    ("estimate", "/shown/estimate", Some(Unit::Effect)),
];

/// The figures of an analysis after it.
const AFTER_SE: &[(&str, &str, Option<Unit>)] = &[
    ("interval_kind", "/shown/interval_kind", None),
    ("low", "/shown/low", Some(Unit::Effect)),
    ("high", "/shown/high", Some(Unit::Effect)),
    ("p", "/shown/p", Some(Unit::One)),
    (
        "prediction_low",
        "/shown/prediction/low",
        Some(Unit::Effect),
    ),
    (
        "prediction_high",
        "/shown/prediction/high",
        Some(Unit::Effect),
    ),
    ("adjusted_p", "/adjusted_p/p", Some(Unit::One)),
    ("adjusted_p_method", "/adjusted_p/method", None),
    ("adjusted_p_family", "/adjusted_p/family", Some(Unit::One)),
    (
        "any_time_estimate",
        "/any_time/estimate",
        Some(Unit::Effect),
    ),
    ("any_time_low", "/any_time/low", Some(Unit::Effect)),
    ("any_time_high", "/any_time/high", Some(Unit::Effect)),
    ("tau2", "/models/reml/tau2", Some(Unit::EffectSquared)),
    (
        "tau2_low",
        "/heterogeneity/tau2_low",
        Some(Unit::EffectSquared),
    ),
    (
        "tau2_high",
        "/heterogeneity/tau2_high",
        Some(Unit::EffectSquared),
    ),
    ("tau2_note", "/heterogeneity/tau2_note", None),
    ("i2", "/heterogeneity/i2", Some(Unit::One)),
    ("i2_low", "/heterogeneity/i2_low", Some(Unit::One)),
    ("i2_high", "/heterogeneity/i2_high", Some(Unit::One)),
    ("h2", "/heterogeneity/h2", Some(Unit::One)),
    ("h2_low", "/heterogeneity/h2_low", Some(Unit::One)),
    ("h2_high", "/heterogeneity/h2_high", Some(Unit::One)),
    ("q", "/heterogeneity/q", Some(Unit::One)),
    ("q_df", "/heterogeneity/df", Some(Unit::One)),
    ("q_p", "/heterogeneity/p", Some(Unit::One)),
    (
        "fixed_estimate",
        "/models/fixed/estimate",
        Some(Unit::Effect),
    ),
    ("fixed_se", "/models/fixed/se", Some(Unit::Effect)),
    ("dl_estimate", "/models/dl/estimate", Some(Unit::Effect)),
    ("dl_se", "/models/dl/se", Some(Unit::Effect)),
    ("dl_tau2", "/models/dl/tau2", Some(Unit::EffectSquared)),
    ("pm_estimate", "/models/pm/estimate", Some(Unit::Effect)),
    ("pm_se", "/models/pm/se", Some(Unit::Effect)),
    ("pm_tau2", "/models/pm/tau2", Some(Unit::EffectSquared)),
    ("reml_estimate", "/models/reml/estimate", Some(Unit::Effect)),
    ("reml_se", "/models/reml/se", Some(Unit::Effect)),
    ("verdict", "/scrutiny/verdict", None),
    ("certainty", "/scrutiny/certainty/level", None),
];

/// The figures over everybody.
const OVER_EVERYBODY: &[(&str, &str, Option<Unit>)] = &[
    ("players_at_least", "/players_at_least", Some(Unit::One)),
    ("estimate", "/estimate", Some(Unit::Effect)),
    ("low", "/low", Some(Unit::Effect)),
    ("high", "/high", Some(Unit::Effect)),
];

/// The columns of a table. Those of the rows are the fields that the schema lists, in its order.
pub(super) fn of(table: Table, dictionary: &Dictionary) -> Vec<Column> {
    let placed = |places: &[(&str, &str, Option<Unit>)]| -> Vec<Column> {
        let places = places.iter();
        let column =
            places.map(|(name, at, unit)| Column::new(name, From::At((*at).to_owned()), *unit));
        column.collect()
    };
    match table {
        Table::Rows => dictionary
            .fields(table.definition())
            .into_iter()
            .map(|name| {
                let at = format!("/{name}");
                let unit = unit_of_row(&name, dictionary.is_number(table.definition(), &at));
                Column::new(&name, From::At(at), unit)
            })
            .collect(),
        Table::Pooled => [
            placed(ABOUT),
            placed(BEFORE_SE),
            vec![Column::new("se", From::ShownSe, Some(Unit::Effect))],
            placed(AFTER_SE),
            vec![
                Column::new("caveats", From::Caveats, None),
                Column::new("not_estimable", From::NotEstimable, None),
            ],
        ]
        .concat(),
        Table::Everybody => [placed(ABOUT), placed(OVER_EVERYBODY)].concat(),
    }
}

/// The unit of a column of the rows, by its name: a new one follows by itself, and a test fails
/// where its name says nothing.
fn unit_of_row(name: &str, is_number: bool) -> Option<Unit> {
    if !is_number {
        return None;
    }
    let ends = UNIT_ENDS.iter().find(|(end, _)| name.ends_with(end));
    match ends {
        Some((_, unit)) => Some(*unit),
        None if name.ends_with("estimate") => Some(Unit::Effect),
        None if name.ends_with("variance") => Some(Unit::EffectSquared),
        None => Some(Unit::One),
    }
}

impl Column {
    fn new(name: &str, from: From, unit: Option<Unit>) -> Self {
        Self {
            name: name.to_owned(),
            from,
            unit,
        }
    }

    /// The name for people: without the unit, which stands beside it.
    pub(super) fn title(&self) -> String {
        let bare = UNIT_ENDS
            .iter()
            .find_map(|(end, _)| self.name.strip_suffix(end));
        let words = bare.unwrap_or(&self.name).split('_');
        let words: Vec<String> = words
            .map(|word| match word {
                "dl" | "pm" | "reml" | "se" | "i2" | "h2" | "q" => word.to_uppercase(),
                _ => word.to_owned(),
            })
            .collect();
        super::dictionary::capitalised(&words.join(" "))
    }

    /// What the column says of an entry; null where that is nothing.
    pub(super) fn cell(&self, entry: &Value, columns: &[Self]) -> Value {
        match &self.from {
            From::At(at) => entry.pointer(at).cloned().unwrap_or_default(),
            From::ShownSe => shown_se(entry),
            From::Caveats => list(caveats(entry)),
            From::NotEstimable => list(not_estimable(entry, columns)),
        }
    }

    /// Where a reason for an empty cell would stand.
    fn reason_at(&self) -> Option<&str> {
        match &self.from {
            From::At(at) => Some(at),
            From::ShownSe => Some("/shown/se"),
            From::Caveats | From::NotEstimable => None,
        }
    }
}

/// The standard error behind the interval that is shown, which is one of the model's.
fn shown_se(entry: &Value) -> Value {
    let kind = entry
        .pointer("/shown/interval_kind")
        .and_then(Value::as_str);
    let at = match kind {
        Some("wald") => "/models/reml/se".to_owned(),
        Some(kind) => format!("/models/reml/{kind}/se"),
        None => return Value::Null,
    };
    entry.pointer(&at).cloned().unwrap_or_default()
}

fn caveats(entry: &Value) -> Vec<String> {
    let caveats = entry.pointer("/scrutiny/caveats").and_then(Value::as_array);
    let caveats = caveats.into_iter().flatten();
    let codes = caveats.filter_map(|caveat| caveat.get("code")?.as_str());
    codes.map(str::to_owned).collect()
}

/// `column:reason` for every figure of the table that is null although the analysis is shown.
fn not_estimable(entry: &Value, columns: &[Column]) -> Vec<String> {
    let reasons = entry.get("not_estimable").and_then(Value::as_array);
    let Some(reasons) = reasons else {
        return Vec::new();
    };
    let reason = |at: &str| {
        let holds = |place: &str| {
            let rest = at.strip_prefix(place);
            rest.is_some_and(|rest| rest.is_empty() || rest.starts_with('/'))
        };
        let mut reasons = reasons.iter();
        let found = reasons.find(|reason| {
            let place = reason.get("at").and_then(Value::as_str);
            place.is_some_and(holds)
        });
        found?.get("code")?.as_str()
    };
    let empty = columns.iter().filter_map(|column| {
        let at = column.reason_at()?;
        let code = reason(at)?;
        Some(format!("{}:{code}", column.name))
    });
    empty.collect()
}

/// A list, or null for an empty one, so that both formats say the same.
fn list(items: Vec<String>) -> Value {
    if items.is_empty() {
        Value::Null
    } else {
        json!(items)
    }
}
