//! The inputs of the pictures from a study, its audit and its season.

mod budgets;
mod records;
mod season;
mod targets;

pub(crate) use self::{
    budgets::budget,
    records::{chain, frontier, stress, tornado, tornado_bar},
    season::{amount_over_time, loops, points_over_time},
    targets::{Words, estimates, one_target, target, targets, verification},
};

use trace::audit::GoalScore;
use trace::values::{Key, Needed, Values};
use trace::{Loaded, NodeId, RecordId, Study};

use super::super::points::needs;
use super::Name;
use super::waterfall::{EventSteps, NeededPoints, Waterfall};

/// A record with its title.
fn name(loaded: &Loaded, index: RecordId) -> Name {
    let record = loaded.record(index);
    Name::record(record.id.as_str(), record.name())
}

/// A value as an engineer names it: the title of its record, and the quantity if it is one of several.
pub(crate) fn value_name(values: &Values, node: NodeId) -> Name {
    let loaded = &values.graph.loaded;
    let of = |index: RecordId, own: &str| {
        let record = name(loaded, index);
        Name { title: format!("{}: {}", record.title, own.replace('-', " ")), ..record }
    };
    let amount = |amount: u16| values.amounts().get(usize::from(amount)).map_or("", |name| name);
    match &values.keys[node] {
        Key::Record(index) => name(loaded, *index),
        Key::Part(index, own) | Key::Group(Some(index), own) => of(*index, amount(*own)),
        Key::Group(None, own) => Name::plain(format!("The whole car: {}", amount(*own).replace('-', " "))),
        Key::Local(index, own) => of(*index, own),
        Key::NotInParts(index) => of(*index, "not in its parts"),
    }
}

/// The points of a goal from plan to score.
pub(crate) fn waterfall(study: &Study, goal: &GoalScore) -> Waterfall {
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
        needed: goal.needed.as_ref().ok().map(|needed| needed_points(loaded, goal.index, needed)),
        events: events.collect(),
    }
}

/// The points that a goal needs.
pub(crate) fn needed_points(loaded: &Loaded, goal: RecordId, needed: &Needed) -> NeededPoints {
    NeededPoints { words: needs(loaded, goal, needed), points: needed.points, interval: (needed.low, needed.high) }
}
