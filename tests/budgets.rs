//! Budgets: roll-ups against a recount from the YAML, shares in shares, currencies, and the checks.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use serde_json::Value;
use serde_yaml::Value as Yaml;

use crate::support::{SETTINGS, Sandbox};

fn example() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../example-car")
}

fn near(a: f64, b: f64) -> bool {
    (a - b).abs() <= 1e-9 * b.abs().max(1.0)
}

/// The budgets of a root with these records.
fn budgets(settings: &str, records: &str) -> (Sandbox, Vec<Value>) {
    budgets_ending(0, settings, records)
}

/// The budgets of records in which something may be broken: then the command ends with 2.
#[track_caller]
fn budgets_ending(code: i32, settings: &str, records: &str) -> (Sandbox, Vec<Value>) {
    let sandbox = Sandbox::new();
    sandbox.write("tierod.yaml", settings);
    sandbox.write("records.yaml", records);
    let answer = sandbox.tierod(&["budget", "--format", "json"]).ended(code).json();
    assert_eq!(answer["version"], 1);
    let all = answer["budgets"].as_array().unwrap().clone();
    (sandbox, all)
}

#[track_caller]
fn budget<'v>(all: &'v [Value], id: &str) -> &'v Value {
    all.iter().find(|one| one["id"] == id).unwrap_or_else(|| panic!("{id} is among {all:#?}"))
}

fn ids(all: &Value) -> Vec<&str> {
    all.as_array().unwrap().iter().map(|one| one["id"].as_str().unwrap()).collect()
}

/// `check: record` of every finding of some checks.
fn found(sandbox: &Sandbox, names: &[&str], day: &str) -> Vec<String> {
    let report = sandbox.tierod(&["check", "--format", "json", "--on", day]).json();
    let text = |f: &Value, key: &str| f[key].as_str().unwrap_or("-").to_owned();
    let findings = report["findings"].as_array().unwrap().iter();
    let wanted = findings.filter(|f| names.contains(&f["check"].as_str().unwrap()));
    let mut all: Vec<String> =
        wanted.map(|f| format!("{} {} {}", text(f, "level"), text(f, "check"), text(f, "record"))).collect();
    all.sort();
    all
}

// --- the roll-up, counted again ---------------------------------------------------------------------------

fn yaml_files(folder: &Path, files: &mut Vec<PathBuf>) {
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            if path.file_name().unwrap() != "cad" {
                yaml_files(&path, files);
            }
        } else if path.extension().is_some_and(|e| e == "yaml") && path.file_name().unwrap() != "tierod.yaml" {
            files.push(path);
        }
    }
}

fn number(text: &str) -> f64 {
    text.split(' ').next().unwrap().parse().unwrap()
}

/// By system and amount: the total with growth, and the growth. It uses no code of the tool: the example
/// writes every mass in kg and every cost in EUR, and all its systems are in the car.
fn recount() -> BTreeMap<(String, String), (f64, f64)> {
    let growth: BTreeMap<(&str, &str), f64> = [
        (("mass", "estimated"), 0.2),
        (("mass", "calculated"), 0.1),
        (("mass", "drawn"), 0.05),
        (("mass", "weighed"), 0.0),
        (("cost", "estimated"), 0.2),
        (("cost", "quoted"), 0.05),
        (("cost", "paid"), 0.0),
    ]
    .into();
    let mut files = Vec::new();
    yaml_files(&example(), &mut files);
    let mut sums: BTreeMap<(String, String), (f64, f64)> = BTreeMap::new();
    for file in files {
        let content: Yaml = serde_yaml::from_slice(&std::fs::read(file).unwrap()).unwrap();
        let Some(parts) = content.get("parts").and_then(Yaml::as_mapping) else { continue };
        for (_, part) in parts {
            let system = part["in"].as_str().unwrap();
            let count = part.get("count").and_then(Yaml::as_f64).unwrap_or(1.0);
            let Some(amounts) = part.get("amounts").and_then(Yaml::as_mapping) else { continue };
            for (name, amount) in amounts {
                let name = name.as_str().unwrap();
                let (value, basis) = match amount.as_str() {
                    Some(text) => (text, "estimated"),
                    None => (
                        amount["value"].as_str().unwrap(),
                        amount.get("basis").and_then(Yaml::as_str).unwrap_or("estimated"),
                    ),
                };
                let unit = value.split(' ').nth(1).unwrap();
                assert_eq!(unit, if name == "mass" { "kg" } else { "EUR" });
                let bare = count * number(value);
                let allowance = bare * growth[&(name, basis)];
                for owner in [system, "car"] {
                    let sum = sums.entry((owner.to_owned(), name.to_owned())).or_default();
                    *sum = (sum.0 + bare + allowance, sum.1 + allowance);
                }
            }
        }
    }
    sums
}

#[test]
fn roll_ups_of_the_example_agree_with_a_recount() {
    let sums = recount();
    let sandbox = Sandbox::new();
    let answer = sandbox.tierod_in(&example(), &["budget", "--format", "json"]).ended(0).json();
    let all = answer["budgets"].as_array().unwrap();
    assert_eq!(all.len(), 20, "car and nine systems, mass and cost");
    for budget in all {
        let key = (budget["of"].as_str().unwrap().to_owned(), budget["amount"].as_str().unwrap().to_owned());
        let (value, growth) = sums[&key];
        assert!(near(budget["value"].as_f64().unwrap(), value), "{key:?}: {budget:#}, and the recount gives {value}");
        assert!(near(budget["growth"].as_f64().unwrap(), growth), "{key:?}: {budget:#}, growth {growth}");
    }
    let shares: f64 =
        budget(all, "car-mass")["shares"].as_array().unwrap().iter().map(|s| s["value"].as_f64().unwrap()).sum();
    assert!(near(shares, budget(all, "car-mass")["value"].as_f64().unwrap()), "the shares contain the complete car");
}

#[test]
fn the_example_is_over_in_the_chassis_and_a_transfer_closes_it() {
    let sandbox = Sandbox::new();
    let run = |args: &[&str]| sandbox.tierod_in(&example(), args).ended(0);
    let answer = run(&["budget", "mass", "--format", "json"]).json();
    let all = answer["budgets"].as_array().unwrap();
    assert!(all.iter().all(|budget| budget["amount"] == "mass"));
    let car = budget(all, "car-mass");
    let shares = car["shares"].as_array().unwrap();
    assert_eq!(shares[0]["id"], "chassis-mass", "who is over comes first");
    let over = shares[0]["over"].as_f64().unwrap();
    assert!((over - 0.78).abs() < 0.005, "{over}");
    assert!(shares[1..].iter().all(|share| share["over"].is_null()));
    assert_eq!(
        (car["reserve"].as_f64(), car["allocated"].as_f64(), car["unallocated"].as_f64()),
        (Some(3.0), Some(202.0), Some(0.0))
    );
    let transfer = &car["transfer"];
    assert_eq!(transfer["closes"], true);
    assert!(car["caution"].as_str().unwrap().contains("check load cases and calculation methods first"));

    // With the proposed revisions no share is over its limit, and the total is within the limit of the car.
    let mut limits: BTreeMap<&str, f64> =
        shares.iter().map(|s| (s["id"].as_str().unwrap(), s["limit"]["at_most"].as_f64().unwrap())).collect();
    let mut change = 0.0;
    for step in transfer["changes"].as_array().unwrap() {
        let revision: Yaml = serde_yaml::from_str(step["revision"].as_str().unwrap()).unwrap();
        let (id, record) = revision["revisions"].as_mapping().unwrap().iter().next().unwrap();
        assert!(id.as_str().unwrap().ends_with("-march"), "{id:?}");
        let id = step["id"].as_str().unwrap();
        assert_eq!((record["of"].as_str(), record["date"].as_str()), (Some(id), Some("2027-03-19")));
        assert!(near(number(record["from"].as_str().unwrap()), limits[id]));
        change += (number(record["to"].as_str().unwrap()) - limits[id]).abs();
        limits.insert(id, number(record["to"].as_str().unwrap()));
    }
    for share in shares {
        assert!(share["value"].as_f64().unwrap() <= limits[share["id"].as_str().unwrap()] + 1e-9, "{share:#}");
    }
    assert!(limits.values().sum::<f64>() <= 202.0 + 1e-9);
    assert!(change >= 2.0 * over - 1e-9 && change <= 2.0 * over + 0.02, "{change}: to a hundredth of a kilogram");

    let text = run(&["budget", "mass"]).out;
    for words in ["chassis-mass", "over", "the smallest limit changes", "of: chassis-mass, from: 47.0 kg", "caution  "]
    {
        assert!(text.contains(words), "{words} is in\n{text}");
    }
    assert!(!text.contains("cost"), "{text}");
    assert_eq!(text, run(&["budget", "mass"]).out, "the same bytes each time");
    let both = run(&["budget"]).out;
    assert!(both.contains(&text) && both.contains("car-cost"), "{both}");
    assert_eq!(run(&["budget", "car-mass"]).out, text);
}

#[test]
fn a_single_argument_is_an_amount_or_a_root() {
    let sandbox = Sandbox::new();
    sandbox.small_root("mass/");
    sandbox.write("mass/more.yaml", "targets:\n  suspension-mass: {of: suspension, at-most: 2 kg, total: mass}\nparts:\n  pin: {in: suspension, amounts: {mass: 1 kg}}\n");
    assert!(
        sandbox.tierod(&["budget", "mass"]).ended(0).out.contains("suspension-mass"),
        "the folder holds the settings"
    );
    let folder = sandbox.path_of("mass");
    assert!(sandbox.tierod_in(&folder, &["budget", "."]).ended(0).out.contains("suspension-mass"));
    assert!(sandbox.tierod(&["budget", "mass", "mass"]).ended(0).out.contains("suspension-mass"));
    let error = sandbox.tierod_in(&folder, &["budget", "mas"]).ended(2).err;
    assert!(error.contains("no budget for `mas`") && error.contains("did you mean `mass`?"), "{error}");
}

#[test]
fn a_folder_with_the_name_of_a_value_is_not_taken_as_the_root() {
    let sandbox = Sandbox::new();
    sandbox.write("tierod.yaml", SETTINGS);
    sandbox.write(
        "records.yaml",
        "goals: {top: {points: 40 pts}}
events: {sprint: {plan: 40 pts, serves: {top: x}, reads: {time: sprint-time}, score: {formula: 100 pts - time * 10 pts/s}}}
targets: {sprint-time: {of: car, at-most: 5 s, estimate: 4.8 s, serves: {sprint: x}}}
",
    );
    let all = sandbox.tierod(&["worth"]).ended(0).out;
    let one = sandbox.tierod(&["worth", "sprint-time"]).ended(0).out;
    assert_ne!(one, all);
    for folder in ["sprint-time", "hub.mass", "inner"] {
        std::fs::create_dir(sandbox.path_of(folder)).unwrap();
    }
    assert_eq!(sandbox.tierod(&["worth", "sprint-time"]).ended(0).out, one, "next to a folder of this name");
    let error = sandbox.tierod(&["worth", "hub.mass"]).ended(2).err;
    assert!(error.contains("no value with id `hub.mass`"), "{error}");
    assert_eq!(sandbox.tierod(&["worth", "./inner"]).ended(0).out, all, "a path is the root, or a folder in it");
    assert_eq!(sandbox.tierod_in(&sandbox.path_of("inner"), &["worth", ".."]).ended(0).out, all);
}

// --- systems in systems, results, currencies --------------------------------------------------------------

const NESTED: &str = "\
systems:
  rolling: {in: car}
  suspension: {in: rolling}
  wheels: {in: rolling}
  seat: {in: car}
targets:
  car-mass: {of: car, at-most: 30 kg, reserve: 1 kg, total: mass}
  rolling-mass: {of: rolling, at-most: 24 kg, reserve: 0.5 kg, total: mass, share-of: car-mass}
  suspension-mass: {of: suspension, at-most: 9 kg, total: mass, share-of: rolling-mass}
  wheels-mass: {of: wheels, at-most: 14000 g, total: mass, share-of: rolling-mass}
parts:
  arm: {in: suspension, count: 4, amounts: {mass: {value: 2000 g, basis: estimated}}}
  rim: {in: wheels, count: 4, amounts: {mass: {value: 3 kg ± 0.1 kg, basis: weighed}}}
  bolt: {in: rolling, count: 10, amounts: {mass: {value: 0.04 kg, basis: weighed}}}
  shell: {in: seat, amounts: {mass: {value: 2.5 kg, basis: weighed}}}
";

/// The changes of a transfer, to a millionth.
fn changes(budget: &Value) -> Vec<(String, f64)> {
    let one = |c: &Value| {
        let change = (c["change"].as_f64().unwrap() * 1e6).round() / 1e6;
        (c["id"].as_str().unwrap().to_owned(), change)
    };
    budget["transfer"]["changes"].as_array().unwrap().iter().map(one).collect()
}

#[test]
fn systems_in_systems_roll_up_and_share_out() {
    let (sandbox, all) = budgets(SETTINGS, NESTED);
    let value = |id: &str| budget(&all, id)["value"].as_f64().unwrap();
    assert!(near(value("suspension-mass"), 9.6) && near(value("wheels-mass"), 12000.0), "grams as they are written");
    assert!(near(value("rolling-mass"), 22.0) && near(value("car-mass"), 24.5));
    assert!(near(budget(&all, "rolling-mass")["growth"].as_f64().unwrap(), 1.6));
    assert!(near(budget(&all, "car-mass")["uncertainty"].as_f64().unwrap(), 0.4), "four equal rims move together");
    // The bolts are in `rolling` itself: outside of both shares, and not in a system that could have one.
    let rolling = budget(&all, "rolling-mass");
    assert!(near(rolling["outside"].as_f64().unwrap(), 0.4));
    assert_eq!(ids(&rolling["without_share"]), Vec::<&str>::new());
    assert_eq!(rolling["share_of"], "car-mass");
    assert!(rolling["transfer"].is_null(), "shown at the whole car");
    let car = budget(&all, "car-mass");
    assert_eq!(ids(&car["without_share"]), ["seat"]);
    assert!(near(car["outside"].as_f64().unwrap(), 2.5));
    // 0.6 kg more for the suspension: of 23.5 kg, 23 kg are allocated and the bolts use 0.4 kg. The car has 5 kg left,
    // of which the seat uses 2.5 kg: no share has to be lowered.
    assert_eq!(changes(car), [("suspension-mass".to_owned(), 0.6), ("rolling-mass".to_owned(), 0.5)]);
    // Without that, the share of the wheels is lowered.
    let (_, all) = budgets(SETTINGS, &NESTED.replace("at-most: 30 kg", "at-most: 27.5 kg"));
    let car = budget(&all, "car-mass");
    assert_eq!(changes(car), [("suspension-mass".to_owned(), 0.6), ("wheels-mass".to_owned(), -0.5)]);
    let wheels = car["transfer"]["changes"][1]["revision"].as_str().unwrap();
    assert!(wheels.contains("from: 14000 g, to: 13500 g"), "{wheels}");
    let inner = sandbox.tierod(&["budget", "rolling-mass"]).ended(0).out;
    assert!(inner.contains("see car-mass"), "{inner}");
    let leaf = sandbox.tierod(&["budget", "suspension-mass"]).ended(0).out;
    assert!(leaf.contains("-0.6000") && leaf.contains("over") && !leaf.contains("wheels"), "{leaf}");
    let checks = ["over-budget", "over-allocated", "no-share", "no-estimate"];
    assert_eq!(
        found(&sandbox, &checks, "2027-03-19"),
        ["warning no-share seat", "warning over-budget suspension-mass"]
    );
    assert_eq!(found(&sandbox, &checks, "2026-10-01"), ["note no-share seat", "note over-budget suspension-mass"]);
    assert_eq!(found(&sandbox, &checks, "2027-07-01"), ["error over-budget suspension-mass", "warning no-share seat"]);
}

#[test]
fn a_system_with_a_share_inside_it_is_reported_only_for_its_own_parts() {
    let records = NESTED.replace("share-of: rolling-mass", "share-of: car-mass").replace(
        "  rolling-mass: {of: rolling, at-most: 24 kg, reserve: 0.5 kg, total: mass, share-of: car-mass}\n",
        "",
    );
    let (_, all) = budgets(SETTINGS, &records);
    let car = budget(&all, "car-mass");
    let without: Vec<(&str, f64)> = car["without_share"]
        .as_array()
        .unwrap()
        .iter()
        .map(|one| (one["id"].as_str().unwrap(), one["value"].as_f64().unwrap()))
        .collect();
    assert_eq!(without.iter().map(|(id, _)| *id).collect::<Vec<_>>(), ["rolling", "seat"]);
    assert!(near(without[0].1, 0.4) && near(without[1].1, 2.5), "{without:?}");
}

#[test]
fn a_weighed_system_has_no_growth() {
    let records = format!(
        "{NESTED}results:\n  on-the-scale: {{of: suspension-mass, value: 8.7 kg ± 0.1 kg, date: 2027-03-01, evidence: [a.csv]}}\n"
    );
    let (sandbox, all) = budgets(SETTINGS, &records);
    let shares = budget(&all, "rolling-mass")["shares"].as_array().unwrap().clone();
    let suspension = shares.iter().find(|share| share["id"] == "suspension-mass").unwrap();
    assert!(near(suspension["room"].as_f64().unwrap(), 0.3) && suspension["growth"].is_null(), "{suspension:#}");
    assert_eq!(budget(&all, "car-mass")["transfer"], serde_json::json!({"closes": true, "changes": []}));
    assert_eq!(found(&sandbox, &["over-budget"], "2027-03-19"), Vec::<String>::new());
}

#[test]
fn money_in_two_currencies_needs_a_rate() {
    let records = "\
systems:
  brakes: {in: car}
  seat: {in: car}
targets:
  car-cost: {of: car, at-most: 1000 EUR, reserve: 50 USD, total: cost}
  brakes-cost: {of: brakes, at-most: 500 USD, total: cost, share-of: car-cost}
  seat-cost: {of: seat, at-most: 400 EUR, total: cost, share-of: car-cost}
parts:
  shell: {in: seat, amounts: {cost: 350 EUR}}
  disc: {in: brakes, count: 4, amounts: {cost: 130 USD}}
";
    let settings = format!("{SETTINGS}currency: EUR\n");
    let (_, all) = budgets(&format!("{settings}rates: {{USD: 0.92 EUR}}\n"), records);
    let car = budget(&all, "car-cost");
    assert!(near(car["value"].as_f64().unwrap(), 350.0 + 4.0 * 130.0 * 0.92), "{car:#}");
    assert!(near(car["reserve"].as_f64().unwrap(), 46.0) && near(car["allocated"].as_f64().unwrap(), 860.0));
    let change = &car["transfer"]["changes"][0];
    assert!(near(change["change"].as_f64().unwrap(), 20.0 * 0.92), "{change:#}");
    assert!(change["revision"].as_str().unwrap().contains("from: 500 USD, to: 520 USD"), "{change:#}");
    assert!(car["caution"].is_null(), "no mass is taken from anything");

    let (sandbox, all) = budgets_ending(2, &settings, records);
    assert_eq!(budget(&all, "car-cost")["not_counted"], serde_json::json!(["brakes-cost"]));
    let reported = found(&sandbox, &["unit-mismatch"], "2027-03-19");
    assert!(reported.iter().any(|line| line.ends_with("unit-mismatch disc")), "{reported:?}");
}

#[test]
fn a_gap_that_no_transfer_closes_is_reported_with_the_largest_growth_allowance() {
    let records = "\
systems:
  brakes: {in: car}
  seat: {in: car}
targets:
  car-mass: {of: car, at-most: 20 kg, reserve: 1 kg, total: mass}
  brakes-mass: {of: brakes, at-most: 8 kg, total: mass, share-of: car-mass}
  seat-mass: {of: seat, at-most: 11 kg, total: mass, share-of: car-mass}
parts:
  shell: {in: seat, amounts: {mass: {value: 9 kg, basis: estimated}}}
  disc: {in: brakes, count: 4, amounts: {mass: {value: 2.5 kg, basis: weighed}}}
";
    let (sandbox, all) = budgets(SETTINGS, records);
    let transfer = &budget(&all, "car-mass")["transfer"];
    assert_eq!((&transfer["closes"], transfer["changes"].as_array().unwrap().len()), (&Value::Bool(false), 0));
    assert!(near(transfer["shortfall"].as_f64().unwrap(), 10.8 + 10.0 - 19.0), "{transfer:#}");
    assert_eq!(transfer["largest_growth"]["id"], "seat-mass");
    assert!(near(transfer["largest_growth"]["growth"].as_f64().unwrap(), 1.8));
    let text = sandbox.tierod(&["budget"]).ended(0).out;
    assert!(text.contains("no limit changes close the gap") && text.contains("caution  "), "{text}");
    let reported = found(&sandbox, &["over-budget", "over-allocated"], "2027-03-19");
    assert_eq!(reported, ["warning over-budget brakes-mass", "warning over-budget car-mass"]);
}

#[test]
fn a_missing_amount_is_reported_after_the_design_stage() {
    let records = "\
targets:
  suspension-mass: {of: suspension, at-most: 20 kg, total: mass}
  brake-distance: {of: car, at-most: 31 m}
  tilt: {of: car, at-least: 60 deg}
  lean: {of: car, at-least: 1 m, formula: 2 * brake-distance}
parts:
  arm: {in: suspension}
results:
  tilted: {of: tilt, outcome: pass, date: 2027-03-01, evidence: [chain.yaml]}
";
    let sandbox = Sandbox::new();
    sandbox.small_root("");
    sandbox.write("more.yaml", records);
    let reported = |day: &str| found(&sandbox, &["no-estimate"], day);
    assert_eq!(reported("2026-10-01"), ["note no-estimate arm", "note no-estimate hub"], "parts from the concept on");
    assert_eq!(
        reported("2027-03-19"),
        ["warning no-estimate arm", "warning no-estimate brake-distance", "warning no-estimate hub"],
        "the cause, and not what follows from it"
    );
    assert!(reported("2027-07-01").iter().all(|line| line.starts_with("error")));
}
