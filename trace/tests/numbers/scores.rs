//! Score sheets against the points of published rule books and of seven official fields.
//!
//! Sources: Formula SAE Rules 2013 to 2019 and 2024, FS-Rules 2025 v1.1, FS-Rules 2026 v1.0; the official times and
//! scores of seven Formula SAE Michigan fields are from the MIT-licensed fsae-database (commit 024d620c). CI has the
//! whole table; a few rows of it are below.

use std::fmt::Write as _;
use std::path::PathBuf;

use crate::read::Read;

/// A time in an official field, and the points that the organizer gave for it.
#[derive(Clone, Debug)]
struct Row {
    edition: u16,
    event: String,
    time: String,
    best: String,
    points: f64,
}

/// How far a formula may be from an official score: clocks print 1 ms, and points were rounded on the way.
const CLOCK: f64 = 0.064;

/// A row for each event of each field.
const SOME: &str = "\
2013,acceleration,4.216,3.830,55.36
2013,skidpad,5.414,4.901,26.19
2013,autocross,56.847,47.857,77.39
2014,acceleration,4.926,4.131,40.39
2014,skidpad,5.862,4.847,8.27
2014,autocross,55.845,49.890,101.04
2015,acceleration,4.587,4.113,52.84
2015,skidpad,5.874,5.138,19.02
2015,autocross,59.495,46.944,53.14
2016,acceleration,4.990,4.065,35.24
2016,skidpad,5.081,4.714,31.63
2016,autocross,54.542,45.479,73.7
2017,acceleration,4.730,4.122,63.2
2017,skidpad,5.676,4.814,19.27
2017,autocross,57.337,41.276,18.05
2018,acceleration,4.653,4.350,81.36
2018,skidpad,5.905,4.943,34.2
2018,autocross,62.989,48.881,39.48
2019,acceleration,5.093,4.109,44.65
2019,skidpad,5.958,4.865,8.81
2019,autocross,55.281,48.799,80.23
";

fn rows(text: &str) -> Vec<Row> {
    let row = |line: &str| {
        let cells: Vec<&str> = line.split(',').collect();
        Row {
            edition: cells[0].parse().unwrap(),
            event: cells[1].to_owned(),
            time: cells[2].to_owned(),
            best: cells[3].to_owned(),
            points: cells[4].trim().parse().unwrap(),
        }
    };
    text.lines().filter(|line| !line.starts_with("edition")).map(row).collect()
}

/// The constants of an edition that differ from the sheet of 2024.
fn constants(row: &Row) -> &'static str {
    match (row.edition, row.event.as_str()) {
        // Formula SAE Rules 2013 to 2016.
        (..=2016, "acceleration") => ", span: 71.5 pts, floor: 3.5 pts",
        (..=2016, "skidpad") => ", span: 47.5 pts, floor: 2.5 pts",
        (..=2016, "autocross") => ", span: 142.5 pts, floor: 7.5 pts",
        // Formula SAE Rules 2017-18, as used in 2018.
        (2018, "skidpad") => ", slowest: 1.45 * best",
        _ => "",
    }
}

/// The points of every row, each through an event that uses a sheet and reads the estimate of a target; the worst
/// deviation.
#[track_caller]
fn worst(rows: &[Row]) -> f64 {
    let mut targets = String::from("targets:\n");
    let mut events = String::from("events:\n");
    for (number, row) in rows.iter().enumerate() {
        let Row { event, time, best, .. } = row;
        let changed = constants(row);
        writeln!(targets, "  time-{number}: {{of: car, at-most: 1000 s, estimate: {time} s}}").unwrap();
        writeln!(
            events,
            "  run-{number}: {{reads: {{time: time-{number}}}, score: {{use: sae-2024.{event}, given: {{best: {best} s{changed}}}}}}}"
        )
        .unwrap();
    }
    let read = Read::new(&(targets + &events));
    let mut worst = 0.0_f64;
    for (number, row) in rows.iter().enumerate() {
        let found = read.number(&format!("run-{number}"));
        let off = (found - row.points).abs();
        assert!(off <= CLOCK, "{found} is not {row:?}");
        worst = worst.max(off);
    }
    worst
}

#[test]
fn some_official_scores() {
    let rows = rows(SOME);
    assert!(rows.len() >= 20);
    worst(&rows);
}

#[test]
fn all_official_scores_of_seven_fields() {
    let file = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../../shared/reference/official-scores-2013-2019.csv");
    let Ok(text) = std::fs::read_to_string(&file) else {
        assert!(std::env::var_os("CI").is_none(), "CI needs the official scores at {}", file.display());
        println!("skipped: no official scores at {}", file.display());
        return;
    };
    let rows = rows(&text);
    assert_eq!(rows.len(), 1796);
    println!("the worst of {} official scores is off by {:.4} points", rows.len(), worst(&rows));
}

/// Formula SAE Rules 2024 (D.9.4, D.10.4, D.11.4, D.12.13), FS-Rules 2025 v1.1 (D4.3, D5.3, D6.3, D7.9) and FS-Rules
/// 2026 v1.0 (D9.1, table 11): event, best time, time, points.
const VECTORS: [(&str, &str, &str, &str, f64); 12] = [
    ("sae-2024", "acceleration", "4.0", "4.4", 73.954_545),
    ("sae-2024", "skidpad", "5.0", "5.3", 53.152_071),
    ("sae-2024", "autocross", "50", "55", 90.287_879),
    ("sae-2024", "endurance", "1400", "1500", 221.296_296),
    ("fs-rules-2025", "acceleration", "4.0", "4.4", 37.045_455),
    ("fs-rules-2025", "skidpad", "5.0", "5.3", 35.485_641),
    ("fs-rules-2025", "autocross", "80", "88", 56.818_182),
    ("fs-rules-2025", "endurance", "1400", "1500", 189.954_955),
    ("fs-rules-2026", "acceleration", "4.0", "4.4", 37.397_959),
    ("fs-rules-2026", "skidpad", "5.0", "5.3", 35.110_204),
    ("fs-rules-2026", "autocross", "80", "88", 60.625),
    ("fs-rules-2026", "endurance", "1400", "1500", 190.306_122),
];

/// From the rule books, for each event: the points of the best time, of `Tmax`, and of a slower run.
const ENDS: [(&str, &str, f64, f64, f64); 12] = [
    ("sae-2024", "acceleration", 1.5, 100.0, 4.5),
    ("sae-2024", "skidpad", 1.25, 75.0, 3.5),
    ("sae-2024", "autocross", 1.45, 125.0, 6.5),
    ("sae-2024", "endurance", 1.45, 275.0, 25.0),
    ("fs-rules-2025", "acceleration", 1.5, 50.0, 2.5),
    ("fs-rules-2025", "skidpad", 1.25, 50.0, 2.5),
    ("fs-rules-2025", "autocross", 1.25, 100.0, 5.0),
    ("fs-rules-2025", "endurance", 1.333, 250.0, 25.0),
    ("fs-rules-2026", "acceleration", 1.7, 50.0, 2.5),
    ("fs-rules-2026", "skidpad", 1.35, 50.0, 2.5),
    ("fs-rules-2026", "autocross", 1.4, 100.0, 10.0),
    ("fs-rules-2026", "endurance", 1.5, 250.0, 25.0),
];

fn event(id: &str, sheet: &str, event: &str, best: &str, time: &str) -> String {
    format!("  {id}: {{reads: {{time: {time} s}}, score: {{use: {sheet}.{event}, given: {{best: {best} s}}}}}}\n")
}

#[test]
fn vectors_of_three_rule_books() {
    let mut records = String::from("events:\n");
    for (number, (sheet, name, best, time, _)) in VECTORS.iter().enumerate() {
        records += &event(&format!("run-{number}"), sheet, name, best, time);
    }
    let read = Read::new(&records);
    for (number, vector) in VECTORS.iter().enumerate() {
        let found = read.number(&format!("run-{number}"));
        assert!((found - vector.4).abs() < 1e-5, "{found} is not {vector:?}");
    }
}

#[test]
fn ends_of_the_scales_of_three_rule_books() {
    let mut records = String::from("events:\n");
    for (number, (sheet, name, slowest, ..)) in ENDS.iter().enumerate() {
        let run = |factor: f64| format!("{:.9}", 100.0 * factor);
        records += &event(&format!("best-{number}"), sheet, name, "100", "100");
        records += &event(&format!("slowest-{number}"), sheet, name, "100", &run(*slowest));
        records += &event(&format!("slower-{number}"), sheet, name, "100", &run(slowest * 1.2));
        records += &event(&format!("nearly-{number}"), sheet, name, "100", &run(slowest * (1.0 - 1e-7)));
    }
    let read = Read::new(&records);
    for (number, ends) in ENDS.iter().enumerate() {
        let points = |which: &str| read.number(&format!("{which}-{number}"));
        let (_, _, _, most, least) = *ends;
        // FS-Rules 2025 print 0.333 and 1.333, so that the best endurance scores the maximum to within rounding.
        assert!((points("best") - most).abs() < 1e-9 * most, "{} is not {ends:?}", points("best"));
        assert!((points("slowest") - least).abs() < 1e-9, "{} is not {ends:?}", points("slowest"));
        assert!((points("slower") - least).abs() < 1e-9, "{} is not {ends:?}", points("slower"));
        assert!((points("nearly") - least).abs() < 1e-3, "no step at the slowest time: {ends:?}");
    }
}

/// Formula SAE Rules 2024, D.13: `S = 100 (EF - EFmin)/(EFmax - EFmin)`; FS-Rules 2025 v1.1, D7.9: `P (EFmax - EF) /
/// (EFmax - EFmin)` with `EF = T^2 E` and `EFmax = 1.5 EFmin`. Worked by hand; CO2 is 2.31 kg per litre of petrol.
#[test]
fn efficiency() {
    let read = Read::new(
        "
events:
  sae: {reads: {factor: 0.5}, score: {use: sae-2024.efficiency, given: {best: 0.8, least: 0.2}}}
  fs: {reads: {factor: run-factor}, score: {use: fs-rules-2025.efficiency, given: {best: '(1500 s)^2 * 10 MJ'}}}
targets:
  run-factor: {of: car, at-most: 1e20 s^2*J}
  run-co2: {of: car, at-most: 100 kg}
analyses:
  economy: {model: efficiency, given: {time: 1500 s, energy: 12 MJ}, finds: run-factor}
  exhaust:
    model: efficiency-co2
    given: {time: 1500 s, fuel: 4 l, best-time: 1400 s, best-co2: 7 kg}
    finds: {run-co2: co2}
",
    );
    assert!((read.number("sae") - 50.0).abs() < 1e-12);
    assert!((read.number("fs") - 75.0 * 0.3 / 0.5).abs() < 1e-9, "{}", read.number("fs"));
    assert!((read.number("run-co2") - 4.0 * 2.31).abs() < 1e-12);
}

/// The time that scores exactly the plan: the inverse of the sheet.
#[test]
fn the_time_that_scores_the_plan() {
    let mut records = String::from("goals:\n  goal: {points: 600 pts, reason: Enough for eighth.}\nevents:\n");
    let mut targets = String::from("targets:\n");
    for (number, (sheet, name, best, _, points)) in VECTORS.iter().enumerate() {
        let now = best.parse::<f64>().unwrap() * 1.02;
        writeln!(targets, "  time-{number}: {{of: car, at-most: 10000 s, estimate: {now} s}}").unwrap();
        writeln!(
            records,
            "  run-{number}: {{plan: {points} pts, serves: {{goal: It scores.}}, reads: {{time: time-{number}}}, score: {{use: {sheet}.{name}, given: {{best: {best} s}}}}}}"
        )
        .unwrap();
    }
    let read = Read::new(&(records + &targets));
    for (number, vector) in VECTORS.iter().enumerate() {
        let (needed, time) = (read.needed(&format!("run-{number}")), vector.3.parse::<f64>().unwrap());
        assert!((needed / time - 1.0).abs() < 1e-6, "{needed} s scores {vector:?}");
    }
}
