//! The table of operations, kept by hand. A test walks the routes of the program and finds each of
//! them here, or on its list of pages for people.

mod reading;
mod sending;

use super::parameters::Parameter;
use crate::intake::schema::Schema;
use crate::wire::problem::ProblemKind;

/// One method at one address.
pub(super) struct Operation {
    /// What programs made from the document call it.
    pub(super) id: &'static str,
    pub(super) method: &'static str,
    pub(super) path: String,
    pub(super) tag: &'static str,
    pub(super) summary: &'static str,
    pub(super) description: &'static str,
    pub(super) parameters: Vec<Parameter>,
    /// Whether it takes the parts of a question besides.
    pub(super) asks: bool,
    /// The schema of the JSON document that is sent.
    pub(super) body: Option<Schema>,
    pub(super) receipt: Receipt,
    /// The status of success, what it means and what comes with it.
    pub(super) status: u16,
    pub(super) answers: &'static str,
    pub(super) content: Content,
    pub(super) more_headers: &'static [&'static str],
    /// How a public document is read; `None` for what is for one client alone.
    pub(super) reading: Option<Reading>,
    /// What may be wrong, apart from what [`Operation::problems`] adds.
    pub(super) refusals: Vec<ProblemKind>,
}

/// What comes with success.
pub(super) enum Content {
    /// A JSON document with a schema.
    Document(Schema),
    /// This description.
    Description,
    /// A schema.
    Schema,
    /// A text.
    Text {
        media_type: &'static str,
        pattern: &'static str,
    },
    /// A picture in one of these media types.
    Pictures(&'static [&'static str]),
    /// A file of tables, or what describes them.
    Tables,
}

/// How a public document is read.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(super) enum Reading {
    /// As a whole.
    Whole,
    /// As a whole or in pieces.
    InPieces,
}

/// Whether a receipt is looked at.
#[derive(Clone, Copy)]
pub(super) enum Receipt {
    None,
    Optional,
    Needed,
}

/// The operation that asks whether the service answers, which is never refused.
pub(super) const HEALTH: &str = "health";
/// The operation that asks whether it could take a contribution.
pub(super) const READY: &str = "ready";

impl Operation {
    /// Whether a client may do it only so often.
    pub(super) fn is_limited(&self) -> bool {
        ![HEALTH, READY].contains(&self.id)
    }

    /// Every kind of problem that it may answer with.
    pub(super) fn problems(&self) -> Vec<ProblemKind> {
        let limit = self.is_limited().then_some(ProblemKind::TooManyRequests);
        let in_pieces = self.reading == Some(Reading::InPieces);
        let range = in_pieces.then_some(ProblemKind::RangeNotThere);
        let all = self.refusals.iter().copied();
        all.chain(limit).chain(range).collect()
    }

    /// The schemas that it speaks of.
    pub(super) fn schemas(&self) -> impl Iterator<Item = Schema> {
        let answered = match self.content {
            Content::Document(schema) => Some(schema),
            Content::Description
            | Content::Schema
            | Content::Text { .. }
            | Content::Pictures(_)
            | Content::Tables => None,
        };
        self.body.into_iter().chain(answered)
    }
}

/// Every operation, in the order in which they are told.
pub(super) fn operations() -> Vec<Operation> {
    let mut all = reading::studies();
    all.extend(reading::releases());
    all.extend(sending::plans());
    all.extend(sending::contributions());
    all.extend(reading::pictures());
    all.extend(reading::service());
    all
}
