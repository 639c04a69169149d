//! A sheet against records that exist: what is changed, what is only listed, and what stops the import.

use crate::records_import::{ENGLISH, SETTINGS, SYSTEMS, entry, import, project, records, small, text};

#[test]
fn a_unit_that_contradicts_the_entry_stops_the_import() {
    let sandbox = small("A-1;A;Brakes;1;1.5;1;CAD\n");
    let with = |column: &str, cell: &str| {
        let mut columns = ENGLISH;
        columns[4] = column;
        sandbox.write("tierod.yaml", format!("{SETTINGS}{}", entry("bom.csv", columns, "")));
        sandbox.write("cad/bom.csv", format!("{}\nA-1;A;Brakes;1;{cell};1;CAD\n", columns.join(";")));
        sandbox.tierod(&["import", "bom"])
    };
    for column in ["each [kg]", "each (kg)", "Mass / each [KG]", "Mass in kg"] {
        let error = with(column, "1.5").ended(2).err;
        assert!(error.contains(&format!("the column `{column}` is in kg")) && error.contains("`unit: g`"), "{error}");
    }
    let error = with("each [g]", "1.5 kg").ended(2).err;
    assert!(error.contains("the cell E2 of `A-1` is in kg") && error.contains("`unit: g` for `mass`"), "{error}");
    assert!(records(&sandbox).is_empty());
    with("each [g]", "1.5 g").ended(0);
    assert!(text(&sandbox, "parts/brakes.yaml").contains("value: 1.5 g"));
}

#[test]
fn changed_titles_and_systems_are_listed_and_not_changed() {
    let sandbox = small("A-1;Disc;Brakes;1;1.5;1;CAD\nA-2;Hub;Brakes;1;2.5;1;CAD\n");
    sandbox.write("systems.yaml", format!("{SYSTEMS}  front-brakes: {{in: brakes, lead: brakes lead}}\n"));
    let same = "nothing written: the records have everything that the sheet has";
    import(&sandbox, &[]);
    let shown = |rows: &str| {
        sandbox.write("cad/bom.csv", format!("{}\n{rows}", ENGLISH.join(";")));
        sandbox.tierod(&["import", "bom", "--color", "never"]).ended(0).out
    };
    let rows = "A-1;Disc;Brakes;1;1.5;1;CAD\nA-2;Hub;Brakes;1;2.5;1;CAD\n";
    assert!(shown(rows).contains(same));
    assert!(
        shown(&format!("{rows};;;;;;\n;Subtotal;;;4;;\nBrakes;;;;;;\n"))
            .contains("parts: 0 added, 0 changed, 2 unchanged")
    );
    let before = records(&sandbox);
    let out = shown("A-1;Disc, slotted;Brakes;1;1.5;1;CAD\nA-2;Hub;Suspension;1;2.5;1;CAD\n");
    assert!(!out.contains("have everything"), "{out}");
    assert!(out.contains("differs, not changed  in the sheet   in the records\n"), "{out}");
    assert!(out.contains("a-1.title             Disc, slotted  Disc\n"), "{out}");
    assert!(out.contains("a-2.in                suspension     brakes\n"), "{out}");
    let answer = import(&sandbox, &[]);
    assert_eq!(
        answer["differing"],
        serde_json::json!([
            {"row": 2, "id": "a-1", "field": "title", "sheet": "Disc, slotted", "records": "Disc"},
            {"row": 3, "id": "a-2", "field": "in", "sheet": "suspension", "records": "brakes"},
        ])
    );
    assert_eq!((&answer["agrees"], &answer["unchanged"]), (&false.into(), &2.into()));
    assert_eq!(records(&sandbox), before);
    // A cell that was not read, or a row that is no part in the records.
    assert!(!shown(&rows.replace("2.5", "tbd")).contains("have everything"));
    assert!(!shown(&rows.replace("A-2;Hub;Brakes", "A-2;Hub;Cooling")).contains("have everything"));
    // A system inside of that of the sheet is no difference.
    let yaml = text(&sandbox, "parts/brakes.yaml").replacen("in: brakes", "in: front-brakes", 1);
    sandbox.write("parts/brakes.yaml", yaml);
    assert!(shown(rows).contains(same));
}

#[test]
fn parts_without_pieces_in_the_sheet_still_count_in_the_records() {
    let rows = "BR-001;Disc;Brakes;1;100;1;CAD\nBR-002;Line;Brakes;1;86.4;1;CAD\nBR-003;Pad;Brakes;2;10;1;CAD\n";
    for (count, reason) in
        [("0", "`Qty` is 0: not in the car"), ("1.5", "`Qty` is 1.5, not a number of pieces"), ("", "`Qty` is empty")]
    {
        let sandbox = small(rows);
        import(&sandbox, &[]);
        let changed = rows.replace("BR-002;Line;Brakes;1", &format!("BR-002;Line;Brakes;{count}"));
        sandbox.write("cad/bom.csv", format!("{}\n{changed}", ENGLISH.join(";")));
        let answer = import(&sandbox, &[]);
        assert_eq!(answer["not_in_car"], serde_json::json!([{"row": 3, "id": "br-002", "reason": reason}]));
        let mass = &answer["totals"][0];
        assert_eq!((mass["sheet"].as_f64(), mass["records"].as_f64()), (Some(120.0), Some(206.4)), "{count}");
        let cause = serde_json::json!([
            {"reason": "parts that are not in the car by the sheet", "value": 86.4, "parts": ["br-002"]},
        ]);
        assert_eq!(mass["differences"], cause, "{count}");
        let out = sandbox.tierod(&["import", "bom", "--color", "never"]).ended(0).out;
        assert!(out.contains("+86.4  parts that are not in the car by the sheet: br-002\n"), "{out}");
        assert!(out.contains("1 not in the car by the sheet") && !out.contains("have everything"), "{out}");
    }
}

#[test]
fn an_empty_cell_is_named_with_its_part() {
    let sandbox = small("A-1;Disc;Brakes;1;1.5;1;CAD\nA-2;Hub;Brakes;1;;1;CAD\nA-3;Nut;Brakes;1;-;1;CAD\n");
    let answer = import(&sandbox, &[]);
    // A dash means that there is none.
    let new = serde_json::json!([{"row": 3, "column": "E", "id": "a-2", "amount": "mass", "records": null}]);
    assert_eq!(answer["empty"], new);
    let rows = "A-1;Disc;Brakes;1;;1;CAD\nA-2;Hub;Brakes;1;;1;CAD\nA-3;Nut;Brakes;1;-;1;CAD\n";
    sandbox.write("cad/bom.csv", format!("{}\n{rows}", ENGLISH.join(";")));
    let answer = import(&sandbox, &[]);
    let known = serde_json::json!([{"row": 2, "column": "E", "id": "a-1", "amount": "mass", "records": "1.5 g"}]);
    assert_eq!((&answer["empty"], &answer["agrees"]), (&known, &false.into()));
    let cause = &answer["totals"][0]["differences"][0];
    assert_eq!((&cause["value"], &cause["parts"]), (&1.5.into(), &serde_json::json!(["a-1"])));
    let out = sandbox.tierod(&["import", "bom", "--color", "never"]).ended(0).out;
    assert!(out.contains("E2          a-1.mass    1.5 g\n") && !out.contains("have everything"), "{out}");
}

#[test]
fn parts_that_are_gone_or_renumbered_have_a_fix() {
    let sandbox = small("A-1;Disc;Brakes;1;1.5;1;CAD\nA-2;Hub;Brakes;1;2.5;1;CAD\n");
    import(&sandbox, &[]);
    let rows = "A-10;Disc;Brakes;1;1.5;1;CAD\nA-20;Hub;Brakes;1;2.6;1;CAD\n";
    sandbox.write("cad/bom.csv", format!("{}\n{rows}", ENGLISH.join(";")));
    let answer = import(&sandbox, &["--dry-run"]);
    assert_eq!(answer["gone"], serde_json::json!(["a-1", "a-2"]));
    assert_eq!(answer["renumbered"], serde_json::json!([{"from": "a-1", "to": "a-10"}]), "the mass of a-20 differs");
    let out = sandbox.tierod(&["import", "bom", "--dry-run", "--color", "never"]).ended(0).out;
    assert!(out.contains("if it is the same part, run `tierod rename a-1 a-10`"), "{out}");
    assert!(out.contains("remove a record by hand if the part is gone") && out.contains("`parts/{in}.yaml`"), "{out}");
    let checks = answer["new_checks"].as_array().unwrap();
    let sum: u64 = checks.iter().map(|check| check["findings"].as_u64().unwrap()).sum();
    assert_eq!(sum, answer["new_findings"].as_u64().unwrap());
    assert!(
        out.contains(&format!("{} no-parent", checks[0]["findings"])) && checks[0]["check"] == "no-parent",
        "{out}"
    );
    sandbox.tierod(&["rename", "a-1", "a-10"]).ended(0);
    let after = import(&sandbox, &["--dry-run"]);
    assert_eq!((&after["gone"], &after["renumbered"]), (&serde_json::json!(["a-2"]), &serde_json::json!([])));
}

#[test]
fn a_header_of_two_rows_is_found_or_given() {
    let rows = "Otterbourne;;;;;;;;\n;;;;;;;;\nPart no.;Description;Section;Qty;Mass;;Price;;Remarks\n\
                ;;;;each [g];State;each [EUR];State;\nA-1;Disc;Brakes;1;1.5;CAD;20;quote;\nA-2;Hub;Brakes;2;2.5;scales;3;quote;x\n";
    let sandbox = small("");
    sandbox.write("cad/two.csv", rows);
    let proposal = |args: &[&str]| {
        sandbox.tierod(&[&["import", "cad/two.csv", "--format", "json"], args].concat()).ended(0).json()
    };
    let found = proposal(&[]);
    assert_eq!(found["complete"], true, "{found}");
    let entry = found["entry"].as_str().unwrap();
    for part in
        ["header: 3-4", "Mass / each [g]", "Mass / State", "Price / each [EUR]", "Price / State", "scales: weighed"]
    {
        assert!(entry.contains(part), "{part}: {entry}");
    }
    assert_eq!(found["unknown"], serde_json::json!(["columns that are not used: `Remarks`"]));
    assert_eq!(proposal(&["--header", "3-4"]), found);
    // The second row of the header is a row of values if the first is given alone.
    let one = proposal(&["--header", "3"]);
    assert!(one["entry"].as_str().unwrap().contains("header: 3\n"), "{one}");
    let unused = one["unknown"].as_array().unwrap().iter().find(|line| line.as_str().unwrap().contains("not used"));
    assert_eq!(unused.unwrap(), "columns that are not used: `Remarks`", "`Mass` and `Price` are used");
    for wrong in ["0", "3-5", "x"] {
        sandbox.tierod(&["import", "cad/two.csv", "--header", wrong]).ended(2);
    }
    let missing = sandbox.tierod(&["import", "cad/two.csv", "--header", "90"]).ended(2).err;
    assert!(missing.contains("no column names in row 90") && missing.contains("--header 3-4"), "{missing}");
    assert!(sandbox.tierod(&["import", "bom", "--header", "3"]).ended(2).err.contains("`--header`"));
    sandbox.tierod(&["import", "cad/two.csv", "--save", "two"]).ended(0);
    let answer = sandbox.tierod(&["import", "two", "--format", "json"]).ended(0).json();
    assert_eq!(answer["added"], serde_json::json!(["a-1", "a-2"]), "{answer}");
    let yaml = text(&sandbox, "parts/brakes.yaml");
    assert!(yaml.contains("{mass: {value: 2.5 g, basis: weighed}, cost: {value: 3 EUR, basis: quoted}}"), "{yaml}");
    assert!(sandbox.tierod(&["explain", "header"]).ended(0).out.contains("a row: `3`, or two: `3-4`"));
}

#[test]
fn a_unit_in_the_format_of_a_cell_counts_as_its_own() {
    use rust_xlsxwriter::{Format, Workbook};
    let workbook = |format: &str| {
        let mut workbook = Workbook::new();
        let sheet = workbook.add_worksheet();
        for (column, name) in (0..).zip(ENGLISH) {
            sheet.write_string(0, column, name).unwrap();
        }
        for (column, text) in [(0, "A-1"), (1, "Disc"), (2, "Brakes")] {
            sheet.write_string(1, column, text).unwrap();
        }
        sheet.write_number(1, 3, 1.0).unwrap();
        sheet.write_number_with_format(1, 4, 1.5, &Format::new().set_num_format(format)).unwrap();
        workbook.save_to_buffer().unwrap()
    };
    let sandbox = project("bom.xlsx", &workbook("0.0\" kg\""), &entry("bom.xlsx", ENGLISH, ""));
    let error = sandbox.tierod(&["import", "bom"]).ended(2).err;
    assert!(error.contains("the cell E2 of `A-1` is in kg") && error.contains("`unit: g`"), "{error}");
    for format in ["0.0\" g\"", "0.0", "0.0\" each\""] {
        sandbox.write("cad/bom.xlsx", workbook(format));
        import(&sandbox, &["--dry-run"]);
    }
}
