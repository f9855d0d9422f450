//! Stopping: what is under way is answered, nobody new is let in, and nothing acknowledged is lost.

use super::filled;
use crate::harness::{STUDY, Server, contribution, exported, read_answer, varied};
use std::io::{Read, Write};
use std::net::TcpStream;
use std::thread;
use std::time::Duration;

/// Longest that stopping takes: ten seconds for what is under way, and some for a busy machine.
const ENDED_WITHIN: Duration = Duration::from_secs(30);

/// Contributions that `filled` sends.
const N_SENT: usize = 15;

/// A contribution of which all but the last byte is sent, and that byte.
fn begun(server: &Server, number: u32) -> (TcpStream, [u8; 1]) {
    let body = contribution(varied(number)).to_string();
    let head = format!(
        "POST /api/v1/studies/{STUDY}/contributions HTTP/1.1\r\nHost: x\r\nContent-Type: application/json\r\nContent-Length: {}\r\n\r\n",
        body.len()
    );
    let (last, most) = body.as_bytes().split_last().unwrap();
    let mut stream = server.connect();
    stream.write_all(head.as_bytes()).unwrap();
    stream.write_all(most).unwrap();
    (stream, [*last])
}

fn refuses_connections(server: &Server) -> bool {
    (0..100).any(|_| {
        thread::sleep(Duration::from_millis(50));
        TcpStream::connect(&server.address).is_err()
    })
}

#[test]
fn what_is_under_way_is_answered_and_nobody_new_is_let_in() {
    let (folder, mut server) = filled();
    let mut idle = server.connect();
    idle.write_all(b"GET /health HTTP/1.1\r\nHost: x\r\n\r\n")
        .unwrap();
    assert_eq!(read_answer(&mut idle).unwrap().header("connection"), "");
    let mut slow: Vec<_> = (20..30).map(|number| begun(&server, number)).collect();
    let questions: Vec<_> = (0..3)
        .map(|number| {
            let mut stream = server.connect();
            let path = format!(
                "/api/v1/studies/{STUDY}/query?outcome=speed&level=0.{}",
                80 + number
            );
            write!(stream, "GET {path} HTTP/1.1\r\nHost: x\r\n\r\n").unwrap();
            thread::spawn(move || read_answer(&mut stream).map(|answer| answer.status))
        })
        .collect();
    // The heads have to have arrived: whatever comes after the signal is nobody's.
    thread::sleep(Duration::from_millis(500));
    server.signal("TERM");
    assert!(refuses_connections(&server));
    for (stream, last) in &mut slow {
        stream.write_all(last).unwrap();
        let answer = read_answer(stream).unwrap().expect(201);
        assert_eq!(answer.header("connection"), "close");
    }
    for question in questions {
        assert!(question.join().unwrap().is_some());
    }
    assert_eq!(
        idle.read(&mut [0; 1]).unwrap(),
        0,
        "an idle connection is closed"
    );
    assert_eq!(server.ended(ENDED_WITHIN), Some(0));
    assert_eq!(exported(folder.path()).len(), N_SENT + 10);
}

#[test]
fn whoever_never_finishes_is_not_waited_for() {
    let (folder, mut server) = filled();
    let (_never, _) = begun(&server, 20);
    thread::sleep(Duration::from_millis(500));
    server.signal("INT");
    assert_eq!(server.ended(ENDED_WITHIN), Some(0));
    assert_eq!(exported(folder.path()).len(), N_SENT);
}

#[test]
fn a_second_signal_ends_it_at_once() {
    let (folder, mut server) = filled();
    let (_never, _) = begun(&server, 20);
    thread::sleep(Duration::from_millis(500));
    server.signal("TERM");
    assert!(refuses_connections(&server));
    server.signal("TERM");
    // Without it the ten seconds of the first one would be waited for.
    assert_eq!(server.ended(Duration::from_secs(8)), Some(1));
    assert_eq!(exported(folder.path()).len(), N_SENT);
}

#[test]
fn a_batch_that_closes_while_the_server_stops_is_public_after_the_next_start() {
    let (folder, mut server) = filled();
    let pooled = format!("/api/v1/studies/{STUDY}/pooled");
    let before = server.get(&pooled).json();
    let mut slow: Vec<_> = (20..25).map(|number| begun(&server, number)).collect();
    thread::sleep(Duration::from_millis(500));
    server.signal("TERM");
    for (stream, last) in &mut slow {
        stream.write_all(last).unwrap();
        read_answer(stream).unwrap().expect(201);
    }
    assert_eq!(server.ended(ENDED_WITHIN), Some(0));
    let again = Server::serve(folder.path(), &[]);
    let number = |document: &serde_json::Value| document["batch"]["number"].as_u64().unwrap();
    let after = again.get(&pooled).json();
    assert_eq!(number(&after), number(&before) + 1);
}
