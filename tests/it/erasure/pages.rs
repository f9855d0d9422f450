//! Pages of the database that were divided, merged and used again keep nothing of what was erased, once
//! the file was written anew.

use super::traces;
use crate::harness;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use std::collections::BTreeSet;
use tautpool::store::{
    Durability, Held, Mended, Most, NewContribution, Recorded, Screened, Sender, Store, Version,
    Withdrawn,
};
use tautpool::vocabulary::{ConsentScope, CorrectionReason, State};
use uuid::Uuid;

const STUDY: &str = "pages";

/// A document that names itself all over, of some 50 bytes to some pages.
fn document(name: &str, n_times: usize) -> Vec<u8> {
    format!("{name}! ").repeat(n_times).into_bytes()
}

fn version<'a>(document: &'a [u8], now_ms: i64, screened: &'a Screened) -> Version<'a> {
    Version {
        received_at_ms: now_ms,
        protocol_version: 1,
        consent_scope: ConsentScope::Pooling,
        consent_text_version: "1",
        consent_text_sha256: [7; 32],
        plan_code: None,
        gap_nanograms: 1_000_000,
        document,
        screened,
    }
}

struct Sent {
    contribution: Uuid,
    receipt_hash: [u8; 32],
    names: Vec<String>,
}

impl Sent {
    fn held(&self) -> Held<'_> {
        Held {
            study: STUDY,
            receipt_hash: self.receipt_hash,
            contribution: self.contribution,
        }
    }
}

fn submit(store: &Store, document: &[u8], number: i64) -> ([u8; 32], Uuid) {
    let mut receipt_hash = [0; 32];
    receipt_hash[..8].copy_from_slice(&number.to_be_bytes());
    let screened = Screened::default();
    let new = NewContribution {
        study: STUDY,
        uuid: Uuid::now_v7(),
        sender: Sender::New {
            player: Uuid::new_v4(),
            receipt_hash,
        },
        invitation: None,
        request: None,
        state: State::Accepted,
        version: version(document, number, &screened),
        pairs_per_player: 24,
        bytes_per_player: i64::MAX,
        batch_players: 5,
    };
    let recorded = store.together(|writing| writing.submit(&new));
    let Recorded::Stored { contribution, .. } = recorded.unwrap() else {
        unreachable!("it is new");
    };
    (receipt_hash, contribution)
}

#[test]
fn after_any_order_of_sending_mending_and_withdrawing_only_what_is_kept_is_found() {
    for seed in 0..harness::runs(3, 100) {
        let folder = tempfile::tempdir().unwrap();
        let store = Store::open(folder.path(), Durability::None).unwrap();
        store.add_study(STUDY, b"{}", 0).unwrap();
        store.open_recruiting(STUDY, &[0; 32], 0).unwrap();
        let mut random = ChaCha8Rng::seed_from_u64(seed);
        let (mut here, mut number) = (Vec::<Sent>::new(), 0);
        for _ in 0..400 {
            number += 1;
            let name = format!("trace-{seed}-{number}");
            let n_times = 1 << random.random_range(2..11);
            let document = document(&name, n_times);
            let chosen = random.random_range(0..here.len().max(1));
            match random.random_range(0..10) {
                0..5 => {
                    let (receipt_hash, contribution) = submit(&store, &document, number);
                    here.push(Sent {
                        contribution,
                        receipt_hash,
                        names: vec![name],
                    });
                }
                5..7 if !here.is_empty() => {
                    let screened = Screened::default();
                    let version = version(&document, number, &screened);
                    let most = Most {
                        versions: 24,
                        bytes: i64::MAX,
                    };
                    let mended = store.together(|writing| {
                        let held = here[chosen].held();
                        writing.mend(&held, &version, CorrectionReason::Other, most)
                    });
                    assert_eq!(mended.unwrap(), Mended::Stored);
                    here[chosen].names.push(name);
                }
                _ if !here.is_empty() => {
                    let gone = here.swap_remove(chosen);
                    let withdrawn = store.withdraw(&gone.held(), number, 5).unwrap();
                    assert!(matches!(withdrawn, Withdrawn::Done { .. }));
                }
                _ => {}
            }
        }
        // Those that still count go with a batch that is not shown.
        store.keep_promises(STUDY, number, number).unwrap();
        assert!(store.rewrite().unwrap(), "something was erased");
        assert!(!store.rewrite().unwrap(), "and nothing since");
        let kept: BTreeSet<String> = here.into_iter().flat_map(|sent| sent.names).collect();
        assert!(20 < kept.len());
        let found = traces(folder.path());
        let left: Vec<&String> = found.difference(&kept).collect();
        assert!(left.is_empty(), "seed {seed}: {left:?}");
        assert_eq!(found.len(), kept.len(), "what is kept is found");
    }
}
