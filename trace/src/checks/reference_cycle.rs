//! `reference-cycle`: links that form a cycle.

use super::{ALWAYS_ERROR, About, Check, Group, RecordId, Reporter, Study};

pub(super) static CHECK: Check = Check {
    name: "reference-cycle",
    group: Group::Structure,
    about: About::Records,
    levels: ALWAYS_ERROR,
    reports: "Links of one kind (`serves`, `in`, `share-of`, `supersedes`) that form a cycle.",
    why: "Each record in the cycle leads only to the next one, and none of them to the goal.",
    fix: "Remove the link that points down instead of up. The message lists the records of the cycle.",
    bad_example: "\
targets:
  wheel-stiffness: {of: suspension, at-least: 2 kN*m/deg, serves: {upright-stiffness: The upright needs it.}}
  upright-stiffness: {of: suspension, at-least: 9 kN*m/deg, serves: {wheel-stiffness: The wheel needs it.}}",
    good_example: "\
targets:
  wheel-stiffness: {of: suspension, at-least: 2 kN*m/deg, serves: {circle-time: A stiff wheel keeps the camber that gives grip.}}
  upright-stiffness: {of: suspension, at-least: 9 kN*m/deg, serves: {wheel-stiffness: The wheel needs it.}}",
    run,
};

/// The largest number of records of a cycle that a message lists.
const MOST_SHOWN: usize = 40;

fn run(study: &Study, reporter: &mut Reporter) {
    for cycle in study.graph.cycles() {
        let id = |index: &RecordId| study.loaded.record(*index).id.as_str();
        let Some(first) = cycle.path.first() else { continue };
        let next = cycle.path.get(1).unwrap_or(first);
        let mut path: Vec<&str> = cycle.path.iter().map(id).collect();
        path.push(id(first));
        let more = path.len().saturating_sub(MOST_SHOWN);
        let more = if more > 0 { format!(" and {more} more") } else { String::new() };
        path.truncate(MOST_SHOWN);
        let message = if cycle.path.len() == 1 {
            format!("{} names itself under `{}`", id(first), cycle.key)
        } else {
            format!("`{}` links form a cycle: {}{more}", cycle.key, path.join(" → "))
        };
        let route: &[&str] = match cycle.key {
            "serves" | "supersedes" => &[cycle.key, id(next)],
            _ => &[cycle.key],
        };
        let help = match cycle.key {
            "supersedes" => "remove the link from the older one to the newer one",
            _ => "remove the link that points down instead of up",
        };
        reporter.report(*first, route, message, help);
    }
}
