//! The description of the data interface: that it is committed as it is served, and that the page
//! made from it tells the same. That it holds of the routes is tested beside them.

use crate::harness::{Server, folder, server};
use serde_json::Value;
use std::collections::BTreeSet;
use std::fs;
use tautpool::intake::schema::Schema;

const COMMITTED: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/schema/openapi.json");

fn operations(document: &Value) -> Vec<(String, String, Value)> {
    let paths = document["paths"].as_object().unwrap().iter();
    let all = paths.flat_map(|(path, methods)| {
        let methods = methods.as_object().unwrap().iter();
        methods.map(|(method, operation)| (path.clone(), method.clone(), operation.clone()))
    });
    all.collect()
}

#[test]
fn the_committed_description_is_the_one_that_is_served() {
    let (_folder, server) = server();
    let served = server.get("/api/openapi.json").expect(200);
    assert_eq!(served.content_type(), "application/json");
    if std::env::var("TAUTPOOL_BLESS").is_ok_and(|value| value == "1") {
        fs::write(COMMITTED, &served.body).unwrap();
    }
    let committed = fs::read_to_string(COMMITTED).unwrap_or_default();
    assert!(
        committed == served.text(),
        "schema/openapi.json differs from what is served; write it with TAUTPOOL_BLESS=1 and read what changed"
    );
}

#[test]
fn it_is_openapi_with_everything_that_programs_need() {
    let (_folder, server) = server();
    let document = server.get("/api/openapi.json").expect(200).json();
    assert_eq!(document["openapi"], "3.1.1");
    let all = operations(&document);
    assert_eq!(all.len(), 27);
    for (path, method, operation) in all {
        let answers = operation["responses"].as_object().unwrap();
        let limited = !["/health", "/ready"].contains(&path.as_str());
        assert_eq!(answers.contains_key("429"), limited, "{method} {path}");
        for (status, answer) in answers {
            let place = answer["$ref"]
                .as_str()
                .and_then(|place| place.strip_prefix('#'));
            let answer = place.map_or(answer, |place| document.pointer(place).unwrap());
            assert!(
                answer["headers"]["Request-Id"].is_object(),
                "{path} {status}"
            );
            let is_problem = answer["content"]["application/problem+json"].is_object();
            let is_error = status.starts_with(['4', '5']) && path != "/health";
            assert_eq!(is_problem, is_error, "{path} {status}");
        }
        assert_eq!(
            operation["requestBody"].is_object(),
            ["post", "put"].contains(&method.as_str()) && !path.ends_with("/open"),
            "{path}"
        );
    }
}

#[test]
fn the_page_tells_every_operation_and_its_links_lead_somewhere() {
    let (_folder, server) = server();
    let document = server.get("/api/openapi.json").expect(200).json();
    let page = server.get("/api").expect(200).text();
    for (path, method, operation) in operations(&document) {
        let id = operation["operationId"].as_str().unwrap();
        assert!(page.contains(&format!("id=\"{id}\"")), "{id}");
        assert!(page.contains(&format!("href=\"#{id}\"")), "{id}");
        let address = format!("<b>{}</b> {path}<", method.to_uppercase());
        assert!(page.contains(&address), "{address}");
    }
    let links: BTreeSet<&str> = page
        .split("href=\"/")
        .skip(1)
        .filter_map(|rest| rest.split('"').next())
        .collect();
    assert!(10 < links.len());
    for link in links {
        server.get(&format!("/{link}")).expect(200);
    }
    assert!(
        !page.contains("://") || page.matches("://").count() == 1,
        "{page}"
    );
    let file = Schema::Aggregate.file_name();
    assert!(page.contains(&format!("href=\"/schema/{file}\"")));
}

#[test]
fn commands_on_the_page_name_the_service_as_readers_do() {
    let folder = folder();
    let named = ["--public-url", "https://pool.example"];
    let server = Server::serve(folder.path(), &named);
    let page = server.get("/api").expect(200).text();
    assert!(page.contains("POOL=https://pool.example"));
    assert!(
        !page.contains("Behind <code>POOL="),
        "nothing is to be mended"
    );
    drop(server);
    // Untold, it cannot be guessed behind a proxy: a placeholder, and what to put there.
    let server = Server::serve(folder.path(), &[]);
    let page = server.get("/api").expect(200).text();
    assert!(page.contains("POOL=https://YOUR-HOST\n"), "{page}");
    assert!(page.contains("Behind <code>POOL=</code> write the address"));
}
