//! Which dimension a formula has, and where its dimensions do not fit.

use super::{Formula, FormulaError, FormulaErrorKind, Function, Op};
use crate::quantity::Dimension;

/// A step's dimension; a comparison has none and may only stand in a condition.
#[derive(Clone, Copy)]
enum Kind {
    Value(Dimension),
    Truth,
}

fn unit(start: usize, message: String, help: &str) -> FormulaError {
    FormulaError { kind: FormulaErrorKind::Unit, start, message, help: help.to_owned() }
}

pub(super) fn of(formula: &Formula, names: &[Dimension]) -> Result<Dimension, FormulaError> {
    let mut kinds: Vec<Kind> = Vec::with_capacity(formula.ops.len());
    // The value of steps made of constants alone, for powers of things with a dimension.
    let mut constants: Vec<Option<f64>> = Vec::with_capacity(formula.ops.len());
    for (step, op) in formula.ops.iter().enumerate() {
        let spot = formula.spots[step];
        let value = |at: u32| match kinds[at as usize] {
            Kind::Value(dimension) => Ok(dimension),
            Kind::Truth => Err(unit(
                formula.spots[at as usize],
                "a comparison stands where a value belongs".to_owned(),
                "comparisons belong in `if(condition, a, b)`",
            )),
        };
        let same = |a: u32, b: u32, what: &str| {
            let (left, right) = (value(a)?, value(b)?);
            if left == right {
                return Ok(left);
            }
            let message = format!("{what} {} and {}", words(left), words(right));
            Err(unit(spot, message, "both sides need the same dimension: give the number its unit, or convert"))
        };
        let plain = |at: u32, what: &str| {
            let dimension = value(at)?;
            if dimension.is_one() {
                return Ok(dimension);
            }
            let help = "divide by a quantity of the same dimension first";
            Err(unit(formula.spots[at as usize], format!("{what} is taken of {}", words(dimension)), help))
        };
        let constant = |at: u32| constants[at as usize];
        let too_much = || unit(spot, "the dimension cannot be told".to_owned(), "two currencies, or a power too high");
        let (kind, known) = match *op {
            Op::Constant(number) => (Kind::Value(formula.units[step]), Some(number)),
            Op::Name(name) => (Kind::Value(names.get(name as usize).copied().unwrap_or_default()), None),
            Op::Negate(a) => (Kind::Value(value(a)?), constant(a).map(|a| -a)),
            Op::Add(a, b) => (Kind::Value(same(a, b, "adding")?), constant(a).zip(constant(b)).map(|(a, b)| a + b)),
            Op::Subtract(a, b) => {
                (Kind::Value(same(a, b, "subtracting")?), constant(a).zip(constant(b)).map(|(a, b)| a - b))
            }
            Op::Multiply(a, b) => {
                let product = value(a)?.times(value(b)?).ok_or_else(too_much)?;
                (Kind::Value(product), constant(a).zip(constant(b)).map(|(a, b)| a * b))
            }
            Op::Divide(a, b) => {
                let quotient = value(a)?.over(value(b)?).ok_or_else(too_much)?;
                (Kind::Value(quotient), constant(a).zip(constant(b)).map(|(a, b)| a / b))
            }
            Op::Power(a, b) => {
                let base = value(a)?;
                plain(b, "a power")?;
                let dimension = match (base.is_one(), constant(b)) {
                    (true, _) => base,
                    (false, Some(power)) => base.power(power).ok_or_else(too_much)?,
                    (false, None) => {
                        let message = format!("{} is raised to a power that is no number", words(base));
                        return Err(unit(spot, message, "write the power as a number, or make the base a ratio"));
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
                    let message = "the condition of `if` is no comparison".to_owned();
                    return Err(unit(formula.spots[condition as usize], message, "write one, as in `time < slowest`"));
                }
                (Kind::Value(same(a, b, "`if` gives")?), None)
            }
            Op::Min(a, b) => (Kind::Value(same(a, b, "`min` of")?), None),
            Op::Max(a, b) => (Kind::Value(same(a, b, "`max` of")?), None),
            Op::Call(Function::Abs, a) => (Kind::Value(value(a)?), None),
            Op::Call(Function::Sqrt, a) => {
                (Kind::Value(value(a)?.power(0.5).ok_or_else(too_much)?), constant(a).map(f64::sqrt))
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
            "write `if(condition, a, b)`",
        )),
    }
}

/// A dimension in words.
fn words(dimension: Dimension) -> String {
    if dimension.is_one() { "a plain number".to_owned() } else { format!("`{dimension}`") }
}
