//! Changes that make a result or a calculation out of date: of amounts, counts, parts and decisions.

use std::cell::RefCell;
use std::collections::BTreeMap;
use std::sync::Arc;

use foldhash::{HashMap, HashSet};
use schema::records::Target;
use schema::{Day, Kind, Quantity};

use super::part_changes::{
    PartChange, PartChangeKind, amount_of_route, change_text, collect_changes, decisions_by_subject, inner_systems,
    is_same_text,
};
use super::{RecordId, Reporter, Study};
use crate::graph::DEEPEST;
use crate::history::order::{Descendants, Order, PlacedCommit};
use crate::history::{Change, History, RecordHistory};
use crate::ids::CommitIndex;

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

/// Which amounts matter: a price does not change a strength, and a mass does not change what was paid.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Matters {
    /// Amounts of money.
    pub(super) money: bool,
    /// All other amounts.
    pub(super) physical: bool,
}

impl Matters {
    /// What matters to a quantity.
    pub(super) fn to(quantity: Option<&Quantity>) -> Self {
        let money = quantity.is_some_and(is_money);
        Self { money, physical: !money }
    }

    /// What matters to the value of a target.
    pub(super) fn to_target(target: &Target) -> Self {
        Self::to(target.limit().next().map(|(_, limit)| limit))
    }
}

/// Whether a quantity is money.
pub(super) fn is_money(quantity: &Quantity) -> bool {
    quantity.unit().dimension().currency().is_some()
}

/// When a result was measured, or a calculation was made.
pub(super) struct Measured<'h> {
    /// The commits that descend from the one that wrote it down.
    pub(super) descendants: Descendants<'h>,
    /// The date of that commit.
    pub(super) written: Day,
    /// The date of the measurement.
    pub(super) date: Day,
    /// The commit whose note can explain why it is still valid after changes up to then.
    pub(super) explained: Option<CommitIndex>,
    /// What matters to it.
    pub(super) matters: Matters,
}

impl Measured<'_> {
    /// How it is known that a change was made later; `None` if it was not.
    fn later(&self, history: &History, commit: CommitIndex, place: PlacedCommit<'_>) -> Option<Order> {
        if history.is_up_to_base(commit) || self.explained.is_some_and(|explained| commit <= explained) {
            return None;
        }
        let order = self.descendants.order(place, Some(self.date));
        match order {
            // A date after the commit that has it: the measurement was made again, or the clock is wrong.
            Order::Descends if self.date > self.written && self.date > place.commit.day => None,
            Order::Descends | Order::DatedLater => Some(order),
            Order::Before | Order::Together | Order::Contradicted => None,
        }
    }
}

/// Something that is another one now than when a result was measured.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LaterChange {
    /// The index of the last commit that changed it.
    pub commit: CommitIndex,
    /// The record and its key, joined by dots below the record; `None` for what is about other records.
    pub key: Option<(String, String)>,
    /// What it was then; without a key, what changed in words.
    pub before: Option<String>,
    /// What it is now.
    pub after: Option<String>,
}

impl LaterChange {
    /// The order of changes: what the thing is and why it is so, its amounts, what it costs, and the rest.
    pub(super) fn weight(&self) -> u8 {
        let Some((_, route)) = &self.key else { return 1 };
        let texts = [&self.before, &self.after].into_iter().flatten();
        let mut quantities = texts.filter_map(|text| Quantity::parse(text).ok());
        match route.as_str() {
            "count" | "shall" | "material" => 0,
            route if route.starts_with("serves.") => 0,
            route if amount_of_route(route).is_some() => 1 + u8::from(quantities.any(|own| is_money(&own))),
            _ => 3,
        }
    }
}

/// A change of a subject.
#[derive(Clone, Debug)]
pub(super) struct SubjectChange<'h> {
    commit: CommitIndex,
    place: PlacedCommit<'h>,
    /// What changed, and from what to what.
    text: String,
    /// Whether it is known that it was made later.
    is_certain: bool,
}

/// The changes of all parts, collected once.
pub(super) struct PartChanges<'h, 'r> {
    history: &'h History,
    changes: Vec<PartChange<'h>>,
    /// The indices of the changes of each part, and of those in each system.
    by_part: HashMap<&'h str, Vec<usize>>,
    by_system: HashMap<&'h str, Vec<usize>>,
    /// The existing decisions by what they are `of`, each with its place among them.
    decisions: HashMap<&'h str, Vec<(usize, &'h RecordHistory)>>,
    /// The systems that are directly in each system.
    inner: HashMap<RecordId, Vec<RecordId>>,
    /// Each system with all systems in it, once it was asked for.
    within: RefCell<HashMap<&'r str, Arc<HashSet<&'r str>>>>,
    /// The indices of the changes of each amount, once they were asked for.
    by_amount: RefCell<HashMap<&'r str, Arc<Vec<usize>>>>,
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
            collect_changes(study, history, part, &mut changes);
        }
        let (mut by_part, mut by_system) = (HashMap::<_, Vec<_>>::default(), HashMap::<_, Vec<_>>::default());
        for (at, change) in changes.iter().enumerate() {
            by_part.entry(&*change.part.id).or_default().push(at);
            if let Some(system) = change.system {
                by_system.entry(system).or_default().push(at);
            }
        }
        let decisions = decisions_by_subject(history);
        Self {
            history,
            changes,
            by_part,
            by_system,
            decisions,
            inner: inner_systems(study),
            within: RefCell::default(),
            by_amount: RefCell::default(),
            study,
        }
    }

    /// A system and all systems in it.
    fn systems_in(&self, system: &'r str) -> Arc<HashSet<&'r str>> {
        let mut within = self.within.borrow_mut();
        Arc::clone(within.entry(system).or_insert_with(|| Arc::new(self.find_systems_in(system))))
    }

    fn find_systems_in(&self, system: &'r str) -> HashSet<&'r str> {
        let loaded = &self.study.loaded;
        let Some(outer) = loaded.find(system) else { return HashSet::from_iter([system]) };
        let mut all = HashSet::from_iter([loaded.record(outer).id.as_str()]);
        let mut level = vec![outer];
        for _ in 0..DEEPEST {
            let inner = level.iter().filter_map(|around| self.inner.get(around)).flatten();
            level = inner.copied().filter(|id| all.insert(loaded.record(*id).id.as_str())).collect();
        }
        all
    }

    /// The changes in any of these systems, in the order in which they were collected.
    fn in_systems(&self, systems: &HashSet<&str>) -> impl Iterator<Item = &PartChange<'h>> {
        let mut found: Vec<usize> =
            systems.iter().filter_map(|system| self.by_system.get(system)).flatten().copied().collect();
        found.sort_unstable();
        found.into_iter().map(|at| &self.changes[at])
    }

    /// The indices of the changes of one amount of all parts.
    fn of_amount(&self, amount: &'r str) -> Arc<Vec<usize>> {
        let mut by_amount = self.by_amount.borrow_mut();
        let found = by_amount.entry(amount).or_insert_with(|| {
            let route = format!("amounts.{amount}.value");
            let is_own = |change: &PartChange<'_>| match &change.kind {
                PartChangeKind::Value(changed, _) => *changed == route,
                PartChangeKind::Added | PartChangeKind::Removed => change.part.changes_of(&route).next().is_some(),
                PartChangeKind::Out | PartChangeKind::Into => false,
            };
            Arc::new((0..self.changes.len()).filter(|at| is_own(&self.changes[*at])).collect())
        });
        Arc::clone(found)
    }

    /// The changes of a subject after a measurement or calculation, the oldest first.
    pub(super) fn since(&self, subject: &Subject<'r>, measured: &Measured<'h>) -> Vec<SubjectChange<'h>> {
        let mut found = Vec::new();
        match subject {
            Subject::Shall(id) => {
                let Some(record) = self.history.record(id) else { return found };
                for change in record.changes_of("shall").filter(|change| change.before.is_some()) {
                    self.add_field_change(record, change, "`shall`", measured, &mut found);
                }
            }
            Subject::Part(id) => {
                let own = self.by_part.get(id).into_iter().flatten().map(|at| &self.changes[*at]);
                let own = own.filter(|change| matches!(change.kind, PartChangeKind::Value(..)));
                self.add_part_changes(own, measured, None, &mut found);
                self.add_decision_changes(&HashSet::from_iter([*id]), measured, &mut found);
            }
            Subject::System(id) => {
                let systems = self.systems_in(id);
                let own = self.in_systems(&systems);
                self.add_part_changes(own, measured, self.first_day(id), &mut found);
                self.add_decision_changes(&systems, measured, &mut found);
            }
            Subject::Share(id, amount) => {
                let (systems, route) = (self.systems_in(id), format!("amounts.{amount}.value"));
                let own = self.in_systems(&systems).filter(|change| match &change.kind {
                    PartChangeKind::Value(changed, _) => *changed == route || changed == "count",
                    PartChangeKind::Added | PartChangeKind::Removed | PartChangeKind::Out | PartChangeKind::Into => {
                        change.part.changes_of(&route).next().is_some()
                    }
                });
                self.add_part_changes(own, measured, self.first_day(id), &mut found);
            }
            Subject::Amount(amount) => {
                let of_amount = self.of_amount(amount);
                let own = of_amount.iter().map(|at| &self.changes[*at]);
                let first = self.history.commits.first().map(|commit| commit.no_later_than);
                self.add_part_changes(own, measured, first, &mut found);
            }
        }
        found.sort_by(|a, b| a.commit.cmp(&b.commit).then_with(|| a.text.cmp(&b.text)));
        found
    }

    /// The same with every other key of a part or a requirement: what each key was then, and is now.
    pub(super) fn all_since(&self, subject: &Subject<'r>, measured: &Measured<'h>) -> Vec<LaterChange> {
        let id = match subject {
            Subject::Shall(id) | Subject::Part(id) => id,
            Subject::System(_) | Subject::Share(..) | Subject::Amount(_) => {
                let in_words = |change: SubjectChange<'h>| LaterChange {
                    commit: change.commit,
                    key: None,
                    before: Some(change.text),
                    after: None,
                };
                return self.since(subject, measured).into_iter().map(in_words).collect();
            }
        };
        let Some(record) = self.history.record(id).filter(|record| record.removed.is_none()) else { return Vec::new() };
        let mut last: BTreeMap<&str, CommitIndex> = BTreeMap::new();
        for change in record.changes.iter().filter(|change| change.commit > record.added) {
            let place = self.history.place_of_change(record, change);
            if measured.later(self.history, change.commit, place).is_some() {
                last.insert(&change.route, change.commit);
            }
        }
        let change = |(route, commit): (&str, CommitIndex)| {
            let then = self.value_then(record, route, measured);
            let now = record.last_value_at(route, self.history.after_all());
            let [before, after] = [then, now].map(|text| text.map(str::to_owned));
            let key = Some((record.id.to_string(), route.to_owned()));
            (!is_same_text(route, then, now)).then_some(LaterChange { commit, key, before, after })
        };
        last.into_iter().filter_map(change).collect()
    }

    /// The date from which on the history has a record.
    fn first_day(&self, id: &str) -> Option<Day> {
        let record = self.history.record(id)?;
        self.history.no_later_than(self.history.place_of_addition(record))
    }

    /// The text of a field at the time of the measurement.
    fn value_then<'c>(&self, record: &'c RecordHistory, route: &'c str, measured: &Measured<'h>) -> Option<&'c str> {
        let was_made = |change: &&Change| {
            let place = self.history.place_of_change(record, change);
            measured.later(self.history, change.commit, place).is_none()
        };
        let known = record.changes_of(route).rfind(was_made);
        // A record that was written down late existed before.
        known
            .or_else(|| record.changes_of(route).next().filter(|change| change.commit == record.added))?
            .after
            .as_deref()
    }

    /// Adds the changes after a measurement; one that was undone later does not count. `first`: the date from which on
    /// the history has the system.
    fn add_part_changes<'e>(
        &self,
        changes: impl Iterator<Item = &'e PartChange<'h>>,
        measured: &Measured<'h>,
        first: Option<Day>,
        found: &mut Vec<SubjectChange<'h>>,
    ) where
        'h: 'e,
    {
        let end = self.history.after_all();
        // By the id of the part, and its field.
        let mut compared: HashMap<(&str, &str), bool> = HashMap::default();
        for change in changes {
            let Some(order) = measured.later(self.history, change.commit, change.place) else { continue };
            let part = change.part;
            let added = || measured.later(self.history, part.added, self.history.place_of_addition(part));
            let existed = || added() != Some(Order::Descends);
            let exists = part.removed.is_none();
            let mut differs = |route: &'e str| {
                *compared.entry((&part.id, route)).or_insert_with(|| {
                    let (then, now) = (self.value_then(part, route, measured), part.last_value_at(route, end));
                    !is_same_text(route, then, now)
                })
            };
            let counts = match &change.kind {
                PartChangeKind::Value(route, money) => {
                    money.is_none_or(|money| if money { measured.matters.money } else { measured.matters.physical })
                        && existed()
                        && exists
                        && differs(route)
                }
                // A part that appears after the date of a result that is committed later may have been there before.
                PartChangeKind::Added => {
                    exists && (order == Order::Descends || first.is_some_and(|first| first <= measured.date))
                }
                PartChangeKind::Removed => existed(),
                PartChangeKind::Out | PartChangeKind::Into => existed() && exists && differs("in"),
            };
            if counts {
                let is_certain = order == Order::Descends || !matches!(change.kind, PartChangeKind::Added);
                let text =
                    if is_certain { change.text.clone() } else { format!("the part {} first appears here", part.id) };
                found.push(SubjectChange { commit: change.commit, place: change.place, text, is_certain });
            }
        }
    }

    /// Adds a change of a field of another record, if it was made after a measurement.
    fn add_field_change(
        &self,
        record: &'h RecordHistory,
        change: &Change,
        what: &str,
        measured: &Measured<'h>,
        found: &mut Vec<SubjectChange<'h>>,
    ) {
        let place = self.history.place_of_change(record, change);
        let order = measured.later(self.history, change.commit, place);
        // A record that appears later may have been there before.
        let is_known =
            |order: &Order| *order == Order::Descends || change.before.is_some() || change.commit != record.added;
        if order.filter(is_known).is_some() {
            let text = change_text(what, change);
            found.push(SubjectChange { commit: change.commit, place, text, is_certain: true });
        }
    }

    /// Adds the changed choices of the decisions that are `of` one of these ids.
    fn add_decision_changes(&self, ids: &HashSet<&str>, measured: &Measured<'h>, found: &mut Vec<SubjectChange<'h>>) {
        let end = self.history.after_all();
        let mut decisions: Vec<(usize, &'h RecordHistory)> =
            ids.iter().filter_map(|id| self.decisions.get(id)).flatten().copied().collect();
        decisions.sort_unstable_by_key(|(place, _)| *place);
        for (_, decision) in decisions {
            let was_made = |change: &&Change| {
                let place = self.history.place_of_change(decision, change);
                measured.later(self.history, change.commit, place).is_none()
            };
            let then = decision.changes_of("chosen").rfind(was_made).and_then(|change| change.after.as_deref());
            if then == decision.last_value_at("chosen", end) {
                continue;
            }
            let what = format!("the choice of {}", decision.id);
            for change in decision.changes_of("chosen") {
                self.add_field_change(decision, change, &what, measured, found);
            }
        }
    }

    /// Reports that a record is out of date because of the latest of these changes, if there is one.
    pub(super) fn report(
        &self,
        changes: Vec<SubjectChange<'h>>,
        (record, key): (RecordId, &str),
        (start, help): (&str, &str),
        reporter: &mut Reporter,
    ) {
        let (certain, others): (Vec<_>, Vec<_>) = changes.into_iter().partition(|change| change.is_certain);
        let is_certain = !certain.is_empty();
        let mut changes = if is_certain { certain } else { others };
        let Some(last) = changes.pop() else { return };
        let commit = last.place.commit;
        let more = match changes.len() {
            0 => String::new(),
            1 => ", and 1 more change".to_owned(),
            more => format!(", and {more} more changes"),
        };
        let message = format!("{start}{} on {} ({}){more}", last.text, commit.day, commit.short());
        if is_certain {
            reporter.report(record, &[key], message, help);
        } else {
            reporter.report_note(record, &[key], message, help);
        }
    }
}
