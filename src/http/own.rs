//! The page that tells a player what their own sessions say: after sending, and whenever the receipt
//! is opened again.

use super::contributions::counts;
use super::form;
use super::problem::Problem;
use crate::contribution::Contribution;
use crate::effects::PairEffects;
use crate::findings::own::{Played, own};
use crate::pages::{self, AnswerView, Station};
use crate::screening::ScreeningFlag;
use crate::service::{Accepted, Own, OwnSent, Public};
use actix_web::http::StatusCode;
use actix_web::{HttpRequest, HttpResponse};

/// The answer to a form whose sessions were taken. `token` is the one-time token that it carried.
pub(super) fn sent(
    request: &HttpRequest,
    accepted: &Accepted,
    token: Option<&str>,
) -> HttpResponse {
    let shown = Shown {
        public: &accepted.public,
        here: Station::Send,
        sent: &accepted.sent,
        pair: &accepted.pair,
        planned: accepted.planned,
        flags: &accepted.flags,
        counts: counts(accepted),
        receipt: (!accepted.held_receipt).then(|| accepted.receipt.reveal()),
        holder: accepted.receipt.reveal(),
        token: token.map(str::to_owned),
    };
    answer(request, StatusCode::CREATED, shown)
}

/// The same again for whoever opened the receipt; `None` once what was sent was erased.
pub(super) fn seen(request: &HttpRequest, opened: &Own, own: &OwnSent) -> Option<HttpResponse> {
    let (sent, pair) = own.newest.as_ref()?;
    let shown = Shown {
        public: &opened.public,
        here: Station::Receipt,
        sent,
        pair,
        planned: own.planned,
        flags: &own.flags,
        counts: own.standing(),
        receipt: None,
        holder: opened.receipt.reveal(),
        token: None,
    };
    Some(answer(request, StatusCode::OK, shown))
}

struct Shown<'a> {
    public: &'a Public,
    here: Station,
    sent: &'a Contribution,
    pair: &'a PairEffects,
    planned: bool,
    flags: &'a [ScreeningFlag],
    counts: String,
    receipt: Option<String>,
    holder: String,
    token: Option<String>,
}

fn answer(request: &HttpRequest, status: StatusCode, shown: Shown<'_>) -> HttpResponse {
    let public = shown.public;
    let played = Played::of(shown.sent, shown.planned);
    match own(shown.pair, played, &public.publication, &public.findings) {
        Ok(own) => {
            let page = pages::answer(&AnswerView {
                study: &public.study,
                here: shown.here,
                answer: &own,
                counts: shown.counts,
                flags: shown
                    .flags
                    .iter()
                    .map(|flag| flag.sentence.clone())
                    .collect(),
                receipt: shown.receipt,
                holder: shown.holder,
                token: shown.token,
            });
            form::page(request, status, page)
        }
        Err(reason) => Problem::internal(&reason.to_string()).answer(request),
    }
}
