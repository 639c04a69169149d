//! Formulas with units: ordinary arithmetic over named values, parsed once to a flat program.
//!
//! `+ - * / ^`, parentheses, comparisons, `if(condition, a, b)`, `min max abs sqrt exp ln sin cos`, `pi`.
//! A name may hold hyphens and one dot (`car-mass`, `engine-unit.mass`), so subtraction is written with
//! spaces. A number may carry a unit, itself without spaces: `1.2 kg/m^3`. All arithmetic is in SI.

mod dimensions;
mod lex;
mod parse;
mod program;

pub use program::Work;

use crate::quantity::Dimension;

/// What is wrong with a formula, and where in its text.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct FormulaError {
    /// What kind of thing is wrong.
    pub kind: FormulaErrorKind,
    /// The first character of it, counted from 0.
    pub start: usize,
    /// What is wrong.
    pub message: String,
    /// What to do.
    pub help: String,
}

/// The kinds of thing that can be wrong with a formula.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FormulaErrorKind {
    /// It cannot be read.
    Syntax,
    /// Dimensions do not fit.
    Unit,
}

/// A step of the program; operands are the numbers of earlier steps.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Op {
    Constant(f64),
    Name(u32),
    Negate(u32),
    Add(u32, u32),
    Subtract(u32, u32),
    Multiply(u32, u32),
    Divide(u32, u32),
    Power(u32, u32),
    Compare(Comparison, u32, u32),
    If(u32, u32, u32),
    Min(u32, u32),
    Max(u32, u32),
    Call(Function, u32),
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Comparison {
    Less,
    LessOrEqual,
    Greater,
    GreaterOrEqual,
    Equal,
    NotEqual,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Function {
    Abs,
    Sqrt,
    Exp,
    Ln,
    Sin,
    Cos,
}

/// A parsed formula.
#[derive(Clone, Debug)]
pub struct Formula {
    ops: Vec<Op>,
    /// Where each step stands in the text, in characters from 0.
    spots: Vec<usize>,
    /// The dimensions of constants; one for other steps.
    units: Vec<Dimension>,
    names: Vec<Name>,
}

/// A name that a formula uses.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Name {
    /// The name.
    pub text: Box<str>,
    /// Where it first stands, in characters from 0.
    pub start: usize,
}

impl Formula {
    /// Parses a formula.
    ///
    /// # Errors
    /// The first thing that cannot be read, with its place.
    pub fn parse(text: &str) -> Result<Self, FormulaError> {
        parse::parse(text)
    }

    /// The names it uses, each once, in the order in which they first stand.
    pub fn names(&self) -> &[Name] {
        &self.names
    }

    /// The one name that the formula is, and nothing else.
    pub fn only_name(&self) -> Option<&str> {
        match self.ops[..] {
            [Op::Name(_)] => self.names.first().map(|name| &*name.text),
            _ => None,
        }
    }

    /// The dimension of its value, given those of its names in the order of [`Formula::names`].
    ///
    /// # Errors
    /// The first place where dimensions do not fit.
    pub fn dimension(&self, names: &[Dimension]) -> Result<Dimension, FormulaError> {
        dimensions::of(self, names)
    }

    /// Its value in SI, given those of its names; what is outside a function's domain gives no number.
    pub fn value(&self, names: &[f64], work: &mut Work) -> f64 {
        program::value(self, names, work)
    }

    /// Its value, and in `partials` the derivative by each name.
    pub fn value_and_partials(&self, names: &[f64], partials: &mut [f64], work: &mut Work) -> f64 {
        program::value_and_partials(self, names, partials, work)
    }
}

#[cfg(test)]
mod tests;
