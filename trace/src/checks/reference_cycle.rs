//! `reference-cycle`: links that lead back to where they began.

use super::{ALWAYS_ERROR, Check, Group, RecordId, Reporter, Study};

pub(super) static CHECK: Check = Check {
    name: "reference-cycle",
    group: Group::Structure,
    levels: ALWAYS_ERROR,
    reports: "Links of one kind (`serves`, `in`, `share-of`, `supersedes`) that lead back to where they began.",
    why: "Each record in the circle is there for the next one, and none of them for the goal.",
    fix: "Remove the link that points down instead of up. The message tells the whole way.",
    bad_example: "\
targets:
  wheel-stiffness: {of: suspension, at-least: 2 kN*m/deg, serves: {upright-stiffness: The upright needs it.}}
  upright-stiffness: {of: suspension, at-least: 9 kN*m/deg, serves: {wheel-stiffness: The wheel needs it.}}",
    good_example: "\
targets:
  wheel-stiffness: {of: suspension, at-least: 2 kN*m/deg, serves: {circle-time: Camber stays where the grip is.}}
  upright-stiffness: {of: suspension, at-least: 9 kN*m/deg, serves: {wheel-stiffness: The wheel needs it.}}",
    run,
};

fn run(study: &Study, reporter: &mut Reporter) {
    for cycle in study.graph.cycles() {
        let name = |index: &RecordId| study.loaded.record(*index).id.as_str();
        let Some(first) = cycle.path.first() else { continue };
        let next = cycle.path.get(1).unwrap_or(first);
        let mut way: Vec<&str> = cycle.path.iter().map(name).collect();
        way.push(name(first));
        // The whole way, unless nobody could read it.
        const MOST: usize = 40;
        let more = way.len().saturating_sub(MOST);
        let more = if more > 0 { format!(" and {more} more") } else { String::new() };
        way.truncate(MOST);
        let message = if cycle.path.len() == 1 {
            format!("{} names itself under `{}`", name(first), cycle.key)
        } else {
            format!("the way up turns in a circle: {}{more}", way.join(" → "))
        };
        let route: &[&str] = match cycle.key {
            "serves" | "supersedes" => &[cycle.key, name(next)],
            _ => &[cycle.key],
        };
        reporter.report(*first, route, message, "remove the link that points down instead of up");
    }
}
