//! Imputation by hand-worked crowds; `tests/it` holds it against exact fractions, `simulation`
//! against shots drawn at random.

mod simulation;

use super::*;
use crate::contribution::Conditions;
use crate::effects::tests::{FOREHAND, SERVE, contribution, session, timed, timed_line};
use crate::vocabulary::Arm;

/// One session at a mean of 100 km/h, its standard deviation in km/h.
fn reports(class: ShotClass, sd: i64) -> Contribution {
    let line = timed_line(class, timed(10_000, Some(sd * 100), None, 50));
    contribution(vec![session(
        Arm::Looser,
        Conditions::default(),
        vec![line],
    )])
}

/// One session at a mean of 100 km/h, spread and maximum in hundredths of 1 km/h.
fn forehands(sd: Option<i64>, max: Option<i64>, n: i64) -> Contribution {
    let line = timed_line(FOREHAND, timed(10_000, sd, max, n));
    contribution(vec![session(
        Arm::Looser,
        Conditions::default(),
        vec![line],
    )])
}

fn cv(crowd: &CrowdSpread, class: ShotClass) -> (i64, VarianceSource) {
    let cv = crowd.cv(&contribution(Vec::new()), class);
    #[expect(clippy::cast_possible_truncation, reason = "a percentage")]
    let percent = (cv.value * 100.0).round() as i64;
    (percent, cv.source)
}

#[test]
fn nothing_is_borrowed_from_fewer_players_than_the_minimum() {
    let one = reports(FOREHAND, 30);
    // Five contributions, but of four players.
    let crowd = CrowdSpread::of([0, 1, 2, 3, 3].map(|player| (player, &one)), 5);
    assert_eq!(cv(&crowd, FOREHAND), (20, VarianceSource::AssumedCv));
    let crowd = CrowdSpread::of([0, 1, 2, 3, 4].map(|player| (player, &one)), 5);
    assert_eq!(cv(&crowd, FOREHAND), (30, VarianceSource::BorrowedCv));
}

#[test]
fn a_class_is_drawn_towards_all_by_ten_contributors() {
    let (forehand, serve) = (reports(FOREHAND, 10), reports(SERVE, 40));
    let forehands = (0..30).map(|player| (player, &forehand));
    let serves = (30..40).map(|player| (player, &serve));
    let crowd = CrowdSpread::of(forehands.chain(serves), 5);
    // mean_all = (30 ln 0.1 + 10 ln 0.4)/40 = ln 0.14142; serve: (10 ln 0.4 + 10 mean_all)/20
    // = ln 0.23784; forehand: (30 ln 0.1 + 10 mean_all)/40 = ln 0.10905.
    assert_eq!(cv(&crowd, SERVE).0, 24);
    assert_eq!(cv(&crowd, FOREHAND).0, 11);
}

#[test]
fn the_expected_maximum_has_closed_forms_for_few_and_is_asked_for_no_others() {
    // David & Nagaraja 2003, section 3.2: 1/sqrt(pi) and 3/(2 sqrt(pi)).
    let root_pi = std::f64::consts::PI.sqrt();
    for (n, exact) in [(2, 1.0 / root_pi), (3, 1.5 / root_pi)] {
        assert!((expected_maximum(n).unwrap() / exact - 1.0).abs() < 1e-14);
    }
    let mut last = 0.0;
    for n in (2..200).chain((200..=MOST_SHOTS).step_by(350)) {
        let expected = expected_maximum(n).unwrap();
        assert!(last < expected, "{n}");
        last = expected;
    }
    assert!(expected_maximum(1).is_err() && expected_maximum(MOST_SHOTS + 1).is_err());
}

/// Players whose CV alternates by a factor of four about 0.10 while their maximum tells it to a
/// few percent.
fn telling_maxima(players: i64) -> Vec<Contribution> {
    (0..players)
        .map(|player| {
            let sd = if player % 2 == 0 { 500 } else { 2_000 } + player;
            let beyond = expected_maximum(50).unwrap() * 1.2 * sd as f64;
            #[expect(clippy::cast_possible_truncation, reason = "thousands at most")]
            let max = 10_000 + beyond.round() as i64;
            forehands(Some(sd), Some(max), 50)
        })
        .collect()
}

fn crowd(contributions: &[Contribution]) -> CrowdSpread {
    CrowdSpread::of(contributions.iter().enumerate(), 5)
}

#[test]
fn from_twenty_players_on_the_maximum_counts() {
    let lacking = forehands(None, Some(15_000), 50);
    let few = crowd(&telling_maxima(19));
    assert_eq!(few.errors(), None);
    assert_eq!(
        few.cv(&lacking, FOREHAND).source,
        VarianceSource::BorrowedCv
    );

    let enough = crowd(&telling_maxima(20));
    let errors = enough.errors().unwrap();
    assert_eq!(errors.players, 20);
    assert!(
        (errors.calibration - 1.2_f64.ln()).abs() < 1e-3,
        "{errors:?}"
    );
    // The maxima differ by rounding alone, the CVs by ln 2 either way.
    assert!(errors.maximum_variance < 1e-6 && 0.4 < errors.cv_variance);
    let imputed = enough.cv(&lacking, FOREHAND);
    // (150 - 100)/(2.24907 * 100)/1.2 = 0.18526; weight and rounding leave 0.19.
    assert_eq!(imputed.source, VarianceSource::Combined);
    assert!((imputed.value - 0.19).abs() < 1e-12, "{imputed:?}");
    assert_eq!(imputed.log_sd_error, Some(0.0));

    // Without a fastest shot, or with one in another unit, the CV stands alone.
    for max in [None, Some(10_000), Some(48_000)] {
        let imputed = enough.cv(&forehands(None, max, 50), FOREHAND);
        assert_eq!(imputed.source, VarianceSource::BorrowedCv, "{max:?}");
        assert_eq!(imputed.value.to_bits(), 0.1_f64.to_bits());
    }
}

#[test]
fn all_sessions_of_a_pair_share_one_cv() {
    let crowd = crowd(&telling_maxima(30));
    let timed_session = |arm, mean, max| {
        let line = timed_line(FOREHAND, timed(mean, None, max, 50));
        session(arm, Conditions::default(), vec![line])
    };
    let pair = contribution(vec![
        timed_session(Arm::Looser, 10_000, Some(14_000)),
        timed_session(Arm::Tighter, 10_000, Some(16_000)),
        timed_session(Arm::Tighter, 9_000, None),
    ]);
    // sqrt(40 * 60)/(2.24907 * 100)/1.2 = 0.18152.
    let imputed = crowd.cv(&pair, FOREHAND);
    assert!((imputed.value - 0.18).abs() < 1e-12, "{imputed:?}");
    assert_eq!(imputed.source, VarianceSource::Combined);
    // A session with its own standard deviation has no say.
    let mut reported = pair.clone();
    if let Some(speed) = &mut reported.sessions[0].lines[0].speed {
        speed.sd = Some(speed.mean);
    }
    // 60/(2.24907 * 100)/1.2 = 0.22231.
    let imputed = crowd.cv(&reported, FOREHAND);
    assert!((imputed.value - 0.22).abs() < 1e-12, "{imputed:?}");
}

#[test]
fn a_players_own_figures_do_not_calibrate_themselves() {
    // One wild reporter among equal ones: predicted without itself, hence by the others alone.
    let mut contributions = telling_maxima(24);
    let mut wild = forehands(Some(9_000), Some(11_000), 50);
    let lacking = forehands(None, None, 40).sessions;
    wild.sessions.extend(lacking.clone());
    contributions.push(wild.clone());
    let all = crowd(&contributions);
    assert_eq!(all.errors().unwrap().players, 25);
    let folds: Vec<u64> = contributions.iter().map(reports::fingerprint).collect();
    let mut sorted = folds.clone();
    sorted.sort_unstable();
    let fold = |fingerprint| sorted.binary_search(&fingerprint).unwrap() % FOLDS;
    let own = fold(reports::fingerprint(&wild));
    let others: Vec<Contribution> = contributions
        .iter()
        .filter(|one| fold(reports::fingerprint(one)) != own)
        .cloned()
        .collect();
    // Too few are left to combine, so the CV is that of the other folds as it stands.
    let others = CrowdSpread::of(others.iter().enumerate(), 5);
    let expected = others.cv(&contribution(lacking), FOREHAND);
    let own_imputed = all.cv(&wild, FOREHAND);
    assert_eq!(own_imputed.value.to_bits(), expected.value.to_bits());
    // Nor those of another version of the pair, which by itself would be a stranger's.
    let mut version = wild.clone();
    version.sessions.push(version.sessions[1].clone());
    assert_ne!(all.cv(&version, FOREHAND), own_imputed);
    let crowd = all.for_version(&wild, &version);
    assert_eq!(crowd.cv(&version, FOREHAND), own_imputed);
    assert_eq!(crowd.cv(&wild, FOREHAND), own_imputed);
    let stranger = forehands(None, None, 40);
    assert_eq!(
        all.for_version(&stranger, &wild).cv(&wild, FOREHAND),
        all.cv(&version, FOREHAND)
    );
}

#[test]
fn neither_order_nor_numbers_change_a_digit() {
    let contributions = telling_maxima(41);
    let forwards = crowd(&contributions);
    let backwards = CrowdSpread::of(contributions.iter().rev().enumerate(), 5);
    assert_eq!(forwards, backwards);
    // A player's second pair counts with the first.
    let twice = contributions.iter().enumerate();
    let twice = twice.clone().chain(twice);
    let twice = CrowdSpread::of(twice, 5);
    assert_eq!(twice.errors().unwrap().players, 41);
}

#[test]
fn identical_reports_leave_the_cv_alone() {
    let one = forehands(Some(1_500), Some(13_000), 50);
    let crowd = CrowdSpread::of((0..40).map(|player| (player, &one)), 5);
    assert_eq!(crowd.errors(), None);
    let imputed = crowd.cv(&forehands(None, Some(13_000), 50), FOREHAND);
    assert_eq!(imputed.source, VarianceSource::BorrowedCv);
    // Everybody is in one fold, so nobody can be predicted by others.
    assert_eq!(imputed.log_sd_error, None);
}

#[test]
fn a_protocol_that_asks_more_players_than_the_other_folds_have_keeps_the_cv_alone() {
    let contributions = telling_maxima(25);
    let crowd = |minimum| CrowdSpread::of(contributions.iter().enumerate(), minimum);
    assert!(crowd(20).errors().is_some());
    assert!(crowd(21).errors().is_none());
}
