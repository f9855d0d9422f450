//! Looking at what is held, and deciding.

use super::{desk_page_as, go_to, on_the_pool, problem_page, read_form, signed_in};
use crate::clock;
use crate::findings::labels::ground_label;
use crate::http::problem::{Problem, sentence};
use crate::intake::told::Told;
use crate::numbers::counted;
use crate::pages::host::Desk;
use crate::pages::host::review::{
    self as pages, CaseView, Earlier, FlowLine, Found, Listed, ReviewView, ToldLine, Trouble,
};
use crate::screening::ScreeningFlag;
use crate::service::{Case, Cases, Decision, Refused, Service, SignedIn, Undecided};
use crate::store::SentFlow;
use crate::vocabulary::{State, Verdict};
use actix_web::http::StatusCode;
use actix_web::{HttpRequest, HttpResponse, web};
use uuid::Uuid;

/// `GET /host/studies/{study}/review`
pub(super) async fn list(
    request: HttpRequest,
    service: web::Data<Service>,
    slug: web::Path<String>,
) -> HttpResponse {
    let host = match signed_in(&request, &service).await {
        Ok(host) => host,
        Err(answer) => return answer,
    };
    match cases(&service, &slug).await {
        Ok(cases) => listed(&request, &host, &cases),
        Err(problem) => problem_page(&request, &problem),
    }
}

/// `GET /host/studies/{study}/review/{contribution}`
pub(super) async fn case(
    request: HttpRequest,
    service: web::Data<Service>,
    place: web::Path<(String, String)>,
) -> HttpResponse {
    let host = match signed_in(&request, &service).await {
        Ok(host) => host,
        Err(answer) => return answer,
    };
    shown(&request, &service, &host, &place.into_inner(), None).await
}

/// `POST /host/studies/{study}/review/{contribution}`
pub(super) async fn decide(
    request: HttpRequest,
    service: web::Data<Service>,
    place: web::Path<(String, String)>,
    payload: web::Payload,
) -> HttpResponse {
    let host = match signed_in(&request, &service).await {
        Ok(host) => host,
        Err(answer) => return answer,
    };
    let form = match read_form(&request, payload, &host).await {
        Ok(form) => form,
        Err(answer) => return answer,
    };
    let place = place.into_inner();
    let typed = Typed {
        version: form.get("version").parse().unwrap_or(0),
        decision: form.get("decision").to_owned(),
        note: form.get("note").to_owned(),
    };
    match decided(&service, &place, &typed).await {
        Ok(None) => go_to(&format!("/host/studies/{}/review", place.0)),
        Err(problem) => problem_page(&request, &problem),
        Ok(Some(hindrance)) => {
            let trouble = Trouble {
                words: &hindrance,
                chosen: &typed.decision,
                note: &typed.note,
            };
            shown(&request, &service, &host, &place, Some(trouble)).await
        }
    }
}

/// A decision as it was typed.
#[derive(Clone, Debug)]
struct Typed {
    version: i64,
    decision: String,
    note: String,
}

/// Decides; gives in words what hinders it.
async fn decided(
    service: &web::Data<Service>,
    (slug, contribution): &(String, String),
    typed: &Typed,
) -> Result<Option<String>, Problem> {
    let Some((verdict, ground)) = pages::choice_of(&typed.decision) else {
        let words = "Choose whether it counts, and on what ground.";
        return Ok(Some(words.to_owned()));
    };
    let Ok(contribution) = Uuid::try_parse(contribution) else {
        return Ok(Some(sentence(&Undecided::Unknown)));
    };
    let (service, slug, typed) = (web::Data::clone(service), slug.clone(), typed.clone());
    on_the_pool(move || {
        let decided = service.decide(&Decision {
            study: &slug,
            contribution,
            version: typed.version,
            verdict,
            ground,
            note: &typed.note,
            now_ms: clock::now_ms(),
        });
        match decided {
            Ok(()) => Ok(None),
            Err(Undecided::Service(error)) => Err(error),
            Err(hindrance) => Ok(Some(sentence(&hindrance))),
        }
    })
    .await
}

async fn cases(service: &web::Data<Service>, slug: &str) -> Result<Cases, Problem> {
    let (service, slug) = (web::Data::clone(service), slug.to_owned());
    let cases = on_the_pool(move || service.cases(&slug, clock::now_ms())).await?;
    cases.ok_or_else(|| Refused::StudyUnknown.into())
}

fn listed(request: &HttpRequest, host: &SignedIn, cases: &Cases) -> HttpResponse {
    let list = |cases: &[Case]| cases.iter().map(in_list).collect::<Vec<_>>();
    let view = ReviewView {
        desk: Desk::new(host.form_token.text()),
        study: &cases.public.study.label,
        waiting: &list(&cases.waiting),
        decided: &list(&cases.decided),
        flow: &flow_lines(&cases.flow),
    };
    desk_page_as(request, StatusCode::OK, pages::review(&view))
}

/// The page of one contribution; the list's problem page when there is none such.
async fn shown(
    request: &HttpRequest,
    service: &web::Data<Service>,
    host: &SignedIn,
    (slug, contribution): &(String, String),
    trouble: Option<Trouble<'_>>,
) -> HttpResponse {
    let cases = match cases(service, slug).await {
        Ok(cases) => cases,
        Err(problem) => return problem_page(request, &problem),
    };
    let mut all = cases.waiting.iter().chain(&cases.decided);
    let found = all.find(|case| case.stored.sent.uuid.to_string() == *contribution);
    let Some((case, newest)) = found.and_then(|case| Some((case, case.newest.as_ref()?))) else {
        return problem_page(request, &Refused::ContributionUnknown.into());
    };
    let status = match trouble {
        Some(_) => StatusCode::UNPROCESSABLE_ENTITY,
        None => StatusCode::OK,
    };
    let view = CaseView {
        desk: Desk::new(host.form_token.text()),
        study: &cases.public.study.label,
        listed: &in_list(case),
        version: newest.number,
        pair: &newest.pair,
        found: &newest.flags.iter().map(found_in).collect::<Vec<_>>(),
        told: &told_lines(&newest.told),
        note: newest
            .told
            .iter()
            .find(|told| is_note(told))
            .map(|told| told.value.as_str()),
        earlier: &earlier(case),
        trouble,
    };
    desk_page_as(request, status, pages::case(&view))
}

fn in_list(case: &Case) -> Listed {
    let sent = &case.stored.sent;
    let came = sent.versions.first();
    Listed {
        contribution: sent.uuid.to_string(),
        came: came.map_or_else(String::new, |first| clock::date(first.received_at_ms)),
        standing: standing(case),
        why: match case.stored.sent.state {
            State::Held => holding(case).next().map(|flag| flag.sentence.clone()),
            _ => None,
        },
    }
}

/// What a contribution is held for.
fn holding(case: &Case) -> impl Iterator<Item = &ScreeningFlag> {
    let flags = case.newest.iter().flat_map(|newest| &newest.flags);
    flags.filter(|flag| flag.holds)
}

/// How a contribution stands, in words.
fn standing(case: &Case) -> String {
    let last = case.stored.decisions.last();
    let ground = last.map_or("", |decision| ground_label(decision.ground));
    match (
        case.stored.sent.state,
        last.map(|decision| decision.verdict),
    ) {
        (State::Withdrawn, _) => "withdrawn by its sender.".to_owned(),
        (State::Held, None) => {
            let n = u64::try_from(holding(case).count()).unwrap_or(u64::MAX);
            format!("held for {}.", counted(n, "reason", "reasons"))
        }
        (State::Held, Some(_)) => "mended since it was decided, and held again.".to_owned(),
        (_, Some(Verdict::Decline)) => format!("left out: {ground}."),
        (_, Some(Verdict::Accept)) => format!("counted: {ground}."),
        (_, None) => "counted.".to_owned(),
    }
}

fn found_in(flag: &ScreeningFlag) -> Found {
    Found {
        sentence: flag.sentence.clone(),
        figure: flag.figure.clone(),
        holds: flag.holds,
    }
}

fn is_note(told: &Told) -> bool {
    told.place == ["note"]
}

fn told_lines(told: &[Told]) -> Vec<ToldLine> {
    let lines = told.iter().filter(|told| !is_note(told));
    lines
        .map(|told| ToldLine {
            label: told.place.join(", ").replace('_', " "),
            value: told.value.replace('_', " "),
        })
        .collect()
}

fn earlier(case: &Case) -> Vec<Earlier> {
    let decisions = case.stored.decisions.iter();
    decisions
        .map(|decision| Earlier {
            date: clock::date(decision.decided_at_ms),
            verdict: decision.verdict,
            ground: decision.ground,
            note: decision.note.clone(),
        })
        .collect()
}

/// What became of everything that was sent, line by line.
fn flow_lines(flow: &SentFlow) -> Vec<FlowLine> {
    let line = |label: &str, n: usize| FlowLine {
        label: label.to_owned(),
        n,
    };
    let declined = flow.declined.iter();
    [
        line("Sent", flow.sent),
        line("Counted in the newest batch", flow.counted),
        line("Waiting for you or for the next batch", flow.held()),
        line("Withdrawn by their senders", flow.withdrawn),
    ]
    .into_iter()
    .chain(declined.map(|(ground, n)| line(&format!("Left out: {}", ground_label(*ground)), *n)))
    .collect()
}
