//! The layout of pictures with a row for each item: a name, a bar and a number.

use super::scale::Uprights;
use super::svg::{Align, Canvas, LINE, Shape, text_width, wrapped};

/// The lines of a name or of what is at the end of a row at most; more is cut.
const MOST_LINES: usize = 4;

/// What is written in a row.
#[derive(Clone, Debug)]
pub(super) struct RowText<'t> {
    /// The class of the name.
    pub(super) class: &'static str,
    /// The name.
    pub(super) name: &'t str,
    /// The number at its end, or words.
    pub(super) number: String,
}

/// A row with its text in lines.
#[derive(Clone, Debug)]
struct Row {
    top: f64,
    height: f64,
    class: &'static str,
    name: Vec<String>,
    number: Vec<String>,
}

impl Row {
    fn lines(&self) -> usize {
        self.name.len().max(self.number.len())
    }
}

/// Rows below each other. A name that is too long for one line has more of them, and its row is higher.
#[derive(Clone, Debug)]
pub(super) struct Rows {
    shape: Shape,
    top: f64,
    rows: Vec<Row>,
    /// The left and right end of the bars.
    pub(super) plot: (f64, f64),
}

impl Rows {
    /// The left and right end of the bars.
    pub(super) fn plot(shape: Shape) -> (f64, f64) {
        match shape {
            Shape::Wide => (250.0, 606.0),
            Shape::Narrow => (10.0, 330.0),
        }
    }

    /// The same with more room for what is to the right of the bars.
    pub(super) fn plot_beside_words(shape: Shape) -> (f64, f64) {
        let (left, right) = Self::plot(shape);
        (left, if shape.is_narrow() { right } else { 535.0 })
    }

    /// Rows from `top` on, with bars in `plot`.
    pub(super) fn new<'t>(
        shape: Shape,
        top: f64,
        plot: (f64, f64),
        texts: impl IntoIterator<Item = RowText<'t>>,
    ) -> Self {
        let width = shape.width();
        let mut at = top;
        let rows = texts.into_iter().map(|RowText { class, name, number }| {
            let most = if shape.is_narrow() { 0.5 * width } else { width - plot.1 - 10.0 };
            let number = wrapped(&number, "", most, MOST_LINES);
            let beside = number.iter().map(|line| text_width(line, "")).fold(0.0, f64::max);
            let room = if shape.is_narrow() { width - beside - 8.0 } else { plot.0 - 10.0 };
            let name = wrapped(name, class, room, MOST_LINES);
            let mut row = Row { top: at, height: 0.0, class, name, number };
            let one = if shape.is_narrow() { 40.0 } else { 26.0 };
            row.height = one + LINE * (row.lines() as f64 - 1.0);
            at += row.height;
            row
        });
        Self { shape, top, rows: rows.collect(), plot }
    }

    /// The height of a bar.
    pub(super) const BAR: f64 = 14.0;

    /// Where the rows end.
    pub(super) fn bottom(&self) -> f64 {
        self.rows.last().map_or(self.top, |row| row.top + row.height)
    }

    /// The top of the bar of a row.
    pub(super) fn bar(&self, row: usize) -> f64 {
        let Some(row) = self.rows.get(row) else { return self.bottom() };
        if self.shape.is_narrow() {
            row.top + 20.0 + LINE * (row.lines() as f64 - 1.0)
        } else {
            row.top + 0.5 * (row.height - Self::BAR)
        }
    }

    /// The middle of the bar of a row.
    pub(super) fn middle(&self, row: usize) -> f64 {
        self.bar(row) + 0.5 * Self::BAR
    }

    /// Where upright lines are, down to `bottom`: in the narrow shape the names are above the bars.
    pub(super) fn uprights(&self, bottom: f64) -> Uprights {
        if !self.shape.is_narrow() {
            return Uprights::Whole(self.top, bottom);
        }
        Uprights::Beside((0..self.rows.len()).map(|row| Self::beside(self.bar(row))).collect(), bottom)
    }

    /// The top and the bottom of a line beside the bar that is at `top`.
    pub(super) fn beside(top: f64) -> (f64, f64) {
        (top - 2.0, top + Self::BAR + 2.0)
    }

    /// Writes the name of a row and its number, so that they do not touch.
    pub(super) fn label(&self, canvas: &mut Canvas, at: usize) {
        let Some(row) = self.rows.get(at) else { return };
        let width = canvas.width();
        let mut write = |lines: &[String], x: f64, align: Align, class: &str| {
            let first = if self.shape.is_narrow() {
                row.top + 14.0
            } else {
                self.middle(at) - 0.5 * LINE * lines.len() as f64 + 13.0
            };
            for (number, line) in lines.iter().enumerate() {
                canvas.text((x, first + LINE * number as f64), align, class, line);
            }
        };
        write(&row.name, 0.0, Align::Start, row.class);
        write(&row.number, width, Align::End, "");
        canvas.grow(row.top + row.height);
    }
}
