//! What moves the points: the effect of each value, the largest first.

use super::rows::Rows;
use super::scale::Axis;
use super::svg::{Canvas, Fill, Key, Pattern, Shape};
use super::typeset::typeset;
use super::{Name, Picture, PictureTable, change};

/// The values that move the points.
#[derive(Clone, Debug, Default)]
pub(crate) struct Tornado {
    /// The title of the goal.
    pub(crate) goal: String,
    /// By how much each value is changed, as text: `1 %`, `its uncertainty`.
    pub(crate) by: String,
    /// The values, the largest effect first.
    pub(crate) bars: Vec<TornadoBar>,
}

/// The effect of one value.
#[derive(Clone, Debug, Default)]
pub(crate) struct TornadoBar {
    /// The value.
    pub(crate) name: Name,
    /// The value now, with its unit.
    pub(crate) now: String,
    /// The points that a lower value adds; negative if it takes some.
    pub(crate) lower: f64,
    /// The points that a higher value adds; negative if it takes some.
    pub(crate) higher: f64,
}

impl TornadoBar {
    fn size(&self) -> f64 {
        self.lower.abs().max(self.higher.abs())
    }

    /// The better direction and the points that it adds.
    fn better(&self) -> (&'static str, f64) {
        if self.higher >= self.lower { ("more", self.higher) } else { ("less", self.lower) }
    }
}

/// The number of bars: a tornado is about what matters most.
const MOST: usize = 15;

/// Draws the tornado.
pub(crate) fn picture(key: &str, input: &Tornado) -> Picture {
    let mut bars: Vec<&TornadoBar> =
        input.bars.iter().filter(|bar| bar.size().is_finite() && bar.size() > 0.0).collect();
    bars.sort_by(|a, b| b.size().total_cmp(&a.size()));
    let table = table(input, &bars);
    if bars.is_empty() {
        return Picture::sentence(format!("{}: no value changes the points yet", input.goal));
    }
    let largest: Vec<String> = bars
        .iter()
        .take(3)
        .map(|bar| {
            let (word, points) = bar.better();
            format!("{}, {} {word}: {}", bar.name.title, typeset(&input.by), change(points))
        })
        .collect();
    let others = bars.len().saturating_sub(MOST);
    let others = if others > 0 { format!("; {others} smaller ones are in the table") } else { String::new() };
    let caption = format!("What moves the points most: {}{others}", largest.join("; "));
    let alt = format!("Tornado of the points of {}. {caption}", input.goal);
    let drawn = &bars[..bars.len().min(MOST)];
    Picture::drawn(key, "What moves the points", caption, alt, table, |canvas, shape| draw(canvas, shape, input, drawn))
}

fn table(input: &Tornado, bars: &[&TornadoBar]) -> PictureTable {
    let [less, more] = ["less", "more"].map(|word| format!("points for {} {word}", input.by));
    let heads = [("value", false), ("now", true), (less.as_str(), true), (more.as_str(), true)];
    let mut table = PictureTable::new("What moves the points", &heads);
    for bar in bars {
        let precise = |points: f64| typeset(&schema::number::signed_significant(points, 3));
        table.row(&bar.name, [typeset(&bar.now), precise(bar.lower), precise(bar.higher)]);
    }
    table
}

const HIGHER: Fill = Fill::Class("main");
const LOWER: Fill = Fill::Pattern(Pattern::Hatch, "main-edge");

fn draw(canvas: &mut Canvas, shape: Shape, input: &Tornado, bars: &[&TornadoBar]) {
    let by = typeset(&input.by);
    let (more, less) = (format!("{by} more of it"), format!("{by} less of it"));
    let top = canvas.keys(0.0, &[(Key::Area(HIGHER), &more), (Key::Area(LOWER), &less)]);
    let layout = Rows::new(shape, top);
    let bottom = layout.bottom(bars.len()) + 4.0;
    let x = Axis::around(bars.iter().flat_map(|bar| [bar.lower, bar.higher, 0.0]), layout.plot);
    x.grid_below(canvas, (top, bottom), "pts");
    let zero = x.inside(0.0);
    for (at, bar) in bars.iter().enumerate() {
        let (word, points) = bar.better();
        layout.label(canvas, at, "", &bar.name.title, &format!("{word}: {}", change(points)));
        canvas.span((zero, x.inside(bar.lower)), layout.bar(at), Rows::BAR, LOWER);
        canvas.span((zero, x.inside(bar.higher)), layout.bar(at), Rows::BAR, HIGHER);
    }
    canvas.line((zero, top), (zero, bottom), "axis");
}
