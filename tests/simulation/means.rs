//! Do the intervals of the mean hold as often as they say?

use super::crowd::{Crowd, LEVEL, Row, Shape, TRUTH, effects};
use super::runs::{Failure, Plan};
use super::table::Report;
use super::tally::{Mean, Share, Target, holds};
use tautpool::pooling::{Effects, Estimable, Interval, pool};

/// What Hartung-Knapp as published is to reach.
pub(crate) const PLAIN: Target = Target::Between(93.5, 96.5);

/// What the safeguarded interval is to reach.
pub(crate) const SAFEGUARDED: Target = Target::AtLeast(93.5);

/// How much more precise the one effect is that outweighs the others.
const OUTWEIGHS: f64 = 10.0;

/// One cell.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Setting {
    /// Number of effects.
    pub(crate) k: usize,
    /// I², in percent.
    pub(crate) i_squared_percent: u32,
    /// Whether one effect has a tenth of the variance.
    pub(crate) has_heavy: bool,
}

/// How the intervals of one set of effects did, or do over many sets.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Intervals<T> {
    /// Hartung-Knapp around REML, as published.
    pub(crate) hartung_knapp: T,
    /// The same with the safeguard.
    pub(crate) safeguarded: T,
    /// Normal interval around REML.
    pub(crate) wald: T,
    /// Normal interval of the fixed-effect model.
    pub(crate) fixed: T,
}

/// What was found in a cell.
#[derive(Debug)]
pub(crate) struct Figures {
    /// Coverage.
    pub(crate) coverage: Intervals<Share>,
    /// Bias of the REML estimate.
    pub(crate) bias: Mean,
    /// Bias of the fixed-effect estimate.
    pub(crate) fixed_bias: Mean,
}

/// One set of effects.
pub(crate) struct Run {
    held: Intervals<Estimable<bool>>,
    estimate: Estimable<f64>,
    fixed_estimate: Estimable<f64>,
}

/// Pools one set of effects and holds its intervals against the truth.
pub(crate) fn pooled_once(effects: &Effects, truth: f64) -> Run {
    let pooled = pool(effects, LEVEL);
    let reml = pooled.reml.as_ref().map_err(|reason| *reason);
    let fixed = pooled.fixed.as_ref().map_err(|reason| *reason);
    let held = |interval: Estimable<Interval>| holds(interval, truth);
    Run {
        held: Intervals {
            hartung_knapp: held(reml.and_then(|model| Ok(model.hartung_knapp?.interval()))),
            safeguarded: held(reml.and_then(|model| Ok(model.hartung_knapp_safe?.interval()))),
            wald: held(reml.map(|model| model.wald.interval())),
            fixed: held(fixed.map(|model| model.wald.interval())),
        },
        estimate: reml.map(|model| model.estimate),
        fixed_estimate: fixed.map(|model| model.estimate),
    }
}

/// Adds up runs.
pub(crate) fn figures(runs: &[Run], truth: f64) -> Figures {
    let share = |held: fn(&Intervals<Estimable<bool>>) -> Estimable<bool>| {
        runs.iter().map(|run| held(&run.held)).collect()
    };
    Figures {
        coverage: Intervals {
            hartung_knapp: share(|held| held.hartung_knapp),
            safeguarded: share(|held| held.safeguarded),
            wald: share(|held| held.wald),
            fixed: share(|held| held.fixed),
        },
        bias: Mean::error(runs.iter().map(|run| run.estimate), truth),
        fixed_bias: Mean::error(runs.iter().map(|run| run.fixed_estimate), truth),
    }
}

/// Simulates one cell.
pub(crate) fn simulate(setting: &Setting, cell: u32, plan: &Plan) -> Result<Figures, Failure> {
    let crowd = Crowd::new(Shape::Normal, setting.i_squared_percent);
    let runs = plan.runs(cell, |draw| {
        let mut rows = crowd.rows(setting.k, draw);
        if setting.has_heavy
            && let Some(first) = rows.first_mut()
        {
            *first = heavier(*first, crowd.true_effect(draw), draw.normal());
        }
        Ok(pooled_once(&effects(&rows, None)?, TRUTH))
    })?;
    Ok(figures(&runs, TRUTH))
}

/// An effect with a tenth of the row's variance.
fn heavier((_, variance): Row, true_effect: f64, normal: f64) -> Row {
    let variance = variance / OUTWEIGHS;
    (true_effect + variance.sqrt() * normal, variance)
}

/// The numbers of effects and I² that the project's targets speak of.
pub(crate) fn grid() -> impl Iterator<Item = (usize, u32)> {
    [5, 10, 20, 50]
        .into_iter()
        .flat_map(|k| [0, 50, 90].map(|i_squared| (k, i_squared)))
}

/// The whole table.
pub(crate) fn report(plan: &Plan) -> Result<Report, Failure> {
    let usual = grid().map(|(k, i_squared_percent)| Setting {
        k,
        i_squared_percent,
        has_heavy: false,
    });
    let heavy = [0, 50, 90].map(|i_squared_percent| Setting {
        k: 5,
        i_squared_percent,
        has_heavy: true,
    });
    let mut rows = Vec::new();
    for (cell, setting) in (100..).zip(usual.chain(heavy)) {
        let figures = simulate(&setting, cell, plan)?;
        let coverage = &figures.coverage;
        let target = |target| (!setting.has_heavy).then_some(target);
        rows.push(vec![
            if setting.has_heavy {
                format!("{}, one outweighs", setting.k)
            } else {
                setting.k.to_string()
            },
            setting.i_squared_percent.to_string(),
            coverage.hartung_knapp.cell(target(PLAIN)),
            coverage.safeguarded.cell(target(SAFEGUARDED)),
            coverage.wald.cell(None),
            coverage.fixed.cell(None),
            figures.bias.cell(),
            figures.fixed_bias.cell(),
            coverage.hartung_knapp.n_not_estimable.to_string(),
        ]);
    }
    Ok(Report {
        title: "Intervals of the mean".to_owned(),
        model: format!(
            "Coverage of 95 % intervals in percent, {} runs a row, seed {}. k independent normal \
             effects around normal true effects with mean 1; sampling variances known, uniform on \
             0.5 to 2 (the typical one is 1); tau² = I²/(1 − I²). Where one outweighs, the first \
             has a tenth of its variance. Targets, widened by three Monte Carlo standard errors: \
             Hartung-Knapp 93.5 to 96.5, safeguarded at least 93.5. Bias: mean estimate minus 1, \
             with its Monte Carlo standard error.",
            plan.n_runs, plan.seed
        ),
        columns: vec![
            "k",
            "I² (%)",
            "Hartung-Knapp",
            "safeguarded",
            "Wald",
            "fixed",
            "bias, REML",
            "bias, fixed",
            "not estimable",
        ],
        rows,
    })
}
