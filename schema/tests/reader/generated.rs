//! Record files that are generated from kinds, keys and values, and damaged.

use std::sync::LazyLock;

use proptest::prelude::*;
use schema::Kind;

use crate::holds;

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
