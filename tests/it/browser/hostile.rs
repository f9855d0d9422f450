//! A service full of injections, looked at in a real browser: nothing of them runs, is fetched from
//! elsewhere or asks anything.

use super::session::{Browser, Device, Scripts};
use crate::attack::outputs::hostile_stage;
use crate::harness::host::Desk;
use crate::harness::runs;
use serde_json::{Value, json};

/// What the injections call. It stands there only while something of them runs.
const LURE: &str = "window.zqx = () => document.documentElement.setAttribute('zqx', 'ran');";

/// What became of a page: whether anything ran, what was fetched, and what is its own.
const LOOK: &str = "return [document.documentElement.hasAttribute('zqx'), \
    performance.getEntriesByType('resource').map((entry) => entry.name), location.href]";

/// Puts a script of our own into the page, as an injection would, and says whether it ran.
const INJECT: &str = "const script = document.createElementNS(document.documentElement.namespaceURI, 'script'); \
    script.textContent = 'document.documentElement.setAttribute(\"zqx\", \"ran\")'; \
    document.documentElement.append(script); \
    const ran = document.documentElement.hasAttribute('zqx'); \
    document.documentElement.removeAttribute('zqx'); return ran";

fn look_at(browser: &Browser, path: &str) {
    browser.go(path);
    let seen = browser.run(LOOK, &[]);
    assert_eq!(seen[0], json!(false), "{path}: something ran");
    let home = seen[2].as_str().unwrap();
    let origin = home.split('/').take(3).collect::<Vec<_>>().join("/");
    assert!(
        home.starts_with(&format!("{origin}{path}")),
        "{path} led to {home}"
    );
    for fetched in seen[1].as_array().unwrap() {
        assert!(
            fetched.as_str().unwrap().starts_with(&origin),
            "{path}: {fetched}"
        );
    }
    // No policy was broken, and no frame, style or script was refused: there was none.
    let complaints = browser.complaints();
    assert!(complaints.is_empty(), "{path}: {complaints:?}");
}

#[test]
fn nothing_that_was_smuggled_into_a_text_runs_in_a_browser() {
    let stage = hostile_stage(runs(11, 29));
    let browser = Browser::open(&stage.server.address, Device::Desktop, Scripts::On);
    browser.before_every_page(LURE);
    let all = stage.seen_by_anybody();
    let shown = all
        .iter()
        .filter(|found| found.is_page() || found.is_picture());
    // Pages in other units say the same once more.
    let mut paths: Vec<&str> = shown
        .map(|found| found.path.as_str())
        .filter(|path| !path.contains('?'))
        .collect();
    paths.truncate(runs(40, 400));
    assert!(20 < paths.len(), "{paths:?}");
    for path in &paths {
        look_at(&browser, path);
    }
    let picture = paths.iter().find(|path| path.ends_with(".svg")).unwrap();
    for path in ["/", picture] {
        browser.go(path);
        assert_eq!(browser.run(INJECT, &[]), json!(false), "{path}");
        let complaints = browser.complaints();
        assert!(
            complaints
                .iter()
                .any(|words| words.contains("Content Security Policy")),
            "{complaints:?}"
        );
    }
    // The desk, as the host sees it.
    let desk = Desk::enter(&stage.server, &stage.credential);
    browser.go("/host/sign-in");
    let (name, value) = desk.cookie.split_once('=').unwrap();
    browser.hold_cookie(name, value);
    let on_the_desk = stage.seen_by_the_host();
    let pages = on_the_desk.iter().filter(|found| found.is_page());
    let pages: Vec<&str> = pages.map(|found| found.path.as_str()).collect();
    assert!(5 < pages.len(), "{pages:?}");
    for path in pages {
        look_at(&browser, path);
    }
    let there: Value = browser.run(
        "return document.querySelector('form[action=\"/host/sign-out\"]') !== null",
        &[],
    );
    assert_eq!(there, json!(true), "the host was signed in");
}
