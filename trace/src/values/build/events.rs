//! The rules of events and goals: scores, expected points, results, and the sum of the events.

use std::sync::Arc;

use schema::formula::Formula;
use schema::quantity::Dimension;
use schema::records::{Body, Event};
use schema::sheet::{MOST, NO_FINISH};

use super::builder::{Builder, Field, OF_SHEET};
use crate::ids::{NodeId, RecordId};
use crate::values::network::Rule;
use crate::values::{ADDED, CHANCE, EXPECTED, GAIN, Key, Origin, SCORE};

impl Builder<'_> {
    pub(super) fn events_and_goals(&mut self) {
        let loaded = &*self.graph.loaded;
        for (index, record) in loaded.records() {
            match &record.body {
                Body::Event(event) => self.event(index, event),
                Body::Goal(_) => {
                    let events = self.graph.children(index).filter(|child| loaded.event(*child).is_some());
                    let mut inputs: Vec<NodeId> = events.map(|event| self.by_key[&Key::Record(event)]).collect();
                    inputs.sort_unstable();
                    let node = self.by_key[&Key::Record(index)];
                    self.network.nodes[node].rule = Rule::Total(vec![1.0; inputs.len()]);
                    self.network.nodes[node].inputs = inputs;
                    self.origins.insert(index, Origin::Events);
                }
                Body::System(_)
                | Body::Target(_)
                | Body::Requirement(_)
                | Body::Part(_)
                | Body::Analysis(_)
                | Body::Decision(_)
                | Body::Result(_)
                | Body::Revision(_)
                | Body::Waiver(_) => {}
            }
        }
    }

    fn event(&mut self, index: RecordId, event: &Event) {
        let event_node = self.by_key[&Key::Record(index)];
        self.define_reads(index, event);
        let field = |route: &[&str]| Field::new(index, route);
        if let Some(most) = &event.most {
            let node = self.by_key[&Key::Local(index, MOST.into())];
            self.set_quantity(node, most, &field(&["most"]));
        }
        let node = self.chance(index, event_node, event);
        if let Some(score) = &event.score {
            self.origins.insert(index, Origin::Score);
            if let Some(points) = &score.no_finish {
                let node = self.by_key[&Key::Local(index, NO_FINISH.into())];
                self.set_text(node, points.text(), &field(&["score", "no-finish"]));
            }
            self.define_given(index, score);
            if let Some(name) = score.r#use.as_deref().filter(|_| score.formula.is_none()) {
                self.sheet(index, node, event, name, &field(&OF_SHEET));
            } else if let Some(formula) = &score.formula {
                if event.reads.keys().any(|name| event.reads_none(name.as_str())) {
                    self.score_without_finish(index, node);
                } else {
                    self.set_text(node, formula.text(), &field(&["score", "formula"]));
                    if event.most.is_some() {
                        self.limit_to_most(index, node);
                    }
                }
            }
        }
        if let Some(expect) = &event.expect {
            self.origins.insert(index, Origin::Estimate);
            let expected = self.by_key.get(&Key::Local(index, EXPECTED.into())).copied();
            self.set_quantity(expected.unwrap_or(node), expect, &field(&["expect"]));
            if let Some(expected) = expected {
                self.expectation_up_to_most(index, node, expected);
            }
            let most = event.most.as_ref().filter(|most| most.unit().dimension() == Dimension::points());
            if let (Rule::Given(points), Some(most)) = (&mut self.network.nodes[node].rule, most) {
                *points = points.min(most.si());
            }
        }
        if let Some((result, value)) = self.latest_result(index) {
            self.change_origin(index, event_node, Origin::Result(result));
            self.set_quantity(event_node, &value, &Field::new(result, &["value"]));
        }
    }

    /// Sets the chance of an event, and the event to its score with that chance, otherwise to the points without a finish.
    /// Returns the node of the score, which is the event itself without a chance.
    fn chance(&mut self, index: RecordId, node: NodeId, event: &Event) -> NodeId {
        let Some(text) = &event.chance else { return node };
        let [score, chance, gain, added] =
            [SCORE, CHANCE, GAIN, ADDED].map(|name| self.by_key[&Key::Local(index, name.into())]);
        self.set_text(chance, text.text(), &Field::new(index, &["chance"]));
        let without_finish = self.by_key.get(&Key::Local(index, NO_FINISH.into())).copied();
        let formula = |text: &str| Formula::parse(text).map(|formula| Rule::Formula(Arc::new(formula))).ok();
        let more = formula("score - least").zip(formula("gain + least"));
        let Some((least, (more, sum))) = without_finish.zip(more) else {
            self.network.nodes[node].rule = Rule::Chance;
            self.network.nodes[node].inputs = vec![score, chance];
            return score;
        };
        // What a finish adds to the points without one.
        for (own, rule, inputs) in [
            (gain, more, vec![score, least]),
            (added, Rule::Chance, vec![gain, chance]),
            (node, sum, vec![added, least]),
        ] {
            self.network.nodes[own].rule = rule;
            self.network.nodes[own].inputs = inputs;
        }
        score
    }

    /// Gives an event the points without a finish: those of its record or sheet, or 0.
    pub(super) fn score_without_finish(&mut self, index: RecordId, node: NodeId) {
        match self.by_key.get(&Key::Local(index, NO_FINISH.into())) {
            Some(&points) => {
                self.network.nodes[node].rule = Rule::Total(vec![1.0]);
                self.network.nodes[node].inputs = vec![points];
            }
            None => self.network.nodes[node].rule = Rule::Given(0.0),
        }
    }

    /// Limits expected points to the most that the event gives, with a rule in which the interval sees the limit.
    fn expectation_up_to_most(&mut self, index: RecordId, node: NodeId, expected: NodeId) {
        let most = self.by_key[&Key::Local(index, MOST.into())];
        if let Ok(formula) = Formula::parse("min(expected, most)") {
            self.network.nodes[node].rule = Rule::Formula(Arc::new(formula));
            self.network.nodes[node].inputs = vec![expected, most];
        }
    }

    /// Limits the points of a formula to the most that the event gives.
    pub(super) fn limit_to_most(&mut self, index: RecordId, node: NodeId) {
        let most = self.by_key[&Key::Local(index, MOST.into())];
        let value = &mut self.network.nodes[node];
        let Rule::Formula(formula) = &value.rule else { return };
        let limited = Formula::clone(formula).at_most(MOST);
        if limited.names().len() > value.inputs.len() {
            value.inputs.push(most);
        }
        value.rule = Rule::Formula(Arc::new(limited));
    }
}
