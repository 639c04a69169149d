//! `explain`: the docs of a check, or the keys of a kind of record.

use std::fmt::Write as _;

use clap::Args;
use schema::{Kind, suggest};
use serde_json::{Value, json};
use trace::Error;
use trace::checks::{self, Check, Group};

use super::{Done, Format};
use crate::args::Shared;
use crate::output::json;
use crate::screen::{Ink, clean};

/// Explain a check or a kind of record.
#[derive(Args)]
pub(crate) struct Explain {
    /// A check, as in `no-parent`, or a kind of record, as in `part`
    name: Option<String>,
    /// The form of the answer
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
        let names = checks::all().iter().map(|check| check.name).chain(Kind::ALL.iter().map(|kind| kind.singular()));
        let help = suggest::did_you_mean(name, names, "`tierod explain` lists the checks and kinds");
        Err(Error::new(format!("there is no check and no kind of record `{}`", clean(name))).help(help))
    }
}

fn as_json(check: &Check) -> Value {
    json!({
        "check": check.name,
        "group": check.group.word(),
        "levels": check.levels.map(schema::settings::Level::word),
        "finds": check.finds,
        "why": check.why,
        "mend": check.mend,
        "found": check.found,
        "mended": check.mended,
    })
}

fn list(ink: Ink) -> String {
    let mut out = String::new();
    for group in [Group::Reading, Group::Structure, Group::Verification, Group::Values, Group::Waivers] {
        let _ = writeln!(out, "{}", ink.strong(group.word()));
        for check in checks::all().iter().filter(|check| check.group == group) {
            ink.block(&mut out, check.name, 22, check.finds);
        }
        out.push('\n');
    }
    let kinds = Kind::ALL.iter().map(|kind| kind.singular()).collect::<Vec<_>>().join(", ");
    let _ = writeln!(out, "{}", ink.strong("kinds of record"));
    ink.block(&mut out, "", 22, &kinds);
    out
}

fn docs(check: &Check, ink: Ink) -> String {
    let mut out = format!("{}  ({})\n", ink.strong(check.name), check.group.word());
    for (label, text) in [("finds", check.finds), ("why", check.why), ("mend", check.mend)] {
        ink.block(&mut out, label, 7, text);
    }
    let stages = schema::settings::Stage::ALL;
    let levels: Vec<String> =
        stages.iter().zip(check.levels).map(|(stage, level)| format!("{} {}", stage.word(), level.word())).collect();
    let same = check.levels.iter().all(|level| *level == check.levels[0]);
    let levels = if same { format!("{} at every stage", check.levels[0].word()) } else { levels.join(", ") };
    ink.block(&mut out, "level", 7, &levels);
    for (label, records) in [("found", check.found), ("mended", check.mended)] {
        for (number, line) in records.lines().enumerate() {
            let label = if number == 0 { label } else { "" };
            let pad = " ".repeat(7 - label.len());
            let _ = writeln!(out, "{pad}{}  {line}", ink.faint(label));
        }
    }
    out
}

/// The keys of a kind and what they mean, as the JSON Schema has them.
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
