//! The table of `points`: the events of the goals, with a line for each goal.

use serde_json::{Value, json};
use trace::Study;

use super::About;
use crate::output::broken::Broken;
use crate::output::grid::{Column, Grid};
use crate::output::points::goal_json;

const COLUMNS: [Column; 17] = [
    ("id", "/id"),
    ("goal", "/goal"),
    ("title", "/title"),
    ("plan [pts]", "/plan"),
    ("predicted [pts]", "/predicted"),
    ("uncertainty [pts]", "/uncertainty"),
    ("low [pts]", "/low"),
    ("high [pts]", "/high"),
    ("needed [pts]", "/needed/points"),
    ("scored", "/scored"),
    ("chance", "/chance"),
    ("input", "/reads"),
    ("value", "/value"),
    ("needed_value", "/needed_value"),
    ("unit", "/unit"),
    ("problem", "/problem"),
    (super::RECORD, "/record"),
];

/// Every goal and its events: `goal` is the goal of an event, and empty for the goal itself.
pub(crate) fn grid(study: &Study, broken: &Broken<'_>) -> Grid {
    let mut about = About::new(study, !broken.is_empty());
    let mut rows = Vec::new();
    for goal in study.goals() {
        let mut own = goal_json(study, goal);
        let events = own["events"].as_array_mut().map(std::mem::take).unwrap_or_default();
        let id = own["goal"].take();
        own["id"] = id.clone();
        // Events that have no value are missing from the total, which is then no prediction.
        if goal.predicted.is_none() {
            ["uncertainty", "low", "high"].iter().for_each(|key| own[*key] = json!(null));
        }
        let mut add = |mut row: Value| {
            if let Some(index) = row["id"].as_str().and_then(|id| study.loaded.find(id)) {
                about.add(&mut row, index, study.values().record_node(index));
            }
            rows.push(row);
        };
        for mut event in events {
            event["goal"] = id.clone();
            add(event);
        }
        add(own);
    }
    Grid::of(&rows.iter().collect::<Vec<_>>(), &COLUMNS)
}
