use super::*;
use proptest::prelude::*;

#[test]
fn halves_go_to_the_even_digit() {
    let rounded = [-5, -3, -1, 1, 3, 5].map(|halves| quotient(halves, 2));
    assert_eq!(rounded, [-2, -2, 0, 0, 2, 2]);
    // Roots of 1/4, 9/4 and 25/4, and of what lies beside them.
    let roots = [(1, 4), (9, 4), (25, 4), (26, 4), (24, 4)];
    assert_eq!(
        roots.map(|(dividend, divisor)| root_of_quotient(dividend, divisor)),
        [0, 2, 2, 3, 2]
    );
}

#[test]
fn a_short_series_by_hand() {
    // Mean 5, squares 16 + 4 + 0 + 4 + 16 + 0 + 0 + 0 = 40, products 8 + 0 + 0 + 8 + 0 = 16.
    let series = [100, 300, 500, 700, 900, 500, 500, 500];
    let found = moments(&series).unwrap();
    assert_eq!((found.mean, found.largest, found.n), (500, 900, 8));
    // sqrt(40/7) = 2.39046 and 16/40 = 0.4.
    assert_eq!((found.sd, found.lag1), (Some(239), Some(40)));
}

#[test]
fn what_cannot_be_said_is_not_said() {
    assert_eq!(moments(&[]), None);
    let one = moments(&[9_700]).unwrap();
    assert_eq!((one.sd, one.lag1), (None, None));
    assert_eq!(moments(&[1, 2, 3, 4, 5, 6, 7]).unwrap().lag1, None);
    let same = moments(&[9_700; 20]).unwrap();
    assert_eq!((same.sd, same.lag1), (Some(0), None));
    // A long climb has an autocorrelation of nearly one.
    let climb: Vec<i64> = (0..10_000).collect();
    assert_eq!(moments(&climb).unwrap().lag1, Some(99));
    let swing: Vec<i64> = (0..10_000).map(|t| (t % 2) * 30_000).collect();
    assert_eq!(moments(&swing).unwrap().lag1, Some(-100));
}

proptest! {
    #[test]
    fn they_agree_with_two_passes_in_doubles(values in prop::collection::vec(1_i64..=30_000, 2..200)) {
        let found = moments(&values).unwrap();
        let n = values.len() as f64;
        let mean = values.iter().map(|x| *x as f64).sum::<f64>() / n;
        let deviations: Vec<f64> = values.iter().map(|x| *x as f64 - mean).collect();
        let squares: f64 = deviations.iter().map(|d| d * d).sum();
        let near = |found: i64, expected: f64| (found as f64 - expected).abs() < 0.5 + 1e-6;
        prop_assert!(near(found.mean, mean));
        prop_assert!(near(found.sd.unwrap(), (squares / (n - 1.0)).sqrt()));
        if let Some(lag1) = found.lag1 {
            let products: f64 = deviations.windows(2).map(|pair| pair[0] * pair[1]).sum();
            prop_assert!(near(lag1, 100.0 * products / squares));
        }
    }
}
