//! Errors as problem documents (RFC 9457), and the one mapping from errors to status codes.

use super::observe::request_id;
use super::{browser, limit};
use crate::findings::query::NotAnswered;
use crate::intake::{Rejection, RejectionKind};
use crate::service::{NotAsked, NotChanged, Refused, ServiceError};
use crate::store::StoreError;
use crate::wire::problem::{self, ProblemKind};
use actix_web::http::StatusCode;
use actix_web::http::header::{self, HeaderValue};
use actix_web::{HttpRequest, HttpResponse};

/// An error on its way to the client.
#[derive(Debug)]
pub(super) struct Problem {
    pub(super) kind: ProblemKind,
    pub(super) detail: String,
    faults: Vec<crate::intake::Fault>,
    /// Whether a secret was named that does not exist.
    pub(super) is_guess: bool,
}

impl Problem {
    pub(super) fn new(kind: ProblemKind, detail: impl Into<String>) -> Self {
        Self {
            kind,
            detail: detail.into(),
            faults: Vec::new(),
            is_guess: false,
        }
    }

    /// The answer to a request.
    pub(super) fn answer(&self, request: &HttpRequest) -> HttpResponse {
        limit::guessed(request, self);
        let status = status(self.kind);
        let request_id = request_id(request).to_string();
        let document = problem::problem(
            self.kind,
            status.as_u16(),
            &self.detail,
            &request_id,
            &self.faults,
        );
        let mut builder = HttpResponse::build(status);
        builder.content_type("application/problem+json");
        builder.insert_header((header::CACHE_CONTROL, "no-store"));
        if self.kind == ProblemKind::ReceiptUnknown {
            builder.insert_header((header::WWW_AUTHENTICATE, "Receipt"));
        }
        if let Some(seconds) = retry_after(self.kind) {
            builder.insert_header((header::RETRY_AFTER, seconds));
        }
        if self.kind == ProblemKind::TooLarge || self.kind == ProblemKind::TooSlow {
            // The rest of the body is not read, so the connection cannot carry another request.
            builder.force_close();
        }
        browser::answer(request, self, builder.body(format!("{document}\n")))
    }
}

/// After how many seconds it is worth asking again, where that is so by itself.
pub(super) const fn retry_after(kind: ProblemKind) -> Option<&'static str> {
    match kind {
        ProblemKind::Unavailable => Some("30"),
        ProblemKind::NotReady => Some("5"),
        ProblemKind::Busy | ProblemKind::UnderWay => Some("1"),
        _ => None,
    }
}

pub(super) const fn status(kind: ProblemKind) -> StatusCode {
    match kind {
        ProblemKind::Malformed | ProblemKind::BadRequest | ProblemKind::InvalidQuery => {
            StatusCode::BAD_REQUEST
        }
        ProblemKind::TooFewPlayers | ProblemKind::InvitationNeeded => StatusCode::FORBIDDEN,
        ProblemKind::Invalid | ProblemKind::KeyUsedOtherwise => StatusCode::UNPROCESSABLE_ENTITY,
        ProblemKind::NotFound => StatusCode::NOT_FOUND,
        ProblemKind::MethodNotAllowed => StatusCode::METHOD_NOT_ALLOWED,
        ProblemKind::NotJson | ProblemKind::NotForm => StatusCode::UNSUPPORTED_MEDIA_TYPE,
        ProblemKind::TooLarge => StatusCode::PAYLOAD_TOO_LARGE,
        ProblemKind::TooSlow => StatusCode::REQUEST_TIMEOUT,
        ProblemKind::RangeNotThere => StatusCode::RANGE_NOT_SATISFIABLE,
        ProblemKind::TooManyRequests => StatusCode::TOO_MANY_REQUESTS,
        ProblemKind::ReceiptUnknown => StatusCode::UNAUTHORIZED,
        ProblemKind::TooManyPairs | ProblemKind::TooManyVersions => {
            StatusCode::UNPROCESSABLE_ENTITY
        }
        ProblemKind::AlreadyWithdrawn | ProblemKind::NotRecruiting | ProblemKind::UnderWay => {
            StatusCode::CONFLICT
        }
        ProblemKind::NotReady | ProblemKind::Unavailable | ProblemKind::Busy => {
            StatusCode::SERVICE_UNAVAILABLE
        }
        ProblemKind::Internal => StatusCode::INTERNAL_SERVER_ERROR,
    }
}

impl From<Refused> for Problem {
    fn from(refused: Refused) -> Self {
        let detail = refused.to_string();
        match refused {
            Refused::StudyUnknown => {
                Self::new(ProblemKind::NotFound, "There is no study of this name.")
            }
            Refused::NotRecruiting => Self::new(
                ProblemKind::NotRecruiting,
                "This study is closed: it takes no further contributions and draws no plans.",
            ),
            Refused::Document(rejection) => rejection.into(),
            Refused::KeyUsedOtherwise => Self::new(
                ProblemKind::KeyUsedOtherwise,
                "This Idempotency-Key was used before with another body.",
            ),
            Refused::UnderWay => Self::new(
                ProblemKind::UnderWay,
                "Another request with this Idempotency-Key is being carried out.",
            ),
            Refused::ReceiptUnknown => Self {
                is_guess: true,
                ..Self::new(
                    ProblemKind::ReceiptUnknown,
                    "No player of this study holds the receipt in the Authorization header.",
                )
            },
            Refused::InvitationMissing => Self::new(
                ProblemKind::InvitationNeeded,
                "This study takes contributions by invitation, and none was given.",
            ),
            Refused::InvitationUnknown => Self {
                is_guess: true,
                ..Self::new(
                    ProblemKind::InvitationNeeded,
                    "This study has no such invitation, or it was used up or ended.",
                )
            },
            Refused::TooManyPairs => Self::new(ProblemKind::TooManyPairs, sentence(&refused)),
            Refused::ContributionUnknown => Self::new(
                ProblemKind::NotFound,
                "The holder of this receipt has no such contribution.",
            ),
            Refused::AlreadyWithdrawn => {
                Self::new(ProblemKind::AlreadyWithdrawn, sentence(&refused))
            }
            Refused::TooManyVersions => Self::new(ProblemKind::TooManyVersions, sentence(&refused)),
            Refused::PlanUnknown => Self::new(
                ProblemKind::NotFound,
                "No plan with this code was drawn in this study. Compare it with what you wrote down: 12 digits and letters, without I, L, O and U.",
            ),
            Refused::Service(ServiceError::Store(StoreError::Crowded)) => Self::new(
                ProblemKind::Unavailable,
                "So many are sending at the moment that this would take too long. Nothing of it was stored: send it again in half a minute.",
            ),
            Refused::Service(ServiceError::Store(_)) => Self::unavailable(&detail),
            Refused::Service(_) => Self::internal(&detail),
        }
    }
}

impl From<NotChanged> for Problem {
    fn from(not_changed: NotChanged) -> Self {
        match not_changed {
            NotChanged::StudyUnknown => Refused::StudyUnknown.into(),
            NotChanged::Document(rejection) => rejection.into(),
            NotChanged::Service(error) => Refused::from(error).into(),
            NotChanged::ReasonMissing
            | NotChanged::Unchanged
            | NotChanged::OpenedBefore
            | NotChanged::NotOpen => Self::new(ProblemKind::BadRequest, sentence(&not_changed)),
        }
    }
}

impl From<Rejection> for Problem {
    fn from(rejection: Rejection) -> Self {
        let kind = match rejection.kind {
            RejectionKind::Malformed => ProblemKind::Malformed,
            RejectionKind::Invalid => ProblemKind::Invalid,
        };
        let n_faults = u64::try_from(rejection.n_faults).unwrap_or(u64::MAX);
        let listed = if rejection.faults.len() < rejection.n_faults {
            format!(", of which the first {} are listed", rejection.faults.len())
        } else {
            String::new()
        };
        Self {
            is_guess: false,
            kind,
            detail: format!(
                "{} to mend{listed}; nothing was stored.",
                crate::numbers::counted(n_faults, "fault", "faults")
            ),
            faults: rejection.faults,
        }
    }
}

impl From<NotAsked> for Problem {
    fn from(not_asked: NotAsked) -> Self {
        let detail = not_asked.to_string();
        match not_asked {
            NotAsked::Unreadable(rejection) => Self {
                faults: rejection.faults,
                ..Self::new(ProblemKind::InvalidQuery, detail)
            },
            NotAsked::Refused(NotAnswered::TooFewPlayers { .. }) => {
                Self::new(ProblemKind::TooFewPlayers, detail)
            }
            NotAsked::Refused(NotAnswered::Unusable(_)) => Self::internal(&detail),
        }
    }
}

impl Problem {
    /// The database does not take what it is given: the disk is full, say. The same request may
    /// succeed later. That nothing was stored is not promised: what could not be synced may still be
    /// there after a crash.
    fn unavailable(cause: &str) -> Self {
        tracing::error!(cause, "the database refused");
        Self::new(
            ProblemKind::Unavailable,
            "The service cannot store anything at the moment.",
        )
    }

    /// A failure of the service: the log gets the cause, the client does not.
    pub(super) fn internal(cause: &str) -> Self {
        tracing::error!(cause, "request failed");
        Self::new(ProblemKind::Internal, "The service failed.")
    }
}

/// A clause, such as an error is told in, as a sentence.
pub(super) fn sentence(clause: &impl std::fmt::Display) -> String {
    let text = clause.to_string();
    let mut letters = text.chars();
    let first = letters.next().map(|first| first.to_uppercase().to_string());
    format!("{}{}.", first.unwrap_or_default(), letters.as_str())
}

pub(super) async fn not_found(request: HttpRequest) -> HttpResponse {
    Problem::new(ProblemKind::NotFound, "There is nothing at this address.").answer(&request)
}

pub(super) async fn only_read(request: HttpRequest) -> HttpResponse {
    wrong_method(&request, "GET, HEAD")
}

/// What an address takes that pages of other origins may read.
pub(super) const READ_OPENLY: &str = "GET, HEAD, OPTIONS";

pub(super) async fn only_read_openly(request: HttpRequest) -> HttpResponse {
    wrong_method(&request, READ_OPENLY)
}

pub(super) async fn only_put_and_delete(request: HttpRequest) -> HttpResponse {
    wrong_method(&request, "PUT, DELETE")
}

pub(super) async fn only_post(request: HttpRequest) -> HttpResponse {
    wrong_method(&request, "POST")
}

pub(super) async fn read_or_post(request: HttpRequest) -> HttpResponse {
    wrong_method(&request, "GET, HEAD, POST")
}

fn wrong_method(request: &HttpRequest, allowed: &'static str) -> HttpResponse {
    let detail = format!("This address takes {allowed}.");
    let mut answer = Problem::new(ProblemKind::MethodNotAllowed, detail).answer(request);
    answer
        .headers_mut()
        .insert(header::ALLOW, HeaderValue::from_static(allowed));
    answer
}
