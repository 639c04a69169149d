//! What changes the points, or the chance of a place: the effect of each value, the largest first.

use super::rows::Rows;
use super::scale::{Axis, Uprights};
use super::svg::{Align, Canvas, Fill, Key, LINE, Pattern, Shape, cut, text_width, wrapped};
use super::typeset::typeset;
use super::{Name, Picture, PictureTable, change};

/// The values that change the points.
#[derive(Clone, Debug, Default)]
pub(crate) struct Tornado {
    /// The title of the goal.
    pub(crate) goal: String,
    /// By how much each value is changed, as text: `1 %`, `its uncertainty`.
    pub(crate) by: String,
    /// What the bars are, if not points: what has a chance, and the chance now, both as text. They are percent of it then.
    pub(crate) chance: Option<(String, String)>,
    /// The values, the largest effect first.
    pub(crate) bars: Vec<TornadoBar>,
}

/// The effect of one value.
#[derive(Clone, Debug, Default)]
pub(crate) struct TornadoBar {
    /// The value: the record and the quantity.
    pub(crate) name: Name,
    /// The value now, with its unit.
    pub(crate) now: String,
    /// The points that a lower value adds; negative if it takes some.
    pub(crate) lower: f64,
    /// The points that a higher value adds; negative if it takes some.
    pub(crate) higher: f64,
    /// The lower value and the higher one, with their unit.
    pub(crate) to: [String; 2],
    /// The points that a higher value adds, if the bars are of a chance.
    pub(crate) points: Option<f64>,
}

impl TornadoBar {
    fn size(&self) -> f64 {
        self.lower.abs().max(self.higher.abs())
    }

    /// The points of the better direction.
    fn better(&self) -> f64 {
        self.higher.max(self.lower)
    }

    /// The effect in the better direction, with its unit if it is of a chance.
    fn effect(&self) -> String {
        let better = change(self.better());
        if self.points.is_some() { typeset(&format!("{better} %")) } else { better }
    }

    /// The points in the better direction, to add to the effect on a chance.
    fn points(&self) -> String {
        let sign = if self.higher >= self.lower { 1.0 } else { -1.0 };
        self.points.map(|points| format!("{} points", change(sign * points))).unwrap_or_default()
    }

    /// From the value now to the one in the better direction.
    fn step(&self) -> String {
        let [lower, higher] = &self.to;
        typeset(&format!("{} → {}", self.now, if self.higher >= self.lower { higher } else { lower }))
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
    let largest = bars.iter().take(3);
    let largest = largest.map(|bar| {
        let effect = match bar.points {
            Some(_) => format!("{}, {}", bar.effect(), bar.points()),
            None => format!("{} points", bar.effect()),
        };
        format!("{}, {}: {effect}", bar.name.title, bar.step())
    });
    let largest: Vec<String> = largest.collect();
    let others = bars.len().saturating_sub(MOST);
    let others = if others > 0 { format!("; {others} smaller ones are in the table") } else { String::new() };
    let by = typeset(&input.by);
    let (title, moves) = match &input.chance {
        None => ("What changes the points", format!("What {by} of a value changes the points most")),
        Some((of, now)) => {
            let now = typeset(now);
            (
                "What raises the chance",
                format!("What {by} of a value adds to the chance of {of}, {now} by the estimates alone"),
            )
        }
    };
    let caption = format!("{moves}: {}{others}", largest.join("; "));
    let alt = format!("Tornado of {}. {caption}", input.goal);
    let drawn = &bars[..bars.len().min(MOST)];
    Picture::drawn(key, title, caption, alt, table, |canvas, shape| draw(canvas, shape, input, drawn))
}

fn table(input: &Tornado, bars: &[&TornadoBar]) -> PictureTable {
    let what = if input.chance.is_some() { "chance, %" } else { "points" };
    let [less, more] = ["less", "more"].map(|word| format!("{what} for {} {word}", input.by));
    let heads = [("value", false), ("now", true), (less.as_str(), true), (more.as_str(), true)];
    let changes = if input.chance.is_some() { "What raises the chance" } else { "What changes the points" };
    let mut table = PictureTable::new(changes, &heads);
    for bar in bars {
        let precise = |points: f64| typeset(&schema::number::signed_significant(points, 3));
        table.row(&bar.name, [typeset(&bar.now), precise(bar.lower), precise(bar.higher)]);
    }
    table
}

const HIGHER: Fill = Fill::Class("main");
const LOWER: Fill = Fill::Pattern(Pattern::Hatch, "main-edge");

/// The room below a bar on a phone.
const BELOW_BAR: f64 = 11.0;

/// The lines of a name at most; no title is that long.
const MOST_LINES: usize = 4;

fn draw(canvas: &mut Canvas, shape: Shape, input: &Tornado, bars: &[&TornadoBar]) {
    let by = typeset(&input.by);
    let (more, less) = (format!("{by} more"), format!("{by} less"));
    let top = canvas.keys(0.0, &[(Key::Area(HIGHER), &more), (Key::Area(LOWER), &less)]);
    let (left, right) = Rows::plot_beside_words(shape);
    let width = canvas.width();
    let ends = bars.iter().flat_map(|bar| [bar.lower, bar.higher, 0.0]);
    let x = Axis::around(ends, (left, right));
    let room = if shape.is_narrow() { width } else { left - 10.0 };
    let names: Vec<Vec<String>> = bars.iter().map(|bar| wrapped(&bar.name.title, "", room, MOST_LINES)).collect();
    let height = |lines: &Vec<String>| {
        let lines = lines.len() as f64;
        // On a phone the name is above the numbers, and these above the bar.
        if shape.is_narrow() { LINE * (lines + 1.0) + Rows::BAR + 3.0 + BELOW_BAR } else { LINE * lines.max(2.0) + 9.0 }
    };
    let bottom = top + names.iter().map(height).sum::<f64>() + 4.0;
    let uprights = if shape.is_narrow() {
        let mut end = top;
        let ends = names.iter().map(|lines| {
            end += height(lines);
            Rows::beside(end - Rows::BAR - BELOW_BAR)
        });
        Uprights::Beside(ends.collect(), bottom)
    } else {
        Uprights::Whole(top, bottom)
    };
    x.grid_below(canvas, &uprights, if input.chance.is_some() { "%" } else { "pts" });
    let zero = x.inside(0.0);
    let mut y = top;
    for (bar, name) in bars.iter().zip(&names) {
        let lines = name.len() as f64;
        let own = height(name);
        let middle = y + 0.5 * own;
        let first = if shape.is_narrow() { y + 14.0 } else { middle - 0.5 * LINE * lines + 13.0 };
        for (at, line) in name.iter().enumerate() {
            canvas.text((0.0, first + LINE * at as f64), Align::Start, "", line);
        }
        let beside = if shape.is_narrow() { 0.5 * width } else { width - right - 10.0 };
        let effect = cut(&bar.effect(), "b", beside);
        // With a chance, the step is in the caption and in the table.
        let step = if bar.points.is_some() { bar.points() } else { bar.step() };
        let at = if shape.is_narrow() {
            let below = first + LINE * lines;
            canvas.text((width, below), Align::End, "b", &effect);
            canvas.text((0.0, below), Align::Start, "s", &cut(&step, "s", width - text_width(&effect, "b") - 8.0));
            below + 6.0
        } else {
            canvas.text((width, middle - 3.5), Align::End, "b", &effect);
            canvas.text((width, middle + 12.5), Align::End, "s", &cut(&step, "s", beside));
            middle - 0.5 * Rows::BAR
        };
        canvas.span((zero, x.inside(bar.lower)), at, Rows::BAR, LOWER);
        canvas.span((zero, x.inside(bar.higher)), at, Rows::BAR, HIGHER);
        y += own;
    }
    uprights.draw(canvas, zero, "axis");
    canvas.grow(bottom);
}
