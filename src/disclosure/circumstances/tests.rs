use super::*;
use crate::effects::PairEffects;
use crate::protocol::GapBand;
use crate::units::{Hundredths, Tension, TensionUnit};
use crate::vocabulary::{ConsentScope, StringFamily};

/// What is known of a pair of which nothing is known.
const UNKNOWN: Moderators = Moderators {
    partner_pace: None,
    order: None,
    bed_age_hours: None,
    bed_age_days: None,
    blinded: None,
    itn: None,
    mains_family: None,
    looser_sessions: 1,
    tighter_sessions: 1,
};

fn pair(player: usize, moderators: Moderators) -> CountedPair {
    CountedPair {
        player,
        group_order: [0; 32],
        planned: false,
        scope: ConsentScope::PoolingAndRows,
        pair: PairEffects {
            gap: Tension::new(Hundredths::from_count(600), TensionUnit::Pound),
            band: GapBand::Numbered(0),
            effects: Vec::new(),
            left_out: Vec::new(),
            secondary: Vec::new(),
            secondary_left_out: Vec::new(),
        },
        moderators,
        repeats: Vec::new(),
        counts: Vec::new(),
        first: None,
    }
}

fn known(pairs: &[CountedPair]) -> Vec<Circumstances> {
    let pairs: Vec<&CountedPair> = pairs.iter().collect();
    of_pairs(&pairs, 5)
}

#[test]
fn figures_are_whole_and_levels_in_bands() {
    let all = |itn| Moderators {
        partner_pace: Some(-1.6),
        order: Some(0.25),
        bed_age_hours: Some(Hundredths::from_count(149)),
        itn: Some(itn),
        mains_family: Some(StringFamily::Polyester),
        blinded: Some(true),
        ..UNKNOWN
    };
    let pairs: Vec<CountedPair> = (0..5).map(|player| pair(player, all(4))).collect();
    let first = known(&pairs)[0];
    assert_eq!(first.partner_pace_kmh, Some(-2));
    assert_eq!(first.string_age_hours, Some(1));
    assert_eq!(first.order, Some(Order::LooserFirst));
    assert_eq!(first.level, Some(LevelBand::Middling));
    assert_eq!(first.string_family, Some(StringFamily::Polyester));
    assert_eq!(first.blinded, Some(true));
    for (itn, band) in [
        (1, LevelBand::Strong),
        (3, LevelBand::Strong),
        (6, LevelBand::Middling),
        (7, LevelBand::Beginning),
        (10, LevelBand::Beginning),
    ] {
        let pairs: Vec<CountedPair> = (0..5).map(|player| pair(player, all(itn))).collect();
        assert_eq!(known(&pairs)[0].level, Some(band));
    }
}

#[test]
fn what_fewer_than_the_minimum_share_is_hidden() {
    let of = |family, blinded| Moderators {
        mains_family: Some(family),
        blinded: Some(blinded),
        ..UNKNOWN
    };
    let mut pairs: Vec<CountedPair> = (0..5)
        .map(|player| pair(player, of(StringFamily::Polyester, false)))
        .collect();
    // Four players, one of them twice, are not five.
    for player in [5, 6, 7, 8, 8] {
        pairs.push(pair(player, of(StringFamily::NaturalGut, true)));
    }
    let known = known(&pairs);
    for (idx, known) in known.iter().enumerate() {
        let is_shared = idx < 5;
        assert_eq!(known.string_family.is_some(), is_shared);
        assert_eq!(known.blinded.is_some(), is_shared);
    }
}

#[test]
fn arrival_is_told_in_groups_of_enough_players() {
    let groups = |players: &[usize]| {
        let pairs: Vec<CountedPair> = players
            .iter()
            .map(|player| pair(*player, UNKNOWN))
            .collect();
        let pairs: Vec<&CountedPair> = pairs.iter().collect();
        arrivals(&pairs, 5)
    };
    // Twelve players are two groups: the last two join the second.
    let twelve: Vec<usize> = (0..12).collect();
    assert_eq!(groups(&twelve), [1, 1, 1, 1, 1, 2, 2, 2, 2, 2, 2, 2]);
    // An early player's late pair came late.
    assert_eq!(groups(&[0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 0]).last(), Some(&2));
    assert_eq!(groups(&[0, 1]), [1, 1]);
    let many: Vec<usize> = (0..400).collect();
    let many = groups(&many);
    assert_eq!((many[0], many[49], many[50], many[399]), (1, 1, 2, 8));
}
