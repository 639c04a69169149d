//! Times of events that are not above zero: no car can drive them.

use foldhash::{HashSet, HashSetExt as _};
use schema::Quantity;
use schema::formula::Formula;
use schema::quantity::Unit;
use schema::records::Event;

use super::builder::{Builder, Field};
use crate::ids::{NodeId, RecordId};
use crate::sheets;
use crate::values::problems::ValueProblemKind;
use crate::values::{Key, Origin, Rule, State};

impl Builder<'_> {
    /// Reports times of zero or less that an event reads, at the key that gives them. The event has no points.
    pub(super) fn report_impossible_times(&mut self, state: &mut State) {
        let loaded = &*self.graph.loaded;
        let mut reported = HashSet::new();
        let mut cleared = Vec::new();
        for (index, record, event) in loaded.events() {
            for (node, name, route) in self.times(index, event, state) {
                let value = &self.network.nodes[node];
                let shown = value.unit.show(state.values[node], 0.0);
                let own = Field::new(index, &route);
                let given = self.giver(node);
                let message = match &given {
                    Some((target, _)) => {
                        format!("{} is {shown}, and event {} reads it as `{name}`", self.id_of(*target), record.id)
                    }
                    None => format!("`{name}` is {shown}"),
                };
                let field = given.map_or(own, |(_, field)| field);
                cleared.push(node);
                if reported.insert((field.record, field.route.to_vec())) {
                    let message = format!("{message}: a time must be above zero");
                    self.report(ValueProblemKind::Bad, &field, 0, message, "correct the time");
                }
            }
        }
        for &node in &cleared {
            self.network.nodes[node].rule = Rule::None;
        }
        if !cleared.is_empty() {
            self.network.update(state, &cleared);
        }
    }

    fn id_of(&self, index: RecordId) -> &str {
        self.graph.loaded.record(index).id.as_str()
    }

    /// The times that an event reads and that are not above zero: node, name and route.
    fn times<'e>(&self, index: RecordId, event: &'e Event, state: &State) -> Vec<(NodeId, &'e str, [&'e str; 2])> {
        let sheet = event.score.as_ref().and_then(|score| sheets::find(score.r#use.as_deref()?));
        let second = Unit::parse("s").ok().map(|second| second.dimension());
        let is_none = |name: &str| event.reads_none(name);
        let texts = event.reads.iter().filter(|(name, _)| !is_none(name.as_str()));
        let mut found = Vec::new();
        for (name, text) in texts {
            let name = name.as_str();
            let Some(&node) = self.by_key.get(&Key::Local(index, name.into())) else { continue };
            let value = state.values[node];
            if Some(self.network.nodes[node].dimension) != second || value.is_nan() || value > 0.0 {
                continue;
            }
            let is_time = match sheet.and_then(|sheet| sheet.input(name)) {
                // A penalty can be zero.
                Some(input) => {
                    let default = input.default.as_ref().and_then(|default| Quantity::parse(default.text()).ok());
                    value < 0.0 || default.is_none_or(|default| default.si() != 0.0)
                }
                // A difference, or a penalty, has another name.
                None => name.contains("time") || text.text().trim().ends_with("time"),
            };
            if is_time {
                found.push((node, name, ["reads", name]));
            }
        }
        found
    }

    /// The target that a node names, and its key with the value.
    fn giver(&self, node: NodeId) -> Option<(RecordId, Field)> {
        let value = &self.network.nodes[node];
        let Rule::Formula(formula) = &value.rule else { return None };
        Formula::only_name(formula)?;
        let Key::Record(target) = *self.keys.get(value.inputs.first()?.index())? else { return None };
        let field = match self.origins.get(&target)? {
            Origin::Result(result) => self.field_of_result(target, *result),
            Origin::Estimate => Field::new(target, &["estimate"]),
            Origin::Formula => Field::new(target, &["formula"]),
            Origin::Analysis(_) | Origin::Total | Origin::Score | Origin::Events | Origin::None => return None,
        };
        Some((target, field))
    }
}
