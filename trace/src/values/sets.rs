//! What the keys under `sets` of an alternative change in the value graph, and which of them cannot be set.

use std::sync::Arc;

use foldhash::HashMap;
use schema::quantity::Unit;
use schema::records::{Alternative, Amount, Analysis, Body, Part, SetTo, Setting};
use schema::words::{CAR, shorten};
use schema::{Quantity, Ref};

use super::names::{any_of, did_you_mean};
use super::network::{Network, Rule, Value};
use super::{Key, ModelTable, Origin, Values, growth};
use crate::ids::{NodeId, RecordId};
use crate::load::is_table_name;

/// Why a key under `sets` cannot be set.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SetProblem {
    /// The kind of the problem, which determines the check that reports it.
    pub kind: SetProblemKind,
    /// What is wrong.
    pub message: String,
    /// How to fix it.
    pub help: String,
    /// Whether the name is that of an amount of a system or the car, which are those of their parts.
    pub is_amount_of_parts: bool,
}

/// The kind of a problem of a key under `sets`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SetProblemKind {
    /// The record does not exist or is of the wrong kind; the graph reports it with all other references.
    Record,
    /// The record has no such amount or input.
    Name,
    /// The unit does not match.
    Unit,
    /// A value that the key cannot have.
    Bad,
}

impl SetProblem {
    fn new(kind: SetProblemKind, message: impl Into<String>, help: impl Into<String>) -> Self {
        Self { kind, message: message.into(), help: help.into(), is_amount_of_parts: false }
    }
}

/// A key under `sets` that cannot be set: the decision, the keys below it, and what is wrong.
pub type FoundSetProblem<'v> = (RecordId, [&'v str; 4], SetProblem);

/// What a key under `sets` changes.
#[derive(Clone, Debug)]
pub enum Effect {
    /// A value.
    Value {
        /// Its node.
        node: NodeId,
        /// The new value, in SI.
        value: f64,
        /// Its own expanded uncertainty (k = 2), if it has one.
        uncertainty: Option<f64>,
        /// By how much the growth allowance of another basis changes the factor of an amount in its totals.
        factor: f64,
    },
    /// The count of a part, as a ratio to the one in the records.
    Count(RecordId, f64),
    /// A part is taken out.
    Without(RecordId),
    /// An input of a model that is not under `given`, so that it has its default.
    Input(RecordId, &'static str, Value),
    /// A list of a model.
    List(RecordId, &'static str, Vec<f64>),
    /// A table of a model.
    Table(RecordId, &'static str, ModelTable),
}

impl Values {
    /// The keys under `sets` of a decision that cannot be set.
    pub fn set_problems(&self, decision: RecordId) -> Vec<FoundSetProblem<'_>> {
        let known = self.set_problems.get_or_init(|| {
            let decisions = self.graph.loaded.decisions().map(|(decision, ..)| (decision, self.unset(decision)));
            decisions.filter(|(_, problems)| !problems.is_empty()).collect()
        });
        let mut problems = known.get(&decision).into_iter().flatten().peekable();
        let mut found = Vec::new();
        for (at, (name, _, (to, _))) in self.all_sets(decision).enumerate() {
            if let Some((_, problem)) = problems.next_if(|(position, _)| *position == at) {
                let route = ["alternatives", name.as_str(), "sets", to.as_str()];
                found.push((decision, route, problem.clone()));
            }
        }
        found
    }

    /// All keys under `sets` of a decision, with their alternatives.
    fn all_sets(&self, decision: RecordId) -> impl Iterator<Item = (&schema::Id, &Alternative, (&Ref, &Setting))> {
        let alternatives = self.graph.loaded.decision(decision).into_iter().flat_map(|body| body.alternatives.iter());
        alternatives.flat_map(|(name, alternative)| alternative.sets.iter().map(move |set| (name, alternative, set)))
    }

    /// The keys under `sets` of a decision that cannot be set, by their positions.
    fn unset(&self, decision: RecordId) -> Vec<(usize, SetProblem)> {
        // Why a number cannot be read is reported where it is read.
        let is_read = |setting: &Setting| setting.value.reading().is_none() || setting.value.quantity().is_some();
        let all = self.all_sets(decision).enumerate().filter(|(_, (.., (_, setting)))| is_read(setting));
        all.filter_map(|(at, (_, alternative, (to, setting)))| Some((at, self.effect(alternative, to, setting).err()?)))
            .collect()
    }

    /// What a key under `sets` of an alternative changes.
    ///
    /// # Errors
    /// An unknown name, a unit that does not match, or a key that cannot have this value.
    pub fn effect(&self, alternative: &Alternative, to: &Ref, setting: &Setting) -> Result<Effect, SetProblem> {
        let loaded = &self.graph.loaded;
        let (id, key) = to.parts();
        // The graph reports these with its own message.
        let not_settable = || {
            let help = "use a target, an event, `part.amount`, `part.count`, `part: none`, or `analysis.input`";
            SetProblem::new(SetProblemKind::Record, format!("no value with id `{to}` can be set"), help)
        };
        let Some(key) = key else {
            let index = loaded.find(id).ok_or_else(not_settable)?;
            return match (&loaded.record(index).body, &setting.value) {
                (Body::Part(_), SetTo::Nothing) => Ok(Effect::Without(index)),
                (Body::Target(_) | Body::Event(_), SetTo::Quantity(_) | SetTo::Read(_) | SetTo::Text(_)) => {
                    let node = self.record_node(index).ok_or_else(not_settable)?;
                    self.value_effect(to, node, setting, 1.0)
                }
                (Body::Part(_), SetTo::Quantity(_) | SetTo::Read(_) | SetTo::Text(_))
                | (Body::Target(_) | Body::Event(_), SetTo::Nothing)
                // The points of a goal are the sum of its events.
                | (Body::Goal(_) | Body::System(_) | Body::Requirement(_) | Body::Analysis(_), _)
                | (Body::Decision(_) | Body::Result(_) | Body::Revision(_) | Body::Waiver(_), _) => Err(not_settable()),
            };
        };
        if id == CAR {
            let node = self.named(to.as_str()).ok_or_else(|| self.no_amount_of_parts(id, key))?;
            return self.value_effect(to, node, setting, 1.0);
        }
        let index = loaded.find(id).ok_or_else(not_settable)?;
        match &loaded.record(index).body {
            Body::Part(part) => match (part.amounts.get(key), self.named(to.as_str())) {
                (Some(amount), Some(node)) => {
                    if number(to, setting)?.value() < 0.0 {
                        let message = format!("{to} cannot be set to {}", setting.value);
                        let help = "use the amount of one piece, 0 or more";
                        return Err(SetProblem::new(SetProblemKind::Bad, message, help));
                    }
                    if let Some(basis) = self.unknown_basis(key, setting) {
                        let message = format!("unknown basis `{basis}` for `{to}`");
                        return Err(SetProblem::new(SetProblemKind::Record, message, "use one from the settings"));
                    }
                    let factor = self.growth_ratio(key, amount, alternative, setting);
                    self.value_effect(to, node, setting, factor)
                }
                _ if key == "count" => count(to, part, setting).map(|ratio| Effect::Count(index, ratio)),
                _ => Err(self.no_amount(id, key, Some(part))),
            },
            Body::System(_) => {
                let node = self.named(to.as_str()).ok_or_else(|| self.no_amount_of_parts(id, key))?;
                self.value_effect(to, node, setting, 1.0)
            }
            Body::Analysis(analysis) => self.input(index, analysis, to, key, setting),
            Body::Goal(_)
            | Body::Event(_)
            | Body::Target(_)
            | Body::Requirement(_)
            | Body::Decision(_)
            | Body::Result(_)
            | Body::Revision(_)
            | Body::Waiver(_) => Err(not_settable()),
        }
    }

    fn no_amount(&self, id: &str, key: &str, part: Option<&Part>) -> SetProblem {
        let all = self.amounts().iter().map(AsRef::as_ref).chain(part.map(|_| "count"));
        let help = did_you_mean(key, all, "use an amount that the record has");
        SetProblem::new(SetProblemKind::Name, format!("`{id}` has no amount `{key}`"), help)
    }

    fn no_amount_of_parts(&self, id: &str, key: &str) -> SetProblem {
        SetProblem { is_amount_of_parts: true, ..self.no_amount(id, key, None) }
    }

    /// The basis of a value that the settings do not list for its amount, so that its growth allowance is not known.
    fn unknown_basis<'s>(&self, name: &str, setting: &'s Setting) -> Option<&'s schema::Id> {
        let bases = self.graph.loaded.settings().growth.get(name)?;
        setting.basis.as_ref().filter(|basis| bases.get(basis.as_str()).is_none())
    }

    /// The change of a factor of an amount if the value of the alternative has another basis.
    fn growth_ratio(&self, name: &str, amount: &Amount, alternative: &Alternative, setting: &Setting) -> f64 {
        let settings = self.graph.loaded.settings();
        let Some(basis) = alternative.basis_of(setting) else { return 1.0 };
        if settings.growth.get(name).is_none_or(|bases| bases.get(basis.as_str()).is_none()) {
            return 1.0;
        }
        let new = Amount { basis: Some(basis.clone()), ..amount.clone() };
        (1.0 + growth(settings, name, &new)) / (1.0 + growth(settings, name, amount))
    }

    fn value_effect(&self, to: &Ref, node: NodeId, setting: &Setting, factor: f64) -> Result<Effect, SetProblem> {
        let quantity = number(to, setting)?;
        let (dimension, value, uncertainty) = self.in_team(quantity);
        if dimension != self.dimension(node) {
            return Err(unit_problem(to, quantity, self.unit(node)));
        }
        let uncertainty = quantity.uncertainty().map(|_| uncertainty);
        Ok(Effect::Value { node, value, uncertainty, factor })
    }

    /// The input of an analysis: one under `given`, or one of its model that has a default.
    fn input(
        &self,
        index: RecordId,
        analysis: &Analysis,
        to: &Ref,
        key: &str,
        setting: &Setting,
    ) -> Result<Effect, SetProblem> {
        let id = &self.graph.loaded.record(index).id;
        let model = analysis.model.as_ref().and_then(|model| models::find(model.as_str()));
        let input = model.and_then(|model| model.input(key));
        let given = self.node(&Key::Local(index, key.into())).filter(|_| analysis.given.get(key).is_some());
        if input.is_none() && given.is_none() {
            let of_model = || model.into_iter().flat_map(|model| model.inputs.iter().map(|input| input.name));
            let names = || analysis.given.keys().map(schema::Id::as_str).chain(of_model());
            let otherwise = if names().next().is_none() {
                format!("`{id}` has no inputs; set the value that it finds")
            } else {
                format!("its inputs are {}", any_of(names()))
            };
            let help = did_you_mean(key, names(), &otherwise);
            return Err(SetProblem::new(SetProblemKind::Name, format!("`{id}` has no input `{key}`"), help));
        }
        if let Some(newer) = self.superseded_by(id) {
            let message = format!("`{id}` is superseded by `{newer}`, so its inputs change no value");
            return Err(SetProblem::new(SetProblemKind::Bad, message, format!("set the input of `{newer}`")));
        }
        match (input.map(|input| (input.name, &input.kind)), given) {
            (Some((name, models::Kind::Table { columns })), _) => {
                let columns = [columns[0].name, columns[1].name];
                self.table(to, setting, columns).map(|rows| Effect::Table(index, name, rows))
            }
            (Some((name, models::Kind::StressFile | models::Kind::Text | models::Kind::Unit)), _) => {
                let message = format!("{to} cannot be set: `{name}` belongs to the stress file");
                Err(SetProblem::new(SetProblemKind::Bad, message, "set the target that the analysis finds"))
            }
            (Some((name, models::Kind::List)), _) => list(to, setting).map(|all| Effect::List(index, name, all)),
            (_, Some(node)) => self.value_effect(to, node, setting, 1.0),
            (_, None) => {
                let quantity = number(to, setting)?;
                let unit = input.and_then(|input| Unit::parse(input.unit).ok()).unwrap_or_else(Unit::dimensionless);
                let (dimension, value, uncertainty) = self.in_team(quantity);
                if dimension != unit.dimension() {
                    return Err(unit_problem(to, quantity, &unit));
                }
                let rule = Rule::Given(value);
                let value = Value { rule, inputs: Vec::new(), dimension, unit, uncertainty };
                Ok(Effect::Input(index, input.map_or("", |input| input.name), value))
            }
        }
    }

    /// The analysis that replaces another one.
    fn superseded_by(&self, id: &schema::Id) -> Option<&schema::Id> {
        let loaded = &self.graph.loaded;
        let superseded = self.superseded.get_or_init(|| {
            let mut newer = HashMap::default();
            for (index, _, analysis) in loaded.analyses() {
                for id in &analysis.supersedes {
                    newer.entry(id.clone()).or_insert(index);
                }
            }
            newer
        });
        superseded.get(id).map(|index| &loaded.record(*index).id)
    }

    fn table(&self, to: &Ref, setting: &Setting, columns: [&'static str; 2]) -> Result<ModelTable, SetProblem> {
        let file = match &setting.value {
            SetTo::Text(text) if is_table_name(text) => text,
            other => {
                let message = format!("{to} is a table, and cannot be set to `{other}`");
                let help = format!("name a CSV file with the columns {} and {}", columns[0], columns[1]);
                return Err(SetProblem::new(SetProblemKind::Bad, message, help));
            }
        };
        let missing = || SetProblem::new(SetProblemKind::Record, format!("file not found: `{file}`"), "add the file");
        let rows = self.graph.loaded.model_table(file, columns).ok_or_else(missing)?;
        rows.map_err(|error| SetProblem::new(SetProblemKind::Bad, format!("{file}, {error}"), error.help))
    }

    /// The value graph with some effects, as if the records contained them, and the nodes that became others.
    pub(super) fn with_effects(&self, effects: &[&Effect]) -> (Network, Vec<NodeId>) {
        let values: Vec<(NodeId, f64, Option<f64>)> = effects
            .iter()
            .filter_map(|effect| match effect {
                Effect::Value { node, value, uncertainty, .. } => Some((*node, *value, *uncertainty)),
                _ => None,
            })
            .collect();
        let mut network = self.network.with_values(&self.state, &|| self.partials(), &values);
        let mut changed: Vec<NodeId> = values.iter().map(|(node, ..)| *node).collect();
        // By the input, in the order of the effects.
        let mut ratios: HashMap<NodeId, Vec<f64>> = HashMap::default();
        for effect in effects {
            match effect {
                Effect::Value { node, factor, .. } => ratios.entry(*node).or_default().push(*factor),
                Effect::Count(part, ratio) => {
                    let pieces = self.pieces(*part);
                    pieces.iter().for_each(|piece| ratios.entry(*piece).or_default().push(*ratio));
                    changed.extend(pieces);
                }
                Effect::Without(part) => {
                    let pieces = self.pieces(*part);
                    for &piece in &pieces {
                        let own = &mut network.nodes[piece];
                        (own.rule, own.uncertainty) = (Rule::Given(0.0), 0.0);
                        own.inputs.clear();
                    }
                    changed.extend(pieces);
                }
                Effect::Input(analysis, name, value) => {
                    let Some(&(call, ref outputs)) = self.outputs_of(*analysis) else { continue };
                    let node = NodeId::new(network.nodes.len());
                    network.nodes.push(value.clone());
                    network.order.insert(0, node);
                    for output in outputs {
                        network.nodes[*output].inputs.push(node);
                    }
                    let mut own = (*network.calls[call]).clone();
                    own.numbers.push(name);
                    network.calls[call] = Arc::new(own);
                    changed.extend(outputs);
                }
                Effect::List(analysis, name, entries) => {
                    let Some(&(call, ref outputs)) = self.outputs_of(*analysis) else { continue };
                    let mut own = (*network.calls[call]).clone();
                    own.lists.retain(|(list, _)| list != name);
                    own.lists.push((name, entries.clone()));
                    network.calls[call] = Arc::new(own);
                    changed.extend(outputs);
                }
                Effect::Table(analysis, name, rows) => {
                    let Some(&(call, ref outputs)) = self.outputs_of(*analysis) else { continue };
                    let mut own = (*network.calls[call]).clone();
                    own.tables.retain(|(table, _)| table != name);
                    own.tables.push((name, Arc::clone(rows)));
                    network.calls[call] = Arc::new(own);
                    changed.extend(outputs);
                }
            }
        }
        scale(&mut network, &ratios);
        (network, changed)
    }

    /// The amounts of one piece of a part.
    pub(super) fn pieces(&self, part: RecordId) -> Vec<NodeId> {
        (0..self.amounts().len() as u16).filter_map(|amount| self.node(&Key::Part(part, amount))).collect()
    }

    /// The call of the model of an analysis, and the values that are its outputs.
    fn outputs_of(&self, analysis: RecordId) -> Option<&(usize, Vec<NodeId>)> {
        let outputs = self.outputs.get_or_init(|| {
            let mut all: HashMap<RecordId, (usize, Vec<NodeId>)> = HashMap::default();
            for (target, ..) in self.graph.loaded.targets() {
                let (Origin::Analysis(finder), Some(node)) = (self.origin(target), self.record_node(target)) else {
                    continue;
                };
                if let Rule::Model { call, .. } = self.network.nodes[node].rule {
                    all.entry(finder).or_insert_with(|| (call, Vec::new())).1.push(node);
                }
            }
            all
        });
        outputs.get(&analysis)
    }
}

/// Multiplies the factors of some inputs in every total.
fn scale(network: &mut Network, ratios: &HashMap<NodeId, Vec<f64>>) {
    if ratios.is_empty() {
        return;
    }
    for value in &mut network.nodes {
        if let Rule::Total(factors) = &mut value.rule {
            for (factor, input) in factors.iter_mut().zip(&value.inputs) {
                *factor = ratios.get(input).into_iter().flatten().fold(*factor, |factor, ratio| factor * ratio);
            }
        }
    }
}

/// The quantity that a value is set to.
fn number<'s>(to: &Ref, setting: &'s Setting) -> Result<&'s Quantity, SetProblem> {
    match &setting.value {
        SetTo::Quantity(quantity) => Ok(quantity),
        SetTo::Read(figure) => figure.quantity().ok_or_else(|| unread(to, setting)),
        SetTo::Text(text) => {
            let why = Quantity::parse(text).err().map(String::from).unwrap_or_default();
            Err(SetProblem::new(
                SetProblemKind::Bad,
                format!("{to} cannot be set to `{text}`: {why}"),
                "use one quantity",
            ))
        }
        SetTo::Nothing => {
            let help = format!("use a quantity; `{}: none` takes out a part", to.parts().0);
            Err(SetProblem::new(SetProblemKind::Bad, format!("{to} cannot be set to `none`"), help))
        }
    }
}

/// The problem of a number that could not be read from its evidence file.
fn unread(to: &Ref, setting: &Setting) -> SetProblem {
    let file = setting.value.reading().map(|reading| shorten(&reading.from)).unwrap_or_default();
    let message = format!("{to} is not set: its number could not be read from `{file}`");
    SetProblem::new(
        SetProblemKind::Bad,
        message,
        "correct the file, or the keys under `value`: `tierod check` shows the error",
    )
}

/// The count of a part as a ratio to the one in its record.
fn count(to: &Ref, part: &Part, setting: &Setting) -> Result<f64, SetProblem> {
    let quantity = number(to, setting)?;
    let count = quantity.value();
    if !quantity.unit().dimension().is_one() || quantity.unit().factor() != 1.0 {
        let message = format!("{to} is set to {quantity}, but a count has no unit");
        return Err(SetProblem::new(SetProblemKind::Unit, message, "use a whole number"));
    }
    if count < 1.0 || count.fract() != 0.0 || count > f64::from(u32::MAX) || quantity.uncertainty().is_some() {
        let help = format!("use a whole number, 1 or more; `{}: none` takes out the part", to.parts().0);
        return Err(SetProblem::new(SetProblemKind::Bad, format!("{to} cannot be set to {quantity}"), help));
    }
    Ok(count / f64::from(part.count.unwrap_or(1)))
}

/// The numbers of a list.
fn list(to: &Ref, setting: &Setting) -> Result<Vec<f64>, SetProblem> {
    match &setting.value {
        SetTo::Quantity(quantity) => Ok(vec![quantity.si()]),
        SetTo::Read(figure) => Ok(vec![figure.quantity().ok_or_else(|| unread(to, setting))?.si()]),
        SetTo::Text(text) if !is_table_name(text) => {
            Ok(text.split(',').filter_map(|item| Quantity::parse(item).ok()).map(|quantity| quantity.si()).collect())
        }
        other => {
            let message = format!("{to} is a list, and cannot be set to `{other}`");
            Err(SetProblem::new(SetProblemKind::Bad, message, "use numbers with commas between them"))
        }
    }
}

fn unit_problem(to: &Ref, quantity: &Quantity, unit: &Unit) -> SetProblem {
    let name = unit.to_string();
    let unit = if name.is_empty() { "no unit".to_owned() } else { format!("`{name}`") };
    let message = format!("{to} is set to {quantity}, but the unit of its value is {unit}");
    SetProblem::new(SetProblemKind::Unit, message, "correct the unit; until then the alternative has no points")
}
