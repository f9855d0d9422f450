use super::{ForgeryKind, forge, forged_with_original};
use std::collections::BTreeSet;
use tautpool::protocol::Study;
use tautpool::{demo, intake};

const N_SEEDS: u64 = 20;

fn study() -> Study {
    intake::study(demo::STUDY.as_bytes()).unwrap()
}

#[test]
fn every_forgery_and_every_original_passes_the_door() {
    let study = study();
    let mut refused = Vec::new();
    for &kind in ForgeryKind::ALL {
        for seed in 0..N_SEEDS {
            let (original, forged) = forged_with_original(kind, seed);
            for document in original.iter().chain([&forged]) {
                if let Err(rejection) = intake::contribution(document.as_bytes(), &study) {
                    refused.push(format!("{kind:?} {seed}: {rejection:?}"));
                }
            }
        }
    }
    assert!(refused.is_empty(), "{}", refused.join("\n"));
}

#[test]
fn seeds_vary_and_the_same_seed_forges_the_same() {
    for &kind in ForgeryKind::ALL {
        let forged: BTreeSet<String> = (0..N_SEEDS).map(|seed| forge(kind, seed)).collect();
        assert_eq!(forged.len() as u64, N_SEEDS, "{kind:?}");
        assert_eq!(forge(kind, 7), forged_with_original(kind, 7).1, "{kind:?}");
    }
}

#[test]
fn only_copies_need_an_original_and_none_is_the_original() {
    for &kind in ForgeryKind::ALL {
        let copies = [ForgeryKind::ResentCopy, ForgeryKind::ReworkedCopy].contains(&kind);
        for seed in 0..N_SEEDS {
            let (original, forged) = forged_with_original(kind, seed);
            assert_eq!(original.is_some(), copies, "{kind:?}");
            assert_ne!(original, Some(forged), "{kind:?} {seed}");
        }
    }
}

#[test]
fn kinds_have_names_of_their_own() {
    let names: BTreeSet<&str> = ForgeryKind::ALL.iter().map(|kind| kind.name()).collect();
    assert_eq!(names.len(), ForgeryKind::ALL.len());
}
