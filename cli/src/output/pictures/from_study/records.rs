//! Values that change the points, the chain, stress, and alternatives.

use std::collections::HashMap;

use schema::Kind;
use schema::number;
use schema::quantity::Unit;
use trace::conclusion::Conclusion;
use trace::stress::{CAUTION, Iterations};
use trace::values::{GoalPoints, Key, Status, Values, Worth};
use trace::{NodeId, RecordId, Study};

use super::super::Name;
use super::super::chain::{Chain, ChainNode, Mark};
use super::super::frontier::{Alternative, Frontier, Value};
use super::super::stress::{Stress, StressIteration};
use super::super::tornado::{Tornado, TornadoBar};
use super::{name, value_name};
use crate::output::compare::View;
use crate::output::stress::bins;

/// What 1 % of each value changes the points: amounts of the whole car, and values of records that are no amounts of parts. What
/// is under `given` (the best of others, rules, constants of models) can rarely be changed: it is drawn only without others.
/// With a chance now and the effect of some values on it, the bars are of these.
pub(crate) fn tornado(study: &Study, goal: &GoalPoints, chance: Option<(f64, &HashMap<NodeId, f64>)>) -> Tornado {
    let values = study.values_on_paper();
    let sensitivities = values.worth_of_all(goal.node);
    let is_part = |key: &Key| matches!(key, Key::Part(..));
    let is_given = |key: &Key| matches!(key, Key::Local(..));
    let leaves = values.worth_of_leaves(&sensitivities).into_iter().filter(|worth| !is_part(&values.keys[worth.node]));
    let all = leaves.chain(values.worth_of_car(&sensitivities)).filter(|worth| worth.per_percent.is_finite());
    let mut all: Vec<Worth> = all.filter(|worth| worth.per_percent != 0.0).collect();
    if all.iter().any(|worth| !is_given(&values.keys[worth.node])) {
        all.retain(|worth| !is_given(&values.keys[worth.node]));
    }
    all.sort_by(|a, b| b.per_percent.abs().total_cmp(&a.per_percent.abs()));
    let bars = all.iter().filter_map(|worth| {
        let bar = tornado_bar(values, worth, value_name(values, worth.node));
        let Some((_, effects)) = chance else { return Some(bar) };
        let by = 100.0 * effects.get(&worth.node)?;
        Some(TornadoBar { lower: -by, higher: by, points: Some(worth.per_percent), ..bar })
    });
    let title = study.loaded.record(goal.index).name().to_owned();
    let place = study.loaded.goal(goal.index).and_then(|goal| goal.place);
    let of = place.map_or_else(|| title.clone(), |place| format!("place {place}"));
    let chance = chance.map(|(now, _)| (of, number::chance(now)));
    Tornado { goal: title, by: "1 %".to_owned(), chance, bars: bars.collect() }
}

/// What 1 % of a value changes the points.
pub(crate) fn tornado_bar(values: &Values, worth: &Worth, name: Name) -> TornadoBar {
    let unit = values.unit(worth.node);
    let step = 0.01 * worth.value;
    // With the digits that show the step.
    let shown = |si: f64| unit.after(&number::measured(unit.from_si(si), (step / unit.factor()).abs()));
    TornadoBar {
        name,
        now: shown(worth.value),
        lower: -worth.per_percent,
        higher: worth.per_percent,
        to: [worth.value - step, worth.value + step].map(shown),
        points: None,
    }
}

/// All records from the goals down, and the systems under the car, without those that are notes on others.
pub(crate) fn chain(study: &Study) -> Chain {
    let (loaded, graph) = (&study.loaded, &study.graph);
    let is_shown = |index: &RecordId| !loaded.kind(*index).roles().is_note;
    let shown: Vec<RecordId> = loaded.record_ids().filter(is_shown).collect();
    let mut place = vec![None; graph.len()];
    for (at, index) in shown.iter().enumerate() {
        place[*index] = Some(at);
    }
    let faults = faults(study);
    let mut chain = Chain { notes: loaded.entries.len() - shown.len(), ..Chain::default() };
    let mut above: Vec<Option<usize>> = Vec::with_capacity(shown.len());
    for index in &shown {
        let next = study.chain(*index).get(1).copied();
        let also = graph.parents(*index).filter(|parent| Some(*parent) != next);
        let (status, mark) = status(study, *index);
        chain.nodes.push(ChainNode {
            name: name(loaded, *index),
            kind: loaded.kind(*index).singular().to_owned(),
            status: status.to_owned(),
            mark,
            value: value(study, *index),
            also: also.map(|parent| loaded.record(parent).id.to_string()).collect(),
            fault: faults.get(index).map(|fault| (*fault).to_owned()).unwrap_or_default(),
            ..ChainNode::default()
        });
        // What serves nothing is shown with what it is about.
        let next = next.or_else(|| loaded.find(loaded.record(*index).about()?.as_str()));
        above.push(next.and_then(|next| place[next]));
    }
    let is_of = |at: usize, kind: Kind| loaded.kind(shown[at]) == kind;
    for (at, above) in above.iter().enumerate() {
        if let Some(system) = loaded.record(shown[at]).about().and_then(|about| place[loaded.find(about.as_str())?])
            && is_of(at, Kind::Part)
            && is_of(system, Kind::System)
            && *above != Some(system)
        {
            chain.nodes[system].parts.push(at);
        }
        match above.filter(|above| *above != at) {
            Some(above) => chain.nodes[above].below.push(at),
            None => chain.roots.push(at),
        }
    }
    // Records that are above each other have no root.
    let mut reached = vec![false; chain.nodes.len()];
    for at in chain.roots.clone() {
        reach(&chain, &mut reached, at);
    }
    for at in 0..chain.nodes.len() {
        if !reached[at] {
            chain.roots.push(at);
            reach(&chain, &mut reached, at);
        }
    }
    let (systems, mut roots): (Vec<usize>, Vec<usize>) = chain.roots.iter().partition(|at| is_of(**at, Kind::System));
    roots.sort_by_key(|at| !is_of(*at, Kind::Goal));
    if !systems.is_empty() {
        let goals = roots.iter().filter(|at| is_of(**at, Kind::Goal)).count();
        roots.insert(goals, chain.nodes.len());
        chain.nodes.push(ChainNode { name: Name::plain("The car"), below: systems, ..ChainNode::default() });
    }
    chain.roots = roots;
    chain
}

/// What the checks report about the paths of records to a goal.
fn faults(study: &Study) -> HashMap<RecordId, &'static str> {
    let fault = |check: &str| match check {
        "no-parent" => Some("serves nothing"),
        "off-chain" => Some("does not lead to a goal"),
        "reference-cycle" => Some("in a cycle"),
        _ => None,
    };
    let findings = study.report().findings.iter();
    let known = findings.filter_map(|own| Some((study.loaded.find(own.record.as_deref()?)?, fault(own.check.name)?)));
    known.collect()
}

/// Marks everything below a record.
fn reach(chain: &Chain, reached: &mut [bool], from: usize) {
    let mut rest = vec![from];
    while let Some(at) = rest.pop() {
        if !std::mem::replace(&mut reached[at], true) {
            rest.extend(&chain.nodes[at].below);
        }
    }
}

fn status(study: &Study, index: RecordId) -> (&'static str, Mark) {
    if let Some(target) = study.target_status(index) {
        let mark = match target.status {
            Status::Met | Status::OnTarget => Mark::Good,
            Status::Missed | Status::AtRisk => Mark::Bad,
            Status::Uncertain | Status::NoValue => Mark::Unknown,
        };
        return (target.status.word(), mark);
    }
    if !matches!(study.loaded.kind(index), Kind::Requirement | Kind::Part) {
        return ("", Mark::None);
    }
    match study.conclusion(index, None) {
        Some(Conclusion::Passed) => ("passed", Mark::Good),
        Some(Conclusion::Failed) => ("failed", Mark::Bad),
        Some(Conclusion::Uncertain | Conclusion::Contradicted | Conclusion::Unread) => ("uncertain", Mark::Unknown),
        None if study.loaded.verify(index).is_some() => ("no result", Mark::Unknown),
        None => ("", Mark::None),
    }
}

/// The value of a record as text: of a part its amounts, with the number of pieces.
fn value(study: &Study, index: RecordId) -> String {
    let values = study.values();
    if let Some(part) = study.loaded.part(index) {
        let pieces = part.count.filter(|count| *count > 1).map(|count| format!("{count} × ")).unwrap_or_default();
        let amounts = part.amounts.iter().map(|(name, amount)| format!("{name} {pieces}{}", amount.value));
        return amounts.collect::<Vec<_>>().join(", ");
    }
    let node = values.record_node(index);
    let shown = node.and_then(|node| Some(values.unit(node).show(values.value(node)?, 0.0)));
    shown.unwrap_or_default()
}

/// The stress of a part: one for each of its current analyses with a stress file.
pub(crate) fn stress(study: &Study, part: RecordId, all: &[Iterations]) -> Vec<Stress> {
    let pascal = Unit::parse("MPa").unwrap_or_else(|_| Unit::dimensionless());
    let all = all.iter().map(|found| {
        let iterations = found.all.iter().filter_map(|own| {
            let numbers = own.numbers.as_ref().ok()?;
            Some(StressIteration {
                name: name(&study.loaded, own.analysis),
                allowable: pascal.show(numbers.allowable, 0.0),
                little: numbers.little,
                safety: numbers.safety,
                peak_safety: numbers.peak_safety,
                idle: numbers.idle_share,
                mass: numbers.mass.map(|mass| format!("{} kg", number::significant(mass, 3))).unwrap_or_default(),
                bins: bins(numbers).iter().map(|bin| (bin.from, bin.to, bin.share)).collect(),
            })
        });
        Stress {
            part: name(&study.loaded, part),
            needed: found.needed,
            caution: CAUTION.to_owned(),
            iterations: iterations.collect(),
        }
    });
    all.collect()
}

/// The alternatives of a decision, points against an amount of the car of which less is better: the first one, cost and
/// mass before others, that trades against the points, otherwise the first in which they differ. `None` if they differ in no
/// amount.
pub(crate) fn frontier(study: &Study, view: &View<'_>) -> Option<Frontier> {
    let amounts = view.values.amounts().iter().map(|name| &**name);
    let mut names: Vec<&str> = amounts.collect();
    names.sort_by_key(|name| FIRST.iter().position(|first| first == name).unwrap_or(FIRST.len()));
    let mut first: Option<Frontier> = None;
    for own in names.into_iter().filter_map(|name| against(study, view, name)).filter(Frontier::differs) {
        if own.frontier().len() > 1 {
            return Some(own);
        }
        first.get_or_insert(own);
    }
    first
}

/// The amounts that are tried first.
const FIRST: [&str; 2] = ["cost", "mass"];

/// The alternatives, points against one amount of the car.
fn against(study: &Study, view: &View<'_>, amount: &str) -> Option<Frontier> {
    let values = view.values;
    let node = values.named(&format!("{}.{amount}", schema::words::CAR))?;
    let unit = values.unit(node);
    let outcomes = view.compared.outcomes.iter().filter(|outcome| !outcome.sets_nothing);
    let alternatives = outcomes.map(|outcome| Alternative {
        name: Name::plain(outcome.title.clone().unwrap_or_else(|| outcome.name.clone())),
        across: unit.from_si(outcome.state.values[node]),
        up: outcome.points.map_or(f64::NAN, |(points, _)| points),
        interval: outcome.spread.as_ref().map(|spread| (spread.low, spread.high)),
        chosen: outcome.chosen,
    });
    Some(Frontier {
        title: study.loaded.record(view.index).name().to_owned(),
        across: Value { name: amount.to_owned(), of: " of the car", unit: unit.to_string(), more_is_better: false },
        up: Value { name: "points".to_owned(), of: "", unit: "pts".to_owned(), more_is_better: true },
        alternatives: alternatives.collect(),
    })
}
