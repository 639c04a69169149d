//! The output of `explain` for score sheets: what each event of a rule book reads, and how it scores.

use std::fmt::Write as _;

use schema::Entries;
use schema::records::Expression;
use schema::sheet::{Sheet, SheetEvent, SheetInput};
use serde_json::{Value, json};
use trace::values::score_sheet_of;

use crate::screen::Ink;

/// The rule book of a sheet's event, and the section in it.
fn source(name: &str, event: &SheetEvent) -> String {
    let source = score_sheet_of(name).map_or("", |sheet| sheet.source.as_str());
    format!("{source}: {}", event.rule)
}

/// What an input is, with its unit and its default.
fn meaning(input: &SheetInput) -> String {
    let mut text = input.is.clone();
    if let Some(unit) = input.unit.as_ref().filter(|unit| *unit != "1") {
        let _ = write!(text, " [{unit}]");
    }
    match &input.default {
        Some(default) => drop(write!(text, " (default {})", default.text())),
        None => text.push_str(" (required)"),
    }
    text
}

fn inputs(out: &mut String, ink: Ink, heading: &str, inputs: &Entries<schema::Id, SheetInput>) {
    if !inputs.is_empty() {
        let _ = writeln!(out, "\n{}", ink.strong(heading));
    }
    for (id, input) in inputs.iter() {
        ink.block(out, id.as_str(), 20, &meaning(input));
    }
}

fn notes(out: &mut String, ink: Ink, notes: &[String]) {
    for (number, note) in notes.iter().enumerate() {
        ink.block(out, if number == 0 { "notes" } else { "" }, 9, note);
    }
}

/// The text for the terminal about one event of a sheet.
pub(crate) fn event_docs(name: &str, event: &SheetEvent, ink: Ink) -> String {
    let mut out = format!("{}  (score sheet)\n", ink.strong(name));
    ink.block(&mut out, "source", 9, &source(name, event));
    if let Some(inferred) = &event.inferred {
        ink.block(&mut out, "inferred", 9, inferred);
    }
    ink.block(&mut out, "most", 9, event.most.text());
    ink.block(&mut out, "points", 9, event.formula.text());
    let no_finish = event.no_finish.as_ref().map_or("0 pts", Expression::text);
    ink.block(&mut out, "no-finish", 9, &format!("{no_finish} (without a valid run or a finish: `time: none`)"));
    notes(&mut out, ink, &event.notes);
    inputs(&mut out, ink, "inputs under `reads`", &event.reads);
    inputs(&mut out, ink, "inputs under `given`", &event.given);
    for (id, table) in event.tables.iter() {
        ink.block(&mut out, id.as_str(), 20, &format!("{}; a list by `{}`: `\"2, 4, 6\"`", table.is, table.by));
    }
    for (heading, texts) in
        [("constants (another value under `given` replaces them)", &event.constants), ("steps", &event.steps)]
    {
        if !texts.is_empty() {
            let _ = writeln!(out, "\n{}", ink.strong(heading));
        }
        for (id, text) in texts.iter() {
            ink.block(&mut out, id.as_str(), 20, text.text());
        }
    }
    out
}

/// The JSON answer about one event of a sheet.
pub(crate) fn event_json(name: &str, event: &SheetEvent) -> Value {
    let required = |inputs: &Entries<schema::Id, SheetInput>| -> Vec<String> {
        inputs.iter().filter(|(_, input)| input.default.is_none()).map(|(id, _)| id.to_string()).collect()
    };
    let texts = |texts: &Entries<schema::Id, Expression>| -> serde_json::Map<String, Value> {
        texts.iter().map(|(id, text)| (id.to_string(), json!(text.text()))).collect()
    };
    let inputs: Vec<Value> = event
        .inputs()
        .map(|(under, id, input)| {
            let default = input.default.as_ref().map(Expression::text);
            json!({"name": id.to_string(), "under": under, "unit": input.unit, "default": default, "meaning": input.is})
        })
        .collect();
    let tables: Vec<Value> = event
        .tables
        .iter()
        .map(|(id, table)| json!({"name": id.to_string(), "by": table.by.to_string(), "meaning": table.is}))
        .collect();
    json!({
        "version": 1,
        "sheet": name,
        "source": score_sheet_of(name).map_or("", |sheet| sheet.source.as_str()),
        "rule": event.rule,
        "inferred": event.inferred,
        "most": event.most.text(),
        "reads": required(&event.reads),
        "given": required(&event.given),
        "inputs": inputs,
        "tables": tables,
        "constants": texts(&event.constants),
        "steps": texts(&event.steps),
        "formula": event.formula.text(),
        "no_finish": event.no_finish.as_ref().map_or("0 pts", Expression::text),
        "notes": event.notes,
    })
}

/// The text for the terminal about a whole sheet.
pub(crate) fn sheet_docs(name: &str, sheet: &Sheet, ink: Ink) -> String {
    let mut out = format!("{}  (score sheet)\n", ink.strong(name));
    ink.block(&mut out, "source", 9, &sheet.source);
    if let Some(total) = &sheet.total {
        ink.block(&mut out, "total", 9, total.text());
    }
    let _ = writeln!(out, "\n{}", ink.strong("events with a formula (`score: {use: SHEET.EVENT}`)"));
    for (id, event) in sheet.events.iter() {
        ink.block(&mut out, &format!("{name}.{id}"), 34, &event.rule);
    }
    if !sheet.judged.is_empty() {
        let _ = writeln!(out, "\n{}", ink.strong("left to judges (`expect` and `most`)"));
    }
    for (id, event) in sheet.judged.iter() {
        let text = std::iter::once(format!("most {} ({})", event.most, event.rule)).chain(event.notes.iter().cloned());
        ink.block(&mut out, id.as_str(), 34, &text.collect::<Vec<_>>().join(". "));
    }
    out
}

/// The JSON answer about a whole sheet.
pub(crate) fn sheet_json(name: &str, sheet: &Sheet) -> Value {
    let judged: Vec<Value> = sheet
        .judged
        .iter()
        .map(|(id, event)| json!({"event": id.to_string(), "rule": event.rule, "most": event.most.text(), "notes": event.notes}))
        .collect();
    json!({
        "version": 1,
        "sheet": name,
        "source": sheet.source,
        "total": sheet.total.as_ref().map(schema::Quantity::text),
        "events": sheet.events.keys().map(|id| format!("{name}.{id}")).collect::<Vec<_>>(),
        "judged": judged,
    })
}
