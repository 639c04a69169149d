use super::*;

#[track_caller]
fn assert_edit(before: &str, changes: &[Change], after: &str) {
    assert_eq!(edit(before, changes).unwrap(), after);
    let with_crlf = |text: &str| text.replace('\n', "\r\n");
    assert_eq!(edit(&with_crlf(before), changes).unwrap(), with_crlf(after), "CRLF");
    let marked = |text: &str| format!("\u{feff}{text}");
    assert_eq!(edit(&marked(before), changes).unwrap(), marked(after), "byte order mark");
}

fn set(at: &str, value: &str) -> Change {
    Change::set(at.split('/'), Value::typed(value))
}

#[test]
fn a_scalar_is_replaced_in_its_style() {
    let before = "parts:\n  a:   # first\n    count: 2 # two\n    title: \"One\"   # quoted\n    notes: 'it''s'\n    in: \n    amounts: {mass: 1 kg, cost: 2 EUR} # flow\n";
    for (at, value, old, new) in [
        ("count", "3", "count: 2 #", "count: 3 #"),
        ("title", "Two: \"x\"", "\"One\"", "\"Two: \\\"x\\\"\""),
        ("notes", "isn't", "'it''s'", "'isn''t'"),
        ("in", "car", "in: \n", "in: car \n"),
        ("amounts/mass", "1.5 kg", "1 kg", "1.5 kg"),
        ("amounts/mass", "a, b", "1 kg", "\"a, b\""),
        ("count", "a: b # c", "count: 2 #", "count: \"a: b # c\" #"),
        ("count", "[a, 'b, c']", "count: 2 #", "count: [a, \"b, c\"] #"),
        ("count", "'2'", "count: 2 #", "count: \"2\" #"),
    ] {
        let after = before.replace(old, new);
        assert_ne!(before, after);
        assert_edit(before, &[set(&format!("parts/a/{at}"), value)], &after);
    }
}

#[test]
fn a_record_is_added_after_the_last_of_its_kind() {
    let keys = || {
        [
            ("title", Value::text("Two")),
            ("verify", Value::typed("{by: test, due: 2027-01-02}")),
            ("serves", Value::typed("{t: 'It is why, in a sentence that is long enough to have a line: this one'}")),
        ]
    };
    let add = [Change::add_record(Kind::Part, "b", keys())];
    let lines = "  b:\n    title: Two\n    verify: {by: test, due: 2027-01-02}\n    serves:\n      t: \"It is why, in a sentence that is long enough to have a line: this one\"\n";
    assert_eq!(edit("", &add).unwrap(), format!("parts:\n{lines}"));
    assert_edit("# c\n", &add, &format!("# c\nparts:\n{lines}"));
    assert_edit("parts:\n", &add, &format!("parts:\n{lines}"));
    assert_edit("parts: {} # c\n", &add, &format!("parts: # c\n{lines}"));
    let a = "parts:\n  a:\n    in: x # c\n";
    assert_edit(&format!("{a}  # d\nsystems: {{}}\n"), &add, &format!("{a}{lines}  # d\nsystems: {{}}\n"));
    let two = "parts:\n  z: {in: x}\n\n  # about a\n  a:\n    in: x # c\n";
    assert_edit(&format!("{two}\n\nsystems: {{}}\n"), &add, &format!("{two}\n{lines}\n\nsystems: {{}}\n"));
    let add = [Change::add_record(Kind::Part, "b", [("in", Value::typed("x"))])];
    assert_edit("parts:\n  a: {in: y}\n", &add, "parts:\n  a: {in: y}\n  b: {in: x}\n");
    assert_edit("parts:\n    a:\n        in: y", &add, "parts:\n    a:\n        in: y\n    b:\n        in: x");
    assert_edit("systems: {}\n", &add, "systems: {}\n\nparts:\n  b:\n    in: x\n");
    assert_eq!(edit("parts: {b: {}}", &add), Err(EditError::Exists(route(["parts", "b"]))));
}

#[test]
fn many_records_are_added_removed_and_renamed() {
    let record = |number: usize| format!("  p{number}: {{in: car}}\n");
    let before = format!("parts:\n{}", (0..50).map(record).collect::<String>());
    let changes: Vec<Change> = (50..100)
        .map(|number| Change::add(["parts".to_owned(), format!("p{number}")], Value::typed("{in: car}")))
        .chain([Change::remove(["parts", "p3"]), Change::rename_key(["parts", "p4"], "q")])
        .collect();
    let after = edit(&before, &changes).unwrap();
    let names: Vec<&str> = after.lines().skip(1).filter_map(|line| line.trim().split(':').next()).collect();
    assert_eq!((names.len(), names.first(), names.get(3), names.last()), (99, Some(&"p0"), Some(&"q"), Some(&"p99")));
    let twice = [&changes[..], &[Change::add(["parts", "p70"], Value::typed("{in: car}"))]].concat();
    assert!(matches!(edit(&before, &twice), Err(EditError::Exists(_))));
    assert!(matches!(edit(&before, &[Change::rename_key(["parts", "p4"], "p5")]), Err(EditError::Exists(_))));
}
