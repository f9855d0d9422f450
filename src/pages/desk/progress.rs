//! How far a study has come, in a picture and in tables. No estimate is handed over, so none can be
//! shown.

use crate::findings::labels::{band_label, class_label, outcome_label, unit_words};
use crate::findings::progress::{Progress, Watched, Width};
use crate::numbers;
use crate::plots::parts::{Heading, Layout};
use crate::plots::progress as plot;
use crate::protocol::{GapBands, Study};

/// Everything that is shown of it.
#[derive(Debug)]
pub struct ProgressView<'a> {
    /// The bands that figures are made by.
    pub bands: &'a GapBands,
    /// The day of the batch that figures are of; `None` before the first.
    pub batch: Option<&'a str>,
    /// Each primary outcome in each band.
    pub progress: Vec<Progress>,
    /// Who came when.
    pub arrivals: Arrivals,
}

/// When players first sent something.
#[derive(Debug, Default)]
pub struct Arrivals {
    /// The day that weeks are counted from.
    pub since: String,
    /// Days since then, ascending, one for each player.
    pub days: Vec<i64>,
}

/// What the page shows.
pub(super) struct Shown {
    pub(super) wide: String,
    pub(super) narrow: String,
    pub(super) batch: Option<String>,
    pub(super) outcomes: Vec<Outcome>,
    pub(super) since: String,
    pub(super) weeks: Vec<Week>,
    pub(super) players: String,
}

/// One primary outcome.
pub(super) struct Outcome {
    pub(super) label: String,
    pub(super) wanted: Option<String>,
    pub(super) lines: Vec<Line>,
}

/// One gap band.
pub(super) struct Line {
    pub(super) band: String,
    pub(super) players: String,
    pub(super) half_width: String,
    pub(super) further: String,
}

/// One week with who came in it.
pub(super) struct Week {
    pub(super) number: i64,
    pub(super) new: usize,
    pub(super) all: usize,
}

/// Most weeks that are listed one by one; the last ones.
const MOST_WEEKS: usize = 52;

impl ProgressView<'_> {
    pub(super) fn shown(&self, study: &Study) -> Shown {
        let picture = self.picture(study);
        Shown {
            wide: plot::progress(&picture, Layout::Wide),
            narrow: plot::progress(&picture, Layout::Narrow),
            batch: self.batch.map(str::to_owned),
            outcomes: self.outcomes(),
            since: self.arrivals.since.clone(),
            weeks: weeks(&self.arrivals.days),
            players: counted(self.arrivals.days.len()),
        }
    }

    fn outcomes(&self) -> Vec<Outcome> {
        let mut outcomes: Vec<Outcome> = Vec::new();
        for progress in &self.progress {
            let label = label(progress);
            let line = self.line(progress);
            match outcomes.iter_mut().find(|outcome| outcome.label == label) {
                Some(outcome) => outcome.lines.push(line),
                None => outcomes.push(Outcome {
                    label,
                    wanted: progress
                        .about
                        .smallest_worthwhile
                        .map(|size| width(size.to_f64(), progress, WIDTH_DECIMALS)),
                    lines: vec![line],
                }),
            }
        }
        outcomes
    }

    fn line(&self, progress: &Progress) -> Line {
        let band = band_label(progress.band, self.bands);
        match &progress.watched {
            Err(withheld) => Line {
                band,
                players: format!("fewer than {}", withheld.minimum_players),
                half_width: "not yet".to_owned(),
                further: "not known yet".to_owned(),
            },
            Ok(watched) => Line {
                band,
                players: watched.players.to_string(),
                half_width: match watched.half_width {
                    Ok(half_width) => {
                        let wanted = progress.about.smallest_worthwhile;
                        let decimals = wanted
                            .map_or(WIDTH_DECIMALS, |wanted| apart(half_width, wanted.to_f64()));
                        width(half_width, progress, decimals)
                    }
                    Err(reason) => reason.to_string(),
                },
                further: further(watched),
            },
        }
    }

    fn picture(&self, study: &Study) -> plot::Progress {
        plot::Progress {
            heading: Heading {
                id: "progress".to_owned(),
                title: "How precise the study is, and who came when".to_owned(),
                notice: study
                    .label
                    .invented
                    .then(|| crate::pages::INVENTED.to_owned()),
                description: "Half the width of each interval against the number of players. It does not tell which way the study points.".to_owned(),
            },
            precision: self
                .progress
                .iter()
                .map(|progress| self.panel(progress))
                .collect(),
            arrivals: self.steps(),
        }
    }

    fn panel(&self, progress: &Progress) -> plot::Precision {
        let band = band_label(progress.band, self.bands);
        let watched = progress.watched.as_ref();
        let widths = |widths: &[Width]| widths.iter().map(half_width).collect();
        plot::Precision {
            label: format!("{}, {band}", label(progress)),
            unit: unit_words(progress.about.outcome).to_owned(),
            reached: watched.map_or_else(|_| Vec::new(), |watched| widths(&watched.reached)),
            expected: watched.map_or_else(|_| Vec::new(), |watched| widths(&watched.expected)),
            target: progress.about.smallest_worthwhile.map(|size| size.to_f64()),
            said: watched.map_or_else(
                |_| String::new(),
                |watched| match watched.further {
                    Some(Ok(0)) => "As precise as wanted".to_owned(),
                    Some(Ok(n)) => format!("About {} more", counted(n)),
                    Some(Err(_)) | None => String::new(),
                },
            ),
            withheld: watched
                .err()
                .map(|withheld| format!("Fewer than {} players so far.", withheld.minimum_players)),
        }
    }

    /// Contributors from each day on, that of opening with the first step; none before there are
    /// two days, since one has no course.
    fn steps(&self) -> Option<plot::Arrivals> {
        let days = &self.arrivals.days;
        let mut steps: Vec<plot::Arrived> = Vec::new();
        for (contributors, day) in (1..).zip(days) {
            let day = to_f64(*day);
            match steps.last_mut() {
                Some(last) if last.day.total_cmp(&day).is_eq() => last.contributors = contributors,
                _ => steps.push(plot::Arrived { day, contributors }),
            }
        }
        (1 < steps.len()).then(|| plot::Arrivals {
            label: "Contributors over time".to_owned(),
            days: steps,
            since: format!("days since recruiting opened on {}", self.arrivals.since),
        })
    }
}

fn label(progress: &Progress) -> String {
    format!(
        "{}, {}",
        outcome_label(progress.about.outcome),
        class_label(progress.about.class)
    )
}

#[expect(clippy::cast_precision_loss, reason = "players and days are few")]
fn half_width(width: &Width) -> plot::HalfWidth {
    plot::HalfWidth {
        players: width.players as f64,
        half_width: width.half_width,
    }
}

#[expect(clippy::cast_precision_loss, reason = "days of a study")]
const fn to_f64(days: i64) -> f64 {
    days as f64
}

/// Decimals of half a width, and the most where it would else read like the one that is wanted.
const WIDTH_DECIMALS: usize = 1;
const MOST_WIDTH_DECIMALS: usize = 3;

/// Decimals that tell half a width from the one that is wanted, so that what is reached does not
/// look like what is not.
fn apart(half_width: f64, wanted: f64) -> usize {
    let differs = |decimals: &usize| {
        numbers::fixed(half_width, *decimals) != numbers::fixed(wanted, *decimals)
    };
    (WIDTH_DECIMALS..=MOST_WIDTH_DECIMALS)
        .find(differs)
        .unwrap_or(WIDTH_DECIMALS)
}

/// Half a width with its unit: `± 1.8 km/h`.
fn width(half_width: f64, progress: &Progress, decimals: usize) -> String {
    format!(
        "±\u{A0}{}\u{A0}{}",
        numbers::fixed(half_width, decimals),
        unit_words(progress.about.outcome)
    )
}

fn further(watched: &Watched) -> String {
    match watched.further {
        None => "no smallest worthwhile difference is named".to_owned(),
        Some(Ok(0)) => "none".to_owned(),
        Some(Ok(n)) => format!("about {n}"),
        Some(Err(reason)) => reason.to_string(),
    }
}

fn counted(players: usize) -> String {
    numbers::counted(
        u64::try_from(players).unwrap_or(u64::MAX),
        "player",
        "players",
    )
}

/// Who came in which week since the beginning, from the first week to the last with somebody in it.
fn weeks(days: &[i64]) -> Vec<Week> {
    let week_of = |day: &i64| day.div_euclid(7) + 1;
    let Some(last) = days.last().map(week_of) else {
        return Vec::new();
    };
    let first = days.first().map_or(1, week_of);
    let most = i64::try_from(MOST_WEEKS).unwrap_or(i64::MAX);
    let weeks = first.max(last.saturating_sub(most - 1))..=last;
    weeks
        .map(|number| Week {
            number,
            new: days.iter().filter(|day| week_of(day) == number).count(),
            all: days.iter().filter(|day| week_of(day) <= number).count(),
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_width_that_is_not_the_wanted_one_does_not_read_like_it() {
        assert_eq!(apart(1.8, 1.0), 1);
        assert_eq!(apart(1.04, 1.0), 2);
        assert_eq!(apart(0.998, 1.0), 3);
        assert_eq!(apart(1.0, 1.0), 1);
    }

    #[test]
    fn weeks_are_counted_from_one_and_empty_ones_are_listed() {
        let weeks = weeks(&[0, 6, 7, 22]);
        let told: Vec<(i64, usize, usize)> = weeks
            .iter()
            .map(|week| (week.number, week.new, week.all))
            .collect();
        assert_eq!(told, [(1, 2, 2), (2, 1, 3), (3, 0, 3), (4, 1, 4)]);
        assert!(super::weeks(&[]).is_empty());
        assert_eq!(super::weeks(&[0, 7 * 100]).len(), MOST_WEEKS);
    }
}
