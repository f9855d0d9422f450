//! The parts of a contribution around its shots.
//!
//! Every word and figure here is plausible filler without influence on any outcome; the numbers
//! in it are the project's choice.

use super::draw::Draw;
use super::line::printed;
use super::person::{Device, Person};
use super::settings::{GapPlayers, Settings};
use crate::units::TensionUnit;
use serde_json::{Map, Value, json};

/// Which optional parts of a session a player fills in.
#[derive(Clone, Copy, Debug)]
pub(super) struct SessionHabits {
    pub(super) measured_tension: bool,
    minutes: bool,
    knew_tension: &'static str,
    partner: bool,
    partner_spread: bool,
    spin: Option<SpinForm>,
    rallies: bool,
}

#[derive(Clone, Copy, Debug)]
enum SpinForm {
    Count,
    Percent,
}

impl SessionHabits {
    pub(super) fn new(settings: &Settings, draw: &mut Draw) -> Self {
        let usual = settings.habits.optional_part;
        let spin_form = if draw.chance(0.5) {
            SpinForm::Count
        } else {
            SpinForm::Percent
        };
        Self {
            measured_tension: draw.chance(0.2),
            minutes: draw.chance(usual),
            knew_tension: draw.word("yes", &["yes", "yes", "yes", "no", "unknown"]),
            partner: draw.chance(usual),
            partner_spread: draw.chance(0.5),
            spin: draw.chance(usual).then_some(spin_form),
            rallies: draw.chance(usual),
        }
    }

    /// Writes the optional parts of one session.
    pub(super) fn write(
        &self,
        session: &mut Map<String, Value>,
        device: &Device,
        n_shots: usize,
        partner_kmh: f64,
        draw: &mut Draw,
    ) {
        if self.minutes {
            // About four shots a minute, picking up balls included.
            let minutes = n_shots / 4 + draw.whole(2, 10);
            session.insert("minutes".to_owned(), json!(minutes));
            session.insert("warm_up_minutes".to_owned(), json!(draw.whole(5, 15)));
        }
        session.insert("knew_tension".to_owned(), json!(self.knew_tension));
        if self.partner {
            let partner = self.partner(device, n_shots, partner_kmh, draw);
            session.insert("partner".to_owned(), partner);
        }
        if let Some(form) = self.spin {
            session.insert("spin".to_owned(), spin(form, n_shots, draw));
        }
        if self.rallies {
            let played = n_shots.div_ceil(3) + draw.whole(0, 6);
            let above = (0..played).filter(|_| draw.chance(0.3)).count();
            session.insert(
                "rallies".to_owned(),
                json!({ "played": played, "above_length": above }),
            );
        }
    }

    fn partner(&self, device: &Device, n_shots: usize, kmh: f64, draw: &mut Draw) -> Value {
        let n_timed = n_shots.div_ceil(2) + draw.whole(1, 10);
        let sd_kmh = 0.12 * kmh;
        let mean_kmh = kmh + sd_kmh * draw.normal() / (n_timed as f64).sqrt();
        let mut partner = Map::new();
        partner.insert(
            "speed_mean".to_owned(),
            printed(device.speed(mean_kmh), device.speed_decimals),
        );
        if self.partner_spread {
            let sd = sd_kmh * draw.between(0.9, 1.1);
            partner.insert("speed_sd".to_owned(), printed(device.speed(sd), 1));
            partner.insert("speed_n".to_owned(), json!(n_timed));
        }
        partner.insert("speed_unit".to_owned(), json!(device.speed_unit()));
        Value::Object(partner)
    }
}

fn spin(form: SpinForm, n_shots: usize, draw: &mut Draw) -> Value {
    let (mut topspin, mut flat, mut slice) = (0_usize, 0_usize, 0_usize);
    for _ in 0..n_shots {
        let kind = draw.unit();
        if kind < 0.62 {
            topspin += 1;
        } else if kind < 0.86 {
            flat += 1;
        } else {
            slice += 1;
        }
    }
    match form {
        SpinForm::Count => {
            json!({ "given_as": "count", "topspin": topspin, "flat": flat, "slice": slice })
        }
        SpinForm::Percent => {
            let percent = |count: usize| printed(100.0 * count as f64 / n_shots as f64, 0);
            json!({
                "given_as": "percent",
                "topspin": percent(topspin), "flat": percent(flat), "slice": percent(slice)
            })
        }
    }
}

/// The whole contribution.
pub(super) fn contribution(
    settings: &Settings,
    person: &Person,
    gap: GapPlayers,
    sessions: Vec<Value>,
    draw: &mut Draw,
) -> Value {
    let usual = settings.habits.optional_part;
    let scope = if person.rows {
        "pooling_and_rows"
    } else {
        "pooling"
    };
    let mut document = Map::new();
    document.insert("study".to_owned(), json!(settings.study));
    document.insert(
        "consent".to_owned(),
        json!({ "text_version": settings.consent_text_version, "adult": true, "scope": scope }),
    );
    if draw.chance(usual) {
        let itn = if draw.chance(0.05) {
            json!("unknown")
        } else {
            json!(person.itn)
        };
        document.insert(
            "player".to_owned(),
            json!({
                "itn": itn,
                "handedness": draw.word("right", &["right", "right", "right", "right", "left"]),
                "backhand": draw.word("two_handed", &["two_handed", "one_handed"]),
            }),
        );
    }
    if draw.chance(usual) {
        document.insert("setup".to_owned(), setup(person, gap, draw));
    }
    if draw.chance(usual) {
        document.insert(
            "device".to_owned(),
            json!({
                "class": draw.word("phone_camera", &["phone_camera", "court_cameras", "radar", "racquet_sensor", "wrist_sensor"]),
                "speed_measured_at": draw.word("unknown", &["leaving_strings", "average_in_flight", "at_net"]),
            }),
        );
    }
    if draw.chance(usual) {
        document.insert("court".to_owned(), court(person, draw));
    }
    document.insert("sessions".to_owned(), Value::Array(sessions));
    Value::Object(document)
}

fn setup(person: &Person, gap: GapPlayers, draw: &mut Draw) -> Value {
    let mut frame = Map::new();
    let head_sq_in = draw.between(95.0, 105.0).round();
    let metric = gap.unit == TensionUnit::Kilogram;
    // 1 square inch is 6.4516 square centimetres by definition.
    let (head, unit) = if metric {
        (head_sq_in * 6.4516, "sq_cm")
    } else {
        (head_sq_in, "sq_in")
    };
    frame.insert("head_size".to_owned(), printed(head, 0));
    frame.insert("head_size_unit".to_owned(), json!(unit));
    // Four sessions in turn cannot be played with one frame that is restrung.
    if person.four_sessions || draw.chance(0.5) {
        frame.insert("frames".to_owned(), json!("two_matched"));
        let grams = printed(draw.between(0.0, 4.0), 1);
        frame.insert("mass_difference_g".to_owned(), grams);
    } else {
        frame.insert("frames".to_owned(), json!("one_restrung"));
    }
    let family = draw.word(
        "polyester",
        &["polyester", "multifilament", "synthetic_gut"],
    );
    let gauge = printed(draw.between(1.2, 1.35), 2);
    let bed = |draw: &mut Draw| {
        json!({
            "hours_played": printed(draw.between(0.0, 6.0), 1),
            "days_since_stringing": draw.whole(0, 6)
        })
    };
    json!({
        "frame": frame,
        "mains_family": family,
        "crosses_family": family,
        "mains_gauge_mm": gauge.clone(),
        "crosses_gauge_mm": gauge,
        "pattern": draw.word("16x19", &["16x19", "16x20", "18x20"]),
        "looser_bed": bed(draw),
        "tighter_bed": bed(draw),
    })
}

fn court(person: &Person, draw: &mut Draw) -> Value {
    let celsius = draw.between(12.0, 29.0);
    let (temperature, unit) = if person.device.mph {
        (celsius * 1.8 + 32.0, "fahrenheit")
    } else {
        (celsius, "celsius")
    };
    json!({
        "surface": draw.word("clay", &["acrylic", "clay", "hybrid_clay", "carpet", "artificial_grass"]),
        "ball": draw.word("type_2", &["type_2", "type_2", "type_1", "type_3", "unknown"]),
        "place": draw.word("outdoor", &["outdoor", "indoor"]),
        "temperature": printed(temperature, 0),
        "temperature_unit": unit,
    })
}
