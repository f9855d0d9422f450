//! The rules of what a host writes or an analyst sends back.

use super::class_of;
use crate::intake::fault::{Fault, FaultCode};
use crate::intake::node::{Document, Node};
use crate::protocol::GapBands;
use crate::units::TensionUnit;
use crate::vocabulary::Outcome;

/// The rules of a study.
pub(in crate::intake) fn study(root: &Document<'_>, faults: &mut Vec<Fault>) {
    let protocol = root.field("protocol");
    rising_edges(&protocol, faults);
    primary_once(&protocol, faults);
}

/// The rules of a download.
pub(in crate::intake) fn aggregate(root: &Document<'_>, faults: &mut Vec<Fault>) {
    let protocol = root.field("protocol");
    rising_edges(&protocol, faults);
    primary_once(&protocol, faults);
    let n_bands = protocol.field("gap_band_edges").items().len();
    for row in root.field("rows").items() {
        let band = row.field("band");
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
    let edges = place
        .items()
        .iter()
        .map(Node::hundredths)
        .collect::<Option<Vec<_>>>();
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
