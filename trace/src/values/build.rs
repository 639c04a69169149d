//! From records to the nodes of the value graph.

mod analyses;
mod events;

use std::sync::{Arc, OnceLock};

use foldhash::{HashMap, HashMapExt as _};
use schema::formula::{Formula, FormulaErrorKind};
use schema::quantity::{Dimension, Unit};
use schema::records::{Body, Expression, Target, TestResult};
use schema::words::{CAR, Code};
use schema::{Entries, Id, Quantity, suggest};

use super::network::{Call, Network, Rule, Value};
use super::problems::{ValueProblem, ValueProblemKind};
use super::{Key, Measured, Origin, Values, order, sheets};
use crate::graph::Graph;
use crate::ids::{NodeId, RecordId};
use crate::load::is_table;

/// What a system or the car holds of an amount, each with its factor.
type Members = Vec<(NodeId, f64)>;

/// Where the text of a node stands.
#[derive(Clone, Debug)]
pub(super) struct Field {
    pub(super) record: RecordId,
    pub(super) route: Vec<String>,
}

pub(super) struct Builder<'g> {
    pub(super) graph: &'g Graph,
    pub(super) network: Network,
    pub(super) keys: Vec<Key>,
    pub(super) places: Vec<Field>,
    /// The dimension a node must have, where that is known before its inputs are.
    pub(super) wanted: Vec<Option<Dimension>>,
    pub(super) by_key: HashMap<Key, NodeId>,
    pub(super) amounts: Vec<Box<str>>,
    pub(super) origins: HashMap<RecordId, Origin>,
    pub(super) problems: Vec<ValueProblem>,
    measured: Measured,
}

/// Builds and evaluates the value graph of all records.
pub(super) fn build(graph: &Arc<Graph>, measured: Measured) -> Values {
    let mut builder = Builder {
        graph,
        network: Network::default(),
        keys: Vec::new(),
        places: Vec::new(),
        wanted: Vec::new(),
        by_key: HashMap::new(),
        amounts: Vec::new(),
        origins: HashMap::new(),
        problems: Vec::new(),
        measured,
    };
    // All nodes first, so that any may name any other.
    builder.declare();
    builder.amounts();
    builder.events_and_goals();
    builder.targets();
    builder.analyses();
    order::sort(&mut builder);
    let state = builder.network.evaluate();
    builder.failures(&state);
    let Builder { network, keys, by_key, amounts, origins, problems, .. } = builder;
    let (partials, gradients) = (OnceLock::new(), OnceLock::new());
    let graph = Arc::clone(graph);
    Values { graph, network, state, keys, problems, amounts, by_key, origins, partials, gradients }
}

/// A unit in the team's currency where the settings have a rate: the unit, and value and uncertainty in SI.
pub(super) fn in_currency(rates: &Entries<Code, Quantity>, quantity: &Quantity) -> (Unit, f64, f64) {
    let uncertainty = quantity.uncertainty().unwrap_or(0.0) * quantity.unit().factor();
    let plain = (quantity.unit().clone(), quantity.si(), uncertainty);
    let Some(currency) = quantity.unit().dimension().currency() else { return plain };
    let Some(rate) = rates.get(currency.code()) else { return plain };
    match quantity.unit().exchanged(rate) {
        Some((unit, factor)) => (unit, quantity.si() * factor, uncertainty * factor),
        None => plain,
    }
}

impl Builder<'_> {
    fn add(&mut self, key: Key, place: Field, wanted: Option<Dimension>) -> NodeId {
        let node = NodeId::new(self.network.nodes.len());
        let unit = Unit::si(wanted.unwrap_or_default());
        let dimension = wanted.unwrap_or_default();
        self.network.nodes.push(Value { rule: Rule::None, inputs: Vec::new(), dimension, unit, uncertainty: 0.0 });
        self.keys.push(key.clone());
        self.places.push(place);
        self.wanted.push(wanted);
        self.by_key.insert(key, node);
        node
    }

    pub(super) fn report(
        &mut self,
        kind: ValueProblemKind,
        place: &Field,
        offset: usize,
        message: impl Into<String>,
        help: impl Into<String>,
    ) {
        let Field { record, route } = place.clone();
        self.problems.push(ValueProblem { kind, record, route, offset, message: message.into(), help: help.into() });
    }

    fn amount(&mut self, name: &str) -> u16 {
        match self.amounts.iter().position(|known| **known == *name) {
            Some(at) => at as u16,
            None => {
                self.amounts.push(name.into());
                (self.amounts.len() - 1) as u16
            }
        }
    }

    fn declare(&mut self) {
        let loaded = &*self.graph.loaded;
        for (index, record) in loaded.records() {
            let place =
                |route: &[&str]| Field { record: index, route: route.iter().map(|s| (*s).to_owned()).collect() };
            match &record.body {
                Body::Goal(_) | Body::Event(_) => {
                    let node = self.add(Key::Record(index), place(&[]), Some(Dimension::points()));
                    self.network.nodes[node].unit = Unit::parse("pts").unwrap_or_else(|_| Unit::dimensionless());
                }
                Body::Target(target) => {
                    let limit = target.limit().next().map(|(_, quantity)| quantity.clone());
                    let node = self.add(Key::Record(index), place(&[]), limit.as_ref().map(|l| l.unit().dimension()));
                    if let Some(limit) = limit {
                        let (unit, _, _) = self.in_currency(&limit);
                        self.wanted[node] = Some(unit.dimension());
                        self.network.nodes[node].dimension = unit.dimension();
                        self.network.nodes[node].unit = unit;
                    }
                }
                _ => {}
            }
            let mut local = |names: &Entries<Id, Expression>, key: &[&str]| {
                for (name, _) in names.iter() {
                    let route: Vec<&str> = key.iter().copied().chain([name.as_str()]).collect();
                    self.add(Key::Local(index, name.as_str().into()), place(&route), None);
                }
            };
            match &record.body {
                Body::Event(event) => {
                    local(&event.reads, &["reads"]);
                    if let Some(score) = &event.score {
                        local(&score.given, &["score", "given"]);
                        let sheet = score.r#use.as_deref().and_then(sheets::find);
                        for (name, _) in sheet.into_iter().flat_map(|sheet| sheet.constants.iter()) {
                            if score.given.get(name.as_str()).is_none() {
                                self.add(Key::Local(index, name.as_str().into()), place(&["score", "use"]), None);
                            }
                        }
                    }
                }
                Body::Target(target) => local(&target.given, &["given"]),
                Body::Analysis(analysis) => local(&analysis.given, &["given"]),
                _ => {}
            }
        }
    }

    fn in_currency(&self, quantity: &Quantity) -> (Unit, f64, f64) {
        in_currency(&self.graph.loaded.settings().rates, quantity)
    }

    fn give(&mut self, node: NodeId, quantity: &Quantity, place: &Field) {
        let (unit, value, uncertainty) = self.in_currency(quantity);
        if let Some(wanted) = self.wanted[node]
            && wanted != unit.dimension()
        {
            self.mismatch(place, 0, unit.dimension(), wanted);
            return;
        }
        let own = &mut self.network.nodes[node];
        if self.wanted[node].is_none() {
            own.dimension = unit.dimension();
            own.unit = unit;
        }
        own.rule = Rule::Given(value);
        own.uncertainty = uncertainty;
    }

    pub(super) fn mismatch(&mut self, place: &Field, offset: usize, found: Dimension, wanted: Dimension) {
        let words = |d: Dimension| if d.is_one() { "a plain number".to_owned() } else { format!("`{d}`") };
        let message = format!("this is {}, and {} is needed", words(found), words(wanted));
        self.report(ValueProblemKind::Unit, place, offset, message, "correct the unit, or what is computed");
    }

    /// Defines a node by a text: a quantity, a name or a formula.
    fn define(&mut self, node: NodeId, text: &str, place: &Field) {
        self.places[node] = place.clone();
        if let Ok(quantity) = Quantity::parse(text) {
            self.give(node, &quantity, place);
            return;
        }
        let formula = match Formula::parse(text) {
            Ok(formula) => formula,
            Err(error) => {
                self.formula_error(place, error);
                return;
            }
        };
        let mut inputs = Vec::with_capacity(formula.names().len());
        let only = formula.only_name().is_some();
        for name in formula.names() {
            match self.lookup(place.record, node, &name.text) {
                Some(input) => inputs.push(input),
                None => {
                    // One name that leads nowhere is told with all other names of records.
                    if !(only && self.broken_is_told(place)) {
                        let known = self.known_names(place.record);
                        let dashed = name.text.contains('-').then(|| name.text.replace('-', " - "));
                        let help = match suggest::nearest(&name.text, known.iter().map(String::as_str)) {
                            Some(near) => format!("did you mean `{near}`?"),
                            None => match dashed {
                                Some(spaced) => format!("name a value; to subtract, write spaces: `{spaced}`"),
                                None => "name a target, an event, a goal, `part.amount`, or give it under `given`"
                                    .to_owned(),
                            },
                        };
                        let message = format!("there is no value `{}`", schema::words::shorten(&name.text));
                        self.report(ValueProblemKind::Reference, place, name.start, message, help);
                    }
                    return;
                }
            }
        }
        self.network.nodes[node].inputs = inputs;
        self.network.nodes[node].rule = Rule::Formula(Arc::new(formula));
    }

    fn broken_is_told(&self, place: &Field) -> bool {
        self.graph.broken.iter().any(|broken| broken.from == place.record && broken.route.iter().eq(place.route.iter()))
    }

    fn known_names(&self, record: RecordId) -> Vec<String> {
        // Looking through all of a large root for every slip would be slow, and helps nobody.
        let keys = self.keys.iter().take(3000);
        keys.filter_map(|key| match key {
            Key::Local(of, name) if *of == record => Some(name.to_string()),
            Key::Record(index) => Some(self.graph.loaded.record(*index).id.to_string()),
            Key::Part(index, amount) => {
                Some(format!("{}.{}", self.graph.loaded.record(*index).id, self.amounts[usize::from(*amount)]))
            }
            _ => None,
        })
        .collect()
    }

    pub(super) fn formula_error(&mut self, place: &Field, error: schema::formula::FormulaError) {
        let kind = match error.kind {
            FormulaErrorKind::Syntax => ValueProblemKind::Bad,
            FormulaErrorKind::Unit => ValueProblemKind::Unit,
        };
        self.report(kind, place, error.start, error.message, error.help);
    }

    /// The node of a name: local names first, then ids. A local name does not mean itself.
    fn lookup(&self, record: RecordId, asking: NodeId, name: &str) -> Option<NodeId> {
        if let Some(&local) = self.by_key.get(&Key::Local(record, name.into()))
            && local != asking
        {
            return Some(local);
        }
        let loaded = &*self.graph.loaded;
        let Some((id, amount)) = name.split_once('.') else {
            return self.by_key.get(&Key::Record(loaded.find(name)?)).copied();
        };
        let amount = self.amounts.iter().position(|known| **known == *amount)? as u16;
        if id == CAR {
            return self.by_key.get(&Key::Group(None, amount)).copied();
        }
        let index = loaded.find(id)?;
        let key = match loaded.record(index).body {
            Body::Part(_) => Key::Part(index, amount),
            _ => Key::Group(Some(index), amount),
        };
        self.by_key.get(&key).copied()
    }

    /// Amounts of parts, and their roll-up through systems to the car: times count, with growth.
    fn amounts(&mut self) {
        let loaded = &*self.graph.loaded;
        let mut members: HashMap<(Option<RecordId>, u16), Members> = HashMap::new();
        for (index, _, part) in loaded.parts() {
            let system = part.r#in.as_ref().and_then(|id| loaded.find(id.as_str()));
            for (name, amount) in part.amounts.iter() {
                let number = self.amount(name.as_str());
                let place = Field { record: index, route: vec!["amounts".to_owned(), name.to_string()] };
                let first = members.get(&(None, number)).and_then(|all| all.first());
                let wanted = first.map(|(node, _)| self.network.nodes[*node].dimension);
                let node = self.add(Key::Part(index, number), place.clone(), wanted);
                self.give(node, &amount.value, &place);
                self.network.nodes[node].unit = self.in_currency(&amount.value).0;
                let count = f64::from(part.count.unwrap_or(1));
                let growth = loaded.settings().growth.get(name.as_str());
                let growth = growth.and_then(|bases| match &amount.basis {
                    Some(basis) => bases.get(basis.as_str()),
                    None => bases.iter().next().map(|(_, growth)| growth),
                });
                let factor = count * (1.0 + growth.map_or(0.0, Quantity::si));
                members.entry((None, number)).or_default().push((node, factor));
                if let Some(system) = system {
                    members.entry((Some(system), number)).or_default().push((node, factor));
                }
            }
        }
        let systems: Vec<RecordId> = loaded.systems().map(|(system, ..)| system).collect();
        let mut within: HashMap<RecordId, Vec<RecordId>> = HashMap::new();
        for &inner in &systems {
            if let Some(outer) = loaded.record(inner).about().and_then(|id| loaded.find(id.as_str())) {
                within.entry(outer).or_default().push(inner);
            }
        }
        for number in 0..self.amounts.len() as u16 {
            let first = members.get(&(None, number)).and_then(|all| all.first()).map(|(node, _)| *node);
            let Some(first) = first else { continue };
            let (dimension, unit) = (self.network.nodes[first].dimension, self.network.nodes[first].unit.clone());
            for group in std::iter::once(None).chain(systems.iter().copied().map(Some)) {
                let place = Field { record: group.unwrap_or(RecordId::new(0)), route: Vec::new() };
                let node = self.add(Key::Group(group, number), place, Some(dimension));
                self.network.nodes[node].unit = unit.clone();
            }
            for group in std::iter::once(None).chain(systems.iter().copied().map(Some)) {
                let mut all = members.remove(&(group, number)).unwrap_or_default();
                // A system also holds what the systems in it hold; the car has each part once already.
                for &inner in group.and_then(|outer| within.get(&outer)).into_iter().flatten() {
                    all.push((self.by_key[&Key::Group(Some(inner), number)], 1.0));
                }
                let node = self.by_key[&Key::Group(group, number)];
                self.network.nodes[node].inputs = all.iter().map(|(node, _)| *node).collect();
                self.network.nodes[node].rule = Rule::Total(all.into_iter().map(|(_, factor)| factor).collect());
            }
        }
    }

    /// Defines local names, less those that are a table or a list of the model.
    fn locals(
        &mut self,
        index: RecordId,
        names: &Entries<Id, Expression>,
        route: &[&str],
        model: Option<&'static models::Model>,
    ) {
        let no_number = |input: &models::Input| input.kind != models::Kind::Number;
        for (name, text) in names.iter() {
            if is_table(text) || model.and_then(|model| model.input(name.as_str())).is_some_and(no_number) {
                continue;
            }
            let node = self.by_key[&Key::Local(index, name.as_str().into())];
            let route = route.iter().map(|s| (*s).to_owned()).chain([name.to_string()]).collect();
            self.define(node, text.text(), &Field { record: index, route });
        }
    }

    /// The latest result with a value of a record.
    fn latest_result(&self, index: RecordId) -> Option<(RecordId, Quantity)> {
        let event = self.graph.loaded.event(index).is_some();
        if self.measured == Measured::Nothing || (event && self.measured == Measured::BeforeTheContest) {
            return None;
        }
        let mut results = self.graph.results(index).into_iter().rev();
        results.find_map(|(id, result)| result.date.and(result.value.clone()).map(|value| (id, value)))
    }

    /// Tells another result of the same day, which nothing puts before or after this one.
    fn rival(&mut self, index: RecordId, counts: RecordId) {
        let loaded = &*self.graph.loaded;
        let date = loaded.result(counts).and_then(|result| result.date);
        let results = self.graph.results(index);
        let of_the_day = |other: &TestResult| other.value.is_some() && other.date == date;
        if let Some((rival, _)) = results.into_iter().find(|(id, other)| *id != counts && of_the_day(other)) {
            let place = Field { record: rival, route: vec!["date".to_owned()] };
            let message = format!("{} is of the same day, and counts", loaded.record(counts).id);
            self.report(ValueProblemKind::Twice, &place, 0, message, "put both into one result, or mend a date");
        }
    }

    fn targets(&mut self) {
        let loaded = &*self.graph.loaded;
        for (index, _, target) in loaded.targets() {
            let node = self.by_key[&Key::Record(index)];
            self.locals(index, &target.given, &["given"], None);
            self.own_value(index, node, target);
            if let Some((result, value)) = self.latest_result(index) {
                self.rival(index, result);
                let place = Field { record: result, route: vec!["value".to_owned()] };
                self.settle(index, node, Origin::Result(result));
                self.give(node, &value, &place);
            }
        }
    }

    /// Clears a node for another source of its value.
    fn settle(&mut self, index: RecordId, node: NodeId, origin: Origin) {
        let own = &mut self.network.nodes[node];
        own.inputs.clear();
        own.rule = Rule::None;
        own.uncertainty = 0.0;
        self.origins.insert(index, origin);
    }

    /// What the target itself says of its value: `formula`, else `total`, else `estimate`.
    fn own_value(&mut self, index: RecordId, node: NodeId, target: &Target) {
        let place = |key: &str| Field { record: index, route: vec![key.to_owned()] };
        let said = [
            ("formula", target.formula.is_some()),
            ("total", target.total.is_some()),
            ("estimate", target.estimate.is_some()),
        ];
        let mut said = said.iter().filter(|(_, there)| *there).map(|(key, _)| *key);
        if let (Some(first), Some(second)) = (said.next(), said.next()) {
            let message = format!("both `{first}` and `{second}` give the value");
            self.report(
                ValueProblemKind::Twice,
                &place(second),
                0,
                message,
                format!("`{first}` counts: remove the other"),
            );
        }
        if let Some(formula) = &target.formula {
            self.origins.insert(index, Origin::Formula);
            self.define(node, formula.text(), &place("formula"));
        } else if let Some(amount) = &target.total {
            self.origins.insert(index, Origin::Total);
            self.total(node, target, amount, &place("total"));
        } else if let Some(estimate) = &target.estimate {
            self.origins.insert(index, Origin::Estimate);
            self.give(node, estimate, &place("estimate"));
        }
    }

    fn total(&mut self, node: NodeId, target: &Target, amount: &Id, place: &Field) {
        let Some(number) = self.amounts.iter().position(|known| **known == *amount.as_str()).map(|at| at as u16) else {
            let names: Vec<&str> = self.amounts.iter().map(AsRef::as_ref).collect();
            let help = suggest::did_you_mean(amount.as_str(), names, "give it under `amounts` of parts");
            self.report(ValueProblemKind::Reference, place, 0, format!("no part has an amount `{amount}`"), help);
            return;
        };
        let Some(of) = target.of.as_ref().map(Id::as_str) else { return };
        let of_part = self.graph.loaded.find(of).filter(|i| matches!(self.graph.loaded.record(*i).body, Body::Part(_)));
        let (source, factor) = match (of_part, of == CAR) {
            // One part counts as often as the car has it, with its growth: read it off the roll-up.
            (Some(part), _) => {
                let piece = self.by_key.get(&Key::Part(part, number)).copied();
                let car = self.by_key.get(&Key::Group(None, number)).copied();
                let factor = piece.zip(car).and_then(|(piece, car)| {
                    let group = &self.network.nodes[car];
                    let at = group.inputs.iter().position(|input| *input == piece)?;
                    match &group.rule {
                        Rule::Total(factors) => factors.get(at).copied(),
                        _ => None,
                    }
                });
                (piece, factor.unwrap_or(1.0))
            }
            (None, true) => (self.by_key.get(&Key::Group(None, number)).copied(), 1.0),
            (None, false) => {
                let system = self.graph.loaded.find(of);
                (system.and_then(|system| self.by_key.get(&Key::Group(Some(system), number)).copied()), 1.0)
            }
        };
        let Some(source) = source else { return };
        let found = self.network.nodes[source].dimension;
        if let Some(wanted) = self.wanted[node].filter(|wanted| *wanted != found) {
            self.mismatch(place, 0, found, wanted);
            return;
        }
        self.network.nodes[node].inputs = vec![source];
        self.network.nodes[node].rule = Rule::Total(vec![factor]);
    }
}
