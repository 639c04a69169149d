//! The output of `worth`: the points that one unit, or 1 %, of each value is worth.

use schema::quantity::Unit;
use serde_json::{Value, json};
use trace::values::{GoalPoints, Key, Values, Worth};
use trace::{NodeId, RecordId, Study};

use super::broken::Broken;
use super::numbers::quantity;
use super::points::points_of;
use super::table::{Table, plain, strong};
use super::values::number;
use crate::screen::Ink;

/// What `worth` shows.
pub(crate) struct ShownWorth<'s> {
    pub(crate) study: &'s Study,
    /// The values without results.
    pub(crate) values: &'s Values,
    /// The goal.
    pub(crate) goal: &'s GoalPoints,
    /// The event whose points count; all events of the goal for `None`.
    pub(crate) event: Option<RecordId>,
    /// Every value that others depend on, the largest effect first.
    pub(crate) leaves: Vec<Worth>,
    /// The amounts of the whole car.
    pub(crate) car: Vec<Worth>,
    /// The value that the user named.
    pub(crate) named: Option<Worth>,
    /// The largest number of values to show.
    pub(crate) most: usize,
}

impl<'s> ShownWorth<'s> {
    /// What is broken under the points that count.
    pub(crate) fn broken(&self) -> Broken<'s> {
        let points = self.event.and_then(|event| self.values.record_node(event)).unwrap_or(self.goal.node);
        let asked: Vec<NodeId> = std::iter::once(points).chain(self.named.as_ref().map(|worth| worth.node)).collect();
        Broken::under(self.values, &asked, &[])
    }

    /// The events whose points should count and do not, because they have no value. A judged event reads nothing, so
    /// that its points do not depend on any value.
    fn not_counted(&self) -> Vec<&'s str> {
        let loaded = &self.values.graph.loaded;
        let counts = |event: &&RecordId| self.event.is_none_or(|only| only == **event);
        let reads = |event: &&RecordId| {
            self.event.is_some()
                || loaded.event(**event).is_some_and(|own| !own.reads.is_empty() || own.score.is_some())
        };
        let missing = self.goal.without_value.iter().filter(counts).filter(reads);
        missing.map(|event| loaded.record(*event).id.as_str()).collect()
    }

    /// The events whose points reach a limit of the score, so that their slope is not that of the mean points.
    fn bending(&self) -> Vec<&'s str> {
        let counts = |event: &RecordId| self.event.is_none_or(|only| only == *event);
        let all = self.values.bending_events(self.goal.node).into_iter().filter(counts);
        all.map(|event| self.values.graph.loaded.record(event).id.as_str()).collect()
    }

    /// Whether the points of every event count.
    pub(crate) fn is_complete(&self) -> bool {
        self.not_counted().is_empty()
    }

    /// How often a value counts in the car: the count of a part.
    fn count(&self, worth: &Worth) -> u32 {
        match self.values.keys[worth.node] {
            Key::Part(part, _) => {
                self.values.graph.loaded.part(part).and_then(|part| part.count).filter(|count| *count > 0).unwrap_or(1)
            }
            Key::Record(_) | Key::Group(..) | Key::Local(..) | Key::NotInParts(_) => 1,
        }
    }

    /// A row for all pieces of a part together, or for one piece.
    fn row(&self, worth: &Worth, of_all: bool) -> Vec<(String, super::table::Paint)> {
        let (values, unit, count) = (self.values, self.values.unit(worth.node), self.count(worth));
        let name = unit.to_string();
        let name = if name.is_empty() { "1".to_owned() } else { name };
        let now = quantity(worth.value, 0.0, unit);
        let per_unit = per_unit(worth, unit);
        let (now, per_unit, per) = match (count, of_all) {
            (1, _) => (now, per_unit, format!("per {name}")),
            (_, true) => {
                (format!("{count} × {now}"), per_unit / f64::from(count), format!("per {name} of all {count}"))
            }
            (_, false) => (now, per_unit, format!("per {name} of one piece, {count} times")),
        };
        vec![
            strong(values.name(worth.node)),
            plain(now),
            plain(signed(per_unit)),
            plain(per),
            plain(if of_all || count == 1 { signed(worth.per_percent) } else { String::new() }),
        ]
    }
}

/// Points for one more of the unit that a value is shown in.
fn per_unit(worth: &Worth, unit: &Unit) -> f64 {
    worth.per_si * unit.factor()
}

/// Points with their sign and three significant digits; `none` if they cannot be calculated.
fn signed(points: f64) -> String {
    if points.is_finite() { schema::number::signed_significant(points, 3) } else { "none".to_owned() }
}

const HEADS: [(&str, bool); 5] =
    [("value", false), ("now", true), ("points", true), ("", false), ("points per 1 %", true)];

/// Printed wherever mass could be reduced.
pub(crate) const CAUTION: &str = "points show what a value is worth, not what loads a part must carry: check load cases and \
     calculation methods first; contest rules and local regulations take precedence; a qualified person decides";

/// The note that results are ignored, with the points from estimates and those with results; `None` without results.
/// `estimated` is the goal without them.
pub(crate) fn results_ignored(study: &Study, estimated: &GoalPoints) -> Option<String> {
    let values = study.values();
    let results = crate::screen::count(values.results(), "result");
    let total = |goal: &GoalPoints| goal.predicted.and(goal.spread.as_ref()).map(points_of);
    let own = study.goals().iter().find(|goal| goal.index == estimated.index).and_then(total);
    let both = match (total(estimated), own) {
        (Some(estimates), Some(own)) if estimates == own => format!(": {own} points, with or without them"),
        (Some(estimates), Some(own)) => format!(": {estimates} points; with results {own}"),
        _ => String::new(),
    };
    (values.results() > 0)
        .then(|| format!("{results} ignored (estimates used){both}; a measured value does not change with the parts"))
}

/// The text for the terminal.
pub(crate) fn terminal(report: &ShownWorth<'_>, ink: Ink) -> String {
    let mut out = String::new();
    let not_counted = report.not_counted();
    if !not_counted.is_empty() {
        let text = format!("without the points of {}: no value, so what they add is unknown", not_counted.join(", "));
        ink.block(&mut out, "", 0, &text);
        out.push('\n');
    }
    if let Some(event) = report.event {
        let id = &report.values.graph.loaded.record(event).id;
        out.push_str(&ink.strong(&format!("points of {id} only")));
        out.push_str("\n\n");
    }
    if let Some(worth) = &report.named {
        let mut table = Table::new(&HEADS);
        table.row(report.row(worth, true));
        if report.count(worth) > 1 {
            table.row(report.row(worth, false));
        }
        out.push_str(&table.text(ink));
    } else {
        tables(&mut out, report, ink);
    }
    if let Some(text) = results_ignored(report.study, report.goal) {
        ink.block(&mut out, "", 0, &text);
    }
    let bending = report.bending();
    if !bending.is_empty() {
        let text = format!(
            "the points of {} reach a limit of the score within their uncertainty (the best or the slowest time, the most \
             points): the worth shown is the slope at the expected values, and the average effect can be very different",
            bending.join(", ")
        );
        ink.block(&mut out, "note", 7, &text);
    }
    out.push('\n');
    ink.block(&mut out, "caution", 7, CAUTION);
    out
}

/// The amounts of the car, and the values with the largest effects.
fn tables(out: &mut String, report: &ShownWorth<'_>, ink: Ink) {
    let mut table = Table::new(&[("whole car", false), HEADS[1], HEADS[2], HEADS[3], HEADS[4]]);
    for worth in &report.car {
        table.row(report.row(worth, true));
    }
    if !table.is_empty() {
        out.push_str(&table.text(ink));
        out.push('\n');
    }
    let mut table = Table::new(&HEADS);
    // Values under `given` (a radius, the best time of another team) can rarely be changed by the team.
    let own = |worth: &&Worth| report.most == usize::MAX || !matches!(report.values.keys[worth.node], Key::Local(..));
    let mut shown = 0;
    for worth in report.leaves.iter().filter(own).take(report.most) {
        table.row(report.row(worth, true));
        shown += 1;
    }
    out.push_str(&table.text(ink));
    let more = report.leaves.len() - shown;
    if more > 0 {
        let text = format!("{more} more, including values under `given`: use --all to show them");
        out.push_str(&ink.faint(&text));
        out.push('\n');
    }
    out.push_str(&ink.faint("the points count every piece of a part, with its growth allowance"));
    out.push('\n');
}

/// The JSON answer.
pub(crate) fn json(report: &ShownWorth<'_>, broken: &Broken<'_>) -> Value {
    let values = report.values;
    let entry = |worth: &Worth| {
        let unit = values.unit(worth.node);
        let (per_unit, count) = (per_unit(worth, unit), report.count(worth));
        json!({
            "id": values.name(worth.node),
            "value": number(Some(unit.from_si(worth.value))),
            "unit": unit.to_string(),
            "points_per_unit": number(Some(per_unit)),
            "count": count,
            "points_per_unit_of_all": number(Some(per_unit / f64::from(count))),
            "points_per_percent": number(Some(worth.per_percent)),
        })
    };
    let all = |worths: &[Worth]| worths.iter().map(entry).collect::<Vec<_>>();
    let own = report.study.goals().iter().find(|goal| goal.index == report.goal.index);
    json!({
        "version": 1,
        "broken": broken.json(),
        "goal": values.name(report.goal.node),
        "event": report.event.map(|event| values.graph.loaded.record(event).id.as_str()),
        "points": number(report.goal.predicted),
        "points_with_results": number(own.and_then(|goal| goal.predicted)),
        "not_counted": report.not_counted(),
        "bending": report.bending(),
        "results_ignored": values.results(),
        "car": all(&report.car),
        "values": report.named.as_ref().map_or_else(|| all(&report.leaves), |worth| vec![entry(worth)]),
    })
}
