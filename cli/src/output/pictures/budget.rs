//! A budget: where it goes, from the limit over the sections to the parts, and the room that each section has.
//!
//! Sections are all nearly full, so that bars from zero look the same. What one decides with is the room: limit minus
//! value. It has an axis of its own, on which sections differ.

use super::rows::{RowText, Rows};
use super::scale::Axis;
use super::svg::{Align, Canvas, Fill, Key, LINE, Pattern, Shape, text_width, wrapped};
use super::typeset::typeset;
use super::{Name, Picture, PictureTable, UNCERTAINTY, not_drawn};

/// The largest number of sections whose room is drawn.
const MOST: usize = 30;

/// A budget.
#[derive(Clone, Debug, Default)]
pub(crate) struct Budget {
    /// The target with the limit.
    pub(crate) name: Name,
    /// The unit as text; all numbers are in it.
    pub(crate) unit: String,
    /// The limit.
    pub(crate) limit: f64,
    /// The reserve, which no section gets.
    pub(crate) reserve: f64,
    /// What is neither reserved nor allocated to a section; negative if too much is allocated.
    pub(crate) unallocated: f64,
    /// The value, growth included.
    pub(crate) value: Option<f64>,
    /// The growth allowance in the value.
    pub(crate) growth: Option<f64>,
    /// The expanded uncertainty (k = 2) of the value.
    pub(crate) uncertainty: f64,
    /// The sections.
    pub(crate) sections: Vec<Section>,
}

/// A section with its share.
#[derive(Clone, Debug, Default)]
pub(crate) struct Section {
    /// The target of the share.
    pub(crate) name: Name,
    /// Its limit.
    pub(crate) limit: f64,
    /// Its value, growth included.
    pub(crate) value: Option<f64>,
    /// The growth allowance in the value.
    pub(crate) growth: Option<f64>,
    /// The expanded uncertainty (k = 2) of the value.
    pub(crate) uncertainty: f64,
    /// Whether the value is over the limit, beyond what is rounding.
    pub(crate) is_over: bool,
    /// Its parts, the largest first.
    pub(crate) parts: Vec<(Name, f64)>,
}

impl Section {
    fn room(&self) -> Option<f64> {
        self.value.map(|value| self.limit - value).filter(|room| room.is_finite())
    }
}

impl Budget {
    /// The number in the unit of the budget; all have the decimals that show a thousandth of the limit.
    fn show(&self, value: f64) -> String {
        if !value.is_finite() {
            return String::new();
        }
        let text = schema::number::fixed(value, schema::number::decimals(self.limit / 1000.0, 2, 7));
        typeset(&if self.unit.is_empty() { text } else { format!("{text} {}", self.unit) })
    }

    /// The same with its sign.
    fn signed(&self, value: f64) -> String {
        let text = self.show(value);
        if value > 0.0 && text.contains(|c: char| c.is_ascii_digit() && c != '0') { format!("+{text}") } else { text }
    }

    fn caption(&self) -> String {
        let value = match self.value {
            Some(value) if value > self.limit => {
                format!("{} of {}: {} over", self.show(value), self.show(self.limit), self.show(value - self.limit))
            }
            Some(value) => format!(
                "{} of {} used: {} left",
                self.show(value),
                self.show(self.limit),
                self.show(self.limit - value)
            ),
            None => format!("limit {}, no value yet", self.show(self.limit)),
        };
        let reserve = if self.reserve > 0.0 {
            format!(", {} of the limit in reserve", self.show(self.reserve))
        } else {
            String::new()
        };
        let over: Vec<String> = self
            .sections
            .iter()
            .filter(|section| section.is_over)
            .filter_map(|section| Some(format!("{} {}", section.name.title, self.show(-section.room()?))))
            .collect();
        let most = self
            .sections
            .iter()
            .filter_map(|section| Some((section, section.room()?)))
            .max_by(|a, b| a.1.total_cmp(&b.1));
        let sections = match (over.len(), most) {
            (0, Some((section, room))) => format!(
                "; no section is over its limit, and {} has the most room, {}",
                section.name.title,
                self.show(room)
            ),
            (_, Some((section, room))) if room > 0.0 => {
                format!(
                    "; over their limits: {}; the most room: {}, {}",
                    over.join(", "),
                    section.name.title,
                    self.show(room)
                )
            }
            (0, None) => String::new(),
            _ => format!("; over their limits: {}", over.join(", ")),
        };
        format!("{}: {value}{reserve}{sections}", self.name.title)
    }

    fn table(&self) -> PictureTable {
        let heads = [
            ("section or part", false),
            ("value", true),
            ("growth included", true),
            ("uncertainty", true),
            ("limit", true),
            ("room", true),
        ];
        let mut table = PictureTable::new(&format!("{}: from the limit to the parts", self.name.title), &heads);
        let some = |value: Option<f64>| value.map(|value| self.show(value)).unwrap_or_default();
        let uncertain = |uncertainty: f64| {
            if uncertainty > 0.0 { format!("±\u{202f}{}", self.show(uncertainty)) } else { String::new() }
        };
        let room = |limit: f64, value: Option<f64>| value.map(|value| self.signed(limit - value)).unwrap_or_default();
        let cells = [
            some(self.value),
            some(self.growth),
            uncertain(self.uncertainty),
            self.show(self.limit),
            room(self.limit, self.value),
        ];
        table.row(&self.name, cells);
        for section in &self.sections {
            let limit = self.show(section.limit);
            let cells = [
                some(section.value),
                some(section.growth),
                uncertain(section.uncertainty),
                limit,
                room(section.limit, section.value),
            ];
            table.row(&section.name, cells);
            for (name, value) in &section.parts {
                table.row(name, [self.show(*value), String::new(), String::new(), String::new(), String::new()]);
            }
        }
        for (words, value) in [("reserve", self.reserve), ("not allocated", self.unallocated)] {
            if value != 0.0 {
                table.row(
                    &Name::plain(words),
                    [String::new(), String::new(), String::new(), self.show(value), String::new()],
                );
            }
        }
        table
    }
}

/// Draws the budget.
pub(crate) fn picture(key: &str, input: &Budget) -> Picture {
    let caption = input.caption();
    if !(input.limit.is_finite() && input.limit > 0.0) || (input.value.is_none() && input.sections.is_empty()) {
        return Picture { table: input.table(), ..Picture::sentence(caption) };
    }
    let caption = caption + &not_drawn(input.sections.len(), MOST);
    let alt = format!("Budget from the limit to the parts. {caption}");
    Picture::drawn(key, &input.name.title, caption, alt, input.table(), |canvas, shape| {
        let top = strip(canvas, input);
        rooms(canvas, shape, input, top);
    })
}

const SECTION: Fill = Fill::Class("cell other");
const PART: Fill = Fill::Class("cell");
const GROWTH: Fill = Fill::Pattern(Pattern::Hatch, "main-edge");
const RESERVE: Fill = Fill::Pattern(Pattern::Dots, "axis-edge");
const OVER: Fill = Fill::Pattern(Pattern::Cross, "bad-edge");

/// The whole limit to scale: the sections, and below each its parts. Returns where it ends.
fn strip(canvas: &mut Canvas, input: &Budget) -> f64 {
    const HEIGHT: f64 = 22.0;
    let width = canvas.width() - 2.0;
    let used: f64 = input.sections.iter().filter_map(|section| section.value).filter(|value| *value > 0.0).sum();
    let whole = input.limit.max(used).max(input.value.unwrap_or(0.0));
    let x = Axis::new((0.0, whole), (1.0, 1.0 + width));
    let words = format!(
        "{} of {} to scale: each section above its parts",
        input.show(input.value.unwrap_or(used)),
        input.show(input.limit)
    );
    let lines = wrapped(&words, "s", canvas.width(), 2);
    for (at, line) in lines.iter().enumerate() {
        canvas.text((0.0, 13.0 + LINE * at as f64), Align::Start, "s", line);
    }
    // What is in no section is not drawn, and is before the reserve.
    let filled = used.max(input.value.unwrap_or(0.0));
    let has_reserve = input.reserve > 0.0 && input.limit - input.reserve > filled;
    let reserve = format!("reserve {}", input.show(input.reserve));
    let mut legend = vec![(Key::Area(SECTION), "section"), (Key::Area(PART), "part")];
    if input.sections.iter().any(|section| section.is_over) {
        legend.push((Key::Area(OVER), "section over its limit"));
    }
    if has_reserve {
        legend.push((Key::Area(RESERVE), &reserve));
    }
    let top = canvas.keys(LINE * lines.len() as f64, &legend) + 3.0;
    let below = top + HEIGHT;
    canvas.span((x.position(0.0), x.position(whole)), top, 2.0 * HEIGHT, Fill::Class("frame"));
    let mut at = 0.0;
    let mut largest: Vec<&Section> =
        input.sections.iter().filter(|section| section.value.is_some_and(|value| value > 0.0)).collect();
    largest.sort_by(|a, b| b.value.unwrap_or(0.0).total_cmp(&a.value.unwrap_or(0.0)));
    let mut keys: Vec<(String, String)> = Vec::new();
    let mut unnamed: Vec<&Section> = Vec::new();
    // Without room for every name, all blocks have numbers, and the list below has the names.
    let room = |section: &Section| x.position(section.value.unwrap_or(0.0)) - x.position(0.0);
    let fits = |section: &&Section| text_width(&section.name.title, "s") <= room(section) - 6.0;
    let named = largest.iter().all(|section| !section.is_over && fits(section));
    for section in &largest {
        let value = section.value.unwrap_or(0.0);
        let ends = (x.position(at), x.position(at + value));
        canvas.span(ends, top, HEIGHT, if section.is_over { OVER } else { SECTION });
        if !named || !canvas.try_text((ends.0 + 3.0, top + 15.5), Align::Start, "s in", &section.name.title) {
            let (own, middle) = ((keys.len() + 1).to_string(), 0.5 * (ends.0 + ends.1));
            // A number may be a little wider than its block.
            let has_room = text_width(&own, "s") <= ends.1 - ends.0 + 6.0;
            if has_room && canvas.try_text((middle, below + HEIGHT + 14.0), Align::Middle, "s", &own) {
                keys.push((own, format!("{} {}", section.name.title, input.show(value))));
            } else {
                unnamed.push(section);
            }
        }
        let mut inner = at;
        for (name, part) in section.parts.iter().filter(|(_, part)| *part > 0.0) {
            let ends = (x.inside(inner), x.inside((inner + part).min(at + value)));
            // What is narrower than its edge would be a block of edges.
            if ends.1 - ends.0 >= 2.0 {
                canvas.span(ends, below, HEIGHT, PART);
            }
            if text_width(&name.title, "s") <= ends.1 - ends.0 - 6.0 {
                canvas.try_text((ends.0 + 3.0, below + 15.5), Align::Start, "s in", &name.title);
            }
            inner += part;
        }
        at += value;
    }
    if has_reserve {
        canvas.span((x.position(input.limit - input.reserve), x.position(input.limit)), top, 2.0 * HEIGHT, RESERVE);
    }
    let limit = x.position(input.limit);
    canvas.line((limit, top - 4.0), (limit, below + HEIGHT + 4.0), "limit");
    canvas.grow(below + HEIGHT + 6.0);
    if keys.is_empty() && unnamed.is_empty() {
        return below + HEIGHT + 10.0;
    }
    if let [first, .., last] = unnamed[..] {
        let sum: f64 = unnamed.iter().filter_map(|section| section.value).sum();
        let names = format!("{} to {}", first.name.title, last.name.title);
        keys.push((format!("{} others", unnamed.len()), format!("{}: {names}", input.show(sum))));
    } else if let [only] = unnamed[..] {
        keys.push((
            (keys.len() + 1).to_string(),
            format!("{} {}", only.name.title, input.show(only.value.unwrap_or(0.0))),
        ));
    }
    list(canvas, below + HEIGHT + 20.0, &keys)
}

/// The names of the numbered sections, as many in a line as fit. Returns where they end.
fn list(canvas: &mut Canvas, top: f64, keys: &[(String, String)]) -> f64 {
    let (mut x, mut y) = (0.0, top + 13.0);
    for (number, words) in keys {
        let words = &crate::screen::clean(words);
        let indent = text_width(number, "s b") + 8.0;
        let wide = indent + text_width(words, "s");
        if x > 0.0 && x + wide > canvas.width() {
            (x, y) = (0.0, y + LINE);
        }
        canvas.text((x, y), Align::Start, "s b", number);
        // A name that is wider than the picture goes on below itself.
        let lines = wrapped(words, "s", canvas.width() - indent, 3);
        for (at, line) in lines.iter().enumerate() {
            canvas.text((x + indent, y + LINE * at as f64), Align::Start, "s", line);
        }
        x += wide + 16.0;
        y += LINE * (lines.len() as f64 - 1.0);
    }
    canvas.grow(y + 6.0);
    y + 10.0
}

/// The room of each section on an axis of its own.
fn rooms(canvas: &mut Canvas, shape: Shape, input: &Budget, top: f64) {
    let mut known: Vec<(&Section, f64)> =
        input.sections.iter().filter_map(|section| Some((section, section.room()?))).collect();
    if known.is_empty() {
        return;
    }
    known.sort_by(|a, b| a.1.total_cmp(&b.1));
    known.truncate(MOST);
    let mut keys = vec![(Key::Area(Fill::Class("main")), "room")];
    if known.iter().any(|(_, room)| *room < 0.0) {
        keys.push((Key::Area(OVER), "over the limit"));
    }
    if known.iter().any(|(section, _)| section.growth.is_some_and(|growth| growth > 0.0)) {
        keys.push((Key::Area(GROWTH), "growth allowance: room if nothing grows"));
    }
    if known.iter().any(|(section, _)| section.uncertainty > 0.0) {
        keys.push((Key::Interval, UNCERTAINTY));
    }
    let top = canvas.keys(top, &keys) + 2.0;
    canvas.text((0.0, top + 11.0), Align::Start, "s", "room of each section: limit minus value");
    let top = top + LINE;
    let texts = known.iter().map(|(section, room)| RowText {
        class: if section.is_over { "b" } else { "" },
        name: &section.name.title,
        number: input.signed(*room),
    });
    let layout = Rows::new(shape, top, Rows::plot(shape), texts);
    let bottom = layout.bottom() + 4.0;
    let ends = known.iter().flat_map(|(section, room)| {
        [0.0, *room, room + section.growth.unwrap_or(0.0), room - section.uncertainty, room + section.uncertainty]
    });
    let x = Axis::around(ends, layout.plot);
    let uprights = layout.uprights(bottom);
    x.grid_below(canvas, &uprights, &input.unit);
    let zero = x.inside(0.0);
    for (at, (section, room)) in known.iter().enumerate() {
        let (bar, end) = (layout.bar(at), x.inside(*room));
        layout.label(canvas, at);
        if let Some(growth) = section.growth.filter(|growth| *growth > 0.0) {
            canvas.span((end, x.inside(room + growth)), bar + 3.0, Rows::BAR - 6.0, GROWTH);
        }
        canvas.span((zero, end), bar, Rows::BAR, if *room < 0.0 { OVER } else { Fill::Class("main") });
        if section.uncertainty > 0.0 {
            let ends = (x.inside(room - section.uncertainty), x.inside(room + section.uncertainty));
            canvas.interval(ends, layout.middle(at), "interval");
        }
    }
    uprights.draw(canvas, zero, "limit");
}
