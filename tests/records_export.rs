//! Tables for spreadsheets: the workbook of `export`, read back with another crate, and the CSV of the answers that are
//! tables.

use std::collections::BTreeMap;
use std::path::Path;

use calamine::{Data, Reader as _, Xlsx, open_workbook};
use serde_json::Value;

use crate::support::{DAY, SETTINGS, Sandbox};

pub(crate) const PARTS: &str = "\
systems:
  brakes: {title: Brakes, in: car, lead: brakes lead}
parts:
  disc:
    title: =HYPERLINK(\"http://example.org\")
    in: brakes
    count: 4
    amounts: {mass: {value: 550 g ± 5 g, basis: weighed}, cost: 31.5 EUR}
    serves: {circle-time: It slows the wheel.}
    verify: {by: inspection, with: gauge, due: 2027-06-01}
  caliper:
    title: \"-2+3\"
    in: brakes
    amounts: {mass: 0.4107 kg}
    serves: {circle-time: It holds the pads.}
    verify: {by: inspection, with: gauge, due: 2027-06-01}
  pad:
    title: \"@x\"
    in: brakes
    count: 2
    amounts: {mass: 120.3 g, cost: 20 USD}
    serves: {circle-time: It rubs.}
    verify: {by: inspection, with: gauge, due: 2027-06-01}
targets:
  car-mass: {title: Mass, of: car, at-most: 205 kg, total: mass, reserve: 3 kg, lead: chief, serves: {skidpad: Less to turn.}}
  brake-mass: {of: brakes, at-most: 3 kg, total: mass, share-of: car-mass, serves: {car-mass: Its share.}}
results:
  run-1: {of: circle-time, value: 5.12 s ± 0.02 s, date: 2027-03-01, evidence: [run.csv]}
";

/// A small project with amounts in several units and titles that look like formulas.
fn project() -> Sandbox {
    let sandbox = Sandbox::repository();
    sandbox.small_root("");
    sandbox.write("tierod.yaml", format!("{SETTINGS}currency: EUR\nrates: {{USD: 0.9 EUR}}\n"));
    sandbox.write("brakes.yaml", PARTS);
    sandbox.write("run.csv", "time\n5.12\n");
    sandbox.commit_on(DAY, "Start");
    sandbox
}

/// The rows of a sheet by the heads of their columns.
pub(crate) fn rows(path: &Path, sheet: &str) -> Vec<BTreeMap<String, Data>> {
    let mut book: Xlsx<_> = open_workbook(path).unwrap();
    let range = book.worksheet_range(sheet).unwrap();
    let mut rows = range.rows();
    let heads: Vec<String> = rows.next().unwrap().iter().map(ToString::to_string).collect();
    rows.map(|row| heads.iter().cloned().zip(row.iter().cloned()).collect()).collect()
}

fn row<'r>(rows: &'r [BTreeMap<String, Data>], id: &str) -> &'r BTreeMap<String, Data> {
    rows.iter().find(|row| row["id"] == Data::String(id.to_owned())).unwrap_or_else(|| panic!("{id} in {rows:?}"))
}

#[track_caller]
fn number(cell: &Data) -> f64 {
    match cell {
        Data::Float(number) => *number,
        Data::Int(number) => *number as f64,
        other => panic!("no number: {other:?}"),
    }
}

#[test]
fn the_workbook_has_tables_with_numbers_and_units() {
    let sandbox = project();
    let out = sandbox.tierod(&["export", "car.xlsx"]).ended(0).out;
    assert!(
        out.contains("wrote car.xlsx; rows: Parts 4, Budgets 2, Targets 3, Amounts 4, Results 1, Points 2"),
        "{out}"
    );
    let path = sandbox.path().join("car.xlsx");
    let mut book: Xlsx<_> = open_workbook(&path).unwrap();
    assert_eq!(book.sheet_names(), ["Parts", "Budgets", "Targets", "Amounts", "Results", "Points", "About"]);
    book.load_tables().unwrap();
    assert_eq!(book.table_names().len(), 7, "one table a sheet");
    for name in ["Parts", "Budgets", "Targets", "Amounts", "Results", "Points", "About"] {
        assert_eq!(book.table_names_in_sheet(name), [name], "{name}");
        assert!(book.worksheet_formula(name).unwrap().is_empty(), "no cell of {name} is a formula");
    }

    let parts = rows(&path, "Parts");
    let heads: Vec<&str> = parts[0].keys().map(String::as_str).collect();
    for head in ["mass [g]", "mass ± [g]", "mass basis", "cost [EUR]", "cost [USD]", "count", "system", "record"] {
        assert!(heads.contains(&head), "{head} in {heads:?}");
    }
    // The unit of most parts is the gram: 0.4107 kg is 410.7 g, without an error of rounding.
    assert_eq!(number(&row(&parts, "caliper")["mass [g]"]), 410.7);
    assert_eq!(number(&row(&parts, "disc")["mass [g]"]), 550.0);
    assert_eq!(number(&row(&parts, "disc")["mass ± [g]"]), 5.0);
    assert_eq!(row(&parts, "disc")["mass basis"], Data::String("weighed".into()));
    assert_eq!(number(&row(&parts, "disc")["count"]), 4.0);
    assert_eq!(number(&row(&parts, "hub")["count"]), 1.0);
    assert_eq!(row(&parts, "hub")["mass [g]"], Data::Empty);
    assert_eq!(number(&row(&parts, "pad")["cost [USD]"]), 20.0);
    assert_eq!(row(&parts, "pad")["cost [EUR]"], Data::Empty);
    assert_eq!(row(&parts, "disc")["title"], Data::String("=HYPERLINK(\"http://example.org\")".into()));
    assert_eq!(row(&parts, "disc")["system"], Data::String("brakes".into()));
    assert_eq!(row(&parts, "disc")["record"], Data::String("brakes.yaml:4".into()));

    let result = &rows(&path, "Results")[0];
    assert_eq!((number(&result["value"]), number(&result["uncertainty"])), (5.12, 0.02));
    assert_eq!((&result["unit"], &result["of"]), (&Data::String("s".into()), &Data::String("circle-time".into())));
    // 1 March 2027 is day 46447 of Excel's calendar, whose day 1 is 1 January 1900 (and which has a 29 February 1900).
    assert!(matches!(&result["date"], Data::DateTime(date) if date.as_f64() == 46447.0), "{:?}", result["date"]);

    let about = rows(&path, "About");
    let about: BTreeMap<String, String> =
        about.iter().map(|row| (row["what"].to_string(), row["content"].to_string())).collect();
    assert_eq!(about["season"], "2027");
    assert_eq!(about["date"], DAY);
    assert_eq!(about["last commit"], sandbox.git(&["rev-parse", "HEAD"]).trim());
}

#[test]
fn the_workbook_has_the_numbers_of_the_answers() {
    let sandbox = project();
    sandbox.tierod(&["export", "car.xlsx"]).ended(0);
    let path = sandbox.path().join("car.xlsx");
    let close = |cell: &Data, expected: &Value| match expected.as_f64() {
        Some(expected) => assert!((number(cell) - expected).abs() <= 1e-9 * expected.abs(), "{cell:?} {expected}"),
        None => assert_eq!(*cell, Data::Empty),
    };
    let values = sandbox.tierod(&["values", "--format", "json"]).ended(0).json();
    let targets = rows(&path, "Targets");
    for value in values["values"].as_array().unwrap().iter().filter(|value| !value["status"].is_null()) {
        let row = row(&targets, value["id"].as_str().unwrap());
        ["value", "uncertainty", "low", "high", "margin"].iter().for_each(|key| close(&row[*key], &value[*key]));
        close(&row["at_most"], &value["limit"]["at_most"]);
        assert_eq!(row["status"].to_string(), value["status"].as_str().unwrap());
    }
    assert_eq!(targets.len(), 3);
    let budgets = rows(&path, "Budgets");
    let answer = sandbox.tierod(&["budget", "--format", "json"]).ended(0).json();
    let car = answer["budgets"].as_array().unwrap().iter().find(|budget| budget["id"] == "car-mass").unwrap();
    let share = budgets.iter().find(|row| row["budget"] == Data::String("car-mass".into())).unwrap();
    assert_eq!(share["id"], Data::String("brake-mass".into()));
    close(&share["value"], &car["shares"][0]["value"]);
    close(&row(&budgets, "car-mass")["reserve"], &car["reserve"]);
    let points = rows(&path, "Points");
    let answer = sandbox.tierod(&["points", "--format", "json"]).json();
    close(&row(&points, "skidpad")["plan [pts]"], &answer["events"][0]["plan"]);
    assert_eq!(points.last().unwrap()["id"], Data::String("top-ten".into()));
}

#[test]
fn the_same_records_and_date_give_the_same_bytes() {
    let sandbox = project();
    for file in ["a.xlsx", "b.xlsx"] {
        sandbox.tierod(&["export", file, "--rev", "HEAD"]).ended(0);
    }
    let read = |file: &str| std::fs::read(sandbox.path().join(file)).unwrap();
    assert_eq!(read("a.xlsx"), read("b.xlsx"));
}

#[test]
fn a_file_that_is_there_is_kept() {
    let sandbox = project();
    sandbox.write("car.xlsx", "mine");
    let error = sandbox.tierod(&["export", "car.xlsx"]).ended(2).err;
    assert!(error.contains("already exists") && error.contains("--replace"), "{error}");
    assert_eq!(std::fs::read(sandbox.path().join("car.xlsx")).unwrap(), b"mine");
    sandbox.tierod(&["export", "car.xlsx", "--replace"]).ended(0);
    assert_eq!(rows(&sandbox.path().join("car.xlsx"), "Parts").len(), 4);
    for file in ["car.xls", "car", "tierod.yaml", "missing/car.xlsx"] {
        let answer = sandbox.tierod(&["export", file, "--replace"]);
        assert!(answer.code == 2 && answer.err.contains("  fix "), "{file}: {}", answer.err);
    }
    let missing = sandbox.tierod(&["export", "missing/car.xlsx"]).err;
    assert!(missing.contains("make the folder `missing` first"), "{missing}");
    #[cfg(unix)]
    {
        std::os::unix::fs::symlink(sandbox.path().join("brakes.yaml"), sandbox.path().join("link.xlsx")).unwrap();
        assert_eq!(sandbox.tierod(&["export", "link.xlsx", "--replace"]).code, 2);
        assert_eq!(std::fs::read_to_string(sandbox.path().join("brakes.yaml")).unwrap(), PARTS);
    }
    // Nothing is left beside.
    let left = std::fs::read_dir(sandbox.path())
        .unwrap()
        .filter(|entry| entry.as_ref().unwrap().file_name().to_string_lossy().contains("tierod-new"));
    assert_eq!(left.count(), 0);
}

#[test]
fn an_empty_project_gives_empty_tables() {
    let sandbox = Sandbox::repository();
    sandbox.write("tierod.yaml", SETTINGS);
    let answer = sandbox.tierod(&["export", "a.xlsx", "--format", "json"]).ended(0).json();
    assert_eq!(answer["sheets"][0], serde_json::json!({"name": "Parts", "rows": 0}));
    let mut book: Xlsx<_> = open_workbook(sandbox.path().join("a.xlsx")).unwrap();
    book.load_tables().unwrap();
    assert_eq!(book.table_names().len(), 7);
}

/// The cells of a CSV text, as RFC 4180 says.
fn csv(text: &str) -> Vec<Vec<String>> {
    let (mut rows, mut row, mut cell, mut quoted) = (Vec::new(), Vec::new(), String::new(), false);
    let mut chars = text.chars().peekable();
    while let Some(c) = chars.next() {
        match (quoted, c) {
            (true, '"') if chars.peek() == Some(&'"') => cell.extend(chars.next()),
            (true, '"') => quoted = false,
            (false, '"') => quoted = true,
            (false, ',') => row.push(std::mem::take(&mut cell)),
            (false, '\r') => assert_eq!(chars.peek(), Some(&'\n')),
            (false, '\n') => {
                row.push(std::mem::take(&mut cell));
                rows.push(std::mem::take(&mut row));
            }
            (_, c) => cell.push(c),
        }
    }
    assert!(cell.is_empty() && !quoted, "every line ends");
    rows
}

/// The rows of a CSV answer by their heads.
#[track_caller]
fn table(sandbox: &Sandbox, args: &[&str], code: i32) -> Vec<BTreeMap<String, String>> {
    let out = sandbox.tierod(args).ended(code).out;
    let mut all = csv(&out).into_iter();
    let heads = all.next().unwrap();
    all.map(|row| {
        assert_eq!(row.len(), heads.len());
        heads.iter().cloned().zip(row).collect()
    })
    .collect()
}

#[test]
fn values_budgets_and_points_are_tables() {
    let sandbox = project();
    let answer = sandbox.tierod(&["values", "--format", "json"]).ended(0).json();
    let values = answer["values"].as_array().unwrap();
    let all = table(&sandbox, &["values", "--format", "csv"], 0);
    assert_eq!(all.len(), values.len());
    for (row, value) in all.iter().zip(values) {
        assert_eq!(row["id"], value["id"].as_str().unwrap());
        assert_eq!(row["unit"], value["unit"].as_str().unwrap());
        match value["value"].as_f64() {
            Some(number) => assert!((row["value"].parse::<f64>().unwrap() - number).abs() <= 1e-9 * number.abs()),
            None => assert_eq!(row["value"], ""),
        }
    }
    let time = all.iter().find(|row| row["id"] == "circle-time").unwrap();
    assert_eq!([&time["value"], &time["at_most"], &time["status"]], ["5.12", "5.2", "met"]);
    assert_eq!([&time["of"], &time["record"]], ["car", "chain.yaml:11"]);

    let budgets = table(&sandbox, &["budget", "--format", "csv"], 0);
    let ids: Vec<(&str, &str)> = budgets.iter().map(|row| (row["id"].as_str(), row["budget"].as_str())).collect();
    assert!(ids.contains(&("brake-mass", "car-mass")) && ids.contains(&("car-mass", "")), "{ids:?}");
    assert_eq!(table(&sandbox, &["budget", "brake-mass", "--format", "csv"], 0).len(), 1);

    let points = sandbox.tierod(&["points", "--format", "csv"]);
    let rows = csv(&points.out);
    assert_eq!(rows[0][..4], ["id", "goal", "title", "plan [pts]"]);
    assert_eq!(rows[1][..2], ["skidpad", "top-ten"]);
    assert_eq!(rows[2][..2], ["top-ten", ""]);
}

#[test]
fn findings_are_a_table_with_those_that_are_waived() {
    let sandbox = project();
    sandbox.write(
        "more.yaml",
        "parts:\n  bolt: {title: \"=1+1, \\\"x\\\"\", in: brakes, serves: {circle-time: It holds.}}\n  \
         nut: {in: brakes, serves: {circle-time: It holds, too.}}\nwaivers:\n  later: {check: no-verification, of: nut, \
         until: 2027-06-01, agreed-by: chief, reason: It is standard.}\n",
    );
    let json = sandbox.tierod(&["check", "--format", "json"]).json();
    let all = table(&sandbox, &["check", "--format", "csv"], sandbox.tierod(&["check"]).code);
    let findings = json["findings"].as_array().unwrap();
    assert!(!findings.is_empty());
    assert_eq!(all.len(), findings.len() + json["summary"]["waived"].as_u64().unwrap() as usize);
    for (row, finding) in all.iter().zip(findings) {
        assert_eq!(row["fingerprint"], finding["fingerprint"].as_str().unwrap());
        assert_eq!(row["line"], finding["line"].to_string());
        assert_eq!(row["waiver"], "");
    }
    assert_eq!(all.last().unwrap()["waiver"], "later");
    // A message that begins with a title like a formula is text.
    let formula = all.iter().find(|row| row["message"].contains("=1+1")).unwrap();
    assert!(formula["message"].starts_with("'="), "{}", formula["message"]);
}

#[test]
fn numbers_on_something_broken_say_so_on_their_row() {
    let sandbox = project();
    let text = std::fs::read_to_string(sandbox.path().join("brakes.yaml")).unwrap();
    sandbox.write("brakes.yaml", text.replace("0.4107 kg", "0.4107 s"));
    let all = table(&sandbox, &["values", "--format", "csv"], 0);
    let mass = all.iter().find(|row| row["id"] == "car-mass").unwrap();
    assert!(mass["problem"].contains("caliper") || mass["problem"].contains('s'), "{mass:?}");
    assert!(!mass["problem"].is_empty());
    let time = all.iter().find(|row| row["id"] == "circle-time").unwrap();
    assert_eq!(time["problem"], "");
    sandbox.tierod(&["export", "car.xlsx"]).ended(0);
    let targets = rows(&sandbox.path().join("car.xlsx"), "Targets");
    assert_ne!(row(&targets, "car-mass")["problem"], Data::Empty);
}

#[test]
fn the_parts_of_the_example_add_up_as_in_its_files() {
    let sandbox = Sandbox::new();
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("../example-car");
    let file = sandbox.path().join("car.xlsx");
    sandbox.tierod(&["export", file.to_str().unwrap(), root.to_str().unwrap()]).ended(0);
    let sheet: f64 = rows(&file, "Parts")
        .iter()
        .filter(|row| row["mass [kg]"] != Data::Empty)
        .map(|row| number(&row["mass [kg]"]) * number(&row["count"]))
        .sum();
    let (mut total, mut parts) = (0.0, 0);
    let mut folders = vec![root];
    while let Some(folder) = folders.pop() {
        for entry in std::fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                folders.push(path);
            } else if path.extension().is_some_and(|ending| ending == "yaml") {
                let text = std::fs::read_to_string(&path).unwrap();
                let file: Value = serde_yaml::from_str(&text).unwrap_or_default();
                for part in file["parts"].as_object().into_iter().flat_map(|all| all.values()) {
                    let mass = &part["amounts"]["mass"];
                    let Some(text) = mass.as_str().or_else(|| mass["value"].as_str()) else { continue };
                    let mass = schema::Quantity::parse(text).unwrap();
                    total += mass.si() * part["count"].as_f64().unwrap_or(1.0);
                    parts += 1;
                }
            }
        }
    }
    assert!(parts > 90 && (sheet - total).abs() < 1e-9 * total, "{parts} parts, {sheet} {total}");
}

#[test]
fn budgets_are_listed_once_and_add_up() {
    let sandbox = Sandbox::new();
    crate::example_car::copy(&sandbox);
    sandbox.tierod(&["export", "car.xlsx"]).ended(0);
    let path = sandbox.path().join("car.xlsx");
    let budgets = rows(&path, "Budgets");
    let answer = sandbox.tierod(&["budget", "--format", "json"]).json();
    let all = answer["budgets"].as_array().unwrap();
    assert_eq!(budgets.len(), all.len());
    for budget in all {
        let id = Data::String(budget["id"].as_str().unwrap().to_owned());
        let own: Vec<_> = budgets.iter().filter(|row| row["id"] == id).collect();
        assert_eq!(own.len(), 1, "{id}");
        assert_eq!(own[0]["budget"].to_string(), budget["share_of"].as_str().unwrap_or_default(), "{id}");
        assert!((number(&own[0]["value"]) - budget["value"].as_f64().unwrap()).abs() < 1e-9, "{id}");
    }
    // A share is below its budget.
    let at = |id: &str| budgets.iter().position(|row| row["id"] == Data::String(id.to_owned())).unwrap();
    assert!((1..10).contains(&(at("brakes-mass") - at("car-mass"))));
    // The rows that are no shares are the car, once.
    let mass = Data::String("mass".to_owned());
    let top: Vec<f64> = budgets
        .iter()
        .filter(|row| row["amount"] == mass && row["budget"] == Data::Empty)
        .map(|row| number(&row["value"]))
        .collect();
    let car = all.iter().find(|budget| budget["id"] == "car-mass").unwrap();
    assert_eq!(top.len(), 1);
    assert!((top[0] - car["value"].as_f64().unwrap()).abs() < 1e-9);
    // The amounts of the systems are in the workbook.
    let amounts = rows(&path, "Amounts");
    let values = sandbox.tierod(&["values", "--format", "json"]).json();
    let cost = values["values"].as_array().unwrap().iter().find(|value| value["id"] == "brakes.cost").unwrap();
    let own = row(&amounts, "brakes.cost");
    assert!((number(&own["value"]) - cost["value"].as_f64().unwrap()).abs() < 1e-9);
    assert_eq!((own["of"].to_string(), own["unit"].to_string()), ("brakes".to_owned(), "EUR".to_owned()));
}

#[test]
fn an_import_of_the_export_changes_nothing() {
    let sandbox = Sandbox::new();
    crate::example_car::copy(&sandbox);
    sandbox.tierod(&["export", "all.xlsx"]).ended(0);
    sandbox.tierod(&["import", "all.xlsx", "--save", "back"]).ended(0);
    let answer = sandbox.tierod(&["import", "back", "--format", "json"]).ended(0).json();
    assert_eq!((&answer["written"], &answer["agrees"]), (&false.into(), &true.into()), "{answer}");
    for list in ["added", "changed", "differing", "gone", "not_in_car", "empty", "skipped", "unread", "files"] {
        assert_eq!(answer[list], serde_json::json!([]), "{list}");
    }
    let number = answer["unchanged"].as_u64().unwrap();
    assert!(number > 90, "{number}");

    // A new project with the systems only gets the same table of parts.
    let new = Sandbox::new();
    let settings = std::fs::read_to_string(sandbox.path().join("tierod.yaml")).unwrap();
    new.write("tierod.yaml", settings);
    new.write("back.xlsx", std::fs::read(sandbox.path().join("all.xlsx")).unwrap());
    let old = rows(&sandbox.path().join("all.xlsx"), "Parts");
    let systems: std::collections::BTreeSet<String> = old.iter().map(|row| row["system"].to_string()).collect();
    let systems: String = systems.iter().map(|id| format!("  {id}: {{in: car, lead: chief}}\n")).collect();
    new.write("systems.yaml", format!("systems:\n{systems}"));
    let answer = new.tierod(&["import", "back", "--format", "json"]);
    assert_eq!(answer.code, 2, "the entry names the file of the old project");
    std::fs::rename(new.path().join("back.xlsx"), new.path().join("all.xlsx")).unwrap();
    let answer = new.tierod(&["import", "back", "--format", "json"]).ended(0).json();
    assert_eq!(answer["added"].as_array().unwrap().len() as u64, number, "{answer}");
    new.tierod(&["export", "again.xlsx"]).ended(0);
    let again = rows(&new.path().join("again.xlsx"), "Parts");
    assert_eq!(again.len(), old.len());
    for before in &old {
        let after = again.iter().find(|row| row["id"] == before["id"]).unwrap();
        for column in
            ["title", "system", "count", "mass [kg]", "mass basis", "cost [EUR]", "cost basis", "safety_critical"]
        {
            assert_eq!(after[column], before[column], "{column} of {}", before["id"]);
        }
    }
}
