//! What a further version of a study may not change.

use crate::intake::fault::{Fault, FaultCode};
use crate::protocol::{Study, VersionedText};

/// The short name stays, because addresses hold it.
pub(in crate::intake) fn same_name(after: &Study, before: &[&Study], faults: &mut Vec<Fault>) {
    let other = before
        .last()
        .filter(|before| before.label.slug != after.label.slug);
    faults.extend(other.map(|before| {
        Fault::new(
            "/study".to_owned(),
            FaultCode::OtherStudy,
            format!(
                "The short name stays `{}`, because addresses hold it; for another name add another study.",
                before.label.slug
            ),
        )
    }));
}

/// What people have read and sent since recruiting opened stays true.
pub(in crate::intake) fn settled_at_opening(
    after: &Study,
    before: &[&Study],
    faults: &mut Vec<Fault>,
) {
    let other = before
        .last()
        .filter(|before| before.label.invented != after.label.invented);
    faults.extend(other.map(|before| {
        Fault::new(
            "/invented".to_owned(),
            FaultCode::SettledBefore,
            format!(
                "Whether the data are invented was settled when recruiting opened; leave it at {}.",
                before.label.invented
            ),
        )
    }));
    let texts: [(&str, TextOf); 3] = [
        ("/privacy", |study| study.hosting.privacy.as_ref()),
        ("/protocol/consent", |study| Some(&study.protocol.consent)),
        ("/protocol/deep", |study| Some(&study.protocol.deep)),
    ];
    for (place, text_of) in texts {
        another_name(place, text_of, after, before, faults);
    }
}

/// One of a study's named texts.
type TextOf = fn(&Study) -> Option<&VersionedText>;

/// A name stands for one wording for ever, so that one can tell what somebody read. Spaces and line
/// breaks are no words.
fn another_name(
    place: &str,
    text_of: TextOf,
    after: &Study,
    before: &[&Study],
    faults: &mut Vec<Fault>,
) {
    let Some(now) = text_of(after) else { return };
    let mut texts = before.iter().filter_map(|before| text_of(before));
    let is_other = |then: &VersionedText| {
        let (then, now) = (then.text.split_whitespace(), now.text.split_whitespace());
        !then.eq(now)
    };
    if texts.any(|then| then.version == now.version && is_other(then)) {
        faults.push(Fault::new(
            format!("{place}/version"),
            FaultCode::SettledBefore,
            format!(
                "`{}` was the name of another wording; give this one a new name.",
                now.version
            ),
        ));
    }
}
