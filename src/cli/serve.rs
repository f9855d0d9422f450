//! `tautpool serve`.

use super::{Failure, Listen, Serve, telemetry};
use crate::clock;
use crate::http::{self, Front};
use crate::service::Service;
use crate::store::Durability;
use actix_web::rt::signal::unix::{SignalKind, signal};
use actix_web::web;
use std::io::{self, Write};
use std::net::{SocketAddr, TcpListener};
use std::process::ExitCode;
use std::sync::Arc;
use std::time::Duration;

pub(super) fn run(options: &Serve) -> Result<ExitCode, Failure> {
    telemetry::start(&options.listen.log)?;
    let address = options.listen.listen;
    if !address.ip().is_loopback() && !options.behind_tls_proxy {
        return Err(format!(
            "plain HTTP is served on this machine only, and {address} is reachable from others: listen on 127.0.0.1, or put a proxy with TLS in front and say --behind-tls-proxy"
        )
        .into());
    }
    let service = Arc::new(Service::open(&options.data.data, Durability::Full)?);
    if let Some(public_url) = &options.public_url {
        service.reached_at(public_url.clone());
    }
    let listener = bind(address)?;
    let mut out = io::stdout().lock();
    writeln!(out, "Serving on http://{}", listener.local_addr()?)?;
    out.flush()?;
    drop(out);
    let front = if options.behind_tls_proxy {
        Front::TlsProxy
    } else {
        Front::Nothing
    };
    until_stopped(service, listener, &options.listen, front)
}

pub(super) fn bind(address: SocketAddr) -> Result<TcpListener, Failure> {
    TcpListener::bind(address)
        .map_err(|error| format!("cannot listen on {address}: {error}").into())
}

/// How often withdrawals are looked at that have waited as long as they may.
const PROMISES_EVERY: Duration = Duration::from_hours(1);

/// Serves until SIGINT or SIGTERM.
pub(super) fn until_stopped(
    service: Arc<Service>,
    listener: TcpListener,
    options: &Listen,
    front: Front,
) -> Result<ExitCode, Failure> {
    let publisher = Arc::clone(&service);
    std::thread::Builder::new()
        .name("publisher".to_owned())
        .spawn(move || publisher.keep_publishing())?;
    actix_web::rt::System::new().block_on(async {
        actix_web::rt::spawn(keep_promises(Arc::clone(&service)));
        not_ready_once_stopped(&service)?;
        let workers = usize::from(options.workers);
        let a_minute = options.requests_a_minute;
        http::server(service, listener, workers, front, a_minute)?.await
    })?;
    Ok(ExitCode::SUCCESS)
}

/// Has the service say that it is not ready from the first signal to stop on, while requests that are
/// under way are answered.
fn not_ready_once_stopped(service: &Arc<Service>) -> io::Result<()> {
    for kind in [SignalKind::terminate(), SignalKind::interrupt()] {
        let mut stopped = signal(kind)?;
        let service = Arc::clone(service);
        actix_web::rt::spawn(async move {
            stopped.recv().await;
            service.stop_soon();
        });
    }
    Ok(())
}

/// Acts on overdue withdrawals, now and again and again.
async fn keep_promises(service: Arc<Service>) {
    loop {
        let service = Arc::clone(&service);
        let kept = web::block(move || service.keep_promises(clock::now_ms())).await;
        match kept {
            Ok(Ok(())) => {}
            Ok(Err(error)) => tracing::error!(%error, "overdue withdrawals still count"),
            Err(error) => tracing::error!(%error, "overdue withdrawals still count"),
        }
        actix_web::rt::time::sleep(PROMISES_EVERY).await;
    }
}
