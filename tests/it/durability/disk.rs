//! A disk that fails on demand: `disk.c`, preloaded into the real program.

use std::ffi::OsStr;
use std::fs::{self, File};
use std::os::unix::fs::FileExt;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::OnceLock;
use tempfile::TempDir;

/// How a call fails.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum How {
    /// With an I/O error, and nothing is done.
    IoError = 1,
    /// Because the disk is full, and nothing is done.
    Full = 2,
    /// With an I/O error, after half of the bytes were written.
    Torn = 3,
    /// Not at all, but only half of the bytes are written. What writes nothing fails.
    Short = 4,
}

impl How {
    pub(super) const ALL: [Self; 4] = [Self::IoError, Self::Full, Self::Torn, Self::Short];
}

/// A call that changed something below the folder.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum Call {
    /// A file was made.
    Created(PathBuf),
    /// Bytes were written at a place.
    Written(PathBuf, u64, Vec<u8>),
    /// A file was cut, or stretched, to a length.
    Cut(PathBuf, u64),
    /// A file or folder was synced.
    Synced(PathBuf),
    /// A file got another name.
    Renamed(PathBuf, PathBuf),
    /// A file was removed.
    Removed(PathBuf),
    /// A folder was made.
    Folder(PathBuf),
}

/// What is shared with the program, by its place in the page.
const CALLS: u64 = 0;
const AT: u64 = 4;
const HOW: u64 = 8;
const LASTS: u64 = 12;
const FAILED: u64 = 16;
const LOGGED: u64 = 20;

/// A disk under a folder.
pub(super) struct Disk {
    below: PathBuf,
    control: File,
    kept: TempDir,
}

impl Disk {
    pub(super) fn below(folder: &Path) -> Self {
        let kept = tempfile::tempdir().unwrap();
        fs::write(kept.path().join("control"), [0; 24]).unwrap();
        fs::write(kept.path().join("log"), b"").unwrap();
        let mut both = File::options();
        let control = both.read(true).write(true);
        let control = control.open(kept.path().join("control")).unwrap();
        Self {
            below: folder.canonicalize().unwrap(),
            control,
            kept,
        }
    }

    /// What the program needs in its environment.
    pub(super) fn environment(&self) -> Vec<(&'static str, String)> {
        let text = |path: &Path| path.to_str().unwrap().to_owned();
        vec![
            ("LD_PRELOAD", text(preloaded())),
            ("DISK_FOLDER", text(&self.below)),
            ("DISK_CONTROL", text(&self.kept.path().join("control"))),
        ]
    }

    /// The same, with every call written down.
    pub(super) fn logging_environment(&self) -> Vec<(&'static str, String)> {
        let mut environment = self.environment();
        let log = self.kept.path().join("log");
        environment.push(("DISK_LOG", log.to_str().unwrap().to_owned()));
        environment
    }

    fn set(&self, place: u64, value: u32) {
        let bytes = value.to_ne_bytes();
        self.control.write_all_at(&bytes, place).unwrap();
    }

    fn get(&self, place: u64) -> u32 {
        let mut bytes = [0; 4];
        self.control.read_exact_at(&mut bytes, place).unwrap();
        u32::from_ne_bytes(bytes)
    }

    /// Fails the call of this number from now on, and with `lasts` every later one.
    pub(super) fn fail(&self, at: u32, how: How, lasts: bool) {
        self.mend();
        self.set(CALLS, 0);
        self.set(FAILED, 0);
        self.set(HOW, how as u32);
        self.set(LASTS, u32::from(lasts));
        self.set(AT, at);
    }

    /// Fails nothing any more.
    pub(super) fn mend(&self) {
        self.set(AT, 0);
    }

    /// How many calls there were.
    pub(super) fn calls(&self) -> u32 {
        self.get(CALLS)
    }

    /// How many of them failed.
    pub(super) fn failed(&self) -> u32 {
        self.get(FAILED)
    }

    /// How many calls are written down so far.
    pub(super) fn logged(&self) -> usize {
        self.get(LOGGED) as usize
    }

    /// Every call that was written down, in the order in which they took effect.
    pub(super) fn log(&self) -> Vec<Call> {
        let bytes = fs::read(self.kept.path().join("log")).unwrap();
        let mut rest = &bytes[..];
        let mut calls = Vec::new();
        while !rest.is_empty() {
            calls.push(call(&mut rest));
        }
        calls
    }
}

/// Takes the first record off the log.
fn call(rest: &mut &[u8]) -> Call {
    let small = |rest: &mut &[u8]| u32::from_ne_bytes(take(rest, 4).try_into().unwrap());
    let large = |rest: &mut &[u8]| u64::from_ne_bytes(take(rest, 8).try_into().unwrap());
    let what = small(rest);
    let path_length = small(rest);
    let (offset, length) = (large(rest), large(rest));
    let path = path_of(take(rest, path_length as usize));
    let length = usize::try_from(length).unwrap();
    match what {
        1 => Call::Created(path),
        2 => Call::Written(path, offset, take(rest, length).to_vec()),
        3 => Call::Cut(path, offset),
        4 => Call::Synced(path),
        5 => Call::Renamed(path, path_of(take(rest, length))),
        6 => Call::Removed(path),
        7 => Call::Folder(path),
        other => panic!("no call: {other}"),
    }
}

fn take<'a>(rest: &mut &'a [u8], length: usize) -> &'a [u8] {
    let (taken, behind) = rest.split_at(length);
    *rest = behind;
    taken
}

fn path_of(bytes: &[u8]) -> PathBuf {
    PathBuf::from(std::str::from_utf8(bytes).unwrap())
}

/// The library, compiled once.
fn preloaded() -> &'static Path {
    static LIBRARY: OnceLock<PathBuf> = OnceLock::new();
    LIBRARY.get_or_init(|| {
        let folder = Path::new(env!("CARGO_TARGET_TMPDIR"));
        let source = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/it/durability/disk.c");
        let fresh = folder.join(format!("disk-{}.so", std::process::id()));
        let arguments = [
            "-shared", "-fPIC", "-O1", "-Wall", "-Wextra", "-Werror", "-o",
        ];
        let compiled = Command::new("cc")
            .args(arguments.map(OsStr::new))
            .arg(&fresh)
            .arg(source)
            .arg("-ldl")
            .status();
        assert!(compiled.unwrap().success());
        let library = folder.join("disk.so");
        fs::rename(fresh, &library).unwrap();
        library
    })
}
