//! How many connections there are, and how long one may wait without asking anything whole.
//!
//! The framework bounds how long the first request of a connection may take to arrive, and
//! nothing after it: a second one could come a byte at a time, and an answer could be fetched a
//! byte at a time, for ever. So every connection has a time here by which its client has to have
//! taken the last answer and sent the head of the next request; after it the connection is cut.
//! While a request is worked on none runs: its body has a time of its own.
//!
//! Connections are counted under what stands for a client elsewhere, a salted hash of its address.

use super::client::Front;
use crate::access::Salt;
use crate::clock;
use actix_web::Error;
use actix_web::body::{BodySize, MessageBody};
use actix_web::dev::{Extensions, ServiceRequest, ServiceResponse};
use actix_web::middleware::Next;
use actix_web::rt::net::TcpStream;
use actix_web::rt::time::interval;
use socket2::{SockRef, Socket};
use std::any::Any;
use std::collections::BTreeMap;
use std::io;
use std::net::{IpAddr, Shutdown};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

/// Connections at a time. Each takes two file descriptors, and a process may commonly have 1,024.
pub(super) const MOST: usize = 400;

/// Connections at a time of one client. A browser opens six to a host (common practice), so this
/// is an audience of a dozen and more behind one address; a proxy that speaks for others may fill
/// all of them.
pub(super) const MOST_OF_A_CLIENT: usize = 100;

/// How long an answered connection is kept for a next request.
pub(super) const KEPT: Duration = Duration::from_secs(5);

/// How long a client may take to send the head of a request.
pub(super) const HEAD_WITHIN: Duration = Duration::from_secs(10);

/// How fast an answer has to be taken at least, in bytes a second: as fast as a body has to be
/// sent.
const BYTES_A_SECOND: u64 = 10_000;

/// How often connections are looked at whose time is over.
const LOOKED_AT_EVERY: Duration = Duration::from_secs(1);

/// What an address is hashed for.
const PURPOSE: &[u8] = b"connections";

type Client = [u8; 32];

/// The open connections of a server.
#[derive(Debug)]
pub(super) struct Connections(Mutex<Open>);

#[derive(Debug)]
struct Open {
    salt: Salt,
    next_number: u64,
    lines: BTreeMap<u64, Line>,
    of_clients: BTreeMap<Client, usize>,
    tally: Tally,
}

/// How many connections there are, and how many were ended since the start, and why.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct Tally {
    pub(super) n_open: u64,
    /// Their client had as many as one may.
    pub(super) n_of_a_client: u64,
    /// Every other one was worked on.
    pub(super) n_no_room: u64,
    /// A newer one took their place.
    pub(super) n_gave_way: u64,
    /// Their client took too long.
    pub(super) n_overdue: u64,
}

/// One connection.
#[derive(Debug)]
struct Line {
    socket: Socket,
    /// `None` for a proxy.
    client: Option<Client>,
    /// Requests that are worked on.
    n_asked: usize,
    waits_since: Instant,
    waits_until: Instant,
}

impl Line {
    fn waits(&self) -> bool {
        self.n_asked == 0
    }

    /// Ends it, and throws away what its client has not taken. A connection that is gone already
    /// needs no cutting.
    fn cut(&self) {
        let _ = self.socket.set_linger(Some(Duration::ZERO));
        let _ = self.socket.shutdown(Shutdown::Both);
    }
}

impl Connections {
    /// None yet.
    ///
    /// # Errors
    /// When the system has no randomness to give for a salt.
    pub(super) fn new() -> io::Result<Arc<Self>> {
        Ok(Arc::new(Self(Mutex::new(Open {
            salt: Salt::new()?,
            next_number: 0,
            lines: BTreeMap::new(),
            of_clients: BTreeMap::new(),
            tally: Tally::default(),
        }))))
    }

    /// How many there are, and what became of others.
    pub(super) fn tally(&self) -> Tally {
        let open = self.open();
        Tally {
            n_open: u64::try_from(open.lines.len()).unwrap_or(u64::MAX),
            ..open.tally
        }
    }

    /// Takes a connection in, or cuts it when its client has as many as one may.
    pub(super) fn opened(
        self: &Arc<Self>,
        stream: &dyn Any,
        front: &Front,
        extensions: &mut Extensions,
    ) {
        let Some(stream) = stream.downcast_ref::<TcpStream>() else {
            return;
        };
        let socket = SockRef::from(stream);
        // Without an address the client is gone already.
        let peer = stream.peer_addr().map(|address| address.ip());
        let admitted = peer.and_then(|peer| {
            let client = (!front.speaks_for_others(peer)).then_some(peer);
            Ok(self.admit(socket.try_clone()?, client, Instant::now()))
        });
        match admitted {
            Ok(Some(number)) => {
                extensions.insert(Connection {
                    number,
                    all: Arc::clone(self),
                });
            }
            Ok(None) | Err(_) => {
                let _ = socket.shutdown(Shutdown::Both);
            }
        }
    }

    /// The number of a connection that is taken in. When there are as many as may be, the one that
    /// has waited longest gives way.
    fn admit(&self, socket: Socket, client: Option<IpAddr>, now: Instant) -> Option<u64> {
        let mut open = self.open();
        let client = client.map(|client| open.salt.key(client, PURPOSE, clock::now_ms()));
        if let Some(client) = client
            && MOST_OF_A_CLIENT <= open.of_clients.get(&client).copied().unwrap_or(0)
        {
            open.tally.n_of_a_client += 1;
            return None;
        }
        if MOST <= open.lines.len() {
            let Some(longest) = open.longest_waiting() else {
                open.tally.n_no_room += 1;
                return None;
            };
            open.tally.n_gave_way += 1;
            open.cut(longest);
        }
        let number = open.next_number;
        open.next_number += 1;
        if let Some(client) = client {
            *open.of_clients.entry(client).or_default() += 1;
        }
        let line = Line {
            socket,
            client,
            n_asked: 0,
            waits_since: now,
            waits_until: now + KEPT + HEAD_WITHIN,
        };
        open.lines.insert(number, line);
        Some(number)
    }

    fn asked(&self, number: u64) {
        if let Some(line) = self.open().lines.get_mut(&number) {
            line.n_asked += 1;
        }
    }

    fn answered(&self, number: u64, n_bytes: u64, now: Instant) {
        if let Some(line) = self.open().lines.get_mut(&number) {
            line.n_asked = line.n_asked.saturating_sub(1);
            line.waits_since = now;
            let taking = Duration::from_secs(n_bytes / BYTES_A_SECOND);
            line.waits_until = now + taking + KEPT + HEAD_WITHIN;
        }
    }

    fn closed(&self, number: u64) {
        self.open().forget(number);
    }

    /// Cuts the connections whose time is over.
    fn cut_overdue(&self, now: Instant) {
        let mut open = self.open();
        let overdue = open.lines.iter();
        let overdue = overdue.filter(|(_, line)| line.waits() && line.waits_until < now);
        let overdue: Vec<u64> = overdue.map(|(number, _)| *number).collect();
        for number in overdue {
            open.tally.n_overdue += 1;
            open.cut(number);
        }
    }

    fn open(&self) -> MutexGuard<'_, Open> {
        // What is counted is whole whoever held the lock before: nothing in it can panic half way.
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl Open {
    fn longest_waiting(&self) -> Option<u64> {
        let waiting = self.lines.iter().filter(|(_, line)| line.waits());
        let longest = waiting.min_by_key(|(_, line)| line.waits_since);
        longest.map(|(number, _)| *number)
    }

    fn cut(&mut self, number: u64) {
        if let Some(line) = self.forget(number) {
            line.cut();
        }
    }

    fn forget(&mut self, number: u64) -> Option<Line> {
        let line = self.lines.remove(&number)?;
        if let Some(client) = line.client
            && let Some(n_lines) = self.of_clients.get_mut(&client)
        {
            *n_lines -= 1;
            if *n_lines == 0 {
                self.of_clients.remove(&client);
            }
        }
        Some(line)
    }
}

/// What a connection carries along as long as it is open.
#[derive(Debug)]
struct Connection {
    number: u64,
    all: Arc<Connections>,
}

impl Drop for Connection {
    fn drop(&mut self) {
        self.all.closed(self.number);
    }
}

/// Cuts connections whose time is over, for as long as the server runs.
pub(super) async fn cut_overdue(all: Arc<Connections>) {
    let mut ticks = interval(LOOKED_AT_EVERY);
    loop {
        ticks.tick().await;
        all.cut_overdue(Instant::now());
    }
}

/// Middleware: while a request is worked on its connection does not wait.
pub(super) async fn request(
    request: ServiceRequest,
    next: Next<impl MessageBody>,
) -> Result<ServiceResponse<impl MessageBody>, Error> {
    let line = request.conn_data::<Connection>();
    let line = line.map(|line| (line.number, Arc::clone(&line.all)));
    if let Some((number, all)) = &line {
        all.asked(*number);
    }
    let answer = next.call(request).await;
    if let Some((number, all)) = &line {
        let n_bytes = answer.as_ref().map_or(0, |answer| bytes_of(answer));
        all.answered(*number, n_bytes, Instant::now());
    }
    answer
}

fn bytes_of(answer: &ServiceResponse<impl MessageBody>) -> u64 {
    match answer.response().body().size() {
        BodySize::Sized(n_bytes) => n_bytes,
        BodySize::None | BodySize::Stream => 0,
    }
}

#[cfg(test)]
mod tests;
