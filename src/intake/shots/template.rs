//! The file to fill in.

use super::columns::Column;
use crate::protocol::Study;
use crate::units::{Hundredths, TensionUnit};
use crate::vocabulary::Arm;

/// A looser tension in the middle of the usual range, in the unit of the study.
const fn looser_tension(unit: TensionUnit) -> i64 {
    match unit {
        TensionUnit::Pound => 4_800,
        TensionUnit::Kilogram => 2_200,
    }
}

/// The template of a study as CSV (RFC 4180): the names of the columns and four example lines, two
/// of each string bed. Its tensions are as far apart as the protocol asks, and in the column
/// `session` stands the word `example`, which no file may have that is sent.
#[must_use]
pub fn template(study: &Study) -> String {
    let bands = &study.protocol.analysis.bands;
    let looser = looser_tension(bands.unit());
    let gap = bands.edges().first().map_or(0, |edge| edge.count());
    let header: Vec<&str> = Column::ALL.iter().map(|column| column.code()).collect();
    let mut text = format!("{}\r\n", header.join(","));
    let shots = [
        (Arm::Looser, "crosscourt", "deep", "111.11"),
        (Arm::Looser, "down_the_line", "out", ""),
        (Arm::Tighter, "crosscourt", "in", "99.99"),
        (Arm::Tighter, "middle", "", "88.88"),
    ];
    for (arm, direction, landed, speed) in shots {
        let (number, tension) = match arm {
            Arm::Looser => (1, looser),
            Arm::Tighter => (2, looser + gap),
        };
        let minutes = study.protocol.session_minutes;
        let cells = Column::ALL.iter().map(|column| match column {
            Column::Session => format!("example {number}"),
            Column::StringBed => arm.code().to_owned(),
            Column::Tension => Hundredths::from_count(tension).to_f64().to_string(),
            Column::TensionUnit => bands.unit().code().to_owned(),
            Column::CrossesTension => String::new(),
            Column::Minutes => minutes.to_string(),
            Column::PartnerSpeed => "77.77".to_owned(),
            Column::Stroke => "forehand".to_owned(),
            Column::Direction => direction.to_owned(),
            Column::Landed => landed.to_owned(),
            Column::Speed => speed.to_owned(),
            Column::SpeedUnit => "km/h".to_owned(),
        });
        text.push_str(&cells.collect::<Vec<String>>().join(","));
        text.push_str("\r\n");
    }
    text
}
