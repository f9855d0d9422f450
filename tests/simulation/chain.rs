//! The whole way: from shots that nobody sees, over what a device prints, to the pooled interval.

mod play;

use super::crowd::{LEVEL, Row, effects};
use super::means::{self, Intervals, pooled_once};
use super::runs::{Failure, Plan};
use super::table::{Report, number};
use super::tally::{Mean, Share};
use play::{CLASS, contribution};
use tautpool::contribution::Contribution;
use tautpool::demo::STUDY;
use tautpool::disclosure::{to_tenth, to_three_digits};
use tautpool::effects::of_pair;
use tautpool::effects::spread::CrowdSpread;
use tautpool::intake;
use tautpool::pooling::pool;
use tautpool::protocol::Protocol;
use tautpool::vocabulary::Outcome;

/// The invented players of one cell.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Setting {
    /// For a table.
    pub(crate) name: &'static str,
    /// Part of the players whose device prints no standard deviation.
    pub(crate) without_sd: f64,
    /// Part of the players with a share in near 0 or 100 %.
    pub(crate) near_edge: f64,
    /// How much players and days differ, relative to [`Truth`].
    pub(crate) spread: f64,
    /// Correlation of each shot with the one before.
    pub(crate) autocorrelation: f64,
}

/// What tension does to these players.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Truth {
    /// Mean true effect, in the unit of the outcome.
    pub(crate) mean: f64,
    /// Standard deviation of true effects between players.
    pub(crate) player_sd: f64,
    /// Standard deviation of one session's own shift.
    pub(crate) day_sd: f64,
}

/// Ball speed, km/h. Invented, of the size that the demo takes.
pub(crate) const SPEED: Truth = Truth {
    mean: 1.0,
    player_sd: 1.2,
    day_sd: 1.3,
};

/// Share of shots in, percentage points. Invented, of the size that the demo takes.
pub(crate) const IN_SHARE: Truth = Truth {
    mean: -1.5,
    player_sd: 2.0,
    day_sd: 1.5,
};

/// Everything reported, no share near an edge, shots independent.
pub(crate) const PLAIN: Setting = Setting {
    name: "every SD reported",
    without_sd: 0.0,
    near_edge: 0.0,
    spread: 1.0,
    autocorrelation: 0.0,
};

/// What one expects of real contributors, with independent shots.
pub(crate) const USUAL: Setting = Setting {
    name: "usual",
    without_sd: 0.45,
    near_edge: 0.25,
    ..PLAIN
};

const SETTINGS: &[Setting] = &[
    PLAIN,
    USUAL,
    Setting {
        name: "usual, shots correlated 0.2",
        autocorrelation: 0.2,
        ..USUAL
    },
    Setting {
        name: "no SD reported",
        without_sd: 1.0,
        ..USUAL
    },
    Setting {
        name: "most shares near an edge",
        near_edge: 0.75,
        ..USUAL
    },
    Setting {
        name: "players and days alike",
        spread: 0.0,
        ..USUAL
    },
    Setting {
        name: "players and days alike, shots correlated 0.2",
        spread: 0.0,
        autocorrelation: 0.2,
        ..USUAL
    },
];

/// What was found of one outcome in a cell.
#[derive(Debug)]
pub(crate) struct Figures {
    /// Coverage.
    pub(crate) coverage: Intervals<Share>,
    /// Bias of the REML estimate.
    pub(crate) bias: Mean,
    /// Bias of the fixed-effect estimate.
    pub(crate) fixed_bias: Mean,
    /// Mean I², in percent.
    pub(crate) i_squared: Mean,
}

/// Simulates one cell: `k` players, speed and share in.
pub(crate) fn simulate(
    setting: &Setting,
    k: usize,
    cell: u32,
    plan: &Plan,
) -> Result<[(Outcome, Figures); 2], Failure> {
    let protocol = intake::study(STUDY.as_bytes())?.protocol;
    let runs = plan.runs(cell, |draw| {
        let players: Vec<Contribution> = (0..k)
            .map(|_| contribution(setting, draw).ok_or("a summary does not fit its type"))
            .collect::<Result<_, _>>()?;
        let minimum_players = protocol.analysis.minimum_players;
        let spread = CrowdSpread::of(players.iter().enumerate(), minimum_players);
        let pooled = |outcome: Outcome| {
            let rows = rows(&players, &protocol, &spread, outcome);
            let effects = effects(&rows, None)?;
            let i_squared = pool(&effects, LEVEL)
                .heterogeneity
                .map(|q| 100.0 * q.i_squared);
            Ok::<_, Failure>((pooled_once(&effects, truth(outcome).mean), i_squared))
        };
        Ok((pooled(Outcome::Speed)?, pooled(Outcome::InShare)?))
    })?;
    let (speed, in_share): (Vec<_>, Vec<_>) = runs.into_iter().unzip();
    let figures = |outcome: Outcome, runs: Vec<(means::Run, _)>| {
        let (runs, i_squared): (Vec<_>, Vec<_>) = runs.into_iter().unzip();
        let figures = means::figures(&runs, truth(outcome).mean);
        let figures = Figures {
            coverage: figures.coverage,
            bias: figures.bias,
            fixed_bias: figures.fixed_bias,
            i_squared: i_squared.into_iter().flatten().collect(),
        };
        (outcome, figures)
    };
    Ok([
        figures(Outcome::Speed, speed),
        figures(Outcome::InShare, in_share),
    ])
}

/// The mean true effect of an outcome with its spread: speed, or the in share, the only other one
/// that is played.
const fn truth(outcome: Outcome) -> Truth {
    match outcome {
        Outcome::Speed => SPEED,
        _ => IN_SHARE,
    }
}

/// The effects on one outcome, rounded as rows are published.
fn rows(
    players: &[Contribution],
    protocol: &Protocol,
    spread: &CrowdSpread,
    outcome: Outcome,
) -> Vec<Row> {
    players
        .iter()
        .filter_map(|player| of_pair(player, protocol, spread))
        .flat_map(|pair| pair.effects)
        .filter(|effect| effect.outcome == outcome && effect.class == CLASS)
        .map(|effect| (to_tenth(effect.estimate), to_three_digits(effect.variance)))
        .collect()
}

/// The whole table.
pub(crate) fn report(plan: &Plan) -> Result<Report, Failure> {
    let mut rows = Vec::new();
    let cells = SETTINGS
        .iter()
        .flat_map(|setting| [(setting, 10), (setting, 40)]);
    for (cell, (setting, k)) in (500..).zip(cells) {
        for (outcome, figures) in simulate(setting, k, cell, plan)? {
            let coverage = &figures.coverage;
            rows.push(vec![
                outcome.code().to_owned(),
                setting.name.to_owned(),
                k.to_string(),
                coverage.hartung_knapp.cell(None),
                coverage.safeguarded.cell(None),
                coverage.wald.cell(None),
                coverage.fixed.cell(None),
                figures.bias.cell(),
                figures.fixed_bias.cell(),
                number(figures.i_squared.value, 1),
                coverage.hartung_knapp.n_not_estimable.to_string(),
            ]);
        }
    }
    // Outcomes alternate cell by cell; a reader compares within one.
    rows.sort_by_key(|row| row.first() != Some(&Outcome::Speed.code().to_owned()));
    Ok(Report {
        title: "From shots to the pooled interval".to_owned(),
        model: format!(
            "Coverage of 95 % intervals in percent, {} runs a row, seed {}. Looser minus tighter: \
             speed {} km/h, players SD {}, sessions SD {}; share in {} points, players SD {}, \
             sessions SD {}, the two SDs times 4p(1 − p). Players: 100 km/h (SD 8), CV of shots \
             0.15 to 0.20, shots of a session normal, 40 to 100; in with probability 0.55 to 0.85; \
             two sessions an arm for a quarter; devices print km/h or mph, means to 1 or 0 \
             decimals, SDs to 0.1 (divisor n − 1, n or unknown) or not at all, shares as counts or \
             percentages. Usual: {} % print no SD, {} % are in with probability 0.96 or 0.04. \
             Effects rounded as published. Bias in the outcome's unit, with its Monte Carlo \
             standard error.",
            plan.n_runs,
            plan.seed,
            SPEED.mean,
            SPEED.player_sd,
            SPEED.day_sd,
            IN_SHARE.mean,
            IN_SHARE.player_sd,
            IN_SHARE.day_sd,
            100.0 * USUAL.without_sd,
            100.0 * USUAL.near_edge,
        ),
        columns: vec![
            "outcome",
            "players",
            "k",
            "Hartung-Knapp",
            "safeguarded",
            "Wald",
            "fixed",
            "bias, REML",
            "bias, fixed",
            "mean I² (%)",
            "not estimable",
        ],
        rows,
    })
}
