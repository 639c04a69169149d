//! What a result has of an event or a goal: the values driven, the best of the others, and the place. It is checked here;
//! the values driven are results of targets, too.

use schema::records::{Event, TestResult};
use schema::{Id, Quantity};

use super::builder::{Builder, Field};
use crate::graph::target_read;
use crate::ids::{NodeId, RecordId};
use crate::values::Key;
use crate::values::names::{MOST_COMPARED, any_of};
use crate::values::network::Rule;
use crate::values::problems::ValueProblemKind;

impl Builder<'_> {
    /// The field of a result that gives the value of a target: its `value`, or what was driven at the contest.
    pub(super) fn field_of_result(&self, target: RecordId, result: RecordId) -> Field {
        match self.graph.driven(target).into_iter().rfind(|driven| driven.result == result) {
            Some(driven) => Field::new(result, &["reads", driven.name.as_str()]),
            None => Field::new(result, &["value"]),
        }
    }

    /// Reports what does not belong to the subject of a result: names that the event does not have, other dimensions, a
    /// place of what is not a goal.
    pub(super) fn report_driven(&mut self) {
        let loaded = &*self.graph.loaded;
        for (index, _, result) in loaded.results() {
            let Some(of) = result.of.as_ref().and_then(|of| loaded.find(of.as_str())) else { continue };
            self.report_wrong_keys(index, of, result);
            let Some(event) = loaded.event(of) else { continue };
            let is_driven = |name: &Id| target_read(loaded, event, name.as_str()).is_some();
            for (name, value) in result.reads.iter() {
                // The dimension of a target is compared when its value is set.
                self.report_name(index, (of, event), &["reads", name.as_str()], name, value, !is_driven(name));
            }
            for (name, value) in result.best.iter().flat_map(|best| best.0.iter()) {
                let long = ["best", name.as_str()];
                let route = if name.as_str() == "best" { &long[..1] } else { &long[..] };
                self.report_name(index, (of, event), route, name, value, true);
            }
        }
        self.report_two_driven();
    }

    /// Reports keys that belong to another kind of subject.
    fn report_wrong_keys(&mut self, index: RecordId, of: RecordId, result: &TestResult) {
        let record = self.graph.loaded.record(of);
        let (id, kind) = (&record.id, record.kind());
        let (is_event, is_goal) = (self.graph.loaded.event(of).is_some(), self.graph.loaded.goal(of).is_some());
        let keys = [
            ("reads", !result.reads.is_empty() && !is_event, "an event"),
            ("best", result.best.is_some() && !is_event, "an event"),
            ("place", result.place.is_some() && !is_goal, "a goal"),
        ];
        for (key, _, expected) in keys.into_iter().filter(|(_, is_wrong, _)| *is_wrong) {
            let message = format!("`{key}` belongs to the result of {expected}, and {id} is {}", kind.with_article());
            let help = format!("remove `{key}`, or correct `of`");
            self.report(ValueProblemKind::Bad, &Field::new(index, &[key]), 0, message, help);
        }
        let other = if result.value.is_some() { Some("value") } else { result.outcome.map(|_| "outcome") };
        if let Some(key) = other.filter(|_| is_goal) {
            let message = format!("the result of a goal has no `{key}`: its points are those of the events");
            self.report(
                ValueProblemKind::Bad,
                &Field::new(index, &[key]),
                0,
                message,
                "use `place: 7`, the place reached",
            );
        }
    }

    fn report_name(
        &mut self,
        index: RecordId,
        (of, event): (RecordId, &Event),
        route: &[&str],
        name: &Id,
        value: &Quantity,
        has_own_dimension: bool,
    ) {
        let field = Field::new(index, route);
        let Some(&node) = self.by_key.get(&Key::Local(of, name.as_str().into())) else {
            let given = event.score.iter().flat_map(|score| score.given.keys());
            // One more than are compared, so that a list shows that it is not complete.
            let names: Vec<&str> = match route.first() {
                Some(&"reads") => event.reads.keys().map(Id::as_str).take(MOST_COMPARED + 1).collect(),
                _ => given.map(Id::as_str).take(MOST_COMPARED + 1).collect(),
            };
            let event = &self.graph.loaded.record(of).id;
            let otherwise = match names[..] {
                [] => format!("{event} has no such names"),
                _ => format!("the names of {event} are {}", any_of(names.iter().copied())),
            };
            let help = self.suggestions.did_you_mean(name.as_str(), names, &otherwise);
            let message = format!("the score of {event} has no `{name}`");
            self.report(ValueProblemKind::Reference, &field, 0, message, help);
            return;
        };
        let (found, required) = (self.in_currency(value).0.dimension(), self.network.nodes[node].dimension);
        let is_known = self.has_value(node);
        if has_own_dimension && is_known && found != required {
            self.report_mismatch(&field, node, found, required);
        }
    }

    fn has_value(&self, node: NodeId) -> bool {
        !matches!(self.network.nodes[node].rule, Rule::None)
    }

    /// Reports two values of one target that were driven on the same date, and differ.
    fn report_two_driven(&mut self) {
        let graph = self.graph;
        for (target, ..) in graph.loaded.targets().filter(|(target, ..)| graph.is_driven(*target)) {
            let mut driven = graph.driven(target);
            let Some(used) = driven.pop() else { continue };
            for other in driven {
                if other.date == used.date && !other.value.same_value(used.value) {
                    let id = &graph.loaded.record(used.result).id;
                    let message = format!("result {id} has another value on the same date and is used instead");
                    let field = Field::new(other.result, &["reads", other.name.as_str()]);
                    let help = "use the same value in both results, or correct a date";
                    self.report(ValueProblemKind::Twice, &field, 0, message, help);
                }
            }
        }
    }
}
