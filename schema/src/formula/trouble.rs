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

/// The first step on the way to the result that has no number while its operands have one. Of an `if`, only the
/// condition and the chosen branch count. A step counts also if `min`, `max` or a division hides it from the result.
pub(super) fn trouble(formula: &Formula, names: &[f64]) -> Option<Trouble> {
    let mut work = Work::default();
    program::value(formula, names, &mut work);
    let values = work.values();
    if values.iter().all(|value| value.is_finite()) {
        return None;
    }
    let mut counts = vec![false; values.len()];
    *counts.last_mut()? = true;
    let mut first = None;
    for step in (0..values.len()).rev() {
        if !counts[step] {
            continue;
        }
        let mut all_numbers = true;
        for operand in operands(formula.ops[step], values).into_iter().flatten() {
            // An operand is always an earlier step.
            counts[operand as usize] = true;
            all_numbers &= values[operand as usize].is_finite();
        }
        if all_numbers && !values[step].is_finite() {
            first = Some(step);
        }
    }
    first.map(|step| Trouble { start: formula.spots[step], what: what(formula.ops[step], values) })
}

/// The steps that a step reads.
fn operands(op: Op, values: &[f64]) -> [Option<u32>; 2] {
    match op {
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

#[cfg(test)]
mod tests {
    use super::*;

    fn of(text: &str, names: &[f64]) -> Option<(usize, &'static str)> {
        Formula::parse(text).unwrap().trouble(names).map(|trouble| (trouble.start, trouble.what))
    }

    #[test]
    fn the_step_without_a_number_is_found() {
        assert_eq!(of("a + b / c", &[1.0, 2.0, 0.0]).unwrap().1, "division by zero");
        assert_eq!(of("a + b / c", &[1.0, 2.0, 4.0]), None);
        assert_eq!(of("sqrt(a) * b", &[-1.0, 2.0]).unwrap().1, "the square root of a negative number");
        assert_eq!(of("ln(a)", &[0.0]).unwrap().1, "the logarithm of zero");
        assert_eq!(of("a^0.5", &[-2.0]).unwrap().1, "a negative number to a power that is not whole");
        assert_eq!(of("exp(a) * b", &[1000.0, 0.0]).unwrap().1, "the number is too large (overflow)");
        // The first step counts, not what follows from it.
        assert_eq!(of("(a / b) - (a / b)", &[1.0, 0.0]).unwrap().1, "division by zero");
    }

    #[test]
    fn a_step_counts_if_it_is_hidden_but_not_if_it_is_not_chosen() {
        assert_eq!(of("max(0, -a / b)", &[1.0, 0.0]).unwrap().1, "division by zero");
        assert_eq!(of("a / (b / c)", &[1.0, 2.0, 0.0]).unwrap().1, "division by zero");
        assert_eq!(of("if(b > 0, a / b, 0)", &[1.0, 0.0]), None);
    }
}
