//! How many derivatives by uncertain values a state may have: each value keeps one by every uncertain value below it, which is
//! quadratic in a long chain. A value that is over the limit is not calculated, so that none is shown as certain.

use super::network::{Network, Rule};
use crate::ids::NodeId;

/// What the derivatives of a state by its uncertain values may take.
#[derive(Clone, Copy, Debug)]
pub(super) struct Most {
    /// The largest number that all values keep together.
    pub(super) kept: usize,
    /// The largest number of terms that are added up for them.
    pub(super) terms: usize,
}

/// The limit of a state. A car of 10,000 parts, each with an uncertain mass, and 300 values that depend on all of them, needs 3
/// million.
pub(super) const MOST: Most = Most { kept: 8_000_000, terms: 50_000_000 };

impl Network {
    /// The values that have too many uncertain values below them, in the order of evaluation. What follows one of them is counted
    /// without it.
    pub(super) fn too_uncertain(&self, most: Most) -> Vec<NodeId> {
        if self.bound_fits(most) { Vec::new() } else { self.over(most) }
    }

    /// Whether the limit is kept even if no two inputs of a value depend on the same uncertain value: quick, and true for most
    /// projects.
    fn bound_fits(&self, most: Most) -> bool {
        let uncertain = self.order.iter().filter(|node| self.is_uncertain_leaf(**node)).count();
        let mut below = vec![0_usize; self.nodes.len()];
        let (mut kept, mut terms) = (0_usize, 0_usize);
        for &node in &self.order {
            let own = if self.is_uncertain_leaf(node) { 1 } else { self.terms(node, |input| below[input]) };
            terms = terms.saturating_add(own);
            below[node] = own.min(uncertain);
            kept = kept.saturating_add(below[node]);
        }
        kept <= most.kept && terms <= most.terms
    }

    fn over(&self, most: Most) -> Vec<NodeId> {
        let mut below: Vec<Box<[NodeId]>> = vec![Box::default(); self.nodes.len()];
        let mut seen: Vec<Option<NodeId>> = vec![None; self.nodes.len()];
        let mut absent = vec![false; self.nodes.len()];
        let (mut kept, mut terms, mut over) = (0_usize, 0_usize, Vec::new());
        for &node in &self.order {
            if self.is_uncertain_leaf(node) {
                below[node] = [node].into();
                kept += 1;
                continue;
            }
            let value = &self.nodes[node];
            let own = self.terms(node, |input| below[input].len());
            // Totals skip what is not calculated; other values are not calculated either.
            if !matches!(value.rule, Rule::Total(_)) && value.inputs.iter().any(|input| absent[*input]) {
                absent[node] = true;
                continue;
            }
            if own == 0 {
                continue;
            }
            if terms.saturating_add(own) > most.terms {
                over.push(node);
                absent[node] = true;
                continue;
            }
            terms += own;
            let mut all = Vec::new();
            for &input in &self.nodes[node].inputs {
                for &leaf in &below[input] {
                    if seen[leaf].replace(node) != Some(node) {
                        all.push(leaf);
                    }
                }
            }
            if kept + all.len() > most.kept {
                over.push(node);
                absent[node] = true;
                continue;
            }
            kept += all.len();
            below[node] = all.into();
        }
        over
    }

    fn is_uncertain_leaf(&self, node: NodeId) -> bool {
        let value = &self.nodes[node];
        value.inputs.is_empty() && value.uncertainty > 0.0
    }

    fn terms(&self, node: NodeId, below: impl Fn(NodeId) -> usize) -> usize {
        let value = &self.nodes[node];
        match value.rule {
            Rule::Given(_) | Rule::None => 0,
            Rule::Formula(_) | Rule::Total(_) | Rule::Chance | Rule::Model { .. } | Rule::Replaced(..) => {
                value.inputs.iter().map(|input| below(*input)).fold(0, usize::saturating_add)
            }
        }
    }
}
