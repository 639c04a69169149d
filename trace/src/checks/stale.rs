//! What has changed since: the amounts, counts and choices that a result or a calculation was about.

use foldhash::HashSet;
use schema::{Kind, Quantity};

use super::Study;
use crate::history::{Change, History, RecordHistory};

/// What a result or a calculation is about.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub(super) enum Subject<'r> {
    /// What a requirement asks for.
    Shall(&'r str),
    /// A part.
    Part(&'r str),
    /// A system, with those in it.
    System(&'r str),
    /// One amount of the parts of a system.
    Share(&'r str, &'r str),
    /// One amount of all parts.
    Amount(&'r str),
}

/// Something that changed.
#[derive(Clone, Debug)]
pub(super) struct Moved {
    step: usize,
    /// What, and from what to what.
    text: String,
}

enum What {
    /// An amount or the count, by its route.
    Value(String),
    Added,
    Removed,
    /// Into the second from the first system.
    Out,
    Into,
}

struct Event<'h> {
    step: usize,
    life: &'h RecordHistory,
    /// The system that the part is in, as far as the event goes.
    system: Option<&'h str>,
    what: What,
    text: String,
}

/// The changes of all parts and decisions, told once.
pub(super) struct Moves<'h, 'r> {
    history: &'h History,
    events: Vec<Event<'h>>,
    study: &'r Study,
}

/// The subjects of a target or requirement that is `of` something.
pub(super) fn subject_of<'r>(study: &'r Study, of: &'r str) -> Option<Subject<'r>> {
    let index = study.loaded.find(of)?;
    match study.loaded.record(index).kind() {
        Kind::Part => Some(Subject::Part(of)),
        Kind::System => Some(Subject::System(of)),
        _ => None,
    }
}

impl<'h, 'r> Moves<'h, 'r> {
    pub(super) fn new(study: &'r Study, history: &'h History) -> Self {
        let mut events = Vec::new();
        for life in history.records().iter().filter(|life| life.kind == Kind::Part) {
            part(study, life, &mut events);
        }
        Self { history, events, study }
    }

    /// A system and all that are in it.
    fn within(&self, system: &'r str) -> HashSet<&'r str> {
        let Some(outer) = self.study.loaded.find(system) else { return HashSet::from_iter([system]) };
        let systems = self.study.loaded.systems();
        let inner = systems.filter(|(id, ..)| self.study.graph.enclosing(*id).any(|around| around == outer));
        inner.map(|(_, record, _)| record.id.as_str()).collect()
    }

    /// What changed of a subject after a step, the oldest first.
    pub(super) fn since(&self, subject: &Subject<'r>, after: usize) -> Vec<Moved> {
        let mut all = Vec::new();
        match subject {
            Subject::Shall(id) => {
                let life = self.history.record(id);
                let changes = life.into_iter().flat_map(|life| life.changes_of("shall"));
                let changed = changes.filter(|change| change.commit > after && change.before.is_some());
                all.extend(changed.map(|change| Moved { step: change.commit, text: from_to("`shall`", change) }));
            }
            Subject::Part(id) => {
                let own = self.events.iter().filter(|event| *event.life.id == **id);
                let own = own.filter(|event| matches!(event.what, What::Value(_)));
                self.take(own, after, &mut all);
                self.choices(&HashSet::from_iter([*id]), after, &mut all);
            }
            Subject::System(id) => {
                let inside = self.within(id);
                let own = self.events.iter().filter(|event| event.system.is_some_and(|system| inside.contains(system)));
                self.take(own, after, &mut all);
                self.choices(&inside, after, &mut all);
            }
            Subject::Share(id, amount) => {
                let (inside, route) = (self.within(id), format!("amounts.{amount}.value"));
                let own = self.events.iter().filter(|event| {
                    event.system.is_some_and(|system| inside.contains(system))
                        && match &event.what {
                            What::Value(changed) => *changed == route || changed == "count",
                            _ => event.life.changes_of(&route).next().is_some(),
                        }
                });
                self.take(own, after, &mut all);
            }
            Subject::Amount(amount) => {
                let route = format!("amounts.{amount}.value");
                let own = self.events.iter().filter(|event| match &event.what {
                    What::Value(changed) => *changed == route,
                    What::Added | What::Removed => event.life.changes_of(&route).next().is_some(),
                    What::Out | What::Into => false,
                });
                self.take(own, after, &mut all);
            }
        }
        all.sort_by(|a, b| a.step.cmp(&b.step).then_with(|| a.text.cmp(&b.text)));
        all
    }

    fn take<'e>(&self, events: impl Iterator<Item = &'e Event<'h>>, after: usize, all: &mut Vec<Moved>)
    where
        'h: 'e,
    {
        let end = self.history.commits.len();
        for event in events.filter(|event| event.step > after) {
            let counts = match &event.what {
                // What went there and back is as it was.
                What::Value(route) => {
                    event.life.added <= after && event.life.removed.is_none() && {
                        let (then, now) =
                            (event.life.last_value_at(route, after), event.life.last_value_at(route, end));
                        !same(route, then, now)
                    }
                }
                What::Added => event.life.removed.is_none(),
                What::Removed => event.life.added <= after,
                What::Out | What::Into => {
                    let (then, now) = (event.life.last_value_at("in", after), event.life.last_value_at("in", end));
                    event.life.added <= after && event.life.removed.is_none() && then != now
                }
            };
            if counts {
                all.push(Moved { step: event.step, text: event.text.clone() });
            }
        }
    }

    /// The choices that fell otherwise in decisions of these.
    fn choices(&self, of: &HashSet<&str>, after: usize, all: &mut Vec<Moved>) {
        let end = self.history.commits.len();
        for life in self.history.records().iter().filter(|life| life.kind == Kind::Decision && life.removed.is_none()) {
            if !life.last_value_at("of", end).is_some_and(|id| of.contains(id)) {
                continue;
            }
            if life.last_value_at("chosen", after) == life.last_value_at("chosen", end) {
                continue;
            }
            let changed = life.changes_of("chosen").filter(|change| change.commit > after);
            let what = format!("the choice of {}", life.id);
            all.extend(changed.map(|change| Moved { step: change.commit, text: from_to(&what, change) }));
        }
    }

    /// What changed, for a message: the latest change with its day and commit, and how many more there are.
    pub(super) fn told(&self, mut moved: Vec<Moved>) -> Option<String> {
        let last = moved.pop()?;
        let step = &self.history.commits[last.step];
        let more = match moved.len() {
            0 => String::new(),
            1 => ", and 1 change more".to_owned(),
            more => format!(", and {more} changes more"),
        };
        Some(format!("{} on {} ({}){more}", last.text, step.day, step.short()))
    }
}

fn from_to(what: &str, change: &Change) -> String {
    let shown = |text: &str| format!("`{}`", schema::words::shorten(text));
    match (&change.before, &change.after) {
        (Some(before), Some(after)) => format!("{what} changed from {} to {}", shown(before), shown(after)),
        (None, Some(after)) => format!("{what} was set to {}", shown(after)),
        (Some(before), None) => format!("{what} was {} and was removed", shown(before)),
        (None, None) => format!("{what} changed"),
    }
}

/// Do two texts say the same amount, or count?
fn same(route: &str, a: Option<&str>, b: Option<&str>) -> bool {
    if route == "count" {
        return a.unwrap_or("1") == b.unwrap_or("1");
    }
    let read = |text: Option<&str>| text.and_then(|text| Quantity::parse(text).ok());
    match (read(a), read(b)) {
        (Some(a), Some(b)) => a.same_value(&b),
        _ => a == b,
    }
}

/// The events of a part.
fn part<'h>(study: &Study, life: &'h RecordHistory, events: &mut Vec<Event<'h>>) {
    let system = |step: usize| life.last_value_at("in", step);
    let mut add = |step: usize, system: Option<&'h str>, what: What, text: String| {
        events.push(Event { step, life, system, what, text });
    };
    add(life.added, system(life.added), What::Added, format!("the part {} was added", life.id));
    if let Some(gone) = life.removed {
        add(gone, system(gone), What::Removed, format!("the part {} was removed", life.id));
    }
    for change in life.changes.iter().filter(|change| change.commit > life.added) {
        let route = &*change.route;
        let is_amount = route.starts_with("amounts.") && route.ends_with(".value");
        if route == "in" {
            let text = from_to(&format!("the system of {}", life.id), change);
            add(change.commit, change.before.as_deref(), What::Out, text.clone());
            add(change.commit, change.after.as_deref(), What::Into, text);
        } else if (route == "count" || is_amount)
            && !same(route, change.before.as_deref(), change.after.as_deref())
            && !measured(study, life, change)
        {
            let name = route.strip_prefix("amounts.").and_then(|rest| rest.strip_suffix(".value")).unwrap_or(route);
            let text = from_to(&format!("{}.{name}", life.id), change);
            add(change.commit, system(change.commit), What::Value(route.to_owned()), text);
        }
    }
}

/// A change of an amount that comes with the surest basis is a measurement: the part is as it was, and better known.
fn measured(study: &Study, life: &RecordHistory, change: &Change) -> bool {
    let Some(amount) = change.route.strip_prefix("amounts.").and_then(|rest| rest.strip_suffix(".value")) else {
        return false;
    };
    let surest = study.loaded.settings().growth.get(amount).and_then(|bases| bases.keys().last());
    let Some(surest) = surest else { return false };
    let route = format!("amounts.{amount}.basis");
    life.changes_of(&route).any(|c| c.commit == change.commit && c.after.as_deref() == Some(surest.as_str()))
}
