//! Estimates against results: how far each result is from its estimate, by quantity and basis.

use super::rows::{RowText, Rows};
use super::scale::Axis;
use super::svg::{Align, Canvas, Fill, Key, Shape};
use super::typeset::typeset;
use super::{Name, Picture, PictureTable, not_drawn, percent, unsigned_percent};

/// The largest number of groups that are drawn.
const MOST_GROUPS: usize = 16;

/// The estimates that have results.
#[derive(Clone, Debug, Default)]
pub(crate) struct Estimates {
    /// The groups.
    pub(crate) groups: Vec<Group>,
}

/// The estimates of one quantity on one basis.
#[derive(Clone, Debug, Default)]
pub(crate) struct Group {
    /// The quantity and the basis: `mass, drawn`.
    pub(crate) title: String,
    /// The mean of the differences: result over estimate, minus 1.
    pub(crate) bias: f64,
    /// The estimates.
    pub(crate) pairs: Vec<Pair>,
}

/// An estimate with its result.
#[derive(Clone, Debug, Default)]
pub(crate) struct Pair {
    /// What was estimated.
    pub(crate) name: Name,
    /// The estimate with its unit and uncertainty.
    pub(crate) estimate: String,
    /// The result with its unit.
    pub(crate) result: String,
    /// The result over the estimate, minus 1.
    pub(crate) error: f64,
    /// Whether the result is inside the interval of the estimate; `None` without an interval.
    pub(crate) inside: Option<bool>,
}

/// The differences at the ends of the axis at most; a larger one is at the end.
const MOST: f64 = 0.6;

/// Draws the groups, each result as a mark.
pub(crate) fn picture(key: &str, input: &Estimates) -> Picture {
    let mut groups: Vec<&Group> = input.groups.iter().filter(|group| !group.pairs.is_empty()).collect();
    let pairs: usize = groups.iter().map(|group| group.pairs.len()).sum();
    if pairs == 0 {
        return Picture::sentence("No estimate has a result yet");
    }
    groups.sort_by(|a, b| b.pairs.len().cmp(&a.pairs.len()).then(a.title.cmp(&b.title)));
    let known = || groups.iter().flat_map(|group| &group.pairs).filter_map(|pair| pair.inside);
    let (inside, with_interval) = (known().filter(|inside| *inside).count(), known().count());
    let mut caption = match with_interval {
        0 => format!("{pairs} estimates have results, none with an uncertainty"),
        _ => format!("{inside} of {with_interval} results are inside the interval of their estimate (95 % expected)"),
    };
    let biased =
        groups.iter().filter(|group| group.pairs.len() > 1).max_by(|a, b| a.bias.abs().total_cmp(&b.bias.abs()));
    if let Some(group) = biased {
        let (side, bias) = if group.bias < 0.0 { ("below", -group.bias) } else { ("above", group.bias) };
        let bias = unsigned_percent(bias);
        caption.push_str(&format!(
            "; {}: {bias} {side} the estimates on average ({} pairs)",
            group.title,
            group.pairs.len()
        ));
    }
    caption.push_str(&not_drawn(groups.len(), MOST_GROUPS));
    let caption = typeset(&caption);
    let alt = format!("Differences between results and estimates. {caption}");
    let table = table(&groups);
    let shown = &groups[..groups.len().min(MOST_GROUPS)];
    Picture::drawn(key, "Estimates against results", caption, alt, table, |canvas, shape| draw(canvas, shape, shown))
}

fn table(groups: &[&Group]) -> PictureTable {
    let heads = [
        ("of", false),
        ("quantity and basis", false),
        ("estimate", true),
        ("result", true),
        ("difference", true),
        ("inside the interval", false),
    ];
    let mut table = PictureTable::new("Estimates and their results", &heads);
    for group in groups {
        for pair in &group.pairs {
            let inside = pair.inside.map(|inside| if inside { "yes" } else { "no" }).unwrap_or_default();
            let cells = [
                group.title.clone(),
                typeset(&pair.estimate),
                typeset(&pair.result),
                percent(pair.error),
                inside.to_owned(),
            ];
            table.row(&pair.name, cells);
        }
    }
    table
}

fn draw(canvas: &mut Canvas, shape: Shape, groups: &[&Group]) {
    let keys = [
        (Key::Ring("estimate"), "result inside the interval of the estimate"),
        (Key::Diamond("missed"), "outside"),
        (Key::Ring("point"), "without an interval"),
        (Key::Area(Fill::Class("total")), "mean"),
    ];
    let top = canvas.keys(0.0, &keys);
    let texts = groups.iter().map(|group| RowText {
        class: "",
        name: &group.title,
        number: format!("{} of {}", percent(group.bias), group.pairs.len()),
    });
    let layout = Rows::new(shape, top, Rows::plot(shape), texts);
    let bottom = layout.bottom() + 4.0;
    let errors =
        || groups.iter().flat_map(|group| &group.pairs).map(|pair| pair.error).filter(|error| error.is_finite());
    let most = errors().map(f64::abs).fold(0.01, f64::max).min(MOST) * 100.0;
    let x = Axis::new((-most, most), (layout.plot.0 + 6.0, layout.plot.1 - 6.0));
    let uprights = layout.uprights(bottom);
    x.grid_below(canvas, &uprights, "%");
    uprights.draw(canvas, x.inside(0.0), "limit");
    canvas.try_text((layout.plot.1, bottom + 30.0), Align::End, "s", "result higher than estimated →");
    canvas.grow(bottom + 36.0);
    for (at, group) in groups.iter().enumerate() {
        let middle = layout.middle(at);
        layout.label(canvas, at);
        canvas.line((layout.plot.0, middle), (layout.plot.1, middle), "grid");
        for pair in group.pairs.iter().filter(|pair| pair.error.is_finite()) {
            let at = (x.inside(pair.error * 100.0), middle);
            match pair.inside {
                Some(true) => canvas.circle(at, 4.0, "estimate"),
                Some(false) => canvas.diamond(at, "missed"),
                None => canvas.circle(at, 3.0, "point"),
            }
        }
        let mean = x.inside(group.bias * 100.0);
        canvas.rect((mean - 1.5, layout.bar(at) - 1.0), (3.0, Rows::BAR + 2.0), Fill::Class("total"));
    }
}
