//! Errors as documents (RFC 9457; `schema/problem.v1.schema.json`).

use crate::intake::Fault;
use crate::vocabulary::word_list;
use serde_json::{Value, json};

word_list! {
    /// Kinds of errors that the API answers with. The code is the fragment of the problem's type.
    ProblemKind {
        /// The document cannot be read as JSON.
        Malformed = "malformed",
        /// The document is against the schema or the rules.
        Invalid = "invalid",
        /// No such address, study or schema.
        NotFound = "not-found",
        /// The address does not take this method.
        MethodNotAllowed = "method-not-allowed",
        /// The body is not declared as JSON.
        NotJson = "not-json",
        /// The body is not declared as a form.
        NotForm = "not-form",
        /// The body is larger than accepted.
        TooLarge = "too-large",
        /// The body did not arrive in time.
        TooSlow = "too-slow",
        /// The file has none of the bytes that were asked for.
        RangeNotThere = "range-not-there",
        /// The client has asked as often as one may.
        TooManyRequests = "too-many-requests",
        /// The connection broke off, or a header is not usable.
        BadRequest = "bad-request",
        /// The key was used before for something else.
        KeyUsedOtherwise = "key-used-otherwise",
        /// Another request with the key is being carried out.
        UnderWay = "under-way",
        /// No such receipt.
        ReceiptUnknown = "receipt-unknown",
        /// The study needs an invitation that can still be used.
        InvitationNeeded = "invitation-needed",
        /// The player has sent as many pairs as one player may.
        TooManyPairs = "too-many-pairs",
        /// What was withdrawn cannot be mended.
        AlreadyWithdrawn = "already-withdrawn",
        /// The contribution was mended as often as it may be.
        TooManyVersions = "too-many-versions",
        /// The study takes no further contributions.
        NotRecruiting = "not-recruiting",
        /// The parameters of the address cannot be read.
        InvalidQuery = "invalid-query",
        /// Too few players for any figure.
        TooFewPlayers = "too-few-players",
        /// As many questions as the service works on at a time are being answered.
        Busy = "busy",
        /// The service could not take a contribution now.
        NotReady = "not-ready",
        /// The service cannot store anything now.
        Unavailable = "unavailable",
        /// The service failed.
        Internal = "internal",
    }
}

impl ProblemKind {
    /// What it is called.
    #[must_use]
    pub const fn title(self) -> &'static str {
        match self {
            Self::Malformed => "The document cannot be read",
            Self::Invalid => "The document has faults",
            Self::NotFound => "Nothing is here",
            Self::MethodNotAllowed => "This address does not take this method",
            Self::NotJson => "The body must be JSON",
            Self::NotForm => "The body must be a form",
            Self::TooLarge => "The body is too large",
            Self::TooSlow => "The body did not arrive in time",
            Self::RangeNotThere => "The file has no such bytes",
            Self::TooManyRequests => "Too many requests",
            Self::BadRequest => "The request cannot be read",
            Self::KeyUsedOtherwise => "The key was used for something else",
            Self::UnderWay => "A request with this key is under way",
            Self::ReceiptUnknown => "There is no such receipt",
            Self::InvitationNeeded => "This study takes contributions by invitation",
            Self::TooManyPairs => "This player has sent enough",
            Self::AlreadyWithdrawn => "This contribution was withdrawn",
            Self::TooManyVersions => "This contribution was mended often enough",
            Self::NotRecruiting => "This study takes no further contributions",
            Self::InvalidQuery => "The question cannot be read",
            Self::TooFewPlayers => "Too few players for an answer",
            Self::Busy => "The service is busy with other questions",
            Self::NotReady => "The service is not ready",
            Self::Unavailable => "Not possible at the moment",
            Self::Internal => "The service failed",
        }
    }

    /// What to do about it.
    #[must_use]
    pub const fn remedy(self) -> &'static str {
        match self {
            Self::Malformed => {
                "Send one JSON document in UTF-8, without repeated keys. Each fault says where it stands."
            }
            Self::Invalid => {
                "Mend every place in the list of faults; each has a JSON Pointer and a sentence that says how."
            }
            Self::NotFound => "Check the address; the list of studies is at /api/v1/studies.",
            Self::MethodNotAllowed => "Use a method from the Allow header.",
            Self::NotJson => "Send the header Content-Type: application/json.",
            Self::NotForm => {
                "Send the header Content-Type: application/x-www-form-urlencoded, or JSON to the data interface."
            }
            Self::TooLarge => "A contribution is at most 256 KiB; a full one is about 60.",
            Self::TooSlow => {
                "Send it again on a better line; with the same Idempotency-Key it is stored once."
            }
            Self::RangeNotThere => {
                "Ask for bytes that the file has: the Content-Range header says how many there are."
            }
            Self::TooManyRequests => {
                "Wait for the seconds in the Retry-After header; RateLimit tells how many requests are left."
            }
            Self::BadRequest => "Send the request again; the detail says what was wrong with it.",
            Self::KeyUsedOtherwise => "Make a new Idempotency-Key for every new contribution.",
            Self::UnderWay => {
                "Wait for the answer to the first request, or ask again after the time in the Retry-After header: with the same key and body you get the same answer."
            }
            Self::ReceiptUnknown => {
                "Check the receipt, or leave the Authorization header out to send as a new player."
            }
            Self::InvitationNeeded => {
                "Send the code that the host gave you, 12 digits and letters, in the header Invitation; with a receipt you need none."
            }
            Self::TooManyPairs => {
                "One player counts with a limited number of pairs, and this receipt has reached it."
            }
            Self::AlreadyWithdrawn => {
                "Send the sessions anew, with the same receipt, to take part again."
            }
            Self::TooManyVersions => {
                "Withdraw it and send the sessions anew, with the same receipt."
            }
            Self::NotRecruiting => {
                "Nothing can be sent any more. With a receipt you can still see, mend and withdraw what you sent."
            }
            Self::InvalidQuery => {
                "Mend every parameter in the list of faults; each sentence says what it takes."
            }
            Self::TooFewPlayers => {
                "Ask more widely: with fewer filters, or over more gaps. The rows themselves are in the aggregate."
            }
            Self::Busy => {
                "Ask again after the time in the Retry-After header, or ask the downloaded aggregate with tautpool pool --where."
            }
            Self::NotReady => {
                "Ask again after the time in the Retry-After header. If it goes on, the host has to look: the detail says what is wrong, and the log why."
            }
            Self::Unavailable => {
                "Send it again after the time in the Retry-After header, with the same Idempotency-Key where you had one: then it is stored once, whatever became of this attempt."
            }
            Self::Internal => {
                "Send it again later, with the same Idempotency-Key where you had one: then it is stored once, whatever became of this attempt."
            }
        }
    }
}

/// An error as a document.
#[must_use]
pub fn problem(
    kind: ProblemKind,
    status: u16,
    detail: &str,
    request: &str,
    faults: &[Fault],
) -> Value {
    json!({
        "type": format!("/problems#{}", kind.code()),
        "title": kind.title(),
        "status": status,
        "detail": detail,
        "instance": format!("urn:uuid:{request}"),
        "faults": faults.iter().map(fault).collect::<Vec<_>>(),
    })
}

/// A fault as it stands in an error and in the answer of `tautpool check`.
#[must_use]
pub fn fault(fault: &Fault) -> Value {
    json!({"pointer": fault.pointer, "code": fault.code.code(), "sentence": fault.sentence})
}
