//! "Your answer": what a contributor sees at once after sending, and again from the receipt's page.

use super::Station;
use super::study::figures::{Line, Table};
use super::study::{summary_of, to_u64};
use crate::effects::LeftOutReason;
use crate::findings::labels::{axis_ends, band_label, unit_words};
use crate::findings::own::words::{self, label};
use crate::findings::own::{OwnAnswer, OwnEffect, OwnPrimary};
use crate::numbers;
use crate::plots::own::{Difference, Own, Panel, Pooled, own};
use crate::plots::parts::Layout;
use crate::protocol::{GapBand, GapBands, Study};
use askama::Template;

/// What the page is made of.
#[derive(Clone, Debug)]
pub struct AnswerView<'a> {
    /// The study.
    pub study: &'a Study,
    /// Where the page is shown: after sending, or from the receipt's page.
    pub here: Station,
    /// What the own sessions say.
    pub answer: &'a OwnAnswer,
    /// When they count, in a sentence.
    pub counts: String,
    /// What was noticed, in sentences.
    pub flags: Vec<String>,
    /// The receipt in groups parted by hyphens, when it is new to its holder.
    pub receipt: Option<String>,
    /// The receipt, carried in forms that lead on; never shown.
    pub holder: String,
    /// The one-time token of the form that was sent, for the script that clears its draft.
    pub token: Option<String>,
}

#[derive(Template)]
#[template(path = "answer.html", config = "src/pages/askama.toml")]
struct Page<'a> {
    /// The own figures are not, whatever the pool is; the page says which are.
    invented: bool,
    pool_invented: bool,
    study: &'a Study,
    here: Station,
    counts: &'a str,
    flags: &'a [String],
    receipt: Option<Vec<String>>,
    holder: &'a str,
    token: Option<&'a str>,
    gap: String,
    primary: Vec<Primary>,
    days: &'static str,
    wide: String,
    narrow: String,
    has_pool: bool,
    batch: Option<&'a str>,
    pooled: Vec<Crowd>,
    no_pool: Vec<String>,
    guesses: Vec<Said>,
    guess_limits: &'static str,
    no_guess: Vec<String>,
    surer: Vec<Said>,
    advice: Vec<&'static str>,
    table: Table,
    fastest: Option<String>,
    left_out: Vec<String>,
}

/// A sentence on one outcome.
struct Said {
    label: String,
    sentence: String,
}

/// One primary outcome: what the own sessions say, and what the range rests on.
struct Primary {
    said: Said,
    source: Option<&'static str>,
}

/// What everybody else's sessions say of one outcome, and where the own ones lie.
struct Crowd {
    label: String,
    sentences: Vec<String>,
}

/// Stands in a picture of invented pooled figures, since a picture may be copied alone.
const POOL_INVENTED: &str = "Everybody else’s figures are invented.";

/// The page.
///
/// # Errors
/// When the template cannot be filled.
pub fn answer(view: &AnswerView<'_>) -> Result<String, askama::Error> {
    let (study, answer) = (view.study, view.answer);
    let bands = &answer.bands;
    let plot = picture(study, answer);
    let said = |sentence: &dyn Fn(&OwnEffect) -> Option<String>| -> Vec<Said> {
        let found = answer.found();
        found
            .filter_map(|own| {
                Some(Said {
                    label: label_of(own),
                    sentence: sentence(own)?,
                })
            })
            .collect()
    };
    Page {
        invented: false,
        pool_invented: study.label.invented,
        study,
        here: view.here,
        counts: &view.counts,
        flags: &view.flags,
        receipt: view.receipt.as_deref().map(groups),
        holder: &view.holder,
        token: view.token.as_deref(),
        gap: words::gap_sentence(answer, bands),
        primary: answer.primary.iter().map(primary).collect(),
        days: words::days_sentence(&answer.played),
        wide: own(&plot, Layout::Wide),
        narrow: own(&plot, Layout::Narrow),
        has_pool: plot.panels.iter().any(|panel| panel.pooled.is_some()),
        batch: answer.batch.as_ref().map(|batch| batch.date.as_str()),
        pooled: answer.found().filter_map(crowd).collect(),
        no_pool: words::no_pool_sentences(answer, study.protocol.batch_players),
        guesses: said(&words::guess_sentence),
        guess_limits: words::GUESS_LIMITS,
        no_guess: words::no_guess_sentences(answer),
        surer: said(&|own| Some(words::surer_sentence(own))),
        advice: words::advice(answer),
        table: table(answer, bands),
        fastest: words::fastest_sentence(answer),
        left_out: answer
            .left_out
            .iter()
            .map(words::left_out_sentence)
            .collect(),
    }
    .render()
}

/// The groups of a receipt, each with the hyphen behind it.
fn groups(receipt: &str) -> Vec<String> {
    receipt.split_inclusive('-').map(str::to_owned).collect()
}

fn label_of(own: &OwnEffect) -> String {
    label(own.effect.outcome, own.effect.class)
}

fn primary(primary: &OwnPrimary) -> Primary {
    Primary {
        said: Said {
            label: label(primary.about.outcome, primary.about.class),
            sentence: match &primary.found {
                Ok(own) => words::own_sentence(own),
                Err(reason) => no_difference(*reason),
            },
        },
        source: primary
            .found
            .as_ref()
            .ok()
            .and_then(|own| words::source_sentence(own.effect.source)),
    }
}

fn no_difference(reason: LeftOutReason) -> String {
    format!("Not compared: {}.", reason.sentence())
}

fn crowd(own: &OwnEffect) -> Option<Crowd> {
    let sentences: Vec<String> = words::pool_sentence(own)
        .into_iter()
        .chain(words::place_sentence(own))
        .collect();
    (!sentences.is_empty()).then(|| Crowd {
        label: label_of(own),
        sentences,
    })
}

/// The one picture: every primary outcome, own against pooled.
fn picture(study: &Study, answer: &OwnAnswer) -> Own {
    let gaps = match answer.band {
        GapBand::UnderProtocol => "gaps smaller than the protocol asks".to_owned(),
        band => format!("gaps of {}", band_label(band, &answer.bands)),
    };
    let has_pool = answer.found().any(|own| own.pool.is_ok());
    let title = if has_pool {
        format!("Your sessions and all pairs at {gaps}: looser minus tighter")
    } else {
        "Your sessions: looser minus tighter".to_owned()
    };
    Own {
        id: "own".to_owned(),
        title,
        notice: (study.label.invented && has_pool).then(|| POOL_INVENTED.to_owned()),
        description:
            "Your own differences with their ranges, beside what is published of all pairs."
                .to_owned(),
        interval_words: "95 % range".to_owned(),
        panels: answer
            .primary
            .iter()
            .map(|primary| panel(primary, &study.protocol.analysis.bands))
            .collect(),
    }
}

fn panel(primary: &OwnPrimary, bands: &GapBands) -> Panel {
    let outcome = primary.about.outcome;
    let (left_words, right_words) = axis_ends(outcome);
    let own = primary.found.as_ref();
    Panel {
        label: label(outcome, primary.about.class),
        unit: unit_words(outcome).to_owned(),
        left_words: left_words.to_owned(),
        right_words: right_words.to_owned(),
        own: own
            .map(|own| {
                let (low, high) = (own.interval.low, own.interval.high);
                let decimals = numbers::decimals_of_range(low, high);
                Difference {
                    estimate: own.effect.estimate,
                    low,
                    high,
                    numbers: format!(
                        "{} ({})",
                        numbers::fixed(own.effect.estimate, decimals),
                        numbers::interval(low, high, decimals)
                    ),
                }
            })
            .map_err(|reason| no_difference(*reason)),
        pooled: own.ok().and_then(|own| {
            let pool = own.pool.as_ref().ok()?;
            Some(Pooled {
                counts: format!(
                    "{}, {}",
                    numbers::counted(to_u64(pool.pairs), "pair", "pairs"),
                    numbers::counted(to_u64(pool.players), "player", "players")
                ),
                summary: summary_of(pool.shown, outcome, bands.into()),
            })
        }),
    }
}

/// Every own difference as a table, those that the study asks for first.
fn table(answer: &OwnAnswer, bands: &GapBands) -> Table {
    let apart = answer.band == GapBand::UnderProtocol;
    let pool_head = if apart || bands.range(answer.band) == (None, None) {
        "All pairs (95\u{A0}% range)".to_owned()
    } else {
        format!(
            "All pairs, {} (95\u{A0}% range)",
            band_label(answer.band, bands)
        )
    };
    let columns = ["Yours (95\u{A0}% range)".to_owned(), pool_head];
    let line = |own: &OwnEffect| {
        let pooled = own.pool.as_ref().ok().map(|pool| {
            let mut effect = own.effect;
            effect.estimate = pool.shown.estimate;
            words::figure(&effect, pool.shown.interval)
        });
        let figures = [
            words::figure(&own.effect, own.interval),
            pooled.unwrap_or_else(|| "\u{2013}".to_owned()),
        ];
        Line {
            label: label_of(own),
            apart: false,
            withheld: None,
            cells: columns.iter().cloned().zip(figures).collect(),
        }
    };
    Table {
        lines: answer.all().map(line).collect(),
        columns: columns.to_vec(),
    }
}

#[cfg(test)]
mod tests;
