//! How long looking up a receipt takes, for receipts that there are and such that there are not.
//!
//! Measured in process, the kinds in turn, so that whatever else the machine does meets all of them
//! alike. Nothing is asserted of time; DEVELOPERS.md has what was measured.

use crate::harness::{STUDY, STUDY_FILE, contribution, recruit, runs, varied};
use std::fs;
use std::hint::black_box;
use std::time::Instant;
use tautpool::service::{Incoming, Service};

/// Players among whom one is looked for. Their figures are as good as any.
const PLAYERS: u32 = 12;

fn changed(receipt: &str, place: usize) -> String {
    let mut letters: Vec<char> = receipt.chars().collect();
    letters[place] = if letters[place] == 'A' { 'C' } else { 'A' };
    letters.into_iter().collect()
}

fn median(times: &mut [u128]) -> u128 {
    times.sort_unstable();
    times[times.len() / 2]
}

#[test]
fn looking_up_a_receipt_that_is_nearly_right_is_measured_beside_one_that_is_all_wrong() {
    let service = Service::in_memory().unwrap();
    recruit(&service, &fs::read(STUDY_FILE).unwrap(), 0);
    let receipts: Vec<String> = (0..PLAYERS)
        .map(|number| {
            let document = contribution(varied(number)).to_string();
            let incoming = Incoming {
                study: STUDY,
                document: document.as_bytes(),
                request_key: None,
                receipt: None,
                now_ms: 0,
            };
            service.submit(&incoming).unwrap().receipt.reveal()
        })
        .collect();
    let held = &receipts[0];
    let kinds = [
        ("all wrong", changed(&"BBBB-".repeat(8)[..39], 0)),
        ("first letter wrong", changed(held, 0)),
        ("middle letter wrong", changed(held, 20)),
        ("last letter wrong", changed(held, 37)),
        ("there", held.clone()),
        ("no receipt at all", "not a receipt".to_owned()),
    ];
    let mut times = vec![Vec::new(); kinds.len()];
    for _ in 0..runs(300, 20_000) {
        for (nth, (_, receipt)) in kinds.iter().enumerate() {
            let began = Instant::now();
            let found = black_box(service.own(STUDY, receipt));
            times[nth].push(began.elapsed().as_nanos());
            assert_eq!(found.is_ok(), nth == 4);
        }
    }
    let medians: Vec<u128> = times.iter_mut().map(|times| median(times)).collect();
    for ((kind, _), time) in kinds.iter().zip(&medians) {
        let hundredths = 100 * time / medians[0].max(1);
        println!("{kind}: median {time} ns, {hundredths} % of all wrong");
    }
}
