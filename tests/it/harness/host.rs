//! The host at a server: a credential, signing in, and forms of the desk.

use super::{Answer, Server, run};
use serde_json::Value;
use std::path::Path;

/// The name of the cookie that a signed-in browser holds.
pub(crate) const COOKIE: &str = "__Host-tautpool";

const FORM: (&str, &str) = ("content-type", "application/x-www-form-urlencoded");

/// Makes the credential of a data folder and returns it as it was shown.
pub(crate) fn credential(data: &Path) -> String {
    let data = data.to_str().unwrap();
    let output = run(&["host", "credential", "make", "--data", data], b"");
    assert!(output.status.success(), "{output:?}");
    let printed = String::from_utf8(output.stdout).unwrap();
    printed.lines().next().unwrap().to_owned()
}

/// Fields as a form's body. The values of these tests need no escaping but for spaces.
fn body(fields: &[(&str, &str)]) -> String {
    let pair = |(name, value): &(&str, &str)| format!("{name}={}", value.replace(' ', "+"));
    fields.iter().map(pair).collect::<Vec<String>>().join("&")
}

/// A value as it travels in a form, but for its spaces.
pub(crate) fn escaped(text: &str) -> String {
    let escaped = |byte: u8| {
        if byte.is_ascii_alphanumeric() || byte == b' ' {
            char::from(byte).to_string()
        } else {
            format!("%{byte:02X}")
        }
    };
    text.bytes().map(escaped).collect()
}

/// The fields of the form that writes a study, filled in.
pub(crate) fn study_fields(study: &Value) -> Vec<(String, String)> {
    let entries = tautpool::intake::entries::study_entries(study);
    let names = tautpool::form::study::names();
    names
        .map(|name| {
            let value = escaped(entries.get(&name));
            (name, value)
        })
        .collect()
}

/// Sends a form as a browser that is not signed in.
pub(crate) fn post(server: &Server, path: &str, fields: &[(&str, &str)]) -> Answer {
    post_with(server, path, &[], fields)
}

/// Sends a form with more headers.
pub(crate) fn post_with(
    server: &Server,
    path: &str,
    headers: &[(&str, &str)],
    fields: &[(&str, &str)],
) -> Answer {
    let headers = [&[FORM], headers].concat();
    server.send("POST", path, &headers, body(fields).as_bytes())
}

/// A browser in which the host is signed in.
#[derive(Clone)]
pub(crate) struct Desk<'a> {
    server: &'a Server,
    /// What the browser holds: `name=value`.
    pub(crate) cookie: String,
}

impl<'a> Desk<'a> {
    /// Signs in.
    pub(crate) fn enter(server: &'a Server, credential: &str) -> Self {
        let answer = post(server, "/host/sign-in", &[("credential", credential)]);
        Self::given(server, &answer.expect(303))
    }

    /// The browser that got an answer with a cookie.
    pub(crate) fn given(server: &'a Server, answer: &Answer) -> Self {
        assert_eq!(answer.header("location"), "/host");
        let cookie = answer.header("set-cookie").split(';').next().unwrap();
        assert!(cookie.starts_with(COOKIE), "{cookie}");
        Self::holding(server, cookie)
    }

    /// A browser that holds a cookie, at this or another server.
    pub(crate) fn holding(server: &'a Server, cookie: &str) -> Self {
        Self {
            server,
            cookie: cookie.to_owned(),
        }
    }

    /// GET.
    pub(crate) fn get(&self, path: &str) -> Answer {
        let headers = [("cookie", self.cookie.as_str())];
        self.server.send("GET", path, &headers, b"")
    }

    /// Whether the host is still signed in here.
    pub(crate) fn is_in(&self) -> bool {
        self.get("/host").status == 200
    }

    /// What the forms of this browser carry.
    pub(crate) fn form_token(&self) -> String {
        let page = self.get("/host").expect(200).text();
        let (_, rest) = page.split_once("name=\"form_token\" value=\"").unwrap();
        rest.split('"').next().unwrap().to_owned()
    }

    /// Sends a form of the desk.
    pub(crate) fn post(&self, path: &str, fields: &[(&str, &str)]) -> Answer {
        let form_token = self.form_token();
        let fields = [&[("form_token", form_token.as_str())], fields].concat();
        self.post_bare(path, &[], &fields)
    }

    /// Sends fields as they are, with more headers.
    pub(crate) fn post_bare(
        &self,
        path: &str,
        headers: &[(&str, &str)],
        fields: &[(&str, &str)],
    ) -> Answer {
        let headers = [&[("cookie", self.cookie.as_str())], headers].concat();
        post_with(self.server, path, &headers, fields)
    }
}
