use super::*;
use crate::service::Extent;
use actix_web::App;
use actix_web::body::MessageBody;
use actix_web::dev::ServiceResponse;
use actix_web::test::{TestRequest, call_service, init_service, read_body};

/// A file that is kept in gzip format alone.
fn squeezed() -> Ready {
    Ready::written(Extent::Large, |out| {
        (0..20_000).try_for_each(|number| writeln!(out, "{number}"))
    })
}

fn text() -> String {
    (0..20_000).map(|number| format!("{number}\n")).collect()
}

async fn asked(headers: &[(&'static str, &str)]) -> ServiceResponse<impl MessageBody + use<>> {
    let file = squeezed();
    let sends = move |request: HttpRequest| {
        let file = file.clone();
        async move { download(&request, JSON, &file) }
    };
    let app = init_service(App::new().route("/file", reading().to(sends))).await;
    let mut request = TestRequest::get().uri("/file");
    for header in headers {
        request = request.insert_header(*header);
    }
    call_service(&app, request.to_request()).await
}

fn header<'a>(answer: &'a ServiceResponse<impl MessageBody>, name: &str) -> &'a str {
    let value = answer.headers().get(name);
    value.map_or("", |value| value.to_str().unwrap())
}

#[actix_web::test]
async fn a_file_kept_compressed_alone_is_inflated_for_whoever_takes_no_compression() {
    let answer = asked(&[]).await;
    assert_eq!(answer.status(), StatusCode::OK);
    assert_eq!(header(&answer, "content-encoding"), "");
    assert_eq!(header(&answer, "vary"), "accept-encoding");
    assert_eq!(header(&answer, "accept-ranges"), "none");
    let etag = header(&answer, "etag").to_owned();
    assert_eq!(etag, squeezed().etag);
    assert_eq!(read_body(answer).await, text());
    let has = asked(&[("if-none-match", &etag)]).await;
    assert_eq!(has.status(), StatusCode::NOT_MODIFIED);
}

#[actix_web::test]
async fn it_goes_out_as_it_is_kept_to_whoever_takes_gzip() {
    let answer = asked(&[("accept-encoding", "gzip")]).await;
    assert_eq!(header(&answer, "content-encoding"), "gzip");
    assert!(header(&answer, "etag").ends_with("-gzip\""));
    assert_eq!(Some(read_body(answer).await), squeezed().gzip());
}

#[actix_web::test]
async fn whoever_asks_for_a_part_of_it_gets_all_of_it() {
    let answer = asked(&[("range", "bytes=5-9")]).await;
    assert_eq!(answer.status(), StatusCode::OK);
    assert_eq!(header(&answer, "content-range"), "");
    assert_eq!(read_body(answer).await, text());
}
