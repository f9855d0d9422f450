//! The load of `cargo run --release --example load`, some seconds of it: nothing fails, everything
//! acknowledged is stored once, and memory is bounded. How long answers take is not looked at here,
//! since the program is built for debugging and the machine shared.

pub(crate) use parts::line::Line;
pub(crate) use parts::report::Memory;

use crate::harness::{Server, add_study, run, runs};
use parts::report::Told;
use parts::{Plan, Target, play};
use std::time::Duration;

#[path = "../load/parts.rs"]
mod parts;

const STUDY: &str = "looser-or-tighter";
const STUDY_FILE: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/fixtures/demo/study.json");

/// Most that the program may take at any moment, in KiB.
const MOST_KIB: u64 = 400 * 1024;

#[test]
fn at_the_expected_peak_nothing_fails_and_everything_acknowledged_is_stored_once() {
    let folder = tempfile::tempdir().unwrap();
    let added = add_study(STUDY_FILE, folder.path());
    assert!(added.status.success(), "{added:?}");
    let server = Server::serve(folder.path(), &[]);
    let target = Target {
        address: &server.address,
        process: server.process(),
        study: STUDY,
    };
    let plan = Plan {
        seed: 1,
        lasts: Duration::from_secs(runs(8, 300)),
        times: 1.0,
    };
    let report = play(&target, &plan);
    println!("{report}");
    assert_eq!(report.failures(), Vec::<String>::new());
    let n_asked = report.outcomes.len();
    assert!(report.n_of(&Told::PutOff) * 100 <= n_asked);
    assert!(report.peak_kib() < MOST_KIB, "{} KiB", report.peak_kib());
    drop(server);
    let data = folder.path().to_str().unwrap();
    let export = run(&["export", "--data", data], b"");
    let export = serde_json::from_slice(&export.stdout).unwrap();
    assert_eq!(report.differences(&export), Vec::<String>::new());
}
