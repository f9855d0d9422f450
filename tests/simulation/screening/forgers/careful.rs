//! Forgers who start from real or well-simulated play.

use super::Draw;
use super::around;
use super::hand::{Figure, any, odd_looking, pick, to_step, whole};
use super::play::{self, KMH_PER_MPH, Outline, Pull, Stroke, Tally, half_of};
use super::sheet::{Line, Sheet};
use tautpool::protocol::limits::speed_bounds;
use tautpool::vocabulary::{self, Arm};

/// Honest means and counts, the rest from thin air.
pub(super) fn invented_spread(draw: &mut Draw) -> Sheet {
    let mut outline = Outline::drawn(draw);
    outline.recorder.has_sd = true;
    outline.recorder.has_max = true;
    let mut sheet = outline.played(draw);
    let style = draw.whole(0, 3);
    let everywhere = Figure::new(draw.whole(3, 12) as f64, 0);
    let ahead = draw.whole(2, 8) * 5;
    for line in sheet.lines() {
        let mean = line.speed_mean.value();
        let (sd, max) = match style {
            // One spread for every line, and the fastest shot so much above the mean.
            0 => (everywhere, mean + ahead as f64),
            // A good player is steady, and once hit a really fast one.
            1 => {
                let sd = odd_looking(mean * draw.between(0.025, 0.06), draw);
                (sd, mean * draw.between(1.3, 1.6))
            }
            // The spread is taken for half the range that one remembers.
            2 => {
                let half = mean * draw.between(0.2, 0.35);
                (Figure::new(half, 0), mean + half)
            }
            // Two figures that sound right, each on its own.
            _ => {
                let sd = odd_looking(mean * draw.between(0.05, 0.25), draw);
                (sd, mean * draw.between(1.08, 1.45))
            }
        };
        line.speed_sd = Some(sd);
        line.speed_max = Some(if draw.chance(0.5) {
            Figure::new(to_step(max, 5) as f64, 0)
        } else {
            line.speed_mean.like(max)
        });
        line.mend();
    }
    sheet
}

/// The same shots under another hat.
pub(super) fn resent_copy(original: &Sheet, draw: &mut Draw) -> Sheet {
    let mut sheet = original.clone();
    surround(&mut sheet, draw);
    if draw.chance(0.3) {
        sheet.sessions.reverse();
    }
    if draw.chance(0.3) {
        for session in &mut sheet.sessions {
            session.shots.reverse();
        }
    }
    if draw.chance(0.15) {
        in_the_other_unit(&mut sheet);
    }
    if draw.chance(0.5)
        && let Some(session) = any(draw, &mut sheet.sessions)
        && let Some(line) = any(draw, &mut session.shots)
    {
        let by = pick(draw, 0.1, &[-0.1, 0.2, 0.5, 1.0, -1.0]);
        line.speed_mean = Figure::new(line.speed_mean.value() + by, 1);
        line.mend();
    }
    sheet
}

/// Another player, court and equipment around the same sessions.
fn surround(sheet: &mut Sheet, draw: &mut Draw) {
    if let Some(about) = &mut sheet.player {
        about.itn = (about.itn + pick(draw, 0, &[1, -1])).clamp(1, 10);
        about.handedness = pick(draw, "right", &["left"]);
        about.backhand = pick(draw, "two_handed", &["one_handed"]);
    }
    sheet.setup = draw.chance(0.5).then(|| around::setup(draw));
    sheet.court = draw.chance(0.5).then(|| around::court(draw));
    if draw.chance(0.5) {
        sheet.device = Some(around::device(draw));
    }
    sheet.note = draw.chance(0.4).then(|| around::remark(draw));
    for session in &mut sheet.sessions {
        session.minutes = session.minutes.map(|n| n + draw.whole(0, 3));
        if draw.chance(0.3) {
            session.partner = None;
        }
    }
}

/// Types every speed again in the other unit, to one decimal.
fn in_the_other_unit(sheet: &mut Sheet) {
    let change = |unit: &mut &'static str| {
        let (other, factor) = match *unit {
            "mph" => ("km/h", KMH_PER_MPH),
            _ => ("mph", 1.0 / KMH_PER_MPH),
        };
        *unit = other;
        move |figure: Figure| Figure::new(figure.value() * factor, 1)
    };
    for session in &mut sheet.sessions {
        if let Some(partner) = &mut session.partner {
            partner.speed_mean = change(&mut partner.speed_unit)(partner.speed_mean);
        }
    }
    for line in sheet.lines() {
        let figure = change(&mut line.speed_unit);
        line.speed_mean = figure(line.speed_mean);
        line.speed_sd = line.speed_sd.map(&figure);
        line.speed_max = line.speed_max.map(&figure);
    }
}

/// Every figure moved a little, so that no two are the same.
pub(super) fn reworked_copy(original: &Sheet, draw: &mut Draw) -> Sheet {
    let mut sheet = original.clone();
    surround(&mut sheet, draw);
    let harder = draw.whole(-2, 2) as f64;
    for session in &mut sheet.sessions {
        let mains = session.tension.mains;
        session.tension.mains = mains.like(mains.value() + harder);
        session.spin = None;
        session.rallies = None;
    }
    for line in sheet.lines() {
        let moved = |figure: Figure, most: f64, draw: &mut Draw| {
            figure.like(figure.value() + draw.between(-most, most))
        };
        line.hit += draw.whole(-2, 3);
        line.speed_n = line.speed_n.map(|_| line.hit);
        line.speed_mean = moved(line.speed_mean, 1.6, draw);
        line.speed_max = line.speed_max.map(|figure| moved(figure, 4.0, draw));
        line.speed_sd = line.speed_sd.map(|figure| moved(figure, 1.0, draw));
        line.put_in(draw.whole(-2, 2));
        line.put_deep(draw.whole(-2, 2));
        line.mend();
    }
    sheet
}

/// Every session is its expectation.
pub(super) fn no_shot_noise(draw: &mut Draw) -> Sheet {
    let mut outline = Outline::drawn(draw);
    if draw.chance(0.6) {
        let turn = [Arm::Looser, Arm::Tighter, Arm::Tighter, Arm::Looser];
        outline.arms = turn.to_vec();
    }
    let pull = wished(draw);
    // Some let the number of shots vary, some do not think of it.
    let varies = draw.chance(0.6);
    let jitter = pick(draw, 0.0, &[0.1, 0.3]);
    let mut sheet = outline.sheet(draw, |arm, stroke, draw| {
        let hit = stroke.hit + if varies { draw.whole(-6, 6) } else { 0 };
        let half = half_of(arm);
        let mean = stroke.kmh * (1.0 + half * pull.kmh / 100.0) + draw.between(-jitter, jitter);
        let n_in = whole(hit as f64 * (stroke.in_share + half * pull.in_share));
        let deep = |share: f64| whole(n_in as f64 * (share + half * pull.deep_share));
        let tally = Tally {
            hit,
            n_in,
            n_deep: stroke.deep_share.map(deep),
            mean,
            sd: mean * stroke.cv,
            max: mean * (1.0 + 2.3 * stroke.cv),
        };
        outline.recorder.line(stroke, &tally)
    });
    let partner = sheet.sessions.first().and_then(|s| s.partner.clone());
    for session in &mut sheet.sessions {
        session.partner.clone_from(&partner);
    }
    sheet
}

/// The difference that a forger would like to see.
fn wished(draw: &mut Draw) -> Pull {
    Pull {
        kmh: draw.between(1.5, 6.0),
        in_share: draw.between(-0.06, 0.02),
        deep_share: draw.between(0.03, 0.12),
    }
}

/// The figures are right and the unit is not.
pub(super) fn unit_muddle(draw: &mut Draw) -> Sheet {
    let mut outline = Outline::drawn(draw);
    outline.recorder.unit = if draw.chance(0.25) { "km/h" } else { "mph" };
    let sheet = outline.played(draw);
    let one_only = pick(draw, None, &[outline.strokes.last().map(|s| s.stroke)]);
    let muddled = relabelled(&sheet, one_only);
    if admissible(&muddled) {
        return muddled;
    }
    // Speeds in km/h that no form takes as mph: such a player notices, and the usual slip is the
    // other one.
    outline.recorder.unit = "mph";
    relabelled(&outline.played(draw), one_only)
}

/// The other unit over the same figures, everywhere or for one stroke.
fn relabelled(sheet: &Sheet, one_only: Option<&str>) -> Sheet {
    let other = |unit: &str| if unit == "mph" { "km/h" } else { "mph" };
    let mut sheet = sheet.clone();
    for line in sheet.lines() {
        if one_only.is_none_or(|stroke| stroke == line.stroke) {
            line.speed_unit = other(line.speed_unit);
        }
    }
    if one_only.is_none() {
        for session in &mut sheet.sessions {
            if let Some(partner) = &mut session.partner {
                partner.speed_unit = other(partner.speed_unit);
            }
        }
    }
    sheet
}

/// Whether every mean speed is one that the door takes.
fn admissible(sheet: &Sheet) -> bool {
    sheet.clone().lines().all(|line| {
        let stroke = vocabulary::Stroke::from_code(line.stroke);
        let kmh = if line.speed_unit == "mph" {
            line.speed_mean.value() * KMH_PER_MPH
        } else {
            line.speed_mean.value()
        };
        stroke.is_some_and(|stroke| {
            let bounds = speed_bounds(stroke);
            bounds.lowest < kmh && kmh < bounds.highest
        })
    })
}

/// Honest data, helped along.
pub(super) fn enthusiast(draw: &mut Draw) -> Sheet {
    let mut sheet = play::honest(draw);
    let favoured = if draw.chance(0.8) {
        Arm::Looser
    } else {
        Arm::Tighter
    };
    let factor = 1.0 + pick(draw, 5.0, &[5.0, 5.0, 4.0, 6.0]) / 100.0;
    let helps = pick(
        draw,
        Help::Speed,
        &[Help::Speed, Help::SpeedAndMax, Help::SpeedAndDeep],
    );
    let sessions = sheet.sessions.iter_mut();
    for session in sessions.filter(|session| session.arm == favoured) {
        for line in &mut session.shots {
            help(line, helps, factor);
        }
    }
    sheet
}

/// Which figures are helped along.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Help {
    Speed,
    SpeedAndMax,
    SpeedAndDeep,
}

fn help(line: &mut Line, helps: Help, factor: f64) {
    line.speed_mean = line.speed_mean.times(factor);
    if helps == Help::SpeedAndMax {
        line.speed_max = line.speed_max.map(|figure| figure.times(factor));
    }
    if helps == Help::SpeedAndDeep {
        line.times_shares(1.0, factor);
    }
    line.mend();
}

/// Play that never took place, shot by shot.
pub(super) fn careful_forger(draw: &mut Draw) -> Sheet {
    let mut outline = Outline::drawn(draw);
    outline.care = 0.9;
    let pull = wished(draw);
    outline.sheet(draw, |arm, stroke: &Stroke, draw| {
        let tally = stroke.play(arm, pull, draw);
        outline.recorder.line(stroke, &tally)
    })
}
