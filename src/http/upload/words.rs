//! What the pages of a file say.

use crate::http::problem::Problem;
use crate::intake::Fault;
use crate::intake::shots::Column;
use crate::pages::upload::{ColumnWords, Spot};
use crate::wire::problem::ProblemKind;

/// What went wrong when sending, for who knows nothing of headers.
pub(super) fn in_words(problem: &Problem) -> String {
    match problem.kind {
        ProblemKind::KeyUsedOtherwise => {
            "This page was sent before with other answers, and that is stored. To send another pair, begin again with the file.".to_owned()
        }
        ProblemKind::ReceiptUnknown => {
            "No player of this study holds this receipt; check it, or leave it empty to send as a new player.".to_owned()
        }
        _ => problem.detail.clone(),
    }
}

/// Where a file is wrong, and how.
pub(super) fn spot(fault: &Fault) -> Spot {
    let place = if fault.pointer.is_empty() {
        "the whole file".to_owned()
    } else {
        fault.pointer.clone()
    };
    Spot {
        place,
        sentence: fault.sentence.clone(),
    }
}

/// The columns that a file may have.
pub(super) fn columns() -> Vec<ColumnWords> {
    let columns = Column::ALL.iter().map(|column| ColumnWords {
        name: column.code(),
        is_required: column.is_required(),
        meaning: column.meaning(),
    });
    columns.collect()
}
