//! A file instead of typing: what was read is shown, and stored only when it is sent from there.

mod form;
mod shown;
mod words;

use super::body;
use super::contributions::blocking;
use super::documents::{self, ready};
use super::form as page;
use super::limit;
use super::own;
use super::problem::{Problem, status};
use super::send::{PLAN_UNKNOWN, TRAP, TRAP_FILLED};
use crate::clock;
use crate::intake::Rejection;
use crate::intake::shots;
use crate::intake::uploaded::{self, Uploaded, Written};
use crate::numbers::counted;
use crate::pages::Station;
use crate::pages::upload::{Answers, Carried, Trouble, choose, preview};
use crate::plan;
use crate::protocol::Study;
use crate::service::{Accepted, Correction, Incoming, Public, Ready, Refused, Service};
use crate::vocabulary::{ConsentScope, CorrectionReason};
use crate::wire::problem::ProblemKind;
use actix_web::http::{ConnectionType, StatusCode, header};
use actix_web::web::{self, Bytes};
use actix_web::{HttpRequest, HttpResponse};
use form::Form;
use serde_json::Value;
use std::sync::Arc;
use uuid::Uuid;
use words::{columns, in_words, spot};

/// `GET /studies/{study}/upload`
pub(super) async fn page(
    request: HttpRequest,
    service: web::Data<Service>,
    slug: web::Path<String>,
) -> HttpResponse {
    match service.study(&slug) {
        Some(public) if !public.is_recruiting() => {
            page::closed(&request, StatusCode::OK, &public, Station::Send)
        }
        Some(public) => documents::page(
            &request,
            choose(&public.study, &columns(), None, &Carried::default()),
        ),
        None => Problem::from(Refused::StudyUnknown).answer(&request),
    }
}

/// `GET /studies/{study}/shots-template.csv`
pub(super) async fn template(
    request: HttpRequest,
    service: web::Data<Service>,
    slug: web::Path<String>,
) -> HttpResponse {
    let Some(public) = service.study(&slug) else {
        return Problem::from(Refused::StudyUnknown).answer(&request);
    };
    let template = Ready::new(shots::template(&public.study));
    let mut answer = ready(&request, "text/csv; charset=utf-8", &template);
    answer.headers_mut().insert(
        header::CONTENT_DISPOSITION,
        header::HeaderValue::from_static("attachment; filename=\"shots.csv\""),
    );
    answer
}

/// `POST /studies/{study}/upload`
pub(super) async fn take(
    request: HttpRequest,
    service: web::Data<Service>,
    slug: web::Path<String>,
    payload: web::Payload,
) -> HttpResponse {
    let Some(public) = service.study(&slug) else {
        return Problem::from(Refused::StudyUnknown).answer(&request);
    };
    let form = match form::read(&request, payload, body::WITHIN).await {
        Ok(form) => form,
        Err(problem) => {
            let answer = troubled(&problem, &public.study, &Carried::default());
            return answer.respond(&request);
        }
    };
    let asked = Asked {
        request,
        service,
        public,
        form,
    };
    match asked.form.text("do") {
        "send" => asked.send().await,
        "choose" => asked.choosing(None, StatusCode::OK),
        _ => asked.show().await,
    }
}

/// A page with its status.
struct Page {
    status: StatusCode,
    rendered: Result<String, askama::Error>,
    closes: bool,
}

impl Page {
    fn respond(self, request: &HttpRequest) -> HttpResponse {
        let mut answer = page::page(request, self.status, self.rendered);
        if self.closes {
            answer.head_mut().set_connection_type(ConnectionType::Close);
        }
        answer
    }
}

/// The page to choose a file on, with a problem in words.
fn troubled(problem: &Problem, study: &Study, carried: &Carried<'_>) -> Page {
    let trouble = Trouble {
        heading: problem.detail.clone(),
        spots: Vec::new(),
    };
    Page {
        status: status(problem.kind),
        rendered: choose(study, &columns(), Some(&trouble), carried),
        // What is left of the body cannot be read as another request.
        closes: matches!(
            problem.kind,
            ProblemKind::TooLarge | ProblemKind::TooSlow | ProblemKind::NotForm
        ),
    }
}

/// One form that was sent, with what it takes to answer it.
struct Asked {
    request: HttpRequest,
    service: web::Data<Service>,
    public: Arc<Public>,
    form: Form,
}

/// What sending is for.
enum Purpose {
    /// A pair of its own, by a new player or the holder of a receipt.
    Contribution { receipt: Option<String> },
    /// In place of what was sent before.
    Correction {
        receipt: String,
        contribution: Uuid,
        reason: CorrectionReason,
    },
}

impl Asked {
    fn study(&self) -> &Study {
        &self.public.study
    }

    fn carried(&self) -> Carried<'_> {
        Carried {
            receipt: self.form.text("receipt"),
            correcting: self.form.text("correcting"),
            invitation: (self.service.needs_invitation(&self.study().label.slug)
                && self.form.text("correcting").is_empty())
            .then(|| self.form.text("invitation")),
            trap: self.form.text(TRAP),
        }
    }

    /// What sending is for; `None` when a correction does not say why, or of what.
    fn purpose(&self) -> Option<Purpose> {
        let carried = self.carried();
        let receipt = carried.receipt.to_owned();
        if carried.correcting.is_empty() {
            let receipt = (!receipt.is_empty()).then_some(receipt);
            return Some(Purpose::Contribution { receipt });
        }
        Some(Purpose::Correction {
            receipt,
            contribution: Uuid::try_parse(carried.correcting).ok()?,
            reason: CorrectionReason::from_code(self.form.text("reason"))?,
        })
    }

    fn choosing(&self, trouble: Option<&Trouble>, status: StatusCode) -> HttpResponse {
        let page = Page {
            status,
            rendered: choose(self.study(), &columns(), trouble, &self.carried()),
            closes: false,
        };
        page.respond(&self.request)
    }

    /// Shows what was read of a file. Nothing is stored.
    async fn show(&self) -> HttpResponse {
        let file = self.form.file.as_ref();
        let Some(file) = file.filter(|file| !file.bytes.is_empty()) else {
            let trouble = Trouble {
                heading: "Choose a file first; this one is empty or missing.".to_owned(),
                spots: Vec::new(),
            };
            return self.choosing(Some(&trouble), StatusCode::UNPROCESSABLE_ENTITY);
        };
        let written = Written::of(&file.bytes, &file.name);
        match self.read(file.bytes.clone(), written).await {
            Ok(Ok(uploaded)) => {
                let answers = Answers::of(&uploaded.admitted.contribution);
                self.preview(&uploaded, &answers, &[], StatusCode::OK)
            }
            Ok(Err(rejection)) => self.refused(&rejection),
            Err(problem) => problem.answer(&self.request),
        }
    }

    /// Reads a file off the threads that answer everybody else: a bad one takes a while.
    async fn read(
        &self,
        bytes: Bytes,
        written: Written,
    ) -> Result<Result<Uploaded, Rejection>, Problem> {
        let public = Arc::clone(&self.public);
        blocking(move || Ok(uploaded::read(&bytes, written, &public.study))).await
    }

    fn refused(&self, rejection: &Rejection) -> HttpResponse {
        let n_faults = u64::try_from(rejection.n_faults).unwrap_or(u64::MAX);
        let listed = if rejection.faults.len() < rejection.n_faults {
            format!(" The first {} are listed.", rejection.faults.len())
        } else {
            String::new()
        };
        let trouble = Trouble {
            heading: format!(
                "{} to mend in the file; nothing was stored.{listed}",
                counted(n_faults, "fault", "faults")
            ),
            spots: rejection.faults.iter().map(spot).collect(),
        };
        self.choosing(Some(&trouble), StatusCode::UNPROCESSABLE_ENTITY)
    }

    fn preview(
        &self,
        uploaded: &Uploaded,
        answers: &Answers,
        wrong: &[String],
        status: StatusCode,
    ) -> HttpResponse {
        let shown = shown::read(uploaded);
        let document = uploaded.document.to_string();
        let page = Page {
            status,
            rendered: preview(
                self.study(),
                &shown,
                &document,
                &self.token(),
                &self.carried(),
                answers,
                wrong,
            ),
            closes: false,
        };
        page.respond(&self.request)
    }

    /// The one-time token: what was sent already keeps its own, so that it stays sent once.
    fn token(&self) -> String {
        page::token(self.form.text("token"))
    }

    /// Stores what the preview showed, with the consent that was ticked on it.
    async fn send(&self) -> HttpResponse {
        let document = Bytes::copy_from_slice(self.form.text("document").as_bytes());
        let uploaded = match self.read(document, Written::Json).await {
            Ok(Ok(uploaded)) => uploaded,
            Ok(Err(rejection)) => return self.refused(&rejection),
            Err(problem) => return problem.answer(&self.request),
        };
        let answers = self.answers();
        let again = |wrong: Vec<String>, status| self.preview(&uploaded, &answers, &wrong, status);
        let (document, mut wrong) = self.completed(&uploaded.document, &answers);
        match self.plan_unknown(&answers).await {
            Ok(unknown) => wrong.extend(unknown),
            Err(problem) => return again(vec![in_words(&problem)], status(problem.kind)),
        }
        if !wrong.is_empty() {
            return again(wrong, StatusCode::UNPROCESSABLE_ENTITY);
        }
        let Some(purpose) = self.purpose() else {
            let wrong = vec!["Say why you correct it.".to_owned()];
            return again(wrong, StatusCode::UNPROCESSABLE_ENTITY);
        };
        let submitted = self.submit(document, purpose).await;
        match submitted {
            Ok(accepted) => own::sent(&self.request, &accepted, Some(&self.token())),
            Err(problem) => {
                limit::guessed(&self.request, &problem);
                again(vec![in_words(&problem)], status(problem.kind))
            }
        }
    }

    fn answers(&self) -> Answers {
        Answers {
            pooling: self.form.has("consent_pooling"),
            rows: self.form.has("consent_rows"),
            adult: self.form.has("adult"),
            plan_code: plan::as_typed(self.form.text("plan_code")),
            itn: self.form.text("itn").parse().ok(),
        }
    }

    /// The document with everything that was answered on the page, and what is wrong with that.
    fn completed(&self, document: &Value, answers: &Answers) -> (Value, Vec<String>) {
        let study = self.study();
        let mut document = document.clone();
        let plan_code = answers.plan_code.as_str();
        uploaded::set_plan_code(&mut document, (!plan_code.is_empty()).then_some(plan_code));
        uploaded::set_itn(&mut document, answers.itn);
        let scope = if answers.rows {
            ConsentScope::PoolingAndRows
        } else {
            ConsentScope::Pooling
        };
        let document = uploaded::with_consent(&document, study, scope, answers.adult);
        let mut wrong = Vec::new();
        if !self.carried().trap.is_empty() {
            wrong.push(TRAP_FILLED.to_owned());
        }
        if !answers.pooling {
            wrong.push("Tick that your figures may be counted, or nothing can be sent.".to_owned());
        }
        if Uuid::try_parse(self.form.text("token")).is_err() {
            wrong.push("The page came back incomplete; press Send once more.".to_owned());
        }
        if let Err(rejection) = crate::intake::contribution(document.to_string().as_bytes(), study)
        {
            wrong.extend(rejection.faults.iter().map(|fault| {
                if fault.pointer == "/plan_code" {
                    "The plan code is 12 digits and letters without I, L, O and U; mend it or leave it empty.".to_owned()
                } else {
                    fault.sentence.clone()
                }
            }));
        }
        (document, wrong)
    }

    /// What is said of a plan code that nobody drew; nothing of one that is no code at all.
    async fn plan_unknown(&self, answers: &Answers) -> Result<Option<String>, Problem> {
        let code = answers.plan_code.clone();
        if plan::Code::parse(&code).is_none() || !self.carried().correcting.is_empty() {
            return Ok(None);
        }
        let service = web::Data::clone(&self.service);
        let study = self.study().label.slug.clone();
        let known =
            blocking(move || Ok(service.knows_plan(&study, &code).map_err(Refused::from)?));
        Ok((!known.await?).then(|| PLAN_UNKNOWN.to_owned()))
    }

    async fn submit(&self, document: Value, purpose: Purpose) -> Result<Accepted, Problem> {
        let study = self.study().label.slug.clone();
        let token = self.token();
        let invitation = self.form.text("invitation").to_owned();
        let service = web::Data::clone(&self.service);
        blocking(move || {
            let document = document.to_string();
            let now_ms = clock::now_ms();
            Ok(match purpose {
                Purpose::Contribution { receipt } => service.submit_invited(
                    &Incoming {
                        study: &study,
                        document: document.as_bytes(),
                        request_key: Some(&token),
                        receipt: receipt.as_deref(),
                        now_ms,
                    },
                    Some(&invitation),
                )?,
                Purpose::Correction {
                    receipt,
                    contribution,
                    reason,
                } => service.mend(&Correction {
                    study: &study,
                    receipt: &receipt,
                    contribution,
                    reason,
                    document: document.as_bytes(),
                    now_ms,
                })?,
            })
        })
        .await
    }
}
