//! Two values of the alternatives of a decision against each other, and the frontier: the alternatives that no other one
//! beats in both.

use super::scale::{Axis, Uprights, tick};
use super::svg::{Align, Canvas, Key, Shape, cut, text_width};
use super::typeset::typeset;
use super::{MAY_HAPPEN, Name, Picture, PictureTable};

/// The alternatives with two values.
#[derive(Clone, Debug, Default)]
pub(crate) struct Frontier {
    /// The title of the decision.
    pub(crate) title: String,
    /// What is across: usually the cost or the mass.
    pub(crate) across: Value,
    /// What is up: usually the points.
    pub(crate) up: Value,
    /// The alternatives.
    pub(crate) alternatives: Vec<Alternative>,
}

/// A value of the alternatives.
#[derive(Clone, Debug, Default)]
pub(crate) struct Value {
    /// Its name, as in a list: `cost`.
    pub(crate) name: String,
    /// What it is of, at the end of its full name: ` of the car`.
    pub(crate) of: &'static str,
    /// Its unit as text.
    pub(crate) unit: String,
    /// Whether more of it is better.
    pub(crate) more_is_better: bool,
}

/// An alternative.
#[derive(Clone, Debug, Default)]
pub(crate) struct Alternative {
    /// Its name.
    pub(crate) name: Name,
    /// The value across.
    pub(crate) across: f64,
    /// The value up.
    pub(crate) up: f64,
    /// The ends of the interval of the value up.
    pub(crate) interval: Option<(f64, f64)>,
    /// Whether it was chosen.
    pub(crate) chosen: bool,
}

impl Value {
    fn full_name(&self) -> String {
        format!("{}{}", self.name, self.of)
    }

    fn show(&self, value: f64) -> String {
        let text =
            if self.unit == "pts" { schema::number::fixed(value, 1) } else { schema::number::significant(value, 4) };
        typeset(&if self.unit.is_empty() { text } else { format!("{text} {}", self.unit) })
    }

    /// The value as one of which more is better.
    fn gain(&self, value: f64) -> f64 {
        if self.more_is_better { value } else { -value }
    }
}

impl Frontier {
    fn known(&self) -> Vec<&Alternative> {
        self.alternatives.iter().filter(|own| own.across.is_finite() && own.up.is_finite()).collect()
    }

    /// Both values in words: `points and cost`.
    fn both(&self) -> String {
        format!("{} and {}", self.up.name, self.across.name)
    }

    /// Whether at least two alternatives with both values differ across.
    pub(crate) fn differs(&self) -> bool {
        let known = self.known();
        let first = known.first().map_or(0.0, |own| own.across);
        known.iter().any(|own| (own.across - first).abs() > 1e-9 * first.abs().max(1e-9))
    }

    /// The alternatives that no other one beats in both values, by the value across.
    pub(crate) fn frontier(&self) -> Vec<&Alternative> {
        let known = self.known();
        let gains = |own: &Alternative| (self.across.gain(own.across), self.up.gain(own.up));
        let mut by_across: Vec<(usize, (f64, f64))> = known.iter().map(|own| gains(own)).enumerate().collect();
        by_across.sort_by(|(_, a), (_, b)| b.0.total_cmp(&a.0));
        let mut is_beaten = vec![false; known.len()];
        // The most that is up among those that are better across than the ones looked at.
        let mut most = f64::NEG_INFINITY;
        for equal in by_across.chunk_by(|(_, a), (_, b)| a.0 == b.0) {
            let own = equal.iter().map(|(_, gains)| gains.1).fold(f64::NEG_INFINITY, f64::max);
            for (at, (_, up)) in equal {
                is_beaten[*at] = *up <= most || *up < own;
            }
            most = most.max(own);
        }
        let mut best: Vec<&Alternative> =
            known.into_iter().zip(is_beaten).filter(|own| !own.1).map(|own| own.0).collect();
        best.sort_by(|a, b| a.across.total_cmp(&b.across));
        best
    }
}

/// Draws the alternatives; a sentence if fewer than two can be compared.
pub(crate) fn picture(key: &str, input: &Frontier) -> Picture {
    let known = input.known();
    if known.len() < 2 {
        return Picture::sentence(format!(
            "{}: fewer than two alternatives have {} and {}",
            input.title,
            input.up.full_name(),
            input.across.full_name()
        ));
    }
    let (frontier, both) = (input.frontier(), input.both());
    let (up_name, across_name) = (input.up.full_name(), input.across.full_name());
    let names: Vec<&str> = frontier.iter().take(4).map(|own| own.name.title.as_str()).collect();
    let mut caption = match (frontier.len(), frontier.first()) {
        (1, Some(only)) => format!(
            "{}: {} is best in {both}, {} and {}",
            input.title,
            only.name.title,
            input.up.show(only.up),
            input.across.show(only.across)
        ),
        (count, _) => format!(
            "{}: {count} of {} alternatives are not beaten by another one in {both}: {}",
            input.title,
            known.len(),
            names.join(", ")
        ),
    };
    if let Some(chosen) = known.iter().find(|own| own.chosen) {
        let is_best = frontier.iter().any(|own| std::ptr::eq(*own, *chosen));
        caption.push_str(&match (is_best, frontier.len()) {
            (true, 1) => "; it is the chosen one".to_owned(),
            (true, _) => format!("; the chosen one, {}, is one of them", chosen.name.title),
            (false, _) => format!("; the chosen one, {}, is beaten in {both} by another one", chosen.name.title),
        });
    }
    let alt = format!("{up_name} against {across_name} of the alternatives. {caption}");
    let heads =
        [("alternative", false), (up_name.as_str(), true), ("95 %", true), (across_name.as_str(), true), ("", false)];
    let mut table = PictureTable::new("Alternatives", &heads);
    for own in &input.alternatives {
        let show = |value: &Value, number: f64| if number.is_finite() { value.show(number) } else { String::new() };
        let interval = own.interval.map(|(low, high)| format!("{} to {}", input.up.show(low), input.up.show(high)));
        let chosen = if own.chosen { "chosen" } else { "" };
        let cells =
            [show(&input.up, own.up), interval.unwrap_or_default(), show(&input.across, own.across), chosen.to_owned()];
        table.row(&own.name, cells);
    }
    Picture::drawn(key, &input.title, caption, alt, table, |canvas, shape| {
        draw(canvas, shape, input, &known, &frontier);
    })
}

/// The distance of the line of the frontier from the intervals.
const BESIDE: f64 = 4.0;

fn draw(canvas: &mut Canvas, shape: Shape, input: &Frontier, known: &[&Alternative], frontier: &[&Alternative]) {
    let mut keys = vec![(Key::Ring("point"), "alternative")];
    let unbeaten = format!("not beaten in {}", input.both());
    if frontier.len() > 1 {
        keys.insert(0, (Key::Line("goal"), &unbeaten));
    }
    if known.iter().any(|own| own.chosen) {
        keys.push((Key::Diamond("result"), "chosen"));
    }
    if known.iter().any(|own| own.interval.is_some()) {
        keys.push((Key::Line("interval"), MAY_HAPPEN));
    }
    let keys_end = canvas.keys(0.0, &keys);
    let up_name = format!("{}{}", input.up.full_name(), unit_after(&input.up));
    canvas.text((0.0, keys_end + 11.0), Align::Start, "s", &cut(&up_name, "s", canvas.width()));
    let top = keys_end + 22.0;
    let bottom = top + if shape.is_narrow() { 200.0 } else { 240.0 };
    // The alternatives decide the scale: their intervals are wider, and mostly common to all of them.
    let ups = || known.iter().map(|own| own.up);
    let (least, most) =
        ups().fold((f64::INFINITY, f64::NEG_INFINITY), |(least, most), up| (least.min(up), most.max(up)));
    let room = 0.3 * (most - least);
    let ups = ups().chain([least - room, most + room]);
    let y = Axis::around(ups, (bottom - 8.0, top + 8.0));
    let texts: Vec<(f64, String)> = y.ticks().into_iter().map(|value| (value, typeset(&tick(value)))).collect();
    let left = texts.iter().map(|(_, text)| text_width(text, "s")).fold(24.0, f64::max).min(0.4 * canvas.width()) + 8.0;
    let right = canvas.width() - 8.0;
    let x = Axis::around(known.iter().map(|own| own.across), (left + 8.0, right - 8.0));
    for (value, text) in &texts {
        canvas.line((left, y.position(*value)), (right, y.position(*value)), "grid");
        canvas.try_text((left - 6.0, y.position(*value) + 4.0), Align::End, "s", text);
    }
    x.grid_below(canvas, &Uprights::Whole(top, bottom), "");
    let name = format!("{}{}", input.across.full_name(), unit_after(&input.across));
    let name = if input.across.more_is_better { format!("{name} →") } else { format!("← {name}") };
    let name = cut(&name, "s", right - left);
    canvas.try_text((right, bottom + 30.0), Align::End, "s", &name);
    canvas.grow(bottom + 36.0);
    let at = |own: &Alternative| (x.inside(own.across), y.inside(own.up));
    let mut steps: Vec<(f64, f64)> = Vec::new();
    // On the better side of the intervals, so that it covers none.
    let aside = if input.across.more_is_better { BESIDE } else { -BESIDE };
    for own in frontier {
        let (across, up) = at(own);
        let across = across + aside;
        // What lies between two of them is not better than the nearer one of both.
        let corner = steps
            .last()
            .map(|(before, height)| if input.across.more_is_better { (*before, up) } else { (across, *height) });
        steps.extend(corner);
        steps.push((across, up));
    }
    canvas.polyline(steps, "goal");
    for own in known {
        let (across, up) = at(own);
        if let Some((low, high)) = own.interval {
            canvas.line((across, y.inside(low)), (across, y.inside(high)), "interval");
            // An arrow if it goes on beyond the edge.
            for (end, turn) in [(low, -6.0), (high, 6.0)] {
                let at = y.inside(end);
                if (y.position(end) - at).abs() > 0.5 {
                    canvas.polyline([(across - 4.0, at + turn), (across, at), (across + 4.0, at + turn)], "tip");
                }
            }
        }
        if own.chosen {
            canvas.diamond((across, up), "result");
        } else {
            canvas.circle((across, up), 4.0, "point");
        }
        let names = [crate::screen::clean(&own.name.title), cut(&own.name.title, "s", 0.4 * canvas.width())];
        let places =
            [(9.0, -8.0, Align::Start), (-9.0, -8.0, Align::End), (9.0, 17.0, Align::Start), (-9.0, 17.0, Align::End)];
        let _ = names.iter().any(|name| {
            places
                .into_iter()
                .any(|(right, down, align)| canvas.try_text((across + right, up + down), align, "s", name))
        });
    }
}

fn unit_after(value: &Value) -> String {
    if value.unit.is_empty() { String::new() } else { format!(" in {}", typeset(&value.unit)) }
}
