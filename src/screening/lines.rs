//! The shot lines of a contribution as figures that can be compared.

use crate::contribution::{Contribution, Session, ShotLine};
use crate::effects::{Tally, deep_of_in, in_of_hit, timed_shots};
use crate::units::{Hundredths, Speed, SpeedUnit};
use crate::vocabulary::{Direction, SdDivisor, ShotClass, Stroke};

/// Coefficient of variation of shots where none is given: about the 9 % of a ball-machine study
/// (Bower & Cross 2005, proxy). Small, so that what is taken for alike was so.
const CV_NOT_GIVEN: f64 = 0.09;

/// Every line whose shots are in no other line.
#[derive(Clone, Debug)]
pub(super) struct Lines {
    /// Sessions in the order they were given.
    pub(super) sessions: Vec<Vec<Line>>,
    /// How finely speeds are entered, km/h.
    pub(super) steps: Steps,
}

/// The finest step in which each speed of a contribution is entered, km/h. Trailing zeros are lost,
/// so that one figure alone does not tell.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Steps {
    pub(super) mean: f64,
    pub(super) sd: f64,
    pub(super) max: f64,
}

/// One line.
#[derive(Clone, Debug)]
pub(super) struct Line {
    pub(super) class: ShotClass,
    pub(super) hit: i64,
    /// Shots in of those hit.
    pub(super) landed_in: Option<Tally>,
    /// Deep shots of those in.
    pub(super) deep: Option<Tally>,
    pub(super) speeds: Option<Speeds>,
    /// As it was entered.
    pub(super) entered: ShotLine,
}

/// Speeds of one line, km/h.
#[derive(Clone, Copy, Debug)]
pub(super) struct Speeds {
    /// Timed shots.
    pub(super) n: f64,
    pub(super) mean: f64,
    /// With divisor n - 1 where the divisor is known.
    pub(super) sd: Option<f64>,
    pub(super) max: Option<f64>,
}

impl Speeds {
    fn of(line: &ShotLine) -> Option<Self> {
        let speed = line.speed.as_ref()?;
        let n = number(timed_shots(line, speed));
        let widened = match speed.sd_divisor {
            SdDivisor::N if 1.0 < n => (n / (n - 1.0)).sqrt(),
            _ => 1.0,
        };
        Some(Self {
            n,
            mean: speed.mean.kmh(),
            sd: speed.sd.map(|sd| sd.kmh() * widened),
            max: speed.max.map(Speed::kmh),
        })
    }

    /// How far the fastest shot is above the mean.
    pub(super) fn reach(&self) -> Option<f64> {
        Some(self.max? - self.mean)
    }

    /// The standard deviation, or a small one.
    pub(super) fn sd_or_small(&self) -> f64 {
        self.sd.unwrap_or(CV_NOT_GIVEN * self.mean)
    }
}

impl Lines {
    pub(super) fn of(contribution: &Contribution) -> Self {
        let sessions = contribution.sessions.iter();
        Self {
            sessions: sessions.map(own_lines).collect(),
            steps: Steps::of(contribution),
        }
    }

    /// Every line of every session.
    pub(super) fn all(&self) -> impl Iterator<Item = &Line> {
        self.sessions.iter().flatten()
    }

    /// Every class, sorted.
    pub(super) fn classes(&self) -> Vec<ShotClass> {
        let mut classes: Vec<ShotClass> = self.all().map(|line| line.class).collect();
        classes.sort_unstable();
        classes.dedup();
        classes
    }

    /// The lines of a class in the order of the sessions.
    pub(super) fn of_class(&self, class: ShotClass) -> impl Iterator<Item = &Line> {
        self.all().filter(move |line| line.class == class)
    }
}

/// The lines of a session that are no part of another one: all strokes together only where no
/// single stroke is given, and a direction only where its stroke is not given as a whole.
fn own_lines(session: &Session) -> Vec<Line> {
    let has = |is: &dyn Fn(ShotClass) -> bool| session.lines.iter().any(|line| is(line.class));
    let strokes_apart = has(&|class| class.stroke != Stroke::All);
    let is_own = |class: ShotClass| {
        let whole = has(&|other| other == ShotClass::of(class.stroke));
        (class.stroke != Stroke::All || !strokes_apart)
            && (class.direction == Direction::All || !whole)
    };
    let lines = session.lines.iter().filter(|line| is_own(line.class));
    lines
        .map(|line| Line {
            class: line.class,
            hit: line.hit,
            landed_in: in_of_hit(line),
            deep: deep_of_in(line),
            speeds: Speeds::of(line),
            entered: line.clone(),
        })
        .collect()
}

impl Steps {
    fn of(contribution: &Contribution) -> Self {
        let lines = contribution
            .sessions
            .iter()
            .flat_map(|session| &session.lines);
        let speeds: Vec<_> = lines.filter_map(|line| line.speed).collect();
        let finest = |speeds: &mut dyn Iterator<Item = Speed>| {
            let steps = speeds.map(step_kmh);
            steps.fold(0.0, |finest: f64, step| {
                if finest <= 0.0 || step < finest {
                    step
                } else {
                    finest
                }
            })
        };
        Self {
            mean: finest(&mut speeds.iter().map(|speed| speed.mean)),
            sd: finest(&mut speeds.iter().filter_map(|speed| speed.sd)),
            max: finest(&mut speeds.iter().filter_map(|speed| speed.max)),
        }
    }
}

/// The step of the last decimal that is entered, km/h.
fn step_kmh(speed: Speed) -> f64 {
    let (entered, unit) = speed.as_entered();
    let hundredths = last_decimal(entered);
    Speed::new(Hundredths::from_count(hundredths), unit).kmh()
}

/// The last decimal of a number as entered, in hundredths.
const fn last_decimal(entered: Hundredths) -> i64 {
    if entered.count() % 100 == 0 {
        100
    } else if entered.count() % 10 == 0 {
        10
    } else {
        1
    }
}

/// How a speed reads, with its unit, so that the same figure reads the same.
pub(super) fn reading(speed: Speed) -> String {
    let (entered, unit): (Hundredths, SpeedUnit) = speed.as_entered();
    format!("{} {}", entered.count(), unit.code())
}

#[expect(clippy::cast_precision_loss, reason = "counts of shots, below 2^53")]
pub(super) const fn number(count: i64) -> f64 {
    count as f64
}
