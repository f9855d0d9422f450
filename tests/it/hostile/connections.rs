//! Floods of connections.

use super::{assert_bounded, connect_from, filled, is_closed, serve_honestly};
use crate::harness::Server;
use std::io::Write;
use std::net::TcpStream;
use std::thread;
use std::time::{Duration, Instant};

/// As many as one client may have, and as many as there may be.
const OF_A_CLIENT: usize = 100;
const OF_ALL: usize = 400;

fn flood(server: &Server, last: u8, n_connections: usize) -> Vec<TcpStream> {
    let connections = (0..n_connections).map(|_| connect_from(server, last).unwrap());
    connections.collect()
}

/// How many are still open, once the server has seen all of them.
fn n_open(connections: &mut [TcpStream], at_most: usize) -> usize {
    let began = Instant::now();
    loop {
        let open = connections
            .iter_mut()
            .filter_map(|stream| (!is_closed(stream)).then_some(()));
        let n_open = open.count();
        if n_open <= at_most || Duration::from_secs(8) < began.elapsed() {
            return n_open;
        }
        thread::sleep(Duration::from_millis(100));
    }
}

#[test]
fn one_address_has_so_many_connections_and_leaves_room_for_others() {
    let (_folder, server) = filled();
    let before_kib = server.memory().resident_kib;
    let mut connections = flood(&server, 2, 1000);
    serve_honestly(&server, 200);
    assert!(n_open(&mut connections, OF_A_CLIENT) <= OF_A_CLIENT);
    assert_bounded(&server, before_kib);
    // Somebody else at that address waits until the idle ones are over.
    drop(connections);
    serve_honestly(&server, 201);
}

#[test]
fn of_thousands_of_connections_the_idle_ones_give_way() {
    let (_folder, server) = filled();
    let before_kib = server.memory().resident_kib;
    let mut all = Vec::new();
    for last in 10..40 {
        all.extend(flood(&server, last, OF_A_CLIENT));
        serve_honestly(&server, u32::from(last));
    }
    assert_eq!(all.len(), 3000);
    assert!(n_open(&mut all, OF_ALL) <= OF_ALL);
    let descriptors = std::fs::read_dir(format!("/proc/{}/fd", server.process())).unwrap();
    // Two for each, and what the program has open itself.
    assert!(descriptors.count() < 2 * OF_ALL + 100);
    assert_bounded(&server, before_kib);
}

#[test]
fn ten_thousand_requests_in_a_row_without_waiting_are_answered_one_after_the_other() {
    let (_folder, server) = filled();
    let before_kib = server.memory().resident_kib;
    let floods: Vec<thread::JoinHandle<usize>> = (0..4)
        .map(|_| {
            let stream = server.connect();
            thread::spawn(move || pipelined(stream, 2500))
        })
        .collect();
    serve_honestly(&server, 200);
    for flood in floods {
        assert_eq!(flood.join().unwrap(), 2500);
    }
    assert_bounded(&server, before_kib);
}

/// Sends so many requests at once and counts the answers.
fn pipelined(stream: TcpStream, n_requests: usize) -> usize {
    let mut reading = stream.try_clone().unwrap();
    let writing = thread::spawn(move || {
        let one = "GET /health HTTP/1.1\r\nHost: x\r\n\r\n";
        let last = "GET /health HTTP/1.1\r\nHost: x\r\nConnection: close\r\n\r\n";
        let _ = (&stream).write_all((one.repeat(n_requests - 1) + last).as_bytes());
    });
    let mut answers = String::new();
    let _ = std::io::Read::read_to_string(&mut reading, &mut answers);
    writing.join().unwrap();
    answers.matches("HTTP/1.1 200").count()
}
