use super::*;

#[test]
fn a_text_is_parted_at_empty_lines() {
    assert_eq!(
        paragraphs("One.\n\nTwo\nlines.\n\n\n\n"),
        ["One.", "Two\nlines."]
    );
    assert!(paragraphs("").is_empty());
}

fn range(low: f64, high: f64) -> crate::pooling::Interval {
    crate::pooling::Interval { low, high }
}

#[test]
fn a_range_takes_its_decimals_from_its_own_width() {
    assert_eq!(range_words(range(-4.99, 5.36)), "\u{2212}5.0 to 5.4");
    assert_eq!(range_words(range(-17.8, 27.5)), "\u{2212}18 to 28");
}
