//! Inputs made from others: by changing bytes, and by changing what the bytes mean.

use super::LONGEST;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use serde_json::Value;

/// Numbers at which readers go wrong.
const NUMBERS: &[&str] = &[
    "0",
    "-0",
    "1",
    "-1",
    "0.0",
    "-0.0",
    "00",
    "01",
    "1.",
    ".5",
    "+1",
    "1e0",
    "1E+2",
    "1e-2",
    "1e308",
    "1e309",
    "-1e309",
    "1e-308",
    "5e-324",
    "1e-400",
    "1e99999999999",
    "0.1",
    "0.105",
    "61.25",
    "1e2",
    "100",
    "101",
    "99999",
    "9007199254740993",
    "9223372036854775807",
    "-9223372036854775808",
    "18446744073709551615",
    "18446744073709551616",
    "123456789012345678901234567890",
    "0.30000000000000004",
    "NaN",
    "nan",
    "Infinity",
    "-inf",
    "1e",
    "--1",
    "0x10",
    "1_000",
    "1,5",
    "½",
    "٣",
    "1\u{a0}000",
    "3.",
    "−1",
    "",
];

/// Bytes at which readers go wrong: controls, structure, broken and unusual UTF-8.
const PIECES: &[&[u8]] = &[
    b"\0",
    b"\xef\xbb\xbf",
    b"\xff",
    b"\xfe\xff",
    b"\xc0\x80",
    b"\xed\xa0\x80",
    b"\xf4\x90\x80\x80",
    b"\xe2\x80\xae",
    b"\xe2\x80\x8b",
    b"\xc2\xa0",
    b"\r",
    b"\n",
    b"\r\n",
    b"\t",
    b"\x1b[2J",
    b" ",
    b"\"",
    b"\"\"",
    b"'",
    b"\\",
    b"\\u0000",
    b"\\ud800",
    b"\\udc00\\ud800",
    b",",
    b";",
    b":",
    b"{",
    b"}",
    b"[",
    b"]",
    b"[]",
    b"{}",
    b"null",
    b"true",
    b"false",
    b"//",
    b"/**/",
    b"#",
    b"=",
    b"&",
    b"%",
    b"%00",
    b"%C0%80",
    b"%ff",
    b"%2",
    b"+",
    b"-",
    b"@",
    b"<",
    b">",
    b"</script>",
    b"~1",
    b"/",
];

/// Makes inputs, the same ones on every run.
pub(super) struct Maker<'a> {
    dice: ChaCha8Rng,
    vocabulary: &'a [String],
}

impl<'a> Maker<'a> {
    pub(super) fn new(vocabulary: &'a [String]) -> Self {
        Self {
            dice: ChaCha8Rng::seed_from_u64(1),
            vocabulary,
        }
    }

    fn below(&mut self, n: usize) -> usize {
        self.dice.random_range(0..n.max(1))
    }

    fn pick<'b, T: ?Sized>(&mut self, all: &'b [&'b T]) -> &'b T {
        all[self.below(all.len())]
    }

    /// An input made from others in one to six steps. Every other time it begins as one that was
    /// taken, or few would get beyond the first look.
    pub(super) fn make(&mut self, pool: &[Vec<u8>], sound: &[Vec<u8>]) -> Vec<u8> {
        let from = if self.below(2) == 0 { sound } else { pool };
        let mut input = from[self.below(from.len())].clone();
        let most = if self.below(3) == 0 { 6 } else { 2 };
        // Half of them stay what they are to a first look, or few would get beyond it.
        let ways = if self.below(2) == 0 { 4..10 } else { 0..12 };
        for _ in 0..=self.below(most) {
            let other = pool[self.below(pool.len())].clone();
            match self.dice.random_range(ways.clone()) {
                0..=2 => self.bytes(&mut input),
                3 => self.pieces_of(&mut input, &other),
                4 | 5 => self.number(&mut input),
                6 => self.word(&mut input),
                7..=9 => self.meaning(&mut input, &other),
                10 => self.lines(&mut input),
                _ => self.much(&mut input),
            }
            input.truncate(LONGEST);
        }
        input
    }

    /// A place in an input and one behind it, mostly near.
    fn range(&mut self, input: &[u8]) -> (usize, usize) {
        let from = self.below(input.len() + 1);
        let longest = if self.below(4) == 0 { input.len() } else { 12 };
        let until = input.len().min(from + self.below(longest + 1));
        (from, until)
    }

    fn bytes(&mut self, input: &mut Vec<u8>) {
        let (from, until) = self.range(input);
        match self.below(6) {
            0 if from < input.len() => input[from] ^= 1 << self.below(8),
            1 if from < input.len() => input[from] = u8::try_from(self.below(256)).unwrap(),
            2 => drop(input.drain(from..until)),
            3 => input.truncate(from),
            _ => {
                let piece = self.pick(PIECES);
                input.splice(from..from, piece.iter().copied());
            }
        }
    }

    /// Puts a piece of another input, or of the same, in the place of one of this.
    fn pieces_of(&mut self, input: &mut Vec<u8>, other: &[u8]) {
        let (from, until) = self.range(other);
        let piece = other[from..until].to_vec();
        let (from, until) = self.range(input);
        let until = if self.below(2) == 0 { from } else { until };
        input.splice(from..until, piece);
    }

    /// Puts another number in the place of one.
    fn number(&mut self, input: &mut Vec<u8>) {
        let is_part = |byte: &u8| byte.is_ascii_digit() || b"+-.eE".contains(byte);
        let begins = |at: &usize| {
            input[*at].is_ascii_digit() && (*at == 0 || !input[*at - 1].is_ascii_alphanumeric())
        };
        let places: Vec<usize> = (0..input.len()).filter(begins).collect();
        if places.is_empty() {
            return;
        }
        let from = places[self.below(places.len())];
        let until = from
            + input[from..]
                .iter()
                .take_while(|byte| is_part(byte))
                .count();
        let nearby = self.nearby(&input[from..until]);
        let number = if self.below(2) == 0 {
            self.pick(NUMBERS).to_owned()
        } else {
            nearby
        };
        input.splice(from..until, number.into_bytes());
    }

    /// A number that is not far from another, so that most of what is said of it still holds.
    fn nearby(&mut self, text: &[u8]) -> String {
        let text = String::from_utf8_lossy(text);
        let step = f64::from(u8::try_from(self.below(41)).unwrap()) - 20.0;
        let scale = [0.01, 0.1, 1.0, 10.0][self.below(4)];
        match text.parse::<f64>() {
            Ok(number) if text.contains('.') => format!("{:.2}", number + step * scale),
            Ok(number) => format!("{}", number + step),
            Err(_) => text.into_owned(),
        }
    }

    /// Puts a word that means something here in the place of another, or anywhere.
    fn word(&mut self, input: &mut Vec<u8>) {
        if self.vocabulary.is_empty() {
            return;
        }
        let word = self.vocabulary[self.below(self.vocabulary.len())].clone();
        let is_part = |byte: &u8| byte.is_ascii_alphanumeric() || *byte == b'_';
        let at = self.below(input.len());
        let before = input[..at].iter().rev().take_while(|byte| is_part(byte));
        let from = at - before.count();
        let until = at + input[at..].iter().take_while(|byte| is_part(byte)).count();
        input.splice(from..until, word.into_bytes());
    }

    fn lines(&mut self, input: &mut Vec<u8>) {
        let text = String::from_utf8_lossy(input).into_owned();
        let mut lines: Vec<String> = text.split('\n').map(str::to_owned).collect();
        let (one, two) = (self.below(lines.len()), self.below(lines.len()));
        match self.below(5) {
            0 => lines.swap(one, two),
            1 => lines.insert(two, lines[one].clone()),
            2 => drop(lines.remove(one)),
            3 => lines[one] = self.cells(&lines[one]),
            _ => {
                let end = ["\r\n", "\r", "\n\n", "\u{2028}"][self.below(4)];
                *input = lines.join(end).into_bytes();
                return;
            }
        }
        *input = lines.join("\n").into_bytes();
    }

    fn cells(&mut self, line: &str) -> String {
        let between = ["&", ";", ","]
            .into_iter()
            .find(|sign| line.contains(*sign));
        let between = between.unwrap_or(",");
        let mut cells: Vec<String> = line.split(between).map(str::to_owned).collect();
        let (one, two) = (self.below(cells.len()), self.below(cells.len()));
        match self.below(5) {
            0 => cells.swap(one, two),
            1 => cells.insert(two, cells[one].clone()),
            2 => drop(cells.remove(one)),
            3 => cells[one] = format!("\"{}\"", cells[one]),
            _ => cells[one] = self.pick(NUMBERS).to_owned(),
        }
        cells.join(between)
    }

    /// A great deal of something: length, depth, or the same again.
    fn much(&mut self, input: &mut Vec<u8>) {
        let (from, until) = self.range(input);
        let n = [3, 30, 130, 1_100, 11_000][self.below(5)];
        let piece = match self.below(4) {
            0 => input[from..until].to_vec(),
            1 => b"[".to_vec(),
            2 => b"{\"a\":".to_vec(),
            _ => b"x".to_vec(),
        };
        let n = n.min(LONGEST / piece.len().max(1));
        input.splice(from..from, piece.repeat(n));
    }

    /// Changes a JSON document as a document; what is none is left to the others.
    fn meaning(&mut self, input: &mut Vec<u8>, other: &[u8]) {
        let Ok(mut document) = serde_json::from_slice::<Value>(input) else {
            return self.lines(input);
        };
        let other = serde_json::from_slice(other).unwrap_or(Value::Null);
        let places = places(&document);
        let place = places[self.below(places.len())].clone();
        let value = self.value(&other, &place);
        let at = document.pointer_mut(&place).unwrap();
        match (self.below(4), at) {
            (0, Value::Array(items)) if !items.is_empty() => {
                let item = items[self.below(items.len())].clone();
                items.insert(self.below(items.len()), item);
            }
            (0, Value::Object(fields)) => {
                if let Some(name) = fields.keys().nth(self.below(fields.len())).cloned() {
                    fields.shift_remove(&name);
                }
            }
            (1, Value::Object(fields)) if !self.vocabulary.is_empty() => {
                let name = self.vocabulary[self.below(self.vocabulary.len())].clone();
                fields.insert(name, value);
            }
            (_, at) => *at = value,
        }
        *input = document.to_string().into_bytes();
    }

    /// A value of another document, from the same place if it has it, or a made-up one.
    fn value(&mut self, other: &Value, place: &str) -> Value {
        if let Some(value) = other.pointer(place)
            && self.below(3) != 0
        {
            return value.clone();
        }
        let places = places(other);
        match self.below(4) {
            0 => other
                .pointer(&places[self.below(places.len())])
                .unwrap()
                .clone(),
            1 => serde_json::from_str(self.pick(NUMBERS)).unwrap_or(Value::Null),
            2 => match self.vocabulary {
                [] => Value::Bool(true),
                words => Value::String(words[self.below(words.len())].clone()),
            },
            _ => Value::String(String::from_utf8_lossy(self.pick(PIECES)).into_owned()),
        }
    }
}

/// The pointer to every value in a document, at most some hundreds.
fn places(document: &Value) -> Vec<String> {
    let mut places = vec![String::new()];
    let mut next = 0;
    while next < places.len() && places.len() < 600 {
        let place = places[next].clone();
        next += 1;
        match document.pointer(&place).unwrap() {
            Value::Array(items) => {
                places.extend((0..items.len().min(60)).map(|at| format!("{place}/{at}")));
            }
            Value::Object(fields) => places.extend(
                fields
                    .keys()
                    .map(|name| format!("{place}/{}", name.replace('~', "~0").replace('/', "~1"))),
            ),
            _ => {}
        }
    }
    places
}
