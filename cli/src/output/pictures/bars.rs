//! Values of one unit below each other, each as a bar: points with their interval, against what is needed or possible.

use super::rows::{RowText, Rows};
use super::scale::{Axis, Uprights};
use super::svg::{Canvas, Fill, Key, Pattern, Shape};
use super::typeset::typeset;
use super::waterfall::{BAND, BAND_FILL, NeededPoints};
use super::{MOST_ROWS, Name, Picture, PictureTable, points};

/// The bars.
#[derive(Clone, Debug, Default)]
pub(crate) struct Bars {
    /// What they are: `Points by event`.
    pub(crate) title: String,
    /// What the picture shows, as a sentence with its numbers.
    pub(crate) caption: String,
    /// The unit as text.
    pub(crate) unit: String,
    /// What a bar is: `expected`.
    pub(crate) value: String,
    /// What is behind a bar, if anything is: `at most`.
    pub(crate) behind: Option<String>,
    /// What an interval is: `95 % of what may happen`.
    pub(crate) interval: String,
    /// What the values are compared with.
    pub(crate) needed: Option<NeededPoints>,
    /// Whether the keys say what a bar is.
    pub(crate) says_value: bool,
    /// Whether bars begin at zero; otherwise each is a mark at its value.
    pub(crate) from_zero: bool,
    /// The bars, in their order.
    pub(crate) bars: Vec<Bar>,
}

/// A bar.
#[derive(Clone, Debug, Default)]
pub(crate) struct Bar {
    /// What it is of.
    pub(crate) name: Name,
    /// The value.
    pub(crate) value: f64,
    /// What is behind it.
    pub(crate) behind: Option<f64>,
    /// The ends of the interval.
    pub(crate) interval: Option<(f64, f64)>,
    /// The value as text.
    pub(crate) text: String,
    /// Whether it is the one to look at.
    pub(crate) strong: bool,
}

/// Draws the bars.
pub(crate) fn picture(key: &str, input: &Bars) -> Picture {
    let shown: Vec<&Bar> = input.bars.iter().filter(|bar| bar.value.is_finite()).take(MOST_ROWS).collect();
    if shown.is_empty() {
        return Picture::sentence(input.caption.clone());
    }
    let mut heads = vec![("what", false), (input.value.as_str(), true)];
    heads.extend(input.behind.as_deref().map(|behind| (behind, true)));
    let mut table = PictureTable::new(&input.title, &heads);
    for bar in &input.bars {
        let text = typeset(&bar.text);
        match &input.behind {
            Some(_) => table.row(&bar.name, [text, points(bar.behind)]),
            None => table.row(&bar.name, [text]),
        }
    }
    let alt = format!("{}. {}", input.title, input.caption);
    Picture::drawn(key, &input.title, input.caption.clone(), alt, table, |canvas, shape| {
        draw(canvas, shape, input, &shown);
    })
}

const VALUE: Fill = Fill::Class("main");
const LESS: Fill = Fill::Pattern(Pattern::Cross, "bad-edge");
const BEHIND: Fill = Fill::Class("around");

fn draw(canvas: &mut Canvas, shape: Shape, input: &Bars, bars: &[&Bar]) {
    let needed = input.needed.as_ref().map(|needed| format!("{} {}", needed.words, points(Some(needed.points))));
    let mut keys: Vec<(Key, &str)> = Vec::new();
    if let Some(behind) = &input.behind {
        keys.extend([(Key::Area(VALUE), input.value.as_str()), (Key::Area(BEHIND), behind.as_str())]);
    }
    if input.says_value {
        keys.push((Key::Area(VALUE), &input.value));
        if bars.iter().any(|bar| bar.value < 0.0) {
            keys.push((Key::Area(LESS), "too much"));
        }
    }
    if let Some(needed) = &needed {
        keys.extend([(Key::Line("goal"), needed.as_str()), (Key::Area(BAND_FILL), BAND)]);
    }
    if bars.iter().any(|bar| bar.interval.is_some()) {
        keys.push((Key::Interval, &input.interval));
    }
    let top = if keys.is_empty() { 4.0 } else { canvas.keys(0.0, &keys) };
    let texts = bars.iter().map(|bar| RowText {
        class: if bar.strong { "b" } else { "" },
        name: &bar.name.title,
        number: typeset(&bar.text),
    });
    let layout = Rows::new(shape, top, Rows::plot(shape), texts);
    let bottom = layout.bottom() + 4.0;
    let ends = bars.iter().flat_map(|bar| {
        let (low, high) = bar.interval.unwrap_or((bar.value, bar.value));
        [bar.value, low, high, bar.behind.unwrap_or(bar.value)]
    });
    let needed = input.needed.as_ref();
    let of_needed = needed.into_iter().flat_map(|own| [own.points, own.interval.0, own.interval.1]);
    let zero = input.from_zero.then_some(0.0);
    // In the narrow shape the numbers are above the bars: the line at zero stays to the left of them.
    let is_below = input.from_zero && bars.iter().all(|bar| bar.value <= 0.0);
    let right = if shape.is_narrow() && is_below { 0.68 * layout.plot.1 } else { layout.plot.1 };
    let x = Axis::around(ends.chain(of_needed).chain(zero), (layout.plot.0, right));
    // Without a bar to begin at, names are short: the line of what is needed goes past them.
    let uprights = if input.from_zero { layout.uprights(bottom) } else { Uprights::Whole(top, bottom) };
    x.grid_below(canvas, &uprights, &input.unit);
    if let Some(needed) = needed {
        let (low, high) = needed.interval;
        if high > low {
            canvas.span((x.inside(low), x.inside(high)), top, bottom - top, BAND_FILL);
        }
        uprights.draw(canvas, x.inside(needed.points), "goal");
    }
    for (at, bar) in bars.iter().enumerate() {
        let (y, end) = (layout.bar(at), x.inside(bar.value));
        layout.label(canvas, at);
        if input.from_zero {
            let zero = x.inside(0.0);
            if let Some(behind) = bar.behind {
                canvas.span((zero, x.inside(behind)), y, Rows::BAR, BEHIND);
            }
            canvas.span((zero, end), y, Rows::BAR, if bar.value < 0.0 { LESS } else { VALUE });
            let (top, bottom) = Rows::beside(y);
            canvas.line((zero, top), (zero, bottom), "axis");
        }
        if let Some((low, high)) = bar.interval {
            canvas.interval((x.inside(low), x.inside(high)), layout.middle(at), "interval");
        }
        if !input.from_zero || (bar.strong && bar.value == 0.0) {
            canvas.rect((end - 2.5, y - 2.0), (5.0, Rows::BAR + 4.0), Fill::Class("total"));
        }
    }
}
