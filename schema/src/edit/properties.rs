//! Any record file of a grammar of styles, with any edit: it reads back as exactly the intended difference, and the lines
//! that the edit does not concern are the same bytes.

use std::fmt::Write as _;

use proptest::prelude::*;

use super::value::quoted;
use super::*;

/// A small generator of choices, so that one number describes a file.
struct Dice(u64);

impl Dice {
    fn roll(&mut self, sides: usize) -> usize {
        // xorshift64*
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        (self.0.wrapping_mul(0x2545_f491_4f6c_dd1d) >> 33) as usize % sides
    }

    fn pick<'a>(&mut self, from: &[&'a str]) -> &'a str {
        from[self.roll(from.len())]
    }
}

const TEXTS: [&str; 16] = [
    "x",
    "0.61 kg",
    "front-upright",
    "a: b",
    "# no",
    "it's",
    "say \"hi\"",
    "a, b",
    "[x",
    "- y",
    "é ± µ",
    "~",
    "3",
    "true",
    "key: {",
    "back\\slash",
];
const COMMENTS: [&str; 6] = ["", "", " # c", "   # tab\there", " #", " # a: b, {c} é"];

fn scalar_in(dice: &mut Dice, in_flow: bool) -> String {
    let text = dice.pick(&TEXTS);
    match dice.roll(4) {
        0 => quoted(text, Some('"')),
        1 => quoted(text, Some('\'')),
        _ => value::scalar(text, true, in_flow),
    }
}

fn flow(dice: &mut Dice, depth: usize) -> String {
    let (open, close, is_map) = if dice.roll(2) == 0 { ('{', '}', true) } else { ('[', ']', false) };
    let count = dice.roll(4);
    let mut out = String::from(open);
    out.push_str(dice.pick(&["", " ", ""]));
    for number in 0..count {
        if number > 0 {
            out.push_str(dice.pick(&[", ", ",", " , ", ",\n            ", ", # own, c\n            "]));
        }
        if is_map {
            let _ = write!(out, "k{number}: ");
        }
        let item = if depth > 0 && dice.roll(4) == 0 { flow(dice, depth - 1) } else { scalar_in(dice, true) };
        out.push_str(&item);
    }
    if count > 0 {
        out.push_str(dice.pick(&["", " ", ",", ", "]));
    }
    out.push(close);
    out
}

fn block_scalar(dice: &mut Dice, indent: &str) -> String {
    let mut out = dice.pick(&["|", ">", "|-", ">-", "|+", ">+ # c"]).to_owned();
    for _ in 0..=dice.roll(3) {
        let _ = write!(out, "\n{indent}{}", dice.pick(&["line", "two words", "- # not", "k: v", "it's"]));
        if dice.roll(4) == 0 {
            let _ = write!(out, "\n\n{indent}after a blank");
        }
    }
    out
}

/// What follows a colon or a dash, which is at this indentation.
fn value_below(dice: &mut Dice, indent: &str, depth: usize, anchors: &mut usize) -> String {
    let below = format!("{indent}  ");
    match dice.roll(if depth == 0 { 5 } else { 8 }) {
        0 | 1 => format!(" {}{}", scalar_in(dice, false), dice.pick(&COMMENTS)),
        2 => format!(" {}{}", flow(dice, 2), dice.pick(&COMMENTS)),
        3 => format!(" {}", block_scalar(dice, &below)),
        4 => match dice.roll(4) {
            0 => String::new(),
            1 if *anchors > 0 => format!(" *a{}", dice.roll(*anchors)),
            2 => {
                *anchors += 1;
                format!(" &a{} {}", *anchors - 1, scalar_in(dice, false))
            }
            _ => format!(" plain\n{below}over lines"),
        },
        5 => {
            let dash = if dice.roll(2) == 0 { indent } else { &below };
            let mut out = dice.pick(&COMMENTS).to_owned();
            for _ in 0..=dice.roll(3) {
                let item = if dice.roll(3) == 0 {
                    format!(" m: {}\n{dash}  n: {}", scalar_in(dice, false), scalar_in(dice, false))
                } else {
                    let nested = value_below(dice, dash, 0, anchors);
                    // An empty item, or one that begins on its own line, is another matter.
                    if nested.trim().is_empty() { " e".to_owned() } else { nested }
                };
                let _ = write!(out, "\n{dash}-{item}");
            }
            out
        }
        _ => {
            let mut out = dice.pick(&COMMENTS).to_owned();
            out.push_str(&map_lines(dice, &below, depth - 1, anchors));
            out
        }
    }
}

fn map_lines(dice: &mut Dice, indent: &str, depth: usize, anchors: &mut usize) -> String {
    let mut out = String::new();
    for number in 0..=dice.roll(3) {
        if dice.roll(5) == 0 {
            out.push_str(dice.pick(&["\n", "\n\n"]));
            let _ = write!(out, "{indent}# about\tit");
        }
        let key = dice.pick(&["k", "\"k", "'k"]);
        let end = if key == "k" { "" } else { &key[..1] };
        let _ = write!(out, "\n{indent}{key}{number}{end}:{}", value_below(dice, indent, depth, anchors));
    }
    out
}

/// A record file in any style that record files are written in.
fn file(seed: u64) -> String {
    let mut dice = Dice(seed | 1);
    let mut anchors = 0;
    let mut out = String::new();
    out.push_str(dice.pick(&["", "# head\n", "---\n", "\n\n"]));
    for kind in ["parts", "targets"] {
        let step = dice.pick(&["  ", "    ", "  "]);
        let _ = write!(out, "{kind}:{}", dice.pick(&COMMENTS));
        for id in ["one", "two-b", "three"].iter().take(1 + dice.roll(3)) {
            if dice.roll(3) == 0 {
                out.push('\n');
            }
            let _ = write!(out, "\n{step}{id}:");
            if dice.roll(4) == 0 {
                let _ = write!(out, " {{k0: {}, k1: {}}}", scalar_in(&mut dice, true), scalar_in(&mut dice, true));
            } else {
                out.push_str(dice.pick(&COMMENTS));
                let below = format!("{step}{step}");
                out.push_str(&map_lines(&mut dice, &below, 2, &mut anchors));
            }
        }
        out.push_str(dice.pick(&["\n", "\n", "\n\n", "\n# tail\n"]));
    }
    if dice.roll(4) == 0 {
        let length = out.trim_end().len();
        out.truncate(length);
    }
    if dice.roll(3) == 0 {
        out = out.replace('\n', "\r\n");
    }
    if dice.roll(4) == 0 { format!("\u{feff}{out}") } else { out }
}

/// All routes of a file, with whether they end in a map, a list or a text.
fn routes(model: &Model, at: &mut Route, out: &mut Vec<(Route, char)>) {
    match model {
        Model::Scalar { .. } => out.push((at.clone(), 's')),
        Model::List(items) => {
            out.push((at.clone(), 'l'));
            for (number, item) in items.iter().enumerate() {
                at.push((number + 1).to_string());
                routes(item, at, out);
                at.pop();
            }
        }
        Model::Map(entries) => {
            out.push((at.clone(), 'm'));
            for (key, value) in entries.as_slice() {
                at.push(key.text().unwrap_or("").to_owned());
                routes(value, at, out);
                at.pop();
            }
        }
    }
}

fn new_value(dice: &mut Dice) -> Value {
    match dice.roll(6) {
        0 => Value::List(vec![Value::text("a, b"), Value::typed(dice.pick(&TEXTS))]),
        1 => Value::Map(vec![("p".to_owned(), Value::text("q")), ("r s".to_owned(), Value::typed(dice.pick(&TEXTS)))]),
        2 => Value::text(format!("first line\n{}\nlast", dice.pick(&["", "  deeper", "x: y"]))),
        3 => Value::text(dice.pick(&TEXTS)),
        _ => Value::typed(dice.pick(&TEXTS)),
    }
}

fn any_change(dice: &mut Dice, text: &str) -> Option<Change> {
    let tree = tree_of(text).ok()?;
    let mut all = Vec::new();
    routes(&Model::of(&tree), &mut Vec::new(), &mut all);
    all.retain(|(at, _)| at.len() >= 2);
    let (at, kind) = all.get(dice.roll(all.len().max(1)))?.clone();
    let below = |key: &str| at.iter().cloned().chain([key.to_owned()]).collect::<Route>();
    Some(match (dice.roll(6), kind) {
        (0, 'm') => Change::Set { at: below("new-key"), value: new_value(dice) },
        (1, 'l') => Change::Append { at, value: new_value(dice) },
        (2, _) => Change::Remove { at },
        (3, _) => Change::add_record(Kind::Part, "brand-new", [("in", Value::typed("x")), ("serves", new_value(dice))]),
        (4, _) if at.len() == 2 || at.last()?.starts_with('k') => Change::RenameKey { at, to: "renamed-x".to_owned() },
        (5, 'm') => {
            Change::Set { at: below("deep").into_iter().chain(["er".to_owned()]).collect(), value: new_value(dice) }
        }
        _ => Change::Set { at, value: new_value(dice) },
    })
}

/// The first and the last line of an edit are within a few lines: everything before and after is the same bytes.
fn same_bytes_around(before: &str, after: &str) -> (usize, usize) {
    let first = before.bytes().zip(after.bytes()).take_while(|(a, b)| a == b).count();
    let rest = before.len().min(after.len()) - first;
    let last = before.bytes().rev().zip(after.bytes().rev()).take(rest).take_while(|(a, b)| a == b).count();
    (first, last)
}

#[track_caller]
fn check(seed: u64, tally: &mut [usize; 3]) {
    let text = file(seed);
    let mut dice = Dice(seed.wrapping_mul(31) | 1);
    let Ok(own) = read(&text) else { panic!("{text:?}") };
    let Some(change) = any_change(&mut dice, own) else {
        tally[2] += 1;
        return;
    };
    let expected = {
        let mut model = Model::of(&tree_of(own).unwrap());
        model.apply(&change).map(|()| model)
    };
    match (edit(&text, std::slice::from_ref(&change)), expected) {
        (Ok(edited), Ok(expected)) => {
            tally[0] += 1;
            let read = read(&edited).unwrap();
            assert!(expected.is_same(&Model::of(&tree_of(read).unwrap())), "{change:?}\n{text}\n=>\n{edited}");
            assert_eq!(text.starts_with('\u{feff}'), edited.starts_with('\u{feff}'));
            assert_eq!(text.contains('\r'), edited.contains('\r'), "{change:?}\n{text:?}\n=>\n{edited:?}");
            if edited.contains('\r') {
                assert_eq!(edited.matches('\n').count(), edited.matches("\r\n").count(), "{change:?} {edited:?}");
            }
            // The comment behind a comma goes only with the brackets that it is in.
            if let Change::Remove { at } = &change {
                let tree = tree_of(own).unwrap();
                let (_, slot) = find::whole(&tree, at).unwrap();
                let gone = if find::alias(&tree, slot).is_some() { "" } else { &own[tree.range(slot.node)] };
                let count = |text: &str| text.matches("# own").count();
                assert_eq!(count(&edited) + count(gone), count(own), "{change:?}\n{text}\n=>\n{edited}");
            }
            // No comment goes, unless with what is removed or replaced.
            if matches!(change, Change::Append { .. } | Change::Add { .. } | Change::RenameKey { .. }) {
                let (first, last) = same_bytes_around(&text, &edited);
                let gone = &text[first..text.len() - last];
                assert!(gone.len() <= 8, "{change:?} replaces {gone:?}\n{text}\n=>\n{edited}");
            }
        }
        (Err(EditError::ByHand(_)), Ok(_)) => {
            tally[1] += 1;
        }
        (Err(error), Err(expected)) => assert_eq!(error, expected),
        (Ok(edited), Err(error)) => panic!("{error}: {change:?}\n{text}\n=>\n{edited}"),
        (Err(error), Ok(_)) => panic!("{error}: {change:?}\n{text}"),
    }
}

#[test]
fn any_file_of_any_style_and_any_edit() {
    let mut tally = [0; 3];
    for seed in 1..2000_u64 {
        check(seed.wrapping_mul(0x9e37_79b9_7f4a_7c15), &mut tally);
    }
    let [done, by_hand, none] = tally;
    assert!(done > 1800 && none < 120, "{tally:?}");
    // Those with aliases, for the most part.
    assert!(by_hand * 50 < done, "{tally:?}");
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 500, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn any_seed(seed in any::<u64>()) {
        check(seed, &mut [0; 3]);
    }

    #[test]
    fn any_text_is_written_as_a_value_that_reads_back(text in "\\PC{0,20}|[ -~\n]{0,30}", in_flow in any::<bool>()) {
        let file = if in_flow { "parts: {a: {b: c, d: [e]}}\n" } else { "parts:\n  a:\n    b: c\n    d:\n      - e\n" };
        for value in [Value::text(text.clone()), Value::typed(&text)] {
            let changes = [
                Change::set(["parts", "a", "b"], value.clone()),
                Change::append(["parts", "a", "d"], value.clone()),
                Change::set(["parts", "a", "f"], value),
            ];
            prop_assert!(edit(file, &changes).is_ok(), "{:?}", edit(file, &changes));
        }
    }
}
