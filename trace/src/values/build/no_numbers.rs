//! Values without a number although everything that they read has one: division by zero, overflow, a function outside
//! its domain.

use std::sync::Arc;

use foldhash::{HashSet, HashSetExt as _};
use schema::formula::Formula;
use schema::records::{Body, Finds};

use super::builder::{Builder, Field};
use crate::ids::{NodeId, RecordId};
use crate::values::State;
use crate::values::network::Rule;
use crate::values::problems::ValueProblemKind;

/// The largest number of inputs that a message lists.
const MOST_LISTED: usize = 6;

/// The fields that are reported.
type Reported = HashSet<(RecordId, Arc<[String]>)>;

impl Builder<'_> {
    /// Reports formulas, models and totals that have no number though their inputs have one, and formulas in which such a
    /// step is hidden, as in `max(0 pts, points / 0)`: these have no value either.
    pub(super) fn report_no_numbers(&mut self, state: &mut State) {
        let (mut hidden, reported) = (Vec::new(), &mut Reported::new());
        for node in NodeId::all(self.network.nodes.len()) {
            let value = &self.network.nodes[node];
            let is_formula = matches!(value.rule, Rule::Formula(_));
            if !is_formula && !state.values[node].is_nan() {
                continue;
            }
            let numbers: Vec<f64> = value.inputs.iter().map(|input| state.values[*input]).collect();
            let all_known = numbers.iter().all(|number| !number.is_nan());
            match &value.rule {
                Rule::Formula(formula) if all_known => {
                    let formula = Arc::clone(formula);
                    let is_missing = state.values[node].is_nan();
                    if self.report_formula(reported, node, &formula, (&numbers, is_missing)) && !is_missing {
                        hidden.push(node);
                    }
                }
                Rule::Given(_) => {
                    let what = if value.is_too_uncertain() { "uncertainty" } else { "number" };
                    let message = format!("the {what} is too large (overflow)");
                    // What is missing makes nothing else uncertain.
                    self.network.nodes[node].uncertainty = 0.0;
                    let help = "correct the number or its unit";
                    self.report_at(reported, &self.fields[node].clone(), 0, message, help);
                }
                Rule::Model { call, .. } if all_known && self.network.model_error(state, *call).is_none() => {
                    let name = self.network.calls[*call].model.name;
                    let message =
                        format!("the model `{name}` has no number with {}", self.listed_inputs(node, &numbers));
                    let field = Field::new(self.fields[node].record, &["model"]);
                    self.report_at(reported, &field, 0, message, "correct the inputs of the model");
                }
                Rule::Total(factors) => {
                    // Totals skip what is missing, so they have no number only if all is missing or the sum is too large.
                    let terms = value.inputs.iter().zip(factors.iter().zip(&numbers)).filter(|(_, (_, n))| !n.is_nan());
                    let largest = terms.max_by(|(_, (a, m)), (_, (b, n))| (*a * *m).abs().total_cmp(&(*b * *n).abs()));
                    if let Some((&input, _)) = largest {
                        let message = "the total has no number: the number is too large (overflow)".to_owned();
                        self.report_at(
                            reported,
                            &self.fields[input].clone(),
                            0,
                            message,
                            "correct the number or its unit",
                        );
                    }
                }
                Rule::Formula(_) | Rule::Chance | Rule::Model { .. } | Rule::Replaced(..) | Rule::None => {}
            }
        }
        for &node in &hidden {
            self.network.nodes[node].rule = Rule::None;
        }
        if !hidden.is_empty() {
            self.network.update(state, &hidden);
        }
    }

    /// Reports a formula if a step of it has no number, and returns whether one has none. If all steps have one and the value
    /// is missing, it is too large.
    fn report_formula(
        &mut self,
        reported: &mut Reported,
        node: NodeId,
        formula: &Formula,
        (numbers, is_missing): (&[f64], bool),
    ) -> bool {
        let trouble = formula.trouble(numbers).map(|trouble| (trouble.start, trouble.what));
        let too_large = is_missing.then_some((0, "the number is too large (overflow)"));
        let Some((start, trouble)) = trouble.or(too_large) else { return false };
        let field = self.fields[node].clone();
        let (what, start) = match self.text_of(&field) {
            Some(text) => (format!("`{}`", schema::words::shorten(&text)), start),
            // The text of a score sheet is not in the record.
            None => ("the formula of the score sheet".to_owned(), 0),
        };
        let mut message = format!("{what} has no number: {trouble}");
        let inputs = self.named_inputs(formula, node, numbers);
        if !inputs.is_empty() {
            message = format!("{message}, with {inputs}");
        }
        self.report_at(reported, &field, start, message, "correct one of these values, or the formula");
        true
    }

    /// Reports a field once.
    fn report_at(&mut self, reported: &mut Reported, field: &Field, offset: usize, message: String, help: &str) {
        if reported.insert((field.record, Arc::clone(&field.route))) {
            self.report(ValueProblemKind::Number, field, offset, message, help);
        }
    }

    /// The inputs of a formula by the names in it, as in `distance = 75 m, speed = 0 m/s`.
    fn named_inputs(&self, formula: &Formula, node: NodeId, numbers: &[f64]) -> String {
        let names = formula.names().iter().map(|name| name.text.to_string());
        self.listed(names.zip(self.network.nodes[node].inputs.iter().copied().zip(numbers.iter().copied())))
    }

    fn listed_inputs(&self, node: NodeId, numbers: &[f64]) -> String {
        let inputs = &self.network.nodes[node].inputs;
        let name = |input: &NodeId| self.keys[*input].short_name(&self.graph.loaded, &self.amounts);
        self.listed(inputs.iter().map(name).zip(inputs.iter().copied().zip(numbers.iter().copied())))
    }

    fn listed(&self, inputs: impl Iterator<Item = (String, (NodeId, f64))>) -> String {
        let mut texts: Vec<String> = inputs
            .map(|(name, (node, number))| format!("{name} = {}", self.network.nodes[node].unit.show(number, 0.0)))
            .collect();
        let more = texts.len().saturating_sub(MOST_LISTED);
        texts.truncate(MOST_LISTED);
        if more > 0 {
            texts.push(format!("{more} more"));
        }
        texts.join(", ")
    }

    /// The text of a field that holds a formula; `None` for a score sheet.
    fn text_of(&self, field: &Field) -> Option<String> {
        let route: Vec<&str> = field.route.iter().map(String::as_str).collect();
        let body = &self.graph.loaded.record(field.record).body;
        let named = body.own_names().into_iter().find_map(|(keys, names)| match route.strip_prefix(keys)? {
            [name] => names.get(name),
            _ => None,
        });
        if let Some(named) = named {
            return Some(named.text().to_owned());
        }
        let text = match (body, &route[..]) {
            (Body::Target(target), ["formula"]) => target.formula.as_ref(),
            (Body::Event(event), ["score", "formula"]) => event.score.as_ref()?.formula.as_ref(),
            (Body::Analysis(analysis), ["formula"]) => analysis.formula.as_ref(),
            (Body::Analysis(analysis), ["finds", name]) => match analysis.finds.as_ref()? {
                Finds::Values(values) => return values.get(name).map(|found| found.text().to_owned()),
                Finds::Target(_) => None,
            },
            (Body::Target(_) | Body::Event(_) | Body::Analysis(_), _) => None,
            // They have no formula.
            (Body::Goal(_) | Body::System(_) | Body::Requirement(_) | Body::Part(_), _)
            | (Body::Decision(_) | Body::Result(_) | Body::Revision(_) | Body::Waiver(_), _) => None,
        };
        text.map(|text| text.text().to_owned())
    }
}
