//! The points as a waterfall: from the plan over the prediction to the score, one step per event.

use schema::number::shown_change;
use trace::audit::SHOWN_AS_ZERO;

use super::rows::{RowText, Rows};
use super::scale::Axis;
use super::svg::{Canvas, Fill, Key, Pattern, Shape};
use super::{MAY_HAPPEN, Name, Picture, PictureTable, change, points};

/// The points of a goal.
#[derive(Clone, Debug, Default)]
pub(crate) struct Waterfall {
    /// The title of the goal.
    pub(crate) goal: String,
    /// The sum of the plans.
    pub(crate) plan: f64,
    /// The points predicted before the contest.
    pub(crate) predicted: Option<f64>,
    /// The interval that contains 95 % of what may happen.
    pub(crate) interval: Option<(f64, f64)>,
    /// The points that the goal needs.
    pub(crate) needed: Option<NeededPoints>,
    /// Its events.
    pub(crate) events: Vec<EventSteps>,
    /// What an interval is; `None` for the words of the pages.
    pub(crate) interval_words: Option<&'static str>,
}

/// The points that a goal needs.
#[derive(Clone, Debug, Default, PartialEq)]
pub(crate) struct NeededPoints {
    /// What needs them: `place 8 needs`, or `the goal is`.
    pub(crate) words: String,
    /// The points.
    pub(crate) points: f64,
    /// The interval of a forecast; both ends are the points for a goal in points.
    pub(crate) interval: (f64, f64),
}

/// The points of one event.
#[derive(Clone, Debug, Default)]
pub(crate) struct EventSteps {
    /// The event.
    pub(crate) name: Name,
    /// The points planned.
    pub(crate) plan: Option<f64>,
    /// The points predicted before the contest.
    pub(crate) predicted: Option<f64>,
    /// The interval that contains 95 % of what may happen.
    pub(crate) interval: Option<(f64, f64)>,
    /// The points scored.
    pub(crate) scored: Option<f64>,
}

/// A row of the picture.
enum Row<'w> {
    /// A sum, with its interval.
    Total(&'static str, f64, Option<(f64, f64)>),
    /// From one sum to the next, and the difference of the points as they are shown.
    Step(&'w str, f64, f64, f64),
}

/// From the plan of an event to its prediction.
fn to_prediction(event: &EventSteps) -> Option<(f64, f64)> {
    Some((event.plan.unwrap_or(0.0), event.predicted?))
}

/// From the prediction of an event to its score.
fn to_score(event: &EventSteps) -> Option<(f64, f64)> {
    Some((event.predicted?, event.scored?))
}

/// What the interval of the points for a place is.
pub(super) const BAND: &str = "band of the place (90 %)";
/// What it looks like in every picture.
pub(super) const BAND_FILL: Fill = Fill::Class("veil");

impl Waterfall {
    /// The points after the events that have a score, and the number of these.
    fn scored(&self) -> Option<(f64, usize)> {
        let steps = self.events.iter().filter_map(|event| Some(event.scored? - event.predicted?));
        let (sum, count) = steps.fold((0.0, 0), |(sum, count), step| (sum + step, count + 1));
        (count > 0).then_some((self.predicted? + sum, count))
    }

    fn rows(&self) -> Vec<Row<'_>> {
        let mut rows = vec![Row::Total("plan", self.plan, None)];
        let Some(predicted) = self.predicted else { return rows };
        let mut at = self.plan;
        for (title, from, to) in self.steps(to_prediction) {
            rows.push(Row::Step(title, at, at + to - from, shown_change(from, to, 1)));
            at += to - from;
        }
        rows.push(Row::Total("prediction", predicted, self.interval));
        let Some((scored, count)) = self.scored() else { return rows };
        let mut at = predicted;
        for (title, from, to) in self.steps(to_score) {
            rows.push(Row::Step(title, at, at + to - from, shown_change(from, to, 1)));
            at += to - from;
        }
        let words = if count == self.events.len() { "score" } else { "with scores so far" };
        rows.push(Row::Total(words, scored, None));
        rows
    }

    /// The events with their points before and after a step, the largest step first.
    fn steps(&self, step: impl Fn(&EventSteps) -> Option<(f64, f64)>) -> Vec<(&str, f64, f64)> {
        let steps = self.events.iter().filter_map(|event| {
            let (from, to) = step(event)?;
            Some((event.name.title.as_str(), from, to))
        });
        let mut steps: Vec<(&str, f64, f64)> = steps.filter(|(_, from, to)| (to - from).is_finite()).collect();
        steps.sort_by(|a, b| (b.2 - b.1).abs().total_cmp(&(a.2 - a.1).abs()));
        steps
    }

    /// The sentence: the last difference, and the events that make it.
    fn caption(&self) -> String {
        let Some(predicted) = self.predicted else { return format!("{} points are planned", points(Some(self.plan))) };
        let scored = self.scored();
        let (verb, now, before, what, steps) = match scored {
            Some((scored, count)) => {
                let verb = if count == self.events.len() { "scored" } else { "expected with the scores so far" };
                (verb, scored, predicted, "prediction", self.steps(to_score))
            }
            None => ("predicted", predicted, self.plan, "plan", self.steps(to_prediction)),
        };
        let difference = shown_change(before, now, 1);
        let place =
            |by: &str| format!("{} points {verb}, {by} the {what} of {}", points(Some(now)), points(Some(before)));
        let mut text = if difference.abs() < SHOWN_AS_ZERO {
            place("equal to")
        } else {
            let word = if difference < 0.0 { "below" } else { "above" };
            place(&format!("{} {word}", points(Some(difference.abs()))))
        };
        let steps = steps.into_iter().map(|(title, from, to)| (title, shown_change(from, to, 1)));
        let shown = steps.filter(|(_, step)| step.abs() >= SHOWN_AS_ZERO).take(3);
        let shown: Vec<String> = shown.map(|(title, step)| format!("{title} {}", change(step))).collect();
        if !shown.is_empty() {
            text.push_str(&format!(": {}", shown.join(", ")));
        }
        if let (Some((low, high)), None) = (self.interval, scored) {
            text.push_str(&format!(
                "; {} is from {} to {}",
                self.interval_words(),
                points(Some(low)),
                points(Some(high))
            ));
        }
        if let Some(needed) = &self.needed {
            text.push_str(&format!("; {} {}", needed.words, points(Some(needed.points))));
        }
        text
    }

    fn interval_words(&self) -> &'static str {
        self.interval_words.unwrap_or(MAY_HAPPEN)
    }

    fn table(&self) -> PictureTable {
        let heads = [
            ("event", false),
            ("plan", true),
            ("predicted", true),
            ("95 %", true),
            ("scored", true),
            ("vs plan", true),
            ("vs predicted", true),
        ];
        let mut table = PictureTable::new("Points by event", &heads);
        let differ =
            |a: Option<f64>, b: Option<f64>| a.zip(b).map(|(a, b)| change(shown_change(b, a, 1))).unwrap_or_default();
        let interval = |ends: Option<(f64, f64)>| {
            ends.map(|(low, high)| format!("{} to {}", points(Some(low)), points(Some(high)))).unwrap_or_default()
        };
        for event in &self.events {
            let now = event.scored.or(event.predicted);
            let cells = [
                points(event.plan),
                points(event.predicted),
                interval(event.interval),
                points(event.scored),
                differ(now, event.plan),
                differ(event.scored, event.predicted),
            ];
            table.row(&event.name, cells);
        }
        let scored: Option<f64> = self.events.iter().map(|event| event.scored).sum();
        let scored = scored.filter(|_| !self.events.is_empty());
        let cells = [
            points(Some(self.plan)),
            points(self.predicted),
            interval(self.interval),
            points(scored),
            differ(scored.or(self.predicted), Some(self.plan)),
            differ(scored, self.predicted),
        ];
        table.row(&Name::plain("total"), cells);
        table
    }
}

/// Draws the waterfall.
pub(crate) fn picture(key: &str, input: &Waterfall) -> Picture {
    if input.events.is_empty() {
        return Picture::sentence(format!("{}: no event has points yet", input.goal));
    }
    let rows = input.rows();
    let caption = input.caption();
    let alt = format!(
        "Waterfall of the points from the plan to the {}: {caption}",
        if input.scored().is_some() { "score" } else { "prediction" }
    );
    Picture::drawn(key, &format!("Points by event: {}", input.goal), caption, alt, input.table(), |canvas, shape| {
        draw(canvas, shape, input, &rows);
    })
}

/// The values of the scale, with an interval beside which they keep at least half of it.
fn with_interval(mut values: Vec<f64>, interval: Option<(f64, f64)>) -> Vec<f64> {
    let known = values.iter().copied().filter(|value| value.is_finite());
    let (low, high) = known.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), v| (low.min(v), high.max(v)));
    let fits = |(from, to): &(f64, f64)| high <= low || high.max(*to) - low.min(*from) <= 2.0 * (high - low);
    values.extend(interval.filter(fits).into_iter().flat_map(|(from, to)| [from, to]));
    values
}

const GAIN: Fill = Fill::Class("main");
const LOSS: Fill = Fill::Pattern(Pattern::Cross, "bad-edge");

fn draw(canvas: &mut Canvas, shape: Shape, input: &Waterfall, rows: &[Row<'_>]) {
    // The steps decide the scale: an interval that is much wider ends at its edge.
    let values = rows.iter().flat_map(|row| match row {
        Row::Total(_, total, _) => [*total, *total],
        Row::Step(_, from, to, _) => [*from, *to],
    });
    let values: Vec<f64> = values.chain(input.needed.as_ref().map(|needed| needed.points)).collect();
    let values = with_interval(values, input.predicted.and(input.interval));
    let x = Axis::around(values, Rows::plot(shape));
    let needed = input.needed.as_ref().map(|needed| format!("{} {}", needed.words, points(Some(needed.points))));
    // A band that is everywhere says nothing.
    let is_seen = |end: f64| (x.position(end) - x.inside(end)).abs() < 0.5;
    let band = input.needed.as_ref().map(|needed| needed.interval);
    let band = band.filter(|(low, high)| high > low && (is_seen(*low) || is_seen(*high)));
    let mut keys = vec![(Key::Area(GAIN), "more points"), (Key::Area(LOSS), "fewer points")];
    if let Some(needed) = &needed {
        keys.push((Key::Line("goal"), needed));
    }
    if band.is_some() {
        keys.push((Key::Area(BAND_FILL), BAND));
    }
    if input.predicted.and(input.interval).is_some() {
        keys.push((Key::Interval, input.interval_words()));
    }
    let top = canvas.keys(0.0, &keys);
    let texts = rows.iter().map(|row| match row {
        Row::Total(title, total, _) => RowText { class: "b", name: title, number: points(Some(*total)) },
        Row::Step(title, _, _, shown) => RowText { class: "", name: title, number: change(*shown) },
    });
    let layout = Rows::new(shape, top, Rows::plot(shape), texts);
    let bottom = layout.bottom() + 4.0;
    let uprights = layout.uprights(bottom);
    x.grid_below(canvas, &uprights, "pts");
    if let Some(needed) = &input.needed {
        if let Some((low, high)) = band {
            canvas.span((x.inside(low), x.inside(high)), top, bottom - top, BAND_FILL);
        }
        uprights.draw(canvas, x.inside(needed.points), "goal");
    }
    let mut before: Option<f64> = None;
    for (at, row) in rows.iter().enumerate() {
        let (bar, middle) = (layout.bar(at), layout.middle(at));
        // On a phone the names are between the bars.
        if let Some(before) = before.filter(|_| !shape.is_narrow()) {
            canvas.line((x.inside(before), layout.bar(at - 1) + Rows::BAR), (x.inside(before), bar), "link");
        }
        layout.label(canvas, at);
        match row {
            Row::Total(_, total, interval) => {
                if let Some((low, high)) = interval {
                    canvas.line((x.inside(*low), middle), (x.inside(*high), middle), "interval");
                    for (end, turn) in [(*low, 6.0), (*high, -6.0)] {
                        let at = x.inside(end);
                        // An arrow if it goes on beyond the edge.
                        let is_beyond = (x.position(end) - at).abs() > 0.5;
                        let turn = if is_beyond { turn } else { 0.0 };
                        canvas.polyline([(at + turn, middle - 4.0), (at, middle), (at + turn, middle + 4.0)], "tip");
                    }
                }
                canvas.rect((x.inside(*total) - 2.5, bar - 2.0), (5.0, Rows::BAR + 4.0), Fill::Class("total"));
                before = Some(*total);
            }
            Row::Step(_, from, to, _) => {
                let (start, end) = (x.inside(*from), x.inside(*to));
                // What is small is seen, too.
                let end = if (end - start).abs() < 1.0 { start + if to < from { -1.0 } else { 1.0 } } else { end };
                canvas.span((start, end), bar, Rows::BAR, if to < from { LOSS } else { GAIN });
                before = Some(*to);
            }
        }
    }
}
