//! The reader with YAML that was not written as records: the official test suite and generated files.
//!
//! A case that must fail is always an `unreadable-file`, or another error with a place: none of the cases is a record
//! file, so that even one which the YAML library accepts holds no known kind.

#![allow(
    clippy::unwrap_used,
    clippy::panic,
    clippy::print_stdout,
    reason = "a test fails by panicking, and prints what it skipped"
)]

mod generated;
#[path = "../../../fuzz/src/holds.rs"]
#[allow(unreachable_pub, reason = "the fuzz target uses it too")]
mod holds;
mod suite;

use schema::Kind;
use schema::read::{self, ProblemKind};

use suite::suite;

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

/// The dictionary for fuzzing starts with the keys of a record file, and has them as the start of a line too.
#[test]
fn kinds_in_the_fuzz_dictionary() {
    let dictionary = include_str!("../../../fuzz/yaml.dict");
    let words: Vec<&str> = dictionary.lines().map(|line| line.trim_matches('"')).collect();
    let kinds: Vec<&str> = Kind::ALL.iter().map(|kind| kind.plural()).collect();
    assert_eq!(words[..kinds.len()], kinds);
    let at_start: Vec<&str> = words.iter().filter_map(|word| word.strip_suffix("s: ")).collect();
    let singular: Vec<&str> = kinds.iter().filter_map(|kind| kind.strip_suffix('s')).collect();
    assert_eq!(at_start, singular);
}
