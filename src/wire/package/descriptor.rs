//! `datapackage.json`, by the Data Package standard v2 (datapackage.org: Data Package, Data
//! Resource, Table Schema, Table Dialect).
//!
//! The standard has no property for a unit, and lets a field have further ones. Ours are `unit`, a
//! UCUM code, and, where the unit depends on the outcome, `unitByOutcome` with a code for each.

use super::columns::{BETWEEN_ITEMS, Column, From, Unit, of};
use super::dictionary::{Dictionary, Entry};
use super::{File, Format, Table};
use crate::protocol::Hosting;
use crate::release::Release;
use crate::vocabulary::Outcome;
use crate::wire::pooled::CAVEATS;
use serde_json::{Map, Value, json};

const PACKAGE_PROFILE: &str = "https://datapackage.org/profiles/2.0/datapackage.json";
const RESOURCE_PROFILE: &str = "https://datapackage.org/profiles/2.0/dataresource.json";
const DIALECT_PROFILE: &str = "https://datapackage.org/profiles/2.0/tabledialect.json";
const SCHEMA_PROFILE: &str = "https://datapackage.org/profiles/2.0/tableschema.json";

/// What holds for every table. The standard reads descriptions as `CommonMark`.
const HOW_TO_READ: &str = "Differences are looser minus tighter. An empty cell in CSV is a null in NDJSON: a figure that is not known, not estimable or not shown, never 0; the column `not_estimable` of the pooled table has the reason for each figure that is null although its analysis is shown. `unit` of a field is its UCUM code (Unified Code for Units of Measure), `unitByOutcome` has one for each outcome. A difference of shares is in percentage points, which UCUM writes `%`. Tensions are forces told as weights, hence `[lbf_av]` and `kgf`. In CSV, an apostrophe stands before a text that begins with `=`, `+`, `-`, `@`, a tab, a line break or an apostrophe, so that no spreadsheet takes it for a formula; numbers have none, and NDJSON has every text as it is.";

/// What a file is, for the descriptor.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct FileFacts {
    /// Which file.
    pub file: File,
    /// SHA-256 of its bytes, in hexadecimal.
    pub sha256: String,
    /// How many bytes it has.
    pub bytes: usize,
}

/// What a package is of.
#[derive(Clone, Copy, Debug)]
pub enum Edition<'a> {
    /// The public batch in force.
    Batch {
        /// Who hosts the study, and on what terms.
        hosting: &'a Hosting,
        /// A globally unique name for this very content.
        id: &'a str,
        /// The address of the study's page, where the service knows its own.
        homepage: Option<&'a str>,
    },
    /// A release.
    Release(&'a Release),
}

/// What the descriptor tells beside the tables.
#[derive(Clone, Copy, Debug)]
pub struct About<'a> {
    /// The aggregate document that the tables were made from.
    pub aggregate: &'a Value,
    /// What it is of.
    pub edition: Edition<'a>,
}

/// The descriptor of a package with these files.
#[must_use]
pub fn descriptor(about: &About<'_>, files: &[FileFacts]) -> Value {
    let aggregate = about.aggregate;
    let text = |at: &str| aggregate.pointer(at).and_then(Value::as_str);
    let is_invented = aggregate.pointer("/study/invented") == Some(&json!(true));
    let mut package = Map::new();
    let mut put = |name: &str, value: Value| {
        if !value.is_null() {
            package.insert(name.to_owned(), value);
        }
    };
    put("$schema", json!(PACKAGE_PROFILE));
    put("name", json!(text("/study/study")));
    put("id", json!(about.id()));
    put(
        "title",
        json!(about.title(text("/study/question"), is_invented)),
    );
    put(
        "description",
        json!(about.description(text("/study/notice"))),
    );
    put("homepage", json!(about.homepage()));
    put("version", json!(about.version()));
    put("created", json!(about.created()));
    put("contributors", about.contributors());
    put("licenses", about.licences());
    put(
        "sources",
        json!([{"title": "Paired sessions sent by players who chose to take part"}]),
    );
    put("batch", aggregate.get("batch").cloned().unwrap_or_default());
    put(
        "release",
        json!(about.release().map(|release| release.number)),
    );
    put("level", aggregate.get("level").cloned().unwrap_or_default());
    let resources = files.iter().filter_map(|facts| resource(about, facts));
    put("resources", resources.collect());
    Value::Object(package)
}

impl<'a> About<'a> {
    const fn release(&self) -> Option<&'a Release> {
        match self.edition {
            Edition::Release(release) => Some(release),
            Edition::Batch { .. } => None,
        }
    }

    fn batch_number(&self) -> Option<i64> {
        self.aggregate.pointer("/batch/number")?.as_i64()
    }

    fn id(&self) -> &'a str {
        match self.edition {
            Edition::Batch { id, .. } => id,
            Edition::Release(release) => &release.address,
        }
    }

    fn homepage(&self) -> Option<&'a str> {
        match self.edition {
            Edition::Batch { homepage, .. } => homepage,
            Edition::Release(release) => Some(&release.address),
        }
    }

    fn title(&self, question: Option<&str>, is_invented: bool) -> String {
        let question = question.unwrap_or_default();
        let mark = if is_invented { " (invented data)" } else { "" };
        let which = match (self.release(), self.batch_number()) {
            (Some(release), _) => format!("Release {}", release.number),
            (None, Some(batch)) => format!("Batch {batch}"),
            (None, None) => "Nothing public at present".to_owned(),
        };
        format!("{question}{mark} {which}")
    }

    /// The first paragraph is the summary, as the standard asks.
    fn description(&self, notice: Option<&str>) -> String {
        let summary = match self.release() {
            Some(_) => "What this release published, as tables.",
            None => {
                "What is public of this study now, as tables. It changes with every public batch; releases never change."
            }
        };
        let level = self.aggregate.get("level").and_then(Value::as_f64);
        let percent = level.map(|level| {
            let percent = crate::numbers::percent(level, 0);
            format!("Intervals are {percent} intervals.")
        });
        let cite = self
            .release()
            .map(|release| format!("Cite it as: {}", release.citation()));
        let licence = self.licence_in_words();
        let parts = [
            Some(summary.to_owned()),
            notice.map(str::to_owned),
            Some(HOW_TO_READ.to_owned()),
            percent,
            cite,
            licence,
        ];
        let parts: Vec<String> = parts.into_iter().flatten().collect();
        parts.join("\n\n")
    }

    /// A version as Semantic Versioning has it: a release is a major one, since figures of another
    /// are others; before 1.0.0 anything may change, as it does with every batch.
    fn version(&self) -> String {
        match self.release() {
            Some(release) => format!("{}.0.0", release.number),
            None => format!("0.{}.0", self.batch_number().unwrap_or(0)),
        }
    }

    /// Of a batch the day alone is public, so its beginning stands.
    fn created(&self) -> Option<String> {
        match self.release() {
            Some(release) => Some(release.published_at.clone()),
            None => {
                let date = self.aggregate.pointer("/batch/date")?.as_str()?;
                Some(format!("{date}T00:00:00Z"))
            }
        }
    }

    fn publisher(&self) -> Option<&'a str> {
        match self.edition {
            Edition::Batch { hosting, .. } => hosting.host_name.as_deref(),
            Edition::Release(release) => Some(&release.terms.publisher),
        }
    }

    /// The host, whose roles are named as DataCite names them.
    fn contributors(&self) -> Value {
        let publisher = self.publisher();
        publisher.map_or(
            Value::Null,
            |publisher| json!([{"title": publisher, "roles": ["creator", "publisher"]}]),
        )
    }

    /// Name and address of the licence.
    fn licence(&self) -> Option<(&'a str, Option<&'a str>)> {
        match self.edition {
            Edition::Batch { hosting, .. } => {
                let licence = hosting.licence.as_ref()?;
                Some((&licence.name, licence.url.as_deref()))
            }
            Edition::Release(release) => {
                let terms = &release.terms;
                Some((&terms.licence_name, terms.licence_url.as_deref()))
            }
        }
    }

    /// A licence has to have a name of letters, digits, `-`, `.` and `_`, or an address.
    fn licences(&self) -> Value {
        let Some((name, url)) = self.licence() else {
            return Value::Null;
        };
        let mut licence = Map::new();
        if is_identifier(name) {
            licence.insert("name".to_owned(), json!(name));
        }
        if let Some(url) = url {
            licence.insert("path".to_owned(), json!(url));
        }
        if licence.is_empty() {
            return Value::Null;
        }
        licence.insert("title".to_owned(), json!(name));
        json!([licence])
    }

    /// A licence that `licenses` has no place for.
    fn licence_in_words(&self) -> Option<String> {
        let (name, url) = self.licence()?;
        (url.is_none() && !is_identifier(name)).then(|| format!("Licence of the data: {name}."))
    }

    fn gap_unit(&self) -> &'a str {
        let unit = self.aggregate.pointer("/protocol/gap_unit");
        unit.and_then(Value::as_str).unwrap_or_default()
    }
}

fn is_identifier(name: &str) -> bool {
    let fits = |letter: char| letter.is_ascii_alphanumeric() || "-._".contains(letter);
    !name.is_empty() && name.chars().all(fits)
}

fn resource(about: &About<'_>, facts: &FileFacts) -> Option<Value> {
    let File::Table(table, format) = facts.file else {
        return None;
    };
    // NDJSON without a line is an empty file, in which readers find no table.
    if format == Format::Ndjson && facts.bytes == 0 {
        return None;
    }
    let dictionary = Dictionary::new();
    let name = match format {
        Format::Csv => table.name().to_owned(),
        Format::Ndjson => format!("{}-ndjson", table.name()),
    };
    let dialect = match format {
        Format::Csv => json!({"$schema": DIALECT_PROFILE, "lineTerminator": "\r\n"}),
        Format::Ndjson => json!({"$schema": DIALECT_PROFILE, "itemType": "object"}),
    };
    Some(json!({
        "$schema": RESOURCE_PROFILE,
        "name": name,
        "path": facts.file.name(),
        "type": "table",
        "title": title(table),
        "description": description(table, &dictionary),
        "format": format.extension(),
        "mediatype": format.media_type(),
        "encoding": "utf-8",
        "bytes": facts.bytes,
        "hash": format!("sha256:{}", facts.sha256),
        "dialect": dialect,
        "schema": schema(table, format, about.gap_unit(), &dictionary),
    }))
}

const fn title(table: Table) -> &'static str {
    match table {
        Table::Rows => "Anonymised rows",
        Table::Pooled => "Pooled figures",
        Table::Everybody => "Figures over everybody",
    }
}

fn description(table: Table, dictionary: &Dictionary) -> String {
    let said = dictionary.of_definition(table.definition());
    match table {
        Table::Pooled => format!("{said} {}", CAVEATS.join(" ")),
        Table::Rows | Table::Everybody => said,
    }
}

fn schema(table: Table, format: Format, gap_unit: &str, dictionary: &Dictionary) -> Value {
    let columns = of(table, dictionary);
    let columns = columns.iter();
    let fields: Vec<Value> = columns
        .map(|column| field(table, column, gap_unit, dictionary))
        .collect();
    let about = ["outcome", "stroke", "direction", "band"];
    let key: &[&str] = match table {
        Table::Rows => &["group", "pair", "outcome", "stroke", "direction"],
        Table::Pooled | Table::Everybody => &about,
    };
    let mut schema = json!({
        "$schema": SCHEMA_PROFILE,
        "fields": fields,
        "missingValues": [""],
        "primaryKey": key,
    });
    // Every row belongs to the analysis of its cell.
    if let (Table::Rows, Format::Csv, Some(schema)) = (table, format, schema.as_object_mut()) {
        let pooled = json!({"resource": Table::Pooled.name(), "fields": about});
        let keys = json!([{"fields": about, "reference": pooled}]);
        schema.insert("foreignKeys".to_owned(), keys);
    }
    schema
}

fn field(table: Table, column: &Column, gap_unit: &str, dictionary: &Dictionary) -> Value {
    let entry = entry(table, column, dictionary);
    // Where the schema says the unit, it is not said twice.
    let is_said =
        ["km/h", "pound", "hour"].map(|word| entry.description.to_lowercase().contains(word));
    let unit = column.unit.filter(|_| !is_said.contains(&true));
    let words = unit.map_or("", |unit| unit.words(gap_unit));
    let mut field = Map::new();
    let mut put = |name: &str, value: Value| field.insert(name.to_owned(), value);
    put("name", json!(column.name));
    put("title", json!(column.title()));
    put("type", json!(entry.kind));
    put(
        "description",
        json!(format!("{} {words}", entry.description).trim_end()),
    );
    if entry.kind == "list" {
        put("delimiter", json!(BETWEEN_ITEMS));
        put("itemType", json!("string"));
    }
    if let Some(unit) = column.unit {
        match unit.ucum(gap_unit) {
            Some(code) => put("unit", json!(code)),
            None => put("unitByOutcome", by_outcome(unit)),
        };
    }
    if !entry.constraints.is_empty() {
        put("constraints", Value::Object(entry.constraints));
    }
    Value::Object(field)
}

fn by_outcome(unit: Unit) -> Value {
    let codes = Outcome::ALL.iter();
    let codes = codes.filter_map(|outcome| {
        let code = unit.ucum_of(*outcome)?;
        Some((outcome.code().to_owned(), json!(code)))
    });
    Value::Object(codes.collect())
}

/// What is said of a column: by the schema, or here of what it has no single place for.
fn entry(table: Table, column: &Column, dictionary: &Dictionary) -> Entry {
    let own = |kind, description: &str| Entry {
        description: description.to_owned(),
        kind,
        constraints: Map::new(),
    };
    match &column.from {
        From::At(at) => dictionary
            .entry(table.definition(), at)
            .unwrap_or_else(|| own("any", "")),
        From::ShownSe => own(
            "number",
            "Standard error behind the interval that is shown: that of the REML model by the kind of interval_kind.",
        ),
        From::Caveats => own(
            "list",
            "What to hold against the finding, each in one stable word; empty where nothing is, and where the outcome was not declared beforehand or the analysis is withheld.",
        ),
        From::NotEstimable => own(
            "list",
            "Each figure of this line that cannot be estimated, as column:reason, the reason in one stable word; empty where there is none.",
        ),
    }
}
