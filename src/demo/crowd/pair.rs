//! One pair of sessions, played shot by shot and written as a contribution.

use super::document;
use super::draw::Draw;
use super::line::{printed, shot_line};
use super::person::Person;
use super::settings::{GapPlayers, Settings};
use super::shots::{Shot, Stream};
use crate::units::TensionUnit;
use crate::vocabulary::{Arm, Outcome};
use serde_json::{Map, Value, json};

/// Shots in the arm that a player broke off.
#[derive(Clone, Copy, Debug)]
pub(super) struct BrokenOff {
    pub(super) arm: Arm,
    pub(super) n_shots: usize,
}

/// What holds for all sessions of a pair.
struct Pair<'a> {
    settings: &'a Settings,
    person: &'a Person,
    gap: GapPlayers,
    /// Reference tension of the looser bed's mains, in the unit of the gap.
    looser: f64,
    /// How much lower the crosses are strung.
    crosses_lower: f64,
    /// The optional parts that this player fills in.
    habits: document::SessionHabits,
    broken_off: Option<BrokenOff>,
}

/// The contribution of one pair of arms.
pub(super) fn play(
    settings: &Settings,
    person: &Person,
    gap: GapPlayers,
    broken_off: Option<BrokenOff>,
    draw: &mut Draw,
) -> Value {
    let value = gap.gap.to_f64();
    // Both beds stay inside the usual 40 to 70 lb (18 to 32 kg), or a little below it when looser.
    let looser = match gap.unit {
        TensionUnit::Pound => draw.between(38.0, 65.0 - value).round(),
        TensionUnit::Kilogram => draw.between(35.0, 2.0 * (29.5 - value)).round() / 2.0,
    };
    let pair = Pair {
        settings,
        person,
        gap,
        looser,
        crosses_lower: if draw.chance(0.3) {
            match gap.unit {
                TensionUnit::Pound => 2.0,
                TensionUnit::Kilogram => 1.0,
            }
        } else {
            0.0
        },
        habits: document::SessionHabits::new(settings, draw),
        broken_off,
    };
    let looser_first = draw.chance(0.5);
    let (first, second) = if looser_first {
        (Arm::Looser, Arm::Tighter)
    } else {
        (Arm::Tighter, Arm::Looser)
    };
    let arms: &[Arm] = if person.four_sessions {
        &[first, second, second, first]
    } else {
        &[first, second]
    };
    let sessions: Vec<Value> = arms
        .iter()
        .enumerate()
        .map(|(place, arm)| pair.session(*arm, place, draw))
        .collect();
    document::contribution(settings, person, gap, sessions, draw)
}

/// The conditions of one session.
struct Day {
    /// +1/2 for the looser arm, -1/2 for the tighter.
    half: f64,
    speed_shift: f64,
    in_shift: f64,
    deep_shift: f64,
    partner_shift: f64,
}

/// A stroke against the forehand.
struct StrokeRatios {
    speed_ratio: f64,
    spread_ratio: f64,
    effect_ratio: f64,
    deep_shift: f64,
    partner_ratio: f64,
}

impl Pair<'_> {
    fn session(&self, arm: Arm, place: usize, draw: &mut Draw) -> Value {
        let noise = &self.settings.noise;
        let day = Day {
            half: if arm == Arm::Looser { 0.5 } else { -0.5 },
            speed_shift: noise.day_sd.speed * draw.bounded_normal()
                + noise.period_kmh * place as f64,
            in_shift: noise.day_sd.in_share * draw.bounded_normal(),
            deep_shift: noise.day_sd.deep_share * draw.bounded_normal(),
            partner_shift: noise.partner_sd_kmh * draw.bounded_normal(),
        };
        let (lines, n_shots) = self.lines(arm, &day, draw);
        let mut session = Map::new();
        session.insert("arm".to_owned(), json!(arm.code()));
        session.insert("tension".to_owned(), self.tension(arm));
        if self.habits.measured_tension {
            // A bed just after stringing sits about 30 % below the machine's setting
            // (Cross & Bower 2001).
            let measured = self.mains(arm) * (0.7 + 0.02 * draw.bounded_normal());
            let unit = self.gap.unit.code();
            session.insert(
                "measured_tension".to_owned(),
                json!({ "value": printed(measured, 1), "unit": unit }),
            );
        }
        session.insert("order".to_owned(), json!(place + 1));
        let partner_kmh = 0.9 * self.person.forehand_kmh + day.partner_shift;
        let device = &self.person.device;
        self.habits
            .write(&mut session, device, n_shots, partner_kmh, draw);
        session.insert("shots".to_owned(), Value::Array(lines));
        Value::Object(session)
    }

    fn mains(&self, arm: Arm) -> f64 {
        match arm {
            Arm::Looser => self.looser,
            Arm::Tighter => self.looser + self.gap.gap.to_f64(),
        }
    }

    fn tension(&self, arm: Arm) -> Value {
        let mut tension = Map::new();
        tension.insert("mains".to_owned(), printed(self.mains(arm), 2));
        if 0.0 < self.crosses_lower {
            let crosses = self.mains(arm) - self.crosses_lower;
            tension.insert("crosses".to_owned(), printed(crosses, 2));
        }
        tension.insert("unit".to_owned(), json!(self.gap.unit.code()));
        Value::Object(tension)
    }

    /// The shot lines of a session and the number of shots hit.
    fn lines(&self, arm: Arm, day: &Day, draw: &mut Draw) -> (Vec<Value>, usize) {
        let (person, classes) = (self.person, &self.settings.classes);
        let device = &person.device;
        let like_forehand = StrokeRatios {
            speed_ratio: 1.0,
            spread_ratio: 1.0,
            effect_ratio: 1.0,
            deep_shift: 0.0,
            partner_ratio: self.settings.noise.partner_pace_ratio,
        };
        let n_forehands = self.n_shots(arm, person.n_forehands, draw);
        let forehands = self.hit(&like_forehand, day, n_forehands, draw);
        let mut n_shots = forehands.len();
        let mut lines = vec![shot_line("forehand", "all", &forehands, device)];
        if person.crosscourt {
            let crosscourt: Vec<Shot> = forehands
                .iter()
                .filter(|shot| shot.crosscourt)
                .copied()
                .collect();
            if !crosscourt.is_empty() {
                lines.push(shot_line("forehand", "crosscourt", &crosscourt, device));
            }
        }
        if person.backhand {
            let ratios = StrokeRatios {
                speed_ratio: classes.backhand.speed_ratio,
                effect_ratio: classes.backhand.effect_ratio,
                deep_shift: classes.backhand.deep_shift,
                ..like_forehand
            };
            let usual = self.at_least_fewest(person.n_forehands * 4 / 5);
            let n = self.n_shots(arm, usual, draw);
            let backhands = self.hit(&ratios, day, n, draw);
            n_shots += backhands.len();
            lines.push(shot_line("backhand", "all", &backhands, device));
        }
        if person.serve {
            // Nobody's pace comes back in a serve.
            let ratios = StrokeRatios {
                speed_ratio: classes.serve.speed_ratio,
                spread_ratio: classes.serve.spread_ratio,
                effect_ratio: classes.serve.effect_ratio,
                deep_shift: 0.0,
                partner_ratio: 0.0,
            };
            let usual = self.at_least_fewest(person.n_forehands / 2);
            let n = self.n_shots(arm, usual, draw);
            let serves = self.hit(&ratios, day, n, draw);
            n_shots += serves.len();
            lines.push(shot_line("serve", "all", &serves, device));
        }
        (lines.into_iter().map(Value::Object).collect(), n_shots)
    }

    fn at_least_fewest(&self, n_shots: usize) -> usize {
        n_shots.max(self.settings.habits.shots.fewest)
    }

    /// Shots of one session, from the usual number per arm.
    fn n_shots(&self, arm: Arm, usual: usize, draw: &mut Draw) -> usize {
        if let Some(broken_off) = self.broken_off
            && broken_off.arm == arm
        {
            return broken_off.n_shots;
        }
        let range = self.settings.habits.shots;
        let about = draw.whole(usual * 9 / 10, usual * 11 / 10);
        let per_arm = about.clamp(range.fewest, range.most);
        if self.person.four_sessions {
            per_arm.div_ceil(2)
        } else {
            per_arm
        }
    }

    fn hit(&self, stroke: &StrokeRatios, day: &Day, n: usize, draw: &mut Draw) -> Vec<Shot> {
        let (person, noise) = (self.person, &self.settings.noise);
        let effect = |outcome| {
            let gap_lb = self.gap.pounds();
            stroke.effect_ratio * person.true_effect(self.settings, outcome, gap_lb)
        };
        let usual_kmh = person.forehand_kmh * stroke.speed_ratio;
        let deep_share = person.deep_share + stroke.deep_shift + day.deep_shift;
        let in_share = person.in_share + day.in_shift;
        Stream {
            mean_kmh: usual_kmh
                + day.half * effect(Outcome::Speed)
                + day.speed_shift
                + stroke.partner_ratio * day.partner_shift,
            sd_kmh: person.shot_cv * stroke.spread_ratio * usual_kmh,
            in_probability: (in_share + day.half * effect(Outcome::InShare)) / 100.0,
            deep_probability: (deep_share + day.half * effect(Outcome::DeepShare)) / 100.0,
            autocorrelation: person.autocorrelation,
            skew_shape: noise.skew_shape,
            crosscourt_probability: self.settings.classes.forehand_crosscourt.part_of_forehands,
            // A device that counts what it times misses about one shot in twenty (our choice).
            timed_probability: 0.95,
        }
        .hit(n, draw)
    }
}
