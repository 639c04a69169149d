//! Pictures in the terminal: the steps of the waterfall.

use schema::number::shown_change;
use unicode_width::UnicodeWidthStr as _;

use super::waterfall::Waterfall;
use crate::screen::{Ink, clean};

/// The steps of the waterfall as bars to the left and right of zero, the largest first: between the last two sums that are
/// known, which the first line names.
pub(crate) fn waterfall(input: &Waterfall, width: usize, ink: Ink) -> String {
    let scored = input.events.iter().any(|event| event.scored.zip(event.predicted).is_some());
    let step = |event: &super::waterfall::EventSteps| match scored {
        true => Some(shown_change(event.predicted?, event.scored?, 1)),
        false => Some(shown_change(event.plan.unwrap_or(0.0), event.predicted?, 1)),
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
    let heading = if scored { "points: score minus prediction" } else { "points: prediction minus plan" };
    let mut out = ink.strong(heading) + "\n";
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
