//! `set`, `revise` and `rename`: only the lines concerned change, what an edit does is shown, and no file is lost.

use serde_json::{Value, json};

use crate::support::{CHAIN, SETTINGS, Sandbox};

pub(crate) fn read(sandbox: &Sandbox, path: &str) -> String {
    std::fs::read_to_string(sandbox.path_of(path)).unwrap()
}

/// A repository with the small root, and a part with an amount in it.
pub(crate) fn with_amounts() -> (Sandbox, String) {
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
    assert!(dry.out.contains("chain.yaml:21\n  -     amounts: {mass: {value: 0.62 kg"), "{}", dry.out);
    assert!(dry.out.contains("  +     amounts: {mass: {value: 0.61 kg"), "{}", dry.out);
    assert!(dry.out.contains("mass  0.62 kg  0.61 kg  -0.01 kg"), "{}", dry.out);
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
    assert_eq!(answer["files"][0]["changes"][0]["line"], 21);
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
        ("hub.nonsense", "1", "chain.yaml:24: unknown key `nonsense`"),
        ("hub.count", "many", "chain.yaml:24: expected"),
        ("hub.in", "[a, b]", "chain.yaml:20: expected"),
        ("hub.mass", "0.6 kgg", "chain.yaml:21: "),
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
    let refused = sandbox.tierod(&["set", "hub.in", "suspensoin"]).ended(2);
    assert!(refused.err.contains("no record with id `suspensoin`"), "{}", refused.err);
    assert!(refused.err.contains("did you mean `suspension`?"), "{}", refused.err);
    assert_eq!(read(&sandbox, "chain.yaml"), chain);
    let args = ["set", "hub.in", "nowhere", "--allow-unknown", "--format", "json"];
    let answer = sandbox.tierod(&args).ended(1).json();
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
        "{}revisions:\n  circle-time-2027-03-19:\n    of: circle-time\n    from: 5.2 s\n    to: 5.3 s\n    date: \
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

/// A value keeps its kind of quantity; nothing is written otherwise.
#[test]
fn a_unit_is_not_taken_away() {
    let (sandbox, chain) = with_amounts();
    let because = ["--reason", "x", "--agreed-by", "y"];
    for (args, message, fix) in [
        (&["set", "hub.mass", "500"][..], "`500` has no unit: hub.amounts.mass is `0.62 kg`", "write `500 kg`"),
        (&["set", "hub.mass", "5 s"], "`5 s` is of another kind", "write `5 kg`"),
        (&["set", "circle-time.estimate", "5 ± 0.1"], "has no unit", "write `5 s`"),
        (&["revise", "circle-time", "at-most", "6"], "`6` has no unit: circle-time.at-most is `5.2 s`", "write `6 s`"),
        (&["revise", "circle-time", "at-most", "6 kg"], "`6 kg` is of another kind", "write `6 s`"),
        (
            &["revise", "circle-time", "at-most", "5200 ms"],
            "5200 ms is the limit of circle-time already",
            "set circle-time",
        ),
        (&["revise", "circle-time", "at-most", "6 s", "--date", "2030-01-01"], "2030-01-01 is after today", "agreed"),
        (
            &["add", "result", "r", "of=circle-time", "date=today", "value=4.3"],
            "`4.3` is a number without unit",
            "`4.3 s`",
        ),
        (
            &["add", "result", "r", "of=circle-time", "date=today", "value=4.3 kg"],
            "`4.3 kg` is a mass",
            "give it in `s`",
        ),
    ] {
        let args = if args[0] == "revise" { [args, &because].concat() } else { args.to_vec() };
        let refused = sandbox.tierod(&args).ended(2);
        let words = refused.err.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(words.contains(message) && words.contains(fix), "{args:?}: {}", refused.err);
        assert_eq!(read(&sandbox, "chain.yaml"), chain, "{args:?}");
    }
    assert!(!sandbox.path_of("results.yaml").exists());
    sandbox.tierod(&["set", "hub.mass", "500 g"]).ended(0);
}

#[test]
fn keys_and_records_are_removed() {
    let (sandbox, chain) = with_amounts();
    let both = sandbox.tierod(&["set", "top-ten.points", "150 pts"]).ended(2);
    assert!(both.err.contains("--remove"), "{}", both.err);
    let removed = sandbox.tierod(&["set", "top-ten.place", "--remove"]);
    assert!(removed.out.contains("1 file written"), "{}{}", removed.out, removed.err);
    assert_eq!(read(&sandbox, "chain.yaml"), chain.replace("{place: 10, reason", "{reason"));
    sandbox.tierod(&["set", "top-ten.points", "150 pts"]).ended(0);
    let absent = sandbox.tierod(&["set", "hub.count", "--remove"]).ended(2);
    assert!(absent.err.contains("hub has no `count`") && absent.err.contains("amounts"), "{}", absent.err);
    // A record that others name stays, also if only a formula has its name.
    sandbox.write("chain.yaml", &chain);
    let named = sandbox.tierod(&["set", "circle-time", "--remove"]).ended(2);
    assert!(named.err.contains("1 record names circle-time: hub"), "{}", named.err);
    sandbox.write("b.yaml", "targets:\n  t: {of: car, at-most: 2 kg, formula: 2 * hub.mass}\n");
    let named = sandbox.tierod(&["set", "hub", "--remove"]).ended(2);
    assert!(named.err.contains("1 record names hub: t"), "{}", named.err);
    std::fs::remove_file(sandbox.path_of("b.yaml")).unwrap();
    let gone = sandbox.tierod(&["set", "hub", "--remove"]);
    assert!(gone.out.contains("1 file written"), "{}{}", gone.out, gone.err);
    assert!(!read(&sandbox, "chain.yaml").contains("hub"));
    sandbox.tierod(&["set", "circle-time.title", "x", "--remove"]).ended(2);
}

#[test]
fn what_was_meant_is_said() {
    let (sandbox, chain) = with_amounts();
    for (args, expected) in [
        (["set", "hub.id", "x"], "tierod rename hub x"),
        (["set", "hub.basis", "weighed"], "`hub.mass.basis`"),
        (["set", "hub.weight", "1 kg"], "`hub.mass`"),
        (["set", "hub.mass", "--dry-run"], "the value is missing"),
    ] {
        let refused = sandbox.tierod(&args).ended(2);
        assert!(refused.err.contains(expected), "{args:?}: {}", refused.err);
    }
    sandbox.tierod(&["set", "hub.mass=0.61 kg"]).ended(0);
    assert_eq!(read(&sandbox, "chain.yaml"), chain.replace("0.62 kg", "0.61 kg"));
}

/// The fixes of findings name what can be typed, and none that brings another finding.
#[test]
fn fixes_name_what_helps() {
    let (sandbox, chain) = with_amounts();
    let more = "\
targets:
  car-mass: {of: car, at-most: 1 kg, total: mass, serves: {skidpad: Light is fast.}}
results:
  a: {of: circle-time, value: 5 s, date: 2027-03-01, evidence: [chain.yaml]}
  b: {of: circle-time, value: 5.1 s, date: 2027-03-01, evidence: [chain.yaml]}
";
    sandbox.write("more.yaml", format!("{more}parts:\n  bolt: {{in: suspension}}\n"));
    let all = sandbox.tierod(&["check", "--format", "json"]).json();
    let fix = |check: &str, record: &str| {
        let found = all["findings"].as_array().unwrap().iter().find(|f| f["check"] == check && f["record"] == record);
        let found = found.unwrap_or_else(|| panic!("{check} {record}: {all}"));
        format!("{} | {}", found["message"].as_str().unwrap(), found["help"].as_str().unwrap())
    };
    assert!(fix("no-children", "car-mass").contains("shares: targets of its systems with `share-of: car-mass`"));
    assert!(fix("no-parent", "bolt").contains("`for-parts` of the system"));
    std::fs::remove_file(sandbox.path_of("more.yaml")).unwrap();
    assert!(fix("two-sources", "a").contains("result b has the same date and is used instead of this one"));
    sandbox.write("chain.yaml", chain.replace("estimate: 5.1 s", "estimate: 5.3 s"));
    let unwrapped = |text: &str| text.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(unwrapped(&sandbox.tierod(&["check"]).out).contains("agree on a new limit (`tierod revise`)"));
    sandbox.write("chain.yaml", &chain);
    let set = sandbox.tierod(&["set", "circle-time.at-most", "5.3 s", "--dry-run"]).ended(0);
    assert!(unwrapped(&set.out).contains("restore the limit and change it with `tierod revise`"), "{}", set.out);
}

#[test]
fn every_command_knows_an_earlier_id() {
    let (sandbox, _) = with_amounts();
    sandbox.write("decision.yaml", "decisions:\n  wheel: {of: hub, chosen: a, alternatives: {a: {}, b: {}}}\n");
    for (old, new) in [("hub", "wheel-hub"), ("wheel", "rim"), ("circle-time", "lap"), ("skidpad", "circle")] {
        assert!(sandbox.tierod(&["rename", old, new]).code < 2);
    }
    for (args, old, new) in [
        (&["why", "hub"][..], "hub", "wheel-hub"),
        (&["graph", "--below", "hub"], "hub", "wheel-hub"),
        (&["set", "hub.mass", "1 kg"], "hub", "wheel-hub"),
        (&["set", "hub", "--remove"], "hub", "wheel-hub"),
        (&["rename", "hub", "x"], "hub", "wheel-hub"),
        (&["compare", "wheel"], "wheel", "rim"),
        (&["budget", "circle-time"], "circle-time", "lap"),
        (&["worth", "--event", "skidpad"], "skidpad", "circle"),
        (&["revise", "circle-time", "at-most", "6 s", "--reason", "x", "--agreed-by", "y"], "circle-time", "lap"),
    ] {
        let refused = sandbox.tierod(args).ended(2);
        assert!(refused.err.contains(&format!("`{old}` is now `{new}`")), "{args:?}: {}", refused.err);
        assert!(!refused.err.contains("did you mean"), "{args:?}: {}", refused.err);
    }
    let named = sandbox.tierod(&["add", "result", "r", "of=hub", "outcome=pass", "date=today"]).ended(2);
    assert!(named.err.contains("it is `wheel-hub` now"), "{}", named.err);
}

/// Files with many references, so that an edit changes all of them.
#[cfg(unix)]
fn many_files(sandbox: &Sandbox, parts: usize) -> Vec<(String, String)> {
    let mut files = vec![("chain.yaml".to_owned(), CHAIN.to_owned())];
    for file in 0..8 {
        let part = |number: usize| {
            format!(
                "  part-{file}-{number}:\n    in: suspension\n    serves: {{circle-time: It holds part {number} in its \
                 place.}}\n    verify: {{by: inspection, with: gauge, due: 2027-06-01}}\n"
            )
        };
        let parts: String = (0..parts).map(part).collect();
        files.push((format!("parts/p{file}.yaml"), format!("parts:\n{parts}")));
    }
    sandbox.write("tierod.yaml", SETTINGS);
    files.iter().for_each(|(path, text)| sandbox.write(path, text));
    files
}

/// What is in the folder besides the files themselves.
#[cfg(unix)]
fn left_beside(sandbox: &Sandbox) -> Vec<std::path::PathBuf> {
    let folders = [sandbox.path(), sandbox.path_of("parts")];
    let all = folders.iter().flat_map(|folder| std::fs::read_dir(folder).unwrap()).map(|entry| entry.unwrap().path());
    all.filter(|path| path.extension().is_some_and(|end| end == "tierod-new")).collect()
}

/// At any moment every file is the whole old one or the whole new one.
#[cfg(unix)]
#[test]
fn killed_at_fifty_moments_no_file_is_lost() {
    use std::time::{Duration, Instant};
    let sandbox = Sandbox::on_disk();
    let old = many_files(&sandbox, 12);
    let start = Instant::now();
    sandbox.tierod(&["rename", "circle-time", "lap-of-the-circle"]).ended(0);
    let whole = start.elapsed();
    let new: Vec<String> = old.iter().map(|(path, _)| read(&sandbox, path)).collect();
    assert!(old.iter().zip(&new).all(|((_, old), new)| old != new));
    let (mut beside, mut mixed, mut seed) = (0, 0, 88_172_645_463_325_252_u64);
    for moment in 0..50 {
        old.iter().for_each(|(path, text)| sandbox.write(path, text));
        left_beside(&sandbox).iter().for_each(|path| std::fs::remove_file(path).unwrap());
        seed ^= seed << 13;
        seed ^= seed >> 7;
        seed ^= seed << 17;
        let part = (seed >> 40) as f64 / f64::from(1 << 24);
        let mut command = sandbox.command(env!("CARGO_BIN_EXE_tierod"), &sandbox.path());
        let mut child = command
            .args(["rename", "circle-time", "lap-of-the-circle"])
            .stdout(std::process::Stdio::null())
            .spawn()
            .unwrap();
        if moment < 15 {
            std::thread::sleep(whole.mul_f64(part * 1.1));
        } else {
            // While it writes: from the first file beside on.
            while left_beside(&sandbox).is_empty() && child.try_wait().unwrap().is_none() {}
            std::thread::sleep(Duration::from_micros((part * 12_000.0) as u64));
        }
        child.kill().unwrap();
        child.wait().unwrap();
        let is_new: Vec<bool> = old
            .iter()
            .zip(&new)
            .map(|((path, old), new)| {
                let now = read(&sandbox, path);
                assert!(now == *old || now == *new, "{path} is neither the old nor the new one");
                now == *new
            })
            .collect();
        beside += usize::from(!left_beside(&sandbox).is_empty());
        mixed += usize::from(is_new.contains(&true) && is_new.contains(&false));
    }
    println!("killed 50 times: {beside} with files left beside, {mixed} between two renames");
    assert!(beside > 5, "some were killed while they wrote: {beside}");
    // What was left does not stop the next edit.
    old.iter().for_each(|(path, text)| sandbox.write(path, text));
    sandbox.tierod(&["rename", "circle-time", "lap-of-the-circle"]).ended(0);
    assert!(old.iter().zip(&new).all(|((path, _), new)| read(&sandbox, path) == *new));
}

/// A disk that is full: a limit on the size of files, with its signal ignored, so that a write fails.
#[cfg(unix)]
#[test]
fn on_a_full_disk_nothing_changes() {
    let sandbox = Sandbox::new();
    let old = many_files(&sandbox, 40);
    let limited = |blocks: &str| {
        let script = format!("trap '' XFSZ; ulimit -f {blocks}; exec \"$@\"");
        let mut command = sandbox.command("sh", &sandbox.path());
        command.args(["-c", &script, "sh", env!("CARGO_BIN_EXE_tierod"), "rename", "circle-time", "other"]);
        crate::support::Answer::from_output(&command.output().unwrap())
    };
    // The first file fits into the limit, the others do not.
    for blocks in ["0", "4"] {
        let failed = limited(blocks).ended(2);
        assert!(failed.err.contains("cannot write") && failed.err.contains("no file was changed"), "{}", failed.err);
        assert!(old.iter().all(|(path, text)| read(&sandbox, path) == *text));
        assert_eq!(left_beside(&sandbox), Vec::<std::path::PathBuf>::new());
    }
    limited("200").ended(0);
}

#[cfg(unix)]
#[test]
fn read_only_files_and_folders_are_refused() {
    use std::os::unix::fs::PermissionsExt;
    let sandbox = Sandbox::new();
    let old = many_files(&sandbox, 40);
    let mode = |path: &str, mode: u32| {
        std::fs::set_permissions(sandbox.path_of(path), std::fs::Permissions::from_mode(mode)).unwrap();
    };
    let rename = ["rename", "circle-time", "other"];
    mode("parts/p3.yaml", 0o444);
    let refused = sandbox.tierod(&rename).ended(2);
    assert!(refused.err.contains("parts/p3.yaml") && refused.err.contains("read-only"), "{}", refused.err);
    assert!(old.iter().all(|(path, text)| read(&sandbox, path) == *text));
    mode("parts/p3.yaml", 0o644);
    mode("parts", 0o555);
    // The superuser may write anywhere, unless this right is taken away.
    let mut command = sandbox.command("setpriv", &sandbox.path());
    command
        .args(["--bounding-set=-dac_override", "--inh-caps=-dac_override", env!("CARGO_BIN_EXE_tierod")])
        .args(rename);
    let is_root = std::fs::metadata(sandbox.path()).is_ok_and(|found| std::os::unix::fs::MetadataExt::uid(&found) == 0);
    let refused = match (is_root, command.output()) {
        (false, _) => Some(sandbox.tierod(&rename)),
        (true, Ok(output)) if !String::from_utf8_lossy(&output.stderr).contains("setpriv") => {
            Some(crate::support::Answer::from_output(&output))
        }
        (true, _) => None,
    };
    mode("parts", 0o755);
    let Some(refused) = refused else { return println!("skipped: the superuser without `setpriv`") };
    let refused = refused.ended(2);
    assert!(refused.err.contains("allow writing in its folder"), "{}", refused.err);
    assert!(old.iter().all(|(path, text)| read(&sandbox, path) == *text));
    assert_eq!(left_beside(&sandbox), Vec::<std::path::PathBuf>::new());
}
