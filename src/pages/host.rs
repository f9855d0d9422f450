//! The host's pages: signing in, and the desk.
//!
//! Pages of the desk extend `host_base.html`, which needs two fields of their struct: `invented`
//! and `desk`. Every form of theirs carries `desk.form_token` in a field `form_token`.

pub mod review;

use crate::numbers::counted;
use crate::vocabulary::StudyState;
use askama::Template;

/// What every page of the desk needs.
#[derive(Clone, Copy, Debug)]
pub struct Desk<'a> {
    /// What its forms bring along in the field `form_token`.
    pub form_token: &'a str,
}

impl<'a> Desk<'a> {
    /// The desk of a signed-in host with this form token.
    #[must_use]
    pub const fn new(form_token: &'a str) -> Self {
        Self { form_token }
    }
}

/// A study as the desk lists it.
#[derive(Clone, Copy, Debug)]
pub struct DeskStudy<'a> {
    /// Its short name.
    pub slug: &'a str,
    /// Its question.
    pub question: &'a str,
    /// Whether its figures are invented.
    pub invented: bool,
    /// Where it stands.
    pub state: StudyState,
}

impl DeskStudy<'_> {
    const fn standing(&self) -> &'static str {
        match self.state {
            StudyState::Draft => "draft, seen by nobody else",
            StudyState::Recruiting => "takes contributions",
            StudyState::Closed => "closed",
        }
    }
}

#[derive(Template)]
#[template(path = "host_desk.html", config = "src/pages/askama.toml")]
struct Studies<'a> {
    invented: bool,
    desk: Desk<'a>,
    studies: &'a [DeskStudy<'a>],
}

/// The desk's first page: every study.
///
/// # Errors
/// When the template cannot be filled.
pub fn studies(desk: Desk<'_>, studies: &[DeskStudy<'_>]) -> Result<String, askama::Error> {
    Studies {
        invented: studies.iter().any(|study| study.invented),
        desk,
        studies,
    }
    .render()
}

/// Where somebody stands who wants to sign in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SignInStep {
    /// The credential is asked for.
    Ask,
    /// What was typed is not it.
    Wrong,
    /// It was tried too often.
    TooOften {
        /// Seconds until it may be tried again.
        seconds: u32,
    },
    /// Nobody has made a credential.
    NoCredential,
}

#[derive(Template)]
#[template(path = "host_sign_in.html", config = "src/pages/askama.toml")]
struct SigningIn {
    invented: bool,
    step: SignInStep,
}

/// The page where the host signs in.
///
/// # Errors
/// When the template cannot be filled.
pub fn sign_in(step: SignInStep) -> Result<String, askama::Error> {
    SigningIn {
        invented: false,
        step,
    }
    .render()
}

/// A time to wait, in words.
fn wait(seconds: &u32) -> String {
    let seconds = u64::from(*seconds);
    if seconds < 60 {
        counted(seconds, "second", "seconds")
    } else {
        counted(seconds.div_ceil(60), "minute", "minutes")
    }
}

#[derive(Template)]
#[template(path = "host_open.html", config = "src/pages/askama.toml")]
struct OpenLink<'a> {
    invented: bool,
    code: &'a str,
}

/// The page behind a one-time link: its button uses the link up.
///
/// # Errors
/// When the template cannot be filled.
pub fn open_link(code: &str) -> Result<String, askama::Error> {
    OpenLink {
        invented: false,
        code,
    }
    .render()
}

/// Why the host's pages did not do what was asked.
#[derive(Clone, Copy, Debug)]
pub enum Trouble<'a> {
    /// A form came from somebody who is signed in no longer.
    SignedOut,
    /// A form came from another site, or from a page of an earlier sign-in.
    OtherForm,
    /// A one-time link was opened before, or its time is over.
    LinkUsedUp,
    /// Anything else.
    Other {
        /// What happened.
        heading: &'a str,
        /// In a sentence.
        words: &'a str,
    },
}

impl<'a> Trouble<'a> {
    const fn heading(self) -> &'a str {
        match self {
            Self::SignedOut => "You are signed out",
            Self::OtherForm => "This form was not taken",
            Self::LinkUsedUp => "This link opens nothing",
            Self::Other { heading, .. } => heading,
        }
    }

    const fn words(self) -> &'a str {
        match self {
            Self::SignedOut => "Nothing was done. Sign in, and do it again.",
            Self::OtherForm => {
                "It did not come from a page of this desk, or the page was opened before you last signed in. Nothing was done. Open the page anew, and do it again."
            }
            Self::LinkUsedUp => "It opens once and for one hour, and that is over.",
            Self::Other { words, .. } => words,
        }
    }
}

#[derive(Template)]
#[template(path = "host_trouble.html", config = "src/pages/askama.toml")]
struct Troubled<'a> {
    invented: bool,
    trouble: &'a Trouble<'a>,
}

/// The page that says why something was not done.
///
/// # Errors
/// When the template cannot be filled.
pub fn trouble(trouble: &Trouble<'_>) -> Result<String, askama::Error> {
    Troubled {
        invented: false,
        trouble,
    }
    .render()
}
