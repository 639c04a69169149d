//! The output of `worth`: the points that one unit, or 1 %, of each value is worth.

use schema::quantity::Unit;
use serde_json::{Value, json};
use trace::NodeId;
use trace::values::{Key, Values, Worth};

use super::numbers::quantity;
use super::table::{Table, plain, strong};
use super::values::number;
use crate::screen::Ink;

/// What `worth` shows.
pub(crate) struct Report {
    /// The goal.
    pub(crate) goal: NodeId,
    /// Every value that others depend on, the largest effect first.
    pub(crate) leaves: Vec<Worth>,
    /// The amounts of the whole car.
    pub(crate) car: Vec<Worth>,
    /// The value that the user named.
    pub(crate) named: Option<Worth>,
    /// The largest number of values to show.
    pub(crate) most: usize,
}

/// Points for one more of the unit that a value is shown in.
fn per_unit(worth: &Worth, unit: &Unit) -> f64 {
    worth.per_si * unit.factor()
}

/// Points with their sign and three significant digits.
fn signed(points: f64) -> String {
    schema::number::signed_significant(points, 3)
}

fn row(values: &Values, worth: &Worth) -> Vec<(String, super::table::Paint)> {
    let unit = values.unit(worth.node);
    let name = unit.to_string();
    let name = if name.is_empty() { "1".to_owned() } else { name };
    vec![
        strong(values.name(worth.node)),
        plain(quantity(worth.value, 0.0, unit)),
        plain(signed(per_unit(worth, unit))),
        plain(format!("per {name}")),
        plain(signed(worth.per_percent)),
    ]
}

const HEADS: [(&str, bool); 5] =
    [("value", false), ("now", true), ("points", true), ("", false), ("points per 1 %", true)];

/// Printed wherever mass could be reduced.
pub(crate) const CAUTION: &str = "points show what a value is worth, not what loads a part must carry: check load cases and \
     calculation methods first; contest rules and local regulations take precedence; a qualified person decides";

/// The note that results are ignored; `None` without results.
pub(crate) fn results_ignored(values: &Values) -> Option<String> {
    let results = crate::screen::count(values.results(), "result");
    (values.results() > 0)
        .then(|| format!("{results} ignored (estimates used): a measured value does not change with the parts"))
}

/// The text for the terminal.
pub(crate) fn terminal(values: &Values, report: &Report, ink: Ink) -> String {
    let mut out = String::new();
    if let Some(worth) = &report.named {
        let mut table = Table::new(&HEADS);
        table.row(row(values, worth));
        out.push_str(&table.text(ink));
    } else {
        let mut table = Table::new(&[("whole car", false), HEADS[1], HEADS[2], HEADS[3], HEADS[4]]);
        for worth in &report.car {
            table.row(row(values, worth));
        }
        if !table.is_empty() {
            out.push_str(&table.text(ink));
            out.push('\n');
        }
        let mut table = Table::new(&HEADS);
        // Values under `given` (a radius, the best time of another team) can rarely be changed by the team.
        let own = |worth: &&Worth| report.most == usize::MAX || !matches!(values.keys[worth.node], Key::Local(..));
        let mut shown = 0;
        for worth in report.leaves.iter().filter(own).take(report.most) {
            table.row(row(values, worth));
            shown += 1;
        }
        out.push_str(&table.text(ink));
        let more = report.leaves.len() - shown;
        if more > 0 {
            let text = format!("{more} more, including values under `given`: use --all to show them");
            out.push_str(&ink.faint(&text));
            out.push('\n');
        }
        out.push_str(&ink.faint("the amount of a part is multiplied by its count and includes the growth allowance"));
        out.push('\n');
    }
    if let Some(text) = results_ignored(values) {
        ink.block(&mut out, "", 0, &text);
    }
    out.push('\n');
    ink.block(&mut out, "caution", 7, CAUTION);
    out
}

/// The JSON answer.
pub(crate) fn json(values: &Values, report: &Report) -> Value {
    let entry = |worth: &Worth| {
        let unit = values.unit(worth.node);
        json!({
            "id": values.name(worth.node),
            "value": number(Some(unit.from_si(worth.value))),
            "unit": unit.to_string(),
            "points_per_unit": number(Some(per_unit(worth, unit))),
            "points_per_percent": number(Some(worth.per_percent)),
        })
    };
    let all = |worths: &[Worth]| worths.iter().map(entry).collect::<Vec<_>>();
    json!({
        "version": 1,
        "goal": values.name(report.goal),
        "results_ignored": values.results(),
        "car": all(&report.car),
        "values": report.named.as_ref().map_or_else(|| all(&report.leaves), |worth| vec![entry(worth)]),
    })
}
