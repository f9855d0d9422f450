//! The units of systemd, as far as it looks at them without being the init system.

use super::{done, file, of_unit, text};
use crate::harness::{self, Server, contribution, varied};
use std::collections::BTreeSet;
use std::fs;
use std::path::Path;
use std::process::Command;

const UNITS: [&str; 3] = [
    "tautpool.service",
    "tautpool-backup.service",
    "tautpool-backup.timer",
];

/// Most that `systemd-analyze security` may find open of a unit, in tenths of its score.
const MOST_EXPOSED: u8 = 20;

/// The units in a folder, running the program that is tested.
fn installed(folder: &Path) {
    let program = env!("CARGO_BIN_EXE_tautpool");
    for unit in UNITS {
        let of_here = text(unit).replace("/usr/local/bin/tautpool", program);
        fs::write(folder.join(unit), of_here).unwrap();
    }
}

#[test]
fn systemd_finds_no_fault_with_the_units_and_little_that_is_open() {
    let folder = tempfile::tempdir().unwrap();
    installed(folder.path());
    for unit in UNITS {
        let path = folder.path().join(unit);
        let output = done(
            Command::new("systemd-analyze")
                .args(["verify", "--man=no"])
                .arg(&path),
        );
        let said = String::from_utf8(output.stderr).unwrap();
        assert!(!said.contains(unit), "{said}");
    }
    for unit in &UNITS[..2] {
        done(
            Command::new("systemd-analyze")
                .args(["security", "--offline=true", "--no-pager"])
                .arg(format!("--threshold={MOST_EXPOSED}"))
                .arg(folder.path().join(unit)),
        );
    }
    // The bound is one that can be missed.
    let open = folder.path().join("open.service");
    fs::write(&open, "[Service]\nExecStart=/bin/true\n").unwrap();
    let output = Command::new("systemd-analyze")
        .args(["security", "--offline=true", "--no-pager"])
        .arg(format!("--threshold={MOST_EXPOSED}"))
        .arg(&open)
        .output();
    assert!(!output.unwrap().status.success());
}

#[test]
fn the_day_of_the_timer_and_the_line_of_the_user_are_understood() {
    let timer = text("tautpool-backup.timer");
    let day = of_unit(&timer, "OnCalendar");
    done(Command::new("systemd-analyze").arg("calendar").args(&day));
    let root = tempfile::tempdir().unwrap();
    fs::create_dir(root.path().join("etc")).unwrap();
    let sysusers = format!("--root={}", root.path().display());
    done(
        Command::new("systemd-sysusers")
            .arg(sysusers)
            .arg(file("tautpool.sysusers")),
    );
    let users = fs::read_to_string(root.path().join("etc/passwd")).unwrap();
    let user = users.lines().find(|line| line.starts_with("tautpool:"));
    assert!(user.unwrap().ends_with("/nologin"), "{users}");
}

#[test]
fn it_is_killed_only_after_the_time_that_it_takes_to_end_by_itself() {
    let source = include_str!("../../../src/http.rs");
    let (_, drain) = source.split_once("const DRAIN_SECONDS: u64 = ").unwrap();
    let drain: u64 = drain.split(';').next().unwrap().parse().unwrap();
    let stop = of_unit(&text("tautpool.service"), "TimeoutStopSec");
    let stop: u64 = stop[0].parse().unwrap();
    assert!(drain < stop && stop <= 2 * drain, "{drain} {stop}");
}

#[test]
fn the_timer_removes_what_the_readme_says_is_removed() {
    let unit = text("tautpool-backup.service");
    let line = of_unit(&unit, "ExecStartPost");
    let folder = tempfile::tempdir().unwrap();
    let place = folder.path().to_str().unwrap();
    for (name, age) in [
        ("tautpool-20260101T000000Z", "31 days ago"),
        ("tautpool-20260102T000000Z.partial", "31 days ago"),
        ("tautpool-20260103T000000Z", "29 days ago"),
        ("of-somebody-else", "31 days ago"),
    ] {
        let made = folder.path().join(name);
        fs::create_dir(&made).unwrap();
        fs::write(made.join("file"), b"").unwrap();
        done(Command::new("touch").args(["-d", age]).arg(&made));
    }
    let line = line[0].replace("/var/lib/tautpool-backups", place);
    let words: Vec<&str> = line.split(' ').collect();
    done(Command::new(words[0]).args(&words[1..]));
    let left = fs::read_dir(folder.path()).unwrap();
    let mut left: Vec<_> = left.map(|one| one.unwrap().file_name()).collect();
    left.sort();
    assert_eq!(left, ["of-somebody-else", "tautpool-20260103T000000Z"]);
}

/// The README suggests that log lines are kept for so long.
const LOG_DAYS: &str = "14";

#[test]
fn log_lines_are_kept_as_long_as_the_readme_says_wherever_they_go() {
    let readme = include_str!("../../../README.md");
    assert!(readme.contains(&format!("we suggest {LOG_DAYS} days")));
    let journal = of_unit(&text("journald.conf"), "MaxRetentionSec");
    assert_eq!(journal, [format!("{LOG_DAYS}day")]);
    let namespace = of_unit(&text("tautpool.service"), "LogNamespace");
    assert!(text("README.md").contains(&format!("/etc/systemd/journald@{}.conf", namespace[0])));
    let folder = tempfile::tempdir().unwrap();
    let log = folder.path().join("log");
    fs::write(&log, "a line\n").unwrap();
    let rules = text("logrotate.conf").replace("/var/log/tautpool/log", log.to_str().unwrap());
    assert!(
        rules.contains(&format!("rotate {LOG_DAYS}\n"))
            && rules.contains(&format!("maxage {LOG_DAYS}\n"))
    );
    let file = folder.path().join("rules");
    fs::write(&file, rules).unwrap();
    let state = folder.path().join("state");
    done(
        Command::new("logrotate")
            .arg("--force")
            .arg("--state")
            .arg(state)
            .arg(&file),
    );
    assert_eq!(fs::read(&log).unwrap(), b"", "emptied in place");
    let kept = fs::read(folder.path().join("log.1")).unwrap();
    assert_eq!(kept, b"a line\n");
}

/// Every call in a set of systemd, sets in it too.
fn calls(set: &str) -> BTreeSet<String> {
    if !set.starts_with('@') {
        // A call by its own name.
        return BTreeSet::from([set.to_owned()]);
    }
    let output = done(Command::new("systemd-analyze").args(["syscall-filter", "--no-pager", set]));
    let said = String::from_utf8(output.stdout).unwrap();
    let lines = said.lines().skip(1).map(str::trim);
    let named = lines.filter(|line| !line.is_empty() && !line.starts_with('#'));
    named
        .flat_map(|line| match line.strip_prefix('@') {
            Some(_) => calls(line),
            None => BTreeSet::from([line.to_owned()]),
        })
        .collect()
}

/// Every call that a unit lets through.
fn allowed(unit: &str) -> BTreeSet<String> {
    let mut allowed = BTreeSet::new();
    for line in of_unit(unit, "SystemCallFilter") {
        let (takes_away, sets) = match line.strip_prefix('~') {
            Some(sets) => (true, sets),
            None => (false, line.as_str()),
        };
        for call in sets.split_whitespace().flat_map(calls) {
            if takes_away {
                allowed.remove(&call);
            } else {
                allowed.insert(call);
            }
        }
    }
    allowed
}

/// What a program asks the kernel for while it runs; the program's own arguments follow.
fn asked(trace: &Path) -> BTreeSet<String> {
    let text = fs::read_to_string(trace).unwrap();
    let calls = text.lines().filter_map(|line| {
        let call = line.split_whitespace().nth(1)?.split('(').next()?;
        let is_name = call
            .bytes()
            .all(|byte| byte.is_ascii_lowercase() || byte.is_ascii_digit() || byte == b'_');
        is_name.then(|| call.to_owned())
    });
    calls
        .filter(|call| !call.is_empty() && call != "resumed")
        .collect()
}

/// Asked by root alone, which the units are not: SQLite gives its log the owner of the database.
const OF_ROOT: &str = "fchown";

#[test]
fn what_the_program_asks_of_the_kernel_is_let_through() {
    let folder = harness::folder();
    let backups = tempfile::tempdir().unwrap();
    let traces = tempfile::tempdir().unwrap();
    let trace = traces.path().join("trace");
    let mut server = Server::serve(
        folder.path(),
        &[
            "--backup-to",
            backups.path().to_str().unwrap(),
            "--metrics-listen",
            "127.0.0.1:0",
        ],
    );
    let mut strace = Command::new("strace")
        .args(["-f", "-q", "-o"])
        .arg(&trace)
        .args(["-p", &server.process().to_string()])
        .spawn()
        .unwrap();
    harness::wait_until("strace looks on", || trace.exists());
    for number in 0..6 {
        server.post(&contribution(varied(number))).expect(201);
    }
    for path in ["/", "/ready", "/health"] {
        server.get(path).expect(200);
    }
    server
        .get(&format!("/studies/{}/card-1200x630.png", harness::STUDY))
        .expect(200);
    server.signal("TERM");
    assert_eq!(server.ended(std::time::Duration::from_secs(60)), Some(0));
    strace.wait().unwrap();
    let start = traces.path().join("start");
    let data = folder.path().to_str().unwrap();
    // The same from the first call on, and a backup; both end by themselves.
    for arguments in [
        vec![
            "backup",
            "--data",
            data,
            "--to",
            backups.path().to_str().unwrap(),
        ],
        vec!["serve", "--data", data, "--listen", "127.0.0.1:0"],
    ] {
        let mut one = Command::new("timeout");
        one.args(["--signal=TERM", "20", "strace", "-f", "-q", "-o"])
            .arg(&start)
            .args([
                "timeout",
                "--signal=TERM",
                "5",
                env!("CARGO_BIN_EXE_tautpool"),
            ])
            .args(&arguments);
        one.output().unwrap();
        let unit = if arguments[0] == "serve" {
            UNITS[0]
        } else {
            UNITS[1]
        };
        assert_let_through(&allowed(&text(unit)), &asked(&start));
    }
    assert_let_through(&allowed(&text(UNITS[0])), &asked(&trace));
}

fn assert_let_through(allowed: &BTreeSet<String>, asked: &BTreeSet<String>) {
    assert!(10 < asked.len(), "{asked:?}");
    let refused = asked.difference(allowed);
    let refused: Vec<_> = refused.filter(|call| *call != OF_ROOT).collect();
    assert!(refused.is_empty(), "{refused:?}");
}
