//! Parts from spreadsheets that other programs have written (`tests/spreadsheets/make.py`).

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use serde_json::Value;

use crate::support::Sandbox;

pub(crate) const SETTINGS: &str = "\
season: 2027
currency: EUR
as-of: 2027-03-19
growth:
  mass: {estimated: 20 %, drawn: 5 %, weighed: 0 %}
  cost: {estimated: 20 %, quoted: 5 %}
";

pub(crate) const SYSTEMS: &str = "\
systems:
  brakes: {in: car, lead: brakes lead}
  suspension: {in: car, lead: suspension lead}
  bodywork-and-aero: {in: car, lead: aero lead}
";

/// The columns of the English sheets.
pub(crate) const ENGLISH: [&str; 7] = ["Part no.", "Description", "Section", "Qty", "Mass [g]", "Price [EUR]", "State"];
const GERMAN: [&str; 7] = ["Teilenummer", "Bezeichnung", "Baugruppe", "Stück", "Masse [g]", "Preis [€]", "Stand"];
const FRENCH: [&str; 7] = ["Référence", "Désignation", "Ensemble", "Quantité", "Masse [g]", "Prix [€]", "État"];

/// Every spreadsheet with its columns.
fn spreadsheets() -> Vec<(&'static str, [&'static str; 7])> {
    let mut merged = ENGLISH;
    merged[4] = "Mass [g] / each";
    vec![
        ("openpyxl.xlsx", ENGLISH),
        ("openpyxl-merged.xlsx", merged),
        ("pandas.xlsx", ENGLISH),
        ("pandas.ods", ENGLISH),
        ("pandas.csv", ENGLISH),
        ("libreoffice.xlsx", ENGLISH),
        ("libreoffice.ods", ENGLISH),
        ("german.csv", GERMAN),
        ("swiss.csv", GERMAN),
        ("british.csv", ENGLISH),
        ("french.csv", FRENCH),
        ("utf-16.csv", FRENCH),
    ]
}

pub(crate) fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../tests/spreadsheets")
}

/// An entry of the settings.
pub(crate) fn entry(file: &str, [id, title, section, count, mass, cost, state]: [&str; 7], more: &str) -> String {
    format!(
        "imports:
  bom:
    file: cad/{file}
    into: parts/{{in}}.yaml
{more}    parts:
      id: \"{id}\"
      title: \"{title}\"
      in: {{column: {section}, names: {{Brakes: brakes, Front wing: bodywork-and-aero}}}}
      count: {count}
      amounts:
        mass: {{column: \"{mass}\", unit: g, basis: {{column: {state}, names: {{CAD: drawn, scales: weighed, estimate: estimated}}}}}}
        cost: {{column: \"{cost}\", unit: EUR, basis: quoted}}
"
    )
}

/// A project with a spreadsheet and its entry.
pub(crate) fn project(file: &str, bytes: &[u8], entry: &str) -> Sandbox {
    let sandbox = Sandbox::new();
    sandbox.write("tierod.yaml", format!("{SETTINGS}{entry}"));
    sandbox.write("systems.yaml", SYSTEMS);
    sandbox.write(&format!("cad/{file}"), bytes);
    sandbox
}

/// A project with a small English table.
pub(crate) fn small(rows: &str) -> Sandbox {
    let table = format!("{}\n{rows}", ENGLISH.join(";"));
    project("bom.csv", table.as_bytes(), &entry("bom.csv", ENGLISH, ""))
}

pub(crate) fn import(sandbox: &Sandbox, args: &[&str]) -> Value {
    sandbox.tierod(&[&["import", "bom", "--format", "json"], args].concat()).ended(0).json()
}

/// The record files.
pub(crate) fn records(sandbox: &Sandbox) -> BTreeMap<String, Vec<u8>> {
    let folder = sandbox.path_of("parts");
    let entries = std::fs::read_dir(folder).map(|all| all.flatten().collect::<Vec<_>>()).unwrap_or_default();
    entries
        .into_iter()
        .map(|entry| (entry.file_name().into_string().unwrap(), std::fs::read(entry.path()).unwrap()))
        .collect()
}

pub(crate) fn text(sandbox: &Sandbox, path: &str) -> String {
    String::from_utf8(std::fs::read(sandbox.path_of(path)).unwrap()).unwrap()
}

/// The reasons of skipped rows, each after its row.
pub(crate) fn skipped(answer: &Value) -> Vec<String> {
    let rows = answer["skipped"].as_array().unwrap().iter();
    rows.map(|row| format!("{}: {}", row["row"], row["reason"].as_str().unwrap())).collect()
}

pub(crate) fn unread(answer: &Value) -> Vec<String> {
    let cells = answer["unread"].as_array().unwrap().iter();
    cells
        .map(|cell| {
            format!("{}{}: {}", cell["column"].as_str().unwrap(), cell["row"], cell["reason"].as_str().unwrap())
        })
        .collect()
}

/// A sum of decimal numbers in integers of a millionth, so that no digit is rounded.
fn millionths(text: &str) -> i64 {
    let (whole, fraction) = text.split_once('.').unwrap_or((text, ""));
    assert!(fraction.len() <= 6, "{text}");
    format!("{whole}{fraction:0<6}").parse().unwrap()
}

/// The sum of an amount over the parts, times their counts, read from the files without tierod.
fn sum_in_files(sandbox: &Sandbox, amount: &str) -> i64 {
    let mut sum = 0;
    for bytes in records(sandbox).values() {
        let file: serde_yaml::Value = serde_yaml::from_slice(bytes).unwrap();
        for (_, part) in file["parts"].as_mapping().unwrap() {
            let value = &part["amounts"][amount];
            let value = value.get("value").unwrap_or(value);
            let Some(text) = value.as_str() else { continue };
            let count = part.get("count").map_or(1, |count| count.as_i64().unwrap());
            sum += count * millionths(text.split(' ').next().unwrap());
        }
    }
    sum
}

#[test]
fn the_totals_are_those_of_the_sheet_to_the_last_digit() {
    let totals: Value = serde_json::from_slice(&std::fs::read(folder().join("totals.json")).unwrap()).unwrap();
    assert_eq!(totals.as_object().unwrap().len(), spreadsheets().len());
    for (file, columns) in spreadsheets() {
        let bytes = std::fs::read(folder().join(file)).unwrap();
        let sandbox = project(file, &bytes, &entry(file, columns, ""));
        let answer = import(&sandbox, &[]);
        assert_eq!(answer["added"].as_array().unwrap().len(), 10, "{file}: {answer}");
        for (at, amount) in ["mass", "cost"].iter().enumerate() {
            let expected = totals[file][amount].as_str().unwrap();
            assert_eq!(sum_in_files(&sandbox, amount), millionths(expected), "{file} {amount}");
            let total = &answer["totals"][at];
            for side in ["sheet", "records"] {
                assert_eq!(total[side].as_f64().unwrap(), expected.parse::<f64>().unwrap(), "{file} {amount} {side}");
            }
            assert_eq!(total["differences"], serde_json::json!([]), "{file} {amount}");
        }
        // A second run changes no byte.
        let before = records(&sandbox);
        let again = import(&sandbox, &[]);
        assert_eq!((&again["written"], &again["unchanged"]), (&false.into(), &10.into()), "{file}: {again}");
        assert_eq!(records(&sandbox), before, "{file}");
        let title = text(&sandbox, "parts/suspension.yaml");
        assert!(title.contains("Rocker \"left\" & 'right'") || title.contains("Rocker"), "{file}: {title}");
    }
}

#[test]
fn subtotals_and_formulas_without_a_value_are_reported() {
    let mut columns = ENGLISH;
    columns[4] = "Mass [g] / each";
    let file = "openpyxl-merged.xlsx";
    let bytes = std::fs::read(folder().join(file)).unwrap();
    let sandbox = project(file, &bytes, &entry(file, columns, ""));
    let answer = import(&sandbox, &[]);
    assert_eq!(
        skipped(&answer),
        [
            "7: subtotal: `Subtotal Brakes`",
            "12: subtotal: `Subtotal Suspension`",
            "15: subtotal: `Subtotal Front wing`",
            "16: subtotal: `Total`; its `Price [EUR]` is 2899.75, the rows above add up to 2801.95",
        ]
    );
    assert_eq!(
        unread(&answer),
        ["G3: `Price [EUR]`: its formula has no value: open the file in a spreadsheet program and save it"]
    );
    let brakes = text(&sandbox, "parts/brakes.yaml");
    assert!(brakes.contains("    amounts: {mass: {value: 812.5 g, basis: drawn}}\n"), "never 0: {brakes}");
    // A sum without a word is one, too.
    let file = "libreoffice.ods";
    let bytes = std::fs::read(folder().join(file)).unwrap();
    let sandbox = project(file, &bytes, &entry(file, ENGLISH, ""));
    let reason = "12: subtotal: no part number, and `Mass [g]` is the sum of the rows above";
    assert_eq!(skipped(&import(&sandbox, &[])), [reason]);
}

#[test]
fn new_parts_are_written_as_a_person_would() {
    let sandbox = small("BR-1;Brake disc;Brakes;2;812.5;48.9;CAD\n1002;\"Bolt: M6 # 10.9\";Suspension;1;;0.3;\n");
    let answer = import(&sandbox, &[]);
    assert_eq!(answer["files"], serde_json::json!(["parts/brakes.yaml", "parts/suspension.yaml"]));
    assert_eq!(
        text(&sandbox, "parts/brakes.yaml"),
        "parts:\n  br-1:\n    title: Brake disc\n    in: brakes\n    count: 2\n    \
         amounts: {mass: {value: 812.5 g, basis: drawn}, cost: {value: 48.9 EUR, basis: quoted}}\n"
    );
    assert_eq!(
        text(&sandbox, "parts/suspension.yaml"),
        "parts:\n  p-1002:\n    title: \"Bolt: M6 # 10.9\"\n    in: suspension\n    \
         amounts: {cost: {value: 0.3 EUR, basis: quoted}}\n"
    );
    let check = sandbox.tierod(&["check", "--format", "json"]).json();
    let findings = check["findings"].as_array().unwrap().iter();
    assert!(findings.map(|f| f["check"].as_str().unwrap()).any(|check| check == "no-parent"), "{check}");
}

#[test]
fn parts_of_a_group_serve_what_the_group_serves() {
    let sandbox = small("BR-1;Brake disc;Brakes;2;812.5;48.9;CAD\n");
    sandbox.write(
        "systems.yaml",
        "systems:\n  brakes:\n    in: car\n    lead: brakes lead\n    for-parts: {serves: {stop: It slows the car.}}\n\
         targets:\n  stop: {of: car, at-most: 3 s, lead: brakes lead}\n",
    );
    import(&sandbox, &[]);
    assert!(!text(&sandbox, "parts/brakes.yaml").contains("serves"));
    let why = sandbox.tierod(&["why", "br-1", "--format", "json"]).json();
    assert!(why.to_string().contains("\"stop\""), "{why}");
}

/// Rows of a first run, and the file after hand edits.
fn edited_by_hand() -> Sandbox {
    let sandbox = small("BR-1;Brake disc;Brakes;2;812.5;48.9;CAD\nBR-2;Caliper;Brakes;4;385;129;scales\n");
    import(&sandbox, &[]);
    sandbox.write(
        "parts/brakes.yaml",
        "# checked with the supplier\nparts:\n\n  br-2:   # both sides\n    title: \"Caliper, machined\"\n    in: brakes\n    \
         count: 4\n    amounts:\n      cost: 129 EUR   # with VAT\n      mass: 0.385 kg ± 0.005 kg\n    \
         serves: {brakes-mass: It is the heaviest part.}\n  br-1:\n    title: Brake disc\n    in: brakes\n    count: 2\n    \
         amounts: {mass: {value: 812.5 g, basis: drawn}, cost: {value: 48.9 EUR, basis: quoted}}\n  \
         spare:\n    title: Spare disc\n    in: brakes\n    amounts: {mass: 100 g}\n",
    );
    let table = |mass: &str| {
        let mut entry = entry("bom.csv", ENGLISH, "");
        entry =
            entry.replace(", basis: {column: State, names: {CAD: drawn, scales: weighed, estimate: estimated}}", "");
        sandbox.write("tierod.yaml", format!("{SETTINGS}{}", entry.replace(", basis: quoted", "")));
        let rows = format!("BR-1;Brake disc;Brakes;2;812.5;48.9;CAD\nBR-2;Caliper;Brakes;4;{mass};129.00;scales\n");
        sandbox.write("cad/bom.csv", format!("{}\n{rows}", ENGLISH.join(";")));
    };
    table("385.0");
    let before = records(&sandbox);
    let same = import(&sandbox, &[]);
    assert_eq!((&same["unchanged"], &same["changed"]), (&2.into(), &serde_json::json!([])), "{same}");
    assert_eq!(records(&sandbox), before, "the same amount in another unit is no change");
    table("390.5");
    sandbox
}

#[test]
fn a_changed_cell_changes_one_line() {
    let sandbox = edited_by_hand();
    let before = text(&sandbox, "parts/brakes.yaml");
    let dry = import(&sandbox, &["--dry-run"]);
    assert_eq!(text(&sandbox, "parts/brakes.yaml"), before);
    let answer = import(&sandbox, &[]);
    assert_eq!((&dry["written"], &answer["written"]), (&false.into(), &true.into()));
    assert_eq!(dry["changed"], answer["changed"]);
    assert_eq!(
        answer["changed"],
        serde_json::json!([
            {"id": "br-2", "field": "amounts.mass", "before": "0.385 kg ± 0.005 kg", "after": "390.5 g ± 0.005 kg"},
        ])
    );
    let after = text(&sandbox, "parts/brakes.yaml");
    let lines = |text: &str| text.lines().map(str::to_owned).collect::<Vec<String>>();
    let (old, new) = (lines(&before), lines(&after));
    assert_eq!(old.len(), new.len());
    let changed: Vec<&String> = old.iter().zip(&new).filter(|(a, b)| a != b).map(|(_, b)| b).collect();
    assert_eq!(changed, ["      mass: 390.5 g ± 0.005 kg"]);
    // The part that is not in the sheet stays, and is why the totals differ.
    assert_eq!(answer["gone"], serde_json::json!(["spare"]));
    let mass = &answer["totals"][0];
    assert_eq!((mass["sheet"].as_f64(), mass["records"].as_f64()), (Some(3187.0), Some(3287.0)));
    let cause = serde_json::json!([{"reason": "parts that are not in the sheet", "value": 100.0, "parts": ["spare"]}]);
    assert_eq!(mass["differences"], cause);
    let shown = sandbox.tierod(&["import", "bom", "--color", "never"]).ended(0).out;
    assert!(shown.contains("mass, g     3187     3287        +100\n"), "{shown}");
    // The title differs: it is not true that the records have everything.
    assert!(!shown.contains("the records have everything"), "{shown}");
    assert!(shown.contains("br-2.title            Caliper       Caliper, machined\n"), "{shown}");
    assert!(shown.contains("nothing written: no value to change; the rest differs as listed above"), "{shown}");
}

#[test]
fn every_changed_cell_changes_one_line() {
    let file = "german.csv";
    let bytes = std::fs::read(folder().join(file)).unwrap();
    let sandbox = project(file, &bytes, &entry(file, GERMAN, ""));
    import(&sandbox, &[]);
    let latin = |bytes: &[u8]| bytes.iter().map(|byte| *byte as char).collect::<String>();
    for (old, new) in [(";2;812,500;", ";3;812,500;"), ("1.234,560", "1.234,570"), (";61,20;", ";61,25;")] {
        let sheet = latin(&std::fs::read(sandbox.path_of("cad/german.csv")).unwrap());
        assert!(sheet.contains(old), "{old}");
        let bytes: Vec<u8> = sheet.replacen(old, new, 1).chars().map(|c| c as u8).collect();
        sandbox.write("cad/german.csv", bytes);
        let before = records(&sandbox);
        let answer = import(&sandbox, &[]);
        assert_eq!(answer["changed"].as_array().unwrap().len(), 1, "{answer}");
        let after = records(&sandbox);
        let mut lines = 0;
        for (name, old) in &before {
            let [old, new] = [old, &after[name]].map(|bytes| String::from_utf8(bytes.clone()).unwrap());
            assert_eq!(old.lines().count(), new.lines().count());
            lines += old.lines().zip(new.lines()).filter(|(a, b)| a != b).count();
        }
        assert_eq!(lines, 1, "{old} -> {new}");
    }
}

#[test]
fn rows_that_are_not_parts_are_skipped_with_a_reason() {
    let sandbox = small(
        "Brakes;;;;;;\n;Bracket;Brakes;1;12.5;1;CAD\n2027-03-05;A;Brakes;1;1.5;1;CAD\n1.2E+05;B;Brakes;1;1.5;1;CAD\n\
         X-1;C;Brakes;1;1.5;1;CAD\nX-1;D;Brakes;2;1.5;1;CAD\nX-2;E;Cooling;1;1.5;1;CAD\nX-3;F;Brakes;0;1.5;1;CAD\n\
         X-4;G;Brakes;;1.5;1;CAD\nX-5;H;Brakes;1;tbd;-;guess\nbrakes;I;Brakes;1;1.5;1;CAD\n\
         Part no.;Description;Section;Qty;Mass [g];Price [EUR];State\n",
    );
    let answer = import(&sandbox, &[]);
    assert_eq!(
        skipped(&answer),
        [
            "2: `Section` is empty",
            "3: no part number",
            "4: its part number has become the date 2027-03-05: format the column as text and type it again",
            "5: its part number has become the number 1.2E+05: format the column as text and type it again",
            "6: `x-1` is also in row 7: none of them is written",
            "7: `x-1` is also in row 6: none of them is written",
            "8: no system for `Cooling`: add it to `names` under `in`",
            "9: `Qty` is 0: not in the car",
            "10: `Qty` is empty",
            "12: `brakes` in systems.yaml is a system, not a part",
            "13: the column names again",
        ]
    );
    assert_eq!(unread(&answer), ["E11: `Mass [g]`: `tbd` is not a number"]);
    assert_eq!(answer["added"], serde_json::json!(["x-5"]));
    // The sheet adds up all rows, the records only one: the difference is explained to the last digit.
    let mass = &answer["totals"][0];
    assert_eq!((mass["sheet"].as_f64(), mass["records"].as_f64()), (Some(23.0), Some(0.0)));
    assert_eq!(mass["differences"], serde_json::json!([{"reason": "rows skipped", "value": -23.0, "parts": []}]));
}

#[test]
fn margins_are_nested() {
    let rows = "A-1;A;Brakes;2;100;1;CAD\nA-2;B;Suspension;1;50;1;CAD\n";
    let sandbox = small(rows);
    let margins = "unit: g, margins: [{column: Section, names: {Brakes: 10 %, Suspension: 4 %}}, 5 %],";
    sandbox
        .write("tierod.yaml", format!("{SETTINGS}{}", entry("bom.csv", ENGLISH, "").replacen("unit: g,", margins, 1)));
    let answer = import(&sandbox, &[]);
    // 100 g * 1.10 * 1.05 and 50 g * 1.04 * 1.05.
    assert!(text(&sandbox, "parts/brakes.yaml").contains("mass: {value: 115.5 g, basis: drawn}"));
    assert!(text(&sandbox, "parts/suspension.yaml").contains("mass: {value: 54.6 g, basis: drawn}"));
    let mass = &answer["totals"][0];
    assert_eq!((mass["sheet"].as_f64(), mass["records"].as_f64()), (Some(250.0), Some(285.6)));
    assert_eq!(
        mass["differences"],
        serde_json::json!([{"reason": "margins of the entry", "value": 35.6, "parts": []}])
    );
    assert_eq!(import(&sandbox, &[])["unchanged"], 2);
}

#[test]
fn an_ambiguous_decimal_mark_is_not_guessed() {
    let sandbox = small("A-1;A;Brakes;1;1,234;1,500;CAD\n");
    let error = sandbox.tierod(&["import", "bom"]).ended(2).err;
    assert!(error.contains("the decimal mark of the sheet is not known"), "{error}");
    assert!(error.contains("`1,234` in row 2, column E"), "{error}");
    for (mark, value) in [("point", "1234 g"), ("comma", "1.234 g")] {
        let more = format!("    decimal: {mark}\n");
        sandbox.write("tierod.yaml", format!("{SETTINGS}{}", entry("bom.csv", ENGLISH, &more)));
        import(&sandbox, &[]);
        assert!(text(&sandbox, "parts/brakes.yaml").contains(&format!("value: {value}")), "{mark}");
        std::fs::remove_dir_all(sandbox.path_of("parts")).unwrap();
    }
    let sandbox = small("A-1;A;Brakes;1;1,5;1.5;CAD\n");
    let error = sandbox.tierod(&["import", "bom"]).ended(2).err;
    assert!(error.contains("two decimal marks") && error.contains("row 2, column F"), "{error}");
}

#[test]
fn a_file_gets_a_proposal_that_can_be_saved_and_run() {
    for (file, columns) in spreadsheets() {
        let bytes = std::fs::read(folder().join(file)).unwrap();
        let sandbox = project(file, &bytes, "");
        let path = format!("cad/{file}");
        let shown = sandbox.tierod(&["import", &path, "--format", "json"]).ended(0).json();
        assert_eq!((&shown["complete"], &shown["written"]), (&true.into(), &false.into()), "{file}: {shown}");
        let unknown = shown["unknown"].to_string();
        assert!(unknown.contains("no system for `Front wing`"), "{file}: {unknown}");
        assert_eq!(text(&sandbox, "tierod.yaml"), SETTINGS);
        sandbox.tierod(&["import", &path, "--save", "bom"]).ended(0);
        let settings = text(&sandbox, "tierod.yaml");
        assert!(settings.starts_with(SETTINGS), "{file}: {settings}");
        for column in columns {
            assert!(settings.contains(column), "{file}: `{column}` in\n{settings}");
        }
        let answer = import(&sandbox, &[]);
        assert_eq!(answer["added"].as_array().unwrap().len(), 8, "{file}: the front wing has no system: {answer}");
        let again = sandbox.tierod(&["import", &path, "--save", "bom"]).ended(2).err;
        assert!(again.contains("`imports.bom` exists already"), "{file}: {again}");
    }
}

#[test]
fn what_cannot_be_guessed_is_said() {
    let sandbox = small("");
    sandbox.write("cad/x.csv", "Part no.;Description;Mass\nA-1;B;1.5\n");
    let answer = sandbox.tierod(&["import", "cad/x.csv", "--format", "json"]).ended(0).json();
    assert_eq!(answer["complete"], false);
    let unknown = answer["unknown"].to_string();
    for word in ["in: no column of systems", "unit of `Mass`", "count: no column"] {
        assert!(unknown.contains(word), "{word}: {unknown}");
    }
    let error = sandbox.tierod(&["import", "cad/x.csv", "--save", "x"]).ended(2).err;
    assert!(error.contains("nothing was written"), "{error}");
}

#[test]
fn errors_have_their_place() {
    let sandbox = small("A-1;A;Brakes;1;1.5;1;CAD\n");
    let error = |sandbox: &Sandbox, args: &[&str]| sandbox.tierod(args).ended(2).err;
    assert!(error(&sandbox, &["import", "bon"]).contains("did you mean `bom`"));
    let with = |from: &str, to: &str| {
        sandbox.write("tierod.yaml", format!("{SETTINGS}{}", entry("bom.csv", ENGLISH, "").replacen(from, to, 1)));
    };
    with("count: Qty", "count: Quantity");
    let missing = error(&sandbox, &["import", "bom"]);
    assert!(missing.contains("no column `Quantity` in row 1") && missing.contains("Qty,"), "{missing}");
    with("file: cad/bom.csv", "file: ../bom.csv");
    assert!(error(&sandbox, &["import", "bom"]).contains("is not a path in the project"));
    with("into: parts/{in}.yaml", "into: ../{in}.yaml");
    let outside = sandbox.tierod(&["import", "bom"]);
    assert_eq!(outside.code, 2, "{}", outside.err);
    // The settings are read strictly, each problem with its line.
    with("unit: g", "unit: gramm");
    let check = sandbox.tierod(&["check", "--format", "lines"]).out;
    assert!(check.contains("tierod.yaml:17:") && check.contains("gramm"), "{check}");
    let broken = error(&sandbox, &["import", "bom"]);
    assert!(broken.contains("the entry `bom` in tierod.yaml cannot be used") && broken.contains("gramm"), "{broken}");
    with("count: Qty", "cuont: Qty");
    let check = sandbox.tierod(&["check", "--format", "lines"]).out;
    assert!(check.contains("tierod.yaml:15:") && check.contains("cuont"), "{check}");
    let explained = sandbox.tierod(&["explain", "imports"]).ended(0).out;
    assert!(explained.contains("decimal") && explained.contains("into"), "{explained}");
}

#[test]
fn the_answers_match_their_schema() {
    let sandbox = small("A-1;A;Brakes;1;tbd;1;CAD\nA-2;B;Brakes;2;1.5;1;CAD\n;C;Brakes;1;3;1;CAD\n");
    let schema = sandbox.tierod(&["schema", "import"]).ended(0).json();
    let validator = jsonschema::validator_for(&schema).unwrap();
    sandbox.write(
        "parts/brakes.yaml",
        "parts: {a-2: {in: brakes, amounts: {mass: 1 g}}, old: {in: brakes, amounts: {mass: 4 g}}}\n",
    );
    let answer = import(&sandbox, &["--dry-run"]);
    for list in ["added", "changed", "gone", "skipped", "unread", "totals", "files"] {
        assert!(!answer[list].as_array().unwrap().is_empty(), "{list}: {answer}");
    }
    let proposal = sandbox.tierod(&["import", "cad/bom.csv", "--format", "json"]).ended(0).json();
    for answer in [answer, proposal] {
        let wrong: Vec<String> = validator.iter_errors(&answer).map(|error| error.to_string()).collect();
        assert!(wrong.is_empty(), "{wrong:?}\n{answer}");
    }
}
