//! The sheet of the results.

use schema::records::Outcome;
use trace::Study;

use super::About;
use crate::output::grid::{Cell, Grid};

const HEADS: [&str; 15] = [
    "id",
    "title",
    "of",
    "date",
    "value",
    "unit",
    "uncertainty",
    "outcome",
    "place",
    "driven",
    "method",
    "superseded",
    "evidence",
    "notes",
    super::RECORD,
];

/// The results, one row each: values in the unit they were written in.
pub(crate) fn grid(study: &Study) -> Grid {
    let mut about = About::new(study, false);
    let superseded = study.graph.superseded();
    let rows = study.loaded.results().map(|(index, record, result)| {
        let value = result.quantity();
        let of = result.of.as_ref().map(|id| id.as_str());
        let method = of
            .and_then(|of| study.graph.method(study.loaded.find(of)?, result))
            .map(|method| method.word())
            .unwrap_or_default();
        let outcome = match result.outcome {
            Some(Outcome::Pass) => "pass",
            Some(Outcome::Fail) => "fail",
            None => "",
        };
        let driven: Vec<String> =
            result.reads.iter().map(|(name, quantity)| format!("{name}: {}", quantity.text())).collect();
        vec![
            Cell::text(record.id.as_str()),
            Cell::text(result.title.as_deref().unwrap_or_default()),
            Cell::text(of.unwrap_or_default()),
            result.date.map_or(Cell::Empty, Cell::Day),
            value.map_or(Cell::Empty, |value| Cell::Number(value.value())),
            value.map_or(Cell::Empty, |value| Cell::text(&value.unit().to_string())),
            value.and_then(schema::Quantity::uncertainty).map_or(Cell::Empty, Cell::Number),
            Cell::text(outcome),
            result.place.map_or(Cell::Empty, |place| Cell::Whole(u64::from(place))),
            Cell::text(&driven.join("; ")),
            Cell::text(method),
            Cell::Flag(superseded.contains(record.id.as_str())),
            Cell::text(&result.evidence.join("; ")),
            Cell::text(result.notes.as_deref().unwrap_or_default()),
            about.place_cell(index),
        ]
    });
    Grid { heads: HEADS.map(str::to_owned).to_vec(), rows: rows.collect() }
}
