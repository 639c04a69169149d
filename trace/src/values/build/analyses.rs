//! The rules of analyses: values that were found with other tools, formulas, and calls of models.

use std::cell::OnceCell;
use std::sync::Arc;

use foldhash::{HashMap, HashMapExt as _};
use schema::formula::Formula;
use schema::quantity::Unit;
use schema::records::{Analysis, Expression, Finds, Found};
use schema::{Id, Quantity, suggest};

use super::builder::{Builder, Field};
use crate::ids::{NodeId, RecordId};
use crate::load::is_table;
use crate::stress;
use crate::values::call::Call;
use crate::values::network::Rule;
use crate::values::problems::ValueProblemKind;
use crate::values::work::MOST_OF_STATE;
use crate::values::{Key, ModelTable, Origin, State};

impl Builder<'_> {
    pub(super) fn analyses(&mut self) {
        let loaded = &*self.graph.loaded;
        let mut finder: HashMap<RecordId, RecordId> = HashMap::new();
        for (index, record, analysis) in loaded.analyses() {
            let model = analysis.model.as_ref().and_then(|model| models::find(model.as_str()));
            self.define_names(index, &analysis.given, &["given"], model);
            let call = analysis.model.as_ref().and_then(|model| self.bind_model(index, analysis, model.as_str()));
            let Some(finds) = &analysis.finds else { continue };
            for target in finds.targets() {
                let Some(target_index) = loaded.find(target.as_str()) else { continue };
                let Some(&node) = self.by_key.get(&Key::Record(target_index)) else { continue };
                if loaded.target(target_index).is_none() || self.superseded.contains(record.id.as_str()) {
                    continue;
                }
                let field = match finds {
                    Finds::Target(_) => Field::new(index, &["finds"]),
                    Finds::Values(_) => Field::new(index, &["finds", target.as_str()]),
                };
                if let Some(other) = finder.insert(target_index, index) {
                    let message = format!("{} also finds the value of {target}", loaded.record(other).id);
                    let help =
                        "the analysis that is later in the records is used; list the other one under its `supersedes`";
                    self.report(ValueProblemKind::Twice, &field, 0, message, help);
                }
                if matches!(self.origins.get(&target_index), Some(Origin::Result(_))) {
                    continue;
                }
                self.change_origin(target_index, node, Origin::Analysis(index));
                if let Finds::Values(values) = finds {
                    self.report_missing_density(index, analysis, values.get(target.as_str()), &field);
                }
                match (finds, &call, &analysis.formula) {
                    (_, Some((call, inputs)), _) => self.output(node, finds, target, *call, inputs, &field),
                    (_, None, _) if analysis.model.is_some() => {}
                    (Finds::Target(_), None, Some(formula)) => {
                        self.set_text(node, formula.text(), &Field::new(index, &["formula"]));
                    }
                    (Finds::Values(values), None, _) => match values.get(target.as_str()) {
                        Some(Found::Text(text)) => self.set_text(node, text.text(), &field),
                        Some(Found::Read(figure)) => {
                            self.fields[node] = field.clone();
                            if let Some(quantity) = figure.quantity() {
                                self.set_quantity(node, quantity, &field);
                            }
                        }
                        None => {}
                    },
                    (Finds::Target(_), None, None) => {
                        let help = format!("write `finds: {{{target}: value}}`, or add a model or a formula");
                        let message = format!("the analysis has no value for {target}");
                        self.report(ValueProblemKind::Bad, &field, 0, message, help);
                    }
                }
            }
        }
    }

    fn output(&mut self, node: NodeId, finds: &Finds, target: &Id, call: usize, inputs: &[NodeId], field: &Field) {
        let model = self.network.calls[call].model;
        let output = match finds {
            Finds::Target(_) => 0,
            Finds::Values(values) => {
                let name = values.get(target.as_str()).map_or("", Found::text);
                match model.outputs.iter().position(|output| output.name == name) {
                    Some(at) => at,
                    None => {
                        let names: Vec<&str> = model.outputs.iter().map(|output| output.name).collect();
                        let otherwise = format!("its outputs are {}", suggest::any_of(names.iter().copied()));
                        let help = suggest::did_you_mean(name, names, &otherwise);
                        let message =
                            format!("the model `{}` has no output `{}`", model.name, schema::words::shorten(name));
                        self.report(ValueProblemKind::Reference, field, 0, message, help);
                        return;
                    }
                }
            }
        };
        let found = Unit::parse(model.outputs[output].unit).map(|unit| unit.dimension()).unwrap_or_default();
        if let Some(required) = self.required[node].filter(|required| *required != found) {
            self.report_mismatch(field, node, found, required);
            return;
        }
        self.network.nodes[node].inputs = inputs.to_vec();
        self.network.nodes[node].rule = Rule::Model { call, output };
        self.fields[node] = field.clone();
    }

    /// The call of a model, and the nodes of its number inputs.
    fn bind_model(&mut self, index: RecordId, analysis: &Analysis, name: &str) -> Option<(usize, Vec<NodeId>)> {
        let Some(model) = models::find(name) else {
            let names = || models::MODELS.iter().map(|model| model.name);
            let help = suggest::did_you_mean(name, names(), &format!("the models are {}", suggest::any_of(names())));
            let field = Field::new(index, &["model"]);
            self.report(ValueProblemKind::Reference, &field, 0, format!("unknown model `{name}`"), help);
            return None;
        };
        // No table is read for what is not calculated.
        self.is_within_work(index).then_some(())?;
        let mut call = Call::new(model, Arc::clone(&self.graph.loaded.model_runs));
        let (mut inputs, problems_before) = (Vec::new(), self.reported);
        let readers = OnceCell::new();
        for (name, text) in analysis.given.iter() {
            let field = Field::new(index, &["given", name.as_str()]);
            let node = self.by_key[&Key::Local(index, name.as_str().into())];
            let Some(input) = model.input(name.as_str()) else {
                let others = readers.get_or_init(|| readers_of(analysis));
                if !others.get(name.as_str()).into_iter().flatten().any(|reader| *reader != name) {
                    let names = || model.inputs.iter().map(|input| input.name);
                    let otherwise = format!("its inputs are {}", suggest::any_of(names()));
                    let help = self.suggestions.did_you_mean(name.as_str(), names(), &otherwise);
                    let message = format!("the model `{}` has no input `{name}`", model.name);
                    self.report(ValueProblemKind::Reference, &field, 0, message, help);
                }
                continue;
            };
            match input.kind {
                models::Kind::Number if is_table(text) => {
                    let message = format!("expected a number for `{name}`, found a table");
                    self.report(ValueProblemKind::Bad, &field, 0, message, "use a quantity, a name or a formula");
                }
                models::Kind::Number => {
                    if let Ok(unit) = Unit::parse(input.unit)
                        && self.required[node].is_none()
                    {
                        if unit.is_shaft_speed() {
                            let given = Quantity::parse(text.text()).ok();
                            self.report_shaft_speed(input.name, node, given.as_ref(), &field);
                        }
                        self.require_unit(node, &unit, text, &field);
                    }
                    call.numbers.push(input.name);
                    inputs.push(node);
                }
                models::Kind::Table { columns } => {
                    let columns = [columns[0].name, columns[1].name];
                    call.tables.push((input.name, self.table(name, text, columns, &field)?));
                }
                models::Kind::List => {
                    call.lists.push((input.name, self.list(text, input.unit, &field)));
                    self.network.nodes[node].rule = Rule::None;
                }
                models::Kind::StressFile | models::Kind::Text | models::Kind::Unit => {}
            }
        }
        if stress::has_stress(analysis) {
            call.fields = self.stress_field(index, analysis)?;
        }
        if self.reported > problems_before {
            return None;
        }
        // In the order of the records, so that it does not depend on threads which models are run.
        self.model_work = self.model_work.saturating_add(call.work());
        self.is_within_work(index).then_some(())?;
        self.network.calls.push(Arc::new(call));
        Some((self.network.calls.len() - 1, inputs))
    }

    /// Whether the models so far, and the tables that are read for them, are within the limit; otherwise this is reported.
    fn is_within_work(&mut self, index: RecordId) -> bool {
        if self.model_work.max(self.model_rows) <= MOST_OF_STATE {
            return true;
        }
        let id = &self.graph.loaded.record(index).id;
        let message = format!("{id} is not calculated: the models of the project need too much work");
        let help = "use tables with fewer rows, or fewer analyses with models; see Limits in SECURITY.md";
        self.report(ValueProblemKind::Bad, &Field::new(index, &["model"]), 0, message, help);
        false
    }

    /// The rows of a table; empty if it is invalid, which is reported. `None` if the file is missing, which is reported
    /// with all other names of files, or if it cannot be read.
    fn table(&mut self, name: &Id, text: &Expression, columns: [&'static str; 2], field: &Field) -> Option<ModelTable> {
        if !is_table(text) {
            let [first, second] = columns;
            let message = format!("`{name}` must be a table: a CSV file with the columns {first} and {second}");
            self.report(ValueProblemKind::Bad, field, 0, message, "use SI units in all columns, and one row per line");
            return Some(Arc::default());
        }
        let rows = self.graph.loaded.model_table(text.text(), columns)?.unwrap_or_else(|error| {
            self.report_table(text.text(), &error, field);
            Arc::default()
        });
        // An analysis that is not calculated for another reason needs these rows, too.
        self.model_rows = self.model_rows.saturating_add(rows.len());
        Some(rows)
    }

    /// The numbers of a list, separated by commas or spaces; empty if it is invalid, which is reported.
    fn list(&mut self, text: &Expression, unit: &str, field: &Field) -> Vec<f64> {
        let text = text.text();
        let words = text.split(if text.contains(',') { [',', ','] } else { [' ', ' '] });
        let dimension = Unit::parse(unit).map(|unit| unit.dimension()).unwrap_or_default();
        let entry = |word: &str| {
            if text.contains(';') {
                return Err(format!("`{text}` has semicolons: separate numbers with commas"));
            }
            let quantity = Quantity::parse(word)?;
            if quantity.unit().dimension() != dimension {
                return Err(format!("the unit of `{quantity}` does not match: use {}", unit_words(unit)));
            }
            Ok(quantity.si())
        };
        let entries: Result<Vec<f64>, String> = words.filter(|word| !word.trim().is_empty()).map(entry).collect();
        entries.unwrap_or_else(|error: String| {
            let (message, help) = error.split_once(": ").unwrap_or((&error, "separate numbers with commas"));
            let help = format!("{help}; a list has commas: `[2.5, 2, 1.6]`");
            self.report(ValueProblemKind::Bad, field, 0, message, help);
            Vec::new()
        })
    }

    /// Requires a dimension of a node that may already have a rule: that of the unit of an input.
    pub(super) fn require_unit(&mut self, node: NodeId, expected: &Unit, text: &Expression, field: &Field) {
        let required = expected.dimension();
        self.required[node] = Some(required);
        let own = &self.network.nodes[node];
        if let Rule::Given(_) = own.rule
            && own.dimension != required
        {
            let (found, unit) = (own.dimension, own.unit.clone());
            let own = &mut self.network.nodes[node];
            // With the expected unit, what reads it is not reported as well.
            (own.rule, own.dimension, own.unit) = (Rule::None, required, expected.clone());
            match Quantity::parse(text.text()) {
                Ok(quantity) => drop(self.report_wrong_unit(node, &quantity, (&unit, expected), field)),
                Err(_) => self.report_mismatch(field, node, found, required),
            }
        }
    }

    /// Reports models without a result though all their inputs have values.
    pub(super) fn report_model_errors(&mut self, state: &State) {
        let mut reported = vec![false; self.network.calls.len()];
        for node in NodeId::all(self.network.nodes.len()) {
            let Rule::Model { call, .. } = self.network.nodes[node].rule else { continue };
            let inputs = &self.network.nodes[node].inputs;
            if reported[call] || inputs.iter().any(|input| state.values[*input].is_nan()) {
                continue;
            }
            if let Some(error) = self.network.model_error(state, call) {
                reported[call] = true;
                let field = Field::new(self.fields[node].record, &["model"]);
                let name = self.network.calls[call].model.name;
                self.report(
                    ValueProblemKind::Bad,
                    &field,
                    0,
                    format!("the model `{name}` has no result: {error}"),
                    "correct the input that the message names",
                );
            }
        }
    }
}

/// The names that inputs use, each with these inputs: one that another input uses is an intermediate value, not an input of
/// the model.
fn readers_of(analysis: &Analysis) -> HashMap<String, Vec<&Id>> {
    let mut readers: HashMap<String, Vec<&Id>> = HashMap::default();
    for (reader, text) in analysis.given.iter() {
        for read in Formula::parse(text.text()).iter().flat_map(Formula::names) {
            readers.entry(read.text.to_string()).or_default().push(reader);
        }
    }
    readers
}

/// The unit of the entries of a list, for a message.
fn unit_words(unit: &str) -> String {
    if unit == "1" { "numbers without unit".to_owned() } else { format!("`{unit}`") }
}
