//! The script of the contributor's form, and the worker that lets the form open without signal.
//!
//! Every page works without them. They are plain text that is sent as it stands; only the worker
//! gets a version, derived here from everything it keeps, so that a phone drops what is out of date.

use super::STYLE;
use data_encoding::HEXLOWER;
use sha2::{Digest, Sha256};

/// Modules by the last part of their address below `/script/`. A page loads `form.js`, which asks
/// for the others.
pub const SCRIPTS: &[(&str, &str)] = &[
    ("form.js", include_str!("script/form.js")),
    ("draft.js", include_str!("script/draft.js")),
    ("entries.js", include_str!("script/entries.js")),
    ("faults.js", include_str!("script/faults.js")),
    ("check.js", include_str!("script/check.js")),
    ("figures.js", include_str!("script/figures.js")),
    ("keeping.js", include_str!("script/keeping.js")),
    ("page.js", include_str!("script/page.js")),
    ("sending.js", include_str!("script/sending.js")),
    ("steps.js", include_str!("script/steps.js")),
    ("words.js", include_str!("script/words.js")),
];

/// The worker as it is written, with [`VERSION`] and [`PARTS`] still in it.
const WORKER: &str = include_str!("script/worker.js");

/// What stands in the worker's text for its version.
const VERSION: &str = "VERSION_OF_THE_PARTS";

/// What stands in the worker's text for the addresses it keeps from the start.
const PARTS: &str = "\"ADDRESSES_OF_THE_PARTS\"";

/// Hexadecimal digits of the version: 64 bits of the hash, far more than there will be versions.
const VERSION_DIGITS: usize = 16;

/// The text of one module of the form's script; `None` when there is none of this name.
#[must_use]
pub fn script(name: &str) -> Option<&'static str> {
    SCRIPTS
        .iter()
        .find(|(known, _)| *known == name)
        .map(|(_, text)| *text)
}

/// The service worker, to be served at the root so that it may answer for every form.
#[must_use]
pub fn worker() -> String {
    worker_of(WORKER, STYLE, SCRIPTS)
}

fn worker_of(worker: &str, style: &str, scripts: &[(&str, &str)]) -> String {
    let mut digest = Sha256::new();
    let texts = scripts.iter().flat_map(|(name, text)| [*name, *text]);
    for text in [worker, style].into_iter().chain(texts) {
        // The length in front keeps two lists of texts apart that join to the same text.
        digest.update((text.len() as u64).to_be_bytes());
        digest.update(text);
    }
    let version: String = HEXLOWER
        .encode(&digest.finalize())
        .chars()
        .take(VERSION_DIGITS)
        .collect();
    let addresses: Vec<String> = ["/style.css".to_owned()]
        .into_iter()
        .chain(scripts.iter().map(|(name, _)| format!("/script/{name}")))
        .map(|address| format!("\"{address}\""))
        .collect();
    worker
        .replace(VERSION, &version)
        .replace(PARTS, &addresses.join(", "))
}

#[cfg(test)]
mod tests {
    use super::*;

    const PLAIN: &str = "const VERSION = \"VERSION_OF_THE_PARTS\"; [\"ADDRESSES_OF_THE_PARTS\"]";

    #[test]
    fn the_worker_names_its_version_and_every_part() {
        let worker = worker();
        assert!(!worker.contains(VERSION) && !worker.contains(PARTS));
        assert!(worker.contains("\"/style.css\""));
        for (name, _) in SCRIPTS {
            assert!(worker.contains(&format!("\"/script/{name}\"")), "{name}");
        }
    }

    #[test]
    fn the_version_changes_with_any_part_and_with_nothing_else() {
        let first = worker_of(PLAIN, "p {}", &[("a.js", "1"), ("b.js", "2")]);
        assert_eq!(
            first,
            worker_of(PLAIN, "p {}", &[("a.js", "1"), ("b.js", "2")])
        );
        let longer = format!("{PLAIN} ");
        let others = [
            worker_of(PLAIN, "p { }", &[("a.js", "1"), ("b.js", "2")]),
            worker_of(PLAIN, "p {}", &[("a.js", "12"), ("b.js", "")]),
            worker_of(PLAIN, "p {}", &[("a.js", "1"), ("b.js", "3")]),
            worker_of(PLAIN, "p {}", &[("a.js", "1"), ("c.js", "2")]),
            worker_of(PLAIN, "p {}", &[("a.js", "1")]),
            worker_of(&longer, "p {}", &[("a.js", "1"), ("b.js", "2")]),
        ];
        let version = |worker: &str| worker.split('"').nth(1).map(str::to_owned);
        for other in others {
            assert_ne!(version(&first), version(&other), "{other}");
        }
    }

    #[test]
    fn a_module_asks_only_for_modules_that_are_served() {
        for (name, text) in SCRIPTS {
            for asked in text.split(" from \"./").skip(1) {
                let asked = asked.split('"').next().unwrap();
                assert!(script(asked).is_some(), "{name} asks for {asked}");
            }
        }
        assert_eq!(script("worker.js"), None);
    }
}
