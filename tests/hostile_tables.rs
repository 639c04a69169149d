//! Large tables and many records: a stated limit with a finding over it, and time that grows with the size only.

use std::fmt::Write as _;
use std::time::{Duration, Instant};

use crate::support::{SETTINGS, Sandbox};

fn root(files: &[(&str, String)]) -> Sandbox {
    let sandbox = Sandbox::new();
    sandbox.write("tierod.yaml", SETTINGS);
    for (path, text) in files {
        sandbox.write(path, text);
    }
    sandbox
}

fn findings(sandbox: &Sandbox, check: &str) -> Vec<serde_json::Value> {
    let report = sandbox.tierod(&["check", "--format", "json"]).json();
    report["findings"].as_array().unwrap().iter().filter(|finding| finding["check"] == check).cloned().collect()
}

fn timed(sandbox: &Sandbox, args: &[&str]) -> Duration {
    let start = Instant::now();
    let answer = sandbox.tierod(args);
    assert!(answer.code <= 1, "{}", answer.err);
    start.elapsed()
}

const GOAL: &str = "goals:\n  g: {place: 10, reason: It is the aim., lead: x, past-standings: {file: past.csv}}\n";

/// Fields of a hundred thousand rows are read in a second; one row more is a finding.
#[test]
fn past_fields_have_a_limit() {
    let past = |rows: usize| {
        let mut text = "year,place,total\n".to_owned();
        for row in 0..rows {
            let _ = writeln!(text, "{},{},{}", 1900 + row % 300, row / 300 + 1, 900.0 - (row / 300) as f64 * 0.01);
        }
        text
    };
    let sandbox = root(&[("c.yaml", GOAL.to_owned()), ("past.csv", past(100_000))]);
    let took = timed(&sandbox, &["check"]);
    assert!(took < Duration::from_secs(15), "{took:?}");
    assert!(findings(&sandbox, "unreadable-table").is_empty());
    sandbox.write("past.csv", past(100_001));
    let found = findings(&sandbox, "unreadable-table");
    assert_eq!(found.len(), 1);
    assert_eq!(found[0]["message"], "past.csv, line 100002: the table has more than 100000 rows");
}

/// A table of best times in which every row has its own year.
#[test]
fn years_of_best_times_are_checked() {
    let event = "targets:\n  t: {of: car, at-most: 5 s, formula: best, given: {best: {past: best.csv, value: time}}}\n";
    let mut text = "year,time\n".to_owned();
    for row in 0..90_000 {
        let _ = writeln!(text, "{},4.0", 3000 + row);
    }
    let sandbox = root(&[("c.yaml", event.to_owned()), ("best.csv", text)]);
    let took = timed(&sandbox, &["check"]);
    assert!(took < Duration::from_secs(15), "{took:?}");
    let found = findings(&sandbox, "unreadable-table");
    assert_eq!(found[0]["message"], "best.csv, line 2: 3000 is not a year");
}

/// Thousands of numbers that each name another row of a large table: each looks at its own row only.
#[test]
fn each_number_may_read_another_row_of_a_large_table() {
    let mut table = "run,time,state\n".to_owned();
    for row in 0..100_000 {
        let _ = writeln!(table, "{row}.0,{row},v");
    }
    let mut records = "targets:\n  t: {of: car, at-most: 100000 s, lead: x}\nresults:\n".to_owned();
    for n in 0..2_000 {
        let value = format!("{{from: t.csv, column: time, unit: s, where: {{state: v, run: {}}}}}", 49 * n);
        let _ = writeln!(records, "  r{n}: {{of: t, date: 2027-03-01, evidence: [t.csv], value: {value}}}");
    }
    let sandbox = root(&[("c.yaml", records), ("t.csv", table)]);
    // One by one they would look at 200 million rows; with an index of each column at 202,000.
    let found = findings(&sandbox, "unreadable-table");
    assert!(found.is_empty(), "{} {:?}", found.len(), found.first());
    let shown = sandbox.tierod(&["why", "r1999"]).ended(0).out;
    assert!(shown.contains("97951 s") && shown.contains("1 of 100000 rows"), "{shown}");
}

/// Rows that thousands of numbers look at again and again are counted together.
#[test]
fn the_rows_of_all_numbers_have_a_limit() {
    let table = format!("run,time\n{}", "a,4\n".repeat(50_000));
    let mut records = "targets:\n  t: {of: car, at-most: 9 s, lead: x}\nresults:\n".to_owned();
    for n in 0..210 {
        let value = "{from: t.csv, column: time, unit: s, take: mean, where: {run: a}}";
        let _ = writeln!(records, "  r{n}: {{of: t, date: 2027-03-01, evidence: [t.csv], value: {value}}}");
    }
    let sandbox = root(&[("c.yaml", records), ("t.csv", table)]);
    let found = findings(&sandbox, "unreadable-table");
    // The index of the column counts as the rows of one number.
    assert_eq!(found.len(), 210 - (10_000_000 / 50_000 - 1));
    assert_eq!((&found[0]["record"], &found[0]["field"]), (&"r199".into(), &"value.from".into()));
    let message = found[0]["message"].as_str().unwrap();
    assert_eq!(message, "t.csv, the numbers of the project need more than 10 million rows of tables together");
}

/// Score inputs that are forecast from one large table, each with an event of its own, or with all of its rows.
#[test]
fn forecasts_from_one_table_look_at_their_own_rows() {
    let mut table = "year,event,best\n".to_owned();
    for row in 0..60_000 {
        let _ = writeln!(table, "{},x{row},4.{row}", 2000 + row % 20);
    }
    let records = |number: usize, past: &dyn Fn(usize) -> String| {
        let mut records = "targets:\n".to_owned();
        for n in 0..number {
            let past = past(n);
            let _ = writeln!(
                records,
                "  t{n}: {{of: car, at-most: 9 s, lead: x, formula: best, given: {{best: {{past: p.csv, {past}}}}}}}"
            );
        }
        records
    };
    let sandbox = root(&[("c.yaml", records(1_000, &|n| format!("event: x{n}"))), ("p.csv", table.clone())]);
    // One by one they would read 60 million rows.
    assert!(findings(&sandbox, "unreadable-table").is_empty());
    let shown = sandbox.tierod(&["values", "--format", "json"]).json().to_string();
    assert!(shown.contains("4.999"), "the best time of one event");
}

/// The rows of different forecasts are counted together; equal ones count once.
#[test]
fn the_rows_of_all_forecasts_have_a_limit() {
    let names: Vec<String> = (0..12).map(|column| format!("c{column}")).collect();
    let rows: String = (0..99_000).map(|row| format!("{}{}\n", 2000 + row % 20, ",4".repeat(12))).collect();
    let mut records = "targets:\n".to_owned();
    for n in 0..240 {
        // Each twice. The numbers of other columns are not years, which is found after the rows were counted.
        let (year, value) = (n / 2 / 12, n / 2 % 12);
        let year = if year == 0 { "year".to_owned() } else { format!("c{year}") };
        let past = format!("past: p.csv, value: c{value}, year: {year}");
        let _ =
            writeln!(records, "  t{n}: {{of: car, at-most: 9 s, lead: x, formula: best, given: {{best: {{{past}}}}}}}");
    }
    let sandbox = root(&[("c.yaml", records), ("p.csv", format!("year,{}\n{rows}", names.join(",")))]);
    let found = findings(&sandbox, "unreadable-table");
    let is_over =
        |own: &&serde_json::Value| own["message"].as_str().unwrap().contains("need more than 10 million rows");
    // 101 of the 120 different ones are within the limit, 12 of which have years.
    assert_eq!((found.len(), found.iter().filter(is_over).count()), (2 * (120 - 12), 2 * (120 - 101)));
}

#[test]
fn a_track_has_a_limit() {
    let records = "\
targets:
  lap-time: {of: car, at-most: 9000 s, lead: x}
analyses:
  run: {model: lap, finds: lap-time, given: {track: track.csv, mass: 250 kg, power: 40 kW, grip: 1.4}}
";
    let track = |rows: usize| format!("length,curvature\n{}", "0.5,0.02\n0.7,0\n".repeat(rows / 2));
    let sandbox = root(&[("c.yaml", records.to_owned()), ("track.csv", track(4_000))]);
    assert!(findings(&sandbox, "unreadable-table").is_empty());
    let values = sandbox.tierod(&["values", "--format", "json"]).json();
    assert!(values.to_string().contains("lap-time"), "{values}");
    for rows in [5_002, 100_000, 700_000] {
        sandbox.write("track.csv", track(rows));
        let took = timed(&sandbox, &["check"]);
        assert!(took < Duration::from_secs(15), "{took:?}");
        let found = findings(&sandbox, "unreadable-table");
        assert_eq!(found.len(), 1, "{rows}");
        let message = found[0]["message"].as_str().unwrap();
        assert!(message.contains("line 5002: the table has more than 5000 rows") || rows > 100_000, "{message}");
        assert!(message.contains("rows") || message.contains("MiB"), "{message}");
    }
}

/// A long list counts as often as it is longer than usual: each row is tried with all gears.
#[test]
fn long_lists_of_a_model_count_as_work() {
    let root_with = |gears: usize| {
        let gears = (0..gears).map(|gear| format!("{:.4}", 3.0 - gear as f64 * 2.0 / gears as f64)).collect::<Vec<_>>();
        let given = format!(
            "{{track: track.csv, mass: 250 kg, power: 32 kW, grip: 1.4, drag-area: 1 m^2, lift-area: 2 m^2, final-drive: 10, \
             wheel-radius: 0.22 m, redline: 1000 rad/s, shift-time: 0.04 s, gears: [{}]}}",
            gears.join(", ")
        );
        let records = format!(
            "targets:\n  t: {{of: car, at-most: 9000 s, lead: x}}\nanalyses:\n  a: {{model: lap, finds: t, given: {given}}}\n"
        );
        let track = format!("length,curvature\n{}", "0.5,0.02\n0.7,0\n".repeat(2_400));
        let sandbox = root(&[("c.yaml", records), ("track.csv", track)]);
        let found = findings(&sandbox, "bad-value");
        found.iter().filter_map(|own| own["message"].as_str()).map(str::to_owned).collect::<Vec<String>>()
    };
    let is_too_much =
        |found: &[String]| found.iter().any(|own| own.contains("the models of the project need too much work"));
    let (few, many) = (root_with(6), root_with(300));
    assert!(!is_too_much(&few), "{few:?}");
    assert!(is_too_much(&many), "{many:?}");
}

/// Many analyses with models are calculated up to a limit, in the order of the records.
#[test]
fn models_have_a_limit_together() {
    let mut records = "targets:\n".to_owned();
    for n in 0..30 {
        let _ = writeln!(records, "  lap-{n}: {{of: car, at-most: 9000 s, lead: x}}");
    }
    records.push_str("analyses:\n");
    for n in 0..30 {
        let given =
            "{track: track.csv, mass: 250 kg ± 1 kg, power: 40 kW, grip: 1.4, drag-area: 1 m^2, lift-area: 2 m^2}";
        let _ = writeln!(records, "  run-{n}: {{model: lap, finds: lap-{n}, given: {given}}}");
    }
    let track = format!("length,curvature\n{}", "0.5,0.02\n0.7,0\n".repeat(1_000));
    let sandbox = root(&[("c.yaml", records), ("track.csv", track)]);
    let found = findings(&sandbox, "bad-value");
    let refused: Vec<&str> = found.iter().filter_map(|finding| finding["message"].as_str()).collect();
    assert!(
        refused.iter().all(|message| message.contains("the models of the project need too much work")),
        "{refused:?}"
    );
    // Each needs 2,010 rows, once and twice more for each of five numbers: 22 of them fit in 500,000.
    assert_eq!(refused.len(), 30 - 500_000 / (2_010 * 11), "{refused:?}");
}

/// Thousands of analyses name one large table: it is read once, and no more after the limit of all models.
#[test]
fn a_table_is_read_once_for_all_models() {
    const ANALYSES: usize = 4_000;
    let mut records = "targets:\n".to_owned();
    for n in 0..ANALYSES {
        let _ = writeln!(records, "  lap-{n}: {{of: car, at-most: 9000 s, lead: x}}");
    }
    records.push_str("analyses:\n");
    for n in 0..ANALYSES {
        // Every second one lacks an input, so that it does not count as work.
        let grip = if n % 2 == 0 { "nothing" } else { "grip" };
        let given = format!("{{track: track.csv, mass: 250 kg, power: 40 kW, {grip}: 1.4}}");
        let _ = writeln!(records, "  run-{n}: {{model: lap, finds: lap-{n}, given: {given}}}");
    }
    // Each row has 7 kB.
    let track = format!("length,curvature,\n{}", format!("0.5,0.02,{}\n", "x".repeat(7_000)).repeat(1_000));
    let sandbox = root(&[("c.yaml", records), ("track.csv", track)]);
    let took = timed(&sandbox, &["check"]);
    let found = findings(&sandbox, "bad-value");
    let refused = found.iter().filter(|own| own["message"].as_str().unwrap().contains("need too much work")).count();
    println!("{took:?}, {refused}");
    // 1,010 rows, once and twice more for each of three numbers, fit 70 times.
    assert_eq!(refused, ANALYSES - 2 * (500_000 / (1_010 * 7)) - 1);
}

/// The time of a check grows with the number of events, not with its square.
#[test]
fn a_thousand_events_take_twice_the_time_of_five_hundred() {
    let events = |count: usize| {
        let (mut events, mut targets) = ("events:\n".to_owned(), "targets:\n".to_owned());
        for n in 0..count {
            let _ = write!(
                events,
                "  e{n}:\n    plan: 1 pts\n    lead: x\n    serves: {{g: It is one of many.}}\n    reads: {{time: t{n}}}\n    score:\n      formula: if(time < slowest, span * (slowest/time - 1) / (slowest/best - 1) + floor, floor)\n      given: {{best: 3.88 s ± 0.06 s, slowest: 1.5 * best, span: 95.5 pts, floor: 4.5 pts}}\n"
            );
            let _ = writeln!(
                targets,
                "  t{n}: {{of: car, at-most: 5 s, estimate: 4 s ± 0.1 s, serves: {{e{n}: It is timed.}}}}"
            );
        }
        root(&[(
            "c.yaml",
            format!("goals:\n  g: {{points: 100 pts, reason: It is the aim., lead: x}}\n{events}{targets}"),
        )])
    };
    let best = |sandbox: &Sandbox| (0..3).map(|_| timed(sandbox, &["check"])).min().unwrap().as_secs_f64();
    let (few, many) = (best(&events(500)), best(&events(2000)));
    // Four times the events take four times as long; with the square it would be sixteen times.
    assert!(many < 9.0 * few, "500 events: {few:.2} s, 2,000 events: {many:.2} s");
}

/// Without a goal, what all records share is reported once.
#[test]
fn a_graph_without_a_goal_is_reported_once() {
    let mut text = "events:\n  e: {plan: 5 pts, lead: x}\nsystems:\n  s: {in: car, lead: x}\ntargets:\n  t: {of: car, at-most: 5 s, serves: {e: It is timed.}}\nparts:\n".to_owned();
    for n in 0..3000 {
        let _ = writeln!(text, "  p{n}: {{in: s, serves: {{t: It is part {n} of it.}}}}");
    }
    let sandbox = root(&[("c.yaml", text)]);
    let found = findings(&sandbox, "off-chain");
    assert_eq!(found.len(), 1);
    assert_eq!(found[0]["record"], "e");
    assert_eq!(
        found[0]["message"],
        "3001 records do not lead to a goal, because their chains end at e: t, p0, p1, p2, p3 and 2996 more"
    );
    // A few are named each.
    let few =
        "events:\n  e: {plan: 5 pts, lead: x}\ntargets:\n  t: {of: car, at-most: 5 s, serves: {e: It is timed.}}\n";
    let found = findings(&root(&[("c.yaml", few.to_owned())]), "off-chain");
    assert_eq!((found.len(), &found[0]["record"]), (1, &"t".into()));
}

/// Eight megabytes of commas, in every place where YAML could take them.
#[test]
#[cfg(unix)]
fn a_file_of_commas_takes_little_memory() {
    for text in [
        ",".repeat(8_000_000),
        format!("parts: [{}]\n", ",".repeat(8_000_000)),
        format!("parts: {{a: [{}]}}\n", "a,".repeat(4_000_000)),
    ] {
        let sandbox = root(&[("c.yaml", text)]);
        let tierod = env!("CARGO_BIN_EXE_tierod");
        let file = sandbox.outside().join("memory");
        let mut command = sandbox.command("/usr/bin/time", &sandbox.path());
        command.args(["-q", "-f", "%M", "-o"]).arg(&file).args([tierod, "check"]);
        let Ok(output) = command.output() else {
            println!("skipped: there is no /usr/bin/time");
            return;
        };
        assert_eq!(output.status.code(), Some(1));
        let memory: u64 = std::fs::read_to_string(&file).unwrap().trim().parse().unwrap();
        assert!(memory < 500 << 10, "{memory} KiB");
    }
}
