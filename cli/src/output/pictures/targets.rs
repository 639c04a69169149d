//! The limit, the estimate and the result of targets on one scale: the margin to the limit, met to the right of the line.
//!
//! The direction of "better" is to the right for every target, also for one that has an upper limit. Close to the limit,
//! where it is decided, the scale is stretched.

use super::rows::{RowText, Rows};
use super::svg::{Align, Canvas, Fill, Key, LINE, Shape, cut, escaped};
use super::typeset::typeset;
use super::{MOST_ROWS, Name, Picture, PictureTable, UNCERTAINTY, not_drawn, percent};

/// The targets.
#[derive(Clone, Debug, Default)]
pub(crate) struct Targets {
    /// The targets, those to look at first at the beginning.
    pub(crate) targets: Vec<TargetRow>,
    /// What an interval is; `None` for the words of the pages.
    pub(crate) interval_words: Option<&'static str>,
}

/// A target.
#[derive(Clone, Debug, Default)]
pub(crate) struct TargetRow {
    /// The target.
    pub(crate) name: Name,
    /// The limit as text: `at most 205 kg`.
    pub(crate) limit: String,
    /// The estimate without any result.
    pub(crate) estimate: Option<Reading>,
    /// The result.
    pub(crate) result: Option<Reading>,
    /// The status or outcome in a word: `met`, `at risk`.
    pub(crate) outcome: String,
    /// Whether the outcome is that the target is missed or at risk.
    pub(crate) is_bad: bool,
}

/// A value of a target.
#[derive(Clone, Debug, Default)]
pub(crate) struct Reading {
    /// The value with its unit and uncertainty as text.
    pub(crate) text: String,
    /// The margin to the limit as a ratio, negative beyond it; `None` if a ratio has no meaning (degrees Celsius).
    pub(crate) margin: Option<f64>,
    /// What is in place of the ratio.
    pub(crate) instead: Option<Instead>,
    /// The margins of both ends of its interval.
    pub(crate) interval: Option<(f64, f64)>,
}

/// What is shown of a margin that has no meaning as a ratio.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(crate) struct Instead {
    /// The margin in its unit: `+5 degC`.
    pub(crate) margin: String,
    /// Why there is no ratio: `no percentage of degC`.
    pub(crate) why: String,
}

/// The margin at the ends of the scale.
const MOST: f64 = 0.5;
/// The margin up to which the scale is nearly linear.
const NEAR: f64 = 0.01;

/// The position of a margin, from -1 to 1.
fn stretched(margin: f64) -> f64 {
    if margin.is_nan() {
        return 0.0;
    }
    let stretched = (margin.abs() / NEAR).ln_1p() / (MOST / NEAR).ln_1p();
    stretched.min(1.0).copysign(margin)
}

/// The margins with a mark, those at the ends first: the numbers of the others are where these leave room.
const TICKS: [f64; 7] = [-0.3, 0.3, 0.0, -0.1, 0.1, -0.02, 0.02];

fn position((left, right): (f64, f64), margin: f64) -> f64 {
    0.5 * (left + right) + 0.5 * (right - left) * stretched(margin)
}

/// Draws all targets on one scale.
pub(crate) fn picture(key: &str, input: &Targets) -> Picture {
    let all = &input.targets;
    if all.is_empty() {
        return Picture::sentence("No target is recorded");
    }
    let (drawn, table) = (input.drawn(), table(all));
    let counted = caption(all);
    if drawn.is_empty() {
        return Picture {
            table,
            ..Picture::sentence(format!("{counted}; no target has a value and a limit to compare"))
        };
    }
    let shown = drawn.len().min(MOST_ROWS);
    let caption = format!("{counted}{}{}", not_drawn(drawn.len(), MOST_ROWS), without_bar(all));
    let alt = format!("Margin of {shown} targets to their limits, from estimates and results: {caption}");
    Picture::drawn(key, "Targets against their limits", caption, alt, table, |canvas, shape| {
        draw(canvas, shape, &drawn[..shown], input.interval_words.unwrap_or(UNCERTAINTY));
    })
}

impl Targets {
    /// Those with something to draw.
    fn drawn(&self) -> Vec<&TargetRow> {
        self.targets.iter().filter(|target| target.is_drawn()).collect()
    }
}

impl TargetRow {
    /// The estimate and the result; `true` for the result.
    fn readings(&self) -> impl Iterator<Item = (&Reading, bool)> {
        let estimate = self.estimate.iter().map(|reading| (reading, false));
        estimate.chain(self.result.iter().map(|reading| (reading, true)))
    }

    /// What decides: the result, otherwise the estimate.
    fn deciding(&self) -> Option<&Reading> {
        self.result.as_ref().or(self.estimate.as_ref())
    }

    fn margin(&self) -> Option<f64> {
        self.deciding()?.margin
    }

    /// Why it has no bar, if its margin is no ratio.
    fn why_no_bar(&self) -> Option<&Instead> {
        let has_bar = self.readings().any(|(reading, _)| reading.margin.is_some());
        self.deciding()?.instead.as_ref().filter(|_| !has_bar)
    }

    /// Whether it has a row: a bar, or the reason why it has none.
    fn is_drawn(&self) -> bool {
        self.why_no_bar().is_some() || self.readings().any(|(reading, _)| reading.margin.is_some())
    }

    /// The margin as text.
    fn margin_text(&self) -> String {
        let instead = || self.deciding()?.instead.as_ref().map(|own| typeset(&own.margin));
        self.margin().map(percent).or_else(instead).unwrap_or_default()
    }
}

/// The end of a caption: what has no row, and why.
fn without_bar(all: &[TargetRow]) -> String {
    const MOST: usize = 3;
    let missing: Vec<&TargetRow> = all.iter().filter(|target| !target.is_drawn()).collect();
    if missing.is_empty() {
        return String::new();
    }
    let why = |own: &TargetRow| if own.readings().next().is_none() { "no value" } else { "no limit to compare" };
    let named = missing.iter().take(MOST).map(|own| format!("{} ({})", own.name.title, why(own)));
    let named: Vec<String> = named.collect();
    let more = missing.len() - named.len();
    let more = if more > 0 { format!(" and {more} more") } else { String::new() };
    format!("; not drawn: {}{more}", named.join(", "))
}

fn caption(all: &[TargetRow]) -> String {
    let mut counts: Vec<(&str, usize)> = Vec::new();
    for target in all {
        match counts.iter_mut().find(|(word, _)| *word == target.outcome) {
            Some((_, count)) => *count += 1,
            None => counts.push((&target.outcome, 1)),
        }
    }
    // What is counted is said with the first number, because the periods at risk are counted nearby.
    let noun = |at: usize, count: usize| match at {
        0 if count == 1 => " target",
        0 => " targets",
        _ => "",
    };
    let counts: Vec<String> =
        counts.iter().enumerate().map(|(at, (word, count))| format!("{count}{} {}", noun(at, *count), word)).collect();
    let worst = all.iter().filter(|target| target.is_bad).filter_map(|target| Some((target, target.margin()?)));
    let worst = worst.min_by(|a, b| a.1.total_cmp(&b.1));
    let worst = worst.map(|(target, margin)| {
        let words = if margin < 0.0 { "furthest beyond its limit" } else { "nearest to its limit" };
        format!("; {words}: {}, {}", target.name.title, percent(margin))
    });
    format!("{}{}", counts.join(", "), worst.unwrap_or_default())
}

fn table(all: &[TargetRow]) -> PictureTable {
    let heads = [
        ("target", false),
        ("limit", true),
        ("estimate", true),
        ("result", true),
        ("margin", true),
        ("outcome", false),
    ];
    let mut table = PictureTable::new("Limit, estimate and result of each target", &heads);
    for target in all {
        let text = |reading: &Option<Reading>| reading.as_ref().map(|own| typeset(&own.text)).unwrap_or_default();
        let cells = [
            typeset(&target.limit),
            text(&target.estimate),
            text(&target.result),
            target.margin_text(),
            target.outcome.clone(),
        ];
        table.row(&target.name, cells);
    }
    table
}

fn draw(canvas: &mut Canvas, shape: Shape, targets: &[&TargetRow], interval: &str) {
    let keys = [
        (Key::Area(Fill::Class("allowed")), "limit met"),
        (Key::Ring("estimate"), "estimate"),
        (Key::Diamond("result"), "result"),
        (Key::Diamond("missed"), "result beyond the limit"),
        (Key::Interval, interval),
    ];
    let top = canvas.keys(0.0, &keys);
    let texts = targets.iter().map(|target| RowText {
        class: if target.is_bad { "b" } else { "" },
        name: &target.name.title,
        number: target.margin_text(),
    });
    let layout = Rows::new(shape, top, Rows::plot(shape), texts);
    let bottom = layout.bottom() + 4.0;
    let middle = position(layout.plot, 0.0);
    canvas.span((middle, layout.plot.1), top, bottom - top, Fill::Class("allowed"));
    let uprights = layout.uprights(bottom);
    for margin in TICKS {
        let x = position(layout.plot, margin);
        if margin == 0.0 {
            uprights.draw(canvas, x, "limit");
        } else {
            uprights.grid(canvas, x, "grid");
        }
        // The unit is at the ends, so that a phone has room for every number.
        let text = match margin.abs() {
            0.0 => "limit".to_owned(),
            0.3 => typeset(&schema::number::signed_percent(margin, 0)),
            _ => typeset(&schema::number::signed(100.0 * margin, 0)),
        };
        canvas.try_text((x, bottom + 14.0), Align::Middle, "s", &text);
    }
    // A slide has room for few words.
    canvas.text((middle, bottom + 14.0 + LINE), Align::Middle, "s", "margin (scale not linear)");
    canvas.grow(bottom + 18.0 + LINE);
    for (at, target) in targets.iter().enumerate() {
        layout.label(canvas, at);
        if let Some(own) = target.why_no_bar() {
            let room = layout.plot.1 - middle - 6.0;
            let words = cut(&typeset(&own.why), "s", room);
            canvas.text((middle + 6.0, layout.middle(at) + 4.5), Align::Start, "s", &words);
        }
        marks(canvas, layout.plot, layout.middle(at), target);
    }
}

/// The estimate and the result of a target.
fn marks(canvas: &mut Canvas, plot: (f64, f64), y: f64, target: &TargetRow) {
    for (reading, is_result) in target.readings() {
        let Some(margin) = reading.margin else { continue };
        let y = if is_result { y + 3.5 } else { y - 3.5 };
        if let Some((low, high)) = reading.interval {
            canvas.interval((position(plot, low), position(plot, high)), y, "interval");
        }
        let x = position(plot, margin);
        match (is_result, margin < 0.0) {
            (false, _) => canvas.circle((x, y), 4.5, "estimate"),
            (true, false) => canvas.diamond((x, y), "result"),
            (true, true) => canvas.diamond((x, y), "missed"),
        }
    }
}

/// One target as a small picture for the cell of a table; `None` if there is nothing to compare.
pub(crate) fn small(key: &str, target: &TargetRow) -> Option<String> {
    const WIDTH: f64 = 150.0;
    if let Some(own) = target.why_no_bar() {
        return Some(format!(
            "<span class=\"no-picture\">{}</span> ",
            escaped(&format!("no picture: {};", typeset(&own.why)))
        ));
    }
    if !target.is_drawn() {
        return None;
    }
    let mut canvas = Canvas::small(key, WIDTH);
    canvas.grow(22.0);
    let plot = (8.0, WIDTH - 8.0);
    let middle = position(plot, 0.0);
    canvas.span((middle, plot.1), 3.0, 16.0, Fill::Class("allowed"));
    canvas.line((middle, 1.0), (middle, 21.0), "limit");
    marks(&mut canvas, plot, 11.0, target);
    let text = |reading: &Option<Reading>, word: &str| {
        reading.as_ref().map(|own| format!(", {word} {}", typeset(&own.text))).unwrap_or_default()
    };
    let description = format!(
        "{}: limit {}{}{}",
        target.outcome,
        typeset(&target.limit),
        text(&target.estimate, "estimate"),
        text(&target.result, "result")
    );
    Some(canvas.finish(&target.name.title, &description))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_scale_is_stretched_at_the_limit() {
        assert_eq!(stretched(0.0), 0.0);
        assert_eq!((stretched(MOST), stretched(-MOST), stretched(9.0)), (1.0, -1.0, 1.0));
        assert_eq!(stretched(f64::NAN), 0.0);
        assert!(stretched(0.01) > 0.15 && stretched(0.01) < stretched(0.02) && stretched(-0.1) < stretched(-0.01));
    }
}
