//! Tables as CSV (RFC 4180), for a spreadsheet.
//!
//! A spreadsheet takes a cell that begins with `=`, `+`, `-`, `@`, a tab or a carriage return for a formula and may run it.
//! Such a cell gets an apostrophe before it, which makes it text; a plain number keeps its sign and stays a number.

use super::grid::{Cell, Grid};
use crate::screen::clean;

/// A table as CSV: its heads, then its rows, each line ended by CR LF.
pub(crate) fn text(grid: &Grid) -> String {
    let mut out = String::new();
    line(&mut out, grid.heads.iter().map(|head| guarded(head)));
    for row in &grid.rows {
        line(&mut out, row.iter().map(cell));
    }
    out
}

fn cell(cell: &Cell) -> String {
    match cell {
        Cell::Empty => String::new(),
        Cell::Number(number) => format!("{:?}", twelve_digits(*number)),
        Cell::Whole(number) => number.to_string(),
        Cell::Day(day) => day.to_string(),
        Cell::Flag(flag) => flag.to_string(),
        Cell::Text(text) => guarded(text),
    }
}

/// Twelve digits: the last ones of a sum depend on the machine.
pub(super) fn twelve_digits(number: f64) -> f64 {
    format!("{number:.11e}").parse().unwrap_or(number)
}

/// A text that no spreadsheet takes for a formula, without control characters.
fn guarded(text: &str) -> String {
    let cleaned = clean(text);
    // What is cleaned first could begin a formula, and so could what is behind it.
    let first = text.chars().next().into_iter().chain(cleaned.chars().find(|c| *c != char::REPLACEMENT_CHARACTER));
    let formula = first.into_iter().any(begins_formula) && !is_plain_number(&cleaned);
    if formula { format!("'{cleaned}") } else { cleaned }
}

/// Whether a cell with this character first can be a formula: also its full-width forms, which some spreadsheets read alike.
fn begins_formula(first: char) -> bool {
    matches!(first, '=' | '+' | '-' | '@' | '\t' | '\r' | '\n' | '＝' | '＋' | '－' | '＠')
}

/// Whether a text is a number with digits only, as in `-0.5` and `+1e3`.
fn is_plain_number(text: &str) -> bool {
    text.bytes().all(|byte| byte.is_ascii_digit() || b"+-.eE".contains(&byte)) && text.parse::<f64>().is_ok()
}

fn line(out: &mut String, cells: impl Iterator<Item = String>) {
    for (at, cell) in cells.enumerate() {
        if at > 0 {
            out.push(',');
        }
        if cell.contains([',', '"', '\n', '\r']) {
            out.push('"');
            out.push_str(&cell.replace('"', "\"\""));
            out.push('"');
        } else {
            out.push_str(&cell);
        }
    }
    out.push_str("\r\n");
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn formulas_become_text_and_numbers_stay_numbers() {
        for formula in ["=1+1", "+cmd|' /C calc'!A0", "-2+3", "@SUM(1)", "\t=1", "\r=1", "\u{1}=1", "＝1", "-inf", "+"]
        {
            assert!(guarded(formula).starts_with('\''), "{formula:?}");
        }
        for text in ["-0.5", "+1e3", "-12", "mass", "a=b", "", "'x"] {
            assert_eq!(guarded(text), text);
        }
    }

    #[test]
    fn cells_are_quoted_as_rfc_4180_says() {
        let row = vec![
            Cell::Text("a, b".into()),
            Cell::Text("say \"x\"".into()),
            Cell::Number(-0.1 - 0.2),
            Cell::Whole(3),
            Cell::Flag(true),
            Cell::Empty,
        ];
        let grid = Grid { heads: ["a", "b", "c", "d", "e", "f"].map(String::from).to_vec(), rows: vec![row] };
        assert_eq!(text(&grid), "a,b,c,d,e,f\r\n\"a, b\",\"say \"\"x\"\"\",-0.3,3,true,\r\n");
    }
}
