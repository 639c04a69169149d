//! What is broken under a number: `points`, `compare`, `worth` and `budget` print it first, and end with 2 where the
//! answer cannot be had.

use serde_json::Value;

use crate::example_car::copy;
use crate::support::{Answer, CHAIN, SETTINGS, Sandbox};

const GOAL: &str = "season/goal-and-events.yaml";
const ANALYSES: &str = "analysis/analyses.yaml";
const TARGETS: &str = "car/targets.yaml";
const AERO: &str = "aero/aero.yaml";
const DECISIONS: &str = "decisions/decisions.yaml";

/// The commands, by their letter in [`BROKEN`].
const COMMANDS: [(char, &[&str]); 4] =
    [('p', &["points"]), ('c', &["compare", "engine"]), ('w', &["worth", "--all"]), ('b', &["budget"])];

/// A broken version of the example: what is wrong, a text in a file and what replaces it, and the commands whose answer
/// cannot be had.
type BrokenExample = (&'static str, &'static str, &'static str, &'static str, &'static str);

#[rustfmt::skip]
const BROKEN: &[BrokenExample] = &[
    ("reads an unknown target", GOAL, "time: accel-time", "time: accel-tim", "pcw"),
    ("a unit that does not match in a score", GOAL, "((slowest/time)^2 - 1)", "((slowest/time)^2 - best)", "pcw"),
    ("an unknown unit of expected points", GOAL, "expect: 104 pts ± 12 pts", "expect: 104 pt", "pcw"),
    ("an event without a value", GOAL, "    expect: 56 pts ± 7 pts\n", "", "pc"),
    ("a division by zero that `max` hides", GOAL, "worst: 5.1 l", "worst: lowest", "pcw"),
    ("a best time of zero", GOAL, "given: {best: 56.5 s ± 0.8 s, slowest", "given: {best: 0 s, slowest", "pcw"),
    ("a local name divided by zero", GOAL, "best: 4.90 s ± 0.05 s, slowest: 1.25 * best", "best: 4.90 s ± 0.05 s, slowest: 1.25 * best / 0", "pcw"),
    ("an unknown key of an event", GOAL, "    expect: 56 pts", "    expects: 56 pts", "pcw"),
    ("an event that serves a goal with a typing error", GOAL, "first-eight: Sixth-best", "first-eigth: Sixth-best", "pcw"),
    ("a formula that divides by zero", TARGETS, "/ engine-efficiency / heating-value", "/ engine-efficiency / (heating-value - 31.5 MJ/l)", "pcw"),
    ("an unknown name in a formula", TARGETS, "bare-drag + wing-drag", "bare-drag + wing-dragg", "pcw"),
    ("units that do not add", TARGETS, "rear-wing-downforce + floor-downforce", "rear-wing-downforce + car-mass", "pcw"),
    ("a cycle", TARGETS, "formula: tyre-rig-grip * surface", "formula: skidpad-time / skidpad-time * tyre-rig-grip * surface", "pcw"),
    ("a logarithm of zero", TARGETS, "- camber-loss * camber-compliance", "- camber-loss * camber-compliance * ln(0)", "pcw"),
    ("an overflow", TARGETS, "laps * lap-energy /", "1e300 * exp(700) * laps * lap-energy /", "pcw"),
    ("a name that is missing under given", TARGETS, "heating-value: 31.5", "heating-valu: 31.5", "pcw"),
    ("a formula with a syntax error", TARGETS, "formula: bare-drag + wing-drag", "formula: bare-drag + (wing-drag", "pcw"),
    ("a decimal comma", TARGETS, "estimate: 1.545 m", "estimate: 1,545 m", "pcw"),
    ("a limit with an unknown unit", TARGETS, "at-most: 4.27 s", "at-most: 4.27 seconds", "pcw"),
    ("a limit on a total with the wrong unit", TARGETS, "at-most: 205 kg", "at-most: 205 m", "pcwb"),
    ("a reserve with the wrong unit", TARGETS, "reserve: 3 kg", "reserve: 3 m", "b"),
    ("a table that is not there", ANALYSES, "track: season/track-autocross.csv", "track: season/track-autocros.csv", "pcw"),
    ("a table without a column", "season/track-autocross.csv", "length,", "lenght,", "pcw"),
    ("a table with a word in a cell", "season/track-endurance.csv", "\n", "\nn/a,0.0\n", "pcw"),
    ("an unknown model", ANALYSES, "model: steady-circle", "model: steady-circel", "pcw"),
    ("an unknown input of a model", ANALYSES, "radius: 9.125 m", "radios: 9.125 m", "pcw"),
    ("an input out of range", ANALYSES, "radius: 9.125 m", "radius: -9.125 m", "pcw"),
    ("an input with the wrong unit", ANALYSES, "radius: 9.125 m", "radius: 9.125 s", "pcw"),
    ("an unreadable value of an analysis", ANALYSES, "tyre-rig-grip: 2.14 ± 0.03", "tyre-rig-grip: 2.14 ± a", "pcw"),
    ("an unknown unit of an analysis", ANALYSES, "finish-chance: 90 % ± 2 %", "finish-chance: 90 pct", "pcw"),
    ("a wrong unit of an analysis", ANALYSES, "front-wing-downforce: 0.76 m^2 ± 0.05 m^2", "front-wing-downforce: 0.76 m ± 0.05 m", "pcw"),
    ("an analysis that finds an unknown target", ANALYSES, "finds: skidpad-time", "finds: skidpad-tim", "pcwb"),
    ("a negative mass", AERO, "mass: {value: 1.55 kg", "mass: {value: -1.55 kg", "pcwb"),
    ("a mass in metres", AERO, "mass: {value: 1.55 kg", "mass: {value: 1.55 m", "pcwb"),
    ("a mass with an unknown basis", AERO, "value: 1.55 kg, basis: calculated", "value: 1.55 kg, basis: calculatd", "pcwb"),
    ("a mass that is too large", AERO, "mass: {value: 1.55 kg", "mass: {value: 1e306 t", "pcwb"),
    ("a cost in a currency without rate", AERO, "cost: {value: 95 EUR", "cost: {value: 95 USD", "pcwb"),
    ("a part in an unknown system", AERO, "title: Nose cone\n    in: bodywork-and-aero", "title: Nose cone\n    in: bodywork", "cb"),
    ("a count that is a word", AERO, "title: Nose cone\n    in: bodywork-and-aero\n    count: 1", "title: Nose cone\n    in: bodywork-and-aero\n    count: one", "pcwb"),
    ("an unknown key of a part", AERO, "amounts: {mass: {value: 1.55", "amount: {mass: {value: 1.55", "pcwb"),
    ("a file that is not YAML", AERO, "parts:\n", "parts: {\n", "pcwb"),
    ("a file with conflict markers", AERO, "parts:\n", "<<<<<<< ours\nparts:\n=======\n>>>>>>> theirs\n", "pcwb"),
    ("a part with the id of another", AERO, "  side-panel:\n", "  nose-cone:\n", "pcwb"),
    ("a share of an unknown budget", AERO, "share-of: car-mass", "share-of: carmass", "b"),
    ("a total of an unknown amount", AERO, "total: mass", "total: mas", "b"),
    ("a growth that is not a fraction", "tierod.yaml", "calculated: 10 %", "calculated: 10 kg", "pcwb"),
    ("settings that are not YAML", "tierod.yaml", "growth:\n", "growth: {\n", "pcwb"),
    ("an unknown value in an alternative", DECISIONS, "engine-unit.mass: 57.5 kg", "engin-unit.mass: 57.5 kg", "c"),
    ("an unreadable value in an alternative", DECISIONS, "engine-unit.mass: 57.5 kg", "engine-unit.mass: 57.5 kgs", "c"),
    ("a result of an unknown target", "test/results.yaml", "of: attenuator-energy", "of: attenuator-enrgy", "pb"),
    ("an unreadable result that no points depend on", "test/results.yaml", "value: 7.56 kJ", "value: 7.56 kj", ""),
    ("an unreadable date of a waiver", "season/revisions-and-waivers.yaml", "until: 2027-04-15", "until: tomorrow", ""),
    ("a title that is a list", TARGETS, "title: Time over 75 m", "title: [Time, over]", ""),
];

/// The answer without the list, and without the number of results, which is no number of the car.
fn numbers(answer: &Answer) -> Value {
    let mut answer = answer.json();
    for key in ["broken", "results_ignored"] {
        answer.as_object_mut().unwrap().remove(key);
    }
    answer
}

fn in_json(sandbox: &Sandbox, command: &[&str]) -> Answer {
    sandbox.tierod(&[command, &["--format", "json"]].concat())
}

/// Replaces a text in a file, once.
#[track_caller]
fn edit(sandbox: &Sandbox, file: &str, from: &str, to: &str) {
    let text = std::fs::read_to_string(sandbox.path_of(file)).unwrap();
    assert!(text.contains(from), "{file} contains {from:?}");
    sandbox.write(file, text.replacen(from, to, 1));
}

/// Breaks the example in each of these ways, and asks every command. The text of one command is read, in turn.
fn no_number_is_without_its_warning(cases: impl Iterator<Item = (usize, &'static BrokenExample)>) {
    let sandbox = Sandbox::new();
    copy(&sandbox);
    let whole: Vec<Answer> = COMMANDS.iter().map(|(_, command)| in_json(&sandbox, command).ended(0)).collect();
    for answer in &whole {
        assert_eq!(answer.json()["broken"], serde_json::json!([]), "nothing is broken in the example");
    }
    for (number, &(what, file, from, to, unanswered)) in cases {
        let before = std::fs::read(sandbox.path_of(file)).unwrap();
        edit(&sandbox, file, from, to);
        for ((letter, command), whole) in COMMANDS.iter().zip(&whole) {
            let answer = in_json(&sandbox, command);
            let broken = answer.json()["broken"].as_array().unwrap().clone();
            let expected = if unanswered.contains(*letter) { 2 } else { 0 };
            assert_eq!(answer.code, expected, "{what}: {command:?}: {broken:?}");
            if expected == 2 {
                assert!(!broken.is_empty(), "{what}: {command:?} says why");
            } else if broken.is_empty() {
                assert_eq!(numbers(&answer), numbers(whole), "{what}: {command:?} has other numbers without a warning");
            }
            if unanswered.chars().nth(number % unanswered.len().max(1)) == Some(*letter) {
                warning_comes_first(what, &sandbox.tierod(command).ended(2).out, &broken[0]);
            }
        }
        sandbox.write(file, before);
    }
}

fn warning_comes_first(what: &str, text: &str, first: &Value) {
    let at = text.find(" under these numbers:").unwrap_or_else(|| panic!("{what}: {text}"));
    // Only the number of read errors comes before the list.
    assert!(text[..at].lines().filter(|line| !line.trim().is_empty()).count() <= 3, "{what}: {text}");
    let position = format!(":{}:{}:", first["line"], first["column"]);
    assert!(text.contains(&position), "{what} is shown at {position}: {text}");
}

#[test]
fn no_number_of_a_broken_example_is_without_its_warning() {
    assert!(BROKEN.len() >= 40);
    no_number_is_without_its_warning(BROKEN.iter().enumerate().filter(|(number, _)| number % 2 == 0));
}

#[test]
fn no_number_of_another_broken_example_is_without_its_warning() {
    no_number_is_without_its_warning(BROKEN.iter().enumerate().filter(|(number, _)| number % 2 == 1));
}

#[test]
fn there_is_no_sum_over_events_without_a_value() {
    let sandbox = Sandbox::new();
    copy(&sandbox);
    let whole = in_json(&sandbox, &["points"]).ended(0).json();
    edit(&sandbox, GOAL, "    expect: 56 pts ± 7 pts\n", "");
    let points = in_json(&sandbox, &["points"]).ended(2).json();
    assert_eq!(points["predicted"], Value::Null);
    let at_least = points["at_least"].as_f64().unwrap();
    assert!((whole["predicted"].as_f64().unwrap() - at_least - 56.0).abs() < 1e-9, "{at_least}");
    assert_eq!(points["without_value"], serde_json::json!(["presentation"]));
    let sum = format!("at least {at_least:.1} (");
    for command in ["points", "check"] {
        let text = sandbox.tierod(&[command]).out;
        assert!(text.contains(&sum) && text.contains("1 of 8 events has no value: presentation"), "{command}: {text}");
    }
    // A judged event depends on no value, so what the values are worth is known.
    in_json(&sandbox, &["worth"]).ended(0);
    let compared = in_json(&sandbox, &["compare", "engine"]).ended(2).json();
    assert!(compared["alternatives"].as_array().unwrap().iter().all(|own| own["points"] == Value::Null), "{compared}");
    edit(&sandbox, GOAL, "    expect: 104 pts ± 12 pts\n", "");
    assert!(sandbox.tierod(&["points"]).out.contains("2 of 8 events have no value: design, presentation"));
}

/// Division by zero and overflow, at every stage.
#[test]
fn a_value_that_is_no_number_is_an_error_at_every_stage() {
    for (formula, what) in [
        ("distance / speed", "`distance / speed` has no number: division by zero, with distance = 75 m, speed = 0 m/s"),
        ("distance / (1 m/s) * exp(1000 * speed / (1 m/s) + 800)", "the number is too large (overflow)"),
        ("1 s * sqrt(-1 * distance / (1 m))", "the square root of a negative number"),
        ("max(1 s, distance / speed)", "division by zero"),
    ] {
        let sandbox = Sandbox::new();
        sandbox.small_root("");
        sandbox.write(
            "more.yaml",
            format!(
                "targets:\n  pit-time: {{of: car, lead: l, at-most: 9 s, given: {{distance: 75 m, speed: 0 m/s}}, formula: \"{formula}\"}}\nevents:\n  pit:\n    plan: 10 pts\n    reads: {{time: pit-time}}\n    score: {{formula: 10 pts * (9 s - time) / (9 s)}}\n    serves: {{top-ten: It is scored, too.}}\n"
            ),
        );
        for day in ["2026-10-01", "2027-01-10", "2027-03-19", "2027-06-01", "2027-07-01"] {
            let report =
                sandbox.tierod(&["check", "--only", "no-number", "--on", day, "--format", "json"]).ended(1).json();
            let findings = report["findings"].as_array().unwrap();
            assert_eq!(findings.len(), 1, "{formula}: {report}");
            let text = findings[0]["message"].as_str().unwrap();
            assert!(text.contains(what), "{formula}: {text}");
            assert_eq!((&findings[0]["level"], &findings[0]["record"]), (&"error".into(), &"pit-time".into()));
        }
        let points = in_json(&sandbox, &["points"]).ended(2).json();
        let pit = points["events"].as_array().unwrap().iter().find(|event| event["id"] == "pit").unwrap();
        assert_eq!(pit["predicted"], Value::Null, "{formula}: {pit}");
    }
}

/// A number that is larger than any floating-point number, after its unit is applied.
#[test]
fn a_quantity_that_overflows_is_no_number() {
    let sandbox = Sandbox::new();
    copy(&sandbox);
    edit(&sandbox, AERO, "mass: {value: 1.55 kg", "mass: {value: 1e306 t");
    let report = sandbox.tierod(&["check", "--only", "no-number", "--format", "json"]).ended(1).json();
    assert_eq!(report["findings"][0]["record"], "nose-cone", "{report}");
}

/// No output has a number that is infinite, or a zero with a sign: what overflows when it is counted, added up or squared is
/// reported, and missing everywhere.
#[test]
fn numbers_that_overflow_later_are_missing_in_every_output() {
    let sandbox = Sandbox::new();
    sandbox.small_root("");
    sandbox.write(
        "more.yaml",
        "parts:\n  weight: {in: suspension, count: 4, amounts: {mass: 1e308 kg, cost: 4 EUR}}\n  plate: {in: suspension, amounts: {mass: 2 kg ± 1e200 kg}}\n\
         targets:\n  grip: {of: car, lead: l, at-least: 1.2, estimate: 1.28 ± 1e308}\n  \
         area: {of: car, lead: l, at-most: 9 m^2, given: {side: 1e100 m}, formula: side * side}\n  \
         mass: {of: car, lead: l, at-most: 200 kg, total: mass}\n  \
         offset: {of: car, lead: l, at-most: 4 mm, estimate: 2 mm}\n  turned: {of: car, lead: l, at-most: 4 mm, formula: -1 * offset * 0}\n",
    );
    let found = in_json(&sandbox, &["check", "--only", "no-number"]).ended(1).json();
    let mut found: Vec<(String, String)> = found["findings"]
        .as_array()
        .unwrap()
        .iter()
        .map(|own| (own["record"].as_str().unwrap().to_owned(), own["message"].as_str().unwrap().to_owned()))
        .collect();
    found.sort();
    let records: Vec<&str> = found.iter().map(|(record, _)| record.as_str()).collect();
    assert_eq!(records, ["area", "grip", "plate", "weight"], "{found:?}");
    assert!(
        found.iter().all(|(_, message)| message.ends_with("is too large (overflow)")
            || message.contains("has no number: the number is too large (overflow), with side = ")),
        "{found:?}"
    );
    assert!(
        found[1].1.contains("the uncertainty is too large") && found[3].1.contains("the number is too large"),
        "{found:?}"
    );
    let values = in_json(&sandbox, &["values"]).json();
    let value = |id: &str| {
        values["values"].as_array().unwrap().iter().find(|value| value["id"] == id).unwrap()["value"].clone()
    };
    assert_eq!((value("area"), value("grip")), (Value::Null, Value::Null));
    assert_eq!(value("turned").to_string(), "0.0");
    sandbox.tierod(&["page"]);
    let page = std::fs::read_to_string(sandbox.path_of("page.html")).unwrap();
    let (head, script) = page.split_once("<script").unwrap();
    let mut outputs = vec![("page", format!("{head}{}", script.split_once("</script>").unwrap().1))];
    for args in [
        "check",
        "values",
        "values --format json",
        "budget",
        "budget --format json",
        "audit",
        "audit --format html",
        "audit --format json",
        "points",
        "why grip",
        "why weight",
        "why turned",
    ] {
        let answer = sandbox.tierod(&args.split(' ').collect::<Vec<_>>());
        outputs.push((args, answer.out + &answer.err));
    }
    for (args, text) in &outputs {
        for word in text.split(|c: char| !(c.is_alphanumeric() || "+-−.".contains(c))) {
            let digits = word.trim_start_matches(['-', '−']);
            let is_signed_zero =
                digits.len() < word.len() && digits.starts_with('0') && digits.trim_matches(['0', '.']).is_empty();
            let is_infinite =
                ["inf", "NaN", "infinity", "Infinity"].contains(&word.trim_start_matches(['+', '-', '−']));
            assert!(
                !is_infinite && !is_signed_zero,
                "{args}: {word} in {}",
                text.split_once(word).map_or("", |(before, _)| &before[before.len().saturating_sub(200)..])
            );
        }
    }
}

#[test]
fn worth_of_one_event_is_its_part_of_the_worth() {
    let sandbox = Sandbox::new();
    copy(&sandbox);
    let worth = |args: &[&str]| in_json(&sandbox, &[&["worth"], args].concat()).ended(0).json();
    let per_kilogram = |answer: &Value| answer["values"][0]["points_per_unit"].as_f64().unwrap();
    let all = per_kilogram(&worth(&["car.mass"]));
    let events = in_json(&sandbox, &["points"]).json()["events"].as_array().unwrap().clone();
    let of = |event: &Value| per_kilogram(&worth(&["car.mass", "--event", event["id"].as_str().unwrap()]));
    let sum: f64 = events.iter().map(of).sum();
    assert!((sum - all).abs() < 1e-9 * all.abs(), "{sum} is not {all}");
    // The values that earn these points, and no others.
    let skidpad = worth(&["--event", "skidpad", "--all"]);
    assert_eq!(skidpad["event"], "skidpad");
    let ids: Vec<&str> = skidpad["values"].as_array().unwrap().iter().map(|own| own["id"].as_str().unwrap()).collect();
    assert!(ids.contains(&"tyre-rig-grip") && !ids.contains(&"crank-power") && !ids.contains(&"engine-efficiency"));
    assert!(sandbox.tierod(&["worth", "--event", "skidpad"]).ended(0).out.starts_with("points of skidpad only\n"));
    let error = sandbox.tierod(&["worth", "--event", "skidpat"]).ended(2).err;
    assert!(error.contains("no event with id `skidpat`") && error.contains("did you mean `skidpad`?"), "{error}");
    let error = sandbox.tierod(&["worth", "--event", "car-mass"]).ended(2).err;
    assert!(error.contains("`car-mass` is a target, not an event"), "{error}");
}

/// A kilogram of 264 bolts together is one kilogram, not 264.
#[test]
fn an_amount_that_counts_often_is_shown_for_all_pieces() {
    let sandbox = Sandbox::new();
    copy(&sandbox);
    sandbox.write(
        "bolts.yaml",
        "parts:\n  rim-bolt: {in: chassis, count: 264, amounts: {mass: {value: 0.004 kg, basis: weighed}}, serves: {car-mass: It holds the rims together.}}\n",
    );
    let worth = |id: &str| in_json(&sandbox, &["worth", id]).ended(0).json()["values"][0].clone();
    let (bolt, car) = (worth("rim-bolt.mass"), worth("car.mass"));
    let number = |value: &Value, key: &str| value[key].as_f64().unwrap();
    assert_eq!(bolt["count"], 264);
    let per_kilogram = number(&car, "points_per_unit");
    assert!((number(&bolt, "points_per_unit_of_all") - per_kilogram).abs() < 1e-9, "{bolt} is not {car}");
    assert!((number(&bolt, "points_per_unit") - 264.0 * per_kilogram).abs() < 1e-6, "{bolt}");
    assert!((number(&bolt, "points_per_percent") - per_kilogram * 264.0 * 0.004 / 100.0).abs() < 1e-9, "{bolt}");
    let text = sandbox.tierod(&["worth", "rim-bolt.mass"]).ended(0).out;
    assert!(text.contains("264 × 0.004 kg") && text.contains("per kg of all 264"), "{text}");
    assert!(text.contains("per kg of one piece, 264 times"), "{text}");
    let list = sandbox.tierod(&["worth", "--all"]).ended(0).out;
    let line = list.lines().find(|line| line.starts_with("rim-bolt.mass")).unwrap();
    assert!(line.contains(&format!("{per_kilogram:.3}  per kg of all 264")), "{line}");
}

/// Where results are set aside, the screen gives both totals.
#[test]
fn the_total_with_results_is_next_to_the_one_without() {
    let sandbox = Sandbox::new();
    copy(&sandbox);
    sandbox.write(
        "run.yaml",
        "results:\n  run: {of: accel-time, value: 4.60 s ± 0.03 s, date: 2027-03-18, evidence: [tierod.yaml]}\n",
    );
    let with = in_json(&sandbox, &["points"]).ended(0).json()["predicted"].as_f64().unwrap();
    let worth = in_json(&sandbox, &["worth"]).ended(0).json();
    let without = worth["points"].as_f64().unwrap();
    assert_eq!(worth["points_with_results"].as_f64(), Some(with));
    assert!(without - with > 10.0, "{without} from estimates, {with} with results");
    for command in [&["worth"][..], &["worth", "car.mass"], &["compare", "engine"]] {
        let text = sandbox.tierod(command).ended(0).out.split_whitespace().collect::<Vec<_>>().join(" ");
        let note = text.split("14 results ignored (estimates used): ").nth(1).unwrap_or_else(|| panic!("{text}"));
        assert!(note.starts_with(&format!("{without:.1} (")), "{note}");
        assert!(note.contains(&format!(" points; with results {with:.1} (")), "{note}");
    }
}

/// The worth of a margin is the difference of the points, not the slope times a distance.
#[test]
fn a_margin_is_worth_no_more_than_the_event_has() {
    let sandbox = Sandbox::new();
    sandbox.write("tierod.yaml", SETTINGS);
    let goal = "top-ten: {points: 80 pts, reason: It keeps the workshop., lead: team lead}";
    let chain = CHAIN
        .replace("top-ten: {place: 10, reason: A place among ten keeps the workshop., lead: team lead}", goal)
        .replace("    plan: 50 pts\n", "    plan: 50 pts\n    expect: 50 pts\n");
    sandbox.write("chain.yaml", chain);
    // 40 points at 4 s, 0.4 points at the limit of 400 s; the slope of -10 points a second would give 3960.
    sandbox.write(
        "more.yaml",
        "targets:\n  pit-time: {of: car, lead: l, at-most: 400 s, estimate: 4 s ± 0.1 s, serves: {pit: It is timed.}}\nevents:\n  pit:\n    plan: 10 pts\n    lead: l\n    reads: {time: pit-time}\n    score: {formula: 40 pts * (4 s) / time}\n    serves: {top-ten: It is scored, too.}\n",
    );
    let report = sandbox.tierod(&["check", "--only", "excess-margin", "--format", "json"]).json();
    let message = report["findings"][0]["message"].as_str().unwrap();
    assert!(message.ends_with("beats its limit by 99 %, worth +39.6 points"), "{message}");
}

/// `delta` shows what is broken under the points of each state before its headline.
#[test]
fn delta_shows_what_is_broken_before_its_headline() {
    let sandbox = Sandbox::repository();
    copy(&sandbox);
    sandbox.commit_on("2027-03-01", "The example");
    edit(&sandbox, TARGETS, "/ engine-efficiency / heating-value", "/ engine-efficiency / (heating-value - 31.5 MJ/l)");
    let text = sandbox.tierod(&["delta", "HEAD"]).out;
    let (note, headline) = (text.find("broken under the points: ").unwrap(), text.find("\npoints ").unwrap());
    assert!(note < headline, "{text}");
    let line = text[headline..].trim_start().lines().next().unwrap();
    assert!(line.contains(" none"), "no sum over events without a value: {line}");
    let answer = sandbox.tierod(&["delta", "HEAD", "--format", "json"]).json();
    assert_eq!(answer["points"]["after"], Value::Null);
    assert_eq!(answer["broken"]["base"], serde_json::json!([]));
    assert_eq!(answer["broken"]["head"][0]["record"], "fuel-use");
    let markdown = sandbox.tierod(&["delta", "HEAD", "--format", "markdown"]).out.replace('\u{202f}', " ");
    assert!(markdown.contains("**broken under the points"), "{markdown}");
    assert!(markdown.contains("| `efficiency` | 58.16 pts | none |"), "{markdown}");
    assert!(markdown.contains("| `first-eight` | 684.5 pts | none |"), "{markdown}");
}
