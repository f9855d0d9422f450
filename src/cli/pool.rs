//! `tautpool pool`: the engine on a file.

mod coefficients;
mod question;
mod scrutiny;

use super::progress::Doing;
use super::{Failure, Pool, read, wrong_use};
use crate::findings::labels::{band_label, class_label, outcome_label, unit_words};
use crate::findings::scrutiny::Scrutiny;
use crate::findings::words::counts;
use crate::findings::{self, Choice, Estimator, Finding, IntervalKind};
use crate::intake::table::Wanted;
use crate::intake::{self, Rejection};
use crate::numbers;
use crate::pooling::regression::Regression;
use crate::pooling::{Interval, Level, Model};
use crate::wire::{self, pooled};
use serde_json::Value;
use std::io::{self, Write};
use std::process::ExitCode;

/// What is printed: a document, and the analyses for a person's eyes.
struct Answer {
    document: Value,
    analyses: Vec<Titled>,
    regression: Option<Regression>,
    /// Where the regression is asked what it predicts.
    places: Vec<Vec<f64>>,
}

/// An analysis under its title.
struct Titled {
    title: String,
    found: Result<Finding, String>,
    scrutiny: Option<Box<Scrutiny>>,
}

pub(super) fn run(options: &Pool) -> Result<ExitCode, Failure> {
    if let Some(place) = options
        .at
        .iter()
        .find(|place| place.0.len() != options.moderators.len())
    {
        return Err(wrong_use(format!(
            "--at names {} for {}; give one value for each",
            number(place.0.len(), "value", "values"),
            number(options.moderators.len(), "moderator", "moderators")
        )));
    }
    let bytes = read(&options.file)?;
    let level = options.level;
    let choice = Choice {
        estimator: Estimator::from_code(&options.estimator).unwrap_or(Estimator::Reml),
        interval: options
            .interval
            .as_deref()
            .and_then(IntervalKind::from_code),
    };
    let text = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(&bytes);
    let is_json = matches!(text.trim_ascii_start().first(), Some(b'{' | b'['));
    let wanted = Wanted {
        cluster: options.cluster.as_deref(),
        moderators: &options.moderators,
        through_origin: options.no_intercept,
    };
    let places: Vec<&[f64]> = options.at.iter().map(|place| place.0.as_slice()).collect();
    if let Some(question) = &options.question {
        if !is_json {
            return Err(wrong_use(
                "--where asks the rows of an aggregate or a release; a CSV has none",
            ));
        }
        return question::run(&bytes, question, options.json);
    }
    let doing = Doing::now("pooling");
    let answer = if !is_json {
        table(&bytes, &wanted, &places, level, choice)
    } else if options.moderators.is_empty() && options.cluster.is_none() {
        aggregate(&bytes, level, choice)?
    } else {
        return Err(wrong_use(
            "--moderator and --cluster name columns of a CSV; an aggregate or a release has none",
        ));
    };
    drop(doing);
    let mut out = io::stdout().lock();
    match answer {
        Ok(answer) if options.json => writeln!(out, "{}", answer.document)?,
        Ok(answer) => {
            for analysis in &answer.analyses {
                describe(&mut out, analysis, choice)?;
            }
            if let Some(regression) = &answer.regression {
                coefficients::describe(&mut out, regression, choice.estimator)?;
                coefficients::describe_predictions(&mut out, regression, &answer.places)?;
            }
        }
        Err(rejection) => {
            super::check::list_faults(&mut io::stderr().lock(), &rejection)?;
            return Ok(ExitCode::FAILURE);
        }
    }
    Ok(ExitCode::SUCCESS)
}

fn number(n: usize, one: &str, many: &str) -> String {
    numbers::counted(u64::try_from(n).unwrap_or(u64::MAX), one, many)
}

fn table(
    bytes: &[u8],
    wanted: &Wanted<'_>,
    places: &[&[f64]],
    level: Option<Level>,
    choice: Choice,
) -> Result<Answer, Rejection> {
    let level = level.unwrap_or(Level::NINETY_FIVE);
    let tables = intake::table::read(bytes, wanted)?;
    let finding = findings::table(&tables.effects, level, choice);
    let scrutiny = Scrutiny::of_table(&tables.effects, level);
    let mut document = pooled::of_table(level, &finding, &scrutiny);
    let regression = tables
        .design
        .map(|design| findings::regression::table(&design, level, choice.estimator));
    if let Some(regression) = &regression {
        wire::regression::add_to(&mut document, regression, choice.estimator, places);
    }
    Ok(Answer {
        document,
        analyses: vec![Titled {
            title: format!(
                "{} in {}",
                number(finding.pooled.k, "effect", "effects"),
                number(finding.pooled.n_clusters, "cluster", "clusters")
            ),
            found: Ok(finding),
            scrutiny: Some(Box::new(scrutiny)),
        }],
        regression,
        places: places.iter().map(|place| place.to_vec()).collect(),
    })
}

fn aggregate(
    bytes: &[u8],
    level: Option<Level>,
    choice: Choice,
) -> Result<Result<Answer, Rejection>, Failure> {
    let mut publication = match intake::published(bytes) {
        Ok(publication) => publication,
        Err(rejection) => return Ok(Err(rejection)),
    };
    publication.level = level.unwrap_or(publication.level);
    let found = publication.analyse(choice)?;
    let document = pooled::of_publication(&publication, &found, &[]);
    let analyses = found.analyses.into_iter().map(|analysis| {
        let key = &analysis.key;
        let title = format!(
            "{}, {}, gap {} ({}){}",
            outcome_label(key.outcome),
            class_label(key.class),
            band_label(key.band, &publication.rules.bands),
            unit_words(key.outcome),
            analysis.result.as_ref().map_or_else(
                |_| String::new(),
                |finding| format!(": {}", counts(finding))
            )
        );
        let withheld = |withheld: findings::Withheld| {
            format!("fewer than {} players", withheld.minimum_players)
        };
        Titled {
            title,
            found: analysis.result.map_err(withheld),
            scrutiny: analysis.scrutiny,
        }
    });
    Ok(Ok(Answer {
        document,
        analyses: analyses.collect(),
        regression: None,
        places: Vec::new(),
    }))
}

fn describe(out: &mut impl Write, analysis: &Titled, choice: Choice) -> io::Result<()> {
    writeln!(out, "{}", analysis.title)?;
    let finding = match &analysis.found {
        Ok(finding) => finding,
        Err(withheld) => return writeln!(out, "  withheld: {withheld}\n"),
    };
    let percent = numbers::percent(finding.pooled.level.value(), 0);
    match &finding.shown {
        Ok(shown) => {
            writeln!(out, "  estimate      {}", digits(shown.estimate))?;
            writeln!(
                out,
                "  {percent} range    {}   ({})",
                range(shown.interval),
                shown.kind.code()
            )?;
            match shown.prediction {
                Ok(prediction) => {
                    writeln!(out, "  another pair  {}   (approximate)", range(prediction))?
                }
                Err(reason) => writeln!(out, "  another pair  not estimable: {reason}")?,
            }
        }
        Err(reason) => writeln!(out, "  estimate      not estimable: {reason}")?,
    }
    describe_models(out, finding, choice)?;
    describe_heterogeneity(out, finding)?;
    if let Some(scrutiny) = &analysis.scrutiny {
        if choice != Choice::default() {
            writeln!(out, "  put to the test, with REML and its own interval:")?;
        }
        scrutiny::describe(out, scrutiny)?;
    }
    writeln!(out)
}

fn describe_models(out: &mut impl Write, finding: &Finding, choice: Choice) -> io::Result<()> {
    let pooled = &finding.pooled;
    let models = [
        (Estimator::Fixed, &pooled.fixed),
        (Estimator::DersimonianLaird, &pooled.dersimonian_laird),
        (Estimator::PauleMandel, &pooled.paule_mandel),
        (Estimator::Reml, &pooled.reml),
    ];
    for (estimator, model) in models {
        let mark = if estimator == choice.estimator {
            "*"
        } else {
            " "
        };
        match model {
            Ok(Model {
                estimate,
                se,
                tau_squared,
                ..
            }) => writeln!(
                out,
                "  {mark} {:<5}  estimate {}  SE {}  tau2 {}",
                estimator.code(),
                digits(*estimate),
                digits(*se),
                digits(*tau_squared)
            )?,
            Err(reason) => writeln!(
                out,
                "  {mark} {:<5}  not estimable: {reason}",
                estimator.code()
            )?,
        }
    }
    Ok(())
}

fn describe_heterogeneity(out: &mut impl Write, finding: &Finding) -> io::Result<()> {
    match &finding.pooled.heterogeneity {
        Ok(found) => {
            let tau2 = found
                .tau_squared
                .map_or_else(|reason| reason.to_string(), range);
            writeln!(
                out,
                "  Q {} on {} df, {}; I2 {}, H2 {}; tau2 {tau2}",
                digits(found.q),
                numbers::fixed(found.df, 0),
                numbers::p_value(found.p),
                numbers::percent(found.i_squared, 1),
                digits(found.h_squared)
            )
        }
        Err(reason) => writeln!(out, "  heterogeneity not estimable: {reason}"),
    }
}

fn digits(value: f64) -> String {
    numbers::significant(value, 5)
}

fn range(interval: Interval) -> String {
    format!("{} to {}", digits(interval.low), digits(interval.high))
}
