//! The talk as one HTML file that loads nothing: its script is the only one that its policy allows.

use serde_json::{Value, json};
use sha2::{Digest as _, Sha256};
use trace::Error;

use super::photo::base64;
use super::report::clock;
use super::{DeckView, Slide, Talk, Visual};
use crate::output::pictures;
use crate::output::template::{self, Escape};

/// The most rows of a table below the notes, so that a slide stays on one sheet.
const MOST_ROWS: usize = 12;

/// The start of every page of this command.
pub(crate) const MARK: &[u8] = b"<!doctype html>\n<html lang=\"en\">\n<head>\n<!-- tierod deck -->\n";

/// The script.
const SCRIPT: &str = include_str!("../../../../templates/deck.js");

/// The page.
pub(crate) fn html(view: &DeckView<'_>, talk: &Talk) -> Result<String, Error> {
    let mut start = 0;
    let slides: Vec<Value> = talk
        .slides
        .iter()
        .map(|slide| {
            let own = slide_json(slide, start);
            start = slide.end;
            own
        })
        .collect();
    let season = view.study.settings().season.map(|season| format!("Season {season}"));
    let context = json!({
        "title": view.title(view.goal.index),
        "season": season,
        "source": view.source,
        "caution": view.caution,
        "minutes": view.minutes,
        "seconds": view.minutes * 60,
        "slides": slides,
        "pictures_css": pictures::STYLE,
        "css": include_str!("../../../../templates/deck.css"),
        "script": SCRIPT,
        "script_hash": format!("sha256-{}", base64(&Sha256::digest(SCRIPT))),
    });
    let shipped = include_str!("../../../../templates/deck.html");
    template::render("deck.html", shipped, None, Escape::Html, &context)
}

/// Which shape of a picture has the larger text on a slide: `wide` or `narrow`.
fn shape(svg: &str) -> &'static str {
    /// The place of a picture on a screen of 16 to 9, below a phrase of two lines.
    const PLACE: [f64; 2] = [1150.0, 470.0];
    let scale = |own: &str| -> Option<f64> {
        let (_, rest) = own.split_once("viewBox=\"0 0 ")?;
        let (width, height) = rest.split_once('"')?.0.split_once(' ')?;
        Some((PLACE[0] / width.parse::<f64>().ok()?).min(PLACE[1] / height.parse::<f64>().ok()?))
    };
    let (wide, narrow) = svg.split_once("</svg>").unwrap_or((svg, ""));
    // The wide shape fills the screen, so that the text of the other one must be much larger.
    let gain = scale(narrow).zip(scale(wide)).map_or(0.0, |(narrow, wide)| narrow / wide);
    if gain > 1.3 { "narrow" } else { "wide" }
}

fn slide_json(slide: &Slide, start: u32) -> Value {
    let abbreviations: Vec<Value> =
        slide.abbreviations.iter().map(|(name, meaning)| json!({"name": name, "meaning": meaning})).collect();
    let mut own = json!({
        "id": slide.id,
        "phrase": slide.phrase,
        "notes": slide.notes,
        "start": start,
        "end": slide.end,
        "until": clock(slide.end),
        "seconds": slide.end - start,
        "abbreviations": abbreviations,
        "kind": "none",
        "caption": null,
        "table": null,
        "more_rows": 0,
    });
    match &slide.visual {
        Visual::None => {}
        Visual::Drawn(picture) => {
            let mut table = picture.table.clone();
            own["kind"] = json!(if picture.is_empty() { "none" } else { "drawn" });
            own["svg"] = json!(picture.svg);
            own["shape"] = json!(shape(&picture.svg));
            own["caption"] = json!(picture.caption);
            own["more_rows"] = json!(table.rows.len().saturating_sub(MOST_ROWS));
            table.rows.truncate(MOST_ROWS);
            own["table"] = json!((!table.rows.is_empty()).then(|| table.html(false)));
        }
        Visual::Photo(photo) => {
            own["kind"] = json!("photo");
            own["uri"] = json!(&*photo.uri);
            own["alt"] = json!(photo.alt);
        }
        Visual::Chain(steps) => {
            own["kind"] = json!("chain");
            own["steps"] = steps
                .iter()
                .map(|step| json!({"kind": step.kind, "meaning": step.meaning, "title": step.title, "reason": step.reason}))
                .collect();
        }
        Visual::Changes(all) => {
            own["kind"] = json!("changes");
            own["changes"] = all
                .iter()
                .map(|change| {
                    json!({"what": change.what, "from": change.from, "to": change.to, "agreed": change.agreed})
                })
                .collect();
        }
    }
    own
}
