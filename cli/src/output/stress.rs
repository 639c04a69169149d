//! The stress of a part in `why`: the distribution of its volume over stress on a fixed scale, what is idle, and the
//! iterations. The caution is next to all of it.

use std::fmt::Write as _;

use models::stress::Share;
use schema::number;
use schema::quantity::Unit;
use serde_json::{Value, json};
use trace::Study;
use trace::stress::{CAUTION, Iteration, Iterations, Numbers};

use super::flow::flow;
use super::numbers::quantity;
use super::table::{Table, faint, plain, strong};
use crate::screen::{Ink, clean};

/// The number of bins up to the allowable stress.
const BINS: usize = 10;

/// The width of the largest bar.
const WIDTH: usize = 40;

/// The width of what is before a bar.
const BEFORE_BAR: usize = 28;

/// Adds the stress of a part; nothing if it has no stress file.
pub(super) fn text(study: &Study, all: &[Iterations], out: &mut String, ink: Ink) {
    for found in all {
        let Some(own) = found.current() else { continue };
        let record = study.loaded.record(own.analysis);
        let _ = writeln!(out, "\n{}", ink.strong("stress"));
        flow(out, ink, ["", "  "], &[strong(record.id.as_str()), plain(own.file(study))]);
        match &own.numbers {
            Ok(numbers) => picture(numbers, out, ink),
            Err(problem) => flow(out, ink, ["", "  "], &[plain(format!("no numbers: {}", clean(problem)))]),
        }
        if found.all.len() > 1 {
            out.push('\n');
            out.push_str(&iterations(study, found).text(ink));
        }
        if let (true, Ok(numbers)) = (found.stopped_early(), &own.numbers) {
            let needed = found.needed.map(|needed| format!(" ({} needed)", number::fixed(needed, 2)));
            let text = format!(
                "the last iteration has {} idle volume, with a safety of {}{}",
                number::percent(numbers.idle_share, 0),
                number::fixed(numbers.safety, 2),
                needed.unwrap_or_default()
            );
            flow(out, ink, ["", "  "], &[faint("stopped early"), plain(text)]);
        }
        ink.block(out, "caution", 7, &format!("{CAUTION}; no number here means that a part is safe"));
    }
}

/// The shares of the volume in bins up to the allowable stress, and above it.
pub(crate) fn bins(numbers: &Numbers) -> Vec<Share> {
    numbers.field.distribution(numbers.allowable, BINS)
}

/// The range of a bin, as in `20 to 30 %`, with numbers of at least this width.
pub(super) fn range(bin: &Share, width: usize) -> String {
    let percent = |ratio: f64| format!("{:>width$.0}", ratio * 100.0);
    match bin.to {
        Some(to) => format!("{} to {} %", percent(bin.from), percent(to)),
        None => format!("above {} %", percent(bin.from)),
    }
}

fn picture(numbers: &Numbers, out: &mut String, ink: Ink) {
    let unit = Unit::parse("MPa").unwrap_or_else(|_| Unit::dimensionless());
    let allowable = quantity(numbers.allowable, 0.0, &unit);
    let scale = format!("share of the volume by stress, on a scale from 0 to the allowable stress of {allowable}");
    flow(out, ink, ["", "  "], &[faint(scale)]);
    let shares = bins(numbers);
    let largest = shares.iter().map(|share| share.share).fold(0.0, f64::max);
    let most = WIDTH.min(ink.columns().saturating_sub(BEFORE_BAR).max(1)) as f64;
    for share in &shares {
        let range = range(share, 3);
        // What is there is seen, also if it is less than a tenth of a per cent.
        let wide = if largest > 0.0 { (share.share / largest * most).round().max(0.0) as usize } else { 0 };
        let wide = if share.share > 0.0 { wide.max(1) } else { 0 };
        let _ =
            writeln!(out, "{}", format!("{range}  {:>6.1} %  {}", share.share * 100.0, "█".repeat(wide)).trim_end());
    }
    let kilograms = |mass: f64| format!("{} kg", number::significant(mass, 3));
    let mass = numbers.mass.map(|mass| format!(", {}", kilograms(mass))).unwrap_or_default();
    let cubic = number::significant(numbers.volume * 1e6, 4);
    let size = format!("{cubic} cm^3{mass} in {} elements or points", numbers.field.elements());
    flow(out, ink, ["", "  "], &[plain(size)]);
    let safety = format!(
        "safety {} (99.9 % of the volume), {} at the highest stress",
        number::fixed(numbers.safety, 2),
        number::fixed(numbers.peak_safety, 2)
    );
    flow(out, ink, ["", "  "], &[plain(safety)]);
    let idle = numbers.idle_mass.map(|mass| format!(" ({})", kilograms(mass))).unwrap_or_default();
    let share = number::percent(numbers.idle_share, 0);
    let little = number::percent(numbers.little, 0);
    flow(out, ink, ["", "  "], &[plain(format!("idle: {share} of the volume{idle} is below {little} of it"))]);
}

fn iterations(study: &Study, found: &Iterations) -> Table {
    let mut table = Table::new(&[
        ("iteration", false),
        ("safety", true),
        ("at peak", true),
        ("idle", true),
        ("mass", true),
        ("change", true),
    ]);
    let mut before: Option<f64> = None;
    for own in &found.all {
        let id = study.loaded.record(own.analysis).id.as_str();
        let row = match &own.numbers {
            Ok(numbers) => {
                let mass = numbers.mass.map(|mass| format!("{} kg", number::significant(mass, 3)));
                let change =
                    before.zip(numbers.mass).map(|(before, now)| number::signed_percent(now / before - 1.0, 0));
                before = numbers.mass;
                vec![
                    plain(id),
                    plain(number::fixed(numbers.safety, 2)),
                    plain(number::fixed(numbers.peak_safety, 2)),
                    plain(number::percent(numbers.idle_share, 0)),
                    plain(mass.unwrap_or_default()),
                    plain(change.unwrap_or_default()),
                ]
            }
            Err(_) => {
                let none = || faint("none");
                vec![plain(id), none(), none(), none(), none(), plain("")]
            }
        };
        table.row(row);
    }
    table
}

/// The stress of a part for scripts.
pub(super) fn values(study: &Study, all: &[Iterations]) -> Vec<Value> {
    all.iter().map(|found| chain(study, found)).collect()
}

fn chain(study: &Study, found: &Iterations) -> Value {
    let iterations: Vec<Value> = found.all.iter().map(|own| iteration(study, own)).collect();
    json!({
        "needed_safety": found.needed,
        "is_idle": found.is_idle,
        "stopped_early": found.stopped_early(),
        "caution": CAUTION,
        "iterations": iterations,
    })
}

fn iteration(study: &Study, own: &Iteration) -> Value {
    let numbers = own.numbers.as_ref().ok();
    let bins = numbers.map(bins).unwrap_or_default();
    let bins: Vec<Value> = bins.iter().map(|bin| json!({"from": bin.from, "to": bin.to, "share": bin.share})).collect();
    json!({
        "analysis": study.loaded.record(own.analysis).id.as_str(),
        "file": own.file(study),
        "problem": own.numbers.as_ref().err(),
        "allowable": numbers.map(|n| n.allowable),
        "little": numbers.map(|n| n.little),
        "safety": numbers.map(|n| n.safety),
        "peak_safety": numbers.map(|n| n.peak_safety),
        "idle_share": numbers.map(|n| n.idle_share),
        "volume": numbers.map(|n| n.volume),
        "mass": numbers.and_then(|n| n.mass),
        "idle_mass": numbers.and_then(|n| n.idle_mass),
        "bins": bins,
    })
}
