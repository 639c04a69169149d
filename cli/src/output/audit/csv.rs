//! The tables of the audit as CSV (RFC 4180), for a spreadsheet.

use serde_json::Value;

use super::{AuditView, json};
use crate::output::csv;
use crate::output::grid::{Cell, Column, Grid};

/// A name, the list in the document, and the columns.
type Table = (&'static str, &'static str, &'static [Column]);

/// The last columns of the tables whose rows have a split.
const CAUSES: [Column; 8] = [
    ("difference", "/split/difference"),
    ("own_values", "/split/own_values"),
    ("others_best", "/split/others_best"),
    ("finish", "/split/finish"),
    ("penalties", "/split/penalties"),
    ("judges", "/split/judges"),
    ("mean", "/split/mean"),
    ("not_explained", "/split/not_explained"),
];

/// All tables.
const COLUMNS: [Table; 10] = [
    (
        "targets",
        "/targets",
        &[
            ("id", "/id"),
            ("title", "/title"),
            ("system", "/system"),
            ("lead", "/lead"),
            ("limit", "/limit_text"),
            ("unit", "/unit"),
            ("estimate", "/estimate/value"),
            ("estimate_uncertainty", "/estimate/uncertainty"),
            ("estimate_from", "/estimate/origin"),
            ("result", "/result/value"),
            ("outcome", "/result/outcome"),
            ("day", "/result/day"),
            ("margin", "/margin"),
            ("verdict", "/verdict"),
            ("limit_changes", "/limit_changes"),
            ("unrecorded", "/unrecorded"),
            ("after_result", "/after_result"),
            ("methods", "/methods"),
            ("evidence", "/evidence"),
            ("result_uncertainty", "/result/uncertainty"),
            ("qualifier", "/qualifier"),
            ("conclusion", "/outcome"),
        ],
    ),
    (
        "events",
        "/goals/*/events",
        &[
            ("id", "/id"),
            ("title", "/title"),
            ("plan", "/plan"),
            ("predicted", "/predicted"),
            ("uncertainty", "/uncertainty"),
            ("low", "/low"),
            ("high", "/high"),
            ("scored", "/scored"),
        ],
    ),
    (
        "split",
        "/goals/*/events",
        &[("id", "/id"), ("title", "/title"), ("predicted", "/predicted"), ("scored", "/scored")],
    ),
    (
        "goals",
        "/goals",
        &[
            ("id", "/id"),
            ("title", "/title"),
            ("place", "/place"),
            ("place_reached", "/place_reached"),
            ("needed", "/needed/points"),
            ("plan", "/plan"),
            ("predicted", "/predicted"),
            ("uncertainty", "/uncertainty"),
            ("low", "/low"),
            ("high", "/high"),
            ("scored", "/scored"),
            ("reached", "/reached"),
            ("place_predicted", "/place_predicted"),
            ("chance", "/chance"),
        ],
    ),
    (
        "predictions",
        "/predictions/pairs",
        &[
            ("of", "/of"),
            ("quantity", "/quantity"),
            ("basis", "/basis"),
            ("estimate", "/estimate"),
            ("result", "/result"),
            ("unit", "/unit"),
            ("error", "/error"),
            ("estimate_uncertainty", "/uncertainty"),
            ("inside", "/inside"),
        ],
    ),
    (
        "verification",
        "/verification",
        &[
            ("method", "/method"),
            ("planned", "/planned"),
            ("closed", "/closed"),
            ("uncertain", "/uncertain"),
            ("failed", "/failed"),
            ("open", "/open"),
        ],
    ),
    (
        "limits",
        "/limit_moves",
        &[
            ("target", "/target"),
            ("title", "/title"),
            ("day", "/day"),
            ("before", "/before"),
            ("after", "/after"),
            ("record", "/record"),
            ("revision", "/revision"),
            ("agreed_by", "/agreed_by"),
            ("reason", "/reason"),
            ("after_result", "/after_result"),
            ("commit", "/commit"),
        ],
    ),
    (
        "unproven",
        "/unproven",
        &[
            ("id", "/id"),
            ("title", "/title"),
            ("kind", "/kind"),
            ("system", "/system"),
            ("lead", "/lead"),
            ("why", "/why"),
            ("open_methods", "/open_methods"),
            ("due", "/due"),
        ],
    ),
    (
        "decisions",
        "/decisions",
        &[
            ("id", "/id"),
            ("title", "/title"),
            ("chosen", "/chosen"),
            ("day", "/day"),
            ("commit", "/commit"),
            ("place_of_chosen_then", "/then/place_of_chosen"),
            ("place_of_chosen_now", "/now/place_of_chosen"),
            ("points_then", "/then/points"),
            ("points_now", "/now/points"),
        ],
    ),
    (
        "timeline",
        "/timeline",
        &[("day", "/day"), ("commit", "/commit"), ("points", "/points"), ("amounts", "/amounts")],
    ),
];

/// The names of the tables.
pub(crate) const TABLES: [&str; 10] = [
    "targets",
    "events",
    "split",
    "goals",
    "predictions",
    "verification",
    "limits",
    "unproven",
    "decisions",
    "timeline",
];

/// One table, by its name; the first table for an unknown name.
pub(crate) fn csv(view: &AuditView<'_>, table: &str) -> String {
    let document = json(view);
    let (_, list, columns) = COLUMNS.iter().find(|(name, ..)| *name == table).unwrap_or(&COLUMNS[0]);
    let rows: Vec<&Value> = match list.split_once("/*") {
        Some((outer, inner)) => {
            let outer = document.pointer(outer).and_then(Value::as_array).into_iter().flatten();
            outer.filter_map(|item| item.pointer(inner)?.as_array()).flatten().collect()
        }
        None => document.pointer(list).and_then(Value::as_array).into_iter().flatten().collect(),
    };
    if table == "timeline" {
        return csv::text(&timeline(&rows));
    }
    let causes = if ["split", "goals"].contains(&table) { &CAUSES[..] } else { &[] };
    csv::text(&Grid::of(&rows, &[columns, causes].concat()))
}

/// The table of the timeline, with a column for each goal and each amount.
fn timeline(rows: &[&Value]) -> Grid {
    let keys = |of: &str| {
        let objects = rows.iter().filter_map(|row| row.get(of)?.as_object());
        let mut keys: Vec<String> = objects.flat_map(|object| object.keys().cloned()).collect();
        keys.sort();
        keys.dedup();
        keys
    };
    let (goals, amounts) = (keys("points"), keys("amounts"));
    let heads = ["day".to_owned(), "commit".to_owned()].into_iter();
    let unit = |name: &str| rows.iter().find_map(|row| row["amounts"][name]["unit"].as_str()).unwrap_or("").to_owned();
    let amount_heads = amounts.iter().map(|name| format!("car.{name} ({})", unit(name)));
    let heads = heads.chain(goals.iter().map(|goal| format!("{goal} (pts)"))).chain(amount_heads).collect();
    let row = |row: &&Value| {
        let fixed = [Cell::of(row.get("day")), Cell::of(row.get("commit"))].into_iter();
        let points = goals.iter().map(|goal| Cell::of(row["points"].get(goal)));
        fixed.chain(points).chain(amounts.iter().map(|name| Cell::of(row["amounts"][name].get("value")))).collect()
    };
    Grid { heads, rows: rows.iter().map(row).collect() }
}
