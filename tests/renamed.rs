//! Messages about old names contain the new ones: checks, keys of records, commands and tables.

use serde_json::Value;

use crate::support::Sandbox;

/// The check, the field, the message and the fix of every finding.
fn findings(sandbox: &Sandbox) -> Vec<[String; 4]> {
    let report = sandbox.tierod(&["check", "--format", "json"]).ended(1).json();
    let text = |value: &Value| value.as_str().unwrap_or("-").to_owned();
    let all = report["findings"].as_array().unwrap().iter();
    all.map(|f| [text(&f["check"]), text(&f["field"]), text(&f["message"]), text(&f["help"])]).collect()
}

fn with(records: &str) -> Vec<[String; 4]> {
    let sandbox = Sandbox::new();
    sandbox.small_root("");
    sandbox.write("old.yaml", records);
    findings(&sandbox)
}

fn finding(check: &str, field: &str, old: &str, new: &str) -> [String; 4] {
    [check.to_owned(), field.to_owned(), format!("`{old}` is now `{new}`"), format!("use `{new}`")]
}

#[test]
fn the_old_name_of_a_check_in_settings_and_waivers() {
    let sandbox = Sandbox::new();
    sandbox.small_root("");
    let settings = std::fs::read_to_string(sandbox.path_of("tierod.yaml")).unwrap();
    sandbox.write("tierod.yaml", format!("{settings}levels: {{over-margin: off}}\n"));
    let expected = finding("unknown-reference", "levels.over-margin", "over-margin", "excess-margin");
    assert_eq!(findings(&sandbox), [expected]);

    let waiver = "waivers: {late: {check: open-loop, of: hub, until: 2027-06-01, agreed-by: chief engineer, reason: The rig is lent out.}}\n";
    assert_eq!(with(waiver), [finding("unknown-reference", "check", "open-loop", "no-action")]);
}

#[test]
fn the_old_key_of_a_record() {
    let waiver = "waivers: {late: {check: no-verification, on: hub, until: 2027-06-01, agreed-by: chief engineer, reason: The rig is lent out.}}\n";
    assert_eq!(with(waiver), [finding("unknown-key", "on", "on", "of")], "the missing `of` is not reported too");

    let decision =
        "decisions: {single: {of: suspension, weighs: [circle-time], alternatives: {}, reason: It is light.}}\n";
    let reported = with(decision);
    assert!(reported.contains(&finding("unknown-key", "weighs", "weighs", "criteria")), "{reported:?}");

    let goal = "goals: {other: {place: 3, lead: team lead, reason: It is a goal., field: {file: chain.yaml}}}\n";
    assert!(with(goal).contains(&finding("unknown-key", "field", "field", "past-standings")));

    // Elsewhere the same word is only an unknown key.
    let part = with("parts: {arm: {in: suspension, on: hub}}\n");
    assert!(
        part.iter()
            .any(|[check, field, message, _]| check == "unknown-key" && field == "on" && message == "unknown key `on`")
    );
}

#[test]
fn old_names_on_the_command_line() {
    let sandbox = Sandbox::new();
    sandbox.small_root("");
    for (args, message, fix) in [
        (&["weigh", "engine"][..], "`weigh` is now `compare`", "run `tierod compare`"),
        (&["explain", "childless"], "`childless` is now `no-children`", "run `tierod explain no-children`"),
        (&["audit", "--table", "moments"], "`moments` is now `timeline`", "use `--table timeline`"),
    ] {
        let error = sandbox.tierod(args).ended(2).err;
        assert!(error.contains(message) && error.contains(fix), "{error}");
    }
    let error = sandbox.tierod(&["wiegh"]).ended(2).err;
    assert!(error.contains("unrecognized subcommand"), "{error}");
}
