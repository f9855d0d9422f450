//! Requests whose end two readers would see at different places. A proxy that sees another end than
//! the service would take what one visitor sends for the request of another.

use crate::harness::{STUDY, Server, server};
use std::io::{Read, Write};

// A line feed alone ends a line of the head, as RFC 9112, section 2.2, lets a reader take it.

/// Everything that the server answers before it closes.
fn answers(server: &Server, bytes: &[u8]) -> String {
    let mut stream = server.connect();
    // The server may answer and close before everything is sent.
    let _ = stream.write_all(bytes);
    let _ = stream.shutdown(std::net::Shutdown::Write);
    let mut all = Vec::new();
    let _ = stream.read_to_end(&mut all);
    String::from_utf8_lossy(&all).into_owned()
}

#[test]
fn a_request_with_two_ends_is_refused_and_nothing_behind_it_is_read() {
    let (_folder, server) = server();
    let hidden = "GET /health HTTP/1.1\r\nhost: a\r\n\r\n";
    let path = format!("/studies/{STUDY}/receipt");
    let form = "content-type: application/x-www-form-urlencoded";
    let n = hidden.len();
    for head in [
        format!("content-length: {n}\r\ntransfer-encoding: chunked"),
        format!("transfer-encoding: chunked\r\ncontent-length: {n}"),
        "content-length: 0\r\ncontent-length: 5".to_owned(),
        format!("content-length: {n}\r\ncontent-length: 0"),
        "content-length: 0, 5".to_owned(),
        "content-length: +5".to_owned(),
        "content-length: -1".to_owned(),
        "content-length: 0x5".to_owned(),
        "content-length: 5 5".to_owned(),
        "content-length : 0".to_owned(),
        "transfer-encoding: xchunked".to_owned(),
        "transfer-encoding: chunked, identity".to_owned(),
        "transfer-encoding: identity, chunked, chunked".to_owned(),
        "transfer-encoding : chunked".to_owned(),
        " transfer-encoding: chunked".to_owned(),
        "x: y\rtransfer-encoding: chunked".to_owned(),
    ] {
        let request =
            format!("POST {path} HTTP/1.1\r\nhost: a\r\n{form}\r\n{head}\r\n\r\n0\r\n\r\n{hidden}");
        let answered = answers(&server, request.as_bytes());
        assert!(
            answered.matches("HTTP/1.1 ").count() <= 1,
            "{head}: {answered}"
        );
        assert!(!answered.contains("HTTP/1.1 200"), "{head}: {answered}");
    }
}

#[test]
fn a_body_ends_where_it_says_and_the_next_request_is_one_of_its_own() {
    let (_folder, server) = server();
    let path = format!("/studies/{STUDY}/receipt");
    let form = "content-type: application/x-www-form-urlencoded";
    let body = "receipt=GET /host HTTP/1.1";
    let next = "GET /none HTTP/1.1\r\nhost: a\r\nconnection: close\r\n\r\n";
    let request = format!(
        "POST {path} HTTP/1.1\r\nhost: a\r\n{form}\r\ncontent-length: {}\r\n\r\n{body}{next}",
        body.len()
    );
    let answered = answers(&server, request.as_bytes());
    assert_eq!(answered.matches("HTTP/1.1 ").count(), 2, "{answered}");
    assert!(answered.contains("HTTP/1.1 404"), "{answered}");
    let chunks = format!("{:x}\r\n{body}\r\n0\r\n\r\n", body.len());
    let request = format!(
        "POST {path} HTTP/1.1\r\nhost: a\r\n{form}\r\ntransfer-encoding: chunked\r\n\r\n{chunks}{next}"
    );
    let answered = answers(&server, request.as_bytes());
    assert_eq!(answered.matches("HTTP/1.1 ").count(), 2, "{answered}");
}

#[test]
fn lines_that_would_make_a_header_of_ones_own_are_no_request() {
    let (_folder, server) = server();
    for head in [
        "GET / HTTP/1.1\r\nhost: a\r\nx: y\0z\r\n\r\n",
        "GET / HTTP/1.1\r\nhost: a\r\nx\ty: z\r\n\r\n",
        "GET / HTTP/1.1\r\nhost: a\r\n: z\r\n\r\n",
        "GET /\0 HTTP/1.1\r\nhost: a\r\n\r\n",
        "GET / / HTTP/1.1\r\nhost: a\r\n\r\n",
        "GET / HTTP/9.9\r\nhost: a\r\n\r\n",
    ] {
        let answered = answers(&server, head.as_bytes());
        assert!(!answered.contains("HTTP/1.1 200"), "{head:?}: {answered}");
    }
}
