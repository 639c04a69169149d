//! The dimension of a formula, and where its units do not match.

use super::{Formula, FormulaError, FormulaErrorKind, Function, Op};
use crate::quantity::{Dimension, Unit};

/// Whether a temperature depends on where the zero of its scale is.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Scale {
    /// Any other quantity, or a temperature in kelvins, which can be absolute or a difference.
    #[default]
    Plain,
    /// A temperature on a scale with its own zero: `20 °C`.
    Point,
    /// The difference of two temperatures.
    Difference,
}

impl Scale {
    fn sum(self, other: Self) -> Option<Self> {
        match (self, other) {
            (Self::Point, Self::Point) => None,
            (Self::Point, _) | (_, Self::Point) => Some(Self::Point),
            (Self::Difference, Self::Difference) => Some(Self::Difference),
            _ => Some(Self::Plain),
        }
    }

    fn difference(self, other: Self) -> Option<Self> {
        match (self, other) {
            (Self::Difference, Self::Point) => None,
            (Self::Point | Self::Plain, Self::Point) | (Self::Difference, Self::Difference) => Some(Self::Difference),
            (Self::Point, _) => Some(Self::Point),
            _ => Some(Self::Plain),
        }
    }

    /// The scale of a value that is either of two; `None` if they cannot be compared.
    fn either(self, other: Self) -> Option<Self> {
        match (self, other) {
            (Self::Point, Self::Difference) | (Self::Difference, Self::Point) => None,
            (Self::Point, _) | (_, Self::Point) => Some(Self::Point),
            (Self::Difference, Self::Difference) => Some(Self::Difference),
            _ => Some(Self::Plain),
        }
    }
}

/// The dimension of a value, and its scale if it is a temperature.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct ValueKind {
    /// The dimension.
    pub dimension: Dimension,
    /// The scale.
    pub scale: Scale,
}

impl ValueKind {
    /// A value that does not depend on the zero of a scale.
    pub fn plain(dimension: Dimension) -> Self {
        Self { dimension, scale: Scale::Plain }
    }

    /// A value in this unit.
    pub fn of_unit(unit: &Unit) -> Self {
        let scale = if unit.has_own_zero() { Scale::Point } else { Scale::Plain };
        Self { dimension: unit.dimension(), scale }
    }
}

/// The result of a step: a value, or a truth value, which is allowed only as a condition.
#[derive(Clone, Copy)]
enum StepResult {
    Value(ValueKind),
    Truth,
}

fn unit(start: usize, message: String, help: &str) -> FormulaError {
    FormulaError { kind: FormulaErrorKind::Unit, start, message, help: help.to_owned() }
}

pub(super) fn kind(formula: &Formula, names: &[ValueKind]) -> Result<ValueKind, FormulaError> {
    let mut steps: Vec<StepResult> = Vec::with_capacity(formula.ops.len());
    // The values of steps that contain only constants, for powers of values with a dimension.
    let mut constants: Vec<Option<f64>> = Vec::with_capacity(formula.ops.len());
    for (step, op) in formula.ops.iter().enumerate() {
        let spot = formula.spots[step];
        let value = |at: u32| match steps[at as usize] {
            StepResult::Value(kind) => Ok(kind),
            StepResult::Truth => Err(unit(
                formula.spots[at as usize],
                "expected a value, found a comparison".to_owned(),
                "use it as the condition of `if(condition, a, b)`",
            )),
        };
        let same = |a: u32, b: u32, what: &str| {
            let (left, right) = (value(a)?, value(b)?);
            if left.dimension == right.dimension {
                return Ok([left, right]);
            }
            let message = format!("{what} {} and {}", words(left.dimension), words(right.dimension));
            Err(unit(
                spot,
                message,
                "both sides need matching units: add the unit of the number, or convert one of them",
            ))
        };
        let either = |a: u32, b: u32, what: &str| {
            let [left, right] = same(a, b, what)?;
            let Some(scale) = left.scale.either(right.scale) else {
                let message = format!("{what} a temperature and a difference of temperatures");
                return Err(unit(spot, message, "a difference of two °C is in K: give the other side in K, too"));
            };
            Ok(ValueKind { scale, ..left })
        };
        // A factor of a product, or the base of a power.
        let factor = |at: u32| {
            let found = value(at)?;
            if found.scale == Scale::Point {
                let help = "subtract another temperature first, or give it in K (`x - -273.15 °C` is the absolute one)";
                let message = "a temperature with its own zero (°C, °F) in a product, quotient or power".to_owned();
                return Err(unit(formula.spots[at as usize], message, help));
            }
            Ok(found)
        };
        let plain = |at: u32, what: &str| {
            let kind = value(at)?;
            if kind.dimension.is_one() {
                return Ok(kind);
            }
            let help = "divide by a quantity with a matching unit first";
            Err(unit(
                formula.spots[at as usize],
                format!("{what} needs a number without unit, found {}", words(kind.dimension)),
                help,
            ))
        };
        let constant = |at: u32| constants[at as usize];
        let no_dimension = || {
            unit(
                spot,
                "the unit of the result cannot be calculated".to_owned(),
                "avoid two currencies in one formula, and very high powers",
            )
        };
        // A difference of temperatures times a number is one, too.
        let product = |a: ValueKind, b: ValueKind, dimension: Option<Dimension>| {
            let scale = match (a.scale, b.scale) {
                (Scale::Difference, _) if b.dimension.is_one() => Scale::Difference,
                (_, Scale::Difference) if a.dimension.is_one() => Scale::Difference,
                _ => Scale::Plain,
            };
            dimension.map(|dimension| ValueKind { dimension, scale }).ok_or_else(no_dimension)
        };
        let (step, known) = match *op {
            Op::Constant(number) => (StepResult::Value(formula.units[step]), Some(number)),
            Op::Name(name) => (StepResult::Value(names.get(name as usize).copied().unwrap_or_default()), None),
            Op::Negate(a) => (StepResult::Value(factor(a)?), constant(a).map(|a| -a)),
            Op::Add(a, b) => {
                let [left, right] = same(a, b, "adding")?;
                let Some(scale) = left.scale.sum(right.scale) else {
                    let help = "add a difference in K, or subtract one temperature from the other";
                    return Err(unit(
                        spot,
                        "adding two temperatures that have their own zero (°C, °F)".to_owned(),
                        help,
                    ));
                };
                (StepResult::Value(ValueKind { scale, ..left }), constant(a).zip(constant(b)).map(|(a, b)| a + b))
            }
            Op::Subtract(a, b) => {
                let [left, right] = same(a, b, "subtracting")?;
                let Some(scale) = left.scale.difference(right.scale) else {
                    let message = "subtracting a temperature from a difference of temperatures".to_owned();
                    return Err(unit(spot, message, "a difference of two °C is in K: subtract a value in K"));
                };
                (StepResult::Value(ValueKind { scale, ..left }), constant(a).zip(constant(b)).map(|(a, b)| a - b))
            }
            Op::Multiply(a, b) => {
                let (left, right) = (factor(a)?, factor(b)?);
                let found = product(left, right, left.dimension.times(right.dimension))?;
                (StepResult::Value(found), constant(a).zip(constant(b)).map(|(a, b)| a * b))
            }
            Op::Divide(a, b) => {
                let (left, right) = (factor(a)?, factor(b)?);
                let found = product(left, right, left.dimension.over(right.dimension))?;
                (StepResult::Value(found), constant(a).zip(constant(b)).map(|(a, b)| a / b))
            }
            Op::Power(a, b) => {
                let base = factor(a)?.dimension;
                plain(b, "a power")?;
                let dimension = match (base.is_one(), constant(b)) {
                    (true, _) => base,
                    (false, Some(power)) => base.power(power).ok_or_else(no_dimension)?,
                    (false, None) => {
                        let message = format!("{} is raised to a power that is not a constant", words(base));
                        return Err(unit(spot, message, "use a number as the power, or a base without unit"));
                    }
                };
                (StepResult::Value(ValueKind::plain(dimension)), constant(a).zip(constant(b)).map(|(a, b)| a.powf(b)))
            }
            Op::Compare(_, a, b) => {
                either(a, b, "comparing")?;
                (StepResult::Truth, None)
            }
            Op::If(condition, a, b) => {
                if let StepResult::Value(_) = steps[condition as usize] {
                    let message = "the condition of `if` is not a comparison".to_owned();
                    return Err(unit(
                        formula.spots[condition as usize],
                        message,
                        "use a comparison, for example `time < slowest`",
                    ));
                }
                (StepResult::Value(either(a, b, "`if` gives")?), None)
            }
            Op::Min(a, b) => (StepResult::Value(either(a, b, "`min` of")?), None),
            Op::Max(a, b) => (StepResult::Value(either(a, b, "`max` of")?), None),
            Op::Call(Function::Abs, a) => (StepResult::Value(factor(a)?), None),
            Op::Call(Function::Sqrt, a) => {
                let root = factor(a)?.dimension.power(0.5).ok_or_else(no_dimension)?;
                (StepResult::Value(ValueKind::plain(root)), constant(a).map(f64::sqrt))
            }
            Op::Call(Function::Exp, a) => (StepResult::Value(plain(a, "`exp`")?), constant(a).map(f64::exp)),
            Op::Call(Function::Ln, a) => (StepResult::Value(plain(a, "`ln`")?), constant(a).map(f64::ln)),
            Op::Call(Function::Sin, a) => (StepResult::Value(plain(a, "`sin`")?), None),
            Op::Call(Function::Cos, a) => (StepResult::Value(plain(a, "`cos`")?), None),
        };
        steps.push(step);
        constants.push(known);
    }
    match steps.last() {
        Some(StepResult::Value(kind)) => Ok(*kind),
        _ => Err(unit(
            formula.spots.last().copied().unwrap_or(0),
            "the formula is a comparison, not a value".to_owned(),
            "use `if(condition, a, b)`",
        )),
    }
}

/// A dimension as text for a message.
fn words(dimension: Dimension) -> String {
    if dimension.is_one() { "a number without unit".to_owned() } else { format!("`{dimension}`") }
}
