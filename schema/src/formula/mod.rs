//! Formulas with units: arithmetic with named values, parsed once into a flat program.
//!
//! `+ - * / ^`, parentheses, comparisons, `if(condition, a, b)`, `min max abs sqrt exp ln sin cos`, `pi`.
//! A name can contain hyphens and one dot (`car-mass`, `engine-unit.mass`), so subtraction needs spaces around the sign.
//! A number can have a unit, which contains no spaces: `1.2 kg/m^3`. All arithmetic is in SI.

mod dimensions;
mod lex;
mod parse;
mod program;
mod trouble;

pub use dimensions::{Scale, ValueKind};
pub use program::Work;
pub use trouble::Trouble;

use crate::quantity::Dimension;

/// An error in a formula, with its position in the text.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct FormulaError {
    /// The kind of error.
    pub kind: FormulaErrorKind,
    /// The position of its first character, counted from 0.
    pub start: usize,
    /// What is wrong.
    pub message: String,
    /// How to fix it.
    pub help: String,
}

/// The kinds of errors in a formula.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FormulaErrorKind {
    /// The formula cannot be parsed.
    Syntax,
    /// Units do not match.
    Unit,
}

/// A step of the program; operands are the indices of earlier steps.
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
#[derive(Clone, Debug, PartialEq)]
pub struct Formula {
    ops: Vec<Op>,
    /// The position of each step in the text, in characters from 0.
    spots: Vec<usize>,
    /// The kinds of constants; the default (no dimension) for other steps.
    units: Vec<ValueKind>,
    names: Vec<Name>,
    unit_names: Vec<Name>,
}

/// A name that a formula uses.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Name {
    /// The name.
    pub text: Box<str>,
    /// The position of its first use, in characters from 0.
    pub start: usize,
}

impl Formula {
    /// Parses a formula.
    ///
    /// # Errors
    /// The first syntax error, with its position.
    pub fn parse(text: &str) -> Result<Self, FormulaError> {
        parse::parse(text)
    }

    /// The names that it uses, each once, in the order of their first use.
    pub fn names(&self) -> &[Name] {
        &self.names
    }

    /// The name, if the formula is a single name.
    pub fn only_name(&self) -> Option<&str> {
        match self.ops[..] {
            [Op::Name(_)] => self.names.first().map(|name| &*name.text),
            _ => None,
        }
    }

    /// The smaller one of its value and a name, which becomes its last name unless it has it already.
    #[must_use]
    pub fn at_most(mut self, name: &str) -> Self {
        let end = self.ops.len() as u32;
        let number = self.names.iter().position(|known| &*known.text == name).unwrap_or_else(|| {
            self.names.push(Name { text: name.into(), start: 0 });
            self.names.len() - 1
        });
        self.ops.extend([Op::Name(number as u32), Op::Min(end - 1, end)]);
        self.spots.extend([0; 2]);
        self.units.extend([ValueKind::plain(Dimension::default()); 2]);
        self
    }

    /// The dimension of its value, from those of its names in the order of [`Formula::names`].
    ///
    /// # Errors
    /// The first position where units do not match.
    pub fn dimension(&self, names: &[Dimension]) -> Result<Dimension, FormulaError> {
        let names: Vec<ValueKind> = names.iter().map(|dimension| ValueKind::plain(*dimension)).collect();
        self.kind(&names).map(|kind| kind.dimension)
    }

    /// The dimension of its value, and whether it is a temperature on a scale with its own zero, from those of its names.
    ///
    /// # Errors
    /// The first position where units do not match.
    pub fn kind(&self, names: &[ValueKind]) -> Result<ValueKind, FormulaError> {
        dimensions::kind(self, names)
    }

    /// The names of units after a `/` or `*` of a unit: `t` in `9 s/t`. Each could also be meant as the name of a value.
    pub fn unit_names(&self) -> &[Name] {
        &self.unit_names
    }

    /// Its value in SI, from those of its names; NaN outside the domain of a function.
    pub fn value(&self, names: &[f64], work: &mut Work) -> f64 {
        program::value(self, names, work)
    }

    /// A division by zero, an overflow or a function outside its domain on the way to its value, and where in its text.
    pub fn trouble(&self, names: &[f64]) -> Option<Trouble> {
        trouble::trouble(self, names)
    }

    /// Its value, and in `partials` the derivative with respect to each name.
    pub fn value_and_partials(&self, names: &[f64], partials: &mut [f64], work: &mut Work) -> f64 {
        program::value_and_partials(self, names, partials, work)
    }
}

#[cfg(test)]
mod tests;
