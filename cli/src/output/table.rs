//! Text tables: columns aligned, numbers to the right.

use super::flow::flow;
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

impl Paint {
    /// A text, painted.
    pub(crate) fn on(self, text: &str, ink: Ink) -> String {
        match self {
            Self::Plain => text.to_owned(),
            Self::Strong => ink.strong(text),
            Self::Faint => ink.faint(text),
            Self::Level(level) => ink.on_level(level, text),
        }
    }
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

    /// The table as text that fits the terminal: columns that do not fit are in a table of their own below, each with the
    /// first column; one that does not fit even so is a list.
    pub(crate) fn folded(&self, ink: Ink) -> String {
        let widths = self.widths();
        let Some((first, others)) = widths.split_first() else { return String::new() };
        if first + others.iter().map(|own| own + 2).sum::<usize>() <= ink.room() {
            return self.text(ink);
        }
        if others.iter().any(|own| first + 2 + own > ink.room()) {
            return self.list(ink);
        }
        let mut out = String::new();
        let mut from = 1;
        while from < widths.len() {
            let mut to = from;
            let mut used = *first;
            while to < widths.len() && used + 2 + widths[to] <= ink.room() {
                used += 2 + widths[to];
                to += 1;
            }
            if !out.is_empty() {
                out.push('\n');
            }
            out.push_str(&self.columns(from..to).text(ink));
            from = to;
        }
        out
    }

    /// The first column and some others; rows in which the others are empty are left out.
    fn columns(&self, range: std::ops::Range<usize>) -> Self {
        let heads = std::iter::once(0).chain(range.clone()).map(|at| self.heads[at].clone()).collect();
        let rows = self.rows.iter().filter(|row| range.clone().any(|at| !row[at].0.is_empty()));
        let rows =
            rows.map(|row| std::iter::once(0).chain(range.clone()).map(|at| row[at].clone()).collect()).collect();
        Self { heads, rows, spare: Vec::new() }
    }

    /// The table as a list: each row has a line for its first cell, and one for each other cell after its head.
    fn list(&self, ink: Ink) -> String {
        let mut out = String::new();
        for row in &self.rows {
            let mut cells = row.iter().zip(&self.heads);
            if let Some((first, _)) = cells.next() {
                flow(&mut out, ink, ["", "  "], std::slice::from_ref(first));
            }
            for ((text, paint), (head, _)) in cells.filter(|((text, _), _)| !text.is_empty()) {
                flow(&mut out, ink, ["  ", "    "], &[(head.clone(), Paint::Faint), (text.clone(), *paint)]);
            }
        }
        out
    }

    /// The width of each column.
    fn widths(&self) -> Vec<usize> {
        let mut widths: Vec<usize> = self.heads.iter().map(|(head, _)| width(head)).collect();
        for row in &self.rows {
            for (own, (text, _)) in widths.iter_mut().zip(row) {
                *own = (*own).max(width(&clean(text)));
            }
        }
        widths
    }

    /// The table as text, one line per row.
    pub(crate) fn text(&self, ink: Ink) -> String {
        let widths = self.widths();
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
                let painted = paint.on(&text, ink);
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
    fn a_folded_table_stays_inside_the_width() {
        let mut table = Table::new(&[("points", false), ("now", true), ("single", true), ("twin", true)]);
        table.row(vec![strong("points"), plain("684.5 ± 20.1"), plain("684.5 ± 20.1"), plain("664.6 ± 18.2")]);
        table.row(vec![plain("vs now"), plain(""), plain(""), plain("-19.9 ± 9.3")]);
        assert_eq!(table.folded(Ink::plain(80)), table.text(Ink::plain(80)));
        let two = "points           now        single\npoints  684.5 ± 20.1  684.5 ± 20.1\n\n\
                   points          twin\npoints  664.6 ± 18.2\nvs now   -19.9 ± 9.3\n";
        assert_eq!(table.folded(Ink::plain(40)), two);
        let mut long = Table::new(&[("value", false), ("now", true)]);
        long.row(vec![strong("a-name-of-thirty-characters-oh"), plain("one text that is long as well, too long")]);
        let shown = long.folded(Ink::plain(40));
        assert_eq!(shown, "a-name-of-thirty-characters-oh\n  now  one text that is long as well,\n    too long\n");
    }

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
