//! The statistics, timed.

use crate::made_up::Columns;
use crate::{Failure, bounds, timed, told};
use ndarray::ArrayView1;
use serde_json::{Value, json};
use std::fs::File;
use std::io::{BufWriter, Write as _};
use std::path::Path;
use std::sync::Mutex;
use std::thread;
use tautpool::pooling::regression::Estimator;
use tautpool::pooling::{Effects, Level, Pooled, RandomMean, pool};

const LEVEL: Level = Level::NINETY_FIVE;

/// Effects as they were made up, and in order.
#[derive(Debug, Default)]
pub(crate) struct Kept {
    columns: Columns,
    effects: Option<Effects>,
    clustered: Option<Effects>,
}

impl Kept {
    pub(crate) fn make(&mut self, k: usize, file: Option<&Path>) -> Result<Value, Failure> {
        self.columns = Columns::new(k, 1);
        if let Some(file) = file {
            let mut out = BufWriter::new(File::create(file)?);
            for number in self.columns.estimates.iter().chain(&self.columns.variances) {
                out.write_all(&number.to_le_bytes())?;
            }
            out.flush()?;
        }
        self.effects = Some(ordered(&self.columns, false)?);
        self.clustered = Some(ordered(&self.columns, true)?);
        Ok(told(0.0, &json!(k)))
    }

    pub(crate) fn measure(&self, what: &str) -> Result<Value, Failure> {
        let effects = self.effects.as_ref().ok_or("no effects were made")?;
        let clustered = self.clustered.as_ref().ok_or("no effects were made")?;
        let mean = |estimator| -> Result<Value, Failure> {
            let (mean, seconds) = timed(|| RandomMean::by(estimator, effects, LEVEL));
            let mean = mean.map_err(|reason| reason.to_string())?;
            Ok(told(seconds, &json!([mean.tau_squared, mean.estimate])))
        };
        Ok(match what {
            "order" | "order_clustered" => {
                let has_players = what == "order_clustered";
                let (effects, seconds) = timed(|| ordered(&self.columns, has_players));
                told(seconds, &json!(effects?.k()))
            }
            "reml" => mean(Estimator::RestrictedMaximumLikelihood)?,
            "paule_mandel" => mean(Estimator::PauleMandel)?,
            "pool" => pooled(effects)?,
            "pool_clustered" => pooled(clustered)?,
            "sum" => {
                let Columns {
                    estimates,
                    variances,
                    ..
                } = &self.columns;
                let (sum, seconds) = timed(|| bounds::sum(estimates, variances));
                told(seconds, &json!(sum))
            }
            "division" => {
                let (sum, seconds) = timed(|| bounds::division(&self.columns.variances));
                told(seconds, &json!(sum))
            }
            _ => return Err(format!("nothing is called {what}").into()),
        })
    }
}

fn ordered(columns: &Columns, has_players: bool) -> Result<Effects, Failure> {
    let players = has_players.then(|| ArrayView1::from(&columns.players));
    let estimates = ArrayView1::from(&columns.estimates);
    Ok(Effects::new(
        estimates,
        ArrayView1::from(&columns.variances),
        players,
    )?)
}

fn pooled(effects: &Effects) -> Result<Value, Failure> {
    let (pooled, seconds) = timed(|| pool(effects, LEVEL));
    Ok(told(seconds, &json!(is_whole(&pooled)?)))
}

/// The mean by restricted maximum likelihood.
fn is_whole(pooled: &Pooled) -> Result<f64, Failure> {
    let models = [
        &pooled.fixed,
        &pooled.dersimonian_laird,
        &pooled.paule_mandel,
    ];
    for model in models {
        model.as_ref().map_err(ToString::to_string)?;
    }
    pooled.heterogeneity.as_ref().map_err(ToString::to_string)?;
    let reml = pooled.reml.as_ref().map_err(ToString::to_string)?;
    reml.hartung_knapp_safe
        .map_err(|reason| reason.to_string())?;
    if pooled.n_clusters < pooled.k {
        reml.cluster_robust.map_err(|reason| reason.to_string())?;
    }
    Ok(reml.estimate)
}

/// Orders and pools analyses, each whole by one thread; what comes out does not depend on how many
/// there are.
pub(crate) fn analyses(n: u64, effects: usize, threads: usize) -> Result<Value, Failure> {
    let all: Vec<Columns> = (0..n).map(|seed| Columns::new(effects, seed)).collect();
    let next = Mutex::new(all.iter().enumerate());
    let work = || -> Result<Vec<(usize, f64)>, Failure> {
        let mut means = Vec::new();
        loop {
            let taken = next.lock().map_err(|_| "a thread has failed")?.next();
            let Some((place, columns)) = taken else {
                return Ok(means);
            };
            means.push((place, is_whole(&pool(&ordered(columns, true)?, LEVEL))?));
        }
    };
    let (means, seconds) = timed(|| {
        thread::scope(|scope| {
            let crew: Vec<_> = (0..threads).map(|_| scope.spawn(work)).collect();
            crew.into_iter()
                .map(|one| {
                    one.join()
                        .map_err(|_| Failure::from("a thread has failed"))?
                })
                .collect::<Result<Vec<_>, Failure>>()
        })
    });
    let mut means: Vec<(usize, f64)> = means?.into_iter().flatten().collect();
    means.sort_unstable_by_key(|&(place, _)| place);
    Ok(told(seconds, &json!(means.first().map(|&(_, mean)| mean))))
}
