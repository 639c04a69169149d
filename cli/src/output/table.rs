//! Text tables: columns aligned, numbers to the right.

use crate::screen::{Ink, clean, width};

/// A table; the widths are calculated when all rows are known.
pub(crate) struct Table {
    heads: Vec<(String, bool)>,
    rows: Vec<Vec<(String, Paint)>>,
    /// The columns that are hidden on a narrow terminal, in this order.
    spare: Vec<usize>,
}

/// How a cell is painted.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(crate) enum Paint {
    Plain,
    Strong,
    Faint,
    Level(schema::settings::Level),
}

impl Table {
    /// A table with these heads; `true` aligns a column to the right.
    pub(crate) fn new(heads: &[(&str, bool)]) -> Self {
        let heads = heads.iter().map(|(head, right)| ((*head).to_owned(), *right)).collect();
        Self { heads, rows: Vec::new(), spare: Vec::new() }
    }

    /// Sets the columns that are hidden on a narrow terminal, in this order.
    pub(crate) fn spare(mut self, columns: &[usize]) -> Self {
        self.spare = columns.to_vec();
        self
    }

    /// Adds a row.
    pub(crate) fn row(&mut self, cells: Vec<(String, Paint)>) {
        self.rows.push(cells);
    }

    /// Whether the table has no row.
    pub(crate) fn is_empty(&self) -> bool {
        self.rows.is_empty()
    }

    /// The table as text, one line per row.
    pub(crate) fn text(&self, ink: Ink) -> String {
        let mut widths: Vec<usize> = self.heads.iter().map(|(head, _)| width(head)).collect();
        for row in &self.rows {
            for (own, (text, _)) in widths.iter_mut().zip(row) {
                *own = (*own).max(width(&clean(text)));
            }
        }
        let mut hidden: Vec<usize> = Vec::new();
        let total = |hidden: &[usize]| -> usize {
            let kept = (0..widths.len()).filter(|at| !hidden.contains(at));
            kept.map(|at| widths[at] + 2).sum::<usize>().saturating_sub(2)
        };
        for column in &self.spare {
            if total(&hidden) > ink.room() {
                hidden.push(*column);
            }
        }
        let mut out = String::new();
        let heads = self.heads.iter().map(|(head, _)| (head.clone(), Paint::Faint)).collect();
        for row in std::iter::once(&heads).chain(&self.rows) {
            let mut line = String::new();
            for (at, (text, paint)) in row.iter().enumerate().filter(|(at, _)| !hidden.contains(at)) {
                let text = clean(text);
                let pad = " ".repeat(widths[at].saturating_sub(width(&text)));
                let painted = match paint {
                    Paint::Plain => text,
                    Paint::Strong => ink.strong(&text),
                    Paint::Faint => ink.faint(&text),
                    Paint::Level(level) => ink.on_level(*level, &text),
                };
                if at > 0 {
                    line.push_str("  ");
                }
                if self.heads[at].1 {
                    line.push_str(&pad);
                    line.push_str(&painted);
                } else {
                    line.push_str(&painted);
                    line.push_str(&pad);
                }
            }
            out.push_str(line.trim_end());
            out.push('\n');
        }
        if !hidden.is_empty() {
            let names: Vec<&str> = hidden.iter().map(|at| self.heads[*at].0.as_str()).collect();
            out.push_str(&ink.faint(&format!("also on a wider terminal: {}", names.join(", "))));
            out.push('\n');
        }
        out
    }
}

/// A plain cell.
pub(crate) fn plain(text: impl Into<String>) -> (String, Paint) {
    (text.into(), Paint::Plain)
}

/// A faint cell, for less important text.
pub(crate) fn faint(text: impl Into<String>) -> (String, Paint) {
    (text.into(), Paint::Faint)
}

/// A bold cell.
pub(crate) fn strong(text: impl Into<String>) -> (String, Paint) {
    (text.into(), Paint::Strong)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_narrow_terminal_hides_columns() {
        let mut table =
            Table::new(&[("target", false), ("limit", true), ("by", false), ("from", false)]).spare(&[3, 2]);
        table.row(vec![strong("mass"), plain("205 kg"), plain("inspection"), plain("estimate")]);
        assert_eq!(
            table.text(Ink::plain(40)),
            "target   limit  by          from\nmass    205 kg  inspection  estimate\n"
        );
        assert_eq!(
            table.text(Ink::plain(30)),
            "target   limit  by\nmass    205 kg  inspection\nalso on a wider terminal: from\n"
        );
        assert_eq!(table.text(Ink::plain(5)), "target   limit\nmass    205 kg\nalso on a wider terminal: from, by\n");
    }
}
