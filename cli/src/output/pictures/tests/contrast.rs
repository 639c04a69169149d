//! The contrast of the colours of the stylesheet: WCAG 2.2, 1.4.3 (text 4.5:1) and 1.4.11 (marks 3:1), with the relative
//! luminance and the contrast ratio of its glossary.

use std::collections::BTreeMap;

use super::super::STYLE;

/// The colours of one block of the stylesheet.
fn colours(block: &str) -> BTreeMap<&str, [f64; 3]> {
    let variables = block.split("--p-").skip(1).filter_map(|rest| {
        let (name, rest) = rest.split_once(": #")?;
        let channel = |at: usize| f64::from(u8::from_str_radix(&rest[at..at + 2], 16).unwrap()) / 255.0;
        Some((name, [channel(0), channel(2), channel(4)]))
    });
    variables.collect()
}

/// The blocks for light, dark and print.
fn blocks() -> Vec<(&'static str, BTreeMap<&'static str, [f64; 3]>)> {
    let root = |text: &'static str| {
        let start = text.find(":root {").unwrap();
        let text = &text[start..];
        colours(&text[..text.find('}').unwrap()])
    };
    let dark = STYLE.find("@media (prefers-color-scheme: dark)").unwrap();
    let print = STYLE.find("@media print").unwrap();
    vec![("light", root(STYLE)), ("dark", root(&STYLE[dark..])), ("print", root(&STYLE[print..]))]
}

fn luminance(colour: [f64; 3]) -> f64 {
    let linear = colour.map(|c| if c <= 0.040_45 { c / 12.92 } else { ((c + 0.055) / 1.055).powf(2.4) });
    0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]
}

fn contrast(a: [f64; 3], b: [f64; 3]) -> f64 {
    let (a, b) = (luminance(a), luminance(b));
    (a.max(b) + 0.05) / (a.min(b) + 0.05)
}

#[test]
fn colours_have_the_contrast_of_the_standard() {
    assert!((contrast([1.0; 3], [0.0; 3]) - 21.0).abs() < 1e-9, "WCAG 2.2: from 1 to 21");
    const AREAS: [&str; 6] = ["paper", "band", "allowed", "around", "cell", "other"];
    for (scheme, colours) in blocks() {
        assert_eq!(colours.len(), 13, "{scheme} has every colour");
        let is_enough = |front: &str, back: &str, least: f64| {
            let found = contrast(colours[front], colours[back]);
            assert!(found >= least, "{scheme}: {front} on {back} has {found:.2}, and {least} is needed");
        };
        for area in AREAS {
            is_enough("ink", area, 4.5);
            is_enough("soft", area, 4.5);
            for mark in ["main", "bad", "good", "axis"] {
                is_enough(mark, area, 3.0);
            }
        }
        // The band of the place is a veil over the interval of the curve.
        assert!(STYLE.contains(".drawing .veil { fill: var(--p-good); fill-opacity: .14;"));
        for below in ["paper", "around"] {
            let mixed: Vec<f64> = (0..3).map(|at| 0.14 * colours["good"][at] + 0.86 * colours[below][at]).collect();
            for mark in ["ink", "main", "good", "bad"] {
                let found = contrast(colours[mark], [mixed[0], mixed[1], mixed[2]]);
                assert!(found >= 3.0, "{scheme}: {mark} on the veil over {below} has {found:.2}");
            }
        }
        // The marks of the chain are text.
        for text in ["good", "bad", "soft"] {
            is_enough(text, "paper", 4.5);
        }
    }
}

#[test]
fn every_class_of_a_picture_has_a_style() {
    let mut unknown: Vec<String> = Vec::new();
    for (_, picture) in
        super::samples::all(9, "Upright", 1.0).into_iter().filter(|(_, picture)| picture.svg.starts_with("<svg"))
    {
        for element in super::drawings(&picture.svg).into_iter().flatten() {
            let classes = element.get("class").unwrap_or("").to_owned();
            for class in classes.split(' ').filter(|class| !class.is_empty() && *class != "drawing") {
                let styled = [format!(".{class} "), format!(".{class}."), format!(".{class},")];
                if !styled.iter().any(|selector| STYLE.contains(selector.as_str())) {
                    unknown.push(class.to_owned());
                }
            }
        }
    }
    assert!(unknown.is_empty(), "{unknown:?}");
}
