//! From a sheet to a new project: part numbers by their look, systems, leads, uncertainties, and the files that are written.

use serde_json::Value;

use crate::records_import::{SETTINGS, import, small, text, unread};
use crate::support::Sandbox;

/// A sheet as teams keep it: codes under `Part`, names under `Name`, running numbers under `No`.
const SHEET: &str = "\
No;Part;Name;Section;Qty;Mass [g];Lead time [d]
1;BR-01;Disc;Brakes;4;550;10
2;BR-02;Caliper;Brakes;2;410.5;10
3;WH-01;Rim;Räder;4;1900;30
4;AE-01;Wing;Body/Aero;1;2400;5
";

const TARGET: &str = "targets:\n  mass: {of: car, at-most: 200 kg, total: mass, lead: chief}\n";

fn new(sheet: &str) -> Sandbox {
    let sandbox = Sandbox::new();
    sandbox.write("tierod.yaml", SETTINGS);
    sandbox.write("targets.yaml", TARGET);
    sandbox.write("bom.csv", sheet);
    sandbox
}

fn proposal(sheet: &str) -> Value {
    new(sheet).tierod(&["import", "bom.csv", "--format", "json"]).ended(0).json()
}

#[test]
fn part_numbers_are_codes_that_come_once() {
    let id_and_title = |head: &str, rows: &[&str]| {
        let rows: String = rows.iter().map(|row| format!("{row};Brakes;1;5\n")).collect();
        let answer = proposal(&format!("{head};Section;Qty;Mass [g]\n{rows}"));
        let entry: Value = serde_yaml::from_str(answer["entry"].as_str().unwrap()).unwrap();
        let parts = &entry["imports"]["bom"]["parts"];
        let key = |key: &str| parts[key].as_str().unwrap_or("-").to_owned();
        format!("{} {}", key("id"), key("title"))
    };
    for (head, rows, expected) in [
        ("Part;Name", &["BR-01;Disc", "BR-02;Pad"][..], "Part Name"),
        ("Item;Description", &["1001;Disc", "1002;Pad"], "Item Description"),
        ("PN;Part", &["BR-01;Disc", "BR-02;Pad"], "PN Part"),
        ("Part Number;Part", &["BR-01;Disc", "BR-02;Pad"], "Part Number Part"),
        // Running numbers are the part numbers only if no other column has codes.
        ("No;Part;Name", &["1;BR-01;Disc", "2;BR-02;Pad"], "Part Name"),
        ("No;Part", &["1;Disc", "2;Pad"], "No Part"),
        // Names are not codes, and neither is what comes twice.
        ("Part;Code", &["Disc;D1", "Pad;D2"], "Code Part"),
        ("Part;Id", &["A1;D1", "A1;D2"], "Id Part"),
    ] {
        assert_eq!(id_and_title(head, rows), expected, "{head}");
    }
}

#[test]
fn the_systems_of_a_sheet_are_added_with_its_parts() {
    let sandbox = new(SHEET);
    let answer = sandbox.tierod(&["import", "bom.csv"]).ended(0).out;
    for line in
        ["systems to add: `tierod import bom --with-systems`", "  brakes:", "    title: Räder", "raeder:", "body-aero:"]
    {
        assert!(answer.contains(line), "{line}: {answer}");
    }
    let answer = proposal(SHEET);
    let ids: Vec<&str> = answer["systems"].as_array().unwrap().iter().map(|own| own["id"].as_str().unwrap()).collect();
    assert_eq!((ids, &answer["complete"]), (vec!["brakes", "raeder", "body-aero"], &true.into()));
    let saved = sandbox.tierod(&["import", "bom.csv", "--save", "bom"]).ended(0).out;
    assert!(saved.contains("run `tierod import bom --with-systems --dry-run`"), "{saved}");
    let entry = text(&sandbox, "tierod.yaml");
    assert!(!entry.contains("Lead time") && !entry.contains("lead:"), "a lead time is no lead: {entry}");

    // Without the option, the rows are skipped as before, with the way out.
    let answer = import(&sandbox, &["--dry-run"]);
    assert_eq!(answer["skipped"][0]["reason"], "no system for `Brakes`: add it to `names` under `in`");
    let out = sandbox.tierod(&["import", "bom", "--dry-run"]).ended(0).out;
    assert!(out.contains("4 rows without a system: `tierod import bom --with-systems` adds the systems"), "{out}");
    let answer = import(&sandbox, &["--with-systems"]);
    assert_eq!(answer["systems"].as_array().unwrap().len(), 3, "{answer}");
    assert_eq!(answer["added"], serde_json::json!(["br-01", "br-02", "wh-01", "ae-01"]));
    assert_eq!(
        text(&sandbox, "systems.yaml"),
        "systems:\n  brakes:\n    title: Brakes\n    in: car\n    for-parts: {serves: {mass: todo}}\n  raeder:\n    title: Räder\n    \
         in: car\n    for-parts: {serves: {mass: todo}}\n  body-aero:\n    title: Body/Aero\n    in: car\n    for-parts: {serves: \
         {mass: todo}}\n"
    );
    // The check reports the reason and the lead that are missing, once per system.
    let check = sandbox.tierod(&["check", "--format", "json"]).json();
    let of = |name: &str| {
        let all = check["findings"].as_array().unwrap().iter().filter(|own| own["check"] == name);
        all.map(|own| own["message"].as_str().unwrap().to_owned()).collect::<Vec<String>>()
    };
    let reasons = of("no-reason");
    assert_eq!(reasons.iter().filter(|own| own.contains("`serves: mass` is a placeholder")).count(), 3, "{reasons:?}");
    assert!(of("no-lead").iter().any(|own| own.contains("Brakes has no lead")), "{check}");
    // The next import adds none again.
    let again = import(&sandbox, &["--with-systems"]);
    assert_eq!((&again["systems"], &again["agrees"]), (&serde_json::json!([]), &true.into()), "{again}");
}

#[test]
fn with_several_targets_the_team_says_what_parts_serve() {
    let sandbox = new(SHEET);
    sandbox.write("more.yaml", "targets: {time: {of: car, at-most: 4 s, lead: chief}}\n");
    sandbox.tierod(&["import", "bom.csv", "--save", "bom"]).ended(0);
    let out = sandbox.tierod(&["import", "bom", "--with-systems"]).ended(0).out;
    assert!(out.contains("`for-parts: {serves: {TARGET: reason}}`"), "{out}");
    assert!(!text(&sandbox, "systems.yaml").contains("for-parts"));
    let findings = sandbox.tierod(&["check", "--format", "json"]).json();
    let none = findings["findings"].as_array().unwrap().iter().filter(|own| own["check"] == "no-parent");
    assert!(none.count() >= 4, "{findings}");
    let error = sandbox.tierod(&["import", "bom.csv", "--with-systems"]).ended(2).err;
    assert!(error.contains("needs the name of an entry"), "{error}");
}

#[test]
fn a_section_with_the_id_of_another_record_is_no_system() {
    let sandbox = new("Part;Section;Mass [g]\nA-1;Mass;5\nA-2;Car;5\nA-3;Wings;5\n");
    sandbox.tierod(&["import", "bom.csv", "--save", "bom"]).ended(0);
    let answer = import(&sandbox, &["--with-systems"]);
    assert_eq!(answer["added"], serde_json::json!(["a-3"]), "{answer}");
    let reasons = answer["skipped"].to_string();
    assert!(reasons.contains("no system for `Mass`") && reasons.contains("no system for `Car`"), "{reasons}");
}

/// Uncertainties, leads, marks of safety and prices in two currencies.
#[test]
fn all_columns_of_a_part_are_read() {
    let entry = "\
imports:
  bom:
    file: cad/bom.csv
    into: parts.yaml
    parts:
      id: Part
      in: brakes
      amounts:
        mass: {column: Mass, unit: g, uncertainty: \"±\", margins: [10 %]}
        cost: [{column: EUR, unit: EUR}, {column: USD, unit: USD}]
      lead: Lead
      safety-critical: Safety
";
    let sandbox = small("");
    sandbox.write("tierod.yaml", format!("{SETTINGS}{entry}"));
    let rows = "A-1;100;5;20;;brakes lead;x\nA-2;50;;;30;pads lead;no\nA-3;1;-1;1;2;;maybe\n";
    sandbox.write("cad/bom.csv", format!("Part;Mass;±;EUR;USD;Lead;Safety\n{rows}"));
    let answer = import(&sandbox, &[]);
    assert_eq!(
        text(&sandbox, "parts.yaml"),
        "parts:\n  a-1:\n    in: brakes\n    amounts: {mass: 110 g ± 5.5 g, cost: 20 EUR}\n    safety-critical: true\n  a-2:\n    \
         in: brakes\n    amounts: {mass: 55 g, cost: 30 USD}\n    lead: pads lead\n  a-3:\n    in: brakes\n",
        "the lead of the system is not written again, and margins are of both numbers"
    );
    assert_eq!(
        unread(&answer),
        [
            "B4: `Mass`: C: -1 is negative",
            "D4: `EUR`: another column of `cost` has a number too",
            "E4: `USD`: another column of `cost` has a number too",
            "G4: `Safety` is `maybe`, not true or false"
        ]
    );
    let totals: Vec<String> = answer["totals"]
        .as_array()
        .unwrap()
        .iter()
        .map(|own| format!("{} {} {}", own["amount"].as_str().unwrap(), own["records"], own["unit"].as_str().unwrap()))
        .collect();
    assert_eq!(totals, ["mass 165.0 g", "cost 20.0 EUR", "cost 30.0 USD"]);
    // The sheet decides about amounts, the records about leads and safety.
    let rows =
        rows.replace("100;5;", "100;6;").replace("pads lead;no", "disc lead;yes").replace(";-1;1;2;;maybe", ";;;;;");
    sandbox.write("cad/bom.csv", format!("Part;Mass;±;EUR;USD;Lead;Safety\n{rows}"));
    let answer = import(&sandbox, &[]);
    let changed: Vec<String> =
        answer["changed"].as_array().unwrap().iter().map(|own| own["after"].to_string()).collect();
    assert_eq!(changed, ["\"110 g ± 6.6 g\"", "\"1.1 g\""]);
    let differing = answer["differing"].as_array().unwrap().iter();
    let differing: Vec<String> =
        differing.map(|own| format!("{} {} {}", own["field"], own["sheet"], own["records"])).collect();
    assert_eq!(differing, ["\"lead\" \"disc lead\" \"pads lead\"", "\"safety-critical\" \"true\" \"false\""]);
    let again = import(&sandbox, &[]);
    assert_eq!(again["changed"], serde_json::json!([]), "{again}");
}

#[test]
fn only_record_files_of_the_project_are_written() {
    let sandbox = small("A-1;A;Brakes;1;1.5;1;CAD\n");
    let entry = text(&sandbox, "tierod.yaml");
    sandbox.write("docker-compose.yml", "services: {web: {image: x}}\n");
    sandbox.write("deploy/run.yaml", "on: push\n");
    sandbox.write("deploy/list.yaml", "- a\n");
    sandbox.write(".github/workflows/x.yml", "on: push\n");
    sandbox.write("deploy/broken.yaml", "a: [\n");
    sandbox.write("deploy/good.yaml", "# only a comment\n");
    for (into, why) in [
        ("docker-compose.yml", "files with this name are read by other programs"),
        ("azure-pipelines.yml", "files with this name are read by other programs"),
        ("deploy/run.yaml", "it has the key `on`, which no record file has"),
        ("deploy/list.yaml", "it does not have the kinds of records as keys"),
        (".github/workflows/x.yml", "names that begin with a dot belong to other programs"),
        (".github/workflows/new-{in}.yml", "names that begin with a dot belong to other programs"),
        ("deploy/.hidden.yaml", "names that begin with a dot belong to other programs"),
        ("../out.yaml", "is not a path in the project"),
        ("deploy/broken.yaml", "cannot edit deploy/broken.yaml"),
    ] {
        sandbox.write("tierod.yaml", entry.replace("parts/{in}.yaml", into));
        let before = std::fs::read(sandbox.path_of(into)).ok();
        let error = sandbox.tierod(&["import", "bom"]).ended(2).err;
        assert!(error.contains(why) && error.contains("  fix "), "{into}: {error}");
        assert_eq!(std::fs::read(sandbox.path_of(into)).ok(), before, "{into}");
    }
    sandbox.write("tierod.yaml", entry.replace("parts/{in}.yaml", "deploy/good.yaml"));
    sandbox.tierod(&["import", "bom"]).ended(0);
    assert!(text(&sandbox, "deploy/good.yaml").starts_with("# only a comment\nparts:\n  a-1:"));
}

/// The numbers of an answer: each value with its id, its uncertainty and its limit.
fn values(sandbox: &Sandbox) -> Value {
    let json = sandbox.tierod(&["values", "--format", "json"]).ended(0).json();
    let keep = ["id", "value", "uncertainty", "low", "high", "margin", "growth", "unit", "limit", "status"];
    let one = |own: &Value| Value::from_iter(keep.map(|key| (key, own[key].clone())));
    json["values"].as_array().unwrap().iter().map(one).collect()
}

/// Without its own records of parts, a project has the same numbers after the import of its export.
fn round_trip(old: &Sandbox) {
    old.tierod(&["export", "all.xlsx"]).ended(0);
    old.tierod(&["import", "all.xlsx", "--save", "back"]).ended(0);
    let parts = crate::records_export::rows(&old.path_of("all.xlsx"), "Parts");
    let before = values(old);
    let mut folders = vec![old.path()];
    while let Some(folder) = folders.pop() {
        for entry in std::fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            let name = path.file_name().unwrap().to_string_lossy().into_owned();
            if path.is_dir() && name != ".git" {
                folders.push(path);
            } else if path.extension().is_some_and(|ending| ending == "yaml") && name != "tierod.yaml" {
                // JSON is YAML, too.
                let mut file: Value = serde_yaml::from_str(&std::fs::read_to_string(&path).unwrap()).unwrap();
                if file.as_object_mut().is_some_and(|kinds| kinds.remove("parts").is_some()) {
                    std::fs::write(&path, file.to_string()).unwrap();
                }
            }
        }
    }
    assert_ne!(values(old), before, "the parts are gone");
    let answer = old.tierod(&["import", "back", "--format", "json"]).ended(0).json();
    assert_eq!(answer["added"].as_array().unwrap().len(), parts.len(), "{answer}");
    assert_eq!((&answer["skipped"], &answer["unread"]), (&serde_json::json!([]), &serde_json::json!([])), "{answer}");
    // To the last digit: the numbers are the same texts.
    let (Value::Array(before), Value::Array(after)) = (before, values(old)) else { panic!() };
    assert_eq!(before.len(), after.len());
    for own in &before {
        let id = &own["id"];
        assert_eq!(Some(own), after.iter().find(|other| other["id"] == *id), "{id}");
    }
    old.tierod(&["export", "again.xlsx"]).ended(0);
    let again = crate::records_export::rows(&old.path_of("again.xlsx"), "Parts");
    assert_eq!(again.len(), parts.len());
    for row in &parts {
        let mut same =
            again.iter().find(|own| own["id"] == row["id"]).unwrap_or_else(|| panic!("{}", row["id"])).clone();
        // The file and the line of the record are others.
        same.insert("record".to_owned(), row["record"].clone());
        assert_eq!(same, *row);
    }
}

#[test]
fn the_example_is_the_same_after_an_export_and_an_import() {
    let sandbox = Sandbox::new();
    crate::example_car::copy(&sandbox);
    round_trip(&sandbox);
}

#[test]
fn uncertainties_and_currencies_are_the_same_after_an_export_and_an_import() {
    let sandbox = Sandbox::new();
    sandbox.small_root("");
    sandbox.write("tierod.yaml", format!("{}currency: EUR\nrates: {{USD: 0.9 EUR}}\n", crate::support::SETTINGS));
    let parts =
        crate::records_export::PARTS.replace("    title: \"@x\"", "    safety-critical: true\n    lead: pads lead");
    sandbox.write("brakes.yaml", parts.replace("cost: 31.5 EUR", "cost: 31.5 EUR ± 1.25 EUR"));
    sandbox.write("run.csv", "time\n5.12\n");
    sandbox.tierod(&["export", "heads.xlsx"]).ended(0);
    let rows = crate::records_export::rows(&sandbox.path_of("heads.xlsx"), "Parts");
    for head in ["mass ± [g]", "cost ± [EUR]", "cost [USD]", "safety_critical", "lead"] {
        assert!(rows[0].contains_key(head), "{head}");
    }
    std::fs::remove_file(sandbox.path_of("heads.xlsx")).unwrap();
    round_trip(&sandbox);
}
