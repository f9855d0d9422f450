//! The browser's driver as a process, and the wire of the W3C standard `WebDriver` to it.

use serde_json::{Value, json};
use std::fs::{self, File};
use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::Duration;

/// Longest that any one command may take; then browser or driver hang.
const COMMAND_WITHIN: Duration = Duration::from_secs(30);

/// Longest that taking leave may take before the processes are killed.
const LEAVE_WITHIN: Duration = Duration::from_secs(5);

/// What the driver prints before its port.
const PORT_FOLLOWS: &str = "started successfully on port ";

/// Why a command failed, in the words of the standard.
#[derive(Debug)]
pub(super) struct Refusal {
    /// A code of the standard, such as `stale element reference`; `no answer` without one.
    pub(super) error: String,
    /// A sentence.
    pub(super) message: String,
}

/// A running driver. It ends with this value.
pub(super) struct Driver {
    child: Child,
    address: String,
    log: PathBuf,
}

impl Drop for Driver {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

impl Driver {
    /// Starts one on a free port, with its log and the browser's own settings in a folder.
    ///
    /// # Errors
    ///
    /// What it wrote, if it found no port: it takes a free one of IPv4 first and then wants the
    /// same one of IPv6, which another process may have by then.
    pub(super) fn start(folder: &Path) -> Result<Self, String> {
        let log = folder.join("driver.log");
        let mut child = Command::new("chromedriver")
            .arg("--port=0")
            .env("XDG_CONFIG_HOME", folder)
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(File::create(&log).unwrap())
            .spawn()
            .unwrap_or_else(|error| {
                panic!("chromedriver does not start ({error}): run tests/run, it installs what the browser tests need")
            });
        let mut lines = BufReader::new(child.stdout.take().unwrap()).lines();
        let port = lines.by_ref().map_while(Result::ok).find_map(|line| {
            let (_, port) = line.split_once(PORT_FOLLOWS)?;
            Some(port.trim_end_matches('.').to_owned())
        });
        // Whatever else it prints must not fill the pipe.
        std::thread::spawn(move || lines.for_each(drop));
        let mut driver = Self {
            child,
            address: String::new(),
            log,
        };
        let port = port.ok_or_else(|| format!("chromedriver tells no port: {}", driver.log()))?;
        driver.address = format!("http://127.0.0.1:{port}");
        Ok(driver)
    }

    /// What the driver wrote to standard error.
    pub(super) fn log(&self) -> String {
        fs::read_to_string(&self.log).unwrap_or_default()
    }

    /// A command with its answer's value.
    pub(super) fn command(&self, method: &str, path: &str, body: &Value) -> Result<Value, Refusal> {
        self.within(COMMAND_WITHIN, method, path, body)
    }

    /// Closes the browser of a session.
    pub(super) fn leave(&self, session: &str) -> Result<Value, Refusal> {
        let path = format!("/session/{session}");
        self.within(LEAVE_WITHIN, "DELETE", &path, &json!({}))
    }

    fn within(
        &self,
        limit: Duration,
        method: &str,
        path: &str,
        body: &Value,
    ) -> Result<Value, Refusal> {
        let no_answer = |message: String| Refusal {
            error: "no answer".to_owned(),
            message,
        };
        let agent: ureq::Agent = ureq::Agent::config_builder()
            .http_status_as_error(false)
            .timeout_global(Some(limit))
            .proxy(None)
            .build()
            .into();
        let request = ureq::http::Request::builder()
            .method(method)
            .uri(format!("{}{path}", self.address))
            .header("content-type", "application/json");
        let answer = if method == "POST" {
            agent.run(request.body(body.to_string()).unwrap())
        } else {
            agent.run(request.body(()).unwrap())
        };
        let mut answer = answer.map_err(|error| no_answer(format!("{method} {path}: {error}")))?;
        let is_success = answer.status().is_success();
        let text = answer
            .body_mut()
            .with_config()
            .limit(u64::MAX)
            .read_to_string()
            .map_err(|error| no_answer(format!("{method} {path}: {error}")))?;
        let mut answer: Value = serde_json::from_str(&text)
            .map_err(|error| no_answer(format!("{method} {path}: {error}: {text}")))?;
        let value = answer["value"].take();
        if is_success {
            return Ok(value);
        }
        let word = |name: &str| value[name].as_str().unwrap_or_default().to_owned();
        Err(Refusal {
            error: word("error"),
            message: format!("{method} {path}: {}", word("message")),
        })
    }
}
