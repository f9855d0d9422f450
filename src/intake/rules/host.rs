//! The rules of what a host writes or an analyst sends back.

use super::class_of;
use crate::intake::fault::{Fault, FaultCode};
use crate::intake::node::{Document, Node};
use crate::intake::schema::Schema;
use crate::protocol::{GapBands, Hosting};
use crate::units::TensionUnit;
use crate::vocabulary::Outcome;

/// The rules of a study.
pub(in crate::intake) fn study(root: &Document<'_>, faults: &mut Vec<Fault>) {
    let protocol = root.field("protocol");
    rising_edges(&protocol, faults);
    primary_once(&protocol, faults);
    one_release_rule(&protocol.field("release_rule"), faults);
}

/// A rule fixes a day or a number of players, not both.
fn one_release_rule(rule: &Node<'_>, faults: &mut Vec<Fault>) {
    let other = match rule.field("kind").text() {
        Some("date") => rule.field("at_least"),
        Some(_) => rule.field("on"),
        None => return,
    };
    if other.is_present() {
        faults.push(Fault::new(
            other.pointer(),
            FaultCode::SaidTwice,
            "A release rule fixes a day or a number of players; leave out the one that `kind` does not name."
                .to_owned(),
        ));
    }
}

/// What a study lacks before recruiting may open.
pub(in crate::intake) fn missing_to_open(hosting: &Hosting) -> Vec<Fault> {
    let required = [
        ("/contact", hosting.contact.is_none()),
        ("/privacy", hosting.privacy.is_none()),
        ("/licence", hosting.licence.is_none()),
    ];
    let missing = required.into_iter().filter(|(_, missing)| *missing);
    let missing = missing.map(|(place, _)| Schema::Study.missing(place));
    missing.chain(no_address(hosting)).collect()
}

/// Releases carry where the licence's text stands, and there it has to be a URI.
pub(in crate::intake) fn no_address(hosting: &Hosting) -> Option<Fault> {
    let url = hosting.licence.as_ref()?.url.as_ref()?;
    (!is_uri(url)).then(|| {
        Fault::new(
            "/licence/url".to_owned(),
            FaultCode::WrongForm,
            "This is no address as releases need it (RFC 3986): percent-encode what is neither a letter of ASCII, a digit nor one of -._~:/?#@!$&'()*+,;= in it."
                .to_owned(),
        )
    })
}

/// Whether an address that begins with `https://` has nothing that RFC 3986 has no place for. An
/// address of IPv6 is not taken, since no licence stands at one.
fn is_uri(url: &str) -> bool {
    let rest = url.strip_prefix("https://").unwrap_or_default();
    let authority = rest.split(['/', '?', '#']).next().unwrap_or_default();
    let host = authority.rsplit('@').next().unwrap_or_default();
    let (name, port) = host.split_once(':').unwrap_or((host, ""));
    let is_port = port.bytes().all(|byte| byte.is_ascii_digit());
    let is_known =
        |byte: u8| byte.is_ascii_alphanumeric() || b"-._~:/?#@!$&'()*+,;=%".contains(&byte);
    let escapes = rest.split('%').skip(1);
    let mut digits = escapes.map(|part| part.as_bytes().get(..2));
    let is_escaped = digits.all(|two| two.is_some_and(|two| two.iter().all(u8::is_ascii_hexdigit)));
    let n_fragments = rest.matches('#').count();
    !name.is_empty() && is_port && rest.bytes().all(is_known) && is_escaped && n_fragments <= 1
}

/// The rules of a download.
pub(in crate::intake) fn aggregate(root: &Document<'_>, faults: &mut Vec<Fault>) {
    let protocol = root.field("protocol");
    rising_edges(&protocol, faults);
    primary_once(&protocol, faults);
    let n_bands = protocol.field("gap_band_edges").items().len();
    for model in root.field("count_models").items() {
        known_band(&model.field("band"), n_bands, faults);
    }
    for row in root.field("rows").items() {
        known_band(&row.field("band"), n_bands, faults);
        imputed_part(&row, faults);
    }
}

fn known_band(band: &Node<'_>, n_bands: usize, faults: &mut Vec<Fault>) {
    let number = band
        .text()
        .and_then(|code| code.strip_prefix("band_")?.parse::<usize>().ok());
    if number.is_some_and(|number| n_bands < number) {
        faults.push(Fault::new(
            band.pointer(),
            FaultCode::NotInList,
            format!("The protocol of this file has {n_bands} gap bands; name one of them."),
        ));
    }
}

/// A part is no more than the whole, but for both being rounded to three digits.
fn imputed_part(row: &Node<'_>, faults: &mut Vec<Fault>) {
    let part = row.field("imputed_variance");
    if let (Some(imputed), Some(variance)) = (part.number(), row.field("variance").number())
        && 1.01 * variance < imputed
    {
        faults.push(Fault::new(
            part.pointer(),
            FaultCode::TooLarge,
            "The imputed part of a variance is no larger than the variance; mend one of the two."
                .to_owned(),
        ));
    }
}

/// An outcome of one shot class is declared once, whatever difference is called worthwhile.
fn primary_once(protocol: &Node<'_>, faults: &mut Vec<Fault>) {
    let mut seen = Vec::new();
    for primary in protocol.field("primary").items() {
        let named = (
            primary.field("outcome").word(Outcome::from_code),
            class_of(&primary),
        );
        if let (Some(outcome), Some(class)) = named {
            if seen.contains(&(outcome, class)) {
                faults.push(Fault::new(
                    primary.pointer(),
                    FaultCode::ClassRepeated,
                    "This outcome is declared for the same shots already; keep one of the two."
                        .to_owned(),
                ));
            }
            seen.push((outcome, class));
        }
    }
}

fn rising_edges(protocol: &Node<'_>, faults: &mut Vec<Fault>) {
    let place = protocol.field("gap_band_edges");
    let items = place.items();
    let is_sound = !items.iter().any(Node::is_at_fault);
    let edges = items
        .iter()
        .map(Node::hundredths)
        .collect::<Option<Vec<_>>>();
    if edges.is_none() && is_sound && !place.is_at_fault() {
        faults.push(Fault::new(
            place.pointer(),
            FaultCode::TooManyDecimals,
            "An edge of a gap band has at most two decimals; round it.".to_owned(),
        ));
    }
    if let Some(edges) = edges
        && !edges.is_empty()
        && GapBands::new(TensionUnit::Pound, edges).is_none()
    {
        faults.push(Fault::new(
            place.pointer(),
            FaultCode::EdgesNotRising,
            "Each edge must be larger than the one before it; sort them and remove repeats."
                .to_owned(),
        ));
    }
}

#[cfg(test)]
mod tests {
    use super::is_uri;

    #[test]
    fn an_address_is_one_only_as_far_as_it_is_a_uri() {
        for url in [
            "https://creativecommons.org/publicdomain/zero/1.0/",
            "https://pool.example:8443/licence?of=data#text",
            "https://somebody@pool.example/a%20b",
            "https://pool.example/(a)*!$&',;=+~",
        ] {
            assert!(is_uri(url), "{url}");
        }
        for url in [
            "https://",
            "https:///path",
            "https://:80/",
            "https://pool.example:eight/",
            "https://pool.example/{{7*7}}",
            "https://pool.example/a b",
            "https://pool.example/%2",
            "https://pool.example/%zz",
            "https://pool.example/%",
            "https://pool.example/#a#b",
            "https://pool.example/[a]",
            "https://pool.example/licence-\u{e4}",
            "https://pool.example/\u{202e}",
            "http://pool.example/",
        ] {
            assert!(!is_uri(url), "{url}");
        }
    }
}
