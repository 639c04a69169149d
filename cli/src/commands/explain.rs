//! `explain`: the docs of a check, a model or a score sheet, or the keys of a kind of record.

use std::fmt::Write as _;

use clap::Args;
use schema::{Kind, renamed, suggest};
use serde_json::{Value, json};
use trace::Error;
use trace::checks::{self, About, Check, Group};

use super::{Done, Format};
use crate::args::Shared;
use crate::output::json;
use crate::screen::{Ink, clean};

/// The arguments of `explain`.
#[derive(Args)]
pub(crate) struct Explain {
    /// A check (`no-parent`), a kind of record (`part`), a model (`lap`) or a score sheet (`sae-2024.skidpad`)
    name: Option<String>,
    /// Output format
    #[arg(long, value_name = "FORMAT", default_value = "terminal")]
    format: Format,
}

impl Explain {
    pub(super) fn run(&self, shared: &Shared) -> Result<Done, Error> {
        let ink = Ink::stdout(shared);
        let Some(name) = self.name.as_deref() else {
            return Ok(match self.format {
                Format::Terminal => list(ink),
                Format::Json => json::text(
                    &json!({"version": 1, "checks": checks::all().iter().map(|c| as_json(c)).collect::<Vec<_>>()}),
                ),
            }
            .into());
        };
        if let Some(check) = checks::find(name) {
            return Ok(match self.format {
                Format::Terminal => docs(check, ink),
                Format::Json => json::text(&json!({"version": 1, "checks": [as_json(check)]})),
            }
            .into());
        }
        let kind = Kind::ALL.iter().copied().find(|kind| kind.singular() == name || kind.plural() == name);
        if let Some(kind) = kind {
            let keys = keys(kind);
            return Ok(match self.format {
                Format::Terminal => kind_docs(kind, &keys, ink),
                Format::Json => {
                    let keys: Vec<Value> =
                        keys.iter().map(|(key, text)| json!({"key": key, "meaning": text})).collect();
                    json::text(&json!({"version": 1, "kind": kind.singular(), "keys": keys}))
                }
            }
            .into());
        }
        if let Some(model) = models::find(name) {
            return Ok(match self.format {
                Format::Terminal => model_docs(model, ink),
                Format::Json => json::text(&model_json(model)),
            }
            .into());
        }
        if let Some(sheet) = trace::values::score_sheet(name) {
            return Ok(match self.format {
                Format::Terminal => sheet_docs(name, sheet, ink),
                Format::Json => json::text(&sheet_json(name, sheet)),
            }
            .into());
        }
        if let Some((message, new)) = renamed::notice(renamed::Use::Check, name) {
            return Err(Error::new(message).help(format!("run `tierod explain {new}`")));
        }
        let names = models::MODELS.iter().map(|model| model.name);
        let names = names
            .chain(checks::all().iter().map(|check| check.name))
            .chain(Kind::ALL.iter().map(|kind| kind.singular()));
        let help = suggest::did_you_mean(name, names, "`tierod explain` lists all names");
        Err(Error::new(format!("unknown name `{}`: not a check, kind of record, model or score sheet", clean(name)))
            .help(help))
    }
}

fn as_json(check: &Check) -> Value {
    json!({
        "check": check.name,
        "group": check.group.word(),
        "about": check.about.word(),
        "levels": check.levels.map(schema::settings::Level::word),
        "reports": check.reports,
        "why": check.why,
        "fix": check.fix,
        "bad_example": check.bad_example,
        "good_example": check.good_example,
    })
}

fn list(ink: Ink) -> String {
    let mut out = String::new();
    for group in [Group::Reading, Group::Structure, Group::Verification, Group::Values, Group::History, Group::Waivers]
    {
        let _ = writeln!(out, "{}", ink.strong(group.word()));
        for check in checks::all().iter().filter(|check| check.group == group) {
            ink.block(&mut out, check.name, 22, check.reports);
        }
        out.push('\n');
    }
    let kinds = Kind::ALL.iter().map(|kind| kind.singular()).collect::<Vec<_>>().join(", ");
    let _ = writeln!(out, "{}", ink.strong("kinds of record"));
    ink.block(&mut out, "", 22, &kinds);
    let _ = writeln!(out, "\n{}", ink.strong("models"));
    for model in models::MODELS {
        ink.block(&mut out, model.name, 22, model.summary);
    }
    let _ = writeln!(out, "\n{}", ink.strong("score sheets"));
    ink.block(&mut out, "", 22, &trace::values::sheet_names().join(", "));
    out
}

/// The unit of an input; for a table, the units of its columns.
fn unit_of(input: &models::Input) -> String {
    match input.kind {
        models::Kind::Table { columns } => {
            columns.map(|column| format!("{} in {}", column.name, column.unit)).join(", ")
        }
        _ if input.unit == "1" => String::new(),
        _ => input.unit.to_owned(),
    }
}

fn model_docs(model: &models::Model, ink: Ink) -> String {
    let mut out = format!("{}  (model)\n", ink.strong(model.name));
    ink.block(&mut out, "summary", 7, model.summary);
    ink.block(&mut out, "source", 7, model.source);
    let explained = model.explained;
    for (title, lines) in
        [("equations", explained.equations), ("left out", explained.left_out), ("accuracy", explained.accuracy)]
    {
        let _ = writeln!(out, "\n{}", ink.strong(title));
        for line in lines {
            ink.block(&mut out, "-", 1, line);
        }
    }
    let _ = writeln!(out, "\n{}", ink.strong("inputs (under `given`)"));
    for input in model.inputs {
        let mut text = input.meaning.to_owned();
        let unit = unit_of(input);
        if !unit.is_empty() {
            let _ = write!(text, " [{unit}]");
        }
        match (input.default, input.required) {
            (Some(default), _) => drop(write!(text, " (default {default})")),
            (None, true) => text.push_str(" (required)"),
            (None, false) => {}
        }
        ink.block(&mut out, input.name, 20, &text);
    }
    let _ = writeln!(out, "\n{}", ink.strong("outputs (under `finds`; the first one if `finds` names only a target)"));
    for output in model.outputs {
        ink.block(&mut out, output.name, 20, &format!("{} [{}]", output.meaning, output.unit));
    }
    out
}

/// The rule book of a sheet.
fn source_of(name: &str) -> &'static str {
    let sheet = name.split('.').next().unwrap_or("");
    let all = trace::values::score_sheets().iter();
    all.filter(|(known, _)| *known == sheet).map(|(_, sheet)| sheet.source.as_str()).next().unwrap_or("")
}

fn sheet_docs(name: &str, sheet: &schema::sheet::SheetEvent, ink: Ink) -> String {
    let ids = |ids: &[schema::Id]| ids.iter().map(ToString::to_string).collect::<Vec<_>>().join(", ");
    let constants: Vec<String> = sheet.constants.iter().map(|(id, text)| format!("{id} = {}", text.text())).collect();
    let mut out = format!("{}  (score sheet)\n", ink.strong(name));
    let source = format!("{}, {}", source_of(name), sheet.rule);
    for (label, text) in [
        ("source", source.as_str()),
        ("reads", &ids(&sheet.reads)),
        ("given", &ids(&sheet.given)),
        ("constants", &constants.join("; ")),
        ("points", sheet.formula.text()),
    ] {
        ink.block(&mut out, label, 9, text);
    }
    out
}

fn sheet_json(name: &str, sheet: &schema::sheet::SheetEvent) -> Value {
    let ids = |ids: &[schema::Id]| ids.iter().map(ToString::to_string).collect::<Vec<_>>();
    let constants: serde_json::Map<String, Value> =
        sheet.constants.iter().map(|(id, text)| (id.to_string(), json!(text.text()))).collect();
    json!({
        "version": 1,
        "sheet": name,
        "source": source_of(name),
        "rule": sheet.rule,
        "reads": ids(&sheet.reads),
        "given": ids(&sheet.given),
        "constants": constants,
        "formula": sheet.formula.text(),
    })
}

fn model_json(model: &models::Model) -> Value {
    let inputs: Vec<Value> = model
        .inputs
        .iter()
        .map(|input| json!({"name": input.name, "unit": unit_of(input), "default": input.default, "needed": input.required, "meaning": input.meaning}))
        .collect();
    let outputs: Vec<Value> =
        model.outputs.iter().map(|o| json!({"name": o.name, "unit": o.unit, "meaning": o.meaning})).collect();
    json!({"version": 1, "model": model.name, "summary": model.summary, "source": model.source, "equations": model.explained.equations, "left_out": model.explained.left_out, "accuracy": model.explained.accuracy, "inputs": inputs, "outputs": outputs})
}

fn docs(check: &Check, ink: Ink) -> String {
    let mut out = format!("{}  ({})\n", ink.strong(check.name), check.group.word());
    let about = match check.about {
        About::Records => "the records: a new error stops the commit",
        About::Car => {
            "the car, the plan or the calendar: a new error stops a request, not the commit; one that a new result \
             shows stops nothing"
        }
    };
    for (label, text) in [("reports", check.reports), ("about", about), ("why", check.why), ("fix", check.fix)] {
        ink.block(&mut out, label, 7, text);
    }
    let stages = schema::settings::Stage::ALL;
    let levels: Vec<String> =
        stages.iter().zip(check.levels).map(|(stage, level)| format!("{} {}", stage.word(), level.word())).collect();
    let same = check.levels.iter().all(|level| *level == check.levels[0]);
    let levels = if same { format!("{} at every stage", check.levels[0].word()) } else { levels.join(", ") };
    ink.block(&mut out, "level", 7, &levels);
    for (label, records) in [("bad", check.bad_example), ("good", check.good_example)] {
        for (number, line) in records.lines().enumerate() {
            let label = if number == 0 { label } else { "" };
            let pad = " ".repeat(7 - label.len());
            let _ = writeln!(out, "{pad}{}  {line}", ink.faint(label));
        }
    }
    out
}

/// The keys of a kind with their meaning, from the JSON Schema.
fn keys(kind: Kind) -> Vec<(String, String)> {
    let schema = schema::json_schema::records();
    let of_kind = &schema["properties"][kind.plural()]["additionalProperties"];
    let name = of_kind["$ref"].as_str().and_then(|path| path.rsplit('/').next()).unwrap_or("");
    let properties = schema["$defs"][name]["properties"].as_object();
    let entries = properties.into_iter().flatten();
    entries.map(|(key, value)| (key.clone(), value["description"].as_str().unwrap_or("").replace('\n', " "))).collect()
}

fn kind_docs(kind: Kind, keys: &[(String, String)], ink: Ink) -> String {
    let mut out = format!("{}  (under `{}:`)\n", ink.strong(kind.singular()), kind.plural());
    for (key, text) in keys {
        ink.block(&mut out, key, 16, text);
    }
    out
}
