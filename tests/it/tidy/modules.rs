//! Which module may know what. Each checker takes text and answers what to mend.

use super::source::{code, paths};
use super::{Text, rust_under};
use std::collections::BTreeSet;

/// Every module of the library from the ground up: a module may use only those before it. One
/// order for all makes cycles impossible and shows which way knowledge runs.
const LAYERS: &[&str] = &[
    "vocabulary",
    "units",
    "numbers",
    "pooling",
    "protocol",
    "form",
    "plan",
    "contribution",
    "effects",
    "review",
    "findings",
    "disclosure",
    "release",
    "font",
    "plots",
    "raster",
    "intake",
    "screening",
    "wire",
    "pages",
    "clock",
    "receipt",
    "access",
    "store",
    "backup",
    "service",
    "demo",
    "http",
    "cli",
];

/// Modules that compute: values in, values out. Without a clock, randomness, files, a web or a
/// database they give the same answer everywhere, which is what lets anyone reproduce a figure.
const PURE: &[&str] = &[
    "units",
    "vocabulary",
    "protocol",
    "form",
    "plan",
    "contribution",
    "effects",
    "review",
    "pooling",
    "findings",
    "disclosure",
    "release",
    "font",
    "plots",
    "raster",
    "numbers",
    "screening",
];

/// The two edges between bytes and values: as free of the shell as the pure modules, but they know
/// JSON, so that nothing else has to.
const JSON_EDGES: &[&str] = &["intake", "wire"];

/// The shell, which does what the pure modules must not.
const SHELL: &[&str] = &[
    "access", "backup", "cli", "clock", "demo", "http", "pages", "receipt", "service", "store",
];

/// What belongs to the shell, by the beginning of its path. A name with a trailing `_` stands for
/// every crate that begins so.
const SHELL_PATHS: &[&str] = &[
    "actix_web",
    "actix_",
    "rusqlite",
    "tracing",
    "tracing_",
    "tokio",
    "futures_",
    "clap",
    "ureq",
    "rand",
    "rand_",
    "getrandom",
    "uuid",
    "hmac",
    "sha2",
    "argon2",
    "jiff",
    "std::env",
    "std::fs",
    "std::net",
    "std::io",
    "std::process",
    "std::thread",
];

/// The one generator of the core. Its seed is a hash of the data, so it adds nothing to them.
const SEEDED: (&str, &str) = ("src/pooling/draws.rs", "rand_chacha");

/// Names that read a clock wherever they come from.
const CLOCKS: &[&str] = &["SystemTime", "Instant"];

/// What only some modules may name, and why.
const ONLY: &[(&str, &[&str], &str)] = &[
    (
        "statrs",
        &["pooling"],
        "its tails and quantiles have traps that pooling::quantiles guards",
    ),
    ("nalgebra", &["pooling"], "linear algebra is statistics"),
    (
        "rusqlite",
        &["store"],
        "a second database engine is then added in the store alone",
    ),
    (
        "actix_web",
        &["http", "cli"],
        "http is the only door to the web; cli owns its runtime",
    ),
    (
        "flate2",
        &["service"],
        "what is compressed is kept beside what it was made from, and nothing else is compressed",
    ),
    (
        "multer",
        &["http"],
        "forms arrive over the web, and http is its only door",
    ),
    (
        "argon2",
        &["access"],
        "how a credential is hashed is decided in one place",
    ),
    (
        "resvg",
        &["raster"],
        "no fonts, files or network of the machine get into a picture",
    ),
    ("clap", &["cli"], "only the command line reads options"),
    (
        "prometheus_client",
        &["http"],
        "figures for whoever runs the service leave by a listener of their own",
    ),
    (
        "indicatif",
        &["cli"],
        "only a person at a terminal is shown progress",
    ),
    (
        "ureq",
        &["cli"],
        "only the command line speaks to another server",
    ),
    (
        "tracing_subscriber",
        &["cli"],
        "who starts the program decides where logs go",
    ),
    ("jsonschema", &["intake"], "schemas are asked at the door"),
    (
        "serde_json_canonicalizer",
        &["wire"],
        "one place says what a canonical text is, so that hashes agree",
    ),
    (
        "csv",
        &["intake", "wire"],
        "tables are read and written at the two edges",
    ),
    (
        "askama",
        &["pages", "plots", "service", "http"],
        "pages and plots fill templates; service and http only pass their errors on",
    ),
    (
        "serde_json",
        &["intake", "wire", "demo", "service", "http", "cli"],
        "modules that compute take and give values, so a change of format never changes a figure",
    ),
];

/// What a module may not use although [`LAYERS`] would let it.
const FORBIDDEN: &[(&str, &[&str], &str)] = &[
    (
        "store",
        &[
            "http",
            "pages",
            "findings",
            "disclosure",
            "effects",
            "intake",
            "wire",
            "plots",
        ],
        "the store keeps what it is given and interprets nothing",
    ),
    (
        "pages",
        &["store", "http", "service", "intake"],
        "a page shows values and fetches nothing",
    ),
    (
        "wire",
        &["store", "http", "service"],
        "a document is made of values alone",
    ),
    (
        "plots",
        &["findings", "effects", "protocol", "pooling"],
        "plots draw numbers, not studies",
    ),
    (
        "access",
        &["clock", "intake", "wire", "pages"],
        "times are passed in, and a secret is shown by its caller",
    ),
    (
        "store",
        &["access"],
        "the store keeps hashes and knows no secret",
    ),
    (
        "receipt",
        &["store", "service", "intake"],
        "a receipt is derived from bytes alone",
    ),
];

/// The top-level module that a file of `src/` belongs to; `None` for the roots of the crate.
fn module_of(path: &str) -> Option<&str> {
    let inside = path.strip_prefix("src/")?;
    let top = inside.split('/').next()?;
    let module = top.strip_suffix(".rs").unwrap_or(top);
    (!["lib", "main"].contains(&module)).then_some(module)
}

/// Paths of a file's code with `crate` and `super` resolved: `crate::x::…` for the crate's own.
fn resolved(file: &Text) -> Vec<Vec<String>> {
    let inside = file.path.trim_start_matches("src/").trim_end_matches(".rs");
    let own: Vec<String> = inside.split('/').map(str::to_owned).collect();
    let resolve = |path: Vec<String>| {
        let climbed = path
            .iter()
            .take_while(|segment| *segment == "super")
            .count();
        if climbed == 0 || own.len() < climbed {
            return path;
        }
        let stem = own[..own.len() - climbed].iter().cloned();
        let rest = path[climbed..].iter().cloned();
        std::iter::once("crate".to_owned())
            .chain(stem)
            .chain(rest)
            .collect()
    };
    paths(&code(&file.text)).into_iter().map(resolve).collect()
}

fn starts_with(path: &[String], prefix: &str) -> bool {
    let wanted: Vec<&str> = prefix.split("::").collect();
    let segments = path.iter().map(String::as_str);
    if prefix.ends_with('_') {
        return path.first().is_some_and(|first| first.starts_with(prefix));
    }
    wanted.len() <= path.len() && wanted.iter().copied().eq(segments.take(wanted.len()))
}

/// Pure modules and JSON edges name nothing of the shell.
fn shell_in_the_core(file: &Text) -> Vec<String> {
    let Some(module) = module_of(&file.path) else {
        return Vec::new();
    };
    if !PURE.contains(&module) && !JSON_EDGES.contains(&module) {
        return Vec::new();
    }
    let mut found = BTreeSet::new();
    for path in resolved(file) {
        let is_seeded = file.path == SEEDED.0 && starts_with(&path, SEEDED.1);
        let shell = !is_seeded && SHELL_PATHS.iter().any(|prefix| starts_with(&path, prefix));
        if shell
            || path
                .iter()
                .any(|segment| CLOCKS.contains(&segment.as_str()))
        {
            found.insert(format!(
                "{}: `{}` belongs to the shell, but {module} only computes: take the value as an \
                 argument instead",
                file.path,
                path.join("::")
            ));
        }
    }
    found.into_iter().collect()
}

/// A crate that only some modules may name is named by no other.
fn in_the_wrong_module(file: &Text) -> Vec<String> {
    let Some(module) = module_of(&file.path) else {
        return Vec::new();
    };
    let named = resolved(file);
    ONLY.iter()
        .filter(|(name, modules, _)| {
            !modules.contains(&module) && named.iter().any(|path| starts_with(path, name))
        })
        .map(|(name, modules, reason)| {
            format!(
                "{}: `{name}` may be named in {} alone ({reason}): move this there",
                file.path,
                modules.join(", ")
            )
        })
        .collect()
}

/// A module uses only modules of the layers below it.
fn against_the_direction(file: &Text) -> Vec<String> {
    let Some(module) = module_of(&file.path) else {
        return Vec::new();
    };
    let layer = |name: &str| LAYERS.iter().position(|&one| one == name);
    let mut found = BTreeSet::new();
    for path in resolved(file) {
        let [first, used, ..] = path.as_slice() else {
            continue;
        };
        let used = used.as_str();
        if first != "crate" || used == module || layer(used).is_none() {
            continue;
        }
        let forbidden = FORBIDDEN
            .iter()
            .find(|(of, names, _)| *of == module && names.contains(&used));
        let reason = if module == "pooling" {
            "pooling knows no tennis, so that it can be checked against any other statistics"
        } else if layer(module) < layer(used) {
            "a module uses only modules of the layers below it"
        } else if let Some((_, _, reason)) = forbidden {
            reason
        } else {
            continue;
        };
        found.insert(format!(
            "{}: {module} uses {used} ({reason}): pass the value in, or move the code",
            file.path
        ));
    }
    found.into_iter().collect()
}

/// The modules that `lib.rs` declares, as code.
fn declared(lib: &str) -> BTreeSet<String> {
    let code = code(lib);
    let after_mod = |line: &str| {
        let name = line
            .trim()
            .strip_prefix("pub ")
            .unwrap_or(line.trim())
            .strip_prefix("mod ")?;
        Some(name.trim_end_matches(';').to_owned())
    };
    code.lines().filter_map(after_mod).collect()
}

fn unsorted(lib: &str) -> Vec<String> {
    let declared = declared(lib);
    let layered: BTreeSet<String> = LAYERS.iter().map(|&name| name.to_owned()).collect();
    let mut found: Vec<String> = declared
        .symmetric_difference(&layered)
        .map(|name| format!("{name}: declared in lib.rs and listed in LAYERS must be the same"))
        .collect();
    for name in &declared {
        let kinds = [PURE, JSON_EDGES, SHELL];
        let n_kinds = kinds
            .iter()
            .filter(|kind| kind.contains(&name.as_str()))
            .count();
        if n_kinds != 1 {
            found.push(format!(
                "{name}: put it in one of PURE, JSON_EDGES and SHELL, not {n_kinds}"
            ));
        }
    }
    found
}

fn over_the_source(checker: impl Fn(&Text) -> Vec<String>) -> Vec<String> {
    rust_under("src").iter().flat_map(checker).collect()
}

#[test]
fn every_module_is_pure_an_edge_or_shell_and_has_its_layer() {
    let lib = std::fs::read_to_string(super::root().join("src/lib.rs")).unwrap();
    super::none(&unsorted(&lib));
}

#[test]
fn modules_that_compute_name_nothing_of_the_shell() {
    super::none(&over_the_source(shell_in_the_core));
}

#[test]
fn crates_are_named_where_they_belong() {
    super::none(&over_the_source(in_the_wrong_module));
}

#[test]
fn modules_use_only_what_lies_below_them() {
    super::none(&over_the_source(against_the_direction));
}

#[test]
fn every_module_rule_can_fail() {
    for (path, text, n_faults) in [
        ("src/effects/new.rs", "use std::{env, fmt};", 1),
        (SEEDED.0, "use rand_chacha::ChaCha8Rng; use rand::rng;", 1),
        ("src/pooling/new.rs", "use rand_chacha::ChaCha8Rng;", 1),
        (
            "src/effects.rs",
            "fn f() { let _ = std::fs::read(\"x\"); tracing::info!(\"y\"); }",
            2,
        ),
        (
            "src/units.rs",
            "use std::time::{Duration, Instant as Now};",
            1,
        ),
        ("src/wire/new.rs", "use rand_chacha::ChaCha8Rng;", 1),
        (
            "src/units.rs",
            "// std::env\n#[cfg(test)]\nmod tests { use std::fs; }",
            0,
        ),
        ("src/clock.rs", "use std::time::SystemTime;", 0),
    ] {
        assert_eq!(
            shell_in_the_core(&Text::new(path, text)).len(),
            n_faults,
            "{path}: {text}"
        );
    }
    for (path, text, n_faults) in [
        ("src/findings.rs", "use serde_json::Value;", 1),
        ("src/http/new.rs", "use serde_json::Value;", 0),
        ("src/service/new.rs", "fn f() -> rusqlite::Connection {}", 1),
        ("src/store/read.rs", "use rusqlite::Row;", 0),
        ("src/pages.rs", "use actix_web::web;", 1),
        ("src/effects.rs", "fn statrs_like() {}", 0),
    ] {
        assert_eq!(
            in_the_wrong_module(&Text::new(path, text)).len(),
            n_faults,
            "{path}: {text}"
        );
    }
    for (path, text, n_faults) in [
        ("src/pooling/new.rs", "use crate::vocabulary::Arm;", 1),
        (
            "src/pooling/quantiles/new.rs",
            "use super::super::super::units::Speed;",
            1,
        ),
        (
            "src/pooling/new.rs",
            "use super::Level; use crate::pooling::Reason;",
            0,
        ),
        ("src/units.rs", "use super::protocol::Study;", 1),
        (
            "src/effects/new.rs",
            "use crate::{store::Store, units::Speed};",
            1,
        ),
        ("src/store/new.rs", "fn f(x: crate::findings::Row) {}", 1),
        ("src/wire/new.rs", "use crate::service::Public;", 1),
        ("src/http/new.rs", "use crate::service::Public;", 0),
        ("src/lib.rs", "pub use crate::http;", 0),
    ] {
        assert_eq!(
            against_the_direction(&Text::new(path, text)).len(),
            n_faults,
            "{path}: {text}"
        );
    }
    let listed: String = LAYERS
        .iter()
        .map(|name| format!("pub mod {name};\n"))
        .collect();
    assert_eq!(unsorted(&listed), Vec::<String>::new());
    assert_eq!(unsorted(&format!("{listed}mod new;\n")).len(), 2);
}
