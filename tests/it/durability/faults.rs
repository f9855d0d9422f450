//! A fault at every write: whatever was acknowledged is there once, whatever was refused is there
//! once at most, and asked for again it is there once.

use super::assert_sound;
use super::disk::{Disk, How};
use super::scenario::{SERVED, Stage, Wish};
use crate::harness::{self, STUDY, Server, wait_until};
use std::path::Path;
use std::time::{Duration, Instant};
use tautpool::service::Service;
use tautpool::store::Durability;

/// A fault, and what whoever asked does about a refusal.
#[derive(Clone, Copy, Debug)]
struct Fault {
    at: u32,
    how: How,
    lasts: bool,
    /// Whether the process is killed at the first refusal, before anybody asks again.
    killed: bool,
}

fn serve(data: &Path, disk: &Disk) -> Server {
    Server::serve_among(data, &SERVED, &disk.environment()).unwrap()
}

/// The stage played with a fault. Gives how many calls there were to fail, and how many wishes were
/// refused.
fn play(stage: &Stage, fault: Fault) -> (u32, usize) {
    let copy = stage.copied();
    let data = copy.path();
    let disk = Disk::below(data);
    let mut server = serve(data, &disk);
    disk.fail(fault.at, fault.how, fault.lasts);
    let mut acknowledged = Vec::new();
    let mut n_refused = 0;
    for wish in Wish::ALL {
        let answer = stage.ask(&server, wish);
        assert!(server.is_up(), "{fault:?} at {wish:?}");
        if answer.status == 503 {
            assert!(
                0 < disk.failed(),
                "{fault:?}: {wish:?} was refused for nothing"
            );
            n_refused += 1;
            if fault.lasts {
                assert_reads_go_on(&server);
            }
            disk.mend();
            let mut is_there = false;
            if fault.killed {
                drop(server);
                assert_kept(stage, data, &acknowledged);
                let times = stage.kept_in(data).times(wish);
                assert!(times < 2, "{fault:?}: {wish:?} was doubled");
                // What could not be synced may be there all the same.
                is_there = times == 1;
                server = serve(data, &disk);
            }
            if is_there {
                assert_asked_again(stage, &server, wish);
            } else {
                stage.ask(&server, wish).expect(wish.acknowledged());
            }
        } else {
            answer.expect(wish.acknowledged());
        }
        acknowledged.push(wish);
    }
    let calls = disk.calls();
    disk.mend();
    // After a lost answer each may be asked for once more.
    for wish in Wish::ALL.into_iter().filter(|wish| !wish.may_repeat()) {
        assert_asked_again(stage, &server, wish);
    }
    drop(server);
    assert_kept(stage, data, &acknowledged);
    assert_figures(data);
    (calls, n_refused)
}

/// The same request once more is answered as before, or that it is so already; never with a failure.
fn assert_asked_again(stage: &Stage, server: &Server, wish: Wish) {
    let again = stage.ask(server, wish);
    let told = match wish {
        // A name that was given is taken.
        Wish::AddStudy => 422,
        _ => wish.acknowledged(),
    };
    again.expect(told);
}

/// Everything that was acknowledged is there once, in a sound database.
fn assert_kept(stage: &Stage, data: &Path, acknowledged: &[Wish]) {
    assert_sound(data);
    let kept = stage.kept_in(data);
    for wish in acknowledged {
        let times = kept.times(*wish);
        let is_right = times == 1 || (1 < times && wish.may_repeat());
        assert!(is_right, "{wish:?} is kept {times} times");
    }
}

/// What can be read is read while nothing can be written, and readiness says so.
fn assert_reads_go_on(server: &Server) {
    server.get(&format!("/studies/{STUDY}")).expect(200);
    server.get("/health").expect(200);
    wait_until("it says that it is not ready", || {
        server.get("/ready").status == 503
    });
    server.get("/ready").expect_problem(503, "not-ready");
}

/// The public figures are those of the newest batch.
fn assert_figures(data: &Path) {
    let service = Service::open(data, Durability::None).unwrap();
    let public = service.study(STUDY).unwrap();
    let batch = public.publication.batch.as_ref();
    assert_eq!(batch.map(|batch| batch.number), Some(2));
}

#[test]
fn a_fault_at_any_write_loses_and_doubles_nothing() {
    let stage = Stage::new();
    let none = Fault {
        at: u32::MAX,
        how: How::IoError,
        lasts: false,
        killed: false,
    };
    let (calls, n_refused) = play(&stage, none);
    assert_eq!(n_refused, 0);
    let (mut n_played, mut n_refused) = (0, 0);
    let step = harness::runs(calls / 12, 1);
    for at in (1..=calls).step_by(step as usize) {
        let turn = (at / step) as usize;
        let fault = Fault {
            at,
            how: How::ALL[turn % 4],
            killed: turn / 4 % 2 == 1,
            lasts: false,
        };
        n_played += 1;
        n_refused += play(&stage, fault).1;
        if turn.is_multiple_of(harness::runs(4, 1)) {
            let lasts = true;
            n_played += 1;
            n_refused += play(&stage, Fault { lasts, ..fault }).1;
        }
    }
    println!("{calls} calls, every {step}th failed: {n_played} runs, {n_refused} refusals");
    assert!(
        n_played / 3 < n_refused,
        "faults hardly show: {n_refused} of {n_played}"
    );
}

#[test]
fn a_fault_while_the_service_starts_leaves_what_was_there() {
    let stage = Stage::new();
    let mut at = 1;
    loop {
        let copy = stage.copied();
        let disk = Disk::below(copy.path());
        let how = How::ALL[at as usize % 4];
        disk.fail(at, how, false);
        let started = Server::serve_among(copy.path(), &SERVED, &disk.environment());
        let failed = disk.failed();
        // It serves, or says why not; then it serves once the disk is well.
        let said = started.map(drop).err().unwrap_or_default();
        assert!(!said.contains("panicked"), "{said}");
        assert_sound(copy.path());
        if at % 4 == 1 {
            let server = Server::serve(copy.path(), &SERVED);
            stage.ask(&server, Wish::Send).expect(201);
        }
        if failed == 0 {
            break;
        }
        at += 1;
    }
    assert!(3 < at, "it hardly writes while it starts: {at}");
}

#[test]
fn a_fault_at_any_write_of_a_first_start_can_be_begun_again() {
    let step = harness::runs(11, 1);
    let mut at = 1;
    loop {
        let above = tempfile::tempdir().unwrap();
        let data = above.path().join("data");
        let disk = Disk::below(above.path());
        disk.fail(at, How::ALL[at as usize % 4], at % 3 == 0);
        let mut begun = harness::tautpool();
        begun.args(["host", "study", "add", harness::STUDY_FILE, "--data"]);
        let begun = begun.arg(&data).envs(disk.environment()).output().unwrap();
        let failed = disk.failed();
        if !begun.status.success() {
            assert_eq!(begun.status.code(), Some(1), "{begun:?}");
            let again = harness::host_study(&["add", harness::STUDY_FILE], &data, b"");
            let said = String::from_utf8_lossy(&again.stderr).into_owned();
            // What could not be synced may be there all the same.
            assert!(again.status.success() || said.contains("already"), "{said}");
        }
        let opened = harness::host_study(&["open", STUDY], &data, b"");
        assert!(opened.status.success(), "fault at {at}: {opened:?}");
        assert_sound(&data);
        if failed == 0 {
            break;
        }
        at += step;
    }
}

#[test]
fn readiness_tells_the_truth_and_health_tells_another() {
    let stage = Stage::new();
    let copy = stage.copied();
    let disk = Disk::below(copy.path());
    let server = serve(copy.path(), &disk);
    let ready = server.get("/ready").expect(200);
    assert_eq!(ready.header("cache-control"), "no-store");
    assert_eq!(ready.json()["document"], "ready");
    disk.fail(1, How::Full, true);
    // What was found is believed for two seconds at most.
    std::thread::sleep(Duration::from_secs(2));
    let problem = server.get("/ready").expect_problem(503, "not-ready");
    assert_eq!(problem["detail"], "The database takes no writes.");
    assert_ne!(server.get("/ready").header("retry-after"), "");
    server.get("/health").expect(200);
    stage
        .ask(&server, Wish::Send)
        .expect_problem(503, "unavailable");
    disk.mend();
    std::thread::sleep(Duration::from_secs(2));
    server.get("/ready").expect(200);
    stage.ask(&server, Wish::Send).expect(201);
    // Whoever asks often makes it write no more often.
    let (before, since) = (disk.calls(), Instant::now());
    for _ in 0..100 {
        server.get("/ready");
    }
    let n_tries = 2 + u32::try_from(since.elapsed().as_secs() / 2).unwrap();
    let calls = disk.calls() - before;
    assert!(calls <= 15 * n_tries, "{calls} calls for {n_tries} tries");
}
