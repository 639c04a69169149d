//! Text tables: columns aligned, numbers to the right.

use super::flow::flow;
use crate::screen::{Ink, clean, width, wrap};

/// A table; the widths are calculated when all rows are known.
pub(crate) struct Table {
    heads: Vec<(String, bool)>,
    rows: Vec<Vec<(String, Paint)>>,
    /// The columns that are hidden on a narrow terminal, in this order.
    spare: Vec<usize>,
    /// The columns whose text is not folded.
    drawn: Vec<usize>,
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
        Self { heads, rows: Vec::new(), spare: Vec::new(), drawn: Vec::new() }
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

    /// Sets the columns that are drawn, as bars and charts: their text is not folded.
    pub(crate) fn drawn(mut self, columns: &[usize]) -> Self {
        self.drawn = columns.to_vec();
        self
    }

    /// The table as text that fits the terminal, the first of these that does: heads and words folded in their columns;
    /// without the spare columns, which are named below; the columns in several tables, each with the first column; a list.
    pub(crate) fn text(&self, ink: Ink) -> String {
        let room = ink.room();
        let mut kept: Vec<usize> = (0..self.heads.len()).collect();
        let mut spare = self.spare.iter();
        loop {
            if let Some(widths) = self.fitting(&kept, room) {
                let mut out = self.lines(&kept, &widths, ink);
                let hidden = self.spare.iter().filter(|at| !kept.contains(at));
                // A drawing without a head only repeats the numbers.
                let names = hidden.map(|at| self.heads[*at].0.as_str()).filter(|name| !name.is_empty());
                let names: Vec<&str> = names.collect();
                if !names.is_empty() {
                    let text = format!("also on a wider terminal: {}", names.join(", "));
                    flow(&mut out, ink, ["", "  "], &[(text, Paint::Faint)]);
                }
                return out;
            }
            let Some(next) = spare.next() else { break };
            kept.retain(|at| at != next);
        }
        self.in_parts(ink)
    }

    /// The columns in several tables below each other, each with the first column; one that does not fit even so makes the
    /// table a list.
    fn in_parts(&self, ink: Ink) -> String {
        let widths: Vec<usize> = (0..self.heads.len()).map(|at| self.least(at)).collect();
        let Some((first, others)) = widths.split_first() else { return String::new() };
        if others.iter().any(|own| first + GAP + own > ink.room()) {
            return self.list(ink);
        }
        let mut out = String::new();
        let mut from = 1;
        while from < widths.len() {
            let mut to = from;
            let mut used = *first;
            while to < widths.len() && used + GAP + widths[to] <= ink.room() {
                used += GAP + widths[to];
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

    /// The first column and some others; rows in which the others are empty are omitted, except those with one cell.
    fn columns(&self, range: std::ops::Range<usize>) -> Self {
        let heads = std::iter::once(0).chain(range.clone()).map(|at| self.heads[at].clone()).collect();
        let has_one = |row: &&Vec<(String, Paint)>| {
            self.is_heading(row) || range.clone().any(|at| row.get(at).is_some_and(|(text, _)| !text.is_empty()))
        };
        let part = |row: &Vec<(String, Paint)>| {
            std::iter::once(0).chain(range.clone()).filter_map(|at| row.get(at).cloned()).collect()
        };
        let rows = self.rows.iter().filter(has_one).map(part).collect();
        let drawn = self.drawn.iter().filter(|at| range.contains(at)).map(|at| at + 1 - range.start).collect();
        Self { heads, rows, spare: Vec::new(), drawn }
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

    /// The texts of the cells of a column; the only one of a row is a heading over all columns.
    fn cells(&self, at: usize) -> impl Iterator<Item = String> {
        let rows = self.rows.iter().filter(|row| !self.is_heading(row));
        rows.filter_map(move |row| Some(clean(&row.get(at)?.0)))
    }

    fn is_heading(&self, row: &[(String, Paint)]) -> bool {
        row.len() == 1 && self.heads.len() > 1
    }

    /// The width of a column on one line per row.
    fn natural(&self, at: usize) -> usize {
        self.cells(at).map(|text| width(&text)).chain([width(&self.heads[at].0)]).max().unwrap_or_default()
    }

    /// The smallest width of a column: heads and words are folded, numbers and drawings are not.
    fn least(&self, at: usize) -> usize {
        /// Words are not folded to less than this, even if all are shorter.
        const NARROWEST: usize = 7;
        let (head, right) = &self.heads[at];
        let longest = |text: &str| {
            let indent = indent(text);
            text.split(' ').map(|word| indent + width(word)).max().unwrap_or_default()
        };
        let is_whole = *right || self.drawn.contains(&at);
        let cells = self.cells(at).map(|text| match is_whole {
            true => width(&text),
            false => longest(&text).max(width(&text).min(NARROWEST)),
        });
        cells.chain([longest(head)]).max().unwrap_or_default()
    }

    /// The widths of some columns that fit the room together; the widest that can be narrower is folded first.
    fn fitting(&self, columns: &[usize], room: usize) -> Option<Vec<usize>> {
        let mut widths: Vec<usize> = columns.iter().map(|at| self.natural(*at)).collect();
        let gaps = GAP * columns.len().saturating_sub(1);
        if widths.iter().sum::<usize>() + gaps <= room {
            return Some(widths);
        }
        let least: Vec<usize> = columns.iter().map(|at| self.least(*at)).collect();
        while widths.iter().sum::<usize>() + gaps > room {
            let widest = (0..widths.len()).filter(|at| widths[*at] > least[*at]).max_by_key(|at| widths[*at])?;
            widths[widest] -= 1;
        }
        Some(widths)
    }

    /// The heads and rows with these columns; a cell that does not fit its column goes on below.
    fn lines(&self, columns: &[usize], widths: &[usize], ink: Ink) -> String {
        let mut out = String::new();
        let heads = self.heads.iter().map(|(head, _)| (head.clone(), Paint::Faint)).collect();
        for row in std::iter::once(&heads).chain(&self.rows) {
            if let [(text, paint)] = &row[..]
                && self.is_heading(row)
            {
                flow(&mut out, ink, ["", "  "], &[(text.clone(), *paint)]);
                continue;
            }
            let empty = (String::new(), Paint::Plain);
            let cells: Vec<(Vec<String>, Paint)> = columns
                .iter()
                .zip(widths)
                .map(|(at, own)| {
                    let (text, paint) = row.get(*at).unwrap_or(&empty);
                    (in_lines(&clean(text), *own), *paint)
                })
                .collect();
            for number in 0..cells.iter().map(|(lines, _)| lines.len()).max().unwrap_or_default() {
                let mut line = String::new();
                for (place, ((lines, paint), own)) in cells.iter().zip(widths).enumerate() {
                    let text = lines.get(number).map_or("", String::as_str);
                    let pad = " ".repeat(own.saturating_sub(width(text)));
                    let painted = if text.is_empty() { String::new() } else { paint.on(text, ink) };
                    if place > 0 {
                        line.push_str(&" ".repeat(GAP));
                    }
                    let right = self.heads[columns[place]].1;
                    let [before, after] = if right { [&pad, &painted] } else { [&painted, &pad] };
                    line.push_str(before);
                    line.push_str(after);
                }
                out.push_str(line.trim_end());
                out.push('\n');
            }
        }
        out
    }
}

/// The spaces between two columns.
const GAP: usize = 2;

/// The spaces at the beginning of a text.
fn indent(text: &str) -> usize {
    text.len() - text.trim_start_matches(' ').len()
}

/// A text in lines of a width, which keep its indent.
fn in_lines(text: &str, own: usize) -> Vec<String> {
    if width(text) <= own {
        return vec![text.to_owned()];
    }
    let indent = indent(text);
    wrap(text, own.saturating_sub(indent)).into_iter().map(|line| " ".repeat(indent) + &line).collect()
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
        let two = "points           now        single\npoints  684.5 ± 20.1  684.5 ± 20.1\n\n\
                   points          twin\npoints  664.6 ± 18.2\nvs now   -19.9 ± 9.3\n";
        assert_eq!(table.text(Ink::plain(40)), two);
        let mut long = Table::new(&[("value", false), ("now", true)]);
        long.row(vec![strong("a-name-of-thirty-characters-oh"), plain("one text that is long as well, too long")]);
        let shown = long.text(Ink::plain(40));
        assert_eq!(shown, "a-name-of-thirty-characters-oh\n  now  one text that is long as well,\n    too long\n");
    }

    #[test]
    fn words_are_folded_in_their_columns() {
        let mut table = Table::new(&[("day", false), ("what changed", false), ("new limit", true)]);
        table.row(vec![plain("2027-03-01"), plain("agreed by the chief engineer"), plain("205 kg")]);
        table.row(vec![strong("a group of rows")]);
        table.row(vec![plain("  2027-03-02"), plain("restored"), plain("200.5 kg")]);
        let shown = "day           what changed         new limit\n2027-03-01    agreed by the chief     205 kg\n              \
                     engineer\na group of rows\n  2027-03-02  restored              200.5 kg\n";
        assert_eq!(table.text(Ink::plain(44)), shown);
        let narrow = "day           what           new\n              changed      limit\n";
        assert!(table.text(Ink::plain(32)).starts_with(narrow), "{}", table.text(Ink::plain(32)));
    }

    #[test]
    fn a_drawing_is_not_folded() {
        let mut table = Table::new(&[("share", false), ("", false), ("why", false)]).drawn(&[1]);
        table.row(vec![strong("brakes"), plain("███       │"), plain("over its limit by far")]);
        let shown = table.text(Ink::plain(35));
        assert!(shown.contains("brakes  ███       │  over its limit\n"), "{shown}");
        assert_eq!(shown.lines().count(), 3, "{shown}");
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
        let shown = "target   limit\nmass    205 kg\nalso on a wider\n  terminal: from, by\n";
        assert_eq!(table.text(Ink::plain(20)), shown);
    }
}
