//! Clients that take their time, to hold connections and what stands behind them.

use super::{assert_bounded, filled, is_closed, serve_honestly};
use crate::harness::{STUDY, Server};
use socket2::SockRef;
use std::io::Write;
use std::net::TcpStream;
use std::thread;
use std::time::{Duration, Instant};

/// So many clients of each kind; all together as many as one address may connect.
const EACH: usize = 18;

/// Longest that any of them may hold a connection: a body's 30 seconds, or the time to take an
/// answer of 20 kB, to be kept and to send the next head; and some for a busy machine.
const CUT_WITHIN: Duration = Duration::from_secs(60);

/// A client that has begun something, and what it then sends now and again.
struct Slow {
    kind: &'static str,
    stream: TcpStream,
    drips: &'static [u8],
}

fn slow(server: &Server, kind: &'static str, begins: &str, drips: &'static [u8]) -> Slow {
    let mut stream = server.connect();
    stream.write_all(begins.as_bytes()).unwrap();
    Slow {
        kind,
        stream,
        drips,
    }
}

/// A client that asks for much, has little room for it and takes nothing.
fn takes_nothing(server: &Server) -> Slow {
    let stream = server.connect();
    SockRef::from(&stream).set_recv_buffer_size(4096).unwrap();
    stream
        .set_write_timeout(Some(Duration::from_millis(200)))
        .unwrap();
    let asks = "GET /style.css HTTP/1.1\r\nHost: x\r\n\r\n".repeat(1000);
    // What does not fit is not sent.
    let _ = (&stream).write(asks.as_bytes());
    Slow {
        kind: "takes nothing",
        stream,
        drips: b"",
    }
}

fn slow_clients(server: &Server) -> Vec<Slow> {
    let post = format!("POST /api/v1/studies/{STUDY}/contributions HTTP/1.1\r\nHost: x\r\n");
    let form = format!("POST /studies/{STUDY}/upload HTTP/1.1\r\nHost: x\r\n");
    let json = format!("{post}Content-Type: application/json\r\nContent-Length: 200000\r\n\r\n{{");
    let file = format!(
        "{form}Content-Type: multipart/form-data; boundary=x\r\nContent-Length: 200000\r\n\r\n--x"
    );
    let second = "GET /health HTTP/1.1\r\nHost: x\r\n\r\nGET /hea";
    let clients = (0..EACH).flat_map(|_| {
        [
            slow(
                server,
                "first head",
                "GET /health HTTP/1.1\r\nHost: x\r\n",
                b"a: b\r\n",
            ),
            slow(server, "second head", second, b"l"),
            slow(server, "body", &json, b" "),
            slow(server, "file", &file, b"-"),
            takes_nothing(server),
        ]
    });
    clients.collect()
}

#[test]
fn slow_clients_are_cut_in_time_and_others_are_served() {
    let (_folder, server) = filled();
    let before_kib = server.memory().resident_kib;
    let began = Instant::now();
    let mut clients = slow_clients(&server);
    let mut number = 200;
    while !clients.is_empty() {
        thread::sleep(Duration::from_secs(1));
        clients.retain_mut(|client| {
            let _ = client.stream.write(client.drips);
            // Whoever takes nothing finds out by being refused.
            let is_cut = match client.drips {
                b"" => !is_connected(&client.stream),
                _ => is_closed(&mut client.stream),
            };
            if is_cut {
                println!("{}: cut after {:?}", client.kind, began.elapsed());
            }
            !is_cut
        });
        serve_honestly(&server, number);
        number += 1;
        let left: Vec<&str> = clients.iter().map(|client| client.kind).collect();
        assert!(began.elapsed() < CUT_WITHIN, "still there: {left:?}");
    }
    assert_bounded(&server, before_kib);
}

/// Whether the other side still holds the connection, without taking what it sent: such a side that
/// is cut with something unsent resets it, or says that there is no more.
fn is_connected(stream: &TcpStream) -> bool {
    let port = stream.local_addr().unwrap().port();
    let table = std::fs::read_to_string("/proc/net/tcp").unwrap();
    let remote = format!("0100007F:{port:04X}");
    // The server's side of it, as ESTABLISHED (proc_pid_net(5)).
    let mut rows = table.lines().map(str::split_whitespace);
    rows.any(|mut row| row.nth(2) == Some(&*remote) && row.next() == Some("01"))
}
