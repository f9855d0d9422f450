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

/// A pooled estimate. Values must be finite: others are not drawn.
#[derive(Debug, Clone, PartialEq)]
pub struct Summary {
    /// Pooled estimate.
    pub estimate: f64,
    /// Lower end of its interval.
    pub low: f64,
    /// Upper end of its interval.
    pub high: f64,
    /// Prediction interval, when estimable.
    pub prediction: Option<(f64, f64)>,
    /// Estimate and interval as shown: "1.2 (0.3 to 2.1)".
    pub numbers: String,
    /// Prediction interval as shown: "−3.0 to 5.4".
    pub prediction_numbers: Option<String>,
}

impl Summary {
    /// Lower end, estimate and upper end.
    pub(super) fn span(&self) -> [f64; 3] {
        [self.low, self.estimate, self.high]
    }

    /// The prediction interval as shown, when there is one.
    pub(super) fn shown_prediction(&self) -> Option<&str> {
        self.prediction.and(self.prediction_numbers.as_deref())
    }
}

/// How much room a picture has.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Layout {
    /// 1000 units: labels left of the marks, numbers right of them. For 720 px and more.
    Wide,
    /// 340 units: labels and numbers above the marks. For a phone.
    Narrow,
}
