//! Numbers that are read from evidence files, through the binary: what is wrong with a file, where a number comes from, and
//! what a changed file does.

use serde_json::Value;

use crate::support::Sandbox;

const SETTINGS: &str = "\
season: 2027
as-of: 2027-03-19
stages: {concept: 2026-10-31, design: 2027-01-31, build: 2027-04-30, test: 2027-06-20, contest: 2027-07-04}
";

const RUNS: &str = "run,time [s],driver\nvalid,4.35,first\nvalid,4.31,second\ninvalid,3.99,first\nvalid,4.33,first\n";

/// A target with a result that is read from `test/runs.csv`, and its limit.
fn records(limit: &str, value: &str) -> String {
    format!(
        "targets:\n  accel-time:\n    title: Time over 75 m\n    of: car\n    at-most: {limit}\nresults:\n  runs:\n    of: accel-time\n    \
         date: 2027-03-01\n    value: {value}\n"
    )
}

fn root(value: &str) -> Sandbox {
    let sandbox = Sandbox::new();
    sandbox.write("tierod.yaml", SETTINGS);
    sandbox.write("test/runs.csv", RUNS);
    sandbox.write("records.yaml", records("4.4 s", value));
    sandbox
}

fn repository(value: &str) -> Sandbox {
    let sandbox = Sandbox::repository();
    sandbox.write("tierod.yaml", SETTINGS);
    sandbox.write("test/runs.csv", RUNS);
    sandbox.write("records.yaml", records("4.4 s", value));
    sandbox
}

/// The findings of a check: `level record line: message`.
fn found(sandbox: &Sandbox, check: &str) -> Vec<String> {
    let json = sandbox.tierod(&["check", "--format", "json"]).json();
    let own = json["findings"].as_array().unwrap().iter().filter(|finding| finding["check"] == check);
    let text = |value: &Value| value.as_str().unwrap_or("").to_owned();
    own.map(|own| {
        format!("{} {} {}: {}", text(&own["level"]), text(&own["record"]), own["line"], text(&own["message"]))
    })
    .collect()
}

/// A value of `values`: the number and its uncertainty.
fn value(sandbox: &Sandbox, id: &str) -> (f64, f64) {
    let json = sandbox.tierod(&["values", "--format", "json"]).json();
    let all = json["values"].as_array().unwrap();
    let own = all.iter().find(|own| own["id"] == id).unwrap_or_else(|| panic!("{json:#}"));
    (own["value"].as_f64().unwrap(), own["uncertainty"].as_f64().unwrap_or(0.0))
}

const LOWEST: &str = "{from: test/runs.csv, column: time, take: lowest, where: {run: valid}, instrument: 0.01 s}";

/// All outputs show the number that the file gives, and `why` shows where it comes from.
#[test]
fn the_number_and_its_source_are_shown() {
    let sandbox = root(LOWEST);
    assert_eq!(value(&sandbox, "accel-time"), (4.31, 0.02));
    for check in ["no-evidence", "unreadable-table", "bad-value", "no-uncertainty", "differs-from-evidence"] {
        assert_eq!(found(&sandbox, check), [""; 0], "{check}: the file is the evidence of the result");
    }
    for id in ["accel-time", "runs"] {
        let why = sandbox.tierod(&["why", id]).ended(0).out;
        let expected = "4.310 s ± 0.020 s from test/runs.csv: lowest of `time`, run valid, 3 of 4 rows\n  s 0.02 s, \
                        u(instrument) 0.01 s, k 2\n";
        assert!(why.contains(expected), "{why}");
        let json = sandbox.tierod(&["why", id, "--format", "json"]).ended(0).json();
        let own = &json["readings"][0];
        assert_eq!(json["readings"].as_array().unwrap().len(), 1);
        for (key, expected) in [
            ("record", Value::from("runs")),
            ("key", "value".into()),
            ("file", "test/runs.csv".into()),
            ("column", "time".into()),
            ("take", "lowest".into()),
            ("rows", 3.into()),
            ("of", 4.into()),
            ("value", 4.31.into()),
            ("unit", "s".into()),
            ("uncertainty", 0.02.into()),
            ("instrument", 0.01.into()),
            ("coverage", 2.0.into()),
            ("of_mean", Value::Null),
            ("typed", Value::Null),
            ("problem", Value::Null),
        ] {
            assert_eq!(own[key], expected, "{key}: {own}");
        }
    }
    let audit = sandbox.tierod(&["audit", "--format", "json"]).json();
    let target = &audit["targets"][0];
    assert_eq!(target["evidence"], serde_json::json!(["test/runs.csv"]), "{target}");
    assert_eq!(target["result"]["value"], 4.31, "{target}");
    let mean = root("{from: test/runs.csv, column: time, take: mean, where: {run: valid}}");
    let why = mean.tierod(&["why", "runs"]).ended(0).out;
    assert!(why.contains("mean of `time`, run valid, 3 of 4 rows\n  s 0.02 s, u(mean) 0.0115 s, k 4.53\n"), "{why}");
}

/// Every fault is an error at its key, with what the file has. The result then closes nothing.
#[test]
fn what_is_wrong_with_the_file_is_an_error() {
    let of = |value: &str| found(&root(value), "unreadable-table");
    let start = "{from: test/runs.csv, column: time";
    for (value, expected) in [
        ("{from: test/run.csv, column: time}".to_owned(), "error runs 10: file missing or empty: `test/run.csv`"),
        ("{from: notes.txt, column: time}".to_owned(), "error runs 10: `notes.txt` is not the name of a CSV file"),
        ("{from: ../runs.csv, column: time}".to_owned(), "error runs 10: file missing or empty: `../runs.csv`"),
        (
            "{from: test/runs.csv, column: tme, take: lowest}".to_owned(),
            "error runs 10: test/runs.csv, line 1: the table has no column `tme`; the first line has `run`, `time`, `driver`",
        ),
        (
            "{from: test/runs.csv, take: lowest}".to_owned(),
            "error runs 10: test/runs.csv, the column with the readings is missing; the first line has `run`, `time`, `driver`",
        ),
        (
            "{from: test/runs.csv, column: driver, unit: s, take: lowest}".to_owned(),
            "error runs 10: test/runs.csv, line 2: `first` under `driver` is not a number",
        ),
        (format!("{start}}}"), "error runs 10: test/runs.csv: 4 rows, and `take` is missing"),
        (
            format!("{start}, take: lowest, where: {{run: good}}}}"),
            "error runs 10: test/runs.csv, no row has `run: good`; `run` has `valid`, `invalid`",
        ),
        (
            format!("{start}, take: lowest, where: {{state: good}}}}"),
            "error runs 10: test/runs.csv, line 1: the table has no column `state`; the first line has `run`, `time`, `driver`",
        ),
    ] {
        assert_eq!(of(&value), [expected], "{value}");
    }
    for (value, check, expected) in [
        (
            "{from: test/plain.csv, column: x, take: last}".to_owned(),
            "unit-mismatch",
            "error runs 10: the unit of `x` in test/plain.csv is missing",
        ),
        (
            format!("{start}, unit: ms, take: lowest}}"),
            "unit-mismatch",
            "error runs 10: `unit: ms`, but the first line of test/runs.csv has `s`",
        ),
        (
            format!("{start}, take: lowest, instrument: 0.01 kg}}"),
            "unit-mismatch",
            "error runs 10: the unit of the instrument's uncertainty `0.01 kg` does not match `s`",
        ),
        (format!("{start}, take: best}}"), "bad-value", "error runs 10: `best` cannot be taken"),
        (
            format!("{start}, take: 195 %}}"),
            "bad-value",
            "error runs 10: the percentile `195 %` is not from 0 % to 100 %",
        ),
        (format!("{start}, colunm: x}}"), "unknown-key", "error runs 10: unknown key `colunm`"),
        (
            "{from: test/runs.csv, take: count, unit: s}".to_owned(),
            "bad-value",
            "error runs 10: `take: count` gives a number of rows, which has no unit",
        ),
    ] {
        let sandbox = root(&value);
        sandbox.write("test/plain.csv", "x\n1\n");
        let own = found(&sandbox, check);
        assert!(own.len() == 1 && own[0].starts_with(expected), "{value}: {own:?}");
    }
    // Cells that are no numbers, on the line of the file.
    for (file, expected) in [
        ("run,time [s]\nvalid,4.3\n# a comment\nvalid,NaN\n", "line 4: `NaN` under `time` is not a number"),
        ("run,time [s]\nvalid,4.3\nvalid,inf\n", "line 3: `inf` under `time` is not a number"),
        ("run,time [s]\nvalid,\n", "line 2: the cell under `time` is empty"),
        ("run,time [s]\nvalid,4,3\n", "line 2: expected 2 cells, found 3"),
        ("run;time [s]\nvalid;4.3\n", "the table has no column `time`; the first line has `run;time`"),
        ("run,time [s],time [ms]\nvalid,4.3,4300\n", "line 1: 2 columns are named `time`"),
        ("run,time [s]\n", "no row has `run: valid`"),
        ("", "the table has no column `time`: it is empty"),
    ] {
        let sandbox = root(LOWEST);
        sandbox.write("test/runs.csv", file);
        let own = found(&sandbox, "unreadable-table");
        assert!(
            own.len() == 1 && own[0].starts_with("error runs 10: ") && own[0].contains(expected),
            "{file}: {own:?}"
        );
        let why = sandbox.tierod(&["why", "runs"]).ended(0).out;
        assert!(why.contains("not read from test/runs.csv: "), "{why}");
    }
    // A row that is not used may have anything in the column.
    let sandbox = root(LOWEST);
    sandbox.write("test/runs.csv", "run,time [s]\nvalid,4.3\naborted,-\n");
    assert_eq!(value(&sandbox, "accel-time").0, 4.3);
}

/// An amount that cannot be read is no amount: a total that lacks it is not shown as complete.
#[test]
fn an_amount_that_cannot_be_read_is_reported_under_the_total() {
    let sandbox = Sandbox::new();
    sandbox.write("tierod.yaml", SETTINGS);
    sandbox.write(
        "records.yaml",
        "systems: {body: {in: car}}\ntargets: {mass: {of: car, at-most: 9 kg, total: mass}}\nparts:\n  hub: {in: body, amounts: {mass: \
         {value: {from: scales.csv, column: mass, unit: kg}, basis: weighed}}}\n  rim: {in: body, amounts: {mass: 2 kg}}\n",
    );
    sandbox.write("scales.csv", "part,mass\nhub,0.5\n");
    assert_eq!(value(&sandbox, "mass").0, 2.5);
    let why = sandbox.tierod(&["why", "hub"]).ended(0).out;
    assert!(why.contains("mass: 0.5 kg from scales.csv: `mass`, 1 row\n"), "{why}");
    sandbox.write("scales.csv", "part,mass\nhub,half\n");
    assert_eq!(found(&sandbox, "unreadable-table").len(), 1);
    let budget = sandbox.tierod(&["budget", "mass"]);
    assert!(budget.out.contains("`half` under `mass` is not a number"), "{}", budget.out);
    assert_eq!(budget.code, 2, "{}", budget.out);
}

/// A number that was typed is used, and compared with the column that it names, to its last digit.
#[test]
fn a_typed_number_is_compared_with_its_column() {
    let typed = |typed: &str| {
        root(&format!("{{typed: {typed}, from: test/runs.csv, column: time, take: mean, where: {{run: valid}}}}"))
    };
    for (text, differs) in [("4.33 s", false), ("4.3 s", false), ("4330 ms", false), ("4.34 s", true), ("4.3 kg", true)]
    {
        let sandbox = typed(text);
        let own = found(&sandbox, "differs-from-evidence");
        assert_eq!(own.len(), usize::from(differs), "{text}: {own:?}");
    }
    let sandbox = typed("4.34 s ± 0.02 s");
    let own = found(&sandbox, "differs-from-evidence");
    let expected = "warning runs 10: runs: 4.34 s ± 0.02 s was typed, but test/runs.csv gives 4.330 s ± 0.052 s (mean of `time`, \
                    run valid, 3 of 4 rows)";
    assert_eq!(own, [expected]);
    assert_eq!(value(&sandbox, "accel-time"), (4.34, 0.02), "the typed number is used");
    let why = sandbox.tierod(&["why", "runs"]).ended(0).out;
    assert!(why.contains("4.34 s ± 0.02 s typed; 4.330 s ± 0.052 s from test/runs.csv"), "{why}");
}

/// A changed file is a changed result: in the history, in `delta`, and for the checks.
#[test]
fn a_changed_file_is_a_changed_result() {
    let sandbox = repository(LOWEST);
    sandbox.commit_on("2027-03-02", "runs");
    sandbox.write("other.csv", "x\n1\n");
    sandbox.commit_on("2027-03-03", "another table");
    assert_eq!(found(&sandbox, "rewritten-result"), [""; 0]);
    sandbox.write("test/runs.csv", RUNS.replace("4.31", "4.21"));
    let changed = "warning runs 10: the value of runs changed from `4.310 s ± 0.020 s` (2027-03-02, ";
    let own = found(&sandbox, "rewritten-result");
    assert!(own.len() == 1 && own[0].starts_with(changed), "not committed: {own:?}");
    assert!(own[0].contains("to `4.210 s ± 0.020 s` (2027-03-19, not committed)"), "{own:?}");
    sandbox.commit_on("2027-03-05", "later runs");
    for _ in 0..2 {
        // The second time from the cache.
        let own = found(&sandbox, "rewritten-result");
        assert!(own.len() == 1 && own[0].starts_with(changed) && own[0].contains("(2027-03-05, "), "{own:?}");
    }
    let story = sandbox.tierod(&["history", "runs", "--format", "json"]).json();
    let values: Vec<(&str, &str)> = story["changes"]
        .as_array()
        .unwrap()
        .iter()
        .filter(|change| change["what"] == "value")
        .map(|change| (change["day"].as_str().unwrap(), change["after"].as_str().unwrap_or("-")))
        .collect();
    assert_eq!(values, [("2027-03-02", "4.310 s ± 0.020 s"), ("2027-03-05", "4.210 s ± 0.020 s")]);
    let delta = sandbox.tierod(&["delta", "HEAD~1", "HEAD", "--format", "json"]).json();
    let text = delta.to_string();
    assert!(text.contains("4.310 s ± 0.020 s") && text.contains("4.210 s ± 0.020 s"), "{delta:#}");
    let target = delta["values"].as_array().unwrap().iter().find(|own| own["id"] == "accel-time");
    let target = target.unwrap_or_else(|| panic!("{delta:#}"));
    assert_eq!((target["before"].as_f64(), target["after"].as_f64()), (Some(4.31), Some(4.21)), "{target}");
    // A note explains it, as for a number that is typed.
    let noted = format!("{}    notes: The first gate was moved by 10 cm.\n", records("4.4 s", LOWEST));
    sandbox.write("records.yaml", noted);
    assert_eq!(found(&sandbox, "rewritten-result"), [""; 0]);
}

/// A file that changes without a change of the number is no changed result; nor is a number that was typed and is read now.
#[test]
fn the_number_counts_and_not_the_bytes() {
    let sandbox = repository("4.31 s");
    sandbox.commit_on("2027-03-02", "typed");
    sandbox.write(
        "records.yaml",
        records("4.4 s", "{from: test/runs.csv, column: time, take: lowest, where: {run: valid}}"),
    );
    sandbox.commit_on("2027-03-05", "read");
    sandbox.write("test/runs.csv", format!("{RUNS}valid,4.40,second\n"));
    sandbox.commit_on("2027-03-06", "another run");
    sandbox.git(&["mv", "test/runs.csv", "test/all.csv"]);
    sandbox.write(
        "records.yaml",
        records("4.4 s", "{from: test/all.csv, column: time, take: lowest, where: {run: valid}}"),
    );
    sandbox.commit_on("2027-03-07", "another name");
    assert_eq!(found(&sandbox, "rewritten-result"), [""; 0]);
    let story = sandbox.tierod(&["history", "runs", "--format", "json"]).json();
    let values = story["changes"].as_array().unwrap().iter().filter(|change| change["what"] == "value").count();
    assert_eq!(values, 1, "{story:#}");
    // With CRLF in the working tree the file is the same.
    sandbox.write("test/all.csv", format!("{RUNS}valid,4.40,second\n").replace('\n', "\r\n"));
    let story = sandbox.tierod(&["history", "runs", "--format", "json"]).json();
    assert!(!story.to_string().contains("not committed"), "{story:#}");
    // The number itself is changed by hand.
    sandbox.write("records.yaml", records("4.4 s", "4.25 s"));
    let own = found(&sandbox, "rewritten-result");
    assert!(own.len() == 1 && own[0].contains("from `4.31 s`") && own[0].contains("to `4.25 s`"), "{own:?}");
}

/// On a merged branch the file counts as it was there.
#[test]
fn a_file_that_changes_on_a_branch_is_followed() {
    let sandbox = repository(LOWEST);
    sandbox.commit_on("2027-03-02", "runs");
    sandbox.git(&["checkout", "-q", "-b", "runs"]);
    sandbox.write("test/runs.csv", RUNS.replace("4.31", "4.21"));
    sandbox.commit_on("2027-03-04", "changed on the branch");
    sandbox.git(&["checkout", "-q", "-"]);
    sandbox.write("other.csv", "x\n1\n");
    sandbox.commit_on("2027-03-05", "main goes on");
    sandbox.git_on("2027-03-08", &["merge", "-q", "--no-ff", "-m", "merge", "runs"]);
    let own = found(&sandbox, "rewritten-result");
    assert!(own.len() == 1 && own[0].contains("from `4.310 s ± 0.020 s` (2027-03-02"), "{own:?}");
    assert!(own[0].contains("to `4.210 s ± 0.020 s` (2027-03-0"), "{own:?}");
}

/// A limit that is set after the file has the runs is set after the result; a part whose amount is read changes with its file.
#[test]
fn the_other_checks_of_the_history_see_the_file() {
    let sandbox = repository(LOWEST);
    sandbox.write("records.yaml", records("4.3 s", LOWEST));
    sandbox.commit_on("2027-03-02", "runs");
    sandbox.write("records.yaml", records("4.4 s", LOWEST));
    sandbox.commit_on("2027-03-09", "a looser limit");
    let own = found(&sandbox, "target-after-result");
    assert!(own.len() == 1 && own[0].contains("after result runs of 2027-03-01"), "{own:?}");

    let sandbox = Sandbox::repository();
    sandbox.write("tierod.yaml", SETTINGS);
    let part = "systems: {body: {in: car}}\nparts:\n  hub: {in: body, amounts: {mass: {value: {from: mass.csv, column: mass, unit: kg}}}}\n";
    sandbox.write("parts.yaml", part);
    sandbox.write("mass.csv", "mass\n0.5\n");
    sandbox.commit_on("2027-02-01", "a part");
    sandbox.write(
        "results.yaml",
        "results:\n  pulled: {of: hub, outcome: pass, date: 2027-02-10, evidence: [parts.yaml]}\n",
    );
    sandbox.commit_on("2027-02-11", "a result");
    assert_eq!(found(&sandbox, "stale-result"), [""; 0]);
    sandbox.write("mass.csv", "mass\n0.4\n");
    sandbox.commit_on("2027-03-01", "a lighter part");
    let own = found(&sandbox, "stale-result");
    assert!(own.len() == 1 && own[0].contains("0.5 kg") && own[0].contains("0.4 kg"), "{own:?}");
}

/// The index and a commit have their own file.
#[test]
fn each_state_has_its_own_file() {
    let sandbox = repository(LOWEST);
    sandbox.commit_on("2027-03-02", "runs");
    sandbox.write("test/runs.csv", RUNS.replace("4.31", "4.21"));
    sandbox.git(&["add", "."]);
    sandbox.write("test/runs.csv", RUNS.replace("4.31", "4.11"));
    let shown = |args: &[&str]| sandbox.tierod(&[&["why", "runs"], args].concat()).ended(0).out;
    assert!(shown(&[]).contains("4.110 s"), "{}", shown(&[]));
    assert!(shown(&["--rev", "HEAD"]).contains("4.310 s"), "{}", shown(&["--rev", "HEAD"]));
    let staged = sandbox.tierod(&["check", "--staged", "--format", "json"]).json().to_string();
    assert!(staged.contains("4.210 s"), "{staged}");
    // A file that is not staged is missing in the index.
    sandbox.git(&["rm", "-q", "-f", "--cached", "test/runs.csv"]);
    let staged = sandbox.tierod(&["check", "--staged", "--format", "json"]).json().to_string();
    assert!(staged.contains("file missing or empty: `test/runs.csv`"), "{staged}");
}

/// A file that is hostile is an error: a link, a pipe, a huge file, control characters.
#[test]
#[cfg(unix)]
fn hostile_files_are_errors() {
    let sandbox = root(LOWEST);
    std::fs::remove_file(sandbox.path_of("test/runs.csv")).unwrap();
    std::os::unix::fs::symlink("/etc/passwd", sandbox.path_of("test/runs.csv")).unwrap();
    let own = found(&sandbox, "unreadable-table");
    assert!(own.len() == 1 && own[0].contains("symbolic link"), "{own:?}");
    std::fs::remove_file(sandbox.path_of("test/runs.csv")).unwrap();
    sandbox.write("test/runs.csv", "run,time [s]\nvalid,\u{1b}[31m4\n");
    let out = sandbox.tierod(&["why", "runs"]).out;
    assert!(!out.contains('\u{1b}') && out.contains("is not a number"), "{out}");
    sandbox.write("test/runs.csv", format!("run,time [s]\n{}", "valid,1\n".repeat(100_001)));
    let own = found(&sandbox, "unreadable-table");
    assert!(own.len() == 1 && own[0].contains("more than 100000 rows"), "{own:?}");
    // Each number looks at all rows: what all of them look at together is bounded. The file is read once.
    let rows = "valid,1,xxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxx\n".repeat(90_000);
    sandbox.write("test/runs.csv", format!("run,time [s],x\n{rows}"));
    let part = |at: usize| {
        format!("  p{at}: {{in: body, amounts: {{mass: {{value: {{from: test/runs.csv, take: count}}}}}}}}\n")
    };
    let parts = |number: usize| {
        let all: String = (0..number).map(part).collect();
        sandbox.write("parts.yaml", format!("systems: {{body: {{in: car}}}}\nparts:\n{all}"));
    };
    parts(60);
    assert!(found(&sandbox, "unreadable-table").is_empty());
    parts(150);
    let own = found(&sandbox, "unreadable-table");
    // The record of the root needs them, too.
    assert!((38..42).contains(&own.len()), "{} {:?}", own.len(), own.first());
    assert!(own.iter().all(|message| message.contains("need more than 10 million rows")), "{:?}", own.first());
    std::fs::remove_file(sandbox.path_of("parts.yaml")).unwrap();
    sandbox.write("test/runs.csv", format!("run,time [s]\n{}", "x".repeat(9 << 20)));
    assert_eq!(found(&sandbox, "unreadable-table").len(), 1);
}

/// The form is in the docs of the keys.
#[test]
fn explain_shows_the_form() {
    let sandbox = Sandbox::new();
    let out = sandbox.tierod(&["explain", "result"]).ended(0).out;
    assert!(out.contains("take"), "{out}");
    for key in ["take", "instrument", "where", "column"] {
        let out = sandbox.tierod(&["explain", key]).ended(0).out;
        assert!(out.contains("result") && out.contains("part") && out.contains("analysis"), "{key}: {out}");
    }
}
