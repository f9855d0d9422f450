use super::super::tests::assert_golden;
use super::fit::{self, Composition};
use super::set::Words;
use super::*;
use crate::font::{ASCENT, DESCENT, Weight, width};
use proptest::prelude::*;

fn difference(estimate: f64, low: f64, high: f64) -> Result<Difference, String> {
    Ok(Difference {
        estimate,
        low,
        high,
    })
}

fn gap(label: &str, counts: &str, difference: Result<Difference, String>) -> Gap {
    Gap {
        label: label.to_owned(),
        counts: counts.to_owned(),
        difference,
    }
}

fn four_gaps() -> Vec<Gap> {
    vec![
        gap(
            "5 to under 8 lb",
            "61 pairs, 60 players",
            difference(0.7, -0.9, 2.3),
        ),
        gap(
            "8 to under 12 lb",
            "84 pairs, 78 players",
            difference(2.5, 0.3, 4.7),
        ),
        gap(
            "12 to under 16 lb",
            "40 pairs, 39 players",
            difference(3.4, 0.8, 6.0),
        ),
        gap(
            "16 lb and over",
            "",
            Err("fewer than 5 players so far".to_owned()),
        ),
    ]
}

fn usual() -> Card {
    Card {
        question: "Strung looser, same frame, same string: does the ball go faster and land \
                   deeper, and what does it cost in control?"
            .to_owned(),
        notice: None,
        about: "Mean ball speed, forehand".to_owned(),
        sentence: "The looser string bed probably makes the ball faster at a gap of 8 to under \
                   12 lb and of 12 to under 16 lb. At other gaps we cannot tell. Another such player may see the \
                   opposite."
            .to_owned(),
        gaps: four_gaps(),
        main: Some(1),
        main_because: "the most of any gap".to_owned(),
        unit: "km/h".to_owned(),
        interval_words: "95\u{A0}% range".to_owned(),
        left_words: "tighter faster".to_owned(),
        right_words: "looser faster".to_owned(),
        others: vec![
            (
                "Deep share, forehand".to_owned(),
                "We cannot tell which string bed lands more balls deep, at any gap.".to_owned(),
            ),
            (
                "In share, forehand".to_owned(),
                "We cannot tell which string bed keeps more balls in, at any gap.".to_owned(),
            ),
        ],
        counts: "182 players, 201 pairs of sessions".to_owned(),
        label: "Release 2, 2026-11-29".to_owned(),
        address: Some("example.org/studies/looser-or-tighter".to_owned()),
    }
}

/// One gap, few words.
fn short() -> Card {
    let one = four_gaps().remove(1);
    Card {
        question: "Does a looser bed hit faster?".to_owned(),
        sentence: "The looser string bed makes the ball faster at a gap of 8 to under \
                   12 lb."
            .to_owned(),
        gaps: vec![one],
        main: Some(0),
        others: Vec::new(),
        ..usual()
    }
}

/// The longest question, eight gaps, everything said at length.
fn long() -> Card {
    let question =
        "Strung looser, same frame, same string, the same player on the same day: ".repeat(5);
    let gaps = (0..8).map(|step| {
        let low = f64::from(step) - 3.0;
        let label = format!("{} to under {} lb", 12 + step, 13 + step);
        gap(
            &label,
            "1\u{202F}084 pairs, 978 players",
            difference(low + 1.5, low, low + 3.0),
        )
    });
    let gaps: Vec<Gap> = gaps.collect();
    let sentence = "We are very unsure whether the looser string bed makes the ball slower at a \
                    gap of 12 to under 13 lb and of 13 to under 14 lb. "
        .repeat(4);
    Card {
        question: question.chars().take(300).collect(),
        notice: Some("Invented data: nobody hit these balls.".to_owned()),
        sentence,
        gaps,
        main: Some(3),
        address: Some(format!(
            "https://{}.example.org/studies/{}",
            "a".repeat(60),
            "b".repeat(64)
        )),
        ..usual()
    }
}

/// Nothing yet to be shown.
fn empty() -> Card {
    Card {
        about: String::new(),
        sentence: "There is nothing to show yet.".to_owned(),
        gaps: Vec::new(),
        others: Vec::new(),
        counts: String::new(),
        label: String::new(),
        ..usual()
    }
}

/// Cards with all that may befall them.
pub(crate) fn samples() -> Vec<(&'static str, Card)> {
    let invented = Card {
        notice: Some("Invented data: nobody hit these balls.".to_owned()),
        label: "Batch 43, 2026-11-29".to_owned(),
        ..usual()
    };
    let unsure = Card {
        sentence: "We cannot tell which string bed is faster, at any gap.".to_owned(),
        gaps: vec![
            gap(
                "5 to under 8 lb",
                "12 pairs, 12 players",
                difference(0.4, -1.3, 2.1),
            ),
            gap(
                "8 lb and over",
                "9 pairs, 9 players",
                Err("too few players for a claim yet".to_owned()),
            ),
        ],
        main: None,
        ..usual()
    };
    let strange = Card {
        question: "Härter oder weicher? Être ou ne pas être: что быстрее, 球 🎾 או\u{200D}?"
            .to_owned(),
        notice: Some("Invented <b>data</b> & more".to_owned()),
        ..short()
    };
    let long_and_unsure = Card {
        main: None,
        ..long()
    };
    let told_at_one_gap = Card {
        main: None,
        ..usual()
    };
    vec![
        ("usual", usual()),
        ("invented", invented),
        ("short", short()),
        ("long", long()),
        ("empty", empty()),
        ("unsure", unsure),
        ("strange", strange),
        ("told at one gap", told_at_one_gap),
        ("long and unsure", long_and_unsure),
    ]
}

/// Left, upper, right and lower edge of a line of text.
fn edges(words: &Words) -> (f64, f64, f64, f64) {
    let (x, baseline, size) = (words.x.0, words.baseline.0, words.size.0);
    (
        x,
        baseline - ASCENT * size,
        x + words.length.0,
        baseline + DESCENT * size,
    )
}

fn composed(card: &Card, size: Size) -> Composition {
    fit::compose(&fit::clean(card), size.room())
}

/// Every text lies on the card, none lies over another, and each is as long as it is drawn.
fn assert_sound(card: &Card, size: Size) {
    let composition = composed(card, size);
    let (right_most, lowest) = size.room();
    for (place, words) in composition.words.iter().enumerate() {
        let (left, top, right, bottom) = edges(words);
        let inside = 0.0 < left && 0.0 < top && right < right_most && bottom < lowest;
        assert!(inside, "{size:?}: {words:?}");
        let weight = if words.strong {
            Weight::Bold
        } else {
            Weight::Regular
        };
        let drawn = width(&words.body, words.size.0, weight);
        assert!((drawn - words.length.0).abs() < 1e-6, "{words:?}");
        for other in composition.words.iter().skip(place + 1) {
            let (l, t, r, b) = edges(other);
            let apart = right <= l || r <= left || bottom <= t + 0.5 || b <= top + 0.5;
            assert!(apart, "{size:?}: {words:?} over {other:?}");
        }
    }
}

/// All that is written on a card, in order, with one space between lines.
fn written(card: &Card, size: Size) -> String {
    let words = composed(card, size).words;
    let bodies: Vec<String> = words.into_iter().map(|words| words.body).collect();
    bodies.join(" ")
}

#[test]
fn text_stays_on_the_card_and_nothing_lies_over_anything_else() {
    for (_, card) in samples() {
        for size in Size::ALL {
            assert_sound(&card, *size);
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    #[test]
    fn no_text_overflows_whatever_is_written(
        question in "\\PC{0,300}",
        sentence in "\\PC{0,700}",
        about in "\\PC{0,60}",
        address in proptest::option::of("[a-z./-]{0,250}"),
        is_invented: bool,
        n_gaps in 0_usize..4,
    ) {
        let gaps = four_gaps().into_iter().take(n_gaps).collect();
        let notice = is_invented.then(|| "Invented data: nobody hit these balls.".to_owned());
        let card = Card { question, sentence, about, address, notice, gaps, ..usual() };
        for size in Size::ALL {
            assert_sound(&card, *size);
        }
    }
}

#[test]
fn nothing_said_is_cut_off() {
    for (name, card) in samples() {
        for size in Size::ALL {
            let written = written(&card, *size);
            let clean = fit::clean(&card);
            let whole = [&clean.question, &clean.sentence, &clean.about, &clean.label];
            for text in whole
                .into_iter()
                .chain(&clean.notice)
                .chain([&clean.counts])
            {
                assert!(
                    written.contains(text.as_str()),
                    "{name}: {text} in {written}"
                );
            }
        }
    }
}

#[test]
fn large_figures_are_those_of_the_main_gap_with_unit_range_and_counts() {
    let written = written(&usual(), Size::Video);
    assert!(
        written.contains("at a gap of 8 to under 12 lb: +2.5 \u{A0}km/h"),
        "{written}"
    );
    assert!(
        written.contains("95\u{A0}% range 0.3 to 4.7 84 pairs, 78 players, the most of any gap")
    );
    for words in [
        "← tighter faster",
        "looser faster →",
        "fewer than 5 players so far",
    ] {
        assert!(written.contains(words), "{written}");
    }
}

#[test]
fn without_large_figures_every_gap_has_its_own_beside_its_interval() {
    let plain = Card {
        main: None,
        ..usual()
    };
    let words = composed(&plain, Size::Post).words;
    let size_of = |body: &str| {
        words
            .iter()
            .find(|words| words.body == body)
            .unwrap()
            .size
            .0
    };
    let sizes = [
        "+0.7 (\u{2212}0.9 to 2.3)",
        "+2.5 (0.3 to 4.7)",
        "+3.4 (0.8 to 6.0)",
    ]
    .map(size_of);
    assert!(
        sizes.iter().all(|size| (size - sizes[0]).abs() < 1e-9),
        "{sizes:?}"
    );
    let written = written(&plain, Size::Post);
    assert!(
        written.contains("Looser minus tighter in km/h, with its 95\u{A0}% range, at a gap of:"),
        "{written}"
    );
    assert!(!written.contains("the most of any gap"), "{written}");
}

#[test]
fn the_main_gap_is_told_apart_by_size_and_by_weight_of_its_name_too() {
    let Composition { words, figure, .. } = composed(&usual(), Size::Post);
    assert_eq!((figure.main_diamonds.len(), figure.main_bars.len()), (1, 3));
    assert_eq!((figure.diamonds.len(), figure.bars.len()), (2, 6));
    let thickness = |bars: &[Bar]| bars[0].height.0;
    assert!(thickness(&figure.bars) < thickness(&figure.main_bars));
    let name = |label: &str| {
        words
            .iter()
            .rfind(|words| words.body == label)
            .unwrap()
            .strong
    };
    assert!(name("8 to under 12 lb") && !name("5 to under 8 lb"));
}

#[test]
fn other_answers_stand_whole_or_not_at_all_and_always_in_the_description() {
    let few = Card {
        sentence: "We cannot tell which string bed is faster, at any gap.".to_owned(),
        question: "Does a looser bed hit faster?".to_owned(),
        ..usual()
    };
    for (card, are_shown) in [(&few, true), (&long(), false)] {
        let shown = written(card, Size::Video);
        for (about, sentence) in &card.others {
            assert_eq!(shown.contains(about.as_str()), are_shown, "{shown}");
            assert_eq!(shown.contains(sentence.as_str()), are_shown, "{shown}");
            assert!(description(card).contains(&format!("{about}: {sentence}")));
        }
    }
}

#[test]
fn without_figures_there_is_no_picture_and_larger_words() {
    let without = composed(&empty(), Size::Post);
    assert!(without.figure.bars.is_empty() && without.figure.main_bars.is_empty());
    let size_of_first = |composition: &Composition| composition.words[0].size.0;
    assert!(size_of_first(&composed(&usual(), Size::Post)) < size_of_first(&without));
}

#[test]
fn a_value_that_cannot_be_drawn_is_not_estimable_and_not_drawn() {
    let mut card = short();
    card.gaps[0].difference = difference(f64::NAN, 0.0, 1.0);
    let svg = super::card(&card, Size::Post);
    assert!(
        !svg.contains("NaN") && svg.contains("not estimable"),
        "{svg}"
    );
    assert_sound(&card, Size::Post);
    let out_of_range = Card {
        main: Some(7),
        ..usual()
    };
    assert_sound(&out_of_range, Size::Post);
}

#[test]
fn texts_are_escaped_and_what_is_invisible_or_not_allowed_is_gone() {
    let card = Card {
        question: "a\u{0}<b>&\u{AD}\n\t c\u{FFFE}\u{202E}d".to_owned(),
        ..short()
    };
    let svg = super::card(&card, Size::Post);
    assert!(
        svg.contains(">a&#60;b&#62;&#38; c\u{25A1}d</text>"),
        "{svg}"
    );
    assert!(!svg.contains('\u{0}'));
}

#[test]
fn a_word_longer_than_a_line_is_cut_into_lines() {
    let kind = set::Type::regular(20.0);
    let word = "x".repeat(100);
    let lines = kind.wrap(&format!("short {word} end"), 200.0);
    assert_eq!(lines.concat(), format!("short{word} end"));
    for line in &lines {
        assert!(kind.width(line) <= 200.0, "{line}");
    }
    // A line too narrow for one character still holds one.
    assert_eq!(kind.wrap("ab", 1.0), ["a", "b"]);
    assert!(kind.wrap("  ", 200.0).is_empty());
}

#[test]
fn even_lines_are_no_more_lines() {
    let kind = set::Type::bold(42.0);
    let text = usual().question;
    let (wrapped, even) = (kind.wrap(&text, 1088.0), kind.wrap_evenly(&text, 1088.0));
    assert_eq!(wrapped.len(), even.len());
    assert_eq!(wrapped.join(" "), even.join(" "));
}

#[test]
fn cards_look_as_they_were_approved() {
    let invented = samples().remove(1).1;
    for size in Size::ALL {
        let (width, height) = size.dots();
        let svg = card(&invented, *size);
        assert!(svg.contains(&format!("width=\"{width}\" height=\"{height}\"")));
        assert_golden(&format!("card-{width}x{height}.svg"), &svg);
    }
}
