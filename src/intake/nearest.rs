//! The word that somebody probably meant.

/// The nearest of the known words; `None` when none is near enough to be the same word with a slip.
pub(super) fn nearest<'a>(known: &[&'a str], name: &str) -> Option<&'a str> {
    let near = known
        .iter()
        .map(|word| (strsim::damerau_levenshtein(word, name), *word));
    let (distance, word) = near.min()?;
    // One slip of the finger in a short word, two in a longer one, are still the same word.
    let slips = if name.chars().count() < 6 { 1 } else { 2 };
    (2 < name.len() && distance <= slips).then_some(word)
}
