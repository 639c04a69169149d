//! Why a formula has no number although all its names have one.

use super::{Formula, Function, Op, Work, program};

/// The step of a formula that gives no number.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Trouble {
    /// The position of the step in the text, in characters from 0.
    pub start: usize,
    /// What happens there, as in `division by zero`.
    pub what: &'static str,
}

/// The first step that has no number while its operands have one, on the way back from the result.
pub(super) fn trouble(formula: &Formula, names: &[f64]) -> Option<Trouble> {
    let mut work = Work::default();
    let result = program::value(formula, names, &mut work);
    let values = work.values();
    let mut step = values.len().checked_sub(1).filter(|_| !result.is_finite())?;
    loop {
        let is_number = |step: u32| values[step as usize].is_finite();
        // Of an `if`, only the condition and the chosen branch count.
        let operands: [Option<u32>; 2] = match formula.ops[step] {
            Op::Constant(_) | Op::Name(_) => [None, None],
            Op::Negate(a) | Op::Call(_, a) => [Some(a), None],
            Op::If(condition, a, b) => [Some(condition), Some(if values[condition as usize] == 1.0 { a } else { b })],
            Op::Add(a, b)
            | Op::Subtract(a, b)
            | Op::Multiply(a, b)
            | Op::Divide(a, b)
            | Op::Power(a, b)
            | Op::Compare(_, a, b)
            | Op::Min(a, b)
            | Op::Max(a, b) => [Some(a), Some(b)],
        };
        match operands.into_iter().flatten().find(|operand| !is_number(*operand)) {
            // An operand is always an earlier step.
            Some(operand) => step = operand as usize,
            None => return Some(Trouble { start: formula.spots[step], what: what(formula.ops[step], values) }),
        }
    }
}

fn what(op: Op, values: &[f64]) -> &'static str {
    let at = |step: u32| values[step as usize];
    match op {
        Op::Divide(_, b) if at(b) == 0.0 => "division by zero",
        Op::Power(a, b) if at(a) == 0.0 && at(b) < 0.0 => "division by zero (zero to a negative power)",
        Op::Power(a, b) if at(a) < 0.0 && at(b).fract() != 0.0 => "a negative number to a power that is not whole",
        Op::Call(Function::Sqrt, a) if at(a) < 0.0 => "the square root of a negative number",
        Op::Call(Function::Ln, a) if at(a) == 0.0 => "the logarithm of zero",
        Op::Call(Function::Ln, a) if at(a) < 0.0 => "the logarithm of a negative number",
        _ => "the number is too large (overflow)",
    }
}
