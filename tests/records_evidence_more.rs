//! Numbers of alternatives that are read from evidence files, where the history shows them, and tables with many columns.

use serde_json::Value;

use crate::support::Sandbox;

const SETTINGS: &str = "\
season: 2027
as-of: 2027-03-19
stages: {concept: 2026-10-31, design: 2027-01-31, build: 2027-04-30, test: 2027-06-20, contest: 2027-07-04}
growth:
  mass: {estimated: 10 %, weighed: 0 %}
";

const SCALES: &str = "part,mass [g]\ncarbon,410\ncarbon,412\nsteel,800\n";

/// A part whose mass a decision changes to what a file gives.
fn records(value: &str) -> String {
    format!(
        "targets:\n  car-mass: {{of: car, at-most: 3 kg, total: mass, lead: chief}}\nparts:\n  rim: {{in: susp, amounts: {{mass: \
         {{value: 800 g, basis: weighed}}}}}}\nsystems:\n  susp: {{in: car, lead: chief}}\ndecisions:\n  material:\n    \
         title: Material\n    of: rim\n    criteria: [car-mass]\n    alternatives:\n      steel: {{}}\n      carbon: {{sets: \
         {{rim.mass: {{value: {value}, basis: weighed}}}}}}\n"
    )
}

fn root(value: &str) -> Sandbox {
    let sandbox = Sandbox::repository();
    sandbox.small_root("");
    sandbox.write("tierod.yaml", SETTINGS);
    sandbox.write("test/scales.csv", SCALES);
    sandbox.write("records.yaml", records(value));
    sandbox
}

fn found(sandbox: &Sandbox, check: &str) -> Vec<String> {
    let json = sandbox.tierod(&["check", "--format", "json"]).json();
    let own = json["findings"].as_array().unwrap().iter().filter(|finding| finding["check"] == check);
    own.map(|own| format!("{}: {}", own["field"].as_str().unwrap_or(""), own["message"].as_str().unwrap())).collect()
}

fn alternative(sandbox: &Sandbox) -> Value {
    let json = sandbox.tierod(&["compare", "material", "--format", "json"]).json();
    let all = json["alternatives"].as_array().unwrap();
    all.iter().find(|own| own["name"] == "carbon").unwrap_or_else(|| panic!("{json:#}")).clone()
}

const MEAN: &str = "{from: test/scales.csv, column: mass, take: mean, where: {part: carbon}}";

#[test]
fn an_alternative_reads_its_number_from_evidence() {
    let (read, typed) = (root(MEAN), root("411 g"));
    let (own, same) = (alternative(&read), alternative(&typed));
    // The mean of 410 g and 412 g.
    let set = &own["sets"][0];
    assert!(set["to"].as_str().unwrap().starts_with("411"), "{own}");
    assert_eq!(set["evidence"], serde_json::json!(["test/scales.csv"]), "{own}");
    assert_eq!(own["problems"], serde_json::json!([]), "{own}");
    let mass = |own: &Value| {
        let all = own["criteria"].as_array().unwrap();
        all.iter().find(|own| own["id"] == "car-mass").unwrap_or_else(|| panic!("{own:#}"))["value"].clone()
    };
    assert_eq!(mass(&own), mass(&same), "{own:#}");
    let close = |mass: &Value, expected: f64| (mass.as_f64().unwrap() - expected).abs() < 1e-12;
    assert!(close(&mass(&own), 0.411), "one rim, weighed, without growth: {own:#}");
    let why = read.tierod(&["why", "material"]).ended(0).out;
    assert!(why.contains("carbon, rim.mass: 411") && why.contains("from test/scales.csv: mean of `mass`"), "{why}");
    for check in ["bad-value", "unreadable-table", "no-evidence", "differs-from-evidence", "unknown-key"] {
        assert_eq!(found(&read, check), [""; 0], "{check}");
    }
    // A changed file changes the number.
    read.write("test/scales.csv", SCALES.replace("412", "430"));
    assert!(close(&mass(&alternative(&read)), 0.42));
}

#[test]
fn what_is_wrong_with_the_file_of_an_alternative_is_reported_once() {
    let sandbox = root("{from: test/other.csv, column: mass, take: mean}");
    let all = found(&sandbox, "unreadable-table");
    assert_eq!(all.len(), 1, "{all:?}");
    assert!(
        all[0].starts_with("alternatives.carbon.sets.rim.mass.value") && all[0].contains("file missing"),
        "{all:?}"
    );
    assert_eq!(found(&sandbox, "bad-value"), [""; 0]);
    let own = alternative(&sandbox);
    let problem = own["problems"][0]["message"].as_str().unwrap_or_else(|| panic!("{own}"));
    assert!(problem.contains("could not be read from `test/other.csv`"), "{problem}");
}

#[test]
fn a_typed_number_of_an_alternative_is_compared_with_its_file() {
    let typed = |text: &str| {
        root(&format!("{{typed: {text}, from: test/scales.csv, column: mass, take: mean, where: {{part: carbon}}}}"))
    };
    assert_eq!(found(&typed("411 g"), "differs-from-evidence"), [""; 0]);
    let all = found(&typed("450 g"), "differs-from-evidence");
    assert_eq!(all.len(), 1, "{all:?}");
    let expected = "alternatives.carbon.sets.rim.mass.value.typed: Material, alternative carbon, rim.mass: 450 g was typed, but \
                    test/scales.csv gives 411";
    assert!(all[0].starts_with(expected), "{all:?}");
}

#[test]
fn the_history_shows_the_file_of_a_number() {
    let sandbox = root(MEAN);
    let result = |value: &str| {
        format!("results:\n  weighed: {{of: rim, date: 2027-03-01, value: {value}, evidence: [test/scales.csv]}}\n")
    };
    sandbox.write("results.yaml", result("{from: test/scales.csv, column: mass, take: highest}"));
    sandbox.commit_on("2027-03-02", "weighed");
    sandbox.write("test/scales.csv", SCALES.replace("800", "805"));
    sandbox.commit_on("2027-03-03", "weighed again");
    sandbox.write("results.yaml", result("790 g"));
    sandbox.commit_on("2027-03-04", "typed");
    let json = sandbox.tierod(&["history", "weighed", "--format", "json"]).ended(0).json();
    let values = json["changes"].as_array().unwrap().iter().filter(|change| change["what"] == "value");
    let values: Vec<String> =
        values.map(|own| format!("{} {} {}", own["after"], own["source"]["file"], own["source"]["column"])).collect();
    let read = "\"test/scales.csv\" \"mass\"";
    assert_eq!(values, [format!("\"800 g\" {read}"), format!("\"805 g\" {read}"), "\"790 g\" null null".to_owned()]);
    let out = sandbox.tierod(&["history", "weighed"]).ended(0).out;
    assert!(out.contains("read from") && out.contains("test/scales.csv, mass"), "{out}");
    // A history without such a number has no column for it.
    let out = sandbox.tierod(&["history", "car-mass"]).ended(0).out;
    assert!(!out.contains("read from"), "{out}");
}

/// A table of 20,000 columns, each of which has a condition: each column is looked up once.
#[test]
fn many_conditions_on_many_columns_are_quick() {
    let number = 20_000;
    let sandbox = root(MEAN);
    let names: Vec<String> = (0..number).map(|at| format!("c{at}")).collect();
    sandbox.write("runs.csv", format!("{}\n{}\n", names.join(","), vec!["1"; number].join(",")));
    let conditions: Vec<String> = names.iter().map(|name| format!("{name}: 1")).collect();
    sandbox.write(
        "results.yaml",
        format!(
            "results:\n  many: {{of: rim, date: 2027-03-01, value: {{from: runs.csv, column: c7, unit: g, where: {{{}}}}}}}\n",
            conditions.join(", ")
        ),
    );
    let start = std::time::Instant::now();
    let json = sandbox.tierod(&["why", "many", "--format", "json"]).json();
    let seconds = start.elapsed().as_secs_f64();
    assert_eq!(json["readings"][0]["value"], 1.0, "{}", json["readings"]);
    println!("{number} conditions: {seconds:.2} s");
    // Comparing each condition with each column took 90 s in a debug build.
    assert!(seconds < 30.0, "{seconds} s");
}
