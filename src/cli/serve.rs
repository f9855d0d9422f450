//! `tautpool serve`.

use super::{Failure, Listen, Serve, telemetry, wrong_use};
use crate::backup::{Done, Schedule};
use crate::clock;
use crate::http::{self, Front};
use crate::service::Service;
use crate::store::Durability;
use actix_web::web;
use ipnet::{IpNet, Ipv4Net};
use rustix::process::setpriority_process;
use std::io::{self, Write};
use std::net::{IpAddr, Ipv4Addr, Ipv6Addr, SocketAddr, TcpListener};
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::sync::Arc;
use std::time::Duration;

pub(super) fn run(options: &Serve) -> Result<ExitCode, Failure> {
    telemetry::start(&options.listen.log, options.listen.log_format)?;
    let address = options.listen.listen;
    if let Some(refusal) = refusals(options).into_iter().next() {
        return Err(wrong_use(refusal));
    }
    let backups = scheduled(&options.backups, &options.data.data)?;
    let service = Arc::new(Service::open_to_serve(
        &options.data.data,
        Durability::Full,
    )?);
    if let Some(public_url) = &options.public_url {
        service.reached_at(public_url.clone());
    }
    if let Some(notice) = options.security.notice()? {
        service.names(notice);
    }
    let listener = bind(address)?;
    let for_metrics = options.metrics_listen.map(bind).transpose()?;
    let mut out = io::stdout().lock();
    if let Some(metrics) = &for_metrics {
        writeln!(out, "Figures on http://{}/metrics", metrics.local_addr()?)?;
    }
    writeln!(out, "Serving on http://{}", listener.local_addr()?)?;
    out.flush()?;
    drop(out);
    let front = front(options);
    until_stopped(
        service,
        listener,
        &options.listen,
        front,
        backups,
        for_metrics,
    )
}

/// Why these settings are not served with: words with the mend behind a colon.
pub(super) fn refusals(options: &Serve) -> Vec<String> {
    let mut refusals = Vec::new();
    let address = options.listen.listen;
    let is_open = !address.ip().is_loopback();
    if is_open && !options.behind_tls_proxy {
        refusals.push(format!(
            "plain HTTP is served on this machine only, and {address} is reachable from others: listen on 127.0.0.1, or put a proxy with TLS in front and say --behind-tls-proxy"
        ));
    }
    if let Err(error) = scheduled(&options.backups, &options.data.data) {
        refusals.push(error.to_string());
    }
    if is_open && options.behind_tls_proxy && options.trusted_proxies.is_empty() {
        refusals.push(format!(
            "{address} is reachable from others, and anybody could claim to be the proxy: name its address, such as --trusted-proxies 10.0.0.5, or its network, such as --trusted-proxies 10.0.0.0/24"
        ));
    }
    if let Some(metrics) = options
        .metrics_listen
        .filter(|metrics| !metrics.ip().is_loopback())
    {
        refusals.push(format!(
            "figures have exact counts of players in them, and {metrics} is reachable from others: say --metrics-listen with an address of this machine, such as 127.0.0.1:9464"
        ));
    }
    if let Err(words) = options.security.notice() {
        refusals.push(words);
    }
    refusals
}

/// The schedule of backups with the data folder that they are made of, when there shall be any.
fn scheduled(
    options: &super::Backups,
    data: &Path,
) -> Result<Option<(Schedule, PathBuf)>, Failure> {
    let Some(into) = &options.backup_to else {
        return Ok(None);
    };
    let schedule = Schedule::new(into, options.backup_every, options.backups_kept)?;
    Ok(Some((schedule, data.to_owned())))
}

/// Without other words the proxy stands on this machine.
fn front(options: &Serve) -> Front {
    let here = [
        IpNet::from(Ipv4Net::new_assert(Ipv4Addr::LOCALHOST, 8)),
        IpNet::from(IpAddr::from(Ipv6Addr::LOCALHOST)),
    ];
    match (options.behind_tls_proxy, options.trusted_proxies.as_slice()) {
        (false, _) => Front::Nothing,
        (true, []) => Front::proxies(&here),
        (true, proxies) => Front::proxies(proxies),
    }
}

pub(super) fn bind(address: SocketAddr) -> Result<TcpListener, Failure> {
    TcpListener::bind(address)
        .map_err(|error| format!("cannot listen on {address}: {error}").into())
}

/// How often withdrawals are looked at that have waited as long as they may, and the database written
/// anew where something was erased.
const PROMISES_EVERY: Duration = Duration::from_hours(1);

/// How often emptying the log is tried again when another connection, such as a backup, read it.
const TRACES_EVERY: Duration = Duration::from_secs(10);

/// How often it is looked whether a backup is due or old.
const BACKUPS_EVERY: Duration = Duration::from_mins(10);

/// How far the thread that makes public figures stands back behind those that answer, as `nice` has it:
/// about a quarter of a core that both want.
const PUBLISHERS_NICENESS: i32 = 5;

/// Serves until SIGINT or SIGTERM.
pub(super) fn until_stopped(
    service: Arc<Service>,
    listener: TcpListener,
    options: &Listen,
    front: Front,
    backups: Option<(Schedule, PathBuf)>,
    for_metrics: Option<TcpListener>,
) -> Result<ExitCode, Failure> {
    let publisher = Arc::clone(&service);
    std::thread::Builder::new()
        .name("publisher".to_owned())
        .spawn(move || {
            // Whoever asks goes first; where that cannot be had, they share.
            if let Err(error) = setpriority_process(None, PUBLISHERS_NICENESS) {
                tracing::debug!(%error, "the publisher does not stand back");
            }
            publisher.keep_publishing();
        })?;
    actix_web::rt::System::new().block_on(async {
        actix_web::rt::spawn(keep_promises(Arc::clone(&service)));
        actix_web::rt::spawn(leave_no_trace(Arc::clone(&service)));
        if let Some((schedule, data)) = backups {
            actix_web::rt::spawn(back_up(Arc::clone(&service), schedule, data));
        }
        let workers = usize::from(options.workers);
        let a_minute = options.requests_a_minute;
        http::server(service, listener, workers, front, a_minute, for_metrics)?.await
    })?;
    Ok(ExitCode::SUCCESS)
}

/// Acts on overdue withdrawals and writes the database anew, now and again and again.
async fn keep_promises(service: Arc<Service>) {
    loop {
        let (service, rewriting) = (Arc::clone(&service), Arc::clone(&service));
        let kept = web::block(move || service.keep_promises(clock::now_ms())).await;
        match kept {
            Ok(Ok(())) => {}
            Ok(Err(error)) => tracing::error!(%error, "overdue withdrawals still count"),
            Err(error) => tracing::error!(%error, "overdue withdrawals still count"),
        }
        let rewritten = web::block(move || rewriting.store().rewrite()).await;
        match rewritten {
            Ok(Ok(_)) => {}
            Ok(Err(error)) => tracing::error!(%error, "the database was not written anew"),
            Err(error) => tracing::error!(%error, "the database was not written anew"),
        }
        actix_web::rt::time::sleep(PROMISES_EVERY).await;
    }
}

/// Empties the log of what was erased, where that had to wait.
async fn leave_no_trace(service: Arc<Service>) {
    loop {
        let service = Arc::clone(&service);
        let left = web::block(move || service.store().leave_no_trace()).await;
        if let Err(error) = left {
            tracing::error!(%error, "the log may still hold what was erased");
        }
        actix_web::rt::time::sleep(TRACES_EVERY).await;
    }
}

/// Makes backups and removes old ones, now and again and again.
async fn back_up(service: Arc<Service>, schedule: Schedule, data: PathBuf) {
    loop {
        let (schedule_now, data) = (schedule.clone(), data.clone());
        let noting = Arc::clone(&service);
        let done = web::block(move || {
            let done = schedule_now.look(&data, clock::now_ms());
            noting.note_backups(schedule_now.newest_at_ms(&data), done.is_err());
            done
        })
        .await;
        match done {
            Ok(Ok(done)) => tell(&done),
            Ok(Err(error)) => {
                tracing::error!(%error, "the backup that is due could not be made, or an old one not removed")
            }
            Err(error) => tracing::error!(%error, "the backup that is due could not be made"),
        }
        actix_web::rt::time::sleep(BACKUPS_EVERY).await;
    }
}

fn tell(done: &Done) {
    if let Some(made) = &done.made {
        tracing::info!(backup = %made.folder.display(), "a backup was made");
    }
    for removed in &done.removed {
        tracing::info!(backup = %removed.display(), "an old backup was removed");
    }
}
