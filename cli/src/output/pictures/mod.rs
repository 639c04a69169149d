//! The pictures of pages: SVG from numbers alone, each with a caption that states the finding, a text alternative, and its
//! numbers as a table.
//!
//! Each kind of picture has one file with its input, which is plain data, and `picture`, which draws it. [`from_study`]
//! fills the inputs. `key` is the beginning of the ids in the SVG: another one for each picture of a page. Colours are in
//! `templates/pictures.css` ([`STYLE`]), which a page includes once; it chooses between the wide and the narrow shape of a
//! picture by the width of its place.

pub(crate) mod bars;
pub(crate) mod budget;
pub(crate) mod chain;
pub(crate) mod estimates;
pub(crate) mod from_study;
pub(crate) mod frontier;
pub(crate) mod loops;
pub(crate) mod over_time;
mod rows;
mod scale;
pub(crate) mod stress;
mod svg;
pub(crate) mod target;
pub(crate) mod targets;
pub(crate) mod terminal;
#[cfg(test)]
mod tests;
pub(crate) mod tornado;
pub(crate) mod typeset;
pub(crate) mod verification;
pub(crate) mod waterfall;

use std::fmt::Write as _;

pub(crate) use svg::escaped;
use svg::{Canvas, Shape};
pub(crate) use typeset::typeset;

/// The style of all pictures, for the `<style>` of a page.
pub(crate) const STYLE: &str = include_str!("../../../../templates/pictures.css");

/// The largest number of rows that are drawn; the table has all of them.
const MOST_ROWS: usize = 40;

/// What the interval of a prediction is, on the pages.
const MAY_HAPPEN: &str = "95 % of what may happen";
/// What the interval of a value is, on the pages.
const UNCERTAINTY: &str = "interval of about 95 %";

/// A record or a group that a picture shows.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(crate) struct Name {
    /// The id of the record, if it is one.
    pub(crate) id: Option<String>,
    /// The title for people.
    pub(crate) title: String,
}

impl Name {
    /// What is not a record.
    pub(crate) fn plain(title: impl Into<String>) -> Self {
        Self { id: None, title: title.into() }
    }

    /// A record.
    pub(crate) fn record(id: impl Into<String>, title: impl Into<String>) -> Self {
        Self { id: Some(id.into()), title: title.into() }
    }
}

/// A picture with everything that is beside it.
#[derive(Clone, Debug, Default)]
pub(crate) struct Picture {
    /// The SVG, or the list of the chain; empty if there is nothing to draw, and then the caption says why.
    pub(crate) svg: String,
    /// What the picture shows, as a sentence with its numbers.
    pub(crate) caption: String,
    /// The numbers.
    pub(crate) table: PictureTable,
}

/// The numbers of a picture; all text is typeset.
#[derive(Clone, Debug, Default)]
pub(crate) struct PictureTable {
    /// What the table shows.
    pub(crate) caption: String,
    /// The heads of the columns; `true` for numbers.
    pub(crate) heads: Vec<(String, bool)>,
    /// The rows; the first cell names the row.
    pub(crate) rows: Vec<TableRow>,
}

/// A row of a table.
#[derive(Clone, Debug, Default)]
pub(crate) struct TableRow {
    /// The id of the record of the row.
    pub(crate) id: Option<String>,
    /// The cells.
    pub(crate) cells: Vec<String>,
}

/// How the table is beside its picture.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Numbers {
    /// Below it, folded.
    Folded,
    /// Elsewhere on the page.
    Elsewhere,
}

impl Picture {
    /// A sentence in place of a picture that would be empty.
    pub(crate) fn sentence(text: impl Into<String>) -> Self {
        Self { caption: crate::screen::clean(&text.into()), ..Self::default() }
    }

    /// Draws both shapes.
    fn drawn(
        key: &str,
        title: &str,
        caption: String,
        alt: String,
        table: PictureTable,
        draw: impl Fn(&mut Canvas, Shape),
    ) -> Self {
        let [caption, alt] = [caption, alt].map(|text| crate::screen::clean(&text));
        let shape = |shape| {
            let mut canvas = Canvas::new(key, shape);
            draw(&mut canvas, shape);
            canvas.finish(title, &alt)
        };
        let svg = shape(Shape::Wide) + &shape(Shape::Narrow);
        Self { svg, caption, table }
    }

    /// Whether there is a sentence in place of the picture.
    pub(crate) fn is_empty(&self) -> bool {
        self.svg.is_empty()
    }

    /// The picture as HTML: with its caption, and its table unless that is elsewhere. With `links`, the names of records
    /// in the table lead to `#id`.
    pub(crate) fn figure(&self, numbers: Numbers, links: bool) -> String {
        if self.is_empty() {
            return format!("<p class=\"no-picture\">{}</p>", escaped(&self.caption));
        }
        let table = match numbers {
            _ if self.table.rows.is_empty() => String::new(),
            Numbers::Elsewhere => String::new(),
            Numbers::Folded => {
                format!("<details class=\"numbers\"><summary>Numbers</summary>{}</details>", self.table.html(links))
            }
        };
        // On paper, a table that is folded is not there.
        let on_screen = format!("<span class=\"on-screen\">{IN_TABLE}</span>");
        let caption = escaped(&self.caption).replacen(IN_TABLE, &on_screen, 1);
        format!("<figure class=\"picture\"><figcaption>{caption}</figcaption>{}{table}</figure>", self.svg)
    }
}

impl PictureTable {
    /// A table without rows.
    fn new(caption: &str, heads: &[(&str, bool)]) -> Self {
        let heads = heads.iter().map(|(head, number)| ((*head).to_owned(), *number)).collect();
        Self { caption: caption.to_owned(), heads, rows: Vec::new() }
    }

    /// Adds a row, its name first.
    fn row<const N: usize>(&mut self, name: &Name, cells: [String; N]) {
        let cells = std::iter::once(name.title.clone()).chain(cells).collect();
        self.rows.push(TableRow { id: name.id.clone(), cells });
    }

    /// The table as HTML.
    pub(crate) fn html(&self, links: bool) -> String {
        let mut out = String::from("<div class=\"table-room\" role=\"region\" tabindex=\"0\" aria-label=\"");
        let _ = write!(
            out,
            "{0}\"><table class=\"picture-table\"><caption>{0}</caption><thead><tr>",
            escaped(&self.caption)
        );
        // A column without any number is not shown.
        let is_empty = |at: usize| self.rows.iter().all(|row| row.cells.get(at).is_none_or(String::is_empty));
        let shown: Vec<bool> = (0..self.heads.len()).map(|at| at == 0 || !is_empty(at)).collect();
        let is_shown = |at: &usize| shown.get(*at).copied().unwrap_or(true);
        let class = |at: usize| if self.heads.get(at).is_some_and(|head| head.1) { " class=\"number\"" } else { "" };
        for (at, (head, _)) in self.heads.iter().enumerate().filter(|(at, _)| is_shown(at)) {
            let _ = write!(out, "<th scope=\"col\"{}>{}</th>", class(at), escaped(head));
        }
        out.push_str("</tr></thead><tbody>");
        for row in &self.rows {
            out.push_str("<tr>");
            for (at, cell) in row.cells.iter().enumerate().filter(|(at, _)| is_shown(at)) {
                let cell = escaped(cell);
                match (at, row.id.as_deref().filter(|_| links)) {
                    (0, Some(id)) => {
                        let _ = write!(out, "<th scope=\"row\"><a href=\"#{}\">{cell}</a></th>", escaped(id));
                    }
                    (0, None) => {
                        let _ = write!(out, "<th scope=\"row\">{cell}</th>");
                    }
                    _ => {
                        let _ = write!(out, "<td{}>{cell}</td>", class(at));
                    }
                }
            }
            out.push_str("</tr>");
        }
        out.push_str("</tbody></table></div>");
        out
    }
}

/// Points with one decimal, typeset; empty without any.
fn points(value: Option<f64>) -> String {
    value.filter(|value| value.is_finite()).map(|value| typeset(&schema::number::fixed(value, 1))).unwrap_or_default()
}

/// A difference of points with its sign, typeset.
fn change(value: f64) -> String {
    if !value.is_finite() {
        return String::new();
    }
    typeset(&schema::number::signed(value, 1))
}

/// A share as a percentage, typeset.
fn percent(ratio: f64) -> String {
    if ratio.is_finite() { typeset(&super::numbers::percent(ratio)) } else { String::new() }
}

/// The same of a ratio that is not negative, without the sign.
fn unsigned_percent(ratio: f64) -> String {
    if ratio.is_finite() { typeset(&super::numbers::unsigned_percent(ratio)) } else { String::new() }
}

/// Where the rows are that are not drawn.
const IN_TABLE: &str = ", the table has all";

/// The end of a caption if not every row is drawn, but `most` of them.
fn not_drawn(all: usize, most: usize) -> String {
    if all > most { format!("; {most} of {all} are drawn{IN_TABLE}") } else { String::new() }
}
