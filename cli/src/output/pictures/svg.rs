//! Drawing: an SVG with text that neither overlaps nor leaves the picture.

use std::fmt::Write as _;

use schema::number;

/// The two shapes of a picture: the page shows the one that fits its width.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Shape {
    /// For a desk: labels to the left of what they name.
    Wide,
    /// For a phone: labels above what they name.
    Narrow,
}

impl Shape {
    /// The width of the view box, about that of the place on the page, so that text has its natural size.
    pub(super) fn width(self) -> f64 {
        match self {
            Self::Wide => 720.0,
            Self::Narrow => 340.0,
        }
    }

    /// Whether it is the one for a phone.
    pub(super) fn is_narrow(self) -> bool {
        self == Self::Narrow
    }

    fn class(self) -> &'static str {
        match self {
            Self::Wide => "wide-picture",
            Self::Narrow => "narrow-picture",
        }
    }
}

/// Text for SVG and HTML, as content and as an attribute.
pub(crate) fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in crate::screen::clean(text).chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            // Not characters of XML 1.0 (2.2).
            '\u{fffe}' | '\u{ffff}' => out.push('\u{fffd}'),
            c => out.push(c),
        }
    }
    out
}

/// The part of an id that a picture puts before its own ids.
fn slug(key: &str) -> String {
    let plain = |c: char| if c.is_ascii_alphanumeric() { c } else { '-' };
    format!("p-{}", key.chars().take(80).map(plain).collect::<String>())
}

/// A coordinate with one decimal; what is not finite is zero.
pub(super) fn coordinate(value: f64) -> String {
    if !value.is_finite() {
        return "0".to_owned();
    }
    number::fixed(value, 1).trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// The size of text by its class.
pub(super) const SIZE: f64 = 13.0;
/// The size of text with the class `s`.
const SMALL: f64 = 12.0;
/// The height of a line of text.
pub(super) const LINE: f64 = 17.0;

fn size(class: &str) -> f64 {
    if class.split(' ').any(|own| own == "s") { SMALL } else { SIZE }
}

/// The width of a character in ems, not less than that of a wide typeface for screens.
fn em(c: char) -> f64 {
    match c {
        'i' | 'j' | 'l' | '\'' | '|' => 0.35,
        ' ' | '.' | ',' | ':' | ';' | '\u{a0}' => 0.36,
        '\u{202f}' | '\u{2009}' => 0.3,
        'f' | 't' | 'r' | '(' | ')' | '[' | ']' | '-' | '/' | 'I' | '!' | '"' => 0.46,
        'm' | 'M' | 'W' | '%' | '@' | '…' | '—' => 1.05,
        'w' | 'O' | 'Q' | 'D' | 'G' | 'H' | 'N' | '+' | '−' | '±' | '×' | '→' | '←' | '=' | '<' | '>' | '~' => {
            0.88
        }
        'a'..='z' | '0'..='9' | '²' | '³' | '·' | '–' => 0.66,
        'A'..='Z' => 0.78,
        c => match unicode_width::UnicodeWidthChar::width(c).unwrap_or(0) {
            0 => 0.0,
            1 => 0.9,
            _ => 1.25,
        },
    }
}

/// The width of text in a class, rather too large than too small.
pub(super) fn text_width(text: &str, class: &str) -> f64 {
    let bold = if class.split(' ').any(|own| own == "b") { 1.12 } else { 1.0 };
    text.chars().map(em).sum::<f64>() * size(class) * bold
}

/// The text, cut with an ellipsis so that it is not wider than `room`; empty if not even three characters fit.
pub(super) fn cut(text: &str, class: &str, room: f64) -> String {
    let text = crate::screen::clean(text);
    if text_width(&text, class) <= room {
        return text;
    }
    let unit = size(class) * if class.split(' ').any(|own| own == "b") { 1.12 } else { 1.0 };
    let mut left = room - em('…') * unit;
    let mut kept = String::new();
    for c in text.chars() {
        left -= em(c) * unit;
        if left < 0.0 {
            break;
        }
        kept.push(c);
    }
    let kept = kept.trim_end();
    if kept.chars().count() < 3 { String::new() } else { format!("{kept}…") }
}

/// The text in lines that are not wider than `room`, broken between words; the last of `most` lines is cut.
pub(super) fn wrapped(text: &str, class: &str, room: f64, most: usize) -> Vec<String> {
    let text = crate::screen::clean(text);
    let mut lines: Vec<String> = Vec::new();
    let mut words = text.split(' ').peekable();
    while let Some(first) = words.next() {
        let mut line = first.to_owned();
        let is_last = lines.len() + 1 >= most;
        while let Some(word) = words.peek() {
            let longer = format!("{line} {word}");
            if !is_last && text_width(&longer, class) > room {
                break;
            }
            line = longer;
            words.next();
        }
        lines.push(cut(&line, class, room));
    }
    lines
}

/// The side of its position on which text is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Align {
    /// The text begins there.
    Start,
    /// The text is centred there.
    Middle,
    /// The text ends there.
    End,
}

/// A rectangle: left, top, right, bottom.
pub(super) type Box4 = [f64; 4];

/// The patterns beside the colours.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Pattern {
    /// Lines that rise to the right, in the main colour.
    Hatch,
    /// Lines that fall to the right, in the colour of what is bad.
    Cross,
    /// Dots, in the colour of axes.
    Dots,
}

impl Pattern {
    fn class(self) -> &'static str {
        match self {
            Self::Hatch => "hatch",
            Self::Cross => "cross",
            Self::Dots => "dots",
        }
    }

    /// The lines of the pattern in a rectangle, as a path: a page that loads nothing has no reference to a pattern.
    fn path(self, [left, top, right, bottom]: Box4) -> String {
        const STEP: f64 = 6.0;
        let mut path = String::new();
        let steps = |from: f64, to: f64| {
            let first = (from / STEP).ceil() as i64;
            (first..).map(|at| at as f64 * STEP).take_while(move |at| *at <= to).take(400)
        };
        if self == Self::Dots {
            for (x, y) in
                steps(left + 2.0, right - 2.0).flat_map(|x| steps(top + 2.0, bottom - 2.0).map(move |y| (x, y)))
            {
                let _ = write!(path, "M{} {}h0", coordinate(x), coordinate(y));
            }
            return path;
        }
        for sum in steps(left + top, right + bottom) {
            let (from, to) = ((sum - bottom).max(left), (sum - top).min(right));
            let turned = |x: f64| if self == Self::Cross { left + right - x } else { x };
            let [x1, y1, x2, y2] = [turned(from), sum - from, turned(to), sum - to].map(coordinate);
            let _ = write!(path, "M{x1} {y1}L{x2} {y2}");
        }
        path
    }
}

/// What fills an area.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Fill {
    /// A class of the stylesheet.
    Class(&'static str),
    /// A pattern, with the edge that the stylesheet gives the class.
    Pattern(Pattern, &'static str),
}

/// A picture that is drawn.
pub(super) struct Canvas {
    shape: Option<Shape>,
    slug: String,
    width: f64,
    height: f64,
    body: String,
    texts: Vec<Box4>,
}

impl Canvas {
    /// An empty picture.
    pub(super) fn new(key: &str, shape: Shape) -> Self {
        Self { shape: Some(shape), ..Self::small(key, shape.width()) }
    }

    /// An empty picture with one shape only, for a cell of a table.
    pub(super) fn small(key: &str, width: f64) -> Self {
        let (body, texts) = (String::new(), Vec::new());
        Self { shape: None, slug: slug(key), width, height: 0.0, body, texts }
    }

    /// The width.
    pub(super) fn width(&self) -> f64 {
        self.width
    }

    /// Makes it at least this high.
    pub(super) fn grow(&mut self, height: f64) {
        self.height = self.height.max(height);
    }

    /// Adds a rectangle.
    pub(super) fn rect(&mut self, (x, y): (f64, f64), (width, height): (f64, f64), fill: Fill) {
        let (width, height) = (width.max(0.0), height.max(0.0));
        let [left, top, w, h] = [x, y, width, height].map(coordinate);
        let (Fill::Class(class) | Fill::Pattern(_, class)) = fill;
        let _ = write!(self.body, "<rect x=\"{left}\" y=\"{top}\" width=\"{w}\" height=\"{h}\" class=\"{class}\"/>");
        if let Fill::Pattern(pattern, _) = fill
            && [x, y, width, height].into_iter().all(f64::is_finite)
        {
            let path = pattern.path([x, y, x + width, y + height]);
            let _ = write!(self.body, "<path d=\"{path}\" class=\"{}\"/>", pattern.class());
        }
    }

    /// Adds an area between two positions, in either order.
    pub(super) fn span(&mut self, (from, to): (f64, f64), y: f64, height: f64, fill: Fill) {
        self.rect((from.min(to), y), ((to - from).abs(), height), fill);
    }

    /// Adds a line.
    pub(super) fn line(&mut self, from: (f64, f64), to: (f64, f64), class: &str) {
        let [x1, y1, x2, y2] = [from.0, from.1, to.0, to.1].map(coordinate);
        let _ = write!(self.body, "<line x1=\"{x1}\" y1=\"{y1}\" x2=\"{x2}\" y2=\"{y2}\" class=\"{class}\"/>");
    }

    /// Adds a line through points.
    pub(super) fn polyline(&mut self, points: impl IntoIterator<Item = (f64, f64)>, class: &str) {
        let points: Vec<String> =
            points.into_iter().map(|(x, y)| format!("{},{}", coordinate(x), coordinate(y))).collect();
        let _ = write!(self.body, "<polyline points=\"{}\" class=\"{class}\"/>", points.join(" "));
    }

    /// Adds an area around points.
    pub(super) fn polygon(&mut self, points: impl IntoIterator<Item = (f64, f64)>, class: &str) {
        let points: Vec<String> =
            points.into_iter().map(|(x, y)| format!("{},{}", coordinate(x), coordinate(y))).collect();
        let _ = write!(self.body, "<polygon points=\"{}\" class=\"{class}\"/>", points.join(" "));
    }

    /// Adds a disc or a ring.
    pub(super) fn circle(&mut self, (x, y): (f64, f64), radius: f64, class: &str) {
        let [x, y, r] = [x, y, radius].map(coordinate);
        let _ = write!(self.body, "<circle cx=\"{x}\" cy=\"{y}\" r=\"{r}\" class=\"{class}\"/>");
    }

    /// Adds a diamond.
    pub(super) fn diamond(&mut self, (x, y): (f64, f64), class: &str) {
        self.polygon([(x, y - 5.5), (x + 5.5, y), (x, y + 5.5), (x - 5.5, y)], class);
    }

    /// Adds an interval: a line with ends.
    pub(super) fn interval(&mut self, (low, high): (f64, f64), y: f64, class: &str) {
        self.line((low, y), (high, y), class);
        for end in [low, high] {
            self.line((end, y - 3.5), (end, y + 3.5), class);
        }
    }

    /// Adds text on a free place; the caller has made sure that it fits.
    pub(super) fn text(&mut self, at: (f64, f64), align: Align, class: &str, words: &str) {
        if words.is_empty() {
            return;
        }
        self.texts.push(text_box(at, align, class, words));
        let anchor = match align {
            Align::Start => "",
            Align::Middle => " m",
            Align::End => " e",
        };
        let [x, y] = [at.0, at.1].map(coordinate);
        let class = format!("{class}{anchor}");
        let _ = write!(self.body, "<text x=\"{x}\" y=\"{y}\" class=\"{}\">{}</text>", class.trim(), escaped(words));
    }

    /// Keeps a place free of text: left, top, right, bottom.
    pub(super) fn keep_free(&mut self, place: Box4) {
        self.texts.push(place);
    }

    /// Adds text unless it would overlap other text or leave the picture between `top` and `bottom`; returns whether it is
    /// there.
    pub(super) fn try_text(&mut self, at: (f64, f64), align: Align, class: &str, words: &str) -> bool {
        let own = text_box(at, align, class, words);
        let fits = own[0] >= 0.0 && own[2] <= self.width && own[1] >= 0.0;
        let gap = 2.0;
        let apart = |other: &Box4| {
            own[2] + gap <= other[0] || other[2] + gap <= own[0] || own[3] <= other[1] || other[3] <= own[1]
        };
        let free = fits && !words.is_empty() && self.texts.iter().all(apart);
        if free {
            self.text(at, align, class, words);
        }
        free
    }

    /// Adds a row of keys below `top`, in as many lines as they need, and returns where it ends.
    pub(super) fn keys(&mut self, top: f64, keys: &[(Key, &str)]) -> f64 {
        const SYMBOL: f64 = 24.0;
        let (mut x, mut y) = (0.0, top + 13.0);
        for (key, words) in keys {
            let words = cut(words, "s", self.width - SYMBOL);
            let wide = SYMBOL + text_width(&words, "s");
            if x > 0.0 && x + wide > self.width {
                (x, y) = (0.0, y + LINE);
            }
            key.draw(self, (x, y - 4.5));
            self.text((x + SYMBOL, y), Align::Start, "s", &words);
            x += wide + 14.0;
        }
        self.grow(y + 6.0);
        y + 10.0
    }

    /// The finished SVG with its text alternative.
    pub(super) fn finish(self, title: &str, description: &str) -> String {
        let title = if title.trim().is_empty() { description } else { title };
        let (title_id, description_id) = (format!("{}-t", self.slug), format!("{}-a", self.slug));
        let class = self.shape.map_or("small-picture", Shape::class);
        // Both shapes have the words of the wide one, also where that is not shown.
        let words = if self.shape == Some(Shape::Narrow) {
            String::new()
        } else {
            format!(
                "<title id=\"{title_id}\">{}</title><desc id=\"{description_id}\">{}</desc>",
                escaped(title),
                escaped(description)
            )
        };
        format!(
            "<svg class=\"drawing {class}\" viewBox=\"0 0 {} {}\" role=\"img\" \
             aria-labelledby=\"{title_id} {description_id}\">{words}{}</svg>",
            coordinate(self.width),
            coordinate(self.height.max(1.0)),
            self.body
        )
    }
}

fn text_box((x, y): (f64, f64), align: Align, class: &str, words: &str) -> Box4 {
    let (wide, size) = (text_width(words, class), size(class));
    let left = match align {
        Align::Start => x,
        Align::Middle => x - 0.5 * wide,
        Align::End => x - wide,
    };
    [left, y - 0.8 * size, left + wide, y + 0.25 * size]
}

/// A symbol whose meaning a picture explains.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Key {
    /// An area.
    Area(Fill),
    /// A line of a class.
    Line(&'static str),
    /// A ring or a disc of a class.
    Ring(&'static str),
    /// A diamond of a class.
    Diamond(&'static str),
    /// A small square of a class.
    Square(&'static str),
    /// An interval.
    Interval,
}

impl Key {
    fn draw(self, canvas: &mut Canvas, (x, y): (f64, f64)) {
        match self {
            Self::Area(fill) => canvas.rect((x + 1.0, y - 5.0), (17.0, 10.0), fill),
            Self::Line(class) => canvas.line((x + 1.0, y), (x + 18.0, y), class),
            Self::Ring(class) => canvas.circle((x + 10.0, y), 4.5, class),
            Self::Diamond(class) => canvas.diamond((x + 10.0, y), class),
            Self::Square(class) => canvas.rect((x + 6.5, y - 3.5), (7.0, 7.0), Fill::Class(class)),
            Self::Interval => canvas.interval((x + 2.0, x + 18.0), y, "interval"),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn text_is_cut_to_its_room() {
        assert_eq!(cut("Upright", "", 200.0), "Upright");
        let long = "Rear upright, machined from one block of aluminium";
        for room in [48.0, 80.0, 160.0, 320.0] {
            let short = cut(long, "", room);
            assert!(short.ends_with('…') && text_width(&short, "") <= room, "{short} at {room}");
        }
        assert_eq!(cut(long, "", 10.0), "", "two letters name nothing");
        assert_eq!(cut("a\u{202e}b", "", 100.0), "a\u{fffd}b", "no mark changes the direction of writing");
    }

    #[test]
    fn text_is_wrapped_between_words() {
        let long = "Endurance, 20 laps with a driver change: best time of all cars";
        for room in [120.0, 200.0, 340.0, 1000.0] {
            let lines = wrapped(long, "", room, 9);
            assert_eq!(lines.join(" "), long, "nothing is cut");
            assert!(lines.iter().all(|line| text_width(line, "") <= room), "{lines:?} at {room}");
        }
        let lines = wrapped(long, "", 120.0, 2);
        assert!(lines.len() == 2 && lines[1].ends_with('…'), "{lines:?}");
        assert_eq!(wrapped("", "", 100.0, 3), [""]);
    }

    #[test]
    fn text_that_would_overlap_is_not_drawn() {
        let mut canvas = Canvas::new("k", Shape::Narrow);
        assert!(canvas.try_text((0.0, 20.0), Align::Start, "", "205 kg"));
        assert!(!canvas.try_text((20.0, 22.0), Align::Start, "", "202 kg"));
        assert!(canvas.try_text((20.0, 40.0), Align::Start, "", "202 kg"));
        assert!(!canvas.try_text((335.0, 60.0), Align::Start, "", "over the edge"));
        assert!(!canvas.try_text((5.0, 60.0), Align::Middle, "", "over the edge"));
        assert!(!canvas.try_text((5.0, 4.0), Align::Start, "", "above"));
    }

    #[test]
    fn numbers_that_are_not_finite_leave_no_trace() {
        assert_eq!([f64::NAN, f64::INFINITY, -0.01, 12.04].map(coordinate), ["0", "0", "0", "12"]);
    }
}
