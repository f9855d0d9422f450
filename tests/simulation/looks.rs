//! Does the any-time interval hold at every look while the crowd grows?

use super::crowd::{Crowd, LEVEL, Row, Shape, TRUTH, effects};
use super::runs::{Failure, Plan};
use super::table::Report;
use super::tally::{Mean, Share, Target, holds};
use std::ops::RangeInclusive;
use tautpool::findings::ANY_TIME_MINIMUM_PLAYERS;
use tautpool::pooling::sequence::any_time_multiplier;
use tautpool::pooling::{Estimable, Interval, pool};

/// How often the any-time interval may ever miss.
pub(crate) const EVER_MISSED: Target = Target::AtMost(5.0);

/// Players at the last look.
const LAST: usize = 500;

/// What one look at one effect a player shows.
#[derive(Debug)]
pub(crate) struct Look {
    /// The REML estimate.
    pub(crate) estimate: Estimable<f64>,
    /// The any-time interval.
    pub(crate) any_time: Estimable<Interval>,
    /// The safeguarded Hartung-Knapp interval.
    pub(crate) ordinary: Estimable<Interval>,
}

/// What one growing crowd saw. An interval that is not estimable misses nothing.
#[derive(Debug, Clone, Copy)]
struct Run {
    any_time_ever: bool,
    any_time_last: bool,
    ordinary_ever: bool,
    ordinary_last: bool,
    n_without: usize,
    estimate: Estimable<f64>,
}

/// What was found in a cell.
#[derive(Debug)]
pub(crate) struct Figures {
    /// Runs in which the any-time interval missed at some look.
    pub(crate) any_time_ever: Share,
    /// Runs in which it missed at the last look.
    pub(crate) any_time_last: Share,
    /// Runs in which the safeguarded interval missed at some look.
    pub(crate) ordinary_ever: Share,
    /// Runs in which it missed at the last look.
    pub(crate) ordinary_last: Share,
    /// Bias of the estimate at the last look.
    pub(crate) bias: Mean,
    /// Looks, over all runs, at which one of the two was not estimable.
    pub(crate) n_without: usize,
}

/// Looks at rows as the program does, but pools once where it pools twice: this part's time is
/// all pooling.
pub(crate) fn look(rows: &[Row]) -> Result<Look, Failure> {
    let reml = pool(&effects(rows, None)?, LEVEL).reml;
    let estimate = reml.as_ref().map(|model| model.estimate).map_err(|r| *r);
    let safe = reml.and_then(|model| model.hartung_knapp_safe);
    let any_time = || {
        let (estimate, half) = (
            estimate?,
            any_time_multiplier(rows.len(), LEVEL)? * safe?.se,
        );
        Ok(Interval {
            low: estimate - half,
            high: estimate + half,
        })
    };
    Ok(Look {
        estimate,
        any_time: any_time(),
        ordinary: safe.map(|interval| interval.interval()),
    })
}

/// Simulates one cell: a look after every player in `looks`.
pub(crate) fn simulate(
    crowd: Crowd,
    looks: RangeInclusive<usize>,
    cell: u32,
    plan: &Plan,
) -> Result<Figures, Failure> {
    let runs = plan.runs(cell, |draw| {
        let mut rows = crowd.rows(looks.start() - 1, draw);
        let mut run: Option<Run> = None;
        for _ in looks.clone() {
            rows.push(crowd.row(draw));
            let look = look(&rows)?;
            let any_time_last = holds(look.any_time, TRUTH) == Ok(false);
            let ordinary_last = holds(look.ordinary, TRUTH) == Ok(false);
            let is_without = look.any_time.is_err() || look.ordinary.is_err();
            run = Some(Run {
                any_time_ever: any_time_last || run.is_some_and(|run| run.any_time_ever),
                any_time_last,
                ordinary_ever: ordinary_last || run.is_some_and(|run| run.ordinary_ever),
                ordinary_last,
                n_without: run.map_or(0, |run| run.n_without) + usize::from(is_without),
                estimate: look.estimate,
            });
        }
        run.ok_or_else(|| Failure::from("no look"))
    })?;
    let share =
        |missed: fn(&Run) -> bool| runs.iter().map(|run| Estimable::Ok(missed(run))).collect();
    Ok(Figures {
        any_time_ever: share(|run| run.any_time_ever),
        any_time_last: share(|run| run.any_time_last),
        ordinary_ever: share(|run| run.ordinary_ever),
        ordinary_last: share(|run| run.ordinary_last),
        bias: Mean::error(runs.iter().map(|run| run.estimate), TRUTH),
        n_without: runs.iter().map(|run| run.n_without).sum(),
    })
}

/// The whole table.
pub(crate) fn report(plan: &Plan) -> Result<Report, Failure> {
    let settings = [
        (Shape::Normal, 0),
        (Shape::Normal, 50),
        (Shape::Normal, 90),
        (Shape::Exponential, 50),
        (Shape::Exponential, 90),
        (Shape::Lognormal, 90),
    ];
    let mut rows = Vec::new();
    for (cell, (shape, i_squared)) in (400..).zip(settings) {
        let crowd = Crowd::new(shape, i_squared);
        let figures = simulate(crowd, ANY_TIME_MINIMUM_PLAYERS..=LAST, cell, plan)?;
        let target = matches!(shape, Shape::Normal).then_some(EVER_MISSED);
        rows.push(vec![
            shape.name().to_owned(),
            i_squared.to_string(),
            figures.any_time_ever.cell(target),
            figures.ordinary_ever.cell(None),
            figures.any_time_last.cell(None),
            figures.ordinary_last.cell(None),
            figures.bias.cell(),
            figures.n_without.to_string(),
        ]);
    }
    Ok(Report {
        title: "Looking every day".to_owned(),
        model: format!(
            "Share of runs in percent in which an interval misses the mean true effect at any of \
             the looks after the {ANY_TIME_MINIMUM_PLAYERS}th to the {LAST}th player, and at the \
             last one; {} runs a row, seed {}. Effects as for the mean, one a player. Target for \
             normal true effects, widened by three Monte Carlo standard errors: the any-time \
             interval ever misses in at most 5. Skewness is 2 for the exponential and 6.2 for the \
             lognormal.",
            plan.n_runs, plan.seed
        ),
        columns: vec![
            "true effects",
            "I² (%)",
            "any-time, ever",
            "safeguarded, ever",
            "any-time, last look",
            "safeguarded, last look",
            "bias, last look",
            "looks without an interval",
        ],
        rows,
    })
}
