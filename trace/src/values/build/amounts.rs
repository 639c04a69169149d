//! The amounts of parts, and their totals through systems to the car.

use std::sync::Arc;

use foldhash::{HashMap, HashMapExt as _};
use schema::quantity::{Dimension, Unit};
use schema::records::{Amount, Part};
use schema::words::CAR;
use schema::{Quantity, Settings};

use super::builder::{Builder, Field};
use crate::ids::{NodeId, RecordId};
use crate::values::network::Rule;
use crate::values::problems::ValueProblemKind;
use crate::values::{Key, MeasuredTotal};

/// The parts of a system (of the car for `None`) that have an amount, each with its factor: count and growth.
type Members = HashMap<(Option<RecordId>, u16), Vec<(NodeId, f64)>>;

/// The largest number of different amounts, where there are few systems.
const MOST_NAMES: usize = 1000;
/// The largest number of totals: of each amount one for each system, and one for the car.
const MOST_TOTALS: usize = 1_000_000;
/// So many different amounts are added up whatever the number of systems.
const FEWEST_NAMES: usize = 10;

impl Builder<'_> {
    pub(super) fn amounts(&mut self) {
        let loaded = &*self.graph.loaded;
        let mut members = Members::new();
        // The dimension of each amount is that of the first part; money is in the team's currency.
        let team = loaded.settings().currency.as_deref().and_then(|code| Unit::parse(code).ok());
        let team = team.filter(Unit::is_currency);
        let mut dimensions: Vec<Dimension> = Vec::new();
        let most = (MOST_TOTALS / (loaded.systems().count() + 1)).clamp(FEWEST_NAMES, MOST_NAMES);
        let mut is_over = false;
        for (index, _, part) in loaded.parts() {
            let system = part.r#in.as_ref().and_then(|id| loaded.find(id.as_str()));
            for (name, amount) in part.amounts.iter() {
                // What could not be read is reported, and is no amount.
                let Some(quantity) = amount.value.quantity() else { continue };
                let Some(number) = self.add_amount(name.as_str(), most) else {
                    if !std::mem::replace(&mut is_over, true) {
                        let field = Field::new(index, &["amounts", name.as_str()]);
                        let message = format!(
                            "the records have more than {most} different amounts; this one and further ones are not added up"
                        );
                        let help =
                            "give the same amounts of all parts one name, as in `mass`: see Limits in SECURITY.md";
                        self.report(ValueProblemKind::Bad, &field, 0, message, help);
                    }
                    continue;
                };
                let field = Field { record: index, route: Arc::clone(&self.amount_routes[usize::from(number)]) };
                let mut unit = self.in_currency(quantity).0;
                let known = dimensions.get(usize::from(number)).copied();
                let foreign = team.clone().filter(|team| unit.is_currency() && unit != *team);
                let required = known.or_else(|| foreign.as_ref().map(Unit::dimension));
                let node = self.add(Key::Part(index, number), field.clone(), required);
                if unit.has_own_zero() {
                    let message = format!("`{quantity}` is a temperature with its own zero: amounts are added up");
                    self.report(ValueProblemKind::Unit, &field, 0, message, "use K, or a target in place of an amount");
                } else {
                    self.set_quantity(node, quantity, &field);
                }
                if let (None, Some(team)) = (known, foreign) {
                    unit = team;
                }
                self.network.nodes[node].unit = unit;
                if known.is_none() {
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

    /// The number of an amount, which is new if no part before had it; `None` if there are too many.
    fn add_amount(&mut self, name: &str, most: usize) -> Option<u16> {
        self.find_amount(name).or_else(|| {
            let number = Some(self.amounts.len()).filter(|number| *number < most)?;
            self.amounts.push(name.into());
            self.amount_numbers.insert(name.into(), number as u16);
            self.amount_routes.push(Arc::from(["amounts".to_owned(), name.to_owned()]));
            Some(number as u16)
        })
    }

    /// How often a part counts, with its growth allowance.
    fn factor(&self, part: &Part, name: &str, amount: &Amount) -> f64 {
        f64::from(part.count.unwrap_or(1)) * (1.0 + growth(self.graph.loaded.settings(), name, amount))
    }

    /// Finds the totals that were measured: the target of each subject with the latest result. What it has more than the
    /// parts is a node that is added to every total above.
    fn measure_totals(&mut self) {
        let loaded = &*self.graph.loaded;
        for (index, _, target) in loaded.targets() {
            let (Some(amount), Some(of), None) = (&target.total, &target.of, &target.formula) else { continue };
            let Some(number) = self.find_amount(amount.as_str()) else { continue };
            let subject = if of.as_str() == CAR { None } else { loaded.find(of.as_str()) };
            if subject.is_none() && of.as_str() != CAR {
                continue;
            }
            let part = subject.and_then(|subject| loaded.part(subject).map(|part| (subject, part)));
            let (key, factor) = match part {
                Some((index, part)) => {
                    let own = part.amounts.get(amount.as_str()).map(|own| self.factor(part, amount.as_str(), own));
                    (Key::Part(index, number), own.unwrap_or(1.0))
                }
                None => (Key::Group(subject, number), 1.0),
            };
            let (node, parts) = (self.by_key[&Key::Record(index)], self.by_key.get(&key).copied());
            let Some((parts, (result, value))) = parts.zip(self.latest_result(index)) else { continue };
            let dimension = self.network.nodes[parts].dimension;
            if self.in_currency(&value).0.dimension() != dimension || self.required[node] != Some(dimension) {
                continue;
            }
            let date = loaded.result(result).and_then(|result| result.date);
            let own = MeasuredTotal { target: node, parts, factor, subject, amount: number, date };
            let next = self.measured_totals.len();
            match *self.measured_by_parts.entry(parts).or_insert(next) {
                at if at == next => self.measured_totals.push(own),
                at if self.measured_totals[at].date < date => self.measured_totals[at] = own,
                _ => {}
            }
        }
    }

    /// The node for what a measured total has more than its parts.
    fn not_in_parts(&mut self, total: &MeasuredTotal) -> NodeId {
        let dimension = self.network.nodes[total.parts].dimension;
        let Key::Record(record) = self.keys[total.target] else { return total.target };
        let node = self.add(Key::NotInParts(record), Field::new(record, &["total"]), Some(dimension));
        self.network.nodes[node].unit = self.network.nodes[total.parts].unit.clone();
        self.network.nodes[node].inputs = vec![total.target, total.parts];
        self.network.nodes[node].rule = Rule::Total(vec![1.0, -total.factor]);
        node
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
        let numbers: Vec<u16> = (0..self.amounts.len() as u16).collect();
        for &number in &numbers {
            let first = members.get(&(None, number)).and_then(|all| all.first()).map(|(node, _)| *node);
            let Some(first) = first else { continue };
            let (dimension, unit) = (self.network.nodes[first].dimension, self.network.nodes[first].unit.clone());
            for group in groups() {
                let field = Field::new(group.unwrap_or(RecordId::new(0)), &[]);
                let node = self.add(Key::Group(group, number), field, Some(dimension));
                self.network.nodes[node].unit = unit.clone();
            }
        }
        self.measure_totals();
        for total in self.measured_totals.clone() {
            let Some(subject) = total.subject else { continue };
            let node = self.not_in_parts(&total);
            let around = loaded.record(subject).about().and_then(|id| loaded.find(id.as_str()));
            // Each total above has the parts in it, directly or through the totals of systems: what is not in the parts
            // is added where the measured subject is. The car has it once.
            for group in [None].into_iter().chain(around.map(Some)) {
                members.entry((group, total.amount)).or_default().push((node, 1.0));
            }
        }
        for number in numbers.into_iter().filter(|number| self.by_key.contains_key(&Key::Group(None, *number))) {
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
