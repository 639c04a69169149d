//! The stress of a part: the distribution of its volume, what is idle, its iterations, and the caution next to all of it.

use schema::number;
use schema::quantity::Unit;
use serde_json::{Value, json};
use trace::RecordId;
use trace::stress::{CAUTION, Iteration, Iterations};

use super::PageView;
use crate::output::stress;

/// The stress of a part, one entry for each chain of iterations; empty without a stress file.
pub(super) fn of_part(view: &PageView<'_>, index: RecordId) -> Vec<Value> {
    if view.study.loaded.part(index).is_none() {
        return Vec::new();
    }
    let all = trace::stress::of_part(view.study, index);
    let pictures = super::drawn::stress(view, index, &all);
    all.iter().zip(&pictures).map(|(found, picture)| chain(view, found, picture)).collect()
}

fn chain(view: &PageView<'_>, found: &Iterations, picture: &str) -> Value {
    let mut before: Option<f64> = None;
    let mut rows = Vec::new();
    for own in &found.all {
        let mass = own.numbers.as_ref().ok().and_then(|numbers| numbers.mass);
        let change = before.zip(mass).map(|(before, now)| number::signed_percent(now / before - 1.0, 0));
        before = mass.or(before);
        rows.push(iteration(view, own, change.as_ref()));
    }
    let last = found.current().and_then(|own| own.numbers.as_ref().ok());
    let bins = last.map(stress::bins).unwrap_or_default();
    let bins: Vec<Value> = bins
        .iter()
        .map(|bin| json!({"range": stress::range(bin, 0), "share": format!("{:.1} %", bin.share * 100.0)}))
        .collect();
    let megapascal = Unit::parse("MPa").unwrap_or_else(|_| Unit::dimensionless());
    json!({
        "picture": picture,
        "allowable": last.map(|own| megapascal.show(own.allowable, 0.0)),
        "idle": last.map(|own| {
            let mass = own.idle_mass.map(|mass| format!(", {} kg", number::significant(mass, 3))).unwrap_or_default();
            format!("{} of the volume{mass} is stressed below {} of it", number::percent(own.idle_share, 0), number::percent(own.little, 0))
        }),
        "stopped_early": found.stopped_early(),
        "needed": found.needed.map(|needed| number::fixed(needed, 2)),
        "bins": bins,
        "rows": rows,
        "caution": format!("{CAUTION}; no number here means that a part is safe"),
    })
}

fn iteration(view: &PageView<'_>, own: &Iteration, change: Option<&String>) -> Value {
    let numbers = own.numbers.as_ref().ok();
    json!({
        "analysis": view.link(own.analysis),
        "file": own.file(view.study),
        "problem": own.numbers.as_ref().err(),
        "safety": numbers.map(|own| number::fixed(own.safety, 2)),
        "peak": numbers.map(|own| number::fixed(own.peak_safety, 2)),
        "idle": numbers.map(|own| number::percent(own.idle_share, 0)),
        "mass": numbers.and_then(|own| own.mass).map(|mass| format!("{} kg", number::significant(mass, 3))),
        "change": change,
    })
}
