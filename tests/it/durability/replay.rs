//! What a power cut may leave: everything up to the last sync, and of what came after any part.
//!
//! The calls of a run are written down and carried out again up to a cut. What was synced is there.
//! Of the other writes to a file some are there, whole or torn, in any order; a name of a new,
//! renamed or removed file is there once its folder was synced, whether or not the file was. That is
//! less than file systems promise, and what POSIX does (fsync; Pillai et al. 2014, “All file systems
//! are not created equal”, from memory, found what real ones do).

use super::disk::{Call, Disk};
use super::scenario::{SERVED, Stage, Wish};
use super::{assert_sound, is_sound};
use crate::harness::{self, STUDY_FILE, Server, Spread};
use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};
use tautpool::service::Service;
use tautpool::store::{Durability, StoreError};

/// Bytes that a disk writes whole.
const SECTOR: usize = 512;

/// A change to a file that was not synced yet.
#[derive(Clone, Debug)]
enum Change {
    Write(usize, Vec<u8>),
    Cut(usize),
}

#[derive(Clone, Debug, Default)]
struct Content {
    synced: Vec<u8>,
    changes: Vec<Change>,
}

/// A change to the names of a folder that was not synced yet.
#[derive(Clone, Debug)]
enum Naming {
    Named(PathBuf, usize),
    Renamed(PathBuf, PathBuf, usize),
    Removed(PathBuf),
    Folder(PathBuf),
}

impl Naming {
    fn folder(&self) -> &Path {
        let (Self::Named(path, _)
        | Self::Renamed(path, _, _)
        | Self::Removed(path)
        | Self::Folder(path)) = self;
        path.parent().unwrap()
    }

    fn carry_out(&self, names: &mut Names) {
        match self {
            Self::Named(path, content) => {
                names.files.insert(path.clone(), *content);
            }
            Self::Renamed(from, to, content) => {
                names.files.remove(from);
                names.files.insert(to.clone(), *content);
            }
            Self::Removed(path) => {
                names.files.remove(path);
            }
            Self::Folder(path) => {
                names.folders.insert(path.clone());
            }
        }
    }
}

#[derive(Clone, Debug, Default)]
struct Names {
    files: BTreeMap<PathBuf, usize>,
    folders: BTreeSet<PathBuf>,
}

/// A disk after some calls.
#[derive(Clone, Debug)]
struct State {
    contents: Vec<Content>,
    synced: Names,
    now: Names,
    namings: Vec<Naming>,
}

/// How much of what was not synced is there.
#[derive(Clone, Copy, Debug)]
enum Left {
    Nothing,
    Everything,
    /// The first of it, the last one torn.
    Beginning,
    /// Any of it, each whole or torn.
    Anything,
}

impl State {
    /// What is in a folder, all of it synced.
    fn of(folder: &Path) -> Self {
        let mut state = Self {
            contents: Vec::new(),
            synced: Names::default(),
            now: Names::default(),
            namings: Vec::new(),
        };
        state.synced.folders.insert(folder.to_owned());
        for entry in fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            state
                .synced
                .files
                .insert(path.clone(), state.contents.len());
            state.contents.push(Content {
                synced: fs::read(path).unwrap(),
                changes: Vec::new(),
            });
        }
        state.now = state.synced.clone();
        state
    }

    fn name(&mut self, naming: Naming) {
        naming.carry_out(&mut self.now);
        self.namings.push(naming);
    }

    fn change(&mut self, path: &Path, change: Change) {
        let content = self.now.files[path];
        self.contents[content].changes.push(change);
    }

    fn carry_out(&mut self, call: &Call) {
        match call {
            Call::Created(path) => {
                self.contents.push(Content::default());
                self.name(Naming::Named(path.clone(), self.contents.len() - 1));
            }
            Call::Written(path, place, bytes) => {
                let place = usize::try_from(*place).unwrap();
                self.change(path, Change::Write(place, bytes.clone()));
            }
            Call::Cut(path, length) => {
                self.change(path, Change::Cut(usize::try_from(*length).unwrap()));
            }
            Call::Synced(path) => self.sync(path),
            Call::Renamed(from, to) => {
                let content = self.now.files[from];
                self.name(Naming::Renamed(from.clone(), to.clone(), content));
            }
            Call::Removed(path) => self.name(Naming::Removed(path.clone())),
            Call::Folder(path) => self.name(Naming::Folder(path.clone())),
        }
    }

    fn sync(&mut self, path: &Path) {
        if self.now.folders.contains(path) {
            let namings = std::mem::take(&mut self.namings);
            for naming in namings {
                if naming.folder() == path {
                    naming.carry_out(&mut self.synced);
                } else {
                    self.namings.push(naming);
                }
            }
        } else {
            let content = &mut self.contents[self.now.files[path]];
            for change in std::mem::take(&mut content.changes) {
                carry_out(&mut content.synced, &change);
            }
        }
    }

    /// Writes what a cut leaves into a folder; `above` is where the paths of the calls begin.
    fn leave(&self, above: &Path, into: &Path, left: Left, spread: &mut Spread) {
        let mut names = self.synced.clone();
        for naming in some(&self.namings, left, spread) {
            naming.carry_out(&mut names);
        }
        let place = |path: &Path| into.join(path.strip_prefix(above).unwrap());
        for folder in &names.folders {
            let is_named = folder
                .ancestors()
                .take_while(|path| path.starts_with(above));
            if is_named
                .into_iter()
                .all(|path| names.folders.contains(path))
            {
                fs::create_dir_all(place(folder)).unwrap();
            }
        }
        for (path, content) in &names.files {
            if place(path).parent().unwrap().exists() {
                let content = self.contents[*content].left(left, spread);
                fs::write(place(path), content).unwrap();
            }
        }
    }
}

impl Content {
    fn left(&self, left: Left, spread: &mut Spread) -> Vec<u8> {
        let mut bytes = self.synced.clone();
        let some = some(&self.changes, left, spread);
        let last = some.len();
        for (at, change) in some.into_iter().enumerate() {
            let is_torn = match left {
                Left::Nothing | Left::Everything => false,
                Left::Beginning => at + 1 == last,
                Left::Anything => spread.below(4) == 0,
            };
            match change {
                Change::Write(place, written) if is_torn => {
                    tear(&mut bytes, *place, written, spread)
                }
                whole => carry_out(&mut bytes, whole),
            }
        }
        bytes
    }
}

/// Some of what was not synced, in order.
fn some<'a, T>(all: &'a [T], left: Left, spread: &mut Spread) -> Vec<&'a T> {
    match left {
        Left::Nothing => Vec::new(),
        Left::Everything => all.iter().collect(),
        Left::Beginning => all[..spread.below(all.len() + 1)].iter().collect(),
        Left::Anything => all.iter().filter(|_| spread.below(2) == 0).collect(),
    }
}

fn carry_out(bytes: &mut Vec<u8>, change: &Change) {
    match change {
        Change::Write(place, written) => {
            let end = place + written.len();
            bytes.resize(bytes.len().max(end), 0);
            bytes[*place..end].copy_from_slice(written);
        }
        Change::Cut(length) => bytes.resize(*length, 0),
    }
}

/// Some sectors of a write, or its beginning up to any byte.
fn tear(bytes: &mut Vec<u8>, place: usize, written: &[u8], spread: &mut Spread) {
    if spread.below(2) == 0 {
        let end = spread.below(written.len() + 1);
        return carry_out(bytes, &Change::Write(place, written[..end].to_vec()));
    }
    let mut at = 0;
    while at < written.len() {
        let end = written.len().min(at + SECTOR - (place + at) % SECTOR);
        if spread.below(2) == 0 {
            carry_out(bytes, &Change::Write(place + at, written[at..end].to_vec()));
        }
        at = end;
    }
}

/// A run of the whole scenario.
struct Run {
    stage: Stage,
    above: PathBuf,
    before: State,
    calls: Vec<Call>,
    /// How many calls were made when each wish was acknowledged.
    acknowledged: Vec<(Wish, usize)>,
}

impl Run {
    fn new() -> Self {
        let stage = Stage::new();
        let copy = stage.copied();
        let above = copy.path().canonicalize().unwrap();
        let before = State::of(&above);
        let disk = Disk::below(&above);
        let server = Server::serve_among(&above, &SERVED, &disk.logging_environment()).unwrap();
        let ask = |wish: Wish| {
            stage.ask(&server, wish).expect(wish.acknowledged());
            (wish, disk.logged())
        };
        let acknowledged = Wish::ALL.map(ask).to_vec();
        drop(server);
        Self {
            above,
            before,
            calls: disk.log(),
            acknowledged,
            stage,
        }
    }

    /// What is wrong with what a cut after so many calls leaves; empty when nothing is.
    fn wrong(&self, state: &State, cut: usize, left: Left, spread: &mut Spread) -> Vec<String> {
        let data = tempfile::tempdir().unwrap();
        state.leave(&self.above, data.path(), left, spread);
        if !is_sound(data.path()) {
            return vec!["the database is not sound".to_owned()];
        }
        let kept = self.stage.kept_in(data.path());
        let mut wrong = Vec::new();
        for (wish, at) in &self.acknowledged {
            let times = kept.times(*wish);
            if 1 < times || (times == 0 && *at <= cut) {
                wrong.push(format!("{wish:?} is there {times} times"));
            }
        }
        wrong
    }

    /// Cuts after every `step`th call, in every way.
    fn cut(&self, calls: &[Call], step: usize) -> Vec<String> {
        let mut spread = Spread(7);
        let mut state = self.before.clone();
        let mut wrong = Vec::new();
        for (cut, call) in calls.iter().enumerate() {
            let ways = [
                Left::Nothing,
                Left::Everything,
                Left::Beginning,
                Left::Anything,
            ];
            if cut % step == 0 {
                for left in ways {
                    let found = self.wrong(&state, cut, left, &mut spread);
                    wrong.extend(
                        found
                            .iter()
                            .map(|found| format!("cut {cut}, {left:?}: {found}")),
                    );
                }
            }
            state.carry_out(call);
        }
        wrong
    }
}

#[test]
fn a_power_cut_at_any_write_leaves_everything_that_was_acknowledged() {
    let run = Run::new();
    let step = harness::runs(run.calls.len() / 12, 1);
    let wrong = run.cut(&run.calls, step);
    assert!(wrong.is_empty(), "{wrong:#?}");
    println!(
        "{} calls, cut after every {step}th in four ways",
        run.calls.len()
    );
}

#[test]
fn the_replay_notices_a_log_that_is_not_synced() {
    let run = Run::new();
    let is_log = |path: &Path| path.extension().is_some_and(|name| name == "sqlite-wal");
    let mut calls = run.calls.clone();
    calls.retain(|call| !matches!(call, Call::Synced(path) if is_log(path)));
    assert!(calls.len() < run.calls.len());
    let lost = Run {
        // As if every acknowledgement had come at once; it is later in the whole log.
        acknowledged: vec![(Wish::Send, 0)],
        ..run
    };
    let mut state = lost.before.clone();
    for call in &calls {
        state.carry_out(call);
    }
    let wrong = lost.wrong(&state, calls.len(), Left::Nothing, &mut Spread(7));
    assert!(!wrong.is_empty());
}

#[test]
fn a_power_cut_during_a_first_start_leaves_nothing_that_cannot_be_begun_again() {
    let above = tempfile::tempdir().unwrap();
    let path = above.path().canonicalize().unwrap();
    let disk = Disk::below(&path);
    let before = State::of(&path);
    let data = path.join("new/data");
    let mut begun = harness::tautpool();
    begun.args(["host", "study", "add", STUDY_FILE, "--data"]);
    begun.arg(&data).envs(disk.logging_environment());
    assert!(begun.status().unwrap().success());
    let calls = disk.log();
    let study = fs::read(STUDY_FILE).unwrap();
    let (mut state, mut spread) = (before, Spread(7));
    for cut in 0..=calls.len() {
        for left in [
            Left::Nothing,
            Left::Everything,
            Left::Beginning,
            Left::Anything,
        ] {
            let into = tempfile::tempdir().unwrap();
            state.leave(&path, into.path(), left, &mut spread);
            let data = into.path().join("new/data");
            let service = Service::open_or_make(&data, Durability::None);
            let service = service.unwrap_or_else(|error| panic!("cut {cut}, {left:?}: {error}"));
            match service.store().add_study("again", &study, 0) {
                Ok(()) => {}
                Err(StoreError::StudyExists(_)) => panic!("nobody made it"),
                Err(other) => panic!("cut {cut}, {left:?}: {other}"),
            }
            let n_studies = service.store().studies().unwrap().len();
            assert!(
                cut < calls.len() || n_studies == 2,
                "{left:?}: it was acknowledged"
            );
            drop(service);
            assert_sound(&data);
        }
        if let Some(call) = calls.get(cut) {
            state.carry_out(call);
        }
    }
}
