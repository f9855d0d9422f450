//! Contributions built to be admissible, and the laws of their effects.

use super::{runner, study, verdict};
use proptest::collection::vec;
use proptest::prelude::*;
use proptest::sample::select;
use serde_json::{Value, json};
use std::cell::Cell;
use tautpool::effects::spread::CrowdSpread;
use tautpool::effects::{self, PairEffects};
use tautpool::protocol::Study;
use tautpool::vocabulary::VarianceSource;

/// How a number of shots out of others is said.
#[derive(Clone, Copy, Debug)]
enum Said {
    Not,
    AsCount,
    AsPercent,
    AsPercentOfHit,
}

fn any_said() -> impl Strategy<Value = Said> {
    select(vec![
        Said::Not,
        Said::AsCount,
        Said::AsPercent,
        Said::AsPercentOfHit,
    ])
}

/// Not above the exact percentage, so that the nearest count is `part` again.
fn percent(part: u32, whole: u32) -> Value {
    json!(f64::from(part * 10_000 / whole) / 100.0)
}

/// One shot line whose figures agree with each other.
///
/// Speeds lie within a tenth of 90 km/h, so that any two of them pass for one player's.
fn any_line(stroke: &'static str, over: &'static str) -> impl Strategy<Value = Value> {
    let shots = (1..150_u32, any::<f64>(), any::<f64>()).prop_map(move |(hit, in_, deep)| {
        let part = |of: u32, draw: f64| u32::try_from(draw.to_bits() % u64::from(of + 1)).unwrap();
        // A mean speed over the shots in needs at least one.
        let n_in = part(hit, in_).max(u32::from(over == "in"));
        (hit, n_in, part(n_in, deep))
    });
    let speed = (
        8_100..9_900_u32,
        prop::option::of(100..4_000_u32),
        any::<bool>(),
    );
    let divisor = select(vec!["n-1", "n", "unknown"]);
    let timed = prop::option::of(0..150_u32);
    (shots, any_said(), any_said(), speed, divisor, timed).prop_map(
        move |((hit, n_in, n_deep), said_in, said_deep, (mean, sd, mph), divisor, timed)| {
            let mut line = json!({"stroke": stroke, "direction": "all", "hit": hit});
            match said_in {
                Said::Not => {}
                Said::AsCount => line["in"] = json!(n_in),
                Said::AsPercent | Said::AsPercentOfHit => line["in_percent"] = percent(n_in, hit),
            }
            match said_deep {
                Said::AsCount => line["deep"] = json!(n_deep),
                Said::AsPercent if 0 < n_in => {
                    line["deep_percent"] = percent(n_deep, n_in);
                    line["deep_percent_of"] = json!("in");
                }
                Said::AsPercentOfHit => {
                    line["deep_percent"] = percent(n_deep, hit);
                    line["deep_percent_of"] = json!("hit");
                }
                Said::Not | Said::AsPercent => {}
            }
            let entered = |hundredths: u32| {
                let hundredths = f64::from(hundredths);
                let hundredths = if mph {
                    hundredths / 1.609_344
                } else {
                    hundredths
                };
                json!(hundredths.ceil() / 100.0)
            };
            line["speed_mean"] = entered(mean);
            line["speed_unit"] = json!(if mph { "mph" } else { "km/h" });
            line["speed_over"] = json!(over);
            line["sd_divisor"] = json!(divisor);
            if let Some(sd) = sd {
                line["speed_sd"] = entered(sd);
            }
            let there_were = if over == "in" { n_in } else { hit };
            if let Some(timed) = timed.filter(|timed| (1..=there_were).contains(timed)) {
                line["speed_n"] = json!(timed);
            }
            line
        },
    )
}

/// An admissible contribution with one or two sessions of each arm, arms alternating.
fn any_contribution() -> impl Strategy<Value = Value> {
    let over = select(vec!["all", "in", "unknown"]);
    let tensions = (3_500..5_500_u32, 1..1_500_u32);
    let rounds = 1..=2_usize;
    (over, tensions, rounds, any::<bool>()).prop_flat_map(
        |(over, (looser, gap), rounds, serves)| {
            let strokes = if serves {
                vec!["forehand", "serve"]
            } else {
                vec!["forehand"]
            };
            let table: Vec<_> = strokes
                .iter()
                .map(|stroke| any_line(stroke, over))
                .collect();
            vec(table, 2 * rounds).prop_map(move |tables| {
                let sessions = tables.into_iter().enumerate().map(|(place, shots)| {
                    let (arm, hundredths) = if place % 2 == 0 {
                        ("looser", looser)
                    } else {
                        ("tighter", looser + gap)
                    };
                    let mains = f64::from(hundredths) / 100.0;
                    json!({"arm": arm, "tension": {"mains": mains, "unit": "lb"}, "shots": shots})
                });
                json!({
                    "study": "demo-of-the-corpus",
                    "consent": {"text_version": "1", "adult": true, "scope": "pooling"},
                    "sessions": sessions.collect::<Vec<_>>(),
                })
            })
        },
    )
}

/// The same sessions with the shot tables of the arms exchanged.
fn with_tables_swapped(document: &Value) -> Value {
    let mut swapped = document.clone();
    for pair in swapped["sessions"]
        .as_array_mut()
        .unwrap()
        .chunks_exact_mut(2)
    {
        let looser = pair[0]["shots"].take();
        pair[0]["shots"] = pair[1]["shots"].take();
        pair[1]["shots"] = looser;
    }
    swapped
}

fn effects_of(document: &Value, study: &Study) -> Result<PairEffects, TestCaseError> {
    let admitted = verdict(document, study)
        .map_err(|rejection| TestCaseError::fail(format!("{:?}", rejection.faults)))?;
    effects::of_pair(
        &admitted.contribution,
        &study.protocol,
        &CrowdSpread::default(),
    )
    .ok_or_else(|| TestCaseError::fail("an arm is absent"))
}

#[test]
fn admitted_contributions_have_finite_effects_with_positive_variance() {
    let study = study();
    let (n_effects, n_left_out) = (Cell::new(0), Cell::new(0));
    runner(800)
        .run(&any_contribution(), |document| {
            let pair = effects_of(&document, &study)?;
            for effect in &pair.effects {
                prop_assert!(effect.estimate.is_finite(), "{effect:?}");
                prop_assert!(effect.variance.is_finite(), "{effect:?}");
                prop_assert!(0.0 < effect.variance, "{effect:?}");
                prop_assert!(effect.source != VarianceSource::BorrowedCv, "{effect:?}");
            }
            n_effects.set(n_effects.get() + pair.effects.len());
            n_left_out.set(n_left_out.get() + pair.left_out.len());
            Ok(())
        })
        .unwrap();
    // The law would hold for nothing if the documents had hardly any effects.
    let (n_effects, n_left_out) = (n_effects.get(), n_left_out.get());
    assert!(800 < n_effects, "{n_effects} effects");
    assert!(n_left_out < 3 * n_effects, "{n_left_out} left out");
}

#[test]
fn every_valid_document_of_the_corpus_has_finite_effects() {
    let study = study();
    for document in super::valid_values() {
        let pair = effects_of(&document, &study).unwrap();
        for effect in pair.effects {
            assert!(effect.estimate.is_finite(), "{effect:?}");
            assert!(
                effect.variance.is_finite() && 0.0 < effect.variance,
                "{effect:?}"
            );
        }
    }
}

#[test]
fn swapping_the_arms_tables_changes_the_sign_of_every_effect() {
    let study = study();
    runner(800)
        .run(&any_contribution(), |document| {
            let here = effects_of(&document, &study)?;
            let there = effects_of(&with_tables_swapped(&document), &study)?;
            prop_assert_eq!(here.gap, there.gap);
            prop_assert_eq!(here.left_out.len(), there.left_out.len());
            prop_assert_eq!(here.effects.len(), there.effects.len());
            for (one, other) in here.effects.iter().zip(&there.effects) {
                prop_assert_eq!((one.outcome, one.class), (other.outcome, other.class));
                prop_assert_eq!(one.source, other.source);
                prop_assert_eq!(one.variance.to_bits(), other.variance.to_bits());
                // A difference of exactly 0 keeps its sign, so the sum is compared.
                prop_assert!(
                    (one.estimate + other.estimate).abs() <= 0.0,
                    "{one:?} {other:?}"
                );
            }
            Ok(())
        })
        .unwrap();
}
