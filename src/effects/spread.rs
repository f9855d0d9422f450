//! Standard deviations that a contributor could not give.
//!
//! Most measuring devices report a mean without its spread. The missing standard deviation is
//! imputed as a coefficient of variation (CV) times the mean, the CV borrowed on the log scale
//! from the m contributors who report a standard deviation for that shot class and drawn towards
//! all classes by ten pseudo-contributors:
//! `ln CV_class = (m mean_class + 10 mean_all)/(m + 10)`. Before anyone reports one, CV = 0.20 is
//! assumed and says so. Both arms of a pair that lack a standard deviation share one CV.
//!
//! The CV reaches replies and published variances, so it must not give one person's spread away:
//! nothing is borrowed from fewer players than the study's minimum, of all classes or of one, and
//! the CV is rounded to 0.01, which is finer than it is known.
//!
//! By simulation a borrowed CV is within 4 % of the truth whatever the shape of the speeds, while
//! the maximum is biased upwards by 12 to 38 % under mild right skew; so the maximum is not used
//! here.

use super::timed_shots;
use crate::contribution::Contribution;
use crate::vocabulary::{ShotClass, VarianceSource};
use std::collections::{BTreeMap, BTreeSet};

/// The CV taken when nobody has reported a standard deviation: about twice the 9 % of one
/// player's spread in a ball-machine study (Bower & Cross 2005, proxy), since play varies more.
pub const ASSUMED_CV: f64 = 0.20;

/// How many contributors the mean over all classes counts for.
pub const PRIOR_CONTRIBUTORS: f64 = 10.0;

/// What the players who report a standard deviation say about the spread of ball speed.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct CrowdSpread {
    by_class: BTreeMap<ShotClass, LogMean>,
    all: Option<LogMean>,
}

/// Sum of logarithms with their number.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
struct LogMean {
    sum: f64,
    n: f64,
}

/// A coefficient of variation to impute with.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ImputedCv {
    /// The coefficient, a ratio.
    pub value: f64,
    /// Borrowed or assumed.
    pub source: VarianceSource,
}

impl CrowdSpread {
    /// Collects the reported spreads, one value per player and class: the mean of the ln CV of
    /// all that player's sessions. What fewer than `minimum_players` report is left out. Players
    /// are numbered by the caller.
    pub fn of<'a>(
        contributions: impl IntoIterator<Item = (usize, &'a Contribution)>,
        minimum_players: usize,
    ) -> Self {
        let mut sessions: BTreeMap<ShotClass, BTreeMap<usize, LogMean>> = BTreeMap::new();
        for (player, contribution) in contributions {
            for (class, log_cv) in log_cvs(contribution) {
                let players = sessions.entry(class).or_default();
                players.entry(player).or_default().add(log_cv);
            }
        }
        let reporters: BTreeSet<usize> = sessions
            .values()
            .flat_map(BTreeMap::keys)
            .copied()
            .collect();
        if reporters.len() < minimum_players {
            return Self::default();
        }
        let all = sessions
            .values()
            .flat_map(BTreeMap::values)
            .map(LogMean::mean)
            .collect();
        sessions.retain(|_, players| minimum_players <= players.len());
        let of_class =
            |players: BTreeMap<usize, LogMean>| players.values().map(LogMean::mean).collect();
        Self {
            by_class: sessions
                .into_iter()
                .map(|(class, players)| (class, of_class(players)))
                .collect(),
            all: Some(all),
        }
    }

    /// The CV for a shot class.
    #[must_use]
    pub fn cv(&self, class: ShotClass) -> ImputedCv {
        let Some(all) = self.all else {
            return ImputedCv {
                value: ASSUMED_CV,
                source: VarianceSource::AssumedCv,
            };
        };
        let own = self.by_class.get(&class).copied().unwrap_or_default();
        let log_cv = (own.sum + PRIOR_CONTRIBUTORS * all.mean()) / (own.n + PRIOR_CONTRIBUTORS);
        ImputedCv {
            value: (log_cv.exp() * 100.0).round() / 100.0,
            source: VarianceSource::BorrowedCv,
        }
    }
}

impl LogMean {
    fn add(&mut self, value: f64) {
        self.sum += value;
        self.n += 1.0;
    }

    fn mean(&self) -> f64 {
        self.sum / self.n
    }
}

impl FromIterator<f64> for LogMean {
    fn from_iter<I: IntoIterator<Item = f64>>(values: I) -> Self {
        let mut mean = Self::default();
        values.into_iter().for_each(|value| mean.add(value));
        mean
    }
}

/// ln CV of every session and class that reports a standard deviation.
fn log_cvs(contribution: &Contribution) -> impl Iterator<Item = (ShotClass, f64)> {
    let lines = contribution
        .sessions
        .iter()
        .flat_map(|session| &session.lines);
    lines.filter_map(|line| {
        let speed = line.speed.as_ref()?;
        // A spread of fewer than ten shots says little and its logarithm is biased.
        (10 <= timed_shots(line, speed))
            .then(|| Some((line.class, (speed.sd?.kmh() / speed.mean.kmh()).ln())))?
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::contribution::{Session, ShotLine, SpeedSummary};
    use crate::units::{Hundredths, Speed, SpeedUnit, Tension, TensionUnit};
    use crate::vocabulary::{Arm, ConsentScope, Direction, SdDivisor, SpeedOver, Stroke};

    const FOREHAND: ShotClass = ShotClass {
        stroke: Stroke::Forehand,
        direction: Direction::All,
    };
    const SERVE: ShotClass = ShotClass {
        stroke: Stroke::Serve,
        direction: Direction::All,
    };

    /// One session at a mean of 100 km/h.
    fn reports(class: ShotClass, sd: i64) -> Contribution {
        let kmh = |whole: i64| {
            Speed::new(
                Hundredths::from_count(whole * 100),
                SpeedUnit::KilometrePerHour,
            )
        };
        let speed = SpeedSummary {
            mean: kmh(100),
            sd: Some(kmh(sd)),
            sd_divisor: SdDivisor::Unknown,
            n: Some(50),
            over: SpeedOver::All,
        };
        let line = ShotLine {
            class,
            hit: 50,
            landed_in: None,
            deep: None,
            speed: Some(speed),
        };
        let tension = Tension::new(Hundredths::from_count(5000), TensionUnit::Pound);
        Contribution {
            consent_scope: ConsentScope::Pooling,
            consent_text_version: "1".to_owned(),
            plan_code: None,
            sessions: vec![Session {
                arm: Arm::Looser,
                tension,
                lines: vec![line],
            }],
        }
    }

    fn cv(crowd: &CrowdSpread, class: ShotClass) -> (i64, VarianceSource) {
        #[expect(clippy::cast_possible_truncation, reason = "a percentage")]
        let percent = (crowd.cv(class).value * 100.0).round() as i64;
        (percent, crowd.cv(class).source)
    }

    #[test]
    fn nothing_is_borrowed_from_fewer_players_than_the_minimum() {
        let one = reports(FOREHAND, 30);
        // Five contributions, but of four players.
        let crowd = CrowdSpread::of([0, 1, 2, 3, 3].map(|player| (player, &one)), 5);
        assert_eq!(cv(&crowd, FOREHAND), (20, VarianceSource::AssumedCv));
        let crowd = CrowdSpread::of([0, 1, 2, 3, 4].map(|player| (player, &one)), 5);
        assert_eq!(cv(&crowd, FOREHAND), (30, VarianceSource::BorrowedCv));
    }

    #[test]
    fn a_class_is_drawn_towards_all_by_ten_contributors() {
        let (forehand, serve) = (reports(FOREHAND, 10), reports(SERVE, 40));
        let forehands = (0..30).map(|player| (player, &forehand));
        let serves = (30..40).map(|player| (player, &serve));
        let crowd = CrowdSpread::of(forehands.chain(serves), 5);
        // mean_all = (30 ln 0.1 + 10 ln 0.4)/40 = ln 0.14142; serve: (10 ln 0.4 + 10 mean_all)/20
        // = ln 0.23784; forehand: (30 ln 0.1 + 10 mean_all)/40 = ln 0.10905.
        assert_eq!(cv(&crowd, SERVE).0, 24);
        assert_eq!(cv(&crowd, FOREHAND).0, 11);
    }
}
