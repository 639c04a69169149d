//! The first line of a summary: what the change does to points, place and budgets.

use std::fmt::Write as _;

use schema::number;
use trace::RecordId;
use trace::delta::{BudgetChange, ChanceChange, Headline, HeadlineOf};

use super::{DeltaView, LEAST_POINTS, change_shown, headline_shown, shown_points};

/// The largest number of goals, of budgets and of ids in it.
const MOST: usize = 3;

/// Whether the points or the amount of a headline changed by so much that it is shown.
pub(super) fn is_changed(line: &Headline) -> bool {
    match (&line.of, line.before, line.after) {
        (HeadlineOf::Points(_), Some(before), Some(after)) => (after - before).abs() >= LEAST_POINTS,
        (_, before, after) => before.is_some() != after.is_some() || !headline_shown(line)[2].is_empty(),
    }
}

/// What a goal needs, as in `place 8`.
pub(super) fn place(view: &DeltaView<'_>, goal: RecordId) -> String {
    let Some(goal) = view.head.loaded.goal(goal) else { return "the goal".to_owned() };
    match (goal.place, &goal.points) {
        (Some(place), _) => format!("place {place}"),
        (None, Some(points)) => format!("the goal of {points}"),
        (None, None) => "the goal".to_owned(),
    }
}

/// A probability before and after, each as text; `none` if it is not known.
pub(super) fn chance_texts(own: &ChanceChange) -> [String; 2] {
    [own.before, own.after].map(|chance| chance.map_or_else(|| "none".to_owned(), number::chance))
}

/// A budget before and after, as text, and the change: its value with the limit if that changed.
pub(super) fn budget_texts(own: &BudgetChange) -> [String; 3] {
    let text = |at: usize| own.values[at].map(|si| own.unit.show(si, own.uncertainties[at]));
    let [mut before, mut after] = [0, 1].map(|at| text(at).unwrap_or_else(|| "none".to_owned()));
    let mut change = String::new();
    if let [Some(was), Some(is)] = own.values {
        [before, after] = own.unit.show_both_with([was, is], own.uncertainties);
        change = change_shown(was, is, &own.unit);
    }
    let limits = own.limits.map(|limit| limit.map(|si| own.unit.show(si, 0.0)));
    if limits[0] != limits[1] {
        for (value, limit) in [&mut before, &mut after].into_iter().zip(&limits) {
            if let Some(limit) = limit {
                let _ = write!(value, " of {limit}");
            }
        }
    }
    [before, after, change]
}

/// The points of one goal.
fn points(view: &DeltaView<'_>, line: &Headline) -> String {
    let name = view.headline_name(line);
    let [before, after] = shown_points(line);
    match (line.before, line.after) {
        (Some(_), Some(_)) if !is_changed(line) => format!("{name} {after} (unchanged)"),
        (Some(was), Some(is)) => format!("{name} {before} → {after} ({})", number::signed(is - was, 2)),
        (None, Some(_)) => format!("{name} {after} (none before)"),
        (Some(_), None) => format!("{name} none (before: {before})"),
        (None, None) => format!("no {name}"),
    }
}

fn chance(view: &DeltaView<'_>, own: &ChanceChange) -> Option<String> {
    let goal = place(view, own.goal);
    if let Some(recorded) = own.places[1] {
        let outcome = match own.reached {
            Some(true) => format!(", {goal} reached"),
            Some(false) => format!(", {goal} not reached"),
            None => String::new(),
        };
        return Some(format!("place {recorded} recorded{outcome}"));
    }
    let [before, after] = chance_texts(own);
    Some(match (own.before, own.after) {
        (None, None) => return None,
        (Some(_), Some(_)) if before == after => format!("{goal} with a chance of {after}"),
        _ => format!("{goal} with a chance of {before} → {after}"),
    })
}

/// A few ids, and how many more there are.
fn ids(view: &DeltaView<'_>, all: &[&BudgetChange]) -> String {
    let shown = all.iter().take(MOST).map(|own| view.head.loaded.record(own.target).id.to_string());
    let shown = shown.collect::<Vec<_>>().join(", ");
    match all.len().saturating_sub(MOST) {
        0 => shown,
        more => format!("{shown} and {more} more"),
    }
}

fn budgets(view: &DeltaView<'_>, changes: &[BudgetChange]) -> String {
    if changes.is_empty() {
        return if view.head.budgets().is_empty() { "no budgets" } else { "budgets unchanged" }.to_owned();
    }
    let of_car: Vec<&BudgetChange> = changes.iter().filter(|own| own.is_of_car).collect();
    let mut parts: Vec<String> = of_car
        .iter()
        .take(MOST)
        .map(|own| {
            let [before, after, _] = budget_texts(own);
            let limit = own.limits[1].filter(|_| !after.contains(" of ")).map(|si| own.unit.show(si, 0.0));
            let limit = limit.map(|limit| format!(" of {limit}")).unwrap_or_default();
            format!("{} {before} → {after}{limit}", view.head.loaded.record(own.target).id)
        })
        .collect();
    if parts.is_empty() {
        parts.push(format!("{} changed", crate::screen::count(changes.len(), "budget")));
    }
    for (what, from, to) in [("newly over", false, true), ("no longer over", true, false)] {
        let own: Vec<&BudgetChange> = changes.iter().filter(|own| own.over == [from, to]).collect();
        if !own.is_empty() {
            parts.push(format!("{what}: {}", ids(view, &own)));
        }
    }
    parts.join(", ")
}

/// The whole line.
pub(super) fn text(view: &DeltaView<'_>, lines: &[Headline], changes: &[BudgetChange]) -> String {
    let mut parts: Vec<String> = Vec::new();
    let goals = lines.iter().filter(|line| matches!(line.of, HeadlineOf::Points(_))).take(MOST);
    parts.extend(goals.map(|line| points(view, line)));
    if parts.is_empty() {
        parts.push("no goal".to_owned());
    }
    let chances = view.delta.chances(view.base, view.head);
    parts.extend(chances.iter().take(MOST).filter_map(|own| chance(view, own)));
    if view.delta.lacks_files.contains(&true) {
        parts.push("budgets not compared: files cannot be read".to_owned());
    } else {
        parts.push(budgets(view, changes));
    }
    parts.join("; ")
}
