//! One headless Chromium with what a person does in it: look, click, type, wait.
//!
//! Elements are named by CSS selectors. Whatever is looked for may still be on its way, so looking
//! waits, up to a deadline, and fails with what the page showed instead.

use super::driver::{Driver, Refusal};
use super::slots::Slot;
use data_encoding::BASE64;
use serde_json::{Value, json};
use std::cell::RefCell;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::thread;
use std::time::{Duration, Instant};
use tempfile::TempDir;

/// Longest wait for what a page is to show. Long, because other tests use the processors too.
const PATIENCE: Duration = Duration::from_secs(20);

/// Pause between two looks at a page that is on its way.
const LOOK_AGAIN_AFTER: Duration = Duration::from_millis(25);

/// The field of a reference to an element (W3C `WebDriver`, section 12.1).
const ELEMENT: &str = "element-6066-11e4-a52e-4f735466cecf";

/// Tallest picture in device pixels. Chromium's own limit is 16,384.
const TALLEST_PICTURE: f64 = 16_000.0;

/// Keys as `WebDriver` writes them (W3C `WebDriver`, section 17.4.2).
pub(crate) mod key {
    pub(crate) const BACKSPACE: char = '\u{e003}';
    pub(crate) const TAB: char = '\u{e004}';
    pub(crate) const ENTER: char = '\u{e007}';
    pub(crate) const CONTROL: char = '\u{e009}';
    pub(crate) const SPACE: char = ' ';
    pub(crate) const DOWN: char = '\u{e015}';
}

/// What somebody holds in their hands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Device {
    /// 360 × 740 pixels.
    Phone,
    /// A window of 1440 × 900 pixels.
    Desktop,
}

/// Whether pages may run scripts.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Scripts {
    On,
    Off,
}

/// A browser. It ends with this value, as does its driver.
pub(crate) struct Browser {
    driver: Driver,
    session: String,
    process: Option<u64>,
    /// Where paths begin: `http://host:port`.
    home: String,
    device: Device,
    scripts: Scripts,
    folder: TempDir,
    _slot: Slot,
}

impl Drop for Browser {
    fn drop(&mut self) {
        let _ = self.driver.leave(&self.session);
        if let Some(process) = self.process {
            stop(process);
        }
    }
}

impl Browser {
    /// A browser that nobody has used yet, before the service at `address` (`host:port`).
    pub(crate) fn open(address: &str, device: Device, scripts: Scripts) -> Self {
        let slot = Slot::take();
        // Chromium hangs at its start now and then, and its driver may lose the race for a port;
        // three times in a row is a fault.
        let (driver, capabilities, folder) = start(device, scripts)
            .or_else(|_| start(device, scripts))
            .or_else(|_| start(device, scripts))
            .unwrap_or_else(|failure| panic!("no browser: {failure}"));
        Self {
            driver,
            session: capabilities["sessionId"].as_str().unwrap().to_owned(),
            process: capabilities["capabilities"]["goog:processID"].as_u64(),
            home: format!("http://{address}"),
            device,
            scripts,
            folder,
            _slot: slot,
        }
    }

    pub(crate) const fn device(&self) -> Device {
        self.device
    }

    pub(crate) const fn scripts(&self) -> Scripts {
        self.scripts
    }

    /// A folder that ends with this browser.
    pub(crate) fn folder(&self) -> &Path {
        self.folder.path()
    }

    /// Goes to a path of the service, or to a whole address.
    pub(crate) fn go(&self, path: &str) {
        let address = if path.starts_with('/') {
            format!("{}{path}", self.home)
        } else {
            path.to_owned()
        };
        self.command("POST", "/url", &json!({ "url": address }));
    }

    /// Loads the page again.
    pub(crate) fn reload(&self) {
        self.command("POST", "/refresh", &json!({}));
    }

    /// The address without the service's own beginning.
    pub(crate) fn path(&self) -> String {
        let address = self.command("GET", "/url", &json!({}));
        let address = address.as_str().unwrap();
        address
            .strip_prefix(&self.home)
            .unwrap_or(address)
            .to_owned()
    }

    /// The cookies that it would send to the page it is at.
    pub(crate) fn cookies(&self) -> Vec<Value> {
        let held = self.command("GET", "/cookie", &json!({}));
        held.as_array().unwrap().clone()
    }

    /// Takes every cookie away.
    pub(crate) fn forget(&self) {
        self.command("DELETE", "/cookie", &json!({}));
    }

    /// Whether something is on the page now.
    pub(crate) fn has(&self, css: &str) -> bool {
        !self.all(css).is_empty()
    }

    /// How many there are of something now.
    pub(crate) fn count(&self, css: &str) -> usize {
        self.all(css).len()
    }

    /// Whether something is within the window.
    pub(crate) fn is_in_sight(&self, css: &str) -> bool {
        let script = "
            const box = document.querySelector(arguments[0])?.getBoundingClientRect();
            return Boolean(box) && 0 < box.height && 0 <= box.top && box.bottom <= innerHeight;";
        self.run(script, &[json!(css)]) == true
    }

    /// Waits until something is there.
    #[track_caller]
    pub(crate) fn see(&self, css: &str) {
        self.find(css);
    }

    /// The text of an element as a reader sees it.
    #[track_caller]
    pub(crate) fn text(&self, css: &str) -> String {
        self.of_element(css, "GET", "/text", &json!({}))
            .as_str()
            .unwrap()
            .to_owned()
    }

    /// A property that is a text, such as what a field holds now; nothing when it is absent.
    #[track_caller]
    pub(crate) fn property(&self, css: &str, name: &str) -> String {
        let value = self.of_element(css, "GET", &format!("/property/{name}"), &json!({}));
        value.as_str().unwrap_or_default().to_owned()
    }

    /// What a field holds now.
    #[track_caller]
    pub(crate) fn value(&self, css: &str) -> String {
        self.property(css, "value")
    }

    /// Whether a box is ticked, or an option chosen.
    #[track_caller]
    pub(crate) fn is_ticked(&self, css: &str) -> bool {
        self.of_element(css, "GET", "/selected", &json!({})) == true
    }

    #[track_caller]
    pub(crate) fn click(&self, css: &str) {
        self.of_element(css, "POST", "/click", &json!({}));
    }

    /// Clicks twice, as fast as a finger that is not sure.
    #[track_caller]
    pub(crate) fn click_twice(&self, css: &str) {
        let element = self.find(css);
        let press = json!({ "type": "pointerDown", "button": 0 });
        let release = json!({ "type": "pointerUp", "button": 0 });
        let aim = json!({ "type": "pointerMove", "x": 0, "y": 0, "origin": { ELEMENT: element } });
        let actions = json!([aim, press, release, press, release]);
        self.run(
            "arguments[0].scrollIntoView({ block: 'center' })",
            &[json!({ ELEMENT: element })],
        );
        let mouse = json!({ "type": "pointer", "id": "mouse", "actions": actions });
        self.command("POST", "/actions", &json!({ "actions": [mouse] }));
    }

    /// Does what leads to another page, and waits for it.
    #[track_caller]
    pub(crate) fn to_next_page(&self, what: impl FnOnce()) {
        let before = self.page();
        what();
        self.wait("another page", || {
            let now = self.page();
            now.is_some() && now != before
        });
    }

    /// When the page began, once it is loaded. No two pages share it.
    fn page(&self) -> Option<String> {
        let script =
            "return document.readyState === 'complete' ? String(performance.timeOrigin) : null";
        let body = json!({ "script": script, "args": [] });
        let page = self.try_command("POST", "/execute/sync", &body).ok()?;
        page.as_str().map(str::to_owned)
    }

    /// Types into a field in place of what it holds.
    #[track_caller]
    pub(crate) fn fill(&self, css: &str, text: &str) {
        self.of_element(css, "POST", "/clear", &json!({}));
        if !text.is_empty() {
            self.of_element(css, "POST", "/value", &json!({ "text": text }));
        }
    }

    /// Chooses a file.
    #[track_caller]
    pub(crate) fn upload(&self, css: &str, file: &Path) {
        let file = file.to_str().unwrap();
        self.of_element(css, "POST", "/value", &json!({ "text": file }));
    }

    /// Chooses the option with a value in a list.
    #[track_caller]
    pub(crate) fn choose(&self, css: &str, value: &str) {
        self.click(&format!("{css} option[value='{value}']"));
    }

    /// Ticks a box, or chooses one of several buttons.
    #[track_caller]
    pub(crate) fn tick(&self, css: &str) {
        if !self.is_ticked(css) {
            self.click(css);
        }
        assert!(self.is_ticked(css), "{css} stays unticked");
    }

    /// Presses keys one after the other, wherever the focus is.
    #[track_caller]
    pub(crate) fn press(&self, keys: &[char]) {
        let presses = keys.iter().flat_map(|key| [down(*key), up(*key)]);
        self.act(presses.collect());
    }

    /// Presses a key while another is held.
    #[track_caller]
    pub(crate) fn press_with(&self, held: char, key: char) {
        self.act(vec![down(held), down(key), up(key), up(held)]);
    }

    /// Types text wherever the focus is.
    #[track_caller]
    pub(crate) fn type_text(&self, text: &str) {
        self.press(&text.chars().collect::<Vec<_>>());
    }

    #[track_caller]
    fn act(&self, actions: Vec<Value>) {
        let keyboard = json!({ "type": "key", "id": "keyboard", "actions": actions });
        self.command("POST", "/actions", &json!({ "actions": [keyboard] }));
    }

    /// Runs a script of the test's in the page, and answers what it returns.
    ///
    /// This works where pages may not run scripts of their own, but then nothing may be awaited.
    #[track_caller]
    pub(crate) fn run(&self, script: &str, arguments: &[Value]) -> Value {
        let body = json!({ "script": script, "args": arguments });
        self.command("POST", "/execute/sync", &body)
    }

    /// Runs a script of the test's that calls its last argument when it is done.
    #[track_caller]
    pub(crate) fn run_until_called(&self, script: &str, arguments: &[Value]) -> Value {
        let body = json!({ "script": script, "args": arguments });
        self.command("POST", "/execute/async", &body)
    }

    /// Sets whether the reader prefers `light` or `dark`.
    pub(crate) fn prefer(&self, scheme: &str) {
        let feature = json!({ "name": "prefers-color-scheme", "value": scheme });
        self.devtools(
            "Emulation.setEmulatedMedia",
            &json!({ "features": [feature] }),
        );
    }

    /// Tells the page that the network is gone or back. Its service worker is not bound by that,
    /// so a test that means it stops the server too.
    pub(crate) fn set_offline(&self, offline: bool) {
        let conditions = json!({
            "offline": offline, "latency": 0, "downloadThroughput": -1, "uploadThroughput": -1,
        });
        self.devtools("Network.emulateNetworkConditions", &conditions);
    }

    /// Keeps the scripts of pages from being loaded, as a bad line does. Tests may still run theirs.
    pub(crate) fn lose_scripts(&self) {
        self.devtools("Network.enable", &json!({}));
        self.devtools("Network.setBlockedURLs", &json!({ "urls": ["*/script/*"] }));
    }

    /// Runs a script at the beginning of every page that follows, before anything of the page.
    pub(crate) fn before_every_page(&self, script: &str) {
        let source = json!({ "source": script });
        self.devtools("Page.addScriptToEvaluateOnNewDocument", &source);
    }

    /// Puts a cookie of this site into the browser, as a sign-in does.
    pub(crate) fn hold_cookie(&self, name: &str, value: &str) {
        let cookie = json!({
            "name": name, "value": value, "path": "/", "secure": true, "httpOnly": true,
            "sameSite": "Strict",
        });
        self.command("POST", "/cookie", &json!({ "cookie": cookie }));
    }

    /// What the console has complained about since the last call. Not that the page itself came
    /// with a status of refusal, not that the icon for the address bar is missing, which browsers
    /// ask every site for, and not about what [`Self::lose_scripts`] did.
    pub(crate) fn complaints(&self) -> Vec<String> {
        let address = self.command("GET", "/url", &json!({}));
        let address = address.as_str().unwrap().split('#').next().unwrap();
        let refused = format!("{address} - Failed to load resource");
        let log = self.command("POST", "/se/log", &json!({ "type": "browser" }));
        let entries = log.as_array().unwrap().iter();
        entries
            .map(|entry| entry["message"].as_str().unwrap().to_owned())
            .filter(|message| !message.starts_with(&refused) && !message.contains("/favicon.ico "))
            .filter(|message| !message.contains("ERR_BLOCKED_BY_CLIENT"))
            .collect()
    }

    /// Writes a picture of the whole page.
    #[track_caller]
    pub(crate) fn picture(&self, name: &str) {
        if let Err(refusal) = self.try_picture(name) {
            self.fail(&format!(
                "no picture: {}: {}",
                refusal.error, refusal.message
            ));
        }
    }

    fn try_picture(&self, name: &str) -> Result<PathBuf, Refusal> {
        let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("target/screenshots");
        fs::create_dir_all(&folder).unwrap();
        let file = folder.join(format!("{name}.png"));
        let script = "const page = document.documentElement; return [page.scrollWidth, page.scrollHeight, devicePixelRatio]";
        let body = json!({ "script": script, "args": [] });
        let size = self.try_command("POST", "/execute/sync", &body)?;
        let [width, height, ratio] = [0, 1, 2].map(|place| size[place].as_f64().unwrap());
        let tallest = TALLEST_PICTURE / ratio;
        let height = if tallest < height { tallest } else { height };
        // One pixel of the picture is one of the page's, which is enough to look at and is made
        // four times as fast as the phone's own.
        let clip =
            json!({ "x": 0, "y": 0, "width": width, "height": height, "scale": 1.0 / ratio });
        let wanted = json!({ "format": "png", "captureBeyondViewport": true, "clip": clip });
        let body = json!({ "cmd": "Page.captureScreenshot", "params": wanted });
        let picture = self.try_command("POST", "/goog/cdp/execute", &body)?;
        let picture = BASE64.decode(picture["data"].as_str().unwrap().as_bytes());
        fs::write(&file, picture.unwrap()).unwrap();
        Ok(file)
    }

    /// Waits until something holds.
    #[track_caller]
    pub(crate) fn wait(&self, what: &str, holds: impl Fn() -> bool) {
        let start = Instant::now();
        while !holds() {
            if PATIENCE < start.elapsed() {
                self.fail(&format!("waited in vain for {what}"));
            }
            thread::sleep(LOOK_AGAIN_AFTER);
        }
    }

    /// Fails with what the page shows, as far as it still answers.
    #[track_caller]
    pub(crate) fn fail(&self, what: &str) -> ! {
        let or_why = |answer: Result<Value, Refusal>| match answer {
            Ok(value) => value.as_str().unwrap_or_default().to_owned(),
            Err(refusal) => refusal.message,
        };
        let address = or_why(self.try_command("GET", "/url", &json!({})));
        let source = or_why(self.try_command("GET", "/source", &json!({})));
        let n_skipped = source.chars().count().saturating_sub(3000);
        let tail: String = source.chars().skip(n_skipped).collect();
        let name = thread::current()
            .name()
            .unwrap_or("test")
            .replace("::", "-");
        let picture = match self.try_picture(&format!("failed-{name}")) {
            Ok(file) => file.display().to_string(),
            Err(refusal) => refusal.message,
        };
        panic!("{what}\nat {address}, pictured in {picture}; the page ends with:\n{tail}");
    }

    #[track_caller]
    fn devtools(&self, command: &str, parameters: &Value) -> Value {
        let body = json!({ "cmd": command, "params": parameters });
        self.command("POST", "/goog/cdp/execute", &body)
    }

    fn all(&self, css: &str) -> Vec<Value> {
        let body = json!({ "using": "css selector", "value": css });
        let found = self.command("POST", "/elements", &body);
        found.as_array().unwrap().clone()
    }

    #[track_caller]
    fn find(&self, css: &str) -> String {
        let found = RefCell::new(None);
        self.wait(css, || {
            found.replace(self.all(css).into_iter().next());
            found.borrow().is_some()
        });
        let found = found.into_inner().unwrap();
        found[ELEMENT].as_str().unwrap().to_owned()
    }

    /// A command to an element, once more when the page replaced it or something was still above.
    #[track_caller]
    fn of_element(&self, css: &str, method: &str, command: &str, body: &Value) -> Value {
        let start = Instant::now();
        loop {
            let path = format!("/element/{}{command}", self.find(css));
            match self.try_command(method, &path, body) {
                Ok(value) => return value,
                Err(refusal) => {
                    let passing = [
                        "stale element reference",
                        "element click intercepted",
                        "element not interactable",
                    ];
                    if !passing.contains(&refusal.error.as_str()) || PATIENCE < start.elapsed() {
                        self.fail(&format!("{css}: {}: {}", refusal.error, refusal.message));
                    }
                    thread::sleep(LOOK_AGAIN_AFTER);
                }
            }
        }
    }

    fn try_command(&self, method: &str, command: &str, body: &Value) -> Result<Value, Refusal> {
        let path = format!("/session/{}{command}", self.session);
        self.driver.command(method, &path, body)
    }

    #[track_caller]
    fn command(&self, method: &str, command: &str, body: &Value) -> Value {
        match self.try_command(method, command, body) {
            Ok(value) => value,
            Err(refusal) => self.fail(&format!(
                "{}: {}\n{}",
                refusal.error,
                refusal.message,
                self.driver.log()
            )),
        }
    }
}

fn down(key: char) -> Value {
    json!({ "type": "keyDown", "value": key })
}

fn up(key: char) -> Value {
    json!({ "type": "keyUp", "value": key })
}

/// Starts a driver and a browser. The folder has everything that either writes.
fn start(device: Device, scripts: Scripts) -> Result<(Driver, Value, TempDir), String> {
    let folder = tempfile::tempdir().unwrap();
    let driver = Driver::start(folder.path())?;
    let profile = folder.path().join("profile");
    let mut options = json!({
        "args": [
            "--headless=new",
            // The tests may run as root, and in a container with little shared memory.
            "--no-sandbox",
            "--disable-dev-shm-usage",
            "--disable-gpu",
            "--disable-quic",
            // The browser speaks to the service under test and to nobody else.
            "--no-proxy-server",
            "--host-resolver-rules=MAP * ~NOTFOUND , EXCLUDE 127.0.0.1",
            "--disable-background-networking",
            "--disable-component-update",
            "--disable-sync",
            "--no-first-run",
            // A page that is still scrolling moves away from under the pointer.
            "--force-prefers-reduced-motion",
            "--lang=en-GB",
            "--window-size=1440,900",
            format!("--user-data-dir={}", profile.display()),
        ],
        "prefs": {},
    });
    if device == Device::Phone {
        // Without touch: on a busy machine a tap can take so long that it becomes a long press,
        // whose menu stops the browser.
        options["mobileEmulation"] = json!({
            "deviceMetrics": {
                "width": 360, "height": 740, "pixelRatio": 2, "touch": false, "mobile": true,
            },
        });
    }
    if scripts == Scripts::Off {
        options["prefs"]["profile.managed_default_content_settings.javascript"] = json!(2);
    }
    let wanted = json!({ "capabilities": { "alwaysMatch": {
        "goog:chromeOptions": options,
        "goog:loggingPrefs": { "browser": "SEVERE" },
    }}});
    match driver.command("POST", "/session", &wanted) {
        Ok(capabilities) => Ok((driver, capabilities, folder)),
        Err(refusal) => Err(format!(
            "{}: {}\nIs chromium there? tests/run installs it.\n{}",
            refusal.error,
            refusal.message,
            driver.log()
        )),
    }
}

/// Waits for a process to end, and kills it when it does not.
fn stop(process: u64) {
    let alive = || Path::new(&format!("/proc/{process}")).exists();
    let start = Instant::now();
    while alive() && start.elapsed() < Duration::from_secs(2) {
        thread::sleep(LOOK_AGAIN_AFTER);
    }
    if alive() {
        let _ = Command::new("kill")
            .args(["-KILL", &process.to_string()])
            .status();
    }
}
