//! Clients that mean harm, or are broken: everything that they can take of the service is bounded,
//! and others are served meanwhile. Slow ones are in [`slow`], floods of connections in
//! [`connections`], bodies and headers made to burst something in [`bombs`], and what becomes of
//! requests when the server stops in [`draining`].

#![expect(clippy::unwrap_used, reason = "a test stops at what it did not expect")]

mod bombs;
mod connections;
mod draining;
mod slow;

use crate::harness::{Pair, STUDY, Server, contribution, varied};
use crate::load::Line;
use socket2::{Domain, SockAddr, Socket, Type};
use std::io::{self, Read};
use std::net::{Ipv4Addr, SocketAddr, TcpStream};
use std::time::{Duration, Instant};

/// What attackers together may add to a server's memory, in KiB. A server with one study takes some
/// 30 MiB, four hundred connections with their buffers and one large body for each of its threads
/// less than this.
const MOST_MORE_KIB: u64 = 200 * 1024;

/// Longest that an honest client waits while others attack. It is here to notice that nobody is
/// served at all, not to time anything.
const HONEST_WITHIN: Duration = Duration::from_secs(20);

/// A connection from one of the addresses of this machine, 127.0.0.1 to 127.0.0.255.
fn connect_from(server: &Server, last: u8) -> io::Result<TcpStream> {
    let socket = Socket::new(Domain::IPV4, Type::STREAM, None)?;
    let from = SocketAddr::from((Ipv4Addr::new(127, 0, 0, last), 0));
    socket.bind(&SockAddr::from(from))?;
    let to: SocketAddr = server.address.parse().unwrap();
    socket.connect(&to.into())?;
    Ok(socket.into())
}

/// Whether the other side has closed a connection, whatever it said before.
fn is_closed(stream: &mut TcpStream) -> bool {
    stream.set_nonblocking(true).unwrap();
    let mut taken = [0; 4096];
    loop {
        match stream.read(&mut taken) {
            Ok(0) => return true,
            Ok(_) => {}
            Err(error) if error.kind() == io::ErrorKind::WouldBlock => return false,
            Err(_) => return true,
        }
    }
}

/// An honest client: reads the health and a page, and sends a contribution.
fn serve_honestly(server: &Server, number: u32) {
    let began = Instant::now();
    let document = contribution(varied(number)).to_string();
    let pages = format!("/studies/{STUDY}");
    let send = format!("/api/v1/studies/{STUDY}/contributions");
    for (method, path, body, status) in [
        ("GET", "/health", "", 200),
        ("GET", &pages, "", 200),
        ("POST", &send, &document, 201),
    ] {
        // A connection of its own: one that was kept may end before it is used again.
        let answer = Line::new(&server.address).ask(method, path, "", body);
        assert_eq!(answer.unwrap().status, status, "{path}");
    }
    assert!(began.elapsed() < HONEST_WITHIN, "{:?}", began.elapsed());
}

/// A server with figures to read.
fn filled() -> (tempfile::TempDir, Server) {
    let (folder, server) = crate::harness::server();
    for number in 100..115 {
        let pair = Pair {
            scope: "pooling_and_rows",
            ..varied(number)
        };
        server.post(&contribution(pair)).expect(201);
    }
    (folder, server)
}

#[track_caller]
fn assert_bounded(server: &Server, before_kib: u64) {
    let peak_kib = server.memory().peak_kib;
    let most = before_kib + MOST_MORE_KIB;
    assert!(peak_kib < most, "{before_kib} KiB before, {peak_kib} KiB");
}
