//! The data folder: who may read it, how much room there is, whether the database is whole, and what
//! the clock says beside what is stored.

use super::Findings;
use crate::clock;
use crate::receipt::ReceiptKey;
use crate::service::Service;
use crate::store::{Inspected, Size, Store};
use rustix::fs::Access;
use rustix::io::Errno;
use std::fs;
use std::os::unix::fs::{MetadataExt, PermissionsExt};
use std::path::Path;

/// Room below which no contribution is taken (`service/readiness`).
const LEAST_ROOM: u64 = 4 * 1024 * 1024;

/// A log that is larger than this is not being emptied (ours; SQLite moves it into the database from
/// 4 MB on).
const LARGE_LOG: u64 = 64 * 1024 * 1024;

/// The year in which this program was written, and one in which nobody will use it any more.
const YEARS: std::ops::Range<i16> = 2026..2100;

/// How far the clock may be behind what is stored: clocks are mended by seconds.
const BEHIND_MS: i64 = 60_000;

const MEGABYTE: u64 = 1_000_000;

/// Looks at everything in a folder; answers when the newest of what is stored was done.
pub(super) fn look(findings: &mut Findings, data: &Path) -> Option<i64> {
    let here = data.display();
    if !data.join(Store::FILE).exists() {
        findings.fault(
            "folder",
            format!("there is no {} in {here}", Store::FILE),
            "name the data folder, make one with `tautpool host study add`, or look as a user who may read it",
        );
        return None;
    }
    look_at_permissions(findings, data);
    look_at_access(findings, data);
    look_at_room(findings, data);
    look_at_database(findings, data)
}

/// Files of a folder that are its owner's alone.
const FILES: [&str; 4] = [
    Store::FILE,
    Store::LOG_FILE,
    ReceiptKey::FILE,
    Service::LOCK_FILE,
];

/// Everything here is secret, and everything is its owner's.
fn look_at_permissions(findings: &mut Findings, data: &Path) {
    let Ok(folder) = fs::metadata(data) else {
        return;
    };
    let before = findings.0.len();
    for name in FILES {
        let path = data.join(name);
        let Ok(file) = fs::metadata(&path) else {
            continue;
        };
        let mode = file.permissions().mode() & 0o777;
        if mode & 0o077 != 0 {
            let harm = if name == Service::LOCK_FILE {
                "others may lock the folder, and keep the service from starting, by"
            } else {
                "others may read"
            };
            findings.fault(
                "folder",
                format!("{harm} {} (mode {mode:03o})", path.display()),
                format!("chmod 600 {}", path.display()),
            );
        }
        if file.uid() != folder.uid() {
            findings.fault(
                "folder",
                format!("{} belongs to another user than its folder", path.display()),
                format!("chown --reference={} {}", data.display(), path.display()),
            );
        }
    }
    let mode = folder.permissions().mode() & 0o777;
    if mode & 0o022 != 0 {
        findings.fault(
            "folder",
            format!("others may write in {} (mode {mode:03o})", data.display()),
            format!("chmod 700 {}", data.display()),
        );
    } else if mode & 0o055 != 0 {
        findings.look(
            "folder",
            format!("others may look into {} (mode {mode:03o})", data.display()),
            format!("chmod 700 {}", data.display()),
        );
    }
    if findings.0.len() == before {
        findings.good(
            "folder",
            format!("{}, files for their owner alone", data.display()),
        );
    }
}

/// Whether this user may do what `serve` does: make files in the folder, and write in those that are
/// there. It is asked of the system and not tried, so that nothing is changed.
fn look_at_access(findings: &mut Findings, data: &Path) {
    let folder = (data.to_owned(), Access::WRITE_OK | Access::EXEC_OK, "u+rwx");
    let of_file = |name: &str| {
        let is_read = name == ReceiptKey::FILE;
        let (wanted, mode) = if is_read {
            (Access::READ_OK, "u+r")
        } else {
            (Access::READ_OK | Access::WRITE_OK, "u+rw")
        };
        (data.join(name), wanted, mode)
    };
    for (path, wanted, mode) in [folder].into_iter().chain(FILES.map(of_file)) {
        let Err(error) = rustix::fs::access(&path, wanted) else {
            continue;
        };
        let here = path.display();
        let is_own = fs::metadata(&path)
            .is_ok_and(|about| about.uid() == rustix::process::geteuid().as_raw());
        let may = if wanted.contains(Access::WRITE_OK) {
            "write in"
        } else {
            "read"
        };
        let found = format!("this user may not {may} {here}, as `serve` does: {error}");
        match error {
            Errno::NOENT => {}
            Errno::ROFS => findings.fault("folder", found, "mount its disk for writing"),
            _ if is_own => findings.fault("folder", found, format!("chmod {mode} {here}")),
            _ => findings.fault(
                "folder",
                found,
                format!("look and serve as the user it belongs to, or give it to this one: chown \"$(id -un)\" {here}"),
            ),
        }
    }
}

fn look_at_room(findings: &mut Findings, data: &Path) {
    let (Ok(about), Some(size)) = (rustix::fs::statvfs(data), Store::size_in(data)) else {
        return;
    };
    let room = about.f_bavail.saturating_mul(about.f_frsize);
    let found = format!(
        "{} MB left, database {} MB",
        room / MEGABYTE,
        size.database / MEGABYTE
    );
    if room < LEAST_ROOM {
        findings.fault("disk", found, "make room: no contribution is taken now");
    } else if room < size.database.saturating_mul(3) {
        findings.look(
            "disk",
            found,
            "make room: a backup and writing the database anew take three times its size",
        );
    } else {
        findings.good("disk", found);
    }
}

fn look_at_database(findings: &mut Findings, data: &Path) -> Option<i64> {
    let inspected = match Store::inspect(data) {
        Ok(inspected) => inspected,
        Err(error) => {
            findings.fault(
                "database",
                error,
                "look as the user it belongs to; if it is damaged, restore a backup",
            );
            return None;
        }
    };
    if inspected.faults.is_empty() {
        look_at_format(findings, inspected.format);
    } else {
        findings.fault(
            "database",
            format!("it is damaged: {}", inspected.faults.join("; ")),
            "stop the service and restore a backup: tautpool restore BACKUP --data NEW",
        );
    }
    look_at_key(findings, data, &inspected);
    if let Some(Size { log, .. }) = Store::size_in(data).filter(|size| LARGE_LOG < size.log) {
        findings.look(
            "database",
            format!("its write-ahead log has {} MB", log / MEGABYTE),
            "end whatever keeps reading the database; a restart of the service empties the log",
        );
    }
    inspected.newest_at_ms
}

fn look_at_format(findings: &mut Findings, format: i64) {
    if format < Store::format() {
        findings.look(
            "database",
            format!("whole, of format {format}"),
            format!(
                "make a backup: the next start brings it to format {}, and an older program then refuses it",
                Store::format()
            ),
        );
    } else {
        findings.good("database", format!("whole, of format {format}"));
    }
}

fn look_at_key(findings: &mut Findings, data: &Path, inspected: &Inspected) {
    let path = data.join(ReceiptKey::FILE);
    // Asking for the key of a folder without one would make one.
    let mend = "put back the key that belongs to this database, from a backup: without it no receipt opens anything";
    if !path.exists() {
        findings.fault("key", format!("there is no {}", path.display()), mend);
        return;
    }
    match (
        ReceiptKey::of_folder(data),
        &inspected.receipt_key_fingerprint,
    ) {
        (Ok(key), Some(kept)) if *kept == key.fingerprint() => {
            findings.good("key", "belongs to the database");
        }
        (Ok(_), None) => findings.good("key", "the database has not been used with one yet"),
        (Ok(_), Some(_)) => {
            findings.fault("key", format!("{} is another one's", path.display()), mend);
        }
        (Err(error), _) => findings.fault("key", error, mend),
    }
}

/// Times are stored, and promises kept, by this machine's clock.
pub(super) fn look_at_clock(findings: &mut Findings, newest_at_ms: Option<i64>, now_ms: i64) {
    let now = clock::date_time(now_ms);
    let (year, _) = clock::month(now_ms);
    let mend = "set it by network time, such as with systemd-timesyncd: timedatectl set-ntp true";
    if !YEARS.contains(&year) {
        findings.fault("clock", format!("it is {now} here"), mend);
    } else if let Some(newest) = newest_at_ms.filter(|newest| now_ms + BEHIND_MS < *newest) {
        let newest = clock::date_time(newest);
        findings.fault(
            "clock",
            format!("it is {now} here, but something was stored at {newest}"),
            mend,
        );
    } else if is_synchronised() {
        findings.good("clock", format!("{now}, synchronised"));
    } else {
        findings.look(
            "clock",
            format!("{now}; nothing here says that it is set by network time"),
            "timedatectl shows it; timedatectl set-ntp true has it set",
        );
    }
}

/// As systemd-timesyncd and chrony leave it behind (their manuals).
fn is_synchronised() -> bool {
    [
        "/run/systemd/timesync/synchronized",
        "/run/chrony/chronyd.pid",
    ]
    .iter()
    .any(|mark| Path::new(mark).exists())
}

#[cfg(test)]
mod tests {
    use super::*;

    const DAY_MS: i64 = 86_400_000;

    fn told(newest_at_ms: Option<i64>, now_ms: i64) -> (&'static str, String) {
        let mut findings = Findings::default();
        look_at_clock(&mut findings, newest_at_ms, now_ms);
        (findings.0[0].outcome.code(), findings.0[0].found.clone())
    }

    #[test]
    fn a_clock_that_cannot_be_right_is_a_fault() {
        assert_eq!(told(None, DAY_MS).0, "fault");
        let now_ms = 21_000 * DAY_MS;
        assert_ne!(told(Some(now_ms), now_ms).0, "fault");
        assert_ne!(told(Some(now_ms + BEHIND_MS), now_ms).0, "fault");
        let (outcome, found) = told(Some(now_ms + DAY_MS), now_ms);
        assert_eq!(outcome, "fault");
        assert!(found.contains("stored at 2027-07-02"), "{found}");
    }
}
