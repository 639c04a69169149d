//! The two ways of reading against every small change of small files.
//!
//! What the ways of reading make of YAML differs at the edges: a `?` that touches its key, a tab, a comment that
//! touches a block's sign. A random search seldom puts the one mark in the one place; here every mark of YAML is
//! put into every place.

#![allow(clippy::print_stdout, reason = "what was measured is printed")]

use crate::agree;

/// Each way in which a record file can be written, as short as it goes.
const FILES: &[&str] = &[
    "parts:\n  a: {in: b}\n",
    "parts:\n  a:\n    in: b\n",
    "parts:\n  a:\n    notes: |\n      x\n",
    "parts:\n  a:\n    notes: >-\n      x\n\n      y\n    in: b\n",
    "\u{feff}parts:\r\n  a: # c\r\n    notes: |\r\n      x\r\n",
    "{parts: {a: {in: b}}}",
    "{\"parts\": {\"a\": {\"in\": \"b\"}}}",
    "parts:\n  a: {in: 'b', notes: \"c\"}\n",
    "'parts':\n  'a':\n    'in': 'b'\n",
    "parts: {a: {title: b c, in: b}}\n",
    "systems:\n  a: {in: b, title: b c}\n",
    "systems:\n  a: {title: \"b\", lead: 'c', in: b}\n",
    "systems:\n  a:\n    in: b\n    title: b c\n",
    "systems:\n  a:\n    in: b\n    notes: b c\n      d e\n",
    "systems:\n  a:\n    in: b\n    notes: >\n      d e\n",
    "parts:\n  a:\n    formerly:\n    - b\n    - c\n",
    "parts: {a: {formerly: [b, c]}}\n",
    "parts:\n  a:\n    amounts: {mass: {value: 2 kg}}\n",
    "targets:\n  a:\n    verify: [{by: test}]\n",
    "parts:\n  a:\n    notes: b\n      c\n",
    "parts:\n  a:\n    notes: 'b\n      c'\n",
    "parts:\r  a:\r    notes: |\r      x\r",
    "---\nparts:\n  a:\n...\n",
    "parts:\n  a: &x {in: b}\n  c: *x\n",
    "? parts\n: a: {in: b}\n",
    "# c\nparts: # d\n  a: # e\n    in: b # f\n",
];

/// What means something in YAML, alone and as it is mostly written.
const MARKS: &[&str] = &[
    "?", "? ", "-", "- ", ":", ": ", "#", " #", ",", "[", "]", "{", "}", "&", "&a ", "*a", "!", "! ", "|", "|\n", "> ",
    ">-\n", "'", "\"", "%", "@", "`", "\\", "\n", "\n    ", "\r", "\t", " ", "  ", "~", "<<: ", "---\n", "...\n", "0",
    "a", "\u{85}", "\u{2028}", "\u{feff}", "\u{7f}",
];

/// Every file that comes of putting a mark before a character, in its place, or at the end.
fn each_change(text: &str, mut with: impl FnMut(&str)) {
    let places = text.char_indices().map(|(at, c)| (at, c.len_utf8())).chain([(text.len(), 0)]);
    for (at, length) in places {
        let (before, rest) = text.split_at(at);
        for mark in MARKS {
            with(&format!("{before}{mark}{rest}"));
            with(&format!("{before}{mark}{}", &rest[length..]));
        }
        with(&format!("{before}{}", &rest[length..]));
        with(before);
    }
}

#[track_caller]
fn both_ways_agree_on(text: &str) {
    if let Err(why) = agree::holds(text.as_bytes()) {
        panic!("{text:?}\n{why}");
    }
}

#[test]
fn both_ways_of_reading_agree_on_every_change_of_one_mark() {
    let mut read = 0;
    for file in FILES {
        each_change(file, |text| {
            both_ways_agree_on(text);
            read += 1;
        });
    }
    println!("{read} files");
}

#[test]
#[ignore = "every two changes are some hundred million files: half an hour of a release build"]
fn both_ways_of_reading_agree_on_every_two_changes() {
    for file in FILES {
        each_change(file, |once| each_change(once, both_ways_agree_on));
    }
}
