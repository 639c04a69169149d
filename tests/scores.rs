//! Score sheets that cannot score, and inputs without a value.

use crate::values_json::Read;

#[test]
fn a_missing_time_scores_nothing() {
    let read = Read::new(
        "
targets: {time: {of: car, at-most: 5 s}}
events:
  sae: {reads: {time: time}, score: {use: sae-2024.acceleration, given: {best: 4 s}}}
  fs: {reads: {time: time}, score: {use: fs-rules-2026.acceleration, given: {best: 4 s}}}
  own: {reads: {time: time}, score: {formula: 'if(time > 5 s, 3 pts, 10 pts)'}}
  either: {reads: {time: time}, score: {formula: 'if(time != 5 s, 3 pts, 10 pts)'}}
",
    );
    for id in ["sae", "fs", "own", "either"] {
        assert!(read.get(id)["value"].is_null(), "not even the floor: {}", read.get(id));
    }
}

#[test]
fn unknown_and_incomplete_sheets() {
    let read = Read::new(
        "
events:
  a: {reads: {time: 5 s}, score: {use: sae-2042.acceleration, given: {best: 4 s}}}
  b: {reads: {time: 5 s}, score: {use: sae-2024.accelaration, given: {best: 4 s}}}
  c: {reads: {time: 5 s}, score: {use: sae-2024.acceleration}}
  d: {reads: {speed: 5 s}, score: {use: sae-2024.acceleration, given: {best: 4 s}}}
  e: {reads: {time: 5 m}, score: {use: sae-2024.acceleration, given: {best: 4 s}}}
  f: {reads: {time: 5 s}, score: {use: sae-2024.acceleration, given: {best: 4 s, span: 90 s}}}
",
    );
    for id in ["a", "b", "c", "d", "e", "f"] {
        assert!(read.get(id)["value"].is_null(), "{}", read.get(id));
    }
    for (id, check, message, help) in [
        ("a", "unknown-reference", "unknown score sheet `sae-2042.acceleration`", "sae-2024.acceleration"),
        ("b", "unknown-reference", "unknown score sheet", "`sae-2024.acceleration`"),
        ("c", "unknown-reference", "needs `best`", "`given`"),
        ("d", "unknown-reference", "needs `time`", "`reads`"),
        ("e", "unit-mismatch", "is a length, and a time is expected here", ""),
        ("f", "unit-mismatch", "`s`", ""),
    ] {
        read.reports(check, id, message, help);
    }
}
