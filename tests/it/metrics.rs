//! Figures for whoever runs the service: what they count, whom they are told, and that nothing of a
//! client is in them.

#![expect(clippy::unwrap_used, reason = "a test stops at what it did not expect")]

use crate::harness::{self, METRICS, STUDY, Server, contribution, run, varied, wait_until};
use serde_json::json;
use std::collections::BTreeSet;
use std::fs;
use std::io::{Read, Write};
use std::net::TcpStream;
use std::path::Path;
use std::process::{Command, Stdio};

/// What is served where the program says that figures are.
fn asked(server: &Server, host: &str) -> (String, String) {
    let line = server
        .printed
        .lines()
        .find(|line| line.starts_with(METRICS));
    let address = line.unwrap().strip_prefix("Figures on http://").unwrap();
    let address = address.strip_suffix("/metrics").unwrap();
    let mut stream = TcpStream::connect(address).unwrap();
    write!(
        stream,
        "GET /metrics HTTP/1.1\r\nHost: {host}\r\nConnection: close\r\n\r\n"
    )
    .unwrap();
    let mut answer = Vec::new();
    stream.read_to_end(&mut answer).unwrap();
    let answer = String::from_utf8(answer).unwrap();
    let (head, body) = answer.split_once("\r\n\r\n").unwrap();
    (head.to_lowercase(), body.to_owned())
}

fn figures(server: &Server) -> String {
    let (head, body) = asked(server, "127.0.0.1:9464");
    assert!(head.starts_with("http/1.1 200"), "{head}");
    assert!(
        head.contains("content-type: text/plain; version=0.0.4"),
        "{head}"
    );
    body
}

/// The value of a series; `None` when there is none.
fn value(figures: &str, series: &str) -> Option<f64> {
    let mut lines = figures.lines().filter_map(|line| line.rsplit_once(' '));
    let (_, value) = lines.find(|(name, _)| *name == series)?;
    Some(value.parse().unwrap())
}

/// Some tests look at clocks.
#[track_caller]
fn is_recent(seconds: Option<f64>) {
    let now = f64::from(u32::try_from(tautpool::clock::now_ms() / 1000).unwrap());
    let seconds = seconds.unwrap();
    assert!(
        (now - 120.0..=now + 1.0).contains(&seconds),
        "{seconds} at {now}"
    );
}

fn watched(more: &[&str]) -> (tempfile::TempDir, Server) {
    let folder = harness::folder();
    let server = Server::serve(
        folder.path(),
        &[&["--metrics-listen", "127.0.0.1:0"], more].concat(),
    );
    (folder, server)
}

#[test]
fn contributions_batches_and_figures_made_are_counted() {
    let (_folder, server) = watched(&[]);
    let before = figures(&server);
    for outcome in ["stored", "held", "repeated", "refused"] {
        let series = format!("tautpool_contributions_total{{outcome=\"{outcome}\"}}");
        assert_eq!(value(&before, &series), Some(0.0), "{series}");
    }
    let batch = format!("tautpool_study_batch{{study=\"{STUDY}\"}}");
    assert_eq!(value(&before, &batch), Some(0.0));
    for number in 0..5 {
        server.post(&contribution(varied(number))).expect(201);
    }
    // A copy waits for the host, the same request again is no second one, nonsense is refused.
    let copy = contribution(varied(0)).to_string();
    let key = [("idempotency-key", "\"once\"")];
    for _ in 0..2 {
        server.post_bytes(copy.as_bytes(), &key).expect(201);
    }
    server.post(&json!({"nonsense": true})).expect(422);
    wait_until("the batch is shown", || {
        value(&figures(&server), &batch) == Some(1.0)
    });
    let after = figures(&server);
    for (outcome, count) in [
        ("stored", 5.0),
        ("held", 1.0),
        ("repeated", 1.0),
        ("refused", 1.0),
    ] {
        let series = format!("tautpool_contributions_total{{outcome=\"{outcome}\"}}");
        assert_eq!(value(&after, &series), Some(count), "{series}");
    }
    // One after the other, so that nobody shared one.
    let synced = "tautpool_shared_transactions_total";
    assert_eq!(value(&after, synced), Some(6.0), "{after}");
    let made = format!("tautpool_publications_total{{study=\"{STUDY}\",outcome=\"made\"}}");
    assert!(Some(2.0) <= value(&after, &made), "{after}");
    let of_study = format!("{{study=\"{STUDY}\"}}");
    assert_eq!(
        value(&after, &format!("tautpool_publication_missing{of_study}")),
        Some(0.0)
    );
    is_recent(value(
        &after,
        &format!("tautpool_publication_last_success_timestamp_seconds{of_study}"),
    ));
    assert!(
        Some(0.0)
            < value(
                &after,
                &format!("tautpool_publication_duration_seconds{of_study}")
            )
    );
}

#[test]
fn the_process_its_disk_and_its_readiness_are_told() {
    let (folder, server) = watched(&[]);
    let told = figures(&server);
    assert_eq!(value(&told, "tautpool_ready"), Some(1.0));
    let build = concat!(
        "tautpool_build_info{version=\"",
        env!("CARGO_PKG_VERSION"),
        "\"}"
    );
    assert_eq!(value(&told, build), Some(1.0));
    is_recent(value(&told, "process_start_time_seconds"));
    let memory = value(&told, "process_resident_memory_bytes").unwrap();
    assert!((1e6..4e9).contains(&memory), "{memory}");
    assert!(Some(5.0) < value(&told, "process_open_fds"));
    let database = fs::metadata(folder.path().join("tautpool.sqlite"))
        .unwrap()
        .len();
    let database = f64::from(u32::try_from(database).unwrap());
    assert_eq!(value(&told, "tautpool_database_bytes"), Some(database));
    assert!(Some(0.0) <= value(&told, "tautpool_database_log_bytes"));
    assert!(Some(1e6) < value(&told, "tautpool_disk_free_bytes"));
    server.signal("TERM");
}

#[test]
fn requests_are_counted_by_route_and_nothing_of_a_client_is_in_a_label() {
    let (_folder, server) = watched(&["--requests-a-minute", "4"]);
    let mark = "xyzzy";
    server
        .get(&format!("/studies/{mark}?{mark}={mark}"))
        .expect(404);
    server.get(&format!("/{mark}/{mark}"));
    let request = b"XYZZY / HTTP/1.1\r\nHost: xyzzy\r\nConnection: close\r\n\r\n";
    server.raw(request).unwrap().expect(405);
    for _ in 0..6 {
        server.get(&format!("/api/v1/studies/{STUDY}/pooled"));
    }
    let told = figures(&server);
    assert!(!told.to_lowercase().contains(mark), "{told}");
    let pooled = |status: &str| {
        let series = format!(
            "tautpool_http_requests_total{{route=\"/api/v1/studies/{{study}}/pooled\",method=\"GET\",status=\"{status}\"}}"
        );
        value(&told, &series)
    };
    assert_eq!(
        (pooled("2xx"), pooled("4xx")),
        (Some(4.0), Some(2.0)),
        "{told}"
    );
    let limited = "tautpool_http_requests_limited_total{quota=\"reading\"}";
    assert_eq!(value(&told, limited), Some(2.0));
    let count =
        "tautpool_http_request_duration_seconds_count{route=\"/api/v1/studies/{study}/pooled\"}";
    assert_eq!(value(&told, count), Some(6.0));
    let other = "tautpool_http_requests_total{route=\"/\",method=\"other\",status=\"4xx\"}";
    assert_eq!(value(&told, other), Some(1.0), "{told}");
    assert!(Some(1.0) <= value(&told, "tautpool_http_connections"));
}

/// Names as the conventions of Prometheus want them (prometheus.io/docs/practices/naming): a prefix,
/// base units in full, counters that end in `_total`, one line of help and of type each.
#[test]
fn names_follow_the_conventions() {
    let (_folder, server) = watched(&[]);
    server.get("/").expect(200);
    let told = figures(&server);
    let mut typed = BTreeSet::new();
    for line in told.lines() {
        let words: Vec<&str> = line.splitn(4, ' ').collect();
        if let ["#", "TYPE", name, kind] = words[..] {
            assert!(typed.insert(name), "{name} twice");
            assert_eq!(kind == "counter", name.ends_with("_total"), "{line}");
            let prefixed = name.starts_with("tautpool_") || name.starts_with("process_");
            let scaled = [
                "_ms",
                "_milliseconds",
                "_kb",
                "_megabytes",
                "_percent",
                "_hours",
            ];
            assert!(
                prefixed && !scaled.iter().any(|unit| name.contains(unit)),
                "{line}"
            );
        } else if let ["#", "HELP", name, help] = words[..] {
            assert!(
                told.contains(&format!("# TYPE {name} ")) && help.ends_with('.'),
                "{line}"
            );
        } else {
            let name = line.split(['{', ' ']).next().unwrap();
            let of_histogram = ["_bucket", "_sum", "_count"]
                .iter()
                .find_map(|end| name.strip_suffix(end));
            let family = of_histogram
                .filter(|family| typed.contains(family))
                .unwrap_or(name);
            assert!(typed.contains(family), "{line}");
            line.rsplit_once(' ').unwrap().1.parse::<f64>().unwrap();
        }
    }
    assert!(15 < typed.len(), "{typed:?}");
}

/// Where tests/run puts Python's packages, below the project's root.
const PYTHON: &str = "target/reference-python/bin/python";

#[test]
fn the_parser_of_the_project_whose_format_it_is_reads_all_of_it() {
    let (_folder, server) = watched(&[]);
    server.get("/").expect(200);
    let told = figures(&server);
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let mut child = Command::new(root.join(PYTHON))
        .arg(root.join("tests/notebook/figures.py"))
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    let mut stdin = child.stdin.take().unwrap();
    stdin.write_all(told.as_bytes()).unwrap();
    drop(stdin);
    let output = child.wait_with_output().unwrap();
    assert!(output.status.success());
    let read = String::from_utf8(output.stdout).unwrap();
    let n_types = told.matches("# TYPE ").count();
    assert_eq!(read.lines().count(), n_types, "{read}");
    assert!(!read.contains(" unknown "), "{read}");
    // Under each route: a bucket for every bound and one without, a sum and a count.
    let family = "tautpool_http_request_duration_seconds histogram ";
    let line = read.lines().find_map(|line| line.strip_prefix(family));
    assert_eq!(line, Some("15"), "{read}");
}

#[test]
fn backups_that_are_made_and_that_fail_are_told() {
    let to = tempfile::tempdir().unwrap();
    let newest = "tautpool_backup_newest_timestamp_seconds";
    let failures = "tautpool_backup_failures_total";
    let (_folder, server) = watched(&["--backup-to", to.path().to_str().unwrap()]);
    wait_until("a backup is told", || {
        value(&figures(&server), newest).is_some()
    });
    is_recent(value(&figures(&server), newest));
    assert_eq!(value(&figures(&server), failures), Some(0.0));
    let not_a_folder = to.path().join("file");
    fs::write(&not_a_folder, b"").unwrap();
    let (_folder, server) = watched(&["--backup-to", not_a_folder.to_str().unwrap()]);
    wait_until("a failure is told", || {
        value(&figures(&server), failures) == Some(1.0)
    });
    assert_eq!(value(&figures(&server), newest), None);
    let (_folder, server) = watched(&[]);
    assert_eq!(
        value(&figures(&server), failures),
        None,
        "there are none to fail"
    );
}

#[test]
fn they_are_told_to_this_machine_alone() {
    let (folder, server) = watched(&[]);
    server.get("/metrics").expect_problem(404, "not-found");
    for host in [
        "elsewhere.example",
        "elsewhere.example:9464",
        "192.0.2.1",
        "",
    ] {
        let (head, body) = asked(&server, host);
        assert!(
            !head.starts_with("http/1.1 200") && !body.contains("tautpool_"),
            "{host}: {head}"
        );
    }
    for host in ["localhost", "localhost:9464", "[::1]:9464", "127.0.0.1"] {
        let (head, _) = asked(&server, host);
        assert!(head.starts_with("http/1.1 200"), "{host}: {head}");
    }
    drop(server);
    let quiet = Server::serve(folder.path(), &[]);
    assert!(!quiet.printed.contains(METRICS), "{}", quiet.printed);
    drop(quiet);
    let data = folder.path().to_str().unwrap();
    let open = run(
        &[
            "serve",
            "--data",
            data,
            "--listen",
            "127.0.0.1:0",
            "--metrics-listen",
            "0.0.0.0:0",
        ],
        b"",
    );
    assert_eq!(open.status.code(), Some(2));
    let said = String::from_utf8(open.stderr).unwrap();
    assert!(
        said.contains("exact counts of players") && said.contains("127.0.0.1:9464"),
        "{said}"
    );
    let port = quiet_port();
    let _held = std::net::TcpListener::bind(&port).unwrap();
    let taken = run(
        &[
            "serve",
            "--data",
            data,
            "--listen",
            "127.0.0.1:0",
            "--metrics-listen",
            &port,
        ],
        b"",
    );
    let said = String::from_utf8(taken.stderr).unwrap();
    assert!(said.contains(&format!("cannot listen on {port}")), "{said}");
}

fn quiet_port() -> String {
    let listener = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
    listener.local_addr().unwrap().to_string()
}
