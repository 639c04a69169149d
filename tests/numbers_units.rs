//! Units, tolerance, growth and rates, and the messages for what cannot be right.

use crate::support::{SETTINGS, Sandbox};
use crate::values_json::Read;

/// The findings of a check: record, message, fix.
fn findings(settings: &str, records: &str, check: &str) -> Vec<[String; 3]> {
    let sandbox = Sandbox::new();
    sandbox.write("tierod.yaml", settings);
    sandbox.write("records.yaml", records);
    let answer = sandbox.tierod(&["check", "--format", "json"]).json();
    let all = answer["findings"].as_array().unwrap().iter().filter(|finding| finding["check"] == check);
    let text = |finding: &serde_json::Value, key: &str| finding[key].as_str().unwrap_or("").to_owned();
    all.map(|finding| [text(finding, "record"), text(finding, "message"), text(finding, "help")]).collect()
}

/// The only finding of a check, as "message | fix".
#[track_caller]
fn only(records: &str, check: &str) -> String {
    match &findings(SETTINGS, records, check)[..] {
        [[_, message, help]] => format!("{message} | {help}"),
        other => panic!("{records}: {other:?}"),
    }
}

#[test]
fn fifty_wrong_quantities() {
    let cases: Vec<Vec<&str>> = include_str!("wrong-quantities.tsv")
        .lines()
        .filter(|line| !line.starts_with('#'))
        .map(|line| line.split('\t').collect())
        .collect();
    assert!(cases.len() >= 50);
    let mut records = "targets:\n".to_owned();
    for (number, case) in cases.iter().enumerate() {
        records.push_str(&format!("  t{number}: {{of: car, at-most: '{}'}}\n", case[0].replace('\'', "''")));
    }
    let found = findings(SETTINGS, &records, "bad-value");
    assert_eq!(found.len(), cases.len());
    for (number, case) in cases.iter().enumerate() {
        let [text, message, fix] = case[..] else { panic!("{case:?}") };
        let of_this = found.iter().find(|[record, ..]| *record == format!("t{number}"));
        let [_, found_message, found_fix] = of_this.unwrap_or_else(|| panic!("{text}"));
        assert_eq!((found_message.as_str(), found_fix.as_str()), (message, fix), "{text}");
    }
}

#[test]
fn a_value_in_another_unit_than_its_limit() {
    let of = |limit: &str, more: &str| format!("targets: {{t: {{of: car, at-most: {limit}{more}}}}}\n");
    let result = "results: {r: {of: t, value: 3.8 kW, date: 2027-03-01, evidence: [records.yaml]}}";
    for (records, text) in [
        (
            of("4.25 s", "") + result,
            "`3.8 kW` is a power, and the limit is `at most 4.25 s`, a time | give it in `s`, or correct the limit",
        ),
        (
            of("3.8 kW", ", estimate: 4.3 s"),
            "`4.3 s` is a time, and the limit is `at most 3.8 kW`, a power | give it in `kW`, or correct the limit",
        ),
        (
            of("4.25 s", ", estimate: 4.3"),
            "`4.3` is a number without unit, and the limit is `at most 4.25 s`, a time | add the unit: `4.3 s`",
        ),
        (
            of("105 °C", ", estimate: 90 C"),
            "`90 C` is a charge, and the limit is `at most 105 °C`, a temperature | `C` is coulomb: use `90 °C`",
        ),
        (
            of("4 m", ", formula: 3 s + 1 s"),
            "unit does not match: the limit is `at most 4 m`, a length, and the value is in `s` | give the value in \
             `m`, or correct the limit",
        ),
        ("events: {e: {plan: 50 s}}".to_owned(), "`50 s` is not a number of points | use `50 pts`"),
        (
            "parts: {a: {in: s, amounts: {cost: 62 EUR}}, b: {in: s, amounts: {cost: 5 USD}}}".to_owned(),
            "`5 USD` is not in `EUR` | give it in `EUR`, or add a rate for USD under `rates` in the settings",
        ),
        (
            "parts: {a: {in: s, amounts: {mass: 0.62 kg}}, b: {in: s, amounts: {mass: 0.62}}}".to_owned(),
            "`0.62` is a number without unit, and a mass is expected here | add the unit: `0.62 kg`",
        ),
        (
            "parts: {a: {in: s, amounts: {heat: 62 °C}}}".to_owned(),
            "`62 °C` is a temperature with its own zero: amounts are added up | use K, or a target in place of an amount",
        ),
    ] {
        assert_eq!(only(&records, "unit-mismatch"), text, "{records}");
    }
    // In formulas the position is that of the name after the number.
    for (formula, text) in [
        ("22 x 1.04 kg", "expected an operator, found `x` | use `*` to multiply"),
        ("2 mass", "unknown unit `mass` | to multiply by a value, put `*` before it: `2 * mass`"),
        ("'1,5 kg'", "`1,5 kg` has a decimal comma | use a decimal point, `1.5 kg`"),
        ("1.5kg", "`1.5kg` has no space between number and unit | use `1.5 kg`"),
    ] {
        let records = of("4 kg", &format!(", formula: {formula}, given: {{mass: 3 kg}}"));
        assert_eq!(only(&records, "bad-value"), text, "{formula}");
    }
}

#[test]
fn a_difference_of_temperatures_is_in_kelvin() {
    let records = |limit: &str, formula: &str| {
        format!(
            "targets:\n  inside: {{of: car, at-most: 105 °C, estimate: 95 °C}}\n  outside: {{of: car, at-most: 140 °F, \
             estimate: 60 °C}}\n  t: {{of: car, at-most: {limit}, formula: '{formula}'}}\n"
        )
    };
    let read = Read::new(&records("40 K", "inside - outside"));
    assert!((read.number("t") - 35.0).abs() < 1e-9, "{}", read.get("t"));
    assert_eq!((read.get("t")["unit"].as_str(), read.get("t")["status"].as_str()), (Some("K"), Some("on target")));
    assert!((read.number("outside") - 140.0).abs() < 1e-9, "60 °C in °F");
    for (limit, formula, text) in [
        (
            "12 °C",
            "inside - outside",
            "a difference of two temperatures is in K, and the limit `12 °C` is a temperature | give the limit as a \
             difference: `at-most: 12 K`",
        ),
        (
            "90 °F",
            "2 * (inside - outside)",
            "a difference of two temperatures is in K, and the limit `90 °F` is a temperature | give the limit as a \
             difference: `at-most: 50 K`",
        ),
        (
            "120 °C",
            "inside + outside",
            "adding two temperatures that have their own zero (°C, °F) | add a difference in K, or subtract one \
             temperature from the other",
        ),
        (
            "120 °C",
            "1.1 * inside",
            "a temperature with its own zero (°C, °F) in a product, quotient or power | subtract another temperature \
             first, or give it in K (`x - -273.15 °C` is the absolute one)",
        ),
    ] {
        let records = records(limit, formula);
        assert_eq!(only(&records, "unit-mismatch"), text, "{formula}");
        let read = Read::new(&records);
        assert!(read.get("t")["value"].is_null() && read.get("t")["status"] == "no value", "{}", read.get("t"));
    }
    for (formula, value) in [
        ("inside + 5 K", 100.0),
        ("outside + (inside - outside) / 2", 77.5),
        ("max(inside, outside)", 95.0),
        ("inside - (10 °C - -5 °C)", 80.0),
    ] {
        let read = Read::new(&records("120 °C", formula));
        assert!((read.number("t") - value).abs() < 1e-9, "{formula}: {}", read.get("t"));
    }
}

fn run_with(gears: &str, redline: &str) -> String {
    format!(
        "targets:\n  t: {{of: car, at-most: 40 s}}\n  engine-speed: {{of: car, at-most: 11000 1/min, estimate: 11000 \
         1/min}}\n  shaft-speed: {{of: car, at-most: 11000 rpm, estimate: 1151.9173063162574 rad/s}}\nanalyses:\n  \
         run:\n    model: straight-line\n    finds: t\n    given: {{mass: 280 kg, power: 60 kW, grip: 1.2, distance: 75 \
         m, gears: {gears}, wheel-radius: 0.2 m, final-drive: 4, shift-time: 0.1 s, redline: {redline}}}\n"
    )
}

/// 11,000 turns a minute are 11000 * 2 pi / 60 = 1151.917 rad/s and 66,000 deg/s.
#[test]
fn a_shaft_speed_has_an_angle() {
    let time = |gears: &str, redline: &str| Read::new(&run_with(gears, redline)).number("t");
    let expected = time("'3, 2.4, 2'", "1151.9173063162574 rad/s");
    for redline in ["11000 rpm", "11000 rev/min", "66000 deg/s", "66000 °/s", "shaft-speed", "2 * 5500 rpm"] {
        assert!((time("'3, 2.4, 2'", redline) - expected).abs() < 1e-9, "{redline}");
    }
    // A list of the file is the same as a text with commas.
    assert_eq!(time("[3, 2.4, 2]", "11000 rpm"), time("'3, 2.4, 2'", "11000 rpm"));
    for (redline, fix) in [
        ("11000 1/min", "use `11000 rpm` for turns"),
        ("183 Hz", "use `10980 rpm` for turns"),
        ("engine-speed", "give the value that it names in rpm"),
    ] {
        let records = run_with("[3, 2.4, 2]", redline);
        let text = only(&records, "unit-mismatch");
        assert!(text.starts_with("`redline` is a shaft speed") && text.contains(fix), "{text}");
        assert!(Read::new(&records).get("t")["value"].is_null());
    }
    let mixed = "targets: {t: {of: car, at-least: 11000 rpm, estimate: 190 Hz}}";
    assert!(only(mixed, "unit-mismatch").contains("use `11400 rpm`"));
}

#[test]
fn lists_of_quantities() {
    for (gears, text) in [
        (
            "[3 kg, 2]",
            "the unit of `3 kg` does not match | use numbers without unit; a list has commas: `[2.5, 2, 1.6]`",
        ),
        ("[3, fast]", "`fast` does not begin with a number | use a number and a unit, for example `4.25 s`"),
        ("'3; 2'", "`3; 2` has semicolons | separate numbers with commas; a list has commas: `[2.5, 2, 1.6]`"),
    ] {
        assert_eq!(only(&run_with(gears, "11000 rpm"), "bad-value"), text, "{gears}");
    }
    assert_eq!(
        only("targets: {t: {of: car, at-most: 4 s, formula: x, given: {x: [3 s, 2 s]}}}", "bad-value"),
        "expected one value, found a list | keep one of them; only inputs of models that are lists, like `gears`, take \
         several"
    );
}

#[test]
fn a_unit_that_is_also_a_name() {
    let clash = "`t` is a unit here, and also a name in this record | put spaces around the sign before `t` to use the \
                 value, or give the value another name";
    for given in ["{t: 3 t, pace: 9 s/t}", "{t: 3, pace: 2 * 9 s/t}"] {
        let records = format!("targets: {{x: {{of: car, at-most: 400 s, formula: pace * 2 t, given: {given}}}}}");
        assert_eq!(only(&records, "unit-mismatch"), clash, "{given}");
        assert!(Read::new(&records).get("x")["value"].is_null());
    }
    // Spaces make it a division; where only the unit gives the dimension that is needed, it is meant.
    let read = Read::new(
        "targets:\n  a: {of: car, at-most: 400 s, formula: 9 s / t, given: {t: 3}}\n  b: {of: car, at-most: 900 N, formula: \
         m * 3 m/s^2, given: {m: 280 kg}}\n",
    );
    assert!((read.number("a") - 3.0).abs() < 1e-12 && (read.number("b") - 840.0).abs() < 1e-9);
    read.reports_nothing(&["unit-mismatch"], "b");
}

#[test]
fn growth_and_rates_that_cannot_be_right_change_no_number() {
    let records = "systems: {frame: {in: car}}\ntargets: {t: {of: car, at-most: 100 kg, total: mass}, c: {of: car, at-most: 1000 EUR, \
                   total: cost}}\nparts: {a: {in: frame, amounts: {mass: {value: 10 kg, basis: estimated}, cost: 10 EUR}}}\n";
    let read = |settings: &str| {
        let sandbox = Sandbox::new();
        sandbox.write("tierod.yaml", format!("season: 2027\ncurrency: EUR\n{settings}\n"));
        sandbox.write("records.yaml", records);
        Read::from_sandbox(sandbox)
    };
    for (settings, message, help) in [
        ("growth: {mass: {estimated: 20}}", "the growth `20` has no `%`, and would be 2000 %", "use `20 %`"),
        ("growth: {mass: {estimated: 0.2}}", "the growth `0.2` has no `%`, and would be 20 %", "use `20 %`"),
        ("growth: {mass: {estimated: 120 %}}", "not from 0 % to 100 %", "`100 %`"),
        ("rates: {EUR: 2 EUR}", "`EUR` is the currency of the team, which has no rate", "remove it"),
        ("rates: {USD: 0 EUR}", "the rate `0 EUR` of USD is not more than zero", "USD: 0.9 EUR"),
        ("rates: {USD: -1 EUR}", "the rate `-1 EUR` of USD is not more than zero", "USD: 0.9 EUR"),
        ("rates: {USD: 2 USD}", "the rate of USD leads to a circle: USD -> USD", "in EUR"),
        ("rates: {USD: 0.8 GBP}", "the rate of USD ends in GBP, not in EUR", "in EUR"),
    ] {
        let read = read(settings);
        assert_eq!((read.number("t"), read.number("c")), (10.0, 10.0), "{settings}");
        let answer = read.sandbox.tierod(&["check", "--format", "json"]).ended(1).json();
        let all = answer["findings"].as_array().unwrap();
        let found = all.iter().find(|finding| finding["check"] == "bad-value" && finding["path"] == "tierod.yaml");
        let found = found.unwrap_or_else(|| panic!("{settings}: {answer}"));
        assert!(found["message"].as_str().unwrap().contains(message), "{found}");
        assert!(found["help"].as_str().unwrap().contains(help) && found["line"] == 3, "{found}");
    }
    // A circle of two, and a chain of two.
    let circle = read("rates: {USD: 0.8 GBP, GBP: 1.25 USD}");
    assert_eq!(circle.number("c"), 10.0);
    let sandbox = Sandbox::new();
    sandbox.write("tierod.yaml", "season: 2027\ncurrency: EUR\nrates: {GBP: 1.25 USD, USD: 0.8 €}\n");
    sandbox.write("records.yaml", records.replace("cost: 10 EUR", "cost: 10 GBP"));
    let read = Read::from_sandbox(sandbox);
    assert!((read.number("c") - 10.0).abs() < 1e-12, "10 GBP = 12.5 USD = 10 EUR: {}", read.get("c"));
    read.reports_nothing(&["bad-value", "unit-mismatch"], "a");
}

/// Twelve parts whose masses are written with six decimals, and a limit that is their exact sum, also printed with six.
#[test]
fn rounding_is_not_over_a_limit() {
    let mut parts = "parts:\n".to_owned();
    let mut exact = 0.0;
    for number in 0..12 {
        let mass = 0.123_456_49 * f64::from(number + 1);
        exact += 4.0 * mass;
        parts.push_str(&format!("  p{number}: {{in: frame, count: 4, amounts: {{mass: {mass:.6} kg}}}}\n"));
    }
    let records = |limit: f64, more: &str| {
        format!(
            "systems: {{frame: {{in: car}}}}\ntargets: {{t: {{of: frame, at-most: {limit:.6} kg, total: mass{more}}}}}\n{parts}"
        )
    };
    let over = |limit: f64, more: &str| {
        let records = records(limit, more);
        let all = ["over-budget", "target-at-risk"].map(|check| findings(SETTINGS, &records, check));
        all.concat()
    };
    let total = Read::new(&records(exact, "")).number("t");
    for less in [0.0, 1e-6, 9e-6] {
        assert_eq!(over(total - less, ""), Vec::<[String; 3]>::new(), "{less} kg");
    }
    // What people's safety depends on has no tolerance, and neither has what rounding cannot explain.
    assert_eq!(over(total - 9e-6, ", safety-critical: true").len(), 1);
    let found = over(total - 0.001, "");
    assert!(found.len() == 1 && found[0][1].contains("0.001 kg over its limit"), "{found:?}");
}

#[test]
fn shares_that_are_rounded_are_not_over_allocated() {
    let records = |third: &str| {
        format!(
            "systems: {{a: {{in: car}}, b: {{in: car}}, c: {{in: car}}}}\ntargets:\n  w: {{of: car, at-most: 4.0000 kg, total: \
             mass}}\n  x: {{of: a, at-most: 1.3333 kg, total: mass, share-of: w}}\n  y: {{of: b, at-most: 1.3333 kg, total: \
             mass, share-of: w}}\n  z: {{of: c, at-most: {third} kg, total: mass, share-of: w}}\nparts: {{p: {{in: a, amounts: \
             {{mass: 1 kg}}}}}}\n"
        )
    };
    assert!(findings(SETTINGS, &records("1.3335"), "over-allocated").is_empty());
    let found = findings(SETTINGS, &records("1.3354"), "over-allocated");
    assert!(found[0][1].contains("total 4.002 kg, 0.002 kg more than its limit"), "{found:?}");
}

#[test]
fn numbers_beside_each_other_show_the_digits_that_differ() {
    let records = "targets: {t: {of: car, at-most: 4.27 s}}\nresults: {r: {of: t, value: 4.27004 s, date: 2027-03-01, evidence: \
                   [records.yaml]}}";
    let found = findings(SETTINGS, records, "target-missed");
    assert!(found[0][1].contains("measured 4.27004 s, limit at most 4.27 s"), "{found:?}");
    let records = "targets: {t: {of: car, at-most: 4.27 s, estimate: 4.2502 s ± 0.0202 s}}";
    let found = findings(SETTINGS, records, "target-at-risk");
    assert!(found[0][1].contains("expected 4.2502 ± 0.0202 s, limit at most 4.27 s"), "{found:?}");
    // A formula whose last digit shown is beyond a coarser limit by less than half of it.
    let records = |more: &str| format!("targets: {{t: {{of: car, at-least: 2.0, formula: 4 / 2.0001{more}}}}}");
    assert!(findings(SETTINGS, &records(""), "target-at-risk").is_empty());
    assert_eq!(findings(SETTINGS, &records(", safety-critical: true"), "target-at-risk").len(), 1);
}

#[test]
fn explain_has_every_key_its_forms_and_the_units() {
    let sandbox = Sandbox::new();
    let explain = |name: &str| sandbox.tierod(&["explain", name]).ended(0).out;
    for (name, parts) in [
        ("verify", &["key of target, requirement", "by  (required) The method", "or  a list `[...]` of"][..]),
        ("field", &["`field` is now `past-standings`", "key of goal", "file  (required)"]),
        ("score", &["key of event", "use  A score sheet", "given"]),
        ("settings", &["in tierod.yaml", "rates  Exchange rates", "growth", "history"]),
        ("growth", &["key of settings", "from `0 %` to `100 %`", "a map `{name: ...}`"]),
        ("basis", &["key of part.amounts", "those under `growth`"]),
        (
            "units",
            &["m+, in, ft, yd, mi", "lb, oz", "lbf, kgf", "°C, degC, °F, degF", "%, ppm", "rev", "ohm+", "`€` is EUR"],
        ),
        ("part.verify", &["key of part", "due"]),
        ("amounts", &["value", "(required)", "basis"]),
        ("target", &["of  (required)", "at-most  (one of at-most, at-least, between is required)"]),
        ("given", &["`[2.5, 2, 1.6]` or `\"2.5, 2, 1.6\"`"]),
        ("straight-line", &["a list `[2.5, 2, 1.6]`, or a text `\"2.5, 2, 1.6\"`", "the path of a CSV file"]),
    ] {
        let out = explain(name);
        let words = out.split_whitespace().collect::<Vec<_>>().join(" ");
        for part in parts {
            let part = part.split_whitespace().collect::<Vec<_>>().join(" ");
            assert!(words.contains(&part), "`{part}` in explain {name}:\n{out}");
        }
    }
    let error = sandbox.tierod(&["explain", "verfy"]).ended(2).err;
    assert!(error.contains("did you mean `verify`?"), "{error}");
    let json = sandbox.tierod(&["explain", "verify", "--format", "json"]).ended(0).json();
    assert_eq!(json["keys"][0]["keys"][0]["key"], "by");
    assert_eq!(json["keys"][0]["keys"][0]["required"], true);
}
