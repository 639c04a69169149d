//! Findings that could not be seen before, because a file, a record or a key was unreadable: they are uncovered, not new.

use serde_json::json;

use crate::gate_new::{commit, delta, force, names, part, project};
use crate::support::{SETTINGS, Sandbox};

#[test]
fn a_commit_that_only_repairs_a_file_passes() {
    for broken in [
        // Not YAML; conflict markers; a key that cannot be read.
        "parts:\n  \"arm:\n",
        "parts:\n<<<<<<< HEAD\n=======\n>>>>>>> main\n",
        "parts:\n  spring: {in: suspension, in: suspension}\n",
    ] {
        let sandbox = project();
        let records = part("arm", "nowhere") + &part("rod", "suspension");
        sandbox.write("arm.yaml", format!("{broken}{records}"));
        // A file that is not touched refers to a record in the broken one.
        sandbox.write("user.yaml", "parts:\n".to_owned() + &part("clip", "suspension").replace("circle-time", "rod"));
        force(&sandbox, "broken");
        sandbox.write("arm.yaml", format!("parts:\n{records}"));
        let answer = commit(&sandbox, "repaired");
        assert_eq!(answer.code, 0, "{broken}\n{}{}", answer.out, answer.err);
        let json = delta(&sandbox, "HEAD~1", 0);
        assert_eq!(json["new"], json!([]), "{broken}");
        if !broken.contains("spring") {
            // A part under `serves` has the wrong kind: that was not visible either.
            assert!(names(&json["uncovered"]).contains(&"unknown-reference arm".to_owned()), "{json}");
            let staged = answer.out + &answer.err;
            assert!(staged.contains("uncovered findings") && staged.contains("arm.yaml"), "{staged}");
            for format in ["terminal", "markdown"] {
                let text = sandbox.tierod(&["delta", "HEAD~1", "HEAD", "--format", format]).ended(0).out;
                assert!(text.to_lowercase().contains("uncovered findings"), "{text}");
            }
        }
    }
}

#[test]
fn a_repair_that_breaks_something_else_is_stopped() {
    let more = "systems:\n  brakes: {in: car, lead: brakes lead}\n";
    let others = "parts:\n".to_owned() + &part("disc", "brakes");
    let start = || {
        let sandbox = project();
        sandbox.write("systems.yaml", more);
        sandbox.write("others.yaml", &others);
        sandbox.write("arm.yaml", format!("parts:\n  \"arm:\n{}", part("arm", "nowhere")));
        force(&sandbox, "broken");
        sandbox.write("arm.yaml", format!("parts:\n{}", part("arm", "nowhere")));
        sandbox
    };
    type Change<'c> = (&'c str, &'c dyn Fn(&Sandbox));
    let changes: [Change<'_>; 3] = [
        ("unknown-reference disc", &|sandbox| {
            // Another file is edited.
            sandbox.write("others.yaml", others.replace("in: brakes", "in: braks"));
        }),
        ("unknown-reference disc", &|sandbox| {
            // The file that breaks is not touched: what it refers to is removed.
            sandbox.write("systems.yaml", "systems:\n  cooling: {in: car, lead: cooling lead}\n");
        }),
        ("unknown-reference fin", &|sandbox| {
            // A record that was not in the broken file.
            sandbox.write("arm.yaml", format!("parts:\n{}{}", part("arm", "nowhere"), part("fin", "nowhere")));
        }),
    ];
    for (expected, change) in changes {
        let sandbox = start();
        change(&sandbox);
        let answer = commit(&sandbox, "repaired, and broken");
        assert_eq!(answer.code, 1, "{expected}: {}{}", answer.out, answer.err);
        let json = sandbox.tierod(&["check", "--staged", "--format", "json"]).ended(1).json();
        assert_eq!(names(&json["findings"])[0], expected);
        assert!(names(&json["uncovered"]).contains(&"unknown-reference arm".to_owned()), "{json}");
        force(&sandbox, "anyway");
        let json = delta(&sandbox, "HEAD~1", 1);
        assert_eq!(names(&json["new"])[0], expected);
        assert_eq!(json["stops"], json!([json["new"][0]["fingerprint"]]));
    }
}

#[test]
fn a_file_that_is_broken_later_fixes_nothing() {
    let sandbox = project();
    sandbox.write("arm.yaml", "parts:\n".to_owned() + &part("arm", "nowhere"));
    force(&sandbox, "a wrong name");
    sandbox.write("arm.yaml", "parts:\n  \"arm:\n".to_owned() + &part("arm", "nowhere"));
    force(&sandbox, "broken");
    let json = delta(&sandbox, "HEAD~1", 1);
    assert_eq!((&json["fixed"], names(&json["new"])), (&json!([]), vec!["unreadable-file -".to_owned()]));
    // The broken file is removed.
    sandbox.git(&["rm", "-q", "arm.yaml"]);
    let json = sandbox.tierod(&["check", "--staged", "--format", "json"]).ended(0).json();
    assert_eq!((&json["findings"], &json["uncovered"]), (&json!([]), &json!([])));
}

#[test]
fn of_a_record_with_a_broken_key_only_that_key_is_uncovered() {
    let sandbox = project();
    let arm = part("arm", "suspension").replace("in: suspension", "in: suspension\n    amounts: {mass: heavy}");
    sandbox.write("arm.yaml", format!("parts:\n{arm}"));
    force(&sandbox, "broken");
    // Only the repair: the basis that is not in the settings could not be seen.
    let repaired = arm.replace("heavy", "{value: 2 kg, basis: guessed}");
    sandbox.write("arm.yaml", format!("parts:\n{repaired}"));
    sandbox.git(&["add", "-A"]);
    let json = sandbox.tierod(&["check", "--staged", "--format", "json"]).ended(0).json();
    assert_eq!(json["findings"], json!([]));
    assert_eq!(names(&json["uncovered"]), ["unknown-reference arm"]);
    // Another key of the record is broken at the same time.
    sandbox.write("arm.yaml", format!("parts:\n{}", repaired.replace("in: suspension", "in: nowhere")));
    assert_eq!(commit(&sandbox, "repaired, and broken").code, 1);
    let json = sandbox.tierod(&["check", "--staged", "--format", "json"]).ended(1).json();
    assert_eq!(names(&json["findings"]), ["unknown-reference arm"]);
    assert_eq!(
        (&json["findings"][0]["field"], &json["uncovered"][0]["field"]),
        (&"in".into(), &"amounts.mass.basis".into())
    );
}

#[test]
fn renaming_one_of_two_records_with_one_id_passes() {
    for other in ["twice.yaml", "arm.yaml"] {
        let sandbox = project();
        let second = part("arm", "nowhere");
        sandbox.write("arm.yaml", format!("parts:\n{}", part("arm", "suspension")));
        let file = std::fs::read_to_string(sandbox.path_of(other)).unwrap_or_else(|_| "parts:\n".to_owned());
        sandbox.write(other, file.clone() + &second);
        force(&sandbox, "twice");
        sandbox.write(other, file + &second.replace("  arm:", "  arm-two:"));
        let answer = commit(&sandbox, "renamed");
        assert_eq!(answer.code, 0, "{other}: {}{}", answer.out, answer.err);
        assert_eq!(names(&delta(&sandbox, "HEAD~1", 0)["uncovered"]), ["unknown-reference arm-two"]);
    }
}

#[test]
fn a_third_record_with_the_id_of_two_is_new() {
    let sandbox = project();
    for file in ["one.yaml", "two.yaml"] {
        sandbox.write(file, "parts:\n".to_owned() + &part("arm", "suspension"));
    }
    force(&sandbox, "twice");
    sandbox.write("three.yaml", "parts:\n".to_owned() + &part("arm", "suspension"));
    assert_eq!(commit(&sandbox, "three times").code, 1);
    force(&sandbox, "anyway");
    let json = delta(&sandbox, "HEAD~1", 1);
    assert_eq!((names(&json["new"]), &json["uncovered"]), (vec!["duplicate-id arm".to_owned()], &json!([])));
}

#[test]
fn repaired_settings_stop_nothing() {
    let sandbox = project();
    sandbox.write("bare.yaml", "parts:\n  bare: {in: suspension, serves: {circle-time: It holds the bare end.}}\n");
    sandbox.write("tierod.yaml", format!("{SETTINGS}levels: {{no-verification: error}}\n\""));
    force(&sandbox, "broken settings");
    sandbox.write("tierod.yaml", format!("{SETTINGS}levels: {{no-verification: error}}\n"));
    let answer = commit(&sandbox, "repaired");
    assert_eq!(answer.code, 0, "{}{}", answer.out, answer.err);
    let json = delta(&sandbox, "HEAD~1", 0);
    assert_eq!((&json["new"], &json["settings"]), (&json!([]), &json!([])));
    // A key that could not be read.
    sandbox.write("tierod.yaml", format!("{SETTINGS}levels: {{no-verification: eror}}\n"));
    force(&sandbox, "an unknown word");
    sandbox.write("tierod.yaml", format!("{SETTINGS}levels: {{no-verification: error}}\n"));
    assert_eq!(commit(&sandbox, "repaired again").code, 0);
}
