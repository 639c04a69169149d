//! The cases of the YAML test suite as the files of one project root: each ends as the reader alone says, with a place.

use std::collections::HashMap;
use std::time::Instant;

use schema::read;

use crate::support::{SETTINGS, Sandbox};
use crate::yaml_suite::suite;

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
