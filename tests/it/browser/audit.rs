//! What every page owes every reader: an accessibility engine finds nothing (axe-core, run inside
//! the browser), and neither do the checks of our own in `checks.js`.

use super::session::{Browser, Device, key};
use serde_json::{Value, json};
use std::cell::RefCell;
use std::fs;
use std::path::Path;
use std::thread;

/// Where tests/run puts the accessibility engine, below the project's root.
const ENGINE: &str = "target/accessibility-engine/axe_playwright_python/axe.min.js";

/// Rules of WCAG 2.2, levels A and AA, and what the engine's makers advise besides.
const RULES: &[&str] = &[
    "wcag2a",
    "wcag2aa",
    "wcag21a",
    "wcag21aa",
    "wcag22aa",
    "best-practice",
];

/// Runs the engine. Its second argument is called with one sentence for each violation.
const RUN_ENGINE: &str = "
    const [rules, done] = arguments;
    const told = (rule) => rule.nodes.slice(0, 4).map((node) =>
        `${rule.id}: ${rule.help}: ${node.target.join(' ')}: ${node.failureSummary.split('\\n')[1]?.trim()}`);
    axe.run(document, { runOnly: rules, resultTypes: ['violations'] })
        .then((result) => done(result.violations.flatMap(told)), (error) => done([String(error)]));";

/// What was found on the pages that were looked at. It has to be asked at the end.
pub(crate) struct Audit<'a> {
    browser: &'a Browser,
    engine: String,
    faults: RefCell<Vec<(String, String)>>,
}

impl Drop for Audit<'_> {
    fn drop(&mut self) {
        if thread::panicking() {
            eprintln!("found until then:\n  {}", self.told());
        }
    }
}

impl<'a> Audit<'a> {
    pub(crate) fn new(browser: &'a Browser) -> Self {
        let engine = Path::new(env!("CARGO_MANIFEST_DIR")).join(ENGINE);
        let engine = fs::read_to_string(engine).unwrap_or_else(|error| {
            panic!("no accessibility engine in {ENGINE} ({error}): run tests/run, it installs what the browser tests need")
        });
        Self {
            browser,
            engine,
            faults: RefCell::default(),
        }
    }

    /// Looks at the page with its details closed and open, and on a phone also in the dark:
    /// colours do not depend on the width. It is left as it came.
    pub(crate) fn look(&self, name: &str) {
        let browser = self.browser;
        let on_phone = browser.device() == Device::Phone;
        browser.prefer("light");
        browser.picture(&self.named(name));
        self.note(name, own_checks(browser));
        self.note(name, self.violations());
        if on_phone {
            browser.prefer("dark");
            browser.picture(&format!("{}-dark", self.named(name)));
            browser.prefer("light");
        }
        if browser.has("details:not([open])") {
            browser.run(
                "window.opened = [...document.querySelectorAll('details:not([open])')];
                 window.opened.forEach((details) => { details.open = true; });",
                &[],
            );
            let opened = format!("{name}, all open");
            self.note(&opened, own_checks(browser));
            self.note(&opened, self.violations());
        }
        if on_phone {
            browser.prefer("dark");
            self.note(&format!("{name}, dark"), self.violations());
            browser.prefer("light");
        }
        browser.run(
            "window.opened?.forEach((details) => { details.open = false; })",
            &[],
        );
        self.note(&format!("{name}, console"), browser.complaints());
    }

    /// Walks the page with the Tab key: in the order of the document, to everything, visibly.
    pub(crate) fn walk(&self, name: &str) {
        let n_stops = self.browser.run(include_str!("watch_focus.js"), &[]);
        let n_stops = usize::try_from(n_stops.as_u64().unwrap()).unwrap();
        // Beyond the last one the browser's own window has a stop.
        self.browser.press(&vec![key::TAB; n_stops + 2]);
        let told = self.browser.run(include_str!("judge_focus.js"), &[]);
        self.note(&format!("{name}, by Tab"), sentences(&told));
    }

    /// Fails with everything that was found.
    #[track_caller]
    pub(crate) fn assert_sound(&self) {
        let none = self.faults.borrow().is_empty();
        assert!(none, "to mend:\n  {}", self.told());
    }

    fn told(&self) -> String {
        let faults = self.faults.borrow();
        let lines = faults
            .iter()
            .map(|(name, fault)| format!("{name}: {fault}"));
        lines.collect::<Vec<String>>().join("\n  ")
    }

    /// Notes what is new on this page.
    fn note(&self, name: &str, found: Vec<String>) {
        let page = name.split(", ").next().unwrap();
        let mut faults = self.faults.borrow_mut();
        for fault in found {
            let is_of_page = |known: &str| known.split(", ").next() == Some(page);
            let mut known = faults.iter();
            if !known.any(|(known, told)| is_of_page(known) && *told == fault) {
                faults.push((name.to_owned(), fault));
            }
        }
    }

    fn named(&self, name: &str) -> String {
        format!("{name}-{:?}", self.browser.device()).to_lowercase()
    }

    fn violations(&self) -> Vec<String> {
        if self.browser.run("return typeof window.axe", &[]) != "object" {
            self.browser.run(&self.engine, &[]);
        }
        sentences(&self.browser.run_until_called(RUN_ENGINE, &[json!(RULES)]))
    }
}

fn own_checks(browser: &Browser) -> Vec<String> {
    let width = match browser.device() {
        Device::Phone => json!(360),
        Device::Desktop => browser.run("return document.documentElement.clientWidth", &[]),
    };
    sentences(&browser.run(include_str!("checks.js"), &[width]))
}

fn sentences(list: &Value) -> Vec<String> {
    let list = list.as_array().unwrap().iter();
    list.map(|sentence| sentence.as_str().unwrap().to_owned())
        .collect()
}
