//! Questions over HTTP and on the command line.

use crate::harness::{STUDY, Server, contribution, folder, make_release, run, varied};
use std::io::{Read as _, Write as _};
use std::net::{TcpListener, TcpStream};
use std::path::Path;
use std::sync::Arc;
use std::thread;
use tautpool::http::{self, Front};
use tautpool::service::{Service, Turn};
use tempfile::TempDir;

fn query(question: &str) -> String {
    format!("/api/v1/studies/{STUDY}/query?{question}")
}

/// Twelve players and a release of what is public of them.
fn filled() -> TempDir {
    let folder = folder();
    {
        let server = Server::serve(folder.path(), &[]);
        for number in 0..12 {
            server.post(&contribution(varied(number))).expect(201);
        }
    }
    assert!(make_release(folder.path(), &[]).status.success());
    folder
}

fn pooled(file: &Path, question: &str) -> Vec<u8> {
    let file = file.to_str().unwrap();
    let output = run(&["pool", file, "--json", "--where", question], b"");
    assert!(output.status.success(), "{output:?}");
    output.stdout
}

#[test]
fn every_door_gives_the_same_answer() {
    let folder = filled();
    let server = Server::serve(folder.path(), &[]);
    let away = tempfile::tempdir().unwrap();
    let save = |path: &str, name: &str| {
        let file = away.path().join(name);
        std::fs::write(&file, server.get(path).expect(200).body).unwrap();
        file
    };
    let aggregate = save(
        &format!("/api/v1/studies/{STUDY}/aggregate"),
        "aggregate.json",
    );
    let release = format!("/api/v1/studies/{STUDY}/releases/1");
    let file = save(&release, "release.json");
    for question in [
        "",
        "outcome=in_share",
        "gap_from=6&level=0.9&estimator=fixed",
    ] {
        let answer = server.get(&query(question)).expect(200);
        assert_eq!(answer.content_type(), "application/json");
        let of_release = server
            .get(&format!("{release}/query?{question}"))
            .expect(200);
        assert_eq!(of_release.body, answer.body);
        assert_eq!(pooled(&aggregate, question), answer.body);
        assert_eq!(pooled(&file, question), answer.body);
        // The command that the answer names, as a shell would take it apart.
        let named = answer.json()["command"].as_str().unwrap().to_owned();
        let (command, question) = named.split_once(" --where ").unwrap();
        assert_eq!(command, "tautpool pool aggregate.json --json");
        let question = question.trim_matches('\'');
        assert!(!question.contains(['\'', ' ']), "{named}");
        assert_eq!(pooled(&aggregate, question), answer.body);
    }
    let words = run(
        &["pool", aggregate.to_str().unwrap(), "--where", "gap_from=6"],
        b"",
    );
    let words = String::from_utf8(words.stdout).unwrap();
    for line in [
        "Mean ball speed, forehand, at a gap of 6 lb and over, as published.",
        "certainty     ",
        "caveat        Pairs were sent without a plan",
        "note          This is one of the published analyses;",
    ] {
        assert!(words.contains(line), "{line} in\n{words}");
    }
}

#[test]
fn an_answer_has_a_strong_tag_that_the_order_of_its_question_does_not_change() {
    let folder = filled();
    let server = Server::serve(folder.path(), &[]);
    let answer = server.get(&query("gap_from=6&outcome=speed")).expect(200);
    let tag = answer.header("etag");
    assert!(tag.starts_with('"'), "{tag}");
    assert_eq!(answer.header("cache-control"), "no-cache");
    for same in [
        "outcome=speed&gap_from=6",
        "gap_from=6",
        "gap_from=6&level=0.95",
        "gap%5Ffrom=6",
    ] {
        assert_eq!(
            server.get(&query(same)).expect(200).header("etag"),
            tag,
            "{same}"
        );
    }
    assert_ne!(
        server.get(&query("gap_from=5")).expect(200).header("etag"),
        tag
    );
    let known = [("if-none-match", tag)];
    let again = server
        .send("GET", &query("gap_from=6"), &known, b"")
        .expect(304);
    assert!(again.body.is_empty());
    let head = server
        .send("HEAD", &query("gap_from=6"), &[], b"")
        .expect(200);
    assert_eq!((head.header("etag"), head.body.len()), (tag, 0));
}

#[test]
fn what_is_no_question_and_what_has_no_answer_is_refused_with_its_reason() {
    let folder = filled();
    let server = Server::serve(folder.path(), &[]);
    let faulty = server.get(&query("outcom=speed&planned=ja&level=0.9&level=0.8"));
    let problem = faulty.expect_problem(400, "invalid-query");
    let places: Vec<&str> = problem["faults"]
        .as_array()
        .unwrap()
        .iter()
        .map(|fault| fault["pointer"].as_str().unwrap())
        .collect();
    assert_eq!(places, ["/level", "/outcom", "/planned"]);
    for few in ["gap_from=7", "band=under", "stroke=serve", "planned=true"] {
        let problem = server
            .get(&query(few))
            .expect_problem(403, "too-few-players");
        let detail = problem["detail"].as_str().unwrap();
        assert!(
            detail.starts_with("Fewer than 5 players have such pairs"),
            "{detail}"
        );
    }
    let elsewhere = "/api/v1/studies/none/query";
    server.get(elsewhere).expect_problem(404, "not-found");
    let release = format!("/api/v1/studies/{STUDY}/releases");
    server
        .get(&format!("{release}/9/query"))
        .expect_problem(404, "not-found");
    server
        .get(&format!("{release}/1/query?gap=5"))
        .expect_problem(400, "invalid-query");
    server
        .send("POST", &query(""), &[], b"{}")
        .expect_problem(405, "method-not-allowed");
    let aggregate = server
        .get(&format!("/api/v1/studies/{STUDY}/aggregate"))
        .body;
    let faulty = run(&["pool", "-", "--where", "outcom=speed"], &aggregate);
    assert_eq!(faulty.status.code(), Some(1));
    let said = String::from_utf8(faulty.stderr).unwrap();
    assert!(
        said.starts_with("fault  /outcom  [unknown_field]  `outcom` is not"),
        "{said}"
    );
    let few = run(&["pool", "-", "--where", "stroke=serve"], &aggregate);
    assert_eq!(few.status.code(), Some(1));
    let said = String::from_utf8(few.stderr).unwrap();
    assert!(said.starts_with("tautpool: Fewer than 5 players"), "{said}");
    let table = run(
        &["pool", "-", "--where", "gap_from=5"],
        b"estimate,variance\n1,2\n",
    );
    assert_eq!(table.status.code(), Some(2));
    let both = run(&["pool", "-", "--where", "", "--level", "0.9"], &aggregate);
    assert_eq!(both.status.code(), Some(2));
}

/// An answer as text, whatever its status.
fn get(address: &str, path: &str) -> String {
    let mut stream = TcpStream::connect(address).unwrap();
    let request = format!("GET {path} HTTP/1.1\r\nhost: {address}\r\nconnection: close\r\n\r\n");
    stream.write_all(request.as_bytes()).unwrap();
    let mut answer = String::new();
    stream.read_to_string(&mut answer).unwrap();
    answer
}

#[test]
fn more_questions_than_the_service_works_on_are_put_off() {
    let service = Arc::new(Service::in_memory().unwrap());
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    let address = listener.local_addr().unwrap().to_string();
    let served = Arc::clone(&service);
    thread::spawn(move || {
        let system = actix_web::rt::System::new();
        system.block_on(async {
            http::server(served, listener, 1, Front::Nothing, 0, None)
                .unwrap()
                .await
        })
    });
    let turns: Vec<Turn> = std::iter::from_fn(|| service.turn()).collect();
    assert!(!turns.is_empty());
    let busy = get(&address, "/api/v1/studies/none/query");
    assert!(busy.starts_with("HTTP/1.1 503 "), "{busy}");
    assert!(busy.contains("retry-after: 1\r\n"), "{busy}");
    assert!(busy.contains("/problems#busy"), "{busy}");
    drop(turns);
    let free = get(&address, "/api/v1/studies/none/query");
    assert!(free.starts_with("HTTP/1.1 404 "), "{free}");
}
