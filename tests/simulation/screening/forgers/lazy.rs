//! Forgers who type, copy or let a program fill in.

use super::Draw;
use super::around;
use super::hand::{Figure, any, odd_count, odd_looking, pick, to_step, whole};
use super::play::{KMH_PER_MPH, Outline, Recorder, Shares, Stroke, Tally, half_of};
use super::sheet::{Line, Session, Sheet, Tension};
use tautpool::protocol::limits::speed_bounds;
use tautpool::vocabulary::{self, Arm};

/// The first session stands for all; one line of the last one is nudged.
pub(super) fn copied_session(draw: &mut Draw) -> Sheet {
    let outline = Outline::lazy(draw);
    let mut sheet = outline.played(draw);
    let Some(played) = sheet.sessions.first().cloned() else {
        return sheet;
    };
    for session in sheet.sessions.iter_mut().skip(1) {
        session.clone_from(&Session {
            arm: session.arm,
            tension: session.tension.clone(),
            order: session.order,
            ..played.clone()
        });
    }
    let is_believer = draw.chance(0.75);
    if let Some(copy) = sheet.sessions.last_mut() {
        let up = is_believer == (copy.arm == Arm::Looser);
        if let Some(line) = any(draw, &mut copy.shots) {
            nudge(line, if up { 1 } else { -1 }, draw);
        }
    }
    sheet
}

/// Moves the mean speed, the shots deep or the shots in, whatever comes to mind first.
fn nudge(line: &mut Line, sign: i64, draw: &mut Draw) {
    let has_deep = line.deep.is_some() || line.deep_percent.is_some();
    match draw.whole(0, 3) {
        0 if has_deep => line.put_deep(sign * draw.whole(1, 5)),
        1 => line.put_in(-sign * draw.whole(1, 3)),
        _ => {
            let by = sign as f64 * draw.between(1.0, 5.0);
            line.speed_mean = line.speed_mean.like(line.speed_mean.value() + by);
        }
    }
    line.mend();
}

/// Fives and tens in whatever unit is on the form.
pub(super) fn round_numbers(draw: &mut Draw) -> Sheet {
    let mut outline = Outline::lazy(draw);
    let usual_hit = pick(draw, 50, &[20, 30, 40, 50, 60, 100]);
    for stroke in &mut outline.strokes {
        stroke.hit = usual_hit;
    }
    let faster = pick(draw, 5, &[5, 10]);
    let is_hit_alike = draw.chance(0.6);
    let deeper = pick(draw, 10, &[5, 10, 20]);
    let wilder = pick(draw, 0, &[5, 10]);
    let sd = pick(draw, 10, &[5, 15, 20]);
    let ahead = pick(draw, 20, &[15, 25, 30, 40]);
    let recorder = outline.recorder.clone();
    let mut sheet = outline.sheet(draw, |arm, stroke, draw| {
        let is_looser = i64::from(arm == Arm::Looser);
        let hit = if is_hit_alike {
            stroke.hit
        } else {
            stroke.hit + pick(draw, 0, &[10, 20])
        };
        let slower = to_step(stroke.kmh / recorder.kmh_per_unit(), 5);
        // Ten on top of a slow shot looks odd even to somebody who makes it up.
        let mean = slower + is_looser * if slower < 50 { 5 } else { faster };
        let in_percent = to_step(100.0 * stroke.in_share, 5) - is_looser * wilder;
        let deep_percent = stroke
            .deep_share
            .map(|share| to_step(100.0 * share, 5) + is_looser * deeper);
        typed(
            &recorder,
            stroke,
            hit,
            &Typed {
                mean: Figure::new(mean as f64, 0),
                sd: Figure::new(f64::from(sd), 0),
                max: Figure::new((mean + ahead) as f64, 0),
                in_percent: Figure::new(in_percent as f64, 0),
                deep_percent: deep_percent.map(|percent| Figure::new(percent as f64, 0)),
            },
            5,
        )
    });
    let minutes = pick(draw, 30, &[45, 60]);
    for session in &mut sheet.sessions {
        session.minutes = session.minutes.map(|_| minutes);
        if let Some(partner) = &mut session.partner {
            partner.speed_mean = Figure::new(to_step(partner.speed_mean.value(), 10) as f64, 0);
        }
        if let Some(rallies) = &mut session.rallies {
            rallies.played = pick(draw, 20, &[10, 30]);
            rallies.above_length = pick(draw, 10, &[5]);
        }
        // Nobody counts spin in tens by heart.
        session.spin = None;
    }
    sheet
}

/// What somebody has in mind for one line, speeds in the unit of the form.
struct Typed {
    mean: Figure,
    sd: Figure,
    max: Figure,
    in_percent: Figure,
    /// Of the shots in.
    deep_percent: Option<Figure>,
}

/// Writes imagined figures into the fields that this player would fill; counts are rounded to
/// whole steps of `step`.
fn typed(recorder: &Recorder, stroke: &Stroke, hit: i64, typed: &Typed, step: i64) -> Line {
    let part = |percent: Figure, of: i64| to_step(percent.value() * of as f64 / 100.0, step);
    let mut line = recorder.line(
        stroke,
        &Tally {
            hit,
            n_in: part(typed.in_percent, hit),
            n_deep: None,
            mean: stroke.kmh,
            sd: 0.0,
            max: stroke.kmh,
        },
    );
    line.speed_mean = typed.mean;
    line.speed_sd = line.speed_sd.map(|_| typed.sd);
    line.speed_max = line.speed_max.map(|_| typed.max);
    match recorder.shares {
        Shares::Counts => {
            let n_in = line.n_in.unwrap_or(hit);
            line.deep = typed.deep_percent.map(|percent| part(percent, n_in));
        }
        Shares::Percent(_, of) => {
            line.in_percent = Some(typed.in_percent);
            line.deep_percent = typed.deep_percent;
            line.deep_percent_of = typed.deep_percent.map(|_| of);
        }
    }
    line.mend();
    line
}

/// Figures that look measured because their last digit is odd.
pub(super) fn gut_feeling(draw: &mut Draw) -> Sheet {
    let outline = Outline::lazy(draw);
    imagined(&outline, 1.0, draw)
}

/// Speeds of the television in the hands of a beginner.
pub(super) fn fantasy_speeds(draw: &mut Draw) -> Sheet {
    let mut outline = Outline::lazy(draw);
    outline.itn = draw.whole(8, 10);
    let forehand = draw.between(112.0, 148.0);
    let safety = draw.between(0.82, 0.95);
    let depth = draw.between(0.5, 0.75);
    for stroke in &mut outline.strokes {
        stroke.kmh = match stroke.stroke {
            "serve" => draw.between(168.0, 205.0),
            "backhand" => forehand * draw.between(0.9, 1.0),
            "volley" => draw.between(80.0, 115.0),
            _ => forehand,
        };
        stroke.in_share = safety;
        stroke.deep_share = stroke.deep_share.map(|_| depth);
    }
    let mut sheet = imagined(&outline, draw.between(0.3, 1.0), draw);
    sheet.player = Some(outline.about(draw));
    sheet
}

/// A contribution that was only imagined, with differences as hoped for, `hope` times the usual.
fn imagined(outline: &Outline, hope: f64, draw: &mut Draw) -> Sheet {
    let recorder = &outline.recorder;
    let faster = hope * draw.between(0.01, 0.07);
    let deeper = hope * draw.between(3.0, 13.0);
    let wilder = hope * draw.between(-4.0, 5.0);
    let sd = draw.between(0.05, 0.13);
    let ahead = draw.between(1.12, 1.4);
    outline.sheet(draw, |arm, stroke, draw| {
        let half = half_of(arm);
        let own = stroke.kmh / recorder.kmh_per_unit();
        let mean = own * (1.0 + half * faster) + draw.between(-0.6, 0.6);
        let in_percent = 100.0 * stroke.in_share - half * wilder + draw.between(-1.5, 1.5);
        let deep = stroke.deep_share.map(|share| {
            let percent = 100.0 * share + half * deeper + draw.between(-1.5, 1.5);
            Figure::new(percent, decimals_of(recorder.shares))
        });
        let figures = Typed {
            mean: odd_looking(mean, draw),
            sd: odd_looking(own * sd * draw.between(0.85, 1.2), draw),
            max: odd_looking(mean * ahead * draw.between(0.97, 1.03), draw),
            in_percent: Figure::new(in_percent, decimals_of(recorder.shares)),
            deep_percent: deep,
        };
        let hit = odd_count(stroke.hit as f64 + draw.between(-9.0, 9.0), draw);
        typed(recorder, stroke, hit, &figures, 1)
    })
}

const fn decimals_of(shares: Shares) -> i32 {
    match shares {
        Shares::Counts => 0,
        Shares::Percent(decimals, _) => decimals,
    }
}

/// The looser session is the tighter one times the same.
pub(super) fn same_improvement(draw: &mut Draw) -> Sheet {
    let mut outline = Outline::lazy(draw);
    // One line has nothing to be alike with.
    while outline.strokes.len() < 2 {
        outline = Outline::lazy(draw);
    }
    let mut sheet = outline.played(draw);
    let more = pick(draw, 5.0, &[3.0, 4.0, 6.0, 7.5, 8.0, 10.0]) / 100.0;
    let has_spread_too = draw.chance(0.4);
    // Some type what the calculator shows, some what the device would.
    let is_as_shown = draw.chance(0.5);
    let in_by = 1.0 + pick(draw, 0.0, &[more, -more]);
    let deep_by = 1.0 + pick(draw, more, &[2.0 * more, 3.0 * more]);
    let of = |arm: Arm| move |session: &&mut Session| session.arm == arm;
    let tighter = sheet.sessions.iter_mut().find(of(Arm::Tighter));
    let played = tighter.map(|session| session.shots.clone());
    let looser = sheet.sessions.iter_mut().find(of(Arm::Looser));
    if let (Some(mut lines), Some(looser)) = (played, looser) {
        for line in &mut lines {
            let spread = line.speed_sd.as_mut().filter(|_| has_spread_too);
            let others = line.speed_max.iter_mut().chain(spread);
            for figure in others.chain([&mut line.speed_mean]) {
                let value = figure.value() * (1.0 + more);
                *figure = if is_as_shown {
                    figure.like(value)
                } else {
                    Figure::new(value, 1)
                };
            }
            line.times_shares(in_by, deep_by);
            line.mend();
        }
        looser.shots = lines;
    }
    sheet
}

/// Speeds from a device, shares from memory.
pub(super) fn gut_percentages(draw: &mut Draw) -> Sheet {
    let mut outline = Outline::drawn(draw);
    let of = pick(draw, "in", &["in", "hit"]);
    outline.recorder.shares = Shares::Percent(0, of);
    let decimals = pick(draw, 0, &[1, 1, 2]);
    let deeper = draw.between(-2.0, 14.0);
    let wilder = draw.between(-3.0, 6.0);
    let mut sheet = outline.played(draw);
    for session in &mut sheet.sessions {
        let half = half_of(session.arm);
        for line in &mut session.shots {
            let in_percent = draw.between(62.0, 84.0) - half * wilder;
            line.in_percent = Some(Figure::new(in_percent, decimals));
            let deep_percent = draw.between(24.0, 46.0) + half * deeper;
            line.deep_percent = line
                .deep_percent
                .map(|_| Figure::new(deep_percent, decimals));
            line.mend();
        }
    }
    sheet
}

/// Random words and figures; the bot keeps what the error messages taught it.
pub(super) fn random_bot(draw: &mut Draw) -> Sheet {
    let looser = draw.between(15.0, 90.0);
    let tighter = looser + draw.between(0.1, 100.0 - looser);
    let unit = pick(draw, "km/h", &["mph"]);
    let mut classes = Vec::new();
    for &stroke in vocabulary::Stroke::ALL {
        for &direction in vocabulary::Direction::ALL {
            if classes.is_empty() || draw.chance(0.2) {
                let bounds = speed_bounds(stroke);
                // Away from the bounds, so that no session of the class falls out of them.
                let kmh = draw.between(1.2 * bounds.lowest, 0.85 * bounds.highest);
                classes.push((stroke.code(), direction.code(), kmh));
            }
        }
    }
    let n_sessions = draw.whole(2, 8);
    let mut sessions = Vec::new();
    for order in 1..=n_sessions {
        let (arm, pounds) = match order {
            1 => (Arm::Looser, looser),
            2 => (Arm::Tighter, tighter),
            _ => pick(draw, (Arm::Looser, looser), &[(Arm::Tighter, tighter)]),
        };
        let shots = classes
            .iter()
            .map(|&(stroke, direction, kmh)| random_line((stroke, direction), kmh, unit, draw))
            .collect();
        sessions.push(Session {
            arm,
            tension: Tension {
                mains: Figure::new(pounds, 2),
                unit: "lb",
            },
            order: Some(order),
            minutes: Some(draw.whole(0, 600)),
            warm_up_minutes: Some(draw.whole(0, 600)),
            knew_tension: Some(pick(draw, "yes", &["no", "unknown"])),
            partner: None,
            spin: None,
            rallies: None,
            shots,
        });
    }
    let mut sheet = Sheet::new(sessions);
    let outline = Outline::drawn(draw);
    sheet.player = draw.chance(0.8).then(|| outline.about(draw));
    sheet.setup = draw.chance(0.5).then(|| around::setup(draw));
    sheet.device = draw.chance(0.5).then(|| around::device(draw));
    sheet.court = draw.chance(0.5).then(|| around::court(draw));
    sheet
}

fn random_line(
    (stroke, direction): (&'static str, &'static str),
    kmh: f64,
    unit: &'static str,
    draw: &mut Draw,
) -> Line {
    let kmh_per_unit = if unit == "mph" { KMH_PER_MPH } else { 1.0 };
    let mean = kmh * draw.between(0.9, 1.15) / kmh_per_unit;
    // Uniform on a log scale from 1 to 10,000, because a bot that draws orders of magnitude
    // makes small and large sessions.
    let hit = whole(10_f64.powf(draw.between(0.0, 4.0)));
    let n_in = draw.whole(0, hit);
    let has_deep = stroke != "serve" || draw.chance(0.5);
    let mut line = Line {
        stroke,
        direction,
        hit,
        n_in: Some(n_in),
        in_percent: None,
        deep: has_deep.then(|| draw.whole(0, n_in)),
        deep_percent: None,
        deep_percent_of: None,
        speed_mean: Figure::new(mean, 2),
        speed_unit: unit,
        speed_sd: draw
            .chance(0.8)
            .then(|| Figure::new(mean * draw.between(0.02, 0.98), 2)),
        sd_divisor: None,
        speed_max: draw
            .chance(0.8)
            .then(|| Figure::new(draw.between(mean, 300.0), 2)),
        speed_n: draw.chance(0.8).then(|| draw.whole(1, hit)),
        speed_over: Some("unknown"),
    };
    line.mend();
    line
}
