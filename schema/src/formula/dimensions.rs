//! The dimension of a formula, and where its units do not match.

use super::{Formula, FormulaError, FormulaErrorKind, Function, Op};
use crate::quantity::Dimension;

/// The result of a step: a value with a dimension, or a truth value, which is allowed only as a condition.
#[derive(Clone, Copy)]
enum Kind {
    Value(Dimension),
    Truth,
}

fn unit(start: usize, message: String, help: &str) -> FormulaError {
    FormulaError { kind: FormulaErrorKind::Unit, start, message, help: help.to_owned() }
}

pub(super) fn dimension(formula: &Formula, names: &[Dimension]) -> Result<Dimension, FormulaError> {
    let mut kinds: Vec<Kind> = Vec::with_capacity(formula.ops.len());
    // The values of steps that contain only constants, for powers of values with a dimension.
    let mut constants: Vec<Option<f64>> = Vec::with_capacity(formula.ops.len());
    for (step, op) in formula.ops.iter().enumerate() {
        let spot = formula.spots[step];
        let value = |at: u32| match kinds[at as usize] {
            Kind::Value(dimension) => Ok(dimension),
            Kind::Truth => Err(unit(
                formula.spots[at as usize],
                "expected a value, found a comparison".to_owned(),
                "use it as the condition of `if(condition, a, b)`",
            )),
        };
        let same = |a: u32, b: u32, what: &str| {
            let (left, right) = (value(a)?, value(b)?);
            if left == right {
                return Ok(left);
            }
            let message = format!("{what} {} and {}", words(left), words(right));
            Err(unit(
                spot,
                message,
                "both sides need matching units: add the unit of the number, or convert one of them",
            ))
        };
        let plain = |at: u32, what: &str| {
            let dimension = value(at)?;
            if dimension.is_one() {
                return Ok(dimension);
            }
            let help = "divide by a quantity with a matching unit first";
            Err(unit(
                formula.spots[at as usize],
                format!("{what} needs a number without unit, found {}", words(dimension)),
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
        let (kind, known) = match *op {
            Op::Constant(number) => (Kind::Value(formula.units[step]), Some(number)),
            Op::Name(name) => (Kind::Value(names.get(name as usize).copied().unwrap_or_default()), None),
            Op::Negate(a) => (Kind::Value(value(a)?), constant(a).map(|a| -a)),
            Op::Add(a, b) => (Kind::Value(same(a, b, "adding")?), constant(a).zip(constant(b)).map(|(a, b)| a + b)),
            Op::Subtract(a, b) => {
                (Kind::Value(same(a, b, "subtracting")?), constant(a).zip(constant(b)).map(|(a, b)| a - b))
            }
            Op::Multiply(a, b) => {
                let product = value(a)?.times(value(b)?).ok_or_else(no_dimension)?;
                (Kind::Value(product), constant(a).zip(constant(b)).map(|(a, b)| a * b))
            }
            Op::Divide(a, b) => {
                let quotient = value(a)?.over(value(b)?).ok_or_else(no_dimension)?;
                (Kind::Value(quotient), constant(a).zip(constant(b)).map(|(a, b)| a / b))
            }
            Op::Power(a, b) => {
                let base = value(a)?;
                plain(b, "a power")?;
                let dimension = match (base.is_one(), constant(b)) {
                    (true, _) => base,
                    (false, Some(power)) => base.power(power).ok_or_else(no_dimension)?,
                    (false, None) => {
                        let message = format!("{} is raised to a power that is not a constant", words(base));
                        return Err(unit(spot, message, "use a number as the power, or a base without unit"));
                    }
                };
                (Kind::Value(dimension), constant(a).zip(constant(b)).map(|(a, b)| a.powf(b)))
            }
            Op::Compare(_, a, b) => {
                same(a, b, "comparing")?;
                (Kind::Truth, None)
            }
            Op::If(condition, a, b) => {
                if let Kind::Value(_) = kinds[condition as usize] {
                    let message = "the condition of `if` is not a comparison".to_owned();
                    return Err(unit(
                        formula.spots[condition as usize],
                        message,
                        "use a comparison, for example `time < slowest`",
                    ));
                }
                (Kind::Value(same(a, b, "`if` gives")?), None)
            }
            Op::Min(a, b) => (Kind::Value(same(a, b, "`min` of")?), None),
            Op::Max(a, b) => (Kind::Value(same(a, b, "`max` of")?), None),
            Op::Call(Function::Abs, a) => (Kind::Value(value(a)?), None),
            Op::Call(Function::Sqrt, a) => {
                (Kind::Value(value(a)?.power(0.5).ok_or_else(no_dimension)?), constant(a).map(f64::sqrt))
            }
            Op::Call(Function::Exp, a) => (Kind::Value(plain(a, "`exp`")?), constant(a).map(f64::exp)),
            Op::Call(Function::Ln, a) => (Kind::Value(plain(a, "`ln`")?), constant(a).map(f64::ln)),
            Op::Call(Function::Sin, a) => (Kind::Value(plain(a, "`sin`")?), None),
            Op::Call(Function::Cos, a) => (Kind::Value(plain(a, "`cos`")?), None),
        };
        kinds.push(kind);
        constants.push(known);
    }
    match kinds.last() {
        Some(Kind::Value(dimension)) => Ok(*dimension),
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
