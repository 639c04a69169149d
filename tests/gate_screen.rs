//! What `check` shows: filters, what is due, counts, and the order of findings; and what the audit says about loosened
//! limits and risks.

use serde_json::Value;

use crate::support::{Answer, CHAIN, SETTINGS, Sandbox};

/// A project with findings of two systems with their own leads: each part without a verification, and without a reason.
fn two_systems() -> Sandbox {
    let sandbox = Sandbox::repository();
    sandbox.small_root("");
    sandbox.write("brakes/brakes.yaml", BRAKES);
    sandbox.write("aero/wing.yaml", WING);
    sandbox
}

pub(crate) const BRAKES: &str = "\
systems:
  brakes: {in: car, lead: brakes lead}
  pedals: {in: brakes}
parts:
  caliper: {in: brakes, serves: {circle-time: It slows the wheel down.}}
  pedal: {in: pedals, serves: {circle-time: It is what the foot presses.}}
";

pub(crate) const WING: &str = "\
systems:
  aero: {in: car, lead: aero lead}
parts:
  flap: {in: aero, serves: {circle-time: todo}}
  hook: {in: aero, serves: {nowhere: It holds the flap in its place.}}
";

/// The records with findings, each as `check record`, in the order of the JSON answer.
#[track_caller]
fn found(answer: &Answer) -> Vec<String> {
    let word = |value: &Value| value.as_str().unwrap_or("-").to_owned();
    let json = answer.json();
    let findings = json["findings"].as_array().unwrap();
    let mut found: Vec<String> =
        findings.iter().map(|one| format!("{} {}", word(&one["check"]), word(&one["record"]))).collect();
    found.sort();
    found
}

/// The JSON answer of `check` with more arguments.
pub(crate) fn check(sandbox: &Sandbox, args: &[&str]) -> Answer {
    sandbox.tierod(&[&["check", "--format", "json"], args].concat())
}

#[test]
fn filters_limit_the_report_and_the_status_follows() {
    let sandbox = two_systems();
    let all = ["no-reason flap", "no-verification caliper", "no-verification flap", "no-verification hook"];
    let all = [&all[..], &["no-verification pedal", "unknown-reference hook"]].concat();
    let whole = check(&sandbox, &[]).ended(1);
    assert_eq!(found(&whole), all);
    assert_eq!(whole.json()["filters"], serde_json::json!({}));
    for (args, expected, code, filters) in [
        // The lead of a part is that of its system, or of the system around it.
        (
            &["--lead", "Brakes lead"][..],
            &["no-verification caliper", "no-verification pedal"][..],
            0,
            r#"{"lead":"Brakes lead"}"#,
        ),
        (&["--system", "brakes"], &["no-verification caliper", "no-verification pedal"], 0, r#"{"system":"brakes"}"#),
        (&["--system", "pedals"], &["no-verification pedal"], 0, r#"{"system":"pedals"}"#),
        (&["--only", "no-reason"], &["no-reason flap"], 0, r#"{"only":["no-reason"]}"#),
        (
            &["--only", "no-reason", "--only", "unknown-reference"],
            &["no-reason flap", "unknown-reference hook"],
            1,
            r#"{"only":["no-reason","unknown-reference"]}"#,
        ),
        (&["--level", "error"], &["unknown-reference hook"], 1, r#"{"level":"error"}"#),
        (&["--level", "error", "--system", "brakes"], &[], 0, r#"{"system":"brakes","level":"error"}"#),
        (
            &["aero/wing.yaml", "--level", "error"],
            &["unknown-reference hook"],
            1,
            r#"{"path":"aero/wing.yaml","level":"error"}"#,
        ),
    ] {
        let answer = check(&sandbox, args).ended(code);
        assert_eq!(found(&answer), expected, "{args:?}");
        let json = answer.json();
        assert_eq!(json["filters"].to_string(), filters);
        assert_eq!(json["summary"]["unfiltered"], 6);
        let counts: u64 =
            ["error", "warning", "note"].iter().map(|level| json["summary"][level].as_u64().unwrap()).sum();
        assert_eq!(counts, expected.len() as u64, "{args:?}");
    }
    // Of the next commit: what it adds, and the errors among it that would stop it.
    sandbox.git(&["add", "."]);
    assert_eq!(found(&check(&sandbox, &["--staged", "--system", "brakes"]).ended(0)).len(), 2);
    assert_eq!(found(&check(&sandbox, &["--staged", "--level", "error"]).ended(1)), ["unknown-reference hook"]);
    // The other formats are filtered, too.
    let lines = sandbox.tierod(&["check", "--format", "lines", "--only", "no-reason"]).ended(0).out;
    assert!(lines.lines().count() == 1 && lines.ends_with("[no-reason]\n"), "{lines}");
    let text = sandbox.tierod(&["check", "--lead", "aero lead", "--level", "warning"]).ended(1).out;
    assert!(text.contains("\n4 of 6 findings shown (lead: aero lead; level: warning or above)\n"), "{text}");
}

#[test]
fn a_name_that_does_not_exist_is_an_error_with_a_suggestion() {
    let sandbox = two_systems();
    for (args, message, help) in [
        (["--lead", "brake lead"], "unknown lead `brake lead`", "did you mean `brakes lead`?"),
        (["--lead", "treasurer"], "unknown lead `treasurer`", "use aero lead, brakes lead, "),
        (["--system", "brake"], "unknown system `brake`", "did you mean `brakes`?"),
        (["--system", "flap"], "`flap` is a part, not a system", "`tierod why flap`"),
        (["--only", "no-reasons"], "unknown check `no-reasons`", "did you mean `no-reason`?"),
        (["--only", "open-loop"], "`open-loop` is now `no-action`", "use `--only no-action`"),
        (["--level", "eror"], "invalid value 'eror'", "'error'"),
        (["--due", "2027-01-01"], "2027-01-01 is before 2027-03-19", "`--on`"),
    ] {
        let answer = check(&sandbox, &args).ended(2);
        assert!(answer.err.contains(message) && answer.err.contains(help), "{args:?}: {}", answer.err);
    }
}

/// A path within the project root limits the report; the root itself and what is around it do not.
#[test]
fn a_file_or_a_folder_limits_the_report() {
    let sandbox = Sandbox::repository();
    sandbox.small_root("car/");
    sandbox.write("car/brakes/brakes.yaml", BRAKES);
    sandbox.write("car/aero/wing.yaml", WING);
    sandbox.write("car/notes/plan.txt", "x");
    sandbox.commit_on("2027-03-01", "Add records");
    let brakes = ["no-verification caliper", "no-verification pedal"];
    for state in [&[][..], &["--staged", "--all"], &["--rev", "HEAD"]] {
        let run = |path: &str| check(&sandbox, &[state, &[path]].concat());
        assert_eq!(found(&run("car/brakes/brakes.yaml").ended(0)), brakes, "{state:?}");
        assert_eq!(found(&run("car/brakes").ended(0)), brakes, "{state:?}");
        assert_eq!(found(&run("./car/aero/../brakes/").ended(0)), brakes, "{state:?}");
        assert_eq!(found(&run("car").ended(1)).len(), 6, "{state:?}");
        let within = |folder: &str, args: &[&str]| {
            sandbox.tierod_in(&sandbox.path_of(folder), &[&["check", "--format", "json"], state, args].concat())
        };
        assert_eq!(found(&within("car/brakes", &[]).ended(1)).len(), 6, "without a path: all of the project");
        assert_eq!(found(&within("car/brakes", &["."]).ended(0)), brakes, "{state:?}");
        for wrong in ["car/brakes/nothing.yaml", "car/notes", "car/notes/plan.txt"] {
            let answer = run(wrong).ended(2);
            assert!(answer.err.contains("no record file at") || answer.err.contains("cannot open"), "{}", answer.err);
        }
    }
    // The only project below a folder, in the states in which that is looked for.
    assert_eq!(found(&check(&sandbox, &["--rev", "HEAD", "."]).ended(1)).len(), 6);
}

pub(crate) const DATED: &str = "\
targets:
  grip:
    of: car
    at-least: 1.5
    estimate: 1.6 ± 0.05
    lead: dynamics lead
    serves: {skidpad: It is what holds the car.}
    verify: {by: test, with: skidpad, due: 2027-03-29}
parts:
  arm: {in: suspension, serves: {grip: It holds the hub.}}
waivers:
  later: {check: no-verification, of: arm, until: 2027-04-02, agreed-by: team lead, reason: The rig is lent out.}
";

#[test]
fn due_shows_what_a_date_brings() {
    let sandbox = Sandbox::repository();
    sandbox.small_root("");
    sandbox.write("dated.yaml", DATED);
    assert_eq!(found(&check(&sandbox, &[]).ended(0)), [""; 0]);
    assert_eq!(found(&check(&sandbox, &["--due", "2027-03-28"]).ended(0)), [""; 0]);
    // The last day counts, and the message is for today.
    let due = check(&sandbox, &["--due", "2027-03-29"]).ended(0);
    assert_eq!(found(&due), ["verification-overdue grip"]);
    assert_eq!(due.json()["findings"][0]["message"], "verification of grip is due on 2027-03-29, in 10 days");
    let due = check(&sandbox, &["--due", "2027-04-02"]).ended(0);
    assert_eq!(found(&due), ["expired-waiver later", "verification-overdue grip"]);
    let ends = due.json()["findings"].to_string();
    assert!(ends.contains("the waiver for no-verification on arm ends on 2027-04-02"), "{ends}");
    // A warning of the build stage becomes an error in the test stage; a note of then is not due.
    let due = check(&sandbox, &["--due", "2027-05-01"]).ended(1);
    assert_eq!(found(&due), ["expired-waiver later", "no-verification arm", "verification-overdue grip"]);
    let json = due.json();
    assert_eq!((&json["filters"]["due"], &json["stage"]), (&Value::from("2027-05-01"), &Value::from("build")));
    assert!(json["summary"]["unfiltered"].as_u64().unwrap() >= 3);
    let text = sandbox.tierod(&["check", "--due", "2027-05-01", "--system", "suspension"]).ended(1).out;
    assert!(text.contains("\n1 of ") && text.contains("(system: suspension; due: until 2027-05-01)\n"), "{text}");
}

/// The day after the last one of a stage belongs to the next stage, in which more is an error.
#[test]
fn due_until_the_last_day_of_a_stage_is_in_that_stage() {
    let sandbox = Sandbox::repository();
    sandbox.small_root("");
    sandbox.write("dated.yaml", DATED);
    let due = check(&sandbox, &["--due", "2027-04-30"]).ended(0);
    assert_eq!(found(&due), ["expired-waiver later", "verification-overdue grip"]);
}

/// Notes, warnings and errors of one check each: `notes` parts with a margin, `warnings` without a verification.
fn many(parts: usize) -> Sandbox {
    let sandbox = Sandbox::repository();
    sandbox.small_root("");
    let part = |number: usize| {
        format!("  part-{number:02}: {{in: suspension, serves: {{circle-time: It is number {number} of all.}}}}\n")
    };
    let parts: String = (1..=parts).map(part).collect();
    sandbox
        .write("parts.yaml", format!("parts:\n{parts}  stray: {{in: suspension, serves: {{nowhere: It is lost.}}}}\n"));
    sandbox.write("margin.yaml", MARGIN);
    sandbox
}

const MARGIN: &str = "\
targets:
  wheelbase:
    of: car
    at-least: 1525 mm
    estimate: 1700 mm
    serves: {skidpad: The rules ask for it.}
    verify: {by: inspection, with: tape, due: 2027-06-01}
parts:
  spacer:
    in: suspension
    serves: {wheelbase: It moves the axle.}
    verify: {by: inspection, with: tape, due: 2027-06-01}
";

#[test]
fn a_summary_is_one_line_per_check() {
    let sandbox = many(12);
    let out = sandbox.tierod(&["check", "--summary"]).ended(1).out;
    let (counts, rest) = out.split_once("\n\n").unwrap();
    assert_eq!(
        counts.lines().map(|line| line.split_whitespace().collect::<Vec<_>>().join(" ")).collect::<Vec<_>>(),
        ["note 1 no-lead", "warning 13 no-verification", "error 1 unknown-reference"]
    );
    assert!(rest.contains("\n1 error   13 warnings   1 note   0 waived\n"), "{rest}");
    let json = check(&sandbox, &[]).ended(1).json();
    assert_eq!(
        json["summary"]["checks"].to_string(),
        r#"[{"check":"no-lead","level":"note","count":1},{"check":"no-verification","level":"warning","count":13},{"check":"unknown-reference","level":"error","count":1}]"#
    );
    let refused = sandbox.tierod(&["check", "--summary", "--format", "json"]).ended(2);
    assert!(refused.err.contains("`--summary` is for the format `terminal`"), "{}", refused.err);
}

/// Level and check of each finding in a text, and the lines that only count.
fn headings(out: &str) -> Vec<String> {
    let words = |line: &str| line.split_whitespace().map(str::to_owned).collect::<Vec<_>>();
    let of_line = |line: &str| {
        let words = words(line);
        let is_finding = ["note", "warning", "error"].contains(&words.first()?.as_str()) && words.len() == 3;
        is_finding
            .then(|| format!("{} {}", words[0], words[2]))
            .or_else(|| line.trim().starts_with("and ").then(|| line.trim().to_owned()))
    };
    out.lines().filter_map(of_line).collect()
}

#[test]
fn in_a_pipe_everything_is_printed_and_the_worst_is_last() {
    let out = many(12).tierod(&["check"]).ended(1).out;
    let expected = [&["note no-lead"][..], &["warning no-verification"; 13], &["error unknown-reference"]].concat();
    assert_eq!(headings(&out), expected);
    let after = out.split("unknown-reference").nth(1).unwrap();
    assert!(after.lines().count() < 12 && after.contains("1 error   13 warnings   1 note"), "{after}");
}

#[cfg(unix)]
mod on_a_terminal {
    use std::io::Read as _;
    use std::os::fd::OwnedFd;
    use std::process::Stdio;

    use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
    use rustix::termios::{Winsize, tcsetwinsize};

    use super::*;

    /// Runs tierod with a terminal of 100 columns as stdout and stderr: the exit status, and what the terminal shows.
    fn run(sandbox: &Sandbox, args: &[&str]) -> (i32, String) {
        let controller = openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY).unwrap();
        grantpt(&controller).unwrap();
        unlockpt(&controller).unwrap();
        let name = ptsname(&controller, Vec::new()).unwrap();
        let terminal = std::fs::File::options().read(true).write(true).open(name.to_str().unwrap()).unwrap();
        tcsetwinsize(&terminal, Winsize { ws_row: 40, ws_col: 100, ws_xpixel: 0, ws_ypixel: 0 }).unwrap();
        let terminal = OwnedFd::from(terminal);
        let mut command = sandbox.command(env!("CARGO_BIN_EXE_tierod"), &sandbox.path());
        command.args(args).env("NO_COLOR", "1");
        command.stdout(Stdio::from(terminal.try_clone().unwrap())).stderr(Stdio::from(terminal));
        let mut child = command.spawn().unwrap();
        drop(command);
        let mut shown = Vec::new();
        let mut part = [0; 4096];
        let mut controller = std::fs::File::from(controller);
        // The end is an error on Linux, and no more bytes elsewhere.
        while let Ok(length @ 1..) = controller.read(&mut part) {
            shown.extend_from_slice(&part[..length]);
        }
        let code = child.wait().unwrap().code().unwrap();
        (code, String::from_utf8(shown).unwrap().replace("\r\n", "\n"))
    }

    #[test]
    fn more_than_ten_findings_of_a_check_are_counted() {
        let sandbox = many(30);
        let (code, out) = run(&sandbox, &["check", "--lead", "suspension lead"]);
        assert_eq!(code, 1, "what is counted counts\n{out}");
        let more = "and 21 more: tierod check --lead 'suspension lead' --only no-verification";
        let expected = [&["warning no-verification"; 10][..], &[more, "error unknown-reference"]].concat();
        assert_eq!(headings(&out), expected, "{out}");
        // The command that is shown prints all of them, also on a terminal.
        let (_, out) = run(&sandbox, &["check", "--lead", "suspension lead", "--only", "no-verification"]);
        assert_eq!(headings(&out), ["warning no-verification"; 31]);
        // Ten are not too many.
        let (_, out) = run(&many(9), &["check"]);
        assert_eq!(headings(&out).len(), 12, "{out}");
        // Other formats are complete.
        let (_, out) = run(&sandbox, &["check", "--format", "lines"]);
        assert_eq!(out.lines().count(), 33, "{out}");
    }

    #[test]
    fn errors_are_broken_at_eighty_columns() {
        let sandbox = two_systems();
        sandbox.commit_on("2027-03-01", "Add records");
        let args = ["check", "--rev", "no-such-branch-of-the-repository-whose-name-is-long"];
        let (code, out) = run(&sandbox, &args);
        assert_eq!(code, 2);
        assert!(out.lines().count() > 3 && out.lines().all(|line| line.chars().count() <= 80), "{out}");
        assert_eq!(sandbox.tierod(&args).ended(2).err.lines().count(), 3, "not in a pipe");
    }
}

#[test]
fn delta_says_which_date_it_uses() {
    let sandbox = Sandbox::repository();
    sandbox.write("tierod.yaml", SETTINGS.replace("as-of: 2027-03-19\n", ""));
    sandbox.write("chain.yaml", CHAIN);
    sandbox.commit_on("2026-11-15", "Start");
    sandbox.write("brakes.yaml", BRAKES);
    sandbox.commit_on("2027-02-03", "Add the brakes");
    let out = sandbox.tierod(&["delta", "HEAD~1", "HEAD"]).ended(0).out;
    let heading = out.lines().next().unwrap();
    assert!(heading.ends_with("; both for 3 February 2027, build stage"), "{heading}");
    let on = ["delta", "HEAD~1", "HEAD", "--on", "2026-12-01"];
    let out = sandbox.tierod(&on).ended(0).out;
    assert!(out.lines().next().unwrap().ends_with("; both for 1 December 2026, design stage"), "{out}");
    assert_eq!(sandbox.tierod(&[&on[..], &["--format", "json"]].concat()).json()["day"], "2026-12-01");
    let markdown = sandbox.tierod(&[&on[..], &["--format", "markdown"]].concat()).ended(0).out;
    assert!(markdown.contains(", both for 2026-12-01"), "{markdown}");
}

/// Targets whose limits change while they are at risk, before and after they are measured.
const SEASON: &str = "\
targets:
  mass-a: {of: car, at-most: 200 kg, estimate: 201 kg, serves: {skidpad: Less of it turns faster.}}
  mass-b: {of: car, at-most: 200 kg, estimate: 201 kg, serves: {skidpad: Less of it turns faster.}}
  mass-c: {of: car, at-most: 200 kg, estimate: 201 kg, serves: {skidpad: Less of it turns faster.}}
  mass-d: {of: car, at-most: 200 kg, estimate: 201 kg, serves: {skidpad: Less of it turns faster.}}
  mass-e: {of: car, at-most: 200 kg, estimate: 201 kg, serves: {skidpad: Less of it turns faster.}}
";

/// The same records after the limits were changed, and results were added.
fn season() -> Sandbox {
    let sandbox = Sandbox::repository();
    sandbox.small_root("");
    sandbox.write("masses.yaml", SEASON);
    sandbox.commit_on("2026-11-01", "Set limits");
    // a and b are loosened with a revision, c without one.
    let mut loosened = SEASON.to_owned();
    for id in ["mass-a", "mass-b", "mass-c"] {
        loosened = loosened
            .replace(&format!("{id}: {{of: car, at-most: 200 kg"), &format!("{id}: {{of: car, at-most: 205 kg"));
    }
    sandbox.write("masses.yaml", loosened);
    let revision = |id: &str| {
        format!(
            "  {id}-later: {{of: {id}, from: 200 kg, to: 205 kg, date: 2026-12-01, agreed-by: team lead, reason: The frame is heavier.}}\n"
        )
    };
    sandbox.write("revisions.yaml", format!("revisions:\n{}{}", revision("mass-a"), revision("mass-b")));
    sandbox.commit_on("2026-12-01", "Loosen limits");
    let result = |id: &str, value: &str| {
        format!("  {id}-scales: {{of: {id}, value: {value}, date: 2027-02-01, evidence: [chain.yaml]}}\n")
    };
    let results = [("mass-a", "198.4 kg"), ("mass-b", "203 kg"), ("mass-d", "202 kg")];
    sandbox.write("results.yaml", format!("results:\n{}", results.map(|(id, value)| result(id, value)).concat()));
    sandbox.commit_on("2027-02-01", "Weigh");
    sandbox
}

#[test]
fn the_audit_says_whether_the_first_limit_would_have_been_met() {
    let sandbox = season();
    let out = sandbox.tierod(&["audit"]).out;
    assert!(out.contains("the first limit, before it was loosened, is met too: mass-a (at most 200 kg)\n"), "{out}");
    assert!(out.contains("met only by the loosened limit: mass-b (at most 200 kg)\n"), "{out}");
    let json = sandbox.tierod(&["audit", "--format", "json"]).json();
    let targets = json["targets"].as_array().unwrap().iter();
    let met: Vec<String> =
        targets.map(|one| format!("{} {}", one["id"].as_str().unwrap(), one["first_limit_met"])).collect();
    assert_eq!(met, ["circle-time null", "mass-a true", "mass-b false", "mass-c null", "mass-d null", "mass-e null"]);
    let markdown = sandbox.tierod(&["audit", "--format", "markdown"]).out;
    assert!(markdown.contains("`mass-a` meets its first limit, too: at most 200 kg"), "{markdown}");
    assert!(markdown.contains("`mass-b` does not meet its first limit: at most 200 kg"), "{markdown}");
    let page = sandbox.tierod(&["audit", "--format", "html"]).out;
    assert_eq!(page.matches("the first limit is met, too").count(), 1);
}

/// A limit that changed without a revision ended the risk, and a missed target was not just measured.
#[test]
fn periods_at_risk_end_as_they_ended() {
    let sandbox = season();
    let json = sandbox.tierod(&["audit", "--format", "json"]).json();
    let periods = json["at_risk_periods"].as_array().unwrap().iter();
    let ends: Vec<String> = periods.map(|one| format!("{} {}", one["target"].as_str().unwrap(), one["end"])).collect();
    assert_eq!(
        ends,
        [
            r#"mass-a "revised""#,
            r#"mass-b "revised""#,
            r#"mass-c "limit changed without a revision""#,
            r#"mass-d "missed""#,
            "mass-e null"
        ]
    );
    let out = sandbox.tierod(&["audit"]).out;
    let text = "at-risk periods: 2 resolved, 1 missed, 1 limit changed without a revision, 1 unresolved\n";
    assert!(out.contains(text), "{out}");
    assert!(out.contains("missed on 2027-02-01") && !out.contains("measured on"), "{out}");
    assert!(out.contains("-  still at risk: mass-e\n"), "{out}");
    assert!(out.contains("-  limit changed while at risk; add the revision: mass-c\n"), "{out}");
}

#[test]
fn points_that_were_scored_are_called_scored() {
    let sandbox = Sandbox::repository();
    sandbox.small_root("");
    let second = "events:\n  autocross: {plan: 60 pts, expect: 55 pts, lead: dynamics lead, serves: {top-ten: It is driven anyway.}}\n";
    sandbox.write("second.yaml", second);
    let chain = CHAIN.replace("    plan: 50 pts\n", "    plan: 50 pts\n    expect: 45 pts\n");
    sandbox.write("chain.yaml", chain);
    let heads = |sandbox: &Sandbox| sandbox.tierod(&["points"]).ended(0).out.lines().nth(1).unwrap().to_owned();
    assert!(heads(&sandbox).contains("predicted"), "{}", heads(&sandbox));
    let result =
        |id: &str| format!("  {id}-score: {{of: {id}, value: 41 pts, date: 2027-03-01, evidence: [chain.yaml]}}\n");
    sandbox.write("results.yaml", format!("results:\n{}", result("skidpad")));
    let out = sandbox.tierod(&["points"]).ended(0).out;
    assert!(!heads(&sandbox).contains("predicted") && heads(&sandbox).contains("points are"), "{out}");
    let line = |id: &str| out.lines().find(|line| line.starts_with(id)).unwrap().to_owned();
    assert!(line("skidpad").ends_with("scored") && line("autocross").ends_with("predicted"), "{out}");
    sandbox.write("results.yaml", format!("results:\n{}{}", result("skidpad"), result("autocross")));
    assert!(heads(&sandbox).contains("scored") && !heads(&sandbox).contains("predicted"), "{}", heads(&sandbox));
    let json = sandbox.tierod(&["points", "--format", "json"]).json();
    assert_eq!((&json["scored"], &json["events"][0]["scored"]), (&Value::from(true), &Value::from(true)));
}

#[test]
fn errors_and_help_say_what_to_do() {
    let sandbox = two_systems();
    sandbox.commit_on("2027-03-01", "Add records");
    for args in [&["check", "--rev", "nowhere"][..], &["delta", "nowhere"], &["audit", "--rev", "nowhere"]] {
        let err = sandbox.tierod(args).ended(2).err;
        assert!(err.contains("unknown revision `nowhere`"), "{err}");
        assert!(err.contains("no commit, branch or tag has this name") && err.contains("git branch --all"), "{err}");
        assert!(!err.contains("single revision") && !err.contains("fatal"), "{err}");
    }
    let table = sandbox.tierod(&["audit", "--table", "targets"]).ended(2);
    assert!(table.err.contains("`--table` is for the format `csv`"), "{}", table.err);
    sandbox.tierod(&["audit", "--format", "json", "--table", "targets"]).ended(2);
    let csv = sandbox.tierod(&["audit", "--format", "csv"]).out;
    assert_eq!(sandbox.tierod(&["audit", "--format", "csv", "--table", "targets"]).out, csv);
    assert!(sandbox.tierod(&["help"]).ended(0).out.contains("Usage: tierod"));
    let help = sandbox.tierod(&["help", "check"]).ended(0).out;
    assert_eq!(sandbox.tierod(&["check", "--help"]).ended(0).out, help);
    assert!(help.contains("Exit status: 1 if a finding that is reported is an error"), "{help}");
    assert!(help.contains("bisects the history"), "{help}");
    assert!(sandbox.tierod(&["audit", "--help"]).ended(0).out.contains("Exit status: 1 if `tierod check` reports"));
}
