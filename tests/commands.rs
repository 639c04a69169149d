//! The commands: the files that they write, their output, and their exit status.

use crate::support::Sandbox;

#[test]
fn init_creates_a_root_with_two_reasons_to_write_and_never_overwrites() {
    let sandbox = Sandbox::repository();
    let out = sandbox.tierod(&["init", "car", "--season", "2028"]).ended(0).out;
    assert!(out.contains("wrote car/tierod.yaml"), "{out}");
    let check = sandbox.tierod(&["check", "car", "--format", "json"]).ended(0).json();
    // Only the two instructions that a team replaces by its reasons.
    let notes = check["findings"].as_array().unwrap().iter().map(|finding| finding["check"].as_str().unwrap());
    assert_eq!(notes.collect::<Vec<_>>(), ["no-reason"; 2]);
    assert_eq!(check["summary"]["note"], 2);
    assert_eq!(check["summary"]["records"], 5, "a goal, an event, a system, a target and a part");
    let before = std::fs::read_to_string(sandbox.path_of("car/car.yaml")).unwrap();
    assert!(before.starts_with("# yaml-language-server: $schema=./tierod.schema.json\n"), "the hint for editors");
    let schema = std::fs::read_to_string(sandbox.path_of("car/tierod.schema.json")).unwrap();
    assert_eq!(schema, sandbox.tierod(&["schema"]).ended(0).out);

    std::fs::remove_file(sandbox.path_of("car/tierod.yaml")).unwrap();
    std::fs::write(sandbox.path_of("car/car.yaml"), "parts: {}\n").unwrap();
    let error = sandbox.tierod(&["init", "car"]).ended(2).err;
    assert!(error.contains("car.yaml") && error.contains("nothing was written"), "{error}");
    assert!(!sandbox.path_of("car/tierod.yaml").exists(), "not even the file that was missing");
    assert_eq!(std::fs::read_to_string(sandbox.path_of("car/car.yaml")).unwrap(), "parts: {}\n");
}

#[cfg(unix)]
#[test]
fn init_does_not_write_through_a_dangling_link() {
    let sandbox = Sandbox::new();
    std::os::unix::fs::symlink(sandbox.outside().join("elsewhere"), sandbox.path_of("car.yaml")).unwrap();
    sandbox.tierod(&["init"]).ended(2);
    assert!(!sandbox.outside().join("elsewhere").exists());
}

#[test]
fn why_lists_every_reason_upwards_and_the_records_below() {
    let sandbox = Sandbox::new();
    sandbox.small_root("");
    let out = sandbox.tierod(&["why", "hub"]).ended(0).out;
    assert_eq!(
        out,
        "hub
part of suspension, chain.yaml:19, lead: suspension lead

why it exists
└─ circle-time
   │  It holds the wheel.
   └─ skidpad
      │  It is what is timed.
      └─ top-ten
            Cheapest points of all.

served by
no record serves it
"
    );
    let out = sandbox.tierod(&["why", "skidpad"]).ended(0).out;
    let below = "served by
└─ circle-time
   │  It is what is timed.
   └─ hub
         It holds the wheel.
";
    assert!(out.contains(below), "{out}");
    let json = sandbox.tierod(&["why", "hub", "--format", "json"]).ended(0).json();
    let up: Vec<&str> = json["up"].as_array().unwrap().iter().map(|link| link["to"].as_str().unwrap()).collect();
    assert_eq!(up, ["circle-time", "skidpad", "top-ten"]);
    assert_eq!(json["up"][0]["reason"], "It holds the wheel.");
    let error = sandbox.tierod(&["why", "hubb"]).ended(2).err;
    assert!(error.contains("did you mean `hub`?"), "{error}");
}

/// Of many records below one the nearest levels are shown, and how many are below each of the last.
#[test]
fn why_folds_what_is_far_below() {
    let sandbox = Sandbox::new();
    sandbox.small_root("");
    let target = |at: usize| format!("  t{at}: {{of: car, at-most: 1 kg, serves: {{skidpad: It counts.}}}}\n");
    let part = |at: usize| format!("  p{at}: {{in: suspension, serves: {{t{}: It is light.}}}}\n", at % 6);
    let (targets, parts): (String, String) = ((0..6).map(target).collect(), (0..48).map(part).collect());
    sandbox.write("more.yaml", format!("targets:\n{targets}parts:\n{parts}"));
    let out = sandbox.tierod(&["why", "top-ten"]).ended(0).out;
    let below = out.split("served by\n").nth(1).unwrap();
    // The event, then its seven targets.
    assert!(below.contains("├─ t0  (8 directly below)\n   │     It counts.\n"), "{below}");
    assert!(below.contains("circle-time  (1 directly below)") && !below.contains("p7"), "{below}");
    assert!(
        below.contains("`--all` shows what is below these, and `tierod why ID` what is below one of them"),
        "{below}"
    );
    let all = sandbox.tierod(&["why", "top-ten", "--all"]).ended(0).out;
    assert!(all.contains("p47") && !all.contains("directly below") && !all.contains("`--all`"), "{all}");
    // Few enough are shown without it.
    let few = sandbox.tierod(&["why", "t3"]).ended(0).out;
    assert!(few.contains("p45") && !few.contains("below)"), "{few}");
}

#[test]
fn the_graph_in_three_formats() {
    let sandbox = Sandbox::new();
    sandbox.small_root("");
    let tree = sandbox.tierod(&["graph"]).ended(0).out;
    let expected = "top-ten\n└─ skidpad\n   └─ circle-time  5.100 ± 0.050 s (≤ 5.2 s)  on target\n      └─ hub  no result\n\n\
                    5 records, 4 links\n";
    assert_eq!(tree, expected);
    let json = sandbox.tierod(&["graph", "--format", "json"]).ended(0).json();
    let node = &json["nodes"][3];
    let expected =
        serde_json::json!({"id": "circle-time", "kind": "target", "tier": "car", "path": "chain.yaml", "line": 11});
    assert_eq!(node, &expected);
    let serves =
        serde_json::json!({"from": "hub", "to": "circle-time", "link": "serves", "reason": "It holds the wheel."});
    assert!(json["edges"].as_array().unwrap().contains(&serves));
    assert_eq!(json["version"], 1);
    let dot = sandbox.tierod(&["graph", "--format", "dot"]).ended(0).out;
    assert!(dot.starts_with("digraph tierod {") && dot.contains("\"hub\" -> \"circle-time\""), "{dot}");
    let part = sandbox.tierod(&["graph", "--below", "circle-time", "--format", "json"]).ended(0).json();
    assert_eq!(part["nodes"].as_array().unwrap().len(), 2);
}

#[test]
fn the_status_distinguishes_findings_from_failures() {
    let sandbox = Sandbox::new();
    let error = sandbox.tierod(&["check"]).ended(2).err;
    assert!(error.contains("tierod init"), "{error}");
    sandbox.small_root("");
    sandbox.tierod(&["check"]).ended(0);
    for format in ["terminal", "json"] {
        sandbox.write("bad.yaml", "parts: {arm: {in: nowhere}}");
        sandbox.tierod(&["check", "--format", format]).ended(1);
    }
    sandbox.tierod(&["check", "--format", "xml"]).ended(2);
    sandbox.tierod(&["check", "--on", "19.3.2027"]).ended(2);
    let error = sandbox.tierod(&["check", "--staged"]).ended(2).err;
    assert!(error.contains("is not in a git repository"), "{error}");
}

#[test]
fn colour_only_on_terminals_or_on_request() {
    let sandbox = Sandbox::new();
    sandbox.small_root("");
    sandbox.write("bad.yaml", "parts: {arm: {in: nowhere}}");
    let plain = sandbox.tierod(&["check"]).ended(1).out;
    assert!(!plain.contains('\u{1b}'), "not into a pipe");
    let coloured = sandbox.tierod(&["check", "--color", "always"]).ended(1).out;
    let mut stripped = String::new();
    let mut rest = coloured.as_str();
    while let Some((before, after)) = rest.split_once("\u{1b}[") {
        stripped.push_str(before);
        rest = after.split_once('m').unwrap().1;
    }
    stripped.push_str(rest);
    assert_eq!(stripped, plain, "colour adds nothing but colour");
}

#[test]
fn the_same_input_gives_the_same_bytes() {
    let root = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("../example-car");
    let sandbox = Sandbox::new();
    for args in [vec!["check"], vec!["check", "--format", "json"], vec!["graph", "--format", "json"], vec!["graph"]] {
        let first = sandbox.tierod_in(&root, &args).ended(0).out;
        for _ in 0..3 {
            assert_eq!(first, sandbox.tierod_in(&root, &args).ended(0).out, "{args:?}");
        }
    }
}

#[cfg(unix)]
#[test]
fn a_closed_pipe_is_not_an_error() {
    let root = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("../example-car");
    let sandbox = Sandbox::new();
    let line =
        format!("'{}' graph --format json | head -c 10; echo \"${{PIPESTATUS[0]}}\" >&2", env!("CARGO_BIN_EXE_tierod"));
    let output = sandbox.command("bash", &root).args(["-c", &line]).output().unwrap();
    assert_eq!(String::from_utf8_lossy(&output.stderr), "0\n");
}

#[test]
fn completions_contain_the_commands() {
    let sandbox = Sandbox::new();
    for shell in ["bash", "zsh", "fish", "powershell", "elvish"] {
        let out = sandbox.tierod(&["completions", shell]).ended(0).out;
        assert!(out.contains("explain") && out.contains("staged"), "{shell}");
    }
}

#[test]
fn explain_lists_the_keys_of_a_kind() {
    let sandbox = Sandbox::new();
    let out = sandbox.tierod(&["explain", "target"]).ended(0).out;
    for key in ["at-most", "share-of", "safety-critical", "serves", "formerly"] {
        assert!(out.contains(key), "{key} in {out}");
    }
    let json = sandbox.tierod(&["explain", "waivers", "--format", "json"]).ended(0).json();
    assert_eq!(json["keys"][1]["key"], "check");
}

#[test]
fn a_folder_in_the_root_is_enough_to_find_the_root() {
    let sandbox = Sandbox::repository();
    sandbox.small_root("car/");
    std::fs::create_dir(sandbox.path_of("car/deep")).unwrap();
    let check = sandbox.tierod_in(&sandbox.path_of("car/deep"), &["check", "--format", "json"]).ended(0).json();
    assert_eq!(check["summary"]["records"], 5);
    sandbox.write("car/bad.yaml", "parts: {arm: {in: nowhere}}");
    let check = sandbox.tierod_in(&sandbox.path_of("car/deep"), &["check", "--format", "json"]).ended(1).json();
    assert_eq!(check["findings"][0]["path"], "car/bad.yaml", "from the top of the repository");
    let out = sandbox.tierod_in(&sandbox.path_of("car/deep"), &["check"]).ended(1).out;
    assert!(out.contains("../bad.yaml:1:19"), "relative to the current folder:\n{out}");
}
