//! Writing a study: a new one, a draft, or a further version of one that was opened.

use super::{Answer, desk_of, either, life, on_the_pool};
use crate::clock;
use crate::demo;
use crate::form::study::{StudyEntries, StudyFault};
use crate::http::host::{
    HostForm, desk_page, desk_page_as, go_to, problem_page, read_form, signed_in,
};
use crate::http::problem::Problem;
use crate::intake;
use crate::intake::entries::{at_study_fields, new_study, study_document, study_entries};
use crate::pages::desk::{FormView, REASON, Writing, preview, study_form};
use crate::pages::host::Desk;
use crate::service::{Life, NotChanged, Refused, Service, ServiceError, SignedIn};
use crate::store::StoreError;
use crate::vocabulary::StudyState;
use actix_web::http::StatusCode;
use actix_web::{HttpRequest, HttpResponse, web};
use serde_json::Value;

/// `GET /host/new`
pub(super) async fn begin(request: HttpRequest, service: web::Data<Service>) -> HttpResponse {
    let answer = async {
        let signed_in = signed_in(&request, &service).await?;
        let demonstration = serde_json::from_str(demo::STUDY).unwrap_or_default();
        let written = Written::new(&signed_in, Writing::New, new_study(&demonstration));
        Ok(desk_page(&request, study_form(&written.view(&[]))))
    };
    either(answer.await)
}

/// `GET /host/studies/{study}/protocol`
pub(super) async fn go_on(
    request: HttpRequest,
    service: web::Data<Service>,
    slug: web::Path<String>,
) -> HttpResponse {
    let answer = async {
        let signed_in = signed_in(&request, &service).await?;
        let life = life(&request, &service, &slug).await?;
        let document: Value = serde_json::from_str(&life.newest.text).unwrap_or_default();
        let written = Written::new(&signed_in, writing(&slug, &life), study_entries(&document));
        Ok(desk_page(&request, study_form(&written.view(&[]))))
    };
    either(answer.await)
}

/// `POST /host/new`
pub(super) async fn add(
    request: HttpRequest,
    service: web::Data<Service>,
    payload: web::Payload,
) -> HttpResponse {
    let answer = async {
        let signed_in = signed_in(&request, &service).await?;
        let form = read_form(&request, payload, &signed_in).await?;
        let written = Written::read(&signed_in, Writing::New, &form);
        taken(&request, &service, &written, form.get("do")).await
    };
    either(answer.await)
}

/// `POST /host/studies/{study}/protocol`
pub(super) async fn change(
    request: HttpRequest,
    service: web::Data<Service>,
    slug: web::Path<String>,
    payload: web::Payload,
) -> HttpResponse {
    let answer = async {
        let signed_in = signed_in(&request, &service).await?;
        let form = read_form(&request, payload, &signed_in).await?;
        let life = life(&request, &service, &slug).await?;
        let written = Written::read(&signed_in, writing(&slug, &life), &form);
        taken(&request, &service, &written, form.get("do")).await
    };
    either(answer.await)
}

/// What is written at a study that stands there.
fn writing<'a>(slug: &'a str, life: &Life) -> Writing<'a> {
    if life.state == StudyState::Draft {
        Writing::Draft(slug)
    } else {
        Writing::Version(slug)
    }
}

/// What was typed.
struct Written<'a> {
    signed_in: &'a SignedIn,
    writing: Writing<'a>,
    entries: StudyEntries,
    reason: String,
}

impl<'a> Written<'a> {
    fn new(signed_in: &'a SignedIn, writing: Writing<'a>, entries: StudyEntries) -> Self {
        Self {
            signed_in,
            writing,
            entries,
            reason: String::new(),
        }
    }

    fn read(signed_in: &'a SignedIn, writing: Writing<'a>, form: &HostForm) -> Self {
        Self {
            reason: form.get(REASON).to_owned(),
            ..Self::new(signed_in, writing, StudyEntries::of(form.pairs()))
        }
    }

    fn view<'b>(&'b self, faults: &'b [StudyFault]) -> FormView<'b> {
        FormView {
            desk: Desk::new(self.signed_in.form_token.text()),
            writing: self.writing,
            entries: &self.entries,
            reason: &self.reason,
            faults,
        }
    }

    /// The form again, with what is to be mended.
    fn to_mend(&self, request: &HttpRequest, faults: &[StudyFault]) -> HttpResponse {
        let page = study_form(&self.view(faults));
        desk_page_as(request, StatusCode::UNPROCESSABLE_ENTITY, page)
    }
}

/// Does what the button that was pressed asks for.
async fn taken(
    request: &HttpRequest,
    service: &web::Data<Service>,
    written: &Written<'_>,
    button: &str,
) -> Answer {
    let document = study_document(&written.entries).to_string().into_bytes();
    match button {
        "edit" => Ok(desk_page(request, study_form(&written.view(&[])))),
        "preview" => Ok(match intake::study(&document) {
            Ok(study) => desk_page(request, preview(&written.view(&[]), &study)),
            Err(rejection) => {
                let faults = at_study_fields(&written.entries, &rejection);
                written.to_mend(request, &faults)
            }
        }),
        _ => match saved(request, service, written, document).await? {
            Ok(slug) if button == "open" => Ok(go_to(&format!("{}/open", desk_of(&slug)))),
            Ok(slug) => Ok(go_to(&desk_of(&slug))),
            Err(not_changed) => Ok(not_saved(request, written, not_changed)),
        },
    }
}

/// Saves what was typed and gives the study's short name. A draft that says nothing new is saved
/// already.
async fn saved(
    request: &HttpRequest,
    service: &web::Data<Service>,
    written: &Written<'_>,
    document: Vec<u8>,
) -> Result<Result<String, NotChanged>, HttpResponse> {
    let reason = written.reason.clone();
    let (slug, is_draft) = match written.writing {
        Writing::New => (None, true),
        Writing::Draft(slug) => (Some(slug.to_owned()), true),
        Writing::Version(slug) => (Some(slug.to_owned()), false),
    };
    on_the_pool(request, service, move |service| {
        let now_ms = clock::now_ms();
        let Some(slug) = slug else {
            return Ok(match service.add_study(&document, now_ms) {
                Ok(study) => Ok(study.label.slug.clone()),
                Err(Refused::Document(rejection)) => Err(rejection.into()),
                Err(Refused::Service(error)) => Err(error.into()),
                Err(_) => Err(NotChanged::StudyUnknown),
            });
        };
        match service.amend(&slug, &document, Some(&reason), now_ms) {
            Ok(_) => Ok(Ok(slug)),
            Err(NotChanged::Unchanged) if is_draft => Ok(Ok(slug)),
            Err(other) => Ok(Err(other)),
        }
    })
    .await
}

/// The form again where something is to be mended in it; else the page of the failure.
fn not_saved(
    request: &HttpRequest,
    written: &Written<'_>,
    not_changed: NotChanged,
) -> HttpResponse {
    let fault = |field: Option<&str>, sentence: String| {
        vec![StudyFault {
            field: field.map(str::to_owned),
            sentence,
        }]
    };
    let faults = match not_changed {
        NotChanged::Document(rejection) => at_study_fields(&written.entries, &rejection),
        NotChanged::Service(ServiceError::Store(StoreError::StudyExists(name))) => fault(
            Some("study"),
            format!("There is already a study named `{name}`; choose another short name."),
        ),
        NotChanged::ReasonMissing => fault(
            Some(REASON),
            "Say why in 10 to 500 characters: contributors and readers are shown it.".to_owned(),
        ),
        NotChanged::Unchanged => fault(
            None,
            "Nothing is changed: this is what the newest version says.".to_owned(),
        ),
        other => return problem_page(request, &Problem::from(other)),
    };
    written.to_mend(request, &faults)
}
