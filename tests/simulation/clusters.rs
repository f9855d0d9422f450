//! Do the intervals hold when players bring several pairs each?

use super::crowd::{LEVEL, TRUTH, effects, measured};
use super::runs::{Failure, Plan};
use super::table::{Report, number};
use super::tally::{Mean, Share, Target, holds};
use tautpool::pooling::pool;

/// What the cluster-robust interval is to reach.
pub(crate) const ROBUST: Target = Target::AtLeast(92.5);

/// Pairs of each player: 20 pairs from 8 players.
pub(crate) const EIGHT: &[usize] = &[4, 4, 3, 3, 2, 2, 1, 1];

/// The same with one player in front.
const EIGHT_LOPSIDED: &[usize] = &[7, 3, 3, 2, 2, 1, 1, 1];

/// 60 pairs from 20 players.
const TWENTY: &[usize] = &[6, 5, 5, 5, 4, 4, 4, 4, 3, 3, 3, 3, 2, 2, 2, 1, 1, 1, 1, 1];

/// The same with a few players in front.
const TWENTY_LOPSIDED: &[usize] = &[12, 9, 6, 5, 4, 4, 3, 3, 2, 2, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1];

/// One cell.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Setting {
    /// Pairs of each player.
    pub(crate) sizes: &'static [usize],
    /// Variance of true effects between players.
    pub(crate) between: f64,
    /// Variance of true effects between the pairs of one player.
    pub(crate) within: f64,
}

/// What was found in a cell.
#[derive(Debug)]
pub(crate) struct Figures {
    /// Coverage of CR2.
    pub(crate) robust: Share,
    /// Coverage of the safeguarded Hartung-Knapp interval, which takes pairs as independent.
    pub(crate) safeguarded: Share,
    /// Bias of the REML estimate.
    pub(crate) bias: Mean,
    /// Satterthwaite degrees of freedom where CR2 is estimable.
    pub(crate) df: Mean,
}

/// Simulates one cell.
pub(crate) fn simulate(setting: &Setting, cell: u32, plan: &Plan) -> Result<Figures, Failure> {
    let runs = plan.runs(cell, |draw| {
        let (mut rows, mut players) = (Vec::new(), Vec::new());
        for (player, &n_pairs) in setting.sizes.iter().enumerate() {
            let own = TRUTH + setting.between.sqrt() * draw.normal();
            for _ in 0..n_pairs {
                let of_pair = own + setting.within.sqrt() * draw.normal();
                rows.push(measured(of_pair, draw));
                players.push(player);
            }
        }
        let reml = pool(&effects(&rows, Some(&players))?, LEVEL).reml;
        let robust = reml.as_ref().map_err(|r| *r).and_then(|m| m.cluster_robust);
        let safe = reml
            .as_ref()
            .map_err(|r| *r)
            .and_then(|m| m.hartung_knapp_safe);
        Ok((
            holds(robust.map(|interval| interval.interval()), TRUTH),
            holds(safe.map(|interval| interval.interval()), TRUTH),
            reml.map(|model| model.estimate),
            robust.map(|interval| interval.df),
        ))
    })?;
    Ok(Figures {
        robust: runs.iter().map(|run| run.0).collect(),
        safeguarded: runs.iter().map(|run| run.1).collect(),
        bias: Mean::error(runs.iter().map(|run| run.2), TRUTH),
        df: runs.iter().filter_map(|run| run.3.ok()).collect(),
    })
}

/// The whole table.
pub(crate) fn report(plan: &Plan) -> Result<Report, Failure> {
    let sizes = [EIGHT, EIGHT_LOPSIDED, TWENTY, TWENTY_LOPSIDED];
    let variances = [(0.0, 0.0), (0.0, 1.0), (0.5, 0.5), (1.0, 0.0), (4.0, 0.5)];
    let settings = sizes.into_iter().flat_map(|sizes| {
        variances.map(|(between, within)| Setting {
            sizes,
            between,
            within,
        })
    });
    let mut rows = Vec::new();
    for (cell, setting) in (200..).zip(settings) {
        let figures = simulate(&setting, cell, plan)?;
        let sizes: Vec<String> = setting.sizes.iter().map(usize::to_string).collect();
        rows.push(vec![
            setting.sizes.iter().sum::<usize>().to_string(),
            sizes.join(" "),
            setting.between.to_string(),
            setting.within.to_string(),
            figures.robust.cell(Some(ROBUST)),
            figures.safeguarded.cell(None),
            figures.bias.cell(),
            number(figures.df.value, 1),
            figures.robust.n_not_estimable.to_string(),
        ]);
    }
    Ok(Report {
        title: "Several pairs of one player".to_owned(),
        model: format!(
            "Coverage of 95 % intervals in percent, {} runs a row, seed {}. True effect of a pair: \
             1 plus the player's own normal deviation (variance between) plus the pair's (variance \
             within); sampling variances known, uniform on 0.5 to 2. CR2 over the runs in which it \
             is estimable (at least 4 degrees of freedom). Target, widened by three Monte Carlo \
             standard errors: CR2 at least 92.5.",
            plan.n_runs, plan.seed
        ),
        columns: vec![
            "pairs",
            "pairs of each player",
            "between",
            "within",
            "CR2",
            "safeguarded Hartung-Knapp",
            "bias, REML",
            "mean df",
            "CR2 not estimable",
        ],
        rows,
    })
}
