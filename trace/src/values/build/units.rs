//! Units that do not match: dimensions, temperatures with their own zero, shaft speeds, and names that are units too.

use schema::formula::{Scale, ValueKind};
use schema::quantity::{Dimension, Unit};
use schema::records::{Body, LimitStyle};
use schema::{Quantity, number};

use super::builder::{Builder, Field};
use crate::ids::NodeId;
use crate::values::Key;
use crate::values::network::Rule;
use crate::values::problems::ValueProblemKind;

/// A name after `/` or `*` in a unit that is also a name in the record: `t` in `9 s/t`.
#[derive(Debug)]
pub(super) struct Clash {
    /// The value with the unit.
    node: NodeId,
    /// The value that the name could mean.
    named: NodeId,
    /// The name.
    name: Box<str>,
    /// The position in the text.
    offset: usize,
    /// The key of the text.
    field: Field,
}

impl Builder<'_> {
    /// Reports a value of another dimension than required. `found`: as written, or its unit.
    pub(super) fn report_mismatch(&mut self, field: &Field, node: NodeId, found: Dimension, required: Dimension) {
        let (message, help) = match self.limit_of(node) {
            Some((limit, unit)) => (
                format!(
                    "unit does not match: the limit is {limit}, {}, and the value is {}",
                    with_name(required),
                    words(found)
                ),
                format!("give the value in {unit}, or correct the limit"),
            ),
            None => (
                format!("unit does not match: expected {}, found {}", bare(required), bare(found)),
                "correct the unit or the formula".to_owned(),
            ),
        };
        self.report(ValueProblemKind::Unit, field, 0, message, help);
    }

    /// The limit of the target that a node is the value of, as it is written, and its unit.
    fn limit_of(&self, node: NodeId) -> Option<(String, String)> {
        let Key::Record(index) = self.keys[node] else { return None };
        let Body::Target(target) = &self.graph.loaded.record(index).body else { return None };
        let limit = target.limit_text(LimitStyle::Words);
        let unit = self.network.nodes[node].unit.to_string();
        let unit = if unit.is_empty() { "a number without unit".to_owned() } else { format!("`{unit}`") };
        (!limit.is_empty()).then_some((format!("`{limit}`"), unit))
    }

    /// Reports a quantity whose unit does not match that of its node, and returns whether there is such a problem.
    /// `units`: of the quantity in the currency of the team, and the one that is expected.
    pub(super) fn report_wrong_unit(
        &mut self,
        node: NodeId,
        quantity: &Quantity,
        units: (&Unit, &Unit),
        field: &Field,
    ) -> bool {
        let Some(required) = self.required[node] else { return false };
        let (unit, expected) = units;
        let found = unit.dimension();
        if required == found {
            return self.report_frequency(node, Some(quantity), unit, field);
        }
        let own = expected.to_string();
        let text = quantity.text();
        let of_money = found.currency().is_some() && required.currency().is_some();
        let (message, help) = match self.limit_of(node) {
            None if of_money => (
                format!("`{text}` is not in `{own}`"),
                format!(
                    "give it in `{own}`, or add a rate for {} under `rates` in the settings",
                    found.currency().map_or("", |currency| currency.code())
                ),
            ),
            Some((limit, unit)) => (
                format!("`{text}` is {}, and the limit is {limit}, {}", with_name(found), with_name(required)),
                format!("give it in {unit}, or correct the limit"),
            ),
            None => (
                format!("`{text}` is {}, and {} is expected here", with_name(found), with_name(required)),
                match required.is_one() {
                    true => "give a number without unit, or a percentage".to_owned(),
                    false => format!("give it in `{own}`"),
                },
            ),
        };
        let help = if found.is_one() && quantity.unit().to_string().is_empty() && !own.is_empty() {
            format!("add the unit: `{text} {own}`")
        } else {
            looks_like(quantity, required).unwrap_or(help)
        };
        self.report(ValueProblemKind::Unit, field, 0, message, help);
        true
    }

    /// Reports a frequency in place of a shaft speed, or the reverse, and returns whether there is such a problem: one
    /// turn is an angle of 2 pi, so both are numbers per second, but not the same one.
    fn report_frequency(&mut self, node: NodeId, quantity: Option<&Quantity>, unit: &Unit, field: &Field) -> bool {
        let own = &self.network.nodes[node].unit;
        let swapped = own.is_frequency() && unit.is_shaft_speed();
        let without_angle = own.is_shaft_speed() && unit.is_frequency();
        if !swapped && !without_angle {
            return false;
        }
        let message = if swapped {
            format!("`{unit}` is a shaft speed, and `{own}` of the limit names no angle")
        } else {
            format!("`{unit}` names no angle, and the limit in `{own}` is a shaft speed")
        };
        let help = match quantity.filter(|_| !swapped) {
            Some(quantity) => in_rpm(quantity),
            None => "use rpm, rad/s or deg/s for both".to_owned(),
        };
        self.report(ValueProblemKind::Unit, field, 0, message, help);
        true
    }

    /// Reports an input of a model that is a shaft speed and given in a unit without an angle.
    pub(super) fn report_shaft_speed(&mut self, name: &str, node: NodeId, given: Option<&Quantity>, field: &Field) {
        let Some(unit) = self.written_unit(node).filter(Unit::is_frequency) else { return };
        let message =
            format!("`{name}` is a shaft speed, and `{unit}` names no angle: it could count turns or radians");
        let help = given.map_or_else(|| "give the value that it names in rpm, rad/s or deg/s".to_owned(), in_rpm);
        self.report(ValueProblemKind::Unit, field, 0, message, help);
    }

    /// The unit in which a value, or the value that it names, is written; `None` for a calculated one.
    fn written_unit(&self, mut node: NodeId) -> Option<Unit> {
        // A chain of names longer than this is a cycle, or hardly one of units.
        for _ in 0..16 {
            let value = &self.network.nodes[node];
            match &value.rule {
                Rule::Formula(formula) if self.required[node].is_none() && formula.only_name().is_some() => {
                    node = *value.inputs.first()?;
                }
                Rule::Formula(_) if self.required[node].is_none() => return None,
                _ => return Some(value.unit.clone()),
            }
        }
        None
    }

    /// Whether the value of a formula fits the unit of its node: a difference of temperatures is none with a zero of its
    /// own. Reports it if it does not.
    pub(super) fn fits_scale(&mut self, node: NodeId, found: ValueKind, named: Option<NodeId>, field: &Field) -> bool {
        let own = self.network.nodes[node].unit.clone();
        if let Some(input) = named
            && self.required[node].is_some()
            && self.report_frequency(node, None, &self.network.nodes[input].unit.clone(), field)
        {
            return false;
        }
        if !own.has_own_zero() || found.scale != Scale::Difference {
            return true;
        }
        let limit = match self.keys[node] {
            Key::Record(index) => self.graph.loaded.target(index).and_then(|target| target.limit().next()),
            Key::Part(..) | Key::Group(..) | Key::Local(..) | Key::NotInParts(_) => None,
        };
        let in_kelvin = own.of_differences();
        let (message, help) = match limit {
            Some((key, quantity)) => (
                format!(
                    "a difference of two temperatures is in {in_kelvin}, and the limit `{quantity}` is a temperature"
                ),
                format!(
                    "give the limit as a difference: `{key}: {} {in_kelvin}`",
                    number::significant(quantity.value() * own.factor(), 4)
                ),
            ),
            None => (
                format!("a difference of two temperatures is in {in_kelvin}, not in {own}"),
                format!("give the other value in {in_kelvin}"),
            ),
        };
        self.report(ValueProblemKind::Unit, field, 0, message, help);
        false
    }

    /// Notes the names in the unit of a quantity that are also names of the record.
    pub(super) fn note_clashes(&mut self, node: NodeId, quantity: &Quantity, field: &Field) {
        let unit = quantity.unit().to_string();
        if !unit.contains(['/', '*']) {
            return;
        }
        for atom in quantity.unit().atoms().skip(1) {
            let offset = quantity.text().find(&unit).unwrap_or(0) + unit.rfind(atom).unwrap_or(0);
            self.note_clash(node, atom, quantity.text().get(..offset).map_or(0, |text| text.chars().count()), field);
        }
    }

    /// Notes a name in a unit, if it is also a name of the record.
    pub(super) fn note_clash(&mut self, node: NodeId, name: &str, offset: usize, field: &Field) {
        let Some(&named) = self.by_key.get(&Key::Local(field.record, name.into())) else { return };
        self.clashes.push(Clash { node, named, name: name.into(), offset, field: field.clone() });
    }

    /// Reports units that could also be a division by a value of the record, unless the dimension of the result shows that
    /// the unit is meant. Their values are not used.
    pub(super) fn report_clashes(&mut self) {
        for clash in std::mem::take(&mut self.clashes) {
            let unit = Unit::parse(&clash.name).ok();
            let same = unit.as_ref().is_none_or(|unit| unit.dimension() == self.network.nodes[clash.named].dimension);
            if self.required[clash.node].is_some() && !same {
                continue;
            }
            let message = format!("`{}` is a unit here, and also a name in this record", clash.name);
            let help = format!(
                "put spaces around the sign before `{}` to use the value, or give the value another name",
                clash.name
            );
            self.report(ValueProblemKind::Unit, &clash.field, clash.offset, message, help);
            self.clear(clash.node);
        }
    }
}

/// A quantity in revolutions per minute, as a fix.
fn in_rpm(quantity: &Quantity) -> String {
    let rpm = number::precise(quantity.si() * 60.0);
    format!("use `{rpm} rpm` for turns, or rad/s or deg/s")
}

/// Another unit that looks like the one that was written, and matches.
fn looks_like(quantity: &Quantity, required: Dimension) -> Option<String> {
    const ALIKE: [(&str, &str, &str); 5] = [
        ("C", "°C", "coulomb"),
        ("F", "°F", "farad"),
        ("g", "gn", "gram"),
        ("kg", "kgf", "a mass"),
        ("lb", "lbf", "a mass"),
    ];
    let unit = quantity.unit().to_string();
    let (_, meant, is) = ALIKE.iter().find(|(written, meant, _)| {
        *written == unit && Unit::parse(meant).is_ok_and(|meant| meant.dimension() == required)
    })?;
    Some(format!("`{unit}` is {is}: use `{} {meant}`", number::precise(quantity.value())))
}

/// A dimension as text for a message.
fn bare(dimension: Dimension) -> String {
    if dimension.is_one() { "a number without unit".to_owned() } else { format!("`{dimension}`") }
}

/// A dimension as text after "is".
fn words(dimension: Dimension) -> String {
    if dimension.is_one() { bare(dimension) } else { format!("in {}", bare(dimension)) }
}

/// The name of a quantity with an article; the dimension if it has no name.
fn with_name(dimension: Dimension) -> String {
    if dimension.is_one() {
        return "a number without unit".to_owned();
    }
    match dimension.name_in_text() {
        "other" | "cost" => format!("in `{dimension}`"),
        "points" => "a number of points".to_owned(),
        name if name.starts_with(['a', 'e', 'i', 'o', 'u']) => format!("an {name}"),
        name => format!("a {name}"),
    }
}
