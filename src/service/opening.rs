//! Opening a data folder: what has to be there, who may use it, and what is put in place.

use super::publishing::Figures;
use super::{
    Service, ServiceError, counts, host, invitations, publishing, query, readiness, release,
    under_way,
};
use crate::receipt::ReceiptKey;
use crate::store::{Durability, Store};
use std::fs::{DirBuilder, File, OpenOptions, TryLockError};
use std::os::unix::fs::{DirBuilderExt, OpenOptionsExt};
use std::path::Path;
use std::sync::{Mutex, RwLock};

/// Who may enter a data folder that is made here: its owner.
const FOLDER_MODE: u32 = 0o700;

/// Who may open the lock of a data folder: its owner. Whoever can open it can hold it, and keep the
/// service from starting.
const LOCK_MODE: u32 = 0o600;

impl Service {
    /// The file of a data folder that one process at a time holds locked. It stays empty.
    pub const LOCK_FILE: &str = "in-use.lock";

    /// Opens a data folder that has been used before.
    ///
    /// # Errors
    /// When it has not, or its database or key cannot be used.
    pub fn open(folder: &Path, durability: Durability) -> Result<Self, ServiceError> {
        if !folder.join(Store::FILE).exists() {
            return Err(ServiceError::NoData(folder.display().to_string()));
        }
        Self::open_or_make(folder, durability)
    }

    /// As [`Service::open`], for a server: where figures take long, they are left to
    /// [`Service::keep_publishing`], and the study is shown without them until then.
    ///
    /// # Errors
    /// As [`Service::open`].
    pub fn open_to_serve(folder: &Path, durability: Durability) -> Result<Self, ServiceError> {
        if !folder.join(Store::FILE).exists() {
            return Err(ServiceError::NoData(folder.display().to_string()));
        }
        Self::open_folder(folder, durability, Figures::WhenAttended)
    }

    /// Opens a data folder, making it when it does not exist.
    ///
    /// # Errors
    /// When the folder, its database or its key cannot be used, or when only one of the two is
    /// there.
    pub fn open_or_make(folder: &Path, durability: Durability) -> Result<Self, ServiceError> {
        Self::open_folder(folder, durability, Figures::AtOnce)
    }

    fn open_folder(
        folder: &Path,
        durability: Durability,
        figures: Figures,
    ) -> Result<Self, ServiceError> {
        let in_folder = |error| ServiceError::Folder(folder.display().to_string(), error);
        make_folder(folder).map_err(in_folder)?;
        let lock = open_lock(&folder.join(Self::LOCK_FILE)).map_err(in_folder)?;
        match lock.try_lock() {
            Ok(()) => {}
            Err(TryLockError::WouldBlock) => {
                return Err(ServiceError::FolderInUse(folder.display().to_string()));
            }
            Err(TryLockError::Error(error)) => return Err(in_folder(error)),
        }
        // One without the other is a loss, not a beginning: making the missing one anew would
        // hide it.
        let holds =
            |file: &str| std::fs::metadata(folder.join(file)).is_ok_and(|file| 0 < file.len());
        let has_key = holds(ReceiptKey::FILE);
        if has_key && !holds(Store::FILE) {
            return Err(ServiceError::Missing(Store::FILE, ReceiptKey::FILE));
        }
        // The database comes first and is whole before the key is made, so that whatever a power cut
        // leaves of a first start is gone on with: only a database that never had a key gets one.
        let store = Store::open(folder, durability)?;
        if !has_key && store.has_receipt_key()? {
            return Err(ServiceError::Missing(ReceiptKey::FILE, Store::FILE));
        }
        let receipt_key = ReceiptKey::of_folder(folder).map_err(in_folder)?;
        Self::with(store, receipt_key, Some(lock), figures)
    }

    /// A service that keeps nothing beyond the process.
    ///
    /// # Errors
    /// When the system gives no randomness for a key.
    pub fn in_memory() -> Result<Self, ServiceError> {
        let receipt_key = ReceiptKey::fresh()
            .map_err(|error| ServiceError::Folder("in memory".to_owned(), error))?;
        let store = Store::open_in_memory()?;
        Self::with(store, receipt_key, None, Figures::AtOnce)
    }

    fn with(
        store: Store,
        receipt_key: ReceiptKey,
        folder_lock: Option<File>,
        figures: Figures,
    ) -> Result<Self, ServiceError> {
        store.bind_receipt_key(&receipt_key.fingerprint())?;
        let service = Self {
            store,
            receipt_key,
            door: host::Door::new().map_err(ServiceError::Randomness)?,
            studies: RwLock::default(),
            _folder_lock: folder_lock,
            publisher: publishing::Publisher::default(),
            changing: Mutex::default(),
            releases: release::Desk::default(),
            turns: query::Turns::default(),
            under_way: under_way::UnderWay::default(),
            readiness: readiness::Readiness::default(),
            by_invitation: invitations::ByInvitation::default(),
            tally: counts::Tally::default(),
        };
        service.by_invitation.put(service.store.by_invitation()?);
        service.mark_unscreened()?;
        if let Err(error) = service.hash_consents() {
            tracing::error!(%error, "hashes of earlier consents could not be filled in");
        }
        for stored in service.store.studies()? {
            service.put_up(&stored, figures);
        }
        Ok(service)
    }
}

fn open_lock(path: &Path) -> std::io::Result<File> {
    let mut options = OpenOptions::new();
    options.write(true).create(true).truncate(true);
    options.mode(LOCK_MODE).open(path)
}

/// Makes a data folder unless it is there, and sees to it that its name outlives a power cut: that
/// stands in the folder above it, and so on for every folder that was made.
fn make_folder(folder: &Path) -> std::io::Result<()> {
    if folder.join(Store::FILE).exists() {
        return Ok(());
    }
    let is_named = |place: &&Path| !place.as_os_str().is_empty();
    let places = folder.ancestors().filter(is_named);
    let missing = places.take_while(|place| !place.exists()).count();
    let mut builder = DirBuilder::new();
    builder.recursive(true).mode(FOLDER_MODE).create(folder)?;
    // The folder itself too when it was there: perhaps a start that was cut short made it.
    for made in folder.ancestors().take(missing.max(1)) {
        let above = made.parent().filter(is_named).unwrap_or(Path::new("."));
        File::open(above)?.sync_all()?;
    }
    Ok(())
}
