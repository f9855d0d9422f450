//! What no file may hold: too much, unfinished work, or what is true on one machine only.

use super::source::{code, paths, without_comments_and_texts};
use super::{Text, is_test_module, none, texts_under};

/// Longest file: what one reads in one sitting.
const MOST_LINES: usize = 400;

/// Macros and attributes that stand for work not done or a test not run.
const UNFINISHED: &[&str] = &["todo", "unimplemented", "should_panic", "ignore"];

/// Beginnings of paths that exist on one machine only. In pieces, so that this file has none.
const MACHINE_PATHS: &[&str] = &[
    concat!("/", "home/"),
    concat!("/", "root/"),
    concat!("/", "work/"),
    concat!("/", "tmp/"),
];

/// Words of package registries, in pieces for the same reason. Which registry is used is the
/// machine's business; only the lock file names the public index.
const REGISTRY_WORDS: &[&str] = &[
    concat!("crates", ".io"),
    concat!("pypi", ".org"),
    concat!("pythonhosted", ".org"),
    concat!("npmjs", ".org"),
    concat!("index", "-url"),
    concat!("registry", "+"),
    concat!("sparse", "+"),
];

/// The only registry that the lock file may name, in pieces too.
const PUBLIC_INDEX: &str = concat!(
    "registry",
    "+https://github.com/rust-lang/crates",
    ".io-index"
);

/// Lines that hold code, or for other files anything at all.
fn code_lines(file: &Text) -> usize {
    let code = match file.path.rsplit_once('.') {
        Some((_, "rs")) => code(&file.text),
        Some((_, "css")) => without_comments_and_texts(&file.text),
        _ => file.text.clone(),
    };
    code.lines().filter(|line| !line.trim().is_empty()).count()
}

fn too_long(file: &Text) -> Option<String> {
    let n_lines = code_lines(file);
    (MOST_LINES < n_lines && !is_test_module(&file.path)).then(|| {
        format!(
            "{}: {n_lines} lines of code, at most {MOST_LINES}: split it by topic",
            file.path
        )
    })
}

fn is_mod_file(file: &Text) -> Option<String> {
    let is_one = file.path.ends_with("/mod.rs");
    is_one.then(|| format!("{}: name it after its module, beside its folder", file.path))
}

/// Unfinished work, and tests that do not run or do not look.
fn unfinished(file: &Text) -> Vec<String> {
    let code = without_comments_and_texts(&file.text);
    let squeezed: String = code.split_whitespace().collect();
    let stands = |word: &str| {
        let as_macro = format!("{word}!");
        let as_attribute = [
            format!("#[{word}]"),
            format!("#[{word}("),
            format!("#[{word}="),
        ];
        let named = paths(&code)
            .iter()
            .any(|path| path.last().is_some_and(|last| last == word));
        named
            && (squeezed.contains(&as_macro)
                || as_attribute
                    .iter()
                    .any(|attribute| squeezed.contains(attribute)))
    };
    UNFINISHED
        .iter()
        .filter(|word| stands(word))
        .map(|word| format!("{}: `{word}`: finish it, or assert what happens", file.path))
        .collect()
}

/// Whether `text` has an absolute path that begins so: not a later part of a longer path.
fn has_path(text: &str, beginning: &str) -> bool {
    text.match_indices(beginning).any(|(place, _)| {
        let before = text[..place].chars().next_back();
        !before.is_some_and(|c| c.is_alphanumeric() || "._-/}*".contains(c))
    })
}

fn machine_bound(file: &Text) -> Vec<String> {
    let lock = file.path == "Cargo.lock";
    let text = if lock {
        file.text.replace(PUBLIC_INDEX, "")
    } else {
        file.text.clone()
    };
    let path = MACHINE_PATHS
        .iter()
        .filter(|beginning| has_path(&text, beginning));
    let registry = REGISTRY_WORDS.iter().filter(|word| text.contains(**word));
    path.chain(registry)
        .map(|word| {
            format!(
                "{}: `{word}` holds on one machine only: use a relative path, or leave the registry \
                 to the machine's own settings",
                file.path
            )
        })
        .collect()
}

fn of_the_program_and_its_tests() -> Vec<Text> {
    let mut files = texts_under("src");
    files.extend(texts_under("tests"));
    files
}

#[test]
fn files_are_short_enough_to_read() {
    none(
        &texts_under("src")
            .iter()
            .filter_map(too_long)
            .collect::<Vec<_>>(),
    );
}

#[test]
fn modules_are_named_after_themselves() {
    let files = of_the_program_and_its_tests();
    none(&files.iter().filter_map(is_mod_file).collect::<Vec<_>>());
}

#[test]
fn nothing_is_left_for_later_and_every_test_runs() {
    let mut files = of_the_program_and_its_tests();
    files.retain(|file| file.path.ends_with(".rs"));
    none(&files.iter().flat_map(unfinished).collect::<Vec<_>>());
}

#[test]
fn no_file_is_bound_to_one_machine() {
    none(
        &texts_under("")
            .iter()
            .flat_map(machine_bound)
            .collect::<Vec<_>>(),
    );
}

#[test]
fn every_rule_about_texts_can_fail() {
    let long = "fn f() {}\n".repeat(MOST_LINES + 1);
    assert!(too_long(&Text::new("src/a.rs", &long)).is_some());
    assert!(too_long(&Text::new("src/a/tests.rs", &long)).is_none());
    assert!(too_long(&Text::new("src/a.css", &long)).is_some());
    let padded = long.replacen("fn f() {}", "// fn f() {}\n", 2);
    assert!(too_long(&Text::new("src/a.rs", &padded)).is_none());
    assert!(is_mod_file(&Text::new("src/a/mod.rs", "")).is_some());
    assert!(is_mod_file(&Text::new("src/a/model.rs", "")).is_none());

    for bad in [
        "#[ignore] fn f() {}",
        "#[ignore = \"slow\"] fn f() {}",
        "#[should_panic(expected = \"x\")]",
        "fn f() { todo!() }",
        "fn f() { unimplemented ! (\"x\") }",
    ] {
        assert_eq!(unfinished(&Text::new("tests/a.rs", bad)).len(), 1, "{bad}");
    }
    for good in [
        "// todo!()",
        "const A: &str = \"#[ignore]\";",
        "fn ignore() { todo() }",
    ] {
        assert_eq!(unfinished(&Text::new("src/a.rs", good)).len(), 0, "{good}");
    }

    for beginning in MACHINE_PATHS {
        assert_eq!(
            machine_bound(&Text::new("a", &format!("x = \"{beginning}y\""))).len(),
            1
        );
        assert_eq!(
            machine_bound(&Text::new("a", &format!("https://a.example{beginning}y"))).len(),
            0
        );
    }
    assert_eq!(
        machine_bound(&Text::new("a.toml", REGISTRY_WORDS[0])).len(),
        1
    );
    assert_eq!(
        machine_bound(&Text::new("Cargo.lock", PUBLIC_INDEX)).len(),
        0
    );
    let mirror = concat!("registry", "+https://mirror.example/index");
    assert_eq!(machine_bound(&Text::new("Cargo.lock", mirror)).len(), 1);
}
