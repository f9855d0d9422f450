//! Files that only their owner reads, synced to disk, and never written over another.

use sha2::{Digest, Sha256};
use std::fs::{self, DirBuilder, File, OpenOptions};
use std::io::{self, Read, Write};
use std::path::{Path, PathBuf};

/// Bytes that are read at once.
const CHUNK: usize = 64 * 1024;

/// Makes a folder for its owner alone, and those above it, unless it is there.
pub(super) fn private_folder(path: &Path) -> io::Result<()> {
    builder().recursive(true).create(path)
}

/// Makes a folder for its owner alone, which must not be there.
pub(super) fn new_private_folder(path: &Path) -> io::Result<()> {
    builder().create(path)
}

fn builder() -> DirBuilder {
    let mut builder = DirBuilder::new();
    #[cfg(unix)]
    std::os::unix::fs::DirBuilderExt::mode(&mut builder, 0o700);
    builder
}

/// Writes a file that must not be there, and syncs it.
pub(super) fn write(path: &Path, bytes: &[u8]) -> io::Result<()> {
    let mut file = create(path)?;
    file.write_all(bytes)?;
    file.sync_all()
}

/// Copies a file to where there must be none, and syncs it. Gives the SHA-256 of what was copied.
pub(super) fn copy(from: &Path, to: &Path) -> io::Result<[u8; 32]> {
    let mut file = create(to)?;
    let hash = through(from, |bytes| file.write_all(bytes))?;
    file.sync_all()?;
    Ok(hash)
}

/// SHA-256 of a file (FIPS 180-4).
pub(super) fn sha256(path: &Path) -> io::Result<[u8; 32]> {
    through(path, |_| Ok(()))
}

pub(super) fn sync(path: &Path) -> io::Result<()> {
    File::open(path)?.sync_all()
}

/// Syncs the names in a folder.
pub(super) fn sync_folder(path: &Path) -> io::Result<()> {
    sync(path)
}

/// Whether a folder is absent or has nothing in it.
pub(super) fn is_free(path: &Path) -> io::Result<bool> {
    match fs::read_dir(path) {
        Ok(mut entries) => Ok(entries.next().is_none()),
        Err(error) if error.kind() == io::ErrorKind::NotFound => Ok(true),
        Err(error) => Err(error),
    }
}

/// The folder that a path is in.
pub(super) fn above(path: &Path) -> PathBuf {
    match path.parent() {
        Some(above) if above != Path::new("") => above.to_owned(),
        _ => PathBuf::from("."),
    }
}

fn create(path: &Path) -> io::Result<File> {
    let mut options = OpenOptions::new();
    options.write(true).create_new(true);
    #[cfg(unix)]
    std::os::unix::fs::OpenOptionsExt::mode(&mut options, 0o600);
    options.open(path)
}

fn through(path: &Path, mut take: impl FnMut(&[u8]) -> io::Result<()>) -> io::Result<[u8; 32]> {
    let mut file = File::open(path)?;
    let mut digest = Sha256::new();
    let mut chunk = vec![0; CHUNK];
    loop {
        let n_bytes = file.read(&mut chunk)?;
        let Some(bytes) = chunk.get(..n_bytes).filter(|bytes| !bytes.is_empty()) else {
            return Ok(digest.finalize().into());
        };
        digest.update(bytes);
        take(bytes)?;
    }
}
