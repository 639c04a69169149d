//! Ten scripted changes of the example car, each with the exact delta, and moves that change nothing.

use serde_json::Value;

use crate::example_car;
use crate::support::Sandbox;

/// The example car, committed.
struct Car(Sandbox);

impl Car {
    fn new() -> Self {
        let sandbox = Sandbox::repository();
        example_car::copy(&sandbox);
        sandbox.git(&["add", "."]);
        sandbox.git(&["commit", "-qm", "as it is"]);
        Self(sandbox)
    }

    fn text(&self, path: &str) -> String {
        std::fs::read_to_string(self.0.path_of(path)).unwrap()
    }

    /// Replaces a text that is in the file exactly once.
    #[track_caller]
    fn edit(&self, path: &str, old: &str, new: &str) {
        let text = self.text(path);
        assert_eq!(text.matches(old).count(), 1, "{path}: {old}");
        self.0.write(path, text.replace(old, new));
    }

    /// The delta from the commit to the working tree, and the same from the index and between two commits.
    #[track_caller]
    fn assert_delta(&self, code: i32, expected: &str) {
        let answer = self.0.tierod(&["delta", "HEAD", "--format", "json"]).ended(code).json();
        assert_eq!(summary(&answer), expected.trim_start_matches('\n'));
        self.0.git(&["add", "-A"]);
        let staged = self.0.tierod(&["delta", "HEAD", "--staged", "--format", "json"]).ended(code).json();
        assert_eq!(summary(&staged), summary(&answer), "the index");
        self.0.git(&["commit", "-qm", "changed"]);
        let between = self.0.tierod(&["delta", "HEAD~1", "HEAD", "--format", "json"]).ended(code).json();
        assert_eq!(summary(&between), summary(&answer), "two commits");
        for format in ["terminal", "markdown"] {
            self.0.tierod(&["delta", "HEAD~1", "HEAD", "--format", format]).ended(code);
        }
    }
}

fn shown(value: &Value) -> String {
    match value {
        Value::Null => "none".to_owned(),
        Value::Number(number) => {
            let text = format!("{:.2}", number.as_f64().unwrap());
            text.trim_end_matches('0').trim_end_matches('.').to_owned()
        }
        Value::String(text) => text.clone(),
        other => other.to_string(),
    }
}

/// A limit of an answer as it would be written.
fn limit_text(limit: &Value, unit: &str) -> String {
    match (&limit["at_least"], &limit["at_most"], &limit["between"]) {
        (Value::Null, most @ Value::Number(_), Value::Null) => format!("≤ {} {unit}", shown(most)),
        (least @ Value::Number(_), Value::Null, Value::Null) => format!("≥ {} {unit}", shown(least)),
        (Value::Null, Value::Null, Value::Array(ends)) => {
            format!("{} {unit} to {} {unit}", shown(&ends[0]), shown(&ends[1]))
        }
        _ => shown(limit),
    }
}

/// Everything in an answer, one line each, numbers with two digits; values only by name.
fn summary(answer: &Value) -> String {
    let mut lines = Vec::new();
    let list = |value: &Value| value.as_array().unwrap().clone();
    for side in ["new", "fixed"] {
        for finding in list(&answer[side]) {
            let record = finding["record"].as_str().or(finding["path"].as_str()).unwrap().to_owned();
            lines.push(format!("{side} {} {} {record}", shown(&finding["level"]), shown(&finding["check"])));
        }
    }
    for sort in ["added", "removed", "edited", "renamed"] {
        for record in list(&answer["records"][sort]) {
            let before = record["before"].as_str().map(|id| format!("{id} > ")).unwrap_or_default();
            lines.push(format!("{sort} {} {before}{}", shown(&record["kind"]), shown(&record["id"])));
        }
    }
    let change = |value: &Value| format!("{} > {}", shown(&value["before"]), shown(&value["after"]));
    for limit in list(&answer["limits_changed"]) {
        let sides = ["before", "after"].map(|side| limit_text(&limit[side], &shown(&limit["unit"])));
        lines.push(format!("limit {} {} by {}", shown(&limit["id"]), sides.join(" > "), shown(&limit["revision"])));
    }
    for status in list(&answer["status_changes"]) {
        lines.push(format!("status {} {}", shown(&status["id"]), change(&status)));
    }
    for cause in list(&answer["causes"]) {
        let way: Vec<String> = list(&cause["affects"]).iter().map(shown).collect();
        let points = shown(&cause["points"]);
        let unit = shown(&cause["unit"]);
        let (edited, key) = (&cause["edited"], cause["edited"]["after"]["key"].as_str());
        let changed = match key.filter(|key| *key == "in") {
            Some(_) => format!("{} > {}", shown(&edited["before"]["text"]), shown(&edited["after"]["text"])),
            None => format!("{} {unit}", change(&cause)),
        };
        lines.push(format!("cause {} {changed}, {points} pts: {}", shown(&cause["id"]), way.join(" ")));
    }
    let values = list(&answer["values"]);
    if !values.is_empty() {
        lines.push(format!("values {}", values.len()));
    }
    lines.push(format!("points {}", change(&answer["points"])));
    lines.push(format!("mass {}", change(&answer["amounts"]["mass"])));
    lines.push(format!("cost {}", change(&answer["amounts"]["cost"])));
    lines.push(format!("unchanged {}\n", answer["unchanged"]));
    lines.join("\n")
}

const SUSPENSION: &str = "suspension/suspension.yaml";
const HOLE: &str = "      roll-gradient: Sets the balance on the circle; one hole is 2 % of roll couple.";

#[test]
fn a_reason_deleted() {
    let car = Car::new();
    car.edit(SUSPENSION, HOLE, "      roll-gradient:");
    car.assert_delta(
        0,
        "
new warning no-reason rear-anti-roll-bar
edited part rear-anti-roll-bar
points 684.46 > 684.46
mass 200.64 > 200.64
cost 18015.1 > 18015.1
unchanged 16
",
    );
}

#[test]
fn a_limit_changed_without_a_revision() {
    let car = Car::new();
    car.edit("car/targets.yaml", "at-most: 205 kg", "at-most: 207 kg");
    car.assert_delta(
        0,
        "
new warning unrecorded-revision car-mass
edited target car-mass
limit car-mass ≤ 205 kg > ≤ 207 kg by none
points 684.46 > 684.46
mass 200.64 > 200.64
cost 18015.1 > 18015.1
unchanged 16
",
    );
}

const REVISION: &str = "  car-mass-march: {of: car-mass, from: 205 kg, to: 207 kg, date: 2027-03-18, \
                        agreed-by: chief engineer, reason: The loom came in two kilograms above the table of 2026.}\n";

#[test]
fn a_limit_changed_with_a_revision() {
    let car = Car::new();
    car.edit("car/targets.yaml", "at-most: 205 kg", "at-most: 207 kg");
    car.edit("season/revisions-and-waivers.yaml", "waivers:\n", &format!("{REVISION}\nwaivers:\n"));
    car.assert_delta(
        0,
        "
added revision car-mass-march
edited target car-mass
limit car-mass ≤ 205 kg > ≤ 207 kg by car-mass-march
points 684.46 > 684.46
mass 200.64 > 200.64
cost 18015.1 > 18015.1
unchanged 16
",
    );
}

/// A revision may be added before the change; an old revision with the same limit does not record a change back to it.
#[test]
fn a_revision_that_was_there_before() {
    let car = Car::new();
    car.edit("season/revisions-and-waivers.yaml", "waivers:\n", &format!("{REVISION}\nwaivers:\n"));
    car.0.git(&["commit", "-qam", "agreed"]);
    car.edit("car/targets.yaml", "at-most: 205 kg", "at-most: 207 kg");
    let revision = |car: &Car| {
        car.0.tierod(&["delta", "HEAD", "--format", "json"]).ended(0).json()["limits_changed"][0]["revision"].clone()
    };
    assert_eq!(revision(&car), "car-mass-march", "written ahead");
    car.0.git(&["commit", "-qam", "moved"]);
    car.edit("car/targets.yaml", "at-most: 207 kg", "at-most: 203 kg");
    assert_eq!(revision(&car), Value::Null, "203 kg are agreed on nowhere");
    car.0.git(&["commit", "-qam", "too low"]);
    car.edit("car/targets.yaml", "at-most: 203 kg", "at-most: 207 kg");
    assert_eq!(revision(&car), Value::Null, "the revision went from 205 kg");
}

/// 0.4 kg, weighed: no growth is added.
#[test]
fn a_part_400_g_heavier() {
    let car = Car::new();
    car.edit("powertrain/powertrain.yaml", "{value: 31.4 kg, basis: weighed}", "{value: 31.8 kg, basis: weighed}");
    car.assert_delta(
        0,
        "
edited part engine-unit
cause engine-unit.mass 31.4 > 31.8 kg, -0.35 pts: powertrain.mass car.mass car-mass accel-time acceleration first-eight
values 20
points 684.46 > 684.11
mass 200.64 > 201.04
cost 18015.1 > 18015.1
unchanged 16
",
    );
}

/// The skidpad scores 71.5 * ((6.125 s/t)^2 - 1)/(1.25^2 - 1) + 3.5: 57.9 at 5.126 s, 45.5 at 5.31 s.
#[test]
fn a_result_added() {
    let car = Car::new();
    let result = "\n  skidpad-on-the-yard:\n    of: skidpad-time\n    value: 5.31 s ± 0.02 s\n    date: 2027-03-18\n    \
                  evidence: [test/2027-02-24-tyres.csv]\n";
    let text = car.text("test/results.yaml") + result;
    car.0.write("test/results.yaml", text);
    car.assert_delta(
        0,
        "
new warning target-missed skidpad-time
added result skidpad-on-the-yard
status skidpad-time on target > missed
cause skidpad-time 5.12 > 5.31 s, -12.53 pts: skidpad first-eight
values 3
points 684.46 > 671.93
mass 200.64 > 200.64
cost 18015.1 > 18015.1
unchanged 16
",
    );
}

/// Two bars of 0.74 kg and 0.66 kg (drawn, 5 % growth): 1.47 kg move to another system, and the car does not change.
#[test]
fn a_system_split() {
    let car = Car::new();
    let wheels = "  wheels-and-tyres:";
    let bars = "  anti-roll: {title: Anti-roll bars, in: car, lead: suspension lead}\n";
    car.edit("car/systems.yaml", wheels, &format!("{bars}{wheels}"));
    let text = car.text(SUSPENSION);
    let (start, end) = (text.find("  front-anti-roll-bar:").unwrap(), text.find("  rod-end-set:").unwrap());
    car.0.write(SUSPENSION, format!("{}{}", &text[..start], &text[end..]));
    let moved = text[start..end].replace("in: suspension", "in: anti-roll");
    car.0.write("suspension/anti-roll.yaml", format!("parts:\n{moved}"));
    car.assert_delta(
        0,
        "
new warning no-share anti-roll
new warning no-share anti-roll
added system anti-roll
edited part front-anti-roll-bar
edited part rear-anti-roll-bar
cause front-anti-roll-bar.in suspension > anti-roll, none pts: anti-roll.mass
cause rear-anti-roll-bar.in suspension > anti-roll, none pts: anti-roll.mass
values 6
points 684.46 > 684.46
mass 200.64 > 200.64
cost 18015.1 > 18015.1
unchanged 16
",
    );
}

#[test]
fn a_rename_with_formerly() {
    let car = Car::new();
    car.edit(SUSPENSION, "\n  front-upright:\n", "\n  knuckle:\n    formerly: [front-upright]\n");
    let text = car.text(SUSPENSION);
    assert_eq!(text.matches("of: front-upright\n").count(), 2);
    car.0.write(SUSPENSION, text.replace("of: front-upright\n", "of: knuckle\n"));
    let text = car.text("analysis/analyses.yaml");
    assert_eq!(text.matches("[front-upright, ").count(), 2);
    car.0.write("analysis/analyses.yaml", text.replace("[front-upright, ", "[knuckle, "));
    car.assert_delta(
        0,
        "
edited analysis camber-study
edited analysis corner-loads
edited target front-upright-stiffness
edited target front-upright-strength
renamed part front-upright > knuckle
points 684.46 > 684.46
mass 200.64 > 200.64
cost 18015.1 > 18015.1
unchanged 16
",
    );
}

#[test]
fn a_broken_reference() {
    let car = Car::new();
    car.edit(SUSPENSION, HOLE, &HOLE.replace("roll-gradient", "roll-gradients"));
    car.assert_delta(
        1,
        "
new error unknown-reference rear-anti-roll-bar
edited part rear-anti-roll-bar
points 684.46 > 684.46
mass 200.64 > 200.64
cost 18015.1 > 18015.1
unchanged 16
",
    );
}

/// 57.5 kg instead of 31.4 kg weighed, 2300 EUR instead of 2450 EUR paid.
#[test]
fn a_decision_switched() {
    let car = Car::new();
    car.edit("decisions/decisions.yaml", "chosen: single", "chosen: four");
    car.edit(
        "powertrain/powertrain.yaml",
        "{mass: {value: 31.4 kg, basis: weighed}, cost: {value: 2450 EUR, basis: paid}}",
        "{mass: {value: 57.5 kg, basis: weighed}, cost: {value: 2300 EUR, basis: paid}}",
    );
    car.edit(
        "analysis/analyses.yaml",
        "{crank-power: 37 kW ± 0.6 kW, engine-efficiency: 25 % ± 1 %}",
        "{crank-power: 52 kW ± 0.6 kW, engine-efficiency: 19 % ± 1 %}",
    );
    car.assert_delta(
        0,
        "
new warning target-at-risk skidpad-time
new warning target-at-risk fuel-use
new warning target-at-risk lap-energy
new warning over-budget car-mass
new warning over-budget powertrain-mass
new warning target-at-risk engine-efficiency
new warning target-at-risk steering-torque
new warning target-at-risk roll-gradient
new note excess-margin crank-power
new note excess-margin wheel-power
new note no-uncertainty first-eight
fixed warning target-at-risk accel-time
edited decision engine
edited analysis engine-simulation
edited part engine-unit
status accel-time at risk > on target
status skidpad-time on target > at risk
status fuel-use on target > at risk
status lap-energy on target > at risk
status car-mass on target > at risk
status powertrain-mass on target > at risk
status engine-efficiency on target > at risk
status steering-torque on target > at risk
status roll-gradient on target > at risk
cause engine-efficiency 25 > 19 %, -29.38 pts: fuel-use efficiency first-eight
cause engine-unit.mass 31.4 > 57.5 kg, -22.69 pts: powertrain.mass car.mass car-mass accel-time acceleration first-eight
cause crank-power 37 > 52 kW, 16.93 pts: wheel-power accel-time acceleration first-eight
cause engine-unit.cost 2450 > 2300 EUR, 0.39 pts: powertrain.cost car.cost car-cost cost-event first-eight
values 29
points 684.46 > 649.71
mass 200.64 > 226.74
cost 18015.1 > 17865.1
unchanged 15
",
    );
}

#[test]
fn evidence_removed() {
    let car = Car::new();
    std::fs::remove_file(car.0.path_of("test/2027-03-09-balance-bar.md")).unwrap();
    car.assert_delta(
        0,
        "
new warning no-evidence balance-bar-free
points 684.46 > 684.46
mass 200.64 > 200.64
cost 18015.1 > 18015.1
unchanged 16
",
    );
}

/// Fails unless the delta is empty in every format.
#[track_caller]
fn assert_empty(sandbox: &Sandbox, args: &[&str], code: i32) {
    let out = sandbox.tierod(&[&["delta", "HEAD"], args].concat()).ended(code).out;
    assert!(out.ends_with("\nno difference\n"), "{out}");
    let json = sandbox.tierod(&[&["delta", "HEAD", "--format", "json"], args].concat()).ended(code).json();
    for list in ["new", "fixed", "values", "causes", "status_changes", "limits_changed"] {
        assert_eq!(json[list], serde_json::json!([]), "{list}");
    }
    for list in ["added", "removed", "renamed", "edited"] {
        assert_eq!(json["records"][list], serde_json::json!([]), "{list}");
    }
    let markdown = sandbox.tierod(&[&["delta", "HEAD", "--format", "markdown"], args].concat()).ended(code).out;
    assert!(markdown.starts_with("### No difference\n"), "{markdown}");
}

#[test]
fn a_moved_file_and_another_order_of_records_are_not_a_difference() {
    let car = Car::new();
    assert_empty(&car.0, &[], 0);
    car.0.git(&["mv", SUSPENSION, "suspension/first.yaml"]);
    car.0.git(&["mv", "test/results.yaml", "results.yaml"]);
    assert_empty(&car.0, &[], 0);
    assert_empty(&car.0, &["--staged"], 0);
    // Targets after parts, and the parts in another order.
    let text = car.text("suspension/first.yaml");
    let (targets, rest) = text.split_once("\nrequirements:\n").unwrap();
    let (requirements, parts) = rest.split_once("\nparts:\n").unwrap();
    let bar = parts.find("  front-anti-roll-bar:").unwrap();
    let (parts, last) = parts.split_at(bar);
    car.0.write(
        "suspension/first.yaml",
        format!("parts:\n{last}{parts}\nrequirements:\n{requirements}\n\n# moved down\n{targets}\n"),
    );
    assert_empty(&car.0, &[], 0);
    // Each in its own file.
    car.0.write("suspension/first.yaml", format!("requirements:\n{requirements}\n{targets}\n"));
    car.0.write("z/parts.yaml", format!("parts:\n{last}{parts}"));
    assert_empty(&car.0, &[], 0);
}

/// A finding about a whole file is identified by the file's name, and a moved file by its content.
#[test]
fn a_broken_file_that_only_moves_is_not_a_difference() {
    let sandbox = Sandbox::repository();
    sandbox.small_root("");
    sandbox.write("broken.yaml", "parts: {hub: [\n");
    sandbox.write("kind.yaml", "partz:\n  x: {in: suspension}\n");
    sandbox.write("latin.yaml", b"parts: {f\xfcr: {}}\n");
    sandbox.git(&["add", "."]);
    sandbox.git(&["commit", "-qm", "first"]);
    let errors = sandbox.tierod(&["check", "--format", "json"]).ended(1).json()["summary"]["error"].as_u64().unwrap();
    assert!(errors >= 3, "the test needs three read errors: {errors}");
    for file in ["broken", "kind", "latin"] {
        sandbox.git(&["mv", &format!("{file}.yaml"), &format!("a-{file}.yaml")]);
    }
    assert_empty(&sandbox, &[], 0);
    assert_empty(&sandbox, &["--staged"], 0);
    // Two files that exchange their names are moves, too; a second broken file is new.
    sandbox.git(&["mv", "a-broken.yaml", "kind.yaml"]);
    sandbox.git(&["mv", "a-kind.yaml", "broken.yaml"]);
    assert_empty(&sandbox, &[], 0);
    sandbox.write("more.yaml", "parts: {hub: [\n");
    let json = sandbox.tierod(&["delta", "HEAD", "--format", "json"]).ended(1).json();
    assert_eq!(json["new"].as_array().unwrap().len(), 1, "{}", json["new"]);
    assert_eq!(json["fixed"], serde_json::json!([]));
}
