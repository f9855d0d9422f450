//! The crowd against the real intake and the real effects.

use super::*;
use crate::contribution::Contribution;
use crate::effects;
use crate::effects::spread::CrowdSpread;
use crate::intake;
use crate::protocol::{GapBand, Study};
use crate::vocabulary::{Direction, ShotClass, Stroke};
use std::collections::{BTreeMap, BTreeSet};

const FOREHAND: ShotClass = ShotClass {
    stroke: Stroke::Forehand,
    direction: Direction::All,
};

fn settings() -> Settings {
    Settings::embedded().unwrap()
}

fn study() -> Study {
    intake::study(include_bytes!("../../../fixtures/demo/study.json")).unwrap()
}

fn admitted(sent: &Sent, study: &Study) -> Option<Contribution> {
    intake::contribution(sent.document.as_bytes(), study)
        .ok()
        .map(|admitted| admitted.contribution)
}

/// Mean and its standard error; each value stands for one player.
fn mean_and_error(values: &[f64]) -> (f64, f64) {
    let n = values.len() as f64;
    let mean = values.iter().sum::<f64>() / n;
    let squares: f64 = values.iter().map(|value| (value - mean).powi(2)).sum();
    (mean, (squares / (n - 1.0) / n).sqrt())
}

/// Estimated effect minus truth at the gap, averaged within each honest player.
fn misses(settings: &Settings, study: &Study) -> BTreeMap<Outcome, Vec<f64>> {
    let mut by_player: BTreeMap<(Outcome, usize), Vec<f64>> = BTreeMap::new();
    for sent in crowd(settings) {
        if sent.kind != Kind::Honest {
            continue;
        }
        let contribution = admitted(&sent, study).unwrap();
        let pair = effects::of_pair(&contribution, &study.protocol, &CrowdSpread::default());
        for effect in pair.unwrap().effects {
            if effect.class == FOREHAND {
                let miss = effect.estimate - truth(settings, effect.outcome, sent.gap_lb);
                let place = (effect.outcome, sent.player);
                by_player.entry(place).or_default().push(miss);
            }
        }
    }
    let mut misses: BTreeMap<Outcome, Vec<f64>> = BTreeMap::new();
    for ((outcome, _), own) in by_player {
        let mean = own.iter().sum::<f64>() / own.len() as f64;
        misses.entry(outcome).or_default().push(mean);
    }
    misses
}

#[test]
fn the_settings_speak_of_the_demo_study() {
    let (settings, study) = (settings(), study());
    assert!(study.label.invented);
    assert_eq!(settings.study, study.label.slug);
    assert_eq!(
        settings.consent_text_version,
        study.protocol.consent.version
    );
}

#[test]
fn the_same_settings_give_the_same_bytes_and_another_seed_gives_others() {
    let mut settings = settings();
    let first = crowd(&settings);
    assert_eq!(first, crowd(&settings));
    settings.seed += 1;
    assert_ne!(first, crowd(&settings));
}

#[test]
fn honest_contributions_pass_intake_with_the_gap_they_say() {
    let (settings, study) = (settings(), study());
    let mut sound = crowd(&settings);
    sound.retain(|sent| sent.kind == Kind::Honest);
    sound.extend(more(&settings, 0, 60));
    for sent in sound {
        let admitted = intake::contribution(sent.document.as_bytes(), &study);
        let contribution = admitted.unwrap().contribution;
        let gap = contribution.gap().unwrap().pounds();
        assert!((gap - sent.gap_lb).abs() < 1e-9, "{gap} {}", sent.gap_lb);
    }
}

#[test]
fn forgeries_and_broken_off_sessions_pass_and_every_slip_is_refused() {
    let (settings, study) = (settings(), study());
    let mut codes = BTreeSet::new();
    let (mut n_refused, mut n_accepted) = (0, 0);
    for sent in crowd(&settings) {
        match intake::contribution(sent.document.as_bytes(), &study) {
            Ok(admitted) => {
                n_accepted += 1;
                if sent.kind == Kind::Unfinished {
                    let pair = effects::of_pair(
                        &admitted.contribution,
                        &study.protocol,
                        &CrowdSpread::default(),
                    );
                    assert!(pair.unwrap().effects.is_empty());
                }
            }
            Err(rejection) => {
                n_refused += 1;
                assert_eq!(sent.kind, Kind::Unfinished, "{rejection:?}");
                codes.extend(rejection.faults.iter().map(|fault| fault.code.code()));
            }
        }
    }
    assert_eq!(n_refused, settings.others.slips);
    assert!(240 <= n_accepted, "{n_accepted}");
    for code in [
        "in_more_than_hit",
        "speeds_far_apart",
        "looser_not_looser",
        "too_large",
        "deep_more_than_in",
        "tension_out_of_bounds",
        "arm_missing",
        "order_repeated",
        "spin_sum",
        "too_many_decimals",
        "consent_outdated",
    ] {
        assert!(codes.contains(code), "{code} in {codes:?}");
    }
}

#[test]
fn a_forger_sends_somebody_elses_contribution_again() {
    let sent = crowd(&settings());
    let copies: Vec<usize> = (0..sent.len())
        .filter(|place| {
            sent[..*place]
                .iter()
                .any(|earlier| earlier.document == sent[*place].document)
        })
        .collect();
    assert_eq!(copies.len(), 1);
    assert_eq!(sent[copies[0]].kind, Kind::Forgery);
}

#[test]
fn every_band_has_its_players_and_further_pairs_come_after_the_first() {
    let (settings, study) = (settings(), study());
    let mut players: BTreeMap<GapBand, BTreeSet<usize>> = BTreeMap::new();
    let mut pairs: BTreeMap<usize, usize> = BTreeMap::new();
    let first_gap_of: Vec<f64> = first_gaps(&settings).map(GapPlayers::pounds).collect();
    for sent in crowd(&settings) {
        if sent.kind != Kind::Honest {
            continue;
        }
        let n_pairs = pairs.entry(sent.player).or_default();
        if *n_pairs == 0 {
            assert_eq!(sent.gap_lb.to_bits(), first_gap_of[sent.player].to_bits());
        }
        *n_pairs += 1;
        let contribution = admitted(&sent, &study).unwrap();
        let band = study
            .protocol
            .analysis
            .bands
            .band_of(contribution.gap().unwrap());
        players.entry(band).or_default().insert(sent.player);
    }
    let n = |band| players.get(&band).map_or(0, BTreeSet::len);
    assert!(5 <= n(GapBand::UnderProtocol));
    for place in 0..3 {
        assert!(50 <= n(GapBand::Numbered(place)), "{players:?}");
    }
    assert!(25 <= n(GapBand::Numbered(3)));
    let several = pairs.values().filter(|n_pairs| 1 < **n_pairs).count();
    let part = several as f64 / pairs.len() as f64;
    // 12 % of about 235 players, within three standard errors of 2 %.
    assert!(0.06 < part && part < 0.19, "{part}");
}

#[test]
fn newcomers_are_new_and_do_not_depend_on_how_many_come_at_once() {
    let settings = settings();
    let known: BTreeSet<usize> = crowd(&settings).iter().map(|sent| sent.player).collect();
    let at_once = more(&settings, 0, 12);
    let mut in_turn = more(&settings, 0, 5);
    in_turn.extend(more(&settings, 5, 7));
    assert_eq!(at_once, in_turn);
    let new: BTreeSet<usize> = at_once.iter().map(|sent| sent.player).collect();
    assert_eq!(new.len(), 12);
    assert!(known.is_disjoint(&new));
}

#[test]
fn the_players_true_effects_average_to_the_truth() {
    let settings = settings();
    let people: Vec<Person> = (0..20_000)
        .map(|player| Person::new(&settings, &mut stream_of(&settings, player)))
        .collect();
    for outcome in Outcome::PRIMARY {
        let own: Vec<f64> = people
            .iter()
            .map(|person| {
                person.true_effect(&settings, *outcome, 10.0) - truth(&settings, *outcome, 10.0)
            })
            .collect();
        let (mean, error) = mean_and_error(&own);
        assert!(mean.abs() <= 4.0 * error, "{outcome:?}: {mean} +- {error}");
        let sd = error * (own.len() as f64).sqrt();
        let asked = settings.truth.of(*outcome).player_sd;
        // The normals are cut at three standard deviations, which takes 1.3 %.
        assert!((sd / asked - 0.987).abs() < 0.02, "{outcome:?}: {sd}");
    }
}

#[test]
fn estimated_effects_are_unbiased_over_several_seeds() {
    let (mut settings, study) = (settings(), study());
    let embedded = settings.seed;
    let mut all: BTreeMap<Outcome, Vec<f64>> = BTreeMap::new();
    for step in 0..6 {
        settings.seed = embedded + step;
        for (outcome, misses) in misses(&settings, &study) {
            let (mean, error) = mean_and_error(&misses);
            assert!(
                mean.abs() <= 4.0 * error,
                "{outcome:?} {step}: {mean} +- {error}"
            );
            all.entry(outcome).or_default().extend(misses);
        }
    }
    assert_eq!(all.len(), Outcome::PRIMARY.len());
    for (outcome, misses) in all {
        let (mean, error) = mean_and_error(&misses);
        assert!(mean.abs() <= 4.0 * error, "{outcome:?}: {mean} +- {error}");
    }
}
