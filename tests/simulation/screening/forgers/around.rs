//! What stands around the shots in a document: plausible filler.

use super::Draw;
use super::hand::{Figure, pick};
use super::play::{Outline, binomial};
use super::sheet::{Partner, Rallies, Session, Spin};
use serde_json::{Value, json};

/// The optional parts that a player fills in for every session.
pub(super) struct Told {
    minutes: bool,
    knew: Option<&'static str>,
    partner: bool,
    spin: bool,
    rallies: bool,
}

impl Told {
    /// Each part is filled in about as often as `care` says.
    pub(super) fn drawn(care: f64, draw: &mut Draw) -> Self {
        Self {
            minutes: draw.chance(care),
            knew: draw.chance(care).then(|| pick(draw, "yes", &["no"])),
            partner: draw.chance(care),
            spin: draw.chance(0.6 * care),
            rallies: draw.chance(0.6 * care),
        }
    }

    pub(super) fn fill(&self, session: &mut Session, outline: &Outline, draw: &mut Draw) {
        let n_shots: i64 = session.shots.iter().map(|line| line.hit).sum();
        session.knew_tension = self.knew;
        if self.minutes {
            session.minutes = Some(n_shots / 4 + draw.whole(4, 15));
            session.warm_up_minutes = Some(pick(draw, 10, &[5, 8, 12]));
        }
        if self.partner {
            let kmh = 96.0 - 4.0 * outline.itn as f64 + 3.0 * draw.normal();
            session.partner = Some(Partner {
                speed_mean: Figure::new(kmh / outline.recorder.kmh_per_unit(), 1),
                speed_unit: outline.recorder.unit,
            });
        }
        if self.spin {
            let topspin = binomial(n_shots, 0.6, draw);
            let flat = binomial(n_shots - topspin, 0.65, draw);
            session.spin = Some(Spin {
                given_as: "count",
                topspin,
                flat,
                slice: n_shots - topspin - flat,
            });
        }
        if self.rallies {
            let played = n_shots / 4 + draw.whole(0, 8);
            session.rallies = Some(Rallies {
                played,
                above_length: binomial(played, 0.35, draw),
            });
        }
    }
}

pub(super) fn setup(draw: &mut Draw) -> Value {
    let family = pick(
        draw,
        "polyester",
        &["polyester", "multifilament", "synthetic_gut"],
    );
    let frames = pick(draw, "one_restrung", &["two_matched", "unknown"]);
    json!({
        "frame": {
            "head_size": draw.whole(95, 104), "head_size_unit": "sq_in", "frames": frames
        },
        "mains_family": family,
        "crosses_family": family,
        "mains_gauge_mm": pick(draw, 1.25, &[1.2, 1.23, 1.27, 1.3]),
        "pattern": pick(draw, "16x19", &["16x19", "18x20", "16x20"]),
        "looser_bed": { "hours_played": draw.whole(0, 5), "days_since_stringing": draw.whole(0, 9) },
        "tighter_bed": { "hours_played": draw.whole(0, 5), "days_since_stringing": draw.whole(0, 9) },
    })
}

pub(super) fn device(draw: &mut Draw) -> Value {
    json!({
        "class": pick(draw, "phone_camera", &["phone_camera", "radar", "court_cameras", "racquet_sensor"]),
        "speed_measured_at": pick(draw, "unknown", &["leaving_strings", "at_net", "average_in_flight"]),
    })
}

pub(super) fn court(draw: &mut Draw) -> Value {
    json!({
        "surface": pick(draw, "acrylic", &["clay", "clay", "carpet", "artificial_grass", "asphalt"]),
        "ball": pick(draw, "type_2", &["type_2", "unknown"]),
        "place": pick(draw, "outdoor", &["outdoor", "indoor"]),
        "temperature": draw.whole(11, 31),
        "temperature_unit": "celsius",
    })
}

pub(super) fn remark(draw: &mut Draw) -> &'static str {
    pick(
        draw,
        "A little wind from the side.",
        &[
            "Both sessions on one evening.",
            "Fresh balls each time.",
            "Second session a day later.",
            "My arm got tired towards the end.",
        ],
    )
}
