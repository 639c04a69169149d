//! The report of `worth`: points by a unit and by a hundredth of each value.

use schema::quantity::Unit;
use serde_json::{Value, json};
use trace::NodeId;
use trace::values::{Key, Values, Worth};

use super::numbers::quantity;
use super::table::{Table, plain, strong};
use super::values::number;
use crate::screen::Ink;

/// What `worth` tells.
pub(crate) struct Report {
    /// The goal.
    pub(crate) goal: NodeId,
    /// Every given value, the largest effect first.
    pub(crate) leaves: Vec<Worth>,
    /// The amounts of the whole car.
    pub(crate) car: Vec<Worth>,
    /// The one value that was asked for.
    pub(crate) one: Option<Worth>,
    /// How many to show.
    pub(crate) most: usize,
}

/// Points for one more of the unit that a value is shown in.
fn per_unit(worth: &Worth, unit: &Unit) -> f64 {
    worth.per_si * unit.factor()
}

/// A number of points with its sign and three digits that count.
fn signed(points: f64) -> String {
    let size = points.abs();
    let places = if size == 0.0 { 0 } else { (2 - size.log10().floor() as i32).clamp(0, 6) as usize };
    format!("{points:+.places$}")
}

fn row(values: &Values, worth: &Worth) -> Vec<(String, super::table::Paint)> {
    let unit = values.unit(worth.node);
    let name = unit.to_string();
    let one = if name.is_empty() { "1".to_owned() } else { name };
    vec![
        strong(values.name(worth.node)),
        plain(quantity(worth.value, 0.0, unit)),
        plain(signed(per_unit(worth, unit))),
        plain(format!("per {one}")),
        plain(signed(worth.per_percent)),
    ]
}

const HEADS: [(&str, bool); 5] =
    [("value", false), ("now", true), ("points", true), ("", false), ("per 1 % of it", true)];

/// Said wherever mass may be taken away.
pub(crate) const CAUTION: &str = "points say what a value brings, and nothing of what a part must bear: loads and methods \
     come first, the contest's rules and local codes stand above it, and a qualified person decides";

/// That results stand aside, if there are any.
pub(crate) fn aside(values: &Values) -> Option<String> {
    let results = values.results();
    let what = crate::screen::count(results, "result");
    let stands = if results == 1 { "stands" } else { "stand" };
    (results > 0).then(|| {
        format!("by the estimates: {what} {stands} aside, for what was measured no longer moves with the parts")
    })
}

/// For people.
pub(crate) fn terminal(values: &Values, report: &Report, ink: Ink) -> String {
    let mut out = String::new();
    if let Some(one) = &report.one {
        let mut table = Table::new(&HEADS);
        table.row(row(values, one));
        out.push_str(&table.text(ink));
    } else {
        let mut table = Table::new(&[("the whole car", false), HEADS[1], HEADS[2], HEADS[3], HEADS[4]]);
        for worth in &report.car {
            table.row(row(values, worth));
        }
        if !table.is_empty() {
            out.push_str(&table.text(ink));
            out.push('\n');
        }
        let mut table = Table::new(&HEADS);
        // What stands under `given` (a radius, another team's best time) is for the most part nobody's to change.
        let own = |worth: &&Worth| report.most == usize::MAX || !matches!(values.keys[worth.node], Key::Local(..));
        let mut shown = 0;
        for worth in report.leaves.iter().filter(own).take(report.most) {
            table.row(row(values, worth));
            shown += 1;
        }
        out.push_str(&table.text(ink));
        let more = report.leaves.len() - shown;
        if more > 0 {
            let text = format!("{more} more, what stands under `given` among them: --all shows them");
            out.push_str(&ink.faint(&text));
            out.push('\n');
        }
        out.push_str(&ink.faint("an amount of a part counts as often as the car has it, with its growth"));
        out.push('\n');
    }
    if let Some(aside) = aside(values) {
        ink.block(&mut out, "", 0, &aside);
    }
    out.push('\n');
    ink.block(&mut out, "care", 4, CAUTION);
    out
}

/// For programs.
pub(crate) fn json(values: &Values, report: &Report) -> Value {
    let one = |worth: &Worth| {
        let unit = values.unit(worth.node);
        json!({
            "id": values.name(worth.node),
            "value": number(Some(unit.from_si(worth.value))),
            "unit": unit.to_string(),
            "points_per_unit": number(Some(per_unit(worth, unit))),
            "points_per_percent": number(Some(worth.per_percent)),
        })
    };
    let all = |worths: &[Worth]| worths.iter().map(one).collect::<Vec<_>>();
    json!({
        "version": 1,
        "goal": values.name(report.goal),
        "results_ignored": values.results(),
        "car": all(&report.car),
        "values": report.one.as_ref().map_or_else(|| all(&report.leaves), |worth| vec![one(worth)]),
    })
}
