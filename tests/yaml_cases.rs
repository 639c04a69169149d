//! The reader with YAML that was not written as records: the official test suite and generated files.
//!
//! A case that must fail is always an `unreadable-file`, or another error with a place: none of the cases is a record
//! file, so that even one which the YAML library accepts holds no known kind.

#![allow(clippy::print_stdout, reason = "what was measured or skipped is printed")]

use std::collections::HashMap;
use std::path::Path;
use std::sync::LazyLock;
use std::time::Instant;

use proptest::prelude::*;
use schema::Kind;
use schema::read::{self, ProblemKind};
use serde_json::Value;

use crate::holds;
use crate::support::{SETTINGS, Sandbox};

struct Case {
    name: String,
    must_fail: bool,
    yaml: String,
}

/// All cases, if their folder exists; it must exist in CI.
fn suite() -> Option<Vec<Case>> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../shared/reference/yaml-cases.jsonl");
    let Ok(lines) = std::fs::read_to_string(&path) else {
        assert!(std::env::var_os("CI").is_none(), "{} is missing", path.display());
        println!("skipped: {} is not there", path.display());
        return None;
    };
    let case = |line: &str| {
        let line: Value = serde_json::from_str(line).unwrap();
        Case {
            name: line["case"].as_str().unwrap().to_owned(),
            must_fail: line["must_fail"].as_bool().unwrap(),
            yaml: line["yaml"].as_str().unwrap().to_owned(),
        }
    };
    let cases: Vec<Case> = lines.lines().map(case).collect();
    assert_eq!((cases.len(), cases.iter().filter(|case| case.must_fail).count()), (402, 94));
    Some(cases)
}

/// The name of a case, the file, and the place of its first problem.
type Typed = (&'static str, &'static str, Option<(u32, u32)>);

/// YAML test suite, the cases named, MIT.
const TYPED: [Typed; 9] = [
    (
        "229Q",
        "-\n  name: Mark McGwire\n  hr:   65\n  avg:  0.278\n-\n  name: Sammy Sosa\n  hr:   63\n  avg:  0.288\n",
        Some((1, 1)),
    ),
    ("236B", "foo:\n  bar\ninvalid\n", Some((4, 1))),
    ("27NA", "%YAML 1.2\n--- text\n", Some((2, 5))),
    ("2AUY", " - !!str a\n - b\n - !!int 42\n - d\n", Some((1, 4))),
    ("4H7K", "---\n[ a, b, c ] ]\n", Some((2, 13))),
    ("6JTT", "---\n[ [ a, b, c ]\n", Some((3, 1))),
    ("98YD", "# Comment only.\n", None),
    ("C2SP", "[23\n]: 42\n", Some((2, 2))),
    ("HU3P", "key:\n  word1 word2\n  no: key\n", Some((3, 5))),
];

#[test]
fn typed_cases_of_the_yaml_test_suite() {
    let cases = suite();
    for (name, yaml, place) in TYPED {
        let file = read::records(yaml.as_bytes());
        let spot = file.problems.first().and_then(|problem| problem.spot).map(|spot| (spot.line, spot.column));
        assert_eq!(spot, place, "YAML test suite, case {name}: {:?}", file.problems);
        assert!(file.records.is_empty());
        holds::check(yaml.as_bytes()).unwrap();
        if let Some(case) = cases.iter().flatten().find(|case| case.name == name) {
            assert_eq!(case.yaml, yaml, "case {name} is not as in the suite");
        }
    }
}

#[test]
fn every_case_is_answered_in_process() {
    let Some(cases) = suite() else { return };
    let mut let_through = Vec::new();
    for case in &cases {
        let file = read::records(case.yaml.as_bytes());
        assert!(file.records.is_empty(), "case {} gives records", case.name);
        if case.must_fail {
            assert!(!file.problems.is_empty(), "case {} must fail, and has no problem", case.name);
            if file.problems.iter().all(|problem| problem.kind != ProblemKind::Unreadable) {
                let_through.push(case.name.as_str());
            }
        }
        holds::check(case.yaml.as_bytes()).unwrap_or_else(|why| panic!("case {}: {why}", case.name));
    }
    // saphyr-parser accepts these as YAML; their content is reported as unknown kinds.
    assert_eq!(let_through, [""; 0]);
}

#[test]
fn all_cases_in_one_project_root() {
    let Some(cases) = suite() else { return };
    let sandbox = Sandbox::new();
    sandbox.write("tierod.yaml", SETTINGS);
    for (number, case) in cases.iter().enumerate() {
        sandbox.write(&format!("{number}.yaml"), &case.yaml);
    }
    let start = Instant::now();
    let answer = sandbox.tierod(&["check", "--format", "json"]);
    let took = start.elapsed().as_secs_f64();
    println!("402 cases: {took:.2} s");
    assert!(took < 5.0, "{took} s");
    let answer = answer.ended(1);
    assert!(!answer.err.contains("panicked"), "{}", answer.err);
    let read = answer.json();
    assert_eq!(read["summary"]["records"], 0);
    let mut places: HashMap<&str, Vec<(u64, u64)>> = HashMap::new();
    for finding in read["findings"].as_array().unwrap() {
        let place = (finding["line"].as_u64().unwrap(), finding["column"].as_u64().unwrap());
        places.entry(finding["path"].as_str().unwrap()).or_default().push(place);
    }
    for (number, case) in cases.iter().enumerate() {
        let path = format!("{number}.yaml");
        let in_process = read::records(case.yaml.as_bytes()).problems.len();
        let found = places.get(path.as_str()).map_or(0, Vec::len);
        assert_eq!(found, in_process, "case {}", case.name);
        assert!(found > 0 || !case.must_fail, "case {} is lost", case.name);
        for place in places.get(path.as_str()).into_iter().flatten() {
            assert!(place.0 > 0 && place.1 > 0, "case {}", case.name);
        }
    }
}

/// Values that are valid for some keys and invalid for others, as written in a file.
const VALUES: &[&str] = &[
    "car",
    "hub",
    "front-upright",
    "2",
    "0",
    "-3",
    "0x10",
    "0o17",
    "0b11",
    "007",
    "+5",
    "1_000",
    ".inf",
    "-.inf",
    ".nan",
    "1e3",
    "12e03",
    "2.0",
    "340282366920938463463374607431768211456",
    "~",
    "null",
    "Null",
    "",
    "true",
    "False",
    "yes",
    "4.25 s",
    "0.62 kg ± 0.02 kg",
    "20 %",
    "140 EUR",
    "2027-05-21",
    "test",
    "pass",
    "'it''s'",
    "\"é\\u00e9\\n\"",
    "Größe µ",
    "\"\"",
    "''",
    "[]",
    "[a, b]",
    "[1 kg, 2 kg]",
    "{}",
    "{a: b}",
    "{a: Because., b: }",
    "{mass: 2, cost: 1 EUR}",
    "{mass: {value: 2 kg, basis: drawn}}",
    "{by: test, with: rig, due: 2027-05-21}",
    "[{by: test}, {by: analysis}]",
    "{formula: a * b, given: {a: 1.5 * b}}",
    "{x: {title: X, sets: {m: 1 kg}}}",
    "&n a",
    "*n",
    "!t x",
    "a: b",
    "# c",
    "|\n        two\n        lines\n",
    ">-\n        folded\n\n        text\n",
    "a\n        b",
    "'a\n        b'",
    "\"a\\\n        b\"",
    "a # comment",
    "1.2 kg/m^3",
    "<<",
    "@x",
    "`x`",
    "a\tb",
    "\u{85}",
    "a\u{2028}b",
    "a\u{feff}b",
];

/// The keys of a record file, and one that is none.
static KINDS: LazyLock<Vec<&str>> =
    LazyLock::new(|| Kind::ALL.iter().map(|kind| kind.plural()).chain(["part"]).collect());

/// The dictionary for fuzzing starts with the keys of a record file, and has them as the start of a line too.
#[test]
fn kinds_in_the_fuzz_dictionary() {
    let dictionary = include_str!("../fuzz/yaml.dict");
    let words: Vec<&str> = dictionary.lines().map(|line| line.trim_matches('"')).collect();
    let kinds: Vec<&str> = Kind::ALL.iter().map(|kind| kind.plural()).collect();
    assert_eq!(words[..kinds.len()], kinds);
    let at_start: Vec<&str> = words.iter().filter_map(|word| word.strip_suffix("s: ")).collect();
    let singular: Vec<&str> = kinds.iter().filter_map(|kind| kind.strip_suffix('s')).collect();
    assert_eq!(at_start, singular);
}

const KEYS: &[&str] = &[
    "title",
    "serves",
    "lead",
    "notes",
    "formerly",
    "of",
    "in",
    "count",
    "amounts",
    "safety-critical",
    "verify",
    "at-most",
    "at-least",
    "between",
    "total",
    "estimate",
    "given",
    "formula",
    "finds",
    "informs",
    "evidence",
    "supersedes",
    "criteria",
    "alternatives",
    "chosen",
    "reason",
    "value",
    "outcome",
    "date",
    "place",
    "points",
    "field",
    "plan",
    "reads",
    "score",
    "expect",
    "shall",
    "source",
    "from",
    "to",
    "agreed-by",
    "check",
    "on",
    "until",
    "model",
    "share-of",
    "reserve",
    "<<",
    "0",
    "~",
];

const MARKS: &[&str] =
    &["\n", "\r", " ", "\t", ":", "- ", "#", "\"", "'", "[", "]", "{", "}", ",", "&", "*", "!", "|", "é", "\0"];

fn quoted(style: u8, text: &str) -> String {
    match style % 6 {
        0 => format!("\"{text}\""),
        1 => format!("'{text}'"),
        _ => text.to_owned(),
    }
}

type Written = Vec<(prop::sample::Index, u8, Vec<(u8, Vec<(prop::sample::Index, prop::sample::Index, u8)>)>)>;

/// A record file: kinds, each with records, each with keys; in block or flow style.
fn file(kinds: &Written, flow: bool, comments: bool) -> String {
    let mut out = String::new();
    let mut number = 0;
    for (kind, style, records) in kinds {
        let comment = if comments { " # é" } else { "" };
        out.push_str(&format!("{}:{comment}\n", quoted(*style, kind.get::<&str>(&KINDS))));
        for (style, keys) in records {
            number += 1;
            // Some ids appear twice.
            let id = quoted(*style, &format!("r-{}", number - u32::from(style % 7 == 0)));
            if flow {
                let keys: Vec<String> = keys
                    .iter()
                    .map(|(key, value, style)| {
                        format!("{}: {}", quoted(*style, key.get::<&str>(KEYS)), value.get::<&str>(VALUES))
                    })
                    .collect();
                out.push_str(&format!("  {id}: {{{}}}{comment}\n", keys.join(", ")));
            } else {
                out.push_str(&format!("  {id}:{comment}\n"));
                for (key, value, style) in keys {
                    out.push_str(&format!(
                        "    {}: {}\n",
                        quoted(*style, key.get::<&str>(KEYS)),
                        value.get::<&str>(VALUES)
                    ));
                }
            }
        }
    }
    out
}

fn written() -> impl Strategy<Value = Written> {
    use prop::collection::vec;
    let keys = vec((any::<prop::sample::Index>(), any::<prop::sample::Index>(), any::<u8>()), 0..4);
    vec((any::<prop::sample::Index>(), any::<u8>(), vec((any::<u8>(), keys), 0..4)), 0..4)
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 1500, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn every_generated_file_is_read_or_has_problems_with_places(
        kinds in written(),
        (flow, comments, crlf, bom) in any::<(bool, bool, bool, bool)>(),
        mutations in prop::collection::vec((any::<prop::sample::Index>(), 0_usize..4, any::<prop::sample::Index>()), 0..3),
    ) {
        let mut text = file(&kinds, flow, comments);
        for (at, how, mark) in mutations {
            let ends: Vec<usize> = text.char_indices().map(|(i, _)| i).chain([text.len()]).collect();
            let at = *at.get(&ends);
            match how {
                0 | 1 => text.insert_str(at, mark.get::<&str>(MARKS)),
                2 if at < text.len() => drop(text.remove(at)),
                _ => text.truncate(at),
            }
        }
        if crlf {
            text = text.replace('\n', "\r\n");
        }
        if bom {
            text.insert(0, '\u{feff}');
        }
        if let Err(why) = holds::check(text.as_bytes()) {
            prop_assert!(false, "{why}\n{text}");
        }
    }
}
