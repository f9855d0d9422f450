//! The description held against the routes of the program: nothing is told that is not there, and
//! what is not told is a page for people.

use super::super::limit::Kind;
use super::super::{Front, Limit, every_route};
use super::document;
use crate::service::Service;
use actix_web::dev::ServiceResponse;
use actix_web::http::{Method, header};
use actix_web::test::{TestRequest, call_service, init_service};
use actix_web::{App, HttpRequest, HttpResponse, web};
use serde_json::Value;
use std::collections::{BTreeMap, BTreeSet};

/// Pages for people, and what only browsers that show them ask for. The host's desk is theirs alone.
const FOR_PEOPLE: &[(&str, &str)] = &[
    ("/", "the list of studies as a page"),
    ("/api", "the page made from the description"),
    ("/problems", "what an error means, as a page"),
    (
        "/.well-known/security.txt",
        "whom to tell of a hole in the service",
    ),
    ("/style.css", "part of every page"),
    ("/icon.svg", "part of every page"),
    ("/script/{file}", "part of pages with forms"),
    ("/worker.js", "part of pages with forms"),
    ("/studies/{study}", "the results as a page"),
    ("/studies/{study}/pairs", "a list as a page"),
    ("/studies/{study}/protocol", "the protocol as a page"),
    ("/studies/{study}/take-part", "how to play, as a page"),
    ("/studies/{study}/plan", "a page with a form"),
    ("/studies/{study}/send", "a page with a form"),
    (
        "/studies/{study}/send/check",
        "what the script of that form asks",
    ),
    ("/studies/{study}/upload", "a page with a form"),
    ("/studies/{study}/receipt", "a page with a form"),
    ("/studies/{study}/releases", "a list as a page"),
    ("/studies/{study}/releases/{number}", "a release as a page"),
    (
        "/studies/{study}/releases/{number}/pairs",
        "a list as a page",
    ),
];

/// The desk: pages with forms for the host.
const DESK: &str = "/host";

/// Every path that the program has a route for, without the forms that parts of it must have.
async fn paths_of_the_program() -> BTreeSet<String> {
    let tell = |request: HttpRequest| async move {
        HttpResponse::Ok().body(format!("{:?}", request.resource_map()))
    };
    let app = App::new()
        .configure(every_route)
        .default_service(web::to(tell));
    let app = init_service(app).await;
    let told = call_service(&app, TestRequest::get().uri("/none").to_request()).await;
    let told = actix_web::test::read_body(told).await;
    let told = String::from_utf8(told.to_vec()).unwrap();
    let patterns = told.split("Single(\"").skip(1);
    let patterns = patterns.filter_map(|rest| rest.split('"').next());
    let paths: BTreeSet<String> = patterns
        .filter(|pattern| pattern.starts_with('/'))
        .map(without_forms)
        .collect();
    assert!(40 < paths.len(), "{told}");
    paths
}

fn without_forms(pattern: &str) -> String {
    let mut parts = pattern.split('{');
    let mut path = parts.next().unwrap().to_owned();
    for part in parts {
        let (inside, rest) = part.rsplit_once('}').unwrap();
        let name = inside.split(':').next().unwrap();
        path = format!("{path}{{{name}}}{rest}");
    }
    path
}

/// The documented methods by path.
fn documented() -> BTreeMap<String, BTreeSet<String>> {
    let document = document();
    let paths = document["paths"].as_object().unwrap();
    let methods = |operations: &Value| {
        let names = operations.as_object().unwrap().keys();
        names.map(|name| name.to_uppercase()).collect()
    };
    paths
        .iter()
        .map(|(path, operations)| (path.clone(), methods(operations)))
        .collect()
}

#[actix_web::test]
async fn every_route_is_documented_or_a_page_for_people() {
    let documented = documented();
    let mut pages: BTreeSet<&str> = FOR_PEOPLE.iter().map(|(path, _)| *path).collect();
    for path in paths_of_the_program().await {
        let is_desk = path == DESK || path.starts_with("/host/");
        let is_page = pages.remove(path.as_str()) || is_desk;
        let is_told = documented.contains_key(&path);
        assert!(is_page != is_told, "{path}: tell it, or list it as a page");
    }
    assert!(pages.is_empty(), "no such pages: {pages:?}");
    for (path, _) in FOR_PEOPLE {
        assert!(Kind::of(Some(path), &Method::GET).is_page, "{path}");
    }
}

/// What an address says to a method that it does not take.
async fn asked(path: &str, method: Method) -> ServiceResponse {
    let limit = web::Data::new(Limit::new(0).unwrap());
    let service = web::Data::new(Service::in_memory().unwrap());
    let app = App::new()
        .app_data(service)
        .app_data(limit)
        .app_data(Front::Nothing)
        .configure(every_route);
    let app = init_service(app).await;
    let request = TestRequest::default().method(method).uri(path);
    let answer = call_service(&app, request.to_request()).await;
    answer.map_into_boxed_body()
}

#[actix_web::test]
async fn every_documented_operation_exists_and_no_other() {
    let paths = paths_of_the_program().await;
    for (path, mut methods) in documented() {
        assert!(paths.contains(&path), "{path} is told and is not there");
        let address = path.replace("{card}", "card.svg").replace(['{', '}'], "");
        let answer = asked(&address, Method::PATCH).await;
        assert_eq!(answer.status().as_u16(), 405, "{path}");
        let allowed = answer.headers().get(header::ALLOW).unwrap();
        let allowed = allowed.to_str().unwrap().split(", ").map(str::to_owned);
        let mut allowed: BTreeSet<String> = allowed.collect();
        // What the document says of every address at once.
        assert_eq!(allowed.remove("HEAD"), methods.contains("GET"), "{path}");
        let is_open = allowed.remove("OPTIONS");
        let takes_receipt = path.contains("contributions") || path.contains("plans");
        let is_check = ["/health", "/ready"].contains(&path.as_str());
        assert_eq!(is_open, !takes_receipt && !is_check, "{path}");
        let route = path.replace("{card}", "{card:card[.-][^/]*}");
        let counted_as = Kind::of(Some(&route), &Method::GET);
        assert_eq!(is_open, counted_as.is_open, "{path}");
        methods.retain(|method| method != "HEAD");
        assert_eq!(allowed, methods, "{path}");
    }
}
