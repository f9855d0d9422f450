//! A browser without a script, as far as forms go: it sends what the form of a page holds.

use crate::harness::{Answer, STUDY, Server};
use std::collections::BTreeMap;

/// One element's name and attributes.
struct Tag {
    name: String,
    attributes: BTreeMap<String, String>,
    /// The text after it, up to the next tag.
    text: String,
}

impl Tag {
    fn get(&self, name: &str) -> &str {
        self.attributes.get(name).map_or("", String::as_str)
    }

    fn has(&self, name: &str) -> bool {
        self.attributes.contains_key(name)
    }
}

/// Text of HTML as it is read.
pub(crate) fn unescaped(text: &str) -> String {
    [
        ("&#60;", "<"),
        ("&#62;", ">"),
        ("&#34;", "\""),
        ("&#39;", "'"),
        ("&#38;", "&"),
    ]
    .iter()
    .fold(text.to_owned(), |text, (escaped, plain)| {
        text.replace(escaped, plain)
    })
}

fn tags(html: &str) -> Vec<Tag> {
    html.split('<')
        .skip(1)
        .map(|part| {
            let (tag, text) = part.split_once('>').unwrap();
            let (name, mut rest) = tag.split_once([' ', '\n']).unwrap_or((tag, ""));
            let mut attributes = BTreeMap::new();
            loop {
                rest = rest.trim_start();
                let end = rest.find([' ', '=']).unwrap_or(rest.len());
                let (key, after) = rest.split_at(end);
                if key.is_empty() {
                    break;
                }
                let value = after
                    .strip_prefix("=\"")
                    .map(|quoted| quoted.split_once('"').unwrap());
                rest = value.map_or(after, |(_, after)| after);
                attributes.insert(
                    key.to_owned(),
                    value.map_or_else(String::new, |(value, _)| unescaped(value)),
                );
            }
            Tag {
                name: name.to_owned(),
                attributes,
                text: unescaped(text),
            }
        })
        .collect()
}

/// A page with its form, filled as it stands.
pub(crate) struct Page {
    pub(crate) html: String,
    /// What would be sent, in the order of the page.
    pub(crate) filled: Vec<(String, String)>,
    /// What each name may be set to; nothing in the list when any text goes.
    open: BTreeMap<String, Vec<String>>,
    buttons: Vec<(String, bool)>,
    action: String,
}

impl Page {
    pub(crate) fn of(answer: &Answer) -> Self {
        assert!(
            answer.content_type().starts_with("text/html"),
            "{}",
            answer.text()
        );
        let html = answer.text();
        let mut page = Self {
            filled: Vec::new(),
            open: BTreeMap::new(),
            buttons: Vec::new(),
            action: String::new(),
            html: html.clone(),
        };
        let mut select = String::new();
        for tag in tags(&html) {
            let name = tag.get("name").to_owned();
            match (tag.name.as_str(), tag.get("type")) {
                ("form", _) => tag.get("action").clone_into(&mut page.action),
                ("button", "submit") => {
                    assert_eq!(name, "do");
                    page.buttons
                        .push((tag.get("value").to_owned(), tag.has("hidden")));
                }
                ("input", "radio" | "checkbox") => {
                    let value = tag.get("value").to_owned();
                    if tag.has("checked") {
                        page.filled.push((name.clone(), value.clone()));
                    }
                    page.open.entry(name).or_default().push(value);
                }
                ("input", kind) => {
                    assert!(["text", "hidden"].contains(&kind), "{kind}");
                    page.filled
                        .push((name.clone(), tag.get("value").to_owned()));
                    if kind == "text" {
                        page.open.insert(name, Vec::new());
                    }
                }
                ("textarea", _) => {
                    page.filled.push((name.clone(), tag.text.clone()));
                    page.open.insert(name, Vec::new());
                }
                ("select", _) => {
                    select.clone_from(&name);
                    page.filled.push((name, String::new()));
                }
                ("option", _) => {
                    let value = tag.get("value").to_owned();
                    if tag.has("selected") {
                        page.set(&select, &value);
                    }
                    page.open.entry(select.clone()).or_default().push(value);
                }
                _ => {}
            }
        }
        page
    }

    /// Which step is shown.
    pub(crate) fn step(&self) -> &str {
        let shown: Vec<&str> = self
            .html
            .split("<section class=\"step\"")
            .skip(1)
            .map(|section| section.split_once('>').unwrap().0)
            .filter(|attributes| !attributes.ends_with(" hidden"))
            .map(|attributes| attributes.split('"').nth(3).unwrap())
            .collect();
        assert_eq!(shown.len(), 1, "{shown:?}");
        shown[0]
    }

    /// What stands in a field.
    pub(crate) fn value(&self, name: &str) -> &str {
        let found = self.filled.iter().find(|(known, _)| known == name);
        found.map_or("", |(_, value)| value)
    }

    /// Every name that can be filled.
    pub(crate) fn names(&self) -> impl Iterator<Item = (&str, &[String])> {
        self.open
            .iter()
            .map(|(name, values)| (name.as_str(), values.as_slice()))
    }

    /// Types or chooses; the page must have such a field and such a word.
    #[track_caller]
    pub(crate) fn fill(&mut self, name: &str, value: &str) {
        let words = self
            .open
            .get(name)
            .unwrap_or_else(|| panic!("no field {name}"));
        assert!(
            value.is_empty() || words.is_empty() || words.iter().any(|word| word == value),
            "{name} has no {value}"
        );
        self.set(name, value);
    }

    /// Fills many fields.
    #[track_caller]
    pub(crate) fn fill_all(&mut self, pairs: &[(&str, &str)]) {
        for (name, value) in pairs {
            self.fill(name, value);
        }
    }

    /// Sets a value past every control, as a browser never would.
    pub(crate) fn set(&mut self, name: &str, value: &str) {
        self.filled.retain(|(known, _)| known != name);
        self.filled.push((name.to_owned(), value.to_owned()));
    }

    /// Presses a button that is on the page.
    #[track_caller]
    pub(crate) fn press(&self, server: &Server, button: &str) -> Answer {
        let seen = self
            .buttons
            .iter()
            .any(|(known, hidden)| known == button && !hidden);
        assert!(seen, "no button {button} in {:?}", self.buttons);
        self.post(server, button)
    }

    /// Sends the form with a word for `do`, whether or not there is a button for it.
    pub(crate) fn post(&self, server: &Server, action: &str) -> Answer {
        let mut pairs = self.filled.clone();
        pairs.push(("do".to_owned(), action.to_owned()));
        server.send(
            "POST",
            &self.action,
            &[("content-type", FORM)],
            encoded(&pairs).as_bytes(),
        )
    }

    /// The sentence at a field, when it is at fault.
    pub(crate) fn fault(&self, name: &str) -> Option<String> {
        self.told(name, "fault")
    }

    /// The sentence at a field, when it is worth a second look.
    pub(crate) fn flag(&self, name: &str) -> Option<String> {
        self.told(name, "flag")
    }

    fn told(&self, name: &str, kind: &str) -> Option<String> {
        let start = format!("<p class=\"{kind}\" id=\"{kind}-{name}\">");
        let (_, rest) = self.html.split_once(&start)?;
        Some(unescaped(rest.split_once("</p>").unwrap().0))
    }

    /// Every field at fault.
    pub(crate) fn faults(&self) -> Vec<&str> {
        self.html
            .split("<p class=\"fault\" id=\"fault-")
            .skip(1)
            .map(|part| part.split_once('"').unwrap().0)
            .collect()
    }
}

/// The media type of a form.
pub(crate) const FORM: &str = "application/x-www-form-urlencoded";

/// Pairs as a browser encodes them.
pub(crate) fn encoded(pairs: &[(String, String)]) -> String {
    let escape = |text: &str| {
        text.bytes().fold(String::new(), |mut escaped, byte| {
            if byte.is_ascii_alphanumeric() || b"-._*".contains(&byte) {
                escaped.push(char::from(byte));
            } else if byte == b' ' {
                escaped.push('+');
            } else {
                escaped.push_str(&format!("%{byte:02X}"));
            }
            escaped
        })
    };
    let parts: Vec<String> = pairs
        .iter()
        .map(|(name, value)| format!("{}={}", escape(name), escape(value)))
        .collect();
    parts.join("&")
}

/// The address of the form.
pub(crate) fn address() -> String {
    format!("/studies/{STUDY}/send")
}

/// The form as one arrives at it.
pub(crate) fn arrive(server: &Server) -> Page {
    Page::of(&server.get(&address()).expect(200))
}
