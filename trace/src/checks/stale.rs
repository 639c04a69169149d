//! Changes that make a result or a calculation out of date: of amounts, counts, parts and decisions.

use foldhash::HashSet;
use schema::{Kind, Quantity};

use super::Study;
use crate::history::{Change, History, RecordHistory};

/// What a result or a calculation depends on.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub(super) enum Subject<'r> {
    /// The `shall` of a requirement.
    Shall(&'r str),
    /// A part.
    Part(&'r str),
    /// A system, with the systems and parts in it.
    System(&'r str),
    /// One amount of the parts in a system: the system, and the amount.
    Share(&'r str, &'r str),
    /// One amount of all parts.
    Amount(&'r str),
}

/// A change of a subject.
#[derive(Clone, Debug)]
pub(super) struct SubjectChange {
    commit: usize,
    /// What changed, and from what to what.
    text: String,
}

enum PartChangeKind {
    /// A change of an amount or of the count, by its route.
    Value(String),
    Added,
    Removed,
    /// Moved out of its old system.
    Out,
    /// Moved into its new system.
    Into,
}

struct PartChange<'h> {
    commit: usize,
    part: &'h RecordHistory,
    /// The system that the part is in; the old one if it moved out.
    system: Option<&'h str>,
    kind: PartChangeKind,
    text: String,
}

/// The changes of all parts, collected once.
pub(super) struct PartChanges<'h, 'r> {
    history: &'h History,
    changes: Vec<PartChange<'h>>,
    study: &'r Study,
}

/// The subject of a record that is `of` a part or system; `None` for the car and unknown ids.
pub(super) fn subject_of<'r>(study: &'r Study, of: &'r str) -> Option<Subject<'r>> {
    let index = study.loaded.find(of)?;
    match study.loaded.record(index).kind() {
        Kind::Part => Some(Subject::Part(of)),
        Kind::System => Some(Subject::System(of)),
        Kind::Goal
        | Kind::Event
        | Kind::Target
        | Kind::Requirement
        | Kind::Analysis
        | Kind::Decision
        | Kind::Result
        | Kind::Revision
        | Kind::Waiver => None,
    }
}

impl<'h, 'r> PartChanges<'h, 'r> {
    pub(super) fn new(study: &'r Study, history: &'h History) -> Self {
        let mut changes = Vec::new();
        for part in history.records().iter().filter(|record| record.kind == Kind::Part) {
            collect_changes(study, part, &mut changes);
        }
        Self { history, changes, study }
    }

    /// A system and all systems in it.
    fn systems_in(&self, system: &'r str) -> HashSet<&'r str> {
        let Some(outer) = self.study.loaded.find(system) else { return HashSet::from_iter([system]) };
        let systems = self.study.loaded.systems();
        let inner = systems.filter(|(id, ..)| self.study.graph.enclosing(*id).any(|around| around == outer));
        inner.map(|(_, record, _)| record.id.as_str()).collect()
    }

    /// The changes of a subject after a commit, the oldest first.
    pub(super) fn since(&self, subject: &Subject<'r>, commit: usize) -> Vec<SubjectChange> {
        let mut found = Vec::new();
        match subject {
            Subject::Shall(id) => {
                let record = self.history.record(id);
                let changes = record.into_iter().flat_map(|record| record.changes_of("shall"));
                let later = changes.filter(|change| change.commit > commit && change.before.is_some());
                found.extend(
                    later.map(|change| SubjectChange { commit: change.commit, text: change_text("`shall`", change) }),
                );
            }
            Subject::Part(id) => {
                let own = self.changes.iter().filter(|change| *change.part.id == **id);
                let own = own.filter(|change| matches!(change.kind, PartChangeKind::Value(_)));
                self.add_part_changes(own, commit, &mut found);
                self.add_decision_changes(&HashSet::from_iter([*id]), commit, &mut found);
            }
            Subject::System(id) => {
                let systems = self.systems_in(id);
                let own = self.changes.iter().filter(|change| change.is_in(&systems));
                self.add_part_changes(own, commit, &mut found);
                self.add_decision_changes(&systems, commit, &mut found);
            }
            Subject::Share(id, amount) => {
                let (systems, route) = (self.systems_in(id), format!("amounts.{amount}.value"));
                let own = self.changes.iter().filter(|change| {
                    change.is_in(&systems)
                        && match &change.kind {
                            PartChangeKind::Value(changed) => *changed == route || changed == "count",
                            PartChangeKind::Added
                            | PartChangeKind::Removed
                            | PartChangeKind::Out
                            | PartChangeKind::Into => change.part.changes_of(&route).next().is_some(),
                        }
                });
                self.add_part_changes(own, commit, &mut found);
            }
            Subject::Amount(amount) => {
                let route = format!("amounts.{amount}.value");
                let own = self.changes.iter().filter(|change| match &change.kind {
                    PartChangeKind::Value(changed) => *changed == route,
                    PartChangeKind::Added | PartChangeKind::Removed => change.part.changes_of(&route).next().is_some(),
                    PartChangeKind::Out | PartChangeKind::Into => false,
                });
                self.add_part_changes(own, commit, &mut found);
            }
        }
        found.sort_by(|a, b| a.commit.cmp(&b.commit).then_with(|| a.text.cmp(&b.text)));
        found
    }

    /// Adds the changes after a commit; one that was undone later does not count.
    fn add_part_changes<'e>(
        &self,
        changes: impl Iterator<Item = &'e PartChange<'h>>,
        commit: usize,
        found: &mut Vec<SubjectChange>,
    ) where
        'h: 'e,
    {
        let end = self.history.commits.len();
        for change in changes.filter(|change| change.commit > commit) {
            let part = change.part;
            let existed = part.added <= commit;
            let exists = part.removed.is_none();
            let counts = match &change.kind {
                PartChangeKind::Value(route) => {
                    let (then, now) = (part.last_value_at(route, commit), part.last_value_at(route, end));
                    existed && exists && !is_same_text(route, then, now)
                }
                PartChangeKind::Added => exists,
                PartChangeKind::Removed => existed,
                PartChangeKind::Out | PartChangeKind::Into => {
                    existed && exists && part.last_value_at("in", commit) != part.last_value_at("in", end)
                }
            };
            if counts {
                found.push(SubjectChange { commit: change.commit, text: change.text.clone() });
            }
        }
    }

    /// Adds the changed choices of the decisions that are `of` one of these ids.
    fn add_decision_changes(&self, ids: &HashSet<&str>, commit: usize, found: &mut Vec<SubjectChange>) {
        let end = self.history.commits.len();
        let decisions = self.history.records().iter();
        for decision in decisions.filter(|record| record.kind == Kind::Decision && record.removed.is_none()) {
            if !decision.last_value_at("of", end).is_some_and(|id| ids.contains(id)) {
                continue;
            }
            if decision.last_value_at("chosen", commit) == decision.last_value_at("chosen", end) {
                continue;
            }
            let later = decision.changes_of("chosen").filter(|change| change.commit > commit);
            let what = format!("the choice of {}", decision.id);
            found.extend(later.map(|change| SubjectChange { commit: change.commit, text: change_text(&what, change) }));
        }
    }

    /// The latest of these changes for a message, with its date and commit and the number of other changes.
    pub(super) fn describe(&self, mut changes: Vec<SubjectChange>) -> Option<String> {
        let last = changes.pop()?;
        let commit = &self.history.commits[last.commit];
        let more = match changes.len() {
            0 => String::new(),
            1 => ", and 1 more change".to_owned(),
            more => format!(", and {more} more changes"),
        };
        Some(format!("{} on {} ({}){more}", last.text, commit.day, commit.short()))
    }
}

impl PartChange<'_> {
    fn is_in(&self, systems: &HashSet<&str>) -> bool {
        self.system.is_some_and(|system| systems.contains(system))
    }
}

fn change_text(what: &str, change: &Change) -> String {
    let quoted = |text: &str| format!("`{}`", schema::words::shorten(text));
    match (&change.before, &change.after) {
        (Some(before), Some(after)) => format!("{what} changed from {} to {}", quoted(before), quoted(after)),
        (None, Some(after)) => format!("{what} was set to {}", quoted(after)),
        (Some(before), None) => format!("{what} was {} and was removed", quoted(before)),
        (None, None) => format!("{what} changed"),
    }
}

/// Whether two texts are the same, or the same count or quantity.
fn is_same_text(route: &str, a: Option<&str>, b: Option<&str>) -> bool {
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
fn collect_changes<'h>(study: &Study, part: &'h RecordHistory, changes: &mut Vec<PartChange<'h>>) {
    let system_at = |commit: usize| part.last_value_at("in", commit);
    let mut add = |commit: usize, system: Option<&'h str>, kind: PartChangeKind, text: String| {
        changes.push(PartChange { commit, part, system, kind, text });
    };
    add(part.added, system_at(part.added), PartChangeKind::Added, format!("the part {} was added", part.id));
    if let Some(removed) = part.removed {
        add(removed, system_at(removed), PartChangeKind::Removed, format!("the part {} was removed", part.id));
    }
    for change in part.changes.iter().filter(|change| change.commit > part.added) {
        let route = &*change.route;
        let amount = amount_of_route(route);
        if route == "in" {
            let text = change_text(&format!("the system of {}", part.id), change);
            add(change.commit, change.before.as_deref(), PartChangeKind::Out, text.clone());
            add(change.commit, change.after.as_deref(), PartChangeKind::Into, text);
        } else if (route == "count" || amount.is_some())
            && !is_same_text(route, change.before.as_deref(), change.after.as_deref())
            && !is_measurement(study, part, change)
        {
            let text = change_text(&format!("{}.{}", part.id, amount.unwrap_or(route)), change);
            add(change.commit, system_at(change.commit), PartChangeKind::Value(route.to_owned()), text);
        }
    }
}

/// The amount whose value a route leads to.
fn amount_of_route(route: &str) -> Option<&str> {
    route.strip_prefix("amounts.")?.strip_suffix(".value")
}

/// Whether the change of an amount is a measurement: its commit sets the last basis in `growth`. The part is then
/// unchanged, and better known.
fn is_measurement(study: &Study, part: &RecordHistory, change: &Change) -> bool {
    let Some(amount) = amount_of_route(&change.route) else { return false };
    let bases = study.loaded.settings().growth.get(amount);
    let Some(measured) = bases.and_then(|bases| bases.keys().last()) else { return false };
    let route = format!("amounts.{amount}.basis");
    let mut changes = part.changes_of(&route).filter(|basis| basis.commit == change.commit);
    changes.any(|basis| basis.after.as_deref() == Some(measured.as_str()))
}
