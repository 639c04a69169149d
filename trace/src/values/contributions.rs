//! What a total is made of.

use foldhash::{HashMap, HashSet};

use super::network::Rule;
use super::{Key, Values};
use crate::ids::{NodeId, RecordId};

/// What a part adds to a total, with its count and its growth allowance.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Contribution {
    /// The part.
    pub part: RecordId,
    /// What it adds, in SI.
    pub value: f64,
}

impl Values {
    /// The total of an amount of a record: of a system, or of the car for `None`.
    pub fn total_of(&self, subject: Option<RecordId>, amount: &str) -> Option<NodeId> {
        self.node(&Key::Group(subject, self.amount(amount)?))
    }

    /// What each part adds to a total, also through the systems in it, the largest first.
    pub fn contributions(&self, total: NodeId) -> Vec<Contribution> {
        let mut all: Vec<Contribution> = Vec::new();
        let mut groups = vec![total];
        let mut seen: HashSet<NodeId> = HashSet::from_iter([total]);
        while let Some(group) = groups.pop() {
            let node = &self.network.nodes[group];
            let Rule::Total(factors) = &node.rule else { continue };
            for (input, factor) in node.inputs.iter().zip(factors) {
                match self.keys[*input] {
                    Key::Part(part, _) => {
                        all.extend(self.value(*input).map(|value| Contribution { part, value: value * factor }));
                    }
                    Key::Group(..) if seen.insert(*input) => groups.push(*input),
                    Key::Record(_) | Key::Group(..) | Key::Local(..) | Key::NotInParts(_) => {}
                }
            }
        }
        all.retain(|own| own.value != 0.0);
        all.sort_by(|a, b| b.value.total_cmp(&a.value).then(a.part.cmp(&b.part)));
        all
    }

    /// What all pieces of a part have of an amount, with its growth allowance, in SI.
    pub fn all_pieces(&self, part: RecordId, amount: &str) -> Option<f64> {
        let own = self.node(&Key::Part(part, self.amount(amount)?))?;
        Some(self.value(own)? * self.factors_in_car().get(&own)?)
    }

    /// By how much each amount of a part is multiplied in the totals of the car.
    fn factors_in_car(&self) -> &HashMap<NodeId, f64> {
        self.factors_in_car.get_or_init(|| {
            let mut all = HashMap::default();
            for car in self.amounts.iter().filter_map(|amount| self.total_of(None, amount)) {
                let car = &self.network.nodes[car];
                if let Rule::Total(factors) = &car.rule {
                    for (input, factor) in car.inputs.iter().zip(factors) {
                        all.entry(*input).or_insert(*factor);
                    }
                }
            }
            all
        })
    }
}
