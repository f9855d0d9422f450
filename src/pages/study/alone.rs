//! One picture by itself, to be shown on another page: what the page around it says, the question,
//! what is pooled and when, stands in the picture, on a ground of its own, since no style reaches it.

use super::pictures::Picture;
use super::view::{Standing, StudyView};
use crate::plots::parts::Layout;
use askama::Template;

#[derive(Template)]
#[template(path = "alone.svg", config = "src/pages/askama.toml", escape = "html")]
struct Alone {
    width: f64,
    height: f64,
    margin: f64,
    question: Vec<Line>,
    inner_y: f64,
    inner_width: f64,
    inner_height: f64,
    inner: String,
    credit: Vec<Line>,
}

/// A line of text with its baseline.
struct Line {
    y: f64,
    words: String,
}

/// Room around everything, in the units of the picture.
const MARGIN: f64 = 30.0;

/// Letters of a line of the question, at 28 units a letter and 0.6 of that in width on average.
const QUESTION_LETTERS: usize = 58;
const QUESTION_LINE: f64 = 36.0;

/// Letters of a line of the credit, at 18 units a letter.
const CREDIT_LETTERS: usize = 90;
const CREDIT_LINE: f64 = 26.0;

/// The picture with its frame; `None` when the drawing does not say how large it is.
pub(super) fn svg(view: &StudyView<'_>, picture: &Picture) -> Option<String> {
    let drawn = picture.plot.draw(Layout::Wide);
    let (width, height) = size(&drawn)?;
    let question = lines(&view.study.label.question, QUESTION_LETTERS);
    let credit = lines(&credit(view), CREDIT_LETTERS);
    let (question, inner_y) = placed(question, MARGIN, QUESTION_LINE);
    let inner_y = inner_y + MARGIN / 2.0;
    let (credit, end) = placed(credit, inner_y + height + MARGIN / 2.0, CREDIT_LINE);
    let whole = Alone {
        width: width + 2.0 * MARGIN,
        height: end + MARGIN,
        margin: MARGIN,
        question,
        inner_y,
        inner_width: width,
        inner_height: height,
        inner: drawn,
        credit,
    };
    whole.render().ok()
}

/// What the figures are, from when, and who made them.
fn credit(view: &StudyView<'_>) -> String {
    let slug = &view.study.label.slug;
    let of = match (view.standing, &view.publication.batch) {
        (Standing::Release(number), Some(batch)) => {
            format!("release {number}, batch {} of {}", batch.number, batch.date)
        }
        (Standing::Release(number), None) => format!("release {number}"),
        (Standing::Live, Some(batch)) => format!("batch {} of {}", batch.number, batch.date),
        (Standing::Live, None) => "nothing pooled yet".to_owned(),
    };
    format!("Tautpool, study {slug}, {of}. Looser minus tighter; players chose to take part.")
}

/// The size that a drawing has in its own units.
fn size(drawn: &str) -> Option<(f64, f64)> {
    let (_, rest) = drawn.split_once("viewBox=\"0 0 ")?;
    let (sizes, _) = rest.split_once('"')?;
    let (width, height) = sizes.split_once(' ')?;
    Some((width.parse().ok()?, height.parse().ok()?))
}

/// Lines one below the other from `top` on, and where the next would begin.
fn placed(lines: Vec<String>, top: f64, height: f64) -> (Vec<Line>, f64) {
    let mut y = top;
    let placed = lines
        .into_iter()
        .map(|words| {
            y += height;
            // The baseline is a quarter of the line above its lower edge.
            Line {
                y: y - height / 4.0,
                words,
            }
        })
        .collect();
    (placed, y)
}

/// A text in lines of at most so many letters, broken at spaces.
fn lines(text: &str, letters: usize) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for word in text.split_whitespace() {
        match lines.last_mut() {
            Some(line) if line.chars().count() + 1 + word.chars().count() <= letters => {
                line.push(' ');
                line.push_str(word);
            }
            _ => lines.push(word.to_owned()),
        }
    }
    lines
}
