//! A form with a file (`multipart/form-data`, RFC 7578), of bounded size and within bounded time.

use crate::http::body::{only, uncoded};
use crate::http::problem::Problem;
use crate::protocol::limits;
use crate::wire::problem::ProblemKind;
use actix_web::HttpRequest;
use actix_web::rt::time::timeout;
use actix_web::web::{self, Bytes, BytesMut};
use futures_util::{StreamExt, stream};
use multer::Multipart;
use std::collections::BTreeMap;
use std::convert::Infallible;
use std::time::Duration;

/// Room for everything of a form beside its file: names, boundaries and short answers.
const FORM_BYTES: usize = limits::BODY_BYTES + 16 * 1024;

/// So much of a body that is too large is still taken and thrown away: a browser shows an answer
/// only once it has sent everything. A picture chosen by mistake is below it.
const DRAINED_BYTES: usize = 16 * 1024 * 1024;

/// Most fields of a form; the pages have a dozen.
const MOST_FIELDS: usize = 40;

/// A file of a form.
pub(super) struct FormFile {
    pub(super) name: String,
    pub(super) bytes: Bytes,
}

/// The fields of a form by name.
pub(super) struct Form {
    fields: BTreeMap<String, String>,
    pub(super) file: Option<FormFile>,
}

impl Form {
    /// A field without the spaces around it; empty when it is not there.
    pub(super) fn text(&self, name: &str) -> &str {
        self.fields.get(name).map_or("", |text| text.trim())
    }

    /// Whether a box is ticked.
    pub(super) fn has(&self, name: &str) -> bool {
        self.fields.contains_key(name)
    }
}

/// Reads the form of a request.
///
/// # Errors
/// When it is no such form, too large or too slow.
pub(super) async fn read(
    request: &HttpRequest,
    payload: web::Payload,
    within: Duration,
) -> Result<Form, Problem> {
    uncoded(request, ProblemKind::NotForm)?;
    let declared = only(request, "content-type")?.unwrap_or_default();
    let boundary = multer::parse_boundary(declared).map_err(|_| {
        Problem::new(
            ProblemKind::BadRequest,
            "This is not the form of the page; choose a file here and send it.",
        )
    })?;
    let body = timeout(within, collect(payload)).await.map_err(|_| {
        Problem::new(
            ProblemKind::TooSlow,
            "The file did not arrive within 30 seconds; nothing was stored.",
        )
    })??;
    fields(body, boundary).await
}

async fn fields(body: Bytes, boundary: String) -> Result<Form, Problem> {
    let body = stream::once(async { Ok::<Bytes, Infallible>(body) });
    let mut parts = Multipart::new(body, boundary);
    let mut form = Form {
        fields: BTreeMap::new(),
        file: None,
    };
    for _ in 0..MOST_FIELDS {
        let Some(part) = parts.next_field().await.map_err(|_| broken())? else {
            return Ok(form);
        };
        let name = part.name().unwrap_or_default().to_owned();
        let file_name = part.file_name().map(str::to_owned);
        let bytes = part.bytes().await.map_err(|_| broken())?;
        if limits::BODY_BYTES < bytes.len() {
            return Err(too_large());
        }
        match file_name {
            Some(file_name) if name == "file" => {
                form.file = Some(FormFile {
                    name: file_name,
                    bytes,
                });
            }
            _ => {
                let text = String::from_utf8(bytes.to_vec()).map_err(|_| broken())?;
                form.fields.insert(name, text);
            }
        }
    }
    Err(broken())
}

fn broken() -> Problem {
    Problem::new(
        ProblemKind::BadRequest,
        "The form did not arrive whole; send it again.",
    )
}

fn too_large() -> Problem {
    Problem::new(
        ProblemKind::TooLarge,
        format!(
            "The file is larger than {} KiB; nothing was stored. Send fewer sessions at a time.",
            limits::BODY_BYTES / 1024
        ),
    )
}

async fn collect(mut payload: web::Payload) -> Result<Bytes, Problem> {
    let mut body = BytesMut::new();
    let mut n_bytes = 0;
    while let Some(chunk) = payload.next().await {
        let chunk = chunk.map_err(|_| broken())?;
        n_bytes += chunk.len();
        if n_bytes <= FORM_BYTES {
            body.extend_from_slice(&chunk);
        } else if DRAINED_BYTES < n_bytes {
            break;
        }
    }
    if FORM_BYTES < n_bytes {
        return Err(too_large());
    }
    Ok(body.freeze())
}
