//! Messages for what a first user types: each names the likely cause and the text to write.

use crate::support::Sandbox;

/// The findings of reading, each as `line:column check | message | help`.
fn read_errors(records: &str) -> Vec<String> {
    let sandbox = Sandbox::new();
    sandbox.small_root("");
    sandbox.write("more.yaml", records);
    let report = sandbox.tierod(&["check", "--format", "json"]).json();
    let reading = ["unreadable-file", "unknown-key", "bad-value", "missing-key"];
    let own = report["findings"]
        .as_array()
        .unwrap()
        .iter()
        .filter(|finding| finding["path"] == "more.yaml" && reading.contains(&finding["check"].as_str().unwrap()));
    let text = |value: &serde_json::Value| value.as_str().unwrap().to_owned();
    own.map(|f| {
        format!("{}:{} {} | {} | {}", f["line"], f["column"], text(&f["check"]), text(&f["message"]), text(&f["help"]))
    })
    .collect()
}

#[track_caller]
fn says(records: &str, expected: &str) {
    assert_eq!(read_errors(records), [expected], "{records}");
}

#[test]
fn counts_and_places_begin_at_one() {
    for value in ["-1", "1.5"] {
        says(
            &format!("parts:\n  a: {{in: suspension, count: {value}}}\n"),
            &format!(
                "2:30 bad-value | expected a whole number of at least 1, found `{value}` | use a whole number of at least 1"
            ),
        );
    }
}

#[test]
fn commas_and_colons_in_an_inline_reason() {
    let fix = "put quotes around the whole text, or write it without `{...}` on a line of its own";
    says(
        "parts:\n  a: {in: suspension, serves: {circle-time: It is light, stiff and cheap.}}\n",
        &format!(
            "2:58 bad-value | `stiff and cheap.` is read as a key of its own, because a comma inside of `{{...}}` ends a \
             value | {fix}"
        ),
    );
    says(
        "parts:\n  a: {in: suspension, verify: {by: test, with: gates, clock}}\n",
        &format!(
            "2:55 unknown-key | `clock` is read as a key of its own, because a comma inside of `{{...}}` ends a value | \
             {fix}"
        ),
    );
    let colon = "unreadable-file | not valid YAML: a second `: ` in one value | put quotes around the text with the \
                 colon, or write it below its key after `>-`";
    says("parts:\n  a: {in: suspension, serves: {circle-time: Note: it is light}}\n", &format!("2:49 {colon}"));
    says("parts:\n  a:\n    serves:\n      circle-time: Note: it is light\n", &format!("4:24 {colon}"));
}

#[test]
fn a_bracket_that_is_not_closed() {
    let open =
        "unreadable-file | not valid YAML: the `{` in line 2, column 6 is not closed | add `}` where the value ends";
    says(
        "parts:\n  a: {in: suspension, serves: {circle-time: It is light}\n  b: {in: suspension}\n",
        &format!("3:3 {open}"),
    );
    says("parts:\n  a: {in: suspension, serves: {circle-time: It is light}\n", &format!("3:1 {open}"));
}

#[test]
fn numbers_as_people_write_them() {
    says(
        "parts:\n  a: {in: suspension, amounts: {mass: 0.4kg}}\n",
        "2:39 bad-value | `0.4kg` has no space between number and unit | use `0.4 kg`",
    );
    says(
        "parts:\n  a: {in: suspension, amounts: {mass: '1,5 kg'}}\n",
        "2:39 bad-value | `1,5 kg` has a decimal comma | use a decimal point, `1.5 kg`",
    );
    says(
        "parts:\n  a: {in: suspension, amounts: {cost: '1,500 EUR'}}\n",
        "2:39 bad-value | `1,500 EUR` has a comma in its number | use `1500 EUR` if it separates thousands, or \
         `1.5 EUR` if it is a decimal comma",
    );
    says(
        "parts:\n  a: {in: suspension, amounts: {mass: 1,5 kg}}\n",
        "2:41 bad-value | `5 kg` is read as a key of its own, because a comma inside of `{...}` ends a value | use a \
         decimal point: `1.5 kg`",
    );
}

#[test]
fn ids_and_keys() {
    says("parts:\n  B_x: {in: suspension}\n", "2:3 bad-value | `B_x` is not a kebab-case id | use `b-x`");
    for (kind, name, keys) in [
        ("goals", "a goal", "place: 3, reason: It is ours."),
        ("results", "a result", "of: circle-time, value: 5 s, date: 2027-03-01, evidence: [chain.yaml]"),
        ("waivers", "a waiver", "check: no-lead, of: hub, until: 2027-04-01, agreed-by: lead, reason: We wait."),
    ] {
        let records = format!("{kind}:\n  x:\n    serves: {{circle-time: It should.}}\n    <<: {{}}\n");
        let records =
            records.replace("    <<: {}\n", &keys.split(", ").map(|key| format!("    {key}\n")).collect::<String>());
        says(
            &records,
            &format!("3:5 unknown-key | unknown key `serves`: {name} is linked by its other keys | remove `serves`"),
        );
    }
    let sandbox = Sandbox::new();
    assert!(!sandbox.tierod(&["explain", "waiver"]).ended(0).out.contains(" serves "));
}

#[test]
fn the_instructions_of_the_starter_are_no_reasons() {
    let sandbox = Sandbox::repository();
    sandbox.tierod(&["init", "--season", "2028"]).ended(0);
    let report = sandbox.tierod(&["check", "--format", "json", "--on", "2028-07-30"]).json();
    let notes: Vec<String> = report["findings"]
        .as_array()
        .unwrap()
        .iter()
        .filter(|finding| finding["check"] == "no-reason")
        .map(|f| format!("{} {} {}", f["level"], f["record"], f["field"]).replace('"', ""))
        .collect();
    assert_eq!(notes, ["note season-goal reason", "note acceleration serves.season-goal"]);
}
