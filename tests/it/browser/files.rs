//! A file of single shots in place of typing, with a bad row first.

use super::hands::Hands;
use super::session::{Browser, Device, Scripts};
use super::stage::Stage;
use super::way::Way;
use std::fs;
use std::path::PathBuf;

/// Shots in each of the two sessions.
const SHOTS: usize = 30;

/// The line of the file that is bad, counted as people do: the first line names the columns.
pub(crate) const BAD_LINE: usize = 17;

/// Two sessions of forehands as CSV; one speed of the bad file has a letter in it.
fn shots(bad: bool) -> String {
    let mut lines =
        vec!["session,string_bed,tension,tension_unit,stroke,landed,speed,speed_unit".to_owned()];
    for (session, bed, tension, mean) in [(1, "looser", 46, 103), (2, "tighter", 52, 100)] {
        for shot in 0..SHOTS {
            let landed = ["deep", "in", "out", "in", "deep"][shot % 5];
            // Speeds around the mean, without two neighbours alike.
            let speed = mean - 12 + shot * 11 % 25;
            let is_bad = bad && lines.len() + 1 == BAD_LINE;
            let speed = if is_bad {
                "1o3".to_owned()
            } else {
                speed.to_string()
            };
            lines.push(format!(
                "{session},{bed},{tension},lb,forehand,{landed},{speed},km/h"
            ));
        }
    }
    lines.join("\n") + "\n"
}

/// Writes a file of shots for a browser.
pub(crate) fn written(browser: &Browser, bad: bool) -> PathBuf {
    let name = if bad { "bad.csv" } else { "shots.csv" };
    let file = browser.folder().join(name);
    fs::write(&file, shots(bad)).unwrap();
    file
}

#[test]
fn a_bad_row_is_named_and_the_mended_file_is_sent() {
    let stage = Stage::new();
    let browser = Browser::open(&stage.address, Device::Phone, Scripts::Off);
    let way = Way::new(&browser, Hands::Pointing);
    way.open("upload");
    way.choose_file(&written(&browser, true));
    let told = browser.text(".spots");
    assert_eq!(browser.count(".spots li"), 1, "{told}");
    assert!(told.contains(&BAD_LINE.to_string()), "{told}");
    assert!(told.contains("speed"), "{told}");
    way.choose_file(&written(&browser, false));
    assert_eq!(browser.count("table"), 2, "one table for each session");
    way.consent();
    way.send_file();
    assert!(!way.receipt().is_empty());
    drop(browser);
    let stored = stage.stored();
    assert_eq!(stored.len(), 1);
    let sessions = stored[0]["sessions"].as_array().unwrap();
    for session in sessions {
        assert_eq!(session["shots"][0]["hit"], SHOTS);
    }
}
