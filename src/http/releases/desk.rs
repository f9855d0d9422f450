//! The host's page that publishes a release.

use crate::clock;
use crate::http::contributions::blocking;
use crate::http::form::Fields;
use crate::http::host::{desk_page_as, problem_page, read_form, signed_in};
use crate::http::problem::{Problem, sentence};
use crate::pages::host::Desk;
use crate::pages::{Asked, ReleaseDesk, ReleaseStep, desk_release};
use crate::service::{Draft, NotReleased, Refused, Service, SignedIn, Wanted};
use crate::wire::problem::ProblemKind;
use actix_web::http::StatusCode;
use actix_web::{HttpRequest, HttpResponse, web};
use data_encoding::HEXLOWER;

type Rendered = (StatusCode, Result<String, askama::Error>);

/// `GET /host/studies/{study}/release`
pub(super) async fn asked(
    request: HttpRequest,
    service: web::Data<Service>,
    slug: web::Path<String>,
) -> HttpResponse {
    let signed_in = match signed_in(&request, &service).await {
        Ok(signed_in) => signed_in,
        Err(answer) => return answer,
    };
    let shown = blocking(move || {
        let place = Place::of(&service, &slug, &signed_in)?;
        place.ask(&service, StatusCode::OK, &Asked::default(), None)
    });
    answer(&request, shown.await)
}

/// `POST /host/studies/{study}/release`
pub(super) async fn publish(
    request: HttpRequest,
    service: web::Data<Service>,
    slug: web::Path<String>,
    payload: web::Payload,
) -> HttpResponse {
    let signed_in = match signed_in(&request, &service).await {
        Ok(signed_in) => signed_in,
        Err(answer) => return answer,
    };
    let form = match read_form(&request, payload, &signed_in).await {
        Ok(form) => form,
        Err(answer) => return answer,
    };
    let shown = blocking(move || {
        let place = Place::of(&service, &slug, &signed_in)?;
        place.publish(&service, &form)
    });
    answer(&request, shown.await)
}

fn answer(request: &HttpRequest, shown: Result<Rendered, Problem>) -> HttpResponse {
    match shown {
        Ok((status, rendered)) => desk_page_as(request, status, rendered),
        Err(problem) => problem_page(request, &problem),
    }
}

/// Which study's page, in which sign-in.
struct Place {
    slug: String,
    invented: bool,
    form_token: String,
}

impl Place {
    fn of(service: &Service, slug: &str, signed_in: &SignedIn) -> Result<Self, Problem> {
        let public = service.study(slug).ok_or_else(|| {
            Problem::new(
                ProblemKind::NotFound,
                "There is no study of this name whose recruiting was opened.",
            )
        })?;
        Ok(Self {
            slug: slug.to_owned(),
            invented: public.study.label.invented,
            form_token: signed_in.form_token.text().to_owned(),
        })
    }

    fn render(&self, status: StatusCode, step: ReleaseStep<'_>) -> Rendered {
        let at = ReleaseDesk {
            desk: Desk::new(&self.form_token),
            slug: &self.slug,
            invented: self.invented,
        };
        (status, desk_release(at, step))
    }

    /// The page that asks, with what would be published.
    fn ask(
        &self,
        service: &Service,
        status: StatusCode,
        asked: &Asked,
        fault: Option<&str>,
    ) -> Result<Rendered, Problem> {
        let (draft, only_correction) = match self.draft(service) {
            Ok(found) => found,
            Err(NotReleased::Service(error)) => return Err(Refused::from(error).into()),
            Err(why) => {
                let why = sentence(&why);
                return Ok(self.render(status, ReleaseStep::Refused(&why)));
            }
        };
        let step = ReleaseStep::Ask {
            draft: &draft.release,
            findings: &draft.findings,
            only_correction,
            asked,
            fault,
        };
        Ok(self.render(status, step))
    }

    /// What would be published, and whether that can only be a correction.
    fn draft(&self, service: &Service) -> Result<(Draft, bool), NotReleased> {
        let now_ms = clock::now_ms();
        match service.draft_release(&self.slug, &Wanted::default(), now_ms) {
            Err(NotReleased::NothingNew(_)) => {
                // What was wrong is not known yet, and is not shown.
                let correction = Wanted {
                    correction: Some("…"),
                    ..Wanted::default()
                };
                let draft = service.draft_release(&self.slug, &correction, now_ms)?;
                Ok((draft, true))
            }
            drafted => drafted.map(|draft| (draft, false)),
        }
    }

    fn publish(&self, service: &Service, form: &Fields) -> Result<Rendered, Problem> {
        let asked = Asked {
            corrects: form.get("kind") == "correction",
            reason: form.get("reason").to_owned(),
            note: form.get("note").to_owned(),
        };
        let again = |fault: &str| {
            let status = StatusCode::UNPROCESSABLE_ENTITY;
            self.ask(service, status, &asked, Some(fault))
        };
        if form.get("sure") != "yes" {
            return again("Tick the box that says that you know a release cannot be changed.");
        }
        let Ok(number) = form.get("number").parse() else {
            return again("The form is not what this page sends; look at it anew.");
        };
        let wanted = Wanted {
            correction: asked.corrects.then_some(asked.reason.as_str()),
            note: Some(&asked.note),
            number: Some(number),
        };
        match service.release(&self.slug, &wanted, clock::now_ms()) {
            Ok(made) => {
                let step = ReleaseStep::Done {
                    number: made.number,
                    address: &made.address,
                    sha256: &HEXLOWER.encode(&made.sha256),
                };
                Ok(self.render(StatusCode::OK, step))
            }
            Err(NotReleased::Service(error)) => Err(Refused::from(error).into()),
            Err(why) => again(&sentence(&why)),
        }
    }
}
