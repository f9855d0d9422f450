//! What can go wrong: inside the service, and because of what was asked of it.

use crate::access::HashError;
use crate::intake::Rejection;
use crate::pooling::NumericError;
use crate::protocol::limits;
use crate::store::StoreError;

/// Bytes of a mebibyte.
const MIB: i64 = 1024 * 1024;

/// What can go wrong inside the service, apart from what a sender did.
#[derive(Debug, thiserror::Error)]
pub enum ServiceError {
    /// The store failed.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// A file of the data folder cannot be used.
    #[error("the data folder {0}: {1}")]
    Folder(String, std::io::Error),
    /// The data folder has no database.
    #[error("there is no database in {0}: `tautpool host study add FILE --data {0}` makes one")]
    NoData(String),
    /// One of two files that belong together is missing.
    #[error(
        "{0} is missing although {1} is there: put it back from a backup, or remove {1} to begin anew"
    )]
    Missing(&'static str, &'static str),
    /// Another process has the data folder.
    #[error("another tautpool is using the data folder {0}: stop it first")]
    FolderInUse(String),
    /// A kept document is not what was admitted.
    #[error("the stored {0} is damaged: restore a backup")]
    Damaged(String),
    /// The system gives no randomness.
    #[error("no randomness for a secret: {0}")]
    Randomness(std::io::Error),
    /// The host's credential could not be hashed.
    #[error(transparent)]
    Credential(#[from] HashError),
    /// Published rows could not be pooled.
    #[error("published rows: {0}")]
    Numbers(#[from] NumericError),
    /// A page could not be written.
    #[error("page: {0}")]
    Page(#[from] askama::Error),
}

/// Why a contribution was not taken.
#[derive(Debug, thiserror::Error)]
pub enum Refused {
    /// No study of this name.
    #[error("there is no such study")]
    StudyUnknown,
    /// The study takes no further contributions.
    #[error("this study is closed: it takes no further contributions and draws no plans")]
    NotRecruiting,
    /// The document is at fault.
    #[error(transparent)]
    Document(#[from] Rejection),
    /// The key was used before for something else.
    #[error("this Idempotency-Key was used before with another body")]
    KeyUsedOtherwise,
    /// Another request with the key is being carried out.
    #[error("a request with this Idempotency-Key is being carried out")]
    UnderWay,
    /// Nobody holds such a receipt.
    #[error("there is no such receipt in this study")]
    ReceiptUnknown,
    /// The study needs an invitation, and none was given.
    #[error(
        "this study takes contributions by invitation, and none was given: ask the host for a code"
    )]
    InvitationMissing,
    /// There is no such invitation, or it was used up or ended.
    #[error(
        "this study has no such invitation, or it was used up: compare it with what the host gave you, or ask for another"
    )]
    InvitationUnknown,
    /// The holder of the receipt has sent as many pairs as one player may.
    #[error(
        "this player has already sent {} pairs or {} MiB, as much as one player may",
        limits::PAIRS_PER_PLAYER,
        limits::BYTES_PER_PLAYER / MIB
    )]
    TooManyPairs,
    /// The holder of the receipt has no such contribution.
    #[error("this receipt has no such contribution")]
    ContributionUnknown,
    /// What was withdrawn cannot be mended.
    #[error("this contribution was withdrawn: send it anew to take part again")]
    AlreadyWithdrawn,
    /// The contribution was mended as often as it may be.
    #[error(
        "this contribution was mended {} times, or this player has sent {} MiB, as much as one may",
        limits::VERSIONS_PER_CONTRIBUTION - 1,
        limits::BYTES_PER_PLAYER / MIB
    )]
    TooManyVersions,
    /// No plan of this code.
    #[error("no plan with this code was drawn in this study")]
    PlanUnknown,
    /// The service itself failed.
    #[error(transparent)]
    Service(#[from] ServiceError),
}
