//! Honest-like play: what forgers start from.

use super::Draw;
use super::around::{Told, court, device, remark, setup};
use super::hand::{Figure, pick};
use super::sheet::{About, Line, Session, Sheet, Tension};
use tautpool::vocabulary::Arm;

/// km/h in one mph, by definition.
pub(super) const KMH_PER_MPH: f64 = 1.609_344;

/// One kind of shot of one player.
#[derive(Clone, Debug)]
pub(super) struct Stroke {
    pub(super) stroke: &'static str,
    pub(super) direction: &'static str,
    pub(super) kmh: f64,
    pub(super) cv: f64,
    pub(super) in_share: f64,
    /// Of the shots in; `None` where depth is not counted.
    pub(super) deep_share: Option<f64>,
    /// Shots in a session, about.
    pub(super) hit: i64,
}

/// Looser minus tighter: km/h, and differences of probabilities.
#[derive(Clone, Copy, Debug)]
pub(super) struct Pull {
    pub(super) kmh: f64,
    pub(super) in_share: f64,
    pub(super) deep_share: f64,
}

/// What a session's shots of one kind come to.
#[derive(Clone, Debug)]
pub(super) struct Tally {
    pub(super) hit: i64,
    pub(super) n_in: i64,
    pub(super) n_deep: Option<i64>,
    pub(super) mean: f64,
    pub(super) sd: f64,
    pub(super) max: f64,
}

/// How shares are shown.
#[derive(Clone, Copy, Debug)]
pub(super) enum Shares {
    Counts,
    /// Percentages to so many decimals, the deep ones of the shots `in` or `hit`.
    Percent(i32, &'static str),
}

/// What a device shows, or a player writes down.
#[derive(Clone, Debug)]
pub(super) struct Recorder {
    pub(super) unit: &'static str,
    pub(super) decimals: i32,
    pub(super) has_sd: bool,
    sd_divisor: Option<&'static str>,
    pub(super) has_max: bool,
    pub(super) shares: Shares,
    pub(super) says_timed: bool,
    over: Option<&'static str>,
}

/// Everything around the shots of one contribution.
#[derive(Clone, Debug)]
pub(super) struct Outline {
    pub(super) itn: i64,
    pub(super) strokes: Vec<Stroke>,
    pub(super) recorder: Recorder,
    /// Sessions as they were played.
    pub(super) arms: Vec<Arm>,
    looser: Figure,
    tighter: Figure,
    tension_unit: &'static str,
    /// How likely each optional part is filled in.
    pub(super) care: f64,
}

/// A difference that an honest player may have.
pub(super) fn honest_pull(draw: &mut Draw) -> Pull {
    Pull {
        kmh: 0.8 + 1.5 * draw.normal(),
        in_share: -0.015 + 0.03 * draw.bounded_normal(),
        deep_share: 0.02 + 0.035 * draw.bounded_normal(),
    }
}

/// A contribution that was played.
pub(super) fn honest(draw: &mut Draw) -> Sheet {
    Outline::drawn(draw).played(draw)
}

impl Stroke {
    /// Plays a session on a day that is a little better or worse than others: speeds are normal,
    /// shots land in or deep each on their own.
    pub(super) fn play(&self, arm: Arm, pull: Pull, draw: &mut Draw) -> Tally {
        let half = half_of(arm);
        let faster = self.kmh / 100.0;
        let kmh = self.kmh + faster * (half * pull.kmh + 1.3 * draw.normal());
        let in_share = self.in_share + half * pull.in_share + 0.015 * draw.bounded_normal();
        let deep_shift = half * pull.deep_share + 0.015 * draw.bounded_normal();
        let hit = self.hit + draw.whole(-6, 6);
        let speeds: Vec<f64> = (0..hit)
            .map(|_| kmh * (1.0 + self.cv * draw.bounded_normal()))
            .collect();
        let n_in = binomial(hit, in_share, draw);
        let mean = speeds.iter().sum::<f64>() / hit as f64;
        let squares: f64 = speeds.iter().map(|speed| (speed - mean).powi(2)).sum();
        Tally {
            hit,
            n_in,
            n_deep: self
                .deep_share
                .map(|share| binomial(n_in, share + deep_shift, draw)),
            mean,
            sd: (squares / (hit - 1) as f64).sqrt(),
            max: speeds.iter().copied().fold(mean, larger),
        }
    }
}

/// +½ for the looser arm, −½ for the tighter one.
pub(super) const fn half_of(arm: Arm) -> f64 {
    match arm {
        Arm::Looser => 0.5,
        Arm::Tighter => -0.5,
    }
}

fn larger(a: f64, b: f64) -> f64 {
    if a < b { b } else { a }
}

pub(super) fn binomial(n: i64, probability: f64, draw: &mut Draw) -> i64 {
    (0..n).map(|_| i64::from(draw.chance(probability))).sum()
}

impl Recorder {
    fn drawn(draw: &mut Draw) -> Self {
        Self {
            unit: pick(draw, "km/h", &["km/h", "mph"]),
            decimals: pick(draw, 1, &[1, 0]),
            has_sd: draw.chance(0.55),
            sd_divisor: pick(draw, None, &[Some("n-1"), Some("n"), Some("unknown")]),
            has_max: draw.chance(0.75),
            shares: pick(
                draw,
                Shares::Counts,
                &[
                    Shares::Counts,
                    Shares::Percent(0, "in"),
                    Shares::Percent(1, "in"),
                    Shares::Percent(0, "hit"),
                ],
            ),
            says_timed: draw.chance(0.7),
            over: pick(draw, None, &[Some("all"), Some("unknown")]),
        }
    }

    /// km/h in one unit of this device.
    pub(super) fn kmh_per_unit(&self) -> f64 {
        if self.unit == "mph" { KMH_PER_MPH } else { 1.0 }
    }

    /// What this device shows of shots whose speeds are in km/h.
    pub(super) fn line(&self, stroke: &Stroke, tally: &Tally) -> Line {
        let speed = |kmh: f64, decimals: i32| Figure::new(kmh / self.kmh_per_unit(), decimals);
        let percent = |count: i64, of: i64, decimals: i32| {
            (0 < of).then(|| Figure::new(100.0 * count as f64 / of as f64, decimals))
        };
        let mut line = Line {
            stroke: stroke.stroke,
            direction: stroke.direction,
            hit: tally.hit,
            n_in: None,
            in_percent: None,
            deep: None,
            deep_percent: None,
            deep_percent_of: None,
            speed_mean: speed(tally.mean, self.decimals),
            speed_unit: self.unit,
            speed_sd: self.has_sd.then(|| speed(tally.sd, 1)),
            sd_divisor: self.sd_divisor.filter(|_| self.has_sd),
            speed_max: self.has_max.then(|| speed(tally.max, self.decimals)),
            speed_n: self.says_timed.then_some(tally.hit),
            speed_over: self.over,
        };
        match self.shares {
            Shares::Counts => {
                line.n_in = Some(tally.n_in);
                line.deep = tally.n_deep;
            }
            Shares::Percent(decimals, of) => {
                let base = if of == "in" { tally.n_in } else { tally.hit };
                line.in_percent = percent(tally.n_in, tally.hit, decimals);
                line.deep_percent = tally.n_deep.and_then(|n| percent(n, base, decimals));
                line.deep_percent_of = line.deep_percent.map(|_| of);
            }
        }
        line.mend();
        line
    }
}

impl Outline {
    /// A player with a device, string beds and habits.
    pub(super) fn drawn(draw: &mut Draw) -> Self {
        let itn = draw.whole(2, 9);
        let (looser, tighter, tension_unit) = beds(draw);
        let turn = pick(draw, Arm::Looser, &[Arm::Tighter]);
        let other = match turn {
            Arm::Looser => Arm::Tighter,
            Arm::Tighter => Arm::Looser,
        };
        let arms = if draw.chance(0.2) {
            vec![turn, other, other, turn]
        } else {
            vec![turn, other]
        };
        Self {
            itn,
            strokes: strokes(itn, draw),
            recorder: Recorder::drawn(draw),
            arms,
            looser,
            tighter,
            tension_unit,
            care: 0.7,
        }
    }

    /// One session of each arm, and few optional parts.
    pub(super) fn lazy(draw: &mut Draw) -> Self {
        let mut outline = Self::drawn(draw);
        outline.arms.truncate(2);
        outline.strokes.truncate(2);
        outline.care = 0.35;
        outline
    }

    /// Both arms played by an honest player.
    pub(super) fn played(&self, draw: &mut Draw) -> Sheet {
        let pull = honest_pull(draw);
        self.sheet(draw, |arm, stroke, draw| {
            let tally = stroke.play(arm, pull, draw);
            self.recorder.line(stroke, &tally)
        })
    }

    /// A contribution with these shot lines.
    pub(super) fn sheet(
        &self,
        draw: &mut Draw,
        mut line: impl FnMut(Arm, &Stroke, &mut Draw) -> Line,
    ) -> Sheet {
        let has_order = draw.chance(0.9);
        let told = Told::drawn(self.care, draw);
        let mut sessions = Vec::new();
        for (&arm, order) in self.arms.iter().zip(1..) {
            let lines: Vec<Line> = self
                .strokes
                .iter()
                .map(|stroke| line(arm, stroke, draw))
                .collect();
            let mut session = self.session(arm, lines);
            session.order = has_order.then_some(order);
            told.fill(&mut session, self, draw);
            sessions.push(session);
        }
        let mut sheet = Sheet::new(sessions);
        sheet.consent.scope = pick(
            draw,
            "pooling",
            &["pooling_and_rows", "pooling_and_rows", "pooling_and_rows"],
        );
        sheet.player = draw.chance(self.care).then(|| self.about(draw));
        sheet.setup = draw.chance(self.care).then(|| setup(draw));
        sheet.device = draw.chance(self.care).then(|| device(draw));
        sheet.court = draw.chance(self.care).then(|| court(draw));
        sheet.note = draw.chance(0.1).then(|| remark(draw));
        sheet
    }

    fn session(&self, arm: Arm, shots: Vec<Line>) -> Session {
        Session {
            arm,
            tension: Tension {
                mains: match arm {
                    Arm::Looser => self.looser,
                    Arm::Tighter => self.tighter,
                },
                unit: self.tension_unit,
            },
            order: None,
            minutes: None,
            warm_up_minutes: None,
            knew_tension: None,
            partner: None,
            spin: None,
            rallies: None,
            shots,
        }
    }

    pub(super) fn about(&self, draw: &mut Draw) -> About {
        About {
            itn: self.itn,
            handedness: pick(draw, "right", &["right", "right", "right", "left"]),
            backhand: pick(draw, "two_handed", &["two_handed", "one_handed"]),
        }
    }
}

/// Reference tensions of two string beds.
fn beds(draw: &mut Draw) -> (Figure, Figure, &'static str) {
    let pounds = draw.chance(0.7);
    let (looser, gap, unit) = if pounds {
        let gap = pick(draw, 5, &[4, 6, 6, 8, 8, 10, 10, 12, 14, 16]);
        (draw.whole(42, 50) as f64, f64::from(gap), "lb")
    } else {
        let gap = pick(draw, 2.5, &[3.0, 4.0, 5.0, 6.0]);
        (draw.whole(38, 46) as f64 / 2.0, gap, "kg")
    };
    (Figure::new(looser, 1), Figure::new(looser + gap, 1), unit)
}

/// The forehand and what else a player of this level counted.
fn strokes(itn: i64, draw: &mut Draw) -> Vec<Stroke> {
    let level = itn as f64;
    let forehand = Stroke {
        stroke: "forehand",
        direction: "all",
        kmh: 121.0 - 4.7 * level + 5.0 * draw.bounded_normal(),
        cv: draw.between(0.11, 0.17),
        in_share: 0.84 - 0.022 * level + 0.03 * draw.bounded_normal(),
        deep_share: Some(0.46 - 0.018 * level + 0.03 * draw.bounded_normal()),
        hit: draw.whole(34, 90),
    };
    let mut strokes = vec![forehand.clone()];
    let mut further = |stroke, direction, faster: f64, is_deep_counted: bool| {
        strokes.push(Stroke {
            stroke,
            direction,
            kmh: forehand.kmh * faster,
            deep_share: forehand.deep_share.filter(|_| is_deep_counted),
            hit: forehand.hit * 2 / 3 + 6,
            ..forehand.clone()
        });
    };
    if draw.chance(0.6) {
        let direction = pick(draw, "all", &["all", "crosscourt"]);
        further("backhand", direction, draw.between(0.88, 0.96), true);
    }
    if draw.chance(0.25) {
        further("serve", "all", draw.between(1.22, 1.38), false);
    }
    if draw.chance(0.1) {
        further("volley", "all", draw.between(0.68, 0.78), true);
    }
    strokes
}
