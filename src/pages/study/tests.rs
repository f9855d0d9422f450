use super::*;

#[test]
fn a_text_is_parted_at_empty_lines() {
    assert_eq!(
        paragraphs("One.\n\nTwo\nlines.\n\n\n\n"),
        ["One.", "Two\nlines."]
    );
    assert!(paragraphs("").is_empty());
}

#[test]
fn a_share_of_none_to_all_is_no_estimate() {
    use crate::findings::gains::{Gain, GainOf};
    use crate::pooling::Reason;
    use crate::pooling::gains::{Share, ShareMethod};
    use crate::protocol::GapBands;
    use crate::units::{Hundredths, TensionUnit};
    let bands = GapBands::new(TensionUnit::Pound, vec![Hundredths::from_count(500)]).unwrap();
    let words = |low: f64, high: f64| {
        let gain = Gain {
            of: GainOf::Players,
            threshold: 0.0,
            share: Ok(Share {
                threshold: 0.0,
                estimate: 0.9,
                se: Err(Reason::OutOfRange),
                interval: range(low, high),
                method: ShareMethod::Normal,
                by_normal: 0.9,
            }),
            tau_squared_high: Err(Reason::OutOfRange),
        };
        figures::share_words(&gain, Outcome::Speed, Wording::from(&bands))
    };
    assert!(words(0.0, 1.0).is_err());
    assert!(words(0.001, 0.999).is_err());
    assert_eq!(
        words(0.02, 1.0),
        Ok("90\u{A0}% (2\u{A0}% to 100\u{A0}%)".to_owned())
    );
}

fn range(low: f64, high: f64) -> crate::pooling::Interval {
    crate::pooling::Interval { low, high }
}

#[test]
fn a_range_takes_its_decimals_from_its_own_width() {
    assert_eq!(range_words(range(-4.99, 5.36)), "\u{2212}5.0 to 5.4");
    assert_eq!(range_words(range(-17.8, 27.5)), "\u{2212}18 to 28");
}
