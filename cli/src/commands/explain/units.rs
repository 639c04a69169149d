//! `explain units`: the units that a quantity can have, and how a quantity is written.

use std::fmt::Write as _;

use schema::quantity::{KnownUnit, Unit, known_units, prefixes};
use serde_json::{Value, json};

use crate::screen::Ink;

/// The name of what a unit measures.
fn quantity_of(unit: KnownUnit) -> &'static str {
    match Unit::parse(unit.name) {
        Ok(parsed) if parsed.is_shaft_speed() => "shaft speed",
        Ok(parsed) if parsed.is_frequency() => "frequency",
        Ok(_) if ["rad", "deg", "°", "rev"].contains(&unit.name) => "angle",
        Ok(parsed) => parsed.dimension().name_in_text(),
        Err(_) => "other",
    }
}

/// The units by what they measure, in the order of the table.
fn groups() -> Vec<(&'static str, Vec<KnownUnit>)> {
    let mut groups: Vec<(&'static str, Vec<KnownUnit>)> = Vec::new();
    // The last of two letters that look alike is not listed.
    for unit in known_units().filter(|unit| !matches!(unit.name, "1" | "\u{2126}")) {
        let quantity = quantity_of(unit);
        match groups.iter_mut().find(|(name, _)| *name == quantity) {
            Some((_, units)) => units.push(unit),
            None => groups.push((quantity, vec![unit])),
        }
    }
    groups.sort_by_key(|(name, _)| *name == "other");
    groups
}

pub(super) fn docs(ink: Ink) -> String {
    let mut out = format!("{}\n", ink.strong("units"));
    for (label, text) in [
        ("quantity", "a number, a space and a unit: `4.25 s`; `20 %` and `90°` also without the space"),
        ("uncertainty", "after `±`, expanded (k = 2, about 95 %), with its unit: `0.62 kg ± 0.02 kg`"),
        ("products", "`*`, `/` and `^` without spaces: `N*m`, `kg/m^3`, `m/s^2`; 1/s is `1/s`"),
        ("prefixes", &prefixes().iter().map(|(name, _)| *name).collect::<Vec<_>>().join(", ")),
        ("money", "the codes of ISO 4217 (`EUR`, `USD`); `€` is EUR; other currencies need a rate under `rates`"),
        ("temperature", "a difference of two °C or °F is in K; neither can be multiplied or added to another"),
        ("shaft speed", "rpm, rev/min, rad/s or deg/s; Hz and 1/min name no angle"),
    ] {
        ink.block(&mut out, label, 12, text);
    }
    let _ = writeln!(out, "\n{}", ink.strong("by quantity (+ takes prefixes)"));
    for (quantity, units) in groups() {
        let names: Vec<String> =
            units.iter().map(|unit| format!("{}{}", unit.name, if unit.takes_prefixes { "+" } else { "" })).collect();
        ink.block(&mut out, quantity, 24, &names.join(", "));
    }
    out
}

pub(super) fn json() -> Value {
    let units: Vec<Value> = known_units()
        .filter_map(|unit| {
            let parsed = Unit::parse(unit.name).ok()?;
            Some(json!({
                "name": unit.name,
                "quantity": quantity_of(unit),
                "si_unit": Unit::si(parsed.dimension()).to_string(),
                "factor": parsed.factor(),
                "takes_prefixes": unit.takes_prefixes,
            }))
        })
        .collect();
    json!({"version": 1, "units": units})
}
