//! The rules that analyses give: values found elsewhere, formulas, and models with their inputs bound.

use std::sync::Arc;

use foldhash::{HashMap, HashMapExt as _};
use schema::formula::Formula;
use schema::quantity::{Dimension, Unit};
use schema::records::{Expression, Finds};
use schema::{Id, Quantity, suggest};

use super::{Builder, Call, Field, Key, NodeId, Origin, RecordId, Rule, ValueProblemKind};
use crate::load::is_table;
use crate::values::{State, tables};

impl Builder<'_> {
    pub(super) fn analyses(&mut self) {
        let loaded = &*self.graph.loaded;
        let superseded = self.graph.superseded();
        let mut finder: HashMap<RecordId, RecordId> = HashMap::new();
        for (index, record, analysis) in loaded.analyses() {
            let model = analysis.model.as_ref().and_then(|model| models::find(model.as_str()));
            self.locals(index, &analysis.given, &["given"], model);
            let call = analysis.model.as_ref().and_then(|model| self.call(index, analysis, model.as_str()));
            let Some(finds) = &analysis.finds else { continue };
            for target in finds.targets() {
                let Some(target_index) = loaded.find(target.as_str()) else { continue };
                let Some(&node) = self.by_key.get(&Key::Record(target_index)) else { continue };
                if loaded.target(target_index).is_none() || superseded.contains(record.id.as_str()) {
                    continue;
                }
                let place = match finds {
                    Finds::Target(_) => Field { record: index, route: vec!["finds".to_owned()] },
                    Finds::Values(_) => Field { record: index, route: vec!["finds".to_owned(), target.to_string()] },
                };
                if let Some(other) = finder.insert(target_index, index) {
                    let message = format!("{} finds the value of {target} too", loaded.record(other).id);
                    let help = "the later one counts: name the other under `supersedes`";
                    self.report(ValueProblemKind::Twice, &place, 0, message, help);
                }
                if matches!(self.origins.get(&target_index), Some(Origin::Result(_))) {
                    continue;
                }
                self.settle(target_index, node, Origin::Analysis(index));
                match (finds, &call, &analysis.formula) {
                    (_, Some((call, inputs)), _) => self.output(node, finds, target, *call, inputs, &place),
                    (_, None, _) if analysis.model.is_some() => {}
                    (Finds::Target(_), None, Some(formula)) => {
                        self.define(node, formula.text(), &Field { record: index, route: vec!["formula".to_owned()] });
                    }
                    (Finds::Values(values), None, _) => {
                        if let Some(text) = values.get(target.as_str()) {
                            self.define(node, text.text(), &place);
                        }
                    }
                    (Finds::Target(_), None, None) => {
                        let help = format!("write `finds: {{{target}: value}}`, or a model or formula");
                        self.report(ValueProblemKind::Bad, &place, 0, "the analysis gives no value".to_owned(), help);
                    }
                }
            }
        }
    }

    fn output(&mut self, node: NodeId, finds: &Finds, target: &Id, call: usize, inputs: &[NodeId], place: &Field) {
        let model = self.network.calls[call].model;
        let output = match finds {
            Finds::Target(_) => 0,
            Finds::Values(values) => {
                let name = values.get(target.as_str()).map_or("", Expression::text);
                match model.outputs.iter().position(|output| output.name == name) {
                    Some(at) => at,
                    None => {
                        let names: Vec<&str> = model.outputs.iter().map(|output| output.name).collect();
                        let otherwise = format!("it gives {}", suggest::any_of(names.iter().copied()));
                        let help = suggest::did_you_mean(name, names, &otherwise);
                        let message = format!("the model `{}` gives no `{}`", model.name, schema::words::shorten(name));
                        self.report(ValueProblemKind::Reference, place, 0, message, help);
                        return;
                    }
                }
            }
        };
        let found = Unit::parse(model.outputs[output].unit).map(|unit| unit.dimension()).unwrap_or_default();
        if let Some(wanted) = self.wanted[node].filter(|wanted| *wanted != found) {
            self.mismatch(place, 0, found, wanted);
            return;
        }
        self.network.nodes[node].inputs = inputs.to_vec();
        self.network.nodes[node].rule = Rule::Model { call, output };
        self.places[node] = place.clone();
    }

    /// Binds the inputs of a model.
    fn call(
        &mut self,
        index: RecordId,
        analysis: &schema::records::Analysis,
        name: &str,
    ) -> Option<(usize, Vec<NodeId>)> {
        let at = |route: &[&str]| Field { record: index, route: route.iter().map(|s| (*s).to_owned()).collect() };
        let Some(model) = models::find(name) else {
            let names = || models::MODELS.iter().map(|model| model.name);
            let help = suggest::did_you_mean(name, names(), &format!("the models are {}", suggest::any_of(names())));
            self.report(ValueProblemKind::Reference, &at(&["model"]), 0, format!("there is no model `{name}`"), help);
            return None;
        };
        let mut call = Call { model, numbers: Vec::new(), tables: Vec::new(), lists: Vec::new() };
        let (mut inputs, told) = (Vec::new(), self.problems.len());
        for (name, text) in analysis.given.iter() {
            let place = at(&["given", name.as_str()]);
            let node = self.by_key[&Key::Local(index, name.as_str().into())];
            let Some(input) = model.input(name.as_str()) else {
                // A name that other inputs use is a step on the way.
                let used = analysis.given.iter().any(|(other, text)| {
                    other != name
                        && Formula::parse(text.text())
                            .is_ok_and(|f| f.names().iter().any(|n| *n.text == *name.as_str()))
                });
                if !used {
                    let names = || model.inputs.iter().map(|input| input.name);
                    let otherwise = format!("it takes {}", suggest::any_of(names()));
                    let help = suggest::did_you_mean(name.as_str(), names(), &otherwise);
                    let message = format!("the model `{}` takes no `{name}`", model.name);
                    self.report(ValueProblemKind::Reference, &place, 0, message, help);
                }
                continue;
            };
            match input.kind {
                models::Kind::Number if is_table(text) => {
                    let message = format!("`{name}` is a number, and a table is named");
                    self.report(ValueProblemKind::Bad, &place, 0, message, "write a quantity, a name or a formula");
                }
                models::Kind::Number => {
                    if let Ok(unit) = Unit::parse(input.unit)
                        && self.wanted[node].is_none()
                    {
                        self.expect(node, unit.dimension(), &place);
                    }
                    call.numbers.push(input.name);
                    inputs.push(node);
                }
                models::Kind::Table { columns } => {
                    let names = [columns[0].name, columns[1].name];
                    let bytes = self.graph.loaded.tables.get(text.text());
                    let rows = match (is_table(text), bytes) {
                        (false, _) => Err(format!(
                            "`{name}` is a table: name a CSV file with the columns {} and {}",
                            names[0], names[1]
                        )),
                        // That the file is not there is told with all other names of files.
                        (true, None) => return None,
                        (true, Some(bytes)) => tables::columns(bytes, names),
                    };
                    match rows {
                        Ok(rows) => call.tables.push((input.name, rows.into_iter().map(|[a, b]| (a, b)).collect())),
                        Err(error) => {
                            self.report(
                                ValueProblemKind::Bad,
                                &place,
                                0,
                                error,
                                "columns are in SI units, one row a line",
                            );
                        }
                    }
                }
                models::Kind::List => {
                    let entries: Result<Vec<f64>, _> = text
                        .text()
                        .split([',', ' '])
                        .filter(|word| !word.is_empty())
                        .map(|word| Quantity::parse(word).map(|quantity| quantity.si()))
                        .collect();
                    match entries {
                        Ok(entries) => call.lists.push((input.name, entries)),
                        Err(error) => {
                            self.report(ValueProblemKind::Bad, &place, 0, error, "write numbers with commas between");
                        }
                    }
                    self.network.nodes[node].rule = Rule::None;
                }
            }
        }
        if self.problems.len() > told {
            return None;
        }
        self.network.calls.push(Arc::new(call));
        Some((self.network.calls.len() - 1, inputs))
    }

    /// Asks a dimension of a node whose rule may be known already.
    fn expect(&mut self, node: NodeId, wanted: Dimension, place: &Field) {
        self.wanted[node] = Some(wanted);
        let own = &self.network.nodes[node];
        if let Rule::Given(_) = own.rule
            && own.dimension != wanted
        {
            let found = own.dimension;
            self.network.nodes[node].rule = Rule::None;
            self.mismatch(place, 0, found, wanted);
        }
    }

    /// Models that gave no answer though all their inputs have values.
    pub(super) fn failures(&mut self, state: &State) {
        let mut told = vec![false; self.network.calls.len()];
        for node in NodeId::all(self.network.nodes.len()) {
            let Rule::Model { call, .. } = self.network.nodes[node].rule else { continue };
            let inputs = &self.network.nodes[node].inputs;
            if told[call] || inputs.iter().any(|input| state.values[*input].is_nan()) {
                continue;
            }
            if let Some(error) = self.network.failure(state, call) {
                told[call] = true;
                let place = Field { record: self.places[node].record, route: vec!["model".to_owned()] };
                let name = self.network.calls[call].model.name;
                self.report(
                    ValueProblemKind::Bad,
                    &place,
                    0,
                    format!("`{name}` has no answer: {error}"),
                    "mend the input it names",
                );
            }
        }
    }
}
