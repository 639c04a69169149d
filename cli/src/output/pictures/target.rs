//! One target: its limit, the estimate and the result on a linear scale in its own unit.

use super::scale::{Axis, Uprights};
use super::svg::{Align, Canvas, Fill};
use super::targets::TargetRow;
use super::typeset::typeset;
use super::{Name, Picture, PictureTable};

/// A target with its numbers, all in its unit.
#[derive(Clone, Debug, Default)]
pub(crate) struct OneTarget {
    /// Its name and its texts.
    pub(crate) row: TargetRow,
    /// The unit as text.
    pub(crate) unit: String,
    /// The least value that meets it.
    pub(crate) at_least: Option<f64>,
    /// The largest value that meets it.
    pub(crate) at_most: Option<f64>,
    /// The estimate and its expanded uncertainty (k = 2).
    pub(crate) estimate: Option<(f64, f64)>,
    /// The result and its expanded uncertainty (k = 2).
    pub(crate) result: Option<(f64, f64)>,
}

impl OneTarget {
    /// The ends of the limit.
    fn limits(&self) -> impl Iterator<Item = f64> {
        [self.at_least, self.at_most].into_iter().flatten().filter(|end| end.is_finite())
    }

    /// The readings with their words and texts; `true` for the result.
    fn readings(&self) -> Vec<(&'static str, bool, f64, f64, String)> {
        let all =
            [("estimate", false, self.estimate, &self.row.estimate), ("result", true, self.result, &self.row.result)];
        let known = all.into_iter().filter_map(|(word, is_result, numbers, reading)| {
            let (value, uncertainty) = numbers.filter(|(value, _)| value.is_finite())?;
            let text = reading.as_ref().map(|own| typeset(&own.text)).unwrap_or_default();
            Some((word, is_result, value, uncertainty.max(0.0), text))
        });
        known.collect()
    }

    fn meets(&self, value: f64) -> bool {
        self.at_least.is_none_or(|least| value >= least) && self.at_most.is_none_or(|most| value <= most)
    }
}

const WIDTH: f64 = 340.0;

/// Draws the target, in one shape that fits a desk and a phone; a sentence without a limit or a value.
pub(crate) fn picture(key: &str, input: &OneTarget) -> Picture {
    let readings = input.readings();
    let limit = typeset(&input.row.limit);
    let texts: Vec<String> = readings.iter().map(|(word, .., text)| format!("{word} {text}")).collect();
    let (texts, is_empty) = (texts.join(", "), texts.is_empty());
    let is_uncertain = readings.iter().any(|(_, _, _, by, _)| *by > 0.0);
    let uncertainty = if is_uncertain { ", with intervals of about 95 %" } else { "" };
    let caption = match is_empty {
        true => format!("Limit {limit}, no value yet"),
        false => format!("Limit {limit}, shaded where it is met; {texts}{uncertainty}"),
    };
    let caption = crate::screen::clean(&caption);
    let mut table = PictureTable::new(&input.row.name.title, &[("what", false), ("value", true)]);
    table.row(&Name::plain("limit"), [limit.clone()]);
    for (word, .., text) in &readings {
        table.row(&Name::plain(*word), [text.clone()]);
    }
    if readings.is_empty() || input.limits().next().is_none() {
        return Picture { table, ..Picture::sentence(caption) };
    }
    let mut canvas = Canvas::small(key, WIDTH);
    draw(&mut canvas, input, &readings);
    let svg = canvas.finish(&input.row.name.title, &crate::screen::clean(&format!("limit {limit}, {texts}")));
    Picture { svg, caption, table }
}

fn draw(canvas: &mut Canvas, input: &OneTarget, readings: &[(&'static str, bool, f64, f64, String)]) {
    const ROW: f64 = 18.0;
    let (plot, bottom) = ((70.0, WIDTH - 8.0), 4.0 + ROW * readings.len() as f64);
    let ends = readings.iter().flat_map(|(_, _, value, by, _)| [value - by, *value, value + by]);
    let x = Axis::around(ends.chain(input.limits()), plot);
    let met =
        (input.at_least.map_or(plot.0, |least| x.inside(least)), input.at_most.map_or(plot.1, |most| x.inside(most)));
    if met.0 < met.1 {
        canvas.span(met, 2.0, bottom - 2.0, Fill::Class("allowed"));
    }
    x.grid_below(canvas, &Uprights::Beside(Vec::new(), bottom), &input.unit);
    canvas.line((plot.0, bottom), (plot.1, bottom), "axis");
    for limit in input.limits() {
        canvas.line((x.inside(limit), 0.0), (x.inside(limit), bottom), "limit");
    }
    for (at, (word, is_result, value, by, _)) in readings.iter().enumerate() {
        let y = 3.0 + ROW * (at as f64 + 0.5);
        canvas.text((0.0, y + 4.0), Align::Start, "s", word);
        if *by > 0.0 {
            canvas.interval((x.inside(value - by), x.inside(value + by)), y, "interval");
        }
        let at = (x.inside(*value), y);
        match (is_result, input.meets(*value)) {
            (false, _) => canvas.circle(at, 4.5, "estimate"),
            (true, true) => canvas.diamond(at, "result"),
            (true, false) => canvas.diamond(at, "missed"),
        }
    }
}
