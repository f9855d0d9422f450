//! The published JSON Schemas, embedded, and their verdict in the project's own words.
//!
//! The very bytes under `schema/` are what the server serves and what documents are held against.
//! Validators are built without network or file resolvers and with formats asserted.

use super::fault::{Fault, FaultCode};
use super::json::{pointer_to, shorten};
use super::nearest::nearest;
use jsonschema::error::ValidationErrorKind as Kind;
use jsonschema::{Registry, ValidationError, Validator};
use serde_json::Value;
use std::collections::BTreeSet;
use std::sync::OnceLock;

/// A kind of document with a published schema.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Schema {
    /// What a contributor sends.
    Contribution,
    /// What a host writes.
    Study,
    /// The list of studies.
    Studies,
    /// The reply to a contribution.
    Receipt,
    /// What the holder of a receipt reads.
    Own,
    /// Pooled analyses.
    Pooled,
    /// The answer to a question.
    Query,
    /// The anonymised download.
    Aggregate,
    /// An error.
    Problem,
    /// The answer of the health check.
    Health,
    /// The answer of the readiness check.
    Ready,
    /// What is to be mended in a form.
    FormCheck,
    /// The wish for a plan.
    PlanRequest,
    /// A plan.
    Plan,
    /// What a protocol says and said.
    Protocol,
    /// A release.
    Release,
    /// The list of releases.
    Releases,
}

impl Schema {
    /// Every published schema.
    pub const ALL: &'static [Self] = &[
        Self::Contribution,
        Self::Study,
        Self::Studies,
        Self::Receipt,
        Self::Own,
        Self::Pooled,
        Self::Query,
        Self::Aggregate,
        Self::Problem,
        Self::Health,
        Self::Ready,
        Self::FormCheck,
        Self::PlanRequest,
        Self::Plan,
        Self::Protocol,
        Self::Release,
        Self::Releases,
    ];

    /// The file's name, which is also its address under `/schema/`.
    #[must_use]
    pub const fn file_name(self) -> &'static str {
        match self {
            Self::Contribution => "contribution.v1.schema.json",
            Self::Study => "study.v1.schema.json",
            Self::Studies => "studies.v1.schema.json",
            Self::Receipt => "receipt.v1.schema.json",
            Self::Own => "own.v1.schema.json",
            Self::Pooled => "pooled.v1.schema.json",
            Self::Query => "query.v1.schema.json",
            Self::Aggregate => "aggregate.v1.schema.json",
            Self::Problem => "problem.v1.schema.json",
            Self::Health => "health.v1.schema.json",
            Self::Ready => "ready.v1.schema.json",
            Self::FormCheck => "form_check.v1.schema.json",
            Self::PlanRequest => "plan-request.v1.schema.json",
            Self::Plan => "plan.v1.schema.json",
            Self::Protocol => "protocol.v1.schema.json",
            Self::Release => "release.v1.schema.json",
            Self::Releases => "releases.v1.schema.json",
        }
    }

    /// The published text.
    #[must_use]
    pub const fn text(self) -> &'static str {
        match self {
            Self::Contribution => include_str!("../../schema/contribution.v1.schema.json"),
            Self::Study => include_str!("../../schema/study.v1.schema.json"),
            Self::Studies => include_str!("../../schema/studies.v1.schema.json"),
            Self::Receipt => include_str!("../../schema/receipt.v1.schema.json"),
            Self::Own => include_str!("../../schema/own.v1.schema.json"),
            Self::Pooled => include_str!("../../schema/pooled.v1.schema.json"),
            Self::Query => include_str!("../../schema/query.v1.schema.json"),
            Self::Aggregate => include_str!("../../schema/aggregate.v1.schema.json"),
            Self::Problem => include_str!("../../schema/problem.v1.schema.json"),
            Self::Health => include_str!("../../schema/health.v1.schema.json"),
            Self::Ready => include_str!("../../schema/ready.v1.schema.json"),
            Self::FormCheck => include_str!("../../schema/form_check.v1.schema.json"),
            Self::PlanRequest => include_str!("../../schema/plan-request.v1.schema.json"),
            Self::Plan => include_str!("../../schema/plan.v1.schema.json"),
            Self::Protocol => include_str!("../../schema/protocol.v1.schema.json"),
            Self::Release => include_str!("../../schema/release.v1.schema.json"),
            Self::Releases => include_str!("../../schema/releases.v1.schema.json"),
        }
    }

    /// Every fault that the schema finds in a document.
    #[must_use]
    pub fn faults(self, document: &Value) -> Vec<Fault> {
        let compiled = self.compiled();
        let mut faults: Vec<Fault> = compiled
            .validator
            .iter_errors(document)
            .flat_map(|error| compiled.faults_of(&error))
            .collect();
        // An empty text is also of the wrong form; once is enough.
        let short: BTreeSet<String> = faults
            .iter()
            .filter(|fault| fault.code == FaultCode::TooShort)
            .map(|fault| fault.pointer.clone())
            .collect();
        faults
            .retain(|fault| fault.code != FaultCode::WrongForm || !short.contains(&fault.pointer));
        faults
    }

    /// The fault of a place at which nothing stands although something has to.
    pub(super) fn missing(self, pointer: &str) -> Fault {
        self.compiled().missing(pointer.to_owned())
    }

    /// The compiled schema, built once for the whole process.
    fn compiled(self) -> &'static Compiled {
        static COMPILED: [OnceLock<Compiled>; Schema::ALL.len()] =
            [const { OnceLock::new() }; Schema::ALL.len()];
        #[expect(
            clippy::expect_used,
            clippy::indexing_slicing,
            reason = "the embedded schemas are compiled by a test; the index is a variant's number"
        )]
        COMPILED[self as usize].get_or_init(|| {
            let text: Value = serde_json::from_str(self.text()).expect("embedded schema is JSON");
            let validator = jsonschema::draft202012::options()
                .should_validate_formats(true)
                .with_registry(referred_to())
                .build(&text)
                .expect("embedded schema compiles");
            Compiled { text, validator }
        })
    }
}

/// The schemas that others refer to by their `$id`, prepared once for the whole process.
fn referred_to() -> &'static Registry<'static> {
    static PREPARED: OnceLock<Registry<'static>> = OnceLock::new();
    #[expect(
        clippy::expect_used,
        reason = "the embedded schemas are compiled by a test"
    )]
    PREPARED.get_or_init(|| {
        let known = [Schema::Aggregate, Schema::Study, Schema::Receipt].map(|schema| {
            let text: Value = serde_json::from_str(schema.text()).expect("embedded schema is JSON");
            let id = text.get("$id").and_then(Value::as_str).map(str::to_owned);
            (id.expect("an embedded schema has an $id"), text)
        });
        let registry = Registry::new().extend(known).expect("an $id is a URI");
        registry
            .prepare()
            .expect("embedded schemas refer to known ones")
    })
}

/// What belongs where a schema wants an integer.
const WHOLE: &str = "a whole number without quotes";
/// What belongs where a schema wants a number.
const NUMBER: &str = "a number without quotes";

/// A schema's text, for its descriptions, and its validator.
struct Compiled {
    text: Value,
    validator: Validator,
}

impl Compiled {
    /// The part of the schema that speaks of a place in a document, references followed.
    fn part_for(&self, pointer: &str) -> Option<&Value> {
        let mut part = &self.text;
        for token in pointer.split('/').skip(1) {
            part = self.follow(part)?;
            let is_item = token.bytes().all(|byte| byte.is_ascii_digit());
            part = match part.get("items") {
                Some(items) if is_item => items,
                _ => part.get("properties")?.get(token)?,
            };
        }
        Some(part)
    }

    /// The target of a part's `$ref`, or the part itself.
    fn follow<'a>(&'a self, part: &'a Value) -> Option<&'a Value> {
        match part.get("$ref").and_then(Value::as_str) {
            Some(reference) => self.text.pointer(reference.strip_prefix('#')?),
            None => Some(part),
        }
    }

    /// What a place is for, as the schema describes it, with a colon before it.
    /// Nothing for the document as a whole.
    fn purpose(&self, pointer: &str) -> String {
        self.part_for(pointer)
            .filter(|_| !pointer.is_empty())
            .and_then(|part| part.get("description"))
            .and_then(Value::as_str)
            .map_or_else(String::new, |text| format!(": {text}"))
    }

    /// The names of the fields that an object may have.
    fn known_fields(&self, pointer: &str) -> Vec<&str> {
        self.part_for(pointer)
            .and_then(|part| self.follow(part))
            .and_then(|part| part.get("properties")?.as_object())
            .map(|fields| fields.keys().map(String::as_str).collect())
            .unwrap_or_default()
    }

    /// One validation error as the faults it stands for.
    fn faults_of(&self, error: &ValidationError<'_>) -> Vec<Fault> {
        let at = error.instance_path().as_str();
        let shown = show(error.instance());
        let purpose = self.purpose(at);
        let one = |code, sentence| vec![Fault::new(at.to_owned(), code, sentence)];
        match error.kind() {
            Kind::Required { property } => {
                let name = property.as_str().unwrap_or_default();
                vec![self.missing(pointer_to(at, name))]
            }
            Kind::AdditionalProperties { unexpected } => unexpected
                .iter()
                .map(|name| self.unknown_field(at, name))
                .collect(),
            Kind::Type { .. } => one(
                FaultCode::WrongType,
                format!(
                    "{shown} {}{}{purpose}.",
                    self.wrong_kind(at, error.instance()),
                    self.or_leave_out(at)
                ),
            ),
            Kind::Enum { options } => one(
                FaultCode::NotInList,
                format!(
                    "{shown} is not in the list; write one of {}{purpose}.",
                    list(options)
                ),
            ),
            Kind::Minimum { limit } => one(
                FaultCode::TooSmall,
                format!("{shown} is below {limit}, the smallest accepted value{purpose}."),
            ),
            Kind::ExclusiveMinimum { limit } => one(
                FaultCode::TooSmall,
                format!(
                    "{shown} is not above {limit}; write a larger value{}{purpose}.",
                    self.or_leave_out(at)
                ),
            ),
            Kind::Maximum { limit } | Kind::ExclusiveMaximum { limit } => one(
                FaultCode::TooLarge,
                format!("{shown} is above {limit}, the largest accepted value{purpose}."),
            ),
            Kind::MinLength { limit } => one(
                FaultCode::TooShort,
                format!("The text is shorter than {limit} character(s){purpose}."),
            ),
            Kind::MaxLength { limit } => one(
                FaultCode::TooLong,
                format!("The text is longer than {limit} characters; shorten it{purpose}."),
            ),
            Kind::Pattern { .. } | Kind::Format { .. } => one(
                FaultCode::WrongForm,
                format!("{shown} is not written as it should be{purpose}."),
            ),
            Kind::MinItems { limit } => one(
                FaultCode::TooFew,
                format!(
                    "Too little stands here, at least {limit} belong; add what is missing{purpose}."
                ),
            ),
            Kind::MaxItems { limit } => one(
                FaultCode::TooMany,
                format!("There are more than {limit} entries here; remove some{purpose}."),
            ),
            Kind::UniqueItems => one(
                FaultCode::TooMany,
                format!("An entry stands here twice; keep one of them{purpose}."),
            ),
            Kind::FalseSchema => one(
                FaultCode::SaidTwice,
                "This is given both as a count and as a percentage; keep one of the two."
                    .to_owned(),
            ),
            other => one(
                FaultCode::AgainstSchema,
                format!(
                    "{shown} is against the schema's rule `{}`{purpose}.",
                    other.keyword()
                ),
            ),
        }
    }

    fn missing(&self, place: String) -> Fault {
        let purpose = self.purpose(&place);
        let sentence = if purpose.is_empty() {
            let name = place.rsplit('/').next().unwrap_or_default();
            format!("`{name}` is missing; add it.")
        } else {
            format!("Missing{purpose}. Add it.")
        };
        Fault::new(place, FaultCode::Missing, sentence)
    }

    /// What is wrong with the kind of a value, and which kind belongs there.
    fn wrong_kind(&self, pointer: &str, found: &Value) -> String {
        let wanted = self.kind_at(pointer);
        let takes_number = wanted == WHOLE || wanted == NUMBER;
        match found {
            Value::String(text) if takes_number && text.trim().parse::<f64>().is_err() => {
                "is not a number; write digits, such as 42 or 61.5, and no unit".to_owned()
            }
            Value::Number(_) if wanted == WHOLE => "is not a whole number; write one".to_owned(),
            _ => format!("is the wrong kind of value; write {wanted}"),
        }
    }

    fn unknown_field(&self, object: &str, name: &str) -> Fault {
        let known = self.known_fields(object);
        let mend = match nearest(&known, name) {
            Some(field) => format!("did you mean `{field}`?"),
            None => format!("remove it, or use one of: {}.", known.join(", ")),
        };
        Fault::new(
            pointer_to(object, name),
            FaultCode::UnknownField,
            format!("`{}` is not a field here; {mend}", shorten(name)),
        )
    }

    /// What else can be done at a place that need not be filled.
    fn or_leave_out(&self, pointer: &str) -> &'static str {
        let (parent, name) = pointer.rsplit_once('/').unwrap_or_default();
        let object = self.part_for(parent).and_then(|part| self.follow(part));
        let is_field = object.is_some_and(|part| part.get("properties").is_some());
        let required = object
            .and_then(|part| part.get("required")?.as_array())
            .is_some_and(|required| required.iter().any(|field| field == name));
        if is_field && !required && !pointer.is_empty() {
            ", or leave it out when it is not known"
        } else {
            ""
        }
    }

    /// The kind of value that belongs at a place, in words.
    fn kind_at(&self, pointer: &str) -> &'static str {
        let kind = self
            .part_for(pointer)
            .and_then(|part| self.follow(part))
            .and_then(|part| part.get("type"))
            .and_then(|kind| kind.as_str().or_else(|| kind.get(0)?.as_str()));
        match kind {
            Some("integer") => WHOLE,
            Some("number") => NUMBER,
            Some("string") => "a text in quotes",
            Some("boolean") => "true or false",
            Some("array") => "a list in square brackets",
            Some("object") => "an object in curly braces",
            _ => "what the schema asks for",
        }
    }
}

/// A value as it may be repeated to its sender: short, on one line.
fn show(value: &Value) -> String {
    match value {
        Value::Array(_) => "A list".to_owned(),
        Value::Object(_) => "An object".to_owned(),
        Value::String(text) => format!("\"{}\"", shorten(text)),
        other => shorten(&other.to_string()),
    }
}

fn list(options: &Value) -> String {
    let words = options.as_array().into_iter().flatten();
    words.map(Value::to_string).collect::<Vec<_>>().join(", ")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_embedded_schema_compiles_and_is_numbered_in_order() {
        for (place, schema) in Schema::ALL.iter().enumerate() {
            assert_eq!(*schema as usize, place);
            assert!(!schema.compiled().text.is_null());
        }
    }
}
