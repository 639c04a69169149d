//! The amounts of parts, and their totals through systems to the car.

use std::sync::Arc;

use foldhash::{HashMap, HashMapExt as _};
use schema::quantity::Dimension;
use schema::records::{Amount, Part};
use schema::{Quantity, Settings};

use super::builder::{Builder, Field};
use crate::ids::{NodeId, RecordId};
use crate::values::Key;
use crate::values::network::Rule;
use crate::values::problems::ValueProblemKind;

/// The parts of a system (of the car for `None`) that have an amount, each with its factor: count and growth.
type Members = HashMap<(Option<RecordId>, u16), Vec<(NodeId, f64)>>;

impl Builder<'_> {
    pub(super) fn amounts(&mut self) {
        let loaded = &*self.graph.loaded;
        let mut members = Members::new();
        // The dimension of each amount is that of the first part.
        let mut dimensions: Vec<Dimension> = Vec::new();
        for (index, _, part) in loaded.parts() {
            let system = part.r#in.as_ref().and_then(|id| loaded.find(id.as_str()));
            for (name, amount) in part.amounts.iter() {
                let number = self.add_amount(name.as_str());
                let field = Field { record: index, route: Arc::clone(&self.amount_routes[usize::from(number)]) };
                let required = dimensions.get(usize::from(number)).copied();
                let node = self.add(Key::Part(index, number), field.clone(), required);
                let unit = self.in_currency(&amount.value).0;
                if unit.has_own_zero() {
                    let message =
                        format!("`{}` is a temperature with its own zero: amounts are added up", amount.value);
                    self.report(ValueProblemKind::Unit, &field, 0, message, "use K, or a target in place of an amount");
                } else {
                    self.set_quantity(node, &amount.value, &field);
                }
                self.network.nodes[node].unit = unit;
                if required.is_none() {
                    dimensions.push(self.network.nodes[node].dimension);
                }
                let factor = self.factor(part, name.as_str(), amount);
                members.entry((None, number)).or_default().push((node, factor));
                if let Some(system) = system {
                    members.entry((Some(system), number)).or_default().push((node, factor));
                }
            }
        }
        self.totals_of_groups(members);
    }

    /// The number of an amount, which is new if no part before had it.
    fn add_amount(&mut self, name: &str) -> u16 {
        self.find_amount(name).unwrap_or_else(|| {
            self.amounts.push(name.into());
            self.amount_routes.push(Arc::from(["amounts".to_owned(), name.to_owned()]));
            (self.amounts.len() - 1) as u16
        })
    }

    /// How often a part counts, with its growth allowance.
    fn factor(&self, part: &Part, name: &str, amount: &Amount) -> f64 {
        f64::from(part.count.unwrap_or(1)) * (1.0 + growth(self.graph.loaded.settings(), name, amount))
    }

    /// One total per amount for the car and for each system.
    fn totals_of_groups(&mut self, mut members: Members) {
        let loaded = &*self.graph.loaded;
        let systems: Vec<RecordId> = loaded.systems().map(|(system, ..)| system).collect();
        let mut within: HashMap<RecordId, Vec<RecordId>> = HashMap::new();
        for &inner in &systems {
            if let Some(outer) = loaded.record(inner).about().and_then(|id| loaded.find(id.as_str())) {
                within.entry(outer).or_default().push(inner);
            }
        }
        let groups = || std::iter::once(None).chain(systems.iter().copied().map(Some));
        for number in 0..self.amounts.len() as u16 {
            let first = members.get(&(None, number)).and_then(|all| all.first()).map(|(node, _)| *node);
            let Some(first) = first else { continue };
            let (dimension, unit) = (self.network.nodes[first].dimension, self.network.nodes[first].unit.clone());
            for group in groups() {
                let field = Field::new(group.unwrap_or(RecordId::new(0)), &[]);
                let node = self.add(Key::Group(group, number), field, Some(dimension));
                self.network.nodes[node].unit = unit.clone();
            }
            for group in groups() {
                let mut all = members.remove(&(group, number)).unwrap_or_default();
                // A system also contains what the systems in it contain. The car already has each part once.
                for &inner in group.and_then(|outer| within.get(&outer)).into_iter().flatten() {
                    all.push((self.by_key[&Key::Group(Some(inner), number)], 1.0));
                }
                let node = self.by_key[&Key::Group(group, number)];
                self.network.nodes[node].inputs = all.iter().map(|(node, _)| *node).collect();
                self.network.nodes[node].rule = Rule::Total(all.into_iter().map(|(_, factor)| factor).collect());
            }
        }
    }
}

/// The growth allowance of an amount, as a share of it.
pub(crate) fn growth(settings: &Settings, name: &str, amount: &Amount) -> f64 {
    let growth = settings.growth.get(name).and_then(|bases| match &amount.basis {
        Some(basis) => bases.get(basis.as_str()),
        None => bases.iter().next().map(|(_, growth)| growth),
    });
    growth.map_or(0.0, Quantity::si)
}
