//! The doors over HTTP: routes, limits and headers. The only place that knows status codes.
//!
//! Handlers are thin: take the request apart, call the service (blocking work on the blocking
//! pool, inside the request's span), answer. Every error is a problem document (RFC 9457).

mod away;
mod body;
mod browser;
mod came_from;
mod cards;
mod client;
mod coding;
mod connections;
mod contributions;
mod desk;
mod documents;
mod form;
mod headers;
mod held;
mod history;
mod host;
mod interface;
mod key;
mod limit;
mod listing;
mod metrics;
mod observe;
mod open;
mod own;
mod package;
mod part;
mod pieces;
mod plans;
mod problem;
mod query;
mod readiness;
mod receipt;
mod releases;
mod security;
mod send;
mod stop;
mod upload;

pub use client::Front;

use crate::service::Service;
use actix_web::dev::Server;
use actix_web::middleware::from_fn;
use actix_web::rt::spawn;
use actix_web::{App, HttpServer, web};
use connections::Connections;
use limit::Limit;
use metrics::Metrics;
use open::open;
use std::io;
use std::net::TcpListener;
use std::sync::Arc;

/// How long requests under way may take once the server is told to stop.
const DRAIN_SECONDS: u64 = 10;

/// Threads of each worker for work that blocks. Writing is one at a time anyway; this is for the
/// few answers that are made on request.
const BLOCKING_THREADS: usize = 16;

/// A server on a bound listener. It runs until its future is dropped or it gets SIGINT or SIGTERM;
/// what is under way then is answered first, unless a second signal comes.
/// A client may make so many requests a minute for reading, and of others in proportion; 0 is no limit.
/// On a listener for metrics, figures are told to whoever runs the service.
///
/// # Errors
/// When the listener cannot be used, or the system has no randomness to give.
pub fn server(
    service: Arc<Service>,
    listener: TcpListener,
    workers: usize,
    front: Front,
    requests_a_minute: u32,
    for_metrics: Option<TcpListener>,
) -> io::Result<Server> {
    let told_to_stop = Arc::clone(&service);
    let service = web::Data::from(service);
    let limit = web::Data::new(Limit::new(requests_a_minute)?);
    let connections = Connections::new()?;
    spawn(connections::cut_overdue(Arc::clone(&connections)));
    let metrics = for_metrics.map(|listener| {
        let metrics = Arc::new(Metrics::new(Arc::clone(&connections)));
        spawn(metrics::server(
            listener,
            Arc::clone(&metrics),
            web::Data::clone(&service),
        )?);
        Ok::<_, io::Error>(metrics)
    });
    let metrics = web::Data::new(metrics.transpose()?);
    let of_clients = front.clone();
    let server = HttpServer::new(move || {
        App::new()
            .app_data(web::Data::clone(&service))
            .app_data(web::Data::clone(&limit))
            .app_data(front.clone())
            .app_data(web::Data::clone(&metrics))
            .wrap(from_fn(away::request))
            .wrap(from_fn(limit::request))
            .wrap(from_fn(headers::of_every_answer))
            .wrap(from_fn(observe::request))
            .wrap(from_fn(connections::request))
            .configure(every_route)
            .default_service(web::to(problem::not_found))
    })
    .workers(workers)
    .worker_max_blocking_threads(BLOCKING_THREADS)
    .on_connect(move |stream, extensions| connections.opened(stream, &of_clients, extensions))
    // An answer goes out in several pieces, and the last would wait for the client's delayed
    // acknowledgement of the one before: 40 ms (RFC 9293, section 3.7.4).
    .tcp_nodelay(true)
    // They are bounded over all workers above; here that would keep whoever comes waiting.
    .max_connections(2 * connections::MOST)
    .keep_alive(connections::KEPT)
    .client_request_timeout(connections::HEAD_WITHIN)
    .shutdown_timeout(DRAIN_SECONDS)
    .disable_signals()
    .listen(listener)?
    .run();
    stop::on_signals(server.handle(), told_to_stop)?;
    Ok(server)
}

fn every_route(config: &mut web::ServiceConfig) {
    config
        .configure(routes)
        .configure(host::routes)
        .configure(desk::routes)
        .configure(releases::routes)
        .configure(package::routes)
        .configure(security::routes)
        .configure(interface::routes);
}

fn routes(config: &mut web::ServiceConfig) {
    let read = |path: &str, handler: actix_web::Route| {
        web::resource(path)
            .route(handler)
            .default_service(web::to(problem::only_read))
    };
    config
        .service(read("/", documents::reading().to(documents::studies_page)))
        .service(read(
            "/studies/{study}",
            documents::reading().to(documents::study_page),
        ))
        .service(read(
            "/studies/{study}/pairs",
            documents::reading().to(documents::pairs_page),
        ))
        .service(open(
            "/studies/{study}/pictures/{picture}.svg",
            documents::reading().to(documents::picture),
        ))
        .service(open(
            "/studies/{study}/{card:card[.-][^/]*}",
            documents::reading().to(cards::card),
        ))
        .service(
            web::resource("/studies/{study}/send")
                .route(documents::reading().to(send::begin))
                .route(web::post().to(send::take))
                .default_service(web::to(problem::read_or_post))
                .wrap(from_fn(came_from::no_other_site)),
        )
        .service(
            web::resource("/studies/{study}/send/check")
                .route(web::post().to(send::check))
                .default_service(web::to(problem::only_post))
                .wrap(from_fn(came_from::no_other_site)),
        )
        .service(read(
            "/problems",
            documents::reading().to(documents::problems_page),
        ))
        .service(read(
            "/style.css",
            documents::reading().to(documents::style),
        ))
        .service(read("/icon.svg", documents::reading().to(documents::icon)))
        .service(read(
            "/script/{file}",
            documents::reading().to(documents::script),
        ))
        .service(read(
            "/worker.js",
            documents::reading().to(documents::worker),
        ))
        .service(open(
            "/schema/{file}",
            documents::reading().to(documents::schema),
        ))
        .service(
            web::resource("/studies/{study}/upload")
                .route(documents::reading().to(upload::page))
                .route(web::post().to(upload::take))
                .default_service(web::to(problem::read_or_post))
                .wrap(from_fn(came_from::no_other_site)),
        )
        .service(open(
            "/studies/{study}/shots-template.csv",
            documents::reading().to(upload::template),
        ))
        .service(read("/ready", documents::reading().to(readiness::told)))
        .service(read("/health", documents::reading().to(documents::health)))
        .service(open(
            "/api/v1/studies",
            documents::reading().to(documents::studies),
        ))
        .service(open(
            "/api/v1/studies/{study}/pooled",
            documents::reading().to(documents::pooled),
        ))
        .service(open(
            "/api/v1/studies/{study}/aggregate",
            documents::reading().to(documents::aggregate),
        ))
        .service(open(
            "/api/v1/studies/{study}/query",
            documents::reading().to(query::live),
        ))
        .service(read(
            "/studies/{study}/take-part",
            documents::reading().to(documents::take_part_page),
        ))
        .service(read(
            "/studies/{study}/protocol",
            documents::reading().to(history::shown),
        ))
        .service(open(
            "/api/v1/studies/{study}/protocol",
            documents::reading().to(history::told),
        ))
        .service(
            web::resource("/studies/{study}/plan")
                .route(documents::reading().to(plans::page))
                .route(web::post().to(plans::act))
                .default_service(web::to(problem::read_or_post))
                .wrap(from_fn(came_from::no_other_site)),
        )
        .service(
            web::resource("/api/v1/studies/{study}/plans")
                .route(web::post().to(plans::draw))
                .default_service(web::to(problem::only_post)),
        )
        .service(
            web::resource("/api/v1/studies/{study}/plans/{code}/open")
                .route(web::post().to(plans::open))
                .default_service(web::to(problem::only_post)),
        )
        .service(
            web::resource("/api/v1/studies/{study}/contributions")
                .route(web::post().to(contributions::create))
                .route(documents::reading().to(held::read))
                .default_service(web::to(problem::read_or_post)),
        )
        .service(
            web::resource("/studies/{study}/receipt")
                .route(documents::reading().to(receipt::asked))
                .route(web::post().to(receipt::opened))
                .default_service(web::to(problem::read_or_post))
                .wrap(from_fn(came_from::no_other_site)),
        )
        .service(
            web::resource("/api/v1/studies/{study}/contributions/{contribution}")
                .route(web::put().to(held::mend))
                .route(web::delete().to(held::withdraw))
                .default_service(web::to(problem::only_put_and_delete)),
        );
}
