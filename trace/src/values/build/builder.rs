//! The unfinished value graph: its nodes, their keys and required dimensions, the problems found so far, and what the
//! rules of all values need.

use std::cell::OnceCell;
use std::sync::Arc;

use foldhash::{HashMap, HashMapExt as _, HashSet};
use schema::formula::{Formula, FormulaError, FormulaErrorKind, Scale, ValueKind};
use schema::quantity::{Dimension, QuantityError, QuantityErrorKind, Unit};
use schema::records::Expression;
use schema::words::CAR;
use schema::{Entries, Id, Quantity, suggest};

use super::past::PastTables;
use super::units::Clash;
use crate::graph::{Graph, renamed_help};
use crate::ids::{NodeId, RecordId};
use crate::load::is_table;
use crate::values::currency::in_currency;
use crate::values::names::Suggestions;
use crate::values::needed::Past;
use crate::values::network::{Network, Rule, Value};
use crate::values::problems::{ValueProblem, ValueProblemKind};
use crate::values::tables::TableError;
use crate::values::{Key, Measured, MeasuredTotal, Origin};

/// The key that a text of a record belongs to.
#[derive(Clone, Debug)]
pub(super) struct Field {
    pub(super) record: RecordId,
    /// The keys below the record.
    pub(super) route: Arc<[String]>,
}

impl Field {
    pub(super) fn new(record: RecordId, route: &[&str]) -> Self {
        Self { record, route: route.iter().map(|key| (*key).to_owned()).collect() }
    }
}

/// The key that the texts of a score sheet belong to.
pub(super) const OF_SHEET: [&str; 2] = ["score", "use"];

/// The largest number of problems that are kept.
const MOST_PROBLEMS: usize = 100_000;

/// Room for the nodes that are neither amounts nor targets.
const FEW_NODES: usize = 250;

pub(super) struct Builder<'g> {
    pub(super) graph: &'g Graph,
    pub(super) network: Network,
    pub(super) keys: Vec<Key>,
    /// The field that defines each node.
    pub(super) fields: Vec<Field>,
    /// The dimension that a node must have, if it is known before its inputs are.
    pub(super) required: Vec<Option<Dimension>>,
    /// The scale of each formula's value, if it is a temperature.
    pub(super) scales: Vec<Scale>,
    /// Names in units that could also be meant as names of values.
    pub(super) clashes: Vec<Clash>,
    pub(super) by_key: HashMap<Key, NodeId>,
    pub(super) amounts: Vec<Box<str>>,
    /// The number of each amount by its name.
    pub(super) amount_numbers: HashMap<Box<str>, u16>,
    /// The route of each amount, the same for all parts.
    pub(super) amount_routes: Vec<Arc<[String]>>,
    pub(super) origins: HashMap<RecordId, Origin>,
    pub(super) problems: Vec<ValueProblem>,
    /// The number of problems, also of those that are not kept.
    pub(super) reported: usize,
    /// The first problem that is not kept.
    next_problem: Option<ValueProblem>,
    /// The totals that were measured, in the order of the targets.
    pub(super) measured_totals: Vec<MeasuredTotal>,
    /// The position of each by the node of its parts.
    pub(super) measured_by_parts: HashMap<NodeId, usize>,
    /// The past contests of the goals.
    pub(super) past: Past,
    /// The tables that forecasts are read from.
    pub(super) past_tables: PastTables,
    /// The work of the models so far.
    pub(super) model_work: usize,
    /// The rows of the tables that were read for them, as often as they are named.
    pub(super) model_rows: usize,
    /// The nodes of cycles, which have no rule.
    pub(super) cyclic: Vec<NodeId>,
    /// The ids of analyses that a later one supersedes.
    pub(super) superseded: &'g HashSet<Id>,
    /// How many more names that are similar to an unknown one are searched.
    pub(super) suggestions: Suggestions,
    /// The factor of each amount in the total of the car, by the number of the amount.
    pub(super) factors_in_car: HashMap<u16, HashMap<NodeId, f64>>,
    /// The keys with a reference that the graph reports.
    broken: OnceCell<HashSet<(RecordId, &'g [String])>>,
    measured: Measured,
}

impl<'g> Builder<'g> {
    pub(super) fn new(graph: &'g Graph, measured: Measured) -> Self {
        // Most nodes are amounts of parts; to grow large lists takes longer than to fill them.
        let amounts = graph.loaded.parts().map(|(.., part)| part.amounts.len()).sum::<usize>();
        let nodes = amounts + graph.loaded.targets().count() + FEW_NODES;
        let mut network = Network::default();
        network.nodes.reserve(nodes);
        Self {
            graph,
            network,
            keys: Vec::with_capacity(nodes),
            fields: Vec::with_capacity(nodes),
            required: Vec::with_capacity(nodes),
            scales: Vec::with_capacity(nodes),
            clashes: Vec::new(),
            by_key: HashMap::with_capacity(nodes),
            amounts: Vec::new(),
            amount_numbers: HashMap::new(),
            amount_routes: Vec::new(),
            origins: HashMap::new(),
            problems: Vec::new(),
            reported: 0,
            next_problem: None,
            measured_totals: Vec::new(),
            measured_by_parts: HashMap::new(),
            past: Past::default(),
            past_tables: PastTables::default(),
            model_work: 0,
            model_rows: 0,
            cyclic: Vec::new(),
            superseded: graph.superseded(),
            suggestions: Suggestions::default(),
            factors_in_car: HashMap::new(),
            broken: OnceCell::new(),
            measured,
        }
    }
}

impl Builder<'_> {
    /// Adds a node without a value.
    pub(super) fn add(&mut self, key: Key, field: Field, required: Option<Dimension>) -> NodeId {
        let node = NodeId::new(self.network.nodes.len());
        let dimension = required.unwrap_or_default();
        let unit = Unit::si(dimension);
        self.network.nodes.push(Value { rule: Rule::None, inputs: Vec::new(), dimension, unit, uncertainty: 0.0 });
        self.keys.push(key.clone());
        self.fields.push(field);
        self.required.push(required);
        self.scales.push(Scale::Plain);
        self.by_key.insert(key, node);
        node
    }

    pub(super) fn report(
        &mut self,
        kind: ValueProblemKind,
        field: &Field,
        offset: usize,
        message: impl Into<String>,
        help: impl Into<String>,
    ) {
        let (record, route) = (field.record, field.route.to_vec());
        let (message, help) = (message.into(), help.into());
        let problem = ValueProblem { kind, record, route, offset, missing: None, message, help };
        self.reported += 1;
        match self.reported.checked_sub(MOST_PROBLEMS) {
            None | Some(0) => self.problems.push(problem),
            Some(1) => self.next_problem = Some(problem),
            Some(_) => {}
        }
    }

    /// Adds to the last problem the id that was not found.
    pub(super) fn report_missing(&mut self, id: &str) {
        if let Some(problem) = self.problems.last_mut().filter(|_| self.reported <= MOST_PROBLEMS) {
            problem.missing = Some(id.to_owned());
        }
    }

    /// Reports how many more problems there are than are kept, where the first of them is.
    pub(super) fn report_more(&mut self) {
        if let Some(next) = self.next_problem.take() {
            let message = format!("{} more problems of values are not listed", self.reported - MOST_PROBLEMS);
            let help = "fix the problems that are listed first".to_owned();
            self.problems.push(ValueProblem { message, help, ..next });
        }
    }

    /// Reports the numbers that cannot be read from their evidence files.
    pub(super) fn report_unread_numbers(&mut self) {
        let graph = self.graph;
        for own in &graph.loaded.readings {
            let Err(unread) = &own.taken else { continue };
            let route = own.route.iter().chain(&unread.key).cloned().collect();
            let field = Field { record: own.record, route };
            self.report(unread.kind, &field, 0, unread.message.clone(), unread.help.clone());
        }
    }

    /// Reports a table that cannot be read, at the key that names it.
    pub(super) fn report_table(&mut self, file: &str, error: &TableError, field: &Field) {
        self.report(ValueProblemKind::Table, field, 0, format!("{file}, {error}"), error.help.clone());
    }

    pub(super) fn report_formula_error(&mut self, field: &Field, error: FormulaError) {
        let kind = match error.kind {
            FormulaErrorKind::Syntax => ValueProblemKind::Bad,
            FormulaErrorKind::Unit => ValueProblemKind::Unit,
        };
        self.report(kind, field, error.start, error.message, error.help);
    }

    /// The number of an amount, if a part has it.
    pub(super) fn find_amount(&self, name: &str) -> Option<u16> {
        self.amount_numbers.get(name).copied()
    }

    pub(super) fn in_currency(&self, quantity: &Quantity) -> (Unit, f64, f64) {
        in_currency(&self.graph.loaded.settings().rates, quantity)
    }

    /// Removes the rule of a node, so that it has no value.
    pub(super) fn clear(&mut self, node: NodeId) {
        let value = &mut self.network.nodes[node];
        value.rule = Rule::None;
        value.inputs.clear();
    }

    /// Clears the node of a record for a value with another origin.
    pub(super) fn change_origin(&mut self, record: RecordId, node: NodeId, origin: Origin) {
        self.clear(node);
        self.network.nodes[node].uncertainty = 0.0;
        self.origins.insert(record, origin);
    }

    /// Sets a node to a quantity.
    pub(super) fn set_quantity(&mut self, node: NodeId, quantity: &Quantity, field: &Field) {
        let found = self.in_currency(quantity);
        let expected = self.network.nodes[node].unit.clone();
        if !self.report_wrong_unit(node, quantity, (&found.0, &expected), field) {
            self.set_value(node, found, field);
        }
    }

    /// Sets a node to a value: its unit, and value and uncertainty in SI.
    pub(super) fn set_value(&mut self, node: NodeId, found: (Unit, f64, f64), field: &Field) {
        let (unit, value, uncertainty) = found;
        if let Some(required) = self.required[node]
            && required != unit.dimension()
        {
            self.report_mismatch(field, node, unit.dimension(), required);
            return;
        }
        let own = &mut self.network.nodes[node];
        if self.required[node].is_none() {
            own.dimension = unit.dimension();
            own.unit = unit;
        }
        own.rule = Rule::Given(value);
        own.uncertainty = uncertainty;
    }

    /// The dimension of a node, and whether it is a temperature with its own zero.
    pub(super) fn kind(&self, node: NodeId) -> ValueKind {
        let value = &self.network.nodes[node];
        let scale = if value.unit.has_own_zero() { Scale::Point } else { self.scales[node] };
        ValueKind { dimension: value.dimension, scale }
    }

    /// Sets a node to a text: a quantity, a name or a formula.
    pub(super) fn set_text(&mut self, node: NodeId, text: &str, field: &Field) {
        self.fields[node] = field.clone();
        let quantity = Quantity::parse(text);
        if let Ok(quantity) = &quantity {
            self.set_quantity(node, quantity, field);
            self.note_clashes(node, quantity, field);
            return;
        }
        let formula = match Formula::parse(text) {
            Ok(formula) => formula,
            Err(error) => {
                // A text with one number is meant as a quantity.
                match quantity.err().and_then(|error| problem_of_quantity(text, &error)) {
                    Some((message, help)) => self.report(ValueProblemKind::Bad, field, error.start, message, help),
                    None => self.report_formula_error(field, error),
                }
                return;
            }
        };
        let mut inputs = Vec::with_capacity(formula.names().len());
        for name in formula.names() {
            match self.lookup(field.record, node, &name.text) {
                Some(input) => inputs.push(input),
                None => {
                    // A single unknown name is already reported with all other names of records.
                    if formula.only_name().is_none() || !self.is_reported_as_broken(field) {
                        let message = format!("no value with id `{}`", schema::words::shorten(&name.text));
                        let help = self.help_for_name(field.record, &name.text);
                        self.report(ValueProblemKind::Reference, field, name.start, message, help);
                        self.report_missing(name.text.split('.').next().unwrap_or(""));
                    }
                    return;
                }
            }
        }
        for name in formula.unit_names() {
            self.note_clash(node, &name.text, name.start, field);
        }
        self.network.nodes[node].inputs = inputs;
        self.network.nodes[node].rule = Rule::Formula(Arc::new(formula));
    }

    fn help_for_name(&mut self, record: RecordId, name: &str) -> String {
        let loaded = &self.graph.loaded;
        if let Some(now) = loaded.renamed(name.split('.').next().unwrap_or(name)) {
            return renamed_help(&loaded.record(now).id);
        }
        let known = if self.suggestions.take() { self.known_names(record) } else { Vec::new() };
        match suggest::nearest(name, known.iter().map(String::as_str)) {
            Some(near) => format!("did you mean `{near}`?"),
            None if name.contains('-') => {
                format!("use the id of a value; for a subtraction, add spaces: `{}`", name.replace('-', " - "))
            }
            None => {
                "use the id of a target, an event or a goal, `part.amount`, or a name defined under `given`".to_owned()
            }
        }
    }

    fn is_reported_as_broken(&self, field: &Field) -> bool {
        let graph = self.graph;
        let all = || graph.broken.iter().map(|broken| (broken.from, &broken.route[..])).collect();
        self.broken.get_or_init(all).contains(&(field.record, &field.route[..]))
    }

    fn known_names(&self, record: RecordId) -> Vec<String> {
        // A search through all of a large project for every typing error would be slow.
        let keys = self.keys.iter().take(3000);
        keys.filter_map(|key| match key {
            Key::Local(owner, name) if *owner == record => Some(name.to_string()),
            Key::Record(_) | Key::Part(..) => Some(key.name(&self.graph.loaded, &self.amounts)),
            Key::Local(..) | Key::Group(..) | Key::NotInParts(_) => None,
        })
        .collect()
    }

    /// The node of a name: names of the record first, then ids. A name does not refer to the node that it defines.
    fn lookup(&self, record: RecordId, defined: NodeId, name: &str) -> Option<NodeId> {
        if let Some(&local) = self.by_key.get(&Key::Local(record, name.into()))
            && local != defined
            && !self.is_hidden(local, defined, name)
        {
            return Some(local);
        }
        let loaded = &*self.graph.loaded;
        let Some((id, amount)) = name.split_once('.') else {
            return self.by_key.get(&Key::Record(loaded.find(name)?)).copied();
        };
        if let Some(event) = loaded.find(id).filter(|index| loaded.event(*index).is_some()) {
            return self.by_key.get(&Key::Local(event, amount.into())).copied();
        }
        let amount = self.find_amount(amount)?;
        let key = if id == CAR { Key::Group(None, amount) } else { Key::amount(loaded, loaded.find(id)?, amount)? };
        let node = self.by_key.get(&key).copied()?;
        // A total that was measured is the measured value under every name.
        let is_total = matches!(key, Key::Group(..));
        Some(self.measured_total(node).filter(|_| is_total).unwrap_or(node))
    }

    /// The target that was measured in place of a total, or of the amount of a part.
    pub(super) fn measured_total(&self, parts: NodeId) -> Option<NodeId> {
        self.measured_by_parts.get(&parts).map(|at| self.measured_totals[*at].target)
    }

    /// Whether a name is only one of the event's score sheet, and the text of a team means the record of this name.
    fn is_hidden(&self, local: NodeId, defined: NodeId, name: &str) -> bool {
        let is_of_sheet = |node: NodeId| self.fields[node].route.iter().eq(OF_SHEET);
        is_of_sheet(local) && !is_of_sheet(defined) && self.graph.loaded.find(name).is_some()
    }

    /// Defines the names of a record, except those that are a table or a list of the model.
    pub(super) fn define_names(
        &mut self,
        record: RecordId,
        names: &Entries<Id, Expression>,
        route: &[&str],
        model: Option<&'static models::Model>,
    ) {
        let is_not_a_number = |input: &models::Input| input.kind != models::Kind::Number;
        for (name, text) in names.iter() {
            if is_table(text) || model.and_then(|model| model.input(name.as_str())).is_some_and(is_not_a_number) {
                continue;
            }
            let node = self.by_key[&Key::Local(record, name.as_str().into())];
            if let Some(past) = text.past() {
                let route: Vec<&str> = route.iter().copied().chain([name.as_str(), "past"]).collect();
                self.set_past_value(node, name.as_str(), &past, &Field::new(record, &route));
                continue;
            }
            let route: Vec<&str> = route.iter().copied().chain([name.as_str()]).collect();
            self.set_text(node, text.text(), &Field::new(record, &route));
        }
    }

    /// The latest result of a record that has a value and may be used; for a target, also what was driven at the contest.
    pub(super) fn latest_result(&self, record: RecordId) -> Option<(RecordId, Quantity)> {
        let own = self.latest_own_result(record);
        if self.measured != Measured::All {
            return own;
        }
        let date = own.as_ref().and_then(|(id, _)| self.graph.loaded.result(*id)?.date);
        let driven = self.graph.driven_since(record, date);
        driven.map(|driven| (driven.result, driven.value.clone())).or(own)
    }

    fn latest_own_result(&self, record: RecordId) -> Option<(RecordId, Quantity)> {
        let is_event = self.graph.loaded.event(record).is_some();
        if self.measured == Measured::Nothing || (is_event && self.measured == Measured::BeforeTheContest) {
            return None;
        }
        let mut results = self.graph.current_results(record).into_iter().rev();
        results.find_map(|(id, result)| result.date.and(result.quantity().cloned()).map(|value| (id, value)))
    }
}

/// What is wrong with a text that is meant as a quantity, and how to fix it; `None` if it is meant as a formula.
fn problem_of_quantity(text: &str, error: &QuantityError) -> Option<(String, String)> {
    let is_list = text.contains(", ") && text.split(',').all(|entry| Quantity::parse(entry).is_ok());
    if is_list {
        let help = "keep one of them; only inputs of models that are lists, like `gears`, take several";
        return Some(("expected one value, found a list".to_owned(), help.to_owned()));
    }
    let starts_a_number =
        text.starts_with(|c: char| c.is_ascii_digit() || matches!(c, '.' | '€' | '$' | '£' | '~' | '≈'));
    let is_formula = text.contains(['(', '^', '<', '=']) || (text.contains([' ']) && text.contains(" * "));
    let (message, help) = error.parts()?;
    // The parser of formulas has the position of these.
    let is_of_formula = matches!(error.kind, QuantityErrorKind::Calculation | QuantityErrorKind::UnknownUnit);
    (starts_a_number && !is_formula && !is_of_formula).then(|| (message.to_owned(), help.to_owned()))
}
