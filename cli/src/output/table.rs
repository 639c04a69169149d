//! Tables for people: columns aligned, numbers to the right.

use crate::screen::{Ink, clean, width};

/// A table that is laid out when it is whole.
pub(crate) struct Table {
    heads: Vec<(String, bool)>,
    rows: Vec<Vec<(String, Paint)>>,
}

/// How a cell is painted, once its width is known.
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
        Self { heads, rows: Vec::new() }
    }

    /// Adds a row.
    pub(crate) fn row(&mut self, cells: Vec<(String, Paint)>) {
        self.rows.push(cells);
    }

    /// Is there no row?
    pub(crate) fn is_empty(&self) -> bool {
        self.rows.is_empty()
    }

    /// The table as text, a line a row.
    pub(crate) fn text(&self, ink: Ink) -> String {
        let mut widths: Vec<usize> = self.heads.iter().map(|(head, _)| width(head)).collect();
        for row in &self.rows {
            for (own, (text, _)) in widths.iter_mut().zip(row) {
                *own = (*own).max(width(&clean(text)));
            }
        }
        let mut out = String::new();
        let heads = self.heads.iter().map(|(head, _)| (head.clone(), Paint::Faint)).collect();
        for row in std::iter::once(&heads).chain(&self.rows) {
            let mut line = String::new();
            for (at, (text, paint)) in row.iter().enumerate() {
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
        out
    }
}

/// A plain cell.
pub(crate) fn plain(text: impl Into<String>) -> (String, Paint) {
    (text.into(), Paint::Plain)
}

/// A cell that stands back.
pub(crate) fn faint(text: impl Into<String>) -> (String, Paint) {
    (text.into(), Paint::Faint)
}

/// A cell that stands out.
pub(crate) fn strong(text: impl Into<String>) -> (String, Paint) {
    (text.into(), Paint::Strong)
}
