//! Does the prediction interval hold a new player's true effect?

use super::crowd::{Crowd, LEVEL, Shape, effects};
use super::means::grid;
use super::runs::{Failure, Plan};
use super::table::{Report, number};
use super::tally::{Mean, Share, holds};
use tautpool::pooling::prediction::bootstrap_prediction;
use tautpool::pooling::{Effects, Estimable, Interval, Pooled, pool};

/// One way to make a prediction interval: its name, the most runs in a cell for what takes long,
/// and the interval from the effects and what was pooled from them.
pub(crate) struct Method(
    &'static str,
    u32,
    fn(&Effects, &Pooled) -> Estimable<Interval>,
);

/// Every way there is; each has a row of its own in each cell.
pub(crate) const METHODS: &[Method] = &[
    Method("Higgins et al.", u32::MAX, of_model),
    Method("Nagashima et al.", 1_000, by_bootstrap),
];

/// Draws of the bootstrap in each run.
const DRAWS: usize = 500;

/// The interval by the confidence distribution of the between-effects variance.
fn by_bootstrap(effects: &Effects, _: &Pooled) -> Estimable<Interval> {
    bootstrap_prediction(effects, LEVEL, DRAWS).map(|found| found.interval)
}

/// The interval that comes with the REML model.
fn of_model(_: &Effects, pooled: &Pooled) -> Estimable<Interval> {
    pooled.reml.as_ref().map_err(|reason| *reason)?.prediction
}

/// What was found in a cell.
#[derive(Debug)]
pub(crate) struct Figures {
    /// Coverage of a new true effect.
    pub(crate) coverage: Share,
    /// Share of runs in which it is not narrower than the interval shown for the mean.
    pub(crate) shown: Share,
    /// Coverage of a new true effect over those runs.
    pub(crate) shown_coverage: Share,
    /// Width.
    pub(crate) width: Mean,
}

/// Simulates one cell: `k` effects with this I² and shape.
pub(crate) fn simulate(
    &Method(_, most_runs, interval): &Method,
    (k, crowd): (usize, Crowd),
    cell: u32,
    plan: &Plan,
) -> Result<Figures, Failure> {
    let plan = Plan {
        n_runs: plan.n_runs.min(most_runs),
        ..*plan
    };
    let runs = plan.runs(cell, |draw| {
        let effects = effects(&crowd.rows(k, draw), None)?;
        let new = crowd.true_effect(draw);
        let pooled = pool(&effects, LEVEL);
        let interval = interval(&effects, &pooled);
        let of_mean = pooled.reml.and_then(|model| model.hartung_knapp_safe);
        let shown =
            interval.and_then(|interval| Ok(!interval.is_narrower_than(&of_mean?.interval())));
        Ok((
            holds(interval, new),
            shown,
            interval.map(|interval| interval.high - interval.low),
        ))
    })?;
    let when_shown = runs.iter().filter(|run| run.1 == Ok(true));
    Ok(Figures {
        coverage: runs.iter().map(|run| run.0).collect(),
        shown: runs.iter().map(|run| run.1).collect(),
        shown_coverage: when_shown.map(|run| run.0).collect(),
        width: runs.iter().filter_map(|run| run.2.ok()).collect(),
    })
}

/// The whole table.
pub(crate) fn report(plan: &Plan) -> Result<Report, Failure> {
    let mut rows = Vec::new();
    let shapes = [Shape::Normal, Shape::Exponential];
    let cells = shapes.into_iter().flat_map(|shape| {
        let spread =
            grid().filter(move |(_, i_squared)| matches!(shape, Shape::Normal) || 0 < *i_squared);
        spread.map(move |(k, i_squared)| (shape, k, i_squared))
    });
    for (cell, (shape, k, i_squared)) in (300..).zip(cells) {
        for method in METHODS {
            let crowd = Crowd::new(shape, i_squared);
            let figures = simulate(method, (k, crowd), cell, plan)?;
            rows.push(vec![
                shape.name().to_owned(),
                k.to_string(),
                i_squared.to_string(),
                method.0.to_owned(),
                figures.coverage.cell(None),
                number(figures.width.value, 2),
                figures.shown.cell(None),
                figures.shown_coverage.cell(None),
                figures.coverage.n_not_estimable.to_string(),
                figures.coverage.n_runs().to_string(),
            ]);
        }
    }
    Ok(Report {
        title: "Prediction intervals".to_owned(),
        model: format!(
            "Coverage of a new player's true effect by 95 % prediction intervals in percent, \
             seed {}. Effects as for the mean; the new true effect comes from the same \
             distribution as the others. Shown: not narrower than the safeguarded interval of the \
             mean.",
            plan.seed
        ),
        columns: vec![
            "true effects",
            "k",
            "I² (%)",
            "interval",
            "coverage",
            "mean width",
            "shown (% of runs)",
            "coverage when shown",
            "not estimable",
            "runs",
        ],
        rows,
    })
}
