//! The form by which sessions are sent, in steps. It shows nothing of what others sent.
//!
//! All steps are in the page and all but one are hidden, so that what was typed travels along and
//! nothing is kept on the server. Without a script every button asks the server for the page anew;
//! with one, the same page moves from step to step by itself.

mod blocks;
mod digest;
mod fields;

use super::Station;
use crate::form::{Entries, FieldFault, Step, find};
use crate::numbers::counted;
use crate::protocol::{Study, limits};
use askama::Template;
use blocks::StepView;
use digest::Digest;
use fields::FieldView;

/// What a form is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Purpose {
    /// A pair of somebody new, or a further one of whoever holds the receipt that is given.
    Pair,
    /// A correction of this contribution.
    Correction(uuid::Uuid),
}

/// Why nothing was stored although nothing typed is at fault.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Hindrance {
    /// This form was sent before, with other entries.
    AlreadySent,
    /// Nobody of this study holds the receipt.
    ReceiptUnknown,
    /// The study needs an invitation.
    InvitationMissing,
    /// There is no such invitation, or it was used up or ended.
    InvitationUnknown,
    /// The holder of the receipt has sent as many pairs as one player may.
    TooManyPairs,
    /// The holder of the receipt has no such contribution.
    ContributionUnknown,
    /// What is corrected was withdrawn.
    Withdrawn,
    /// What is corrected was corrected as often as it may be.
    TooManyVersions,
    /// The study takes no further contributions.
    Closed,
    /// The service cannot store anything now.
    Unavailable,
    /// The service failed.
    Failed,
    /// More arrived than is read.
    TooLarge,
    /// Not everything arrived.
    BrokenOff,
}

impl Hindrance {
    /// What happened, and what to do.
    fn sentence(self) -> String {
        match self {
            Self::AlreadySent => "This form was sent already, with other entries; that is stored, and these are not.".to_owned(),
            Self::ReceiptUnknown => "No player of this study holds this receipt. Check it, or leave it blank to send as somebody new.".to_owned(),
            Self::InvitationMissing => "This study takes sessions by invitation. Enter the code that the host gave you, at the end of this form; with a receipt you need none.".to_owned(),
            Self::InvitationUnknown => "This study has no such invitation, or it was used up. Compare the code with what the host gave you, or ask for another.".to_owned(),
            Self::TooManyPairs => format!(
                "This receipt has reached {} pairs, as many as one player may send. Thank you.",
                limits::PAIRS_PER_PLAYER
            ),
            Self::ContributionUnknown => "This receipt has no such pair. Open your receipt and choose the pair anew.".to_owned(),
            Self::Withdrawn => "This pair was withdrawn, so it cannot be corrected. You can send the sessions anew with the same receipt.".to_owned(),
            Self::TooManyVersions => "This pair was corrected as often as it may be. Withdraw it and send the sessions anew with the same receipt.".to_owned(),
            Self::Closed => "This study was closed meanwhile and takes no further contributions. Nothing was stored.".to_owned(),
            Self::Unavailable => "Nothing can be stored at the moment. Everything you typed is still here; send it again in a minute: the same entries count only once.".to_owned(),
            Self::Failed => "The service failed. Everything you typed is still here; send it again later: the same entries count only once.".to_owned(),
            Self::TooLarge => "More arrived than a form can hold, so nothing of it was read. Go back in your browser; what you typed is still there.".to_owned(),
            Self::BrokenOff => "The form did not arrive whole, so nothing of it was read. Go back in your browser; what you typed is still there.".to_owned(),
        }
    }
}

/// Everything that the form shows.
#[derive(Clone, Copy, Debug)]
pub struct SendView<'a> {
    /// The study.
    pub study: &'a Study,
    /// What was typed so far.
    pub entries: &'a Entries,
    /// What the form is for.
    pub purpose: Purpose,
    /// The step that is shown.
    pub step: Step,
    /// The furthest step that was shown.
    pub reached: Step,
    /// The furthest step that was checked.
    pub checked: Option<Step>,
    /// What makes a form one form, however often it is sent.
    pub token: &'a str,
    /// The receipt, as it was typed.
    pub receipt: &'a str,
    /// What was filled in where nothing should be.
    pub trap: &'a str,
    /// The invitation, as it was typed; `None` when none is needed.
    pub invitation: Option<&'a str>,
    /// What is to be mended.
    pub faults: &'a [FieldFault],
    /// What is worth a second look, which keeps nobody from sending.
    pub flags: &'a [FieldFault],
    /// Whether the step is shown once more for the sake of its flags.
    pub asks: bool,
    /// What hindered sending.
    pub hindrance: Option<Hindrance>,
}

#[derive(Template)]
#[template(path = "send.html", config = "src/pages/askama.toml")]
struct Send<'a> {
    invented: bool,
    study: &'a Study,
    here: Station,
    title: String,
    progress: String,
    hindrance: Option<String>,
    already_sent: bool,
    summary: Option<String>,
    to_mend: Vec<ToMend>,
    question: Option<String>,
    to_look_at: Vec<ToMend>,
    correcting: Option<String>,
    view: SendView<'a>,
    steps: Vec<StepView<'a>>,
    consent: Vec<FieldView<'a>>,
    reason: Option<FieldView<'a>>,
    consent_text: Vec<&'a str>,
    digest: Vec<Digest>,
}

/// One line of the summary of what is to be mended, or to be looked at again.
struct ToMend {
    /// The field, when it stands in the step that is shown.
    field: Option<String>,
    /// The step that has to be opened first.
    step: &'static str,
    label: String,
    sentence: String,
}

impl Send<'_> {
    const fn is_first(&self) -> bool {
        matches!(self.view.step, Step::Setup)
    }

    const fn is_last(&self) -> bool {
        matches!(self.view.step, Step::Send)
    }
}

/// The page of the form.
///
/// # Errors
/// When the template cannot be filled.
pub fn send(view: &SendView<'_>) -> Result<String, askama::Error> {
    let SendView {
        study,
        entries,
        faults,
        flags,
        ..
    } = *view;
    let here: Vec<&FieldFault> = flags.iter().filter(|flag| flag.step == view.step).collect();
    let steps = entries.steps();
    let number = steps.iter().position(|step| *step == view.step);
    let n_faults = u64::try_from(faults.len()).unwrap_or(u64::MAX);
    let correcting = match view.purpose {
        Purpose::Pair => None,
        Purpose::Correction(contribution) => Some(contribution.to_string()),
    };
    Send {
        invented: study.label.invented,
        study,
        here: Station::Send,
        title: blocks::step_title(view.step, entries),
        progress: format!("Step {} of {}", number.unwrap_or(0) + 1, steps.len()),
        hindrance: view.hindrance.map(Hindrance::sentence),
        already_sent: view.hindrance == Some(Hindrance::AlreadySent),
        summary: (0 < n_faults)
            .then(|| format!("{} to mend", counted(n_faults, "thing", "things"))),
        to_mend: faults.iter().map(|fault| to_mend(fault, view)).collect(),
        question: view.asks.then(|| to_look_at(&here)),
        to_look_at: match view.step {
            Step::Send => flags.iter().map(|flag| to_mend(flag, view)).collect(),
            _ => here.iter().map(|flag| to_mend(flag, view)).collect(),
        },
        steps: blocks::steps(view),
        consent: fields::consent(view),
        reason: correcting.as_ref().and_then(|_| fields::reason(view)),
        correcting,
        view: *view,
        consent_text: study.protocol.consent.text.split("\n\n").collect(),
        digest: digest::of(entries, study),
    }
    .render()
}

fn to_look_at(flags: &[&FieldFault]) -> String {
    let n_flags = u64::try_from(flags.len()).unwrap_or(u64::MAX);
    format!("{} to look at again", counted(n_flags, "thing", "things"))
}

fn to_mend(fault: &FieldFault, view: &SendView<'_>) -> ToMend {
    let spot = fault.field.as_deref().and_then(find);
    ToMend {
        field: fault.field.clone().filter(|_| fault.step == view.step),
        step: fault.step.code(),
        label: spot.map_or_else(String::new, |spot| {
            fields::full_label(&spot, view.entries, view.study)
        }),
        sentence: fault.sentence.clone(),
    }
}
