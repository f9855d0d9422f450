//! The typeface of pictures that are shown away from the pages: its two files, and how wide it
//! sets a line.
//!
//! Widths are read from the very files that a picture is drawn with, so a line that was measured to
//! fit does fit. The files have neither kerning nor ligatures; `font/README.md` says how they were
//! made. Their layout is that of OpenType (ISO/IEC 14496-22): tables `cmap`, `hmtx`, `hhea`, `head`.

/// What the files call themselves.
pub const FAMILY: &str = "DejaVu Sans";

/// What stands for a character that the files do not have: a box.
pub const NO_GLYPH: char = '\u{25A1}';

/// How much of the font size lies above the baseline (`hhea` ascender).
pub const ASCENT: f64 = 1901.0 / 2048.0;

/// How much of the font size lies below the baseline (`hhea` descender).
pub const DESCENT: f64 = 483.0 / 2048.0;

/// The two weights.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Weight {
    /// 400.
    Regular,
    /// 700.
    Bold,
}

impl Weight {
    /// The file.
    #[must_use]
    pub const fn file(self) -> &'static [u8] {
        match self {
            Self::Regular => include_bytes!("font/regular.ttf"),
            Self::Bold => include_bytes!("font/bold.ttf"),
        }
    }
}

/// Whether both weights have a character of their own for `character`.
#[must_use]
pub fn has(character: char) -> bool {
    [Weight::Regular, Weight::Bold]
        .into_iter()
        .all(|weight| Face::of(weight).is_some_and(|face| face.glyph(character).is_some()))
}

/// How wide `text` is on one line at `size`, in the units of the size. A character that the file
/// does not have is as wide as [`NO_GLYPH`].
#[must_use]
pub fn width(text: &str, size: f64, weight: Weight) -> f64 {
    // The files are part of the program and a test reads every character of theirs, so what cannot
    // be read is not met; an em is wider than nearly every character, and nothing overflows then.
    const UNREADABLE: f64 = 1.0;
    let face = Face::of(weight);
    let advance = |character: char| {
        let face = face.as_ref()?;
        let glyph = face.glyph(character).or_else(|| face.glyph(NO_GLYPH))?;
        face.advance(glyph)
    };
    let widths = text.chars().map(|c| advance(c).unwrap_or(UNREADABLE));
    widths.sum::<f64>() * size
}

/// The tables of one file that tell widths.
#[derive(Debug)]
struct Face {
    /// The part of `cmap` for the Basic Multilingual Plane (format 4).
    characters: &'static [u8],
    /// `hmtx`.
    metrics: &'static [u8],
    /// Entries of `hmtx` that have a width; later glyphs are as wide as the last of them.
    n_widths: u16,
    units_per_em: u16,
}

impl Face {
    fn of(weight: Weight) -> Option<Self> {
        let file = weight.file();
        Some(Self {
            characters: characters(table(file, *b"cmap")?)?,
            metrics: table(file, *b"hmtx")?,
            n_widths: number(table(file, *b"hhea")?, 34)?,
            units_per_em: number(table(file, *b"head")?, 18)?,
        })
    }

    /// The glyph of a character; `None` when the file has none.
    fn glyph(&self, character: char) -> Option<u16> {
        let code = u16::try_from(u32::from(character)).ok()?;
        let at = |place: usize| number(self.characters, place);
        // Four arrays of one entry for each segment, with two bytes between the first and second.
        let size = usize::from(at(6)?);
        let (ends, starts) = (14, 16 + size);
        let (deltas, offsets) = (starts + size, starts + 2 * size);
        let segment = (0..size)
            .step_by(2)
            .find(|segment| at(ends + segment).is_some_and(|end| code <= end))?;
        let start = at(starts + segment)?;
        if code < start {
            return None;
        }
        let (delta, offset) = (at(deltas + segment)?, at(offsets + segment)?);
        let glyph = match offset {
            0 => code.wrapping_add(delta),
            _ => {
                let place = offsets + segment + usize::from(offset) + 2 * usize::from(code - start);
                match at(place)? {
                    0 => 0,
                    glyph => glyph.wrapping_add(delta),
                }
            }
        };
        (glyph != 0).then_some(glyph)
    }

    /// How far a glyph moves the pen, as a share of the font size.
    fn advance(&self, glyph: u16) -> Option<f64> {
        let entry = glyph.min(self.n_widths.checked_sub(1)?);
        let units = number(self.metrics, 4 * usize::from(entry))?;
        Some(f64::from(units) / f64::from(self.units_per_em))
    }
}

/// A table of a file by its name.
fn table(file: &'static [u8], name: [u8; 4]) -> Option<&'static [u8]> {
    let n_tables = usize::from(number(file, 4)?);
    let record = (0..n_tables)
        .filter_map(|place| file.get(12 + 16 * place..28 + 16 * place))
        .find(|record| record.starts_with(&name))?;
    let start = long(record, 8)?;
    file.get(start..start.checked_add(long(record, 12)?)?)
}

/// The part of `cmap` in format 4.
fn characters(cmap: &'static [u8]) -> Option<&'static [u8]> {
    const FORMAT: u16 = 4;
    (0..usize::from(number(cmap, 2)?))
        .filter_map(|place| cmap.get(long(cmap, 8 + 8 * place)?..))
        .find(|part| number(part, 0) == Some(FORMAT))
}

/// Two bytes, the larger first.
fn number(bytes: &[u8], place: usize) -> Option<u16> {
    let bytes = bytes.get(place..place.checked_add(2)?)?;
    Some(u16::from_be_bytes(bytes.try_into().ok()?))
}

/// Four bytes, the largest first.
fn long(bytes: &[u8], place: usize) -> Option<usize> {
    let bytes = bytes.get(place..place.checked_add(4)?)?;
    usize::try_from(u32::from_be_bytes(bytes.try_into().ok()?)).ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Advances in units of 1/2048 em, read from the whole typeface with fonttools 4.68.0:
    /// `TTFont("DejaVuSans.ttf")["hmtx"][TTFont(…).getBestCmap()[ord(c)]]`.
    const ADVANCES: &[(char, f64, f64)] = &[
        ('W', 2025.0, 2259.0),
        ('i', 569.0, 702.0),
        ('l', 569.0, 702.0),
        ('0', 1303.0, 1425.0),
        ('.', 651.0, 778.0),
        ('+', 1716.0, 1716.0),
        ('\u{2212}', 1716.0, 1716.0),
        ('\u{A0}', 651.0, 713.0),
        ('\u{202F}', 409.0, 409.0),
        ('Ő', 1612.0, 1741.0),
        ('ỹ', 1212.0, 1335.0),
        ('Ω', 1565.0, 1741.0),
        ('щ', 1929.0, 2264.0),
        ('→', 1716.0, 1716.0),
        ('²', 821.0, 897.0),
        ('□', 1935.0, 1935.0),
    ];

    #[test]
    fn advances_are_those_of_the_whole_typeface() {
        for (character, regular, bold) in ADVANCES {
            let text = character.to_string();
            for (weight, units) in [(Weight::Regular, regular), (Weight::Bold, bold)] {
                let width = width(&text, 2048.0, weight);
                assert!((width - units).abs() < 1e-9, "{character}: {width}");
            }
        }
    }

    #[test]
    fn figures_signs_and_the_letters_of_many_languages_have_a_glyph() {
        let needed = "+\u{2212}0123456789.,%/\u{A0}\u{202F}’“”–ÅéßçőŐžŞșĐầỹΩπЖщ←→≥±√τ²";
        for character in needed.chars() {
            assert!(has(character), "{character:?}");
        }
        assert!(has(NO_GLYPH));
        for character in ['球', '🎾', 'א', '\u{200D}', '\u{FFFF}'] {
            assert!(!has(character), "{character:?}");
        }
    }

    #[test]
    fn a_character_without_a_glyph_is_as_wide_as_the_box_that_stands_for_it() {
        for weight in [Weight::Regular, Weight::Bold] {
            let of_box = width(&NO_GLYPH.to_string(), 10.0, weight);
            assert!(0.0 < of_box);
            assert!((width("球🎾", 10.0, weight) - 2.0 * of_box).abs() < 1e-9);
        }
    }

    #[test]
    fn a_damaged_file_has_no_widths_and_stops_nothing() {
        for file in [&b""[..], &b"\0\x01\0\0\0\x02"[..], &[0xFF; 40][..]] {
            assert!(table(file, *b"cmap").is_none());
        }
        assert!(characters(&[0, 0, 0, 9, 0xFF]).is_none());
    }
}
