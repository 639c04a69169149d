//! Runs a program forward for its value, and backward for its derivatives.

use super::{Comparison, Formula, Function, Op};

/// Buffers for the steps of a program, reused between runs.
#[derive(Debug, Default)]
pub struct Work {
    values: Vec<f64>,
    adjoints: Vec<f64>,
}

impl Work {
    /// The values of the steps of the last run.
    pub(super) fn values(&self) -> &[f64] {
        &self.values
    }
}

pub(super) fn value(formula: &Formula, names: &[f64], work: &mut Work) -> f64 {
    let values = &mut work.values;
    values.clear();
    for op in &formula.ops {
        let at = |step: u32| values[step as usize];
        let value = match *op {
            Op::Constant(number) => number,
            Op::Name(name) => names.get(name as usize).copied().unwrap_or(f64::NAN),
            Op::Negate(a) => -at(a),
            Op::Add(a, b) => at(a) + at(b),
            Op::Subtract(a, b) => at(a) - at(b),
            Op::Multiply(a, b) => at(a) * at(b),
            Op::Divide(a, b) => at(a) / at(b),
            Op::Power(a, b) => at(a).powf(at(b)),
            // A comparison with NaN has no result.
            Op::Compare(_, a, b) if at(a).is_nan() || at(b).is_nan() => f64::NAN,
            Op::Compare(comparison, a, b) => f64::from(u8::from(holds(comparison, at(a), at(b)))),
            Op::If(condition, a, b) => match at(condition) {
                1.0 => at(a),
                0.0 => at(b),
                _ => f64::NAN,
            },
            Op::Min(a, b) => {
                if at(a) <= at(b) || at(a).is_nan() {
                    at(a)
                } else {
                    at(b)
                }
            }
            Op::Max(a, b) => {
                if at(a) >= at(b) || at(a).is_nan() {
                    at(a)
                } else {
                    at(b)
                }
            }
            Op::Call(Function::Abs, a) => at(a).abs(),
            Op::Call(Function::Sqrt, a) => at(a).sqrt(),
            Op::Call(Function::Exp, a) => at(a).exp(),
            Op::Call(Function::Ln, a) => at(a).ln(),
            Op::Call(Function::Sin, a) => at(a).sin(),
            Op::Call(Function::Cos, a) => at(a).cos(),
        };
        values.push(value);
    }
    values.last().copied().unwrap_or(f64::NAN)
}

fn holds(comparison: Comparison, a: f64, b: f64) -> bool {
    match comparison {
        Comparison::Less => a < b,
        Comparison::LessOrEqual => a <= b,
        Comparison::Greater => a > b,
        Comparison::GreaterOrEqual => a >= b,
        Comparison::Equal => a == b,
        Comparison::NotEqual => a != b,
    }
}

pub(super) fn value_and_partials(formula: &Formula, names: &[f64], partials: &mut [f64], work: &mut Work) -> f64 {
    let result = value(formula, names, work);
    partials.fill(0.0);
    let Work { values, adjoints } = work;
    adjoints.clear();
    adjoints.resize(values.len(), 0.0);
    if let Some(last) = adjoints.last_mut() {
        *last = 1.0;
    }
    for (step, op) in formula.ops.iter().enumerate().rev() {
        let outer = adjoints[step];
        if outer == 0.0 {
            continue;
        }
        let at = |step: u32| values[step as usize];
        let mut add = |step: u32, more: f64| adjoints[step as usize] += more;
        match *op {
            Op::Constant(_) | Op::Compare(..) => {}
            Op::Name(name) => {
                if let Some(partial) = partials.get_mut(name as usize) {
                    *partial += outer;
                }
            }
            Op::Negate(a) => add(a, -outer),
            Op::Add(a, b) => {
                add(a, outer);
                add(b, outer);
            }
            Op::Subtract(a, b) => {
                add(a, outer);
                add(b, -outer);
            }
            Op::Multiply(a, b) => {
                add(a, outer * at(b));
                add(b, outer * at(a));
            }
            Op::Divide(a, b) => {
                add(a, outer / at(b));
                add(b, -outer * at(a) / (at(b) * at(b)));
            }
            Op::Power(a, b) => {
                add(a, outer * at(b) * at(a).powf(at(b) - 1.0));
                // The derivative with respect to a constant power is never used, and its logarithm may not exist.
                if !matches!(formula.ops[b as usize], Op::Constant(_)) {
                    add(b, outer * values[step] * at(a).ln());
                }
            }
            Op::If(condition, a, b) => add(if at(condition) == 1.0 { a } else { b }, outer),
            Op::Min(a, b) => add(if at(a) <= at(b) { a } else { b }, outer),
            Op::Max(a, b) => add(if at(a) >= at(b) { a } else { b }, outer),
            Op::Call(Function::Abs, a) => add(a, outer * at(a).signum()),
            Op::Call(Function::Sqrt, a) => add(a, outer * 0.5 / values[step]),
            Op::Call(Function::Exp, a) => add(a, outer * values[step]),
            Op::Call(Function::Ln, a) => add(a, outer / at(a)),
            Op::Call(Function::Sin, a) => add(a, outer * at(a).cos()),
            Op::Call(Function::Cos, a) => add(a, -outer * at(a).sin()),
        }
    }
    result
}
