//! The rules of events and goals: scores, expected points, results, and the sum of the events.

use schema::records::{Body, Event};
use schema::suggest;

use super::builder::{Builder, Field};
use crate::ids::{NodeId, RecordId};
use crate::values::network::Rule;
use crate::values::problems::ValueProblemKind;
use crate::values::{CHANCE, Key, Origin, SCORE, sheets};

impl Builder<'_> {
    pub(super) fn events_and_goals(&mut self) {
        let loaded = &*self.graph.loaded;
        for (index, record) in loaded.records() {
            match &record.body {
                Body::Event(event) => {
                    let node = self.by_key[&Key::Record(index)];
                    self.define_names(index, &event.reads, &["reads"], None);
                    let field = |route: &[&str]| Field::new(index, route);
                    let scored = self.chance(index, node, event);
                    if let Some(score) = &event.score {
                        self.define_names(index, &score.given, &["score", "given"], None);
                        self.origins.insert(index, Origin::Score);
                        if let Some(formula) = &score.formula {
                            self.set_text(scored, formula.text(), &field(&["score", "formula"]));
                        } else if let Some(name) = score.r#use.as_deref() {
                            self.sheet(index, scored, event, name, &field(&["score", "use"]));
                        }
                    }
                    if let Some(expect) = &event.expect {
                        self.origins.insert(index, Origin::Estimate);
                        self.set_quantity(scored, expect, &field(&["expect"]));
                    }
                    if let Some((result, value)) = self.latest_result(index) {
                        self.change_origin(index, node, Origin::Result(result));
                        self.set_quantity(node, &value, &Field::new(result, &["value"]));
                    }
                }
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

    /// Sets the chance of an event, and the event to its score with that chance; the node of the score. That is the event
    /// itself without a chance.
    fn chance(&mut self, index: RecordId, node: NodeId, event: &Event) -> NodeId {
        let Some(text) = &event.chance else { return node };
        let local = |name: &str| self.by_key[&Key::Local(index, name.into())];
        let (score, chance) = (local(SCORE), local(CHANCE));
        self.set_text(chance, text.text(), &Field::new(index, &["chance"]));
        self.network.nodes[node].rule = Rule::Chance;
        self.network.nodes[node].inputs = vec![score, chance];
        score
    }

    fn sheet(&mut self, index: RecordId, node: NodeId, event: &Event, name: &str, field: &Field) {
        let Some(sheet) = sheets::find(name) else {
            let names = sheets::names();
            let otherwise = format!("the sheets are {}", names.join(", "));
            let help = suggest::did_you_mean(name, names.iter().map(String::as_str), &otherwise);
            let message = format!("unknown score sheet `{}`", schema::words::shorten(name));
            self.report(ValueProblemKind::Reference, field, 0, message, help);
            return;
        };
        let given = event.score.as_ref().map(|score| &score.given);
        for (required, key, is_set) in sheet
            .reads
            .iter()
            .map(|id| (id, "reads", event.reads.get(id.as_str()).is_some()))
            .chain(sheet.given.iter().map(|id| (id, "given", given.is_some_and(|g| g.get(id.as_str()).is_some()))))
        {
            if !is_set {
                let message = format!("score sheet `{name}` needs `{required}`");
                self.report(ValueProblemKind::Reference, field, 0, message, format!("add it under `{key}`"));
                return;
            }
        }
        for (constant, text) in sheet.constants.iter() {
            if given.is_none_or(|given| given.get(constant.as_str()).is_none()) {
                let node = self.by_key[&Key::Local(index, constant.as_str().into())];
                self.set_text(node, text.text(), field);
            }
        }
        self.set_text(node, sheet.formula.text(), field);
    }
}
