//! Looking around: every address that pages lead to, and every one that those lead to.

use super::markup::{self, Part};
use crate::harness::{Answer, Server};
use std::collections::{BTreeSet, VecDeque};

/// Most addresses that are looked at: a service that leads on for ever is a fault.
const MOST: usize = 600;

/// An address with its answer.
pub(crate) struct Found {
    pub(crate) path: String,
    pub(crate) answer: Answer,
}

impl Found {
    pub(crate) fn is_page(&self) -> bool {
        self.answer.content_type().starts_with("text/html")
    }

    pub(crate) fn is_picture(&self) -> bool {
        self.answer.content_type().starts_with("image/svg")
    }
}

/// Everything that a browser with this cookie gets to from some addresses.
pub(super) fn crawl(server: &Server, cookie: &str, starts: &[String]) -> Vec<Found> {
    let mut ahead: VecDeque<String> = starts.iter().cloned().collect();
    let mut known: BTreeSet<String> = starts.iter().cloned().collect();
    let mut found = Vec::new();
    while let Some(path) = ahead.pop_front() {
        assert!(found.len() < MOST, "still going at {path}");
        let answer = server.send("GET", &path, &[("cookie", cookie)], b"");
        if answer.content_type().starts_with("text/html") {
            for link in links(&answer.text()) {
                if known.insert(link.clone()) {
                    ahead.push_back(link);
                }
            }
        }
        found.push(Found { path, answer });
    }
    found
}

/// The addresses of this service in a page, without the places in them. A protocol-relative one is
/// somebody else's.
fn links(page: &str) -> Vec<String> {
    let leads = |part: &Part| {
        let names = ["href", "src", "action"];
        let values = part.attributes.iter();
        let addresses = values.filter(|(name, _)| names.contains(&name.as_str()));
        let addresses = addresses.map(|(_, value)| value.split('#').next().unwrap().to_owned());
        addresses.collect::<Vec<String>>()
    };
    let all = markup::html(page);
    let all = all.iter().flat_map(leads);
    all.filter(|address| address.starts_with('/') && !address.starts_with("//"))
        .collect()
}
