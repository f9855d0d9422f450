//! Laws of `tautpool pool`, asked of the program itself: what must hold for any input.

#![expect(
    clippy::panic,
    clippy::unwrap_used,
    clippy::indexing_slicing,
    reason = "a test stops at what it did not expect"
)]

mod options;
mod program;

pub(crate) use program::{FIGURES, Made, figures_without_reason, nulls, pool, pool_json};

use program::pool_text;
use serde_json::{Value, json};
use std::fmt::Write as _;
use tautpool::disclosure::{to_tenth, to_three_digits};
use tautpool::findings::{BatchLabel, Choice, Circumstances, Publication, Row};
use tautpool::intake::schema::Schema;
use tautpool::pooling::Level;
use tautpool::protocol::{AnalysisRules, GapBand, GapBands, PrimaryOutcome, StudyLabel};
use tautpool::units::{Hundredths, TensionUnit};
use tautpool::vocabulary::{Outcome, ShotClass, Stroke, VarianceSource};
use tautpool::wire;

fn csv(rows: &[(f64, f64)]) -> Vec<u8> {
    let mut text = "estimate,variance\n".to_owned();
    for (estimate, variance) in rows {
        writeln!(text, "{estimate:e},{variance:e}").unwrap();
    }
    text.into_bytes()
}

/// The shots that made-up rows are about.
pub(crate) const SMALL_CLASS: ShotClass = ShotClass::of(Stroke::Forehand);

/// The number of a player or a pair.
pub(crate) fn number(place: usize) -> u32 {
    u32::try_from(place).unwrap()
}

/// A download with made-up rows: twelve groups, two of them with two pairs, in two outcomes. Five
/// groups corrected theirs, one of them from something that belonged elsewhere.
pub(crate) fn aggregate() -> Value {
    let mut made = Made(7);
    let mut rows = Vec::new();
    for group in (1..=12).chain([3, 8]) {
        // The last two are second pairs.
        let pair = 1 + u32::from(rows.iter().any(|row: &Row| row.group == group));
        for outcome in [Outcome::Speed, Outcome::InShare] {
            let (estimate, variance) = made.effect();
            rows.push(Row {
                group,
                pair,
                band: GapBand::Numbered(0),
                gap_lb: 5,
                outcome,
                class: SMALL_CLASS,
                estimate: to_tenth(estimate),
                variance: to_three_digits(variance),
                imputed_variance: 0.0,
                source: VarianceSource::Reported,
                circumstances: Circumstances::default(),
            });
        }
    }
    let mut publication = publication(rows);
    let rows = publication.rows.iter().enumerate();
    let corrected = rows.filter(|(_, row)| [2, 4, 7, 9, 11].contains(&row.group));
    let first = corrected.map(|(place, row)| {
        let sent = (row.group != 11).then_some((row.estimate + 0.7, 1.3 * row.variance));
        (place, sent)
    });
    publication.first_versions = publication.with_first_versions(&first.collect()).unwrap();
    let findings = publication.analyse(Choice::default()).unwrap();
    wire::aggregate::document(&publication, &findings, &[])
}

/// A publication of these rows whose one question is the speed of [`SMALL_CLASS`].
pub(crate) fn publication(rows: Vec<Row>) -> Publication {
    let edges = [500, 800, 1200, 1600].map(Hundredths::from_count);
    Publication {
        study: StudyLabel {
            slug: "made-up".to_owned(),
            question: "Is anything faster, or is all of this made up?".to_owned(),
            invented: true,
        },
        batch: Some(BatchLabel {
            number: 2,
            date: "2025-11-25".to_owned(),
        }),
        protocol_version: 1,
        rules: AnalysisRules {
            bands: GapBands::new(TensionUnit::Pound, edges.to_vec()).unwrap(),
            primary: vec![PrimaryOutcome {
                outcome: Outcome::Speed,
                class: SMALL_CLASS,
                smallest_worthwhile: Some(Hundredths::from_count(50)),
            }],
            minimum_players: 5,
        },
        level: Level::NINETY_FIVE,
        rows: rows.into_iter().collect(),
        frames: Vec::new(),
        pairs_left_out: 0,
        first_versions: Vec::new(),
        reached: Vec::new(),
        session_spreads: Vec::new(),
        count_models: Vec::new(),
        plans: None,
    }
}

fn at<'a>(document: &'a Value, pointer: &str) -> &'a Value {
    document["analyses"][0]
        .pointer(pointer)
        .unwrap_or_else(|| panic!("nothing at {pointer}"))
}

fn figure(document: &Value, pointer: &str) -> f64 {
    let value = at(document, pointer);
    value
        .as_f64()
        .unwrap_or_else(|| panic!("{pointer} is {value}"))
}

/// The codes of the reasons given for a place itself.
fn reason_for<'a>(document: &'a Value, pointer: &str) -> Option<&'a str> {
    at(document, "/not_estimable")
        .as_array()
        .unwrap()
        .iter()
        .find(|reason| reason["at"] == json!(pointer))
        .and_then(|reason| reason["code"].as_str())
}

#[test]
fn the_order_of_a_table_changes_no_byte() {
    let mut made = Made(1);
    let mut lines: Vec<String> = (0..60)
        .map(|idx| {
            let (estimate, variance) = made.effect();
            format!(
                "{},{},player {}\n",
                estimate + 1e6 / 3.0,
                variance,
                idx % 17
            )
        })
        .collect();
    // Rows that tie in everything but their player.
    lines.extend(["0.5,1,player 1\n", "0.5,1,player 2\n"].map(str::to_owned));
    let print = |lines: &[String]| {
        pool_text(
            &[],
            format!("estimate,variance,cluster\n{}", lines.concat()).as_bytes(),
        )
    };
    let first = print(&lines);
    for _ in 0..5 {
        made.shuffle(&mut lines);
        assert_eq!(print(&lines), first);
    }
    // Nor do the names of the clusters.
    let renamed: Vec<String> = lines
        .iter()
        .map(|line| line.replace("player ", "z"))
        .collect();
    assert_eq!(print(&renamed), first);
}

#[test]
fn the_order_of_a_download_changes_no_byte() {
    let mut document = aggregate();
    let print = |document: &Value| pool_text(&[], document.to_string().as_bytes());
    let first = print(&document);
    let answer: Value = serde_json::from_str(&first).unwrap();
    let analyses = answer["analyses"].as_array().unwrap();
    let found: Vec<(&Value, &Value, &Value)> = analyses
        .iter()
        .filter(|analysis| analysis["withheld"].is_null())
        .map(|analysis| (&analysis["outcome"], &analysis["k"], &analysis["players"]))
        .collect();
    let expected = ["speed", "in_share"].map(|outcome| (json!(outcome), json!(14), json!(12)));
    assert_eq!(
        found,
        expected
            .each_ref()
            .map(|(outcome, k, players)| (outcome, k, players))
    );
    assert!(
        analyses
            .iter()
            .any(|analysis| !analysis["withheld"].is_null())
    );
    // The figures are made from the rows, and they are the download's own figures.
    assert_eq!(answer["analyses"], document["analyses"]);
    // That holds of the way of asking that needs the first versions too.
    let lines = at(&answer, "/scrutiny/sensitivity").as_array().unwrap();
    let line = lines.iter().find(|line| line["code"] == "first_versions");
    let line = line.unwrap();
    assert!(line["estimate"].is_f64());
    assert_eq!(*at(&answer, "/corrected_at_least"), json!(5));
    let mut made = Made(2);
    for _ in 0..5 {
        made.shuffle(document["rows"].as_array_mut().unwrap());
        assert_eq!(print(&document), first);
    }
    assert!(Schema::Pooled.faults(&answer).is_empty());
    assert!(Schema::Aggregate.faults(&document).is_empty());
}

/// Places that move with the effects.
const LOCATIONS: &[&str] = &[
    "/shown/estimate",
    "/shown/low",
    "/shown/high",
    "/shown/prediction/low",
    "/shown/prediction/high",
    "/any_time/estimate",
    "/any_time/low",
    "/any_time/high",
    "/models/fixed/estimate",
    "/models/fixed/wald/low",
    "/models/dl/estimate",
    "/models/dl/hartung_knapp/high",
    "/models/pm/estimate",
    "/models/reml/estimate",
    "/models/reml/hartung_knapp_safe/low",
    "/models/reml/prediction/high",
];

/// Places that stay where they are when the effects are shifted and grow when they are scaled.
const SIZES: &[&str] = &[
    "/models/fixed/se",
    "/models/dl/se",
    "/models/pm/se",
    "/models/reml/se",
];

/// Places that grow with the square of a scale.
const SQUARES: &[&str] = &[
    "/models/dl/tau2",
    "/models/pm/tau2",
    "/models/reml/tau2",
    "/heterogeneity/tau2_low",
    "/heterogeneity/tau2_high",
];

/// Places that neither a shift nor a scale changes.
const RATIOS: &[&str] = &[
    "/heterogeneity/q",
    "/heterogeneity/p",
    "/heterogeneity/i2",
    "/heterogeneity/h2",
    "/heterogeneity/i2_low",
    "/heterogeneity/h2_high",
];

#[test]
fn a_shift_moves_the_estimates_and_nothing_else() {
    let rows = Made(3).effects(15);
    let shifted: Vec<(f64, f64)> = rows.iter().map(|(y, v)| (y + 512.0, *v)).collect();
    let (before, after) = (pool_json(&[], &csv(&rows)), pool_json(&[], &csv(&shifted)));
    for place in LOCATIONS {
        let moved = figure(&after, place) - figure(&before, place);
        // The rounding of a number near 512.
        assert!((moved - 512.0).abs() <= 1e-11, "{place} moved by {moved}");
    }
    for place in SIZES.iter().chain(SQUARES).chain(RATIOS) {
        let (before, after) = (figure(&before, place), figure(&after, place));
        assert!(
            (after - before).abs() <= 1e-10 * before.abs(),
            "{place}: {before} and {after}"
        );
    }
}

#[test]
fn a_power_of_two_scales_every_figure_exactly() {
    let rows = Made(4).effects(15);
    for scale in [2_f64.powi(-40), 2.0, 2_f64.powi(40)] {
        let scaled: Vec<(f64, f64)> = rows
            .iter()
            .map(|(y, v)| (y * scale, v * scale * scale))
            .collect();
        let (before, after) = (pool_json(&[], &csv(&rows)), pool_json(&[], &csv(&scaled)));
        let same = |place: &&str, factor: f64| {
            let (before, after) = (figure(&before, place), figure(&after, place));
            assert_eq!(
                (before * factor).to_bits(),
                after.to_bits(),
                "{place} at {scale:e}"
            );
        };
        LOCATIONS
            .iter()
            .chain(SIZES)
            .for_each(|place| same(place, scale));
        SQUARES.iter().for_each(|place| same(place, scale * scale));
        RATIOS.iter().for_each(|place| same(place, 1.0));
    }
}

#[test]
fn identical_effects_have_no_spread_and_keep_the_safeguarded_interval() {
    let document = pool_json(&[], &csv(&[(0.3, 1.0), (0.3, 2.0), (0.3, 0.5), (0.3, 4.0)]));
    for model in ["dl", "pm", "reml"] {
        let place = |name: &str| format!("/models/{model}/{name}");
        assert_eq!(
            figure(&document, &place("tau2")).to_bits(),
            0.0_f64.to_bits()
        );
        assert_eq!(
            figure(&document, &place("estimate")).to_bits(),
            0.3_f64.to_bits()
        );
        let plain = |end: &str| figure(&document, &place(&format!("hartung_knapp/{end}")));
        assert_eq!(plain("low").to_bits(), plain("high").to_bits());
        assert!(at(&document, &place("hartung_knapp/p")).is_null());
        let reason = reason_for(&document, &place("hartung_knapp/p"));
        assert_eq!(reason, Some("zero_standard_error"));
        let safe = |end: &str| figure(&document, &place(&format!("hartung_knapp_safe/{end}")));
        assert!(safe("low") < 0.3 && 0.3 < safe("high"));
    }
    assert_eq!(
        figure(&document, "/heterogeneity/q").to_bits(),
        0.0_f64.to_bits()
    );
    assert_eq!(
        figure(&document, "/heterogeneity/i2").to_bits(),
        0.0_f64.to_bits()
    );
}

#[test]
fn no_effect_at_all_is_null_throughout() {
    let document = pool_json(&[], b"estimate,variance\n");
    assert_eq!(*at(&document, "/k"), json!(0));
    for place in ["/shown", "/models/fixed", "/models/reml", "/heterogeneity"] {
        assert_eq!(reason_for(&document, place), Some("no_effects"), "{place}");
    }
    assert!(at(&document, "/shown/estimate").is_null());
}

#[test]
fn one_effect_is_its_own_estimate_with_a_normal_interval() {
    let document = pool_json(&[], &csv(&[(2.0, 4.0)]));
    assert_eq!(
        figure(&document, "/shown/estimate").to_bits(),
        2.0_f64.to_bits()
    );
    assert_eq!(*at(&document, "/shown/interval_kind"), json!("wald"));
    // 1.959964 is the 0.975 quantile of the normal distribution (Abramowitz & Stegun 1964).
    let width = figure(&document, "/shown/high") - figure(&document, "/shown/low");
    assert!(
        (width - 4.0 * 1.959_963_984_540_054).abs() <= 1e-12,
        "{width}"
    );
    for place in [
        "/models/reml",
        "/models/fixed/hartung_knapp",
        "/heterogeneity",
    ] {
        assert_eq!(reason_for(&document, place), Some("one_effect"), "{place}");
    }
}

#[test]
fn two_effects_have_one_tau_squared_and_no_prediction() {
    // (y1 - y2)^2 / 2 less the mean of the variances: (16 - 1 - 3) / 2 = 6.
    let document = pool_json(&[], &csv(&[(1.0, 1.0), (5.0, 3.0)]));
    for model in ["dl", "pm", "reml"] {
        let tau2 = figure(&document, &format!("/models/{model}/tau2"));
        assert!((tau2 - 6.0).abs() <= 1e-9, "{model}: {tau2}");
        let prediction = format!("/models/{model}/prediction");
        assert_eq!(
            reason_for(&document, &prediction),
            Some("fewer_than_three_effects")
        );
    }
    assert_eq!(
        figure(&document, "/models/reml/hartung_knapp/df").to_bits(),
        1.0_f64.to_bits()
    );
}

#[test]
fn variances_over_24_orders_of_magnitude_give_finite_figures_or_reasons() {
    let mut made = Made(5);
    for _ in 0..20 {
        let rows: Vec<(f64, f64)> = (0..13)
            .map(|idx| (made.effect().0, 10_f64.powi(2 * idx - 12)))
            .collect();
        for options in [&[][..], &["--level=0.999"]] {
            let document = pool_json(options, &csv(&rows));
            assert!(at(&document, "/shown/estimate").is_f64());
        }
    }
    // Too large for the arithmetic: refused in words or null with a reason, never infinite.
    for rows in [
        [(1e308, 1e-308), (-1e308, 1e-308)],
        [(1e200, 1e300), (-1e200, 5e-324)],
    ] {
        pool_json(&[], &csv(&rows));
    }
}

#[test]
fn a_bad_variance_is_refused_by_its_line() {
    for bad in [
        "0", "-0.0", "-1", "NaN", "inf", "-inf", "", "1,5", "1e999", "one",
    ] {
        let table = format!("estimate,variance\n0.5,1\n0.5,\"{bad}\"\n0.5,2\n");
        for options in [&["-"][..], &["--json", "-"]] {
            let answer = pool(options, table.as_bytes());
            assert_eq!(answer.code, Some(1), "{bad:?}");
            assert_eq!(answer.out, "", "{bad:?}");
            assert!(
                answer.err.contains("line 3, column variance"),
                "{bad:?}: {}",
                answer.err
            );
            assert!(!answer.err.contains("line 2") && !answer.err.contains("line 4"));
        }
    }
}

#[test]
fn a_player_counts_once_in_the_interval_for_any_time() {
    // Twelve effects of three players: far below the ten players the interval needs.
    let mut table = "estimate,variance,cluster\n".to_owned();
    for (idx, (estimate, variance)) in Made(10).effects(12).into_iter().enumerate() {
        writeln!(table, "{estimate},{variance},{}", idx % 3).unwrap();
    }
    let document = pool_json(&[], table.as_bytes());
    assert_eq!(*at(&document, "/players"), json!(3));
    assert!(at(&document, "/any_time/low").is_null());
    assert_eq!(
        reason_for(&document, "/any_time"),
        Some("fewer_than_ten_clusters")
    );
}
