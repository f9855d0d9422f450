//! What the process takes of the machine, under the names that Prometheus gives to such figures in
//! every program. Where the system does not say one, it is left out.

use super::state::seconds;
use prometheus_client::metrics::gauge::ConstGauge;
use prometheus_client::registry::Registry;
use std::fs;

pub(super) fn of_this(started_ms: i64) -> Registry {
    let mut all = Registry::with_prefix("process");
    all.register(
        "start_time_seconds",
        "When the process began to serve",
        ConstGauge::new(seconds(started_ms)),
    );
    if let Some(bytes) = resident_bytes() {
        all.register(
            "resident_memory_bytes",
            "Memory that is in use",
            ConstGauge::new(bytes),
        );
    }
    if let Ok(open) = fs::read_dir("/proc/self/fd") {
        all.register(
            "open_fds",
            "File descriptors that are open",
            ConstGauge::new(open.count()),
        );
    }
    all
}

/// As `proc_pid_status(5)` has it.
fn resident_bytes() -> Option<u64> {
    let status = fs::read_to_string("/proc/self/status").ok()?;
    let line = status
        .lines()
        .find_map(|line| line.strip_prefix("VmRSS:"))?;
    let kib: u64 = line.trim().strip_suffix("kB")?.trim().parse().ok()?;
    Some(kib * 1024)
}
