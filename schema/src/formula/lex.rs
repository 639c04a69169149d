//! Splits the text of a formula into tokens.

use super::{FormulaError, FormulaErrorKind};
use crate::quantity::Unit;
use crate::words::shorten;

#[derive(Clone, Debug, PartialEq)]
pub(super) enum Token {
    /// The number, its unit, and the position of the unit.
    Number(f64, Unit, usize),
    Name(String),
    Sign(&'static str),
}

pub(super) fn syntax(start: usize, message: impl Into<String>, help: impl Into<String>) -> FormulaError {
    FormulaError { kind: FormulaErrorKind::Syntax, start, message: message.into(), help: help.into() }
}

/// Operators and other signs of one or two characters; longer ones first.
const SIGNS: [&str; 15] = ["<=", ">=", "==", "!=", "<", ">", "+", "-", "*", "/", "^", "(", ")", ",", "·"];

/// The tokens of a formula, each with the position of its first character.
pub(super) fn tokens(text: &str) -> Result<Vec<(Token, usize)>, FormulaError> {
    let chars: Vec<char> = text.chars().collect();
    let mut tokens = Vec::new();
    let mut at = 0;
    while at < chars.len() {
        let c = chars[at];
        if c.is_whitespace() {
            at += 1;
        } else if c.is_ascii_digit() || (c == '.' && chars.get(at + 1).is_some_and(char::is_ascii_digit)) {
            at = number(&chars, at, &mut tokens)?;
        } else if c.is_ascii_lowercase() {
            let start = at;
            while at < chars.len() && is_in_name(&chars, at) {
                at += 1;
            }
            let name: String = chars[start..at].iter().collect();
            if name.matches('.').count() > 1 {
                let help = "a name has at most one dot, for example `engine-unit.mass`";
                return Err(syntax(start, format!("`{}` is not a valid name", shorten(&name)), help));
            }
            tokens.push((Token::Name(name), start));
        } else if let Some(sign) =
            SIGNS.iter().find(|sign| sign.chars().enumerate().all(|(i, s)| chars.get(at + i) == Some(&s)))
        {
            if *sign == "·" {
                return Err(syntax(at, "`·` is not an operator", "use `*`"));
            }
            tokens.push((Token::Sign(sign), at));
            at += sign.len();
        } else {
            let help = match c {
                '=' => "comparisons are `<`, `<=`, `>`, `>=`, `==` and `!=`",
                '±' => "only a single quantity can have an uncertainty: give it a name under `given`",
                'A'..='Z' => "names are lower-case; a unit follows its number after a space",
                '²' | '³' => "use `^` for powers",
                '×' => "use `*`",
                '÷' => "use `/`",
                _ => "a formula can contain numbers with units, names, + - * / ^, comparisons and functions",
            };
            return Err(syntax(at, format!("`{c}` is not allowed in a formula"), help));
        }
    }
    Ok(tokens)
}

/// A hyphen or dot belongs to a name if a letter or digit follows it directly.
fn is_in_name(chars: &[char], at: usize) -> bool {
    let word = |c: Option<&char>| c.is_some_and(|c| c.is_ascii_lowercase() || c.is_ascii_digit());
    match chars[at] {
        '-' | '.' => word(chars.get(at + 1)),
        _ => word(chars.get(at)),
    }
}

fn number(chars: &[char], start: usize, tokens: &mut Vec<(Token, usize)>) -> Result<usize, FormulaError> {
    let digits = |mut at: usize| {
        while chars.get(at).is_some_and(char::is_ascii_digit) {
            at += 1;
        }
        at
    };
    let mut at = digits(start);
    if chars.get(at) == Some(&'.') {
        at = digits(at + 1);
    }
    if matches!(chars.get(at), Some('e' | 'E')) {
        let sign = usize::from(matches!(chars.get(at + 1), Some('+' | '-')));
        let end = digits(at + 1 + sign);
        if end > at + 1 + sign {
            at = end;
        }
    }
    let text: String = chars[start..at].iter().collect();
    let value: f64 =
        text.parse().map_err(|_| syntax(start, format!("`{text}` is not a number"), "correct the number"))?;
    if !value.is_finite() {
        return Err(syntax(start, format!("`{text}` is too large"), "correct the number"));
    }
    let unit_at = match chars.get(at) {
        Some(' ') => at + 1,
        _ => at,
    };
    let begins_unit = |c: &char| c.is_alphabetic() || matches!(c, '%' | '°' | 'µ' | '€' | '$' | '£');
    if !chars.get(unit_at).is_some_and(begins_unit) {
        tokens.push((Token::Number(value, Unit::dimensionless(), at), start));
        return Ok(at);
    }
    if unit_at == at && !matches!(chars[at], '%' | '°') {
        let help = "put a space between number and unit, for example `4.25 s`, and an operator before a name";
        return Err(syntax(at, format!("no space between a number and `{}`", chars[at]), help));
    }
    let mut end = unit_at;
    while end < chars.len() && is_in_unit(chars, end) {
        end += 1;
    }
    let name: String = chars[unit_at..end].iter().collect();
    let unit = Unit::parse(&name).map_err(|error| {
        if matches!(&*name, "x" | "X") {
            return syntax(unit_at, format!("expected an operator, found `{name}`"), "use `*` to multiply");
        }
        let (message, help) = error.split_once(": ").unwrap_or((&error, "correct the unit"));
        // A name after a number, without an operator.
        let is_name = name.starts_with(|c: char| c.is_ascii_lowercase()) && !help.contains("did you mean");
        let help = match is_name {
            true => format!("to multiply by a value, put `*` before it: `{text} * {}`", shorten(&name)),
            false => help.to_owned(),
        };
        syntax(unit_at, message, help)
    })?;
    tokens.push((Token::Number(value, unit, unit_at), start));
    Ok(end)
}

/// A unit continues after `*`, `/` and `^` if there is no space.
fn is_in_unit(chars: &[char], at: usize) -> bool {
    let letter = |c: &char| c.is_alphabetic() || matches!(c, '%' | '°' | 'µ' | '²' | '³' | '€' | '$' | '£');
    match chars[at] {
        '*' | '/' => chars.get(at + 1).is_some_and(letter),
        '^' => chars.get(at + 1).is_some_and(|c| c.is_ascii_digit() || *c == '-'),
        '-' => at > 0 && chars[at - 1] == '^',
        c if c.is_ascii_digit() => true,
        c => letter(&c),
    }
}
