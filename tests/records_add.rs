//! `add`: a record from values, and from the answers to questions on a terminal.

use crate::support::{DAY, Sandbox};

/// Runs tierod; the date is that of the settings.
fn add(sandbox: &Sandbox, args: &[&str]) -> crate::support::Answer {
    sandbox.tierod(&[&["add"], args].concat())
}

fn project() -> Sandbox {
    let sandbox = Sandbox::repository();
    sandbox.small_root("");
    sandbox
}

fn read(sandbox: &Sandbox, path: &str) -> String {
    std::fs::read_to_string(sandbox.path().join(path)).unwrap()
}

#[test]
fn a_result_is_added_in_one_line() {
    let sandbox = project();
    sandbox.write("test/gates.csv", "time\n5.11\n");
    let args =
        ["result", "circle-gates", "of=circle-time", "value=5.11 s ± 0.02 s", "date=today", "evidence=test/gates.csv"];
    let out = add(&sandbox, &[&args[..], &["--on", DAY]].concat()).ended(0).out;
    assert!(out.contains("circle-gates") && out.contains("results.yaml"), "{out}");
    let text = read(&sandbox, "results.yaml");
    assert!(text.starts_with("results:\n  circle-gates:\n"), "{text}");
    assert!(text.contains(&format!("date: {DAY}\n")) && text.contains("value: 5.11 s ± 0.02 s\n"), "{text}");
    let values = sandbox.tierod(&["values", "--format", "json"]).json();
    let time = values["values"].as_array().unwrap().iter().find(|value| value["id"] == "circle-time").unwrap();
    assert_eq!((&time["status"], time["value"].as_f64()), (&"met".into(), Some(5.11)));
    sandbox.tierod(&["check"]).ended(0);
    // The next one goes beside it, and no other line changes.
    let out =
        add(&sandbox, &["result", "second", "of=hub", "outcome=pass", "date=2027-03-02", "evidence=test/gates.csv"]);
    assert!(out.ended(0).out.contains("results.yaml"));
    assert!(read(&sandbox, "results.yaml").starts_with(&text));
}

#[test]
fn a_part_with_keys_inside_of_keys() {
    let sandbox = project();
    let before = read(&sandbox, "chain.yaml");
    let args = [
        "part",
        "brake-disc",
        "in=suspension",
        "count=4",
        "amounts.mass=0.55 kg",
        "amounts.mass.basis=weighed",
        "serves.circle-time=It slows: the wheel turns less # and less",
        "verify.by=inspection",
        "verify.with=gauge",
        "verify.due=2027-06-01",
        "formerly=disc, old-disc",
    ];
    let out = add(&sandbox, &args).ended(0).out;
    assert!(out.contains("added brake-disc to chain.yaml"), "{out}");
    let after = read(&sandbox, "chain.yaml");
    assert!(after.starts_with(&before), "only lines are added: {after}");
    let file: serde_json::Value = serde_yaml::from_str(&after).unwrap();
    let disc = &file["parts"]["brake-disc"];
    assert_eq!(disc["count"], 4);
    assert_eq!(disc["amounts"]["mass"], serde_json::json!({"value": "0.55 kg", "basis": "weighed"}));
    assert_eq!(disc["serves"]["circle-time"], "It slows: the wheel turns less # and less");
    assert_eq!(disc["formerly"], serde_json::json!(["disc", "old-disc"]));
    sandbox.tierod(&["check"]).ended(0);
}

#[test]
fn a_dry_run_writes_nothing_and_shows_the_lines() {
    let sandbox = project();
    let before = read(&sandbox, "chain.yaml");
    let args = ["part", "bolt", "in=suspension", "serves.circle-time=It holds the hub.", "--dry-run"];
    let out = add(&sandbox, &args).ended(0).out;
    assert!(out.contains("  bolt:") && out.contains("--dry-run"), "{out}");
    // What `check` will report is known before.
    assert!(out.contains("no-verification"), "{out}");
    assert_eq!(read(&sandbox, "chain.yaml"), before);
    let json = add(&sandbox, &[&args[..], &["--format", "json"]].concat()).ended(0).json();
    assert_eq!((&json["written"], &json["id"]), (&false.into(), &"bolt".into()));
    assert_eq!(json["files"][0]["path"], "chain.yaml");
    assert!(json["files"][0]["changes"][0]["after"][0].as_str().unwrap().contains("bolt:"));
    assert!(json["new"].as_array().unwrap().iter().any(|finding| finding["check"] == "no-verification"));
}

#[test]
fn missing_keys_are_listed_with_their_meaning() {
    let sandbox = project();
    let error = add(&sandbox, &["result", "gates"]).ended(2).err;
    for text in ["`of`", "`date`", "The event, target, requirement or part that was verified", "key=value"] {
        assert!(error.contains(text), "{text} in {error}");
    }
    assert!(!sandbox.path().join("results.yaml").exists());
    assert!(add(&sandbox, &[]).ended(2).err.contains("goal, event, system"));
    assert!(add(&sandbox, &["part"]).ended(2).err.contains("id"));
}

#[test]
fn what_cannot_be_read_is_not_written() {
    let sandbox = project();
    let before = read(&sandbox, "chain.yaml");
    let good = ["part", "bolt", "in=suspension", "serves.circle-time=It holds the hub."];
    for (args, expected) in [
        (&["part", "bolt", "in=suspensoin"][..], "suspension"),
        (&["part", "bolt", "in=hub"], "hub"),
        (&["part", "bolt", "cuont=3"], "count"),
        (&["part", "bolt", "in=suspension", "verify.method=test"], "by"),
        (&["part", "bolt", "in=suspension", "amounts.mass=heavy"], "heavy"),
        (&["part", "bolt", "in=suspension", "amounts.mass=0.6 kgg"], "kg"),
        (&["part", "bolt", "in=suspension", "serves.circle-tim=It holds."], "circle-time"),
        (&["part", "hub", "in=suspension"], "already exists"),
        (&["part", "Front Bolt", "in=suspension"], "front-bolt"),
        (&["parrt", "bolt", "in=suspension"], "part"),
        (&["part", "bolt", "in"], "key=value"),
        (&["part", "bolt", "in="], "no value"),
        (&["part", "bolt", "in=suspension", "in=suspension"], "twice"),
        (&["result", "r", "of=circle-time", "value=5 s", "date=yesterday"], "date"),
        (&[&good[..], &["--file", "../out.yaml"]].concat(), "project root"),
        (&[&good[..], &["--file", "parts.txt"]].concat(), "record file"),
        (&[&good[..], &["--file", "tierod.yaml"]].concat(), "record file"),
    ] {
        let answer = add(&sandbox, args).ended(2);
        assert!(answer.err.contains(expected), "{args:?}: {}", answer.err);
        assert_eq!(answer.out, "", "{args:?}");
    }
    assert_eq!(read(&sandbox, "chain.yaml"), before);
    assert_eq!(sandbox.git(&["status", "--short"]).lines().count(), 2, "no new file");
}

#[test]
fn what_was_meant_is_said() {
    let sandbox = project();
    for (args, expected) in [
        (&["result", "of=circle-time", "value=5 s"][..], "tierod add result NEW-ID of=circle-time"),
        (&["part", "bolt", "in=suspension", "serves=circle-time"], "write `serves.circle-time='reason'`"),
        (&["part", "bolt", "in=suspension", "mass=1 kg"], "`amounts.mass=...`"),
        (&["part", "bolt", "in=suspension", "weight=1 kg"], "`amounts.mass=...`"),
        (&["part", "bolt", "in=suspension", "basis=drawn"], "`amounts.mass.basis=...`"),
        (&["part", "bolt", "in=suspension", "amounts=1 kg"], "write `amounts.mass='1 kg'`"),
    ] {
        let answer = add(&sandbox, args).ended(2);
        assert!(answer.err.contains(expected), "{args:?}: {}", answer.err);
    }
}

/// Records that name each other: one of them is written first.
#[test]
fn a_record_can_name_one_that_comes_later() {
    let sandbox = project();
    let event = ["event", "brake-test", "reads.time=stop-time", "serves.top-ten=It has points."];
    let target = ["target", "stop-time", "of=car", "at-most=3 s", "serves.brake-test=It is what is timed."];
    for args in [&event[..], &target] {
        let refused = add(&sandbox, args).ended(2);
        assert!(refused.err.contains("--allow-unknown"), "{}", refused.err);
    }
    let first = add(&sandbox, &[&event[..], &["--allow-unknown"]].concat()).ended(1);
    assert!(first.out.contains("no record with id `stop-time`"), "{}", first.out);
    assert!(add(&sandbox, &target).code < 2);
    assert!(!sandbox.tierod(&["check"]).out.contains("unknown-reference"));
    // A record of the wrong kind does not become right later.
    add(&sandbox, &["part", "bolt", "in=hub", "--allow-unknown"]).ended(2);
}

#[test]
fn a_file_that_is_named_is_created_with_its_folder() {
    let sandbox = project();
    let args = ["part", "bolt", "in=suspension", "serves.circle-time=It holds the hub.", "--file", "parts/small.yaml"];
    let out = add(&sandbox, &args).ended(0).out;
    assert!(out.contains("new file"), "{out}");
    assert!(read(&sandbox, "parts/small.yaml").starts_with("parts:\n  bolt:\n"));
    #[cfg(unix)]
    {
        let outside = sandbox.outside().join("elsewhere");
        std::fs::create_dir(&outside).unwrap();
        std::os::unix::fs::symlink(&outside, sandbox.path().join("linked")).unwrap();
        let args = ["part", "nut", "in=suspension", "serves.circle-time=It holds.", "--file", "linked/a.yaml"];
        add(&sandbox, &args).ended(2);
        assert_eq!(std::fs::read_dir(&outside).unwrap().count(), 0);
    }
}

#[test]
fn line_ends_and_comments_stay() {
    let sandbox = project();
    let text = "# ours\r\nparts:\r\n  # the bolts\r\n  bolt:   # M8\r\n    in: suspension\r\n    serves: {circle-time: It holds.}\r\n";
    sandbox.write("bolts.yaml", text);
    add(&sandbox, &["part", "nut", "in=suspension", "serves.circle-time=It locks.", "--file", "bolts.yaml"]).ended(0);
    let after = read(&sandbox, "bolts.yaml");
    assert!(after.starts_with(text) && after.len() > text.len(), "{after:?}");
    assert_eq!(after.matches('\n').count(), after.matches("\r\n").count(), "{after:?}");
}

#[cfg(unix)]
mod on_a_terminal {
    use super::*;
    use crate::terminal::Terminal;

    /// Runs `add` on a terminal; each answer is typed when its prompt is shown. The exit status (-1 for a signal), and what the
    /// terminal shows.
    fn dialogue(sandbox: &Sandbox, args: &[&str], answers: &[(&str, &str)]) -> (i32, String) {
        let setsid = sandbox.command("setsid", &sandbox.path());
        let mut terminal = Terminal::start(setsid, &[&[env!("CARGO_BIN_EXE_tierod"), "add"], args].concat());
        for (prompt, answer) in answers {
            terminal.wait_for(&format!("{prompt}> "));
            terminal.types(answer);
        }
        terminal.end()
    }

    #[test]
    fn each_key_is_asked_for_and_checked_at_once() {
        let sandbox = project();
        let before = read(&sandbox, "chain.yaml");
        let answers = [
            ("kind", "prat\n"),
            ("kind", "part\n"),
            ("id", "Front Bolt\n"),
            ("id", "hub\n"),
            ("id", "front-bolt\n"),
            ("in", "\n"),
            ("in", "suspensoin\n"),
            ("in", "?\n"),
            ("in", "suspension\n"),
            ("title", "Bolt: front\n"),
            ("serves, id (Enter: done)", "circle-tim\n"),
            ("serves, id (Enter: done)", "circle-time\n"),
            ("serves.circle-time", "It holds the hub.\n"),
            ("serves, id (Enter: done)", "\n"),
            ("verify.by", "tets\n"),
            ("verify.by", "inspection\n"),
            ("verify.with", "gauge\n"),
            ("verify.due", "2027-13-01\n"),
            ("verify.due", "2027-06-01\n"),
            ("verify.lead", "\n"),
            ("count", "many\n"),
            ("count", "2\n"),
            ("amounts, amount (Enter: done)", "mass\n"),
            ("amounts.mass", "12 g\n"),
            ("amounts.mass.basis", "weighed\n"),
            ("amounts, amount (Enter: done)", ".\n"),
            ("write it? y or n", "y\n"),
        ];
        let (code, out) = dialogue(&sandbox, &[], &answers);
        assert_eq!(code, 0, "{out}");
        for text in [
            "did you mean `part`?",
            "did you mean `front-bolt`?",
            "`hub` already exists",
            "this key is required",
            "did you mean `suspension`?",
            "did you mean `circle-time`?",
            "The system that it belongs to",
            "How many of them are in the car",
            "chain.yaml",
            "added front-bolt to chain.yaml",
        ] {
            assert!(out.contains(text), "{text} in {out}");
        }
        let after = read(&sandbox, "chain.yaml");
        assert!(after.starts_with(&before), "{after}");
        let file: serde_json::Value = serde_yaml::from_str(&after).unwrap();
        let bolt = &file["parts"]["front-bolt"];
        assert_eq!((&bolt["title"], &bolt["count"]), (&"Bolt: front".into(), &2.into()));
        assert_eq!(bolt["amounts"]["mass"], serde_json::json!({"value": "12 g", "basis": "weighed"}));
        assert_eq!(bolt["verify"]["due"], "2027-06-01");
        sandbox.tierod(&["check"]).ended(0);
    }

    #[test]
    fn only_what_is_missing_is_asked_for() {
        let sandbox = project();
        let (code, out) = dialogue(
            &sandbox,
            &["result", "gates", "value=5.1 s", "date=2027-03-01"],
            &[("of", "circle-time\n"), ("write it? y or n", "y\n")],
        );
        assert_eq!(code, 0, "{out}");
        assert!(read(&sandbox, "results.yaml").contains("of: circle-time"), "{out}");
    }

    /// What is wanted most comes first; the keys of a map are asked for after a `{`.
    #[test]
    fn the_simple_form_is_asked_for_first() {
        let sandbox = project();
        let answers = [("title", "\n"), ("value", "4.3 s ± 0.1 s\n"), ("outcome", ".\n"), ("write it? y or n", "y\n")];
        let start = [("kind", "result\n"), ("id", "gates\n"), ("of", "circle-time\n"), ("date", "2027-03-01\n")];
        let (code, out) = dialogue(&sandbox, &[], &[&start[..], &answers].concat());
        assert_eq!(code, 0, "{out}");
        assert!(out.contains("`{` asks for them"), "{out}");
        assert!(read(&sandbox, "results.yaml").contains("value: 4.3 s ± 0.1 s\n"), "{out}");

        sandbox.write("test/a.csv", "time [s]\n5.1\n");
        let from = [
            ("title", "\n"),
            ("value", "{\n"),
            ("value.from", "test/a.csv\n"),
            ("value.column", "time\n"),
            ("value.unit", ".\n"),
            ("outcome", ".\n"),
            ("write it? y or n", "y\n"),
        ];
        let start = [("kind", "result\n"), ("id", "more\n"), ("of", "circle-time\n"), ("date", "2027-03-02\n")];
        let (code, out) = dialogue(&sandbox, &[], &[&start[..], &from].concat());
        assert_eq!(code, 0, "{out}");
        assert!(read(&sandbox, "results.yaml").contains("from: test/a.csv"), "{out}");

        let event = [
            ("kind", "event\n"),
            ("id", "sprint\n"),
            ("title", "\n"),
            ("serves, id (Enter: done)", "\n"),
            ("plan", "\n"),
            ("most", "\n"),
            ("reads, name (Enter: done)", "\n"),
            ("score.use", "\n"),
            ("score.formula", "20 pts\n"),
            ("score.given", "\n"),
            ("score.no-finish", "\n"),
            ("chance", "90 %\n"),
            ("expect", ".\n"),
            ("write it? y or n", "y\n"),
        ];
        let (_, out) = dialogue(&sandbox, &[], &event);
        let text = read(&sandbox, "chain.yaml");
        assert!(text.contains("formula: 20 pts") && text.contains("chance: 90 %"), "{text}\n{out}");
    }

    #[test]
    fn a_dialogue_that_is_cancelled_writes_nothing() {
        let sandbox = project();
        let before = read(&sandbox, "chain.yaml");
        let start = [("kind", "part\n"), ("id", "bolt\n"), ("in", "suspension\n"), ("title", ".\n")];
        for (end, code) in [("\x04", Some(2)), ("n\n", Some(2)), ("\x03", None)] {
            let answers = [&start[..], &[("write it? y or n", end)]].concat();
            let (ended, out) = dialogue(&sandbox, &[], &answers);
            assert!(code.is_none_or(|code| ended == code) && ended != 0, "{ended} {out}");
            assert!(out.contains("bolt:"), "{out}");
        }
        let (ended, out) = dialogue(&sandbox, &[], &[("kind", "part\n"), ("id", "\x04")]);
        assert_eq!(ended, 2, "{out}");
        assert!(out.contains("cancelled") && out.contains("nothing was written"), "{out}");
        assert_eq!(read(&sandbox, "chain.yaml"), before);
        assert!(!sandbox.path().join("parts.yaml").exists());
    }
}
