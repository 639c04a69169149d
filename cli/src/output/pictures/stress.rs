//! The stress of a part: the share of its volume over stress on a fixed scale, one panel for each iteration.

use super::svg::{Align, Canvas, Fill, Key, LINE, Pattern, Shape, wrapped};
use super::typeset::typeset;
use super::{Name, Picture, PictureTable};

/// The stress of a part.
#[derive(Clone, Debug, Default)]
pub(crate) struct Stress {
    /// The part.
    pub(crate) part: Name,
    /// The safety that a target demands.
    pub(crate) needed: Option<f64>,
    /// The words next to everything that speaks of taking material away.
    pub(crate) caution: String,
    /// The iterations, the current one last.
    pub(crate) iterations: Vec<StressIteration>,
}

/// One analysis.
#[derive(Clone, Debug, Default)]
pub(crate) struct StressIteration {
    /// The analysis.
    pub(crate) name: Name,
    /// The allowable stress as text.
    pub(crate) allowable: String,
    /// The share of the allowable stress below which volume is idle.
    pub(crate) little: f64,
    /// The safety for 99.9 % of the volume.
    pub(crate) safety: f64,
    /// The safety at the highest stress.
    pub(crate) peak_safety: f64,
    /// The share of the volume that is idle.
    pub(crate) idle: f64,
    /// The mass as text; empty if it is unknown.
    pub(crate) mass: String,
    /// The shares of the volume: from and to a share of the allowable stress, without an end for what is above it.
    pub(crate) bins: Vec<(f64, Option<f64>, f64)>,
}

/// A safety, typeset.
fn fixed(value: f64) -> String {
    if value.is_finite() { typeset(&schema::number::fixed(value, 2)) } else { "unknown".to_owned() }
}

/// A share of the volume, typeset.
fn share(value: f64) -> String {
    if value.is_finite() { typeset(&schema::number::percent(value, 0)) } else { "unknown".to_owned() }
}

/// A small share of the volume, typeset.
fn part_share(value: f64) -> String {
    if value.is_finite() { typeset(&schema::number::percent(value, 1)) } else { "unknown".to_owned() }
}

/// The largest number of panels: the latest iterations.
const MOST: usize = 6;

/// Draws the panels.
pub(crate) fn picture(key: &str, input: &Stress) -> Picture {
    let Some(last) = input.iterations.last() else {
        return Picture::sentence(format!("{}: no stress file", input.part.title));
    };
    let needed = input.needed.map(|needed| format!(" ({} needed)", fixed(needed))).unwrap_or_default();
    let caption = format!(
        "{}: safety {}{needed} in {}, {} of the volume is below {} of the allowable stress; {}",
        input.part.title,
        fixed(last.safety),
        last.name.title,
        share(last.idle),
        share(last.little),
        input.caution
    );
    let heads = [
        ("iteration", false),
        ("allowable", true),
        ("safety", true),
        ("at the highest stress", true),
        ("idle", true),
        ("mass", true),
        ("volume by stress", false),
    ];
    let mut table = PictureTable::new("Iterations", &heads);
    for own in &input.iterations {
        let bins: Vec<String> = own
            .bins
            .iter()
            .map(|(from, to, part)| {
                let to = to.map_or_else(
                    || format!("above {}", share(*from)),
                    |to| format!("{} to {}", share(*from), share(to)),
                );
                format!("{to}: {}", part_share(*part))
            })
            .collect();
        let cells = [
            typeset(&own.allowable),
            fixed(own.safety),
            fixed(own.peak_safety),
            share(own.idle),
            typeset(&own.mass),
            bins.join("; "),
        ];
        table.row(&own.name, cells);
    }
    let alt = format!("Distribution of the volume over stress. {caption}");
    let shown = &input.iterations[input.iterations.len().saturating_sub(MOST)..];
    Picture::drawn(key, &format!("Stress: {}", input.part.title), caption, alt, table, |canvas, shape| {
        draw(canvas, shape, shown);
    })
}

/// The lines of a name or of numbers beside a panel at most; more is cut.
const MOST_LINES: usize = 8;

const IDLE: Fill = Fill::Pattern(Pattern::Hatch, "main-edge");
const OVER: Fill = Fill::Pattern(Pattern::Cross, "bad-edge");

fn draw(canvas: &mut Canvas, shape: Shape, iterations: &[StressIteration]) {
    let keys = [
        (Key::Area(IDLE), "idle volume"),
        (Key::Area(Fill::Class("main")), "volume that carries"),
        (Key::Area(OVER), "above the allowable stress"),
    ];
    let mut top = canvas.keys(0.0, &keys) + 2.0;
    canvas.text((0.0, top + 11.0), Align::Start, "s", "height: share of the volume");
    top += LINE + 4.0;
    let height = 84.0;
    let (left, right) = (44.0, canvas.width() - if shape.is_narrow() { 4.0 } else { 220.0 });
    let beside = if shape.is_narrow() { 0.0 } else { right + 16.0 };
    // The scale is the same in all panels and all pictures: the share of the volume in a tenth of the allowable stress.
    let most = iterations
        .iter()
        .flat_map(|own| &own.bins)
        .map(|bin| bin.2)
        .filter(|share| share.is_finite())
        .fold(0.5, f64::max);
    for own in iterations {
        let numbers = format!("safety {}, {} idle", fixed(own.safety), share(own.idle));
        let numbers = typeset(&if own.mass.is_empty() { numbers } else { format!("{numbers}, {}", own.mass) });
        let room = canvas.width() - beside;
        let lines = [(&own.name.title, "b"), (&numbers, "s")].into_iter().flat_map(|(words, class)| {
            wrapped(words, class, room, MOST_LINES).into_iter().map(move |own| (own, class))
        });
        let mut end = top + if shape.is_narrow() { 12.0 } else { 24.0 };
        for (line, class) in lines {
            canvas.text((beside, end), Align::Start, class, &line);
            end += LINE;
        }
        top = if shape.is_narrow() { end - 6.0 } else { top };
        let base = top + height;
        let bins = own.bins.len().max(1) as f64;
        let step = (right - left) / bins;
        for share in [0.25, 0.5] {
            let y = base - height * share / most;
            canvas.line((left, y), (right, y), "grid");
            canvas.try_text((left - 4.0, y + 4.0), Align::End, "s", &typeset(&schema::number::percent(share, 0)));
        }
        for (at, (from, to, share)) in own.bins.iter().enumerate() {
            let share = if share.is_finite() { share.clamp(0.0, most) } else { 0.0 };
            let x = left + step * at as f64;
            // What is there is seen, also if it is very little.
            let tall = if share > 0.0 { (height * share / most).max(1.0) } else { 0.0 };
            let fill = match to {
                None => OVER,
                Some(to) if *to <= own.little + 1e-9 => IDLE,
                Some(_) => Fill::Class("main"),
            };
            canvas.rect((x + 1.0, base - tall), (step - 2.0, tall), fill);
            let text = if to.is_none() { "over".to_owned() } else { schema::number::rounded(from * 100.0, 0) };
            let x = if to.is_none() { (x + 0.5 * step, Align::Middle) } else { (x, Align::Middle) };
            canvas.try_text((x.0, base + 14.0), x.1, "s", &text);
        }
        canvas.line((left, base), (right, base), "axis");
        top = (base + 22.0).max(end);
    }
    canvas.text((0.0, top + 10.0), Align::Start, "s", "stress in % of the allowable stress");
    canvas.grow(top + 16.0);
}
