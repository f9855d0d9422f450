//! Nobody is steered: no page before sending has a published figure on it, shown or hidden.

use super::session::Browser;
use super::stage::Stage;

/// What the study's page publishes: words with a sign and a decimal point, such as `−0.3`.
pub(crate) struct Published(Vec<String>);

impl Published {
    /// Reads it off the study's page.
    pub(crate) fn read(browser: &Browser) -> Self {
        browser.go(Stage::path("").trim_end_matches('/'));
        let text = all_text(browser);
        let is_figure = |word: &&str| word.starts_with(['+', '−']) && word.contains('.');
        let words = text.split(|c: char| c.is_whitespace() || "();,".contains(c));
        let figures: Vec<String> = words.filter(is_figure).map(str::to_owned).collect();
        assert!(5 < figures.len(), "{figures:?}");
        Self(figures)
    }

    /// Fails when the page has any of it, even where it is not in sight.
    #[track_caller]
    pub(crate) fn assert_absent(&self, browser: &Browser) {
        let text = all_text(browser);
        let found: Vec<&String> = self
            .0
            .iter()
            .filter(|figure| text.contains(*figure))
            .collect();
        assert!(found.is_empty(), "{} tells {found:?}", browser.path());
        for word in ["95 %", "I²", "τ"] {
            assert!(!text.contains(word), "{} tells {word}", browser.path());
        }
    }
}

fn all_text(browser: &Browser) -> String {
    let text = browser.run("return document.documentElement.textContent", &[]);
    text.as_str().unwrap().to_owned()
}
