//! What the service says of itself at the moment it is asked.

use super::super::connections::Tally;
use super::Labels;
use crate::service::{Counts, Service};
use prometheus_client::metrics::counter::ConstCounter;
use prometheus_client::metrics::family::Family;
use prometheus_client::metrics::gauge::{ConstGauge, Gauge};
use prometheus_client::registry::Registry;
use std::sync::atomic::AtomicU64;

/// A figure with a fraction.
type Real = Gauge<f64, AtomicU64>;

pub(super) fn of(service: &Service, connections: Tally, now_ms: i64) -> Registry {
    let counts = service.counts();
    let mut all = Registry::with_prefix("tautpool");
    of_connections(&mut all, connections);
    of_contributions(&mut all, &counts);
    of_publishing(&mut all, &counts);
    of_studies(&mut all, service);
    of_backups(&mut all, &counts);
    of_disk(&mut all, service);
    gauge(
        &mut all,
        "ready",
        "1 when a contribution could be taken now",
        u64::from(service.readiness(now_ms).is_ok()),
    );
    let version = vec![("version", env!("CARGO_PKG_VERSION").to_owned())];
    let build = Family::<Labels, Gauge>::default();
    build.get_or_create(&version).set(1);
    all.register("build_info", "The program", build);
    all
}

fn gauge(all: &mut Registry, name: &str, help: &str, value: u64) {
    all.register(name, help, ConstGauge::new(value));
}

fn counter(all: &mut Registry, name: &str, help: &str, value: u64) {
    all.register(name, help, ConstCounter::new(value));
}

/// A counter with one label.
fn counters(
    all: &mut Registry,
    (name, help): (&str, &str),
    label: &'static str,
    values: &[(&str, u64)],
) {
    let family = Family::<Labels, prometheus_client::metrics::counter::Counter>::default();
    for (value, count) in values {
        let labels = vec![(label, (*value).to_owned())];
        family.get_or_create(&labels).inc_by(*count);
    }
    all.register(name, help, family);
}

fn of_connections(all: &mut Registry, tally: Tally) {
    gauge(
        all,
        "http_connections",
        "Connections that are open",
        tally.n_open,
    );
    counters(
        all,
        ("http_connections_ended", "Connections that this side ended"),
        "reason",
        &[
            ("too_many_of_a_client", tally.n_of_a_client),
            ("no_room", tally.n_no_room),
            ("gave_way", tally.n_gave_way),
            ("too_slow", tally.n_overdue),
        ],
    );
}

fn of_contributions(all: &mut Registry, counts: &Counts) {
    counters(
        all,
        (
            "contributions",
            "New contributions since the start, by what became of them",
        ),
        "outcome",
        &[
            ("stored", counts.stored),
            ("held", counts.held),
            ("repeated", counts.repeated),
            ("refused", counts.refused),
        ],
    );
}

fn of_publishing(all: &mut Registry, counts: &Counts) {
    let done = Family::<Labels, prometheus_client::metrics::counter::Counter>::default();
    let took = Family::<Labels, Real>::default();
    let last = Family::<Labels, Real>::default();
    let missing = Family::<Labels, Gauge>::default();
    for (study, made) in &counts.published {
        let of_study = vec![("study", study.clone())];
        for (outcome, count) in [("made", made.n_made), ("failed", made.n_failed)] {
            let mut labels = of_study.clone();
            labels.push(("outcome", outcome.to_owned()));
            done.get_or_create(&labels).inc_by(count);
        }
        took.get_or_create(&of_study).set(made.took.as_secs_f64());
        if let Some(at_ms) = made.made_at_ms {
            last.get_or_create(&of_study).set(seconds(at_ms));
        }
        missing
            .get_or_create(&of_study)
            .set(i64::from(made.is_missing));
    }
    all.register(
        "publications",
        "How often public figures of a study were made, or could not be",
        done,
    );
    all.register(
        "publication_duration_seconds",
        "How long making them took the last time",
        took,
    );
    all.register(
        "publication_last_success_timestamp_seconds",
        "When they were last made",
        last,
    );
    all.register(
        "publication_missing",
        "1 when they could not be made the last time",
        missing,
    );
}

fn of_studies(all: &mut Registry, service: &Service) {
    let batches = Family::<Labels, Gauge>::default();
    for public in service.studies() {
        let number = public
            .publication
            .batch
            .as_ref()
            .map_or(0, |batch| batch.number);
        let labels = vec![("study", public.study.label.slug.clone())];
        batches.get_or_create(&labels).set(number);
    }
    all.register(
        "study_batch",
        "The public batch that is shown, 0 before the first",
        batches,
    );
}

fn of_backups(all: &mut Registry, counts: &Counts) {
    let Some(backups) = &counts.backups else {
        return;
    };
    counter(
        all,
        "backup_failures",
        "Looks at the schedule of backups that failed",
        backups.n_failed,
    );
    if let Some(at_ms) = backups.newest_at_ms {
        all.register(
            "backup_newest_timestamp_seconds",
            "When the newest backup of the schedule was made",
            ConstGauge::new(seconds(at_ms)),
        );
    }
}

fn of_disk(all: &mut Registry, service: &Service) {
    let store = service.store();
    counter(
        all,
        "shared_transactions",
        "Transactions in which contributions, corrections and plans were stored, each synced once",
        store.n_synced(),
    );
    if let Some(size) = store.size() {
        gauge(all, "database_bytes", "Size of the database", size.database);
        gauge(
            all,
            "database_log_bytes",
            "Size of its write-ahead log",
            size.log,
        );
    }
    if let Some(room) = store.room() {
        gauge(
            all,
            "disk_free_bytes",
            "What the disk with the data has left",
            room,
        );
    }
}

#[expect(
    clippy::cast_precision_loss,
    reason = "milliseconds since the epoch stay below 2^53"
)]
pub(super) fn seconds(ms: i64) -> f64 {
    ms as f64 / 1e3
}
