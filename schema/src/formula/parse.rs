//! Parses tokens into a program: one function per level of precedence, with a limit on nesting.

use super::dimensions::ValueKind;
use super::lex::{Token, syntax, tokens};
use super::{Comparison, Formula, FormulaError, Function, Name, Op};
use crate::quantity::Unit;
use crate::suggest;
use crate::words::shorten;

/// The deepest nesting of parentheses and functions.
const DEEPEST: u32 = 64;

const FUNCTIONS: [&str; 9] = ["if", "min", "max", "abs", "sqrt", "exp", "ln", "sin", "cos"];

pub(super) fn parse(text: &str) -> Result<Formula, FormulaError> {
    let tokens = tokens(text)?;
    let end = text.chars().count();
    let formula =
        Formula { ops: Vec::new(), spots: Vec::new(), units: Vec::new(), names: Vec::new(), unit_names: Vec::new() };
    let mut parser = Parser { tokens, at: 0, end, depth: 0, formula };
    parser.comparison()?;
    match parser.peek() {
        None => Ok(parser.formula),
        Some((token, spot)) => Err(unexpected(token, *spot)),
    }
}

struct Parser {
    tokens: Vec<(Token, usize)>,
    at: usize,
    end: usize,
    depth: u32,
    formula: Formula,
}

fn unexpected(token: &Token, spot: usize) -> FormulaError {
    match token {
        Token::Sign(")") => syntax(spot, "closing parenthesis without an opening one", "remove it, or add `(`"),
        Token::Sign(sign) => syntax(spot, format!("unexpected `{sign}`"), "add the missing value before or after it"),
        Token::Name(name) => {
            syntax(spot, format!("expected an operator, found `{}`", shorten(name)), "use `*` to multiply")
        }
        Token::Number(..) => syntax(spot, "expected an operator, found a number", "use `*` to multiply"),
    }
}

impl Parser {
    fn peek(&self) -> Option<&(Token, usize)> {
        self.tokens.get(self.at)
    }

    fn sign(&self) -> Option<&'static str> {
        match self.peek() {
            Some((Token::Sign(sign), _)) => Some(sign),
            _ => None,
        }
    }

    /// Consumes one of these signs, if it is next, and returns it with its position.
    fn take(&mut self, signs: &[&str]) -> Option<(&'static str, usize)> {
        let sign = self.sign().filter(|sign| signs.contains(sign))?;
        let spot = self.tokens[self.at].1;
        self.at += 1;
        Some((sign, spot))
    }

    fn push(&mut self, op: Op, spot: usize, unit: ValueKind) -> u32 {
        self.formula.ops.push(op);
        self.formula.spots.push(spot);
        self.formula.units.push(unit);
        (self.formula.ops.len() - 1) as u32
    }

    fn plain(&mut self, op: Op, spot: usize) -> u32 {
        self.push(op, spot, ValueKind::default())
    }

    fn nested<T>(
        &mut self,
        spot: usize,
        inner: impl FnOnce(&mut Self) -> Result<T, FormulaError>,
    ) -> Result<T, FormulaError> {
        self.depth += 1;
        if self.depth > DEEPEST {
            return Err(syntax(spot, "nested too deeply", "give inner parts of the formula names under `given`"));
        }
        let done = inner(self)?;
        self.depth -= 1;
        Ok(done)
    }

    fn comparison(&mut self) -> Result<u32, FormulaError> {
        let left = self.sum()?;
        let Some((sign, spot)) = self.take(&["<", "<=", ">", ">=", "==", "!="]) else { return Ok(left) };
        let right = self.sum()?;
        let comparison = match sign {
            "<" => Comparison::Less,
            "<=" => Comparison::LessOrEqual,
            ">" => Comparison::Greater,
            ">=" => Comparison::GreaterOrEqual,
            "==" => Comparison::Equal,
            _ => Comparison::NotEqual,
        };
        Ok(self.plain(Op::Compare(comparison, left, right), spot))
    }

    fn sum(&mut self) -> Result<u32, FormulaError> {
        let mut left = self.product()?;
        while let Some((sign, spot)) = self.take(&["+", "-"]) {
            let right = self.product()?;
            let op = if sign == "+" { Op::Add(left, right) } else { Op::Subtract(left, right) };
            left = self.plain(op, spot);
        }
        Ok(left)
    }

    fn product(&mut self) -> Result<u32, FormulaError> {
        let mut left = self.unary()?;
        while let Some((sign, spot)) = self.take(&["*", "/"]) {
            let right = self.unary()?;
            let op = if sign == "*" { Op::Multiply(left, right) } else { Op::Divide(left, right) };
            left = self.plain(op, spot);
        }
        Ok(left)
    }

    fn unary(&mut self) -> Result<u32, FormulaError> {
        match self.take(&["+", "-"]) {
            Some((sign, spot)) => {
                // -20 °C is a temperature, not the negative of 293.15 K.
                if let ("-", Some((Token::Number(value, unit, _), _))) = (sign, self.peek())
                    && unit.has_own_zero()
                {
                    let (si, kind) = (unit.to_si(-value), ValueKind::of_unit(unit));
                    self.at += 1;
                    return Ok(self.push(Op::Constant(si), spot, kind));
                }
                let value = self.nested(spot, Self::unary)?;
                Ok(if sign == "-" { self.plain(Op::Negate(value), spot) } else { value })
            }
            None => self.power(),
        }
    }

    /// Powers have a higher precedence than a sign before them, and associate to the right: `-x^2`, `x^2^3`, `x^-1`.
    fn power(&mut self) -> Result<u32, FormulaError> {
        let base = self.atom()?;
        let Some((_, spot)) = self.take(&["^"]) else { return Ok(base) };
        let exponent = self.nested(spot, Self::unary)?;
        Ok(self.plain(Op::Power(base, exponent), spot))
    }

    fn atom(&mut self) -> Result<u32, FormulaError> {
        let Some((token, spot)) = self.peek().cloned() else {
            return Err(syntax(self.end, "the formula ends where a value is expected", "complete it"));
        };
        self.at += 1;
        match token {
            Token::Number(value, unit, unit_at) => {
                self.add_unit_names(&unit, unit_at);
                Ok(self.push(Op::Constant(unit.to_si(value)), spot, ValueKind::of_unit(&unit)))
            }
            Token::Name(name) if self.sign() == Some("(") => self.call(&name, spot),
            Token::Name(name) if name == "pi" => Ok(self.plain(Op::Constant(std::f64::consts::PI), spot)),
            Token::Name(name) if FUNCTIONS.contains(&name.as_str()) => {
                Err(syntax(spot, format!("`{name}` is a function"), format!("use `{name}(...)`")))
            }
            Token::Name(name) => {
                let names = &mut self.formula.names;
                let number = names.iter().position(|known| *known.text == *name).unwrap_or_else(|| {
                    names.push(Name { text: name.into(), start: spot });
                    names.len() - 1
                });
                Ok(self.plain(Op::Name(number as u32), spot))
            }
            Token::Sign("(") => {
                let value = self.nested(spot, Self::comparison)?;
                self.close(spot)?;
                Ok(value)
            }
            Token::Sign(_) => Err(unexpected(&token, spot)),
        }
    }

    /// The names after a `/` or `*` in a unit: each could also be the name of a value. With an exponent, as in `kg/m^3`, it is a unit.
    fn add_unit_names(&mut self, unit: &Unit, unit_at: usize) {
        let name = unit.to_string();
        if !name.contains(['*', '/']) {
            return;
        }
        let mut start = unit_at;
        for (number, part) in name.split(['*', '/']).enumerate() {
            let atom = part.split('^').next().unwrap_or(part);
            if number > 0 && !part.contains('^') && atom.starts_with(|c: char| c.is_ascii_lowercase()) {
                self.formula.unit_names.push(Name { text: atom.into(), start });
            }
            start += part.chars().count() + 1;
        }
    }

    fn close(&mut self, opened: usize) -> Result<(), FormulaError> {
        match (self.take(&[")"]), self.peek()) {
            (Some(_), _) => Ok(()),
            (None, Some((token, spot))) => Err(unexpected(token, *spot)),
            (None, None) => Err(syntax(opened, "opening parenthesis without a closing one", "add `)`")),
        }
    }

    fn call(&mut self, name: &str, spot: usize) -> Result<u32, FormulaError> {
        if !FUNCTIONS.contains(&name) {
            let otherwise = format!("use {}", suggest::any_of(FUNCTIONS));
            let help = match name {
                "log" => "use `ln` for the natural logarithm".to_owned(),
                _ => suggest::did_you_mean(name, FUNCTIONS, &otherwise),
            };
            return Err(syntax(spot, format!("unknown function `{}`", shorten(name)), help));
        }
        let opened = self.tokens[self.at].1;
        self.at += 1;
        let mut args = Vec::new();
        if self.sign() != Some(")") {
            loop {
                args.push(self.nested(opened, Self::comparison)?);
                if self.take(&[","]).is_none() {
                    break;
                }
            }
        }
        self.close(opened)?;
        let wanted = match name {
            "if" => "3 values: `if(condition, a, b)`",
            "min" | "max" => "at least 1 value",
            _ => "1 value",
        };
        let function = |function| Ok(Op::Call(function, args.first().copied().unwrap_or(0)));
        let op = match (name, &args[..]) {
            ("if", &[condition, a, b]) => Ok(Op::If(condition, a, b)),
            ("min" | "max", &[first, ref rest @ ..]) => {
                let mut all = first;
                for &next in rest {
                    let op = if name == "min" { Op::Min(all, next) } else { Op::Max(all, next) };
                    all = self.plain(op, spot);
                }
                return Ok(all);
            }
            ("abs", [_]) => function(Function::Abs),
            ("sqrt", [_]) => function(Function::Sqrt),
            ("exp", [_]) => function(Function::Exp),
            ("ln", [_]) => function(Function::Ln),
            ("sin", [_]) => function(Function::Sin),
            ("cos", [_]) => function(Function::Cos),
            _ => Err(syntax(spot, format!("`{name}` has {} arguments", args.len()), format!("use {wanted}"))),
        }?;
        Ok(self.plain(op, spot))
    }
}
