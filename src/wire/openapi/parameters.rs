//! What goes into addresses and headers of requests, each described once.

use super::operations::Operation;
use crate::findings::query;
use crate::intake::schema::Schema;
use crate::vocabulary::{CorrectionReason, word_list};
use crate::wire::package;
use serde_json::{Map, Value, json};

/// Most releases that a study can have, as in their schema.
const MOST_RELEASES: u32 = 1_000_000;

word_list! {
    /// A parameter; the code is its name among the components.
    Parameter {
        /// The short name of a study.
        Study = "study",
        /// The number of a release.
        Number = "number",
        /// The identifier of a contribution.
        Contribution = "contribution",
        /// The code of a plan.
        PlanCode = "code",
        /// The name of a picture.
        Picture = "picture",
        /// The same in the address of a release.
        Name = "name",
        /// The name of a card.
        Card = "card",
        /// The name of a schema's file.
        File = "file",
        /// The name of a file of tables.
        Table = "table",
        /// Most entries of a list.
        Limit = "limit",
        /// Where a part of the list of studies begins.
        AfterStudy = "after-study",
        /// Where a part of the list of releases begins.
        AfterRelease = "after-release",
        /// Why a contribution is mended.
        Reason = "reason",
        /// Unit of speeds in a picture.
        SpeedUnit = "speed-unit",
        /// Unit of tensions in a picture.
        TensionUnit = "tension-unit",
        /// What makes a retry safe.
        IdempotencyKey = "idempotency-key",
        /// What lets a new player in.
        Invitation = "invitation",
        /// The tags that a client has.
        IfNoneMatch = "if-none-match",
        /// The piece of a file that is wanted.
        Range = "range",
        /// The tag of the file whose piece is wanted.
        IfRange = "if-range",
    }
}

/// The parameters that operations have, described.
pub(super) fn components(operations: &[Operation]) -> Map<String, Value> {
    let used = Parameter::ALL.iter().filter(|parameter| {
        let mut all = operations.iter();
        all.any(|operation| operation.parameters.contains(parameter))
    });
    let own = used.map(|parameter| (parameter.code().to_owned(), parameter.described()));
    let asked = query::Parameter::ALL.iter();
    own.chain(asked.map(|part| (name_of(*part), part_of_question(*part))))
        .collect()
}

/// The name of a part of a question among the components.
pub(super) fn name_of(part: query::Parameter) -> String {
    format!("question-{}", part.code())
}

/// A part of a question as the schema of answers describes it, without the null that stands for what
/// was not asked.
fn part_of_question(part: query::Parameter) -> Value {
    let schema: Value = serde_json::from_str(Schema::Query.text()).unwrap_or_default();
    let place = format!("/$defs/question/properties/{}", part.code());
    let found = schema.pointer(&place).and_then(Value::as_object);
    let mut schema = found.cloned().unwrap_or_default();
    let description = schema.remove("description");
    if let Some(Value::Array(words)) = schema.get_mut("enum") {
        words.retain(|word| !word.is_null());
    }
    let kinds = schema.get("type").and_then(Value::as_array);
    let kind = kinds.and_then(|kinds| kinds.iter().find(|kind| **kind != "null").cloned());
    if let Some(kind) = kind {
        schema.insert("type".to_owned(), kind);
    }
    json!({
        "name": part.code(),
        "in": "query",
        "required": false,
        "description": description,
        "schema": schema,
    })
}

impl Parameter {
    fn described(self) -> Value {
        let (place, name) = self.place();
        json!({
            "name": name,
            "in": place,
            "required": place == "path" || self == Self::Reason,
            "description": self.words(),
            "schema": self.schema(),
            "example": self.example(),
        })
    }

    /// Where it stands, and under which name.
    pub(super) const fn place(self) -> (&'static str, &'static str) {
        match self {
            Self::AfterStudy | Self::AfterRelease => ("query", "after"),
            Self::Limit | Self::Reason => ("query", self.code()),
            Self::SpeedUnit => ("query", "speed"),
            Self::TensionUnit => ("query", "tension"),
            Self::IdempotencyKey => ("header", "Idempotency-Key"),
            Self::Invitation => ("header", "Invitation"),
            Self::IfNoneMatch => ("header", "If-None-Match"),
            Self::Range => ("header", "Range"),
            Self::IfRange => ("header", "If-Range"),
            Self::Study
            | Self::Number
            | Self::Contribution
            | Self::PlanCode
            | Self::Picture
            | Self::Name
            | Self::Card
            | Self::Table
            | Self::File => ("path", self.code()),
        }
    }

    const fn words(self) -> &'static str {
        match self {
            Self::Study => "short name of the study, as in the list of studies",
            Self::Number => "number of the release, from 1",
            Self::Contribution => "identifier of the contribution, as in its receipt",
            Self::PlanCode => "code of the plan; hyphens, spaces and small letters do no harm",
            Self::Picture | Self::Name => {
                "name of the picture; the study’s page links to every one"
            }
            Self::Card => "which card",
            Self::Table => "name of the file: the descriptor, or a table in one of two formats",
            Self::File => "name of the schema’s file",
            Self::Limit => "most entries of this part of the list; left out, 100",
            Self::AfterStudy => "the part begins after this short name",
            Self::AfterRelease => "the part begins after the release of this number",
            Self::Reason => "why it is mended",
            Self::SpeedUnit => "unit of speeds; left out, kilometres per hour",
            Self::TensionUnit => "unit of tensions; left out, that of the protocol",
            Self::IdempotencyKey => {
                "a text of your own, such as a UUID, new for every new wish: with the same one a request may be sent again and is carried out once. A string between quotation marks (RFC 9651), or the bare text. Keys are those of one study, apart for contributions and plans, and never expire; without one, every request is a new wish"
            }
            Self::Invitation => {
                "the code that the host gave you, where a study takes new players by invitation; hyphens, spaces and small letters do no harm"
            }
            Self::IfNoneMatch => {
                "entity tags that you have, or *; the answer is 304 if one is current"
            }
            Self::Range => {
                "one range of bytes, such as bytes=0-999; other units and several ranges are not looked at"
            }
            Self::IfRange => {
                "the entity tag of the file that you have a part of; if it is no longer current, all of the new one is sent"
            }
        }
    }

    fn schema(self) -> Value {
        match self {
            Self::Study | Self::AfterStudy => json!({
                "type": "string",
                "minLength": 1,
                "maxLength": 64,
                "pattern": "^[a-z0-9]+(-[a-z0-9]+)*$",
            }),
            Self::Number => json!({"type": "integer", "minimum": 1, "maximum": MOST_RELEASES}),
            Self::AfterRelease => {
                json!({"type": "integer", "minimum": 0, "maximum": MOST_RELEASES})
            }
            Self::Contribution => json!({"type": "string", "format": "uuid"}),
            Self::PlanCode | Self::Invitation => {
                json!({"type": "string", "pattern": "^[0-9A-HJKMNP-TV-Z]{12}$"})
            }
            Self::Picture | Self::Name => json!({
                "type": "string",
                "minLength": 1,
                "maxLength": 80,
                "pattern": "^[a-z0-9_]+(-[a-z0-9_]+)*$",
            }),
            Self::Card => json!({"enum": ["card.svg", "card-1200x630.png", "card-1920x1080.png"]}),
            Self::File => {
                let files: Vec<&str> = Schema::ALL.iter().map(|file| file.file_name()).collect();
                json!({"enum": files})
            }
            Self::Table => {
                let files: Vec<String> = package::File::all()
                    .into_iter()
                    .map(package::File::name)
                    .collect();
                json!({"enum": files})
            }
            Self::Limit => json!({"type": "integer", "minimum": 1, "maximum": 100}),
            Self::Reason => {
                let words = CorrectionReason::ALL.iter().map(|word| word.code());
                json!({"enum": words.collect::<Vec<&str>>()})
            }
            Self::SpeedUnit => json!({"enum": ["kmh", "mph"]}),
            Self::TensionUnit => json!({"enum": ["lb", "kg"]}),
            Self::IdempotencyKey => json!({
                "type": "string",
                "pattern": "^(\"([ !#-\\[\\]-~]|\\\\[\"\\\\]){1,255}\"|[!#-+\\--:<-\\[\\]-~]{1,255})$",
            }),
            Self::IfNoneMatch => json!({
                "type": "string",
                "pattern": "^(\\*|(W/)?\"[!#-~]*\"(, (W/)?\"[!#-~]*\")*)$",
                "maxLength": 1000,
            }),
            Self::Range => json!({
                "type": "string",
                "pattern": "^bytes=([0-9]{1,9}-[0-9]{0,9}|-[0-9]{1,9})$",
            }),
            Self::IfRange => json!({"type": "string", "pattern": "^\"[!#-~]{1,100}\"$"}),
        }
    }

    fn example(self) -> Value {
        match self {
            Self::Study | Self::AfterStudy => json!("looser-or-tighter"),
            Self::Number | Self::AfterRelease => json!(1),
            Self::Contribution => json!("0192e5a0-7e3c-7c9a-9d7b-3f1f6f0a1b2c"),
            Self::PlanCode | Self::Invitation => json!("7K3M9QX2ABCD"),
            Self::Picture | Self::Name => json!("speed-all"),
            Self::Card => json!("card.svg"),
            Self::File => json!(Schema::Aggregate.file_name()),
            Self::Table => json!("rows.csv"),
            Self::Limit => json!(20),
            Self::Reason => json!(CorrectionReason::TypingMistake.code()),
            Self::SpeedUnit => json!("mph"),
            Self::TensionUnit => json!("kg"),
            Self::IdempotencyKey => json!("3f6c2a58-4b0f-4c57-9a53-1f0f6f4f7a11"),
            Self::IfNoneMatch => json!("\"0f3a\""),
            Self::Range => json!("bytes=0-999"),
            Self::IfRange => json!("\"0f3a\""),
        }
    }
}
