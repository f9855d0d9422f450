//! What several pictures are given in the same form.

/// What heads a picture.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Heading {
    /// Unique in its page; a letter first, then letters, digits and hyphens.
    pub id: String,
    /// Name of the picture; it heads the picture and names it for readers who do not see it.
    pub title: String,
    /// A line under the title that has to stay with a copied picture: "Invented data".
    pub notice: Option<String>,
    /// What the picture shows, for readers who do not see it; its numbers are added.
    pub description: String,
}

impl Heading {
    /// The beginning of the description for readers who do not see the picture.
    pub(super) fn sentences(&self) -> Vec<String> {
        let mut sentences = vec![self.description.clone()];
        sentences.extend(self.notice.clone());
        sentences
    }
}

/// An axis of differences, looser minus tighter, through zero.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Sides {
    /// Unit of every value, as shown: "km/h".
    pub unit: String,
    /// What a negative difference means: "tighter faster".
    pub negative_words: String,
    /// What a positive difference means: "looser faster".
    pub positive_words: String,
}

impl Sides {
    /// The words at the ends of the axis.
    pub(super) fn ends(&self) -> (&str, &str) {
        (&self.negative_words, &self.positive_words)
    }

    /// What the two sides of zero mean, where the axis runs from left to right.
    pub(super) fn sentence(&self) -> String {
        format!(
            "Left of zero: {}; right of zero: {}.",
            self.negative_words, self.positive_words
        )
    }

    /// What the two sides of zero mean, where the axis runs from the bottom up.
    pub(super) fn upright_sentence(&self) -> String {
        format!(
            "Below zero: {}; above zero: {}.",
            self.negative_words, self.positive_words
        )
    }
}
