//! Values: their origin, totals, statuses and uncertainty, and their JSON.

use std::fmt::Write as _;

use serde_json::Value;

use crate::support::Sandbox;
use crate::values_json::{Read, close};

/// DESIGN 5: the latest result, otherwise the value from an analysis, then `formula`, `total`, `estimate`.
#[test]
fn where_a_value_comes_from() {
    let own = "of: car, at-most: 100 kg, estimate: 1 kg ± 0.1 kg";
    let read = Read::new(&format!(
        "
parts: {{block: {{amounts: {{mass: {{value: 2 kg, basis: weighed}}}}}}}}
targets:
  nothing: {{of: car, at-most: 100 kg}}
  estimate: {{{own}}}
  total: {{{own}, total: mass}}
  formula: {{{own}, total: mass, formula: 3 kg}}
  analysis: {{{own}, total: mass, formula: 3 kg}}
  result: {{{own}, total: mass, formula: 3 kg}}
  newer: {{{own}}}
  taken-over: {{{own}}}
  given-up: {{{own}}}
  ordered: {{{own}}}
  chained: {{{own}}}
analyses:
  outside: {{finds: {{analysis: 4 kg, result: 4 kg}}}}
  by-formula: {{formula: 2 * half, given: {{half: 2.5 kg}}, finds: chained}}
  new: {{finds: {{newer: 6 kg}}, supersedes: [old]}}
  old: {{finds: {{newer: 7 kg, given-up: 7 kg}}}}
  later: {{finds: {{taken-over: 8 kg}}, supersedes: [sooner]}}
  sooner: {{finds: {{taken-over: 9 kg}}, supersedes: [first]}}
  first: {{finds: {{taken-over: 10 kg}}}}
results:
  r3: {{of: result, value: 5 kg, date: 2027-03-03}}
  r1: {{of: result, value: 5.1 kg ± 0.3 kg, date: 2027-03-01}}
  r2: {{of: result, value: 5.2 kg, date: 2027-03-02}}
  passed: {{of: result, outcome: pass, date: 2027-03-09}}
  o1: {{of: ordered, value: 11 kg, date: 2026-12-31}}
  o2: {{of: ordered, value: 12 kg ± 500 g, date: 2027-01-01}}
"
    ));
    assert!(read.get("nothing")["value"].is_null());
    assert_eq!(read.get("nothing")["origin"], "none");
    for (id, value, uncertainty, origin) in [
        ("estimate", 1.0, 0.1, "estimate"),
        ("total", 2.0, 0.0, "total"),
        ("formula", 3.0, 0.0, "formula"),
        ("analysis", 4.0, 0.0, "analysis"),
        ("result", 5.0, 0.0, "result"),
        ("newer", 6.0, 0.0, "analysis"),
        ("taken-over", 8.0, 0.0, "analysis"),
        ("given-up", 1.0, 0.1, "estimate"),
        ("ordered", 12.0, 0.5, "result"),
        ("chained", 5.0, 0.0, "analysis"),
    ] {
        assert_eq!(read.get(id)["origin"], origin, "{}", read.get(id));
        close(read.number(id), value, 1e-12);
        assert!((read.uncertainty(id) - uncertainty).abs() < 1e-12, "{}", read.get(id));
    }
    read.reports("two-sources", "formula", "`formula` and `total`", "");
}

/// An event has its result, otherwise its score, otherwise its estimate; a goal the total of the events that serve it.
#[test]
fn points_of_events_and_goals() {
    let read = Read::new(
        "
goals:
  goal: {points: 600 pts, reason: Enough.}
  side: {points: 60 pts, reason: Enough.}
  empty: {points: 60 pts, reason: Enough.}
  later: {points: 60 pts, reason: Enough.}
events:
  judged: {expect: 68 pts ± 8 pts, serves: {goal: It is judged.}}
  scored: {reads: {time: 4.4 s ± 0.04 s}, score: {use: sae-2024.acceleration, given: {best: 4.0 s}}, serves: {goal: a, side: b, later: c}}
  run: {expect: 68 pts ± 8 pts, serves: {goal: It was run.}}
  wrong: {reads: {time: 4.4 s}, score: {use: sae-2024.acceleration, given: {best: 4.0 s}}}
  unknown: {plan: 10 pts, serves: {later: It is yet to be judged.}}
results:
  june: {of: run, value: 71 pts, date: 2027-02-01}
  may: {of: run, value: 40 pts, date: 2027-01-01}
  clock: {of: wrong, value: 4.4 s, date: 2027-01-01}
",
    );
    // Formula SAE Rules 2024, D.9.4: 73.954545 points; the slope is -95.5 * 1.5 * 4 / 4.4^2 / 0.5 per second.
    let slope = 95.5 * 6.0 / (4.4 * 4.4) / 0.5;
    for (id, value, uncertainty, origin) in [
        ("judged", 68.0, 8.0, "estimate"),
        ("scored", 73.954_545_454_545, slope * 0.04, "score"),
        ("run", 71.0, 0.0, "result"),
        ("goal", 68.0 + 73.954_545_454_545 + 71.0, 8.0_f64.hypot(slope * 0.04), "events"),
        ("side", 73.954_545_454_545, slope * 0.04, "events"),
    ] {
        let found = read.get(id);
        assert_eq!((&found["origin"], &found["unit"]), (&Value::from(origin), &Value::from("pts")), "{found}");
        close(read.number(id), value, 1e-12);
        assert!((read.uncertainty(id) - uncertainty).abs() < 1e-9, "{found}");
        assert!(found["limit"].is_null() && found["status"].is_null() && found["margin"].is_null(), "{found}");
    }
    assert!(read.get("wrong")["value"].is_null() && read.get("unknown")["value"].is_null());
    assert!(read.get("empty")["value"].is_null());
    assert!(read.get("later")["value"].is_null(), "there is no sum over events without a value");
    read.reports("unit-mismatch", "clock", "`4.4 s` is a time, and a number of points", "`pts`");
    read.reports_nothing(&["unit-mismatch", "bad-value", "unknown-reference"], "wrong");
}

const GROWTH: &str = "\
season: 2027
as-of: 2027-03-19
growth:
  mass: {estimated: 20 %, calculated: 10 %, drawn: 5 %, weighed: 0 %}
  cost: {quoted: 5 %, paid: 0 %}
";

/// ESA's margin philosophy adds an allowance by the maturity of an estimate; here it is the team's setting.
#[test]
fn amounts_add_up_with_counts_and_growth() {
    let sandbox = Sandbox::new();
    sandbox.write("tierod.yaml", GROWTH);
    sandbox.write(
        "records.yaml",
        "
systems:
  suspension: {in: car}
  front: {in: suspension}
  left: {in: front}
  idle: {in: car}
parts:
  upright: {in: front, count: 2, amounts: {mass: {value: 600 g ± 60 g, basis: calculated}, cost: 140 EUR}}
  arm: {in: left, count: 4, amounts: {mass: 0.5 kg ± 0.1 kg, cost: {value: 20 EUR, basis: paid}}}
  rocker: {in: suspension, amounts: {mass: {value: 1 kg, basis: weighed}}}
  wing: {amounts: {mass: {value: 3 kg, basis: drawn}}}
  plate: {in: suspension}
targets:
  car-mass: {of: car, at-most: 10 kg, total: mass}
  suspension-mass: {of: suspension, at-most: 10000 g, total: mass}
  left-mass: {of: left, at-most: 10 kg, total: mass}
  idle-mass: {of: idle, at-most: 10 kg, total: mass}
  upright-mass: {of: upright, at-most: 10 kg, total: mass}
  one-upright: {of: upright, at-most: 10 kg, formula: upright.mass}
  both: {of: car, at-most: 10 kg, formula: suspension.mass + car.mass}
  price: {of: car, at-most: 1000 EUR, total: cost}
  price-per-mass: {of: car, at-most: 1000 EUR/kg, formula: car.cost / car.mass}
",
    );
    let read = Read::from_sandbox(sandbox);
    let (uprights, arms) = (2.0 * 0.6 * 1.1, 4.0 * 0.5 * 1.2);
    let (of_uprights, of_arms) = (2.0 * 0.06 * 1.1, 4.0 * 0.1 * 1.2);
    let suspension = uprights + arms + 1.0;
    let car = suspension + 3.0 * 1.05;
    let spread = f64::hypot(of_uprights, of_arms);
    for (id, value, uncertainty) in [
        ("car-mass", car, spread),
        ("suspension-mass", 1000.0 * suspension, 1000.0 * spread),
        ("left-mass", arms, of_arms),
        ("upright-mass", uprights, of_uprights),
        ("one-upright", 0.6, 0.06),
        ("both", suspension + car, 2.0 * spread),
        ("price", 2.0 * 140.0 * 1.05 + 80.0, 0.0),
        ("price-per-mass", (294.0 + 80.0) / car, (294.0 + 80.0) / (car * car) * spread),
    ] {
        close(read.number(id), value, 1e-12);
        assert!((read.uncertainty(id) - uncertainty).abs() < 1e-12 * uncertainty.max(1.0), "{}", read.get(id));
    }
    for (id, value) in
        [("car.mass", car), ("suspension.mass", suspension), ("front.mass", uprights + arms), ("left.mass", arms)]
    {
        close(read.si(id), value, 1e-12);
        assert_eq!(read.get(id)["origin"], "total");
    }
    close(read.number("car.cost"), 374.0, 1e-12);
    assert_eq!(read.get("car.cost")["unit"], "EUR");
    // Without a part that has a mass, the total of a system is not zero but unknown.
    assert!(read.get("idle-mass")["value"].is_null());
}

/// Nested systems, a part without an amount, money of two currencies.
#[test]
fn money_is_shown_in_the_teams_currency() {
    let sandbox = Sandbox::new();
    sandbox.write(
        "tierod.yaml",
        "season: 2027\nas-of: 2027-03-19\ncurrency: EUR\nrates: {USD: 0.9 EUR, JPY: 0.006 EUR}\n",
    );
    sandbox.write(
        "records.yaml",
        "
parts:
  a: {amounts: {cost: 100 EUR}}
  b: {amounts: {cost: 100 USD ± 10 USD}}
  c: {amounts: {cost: 10000 JPY}}
targets:
  price: {of: car, at-most: 300 EUR, total: cost}
  abroad: {of: car, at-most: 260 USD, total: cost}
  dear: {of: car, at-most: 200 USD, total: cost}
  rate: {of: car, at-most: 10 USD/kg, formula: 8 EUR/kg}
  held: {of: car, between: [270 USD, 290 USD], total: cost}
",
    );
    let read = Read::from_sandbox(sandbox);
    for id in ["price", "abroad", "dear", "held"] {
        close(read.number(id), 250.0, 1e-12);
        assert_eq!(read.get(id)["unit"], "EUR");
        close(read.uncertainty(id), 9.0, 1e-12);
    }
    // 260 USD are 234 EUR: the total is above it, though 250 is below 260.
    close(read.get("abroad")["limit"]["at_most"].as_f64().unwrap(), 234.0, 1e-12);
    for (id, status, margin) in [
        ("price", "on target", 1.0 - 250.0 / 300.0),
        ("abroad", "at risk", 1.0 - 250.0 / 234.0),
        ("dear", "at risk", 1.0 - 250.0 / 180.0),
        ("rate", "on target", 1.0 - 8.0 / 9.0),
        ("held", "at risk", (250.0_f64 / 243.0 - 1.0).min(1.0 - 250.0 / 261.0)),
    ] {
        let found = read.get(id);
        assert_eq!(found["status"], status, "{found}");
        close(found["margin"].as_f64().unwrap(), margin, 1e-9);
    }
}

/// A local name is an id only outside of its scope: `drag-area: drag-area` binds the input to the target.
#[test]
fn local_names_shadow_ids_and_do_not_refer_to_themselves() {
    let read = Read::new(
        "
targets:
  drag-area: {of: car, at-most: 2 m^2, estimate: 1.1 m^2 ± 0.1 m^2}
  mass: {of: car, at-most: 300 kg, estimate: 280 kg}
  run: {of: car, at-most: 10 s}
  same: {of: car, at-most: 2 m^2, formula: drag-area, given: {drag-area: drag-area}}
  doubled: {of: car, at-most: 3 m^2, formula: drag-area, given: {drag-area: 2 * drag-area}}
  other: {of: car, at-most: 300 kg, formula: mass, given: {mass: 250 kg}}
  through: {of: car, at-most: 300 kg, formula: a, given: {a: mass, mass: 240 kg}}
  shadowed: {of: car, at-most: 300 kg, formula: shadowed + 1 kg, given: {shadowed: 2 kg}}
analyses:
  straight: {model: straight-line, finds: run, given: {mass: mass, power: 60 kW, grip: 1.2, distance: 75 m, drag-area: drag-area}}
",
    );
    for (id, value, uncertainty) in [
        ("same", 1.1, 0.1),
        ("doubled", 2.2, 0.2),
        ("other", 250.0, 0.0),
        ("through", 240.0, 0.0),
        ("shadowed", 3.0, 0.0),
    ] {
        close(read.number(id), value, 1e-12);
        assert!((read.uncertainty(id) - uncertainty).abs() < 1e-12, "{}", read.get(id));
    }
    assert!(read.number("run") > 3.0 && read.uncertainty("run") > 0.0, "{}", read.get("run"));
}

#[test]
fn values_that_depend_on_themselves() {
    let read = Read::new(
        "
targets:
  alone: {of: car, at-most: 9 kg, formula: alone + 1 kg}
  a: {of: car, at-most: 9 kg, formula: 2 * b}
  b: {of: car, at-most: 9 kg, formula: c - 1 kg}
  c: {of: car, at-most: 9 kg, formula: a / 3}
  above: {of: car, at-most: 9 kg, formula: a + 1 kg}
  beside: {of: car, at-most: 9 kg, formula: 3 kg}
  local: {of: car, at-most: 9 kg, formula: x, given: {x: y, y: 2 * x}}
  cut: {of: car, at-most: 9 kg, formula: knot}
  knot: {of: car, at-most: 9 kg, formula: cut}
events:
  e: {reads: {time: time}, score: {formula: 'if(time < 2 s, 3 pts, 4 pts)'}}
  f: {reads: {time: 1 s}, score: {formula: 1 pts * (time / lap)}}
results: {r: {of: knot, value: 4 kg, date: 2027-01-01}}
",
    );
    for id in ["alone", "a", "b", "c", "above", "local"] {
        assert!(read.get(id)["value"].is_null(), "{}", read.get(id));
        assert_eq!(read.get(id)["status"], "no value");
    }
    close(read.number("beside"), 3.0, 1e-15);
    close(read.number("cut"), 4.0, 1e-15);
    read.reports("value-cycle", "alone", "alone ← alone", "");
    read.reports("value-cycle", "a", "a ← b ← c ← a", "");
    read.reports("value-cycle", "local", "local given x ← local given y ← local given x", "");
    for id in ["b", "c", "above", "beside", "cut", "knot"] {
        read.reports_nothing(&["value-cycle"], id);
    }
}

/// DESIGN 5: margin `value/limit - 1` for at-least, `1 - value/limit` for at-most; met or missed by a result, on target
/// or at risk by an estimate; at risk if the estimate, with its uncertainty, does not meet the limit.
#[test]
fn margins_and_the_status_of_a_target() {
    let mut records = String::from("targets:\n");
    let mut results = String::from("results:\n");
    let cases: [(&str, &str, &str, Option<f64>); 20] = [
        ("at-most: 200 kg", "190 kg", "on target", Some(0.05)),
        ("at-most: 200 kg", "190 kg ± 9 kg", "on target", Some(0.05)),
        ("at-most: 200 kg", "190 kg ± 11 kg", "at risk", Some(0.05)),
        ("at-most: 200 kg", "210 kg", "at risk", Some(-0.05)),
        ("at-most: 200 kg", "200 kg", "on target", Some(0.0)),
        ("at-least: 2.0", "2.5 ± 0.4", "on target", Some(0.25)),
        ("at-least: 2.0", "2.5 ± 0.6", "at risk", Some(0.25)),
        ("at-least: 2.0", "1.9", "at risk", Some(-0.05)),
        ("between: [10 mm, 20 mm]", "12 mm", "on target", Some(0.2)),
        ("between: [10 mm, 20 mm]", "19 mm ± 0.5 mm", "on target", Some(0.05)),
        ("between: [10 mm, 20 mm]", "19 mm ± 2 mm", "at risk", Some(0.05)),
        ("between: [10 mm, 20 mm]", "0.9 cm", "at risk", Some(-0.1)),
        ("at-most: 0 mm", "-1 mm", "on target", None),
        // Camber, below zero: a value within the limits has a margin above zero.
        ("between: [-2 deg, -1 deg]", "-1.5 deg", "on target", Some(0.25)),
        ("at-least: -2 deg", "-2.5 deg", "at risk", Some(-0.25)),
        ("at-most: 200 kg", "result 190 kg ± 20 kg", "uncertain", Some(0.05)),
        ("at-most: 200 kg", "result 201 kg ± 20 kg", "uncertain", Some(-0.005)),
        ("at-least: 2.0", "result 2.0", "met", Some(0.0)),
        ("at-least: 2.0", "result 1.999999", "missed", Some(-5e-7)),
        ("at-least: 2.0", "", "no value", None),
    ];
    for (number, (limit, value, ..)) in cases.iter().enumerate() {
        match value.strip_prefix("result ") {
            Some(value) => {
                writeln!(records, "  t{number}: {{of: car, {limit}}}").unwrap();
                writeln!(results, "  r{number}: {{of: t{number}, value: {value}, date: 2027-01-01}}").unwrap();
            }
            None if value.is_empty() => writeln!(records, "  t{number}: {{of: car, {limit}}}").unwrap(),
            None => writeln!(records, "  t{number}: {{of: car, {limit}, estimate: {value}}}").unwrap(),
        }
    }
    let read = Read::new(&(records + &results));
    for (number, case) in cases.iter().enumerate() {
        let found = read.get(&format!("t{number}"));
        assert_eq!(found["status"], case.2, "{case:?} {found}");
        match (found["margin"].as_f64(), case.3) {
            (Some(margin), Some(expected)) => assert!((margin - expected).abs() < 1e-9, "{case:?} {found}"),
            (margin, expected) => assert_eq!(margin, expected, "{case:?} {found}"),
        }
    }
}

/// DESIGN 9: the keys for scripts.
#[test]
fn the_keys_for_scripts() {
    let read = Read::new(
        "
goals: {goal: {points: 600 pts, reason: Enough.}}
events: {event: {expect: 68 pts, serves: {goal: a}}}
systems: {frame: {in: car}}
parts: {tube: {in: frame, amounts: {mass: {value: 500 g, basis: weighed}}}}
targets:
  most: {of: car, at-most: 5 kg, estimate: 4000 g ± 100 g}
  least: {of: car, at-least: 5 kg}
  within: {of: car, between: [4 kg, 6 kg], estimate: 5 kg}
",
    );
    let keys = [
        "id",
        "value",
        "unit",
        "si",
        "uncertainty",
        "low",
        "high",
        "origin",
        "limit",
        "status",
        "margin",
        "conformance",
        "not_in_parts",
    ];
    let ids = ["most", "least", "within", "event", "goal", "car.mass", "frame.mass"];
    assert_eq!(read.values.len(), ids.len(), "targets, events, goals and amounts");
    for id in ids {
        let found = read.get(id).as_object().unwrap();
        assert_eq!(found.keys().map(String::as_str).collect::<Vec<_>>(), keys, "{found:?}");
        assert!(found["unit"].is_string() && found["origin"].is_string(), "{found:?}");
    }
    assert_eq!(read.get("within")["uncertainty"].to_string(), "0.0", "and no negative zero");
    let most = read.get("most");
    assert_eq!((&most["value"], &most["unit"], &most["si"]), (&4.0.into(), &"kg".into(), &4.0.into()));
    assert_eq!(most["limit"], serde_json::json!({"at_most": 5.0}));
    assert_eq!(read.get("least")["limit"], serde_json::json!({"at_least": 5.0}));
    assert!(read.get("least")["uncertainty"].is_null() && read.get("least")["si"].is_null());
    assert_eq!(read.get("within")["limit"], serde_json::json!({"between": [4.0, 6.0]}));
    assert_eq!((&read.get("car.mass")["value"], &read.get("car.mass")["unit"]), (&500.0.into(), &"g".into()));
    close(read.si("car.mass"), 0.5, 1e-15);
}

/// A chain in the worst order, the last link first: neither its depth nor its length is a problem.
#[test]
fn a_chain_of_twenty_thousand_formulas() {
    let length = 20_000;
    let mut records = String::from("targets:\n");
    for link in (1..length).rev() {
        writeln!(records, "  c{link}: {{of: car, at-most: 30000 kg, formula: c{} + 1 kg}}", link - 1).unwrap();
    }
    records.push_str("  c0: {of: car, at-most: 9 kg, estimate: 1 kg ± 0.1 kg}\n");
    let read = Read::new(&records);
    let last = format!("c{}", length - 1);
    close(read.number(&last), f64::from(length), 1e-12);
    close(read.uncertainty(&last), 0.1, 1e-12);
    // A cycle of the same length.
    let knotted = records.replace("formula: c0 + 1 kg", &format!("formula: {last} + 1 kg"));
    let read = Read::new(&knotted);
    assert!(read.get(&last)["value"].is_null());
}

/// Ten thousand parts in nested systems.
#[test]
fn ten_thousand_parts() {
    let mut records = String::from("systems:\n");
    for system in 0..100 {
        let outer = if system % 10 == 0 { "car".to_owned() } else { format!("s{}", system - 1) };
        writeln!(records, "  s{system}: {{in: {outer}}}").unwrap();
    }
    records.push_str("targets:\n");
    for system in 0..100 {
        writeln!(records, "  m{system}: {{of: s{system}, at-most: 900 kg, total: mass}}").unwrap();
    }
    records.push_str("  car-mass: {of: car, at-most: 90000 kg, total: mass}\nparts:\n");
    let mut own = [0.0; 100];
    let mut squares = [0.0; 100];
    for part in 0..10_000 {
        let (system, grams, count) = (part % 100, 1 + part % 37, 1 + part % 4);
        writeln!(
            records,
            "  p{part}: {{in: s{system}, count: {count}, amounts: {{mass: {{value: {grams} g ± 1 g, basis: estimated}}}}}}"
        )
        .unwrap();
        own[system] += 1.2 * f64::from((grams * count) as u32) / 1000.0;
        squares[system] += (1.2 * f64::from(count as u32) / 1000.0_f64).powi(2);
    }
    let read = Read::new(&records);
    close(read.si("car-mass"), own.iter().sum(), 1e-11);
    close(read.uncertainty("car-mass"), squares.iter().sum::<f64>().sqrt(), 1e-11);
    for system in 0..100 {
        // A system contains the nine below it.
        let held = system..(system / 10 + 1) * 10;
        close(read.si(&format!("m{system}")), own[held.clone()].iter().sum(), 1e-11);
        close(read.uncertainty(&format!("m{system}")), squares[held].iter().sum::<f64>().sqrt(), 1e-11);
    }
}
