//! The word that somebody probably meant.

/// Most slips of the finger by which a word is still the same.
const MOST_SLIPS: usize = 2;

/// The nearest of the known words; `None` when none is near enough to be the same word with a slip.
/// Comparing takes as long as both lengths multiplied, so what is too long to be any is not compared.
pub(super) fn nearest<'a>(known: &[&'a str], name: &str) -> Option<&'a str> {
    let length = name.chars().count();
    let may_be_meant = |word: &&&str| word.chars().count().abs_diff(length) <= MOST_SLIPS;
    let near = known
        .iter()
        .filter(may_be_meant)
        .map(|word| (strsim::damerau_levenshtein(word, name), *word));
    let (distance, word) = near.min()?;
    // One slip in a short word, two in a longer one.
    let slips = if length < 6 { 1 } else { MOST_SLIPS };
    (2 < name.len() && distance <= slips).then_some(word)
}

#[cfg(test)]
mod tests {
    use super::nearest;

    #[test]
    fn a_slip_or_two_is_seen_through_and_no_more() {
        let known = ["hit", "speed_mean", "speed_sd"];
        for (name, meant) in [
            ("hitt", Some("hit")),
            ("hti", Some("hit")),
            ("speed_men", Some("speed_mean")),
            ("sped_maen", Some("speed_mean")),
            ("speed_", Some("speed_sd")),
            ("speed", None),
            ("hi", None),
            ("hits_", None),
            ("", None),
        ] {
            assert_eq!(nearest(&known, name), meant, "{name}");
        }
        assert_eq!(nearest(&known, &"x".repeat(1_000_000)), None);
    }
}
