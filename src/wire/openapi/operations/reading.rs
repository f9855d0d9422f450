//! What everybody may read.

use super::super::parameters::Parameter;
use super::{Content, HEALTH, Operation, READY, Reading, Receipt};
use crate::intake::schema::Schema;
use crate::wire::problem::ProblemKind::{
    self, BadRequest, Busy, Internal, InvalidQuery, NotFound, NotReady, TooFewPlayers, Unavailable,
};

/// The address of a study.
const STUDY: &str = "/api/v1/studies/{study}";

/// What may go wrong with a document of a study that is kept in memory.
const KEPT: &[ProblemKind] = &[NotFound];

/// What may go wrong with a document that is looked up or made when it is asked for.
const LOOKED_UP: &[ProblemKind] = &[NotFound, Unavailable, Internal];

const SVG: &str = "image/svg+xml";
const PNG: &str = "image/png";

/// A public document, to be read as a whole.
fn read(
    id: &'static str,
    path: String,
    refusals: &[ProblemKind],
    (summary, description, answers): (&'static str, &'static str, &'static str),
    content: Content,
) -> Operation {
    let mut parameters = in_address(&path);
    parameters.push(Parameter::IfNoneMatch);
    Operation {
        id,
        method: "get",
        path,
        tag: "Studies",
        summary,
        description,
        parameters,
        asks: false,
        body: None,
        receipt: Receipt::None,
        status: 200,
        answers,
        content,
        more_headers: &[],
        reading: Some(Reading::Whole),
        refusals: refusals.to_vec(),
    }
}

/// The parameters in braces, in their order.
fn in_address(path: &str) -> Vec<Parameter> {
    let braces = path.split('{').skip(1);
    braces
        .filter_map(|rest| Parameter::from_code(rest.split('}').next()?))
        .collect()
}

impl Operation {
    fn tagged(mut self, tag: &'static str) -> Self {
        self.tag = tag;
        self
    }

    fn taking(mut self, parameters: &[Parameter]) -> Self {
        self.parameters.extend(parameters);
        self
    }

    fn sending(mut self, headers: &'static [&'static str]) -> Self {
        self.more_headers = headers;
        self
    }

    fn in_pieces(mut self) -> Self {
        self.reading = Some(Reading::InPieces);
        self.taking(&[Parameter::Range, Parameter::IfRange])
    }

    /// A list that is read part by part.
    fn in_parts(mut self, after: Parameter) -> Self {
        self.refusals.insert(0, BadRequest);
        self.taking(&[Parameter::Limit, after]).sending(&["Link"])
    }
}

pub(super) fn studies() -> Vec<Operation> {
    vec![
        read(
            "listStudies",
            "/api/v1/studies".to_owned(),
            &[],
            (
                "List the studies",
                "With what a contributor has to read before sending, and the addresses of each study.",
                "A part of the list, by short name.",
            ),
            Content::Document(Schema::Studies),
        )
        .in_parts(Parameter::AfterStudy),
        read(
            "readProtocol",
            format!("{STUDY}/protocol"),
            KEPT,
            (
                "Read the protocol of a study",
                "Every version of it with its day and reason, and the hash of the analysis plan.",
                "The protocol and its history.",
            ),
            Content::Document(Schema::Protocol),
        ),
        read(
            "readPooled",
            format!("{STUDY}/pooled"),
            KEPT,
            (
                "Read the pooled analyses",
                "One for each gap band, outcome and shot class of the public batch in force.",
                "The pooled analyses.",
            ),
            Content::Document(Schema::Pooled),
        )
        .in_pieces(),
        read(
            "readAggregate",
            format!("{STUDY}/aggregate"),
            KEPT,
            (
                "Download the anonymised rows",
                "The rows of the public batch in force, one for each effect of players who agreed to show them, with every figure made from them.",
                "The aggregate.",
            ),
            Content::Document(Schema::Aggregate),
        )
        .in_pieces(),
        tables(
            "readTables",
            format!("{STUDY}/aggregate/{{table}}"),
            "Download rows or figures as a table",
        ),
        question(
            "ask",
            format!("{STUDY}/query"),
            (
                "Ask a question of your own",
                "The rows of the public batch in force that the question is about are pooled. Left out, outcome and shots are those of the first primary outcome.",
            ),
        ),
    ]
}

/// The download as tables.
fn tables(id: &'static str, path: String, summary: &'static str) -> Operation {
    read(
        id,
        path,
        LOOKED_UP,
        (
            summary,
            "As CSV (RFC 4180) or NDJSON; datapackage.json (Data Package 2.0) says what every column means and in which unit.",
            "The file.",
        ),
        Content::Tables,
    )
    .in_pieces()
}

/// A question to published rows.
fn question(
    id: &'static str,
    path: String,
    (summary, description): (&'static str, &'static str),
) -> Operation {
    let operation = read(
        id,
        path,
        &[
            InvalidQuery,
            TooFewPlayers,
            NotFound,
            Busy,
            Unavailable,
            Internal,
        ],
        (
            summary,
            description,
            "The answer, with what to hold against it.",
        ),
        Content::Document(Schema::Query),
    );
    Operation {
        asks: true,
        ..operation
    }
}

pub(super) fn releases() -> Vec<Operation> {
    let all = [
        read(
            "listReleases",
            format!("{STUDY}/releases"),
            LOOKED_UP,
            (
                "List the releases of a study",
                "With what became of each: which release came after it, and what was wrong with one that was corrected.",
                "A part of the list, the first release first.",
            ),
            Content::Document(Schema::Releases),
        )
        .in_parts(Parameter::AfterRelease),
        read(
            "readRelease",
            format!("{STUDY}/releases/{{number}}"),
            LOOKED_UP,
            (
                "Download a release",
                "Byte for byte as it was published: rows, every figure, the protocol and what may be said. The entity tag of its plain form is its SHA-256.",
                "The release.",
            ),
            Content::Document(Schema::Release),
        )
        .in_pieces()
        .sending(&["Content-Disposition", "Repr-Digest"]),
        read(
            "readReleaseAggregate",
            format!("{STUDY}/releases/{{number}}/aggregate"),
            LOOKED_UP,
            (
                "Download the rows of a release",
                "The rows and figures that the release was made from, in the form of the live download.",
                "The aggregate.",
            ),
            Content::Document(Schema::Aggregate),
        )
        .in_pieces(),
        tables(
            "readReleaseTables",
            format!("{STUDY}/releases/{{number}}/aggregate/{{table}}"),
            "Download rows or figures of a release as a table",
        ),
        question(
            "askRelease",
            format!("{STUDY}/releases/{{number}}/query"),
            (
                "Ask a release a question of your own",
                "As of the live study, of the rows of a release.",
            ),
        ),
        read(
            "readReleaseHash",
            format!("{STUDY}/releases/{{number}}/sha256"),
            LOOKED_UP,
            (
                "Read the SHA-256 of a release",
                "In the form that sha256sum -c reads.",
                "The hash and the name of the file.",
            ),
            Content::Text {
                media_type: "text/plain",
                pattern: "^[0-9a-f]{64}  [a-z0-9-]+\\.json\\n$",
            },
        ),
    ];
    all.map(|operation| operation.tagged("Releases")).into()
}

pub(super) fn pictures() -> Vec<Operation> {
    let units = [Parameter::SpeedUnit, Parameter::TensionUnit];
    let picture = |id, path: &str, words| {
        let content = Content::Pictures(&[SVG]);
        read(id, path.to_owned(), LOOKED_UP, words, content).taking(&units)
    };
    let card = |id, path: &str, words| {
        let content = Content::Pictures(&[SVG, PNG]);
        read(id, path.to_owned(), LOOKED_UP, words, content).taking(&units)
    };
    let all = [
        picture(
            "readPicture",
            "/studies/{study}/pictures/{picture}.svg",
            (
                "Read one picture of a study’s page",
                "With question, axis and notice in it, so that it can stand alone.",
                "The picture.",
            ),
        ),
        card(
            "readCard",
            "/studies/{study}/{card}",
            (
                "Read the card of a study",
                "One picture for an audience: question, answer, range, players and date.",
                "The card.",
            ),
        ),
        picture(
            "readReleasePicture",
            "/studies/{study}/releases/{number}/pictures/{name}.svg",
            (
                "Read one picture of a release’s page",
                "As it was when the release was published.",
                "The picture.",
            ),
        ),
        card(
            "readReleaseCard",
            "/studies/{study}/releases/{number}/{card}",
            (
                "Read the card of a release",
                "As it was when the release was published.",
                "The card.",
            ),
        ),
        read(
            "readShotsTemplate",
            "/studies/{study}/shots-template.csv".to_owned(),
            KEPT,
            (
                "Download an empty table for single shots",
                "The columns that a file of single shots may have, for a spreadsheet.",
                "The table (RFC 4180).",
            ),
            Content::Text {
                media_type: "text/csv",
                pattern: "^.+",
            },
        )
        .sending(&["Content-Disposition"]),
    ];
    all.map(|operation| operation.tagged("Pictures and files"))
        .into()
}

pub(super) fn service() -> Vec<Operation> {
    let all = [
        read(
            HEALTH,
            "/health".to_owned(),
            &[],
            (
                "Ask whether the service answers",
                "It, and its database.",
                "Both do.",
            ),
            Content::Document(Schema::Health),
        ),
        Operation {
            parameters: Vec::new(),
            reading: None,
            ..read(
                READY,
                "/ready".to_owned(),
                &[NotReady, Internal],
                (
                    "Ask whether the service could take a contribution now",
                    "A small write is tried and synced, at most every two seconds. Not ready while the service is being stopped, when the disk is full or fails, or when figures of a study cannot be made.",
                    "It could.",
                ),
                Content::Document(Schema::Ready),
            )
        },
        read(
            "readSchema",
            "/schema/{file}".to_owned(),
            KEPT,
            (
                "Read a published schema",
                "JSON Schema 2020-12, the very file that documents are held against.",
                "The schema.",
            ),
            Content::Schema,
        ),
        read(
            "readDescription",
            "/api/openapi.json".to_owned(),
            &[],
            (
                "Read this description",
                "OpenAPI 3.1. The page for people at /api is made from it.",
                "The description.",
            ),
            Content::Description,
        ),
    ];
    all.map(|operation| operation.tagged("Service")).into()
}
