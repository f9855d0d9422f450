//! Stopping: the first signal lets what is under way be answered, a second one does not wait.

use crate::service::Service;
use actix_web::dev::ServerHandle;
use actix_web::rt::signal::unix::{Signal, SignalKind, signal};
use actix_web::rt::spawn;
use futures_util::future::select;
use std::io;
use std::pin::pin;
use std::process;
use std::sync::Arc;

/// What the program ends with when it is told twice to stop.
const TOLD_TWICE: i32 = 1;

/// The signals that tell a server to stop.
#[derive(Debug)]
struct Signals {
    interrupt: Signal,
    terminate: Signal,
}

impl Signals {
    fn new() -> io::Result<Self> {
        Ok(Self {
            interrupt: signal(SignalKind::interrupt())?,
            terminate: signal(SignalKind::terminate())?,
        })
    }

    async fn next(&mut self) {
        let interrupt = pin!(self.interrupt.recv());
        let terminate = pin!(self.terminate.recv());
        select(interrupt, terminate).await;
    }
}

/// From here on SIGINT and SIGTERM stop a server, and whoever is still connected and asks is told that
/// the service is not ready.
///
/// # Errors
/// When signals cannot be listened to.
pub(super) fn on_signals(server: ServerHandle, service: Arc<Service>) -> io::Result<()> {
    let mut signals = Signals::new()?;
    spawn(async move {
        signals.next().await;
        service.stop_soon();
        spawn(server.stop(true));
        signals.next().await;
        // What was acknowledged is on disk, so that ending here loses nothing of it.
        process::exit(TOLD_TWICE);
    });
    Ok(())
}
