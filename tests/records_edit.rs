//! `set`, `revise` and `rename`: only the lines concerned change, what an edit does is shown, and no file is lost.

use std::path::Path;

use serde_json::{Value, json};

use crate::support::{CHAIN, SETTINGS, Sandbox};

fn read(sandbox: &Sandbox, path: &str) -> String {
    std::fs::read_to_string(sandbox.path_of(path)).unwrap()
}

/// A repository with the small root, and a part with an amount in it.
fn with_amounts() -> (Sandbox, String) {
    let sandbox = Sandbox::repository();
    let chain = CHAIN.replace(
        "    in: suspension\n",
        "    in: suspension   # both sides\n    amounts: {mass: {value: 0.62 kg, basis: weighed}}\n",
    );
    sandbox.write("tierod.yaml", SETTINGS);
    sandbox.write("chain.yaml", &chain);
    sandbox.commit_on("2027-01-10", "start");
    (sandbox, chain)
}

#[test]
fn set_changes_one_line_and_shows_what_it_does() {
    let (sandbox, chain) = with_amounts();
    let dry = sandbox.tierod(&["set", "hub.mass", "0.61 kg", "--dry-run"]).ended(0);
    assert!(dry.out.contains("chain.yaml:23\n  -     amounts: {mass: {value: 0.62 kg"), "{}", dry.out);
    assert!(dry.out.contains("  +     amounts: {mass: {value: 0.61 kg"), "{}", dry.out);
    assert!(dry.out.contains("mass  0.62 kg  0.61 kg  -0.010 kg"), "{}", dry.out);
    assert!(dry.out.contains("nothing written (`--dry-run`): 1 file to change"), "{}", dry.out);
    assert_eq!(read(&sandbox, "chain.yaml"), chain);

    let done = sandbox.tierod(&["set", "hub.mass", "0.61 kg"]).ended(0);
    assert!(done.out.ends_with("1 file written\n"), "{}", done.out);
    assert_eq!(read(&sandbox, "chain.yaml"), chain.replace("0.62 kg", "0.61 kg"));
    let same = sandbox.tierod(&["set", "hub.mass", "0.61 kg"]).ended(0);
    assert_eq!(same.out, "no change: the records have this value already\n");

    let answer = sandbox.tierod(&["set", "hub.mass.basis", "estimated", "--format", "json"]).ended(0).json();
    assert_eq!(answer["written"], true);
    assert_eq!(answer["id"], "hub");
    assert_eq!(answer["files"][0]["path"], "chain.yaml");
    assert_eq!(answer["files"][0]["created"], false);
    assert_eq!(answer["files"][0]["changes"][0]["line"], 23);
    assert_eq!(answer["amounts"]["mass"], json!({"before": 0.61, "after": 0.732, "unit": "kg"}));
    assert_eq!(answer["points"], Value::Null);
}

#[test]
fn set_finds_nested_keys_and_items() {
    let (sandbox, chain) = with_amounts();
    for (address, value, before, after) in [
        ("circle-time.verify.due", "2027-06-02", "gates, due: 2027-06-01", "gates, due: 2027-06-02"),
        ("top-ten.place", "9", "place: 10", "place: 9"),
        ("hub.verify.with", "gauge, then: scale", "with: gauge,", "with: \"gauge, then: scale\","),
        ("hub.serves.circle-time", "It's why: #1", "It holds the wheel.", "\"It's why: #1\""),
        ("circle-time.estimate", "-5.1 s", "5.1 s ± 0.05 s", "-5.1 s"),
        ("hub.count", "2", "    verify: {by: inspection", "    count: 2\n    verify: {by: inspection"),
    ] {
        let after =
            if address == "hub.count" { format!("{chain}    count: 2\n") } else { chain.replacen(before, after, 1) };
        assert_ne!(after, chain);
        let done = sandbox.tierod(&["set", address, value]);
        assert!(done.code < 2, "{address}: {}", done.err);
        assert_eq!(read(&sandbox, "chain.yaml"), after, "{address}");
        sandbox.write("chain.yaml", &chain);
    }
    sandbox.tierod(&["set", "hub.evidence", "[a.csv, b.csv]"]).ended(2);
    sandbox.tierod(&["set", "circle-time.between", "[1 s, 2 s]", "--dry-run"]).ended(2);
}

#[test]
fn line_ends_and_a_byte_order_mark_stay() {
    let (sandbox, chain) = with_amounts();
    let windows = format!("\u{feff}{}", chain.replace('\n', "\r\n"));
    sandbox.write("chain.yaml", &windows);
    sandbox.tierod(&["set", "hub.mass", "0.6 kg"]).ended(0);
    sandbox.tierod(&["set", "hub.count", "2"]).ended(0);
    let expected = format!("{}    count: 2\r\n", windows.replace("0.62 kg", "0.6 kg"));
    assert_eq!(read(&sandbox, "chain.yaml"), expected);
}

#[test]
fn an_edit_that_makes_a_read_error_is_refused() {
    let (sandbox, chain) = with_amounts();
    for (address, value, cause) in [
        ("hub.nonsense", "1", "chain.yaml:26: unknown key `nonsense`"),
        ("hub.count", "many", "chain.yaml:26: expected"),
        ("hub.in", "[a, b]", "chain.yaml:22: expected"),
        ("hub.mass", "0.6 kgg", "chain.yaml:23: "),
        ("nohub.mass", "0.6 kg", "no record with id `nohub`"),
        ("hub", "0.6 kg", "names no key"),
        ("hub.in.deeper", "x", "`parts.hub.in` is not a map of keys"),
    ] {
        let refused = sandbox.tierod(&["set", address, value]).ended(2);
        assert!(refused.err.contains(cause), "{address}: {}", refused.err);
        assert_eq!(refused.out, "");
        assert_eq!(read(&sandbox, "chain.yaml"), chain, "{address}");
    }
    // A file that cannot be read is not edited, and one that has errors elsewhere is.
    sandbox.write("chain.yaml", chain.replace("place: 10", "place: ten"));
    let done = sandbox.tierod(&["set", "hub.mass", "0.6 kg"]);
    assert!(done.code < 2 && done.out.contains("1 file written"), "{}{}", done.out, done.err);
}

/// Findings are no reason not to write: the hook stops the commit. The status says that it would.
#[test]
fn new_findings_are_shown_and_an_error_is_the_status() {
    let (sandbox, chain) = with_amounts();
    let answer = sandbox.tierod(&["set", "hub.in", "nowhere", "--format", "json"]).ended(1).json();
    assert_eq!(answer["new"][0]["check"], "unknown-reference");
    assert_eq!(answer["stops"].as_array().unwrap().len(), 1);
    assert_eq!(answer["written"], true);
    let back = sandbox.tierod(&["set", "hub.in", "suspension"]).ended(0);
    assert!(back.out.contains("fixed findings (1)\n  error  unknown-reference"), "{}", back.out);
    assert_eq!(read(&sandbox, "chain.yaml"), chain);
    // A warning is shown, and is no failure.
    let warned = sandbox.tierod(&["set", "circle-time.estimate", "5.3 s"]).ended(0);
    assert!(warned.out.contains("new findings") && warned.out.contains("target-at-risk"), "{}", warned.out);
}

#[test]
fn revise_moves_the_limit_and_records_it() {
    let (sandbox, chain) = with_amounts();
    // Without a revision the change is a finding.
    let set = sandbox.tierod(&["set", "circle-time.at-most", "5.3 s", "--dry-run"]).ended(0);
    assert!(set.out.contains("unrecorded-revision"), "{}", set.out);
    let args = [
        "revise",
        "circle-time",
        "at-most",
        "5.3 s",
        "--reason",
        "Wet: the field is slower.",
        "--agreed-by",
        "team lead",
    ];
    let done = sandbox.tierod(&args).ended(0);
    assert!(!done.out.contains("unrecorded-revision"), "{}", done.out);
    let expected = format!(
        "{}\nrevisions:\n  circle-time-2027-03-19:\n    of: circle-time\n    from: 5.2 s\n    to: 5.3 s\n    date: \
         2027-03-19\n    agreed-by: team lead\n    reason: \"Wet: the field is slower.\"\n",
        chain.replace("at-most: 5.2 s", "at-most: 5.3 s")
    );
    assert_eq!(read(&sandbox, "chain.yaml"), expected);
    let mut again = args.to_vec();
    again[3] = "5.4 s";
    again.extend(["--format", "json"]);
    assert_eq!(sandbox.tierod(&again).ended(0).json()["revision"], "circle-time-2027-03-19-2");
    for (args, cause) in [
        (["revise", "circle-time", "at-least", "5 s"], "circle-time has no `at-least`"),
        (["revise", "circle-time", "at-most", "5.4 s"], "is 5.4 s already"),
        (["revise", "circle-time", "at-most", "fast"], "`fast` is not a limit"),
        (["revise", "hub", "at-most", "5.4 s"], "`hub` is a part, not a target"),
        (["revise", "circle-time", "title", "5.4 s"], "`title` is not a limit"),
    ] {
        let refused = sandbox.tierod(&[&args[..], &["--reason", "x", "--agreed-by", "y"]].concat()).ended(2);
        assert!(refused.err.contains(cause), "{args:?}: {}", refused.err);
    }
    let empty =
        sandbox.tierod(&["revise", "circle-time", "at-most", "6 s", "--reason", " ", "--agreed-by", "y"]).ended(2);
    assert!(empty.err.contains("`--reason` is empty"), "{}", empty.err);
}

/// The graph and the values of the example with one id replaced.
fn state_of(sandbox: &Sandbox, folder: &Path, from: &str, to: &str) -> [Value; 2] {
    ["graph", "values"].map(|command| {
        let text = sandbox.tierod_in(folder, &[command, "--format", "json"]).out;
        let quoted = |id: &str| format!("\"{id}\"");
        let text = text.replace(&quoted(from), &quoted(to)).replace(&format!("\"{from}."), &format!("\"{to}."));
        let mut json: Value = serde_json::from_str(&text).unwrap();
        without_lines(&mut json);
        json
    })
}

fn without_lines(json: &mut Value) {
    match json {
        Value::Object(map) => {
            map.retain(|key, _| !matches!(key.as_str(), "line" | "column" | "formula"));
            map.values_mut().for_each(without_lines);
        }
        Value::Array(list) => list.iter_mut().for_each(without_lines),
        _ => {}
    }
}

fn example() -> Sandbox {
    let sandbox = Sandbox::repository();
    let from = Path::new(env!("CARGO_MANIFEST_DIR")).join("../example-car");
    let copied = sandbox.command("cp", &sandbox.path()).arg("-r").arg(from).arg("car").status().unwrap();
    assert!(copied.success());
    sandbox.commit_on("2027-03-19", "start");
    sandbox
}

#[test]
fn rename_changes_every_reference_and_nothing_else() {
    let sandbox = example();
    let folder = sandbox.path_of("car");
    // A target in formulas, budgets and alternatives; a part; a system that amounts and groups name; an event; a goal.
    for old in ["car-mass", "engine-unit", "suspension", "acceleration", "first-eight", "engine"] {
        let before = state_of(&sandbox, &folder, old, "a-new-name");
        let answer = sandbox.tierod_in(&folder, &["rename", old, "a-new-name", "--format", "json"]);
        if answer.err.contains("no record with id") {
            continue;
        }
        let answer = answer.ended(0).json();
        assert_eq!(answer["new"], json!([]), "{old}");
        assert_eq!(answer["fixed"], json!([]), "{old}");
        assert_eq!(state_of(&sandbox, &folder, "", ""), before, "{old}");
        let delta = sandbox.tierod_in(&folder, &["delta", "HEAD", "--format", "json"]).ended(0).json();
        let records = &delta["records"];
        assert_eq!(records["renamed"].as_array().unwrap().len(), 1, "{old}: {records}");
        assert_eq!(records["renamed"][0]["before"], old);
        assert_eq!((&records["added"], &records["removed"]), (&json!([]), &json!([])), "{old}");
        assert_eq!((&delta["values"], &delta["new"]), (&json!([]), &json!([])), "{old}");
        sandbox.git(&["checkout", "-q", "."]);
    }
    let taken = sandbox.tierod_in(&folder, &["rename", "car-mass", "car-cost"]).ended(2);
    assert!(taken.err.contains("has the id `car-cost`"), "{}", taken.err);
    let bad = sandbox.tierod_in(&folder, &["rename", "car-mass", "Car Mass"]).ended(2);
    assert!(bad.err.contains("use `car-mass`"), "{}", bad.err);
    assert_eq!(sandbox.git(&["status", "--porcelain"]), "");
}

#[test]
fn history_follows_a_rename_and_back() {
    let (sandbox, chain) = with_amounts();
    sandbox.tierod(&["rename", "hub", "wheel-hub"]).ended(0);
    assert_eq!(
        read(&sandbox, "chain.yaml"),
        format!("{}    formerly: [hub]\n", chain.replace("  hub:\n", "  wheel-hub:\n"))
    );
    sandbox.commit_on("2027-02-10", "rename");
    let history = sandbox.tierod(&["history", "wheel-hub"]).ended(0);
    assert!(history.out.contains("2027-01-10"), "{}", history.out);
    sandbox.tierod(&["rename", "wheel-hub", "hub"]).ended(0);
    assert_eq!(read(&sandbox, "chain.yaml"), format!("{chain}    formerly: [wheel-hub]\n"));
}
