//! Encoded records are decoded again, and other bytes are rejected.

use proptest::collection::vec;
use proptest::prelude::*;

use super::*;
use crate::read;

#[track_caller]
fn assert_same(text: &str) -> Vec<u8> {
    let file = read::records(text.as_bytes());
    assert_eq!(file.problems, [], "{text}");
    let bytes = encode(&file).unwrap();
    assert_eq!(decode(&bytes).as_ref(), Some(&file), "{text}");
    bytes
}

/// Records with every key of every kind, in each form that a key has.
const ALL: &str = "
goals:
  a: {title: T, place: 8, reason: R, lead: l, notes: n, formerly: [d, e]}
  b: {points: 640 pts ± 2 pts}
events:
  c: {plan: 62 pts, most: 75 pts, serves: {b: Why., c: }, reads: {time: acel-time}, score: {formula: 100 pts - time * 1 pts/s, given: {t: 4.9 s}, no-finish: 2 pts}}
  d: {score: {use: sae-2024.skidpad}}
  dd: {expect: 50 pts}
systems:
  e: {in: car}
  ee: {in: e, for-parts: {serves: {b: Why., c: }, verify: {by: inspection, due: 2027-05-21}}}
  eee: {in: e, for-parts: {}}
targets:
  f: {of: car, at-most: 205 kg, total: mass, reserve: 3 kg, share-of: f, safety-critical: true}
  g: {of: e, between: [1e-3 kN*m/deg, 20 kN*m/deg], reserve: 20 %, estimate: -3 °C, formula: f / 2, given: {x: f}}
  h: {of: e, at-least: 0.5 EUR/kg, verify: [{by: test, with: rig, due: 2027-05-21, lead: l}, {by: analysis}]}
requirements:
  i: {of: e, shall: hold, source: S, verify: {by: inspection}, safety-critical: true}
parts:
  j: {in: e, count: 2, amounts: {mass: {value: 0.62 kg ± 20 g, basis: drawn}, cost: 140 USD, n: 2, m: {value: {from: d.csv, column: m}}}}
analyses:
  k: {model: lap, given: {mass: f, table: a.csv}, finds: f, informs: [j], evidence: [a/b.pdf], supersedes: [l]}
  l: {formula: f, finds: {g: 1 kg, h: time}}
  ll: {finds: {g: {from: a.csv, column: x, unit: kg, take: 95 %, where: {run: 1, x: y}, instrument: [0.01 kg, {within: 2 g}, {expanded: 1 g}], typed: 1.0 kg ± 1 g}, h: 2}}
decisions:
  m: {of: car, alternatives: {x: {title: X, sets: {f: 1 kg, j.mass: {value: 2 kg, basis: drawn, evidence: [e.pdf]}, j.count: 4, j: none, k.gears: [2, 1.5], k.track: b.csv}, basis: drawn, evidence: [f.pdf], notes: N}, y: {}}, chosen: x, reason: R}
results:
  nn: {of: f, value: {from: c.csv, take: count}, date: 2027-05-10}
  n: {of: f, value: 198.4 kg ± 0.4 kg, date: 2027-05-10, evidence: [c.csv]}
  o: {of: i, outcome: fail, date: 0001-01-01, by: demonstration, supersedes: [n]}
  oo: {of: c, value: 61 pts, reads: {time: 4.31 s}, best: 3.90 s, date: 2027-07-01}
  ooo: {of: d, reads: {time: 5.1 s ± 5 ms, fuel: 2.5 l}, best: {best: 4.9 s, least: 1.9 l}, date: 2027-07-01}
  oooo: {of: a, place: 7, date: 2027-07-01}
revisions:
  p: {of: f, from: 200 kg, to: 205 kg, date: 9999-12-31, agreed-by: l, reason: R}
";

#[test]
fn every_kind_comes_back_as_it_was() {
    let bytes = assert_same(ALL);
    for text in ["", "parts:\n", "goals: {}\n"] {
        assert_same(text);
    }
    assert_eq!(decode(&bytes[..bytes.len() - 1]), None, "cut off");
    assert_eq!(decode(&[&bytes[..], b"x"].concat()), None, "followed by more");
    assert_eq!(decode(&[]), None);
    assert!(bytes.len() < ALL.len() * 2, "{} bytes for {}", bytes.len(), ALL.len());
}

#[test]
fn a_file_with_problems_is_not_encoded() {
    assert_eq!(encode(&read::records(b"parts: {a: {inn: b, in: c}}")), None);
}

#[test]
fn the_example_car_comes_back_as_it_was() {
    let (mut folders, mut files) =
        (vec![std::path::PathBuf::from(concat!(env!("CARGO_MANIFEST_DIR"), "/../example-car"))], 0);
    while let Some(folder) = folders.pop() {
        for entry in std::fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                folders.push(path);
            } else if path.extension().is_some_and(|end| end == "yaml") && !path.ends_with("tierod.yaml") {
                let text = std::fs::read_to_string(path).unwrap();
                // One file is not a record file.
                if !text.starts_with("# settings of the drawing export") {
                    assert_same(&text);
                    files += 1;
                }
            }
        }
    }
    assert!(files > 10, "{files}");
}

#[test]
fn what_no_reader_would_accept_is_refused() {
    let file = |text: &str| encode(&read::records(text.as_bytes())).unwrap();
    let replace = |bytes: &[u8], from: &[u8], to: &[u8]| {
        let at = bytes.windows(from.len()).position(|window| window == from).unwrap();
        [&bytes[..at], to, &bytes[at + from.len()..]].concat()
    };
    let bytes = file("goals: {abc: {points: 2.5 pts}}\n");
    assert!(decode(&bytes).is_some());
    assert_eq!(decode(&replace(&bytes, b"abc", b"aBc")), None, "not an id");
    assert_eq!(decode(&replace(&bytes, b"goals", b"goalz")), None, "not a kind");
    for wrong in [f64::NAN, f64::INFINITY] {
        assert_eq!(decode(&replace(&bytes, &2.5_f64.to_le_bytes(), &wrong.to_le_bytes())), None, "{wrong}");
    }
    let mut file_of_two = read::records(b"goals: {a: {place: 8}}\nparts: {p: {in: e}}\n");
    let encoded = |file: &FileRecords| encode_records(file.records.iter().zip(file.values.iter().copied())).unwrap();
    assert_eq!(decode(&encoded(&file_of_two)), Some(file_of_two.clone()));
    file_of_two.records.reverse();
    assert_eq!(decode(&encoded(&file_of_two)), None, "not kind by kind");
    let twice = file("parts: {p: {in: e, serves: {x: a, y: b}}}\n");
    assert_eq!(decode(&replace(&twice, b"y", b"x")), None, "a key that appears twice");
}

/// Records of random kinds with random keys.
fn files() -> impl Strategy<Value = String> {
    let id = "[a-z][a-z0-9]{0,6}(-[a-z0-9]{1,4}){0,2}";
    let text = "[ -!#-\\[\\]-~é±µ\u{1f600}]{0,40}";
    let quantity = "-?[0-9]{1,7}(\\.[0-9]{1,6})?(e-?[0-9]{1,2})? (kg|kN\\*m/deg|EUR/kg|pts|m/s\\^2)";
    let part = (id, text, quantity, 1_u32.., any::<bool>()).prop_map(|(id, text, quantity, count, safe)| {
        let quantity = quantity.trim_start_matches('-').to_owned();
        format!("  p-{id}: {{in: {id}, title: \"{text}\", count: {count}, safety-critical: {safe}, amounts: {{{id}: {quantity}}}}}\n")
    });
    let result = (id, text, quantity, 1_i16..=9999, 1_i8..=12, 1_i8..=28).prop_map(|(id, text, quantity, year, month, day)| {
        format!("  r-{id}: {{of: {id}, value: {quantity}, date: {year:04}-{month:02}-{day:02}, evidence: [\"{text}\"]}}\n")
    });
    (vec(part, 0..6), vec(result, 0..6)).prop_map(|(parts, results)| {
        let unique = |lines: Vec<String>| {
            let mut seen = std::collections::HashSet::new();
            lines
                .into_iter()
                .filter(|line| seen.insert(line.split(": {").next().unwrap().to_owned()))
                .collect::<String>()
        };
        format!("parts:\n{}results:\n{}", unique(parts), unique(results))
    })
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 300, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn any_records_come_back_as_they_were(text in files()) {
        assert_same(&text);
    }

    #[test]
    fn any_bytes_are_answered(bytes in vec(any::<u8>(), 0..400)) {
        let _ = decode(&bytes);
    }

    #[test]
    fn changed_bytes_are_answered(at in any::<prop::sample::Index>(), byte in any::<u8>()) {
        let mut bytes = encode(&read::records(ALL.as_bytes())).unwrap();
        let at = at.index(bytes.len());
        bytes[at] = byte;
        // What is still accepted is encoded as it was found, but for numbers written in more bytes than they need.
        if let Some(file) = decode(&bytes) {
            prop_assert_eq!(decode(&encode(&file).unwrap()), Some(file));
        }
    }
}
