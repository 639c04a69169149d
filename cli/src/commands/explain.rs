//! `explain`: the docs of a check, a model or a score sheet, the keys of a kind of record or of the settings, one key, or
//! the units.

mod units;

use std::fmt::Write as _;

use clap::Args;
use schema::{Kind, renamed, suggest};
use serde_json::{Value, json};
use trace::Error;
use trace::checks::{self, About, Check, Group};

use super::{Done, Format, folded, keys};
use crate::args::Shared;
use crate::output::{json, sheet};
use crate::screen::{Ink, clean};

/// The arguments of `explain`.
#[derive(Args)]
pub(crate) struct Explain {
    /// A check (`no-parent`), a kind of record (`part`), a key (`verify`), a model (`lap`), a score sheet
    /// (`sae-2024.skidpad`), `settings` or `units`
    name: Option<String>,
    /// Output format
    #[arg(long, value_name = "FORMAT", default_value = "terminal")]
    format: Format,
}

impl Explain {
    pub(super) fn run(&self, shared: &Shared) -> Result<Done, Error> {
        let Some(name) = self.name.as_deref() else {
            return Ok(match self.format {
                Format::Terminal => folded(shared, list),
                Format::Json => json::text(
                    &json!({"version": 1, "checks": checks::all().iter().map(|c| as_json(c)).collect::<Vec<_>>()}),
                ),
            }
            .into());
        };
        if let Some(check) = checks::find(name) {
            return Ok(match self.format {
                Format::Terminal => folded(shared, |ink| docs(check, ink)),
                Format::Json => json::text(&json!({"version": 1, "checks": [as_json(check)]})),
            }
            .into());
        }
        let keys = match keys::kind(name) {
            Some(kind) => Some((kind.singular(), format!("under `{}:`", kind.plural()), keys::of_kind(kind))),
            None if name == "settings" => {
                Some(("settings", format!("in {}", schema::settings::FILE), keys::of_settings()))
            }
            None => None,
        };
        if let Some((name, place, keys)) = keys {
            return Ok(match self.format {
                Format::Terminal => folded(shared, |ink| {
                    let mut out = format!("{}  ({place})\n", ink.strong(name));
                    keys::list(&mut out, &keys, ink);
                    out
                }),
                Format::Json => {
                    let keys: Vec<Value> = keys.iter().map(keys::Key::json).collect();
                    json::text(&json!({"version": 1, "kind": name, "keys": keys}))
                }
            }
            .into());
        }
        if name == "units" {
            return Ok(match self.format {
                Format::Terminal => folded(shared, units::docs),
                Format::Json => json::text(&units::json()),
            }
            .into());
        }
        if let Some(model) = models::find(name) {
            return Ok(match self.format {
                Format::Terminal => folded(shared, |ink| model_docs(model, ink)),
                Format::Json => json::text(&model_json(model)),
            }
            .into());
        }
        if let Some(sheet) = trace::values::score_sheet(name) {
            return Ok(match self.format {
                Format::Terminal => folded(shared, |ink| sheet::event_docs(name, sheet, ink)),
                Format::Json => json::text(&sheet::event_json(name, sheet)),
            }
            .into());
        }
        if let Some(sheet) = trace::values::score_sheet_of(name).filter(|_| !name.contains('.')) {
            return Ok(match self.format {
                Format::Terminal => folded(shared, |ink| sheet::sheet_docs(name, sheet, ink)),
                Format::Json => json::text(&sheet::sheet_json(name, sheet)),
            }
            .into());
        }
        if let Some((message, new)) = renamed::notice(renamed::Use::Check, name) {
            return Err(Error::new(message).help(format!("run `tierod explain {new}`")));
        }
        let (notice, found) = keys::named(name);
        if !found.is_empty() {
            return Ok(match self.format {
                Format::Terminal => folded(shared, |ink| keys::docs(notice.as_deref(), &found, ink)),
                Format::Json => {
                    let found: Vec<Value> = found.iter().map(keys::Key::json).collect();
                    json::text(&json!({"version": 1, "key": name, "keys": found}))
                }
            }
            .into());
        }
        if let Some(help) = models_with_input(name) {
            return Err(Error::new(format!("`{}` is an input of models", clean(name))).help(help));
        }
        let of_keys = keys::names();
        let names = models::MODELS.iter().map(|model| model.name);
        let names = names
            .chain(checks::all().iter().map(|check| check.name))
            .chain(Kind::ALL.iter().map(|kind| kind.singular()))
            .chain(["settings", "units"])
            .chain(of_keys.iter().map(String::as_str));
        let help = suggest::did_you_mean(name, names, "`tierod explain` lists all names");
        Err(Error::new(format!(
            "unknown name `{}`: not a check, kind of record, key, model or score sheet",
            clean(name)
        ))
        .help(help))
    }
}

/// Where to find an input of models: the models that have it.
fn models_with_input(name: &str) -> Option<String> {
    let has_it = |model: &&models::Model| model.inputs.iter().any(|input| input.name == name);
    let found: Vec<String> =
        models::MODELS.iter().filter(has_it).map(|model| format!("`tierod explain {}`", model.name)).collect();
    (!found.is_empty()).then(|| format!("run {}", suggest::any_of(found.iter().map(String::as_str))))
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
            ink.block(&mut out, check.name, 24, check.reports);
        }
        out.push('\n');
    }
    let kinds = Kind::ALL.iter().map(|kind| kind.singular()).collect::<Vec<_>>().join(", ");
    let _ = writeln!(out, "{}", ink.strong("kinds of record"));
    ink.block(&mut out, "", 24, &kinds);
    let _ = writeln!(out, "\n{}", ink.strong("models"));
    for model in models::MODELS {
        ink.block(&mut out, model.name, 24, model.summary);
    }
    let _ = writeln!(out, "\n{}", ink.strong("score sheets"));
    for shipped in trace::values::score_sheets() {
        let events = shipped.sheet().into_iter().flat_map(|sheet| sheet.events.keys());
        let events: Vec<&str> = events.map(schema::Id::as_str).collect();
        ink.block(&mut out, shipped.name, 24, &events.join(", "));
    }
    let _ = writeln!(out, "\n{}", ink.strong("also"));
    ink.block(&mut out, "settings", 24, "the keys of tierod.yaml");
    ink.block(&mut out, "units", 24, "the units of quantities, and how a quantity is written");
    ink.block(
        &mut out,
        "a key",
        24,
        "its meaning and the forms of its value: `tierod explain verify`, `tierod explain growth`",
    );
    out
}

/// The unit of an input; for a table, the units of its columns.
fn unit_of(input: &models::Input) -> String {
    match input.kind {
        models::Kind::Table { columns } => {
            columns.map(|column| format!("{} in {}", column.name, column.unit)).join(", ")
        }
        models::Kind::Unit => String::new(),
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
        [("equations", explained.equations), ("omitted", explained.omitted), ("accuracy", explained.accuracy)]
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
        match input.kind {
            models::Kind::List => text.push_str("; a list `[2.5, 2, 1.6]`, or a text `\"2.5, 2, 1.6\"`"),
            models::Kind::Table { .. } => text.push_str("; the path of a CSV file"),
            models::Kind::Unit => text.push_str("; a unit without a number"),
            models::Kind::Number | models::Kind::StressFile | models::Kind::Text => {}
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

fn model_json(model: &models::Model) -> Value {
    let inputs: Vec<Value> = model
        .inputs
        .iter()
        .map(|input| json!({"name": input.name, "unit": unit_of(input), "default": input.default, "needed": input.required, "meaning": input.meaning}))
        .collect();
    let outputs: Vec<Value> =
        model.outputs.iter().map(|o| json!({"name": o.name, "unit": o.unit, "meaning": o.meaning})).collect();
    json!({"version": 1, "model": model.name, "summary": model.summary, "source": model.source, "equations": model.explained.equations, "omitted": model.explained.omitted, "accuracy": model.explained.accuracy, "inputs": inputs, "outputs": outputs})
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
