//! What the engine makes of published rows: which pairs count, how the same question is asked in
//! other ways, and that a download holds all of it.

#![expect(
    clippy::indexing_slicing,
    clippy::unwrap_used,
    reason = "a test stops at what it did not expect"
)]

use crate::laws::{Made, SMALL_CLASS, number, publication};
use ndarray::Array1;
use serde_json::{Value, json};
use tautpool::findings::caveats::Caveat;
use tautpool::findings::families::Adjustment;
use tautpool::findings::gains::GainOf;
use tautpool::findings::questions::Explanation;
use tautpool::findings::sensitivity::{Brief, Line, Sensitivity};
use tautpool::findings::{
    Analysis, Basis, Choice, Circumstances, CountModel, FirstVersions, Key, LogOdds, Month, Order,
    PlanCounts, PlansOfOrder, Publication, Reached, Row, SessionSpread,
};
use tautpool::intake;
use tautpool::intake::schema::Schema;
use tautpool::pooling::{Effects, Interval, Level, Reason, pool};
use tautpool::protocol::GapBand;

use tautpool::vocabulary::{Outcome, StringFamily, VarianceSource};
use tautpool::wire;

mod given;
mod unchanged;

/// So many speed rows of different players in the first band, the rest as `like` says.
fn rows(seed: u64, n: usize, like: impl Fn(usize, Row) -> Row) -> Vec<Row> {
    let mut made = Made(seed);
    (0..n)
        .map(|idx| {
            let (estimate, variance) = made.effect();
            let row = Row {
                group: number(idx + 1),
                pair: 1,
                band: GapBand::Numbered(0),
                gap_lb: 5 + i32::try_from(idx % 3).unwrap(),
                outcome: Outcome::Speed,
                class: SMALL_CLASS,
                estimate,
                variance,
                imputed_variance: 0.0,
                source: VarianceSource::Reported,
                circumstances: Circumstances {
                    planned: Some(false),
                    ..Circumstances::default()
                },
            };
            like(idx, row)
        })
        .collect()
}

fn planned(row: Row) -> Row {
    Row {
        circumstances: Circumstances {
            planned: Some(true),
            ..row.circumstances
        },
        ..row
    }
}

/// The speed analysis of the first band.
fn first(publication: &Publication) -> Analysis {
    publication.analyse(Choice::default()).unwrap().analyses[0].clone()
}

fn line(analysis: &Analysis, kind: Sensitivity) -> Option<Line> {
    let lines = &analysis.scrutiny.as_ref().unwrap().sensitivity;
    lines.iter().find(|line| line.kind == kind).copied()
}

/// The pooled estimate over pairs of estimate and variance, by themselves.
fn pooled(effects: impl Iterator<Item = (f64, f64)>) -> f64 {
    let (estimates, variances): (Vec<f64>, Vec<f64>) = effects.unzip();
    let effects = Effects::new(
        Array1::from(estimates).view(),
        Array1::from(variances).view(),
        None,
    );
    let pooled = pool(&effects.unwrap(), Level::NINETY_FIVE);
    pooled.reml.unwrap().estimate
}

#[test]
fn planned_pairs_are_the_analysis_once_ten_players_have_played_to_a_plan() {
    let with = |n_planned: usize| {
        let rows = rows(
            3,
            22,
            |idx, row| {
                if idx < n_planned { planned(row) } else { row }
            },
        );
        publication(rows)
    };
    let nine = first(&with(9));
    assert_eq!(nine.basis, Basis::All);
    assert_eq!(nine.result.as_ref().unwrap().pooled.k, 22);
    assert_eq!(
        line(&nine, Sensitivity::PlannedPairs).unwrap().counts,
        Some((9, 9))
    );
    assert_eq!(line(&nine, Sensitivity::RetrospectivePairs), None);
    let ten = first(&with(10));
    assert_eq!(ten.basis, Basis::Planned);
    assert_eq!(ten.result.as_ref().unwrap().pooled.k, 10);
    assert_eq!(line(&ten, Sensitivity::PlannedPairs), None);
    assert_eq!(
        line(&ten, Sensitivity::AllPairs).unwrap().counts,
        Some((22, 22))
    );
    let retrospective = line(&ten, Sensitivity::RetrospectivePairs).unwrap();
    assert_eq!(retrospective.counts, Some((12, 12)));
    let certainty = |analysis: &Analysis| {
        let scrutiny = analysis.scrutiny.as_ref().unwrap();
        let reasons = &scrutiny.certainty.as_ref().unwrap().reasons;
        let codes: Vec<&str> = reasons.iter().map(|reason| reason.code()).collect();
        codes.join(" ")
    };
    assert!(certainty(&nine).contains("unplanned"));
    assert!(certainty(&ten).contains("planned_order"));
}

#[test]
fn fewer_planned_players_than_the_minimum_are_not_spoken_of() {
    let rows = rows(4, 12, |idx, row| if idx < 4 { planned(row) } else { row });
    let planned = line(&first(&publication(rows)), Sensitivity::PlannedPairs).unwrap();
    assert_eq!(planned.counts, None);
    assert_eq!(planned.result, Err(Reason::FewerClustersThanAsked));
}

#[test]
fn imputed_spreads_are_left_out_and_rescaled() {
    let rows = rows(5, 18, |idx, row| {
        if idx % 3 == 0 {
            Row {
                imputed_variance: row.variance / 2.0,
                source: VarianceSource::BorrowedCv,
                ..row
            }
        } else {
            row
        }
    });
    let estimate = |analysis: &Analysis, kind| {
        let brief = line(analysis, kind).unwrap().result.unwrap();
        brief.estimate.to_bits()
    };
    let analysis = first(&publication(rows.clone()));
    let without = line(&analysis, Sensitivity::WithoutImputed);
    assert_eq!(analysis.without_imputed, without);
    let reported = rows.iter().filter(|row| !row.source.is_imputed());
    assert_eq!(
        estimate(&analysis, Sensitivity::WithoutImputed),
        pooled(reported.map(|row| (row.estimate, row.variance))).to_bits()
    );
    for (kind, factor) in [
        (Sensitivity::ImputedTimes075, 0.75_f64),
        (Sensitivity::ImputedTimes133, 1.33),
    ] {
        let rescaled = rows.iter().map(|row| {
            let grown = (factor * factor - 1.0) * row.imputed_variance;
            (row.estimate, row.variance + grown)
        });
        assert_eq!(estimate(&analysis, kind), pooled(rescaled).to_bits());
    }
}

#[test]
fn the_pace_of_the_partner_is_taken_off_by_regression_and_by_a_fixed_part() {
    let rows = rows(6, 24, |idx, row| Row {
        circumstances: Circumstances {
            // Two pairs do not tell.
            partner_pace_kmh: (2 <= idx).then(|| i32::try_from(idx % 7).unwrap() - 3),
            ..row.circumstances
        },
        ..row
    });
    let analysis = first(&publication(rows.clone()));
    let offset = line(&analysis, Sensitivity::PartnerPaceOffset).unwrap();
    assert_eq!(offset.counts, Some((22, 22)));
    let shifted = rows.iter().filter_map(|row| {
        let pace = f64::from(row.circumstances.partner_pace_kmh?);
        Some((row.estimate - 0.23 * pace, row.variance))
    });
    let expected = pooled(shifted).to_bits();
    assert_eq!(offset.result.unwrap().estimate.to_bits(), expected);
    let adjusted = line(&analysis, Sensitivity::PartnerPaceAdjusted).unwrap();
    assert_eq!(adjusted.counts, Some((22, 22)));
    assert!(adjusted.result.is_ok());
    // Nine known pairs are too few for a regression, which says so and stays in the table.
    let few = rows.iter().enumerate().map(|(idx, row)| Row {
        circumstances: Circumstances {
            partner_pace_kmh: row.circumstances.partner_pace_kmh.filter(|_| idx < 11),
            ..row.circumstances
        },
        ..*row
    });
    let few = first(&publication(few.collect()));
    let adjusted = line(&few, Sensitivity::PartnerPaceAdjusted).unwrap();
    assert_eq!(adjusted.result, Err(Reason::FewerThanTenPerModerator));
}

#[test]
fn gains_are_of_players_only_where_sessions_were_repeated() {
    let mut publication = publication(rows(7, 20, |_, row| row));
    let gains = |publication: &Publication| first(publication).scrutiny.unwrap().gains;
    let without = gains(&publication);
    assert_eq!(without[0].of, GainOf::PairsOfSessions);
    assert_eq!(
        line(&first(&publication), Sensitivity::SessionSpreadAdded)
            .unwrap()
            .result,
        Err(Reason::NoReplicateVariance)
    );
    publication.session_spreads = vec![SessionSpread {
        outcome: Outcome::Speed,
        class: SMALL_CLASS,
        variance: 0.5,
        se: 0.2,
        players_at_least: 10,
    }];
    let with = gains(&publication);
    assert_eq!(with[0].of, GainOf::Players);
    assert_eq!((with[0].threshold, with[1].threshold), (0.0, 0.5));
    let added = line(&first(&publication), Sensitivity::SessionSpreadAdded).unwrap();
    // One session in each arm: the variance enters twice.
    let expected = pooled(
        publication
            .rows
            .iter()
            .map(|row| (row.estimate, row.variance + 1.0)),
    );
    assert_eq!(added.result.unwrap().estimate.to_bits(), expected.to_bits());
}

#[test]
fn p_values_are_adjusted_within_two_families() {
    let mut all = rows(8, 30, |idx, row| Row {
        band: GapBand::Numbered(u8::from(idx % 2 == 1)),
        ..row
    });
    all.extend(rows(9, 12, |_, row| Row {
        outcome: Outcome::TopspinShare,
        ..row
    }));
    let found = publication(all).analyse(Choice::default()).unwrap();
    let families: Vec<(Adjustment, usize)> = found
        .analyses
        .iter()
        .filter_map(|analysis| analysis.adjusted_p)
        .map(|adjusted| (adjusted.method, adjusted.family))
        .collect();
    assert_eq!(
        families,
        [
            (Adjustment::Holm, 2),
            (Adjustment::Holm, 2),
            (Adjustment::BenjaminiHochberg, 1)
        ]
    );
    let p = |idx: usize| {
        let shown = found.analyses[idx].result.as_ref().unwrap().shown;
        (
            shown.unwrap().p.unwrap(),
            found.analyses[idx].adjusted_p.unwrap().p,
        )
    };
    let ((p_0, holm_0), (p_1, holm_1)) = (p(0), p(1));
    let (p, holm) = if p_0 < p_1 {
        (p_0, holm_0)
    } else {
        (p_1, holm_1)
    };
    let doubled = if 2.0 * p < 1.0 { 2.0 * p } else { 1.0 };
    assert!((holm - doubled).abs() < 1e-15);
}

#[test]
fn what_may_explain_an_effect_is_regressed_on_beside_the_gap() {
    let all = rows(10, 40, |idx, row| Row {
        circumstances: Circumstances {
            order: Some([Order::LooserFirst, Order::TighterFirst, Order::Balanced][idx % 3]),
            string_family: Some(StringFamily::Polyester),
            ..row.circumstances
        },
        ..row
    });
    let found = publication(all).analyse(Choice::default()).unwrap();
    let overall = found.questions[0].found.as_ref().unwrap();
    let adjusted = |by| {
        let mut models = overall.adjusted.iter();
        models.find(|model| model.by == by).unwrap().found.clone()
    };
    let by_order = adjusted(Explanation::Order).unwrap();
    assert_eq!(by_order.at_gap_lb, 6);
    assert_eq!(by_order.regression.names, ["intercept", "gap_lb", "order"]);
    assert!(by_order.regression.model.is_ok());
    // Everybody the same: not estimable, with the reason. Nobody known: nothing is said.
    let all_alike = adjusted(Explanation::NotPolyester).unwrap().regression;
    assert_eq!(all_alike.model.map(|_| ()), Err(Reason::RankDeficient));
    assert_eq!(adjusted(Explanation::PartnerPace), None);
    let together = adjusted(Explanation::Together).unwrap().regression;
    assert_eq!(together.names, ["intercept", "gap_lb", "order"]);
    let dose = &overall.dose_response;
    let (per_5, per_1) = (dose.slope(5.0).unwrap(), dose.slope(1.0).unwrap());
    assert!((per_5.estimate - 5.0 * per_1.estimate).abs() < 1e-12);
    assert_eq!(dose.curve.len(), 7);
    assert!((dose.curve[4].estimate - per_5.estimate).abs() < 1e-12);
}

#[test]
fn a_download_holds_everything_that_its_figures_are_made_from() {
    let mut all = rows(11, 30, |idx, row| Row {
        imputed_variance: if idx % 4 == 0 { row.variance } else { 0.0 },
        source: if idx % 4 == 0 {
            VarianceSource::Combined
        } else {
            VarianceSource::Reported
        },
        circumstances: Circumstances {
            planned: Some(idx % 2 == 0),
            sessions: (idx % 7 != 0).then_some((1 + u8::from(idx % 2 == 1), 2)),
            month: (idx % 3 != 0).then_some(Month {
                year: 2026,
                month: 9 + u8::try_from(idx % 3).unwrap(),
            }),
            frame: (idx % 4 != 0).then_some(u32::from(idx % 2 == 1)),
            order: Some(Order::TighterFirst),
            blinded: Some(idx % 3 == 0),
            partner_pace_kmh: Some(-2),
            string_age_hours: Some(3),
            ..Circumstances::default()
        },
        ..row
    });
    all.extend(rows(12, 30, |_, row| Row {
        outcome: Outcome::InShare,
        source: VarianceSource::Counts,
        ..row
    }));
    let mut publication = publication(all);
    let key = publication.rows.get(0).unwrap().key();
    let interval = Interval {
        low: -0.4,
        high: 2.2,
    };
    publication.frames = vec!["Blue one".to_owned(), "old one".to_owned()];
    publication.pairs_left_out = 10;
    publication.first_versions = vec![FirstVersions {
        key,
        corrected_at_least: 5,
        found: Brief {
            estimate: 0.9,
            interval,
            tau_squared: 1.23,
        },
    }];
    publication.reached = vec![Reached {
        key,
        players: 10,
        k: 11,
        estimate: 0.9,
        interval,
    }];
    publication.session_spreads = vec![SessionSpread {
        outcome: Outcome::Speed,
        class: SMALL_CLASS,
        variance: 1.25,
        se: 0.5,
        players_at_least: 10,
    }];
    publication.count_models = vec![CountModel {
        key: Key {
            outcome: Outcome::Speed,
            class: SMALL_CLASS,
            band: GapBand::Numbered(0),
        },
        k: 12,
        n_excluded: 1,
        normal: None,
        exact: Some(LogOdds {
            estimate: 0.12,
            low: -0.05,
            high: 0.29,
        }),
    }];
    let order = PlansOfOrder {
        drawn: 15,
        opened: 10,
        sent: 5,
        unsent: 5,
    };
    publication.plans = Some(PlanCounts {
        looser_first: order,
        tighter_first: order,
        balanced: PlansOfOrder::default(),
        every_order: PlansOfOrder {
            drawn: 35,
            opened: 25,
            sent: 15,
            unsent: 10,
        },
    });
    let findings = publication.analyse(Choice::default()).unwrap();
    let document = wire::aggregate::document(&publication, &findings, &[]);
    let faults = Schema::Aggregate.faults(&document);
    assert!(faults.is_empty(), "{faults:?}");
    let mut text = String::new();
    wire::aggregate::write(&mut text, &publication, &findings, &[]).unwrap();
    assert_eq!(text, format!("{document}\n"));
    let read = intake::aggregate(text.as_bytes()).unwrap();
    assert_eq!(read, publication);
    assert_eq!(read.analyse(Choice::default()).unwrap(), findings);
}

#[test]
fn a_pair_that_claims_to_be_far_too_exact_is_named() {
    let honest = rows(13, 30, |_, row| row);
    let caveats = |rows: Vec<Row>| {
        let scrutiny = first(&publication(rows)).scrutiny.unwrap();
        scrutiny
            .caveats
            .into_iter()
            .map(Caveat::code)
            .collect::<Vec<_>>()
    };
    assert!(!caveats(honest.clone()).contains(&"one_effect_outweighs"));
    let mut with_slip = honest;
    with_slip[4].variance /= 10_000.0;
    assert!(caveats(with_slip).contains(&"one_effect_outweighs"));
}

#[test]
fn neither_the_order_of_the_rows_nor_that_of_the_groups_changes_a_bit() {
    let all = rows(14, 40, |idx, row| Row {
        imputed_variance: if idx % 3 == 0 { row.variance } else { 0.0 },
        source: if idx % 3 == 0 {
            VarianceSource::BorrowedCv
        } else {
            VarianceSource::Reported
        },
        variance: row.variance * 1.37_f64.powi(i32::try_from(idx).unwrap() % 9),
        ..row
    });
    let of = |rows: Vec<Row>| {
        let publication = publication(rows);
        let findings = publication.analyse(Choice::default()).unwrap();
        wire::pooled::of_publication(&publication, &findings, &[]).to_string()
    };
    let mut shuffled = all.clone();
    Made(15).shuffle(&mut shuffled);
    for (idx, row) in shuffled.iter_mut().enumerate() {
        row.group = number(idx + 1);
    }
    assert_eq!(of(shuffled), of(all));
}

#[test]
fn a_download_that_contradicts_itself_is_refused_at_the_place() {
    let rows = rows(16, 12, |_, row| row);
    let publication = publication(rows);
    let findings = publication.analyse(Choice::default()).unwrap();
    let sound = wire::aggregate::document(&publication, &findings, &[]);
    let places = |change: &dyn Fn(&mut Value)| {
        let mut document = sound.clone();
        change(&mut document);
        let rejection = intake::aggregate(document.to_string().as_bytes()).unwrap_err();
        let places = rejection.faults.into_iter().map(|fault| fault.pointer);
        places.collect::<Vec<_>>()
    };
    let imputed = |document: &mut Value| {
        let variance = document["rows"][3]["variance"].as_f64().unwrap();
        document["rows"][3]["imputed_variance"] = json!(2.3 * variance);
    };
    assert_eq!(places(&imputed), ["/rows/3/imputed_variance"]);
    let sessions = |document: &mut Value| {
        document["rows"][5]["tighter_sessions"] = json!(2);
    };
    assert_eq!(places(&sessions), ["/rows/5/tighter_sessions"]);
    let month = |document: &mut Value| document["rows"][5]["month"] = json!("2026-13");
    assert_eq!(places(&month), ["/rows/5/month"]);
    let edge = |document: &mut Value| {
        document["protocol"]["gap_band_edges"][0] = json!(5.001);
    };
    assert_eq!(places(&edge), ["/protocol/gap_band_edges"]);
    let no_figure = json!({"estimate": null, "low": null, "high": null});
    let band = |document: &mut Value| {
        document["count_models"] = json!([{
            "outcome": "in_share", "stroke": "forehand", "direction": "all", "band": "band_8",
            "k": 9, "excluded": 0, "normal": no_figure, "exact": no_figure,
        }]);
    };
    assert_eq!(places(&band), ["/count_models/0/band"]);
    let twice = |document: &mut Value| {
        let mut again = document["protocol"]["primary"][0].clone();
        again["smallest_worthwhile"] = json!(2);
        let primary = document["protocol"]["primary"].as_array_mut().unwrap();
        primary.push(again);
    };
    assert_eq!(places(&twice), ["/protocol/primary/1"]);
}
