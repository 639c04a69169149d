//! The order of evaluation: sorts the nodes, reports cycles, and calculates the dimensions of formulas.

use petgraph::algo::kosaraju_scc;
use petgraph::graph::{DiGraph, NodeIndex};
use schema::quantity::Unit;

use super::builder::Builder;
use crate::graph::shortest_cycle;
use crate::ids::NodeId;
use crate::values::Key;
use crate::values::network::Rule;
use crate::values::problems::ValueProblemKind;
use crate::values::uncertain_work::MOST;

impl Builder<'_> {
    /// Sorts the nodes so that each comes after its inputs. Nodes of a cycle lose their rules.
    pub(super) fn sort(&mut self) {
        let count = self.network.nodes.len();
        let mut links: DiGraph<(), (), u32> = DiGraph::with_capacity(count, count * 2);
        for _ in 0..count {
            links.add_node(());
        }
        for (node, value) in self.network.nodes.iter().enumerate() {
            for input in &value.inputs {
                links.add_edge(NodeIndex::new(node), NodeIndex::new(input.index()), ());
            }
        }
        // The components come with inputs before the nodes that read them, which is the order of evaluation. (Tarjan's
        // algorithm in petgraph is recursive: a long chain would overflow the stack.)
        let mut order = Vec::with_capacity(count);
        let mut cyclic: Vec<Vec<NodeId>> = Vec::new();
        for component in kosaraju_scc(&links) {
            let members: Vec<NodeId> = component.iter().map(|index| NodeId::new(index.index())).collect();
            let is_cyclic = members.len() > 1 || self.network.nodes[members[0]].inputs.contains(&members[0]);
            order.extend(members.iter().copied());
            if is_cyclic {
                cyclic.push(members);
            }
        }
        for mut component in cyclic {
            component.sort_unstable();
            self.report_cycle(&component);
            self.cyclic.extend(&component);
            for node in component {
                self.clear(node);
            }
        }
        self.dimensions(&order);
        self.network.order = order;
    }

    /// Reports values that depend on too many uncertain values; they lose their rules.
    pub(super) fn report_too_uncertain(&mut self) {
        for node in self.network.too_uncertain(MOST) {
            let name = self.keys[node].name(&self.graph.loaded, &self.amounts);
            let message =
                format!("{name} is not calculated: the values of the project depend on too many uncertain values");
            let help = "remove the uncertainties that matter least, or give one of the values that it depends on an estimate; see \
                        Limits in SECURITY.md";
            self.report(ValueProblemKind::Bad, &self.fields[node].clone(), 0, message, help);
            // It keeps its inputs: they show what it would depend on.
            self.network.nodes[node].rule = Rule::None;
        }
    }

    /// Reports a strongly connected component (sorted) by the shortest cycle through its first node.
    fn report_cycle(&mut self, component: &[NodeId]) {
        let Some(&start) = component.first() else { return };
        let inputs = |node: NodeId| self.network.nodes[node].inputs.iter().copied();
        let inside = |node: NodeId| inputs(node).filter(|next| component.binary_search(next).is_ok());
        let mut cycle = shortest_cycle(start, inside).unwrap_or_else(|| vec![start]);
        cycle.push(start);
        let name = |node: &NodeId| self.keys[*node].name(&self.graph.loaded, &self.amounts);
        let names: Vec<String> = cycle.iter().map(name).collect();
        let field = self.fields[start].clone();
        let message = format!("the value depends on itself: {}", names.join(" ← "));
        let help = "give one of these values another source, for example an estimate";
        self.report(ValueProblemKind::Cycle, &field, 0, message, help);
    }

    /// The dimension of each formula; one that does not match is reported and loses its rule.
    fn dimensions(&mut self, order: &[NodeId]) {
        // A value that is missing, and whose dimension is not required, gives no dimension to what reads it.
        let mut unknown = vec![false; self.network.nodes.len()];
        for &node in order {
            let has_dimension = match &self.network.nodes[node].rule {
                Rule::Given(_) | Rule::Replaced(..) | Rule::Total(_) | Rule::Chance | Rule::Model { .. } => true,
                Rule::None => false,
                Rule::Formula(_) => {
                    let reads_unknown = self.network.nodes[node].inputs.iter().any(|input| unknown[*input]);
                    let fits = !reads_unknown && self.dimension_of_formula(node);
                    if !fits {
                        // It keeps its inputs: they show what it would depend on.
                        self.network.nodes[node].rule = Rule::None;
                    }
                    fits
                }
            };
            unknown[node] = !has_dimension && self.required[node].is_none();
        }
    }

    /// Sets the dimension of a formula, and its unit unless that is required. Reports a mismatch and returns `false`.
    fn dimension_of_formula(&mut self, node: NodeId) -> bool {
        let value = &self.network.nodes[node];
        let Rule::Formula(formula) = &value.rule else { return true };
        let inputs: Vec<_> = value.inputs.iter().map(|input| self.kind(*input)).collect();
        let (required, field) = (self.required[node], self.fields[node].clone());
        let named = value.inputs.first().copied().filter(|_| formula.only_name().is_some());
        let kind = match formula.kind(&inputs) {
            Ok(found) => found,
            Err(error) => {
                self.report_formula_error(&field, error);
                return false;
            }
        };
        let found = kind.dimension;
        if let Some(required) = required.filter(|required| *required != found) {
            self.report_mismatch(&field, node, found, required);
            return false;
        }
        if !self.fits_scale(node, kind, named, &field) {
            return false;
        }
        self.scales[node] = kind.scale;
        // A formula that is only a name is shown in the unit of that value.
        let unit = named.map_or_else(|| Unit::si(found), |input| self.network.nodes[input].unit.clone());
        // A name of a record, for example an input of a score sheet, keeps the unit of the value that it is for.
        let is_alias = named.is_some() && matches!(self.keys[node], Key::Local(..));
        let own = &mut self.network.nodes[node];
        own.dimension = found;
        if required.is_none() || is_alias {
            own.unit = unit;
        }
        true
    }
}
