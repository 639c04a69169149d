//! Cases of the reader: each a file, and what must be reported and where.

use super::*;

fn problems_of(text: &str) -> Vec<(ProblemKind, u32, u32, String)> {
    let tree = places(text.as_bytes());
    records(text.as_bytes())
        .problems
        .into_iter()
        .map(|p| {
            let spot = p.spot.unwrap_or_else(|| locate(tree.as_ref(), p.route.iter().map(String::as_str), Aim::Value));
            (p.kind, spot.line, spot.column, format!("{}; {}", p.message, p.help))
        })
        .collect()
}

#[track_caller]
fn assert_problems(text: &str, expected: &[(ProblemKind, u32, u32, &str)]) {
    let found = problems_of(text);
    let places: Vec<_> = found.iter().map(|(kind, line, column, _)| (*kind, *line, *column)).collect();
    let wanted: Vec<_> = expected.iter().map(|(kind, line, column, _)| (*kind, *line, *column)).collect();
    assert_eq!(places, wanted, "{found:#?}");
    for ((.., message), (.., part)) in found.iter().zip(expected) {
        assert!(message.contains(part), "{message:?} lacks {part:?}");
    }
}

use ProblemKind::{BadValue, DuplicateId, DuplicateKey, MissingKey, UnknownKey, Unreadable};

#[test]
fn a_file_that_is_right_has_no_problem() {
    let text = "
parts:
  front-upright:
    title: Front upright
    in: suspension
    count: 2
    amounts:
      mass: {value: 0.62 kg ± 0.02 kg, basis: calculated}
      cost: 140 EUR
    serves: {wheel-stiffness: It carries the hub.}
    verify: [{by: test, due: 2027-05-01}, {by: analysis}]
targets:
  wheel-stiffness: {of: suspension, between: [2.0 kN*m/deg, 3.0 kN*m/deg], safety-critical: true}
  empty-kind: {of: car, at-least: 2}
goals:
";
    let file = records(text.as_bytes());
    assert_eq!(file.problems, []);
    let ids: Vec<&str> = file.records.iter().map(|record| record.id.as_str()).collect();
    assert_eq!(ids, ["wheel-stiffness", "empty-kind", "front-upright"], "kind by kind");
}

#[test]
fn every_error_of_every_record_is_reported_in_one_run() {
    assert_problems(
        "parts:\n  hub:\n    in: suspension\n    cuont: 2\n    count: two\n    amounts: {mass: 1.2 kgg, cost: 3 EUR}\n    safety-critical: yes please\n  disc: 12\n  rim:\n    in: wheels\n",
        &[
            (UnknownKey, 4, 5, "did you mean `count`?"),
            (BadValue, 5, 12, "a whole number"),
            (BadValue, 6, 21, "did you mean `kg`?"),
            (BadValue, 7, 22, "true or false"),
            (BadValue, 8, 9, "a map of keys"),
        ],
    );
    assert_eq!(records(b"parts:\n  a: 1\n  rim: {in: wheels}\n").records.len(), 1, "the good record is kept");
}

#[test]
fn places_in_flow_style_and_with_quoted_keys() {
    assert_problems(
        "targets: {car-mass: {\"of\": car, 'at-most': 205 kgg, serves: {\"x\": why}}}\n",
        &[(BadValue, 1, 44, "unknown unit `kgg`")],
    );
    assert_problems("{\"parts\": {\"hub\": {\"inn\": a, in: b}}}", &[(UnknownKey, 1, 20, "did you mean `in`?")]);
    // Columns count characters, not bytes.
    assert_problems(
        "parts: {hub: {title: \"Ünïcode ±\", inn: a, in: b}}",
        &[(UnknownKey, 1, 35, "did you mean `in`?")],
    );
}

#[test]
fn keys_ids_and_kinds_that_appear_twice() {
    assert_problems(
        "parts:\n  hub: {in: a, in: b}\n  hub: {in: c}\nparts:\n  rim: {in: a, serves: {x: y, x: z}}\n",
        &[
            (DuplicateKey, 2, 16, "`in` appears twice"),
            (DuplicateId, 3, 3, "`hub` appears twice"),
            (DuplicateKey, 4, 1, "`parts` appears twice"),
            (DuplicateKey, 5, 31, "`x` appears twice"),
        ],
    );
}

#[test]
fn what_record_files_do_not_use_is_reported() {
    assert_problems("--- \nparts: {}\n---\nparts: {}\n", &[(Unreadable, 3, 1, "one document")]);
    assert_problems("parts: !mine {}\n", &[(Unreadable, 1, 8, "tag")]);
    assert_problems("part: {}\n", &[(UnknownKey, 1, 1, "did you mean `parts`?")]);
    assert_problems("widgets: {}\n", &[(UnknownKey, 1, 1, "a record file contains goals, events")]);
    assert_problems("- a\n- b\n", &[(Unreadable, 1, 1, "not a map")]);
    assert_problems("parts: [a]\n", &[(BadValue, 1, 8, "not a map of id to record")]);
    assert_problems("parts:\n  Front Upright: {in: a}\n", &[(BadValue, 2, 3, "use `front-upright`")]);
    assert_problems("parts:\n  ? [a, b]\n  : {in: a}\n", &[(BadValue, 2, 5, "not a text")]);
    assert_problems("parts:\n  a: {in: b\n", &[(Unreadable, 3, 1, "not valid YAML")]);
    assert_problems(
        "parts:\n  a: &x {in: b}\n  c: {<<: *x}\n",
        &[(UnknownKey, 3, 7, "merge keys"), (MissingKey, 3, 3, "`in`")],
    );
}

#[test]
fn what_a_record_lacks_is_reported_at_its_id() {
    assert_problems("targets:\n  a: {of: car}\n", &[(MissingKey, 2, 3, "no limit")]);
    assert_problems("targets:\n  a: {of: car, at-most: 1 kgg}\n", &[(BadValue, 2, 25, "kgg")]);
    assert_problems("targets:\n  a: {of: car, at-least: 1 kgg}\n", &[(BadValue, 2, 26, "kgg")]);
    assert_problems("targets:\n  a: {of: car, between: [2 m, 1 m]}\n", &[(BadValue, 2, 25, "not smaller")]);
    assert_problems("results:\n  a: {of: b}\n", &[(MissingKey, 2, 3, "`date`"), (MissingKey, 2, 3, "`value`")]);
    assert_problems("targets:\n  a: {of: car, at-most: 1 m, verify: {with: tape}}\n", &[(MissingKey, 2, 38, "`by`")]);
    assert_problems(
        "targets:\n  a: {of: car, at-most: 1 m, verify: {by: tset}}\n",
        &[(BadValue, 2, 43, "did you mean `test`?")],
    );
    assert_problems(
        "decisions:\n  d:\n    alternatives: {single: {}, four: {}}\n    chosen: singel\n",
        &[(BadValue, 4, 13, "did you mean `single`?")],
    );
}

#[test]
fn bytes_that_are_no_text() {
    let spot_of = |bytes: &[u8]| {
        let problem = records(bytes).problems.remove(0);
        let spot = problem.spot.unwrap();
        (problem.message, spot.line, spot.column)
    };
    assert_eq!(spot_of(b"parts:\n  a\xff: {}\n"), ("the file is not UTF-8 here".to_owned(), 2, 4));
    assert_eq!(spot_of(b"parts:\n  \0a: {}\n"), ("a NUL byte".to_owned(), 2, 3));
    assert_eq!(spot_of(b"\xff\xfep\0"), ("the file is UTF-16".to_owned(), 1, 1));
    assert!(spot_of(&vec![b'#'; LARGEST_FILE as usize + 1]).0.contains("MiB"));
}

#[test]
fn hostile_yaml_is_refused_in_time() {
    for deep in ["[".repeat(20_000), "{a: ".repeat(20_000), "- ".repeat(20_000), "? ".repeat(20_000)] {
        let problems = records(format!("parts: {deep}").as_bytes()).problems;
        assert_eq!(problems.len(), 1, "{:?}", problems.first());
    }
    let mut bomb = String::from("a0: &a0 [x, x, x, x, x, x, x, x, x, x]\n");
    for i in 1..30 {
        let before = i - 1;
        bomb.push_str(&format!("a{i}: &a{i} [{}]\n", vec![format!("*a{before}"); 10].join(", ")));
    }
    let problems = records(bomb.as_bytes()).problems;
    assert!(problems[0].message.contains("1,000,000"), "{:?}", problems[0]);
}

/// The parser keeps the tokens of the outermost brackets, about 110 bytes each, before it makes an event of them.
#[test]
fn too_much_in_brackets_is_not_read() {
    let of = |text: String| {
        let found = records(text.as_bytes());
        let first = found.problems.first().map(|problem| (problem.message.clone(), problem.spot.unwrap()));
        first.map(|(message, spot)| (message.contains("a pair of brackets has more than 1,000,000"), spot.line))
    };
    assert_eq!(of(format!("{{{}}}", "a,".repeat(501_000))), Some((true, 1)));
    assert_eq!(of(format!("parts:\n  [{}]", "[],".repeat(400_000))), Some((true, 2)));
    // Those of each pair of brackets count for themselves.
    let both = format!("- [{0}]\n- [{0}]\n", "[],".repeat(230_000));
    assert_eq!(of(both), Some((false, 1)));
    // Words of texts are no tokens.
    let notes = "w ".repeat(1_200_000);
    assert_eq!(of(format!("parts: {{a: {{notes: {notes}}}}}")), Some((false, 1)));
}

#[test]
fn a_file_is_read_up_to_its_last_error() {
    let last = |text: String| {
        let file = records(text.as_bytes());
        let last = file.problems.last().unwrap().clone();
        let is_limit = last.message.contains("more than 60,000 errors");
        (file.problems.len(), file.records.len(), is_limit.then_some(last.spot.unwrap().line))
    };
    let kinds = |count: usize| format!("{}parts: {{a: {{in: b}}}}\n", "x:\n".repeat(count));
    assert_eq!(last(kinds(MOST_ERRORS)), (MOST_ERRORS + 1, 0, Some(60_001)));
    assert_eq!(last(kinds(MOST_ERRORS - 1)), (MOST_ERRORS - 1, 1, None));
    // The records before are read. One error more is that the key is unknown.
    let doubles = format!("parts:\n  a: {{in: b, {}}}\n  b: {{in: a}}\n", "odd: x, ".repeat(70_000));
    assert_eq!(last(doubles), (MOST_ERRORS + 2, 1, Some(3)));
}

#[test]
fn brackets_hidden_by_quotes_do_not_take_long() {
    let start = std::time::Instant::now();
    let problems = records(format!("parts: {}", "[\"]\", ".repeat(1_000_000)).as_bytes()).problems;
    assert!(problems[0].message.contains("64 levels"), "{:?}", problems[0]);
    assert!(start.elapsed().as_secs() < 5);
}

#[test]
fn few_errors_of_a_huge_record_are_looked_for() {
    let serves: String = (0..200_000).map(|number| format!("      k{number}: x\n")).collect();
    let wrong: String = (0..70).map(|number| format!("    z{number}: x\n")).collect();
    let found = records(format!("parts:\n  a:\n    serves:\n{serves}{wrong}").as_bytes()).problems;
    assert!((3..60).contains(&found.len()), "{}", found.len());
}

#[test]
fn numbers_nothing_and_lists() {
    let text = "
parts:
  a: {in: s, count: 0x10, amounts: {m: 007, n: 1e3, o: +5, p: 2.0}}
  b:
systems:
  s: {in: car, formerly: }
";
    let read = records(text.as_bytes());
    let problems: Vec<_> = read.problems.iter().map(|problem| (problem.kind, problem.spot)).collect();
    assert_eq!(problems, [(MissingKey, Some(Spot { line: 4, column: 3 }))]);
    let [system, a, b] = &read.records[..] else { panic!("{:?}", read.records) };
    let Body::Part(part) = &a.body else { panic!("{a:?}") };
    assert_eq!(part.count, Some(16));
    let amounts: Vec<String> = part.amounts.iter().map(|(name, amount)| format!("{name} {}", amount.value)).collect();
    assert_eq!(amounts, ["m 007", "n 1000", "o 5", "p 2"]);
    assert_eq!((system.body.common().formerly().len(), b.about()), (0, None));
    // serde takes a list for the keys of a struct in their order.
    assert_problems(
        "systems:\n  brakes: [Brakes, car]\n",
        &[(BadValue, 2, 11, "expected a map of keys, found a list")],
    );
    assert_problems("parts:\n  a: {in: s, count: 007}\n", &[(BadValue, 2, 21, "a whole number")]);
}

#[test]
fn a_byte_order_mark_and_line_ends_of_all_kinds() {
    assert_problems("\u{feff}parts:\r\n  a: {inn: b}\r\n", &[(UnknownKey, 2, 7, "`in`"), (MissingKey, 2, 3, "`in`")]);
    assert_problems("parts:\r  a: {inn: b, in: c}\r", &[(UnknownKey, 2, 7, "`in`")]);
    assert_problems("parts: {a", &[(Unreadable, 1, 10, "not valid YAML")]);
    assert_problems("%YAML 1.1#\n---\n", &[(Unreadable, 1, 1, "directive")]);
}

#[test]
fn empty_files_hold_no_records() {
    for text in ["", "\n", "# only a comment\n", "---\n", "parts:\n", "~\n"] {
        let file = records(text.as_bytes());
        assert!(file.problems.is_empty() && file.records.is_empty(), "{text:?}: {:?}", file.problems);
    }
}

#[test]
fn a_season_is_a_year() {
    for (text, season) in
        [("season: 1899", None), ("season: 0", None), ("season: 1900", Some(1900)), ("season: 2201", None)]
    {
        let (settings, problems) = settings(text.as_bytes());
        assert_eq!((settings.season, problems.len()), (season, usize::from(season.is_none())), "{text}");
    }
}

#[test]
fn settings_are_read_with_places() {
    let text = "season: 2027\ncurrency: EURO\nstages: {design: 2027-02-01, build: 2027-01-01}\ngrowth: {mass: {drawn: 5 kg}}\nlevels: {excess-margin: loud, no-lead: {buld: off}}\n";
    let (settings, problems) = settings(text.as_bytes());
    assert_eq!(settings.season, Some(2027), "what is right is kept");
    let messages: Vec<_> = problems.iter().map(|p| p.message.as_str()).collect();
    assert_eq!(problems.len(), 5, "{messages:#?}");
    let all = messages.join("\n");
    for part in ["unknown currency", "not after the design stage", "not a ratio", "`loud` is not", "`buld` is not"] {
        assert!(all.contains(part), "{part} not in {all}");
    }
}

#[test]
fn a_character_of_a_text_is_found_in_every_style() {
    let spot = |source: &str, line: u32, column: u32, text: &str, offset: usize| {
        let spot = within(source, Spot { line, column }, text, offset);
        (spot.line, spot.column)
    };
    assert_eq!(spot("a: x + yy", 1, 4, "x + yy", 4), (1, 8));
    assert_eq!(spot("a: 'x + yy'", 1, 4, "x + yy", 4), (1, 9));
    assert_eq!(spot("a: >-\n  x +\n  yy\n", 1, 4, "x + yy", 4), (3, 3));
    assert_eq!(spot("a: x +\n  yy", 1, 4, "x + yy", 4), (2, 3));
    assert_eq!(spot("a: x + yy", 1, 4, "x + yy", 6), (1, 10), "the end of the text");
    assert_eq!(spot("a: \"x\\u0020+\"", 1, 4, "x +", 2), (1, 4), "its start, where the two part");
}

/// Found by fuzzing: a block that the end of the file cuts off.
#[test]
fn a_block_at_the_end_of_a_file() {
    for (end, kept) in [("", "\n"), ("\n", "\n"), ("\n\n", "\n\n")] {
        for line in ["\n", "\r\n"] {
            for (sign, tail) in [("|", "\n"), (">", "\n"), ("|-", ""), ("|+", kept), (">+", kept)] {
                let text =
                    format!("parts:\n  nut:\n    in: a\n    notes: {sign}\n      two words{end}").replace('\n', line);
                let read = records(text.as_bytes());
                let Body::Part(part) = &read.records[0].body else { panic!("{text:?}") };
                assert_eq!(part.notes, Some(format!("two words{tail}")), "{text:?}");
                assert_eq!(read.problems, [], "{text:?}");
            }
        }
    }
}

/// Found by fuzzing, and by putting every mark into every place: what YAML 1.1 allows and YAML 1.2 does not.
#[test]
fn a_question_mark_a_tab_or_a_comment_at_a_sign() {
    let cases = [
        ("{?\"parts\": {\"hub\": {\"in\": \"a\"}}}", 1, 2),
        ("parts:\n  hub:\n    in:\ta\n", 3, 9),
        ("parts:\n  hub:\n    in: a\n    notes: |#\n      x\n", 4, 13),
        ("parts:\n  hub:\n    in: a\n    notes:\n    |\n      x\n", 7, 1),
        ("parts:\n  hub:\n    in: a\n    notes: |\n      \n     #x\n", 6, 6),
        ("a: b\r%%%, \u{85}\u{85}\u{85}\u{85} y\u{feff}\n", 2, 12),
    ];
    for (text, line, column) in cases {
        let spots: Vec<_> = problems_of(text).iter().map(|(_, line, column, _)| (*line, *column)).collect();
        assert_eq!(spots, [(line, column)], "{text:?}");
        assert!(records(text.as_bytes()).records.is_empty(), "{text:?}");
    }
    assert_problems("parts:\n  hub:\n\t  in: a\n", &[(Unreadable, 3, 4, "use spaces")]);
    // Within a text they are texts.
    for text in ["a > b", "a | b", "why?", "(x) > y", "2 | 3"] {
        let file = format!("parts:\n  hub:\n    in: a\n    notes: {text}\n    title: 'is it?'\n");
        let read = records(file.as_bytes());
        let Body::Part(part) = &read.records[0].body else { panic!("{text}") };
        assert_eq!((part.notes.as_deref(), read.problems.len()), (Some(text), 0));
    }
}

#[test]
fn a_text_is_at_most_as_long_as_its_key_allows() {
    let file = |key: &str, length: usize| format!("goals:\n  g: {{place: 1, {key}: {}}}\n", "\u{e9}".repeat(length));
    for (key, most) in [("title", 300), ("lead", 300), ("reason", 4_000), ("notes", 20_000)] {
        assert_problems(&file(key, most), &[]);
        let column = 17 + key.len() as u32 + 2;
        let message = format!("`{key}` is longer than {most} characters");
        assert_problems(&file(key, most + 1), &[(BadValue, 2, column, &message)]);
        let longer = file(key, most + 1);
        let read = records(longer.as_bytes());
        assert_eq!(read.records.len(), 1, "the rest of the record is read");
    }
    let list = format!("analyses:\n  a: {{informs: [hub, {}]}}\n", "h".repeat(4_001));
    assert_problems(&list, &[(BadValue, 2, 22, "`text` is longer than 4000 characters")]);
}

#[test]
fn an_id_has_at_most_a_hundred_characters() {
    let file = |length: usize| format!("parts:\n  {}:\n    in: car\n", "a".repeat(length));
    assert_problems(&file(100), &[]);
    assert_problems(&file(101), &[(BadValue, 2, 3, "is too long for a name; use at most 100 characters")]);
}
