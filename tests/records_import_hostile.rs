//! Spreadsheets that are damaged, too large or written by a stranger.

use crate::records_import::{ENGLISH, SETTINGS, entry, folder, import, small, text};
use crate::support::{Answer, Sandbox};

/// Runs `import` on a hostile file with at most 500 MB of memory, and fails if it takes longer than 5 s.
#[cfg(unix)]
fn hostile(sandbox: &Sandbox, file: &str) -> Answer {
    let limited = "ulimit -v 500000; exec \"$@\"";
    let start = std::time::Instant::now();
    let mut command = sandbox.command("sh", &sandbox.path());
    let output = command.args(["-c", limited, "sh", env!("CARGO_BIN_EXE_tierod"), "import", file]).output().unwrap();
    let seconds = start.elapsed().as_secs_f64();
    println!("{file}: {seconds:.2} s");
    // Under the load of other tests the time of the clock is not that of the program.
    assert!(seconds < 5.0 || cfg!(debug_assertions) && seconds < 30.0, "{file}: {seconds} s");
    Answer::from_output(&output)
}

/// A zip archive with these parts.
#[cfg(unix)]
fn archive(parts: &[(&str, &[u8])]) -> Vec<u8> {
    use std::io::Write as _;
    let mut out = zip::ZipWriter::new(std::io::Cursor::new(Vec::new()));
    for (name, bytes) in parts {
        out.start_file(*name, zip::write::SimpleFileOptions::default()).unwrap();
        out.write_all(bytes).unwrap();
    }
    out.finish().unwrap().into_inner()
}

#[cfg(unix)]
#[test]
fn hostile_files_end_with_an_error() {
    let sandbox = small("");
    let good = std::fs::read(folder().join("openpyxl.xlsx")).unwrap();
    let ods = |rows: &str| {
        let head = "<office:document-content xmlns:office=\"o\" xmlns:table=\"t\" xmlns:text=\"x\"><office:body>\
                    <office:spreadsheet><table:table table:name=\"A\">";
        let text = format!("{head}{rows}</table:table></office:spreadsheet></office:body></office:document-content>");
        archive(&[("mimetype", b"application/vnd.oasis.opendocument.spreadsheet"), ("content.xml", text.as_bytes())])
    };
    // A text that cannot be compressed, over all columns.
    let repeated = |kind: &str| {
        let mut state = 1_u64;
        let mut digit = || {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
            char::from(b'!' + (state >> 58) as u8).to_string().replace(['<', '&'], "x")
        };
        let text: String = (0..100_000).map(|_| digit()).collect();
        let repeat = "table:number-columns-repeated=\"16384\"";
        ods(&format!(
            "<table:table-row><table:table-cell {kind} {repeat}><text:p>{text}</text:p></table:table-cell></table:table-row>"
        ))
    };
    let sheet = "xl/worksheets/sheet1.xml";
    let cells = format!("<worksheet><sheetData>{}</sheetData></worksheet>", "<c r=\"A1\"/>".repeat(6_500_000));
    let mut files: Vec<(&str, Vec<u8>, &str)> = vec![
        ("bomb.xlsx", archive(&[(sheet, &vec![b' '; 200 << 20])]), "decompress to more than"),
        ("ratio.xlsx", archive(&[(sheet, &vec![b' '; 20 << 20])]), "more than 250 times as many"),
        ("cells.xlsx", archive(&[(sheet, cells.as_bytes())]), "decompress to more than"),
        (
            "rows.ods",
            ods("<table:table-row table:number-rows-repeated=\"1000000\"><table:table-cell \
                 table:number-columns-repeated=\"16000\" office:value-type=\"float\" office:value=\"1\"/></table:table-row>"),
            "only 400000 cells",
        ),
        ("texts.ods", repeated("office:value-type=\"string\""), "32 MiB of text"),
        ("errors.ods", repeated("xmlns:calcext=\"c\" calcext:value-type=\"error\""), "32 MiB of text"),
        (
            "spaces.ods",
            ods(
                "<table:table-row><table:table-cell office:value-type=\"string\"><text:p>a<text:s text:c=\"4000000000\"/>\
                 </text:p></table:table-cell></table:table-row>",
            ),
            "no row looks like column names",
        ),
        (
            "entity.ods",
            ods(
                "<table:table-row><table:table-cell office:value-type=\"string\"><text:p>&bomb;</text:p></table:table-cell>\
                 </table:table-row>",
            ),
            "it defines an entity `bomb`",
        ),
        ("nul.csv", b"a;b\0\n1;2\n".to_vec(), "NUL characters"),
        ("line.csv", vec![b';'; 20_000_000], "line 1 has more than 256 KiB"),
        ("quote.csv", [b"a;b\n\"".to_vec(), b"x\n".repeat(5_000_000)].concat(), "no row looks like column names"),
        ("large.csv", vec![b'\n'; 33 << 20], "at most 32 MiB are read"),
        ("empty.csv", Vec::new(), "the sheet is empty"),
        ("old.xls", [&[0xd0, 0xcf, 0x11, 0xe0][..], &[0; 600]].concat(), "save it as .xlsx"),
    ];
    for at in [4, 100, good.len() / 2, good.len() - 5] {
        files.push(("cut.xlsx", good[..at].to_vec(), "the spreadsheet is damaged"));
    }
    for (name, bytes, expected) in files {
        sandbox.write(name, bytes);
        let answer = hostile(&sandbox, name).ended(2);
        assert!(answer.err.contains(expected) && answer.err.contains(name), "{name}: {}", answer.err);
    }
    // Every tenth byte of a workbook changed: an error or an answer, never a crash.
    for at in (0..good.len()).step_by(good.len() / 40) {
        let mut bytes = good.clone();
        bytes[at] ^= 0x55;
        sandbox.write("flipped.xlsx", bytes);
        let answer = hostile(&sandbox, "flipped.xlsx");
        assert!([0, 2].contains(&answer.code), "{at}: {}", answer.err);
    }
    std::os::unix::fs::symlink("/etc/passwd", sandbox.path_of("link.csv")).unwrap();
    assert!(hostile(&sandbox, "link.csv").ended(2).err.contains("it is a symbolic link"));
    std::os::unix::fs::symlink("/etc", sandbox.path_of("cad/etc")).unwrap();
    sandbox.write("tierod.yaml", format!("{SETTINGS}{}", entry("etc/passwd", ENGLISH, "")));
    assert!(hostile(&sandbox, "bom").ended(2).err.contains("a link is on its path"));
}

#[test]
fn formulas_and_control_characters_in_texts_are_harmless() {
    let sandbox = small(
        "A-1;\"=cmd|' /C calc'!A0\";Brakes;1;1.5;1;CAD\nA-2;\"a\u{1b}[31m\u{202e}b\n- c: d\";Brakes;1;1.5;1;CAD\n",
    );
    let answer = sandbox.tierod(&["import", "bom", "--color", "never"]).ended(0);
    assert!(!answer.out.contains(['\u{1b}', '\u{202e}']));
    let yaml = text(&sandbox, "parts/brakes.yaml");
    assert!(!yaml.contains(['\u{1b}', '\u{202e}']), "{yaml}");
    let file: serde_yaml::Value = serde_yaml::from_str(&yaml).unwrap();
    assert_eq!(file["parts"].as_mapping().unwrap().len(), 2, "{yaml}");
    assert_eq!(file["parts"]["a-1"]["title"].as_str(), Some("=cmd|' /C calc'!A0"));
    assert_eq!(import(&sandbox, &[])["unchanged"], 2);
}

/// A workbook with these parts of a sheet and these shared texts.
#[cfg(unix)]
fn workbook(sheet: &str, texts: &str) -> Vec<u8> {
    let relation = |id: &str, kind: &str, target: &str| {
        let of = "http://schemas.openxmlformats.org/officeDocument/2006/relationships";
        format!("<Relationship Id=\"{id}\" Type=\"{of}/{kind}\" Target=\"{target}\"/>")
    };
    let relations = |all: String| format!("<Relationships>{all}</Relationships>");
    let of_file = relations(relation("a", "officeDocument", "xl/workbook.xml"));
    let of_book = relations(
        relation("b", "worksheet", "worksheets/sheet1.xml") + &relation("c", "sharedStrings", "sharedStrings.xml"),
    );
    let book = "<workbook xmlns:r=\"r\"><sheets><sheet name=\"S\" sheetId=\"1\" r:id=\"b\"/></sheets></workbook>";
    let sheet = format!("<worksheet>{sheet}</worksheet>");
    archive(&[
        ("_rels/.rels", of_file.as_bytes()),
        ("xl/workbook.xml", book.as_bytes()),
        ("xl/_rels/workbook.xml.rels", of_book.as_bytes()),
        ("xl/worksheets/sheet1.xml", sheet.as_bytes()),
        ("xl/sharedStrings.xml", texts.as_bytes()),
    ])
}

/// Two rows whose texts are shared.
#[cfg(unix)]
const ROWS: &str = "<row r=\"1\"><c r=\"A1\" t=\"s\"><v>0</v></c><c r=\"B1\" t=\"s\"><v>1</v></c></row>\
                    <row r=\"2\"><c r=\"A2\" t=\"s\"><v>2</v></c><c r=\"B2\"><v>1.5</v></c></row>";
#[cfg(unix)]
const TEXTS: &str = "<si><t>Part no.</t></si><si><t>Mass [g]</t></si><si><r><t>A-</t></r><r><t>1</t></r></si>";

#[cfg(unix)]
#[test]
fn no_number_of_a_workbook_is_trusted() {
    let sandbox = small("");
    let data = |rows: &str| format!("<sheetData>{rows}</sheetData>");
    let most = u64::MAX;
    // Numbers that nothing is reserved for: the workbook is read as if they were right.
    let counts = format!("<sst count=\"{most}\" uniqueCount=\"{most}\">{TEXTS}</sst>");
    let texts = format!("<sst>{TEXTS}</sst>");
    let formula =
        "<c r=\"A3\" t=\"str\"><f t=\"shared\" si=\"18446744073709551614\" ref=\"A3:ZZZZZZZZZZZZ9\"/><v>A-2</v></c>";
    let styled = "<row r=\"3\"><c r=\"A3\" s=\"4294967295\" t=\"inlineStr\"><is><t>A-2</t></is></c></row>";
    for (name, bytes) in [
        ("counts.xlsx", workbook(&data(ROWS), &counts)),
        ("dimension.xlsx", workbook(&format!("<dimension ref=\"A1:ZZZZZZZ99999999999\"/>{}", data(ROWS)), &texts)),
        ("shared.xlsx", workbook(&data(&format!("{ROWS}<row r=\"3\">{formula}</row>")), &texts)),
        ("style.xlsx", workbook(&data(&format!("{ROWS}{styled}")), &texts)),
        ("merged.xlsx", workbook(&format!("{}<mergeCells count=\"{most}\"/>", data(ROWS)), &texts)),
    ] {
        sandbox.write(name, bytes);
        let answer = hostile(&sandbox, name).ended(0);
        assert!(answer.out.contains("id: Part no.") && answer.out.contains("unit: g"), "{name}: {}", answer.out);
    }
    // Numbers that say where something is, or which text it has.
    let cell = |place: &str| format!("<row r=\"3\"><c r=\"{place}\"><v>1</v></c></row>");
    let merged = |area: &str| format!("{}<mergeCells><mergeCell ref=\"{area}\"/></mergeCells>", data(ROWS));
    let areas: String = (0..20_001).map(|at| format!("<mergeCell ref=\"A{}:B{0}\"/>", at + 5)).collect();
    for (name, sheet, expected) in [
        ("row.xlsx", data(&format!("{ROWS}<row r=\"1048577\"/>")), "a row has the number 1048577"),
        ("zero.xlsx", data(&format!("{ROWS}<row r=\"0\"/>")), "a row has the number 0"),
        ("far.xlsx", data(&format!("{ROWS}<row r=\"99999999999\"/>")), "`r` is `99999999999`"),
        (
            "place.xlsx",
            data(&(ROWS.to_owned() + &cell("A99999999999999999999"))),
            "`A99999999999999999999` is not a cell",
        ),
        ("column.xlsx", data(&(ROWS.to_owned() + &cell("XFE3"))), "`XFE3` is not a cell"),
        ("letters.xlsx", data(&(ROWS.to_owned() + &cell("ZZZZZZZZZZZZZZZZ3"))), "is not a cell"),
        ("before.xlsx", data(&(ROWS.to_owned() + &cell("A1"))), "row 1 comes after a later one"),
        ("text.xlsx", data(&ROWS.replace("<v>2</v>", "<v>3</v>")), "`3` is not the number of a shared text"),
        ("negative.xlsx", data(&ROWS.replace("<v>2</v>", "<v>-1</v>")), "`-1` is not the number of a shared text"),
        ("area.xlsx", merged("A1:ZZZZZZZ9999999999"), "`ZZZZZZZ9999999999` is not a cell"),
        ("areas.xlsx", format!("{}<mergeCells>{areas}</mergeCells>", data(ROWS)), "only 20000 merged cells are read"),
        ("kind.xlsx", data(&ROWS.replace("<c r=\"B2\">", "<c r=\"B2\" t=\"x\">")), "a cell has the type `x`"),
    ] {
        sandbox.write(name, workbook(&sheet, &texts));
        let answer = hostile(&sandbox, name).ended(2);
        assert!(answer.err.contains(expected) && answer.err.contains(name), "{name}: {}", answer.err);
    }
    for (name, bytes, expected) in [
        ("empty.xlsx", archive(&[("a", b"b")]), "it has no part `xl/workbook.xml`"),
        (
            "binary.xlsx",
            archive(&[("_rels/.rels", b"<R><Relationship Type='x/officeDocument' Target='xl/workbook.bin'/></R>")]),
            "save it as .xlsx",
        ),
        ("entity.xlsx", workbook(&data(ROWS), "<sst><si><t>&bomb;</t></si></sst>"), "it defines an entity `bomb`"),
    ] {
        sandbox.write(name, bytes);
        let answer = hostile(&sandbox, name).ended(2);
        assert!(answer.err.contains(expected), "{name}: {}", answer.err);
    }
}

/// An entry with many names, margins and amounts, and a text that is merged over many rows: each is looked at once, or bounded.
#[cfg(unix)]
#[test]
fn the_work_grows_with_the_size_of_the_sheet() {
    let entry = |parts: &str, more: &str| {
        format!("{SETTINGS}imports:\n  bom:\n    file: cad/{more}\n    into: parts.yaml\n    parts: {parts}\n")
    };
    // 10,000 names and 10,000 rows, none of which has a number of pieces, so that no part is written.
    let sandbox = small("");
    let names: Vec<String> = (0..10_000).map(|at| format!("n{at}: brakes")).collect();
    let rows: String = (0..10_000).map(|at| format!("p{at};n{};0;1\n", 9_999 - at)).collect();
    sandbox.write("cad/bom.csv", format!("Part;In;Qty;Mass\n{rows}"));
    let parts = format!("{{id: Part, in: {{column: In, names: {{{}}}}}, count: Qty}}", names.join(", "));
    sandbox.write("tierod.yaml", entry(&parts, "bom.csv"));
    let answer = hostile(&sandbox, "bom").ended(0);
    assert!(answer.out.contains("rows skipped: 10000"), "{}", answer.out);
    // Rows that are skipped, each with an id that no record has or had.
    let parts: String = (0..4_000).map(|at| format!("  q{at}: {{in: brakes}}\n")).collect();
    sandbox.write("many.yaml", format!("parts:\n{parts}"));
    let rows: String = (0..10_000).map(|at| format!("z{at};0;1\n")).collect();
    sandbox.write("cad/bom.csv", format!("Part;Qty;Mass\n{rows}"));
    let amounts: String = (0..6).map(|at| format!("a{at}: {{column: Mass, unit: kg}}, ")).collect();
    sandbox.write(
        "tierod.yaml",
        entry(&format!("{{id: Part, in: brakes, count: Qty, amounts: {{{amounts}}}}}"), "bom.csv"),
    );
    let answer = sandbox.within_seconds(30, &["import", "bom"]).ended(0);
    assert!(answer.out.contains("rows skipped: 10000"), "{}", answer.out);
    std::fs::remove_file(sandbox.path_of("many.yaml")).unwrap();
    // A text of 200,000 characters, merged over 10,000 rows.
    let long = "x".repeat(200_000);
    let cells: String =
        (3..10_000).map(|row| format!("<row r=\"{row}\"><c r=\"A{row}\" t=\"str\"><v>p-{row}</v></c></row>")).collect();
    let start = ROWS.replace("<c r=\"B2\"><v>1.5</v></c>", &format!("<c r=\"B2\" t=\"str\"><v>{long}</v></c>"));
    let sheet = format!("<sheetData>{start}{cells}</sheetData><mergeCells><mergeCell ref=\"B2:B9999\"/></mergeCells>");
    sandbox.write("cad/bom.xlsx", workbook(&sheet, &format!("<sst>{TEXTS}</sst>")));
    sandbox.write("tierod.yaml", entry("{id: Part no., in: {column: \"Mass [g]\"}}", "bom.xlsx"));
    let answer = hostile(&sandbox, "bom").ended(0);
    assert!(answer.out.contains("no system for `xxx"), "{}", answer.out);
    // What is multiplied by the number of rows has a limit.
    sandbox.write("cad/bom.csv", "Part;Mass\nA-1;1\n");
    let amounts: Vec<String> = (0..101).map(|at| format!("a{at}: {{column: Mass, unit: kg}}")).collect();
    let parts = format!("{{id: Part, in: brakes, amounts: {{{}}}}}", amounts.join(", "));
    sandbox.write("tierod.yaml", entry(&parts, "bom.csv"));
    let error = sandbox.tierod(&["import", "bom"]).ended(2).err;
    assert!(error.contains("the entry has 101 columns of amounts") && error.contains("at most 100"), "{error}");
    let margins = ["1 %"; 11].join(", ");
    let parts =
        format!("{{id: Part, in: brakes, amounts: {{mass: {{column: Mass, unit: kg, margins: [{margins}]}}}}}}");
    sandbox.write("tierod.yaml", entry(&parts, "bom.csv"));
    let error = sandbox.tierod(&["import", "bom"]).ended(2).err;
    assert!(error.contains("`mass` has 11 margins"), "{error}");
}

/// All parts are evaluated before anything is written, so that their number is bounded.
#[test]
fn an_import_has_a_bounded_number_of_parts() {
    let rows: String = (0..25_001).map(|part| format!("p-{part};Bolt;Brakes;1;5;2;CAD\n")).collect();
    let sandbox = small(&rows);
    let error = sandbox.tierod(&["import", "bom"]).ended(2).err;
    assert!(error.contains("the sheet has too many parts"), "{error}");
    assert!(error.contains("it has 25001, an import may have 25000"), "{error}");
    assert!(!sandbox.path_of("parts").exists());
}

/// Each new system has a file of its own, so that their number is bounded.
#[test]
fn an_import_has_a_bounded_number_of_new_systems() {
    let rows: String = (0..1_001).map(|part| format!("p-{part};Bolt;S{part};1;5;2;CAD\n")).collect();
    let sandbox = small(&rows);
    let error = sandbox.tierod(&["import", "bom", "--with-systems"]).ended(2).err;
    assert!(error.contains("it has 1001, an import may add 1000"), "{error}");
    assert!(!sandbox.path_of("parts").exists());
}
