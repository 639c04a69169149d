//! Ranges of keys and values: what text they hold, and at which line, column and byte.

use super::*;

/// The text of a range, found by its bytes, after a check that line and column say the same.
#[track_caller]
fn range(file: &str, route: &str, aim: Aim) -> String {
    let tree = places(file.as_bytes()).unwrap();
    let range = tree.range_of(route.split('/').filter(|step| !step.is_empty()), aim).unwrap();
    let text = file.strip_prefix('\u{feff}').unwrap_or(file);
    for end in [range.start, range.end] {
        let offset = end.offset as usize - (file.len() - text.len());
        assert_eq!(end.spot(), Spot::of_byte(text.as_bytes(), offset), "{route}");
    }
    file[range.start.offset as usize..range.end.offset as usize].to_owned()
}

#[track_caller]
fn assert_value(file: &str, route: &str, expected: &str) {
    assert_eq!(range(file, route, Aim::Value), expected, "{file:?} {route}");
}

#[test]
fn scalars_of_all_styles() {
    let file = "a: x + y # z\nb: 'it''s' \nc: \"\\\"é\\\"\"  # c\nd: ~\ne:\nf: &n 2 kg\ng: *n\n'h': \"i\"\nj: x\n  y\n\nk: ''\nl: &m 'n'\no: &p {q: r}\n";
    for (key, value) in [
        ("a", "x + y"),
        ("b", "'it''s'"),
        ("c", "\"\\\"é\\\"\""),
        ("d", "~"),
        ("e", ""),
        ("f", "2 kg"),
        // An alias has the range of its key.
        ("g", "g"),
        ("h", "\"i\""),
        ("j", "x\n  y"),
        ("k", "''"),
        ("l", "'n'"),
        ("o", "{q: r}"),
        ("o/q", "r"),
    ] {
        assert_value(file, key, value);
        assert_eq!(
            range(file, key, Aim::Key),
            match key {
                "h" => "'h'",
                "o/q" => "q",
                _ => key,
            }
        );
    }
    let tree = places(file.as_bytes()).unwrap();
    let empty = tree.range_of(["e"], Aim::Value).unwrap();
    assert_eq!((empty.start.line, empty.start.column, empty.end), (5, 3, empty.start), "behind the colon");
    assert_eq!(tree.range_of(["z"], Aim::Value), None);
    assert_eq!(tree.range_of(["a", "x"], Aim::Value), None);
}

#[test]
fn block_scalars_begin_with_their_sign() {
    let file = "a: |\n  x\n  y\n\nb: >- # c > d\n    x\n\n    é\nc: &n|m |2\n    x\nd:\n  # >\n  |\n  x\ne: [f]\ng:\n- |\n  x\n- >+\n  y\n\nh: |\ni: |+\n\n";
    for (key, value) in [
        ("a", "|\n  x\n  y"),
        ("b", ">- # c > d\n    x\n\n    é"),
        ("c", "|2\n    x"),
        ("d", "|\n  x"),
        ("g/x\n", "|\n  x"),
        ("g/y\n\n", ">+\n  y"),
        ("h", "|"),
        ("i", "|+"),
    ] {
        assert_value(file, key, value);
    }
    assert_value("a: |\n  x", "a", "|\n  x");
}

#[test]
fn collections_end_with_their_last_item() {
    let file = "a:\n  b: {c: [d, 'e' ] , f: {} } # g\n  h:\n    i: j # k\n    l:\n  # m\nn:\n- o\n- p: q\n  r: |\n    s\n\n- [t: u, v]\nw: x\n";
    for (route, value) in [
        ("a", "b: {c: [d, 'e' ] , f: {} } # g\n  h:\n    i: j # k\n    l:"),
        ("a/b", "{c: [d, 'e' ] , f: {} }"),
        ("a/b/c", "[d, 'e' ]"),
        ("a/b/c/e", "'e'"),
        ("a/b/f", "{}"),
        ("a/h", "i: j # k\n    l:"),
        ("n", "- o\n- p: q\n  r: |\n    s\n\n- [t: u, v]"),
        ("n/o", "o"),
    ] {
        assert_value(file, route, value);
    }
    let tree = places(file.as_bytes()).unwrap();
    let Some([_, list]) = tree.root().and_then(|root| tree.entry(root, "n")) else { panic!() };
    let tree::Content::List(items) = tree.content(list) else { panic!() };
    let range = |node: NodeId| &file[tree.node(node).start as usize..tree.node(node).end as usize];
    assert_eq!(items.iter().map(|item| range(*item)).collect::<Vec<_>>(), ["o", "p: q\n  r: |\n    s", "[t: u, v]"]);
    let tree::Content::List(pair) = tree.content(items[2]) else { panic!() };
    assert_eq!((range(pair[0]), range(pair[1])), ("t: u", "v"));
    assert_eq!(range(tree.root().unwrap()), file.trim_end());
}

#[test]
fn line_ends_a_byte_order_mark_and_wide_characters() {
    let file = "\u{feff}é±: {\u{1f600}: ü, b: 'µ'}\r\n\r\nc:\r\n  - d\r\n  - \"e\r\n    f\"\r\ng: |\r\n  h\r\n  i\r\n";
    for (route, value) in [
        ("é±", "{\u{1f600}: ü, b: 'µ'}"),
        ("é±/\u{1f600}", "ü"),
        ("é±/b", "'µ'"),
        ("c", "- d\r\n  - \"e\r\n    f\""),
        ("c/e f", "\"e\r\n    f\""),
        ("g", "|\r\n  h\r\n  i"),
    ] {
        assert_value(file, route, value);
    }
    let range = places(file.as_bytes()).unwrap().range_of(["é±", "b"], Aim::Value).unwrap();
    assert_eq!(range.start, Position { line: 1, column: 15, offset: 23 });
    assert_eq!(range.end, Position { line: 1, column: 18, offset: 27 });
    let cut = places(b"a: b\rc: d").unwrap().range_of(["c"], Aim::Value).unwrap();
    assert_eq!((cut.start.line, cut.end.column, cut.end.offset), (2, 5, 9));
}

#[test]
fn many_lookups_in_a_large_map_do_not_take_long() {
    let entries: Vec<String> = (0..100_000).map(|number| format!("é{number}: {number}")).collect();
    let file = format!("parts: {{{}}}\n", entries.join(", "));
    let start = std::time::Instant::now();
    let tree = places(file.as_bytes()).unwrap();
    for number in 0..100_000 {
        let (key, value) = (format!("é{number}"), number.to_string());
        let range = tree.range_of(["parts", &key], Aim::Value).unwrap();
        assert_eq!(&file[range.start.offset as usize..range.end.offset as usize], value);
    }
    assert!(start.elapsed().as_secs() < 20, "{:?}", start.elapsed());
}

#[test]
fn brackets_with_a_comma_before_the_closing_one() {
    let file = "a: {b: c,}\nd: {e: [f, ], g: {h: i , # }\n  }, }\nj:\n- {k: l, }\n- [m]\n- [{n: o}: p, ]\n";
    for (route, value) in [
        ("a", "{b: c,}"),
        ("d", "{e: [f, ], g: {h: i , # }\n  }, }"),
        ("d/e", "[f, ]"),
        ("d/g", "{h: i , # }\n  }"),
        ("j", "- {k: l, }\n- [m]\n- [{n: o}: p, ]"),
    ] {
        assert_value(file, route, value);
    }
    let tree = places(file.as_bytes()).unwrap();
    let list = tree.root().and_then(|root| tree.entry(root, "j")).unwrap()[1];
    let texts: Vec<&str> = (0..3)
        .map(|index| {
            let range = tree.range_at(list, index, Aim::Value).unwrap();
            &file[range.start as usize..range.end as usize]
        })
        .collect();
    assert_eq!(texts, ["{k: l, }", "[m]", "[{n: o}: p, ]"]);
}

#[test]
fn an_anchor_of_an_empty_key_leaves_no_range_that_ends_before_it_begins() {
    for file in ["systems:\n &a:          :     \n", "a: &b :\n", "a:\n - &b :    : \n"] {
        let Some(tree) = places(file.as_bytes()) else { continue };
        let key = file.split(':').next().unwrap();
        for aim in [Aim::Key, Aim::Value] {
            let range = tree.range_of([key], aim).unwrap();
            assert!(range.start.offset <= range.end.offset, "{file:?} {range:?}");
        }
    }
}
