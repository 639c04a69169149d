//! The cases of the YAML test suite, for the tests of the reader and of the binary.

use std::path::Path;

use serde_json::Value;

/// A file of the suite.
pub(crate) struct Case {
    pub(crate) name: String,
    pub(crate) must_fail: bool,
    pub(crate) yaml: String,
}

/// All cases, if their folder exists; it must exist in CI.
pub(crate) fn suite() -> Option<Vec<Case>> {
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
