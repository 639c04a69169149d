//! The rules of events and goals: scores of what is read, expectations, results, and their sum.

use schema::records::Body;

use super::{Builder, Field, Key, NodeId, Origin, RecordId, Rule, ValueProblemKind, sheets, suggest};

impl Builder<'_> {
    pub(super) fn events_and_goals(&mut self) {
        let loaded = &*self.graph.loaded;
        for (index, record) in loaded.records() {
            match &record.body {
                Body::Event(event) => {
                    let node = self.by_key[&Key::Record(index)];
                    self.locals(index, &event.reads, &["reads"], None);
                    let place = |route: &[&str]| Field {
                        record: index,
                        route: route.iter().map(|s| (*s).to_owned()).collect(),
                    };
                    if let Some(score) = &event.score {
                        self.locals(index, &score.given, &["score", "given"], None);
                        self.origins.insert(index, Origin::Score);
                        if let Some(formula) = &score.formula {
                            self.define(node, formula.text(), &place(&["score", "formula"]));
                        } else if let Some(name) = score.r#use.as_deref() {
                            self.sheet(index, node, event, name, &place(&["score", "use"]));
                        }
                    }
                    if let Some(expect) = &event.expect {
                        self.origins.insert(index, Origin::Estimate);
                        self.give(node, expect, &place(&["expect"]));
                    }
                    if let Some((result, value)) = self.latest_result(index) {
                        let place = Field { record: result, route: vec!["value".to_owned()] };
                        self.settle(index, node, Origin::Result(result));
                        self.give(node, &value, &place);
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
                _ => {}
            }
        }
    }

    fn sheet(&mut self, index: RecordId, node: NodeId, event: &schema::records::Event, name: &str, place: &Field) {
        let Some(sheet) = sheets::find(name) else {
            let names = sheets::names();
            let otherwise = format!("the sheets are {}", names.join(", "));
            let help = suggest::did_you_mean(name, names.iter().map(String::as_str), &otherwise);
            let message = format!("there is no score sheet `{}`", schema::words::shorten(name));
            self.report(ValueProblemKind::Reference, place, 0, message, help);
            return;
        };
        let given = event.score.as_ref().map(|score| &score.given);
        for (wanted, key, there) in sheet
            .reads
            .iter()
            .map(|id| (id, "reads", event.reads.get(id.as_str()).is_some()))
            .chain(sheet.given.iter().map(|id| (id, "given", given.is_some_and(|g| g.get(id.as_str()).is_some()))))
        {
            if !there {
                let message = format!("the sheet `{name}` needs `{wanted}`");
                self.report(ValueProblemKind::Reference, place, 0, message, format!("give it under `{key}`"));
                return;
            }
        }
        for (constant, text) in sheet.constants.iter() {
            if given.is_none_or(|given| given.get(constant.as_str()).is_none()) {
                let node = self.by_key[&Key::Local(index, constant.as_str().into())];
                self.define(node, text.text(), place);
            }
        }
        self.define(node, sheet.formula.text(), place);
    }
}
