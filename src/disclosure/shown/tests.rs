use super::*;
use rand::RngExt;
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;

fn player(hash: u16, gap: i32, order: i32) -> Player {
    let mut known = [None; Fact::ALL.len()];
    known[Fact::Gap.place()] = Some(gap);
    known[Fact::Order.place()] = Some(order);
    let [high, low] = hash.to_be_bytes();
    let mut bytes = [0; 32];
    (bytes[0], bytes[1]) = (high, low);
    Player {
        hash: bytes,
        pairs: vec![known],
    }
}

/// The gap that is shown of each player. Players of one gap band are divided by themselves; the bands
/// begin at these pounds.
fn gaps(players: &[Player], bands: &[i32]) -> Vec<i32> {
    let mut shown = vec![0; players.len()];
    let mut members: BTreeMap<usize, Vec<usize>> = BTreeMap::new();
    for (member, player) in players.iter().enumerate() {
        let gap = player.pairs[0][Fact::Gap.place()].unwrap();
        let band = bands.partition_point(|from| *from <= gap);
        members.entry(band).or_default().push(member);
    }
    let classes = members
        .into_values()
        .flat_map(|members| alike::classes(players, members, Fact::ALL.len(), 5));
    for class in classes {
        let means = mean_gaps(players, &class.members);
        for member in class.members {
            let known = as_shown(&players[member].pairs[0], &class.shown, means[0]);
            shown[member] = known[Fact::Gap.place()].unwrap();
        }
    }
    shown
}

#[test]
fn a_gap_of_too_few_is_the_mean_of_those_who_are_alike() {
    // Six of eight pounds; of five and six pounds two and three.
    let all = [8, 8, 8, 8, 8, 8, 5, 5, 6, 6, 6];
    let players: Vec<Player> = (0..).zip(all).map(|(n, gap)| player(n, gap, 0)).collect();
    // Thirteen thirds and so on: 28/5 is 5.6.
    assert_eq!(gaps(&players, &[5]), [8, 8, 8, 8, 8, 8, 6, 6, 6, 6, 6]);
}

/// An effect that grows by a fixed amount with each pound, pooled by least squares on the gaps as
/// they are shown: the slope stays where it is, as Berkson 1950 has it, although most gaps of such
/// small classes are means.
#[test]
fn the_slope_over_shown_gaps_is_that_over_the_gaps_themselves() {
    const SLOPE: f64 = 0.4;
    let mut random = ChaCha8Rng::seed_from_u64(11);
    let players: Vec<Player> = (0..4_000)
        .map(|n| {
            let gap = random.random_range(5..=20);
            player(n, gap, random.random_range(0..150))
        })
        .collect();
    let shown = gaps(&players, &[5, 8, 12, 16]);
    let true_gap = |player: &Player| player.pairs[0][Fact::Gap.place()].unwrap();
    let n_hidden = (players.iter().zip(&shown)).filter(|(player, gap)| true_gap(player) != **gap);
    assert!(1_000 < n_hidden.count());
    let n = f64::from(u16::try_from(players.len()).unwrap());
    let x: Vec<f64> = shown.iter().map(|gap| f64::from(*gap)).collect();
    let y: Vec<f64> = players
        .iter()
        .map(|player| SLOPE * f64::from(true_gap(player)))
        .collect();
    let (mean_x, mean_y) = (x.iter().sum::<f64>() / n, y.iter().sum::<f64>() / n);
    let pairs = || x.iter().zip(&y).map(|(x, y)| (x - mean_x, y - mean_y));
    let covariance: f64 = pairs().map(|(x, y)| x * y).sum();
    let variance: f64 = pairs().map(|(x, _)| x * x).sum();
    let found = covariance / variance;
    // Rounding the means to whole pounds takes a little off.
    println!("slope {found} in place of {SLOPE}");
    assert!((found - SLOPE).abs() < 0.03 * SLOPE, "{found}");
}
