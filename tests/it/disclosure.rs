//! What may be shown: consent, fewest players, numbers of groups, rounding, and that nothing
//! private stands in a public document.

#![expect(
    clippy::indexing_slicing,
    clippy::unwrap_used,
    reason = "a test stops at what it did not expect"
)]

mod attack;
mod differencing;

use crate::corpus;
use crate::harness::{Pair, STUDY, STUDY_FILE, contribution, recruit, varied};
use serde_json::{Value, json};
use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::sync::Arc;
use tautpool::disclosure::{
    self, Census, CountedPair, CountedPlayer, Everybody, Gathered, Gathering, Outsider,
};
use tautpool::effects::{self, spread::CrowdSpread};
use tautpool::findings::{Analysis, Choice, FirstVersions, Month, Publication, Row};
use tautpool::intake;
use tautpool::pages;
use tautpool::pooling::Level;
use tautpool::protocol::{AnalysisRules, GapBand, GapBands};
use tautpool::receipt::ReceiptKey;
use tautpool::service::{Accepted, Incoming, Public, Service};
use tautpool::vocabulary::Outcome;
use uuid::Uuid;

/// Any time will do.
const NOW_MS: i64 = 1_800_000_000_000;

const POOLING_ONLY: &str = "pooling";

/// Pairs as the service counts them, each with the number of its player.
fn counted(pairs: &[(u32, Pair)], batch: i64) -> Vec<CountedPair> {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join(ReceiptKey::FILE), [7; 32]).unwrap();
    let key = ReceiptKey::of_folder(folder.path()).unwrap();
    let study = corpus::study();
    let crowd = CrowdSpread::default();
    let one = |(place, (player, pair)): (usize, &(u32, Pair))| {
        let uuid = Uuid::from_u128(u128::from(*player));
        let document = contribution(*pair).to_string();
        let admitted = intake::contribution(document.as_bytes(), &study).unwrap();
        let contribution = admitted.contribution;
        let player = CountedPlayer {
            number: usize::try_from(*player).unwrap(),
            group_order: key.group_order(STUDY, batch, uuid),
            hiding_order: key.hiding_order(STUDY, uuid),
            identity: Outsider {
                player: u128::from(*player),
                contribution: u128::try_from(place).unwrap(),
                version: 1,
            },
            month: Month {
                year: 2026,
                month: 11,
            },
            planned: false,
        };
        let pair = effects::of_pair(&contribution, &study.protocol, &crowd).unwrap();
        CountedPair::new(&contribution, pair, &crowd, player)
    };
    pairs.iter().enumerate().map(one).collect()
}

fn rows(pairs: &[(u32, Pair)]) -> Vec<Row> {
    rows_of(&counted(pairs, 1))
}

/// A publication of nothing but rows.
fn publication(rows: Vec<Row>) -> Publication {
    let study = corpus::study();
    Publication {
        study: study.label,
        batch: None,
        protocol_version: 1,
        level: Level::NINETY_FIVE,
        rows: rows.into_iter().collect(),
        rules: study.protocol.analysis,
        frames: Vec::new(),
        pairs_left_out: 0,
        first_versions: Vec::new(),
        reached: Vec::new(),
        session_spreads: Vec::new(),
        count_models: Vec::new(),
        plans: None,
    }
}

/// Pairs as counted where those that differ from what was first sent were corrected since.
fn corrected(pairs: &[(u32, Pair)], first: &[(u32, Pair)]) -> Vec<CountedPair> {
    let counted_now = counted(pairs, 1).into_iter();
    counted_now
        .zip(counted(first, 1))
        .map(|(now, first)| {
            if now.pair == first.pair {
                now
            } else {
                now.corrected_from(first.pair)
            }
        })
        .collect()
}

fn rows_of(counted: &[CountedPair]) -> Vec<Row> {
    let rules = corpus::study().protocol.analysis;
    gathered(counted, &rules).rows.iter().collect()
}

/// What pairs come to, in the order in which they came.
fn gathered(counted: &[CountedPair], rules: &AnalysisRules) -> Gathered {
    let mut census = Census::default();
    for counted in counted {
        census.count(counted);
    }
    let kept = census.kept(rules);
    let mut gathering = Gathering::new(&kept, rules);
    for counted in counted {
        gathering.take(counted).unwrap();
    }
    gathering.gathered(Level::NINETY_FIVE).unwrap()
}

fn everybody(pairs: &[(u32, Pair)]) -> Vec<Everybody> {
    everybody_of(&counted(pairs, 1))
}

fn everybody_of(counted: &[CountedPair]) -> Vec<Everybody> {
    let rules = corpus::study().protocol.analysis;
    let everyone = gathered(counted, &rules).everyone;
    let shown = everyone.shown(&rules, Level::NINETY_FIVE, 1, &BTreeMap::new());
    let figures = shown.unwrap().into_iter().map(|shown| shown.figure);
    figures.collect()
}

/// So many players with one pair each, numbered from a first one.
fn players(first: u32, n: u32, like: impl Fn(Pair) -> Pair) -> Vec<(u32, Pair)> {
    (first..first + n)
        .map(|number| (number, like(varied(number))))
        .collect()
}

const fn consenting(pair: Pair) -> Pair {
    pair
}

const fn pooling_only(pair: Pair) -> Pair {
    Pair {
        scope: POOLING_ONLY,
        ..pair
    }
}

/// A gap of nine pounds instead of six: the next band.
const fn wider(pair: Pair) -> Pair {
    Pair {
        tensions: (46.0, 55.0),
        ..pair
    }
}

/// The band of the gap of six pounds.
const USUAL: GapBand = GapBand::Numbered(0);
/// The band of the gap of nine pounds.
const WIDER: GapBand = GapBand::Numbered(1);

#[test]
fn only_a_player_who_agreed_has_rows() {
    let pairs = [players(0, 6, consenting), players(6, 9, pooling_only)].concat();
    let rows = rows(&pairs);
    // Three outcomes of six players.
    assert_eq!(rows.len(), 18);
    let groups: BTreeSet<u32> = rows.iter().map(|row| row.group).collect();
    assert_eq!(groups.len(), 6);
}

#[test]
fn nothing_is_said_where_there_are_too_few_players() {
    let four = [players(0, 5, consenting), players(5, 4, wider)].concat();
    let published = rows(&four);
    assert!(published.iter().all(|row| row.band == USUAL));
    let publication = publication(published);
    for analysis in publication.analyse(Choice::default()).unwrap().analyses {
        assert_eq!(analysis.result.is_ok(), analysis.key.band == USUAL);
        // A secondary outcome is not even named where nothing is shown of it.
        assert!(analysis.key.outcome != Outcome::InShare || analysis.result.is_ok());
    }
    // A fifth pair by one of the four is not a fifth player; another player is.
    let same = [four.clone(), vec![(5, wider(varied(1)))]].concat();
    assert!(rows(&same).iter().all(|row| row.band == USUAL));
    let fifth = [four, vec![(9, wider(varied(1)))]].concat();
    let wider = rows(&fifth).iter().filter(|row| row.band == WIDER).count();
    assert_eq!(wider, 15);
}

#[test]
fn players_without_rows_are_told_of_together_or_not_at_all() {
    let pairs = [players(0, 4, consenting), players(4, 4, pooling_only)].concat();
    assert_eq!(rows(&pairs), []);
    // Eight players without a row: one figure over all of them.
    let figures = everybody(&pairs);
    assert_eq!(figures.len(), 3);
    assert!(figures.iter().all(|figure| figure.players_at_least == 5));
    assert_eq!(everybody(&pairs[..4]), []);
}

/// Five players with three pairs each, alike but for their figures, and others with one.
fn with_three_pairs_each() -> Vec<(u32, Pair)> {
    let mut pairs = players(0, 10, consenting);
    pairs.extend(players(0, 5, consenting));
    pairs.extend(players(0, 5, wider));
    pairs.extend(players(10, 5, wider));
    pairs
}

#[test]
fn pairs_of_one_player_have_numbers_of_their_own_even_when_alike() {
    let rows = rows(&with_three_pairs_each());
    let mut of_group: BTreeMap<u32, BTreeSet<u32>> = BTreeMap::new();
    let mut keys = BTreeSet::new();
    for row in &rows {
        of_group.entry(row.group).or_default().insert(row.pair);
        // One pair has one row for each outcome, class and band.
        assert!(keys.insert((row.group, row.pair, row.key())), "{row:?}");
    }
    let with_three = of_group.values().filter(|pairs| pairs.len() == 3).count();
    assert_eq!((of_group.len(), with_three), (15, 5));
    for pairs in of_group.values() {
        assert!(pairs.iter().copied().eq((1..).take(pairs.len())));
    }
}

#[test]
fn pairs_are_left_out_until_enough_players_have_pairs_in_the_same_bands() {
    let bands = |pairs: &[(u32, Pair)]| {
        let mut of_group: BTreeMap<u32, Vec<GapBand>> = BTreeMap::new();
        let speeds = rows(pairs).into_iter();
        for row in speeds.filter(|row| row.outcome == Outcome::Speed) {
            of_group.entry(row.group).or_default().push(row.band);
        }
        let mut bands: BTreeMap<Vec<GapBand>, usize> = BTreeMap::new();
        for mut of_group in of_group.into_values() {
            of_group.sort_unstable();
            *bands.entry(of_group).or_default() += 1;
        }
        bands
    };
    let all = with_three_pairs_each();
    let three = vec![USUAL, USUAL, WIDER];
    assert_eq!(
        bands(&all),
        BTreeMap::from([(vec![USUAL], 5), (three, 5), (vec![WIDER], 5)])
    );
    // Without one of the five, the other four lose a pair, and where four have two, another.
    let four: Vec<_> = all
        .iter()
        .filter(|(player, _)| *player != 0)
        .copied()
        .collect();
    assert_eq!(
        bands(&four),
        BTreeMap::from([(vec![USUAL], 9), (vec![WIDER], 5)])
    );
    // Players who are left with nothing in a band of too few have no rows at all.
    let lone = [players(0, 9, consenting), players(9, 3, wider)].concat();
    assert_eq!(bands(&lone), BTreeMap::from([(vec![USUAL], 9)]));
}

#[test]
fn groups_are_numbered_without_gaps_and_anew_in_every_batch() {
    // The estimate tells the players apart. Those in the wider band are too few for rows, and
    // must leave no holes in the numbers.
    let told_apart = |number: u32| Pair {
        speeds: (100.0 + f64::from(number), 100.0),
        ..Pair::default()
    };
    let twenty: Vec<(u32, Pair)> = (0..20).map(|number| (number, told_apart(number))).collect();
    let others = [players(20, 4, wider), players(24, 4, pooling_only)].concat();
    let pairs = [twenty, others].concat();
    let mut numberings = BTreeSet::new();
    for batch in 1..=5 {
        let mut speeds = rows_of(&counted(&pairs, batch));
        speeds.retain(|row| row.outcome == Outcome::Speed);
        speeds.sort_by(|a, b| a.estimate.total_cmp(&b.estimate));
        let as_they_came: Vec<u32> = speeds.iter().map(|row| row.group).collect();
        let groups: BTreeSet<u32> = as_they_came.iter().copied().collect();
        assert!(groups.into_iter().eq(1..=20));
        assert!(!as_they_came.is_sorted());
        numberings.insert(as_they_came);
    }
    assert_eq!(numberings.len(), 5);
}

#[test]
fn rows_of_one_player_hang_together_and_of_two_do_not() {
    // The second pair of each tells whose it is: 20 more than the first.
    let second = |pair: Pair| Pair {
        speeds: (pair.speeds.0 + 20.0, pair.speeds.1),
        ..pair
    };
    let pairs = [players(0, 6, consenting), players(0, 6, second)].concat();
    let mut estimates: BTreeMap<u32, Vec<f64>> = BTreeMap::new();
    for row in rows(&pairs)
        .iter()
        .filter(|row| row.outcome == Outcome::Speed)
    {
        estimates.entry(row.group).or_default().push(row.estimate);
    }
    assert_eq!(estimates.len(), 6);
    for both in estimates.values() {
        assert_eq!(both.len(), 2);
        assert!((both[1] - both[0] - 20.0).abs() < 0.11, "{both:?}");
    }
}

#[test]
fn rows_are_rounded_and_close_to_what_they_were() {
    let odd = |pair: Pair| Pair {
        speeds: (pair.speeds.0 + 0.07, 99.46),
        sd: pair.sd.map(|sd| sd + 0.13),
        tensions: (46.11, 52.48),
        ..pair
    };
    let pairs = players(0, 9, odd);
    let exact: Vec<_> = counted(&pairs, 1)
        .into_iter()
        .flat_map(|pair| pair.pair.effects)
        .collect();
    let rows = rows(&pairs);
    assert_eq!(rows.len(), exact.len());
    for row in rows {
        assert_eq!(row.gap_lb, 6);
        let estimate = row.estimate.to_string();
        let decimals = estimate
            .split_once('.')
            .map_or(0, |(_, decimals)| decimals.len());
        assert!(decimals <= 1, "{estimate}");
        let variance = format!("{:e}", row.variance);
        let (digits, _) = variance.split_once('e').unwrap();
        assert!(digits.len() <= "1.23".len(), "{variance}");
        let near = exact
            .iter()
            .filter(|effect| effect.outcome == row.outcome)
            .any(|effect| {
                (effect.estimate - row.estimate).abs() <= 0.0501
                    && (effect.variance / row.variance - 1.0).abs() <= 0.0051
            });
        assert!(near, "{row:?}");
    }
}

/// What first versions would have given for the speed of the usual band, from the pairs as they
/// count and as they were sent.
fn first_speed(counted: &[CountedPair]) -> Option<FirstVersions> {
    let rules = corpus::study().protocol.analysis;
    let gathered = gathered(counted, &rules);
    let publication = publication(gathered.rows.iter().collect());
    let found = gathered.first_versions(&publication).unwrap();
    found
        .into_iter()
        .find(|first| first.key.outcome == Outcome::Speed)
}

/// What was sent at first by so many of the players.
fn faster_by_ten(pairs: &[(u32, Pair)], n: usize) -> Vec<(u32, Pair)> {
    let faster = |pair: Pair| Pair {
        speeds: (pair.speeds.0 + 10.0, pair.speeds.1),
        ..pair
    };
    let pairs = pairs.iter().enumerate();
    pairs
        .map(|(place, (player, pair))| (*player, if place < n { faster(*pair) } else { *pair }))
        .collect()
}

#[test]
fn what_was_sent_first_is_told_of_five_players_together_and_of_nobody_alone() {
    let pairs = players(0, 12, consenting);
    for n in 0..=4 {
        assert_eq!(
            first_speed(&corrected(&pairs, &faster_by_ten(&pairs, n))),
            None
        );
    }
    for (n, at_least) in [(5, 5), (9, 5), (10, 10), (12, 10)] {
        let counted = corrected(&pairs, &faster_by_ten(&pairs, n));
        let first = first_speed(&counted).unwrap();
        assert_eq!(first.corrected_at_least, at_least);
        // Rows tell nothing of it.
        assert_eq!(rows_of(&counted), rows(&pairs));
    }
    // Were all of them ten faster, so is the estimate; to 0.1.
    let all = first_speed(&corrected(&pairs, &faster_by_ten(&pairs, 12))).unwrap();
    let now = publication(rows(&pairs))
        .analyse(Choice::default())
        .unwrap();
    let is_speed =
        |analysis: &&Analysis| analysis.key.outcome == Outcome::Speed && analysis.key.band == USUAL;
    let speed = now.analyses.iter().find(is_speed).unwrap();
    let shown = speed.result.as_ref().unwrap().shown.unwrap();
    assert!((all.found.estimate - shown.estimate - 10.0).abs() < 0.051);
    let rounded = disclosure::to_tenth(all.found.estimate);
    assert_eq!(all.found.estimate.to_bits(), rounded.to_bits());
}

#[test]
fn a_first_version_of_another_analysis_is_left_out() {
    let pairs = players(0, 12, consenting);
    let mut sent = faster_by_ten(&pairs, 6);
    sent[11].1 = wider(sent[11].1);
    let with_all = first_speed(&corrected(&pairs, &faster_by_ten(&pairs, 6))).unwrap();
    let without_one = first_speed(&corrected(&pairs, &sent)).unwrap();
    assert_eq!(without_one.corrected_at_least, 5);
    assert_ne!(with_all.found, without_one.found);
}

#[test]
fn a_correction_without_a_row_leaves_no_trace() {
    let with_rows = players(0, 8, consenting);
    let pairs = [with_rows.clone(), players(8, 5, pooling_only)].concat();
    let sent = [
        with_rows,
        players(8, 5, |pair| Pair {
            speeds: (125.0, 100.0),
            ..pooling_only(pair)
        }),
    ]
    .concat();
    let counted = corrected(&pairs, &sent);
    assert_eq!(
        counted.iter().filter(|pair| pair.first.is_some()).count(),
        5
    );
    assert_eq!(rows_of(&counted), rows(&pairs));
    assert_eq!(everybody_of(&counted), everybody(&pairs));
}

#[test]
fn figures_over_everybody_need_five_players_without_a_row() {
    let rows = players(0, 8, consenting);
    for n_without in 0..=4 {
        let pairs = [rows.clone(), players(8, n_without, pooling_only)].concat();
        assert_eq!(everybody(&pairs), [], "{n_without}");
    }
    // Three pairs of one player do not make three players.
    let again = |number| (8, pooling_only(varied(number)));
    let four = [
        players(8, 4, pooling_only),
        vec![again(1), again(2), again(3)],
    ]
    .concat();
    assert_eq!(everybody(&[rows.clone(), four].concat()), []);
    let five = everybody(&[rows.clone(), players(8, 5, pooling_only)].concat());
    assert_eq!(five.len(), 3);
    for figure in five {
        // Thirteen, rounded down to a multiple of five.
        assert_eq!(figure.players_at_least, 10);
        for value in [figure.estimate, figure.interval.low, figure.interval.high] {
            let text = value.to_string();
            assert!(
                text.split_once('.').is_none_or(|(_, rest)| rest.len() == 1),
                "{text}"
            );
        }
    }
    // Five in all, but only four of them in the analysis of the wider band.
    let spread = [
        rows,
        players(8, 1, pooling_only),
        players(9, 4, |pair| pooling_only(wider(pair))),
        players(13, 9, wider),
    ]
    .concat();
    assert_eq!(everybody(&spread), []);
}

/// A service with the study, in which so many new players make a batch.
fn service(batch_players: usize) -> Service {
    let service = Service::in_memory().unwrap();
    let mut study: Value = serde_json::from_slice(&fs::read(STUDY_FILE).unwrap()).unwrap();
    study["protocol"]["batch_players"] = json!(batch_players);
    recruit(&service, study.to_string().as_bytes(), NOW_MS);
    service
}

fn submit(service: &Service, document: &Value) -> Accepted {
    let document = document.to_string();
    let incoming = Incoming {
        study: STUDY,
        document: document.as_bytes(),
        request_key: None,
        receipt: None,
        now_ms: NOW_MS,
    };
    service.submit(&incoming).unwrap()
}

/// The public figures after all these are counted in two batches.
fn published(pairs: &[(u32, Pair)]) -> Arc<Public> {
    let service = service(pairs.len() / 2);
    for (_, pair) in pairs {
        submit(&service, &contribution(*pair));
    }
    service.study(STUDY).unwrap()
}

/// Rows without their groups, whose numbers are drawn anew, sorted.
fn row_contents(public: &Public) -> Vec<String> {
    let content = |row: Row| {
        let (band, outcome) = (GapBands::code(row.band), row.outcome.code());
        format!(
            "{band} {} {outcome} {} {}",
            row.gap_lb, row.estimate, row.variance
        )
    };
    let mut contents: Vec<String> = public.publication.rows.iter().map(content).collect();
    contents.sort_unstable();
    contents
}

/// The page of a reader who chose no units.
fn page_of(public: &Public) -> String {
    let page = public.page(public.unchosen_units()).unwrap();
    String::from_utf8_lossy(page.plain().unwrap()).into_owned()
}

#[test]
fn four_players_who_keep_their_rows_leave_no_trace() {
    let with_rows = players(0, 12, consenting);
    let far = |pair: Pair| Pair {
        speeds: (pair.speeds.0 + 12.0, pair.speeds.1),
        sd: Some(25.0),
        deep: (79, 2),
        ..pooling_only(pair)
    };
    let without = published(&with_rows);
    let with = published(&[players(50, 4, far), with_rows].concat());
    assert_eq!(row_contents(&with), row_contents(&without));
    let documents = |public: &Public| {
        let pooled: Value = serde_json::from_slice(public.pooled.plain().unwrap()).unwrap();
        let mut aggregate: Value =
            serde_json::from_slice(public.aggregate.plain().unwrap()).unwrap();
        aggregate["rows"] = Value::Null;
        (pooled, aggregate)
    };
    assert_eq!(documents(&with), documents(&without));
    assert_eq!(documents(&with).0["everybody"], json!([]));
    // The page repeats how many players make a batch, and tells in steps of five how many
    // contributions came and how many count. Nothing else is told differently.
    let page = |public: &Public| {
        let batch = format!("at least {} ", public.study.protocol.batch_players);
        let page = page_of(public);
        assert!(page.contains(&batch), "{page}");
        let (before, flow) = page
            .split_once("<section aria-labelledby=\"flow\">")
            .unwrap();
        let (_, after) = flow.split_once("</section>").unwrap();
        format!("{before}{after}").replace(&batch, "")
    };
    assert!(page(&with) == page(&without));
}

#[test]
fn nothing_private_stands_in_a_public_document() {
    let service = service(5);
    let mut secrets = Vec::new();
    for number in 0..15 {
        let mut document = contribution(Pair {
            speeds: (103.57 + f64::from(number), 99.46 + f64::from(number)),
            sd: Some(9.13),
            tensions: (46.11, 52.48),
            scope: if number < 8 {
                "pooling_and_rows"
            } else {
                POOLING_ONLY
            },
            ..varied(number)
        });
        // Alike in everything else, it would wait for the host.
        let sd = f64::from(887 + 3 * number) / 100.0;
        document["sessions"][1]["shots"][0]["speed_sd"] = json!(sd);
        document["note"] = json!(format!("note-{number}-of-a-player"));
        document["plan_code"] = json!(format!("PRANCDE{number:02}"));
        document["setup"] = json!({"frame": {"label": format!("frame-{number}-of-a-player")}});
        document["device"] = json!({"class": "court_cameras"});
        document["player"] = json!({"itn": 7, "handedness": "left"});
        let accepted = submit(&service, &document);
        let receipt = accepted.receipt.reveal();
        secrets.extend([
            receipt.replace('-', ""),
            receipt,
            accepted.contribution.to_string(),
            accepted.contribution.simple().to_string(),
            format!("PRANCDE{number:02}"),
            accepted.pair.gap.kilograms().to_string(),
        ]);
    }
    for stored in service.store().all_contributions(STUDY).unwrap() {
        secrets.extend([
            stored.player.to_string(),
            stored.player.simple().to_string(),
        ]);
    }
    secrets.extend(
        [
            "of-a-player",
            "court_cameras",
            "handedness",
            "left\"",
            "1800000000000",
        ]
        .map(str::to_owned),
    );
    // The exact gap, tensions, speeds and spread, as numbers of their own.
    let figures = ["6.37", "46.11", "52.48", "99.46", "103.57", "9.13"];
    let public = service.study(STUDY).unwrap();
    assert_eq!(public.everybody.len(), 3);
    assert_eq!(public.publication.rows.len(), 24);
    let units = public.unchosen_units();
    let pictures = pages::pictures(&public.view(units)).into_keys();
    let pictures = pictures.map(|name| public.picture(&name, units).unwrap());
    let documents = [
        public.pooled.clone(),
        public.aggregate.clone(),
        public.page(units).unwrap(),
        public.pairs(units).unwrap(),
    ];
    for document in documents.into_iter().chain(pictures) {
        let text = str::from_utf8(document.plain().unwrap()).unwrap();
        for secret in &secrets {
            assert!(!text.contains(secret), "{secret} in {text}");
        }
        let is_of_number = |character: char| character.is_ascii_digit() || character == '.';
        for number in text.split(|character| !is_of_number(character)) {
            assert!(!figures.contains(&number), "{number} in {text}");
        }
    }
}

#[test]
fn the_spread_of_fewer_than_five_players_is_told_to_nobody() {
    let none = |pair: Pair| Pair { sd: None, ..pair };
    let service = service(5);
    let reporter = Pair {
        sd: Some(13.7),
        speeds: (100.0, 100.0),
        ..pooling_only(varied(0))
    };
    submit(&service, &contribution(reporter));
    for (_, pair) in players(1, 4, none) {
        submit(&service, &contribution(pair));
    }
    let next = Pair {
        sd: None,
        speeds: (100.0, 100.0),
        ..varied(1)
    };
    let reply = submit(&service, &contribution(next));
    // With the assumed coefficient of 0.20: 2 (0.20 100)^2 / 100.
    assert!((reply.pair.effects[0].variance - 8.0).abs() < 1e-9);
}
