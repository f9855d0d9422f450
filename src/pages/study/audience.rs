//! What a host needs to show a study to an audience: the card, where it lies, and how another site
//! shows it; and what a preview of a link to the page says.

use crate::plots::card::{Card, Size};

/// What stands for the service's own address where it is not known (reserved for examples, RFC
/// 2606).
const SOMEWHERE: &str = "https://example.org";

/// The section and the head of the page that are for an audience.
pub(super) struct Audience {
    /// What the page is about, for previews of links.
    pub(super) title: String,
    /// The answer, for previews of links.
    pub(super) description: String,
    /// Where the page and its picture lie on the web, when that is known.
    pub(super) absolute: Option<Absolute>,
    /// Address of the card on the page.
    pub(super) picture: String,
    /// Sides of the card on the page.
    pub(super) sides: (u32, u32),
    /// Every card with its words.
    pub(super) cards: Vec<(String, String)>,
    /// HTML for another site.
    pub(super) embedding: String,
    /// What stands for the service's address in it, when that is not known.
    pub(super) somewhere: Option<&'static str>,
}

/// Addresses that hold away from the page.
pub(super) struct Absolute {
    pub(super) page: String,
    pub(super) image: String,
}

impl Audience {
    /// `address` is that of the page from the root of the service, `query` what the reader's units
    /// stand in behind it; `base` is the service's own address, as `https://…` without a slash at its
    /// end, when it is known.
    pub(super) fn new(card: &Card, address: &str, query: &str, base: Option<&str>) -> Self {
        let sentences: Vec<&str> = [card.notice.as_deref(), Some(&card.sentence)]
            .into_iter()
            .flatten()
            .collect();
        let picture = format!("{address}/card.svg{query}");
        let png = |size: Size| {
            let (width, height) = size.dots();
            format!("{address}/card-{width}x{height}.png{query}")
        };
        let words = |size: Size, use_for: &str| {
            let (width, height) = size.dots();
            format!("Card for {use_for}, {width} × {height} (PNG)")
        };
        let (width, height) = Size::Post.dots();
        let at = base.unwrap_or(SOMEWHERE);
        Self {
            title: card.question.clone(),
            description: sentences.join(" "),
            absolute: base.map(|base| Absolute {
                page: format!("{base}{address}"),
                image: format!("{base}{}", png(Size::Post)),
            }),
            sides: (width, height),
            cards: vec![
                (png(Size::Post), words(Size::Post, "a post")),
                (png(Size::Video), words(Size::Video, "a video")),
                (
                    picture.clone(),
                    "Card as a drawing, any size (SVG)".to_owned(),
                ),
            ],
            embedding: format!(
                "<a href=\"{at}{address}\"><img src=\"{at}{picture}\" width=\"{width}\" \
                 height=\"{height}\" alt=\"What the study has found so far\"></a>"
            ),
            somewhere: base.is_none().then_some(SOMEWHERE),
            picture,
        }
    }
}
