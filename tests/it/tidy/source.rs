//! Rust source as the house rules read it: without comments, texts and test sections, and as the
//! list of paths it names.

/// Source with comments and the insides of texts and characters blanked; line ends stay.
pub(super) fn without_comments_and_texts(source: &str) -> String {
    let mut rest: &[char] = &source.chars().collect::<Vec<_>>();
    let mut kept = String::with_capacity(source.len());
    let blank = |kept: &mut String, skipped: &[char]| {
        kept.extend(skipped.iter().map(|&c| if c == '\n' { '\n' } else { ' ' }));
    };
    while let Some(&first) = rest.first() {
        let is_word = kept.ends_with(|c: char| c.is_alphanumeric() || c == '_');
        let length = match rest {
            ['/', '/', ..] => rest.iter().position(|&c| c == '\n').unwrap_or(rest.len()),
            ['/', '*', ..] => block_comment(rest),
            ['"', ..] => quoted(rest, 0),
            ['b', '"', ..] if !is_word => quoted(rest, 1),
            ['r', '"' | '#', ..] if !is_word => raw(rest, 1),
            ['b', 'r', '"' | '#', ..] if !is_word => raw(rest, 2),
            ['\'', '\\', ..] => quoted_by(rest, 0, '\''),
            ['\'', _, '\'', ..] => 3,
            _ => 0,
        };
        let length = length.min(rest.len());
        if length == 0 {
            kept.push(first);
            rest = &rest[1..];
        } else {
            blank(&mut kept, &rest[..length]);
            rest = &rest[length..];
        }
    }
    kept
}

fn block_comment(text: &[char]) -> usize {
    let (mut depth, mut at) = (0, 0);
    while at < text.len() {
        match text[at..] {
            ['/', '*', ..] => (depth, at) = (depth + 1, at + 2),
            ['*', '/', ..] => (depth, at) = (depth - 1, at + 2),
            _ => at += 1,
        }
        if depth == 0 {
            break;
        }
    }
    at
}

fn quoted(text: &[char], opening: usize) -> usize {
    quoted_by(text, opening, '"')
}

fn quoted_by(text: &[char], opening: usize, quote: char) -> usize {
    let mut at = opening + 1;
    while at < text.len() && text[at] != quote {
        at += if text[at] == '\\' { 2 } else { 1 };
    }
    at + 1
}

/// Length of a raw text, or 0 when this is a raw identifier.
fn raw(text: &[char], prefix: usize) -> usize {
    let hashes = text[prefix..].iter().take_while(|&&c| c == '#').count();
    let body = prefix + hashes + 1;
    if text.get(body - 1) != Some(&'"') {
        return 0;
    }
    let closing: Vec<char> = std::iter::once('"')
        .chain(std::iter::repeat_n('#', hashes))
        .collect();
    text[body..]
        .windows(closing.len())
        .position(|window| window == closing)
        .map_or(text.len(), |place| body + place + closing.len())
}

/// Clean source without the items under `#[cfg(test)]`.
pub(super) fn without_tests(clean: &str) -> String {
    const MARK: &str = "#[cfg(test)]";
    let mut kept = String::with_capacity(clean.len());
    let mut rest = clean;
    while let Some(start) = rest.find(MARK) {
        kept.push_str(&rest[..start]);
        let item = &rest[start..];
        let end = item_end(&item[MARK.len()..]) + MARK.len();
        kept.extend(item[..end].chars().filter(|&c| c == '\n'));
        rest = &item[end..];
    }
    kept + rest
}

/// Where an item ends: at its first semicolon outside braces, or at its closing brace.
fn item_end(item: &str) -> usize {
    let mut depth = 0_usize;
    for (place, character) in item.char_indices() {
        match character {
            '{' => depth += 1,
            '}' if depth <= 1 => return place + 1,
            '}' => depth -= 1,
            ';' if depth == 0 => return place + 1,
            _ => {}
        }
    }
    item.len()
}

/// The code of a file: no comments, no texts, no test sections.
pub(super) fn code(source: &str) -> String {
    without_tests(&without_comments_and_texts(source))
}

/// Every path that code names, as segments: `use` trees taken apart, and paths in expressions and
/// types. A name alone is a path of one segment.
pub(super) fn paths(code: &str) -> Vec<Vec<String>> {
    let tokens = tokens(code);
    let mut found = Vec::new();
    let mut at = 0;
    while at < tokens.len() {
        // `use<…>` says what a type captures, and names nothing.
        let captures = tokens.get(at + 1).is_some_and(|token| token == "<");
        if tokens[at] == "use" && !captures {
            at = use_tree(&tokens, at + 1, &[], &mut found);
        } else if is_name(&tokens[at]) {
            let mut path = vec![tokens[at].clone()];
            at += 1;
            while tokens.get(at).is_some_and(|token| token == "::")
                && tokens.get(at + 1).is_some_and(|token| is_name(token))
            {
                path.push(tokens[at + 1].clone());
                at += 2;
            }
            found.push(path);
        } else {
            at += 1;
        }
    }
    found
}

/// Reads one branch of a `use` tree; answers the place after it.
fn use_tree(
    tokens: &[String],
    mut at: usize,
    stem: &[String],
    found: &mut Vec<Vec<String>>,
) -> usize {
    let mut path = stem.to_vec();
    while let Some(token) = tokens.get(at) {
        match token.as_str() {
            "::" => at += 1,
            "as" => at += 2,
            "{" => {
                at += 1;
                while tokens.get(at).is_some_and(|token| token != "}") {
                    at = use_tree(tokens, at, &path, found);
                    if tokens.get(at).is_some_and(|token| token == ",") {
                        at += 1;
                    }
                }
                return at + 1;
            }
            "," | ";" | "}" => break,
            _ => {
                path.push(token.clone());
                at += 1;
            }
        }
    }
    found.push(path);
    at
}

fn is_name(token: &str) -> bool {
    token.starts_with(|c: char| c.is_alphabetic() || c == '_')
}

fn tokens(code: &str) -> Vec<String> {
    let mut tokens: Vec<String> = Vec::new();
    let mut characters = code.chars().peekable();
    while let Some(first) = characters.next() {
        let mut token = first.to_string();
        if first.is_alphanumeric() || first == '_' {
            while let Some(&next) = characters.peek()
                && (next.is_alphanumeric() || next == '_')
            {
                token.push(next);
                characters.next();
            }
        } else if first == ':' && characters.peek() == Some(&':') {
            token.push(':');
            characters.next();
        }
        if !first.is_whitespace() {
            tokens.push(token);
        }
    }
    tokens
}

#[test]
fn comments_texts_and_tests_are_not_code() {
    let source = r####"
//! rusqlite in a doc comment
use std::fmt; /* tokio /* nested */ still */ const A: &str = "clap \" ureq";
const B: &str = r#"rand "quoted" uuid"#; const C: char = '"'; const D: &[u8] = b"std::fs";
fn real<'a>(x: &'a str) -> char { '\'' }
#[cfg(test)]
mod tests { use std::env; fn f() { { } } }
#[cfg(test)]
use std::net;
fn last() {}
"####;
    let code = code(source);
    for gone in [
        "rusqlite", "tokio", "clap", "ureq", "rand", "uuid", "env", "std::fs", "net",
    ] {
        assert!(!code.contains(gone), "{gone} in {code}");
    }
    for kept in ["use std::fmt;", "fn real<'a>(x: &'a str)", "fn last() {}"] {
        assert!(code.contains(kept), "{kept} not in {code}");
    }
    assert_eq!(code.lines().count(), source.lines().count());
}

#[test]
fn use_trees_come_apart_into_paths() {
    let found =
        paths("use a::{b, c::{self, d as e}}; use std::fs; fn f(x: g::H<i::J>) { k::l!() }");
    let found: Vec<String> = found.iter().map(|path| path.join("::")).collect();
    for path in [
        "a::b",
        "a::c::self",
        "a::c::d",
        "std::fs",
        "g::H",
        "i::J",
        "k::l",
    ] {
        assert!(
            found.iter().any(|one| one == path),
            "{path} not in {found:?}"
        );
    }
}
