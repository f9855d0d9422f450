//! What contributors do.

use super::super::parameters::Parameter;
use super::{Content, Operation, Receipt};
use crate::intake::schema::Schema;
use crate::wire::problem::ProblemKind::{
    self, AlreadyWithdrawn, BadRequest, Internal, Invalid, InvitationNeeded, KeyUsedOtherwise,
    Malformed, NotFound, NotJson, NotRecruiting, ReceiptUnknown, TooLarge, TooManyPairs,
    TooManyVersions, TooSlow, Unavailable, UnderWay,
};

/// What may be wrong with a document that is sent.
const DOCUMENT: &[ProblemKind] = &[
    Malformed,
    BadRequest,
    NotFound,
    TooSlow,
    TooLarge,
    NotJson,
    Invalid,
    Internal,
    Unavailable,
];

/// What may be wrong with a request that has a receipt and no document.
const RECEIPT: &[ProblemKind] = &[BadRequest, ReceiptUnknown, NotFound, Internal, Unavailable];

struct Wish {
    id: &'static str,
    method: &'static str,
    path: &'static str,
    tag: &'static str,
    summary: &'static str,
    description: &'static str,
    answers: &'static str,
    status: u16,
    parameters: &'static [Parameter],
    body: Option<Schema>,
    answer: Schema,
    receipt: Receipt,
    refusals: Vec<ProblemKind>,
}

impl From<Wish> for Operation {
    fn from(wish: Wish) -> Self {
        Self {
            id: wish.id,
            method: wish.method,
            path: wish.path.to_owned(),
            tag: wish.tag,
            summary: wish.summary,
            description: wish.description,
            parameters: wish.parameters.to_vec(),
            asks: false,
            body: wish.body,
            receipt: wish.receipt,
            status: wish.status,
            answers: wish.answers,
            content: Content::Document(wish.answer),
            more_headers: &[],
            reading: None,
            refusals: wish.refusals,
        }
    }
}

pub(super) fn plans() -> Vec<Operation> {
    let draw = Wish {
        id: "drawPlan",
        method: "post",
        path: "/api/v1/studies/{study}/plans",
        tag: "Plans",
        summary: "Draw an order of play by lot",
        description: "The order stays sealed until the plan is opened. Sessions played in it count as planned.",
        answers: "The plan was drawn, or had been drawn for this very Idempotency-Key.",
        status: 201,
        parameters: &[Parameter::Study, Parameter::IdempotencyKey],
        body: Some(Schema::PlanRequest),
        answer: Schema::Plan,
        receipt: Receipt::None,
        refusals: [DOCUMENT, &[NotRecruiting, KeyUsedOtherwise, UnderWay]].concat(),
    };
    let open = Wish {
        id: "openPlan",
        method: "post",
        path: "/api/v1/studies/{study}/plans/{code}/open",
        tag: "Plans",
        summary: "Open a plan",
        description: "Tells the order, and writes down when it was opened: do it when you are about to hit. A body is not looked at.",
        answers: "The plan with its order.",
        status: 200,
        parameters: &[Parameter::Study, Parameter::PlanCode],
        body: None,
        answer: Schema::Plan,
        receipt: Receipt::None,
        refusals: vec![NotFound, NotRecruiting, Internal, Unavailable],
    };
    vec![draw.into(), open.into()]
}

pub(super) fn contributions() -> Vec<Operation> {
    let send = Wish {
        id: "sendContribution",
        method: "post",
        path: "/api/v1/studies/{study}/contributions",
        tag: "Contributions",
        summary: "Send the sessions of one pair",
        description: "At most 256 KiB. With the receipt of an earlier contribution both count as one player. What is stored is synced to disk before the answer.",
        answers: "The contribution is stored: its receipt, its state and its own differences.",
        status: 201,
        parameters: &[
            Parameter::Study,
            Parameter::IdempotencyKey,
            Parameter::Invitation,
        ],
        body: Some(Schema::Contribution),
        answer: Schema::Receipt,
        receipt: Receipt::Optional,
        refusals: [
            DOCUMENT,
            &[
                ReceiptUnknown,
                InvitationNeeded,
                NotRecruiting,
                KeyUsedOtherwise,
                UnderWay,
                AlreadyWithdrawn,
                TooManyPairs,
            ],
        ]
        .concat(),
    };
    let read = Wish {
        id: "readContributions",
        method: "get",
        path: "/api/v1/studies/{study}/contributions",
        tag: "Contributions",
        summary: "Read everything that you sent",
        description: "Every contribution of the holder of the receipt, every version of each, and where it stands.",
        answers: "What you sent.",
        status: 200,
        parameters: &[Parameter::Study],
        body: None,
        answer: Schema::Own,
        receipt: Receipt::Needed,
        refusals: RECEIPT.to_vec(),
    };
    let mend = Wish {
        id: "mendContribution",
        method: "put",
        path: "/api/v1/studies/{study}/contributions/{contribution}",
        tag: "Contributions",
        summary: "Mend a contribution",
        description: "Send the whole document anew, and why. The version before is kept, and the newest one counts from the next public batch on.",
        answers: "The new version is stored.",
        status: 200,
        parameters: &[Parameter::Study, Parameter::Contribution, Parameter::Reason],
        body: Some(Schema::Contribution),
        answer: Schema::Receipt,
        receipt: Receipt::Needed,
        refusals: [
            DOCUMENT,
            &[ReceiptUnknown, AlreadyWithdrawn, TooManyVersions],
        ]
        .concat(),
    };
    let withdraw = Wish {
        id: "withdrawContribution",
        method: "delete",
        path: "/api/v1/studies/{study}/contributions/{contribution}",
        tag: "Contributions",
        summary: "Withdraw a contribution",
        description: "It leaves the public figures with the next batch, within 30 days at the latest, and is erased then. Releases that are published keep it.",
        answers: "What you sent, with what is withdrawn.",
        status: 200,
        parameters: &[Parameter::Study, Parameter::Contribution],
        body: None,
        answer: Schema::Own,
        receipt: Receipt::Needed,
        refusals: RECEIPT.to_vec(),
    };
    vec![send.into(), read.into(), mend.into(), withdraw.into()]
}
