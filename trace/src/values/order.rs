//! Sorts the nodes for evaluation, reports cycles with their way, and settles the dimensions of formulas.

use petgraph::algo::kosaraju_scc;
use petgraph::graph::{DiGraph, NodeIndex};

use super::Key;
use super::build::Builder;
use super::network::Rule;
use super::problems::ValueProblemKind;
use crate::graph::shortest_cycle;
use crate::ids::{NodeId, RecordId};

pub(super) fn sort(builder: &mut Builder<'_>) {
    let count = builder.network.nodes.len();
    let mut links: DiGraph<(), (), u32> = DiGraph::with_capacity(count, count * 2);
    for _ in 0..count {
        links.add_node(());
    }
    for (node, value) in builder.network.nodes.iter().enumerate() {
        for input in &value.inputs {
            links.add_edge(NodeIndex::new(node), NodeIndex::new(input.index()), ());
        }
    }
    // What is read comes before what reads it: the order of evaluation. (Tarjan's way, as petgraph has it, recurses: a
    // long chain would overflow the stack.)
    let mut order = Vec::with_capacity(count);
    let mut knots: Vec<Vec<NodeId>> = Vec::new();
    for knot in kosaraju_scc(&links) {
        let members: Vec<NodeId> = knot.iter().map(|index| NodeId::new(index.index())).collect();
        let turns = members.len() > 1 || builder.network.nodes[members[0]].inputs.contains(&members[0]);
        order.extend(members.iter().copied());
        if turns {
            knots.push(members);
        }
    }
    for mut knot in knots {
        knot.sort_unstable();
        report_cycle(builder, &knot);
        for node in knot {
            builder.network.nodes[node].rule = Rule::None;
            builder.network.nodes[node].inputs.clear();
        }
    }
    dimensions(builder, &order);
    builder.network.order = order;
}

fn name(builder: &Builder<'_>, node: NodeId) -> String {
    let id = |index: RecordId| builder.graph.loaded.record(index).id.to_string();
    match &builder.keys[node] {
        Key::Record(index) => id(*index),
        Key::Part(index, amount) | Key::Group(Some(index), amount) => {
            format!("{}.{}", id(*index), builder.amounts[usize::from(*amount)])
        }
        Key::Group(None, amount) => format!("car.{}", builder.amounts[usize::from(*amount)]),
        Key::Local(index, name) => format!("{name} of {}", id(*index)),
    }
}

/// Reports a knot by the shortest way from its first node back to it.
fn report_cycle(builder: &mut Builder<'_>, knot: &[NodeId]) {
    let Some(&start) = knot.first() else { return };
    let inputs = |node: NodeId| builder.network.nodes[node].inputs.iter().copied();
    let inside = |node: NodeId| inputs(node).filter(|next| knot.binary_search(next).is_ok());
    let mut way = shortest_cycle(start, inside).unwrap_or_else(|| vec![start]);
    way.push(start);
    let names: Vec<String> = way.iter().map(|node| name(builder, *node)).collect();
    let place = builder.places[start].clone();
    let message = format!("the value needs itself: {}", names.join(" ← "));
    builder.report(ValueProblemKind::Cycle, &place, 0, message, "give one of them another source, as an estimate");
}

fn dimensions(builder: &mut Builder<'_>, order: &[NodeId]) {
    // A value that has none, and whose dimension nobody said, says nothing about what reads it.
    let mut unknown = vec![false; builder.network.nodes.len()];
    for &node in order {
        let value = &builder.network.nodes[node];
        match &value.rule {
            Rule::Formula(formula) => {
                if value.inputs.iter().any(|input| unknown[*input]) {
                    unknown[node] = builder.wanted[node].is_none();
                    builder.network.nodes[node].rule = Rule::None;
                    builder.network.nodes[node].inputs.clear();
                    continue;
                }
                let given: Vec<_> = value.inputs.iter().map(|input| builder.network.nodes[*input].dimension).collect();
                let place = builder.places[node].clone();
                let only_name = formula.only_name().is_some();
                match (formula.dimension(&given), builder.wanted[node]) {
                    (Ok(found), wanted) if wanted.is_none_or(|wanted| wanted == found) => {
                        let input = value.inputs.first().copied();
                        let own = &mut builder.network.nodes[node];
                        own.dimension = found;
                        if wanted.is_none() {
                            own.unit = schema::quantity::Unit::si(found);
                        }
                        if let (true, None, Some(input)) = (only_name, wanted, input) {
                            let unit = builder.network.nodes[input].unit.clone();
                            builder.network.nodes[node].unit = unit;
                        }
                        continue;
                    }
                    (Ok(found), Some(wanted)) => builder.mismatch(&place, 0, found, wanted),
                    (Ok(_), None) => {}
                    (Err(error), _) => builder.formula_error(&place, error),
                }
                unknown[node] = builder.wanted[node].is_none();
                builder.network.nodes[node].rule = Rule::None;
                builder.network.nodes[node].inputs.clear();
            }
            Rule::None => unknown[node] = builder.wanted[node].is_none(),
            Rule::Given(_) | Rule::Held(..) | Rule::Total(_) | Rule::Model { .. } => {}
        }
    }
}
