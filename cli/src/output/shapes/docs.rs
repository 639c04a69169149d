//! `docs/json.md`, generated from the shapes: `TIEROD_WRITE_DOCS=1 cargo test -p tierod shapes::` writes it.

use std::fmt::Write as _;
use std::path::Path;

use super::{ALL, Keys, Named, Shape};

const INTRO: &str = "\
# The JSON answers

This page lists every key of every JSON answer. It is generated from the same tables as the JSON Schemas; run
`tierod schema ANSWER`, as in `tierod schema check`, to print the schema (draft 2020-12) of an answer.

- Answers are printed to standard output, as UTF-8. The same input gives the same bytes.
- All answers have `version: 1`. Within a version, keys are added only, never renamed or removed.
- The exit status is the same for all output formats: 1 if `check` or `audit` has findings at error level, or if `stops`
  of `delta` or `check --staged` is not empty; 2 if `tierod` could not do its work; otherwise 0. With status 2 there is no answer; the reason is on standard
  error.
- A number that cannot be calculated is null. A key marked *optional* may be missing.
- A unit in backquotes, as in `unit`, is the text of that key in the same object. The unit 1 is a ratio: 0.05 is 5 %.
- Dates are written as `2027-03-19`.

Other formats have public descriptions: `check --format sarif` is SARIF 2.1.0, `check --format gitlab` the code quality
report of that forge, and `tierod schema records` and `tierod schema settings` describe the YAML files of a project.
";

fn page() -> String {
    let mut out = INTRO.to_owned();
    let mut shared: Vec<&'static Named> = Vec::new();
    for answer in ALL {
        let _ = write!(out, "\n## {}\n\n`{}`\n\n{}\n", answer.name, answer.command, answer.summary);
        for (title, keys) in answer.variants {
            if !title.is_empty() {
                let _ = write!(out, "\nIf NAME is {title}:\n");
            }
            table(&mut out, keys, &mut shared);
        }
    }
    out.push_str("\n## Shared objects\n");
    let mut number = 0;
    // A shared object may contain others, which are added to the list while it is written.
    while let Some(named) = shared.get(number).copied() {
        let _ = write!(out, "\n### {}\n\n{}\n", named.name, named.summary);
        table(&mut out, named.keys, &mut shared);
        number += 1;
    }
    out
}

fn table(out: &mut String, keys: Keys, shared: &mut Vec<&'static Named>) {
    out.push_str("\n| key | type | unit | meaning |\n| --- | --- | --- | --- |\n");
    rows(out, "", keys, shared);
}

fn rows(out: &mut String, above: &str, keys: Keys, shared: &mut Vec<&'static Named>) {
    for key in keys.iter().copied().flatten() {
        let path = format!("{above}{}", key.name);
        let optional = if key.optional { "*optional*; " } else { "" };
        let kind = type_of(&key.shape, shared);
        let _ = writeln!(out, "| `{path}` | {kind} | {} | {optional}{} |", key.unit, key.meaning);
        let (inner, suffix) = inner(&key.shape);
        if let Some(keys) = inner {
            rows(out, &format!("{path}{suffix}."), keys, shared);
        }
    }
}

/// The keys of the object in a value, and how the path to it continues.
fn inner(shape: &Shape) -> (Option<Keys>, String) {
    match shape {
        Shape::Object(keys) => (Some(keys), String::new()),
        Shape::List(item) | Shape::Pair(item) => {
            let (keys, suffix) = inner(item);
            (keys, format!("[]{suffix}"))
        }
        Shape::Map(value) => {
            let (keys, suffix) = inner(value);
            (keys, format!(".*{suffix}"))
        }
        Shape::OrNull(value) => inner(value),
        _ => (None, String::new()),
    }
}

fn type_of(shape: &Shape, shared: &mut Vec<&'static Named>) -> String {
    match shape {
        Shape::Text => "string".to_owned(),
        Shape::Number => "number".to_owned(),
        Shape::Integer => "integer".to_owned(),
        Shape::Flag => "boolean".to_owned(),
        Shape::Date => "date".to_owned(),
        Shape::Version => "1".to_owned(),
        Shape::Words(words) => words.iter().map(|word| format!("`{word}`")).collect::<Vec<_>>().join(", "),
        Shape::List(item) => format!("list of {}", type_of(item, shared)),
        Shape::Pair(item) => format!("list of two: {}", type_of(item, shared)),
        Shape::Map(value) => format!("map to {}", type_of(value, shared)),
        Shape::OrNull(value) => format!("{}, or null", type_of(value, shared)),
        Shape::Object(_) => "object".to_owned(),
        Shape::Named(named) => {
            if !shared.iter().any(|known| known.name == named.name) {
                shared.push(named);
            }
            format!("[{0}](#{0})", named.name)
        }
    }
}

#[test]
fn the_page_of_the_json_answers_is_current() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../docs/json.md");
    let page = page();
    if std::env::var_os("TIEROD_WRITE_DOCS").is_some() {
        std::fs::write(&path, &page).unwrap();
    }
    let committed = std::fs::read_to_string(&path).unwrap_or_default();
    assert!(committed == page, "docs/json.md is not current: run the test with TIEROD_WRITE_DOCS=1");
}

/// No object has the same key twice, and a shared object has one definition.
#[test]
fn keys_are_declared_once() {
    fn visit(keys: Keys, path: &str) {
        let mut seen = std::collections::BTreeSet::new();
        for key in keys.iter().copied().flatten() {
            assert!(seen.insert(key.name), "{path}{} is declared twice", key.name);
            if let (Some(keys), _) = inner(&key.shape) {
                visit(keys, &format!("{path}{}.", key.name));
            }
        }
    }
    for answer in ALL {
        for (_, keys) in answer.variants {
            visit(keys, &format!("{}: ", answer.name));
        }
    }
}
