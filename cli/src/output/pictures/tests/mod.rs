//! What holds for every picture: well-formed, without text that overlaps or leaves the picture, for any numbers and titles.

mod contrast;

mod places;
mod points;
mod readable;
mod samples;

use quick_xml::Reader;
use quick_xml::events::{BytesStart, Event};

use super::svg::text_width;
use super::{Numbers, Picture};

/// An element of an SVG.
#[derive(Clone, Debug, Default)]
pub(super) struct Element {
    pub(super) tag: String,
    attributes: Vec<(String, String)>,
    pub(super) text: String,
}

impl Element {
    pub(super) fn get(&self, name: &str) -> Option<&str> {
        self.attributes.iter().find(|(own, _)| own == name).map(|(_, value)| value.as_str())
    }

    pub(super) fn number(&self, name: &str) -> f64 {
        self.get(name).unwrap_or_else(|| panic!("{} has no {name}", self.tag)).parse().unwrap()
    }

    pub(super) fn has_class(&self, class: &str) -> bool {
        self.get("class").is_some_and(|own| own.split(' ').any(|own| own == class))
    }

    /// The points of a polygon or a polyline.
    pub(super) fn points(&self) -> Vec<(f64, f64)> {
        let pair = |text: &str| {
            let (x, y) = text.split_once(',').unwrap();
            (x.parse().unwrap(), y.parse().unwrap())
        };
        self.get("points").unwrap().split_whitespace().map(pair).collect()
    }

    /// The left, top, right and bottom.
    fn bounds(&self) -> Option<[f64; 4]> {
        let around = |points: &[(f64, f64)]| {
            let fold =
                |start: f64, f: fn(f64, f64) -> f64, get: fn(&(f64, f64)) -> f64| points.iter().map(get).fold(start, f);
            [
                fold(f64::INFINITY, f64::min, |p| p.0),
                fold(f64::INFINITY, f64::min, |p| p.1),
                fold(f64::NEG_INFINITY, f64::max, |p| p.0),
                fold(f64::NEG_INFINITY, f64::max, |p| p.1),
            ]
        };
        let n = |name: &str| self.number(name);
        Some(match self.tag.as_str() {
            "rect" => [n("x"), n("y"), n("x") + n("width"), n("y") + n("height")],
            "line" => around(&[(n("x1"), n("y1")), (n("x2"), n("y2"))]),
            "circle" => [n("cx") - n("r"), n("cy") - n("r"), n("cx") + n("r"), n("cy") + n("r")],
            "polygon" | "polyline" => around(&self.points()),
            "text" => {
                let class = self.get("class").unwrap_or("");
                let wide = text_width(&self.text, class);
                let left = match (self.has_class("m"), self.has_class("e")) {
                    (true, _) => n("x") - 0.5 * wide,
                    (_, true) => n("x") - wide,
                    _ => n("x"),
                };
                let size = if self.has_class("s") { 12.0 } else { 13.0 };
                [left, n("y") - 0.8 * size, left + wide, n("y") + 0.25 * size]
            }
            _ => return None,
        })
    }
}

fn element(start: &BytesStart<'_>) -> Element {
    let tag = start.name().as_ref().to_owned();
    let attributes = start.attributes().map(|attribute| {
        let attribute = attribute.unwrap();
        let value = attribute.normalized_value(quick_xml::XmlVersion::Explicit1_0).unwrap().into_owned();
        (attribute.key.as_ref().to_owned(), value)
    });
    Element { tag, attributes: attributes.collect(), text: String::new() }
}

/// The SVGs of a picture, each with its elements, without those in definitions.
pub(super) fn drawings(svg: &str) -> Vec<Vec<Element>> {
    let mut reader = Reader::from_str(svg);
    let (mut all, mut open, mut in_patterns): (Vec<Vec<Element>>, Vec<String>, usize) = (Vec::new(), Vec::new(), 0);
    let mut add = |own: Element, in_patterns: usize| match own.tag.as_str() {
        "svg" => all.push(vec![own]),
        _ if in_patterns > 0 => {}
        _ => all.last_mut().unwrap().push(own),
    };
    let mut pending: Option<Element> = None;
    loop {
        match reader.read_event().unwrap() {
            Event::Start(start) => {
                let own = element(&start);
                open.push(own.tag.clone());
                in_patterns += usize::from(own.tag == "defs");
                match own.tag.as_str() {
                    "text" | "title" | "desc" => pending = Some(own),
                    _ => add(own, in_patterns),
                }
            }
            Event::Empty(start) => add(element(&start), in_patterns),
            Event::Text(text) => {
                if let Some(own) = &mut pending {
                    own.text.push_str(&text);
                }
            }
            Event::GeneralRef(reference) => {
                let name = format!("&{};", &*reference);
                let text = quick_xml::escape::unescape(&name).unwrap().into_owned();
                if let Some(own) = &mut pending {
                    own.text.push_str(&text);
                }
            }
            Event::End(end) => {
                let name = end.name().as_ref().to_owned();
                assert_eq!(open.pop().as_deref(), Some(name.as_str()), "tags are closed in order");
                in_patterns -= usize::from(name == "defs");
                if let Some(own) = pending.take_if(|own| own.tag == name) {
                    add(own, in_patterns);
                }
            }
            Event::Eof => break,
            other => panic!("{other:?} is not expected in a picture"),
        }
    }
    assert!(open.is_empty(), "every tag is closed");
    all
}

/// Checks what holds for every picture.
pub(super) fn check(name: &str, picture: &Picture) {
    assert!(!picture.caption.is_empty(), "{name}: it has a caption");
    let text = format!("{}{}{}", picture.svg, picture.caption, picture.table.html(true));
    for wrong in ["NaN", "inf ", "inf\"", ">inf", "=\"-0\"", "\u{202e}"] {
        assert!(
            !text.contains(wrong),
            "{name}: {wrong} in {}",
            &text[text.find(wrong).unwrap().saturating_sub(60)..][..80]
        );
    }
    for row in &picture.table.rows {
        assert_eq!(row.cells.len(), picture.table.heads.len(), "{name}: a row is as wide as the table");
    }
    if picture.is_empty() {
        assert!(
            picture.figure(Numbers::Folded, true).starts_with("<p"),
            "{name}: a sentence is in place of the picture"
        );
        return;
    }
    if picture.svg.starts_with("<div") {
        return;
    }
    let shapes = drawings(&picture.svg);
    let widths: Vec<&str> =
        shapes.iter().map(|shape| shape[0].get("viewBox").unwrap().split(' ').nth(2).unwrap()).collect();
    assert_eq!(widths, ["720", "340"], "{name}: one shape for a desk and one for a phone");
    let mut ids: Vec<&str> = shapes.iter().flatten().filter_map(|element| element.get("id")).collect();
    let count = ids.len();
    ids.sort_unstable();
    ids.dedup();
    assert_eq!(ids.len(), count, "{name}: ids are unique");
    shapes.iter().for_each(|shape| check_shape(name, shape, &shapes));
}

fn check_shape(name: &str, shape: &[Element], shapes: &[Vec<Element>]) {
    let root = &shape[0];
    assert_eq!(root.get("role"), Some("img"), "{name}");
    let named = root.get("aria-labelledby").unwrap();
    for id in named.split(' ') {
        let mut all = shapes.iter().flatten();
        let text = all.find(|element| element.get("id") == Some(id)).map(|element| element.text.as_str());
        assert!(text.is_some_and(|text| !text.is_empty()), "{name}: {id} names the picture");
    }
    let view: Vec<f64> = root.get("viewBox").unwrap().split(' ').map(|number| number.parse().unwrap()).collect();
    let mut texts: Vec<([f64; 4], &str)> = Vec::new();
    for element in shape {
        let Some([left, top, right, bottom]) = element.bounds() else { continue };
        let slack = 1.5;
        assert!(
            left >= -slack && top >= -slack && right <= view[2] + slack && bottom <= view[3] + slack,
            "{name}: {element:?} leaves {view:?}"
        );
        if element.tag != "text" {
            continue;
        }
        assert!(left >= -0.1 && right <= view[2] + 0.1, "{name}: {element:?} leaves {view:?}");
        for (other, words) in &texts {
            let apart =
                right <= other[0] + 0.1 || other[2] <= left + 0.1 || bottom <= other[1] + 0.1 || other[3] <= top + 0.1;
            assert!(apart, "{name}: `{}` overlaps `{words}`", element.text);
        }
        texts.push(([left, top, right, bottom], &element.text));
    }
}

#[test]
fn every_picture_holds_for_any_number_of_items() {
    for count in [0, 1, 2, 7, 60, 1000] {
        for (name, picture) in samples::all(count, "Rear upright, machined from one block", 1.0) {
            check(&format!("{name} with {count}"), &picture);
            assert!(count < 2 || !picture.is_empty(), "{name} with {count} has something to draw: {}", picture.caption);
        }
    }
}

#[test]
fn hostile_titles_stay_text() {
    let titles = [
        "</title></svg><script>alert(1)</script>",
        "\"><img src=x onerror=alert(1)>",
        "a\u{202e}b\u{0}c\u{fffe}\u{1b}[31m",
        "&amp; ' \" < > ]]> <!-- -->",
        "漢字漢字漢字漢字漢字漢字漢字漢字漢字漢字漢字漢字",
        "😀😀😀😀😀😀😀😀😀😀😀😀😀😀😀😀😀😀😀😀😀😀😀😀",
        "WWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWW",
        "",
    ];
    for title in titles {
        for (name, picture) in samples::all(9, title, 1.0) {
            check(&format!("{name} of {title:?}"), &picture);
            let html = picture.figure(Numbers::Folded, true);
            assert!(!html.contains("<script") && !html.contains("<img") && !html.contains('\u{0}'), "{name}: {html}");
        }
    }
}

#[test]
fn numbers_that_no_picture_can_show_break_none() {
    for factor in [0.0, -1.0, f64::NAN, f64::INFINITY, 1e300, 1e-300] {
        for (name, picture) in samples::all(5, "Rear upright", factor) {
            check(&format!("{name} times {factor}"), &picture);
        }
    }
}

#[test]
fn a_long_title_is_cut_in_the_picture_and_whole_in_the_table() {
    let long = "Stiffness of the rear upright between the bearings and the points of the wishbones under braking";
    for (name, picture) in samples::all(5, long, 1.0) {
        assert!(picture.table.html(false).contains(long), "{name}");
    }
}

/// A page of 450 records may have 1.5 MB: all pictures together, each with 40 items, may take less than a third of it.
#[test]
fn pictures_are_small() {
    let all = samples::all(40, "Rear upright, machined from one block", 1.0);
    let size: usize = all.iter().map(|(_, picture)| picture.svg.len()).sum();
    assert!(size < 450_000, "{size} bytes");
    let largest = all.iter().max_by_key(|(_, picture)| picture.svg.len()).unwrap();
    assert!(largest.1.svg.len() < 100_000, "{}: {} bytes", largest.0, largest.1.svg.len());
}
