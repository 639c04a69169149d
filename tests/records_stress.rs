//! Stress files: the model `stress-field` in records, what `why` shows, and what is refused.

use crate::support::{SETTINGS, Sandbox};

const RECORDS: &str = include_str!("stress/example/bracket.yaml");
const FILES: [&[u8]; 3] = [
    include_bytes!("stress/example/stress/bracket-1.vtu"),
    include_bytes!("stress/example/stress/bracket-2.vtu"),
    include_bytes!("stress/example/stress/bracket-3.vtu"),
];

/// What `tests/stress/make_meshes.py` prints from the exact stress: safety, idle share, mass in kg.
const EXACT: [(f64, f64, f64); 3] =
    [(5.0238, 0.9992, 0.051_84), (2.2327, 0.7901, 0.034_56), (2.1488, 0.5513, 0.025_92)];

fn fill(sandbox: &Sandbox) {
    sandbox.write("tierod.yaml", SETTINGS);
    sandbox.write("bracket.yaml", RECORDS);
    for (number, file) in FILES.iter().enumerate() {
        sandbox.write(&format!("stress/bracket-{}.vtu", number + 1), file);
    }
}

fn example() -> Sandbox {
    let sandbox = Sandbox::new();
    fill(&sandbox);
    sandbox
}

fn findings(sandbox: &Sandbox, check: &str) -> Vec<(String, String)> {
    let report = sandbox.tierod(&["check", "--format", "json"]).json();
    let text = |value: &serde_json::Value| value.as_str().unwrap_or("").to_owned();
    let all = report["findings"].as_array().unwrap().iter().filter(|finding| finding["check"] == check);
    all.map(|finding| (text(&finding["message"]), text(&finding["help"]))).collect()
}

/// Records with one analysis whose keys are given.
fn with_given(given: &str) -> String {
    format!(
        "systems:\n  frame: {{in: car, lead: x}}\nparts:\n  hub: {{in: frame}}\ntargets:\n  hub-safety: {{of: hub, at-least: 2}}\n  \
         hub-mass: {{of: hub, at-most: 1 kg}}\nanalyses:\n  run: {{model: stress-field, informs: [hub], given: {{{given}}}}}\n"
    )
}

#[track_caller]
fn close(found: &serde_json::Value, expected: f64, within: f64) {
    let found = found.as_f64().unwrap();
    assert!((found / expected - 1.0).abs() < within, "{found}, expected {expected}");
}

#[test]
fn the_iterations_of_a_bracket_have_their_closed_form() {
    let sandbox = example();
    let stress = sandbox.tierod(&["why", "pedal-bracket", "--format", "json"]).ended(0).json()["stress"].clone();
    assert_eq!(stress.as_array().unwrap().len(), 1);
    let chain = &stress[0];
    assert_eq!((chain["needed_safety"].as_f64(), chain["is_idle"].as_bool()), (Some(2.0), Some(true)));
    assert_eq!(chain["stopped_early"], true);
    let iterations = chain["iterations"].as_array().unwrap();
    assert_eq!(iterations.len(), 3);
    for (number, (own, (safety, idle, mass))) in iterations.iter().zip(EXACT).enumerate() {
        assert_eq!(own["analysis"], format!("bracket-stress-{}", number + 1));
        assert_eq!(own["file"], format!("stress/bracket-{}.vtu", number + 1));
        close(&own["safety"], safety, 1e-2);
        close(&own["mass"], mass, 1e-3);
        assert!((own["idle_share"].as_f64().unwrap() - idle).abs() < 1e-2, "{own}");
        let bins = own["bins"].as_array().unwrap();
        assert_eq!((bins.len(), bins[10]["from"].as_f64(), &bins[10]["to"]), (11, Some(1.0), &serde_json::Value::Null));
        let total: f64 = bins.iter().map(|bin| bin["share"].as_f64().unwrap()).sum();
        assert!((total - 1.0).abs() < 1e-12);
        // Two bins are what is below 20 % of the allowable stress.
        let idle_bins = bins[0]["share"].as_f64().unwrap() + bins[1]["share"].as_f64().unwrap();
        assert!((idle_bins - own["idle_share"].as_f64().unwrap()).abs() < 1e-12);
    }
    // The value of the target is that of the last iteration.
    let values = sandbox.tierod(&["values", "--format", "json"]).json();
    let target =
        values["values"].as_array().unwrap().iter().find(|value| value["id"] == "bracket-stress-safety").unwrap();
    assert_eq!(target["value"], iterations[2]["safety"]);
    assert_eq!((target["status"].as_str(), target["origin"].as_str()), (Some("on target"), Some("analysis")));
}

#[test]
fn why_shows_the_distribution_with_the_caution() {
    let sandbox = example();
    let shown = sandbox.tierod(&["why", "pedal-bracket"]).ended(0).out;
    let stress = &shown[shown.find("\nstress\n").unwrap()..];
    for line in [
        "bracket-stress-3  stress/bracket-3.vtu",
        "share of the volume by stress, on a scale from 0 to the allowable stress of 160 MPa",
        "  0 to  10 %    30.6 %  ████████████████████████████████████████",
        "above 100 %     0.0 %\n9.6 cm^3, 0.0259 kg in 600 elements or points\n",
        "safety 2.15 (99.9 % of the volume), 2.13 at the highest stress",
        "idle: 55 % of the volume (0.0143 kg) is below 20 % of it",
        "iteration         safety  at peak   idle       mass  change",
        "bracket-stress-1    5.02     4.80  100 %  0.0518 kg",
        "-33 %",
        "stopped early  the last iteration has 55 % idle volume, with a safety of 2.15 (2.00 needed)",
        "caution  check load cases and calculation methods first; contest rules and local regulations take",
    ] {
        assert!(stress.contains(line), "`{line}` is not in\n{stress}");
    }
    let words: Vec<&str> = stress.split_whitespace().collect();
    let words = words.join(" ");
    assert!(words.contains("a qualified person decides; no number here means that a part is safe"), "{stress}");
    // A part without a stress file has no such section.
    sandbox.write("bracket.yaml", "systems: {frame: {in: car}}\nparts: {hub: {in: frame}}\n");
    assert!(!sandbox.tierod(&["why", "hub"]).ended(0).out.contains("stress"));
}

/// A note, with the whole caution; none for a part whose safety is less than what is needed, nor for superseded analyses.
#[test]
fn idle_material_is_a_note_with_the_caution() {
    let sandbox = example();
    let found = findings(&sandbox, "idle-material");
    assert_eq!(found.len(), 1, "{found:?}");
    let message = "Pedal bracket, half of the height at the end: 55 % of the volume (0.0143 kg) is stressed below 20 % of the \
                   allowable stress";
    let help = "check load cases and calculation methods first; contest rules and local regulations take precedence; a qualified \
                person decides";
    assert_eq!(found[0], (message.to_owned(), help.to_owned()));
    let report = sandbox.tierod(&["check", "--only", "idle-material", "--format", "json"]).json();
    assert_eq!(report["findings"][0]["level"], "note");
    sandbox.write("bracket.yaml", RECORDS.replace("at-least: 2.0", "at-least: 2.5"));
    assert!(findings(&sandbox, "idle-material").is_empty());
    let explained = sandbox.tierod(&["explain", "idle-material"]).ended(0).out;
    let words: Vec<&str> = explained.split_whitespace().collect();
    let words = words.join(" ");
    for text in [
        "does not mean that material may be taken away",
        "does not mean that a part is safe",
        "qualified person decides",
    ] {
        assert!(words.contains(text), "{words}");
    }
}

#[test]
fn explain_states_equations_limits_and_that_nothing_is_called_safe() {
    let explained = Sandbox::new().tierod(&["explain", "stress-field"]).ended(0).out;
    let words: Vec<&str> = explained.split_whitespace().collect();
    let words = words.join(" ");
    for text in [
        "never means that a part is safe",
        "A tensor at nodes is interpolated first",
        "units are never guessed",
        "192 MiB per file",
        "idle material is not useless material",
        "`MPa`; a unit without a number (required)",
    ] {
        assert!(words.contains(text), "`{text}` is not in {words}");
    }
}

#[test]
fn missing_and_wrong_inputs_are_errors_with_a_fix() {
    let sandbox = Sandbox::new();
    sandbox.write("tierod.yaml", SETTINGS);
    sandbox.write("s.csv", "volume,von Mises\n80,10\n20,100\n");
    let all = "file: s.csv, stress: von Mises, stress-unit: MPa, length-unit: mm, allowable: 200 MPa";
    sandbox.write("c.yaml", with_given(all));
    for check in ["bad-value", "unknown-reference", "unreadable-table", "unit-mismatch"] {
        assert_eq!(findings(&sandbox, check), [], "{check}");
    }
    for (from, to, message, help) in [
        (", stress-unit: MPa", "", "the model `stress-field` needs `stress-unit`", "it is never guessed"),
        (", length-unit: mm", "", "the model `stress-field` needs `length-unit`", "it is never guessed"),
        (", allowable: 200 MPa", "", "the model `stress-field` needs `allowable`", "allowable: 250 MPa"),
        (", stress: von Mises", "", "the model `stress-field` needs `stress`", "von Mises"),
        ("file: s.csv, ", "", "the model `stress-field` needs `file`", "results of the analysis"),
        ("unit: MPa", "unit: mm", "expected a unit like `MPa` for `stress-unit`, found `mm`", "without a number"),
        (
            "unit: mm",
            "unit: furlongs",
            "expected a unit like `mm` for `length-unit`, found `furlongs`",
            "without a number",
        ),
        ("s.csv", "s.txt", "expected a stress file for `file`, found `s.txt`", ".vtu"),
    ] {
        sandbox.write("c.yaml", with_given(&all.replacen(from, to, 1)));
        let found = findings(&sandbox, "bad-value");
        assert_eq!(found.len(), 1, "{to}: {found:?}");
        assert!(found[0].0 == message && found[0].1.contains(help), "{found:?}");
    }
    // The allowable stress has a unit, and no other one.
    sandbox.write("c.yaml", with_given(&all.replace("200 MPa", "200 N")));
    assert_eq!(findings(&sandbox, "unit-mismatch").len(), 1);
    // A file that is not there.
    sandbox.write("c.yaml", with_given(&all.replace("s.csv", "absent.vtu")));
    assert_eq!(findings(&sandbox, "unknown-reference")[0].0, "file missing or empty: `absent.vtu`");
    // Mass without a density.
    let mass = with_given(all).replace("informs: [hub]", "informs: [hub], finds: {hub-safety: safety, hub-mass: mass}");
    sandbox.write("c.yaml", &mass);
    assert_eq!(findings(&sandbox, "bad-value")[0].0, "run has no `density`, which its mass needs");
    sandbox.write("c.yaml", mass.replace("200 MPa", "200 MPa, density: 2700 kg/m^3"));
    assert_eq!(findings(&sandbox, "bad-value"), []);
    let values = sandbox.tierod(&["values", "--format", "json"]).json();
    let value = |id: &str| {
        values["values"].as_array().unwrap().iter().find(|value| value["id"] == id).unwrap()["value"].clone()
    };
    close(&value("hub-safety"), 2.0, 1e-12);
    close(&value("hub-mass"), 100e-9 * 2700.0, 1e-12);
}

#[test]
fn a_file_that_cannot_be_used_is_an_error_that_names_it() {
    let sandbox = example();
    let pointer = "version https://example.org/spec/v1\noid sha256:4d7a214614ab2935c943f9e0ff69d22eadbb8f32b1258daaa5e2ca24d17e2393\nsize 12345\n";
    sandbox.write("stress/bracket-3.vtu", pointer);
    let found = findings(&sandbox, "unreadable-table");
    assert_eq!(found[0].0, "stress/bracket-3.vtu: the file is only a pointer to a large file, not the file itself");
    sandbox.write("stress/bracket-3.vtu", FILES[2]);
    sandbox.write("bracket.yaml", RECORDS.replace("stress: stress", "stress: mises"));
    let found = findings(&sandbox, "unreadable-table");
    // The files of superseded analyses are not read by `check`.
    assert_eq!(found.len(), 1);
    assert_eq!(found[0].0, "stress/bracket-3.vtu: the file has no field `mises`");
    assert_eq!(found[0].1, "its fields are `stress`");
    let shown = sandbox.tierod(&["why", "pedal-bracket"]).ended(0).out;
    assert!(shown.contains("no numbers: the file has no field `mises`"), "{shown}");
}

/// The working tree, the index and a revision give the same, and a changed file is a changed value.
#[test]
fn a_stress_file_is_read_from_every_state() {
    let sandbox = Sandbox::repository();
    fill(&sandbox);
    sandbox.git(&["add", "."]);
    sandbox.git(&["commit", "-q", "-m", "Add the bracket"]);
    let of = |args: &[&str]| {
        let args: Vec<&str> =
            ["why", "pedal-bracket", "--format", "json"].into_iter().chain(args.iter().copied()).collect();
        sandbox.tierod(&args).ended(0).json()["stress"].clone()
    };
    let now = of(&[]);
    assert_eq!((of(&["--staged"]), of(&["--rev", "HEAD"])), (now.clone(), now.clone()));
    sandbox.write("stress/bracket-3.vtu", FILES[1]);
    let changed = of(&[]);
    assert_ne!(changed, now);
    assert_eq!((of(&["--staged"]), of(&["--rev", "HEAD"])), (now.clone(), now));
    let delta = sandbox.tierod(&["delta", "HEAD", "--format", "json"]).json();
    let values = delta["values"].as_array().unwrap();
    assert!(values.iter().any(|value| value["id"] == "bracket-stress-safety"), "{values:?}");
}

/// A link could lead to any file of the machine.
#[cfg(unix)]
#[test]
fn a_stress_file_that_is_a_link_is_not_read() {
    let sandbox = example();
    std::fs::remove_file(sandbox.path_of("stress/bracket-3.vtu")).unwrap();
    std::os::unix::fs::symlink("bracket-2.vtu", sandbox.path_of("stress/bracket-3.vtu")).unwrap();
    let found = findings(&sandbox, "unreadable-table");
    assert!(found[0].0.contains("symbolic link"), "{found:?}");
}

/// What an alternative sets cannot be the file, and the uncertainty of the allowable stress is that of the safety.
#[test]
fn uncertainty_follows_the_allowable_stress() {
    let sandbox = example();
    sandbox.write("bracket.yaml", RECORDS.replace("allowable: 160 MPa", "allowable: 160 MPa ± 8 MPa"));
    let values = sandbox.tierod(&["values", "--format", "json"]).json();
    let target =
        values["values"].as_array().unwrap().iter().find(|value| value["id"] == "bracket-stress-safety").unwrap();
    let (value, uncertainty) = (target["value"].as_f64().unwrap(), target["uncertainty"].as_f64().unwrap());
    assert!((uncertainty / value - 0.05).abs() < 1e-6, "{target}");
}

#[test]
fn the_history_of_an_analysis_begins_with_what_it_found() {
    let sandbox = Sandbox::new();
    sandbox.git(&["init", "-q", "-b", "main"]);
    fill(&sandbox);
    sandbox.commit_on("2027-01-01", "first bracket");
    sandbox.write("bracket.yaml", RECORDS.replace("file: stress/bracket-1.vtu", "file: stress/bracket-2.vtu"));
    sandbox.commit_on("2027-01-02", "another file");
    let story = sandbox.tierod(&["history", "bracket-stress-1", "--format", "json"]).ended(0).json();
    let text = |value: &serde_json::Value| value.as_str().unwrap_or("-").to_owned();
    let rows: Vec<String> = story["changes"]
        .as_array()
        .unwrap()
        .iter()
        .map(|row| {
            format!("{} {}: {} -> {}", text(&row["day"]), text(&row["what"]), text(&row["before"]), text(&row["after"]))
        })
        .collect();
    let expected = [
        "2027-01-01 added: - -> -",
        "2027-01-01 given.file: - -> stress/bracket-1.vtu",
        "2027-01-01 finds.bracket-stress-safety: - -> safety",
        "2027-01-02 given.file: stress/bracket-1.vtu -> stress/bracket-2.vtu",
    ];
    assert_eq!(rows, expected);
    let target = sandbox.tierod(&["history", "bracket-stress-safety"]).ended(0).out;
    assert!(target.contains("analysis bracket-stress-3: finds.bracket-stress-safety"), "{target}");
}
