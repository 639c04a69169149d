//! The changes of the parts of a history, and what else `stale-result` and `stale-analysis` look up by name.

use foldhash::HashMap;
use schema::{Kind, Quantity};

use super::stale::is_money;
use super::{RecordId, Study};
use crate::history::order::PlacedCommit;
use crate::history::{Change, History, RecordHistory};
use crate::ids::CommitIndex;

/// What a change of a part is.
pub(super) enum PartChangeKind {
    /// A change of an amount or of the count, by its route, and whether the amount is money.
    Value(String, Option<bool>),
    Added,
    Removed,
    /// Moved out of its old system.
    Out,
    /// Moved into its new system.
    Into,
}

/// A change of a part.
pub(super) struct PartChange<'h> {
    pub(super) commit: CommitIndex,
    pub(super) place: PlacedCommit<'h>,
    pub(super) part: &'h RecordHistory,
    /// The system that the part is in; the old one if it moved out.
    pub(super) system: Option<&'h str>,
    pub(super) kind: PartChangeKind,
    pub(super) text: String,
}

/// The existing decisions of a history by what they are `of`, each with its place in the history.
pub(super) fn decisions_by_subject(history: &History) -> HashMap<&str, Vec<(usize, &RecordHistory)>> {
    let mut all: HashMap<&str, Vec<_>> = HashMap::default();
    let decisions = history.records().iter().enumerate();
    for (place, decision) in decisions.filter(|(_, own)| own.kind == Kind::Decision && own.removed.is_none()) {
        if let Some(of) = decision.last_value_at("of", history.after_all()) {
            all.entry(of).or_default().push((place, decision));
        }
    }
    all
}

/// The systems that are directly in each system.
pub(super) fn inner_systems(study: &Study) -> HashMap<RecordId, Vec<RecordId>> {
    let mut all: HashMap<RecordId, Vec<RecordId>> = HashMap::default();
    for (id, ..) in study.loaded.systems() {
        if let Some(around) = study.graph.enclosing(id).find(|around| *around != id) {
            all.entry(around).or_default().push(id);
        }
    }
    all
}

/// A change of a field in words.
pub(super) fn change_text(what: &str, change: &Change) -> String {
    let quoted = |text: &str| format!("`{}`", schema::words::shorten(text));
    match (&change.before, &change.after) {
        (Some(before), Some(after)) => format!("{what} changed from {} to {}", quoted(before), quoted(after)),
        (None, Some(after)) => format!("{what} was set to {}", quoted(after)),
        (Some(before), None) => format!("{what} was {} and was removed", quoted(before)),
        (None, None) => format!("{what} changed"),
    }
}

/// Whether two texts are the same, or the same count or quantity.
pub(super) fn is_same_text(route: &str, a: Option<&str>, b: Option<&str>) -> bool {
    if route == "count" {
        return a.unwrap_or("1") == b.unwrap_or("1");
    }
    let parse = |text: Option<&str>| text.and_then(|text| Quantity::parse(text).ok());
    match (parse(a), parse(b)) {
        (Some(a), Some(b)) => a.same_value(&b),
        _ => a == b,
    }
}

/// Collects the changes of a part.
pub(super) fn collect_changes<'h>(
    study: &Study,
    history: &'h History,
    part: &'h RecordHistory,
    changes: &mut Vec<PartChange<'h>>,
) {
    let system_at = |commit: CommitIndex| part.last_value_at("in", commit);
    let mut add = |(commit, place): (CommitIndex, PlacedCommit<'h>),
                   system: Option<&'h str>,
                   kind: PartChangeKind,
                   text: String| {
        changes.push(PartChange { commit, place, part, system, kind, text });
    };
    let added = (part.added, history.place_of_addition(part));
    add(added, system_at(part.added), PartChangeKind::Added, format!("the part {} was added", part.id));
    if let Some(removed) = part.removed {
        let place = (removed, history.place_of_removal(part, removed));
        add(place, system_at(removed), PartChangeKind::Removed, format!("the part {} was removed", part.id));
    }
    for change in part.changes.iter().filter(|change| change.commit > part.added) {
        let route = &*change.route;
        let amount = amount_of_route(route);
        let place = || (change.commit, history.place_of_change(part, change));
        if route == "in" {
            let text = change_text(&format!("the system of {}", part.id), change);
            add(place(), change.before.as_deref(), PartChangeKind::Out, text.clone());
            add(place(), change.after.as_deref(), PartChangeKind::Into, text);
        } else if (route == "count" || amount.is_some())
            && !is_same_text(route, change.before.as_deref(), change.after.as_deref())
            && !is_measurement(study, part, change)
        {
            let text = change_text(&format!("{}.{}", part.id, amount.unwrap_or(route)), change);
            let texts = [&change.before, &change.after].into_iter().flatten();
            let money =
                amount.map(|_| texts.filter_map(|text| Quantity::parse(text).ok()).any(|value| is_money(&value)));
            add(place(), system_at(change.commit), PartChangeKind::Value(route.to_owned(), money), text);
        }
    }
}

/// The amount whose value a route leads to.
pub(super) fn amount_of_route(route: &str) -> Option<&str> {
    route.strip_prefix("amounts.")?.strip_suffix(".value")
}

/// Whether the change of an amount is a measurement: its commit sets the last basis in `growth`. The part is then
/// unchanged, and better known.
fn is_measurement(study: &Study, part: &RecordHistory, change: &Change) -> bool {
    let Some(amount) = amount_of_route(&change.route) else { return false };
    let bases = study.loaded.settings().growth.get(amount);
    let Some(measured) = bases.and_then(|bases| bases.keys().last()) else { return false };
    let route = format!("amounts.{amount}.basis");
    let mut bases = part.changes_by(change.commit).iter().filter(|basis| *basis.route == *route);
    bases.any(|basis| basis.after.as_deref() == Some(measured.as_str()))
}
