//! Lists in parts.

use crate::harness::{STUDY, STUDY_FILE, Server, add_study, folder, server};
use serde_json::{Value, json};
use std::fs;

/// A server with seven studies.
fn studies() -> (tempfile::TempDir, Server) {
    let folder = folder();
    let mut study: Value = serde_json::from_slice(&fs::read(STUDY_FILE).unwrap()).unwrap();
    let file = folder.path().join("study.json");
    for name in ["a-first", "b", "b-2", "c", "d", "z"] {
        *study.get_mut("study").unwrap() = json!(name);
        fs::write(&file, study.to_string()).unwrap();
        let added = add_study(file.to_str().unwrap(), folder.path());
        assert!(added.status.success(), "{added:?}");
    }
    let server = Server::serve(folder.path(), &[]);
    (folder, server)
}

fn names(list: &Value) -> Vec<String> {
    let entries = list["studies"].as_array().unwrap().iter();
    let name = |entry: &Value| {
        let name = entry.pointer("/study/study").unwrap();
        name.as_str().unwrap().to_owned()
    };
    entries.map(name).collect()
}

#[test]
fn studies_are_listed_part_by_part_and_each_once() {
    let (_folder, server) = studies();
    let all = names(&server.get("/api/v1/studies").expect(200).json());
    assert_eq!(all, ["a-first", "b", "b-2", "c", "d", STUDY, "z"]);
    for limit in [1, 2, 3, 6, 7, 100] {
        let mut address = format!("/api/v1/studies?limit={limit}");
        let mut seen = Vec::new();
        loop {
            let answer = server.get(&address).expect(200);
            let list = answer.json();
            seen.extend(names(&list));
            let Some(next) = list["next"].as_str() else {
                assert_eq!(answer.header("link"), "");
                break;
            };
            assert_eq!(answer.header("link"), format!("<{next}>; rel=\"next\""));
            assert_eq!(names(&list).len(), limit);
            next.clone_into(&mut address);
        }
        assert_eq!(seen, all, "{limit}");
    }
    // A key need not be there: what comes after it does.
    let list = server.get("/api/v1/studies?after=b-1").expect(200).json();
    assert_eq!(names(&list), all.get(2..).unwrap());
    let end = server.get("/api/v1/studies?after=z").expect(200).json();
    assert_eq!((names(&end), &end["next"]), (Vec::new(), &Value::Null));
}

#[test]
fn parts_that_cannot_be_given_are_refused_in_words() {
    let (_folder, server) = server();
    let releases = format!("/api/v1/studies/{STUDY}/releases");
    for query in [
        "limit=0",
        "limit=101",
        "limit=x",
        "limit=1&limit=2",
        "limit=",
    ] {
        for list in ["/api/v1/studies", &releases] {
            let answer = server.get(&format!("{list}?{query}"));
            let problem = answer.expect_problem(400, "bad-request");
            let detail = problem["detail"].as_str().unwrap();
            assert!(detail.starts_with("`limit`"), "{detail}");
        }
    }
    for after in ["x", "-1", "1.5", ""] {
        let answer = server.get(&format!("{releases}?after={after}"));
        let problem = answer.expect_problem(400, "bad-request");
        let detail = "`after` must be the number of a release.";
        assert_eq!(problem["detail"], detail, "{after}");
    }
    let beyond = server.get(&format!("{releases}?after=99999")).expect(200);
    assert_eq!(beyond.json()["releases"], json!([]));
    server.get("/api/v1/studies?other=1").expect(200);
}
