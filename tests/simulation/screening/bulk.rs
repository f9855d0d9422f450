//! One script that sends hundreds of made-up contributions: which share of them waits for the host,
//! and how far the rest moves what is published.
//!
//! Each kind of script meets a crowd of honest players of its own, half of whom are there before it
//! and half of whom arrive while it sends. Everything goes through the real service.

use super::super::crowd::{LEVEL, Row, effects};
use super::super::draw::Draw;
use super::super::runs::{Failure, Plan};
use super::super::table::{Report, number, signed};
use super::forgers::{ForgeryKind, forged_with_original};
use super::honest::Honest;
use super::naive::Naive;
use super::{is_counted, lines_of, seed};
use serde_json::{Value, json};
use tautpool::demo::STUDY;
use tautpool::demo::crowd::{Settings, more};
use tautpool::pooling::pool;
use tautpool::service::{Accepted, Incoming, Refused, Service};
use tautpool::vocabulary::{Direction, Outcome, ShotClass, State, Stroke};

/// The difference that every script is to make believable, km/h.
const WISHED_KMH: f64 = 6.0;

/// The shots that are pooled.
const CLASS: ShotClass = ShotClass {
    stroke: Stroke::Forehand,
    direction: Direction::All,
};

/// A script.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Script {
    /// Each player's looser session is the tighter one with the wished difference and a little
    /// noise.
    ConstantEffect,
    /// One honest contribution, every figure moved a little each time.
    OneOriginal,
    /// Round figures.
    RoundFigures,
    /// One template, all of its speeds shifted by a further tenth each time.
    ShiftedTemplate,
    /// Every shot of every player simulated, with the wished difference built in.
    Simulated,
}

impl Script {
    pub(crate) const ALL: &'static [Self] = &[
        Self::ConstantEffect,
        Self::OneOriginal,
        Self::RoundFigures,
        Self::ShiftedTemplate,
        Self::Simulated,
    ];

    const fn name(self) -> &'static str {
        match self {
            Self::ConstantEffect => "one difference for everybody, with noise",
            Self::OneOriginal => "one contribution, every figure moved",
            Self::RoundFigures => "round figures",
            Self::ShiftedTemplate => "one template, shifted",
            Self::Simulated => "every shot simulated",
        }
    }
}

/// How many send.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Crowd {
    pub(crate) n_honest: usize,
    pub(crate) n_forged: usize,
}

/// What became of those of one sort.
#[derive(Debug, Clone, Default)]
pub(crate) struct Became {
    pub(crate) n_let_in: usize,
    pub(crate) n_held: usize,
    n_flagged: usize,
    counted: Vec<Row>,
    held: Vec<Row>,
}

impl Became {
    fn add(&mut self, accepted: &Accepted) {
        let is_held = accepted.state == State::Held;
        self.n_let_in += 1;
        self.n_held += usize::from(is_held);
        let mut flags = accepted.flags.iter();
        self.n_flagged += usize::from(flags.any(|flag| is_counted(flag.rule)));
        let effects = accepted.pair.effects.iter();
        let speeds = effects
            .filter(|effect| effect.outcome == Outcome::Speed && effect.class == CLASS)
            .map(|effect| (effect.estimate, effect.variance));
        if is_held {
            self.held.extend(speeds);
        } else {
            self.counted.extend(speeds);
        }
    }

    /// Percent of those let in that are held.
    pub(crate) fn held_percent(&self) -> f64 {
        100.0 * self.n_held as f64 / self.n_let_in as f64
    }
}

/// What one script did to one crowd.
#[derive(Debug, Clone)]
pub(crate) struct Attack {
    pub(crate) honest: Became,
    pub(crate) forged: Became,
    /// How far the estimate of the honest players moved, with screening and without, km/h.
    pub(crate) moved: f64,
    pub(crate) moved_unscreened: f64,
}

/// One script against one crowd.
fn attack(script: Script, crowd: Crowd, draw: &mut Draw) -> Result<Attack, Failure> {
    let service = Service::in_memory()?;
    let study = service.add_study(STUDY.as_bytes(), 0)?;
    service.open_recruiting(&study.label.slug, 0)?;
    let mut settings = Settings::embedded()?;
    settings.seed = seed(draw)?;
    let honest = more(&settings, 0, crowd.n_honest);
    let honest: Vec<String> = honest.into_iter().map(|sent| sent.document).collect();
    let (before, meanwhile) = honest.split_at(crowd.n_honest / 2);
    let mut forger = Forger::new(script, before, draw)?;
    let (mut of_honest, mut of_forged) = (Became::default(), Became::default());
    let send = |became: &mut Became, document: &str| {
        let sent = service.receive(&Incoming {
            study: &study.label.slug,
            document: document.as_bytes(),
            request_key: None,
            receipt: None,
            now_ms: 0,
        });
        match sent {
            Ok(accepted) => became.add(&accepted),
            Err(Refused::Document(_)) => {}
            Err(other) => return Err(Failure::from(other)),
        }
        Ok(())
    };
    for document in before {
        send(&mut of_honest, document)?;
    }
    let forged_for_each = crowd.n_forged / meanwhile.len();
    let mut meanwhile = meanwhile.iter();
    for number in 0..crowd.n_forged {
        send(&mut of_forged, &forger.next(draw)?)?;
        let is_turn = number % forged_for_each == 0;
        if let Some(document) = is_turn.then(|| meanwhile.next()).flatten() {
            send(&mut of_honest, document)?;
        }
    }
    for document in meanwhile {
        send(&mut of_honest, document)?;
    }
    let everybody = [
        &of_honest.counted,
        &of_honest.held,
        &of_forged.counted,
        &of_forged.held,
    ];
    let alone = estimate(&[&of_honest.counted])?;
    Ok(Attack {
        moved: estimate(&[&of_honest.counted, &of_forged.counted])? - alone,
        moved_unscreened: estimate(&everybody.map(Vec::as_slice))? - alone,
        honest: of_honest,
        forged: of_forged,
    })
}

fn estimate(rows: &[&[Row]]) -> Result<f64, Failure> {
    let pooled = pool(&effects(&rows.concat(), None)?, LEVEL);
    let reml = pooled.reml.map_err(|reason| format!("{reason:?}"))?;
    Ok(reml.estimate)
}

/// A script at work.
struct Forger {
    script: Script,
    /// What it starts from; whoever copies, copies the first.
    carriers: Vec<String>,
    n_sent: usize,
}

impl Forger {
    fn new(script: Script, before: &[String], draw: &mut Draw) -> Result<Self, Failure> {
        let carriers = if script == Script::OneOriginal {
            before.to_vec()
        } else {
            let fresh = Honest::Demo.sent(seed(draw)?)?.into_iter();
            let two = fresh.filter(|sent| sent.document.matches("\"arm\"").count() == 2);
            two.map(|sent| sent.document).collect()
        };
        Ok(Self {
            script,
            carriers,
            n_sent: 0,
        })
    }

    fn next(&mut self, draw: &mut Draw) -> Result<String, Failure> {
        self.n_sent += 1;
        let first = self.carriers.first().ok_or("an empty crowd")?;
        let own = &self.carriers[self.n_sent % self.carriers.len()];
        let forged = match self.script {
            Script::Simulated => {
                return Ok(forged_with_original(ForgeryKind::CarefulForger, seed(draw)?).1);
            }
            Script::OneOriginal => Naive::CopyMoved.forge(first, draw)?,
            Script::RoundFigures => Naive::Guessed.forge(own, draw)?,
            Script::ShiftedTemplate => first.clone(),
            Script::ConstantEffect => own.clone(),
        };
        let mut document: Value = serde_json::from_str(&forged)?;
        match self.script {
            Script::ShiftedTemplate => {
                let by = self.n_sent as f64 / 10.0;
                lines_of(&mut document).for_each(|line| faster(line, by));
                wish(&mut document, WISHED_KMH, || 0.0);
            }
            Script::ConstantEffect => {
                one_session_twice(&mut document);
                wish(&mut document, WISHED_KMH, || 0.5 * draw.normal());
            }
            Script::RoundFigures => wish(&mut document, 5.0, || 0.0),
            _ => wish(&mut document, WISHED_KMH, || 0.0),
        }
        Ok(document.to_string())
    }
}

/// Puts the figures of the tighter session under the looser one too.
fn one_session_twice(document: &mut Value) {
    let sessions = document["sessions"].as_array_mut();
    let Some([one, other]) = sessions.map(Vec::as_mut_slice) else {
        return;
    };
    if one["arm"] == "tighter" {
        other["shots"] = one["shots"].clone();
    } else {
        one["shots"] = other["shots"].clone();
    }
}

/// Makes the looser session faster by the wished difference and some noise.
fn wish(document: &mut Value, kmh: f64, mut noise: impl FnMut() -> f64) {
    let sessions = document["sessions"].as_array_mut();
    let looser = sessions
        .into_iter()
        .flatten()
        .filter(|session| session["arm"] == "looser");
    for line in looser.flat_map(|session| session["shots"].as_array_mut().into_iter().flatten()) {
        faster(line, kmh + noise());
    }
}

fn faster(line: &mut Value, kmh: f64) {
    let kmh_per_unit = if line["speed_unit"] == "mph" {
        1.609_344
    } else {
        1.0
    };
    for name in ["speed_mean", "speed_max"] {
        if let Some(speed) = line[name].as_f64() {
            line[name] = json!((10.0 * (speed + kmh / kmh_per_unit)).round() / 10.0);
        }
    }
}

/// What a script did to the crowds of all runs.
pub(crate) fn simulate(
    plan: &Plan,
    cell: u32,
    script: Script,
    crowd: Crowd,
) -> Result<Vec<Attack>, Failure> {
    plan.runs(cell, |draw| attack(script, crowd, draw))
}

/// The whole table: 200 contributions by one script against 100 honest ones.
pub(crate) fn report(plan: &Plan) -> Result<Report, Failure> {
    let crowd = Crowd {
        n_honest: 100,
        n_forged: 200,
    };
    let mut rows = Vec::new();
    for (cell, script) in (950..).zip(Script::ALL) {
        let attacks = simulate(plan, cell, *script, crowd)?;
        let n = attacks.len() as f64;
        let mean = |of: fn(&Attack) -> f64| attacks.iter().map(of).sum::<f64>() / n;
        rows.push(vec![
            script.name().to_owned(),
            number(mean(|attack| attack.forged.n_let_in as f64), 0),
            number(mean(|attack| attack.forged.held_percent()), 1),
            number(
                mean(|attack| {
                    100.0 * attack.forged.n_flagged as f64 / attack.forged.n_let_in as f64
                }),
                1,
            ),
            number(
                mean(|attack| (attack.forged.n_let_in - attack.forged.n_held) as f64),
                0,
            ),
            signed(mean(|attack| attack.moved), 2),
            signed(mean(|attack| attack.moved_unscreened), 2),
            number(mean(|attack| attack.honest.held_percent()), 1),
        ]);
    }
    Ok(Report {
        title: "One script, 200 contributions".to_owned(),
        model: format!(
            "{} runs, seed {}. Against {} honest players, half of whom are there before. Percent of \
             what the door let in; how many made-up ones count, and how far they move the pooled \
             speed (forehand, REML, km/h) from that of the honest players, with screening and \
             without.",
            plan.n_runs, plan.seed, crowd.n_honest
        ),
        columns: vec![
            "script",
            "let in",
            "held (%)",
            "flagged (%)",
            "count",
            "moved",
            "unscreened",
            "honest held (%)",
        ],
        rows,
    })
}
