//! The pictures in the terminal: a curve on the scale of its own range, and bars with a sign.

use unicode_width::UnicodeWidthStr as _;

use super::over_time::OverTime;
use super::scale::{Axis, tick};
use super::waterfall::Waterfall;
use crate::screen::{Ink, clean};

/// The number of rows of a curve.
const HEIGHT: usize = 8;
/// The dots of a character: two across and four down (Unicode block "Braille Patterns").
const DOTS: [[u32; 4]; 2] = [[0x01, 0x02, 0x04, 0x40], [0x08, 0x10, 0x20, 0x80]];

/// The points of a curve with its days, on a grid of dots that spans from the least to the largest value. What the value
/// is compared with is a dashed line. Empty if there are no two days.
pub(crate) fn curve(input: &OverTime, width: usize, ink: Ink) -> String {
    let known: Vec<_> = input.moments.iter().filter(|moment| moment.value.is_finite()).collect();
    let (Some(first), Some(last)) = (known.first(), known.last()) else { return String::new() };
    let days = first.day.days_until(last.day);
    if days <= 0 {
        return String::new();
    }
    let needed =
        input.against.as_ref().and_then(|against| Some(against.steps.last()?.1)).filter(|needed| needed.is_finite());
    let down = (4 * HEIGHT - 1) as f64;
    let axis = Axis::around(known.iter().map(|moment| moment.value).chain(needed), (down, 0.0));
    let labels: Vec<(usize, String)> =
        axis.ticks().into_iter().map(|value| ((axis.inside(value) / 4.0) as usize, tick(value))).collect();
    let room = labels.iter().map(|(_, label)| label.width()).max().unwrap_or(0);
    let columns = width.saturating_sub(room + 2).clamp(8, 100);
    let mut cells = vec![0u32; columns * HEIGHT];
    let mut set = |x: usize, y: usize| {
        let cell = (y / 4) * columns + x / 2;
        if let Some(cell) = cells.get_mut(cell) {
            *cell |= DOTS[x % 2][y % 4];
        }
    };
    let last_dot = 2 * columns - 1;
    if let Some(needed) = needed {
        let y = axis.inside(needed).round() as usize;
        (0..=last_dot).filter(|x| x % 4 < 2).for_each(|x| set(x, y));
    }
    let place = |at: usize| {
        let moment = known[at];
        let x = f64::from(first.day.days_until(moment.day)) / f64::from(days) * last_dot as f64;
        (x, axis.inside(moment.value))
    };
    for at in 1..known.len() {
        let ((x1, y1), (x2, y2)) = (place(at - 1), place(at));
        let steps = (x2 - x1).abs().max((y2 - y1).abs()).ceil().clamp(1.0, 1000.0) as usize;
        for step in 0..=steps {
            let share = step as f64 / steps as f64;
            set((x1 + share * (x2 - x1)).round() as usize, (y1 + share * (y2 - y1)).round() as usize);
        }
    }
    let mut out = String::new();
    for (row, line) in cells.chunks(columns).enumerate() {
        let label = labels.iter().find(|(at, _)| *at == row).map_or("", |(_, label)| label.as_str());
        let dots: String =
            line.iter().filter_map(|dots| char::from_u32(if *dots == 0 { 0x20 } else { 0x2800 + dots })).collect();
        out.push_str(format!("{label:>room$} {dots}").trim_end());
        out.push('\n');
    }
    let (from, to) = (first.day.to_string(), last.day.to_string());
    let between = columns.saturating_sub(from.len() + to.len()).max(1);
    let line = format!("{:room$} {from}{}{to}", "", " ".repeat(between));
    out.push_str(&ink.faint(&line));
    out.push('\n');
    if let (Some(against), Some(needed)) = (&input.against, needed) {
        let text = format!("{:room$} dashed: {} {}", "", clean(&against.words), tick(needed));
        out.push_str(&ink.faint(text.trim_end()));
        out.push('\n');
    }
    out
}

/// The steps of the waterfall as bars to the left and right of zero, the largest first: the last two sums that are known.
pub(crate) fn waterfall(input: &Waterfall, width: usize, ink: Ink) -> String {
    let scored = input.events.iter().any(|event| event.scored.zip(event.predicted).is_some());
    let step = |event: &super::waterfall::EventSteps| match scored {
        true => Some(event.scored? - event.predicted?),
        false => Some(event.predicted? - event.plan.unwrap_or(0.0)),
    };
    let steps = input.events.iter().filter_map(|event| Some((clean(&event.name.title), step(event)?)));
    let mut steps: Vec<(String, f64)> = steps.filter(|(_, step)| step.is_finite()).collect();
    steps.sort_by(|a, b| b.1.abs().total_cmp(&a.1.abs()));
    let most = steps.iter().map(|(_, step)| step.abs()).fold(0.0, f64::max);
    if most == 0.0 {
        return String::new();
    }
    let name = steps.iter().map(|(title, _)| title.width()).max().unwrap_or(0).min(width / 3);
    let half = (width.saturating_sub(name + 12) / 2).clamp(4, 24);
    let mut out = String::new();
    for (title, step) in &steps {
        let title = cut(title, name);
        let pad = " ".repeat(name.saturating_sub(title.width()));
        let cells = ((step.abs() / most * half as f64).round() as usize).max(usize::from(*step != 0.0));
        let (left, right) = if *step < 0.0 { (cells, 0) } else { (0, cells) };
        let bar = format!("{}{}│{}", " ".repeat(half - left), "█".repeat(left), "█".repeat(right));
        let number = schema::number::signed(*step, 1);
        out.push_str(format!("{}{pad}  {number:>7}  {bar}", ink.strong(&title)).trim_end());
        out.push('\n');
    }
    out
}

/// The text, cut to a number of columns with an ellipsis.
fn cut(text: &str, room: usize) -> String {
    if text.width() <= room {
        return text.to_owned();
    }
    let mut kept = String::new();
    for c in text.chars() {
        if kept.width() + unicode_width::UnicodeWidthChar::width(c).unwrap_or(0) + 1 > room {
            break;
        }
        kept.push(c);
    }
    kept + "…"
}
