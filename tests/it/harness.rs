//! The real program, started as anybody would start it, and what tests need to talk to it.
//!
//! Every answer that arrives here is held against the published schema of its kind and against the
//! list of headers that the service may send, so that no test has to think of it.

#![expect(
    clippy::indexing_slicing,
    clippy::panic,
    clippy::unwrap_used,
    reason = "a test stops at what it did not expect"
)]

mod answer;
pub(crate) mod host;
pub(crate) mod process;
mod spread;

pub(crate) use answer::{Answer, assert_valid, read_answer, schema_of};
pub(crate) use spread::Spread;

use serde_json::{Value, json};
use std::fs::{self, File};
use std::io::{self, BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::ops::Range;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Output, Stdio};
use std::sync::Arc;
use std::thread;
use std::time::{Duration, Instant};
use tautpool::protocol::Study;
use tautpool::service::Service;
use tempfile::TempDir;

/// The study that the contributions of this harness are addressed to.
pub(crate) const STUDY: &str = "demo-of-the-corpus";
/// Its document.
pub(crate) const STUDY_FILE: &str = concat!(
    env!("CARGO_MANIFEST_DIR"),
    "/fixtures/contributions/study.json"
);

/// Longest that any one answer may take. The service itself gives up on a body after 30 seconds.
pub(crate) const ANSWER_WITHIN: Duration = Duration::from_secs(60);

/// `short` of something in every run of the tests, `long` of it in `tests/run --long`.
pub(crate) fn runs<T>(short: T, long: T) -> T {
    if std::env::var_os("TAUTPOOL_LONG_RUNS").is_some() {
        long
    } else {
        short
    }
}

/// Waits until something is so.
#[track_caller]
pub(crate) fn wait_until(what: &str, mut is_so: impl FnMut() -> bool) {
    let deadline = Instant::now() + ANSWER_WITHIN;
    while !is_so() {
        assert!(Instant::now() < deadline, "in vain: {what}");
        thread::sleep(Duration::from_millis(50));
    }
}

/// The program with nothing of this machine's settings.
pub(crate) fn tautpool() -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_tautpool"));
    for (name, _) in std::env::vars_os() {
        if name.to_string_lossy().starts_with("TAUTPOOL_") {
            command.env_remove(name);
        }
    }
    command
}

/// Runs the program to its end with something on standard input.
pub(crate) fn run(arguments: &[&str], input: &[u8]) -> Output {
    let mut child = tautpool()
        .args(arguments)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let mut stdin = child.stdin.take().unwrap();
    // A program that refuses its command line does not read its input.
    match stdin.write_all(input) {
        Err(error) if error.kind() != io::ErrorKind::BrokenPipe => panic!("{error}"),
        _ => drop(stdin),
    }
    child.wait_with_output().unwrap()
}

/// Adds a study to a data folder and opens it. Answers what was said last.
pub(crate) fn add_study(file: &str, data: &Path) -> Output {
    let added = host_study(&["add", file], data, b"");
    if !added.status.success() {
        return added;
    }
    let study: Value = serde_json::from_slice(&fs::read(file).unwrap()).unwrap();
    host_study(&["open", study["study"].as_str().unwrap()], data, b"")
}

/// Runs `tautpool host study` on a data folder.
pub(crate) fn host_study(arguments: &[&str], data: &Path, input: &[u8]) -> Output {
    let folder = ["--data", data.to_str().unwrap()];
    run(&[&["host", "study"], arguments, &folder].concat(), input)
}

/// Adds a study to a service and opens it.
pub(crate) fn recruit(service: &Service, document: &[u8], now_ms: i64) -> Arc<Study> {
    let study = service.add_study(document, now_ms).unwrap();
    service.open_recruiting(&study.label.slug, now_ms).unwrap();
    study
}

/// How the line begins that says where figures are told.
pub(crate) const METRICS: &str = "Figures on ";

/// A running server. It ends with this value.
pub(crate) struct Server {
    child: Child,
    /// `host:port`.
    pub(crate) address: String,
    /// What it printed up to the address and, for the demo, after it.
    pub(crate) printed: String,
    log: PathBuf,
    _log_folder: TempDir,
    agent: ureq::Agent,
}

impl Drop for Server {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

impl Server {
    /// `tautpool serve` on a data folder.
    pub(crate) fn serve(data: &Path, more: &[&str]) -> Self {
        let mut arguments = vec!["serve", "--data", data.to_str().unwrap()];
        arguments.extend(more);
        Self::start(&arguments, |line| line.starts_with("Serving on http://"))
    }

    /// `tautpool serve` on a data folder, at an address where one was stopped before.
    pub(crate) fn serve_again(data: &Path, address: &str) -> Self {
        let arguments = ["serve", "--data", data.to_str().unwrap()];
        Self::start_on(address, &arguments, |line| {
            line.starts_with("Serving on http://")
        })
    }

    /// `tautpool serve` on a data folder with more in its environment; what it said when it does not
    /// come to serve.
    pub(crate) fn serve_among(
        data: &Path,
        more: &[&str],
        environment: &[(&str, String)],
    ) -> Result<Self, String> {
        let arguments = [&["serve", "--data", data.to_str().unwrap()], more].concat();
        let is_last = |line: &str| line.starts_with("Serving on http://");
        Self::start_among("127.0.0.1:0", &arguments, environment, is_last)
    }

    /// The program that serves with these settings, and on a free port.
    pub(crate) fn with_environment(arguments: &[&str], environment: &[(&str, String)]) -> Self {
        let is_last = |line: &str| line.starts_with("Serving on http://");
        let started = Self::start_among("127.0.0.1:0", arguments, environment, is_last);
        started.unwrap_or_else(|said| panic!("no address: {said}"))
    }

    /// The program with these arguments on a free port, read up to a line of its output.
    pub(crate) fn start(arguments: &[&str], is_last: impl Fn(&str) -> bool) -> Self {
        Self::start_on("127.0.0.1:0", arguments, is_last)
    }

    fn start_on(listen: &str, arguments: &[&str], is_last: impl Fn(&str) -> bool) -> Self {
        let started = Self::start_among(listen, arguments, &[], is_last);
        started.unwrap_or_else(|said| panic!("no address: {said}"))
    }

    fn start_among(
        listen: &str,
        arguments: &[&str],
        environment: &[(&str, String)],
        is_last: impl Fn(&str) -> bool,
    ) -> Result<Self, String> {
        let log_folder = tempfile::tempdir().unwrap();
        let log = log_folder.path().join("log");
        // Tests ask as fast as they can; those of the limit set one.
        let mut child = tautpool()
            .env("TAUTPOOL_REQUESTS_A_MINUTE", "0")
            .envs(environment.iter().map(|(name, value)| (name, value)))
            .args(arguments)
            .args(["--listen", listen])
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(File::create(&log).unwrap())
            .spawn()
            .unwrap();
        let mut lines = BufReader::new(child.stdout.take().unwrap()).lines();
        let mut printed = String::new();
        for line in lines.by_ref() {
            let line = line.unwrap();
            printed.push_str(&line);
            printed.push('\n');
            if is_last(&line) {
                break;
            }
        }
        // Whatever else it prints must not fill the pipe.
        thread::spawn(move || lines.for_each(drop));
        let lines = printed.lines().filter(|line| !line.starts_with(METRICS));
        let mut words = lines.flat_map(str::split_whitespace);
        let Some(address) = words.find_map(|word| word.strip_prefix("http://")) else {
            child.wait().unwrap();
            return Err(fs::read_to_string(&log).unwrap());
        };
        let address = address.split('/').next().unwrap().to_owned();
        let agent = ureq::Agent::config_builder()
            .http_status_as_error(false)
            .max_redirects(0)
            .timeout_global(Some(ANSWER_WITHIN))
            .build()
            .into();
        Ok(Self {
            child,
            address,
            printed,
            log,
            _log_folder: log_folder,
            agent,
        })
    }

    /// Whether the process runs.
    pub(crate) fn is_up(&mut self) -> bool {
        self.child.try_wait().unwrap().is_none()
    }

    /// What it wrote to standard error so far.
    pub(crate) fn log(&self) -> String {
        fs::read_to_string(&self.log).unwrap()
    }

    /// GET.
    pub(crate) fn get(&self, path: &str) -> Answer {
        self.send("GET", path, &[], b"")
    }

    /// Any request.
    pub(crate) fn send(
        &self,
        method: &str,
        path: &str,
        headers: &[(&str, &str)],
        body: &[u8],
    ) -> Answer {
        self.try_to_send(method, path, headers, body).unwrap()
    }

    /// Any request, of a server that may be gone before it answers.
    pub(crate) fn try_to_send(
        &self,
        method: &str,
        path: &str,
        headers: &[(&str, &str)],
        body: &[u8],
    ) -> Option<Answer> {
        let mut request = ureq::http::Request::builder()
            .method(method)
            .uri(format!("http://{}{path}", self.address));
        for (name, value) in headers {
            request = request.header(*name, *value);
        }
        let answer = if body.is_empty() && method != "POST" {
            self.agent.run(request.body(()).unwrap())
        } else {
            self.agent.run(request.body(body).unwrap())
        };
        let mut answer = answer.ok()?;
        let sent = headers;
        let headers = answer.headers().iter();
        let headers = headers
            .map(|(name, value)| (name.to_string(), value.to_str().unwrap().to_owned()))
            .collect();
        let status = answer.status().as_u16();
        let mut body = Vec::new();
        answer.body_mut().as_reader().read_to_end(&mut body).ok()?;
        let answer = Answer::checked(status, headers, body);
        if is_for_one_client(method, path, sent) {
            // One goes back to a form without a receipt in it by the browser's own way.
            answer.assert_kept_by_nobody(path.ends_with("/send"));
        }
        Some(answer)
    }

    /// Sends a contribution.
    pub(crate) fn post(&self, document: &Value) -> Answer {
        self.post_bytes(document.to_string().as_bytes(), &[])
    }

    /// Sends bytes as a contribution, with more headers.
    pub(crate) fn post_bytes(&self, body: &[u8], headers: &[(&str, &str)]) -> Answer {
        let mut all = vec![("content-type", "application/json")];
        all.extend(headers);
        let path = format!("/api/v1/studies/{STUDY}/contributions");
        self.send("POST", &path, &all, body)
    }

    /// Sends bytes as they are and reads until the server closes or falls silent for long.
    /// `None` when it closes without a word.
    pub(crate) fn raw(&self, bytes: &[u8]) -> Option<Answer> {
        let mut stream = self.connect();
        // The server may answer and close before everything is sent.
        let _ = stream.write_all(bytes);
        read_answer(&mut stream)
    }

    /// A connection of one's own.
    pub(crate) fn connect(&self) -> TcpStream {
        let stream = TcpStream::connect(&self.address).unwrap();
        stream.set_read_timeout(Some(ANSWER_WITHIN)).unwrap();
        stream.set_write_timeout(Some(ANSWER_WITHIN)).unwrap();
        stream
    }
}

/// Whether an answer is meant for whoever asked alone: to a form or a change, to a receipt, and on
/// the host's desk.
fn is_for_one_client(method: &str, path: &str, headers: &[(&str, &str)]) -> bool {
    let changes = !["GET", "HEAD", "OPTIONS"].contains(&method);
    let has_receipt = headers.iter().any(|(name, _)| *name == "authorization");
    changes || has_receipt || path.starts_with("/host")
}

/// Every contribution of the study that the host's own copy has, in the order they came.
pub(crate) fn exported(data: &Path) -> Vec<Value> {
    let output = run(
        &["export", "--data", data.to_str().unwrap(), "--study", STUDY],
        b"",
    );
    assert!(output.status.success(), "{output:?}");
    let export: Value = serde_json::from_slice(&output.stdout).unwrap();
    let studies = export["studies"].as_array().unwrap();
    assert_eq!(studies.len(), 1);
    studies[0]["contributions"].as_array().unwrap().clone()
}

/// The analysis of a document for all forehands, by outcome and band.
pub(crate) fn analysis<'a>(document: &'a Value, outcome: &str, band: &str) -> &'a Value {
    let analyses = document["analyses"].as_array().unwrap();
    let is_it = |analysis: &&Value| {
        analysis["outcome"] == outcome
            && analysis["stroke"] == "forehand"
            && analysis["direction"] == "all"
            && analysis["band"]["code"] == band
    };
    analyses.iter().find(is_it).unwrap()
}

/// A data folder with the study in it.
pub(crate) fn folder() -> TempDir {
    let folder = tempfile::tempdir().unwrap();
    let added = add_study(STUDY_FILE, folder.path());
    assert!(added.status.success(), "{added:?}");
    folder
}

/// A server with the study and nothing else in it.
pub(crate) fn server() -> (TempDir, Server) {
    let folder = folder();
    let server = Server::serve(folder.path(), &[]);
    (folder, server)
}

/// A contribution of two sessions with one forehand line each.
#[derive(Clone, Copy)]
pub(crate) struct Pair {
    /// Mean ball speeds, looser then tighter, km/h.
    pub(crate) speeds: (f64, f64),
    /// Standard deviation of both, km/h.
    pub(crate) sd: Option<f64>,
    /// Shots in and deep of 100 hit with 80 in, looser then tighter.
    pub(crate) deep: (i64, i64),
    /// Reference tensions, looser then tighter, lb.
    pub(crate) tensions: (f64, f64),
    /// `pooling` or `pooling_and_rows`.
    pub(crate) scope: &'static str,
}

impl Default for Pair {
    fn default() -> Self {
        Self {
            speeds: (104.0, 101.0),
            sd: Some(10.0),
            deep: (41, 33),
            tensions: (46.0, 52.0),
            scope: "pooling_and_rows",
        }
    }
}

/// The document of a pair, without a fault and without a flag.
pub(crate) fn contribution(pair: Pair) -> Value {
    let session = |arm: &str, tension: f64, speed: f64, deep: i64| {
        let mut line = json!({
            "stroke": "forehand", "direction": "all", "hit": 100, "in": 80, "deep": deep,
            "speed_mean": speed, "speed_unit": "km/h", "speed_n": 100, "speed_over": "all",
        });
        if let Some(sd) = pair.sd {
            line["speed_sd"] = json!(sd);
            line["sd_divisor"] = json!("n-1");
        }
        json!({"arm": arm, "tension": {"mains": tension, "unit": "lb"}, "shots": [line]})
    };
    json!({
        "study": STUDY,
        "consent": {"text_version": "1", "adult": true, "scope": pair.scope},
        "sessions": [
            session("looser", pair.tensions.0, pair.speeds.0, pair.deep.0),
            session("tighter", pair.tensions.1, pair.speeds.1, pair.deep.1),
        ],
    })
}

impl Pair {
    /// The same differences by another player, one for each number: a pair with the same figures
    /// throughout would be held as a copy.
    pub(crate) fn of_player(self, number: u32) -> Self {
        // After so many it begins again, a little faster, so that any number of players hit possible
        // balls.
        const ROUND: u32 = 320;
        let faster = f64::from(25 * (number % ROUND) + number / ROUND);
        let with = |speed: f64| ((speed * 100.0).round() + faster) / 100.0;
        Self {
            speeds: (with(self.speeds.0), with(self.speeds.1)),
            ..self
        }
    }
}

/// Different pairs, one for each number: effects spread around 2 km/h and 10 points.
pub(crate) fn varied(number: u32) -> Pair {
    let step = f64::from(number % 7);
    let pair = Pair {
        speeds: (101.25 + step, 100.5),
        sd: Some(8.0 + step / 2.0),
        deep: (38 + i64::from(number % 5), 32),
        ..Pair::default()
    };
    pair.of_player(number)
}

/// Sends players of these numbers, every third of whom keeps the rows back.
pub(crate) fn send_every_third_without_rows(server: &Server, numbers: Range<u32>) {
    for number in numbers {
        let scope = if number % 3 == 2 {
            "pooling"
        } else {
            "pooling_and_rows"
        };
        let pair = Pair {
            scope,
            ..varied(number)
        };
        server.post(&contribution(pair)).expect(201);
    }
}

/// Where releases of tests say that they are found.
pub(crate) const PUBLIC_URL: &str = "https://pool.example";

/// Makes a release of what is public of the study in a data folder.
pub(crate) fn make_release(data: &Path, more: &[&str]) -> Output {
    let data = data.to_str().unwrap();
    let arguments = [
        "release",
        "make",
        STUDY,
        "--data",
        data,
        "--public-url",
        PUBLIC_URL,
    ];
    run(&[&arguments, more].concat(), b"")
}
