//! What git adds to the findings of `check`: since when they are open, since when checks are off, and how old a clone is.

use serde_json::Value;

use crate::gate_screen::{BRAKES, DATED, WING, check};
use crate::support::{CHAIN, SETTINGS, Sandbox};

/// Since when each finding is open: `check record day commit cause`, with the commit as its subject.
#[track_caller]
fn since(sandbox: &Sandbox, args: &[&str]) -> Vec<String> {
    let json = check(sandbox, &[&["--since"], args].concat()).json();
    let one = |finding: &Value| {
        let since = &finding["since"];
        let commit =
            since["commit"].as_str().map(|id| sandbox.git(&["log", "-1", "--format=%s", id]).trim().to_owned());
        let text = |value: &Value| value.as_str().unwrap_or("-").to_owned();
        let (check, record) = (text(&finding["check"]), text(&finding["record"]));
        format!("{check} {record}: {} {} {}", text(&since["day"]), text(&since["cause"]), commit.unwrap_or_default())
    };
    let mut all: Vec<String> = json["findings"].as_array().unwrap().iter().map(one).collect();
    all.sort();
    all.iter().map(|line| line.trim_end().to_owned()).collect()
}

/// Commits, a rename, a due date that passes between two commits, one that passes after the last, an uncommitted change.
#[test]
fn since_names_the_commit_or_the_day() {
    let sandbox = Sandbox::repository();
    sandbox.small_root("");
    sandbox.commit_on("2026-11-01", "Start");
    sandbox.write("brakes.yaml", BRAKES.replace("  pedal:", "  lever:"));
    sandbox.commit_on("2026-11-10", "Add the brakes");
    let timed = |due: &str| {
        DATED
            .replace("2027-03-29", due)
            .replace("parts:", "requirements:\n")
            .split("requirements:")
            .next()
            .unwrap()
            .to_owned()
    };
    sandbox.write("grip.yaml", timed("2026-12-24"));
    sandbox.write("late.yaml", timed("2027-03-10").replace("grip:", "hold:"));
    sandbox.commit_on("2026-12-01", "Add targets");
    for day in 2..9 {
        sandbox.write("notes.yaml", format!("parts: {{}}\n# {day}\n"));
        sandbox.commit_on(&format!("2027-01-0{day}"), &format!("Note {day}"));
    }
    sandbox.write("brakes.yaml", BRAKES.replace("pedal: {in", "pedal: {formerly: [lever], in"));
    sandbox.commit_on("2027-02-01", "Rename the lever");
    sandbox.write("aero.yaml", WING.replace("nowhere", "circle-time").replace("todo", "It presses the car down."));
    sandbox.git(&["checkout", "-q", "-b", "side"]);
    sandbox.commit_on("2027-02-05", "Add the wing on a branch");
    sandbox.git(&["checkout", "-q", "main"]);
    sandbox.git_on("2027-02-20", &["merge", "-q", "--no-ff", "-m", "Merge the wing", "side"]);
    sandbox.write("new.yaml", "parts:\n  bolt: {in: brakes, serves: {circle-time: It holds the caliper.}}\n");
    let expected = [
        "no-children grip: 2026-12-01 commit Add targets",
        "no-children hold: 2026-12-01 commit Add targets",
        "no-verification bolt: 2027-03-19 uncommitted",
        "no-verification caliper: 2026-11-10 commit Add the brakes",
        "no-verification flap: 2027-02-20 commit Merge the wing",
        "no-verification hook: 2027-02-20 commit Merge the wing",
        "no-verification pedal: 2026-11-10 commit Add the brakes",
        "verification-overdue grip: 2026-12-25 date",
        "verification-overdue hold: 2027-03-11 date",
    ];
    assert_eq!(since(&sandbox, &[]), expected);
    assert_eq!(since(&sandbox, &[]), expected, "from the cache");
    let cache = sandbox.path_of(".git/tierod");
    for entry in std::fs::read_dir(&cache).unwrap() {
        // A damaged cache counts as absent.
        let path = entry.unwrap().path();
        let mut bytes = std::fs::read(&path).unwrap();
        for at in (60..bytes.len()).step_by(7) {
            bytes[at] ^= 0x55;
        }
        std::fs::write(&path, bytes).unwrap();
    }
    assert_eq!(since(&sandbox, &[]), expected, "from a damaged cache");
    std::fs::remove_dir_all(&cache).unwrap();
    assert_eq!(since(&sandbox, &["--system", "brakes"]), [expected[2], expected[3], expected[6]]);
    let text = sandbox.tierod(&["check", "--since"]).ended(0).out;
    for line in [
        "  since  2026-11-10, commit ",
        "  since  2026-12-25, when the date was reached\n",
        "  since  not committed yet\n",
    ] {
        assert!(text.contains(line), "{line}\n{text}");
    }
    // Without the option the answer is the same, whatever is cached.
    let plain = check(&sandbox, &[]).ended(0);
    assert!(plain.json()["findings"][0].get("since").is_none());
    // What is due later is not open yet.
    assert_eq!(since(&sandbox, &["--due", "2027-06-01", "--only", "verification-overdue", "chain.yaml"]).len(), 2);
    let due = sandbox.tierod(&["check", "--since", "--due", "2027-06-01", "chain.yaml"]).ended(0).out;
    assert!(due.contains("is due on 2027-06-01, in 74 days") && due.contains("  since  not open yet\n"), "{due}");
    let refused = sandbox.tierod(&["check", "--since", "--format", "lines"]).ended(2);
    assert!(refused.err.contains("`--since` is for the formats"), "{}", refused.err);
    // At an older commit, in its own history.
    let old = sandbox.git(&["log", "-1", "--format=%h", "--grep=Note 4"]);
    assert_eq!(since(&sandbox, &["--rev", old.trim(), "--system", "brakes"]).len(), 2);
}

#[test]
fn since_is_unknown_without_a_history() {
    let sandbox = Sandbox::new();
    sandbox.small_root("");
    sandbox.write("brakes.yaml", BRAKES);
    let answer = check(&sandbox, &["--since"]).ended(0);
    assert_eq!(answer.json()["findings"][0]["since"], Value::Null);
    let text = sandbox.tierod(&["check", "--since"]).ended(0).out;
    assert!(
        text.contains("since when findings are open is unknown: the project is not in a git repository\n"),
        "{text}"
    );
    // What is older than a shallow clone has no beginning in it.
    let sandbox = Sandbox::repository();
    sandbox.small_root("");
    sandbox.write("brakes.yaml", BRAKES);
    sandbox.commit_on("2026-11-01", "Start");
    sandbox.write("aero.yaml", WING.replace("nowhere", "circle-time"));
    sandbox.commit_on("2026-11-02", "Add the wing");
    sandbox.write("more.yaml", "parts:\n  bolt: {in: brakes, serves: {circle-time: It holds the caliper.}}\n");
    sandbox.commit_on("2026-11-03", "Add a bolt");
    let url = format!("file://{}", sandbox.path().display());
    let clone = sandbox.outside().join("clone");
    sandbox.git(&["clone", "-q", "--depth", "2", &url, clone.to_str().unwrap()]);
    let json = sandbox.tierod_in(&clone, &["check", "--since", "--format", "json"]).json();
    let of = |record: &str| {
        json["findings"].as_array().unwrap().iter().find(|one| one["record"] == record).unwrap()["since"].clone()
    };
    assert_eq!((of("caliper"), &of("bolt")["day"]), (Value::Null, &Value::from("2026-11-03")));
}

/// A history in which checks are switched off, on and off again.
#[test]
fn a_check_that_is_off_is_named_with_what_it_would_find() {
    let sandbox = Sandbox::repository();
    sandbox.small_root("");
    sandbox.write("brakes.yaml", BRAKES);
    let with = |levels: &str| format!("{SETTINGS}levels: {{{levels}}}\n");
    let off = |sandbox: &Sandbox, args: &[&str]| check(sandbox, args).json()["off"].to_string();
    sandbox.commit_on("2026-11-01", "Start");
    assert_eq!(off(&sandbox, &[]), "[]");
    assert!(!sandbox.tierod(&["check"]).out.contains("switched off"));
    for (day, levels) in [
        ("2026-11-02", "no-verification: off"),
        ("2026-11-03", "no-lead: note"),
        ("2026-11-04", "no-verification: off"),
        ("2026-11-05", "no-verification: off, no-lead: {build: off}"),
    ] {
        sandbox.write("tierod.yaml", with(levels));
        sandbox.commit_on(day, levels);
    }
    let both = r#"[{"check":"no-lead","since":"2026-11-05","findings":0},{"check":"no-verification","since":"2026-11-04","findings":2}]"#;
    assert_eq!(off(&sandbox, &[]), both);
    assert_eq!(off(&sandbox, &["--rev", "HEAD"]), both);
    assert_eq!(off(&sandbox, &["--staged"]), both);
    assert_eq!(
        off(&sandbox, &["--rev", "HEAD~3"]),
        r#"[{"check":"no-verification","since":"2026-11-02","findings":2}]"#
    );
    let line = "switched off in tierod.yaml: no-lead (since 2026-11-05, 0 findings not reported); \
                no-verification (since 2026-11-04, 2 findings not reported)";
    let text = sandbox.tierod(&["check"]).ended(0).out;
    assert!(text.contains(&format!("\n{line}\n")), "{text}");
    let audit = sandbox.tierod(&["audit"]).ended(0).out;
    let audit = audit.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(audit.contains(line), "{audit}");
    assert_eq!(sandbox.tierod(&["audit", "--format", "json"]).json()["off"].to_string(), both);
    for format in ["markdown", "html"] {
        let page = sandbox.tierod(&["audit", "--format", format]).ended(0).out;
        assert!(page.contains("2 findings not reported"), "{format}");
    }
    // Off in another stage only: not off.
    sandbox.write("tierod.yaml", with("no-verification: {concept: off}"));
    assert_eq!(off(&sandbox, &[]), "[]");
    // All history checks at once.
    sandbox.write("tierod.yaml", format!("{SETTINGS}history: off\n"));
    let line = "switched off in tierod.yaml: the history checks (`history: off`)\n";
    for command in ["check", "audit"] {
        let out = sandbox.tierod(&[command]).ended(0).out;
        assert!(out.contains(line), "{out}");
    }
    // Not committed, and outside of git.
    sandbox.write("tierod.yaml", with("no-verification: off, no-reason: off"));
    let new = r#"[{"check":"no-reason","since":null,"findings":0},{"check":"no-verification","since":"2026-11-04","findings":2}]"#;
    assert_eq!(off(&sandbox, &[]), new);
    assert!(sandbox.tierod(&["check"]).out.contains("no-reason (not committed yet, 0 findings not reported)"));
    std::fs::remove_dir_all(sandbox.path_of(".git")).unwrap();
    assert!(sandbox.tierod(&["check"]).out.contains("no-verification (2 findings not reported)"));
}

#[test]
fn the_date_of_an_old_clone_is_proposed() {
    let sandbox = Sandbox::repository();
    sandbox.write(
        "tierod.yaml",
        SETTINGS.replace("as-of: 2027-03-19\n", "").replace("2026", "2019").replace("2027", "2020"),
    );
    sandbox.write("chain.yaml", CHAIN.replace("2027", "2020"));
    sandbox.commit_on("2020-03-19", "Start");
    let out = sandbox.tierod(&["check"]).ended(1).out;
    let line =
        "the last commit is of 2020-03-19: `tierod check --on 2020-03-19` checks the records as of that date\n\n";
    assert!(out.starts_with(line), "{out}");
    assert_eq!(check(&sandbox, &[]).json()["last_commit"], "2020-03-19");
    let then = sandbox.tierod(&["check", "--on", "2020-03-19"]).ended(0).out;
    assert!(then.starts_with("5 records in the working tree; 19 March 2020, build stage\n"), "{then}");
    for args in [&["--rev", "HEAD"][..], &["--staged"], &["--on", "2020-03-19"]] {
        assert_eq!(check(&sandbox, args).json().get("last_commit"), None, "{args:?}");
    }
    // With a date in the settings, and after a commit of today.
    sandbox.write("tierod.yaml", SETTINGS);
    assert_eq!(check(&sandbox, &[]).json().get("last_commit"), None);
    sandbox.write("tierod.yaml", SETTINGS.replace("as-of: 2027-03-19\n", ""));
    let mut now = sandbox.command("git", &sandbox.path());
    now.env_remove("GIT_AUTHOR_DATE").env_remove("GIT_COMMITTER_DATE");
    assert!(now.args(["commit", "-q", "-a", "-m", "Today"]).status().unwrap().success());
    assert_eq!(check(&sandbox, &[]).json().get("last_commit"), None);
}
