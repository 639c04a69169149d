//! The inputs of the pictures from a study, its audit and its season.

mod budgets;
mod records;
mod season;
mod targets;

pub(crate) use self::{
    budgets::{PartsOf, budget},
    records::{chain, frontier, stress, tornado, tornado_bar},
    season::{MOST_GOALS, amount_over_time, has_curve, loops, points_over_time},
    targets::{Words, estimates, one_target, target, targets, verification},
};

use trace::audit::GoalScore;
use trace::values::{Key, Needed, Values};
use trace::{Loaded, NodeId, RecordId, Study};

use super::Name;
use super::waterfall::{EventSteps, NeededPoints, Waterfall};

/// A record with its title.
fn name(loaded: &Loaded, index: RecordId) -> Name {
    let record = loaded.record(index);
    Name::record(record.id.as_str(), record.name())
}

/// A value as an engineer names it: the title of its record, and the quantity if it is one of several.
pub(crate) fn value_name(values: &Values, node: NodeId) -> Name {
    match value_parts(values, node) {
        (of, Some(quantity)) => Name { title: format!("{}: {quantity}", of.title), ..of },
        (of, None) => of,
    }
}

/// What a value is of, and the quantity if it is one of several.
pub(crate) fn value_parts(values: &Values, node: NodeId) -> (Name, Option<String>) {
    let loaded = &values.graph.loaded;
    let amount = |amount: u16| values.amounts().get(usize::from(amount)).map_or("", |name| name);
    let (of, quantity) = match &values.keys[node] {
        Key::Record(index) => return (name(loaded, *index), None),
        Key::Part(index, own) | Key::Group(Some(index), own) => (name(loaded, *index), amount(*own)),
        Key::Group(None, own) => (Name::plain("The whole car"), amount(*own)),
        Key::Local(index, own) => (name(loaded, *index), own.as_ref()),
        Key::NotInParts(index) => (name(loaded, *index), "not in its parts"),
    };
    (of, Some(quantity.replace('-', " ")))
}

/// The points of a goal from plan to score; `needs` has the words for the points that it needs.
pub(crate) fn waterfall(study: &Study, goal: &GoalScore, needs: NeededWords) -> Waterfall {
    let loaded = &study.loaded;
    let events = goal.events.iter().map(|event| EventSteps {
        name: name(loaded, event.index),
        plan: event.plan,
        predicted: event.spread.as_ref().map(|spread| spread.mean).or(event.predicted),
        interval: event.spread.as_ref().map(|spread| (spread.low, spread.high)).filter(|(low, high)| high > low),
        scored: event.scored.map(|(points, _)| points),
    });
    Waterfall {
        goal: loaded.record(goal.index).name().to_owned(),
        plan: goal.plan,
        predicted: goal.predicted,
        interval: goal.predicted.and(goal.spread.as_ref()).map(|spread| (spread.low, spread.high)),
        needed: goal.needed.as_ref().ok().map(|needed| needed_points(loaded, goal.index, needed, needs)),
        events: events.collect(),
        interval_words: None,
    }
}

/// The words for the points that a goal needs: `place 8 needs`.
pub(crate) type NeededWords = fn(&Loaded, RecordId, &Needed) -> String;

/// The points that a goal needs.
pub(crate) fn needed_points(loaded: &Loaded, goal: RecordId, needed: &Needed, words: NeededWords) -> NeededPoints {
    NeededPoints { words: words(loaded, goal, needed), points: needed.points, interval: (needed.low, needed.high) }
}
