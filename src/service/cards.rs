//! The cards of a study, drawn when somebody first asks for one and kept ready then.

use super::Ready;
use super::in_units::InUnits;
use crate::pages::{self, StudyView};
use crate::plots::card::{Card, Size, card};
use crate::raster::{RasterError, png};
use std::convert::Infallible;
use std::panic::resume_unwind;
use std::sync::{Arc, Mutex, OnceLock, PoisonError};
use std::thread;

/// One file of a card.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum CardFile {
    /// SVG, in the shape of a post.
    Svg,
    /// PNG.
    Png(Size),
}

impl CardFile {
    /// Every file.
    pub const ALL: &'static [Self] = &[Self::Svg, Self::Png(Size::Post), Self::Png(Size::Video)];

    /// Its name, the last part of its address.
    #[must_use]
    pub fn name(self) -> String {
        match self {
            Self::Svg => "card.svg".to_owned(),
            Self::Png(size) => {
                let (width, height) = size.dots();
                format!("card-{width}x{height}.png")
            }
        }
    }

    /// The file of a name.
    #[must_use]
    pub fn of_name(name: &str) -> Option<Self> {
        Self::ALL.iter().copied().find(|file| file.name() == name)
    }
}

/// The cards of one publication, for each choice of units.
#[derive(Debug, Default)]
pub(super) struct CardsInUnits(InUnits<Arc<Cards>>);

impl CardsInUnits {
    /// One file in a reader's units. The same publication is always given.
    pub(super) fn file(&self, view: &StudyView<'_>, file: CardFile) -> Result<Ready, RasterError> {
        let cards = || Ok::<_, Infallible>(Arc::new(Cards::new(pages::card(&view.into()))));
        let Ok(cards) = self.0.get(view.units, cards);
        cards.file(file)
    }
}

/// Held while dots are drawn, whatever study they are of.
static DRAWING: Mutex<()> = Mutex::new(());

/// Draws when nobody else does, in a thread that ends with it: each drawing takes some ten megabytes,
/// which a thread that lives on would keep.
fn one_at_a_time<T: Send>(draw: impl FnOnce() -> T + Send) -> T {
    let _one = DRAWING.lock().unwrap_or_else(PoisonError::into_inner);
    let drawn = thread::scope(|scope| scope.spawn(draw).join());
    drawn.unwrap_or_else(|panic| resume_unwind(panic))
}

/// A file once it is drawn, or why it cannot be.
type Drawn = OnceLock<Result<Ready, RasterError>>;

/// One card in all its files.
#[derive(Debug)]
struct Cards {
    card: Card,
    svg: Drawn,
    post: Drawn,
    video: Drawn,
}

impl Cards {
    /// Nothing is drawn yet.
    fn new(card: Card) -> Self {
        Self {
            card,
            svg: Drawn::new(),
            post: Drawn::new(),
            video: Drawn::new(),
        }
    }

    fn file(&self, file: CardFile) -> Result<Ready, RasterError> {
        let kept = match file {
            CardFile::Svg => &self.svg,
            CardFile::Png(Size::Post) => &self.post,
            CardFile::Png(Size::Video) => &self.video,
        };
        kept.get_or_init(|| self.draw(file)).clone()
    }

    fn draw(&self, file: CardFile) -> Result<Ready, RasterError> {
        match file {
            CardFile::Svg => Ok(Ready::new(card(&self.card, Size::Post))),
            CardFile::Png(size) => {
                let (width, height) = size.dots();
                let svg = card(&self.card, size);
                let dots = one_at_a_time(|| png(&svg, width, height))?;
                Ok(Ready::of_bytes(dots.into()))
            }
        }
    }
}
