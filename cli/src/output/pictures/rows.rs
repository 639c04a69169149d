//! The layout of pictures with a row for each item: a name, a bar and a number.

use super::svg::{Align, Canvas, Shape, cut, text_width};

/// Rows below each other.
#[derive(Clone, Copy, Debug)]
pub(super) struct Rows {
    shape: Shape,
    top: f64,
    /// The left and right end of the bars.
    pub(super) plot: (f64, f64),
}

impl Rows {
    /// Rows from `top` on.
    pub(super) fn new(shape: Shape, top: f64) -> Self {
        let plot = match shape {
            Shape::Wide => (250.0, 606.0),
            Shape::Narrow => (10.0, 330.0),
        };
        Self { shape, top, plot }
    }

    /// The same with more room for what is to the right of the bars.
    pub(super) fn with_words(mut self) -> Self {
        if !self.shape.is_narrow() {
            self.plot.1 = 535.0;
        }
        self
    }

    /// The height of a row.
    pub(super) fn pitch(&self) -> f64 {
        if self.shape.is_narrow() { 40.0 } else { 26.0 }
    }

    /// The height of a bar.
    pub(super) const BAR: f64 = 14.0;

    /// The top of a row.
    pub(super) fn top(&self, row: usize) -> f64 {
        self.top + self.pitch() * row as f64
    }

    /// The end of a number of rows.
    pub(super) fn bottom(&self, rows: usize) -> f64 {
        self.top(rows)
    }

    /// The top of the bar of a row.
    pub(super) fn bar(&self, row: usize) -> f64 {
        self.top(row) + if self.shape.is_narrow() { 20.0 } else { 6.0 }
    }

    /// The middle of the bar of a row.
    pub(super) fn middle(&self, row: usize) -> f64 {
        self.bar(row) + 0.5 * Self::BAR
    }

    /// Writes the name of a row and its number, so that they do not touch.
    pub(super) fn label(&self, canvas: &mut Canvas, row: usize, class: &str, name: &str, number: &str) {
        let width = canvas.width();
        if self.shape.is_narrow() {
            let y = self.top(row) + 14.0;
            let number = cut(number, "", 0.5 * width);
            let room = width - text_width(&number, "") - 8.0;
            canvas.text((0.0, y), Align::Start, class, &cut(name, class, room));
            canvas.text((width, y), Align::End, "", &number);
        } else {
            let y = self.middle(row) + 4.5;
            canvas.text((0.0, y), Align::Start, class, &cut(name, class, self.plot.0 - 10.0));
            canvas.text((width, y), Align::End, "", &cut(number, "", width - self.plot.1 - 10.0));
        }
        canvas.grow(self.top(row + 1));
    }
}
